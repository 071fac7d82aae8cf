//! A plan as lines for a scenario file, and as constants for firmware.

use super::Planned;
use crate::rust_text::grouped;

/// Lines of a scenario file; the debounce belongs into each of its alerts.
///
/// # Errors
/// What a scenario file has no word for.
pub fn toml(plan: &Planned) -> Result<String, String> {
    let Some(period_s) = plan.scan_period_s.filter(|_| plan.part == "Corncrake") else {
        let remedy = match plan.part {
            "Corncrake" => ", or demand --energy-percent or --event",
            _ => "",
        };
        return Err(format!(
            "--toml: in a scenario file a Corncrake has a scan rate, and the plan is {} of a {}; \
             take --rust{remedy}",
            mode(plan),
            plan.part
        ));
    };
    let speed = match plan.bus_hz {
        100_000 => "100k",
        400_000 => "400k",
        _ => "1M",
    };
    Ok(format!(
        "# crake-sim plan. For each [[rail.alert]]: debounce = {debounce}\n\
         [part]\n\
         scan_rate = {rate}\n\
         averaging = {averaging}\n\
         [bus]\n\
         speed = \"{speed}\"\n\
         [host]\n\
         read_every_s = {every} # and duration_s no shorter\n",
        debounce = plan.debounce,
        rate = (1.0 / period_s).round(),
        averaging = plan.averaging,
        every = plan.read_every_s,
    ))
}

/// Constants for `Config::with_mode`, `Config::averaging`, `Limit::debounce`, the firmware's timer
/// and its bus.
#[must_use]
pub fn rust(plan: &Planned) -> String {
    let mode = match plan.scan_period_s {
        Some(period_s) => format!(
            "Mode::Continuous(ScanRate::every_microseconds({}))",
            grouped((period_s * 1e6).round() as i64)
        ),
        None => "Mode::SingleShot".to_owned(),
    };
    let scan_rate = if plan.scan_period_s.is_some() {
        "{Mode, ScanRate}"
    } else {
        "Mode"
    };
    format!(
        "// crake-sim plan, for a {part}. CONFIG.with_mode(MODE).averaging(AVERAGING),\n\
         // and LIMIT.debounce(DEBOUNCE) for each limit.\n\
         use core::time::Duration;\n\
         use crake::config::{scan_rate};\n\
         \n\
         const MODE: Mode = {mode};\n\
         const AVERAGING: u8 = {averaging};\n\
         const DEBOUNCE: u8 = {debounce};\n\
         const READ_EVERY: Duration = Duration::from_micros({every});\n\
         const BUS_HZ: u32 = {bus};\n",
        part = plan.part,
        averaging = plan.averaging,
        debounce = plan.debounce,
        every = grouped((plan.read_every_s * 1e6).round() as i64),
        bus = grouped(plan.bus_hz.into()),
    )
}

fn mode(plan: &Planned) -> &'static str {
    match plan.scan_period_s {
        Some(_) => "a scan rate",
        None => "single shots",
    }
}
