use std::fs::{self, File};
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};

use crate::run::Row;

/// The file of readings while it grows: under another name until it is complete, so that nobody finds half of one.
pub(super) struct Readings {
    writer: csv::Writer<BufWriter<File>>,
    growing: Growing,
    complete: PathBuf,
}

/// A file that is removed again unless it was kept. If even the removal fails there is nothing more to do.
struct Growing(PathBuf);

impl Drop for Growing {
    fn drop(&mut self) {
        let _ = fs::remove_file(&self.0);
    }
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
    /// Begins a file in `directory`, which is made where it is missing.
    pub(super) fn create(directory: &Path) -> Result<Self, String> {
        let complete = directory.join("readings.csv");
        let growing = directory.join(".readings.csv.part");
        let begin = || -> io::Result<_> {
            fs::create_dir_all(directory)?;
            let file = File::create(&growing)?;
            let growing = Growing(growing);
            let mut writer = csv::Writer::from_writer(BufWriter::new(file));
            writer.write_record(HEADER)?;
            Ok((writer, growing))
        };
        let (writer, growing) = begin().map_err(|error| {
            format!(
                "{}: cannot be written: {error}; name another directory with --out",
                complete.display()
            )
        })?;
        Ok(Self {
            writer,
            growing,
            complete,
        })
    }

    /// Adds a row. Every number is exact: whole nano-units written as decimals.
    pub(super) fn write(&mut self, row: &Row<'_>) -> io::Result<()> {
        let middle_us = i128::from(row.stamp.before_us) + i128::from(row.stamp.bracket_us() / 2);
        self.writer.write_record([
            decimal(middle_us, 6).as_str(),
            row.rail,
            &decimal(row.reading.voltage.as_nanovolts().into(), 9),
            &decimal(row.reading.current.as_nanoamps().into(), 9),
            &decimal(row.reading.power.as_nanowatts().into(), 9),
            &decimal(row.account.charge.as_nanocoulombs(), 9),
            &decimal(row.account.energy.as_nanojoules(), 9),
            if row.clipped { "1" } else { "0" },
        ])?;
        Ok(())
    }

    /// The file is complete: gives it its name.
    pub(super) fn keep(mut self) -> Result<(), String> {
        // Under its new name it is no longer there to be removed.
        let kept = self
            .writer
            .flush()
            .and_then(|()| fs::rename(&self.growing.0, &self.complete));
        kept.map_err(|error| format!("{}: cannot be written: {error}", self.complete.display()))
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
