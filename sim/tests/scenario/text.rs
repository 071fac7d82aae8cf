//! Scenarios put together from pieces of text.

/// A scenario of these rails, each of a name and what follows `[rail.sense]`, at 2000 scans a
/// second.
pub fn scenario(duration_s: &str, rails: &[(&str, &str)]) -> String {
    let mut text = format!(
        "title = \"t\"\nduration_s = {duration_s}\n\
         [part]\nmodel = \"corncrake\"\nscan_rate = 2000\n"
    );
    for (channel, (name, rest)) in rails.iter().enumerate() {
        text += &format!(
            "[[rail]]\nname = \"{name}\"\nchannel = {channel}\n\
             [rail.sense]\nresistance_ohm = 0.01\n\
             tolerance_percent = 0\ntemperature_coefficient_ppm_per_k = 0\n\
             thermal_resistance_k_per_w = 0\nsense_full_scale_v = 0.05\n\
             rail_full_scale_v = 16\n{rest}"
        );
    }
    text
}

/// A constant voltage behind an impedance.
pub fn source(voltage_v: &str, impedance_ohm: &str) -> String {
    format!(
        "[rail.source]\nkind = \"constant\"\nvoltage_v = {voltage_v}\n\
         impedance_ohm = {impedance_ohm}\n"
    )
}

/// Nothing that any load of these tests contradicts, but for what is given in place of it.
pub fn declared(edit: (&str, &str)) -> String {
    let all = "[rail.load_declared]\nsteps_per_hour = 9000\nstep_a = 9\nflow = \"both\"\n\
               greatest_a = 9\nvoltage_v = [0, 16]\n";
    assert!(all.contains(edit.0), "{edit:?}");
    all.replacen(edit.0, edit.1, 1)
}
