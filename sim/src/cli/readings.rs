use std::io;
use std::path::Path;

use crate::growing::Growing;
use crate::run::Row;

/// The file of readings while it grows.
pub(super) struct Readings {
    writer: csv::Writer<Growing>,
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

impl Readings {
    /// Begins `readings.csv` in `directory`, which is made where it is missing.
    pub(super) fn create(directory: &Path) -> io::Result<Self> {
        let file = Growing::create(directory, "readings.csv")?;
        let mut writer = csv::Writer::from_writer(file);
        writer.write_record(HEADER)?;
        Ok(Self { writer })
    }

    /// Adds a row. Every number is exact: whole nano-units written as decimals.
    pub(super) fn write(&mut self, row: &Row<'_>) -> io::Result<()> {
        let timestamp = row.timestamp;
        let middle_us = i128::from(timestamp.before_us) + i128::from(timestamp.width_us() / 2);
        self.writer.write_record([
            decimal(middle_us, 6).as_str(),
            row.rail,
            &decimal(row.reading.voltage.as_nanovolts().into(), 9),
            &decimal(row.reading.current.as_nanoamps().into(), 9),
            &decimal(row.reading.power.as_nanowatts().into(), 9),
            &decimal(row.charge.as_nanocoulombs(), 9),
            &decimal(row.energy.as_nanojoules(), 9),
            if row.clipped { "1" } else { "0" },
        ])?;
        Ok(())
    }

    /// The file is complete: gives it its name.
    pub(super) fn keep(self) -> io::Result<()> {
        let file = self.writer.into_inner();
        file.map_err(csv::IntoInnerError::into_error)?.keep()
    }
}

/// `value` in units of 10^-`places` as a decimal number.
fn decimal(value: i128, places: usize) -> String {
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
