use std::io;
use std::path::Path;
use std::time::Duration;

use crate::growing::Growing;
use crate::run::Row;
use crate::scenario::Scenario;

/// The file of readings while it grows.
pub(super) struct Readings {
    writer: csv::Writer<Growing>,
    /// One reading in so many is written.
    each: u64,
    /// The reading of the host whose rows come now, by its number.
    present: Option<u64>,
    /// Rows of the present reading, if they are not written: the last one's are, at the end.
    left_out: Vec<[String; HEADER.len()]>,
}

const HEADER: [&str; 8] = [
    "time_s",
    "rail",
    "voltage_v",
    "current_a",
    "power_w",
    "charge_c",
    "energy_j",
    "clipped",
];

/// Rows and bytes, about, that a scenario's readings will have.
pub(super) fn size(scenario: &Scenario, every: Duration) -> (u64, u64) {
    let samples = scenario.duration_ns.div_ceil(scenario.host.read_every_ns);
    let samples = samples.div_ceil(each(scenario, every));
    let names = scenario.rails.iter().map(|rail| rail.name.len() as u64);
    let bytes: u64 = names.map(|name| name + NUMBERS).sum();
    let rows = samples.saturating_mul(scenario.rails.len() as u64);
    (rows, samples.saturating_mul(bytes))
}

/// Which reading is kept: each, each second one and so on; the nearest to `every`.
fn each(scenario: &Scenario, every: Duration) -> u64 {
    let every_ns = u64::try_from(every.as_nanos()).unwrap_or(u64::MAX);
    let read_ns = scenario.host.read_every_ns;
    (every_ns.saturating_add(read_ns / 2) / read_ns).max(1)
}

/// Bytes of a row without its rail's name.
const NUMBERS: u64 = 74;

impl Readings {
    /// Begins `readings.csv` in `directory`, which is made where it is missing; with a sample
    /// `every` so often, as near as the scenario's come.
    pub(super) fn create(
        directory: &Path,
        scenario: &Scenario,
        every: Duration,
    ) -> io::Result<Self> {
        let file = Growing::create(directory, "readings.csv")?;
        let mut writer = csv::Writer::from_writer(file);
        writer.write_record(HEADER)?;
        Ok(Self {
            writer,
            each: each(scenario, every),
            present: None,
            left_out: Vec::new(),
        })
    }

    /// Adds a row, or keeps it in case it is of the last reading.
    pub(super) fn write(&mut self, row: &Row<'_>) -> io::Result<()> {
        if self.present.replace(row.number) != Some(row.number) {
            self.left_out.clear();
        }
        if row.number.is_multiple_of(self.each) {
            self.writer.write_record(cells(row))?;
        } else {
            self.left_out.push(cells(row));
        }
        Ok(())
    }

    /// The file is complete: gives it its name.
    pub(super) fn keep(mut self) -> io::Result<()> {
        for row in &self.left_out {
            self.writer.write_record(row)?;
        }
        let file = self.writer.into_inner();
        file.map_err(csv::IntoInnerError::into_error)?.keep()
    }
}

/// Every number is exact: whole nano-units written as decimals.
fn cells(row: &Row<'_>) -> [String; HEADER.len()] {
    let timestamp = row.timestamp;
    let middle_us = i128::from(timestamp.before_us) + i128::from(timestamp.width_us() / 2);
    [
        decimal(middle_us, 6),
        row.rail.to_owned(),
        decimal(row.reading.voltage.as_nanovolts().into(), 9),
        decimal(row.reading.current.as_nanoamps().into(), 9),
        decimal(row.reading.power.as_nanowatts().into(), 9),
        decimal(row.charge.value.as_nanocoulombs(), 9),
        decimal(row.energy.value.as_nanojoules(), 9),
        if row.clipped { "1" } else { "0" }.to_owned(),
    ]
}

/// A name as a cell: in quotes where it needs them.
pub(super) fn cell(name: &str) -> String {
    match name.contains([',', '"', '#']) {
        true => format!("\"{}\"", name.replace('"', "\"\"")),
        false => name.to_owned(),
    }
}

/// `value` in units of 10^-`places` as a decimal number.
pub(super) fn decimal(value: i128, places: usize) -> String {
    let digits = format!("{:0width$}", value.unsigned_abs(), width = places + 1);
    let (whole, fraction) = digits.split_at(digits.len() - places);
    let sign = if value < 0 { "-" } else { "" };
    format!("{sign}{whole}.{fraction}")
}

#[cfg(test)]
mod tests {
    use super::decimal;

    #[test]
    fn decimals_are_exact() {
        assert_eq!(decimal(-4_210_000_001, 9), "-4.210000001");
        assert_eq!(decimal(12, 9), "0.000000012");
        assert_eq!(decimal(0, 6), "0.000000");
        assert_eq!(decimal(-1, 6), "-0.000001");
        assert_eq!(decimal(1_234_567_890, 6), "1234.567890");
    }
}
