//! The tables of the datasheet that tests need most, in typed form. Quantities are in billionths of
//! their unit: nV, nA, ns.

use crate::{
    markdown::{Document, Table},
    number::{billionths, integer, ppm},
};

/// A row of the register table of section 3.
#[derive(Clone, Debug)]
pub struct Register {
    /// The pointer that selects it.
    pub pointer: u8,
    /// Its name.
    pub name: String,
    /// Its width.
    pub bytes: usize,
    /// Whether it holds two's complement.
    pub signed: bool,
    /// Whether it can be read.
    pub readable: bool,
    /// Whether it can be written.
    pub writable: bool,
    /// Whether it can be written while the part is idle only.
    pub idle_only: bool,
    /// Whether accepted writes count in WRITES.
    pub counted: bool,
    /// Its bytes after a reset as one number; `None` where there is nothing to read, or the
    /// document refers elsewhere.
    pub reset: Option<u64>,
}

/// All registers, in the order of the document.
#[must_use]
pub fn registers(document: &Document) -> Vec<Register> {
    let columns = [
        "pointer", "name", "bytes", "signed", "access", "counted", "reset",
    ];
    let table = document.table("3 ", &columns);
    let register = |row: &[String]| Register {
        pointer: small(&row[0]),
        name: row[1].clone(),
        bytes: small(&row[2]),
        signed: yes(&row[3]),
        readable: row[4].contains('R'),
        writable: row[4].contains('W'),
        idle_only: row[4].ends_with("idle"),
        counted: yes(&row[5]),
        reset: match row[6].as_str() {
            "-" | "see 5" => None,
            "zeros" => Some(0),
            number => Some(small(number)),
        },
    };
    table.rows().map(register).collect()
}

/// A range of the converter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Range {
    /// The code that selects it.
    pub code: u8,
    /// The weight of one code, nV.
    pub lsb_nv: u64,
    /// The magnitude at the end of the codes, nV.
    pub full_scale_nv: u64,
}

/// The ranges of the sense inputs.
#[must_use]
pub fn sense_ranges(document: &Document) -> Vec<Range> {
    ranges(document.table("3.4 ", &["sense range code", "LSB", "full scale"]))
}

/// The ranges of the rail inputs.
#[must_use]
pub fn rail_ranges(document: &Document) -> Vec<Range> {
    ranges(document.table("3.4 ", &["rail range code", "LSB", "full scale"]))
}

fn ranges(table: &Table) -> Vec<Range> {
    table
        .rows()
        .map(|row| Range {
            code: small(&row[0]),
            lsb_nv: nano(&row[1], "V"),
            full_scale_nv: nano(&row[2], "V"),
        })
        .collect()
}

/// A row of the table of codes of section 4: bits, sign included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Code {
    /// Bits, the sign included where there is one.
    pub bits: u32,
    /// Whether it is two's complement.
    pub signed: bool,
}

impl Code {
    /// The least code.
    #[must_use]
    pub fn least(self) -> i64 {
        if self.signed {
            -(1 << (self.bits - 1))
        } else {
            0
        }
    }

    /// The greatest code.
    #[must_use]
    pub fn greatest(self) -> i64 {
        if self.signed {
            (1 << (self.bits - 1)) - 1
        } else {
            (1 << self.bits) - 1
        }
    }
}

/// The code of `quantity`: sense, rail, power, charge, energy or scans.
#[must_use]
pub fn code(document: &Document, quantity: &str) -> Code {
    let table = document.table("4 ", &["quantity", "bits", "signed"]);
    Code {
        bits: small(table.cell(quantity, "bits")),
        signed: yes(table.cell(quantity, "signed")),
    }
}

/// Limits of error of a range, section 7.
#[derive(Clone, Debug)]
pub struct Accuracy {
    /// `sense 65.536 mV`, `rail 16.384 V` and so on.
    pub range: String,
    /// The weight of one code, nV.
    pub lsb_nv: u64,
    /// Gain error, either way.
    pub gain_ppm: u32,
    /// Offset error, either way, nV.
    pub offset_nv: u64,
    /// R.m.s. of one conversion, nV.
    pub noise_nv: u64,
}

/// Limits of error of all ranges.
#[must_use]
pub fn accuracy(document: &Document) -> Vec<Accuracy> {
    let accuracy = |row: &[String]| Accuracy {
        range: row[0].clone(),
        lsb_nv: nano(&row[1], "V"),
        gain_ppm: ppm(&row[2]),
        offset_nv: nano(&row[3], "V"),
        noise_nv: nano(&row[4], "V"),
    };
    document
        .table("7 ", &["range", "LSB", "gain error"])
        .rows()
        .map(accuracy)
        .collect()
}

/// Limits of error that belong to no range, section 7, and of the oscillator, section 6.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CommonLimits {
    /// The greatest noise of one conversion, in multiples of its r.m.s.
    pub noise_factor: u32,
    /// Input bias current, either way, nA.
    pub bias_na: u64,
    /// Stability of the sense offset after an offset calibration, either way, nV.
    pub offset_stability_nv: u64,
    /// Frequency error of the oscillator, either way.
    pub oscillator_ppm: u32,
    /// Change of its frequency while it runs, either way.
    pub oscillator_change_ppm: u32,
}

/// Limits of error that belong to no range.
#[must_use]
pub fn common_limits(document: &Document) -> CommonLimits {
    let accuracy = document.table("7 ", &["what", "limit"]);
    let oscillator = document.table("Oscillator", &["what", "limit"]);
    let noise = accuracy.cell("noise of one conversion, greatest", "limit");
    let noise = noise.strip_suffix(" × r.m.s.");
    let limit = |begin: &str| {
        let mut rows = accuracy.rows().filter(|row| row[0].starts_with(begin));
        match (rows.next(), rows.next()) {
            (Some(row), None) => row[1].as_str(),
            _ => panic!("not one limit '{begin}'"),
        }
    };
    CommonLimits {
        noise_factor: small(noise.expect("a multiple of the r.m.s.")),
        bias_na: nano(limit("input bias current of the sense inputs"), "A"),
        offset_stability_nv: nano(limit("sense offset stability after"), "V"),
        oscillator_ppm: ppm(
            oscillator.cell("frequency error over supply, temperature and life", "limit")
        ),
        oscillator_change_ppm: ppm(oscillator.cell(
            "change of frequency while the part runs without reset",
            "limit",
        )),
    }
}

/// A nominal time of section 6, by the first column of its table, ns.
#[must_use]
pub fn timing_ns(document: &Document, what: &str) -> u64 {
    let table = document.table("6 ", &["what", "nominal", "unit"]);
    nano(
        &format!(
            "{} {}",
            table.cell(what, "nominal"),
            table.cell(what, "unit")
        ),
        "s",
    )
}

/// A scan rate of section 6.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ScanRate {
    /// Scans a second.
    pub scans_per_second: u32,
    /// From the begin of a scan to that of the next, ns.
    pub period_ns: u64,
    /// The same in conversions.
    pub period_conversions: u32,
}

/// All scan rates, fastest first.
#[must_use]
pub fn scan_rates(document: &Document) -> Vec<ScanRate> {
    let rate = |row: &[String]| ScanRate {
        scans_per_second: small(row[0].split(' ').next().unwrap_or_default()),
        period_ns: nano(&row[1], "s"),
        period_conversions: small(&row[2]),
    };
    let table = document.table("6 ", &["scan rate", "scan period", "in conversions"]);
    table.rows().map(rate).collect()
}

/// The mode bytes of RUN, section 3.3, with what they mean.
#[must_use]
pub fn modes(document: &Document) -> Vec<(u8, String)> {
    document
        .table("3.3 ", &["mode byte", "mode"])
        .rows()
        .map(|row| (small(&row[0]), row[1].clone()))
        .collect()
}

/// The 7-bit addresses of section 2.1, by strap.
#[must_use]
pub fn addresses(document: &Document) -> Vec<u8> {
    document
        .table("2.1 ", &["strap", "7-bit address"])
        .rows()
        .map(|row| small(&row[1]))
        .collect()
}

/// What a state draws from the supply, section 8.
#[derive(Clone, Debug)]
pub struct SupplyCurrent {
    /// The state, as the document names it.
    pub state: String,
    /// Typical, nA.
    pub typical_na: u64,
    /// Greatest, nA.
    pub greatest_na: u64,
}

/// What each state draws from the supply.
#[must_use]
pub fn supply(document: &Document) -> Vec<SupplyCurrent> {
    let supply = |row: &[String]| SupplyCurrent {
        state: row[0].clone(),
        typical_na: nano(&row[1], "A"),
        greatest_na: nano(&row[2], "A"),
    };
    document
        .table("8 ", &["state", "typical", "greatest"])
        .rows()
        .map(supply)
        .collect()
}

/// A cell that says yes or no.
pub(crate) fn yes(cell: &str) -> bool {
    match cell {
        "yes" => true,
        "no" => false,
        _ => panic!("'{cell}' is neither yes nor no"),
    }
}

/// A whole number that fits its type.
pub(crate) fn small<T: TryFrom<i128>>(cell: &str) -> T {
    T::try_from(integer(cell)).unwrap_or_else(|_| panic!("'{cell}' is out of range"))
}

/// A quantity in billionths of its unit, without its sign.
fn nano(cell: &str, unit: &str) -> u64 {
    u64::try_from(billionths(cell, unit)).unwrap_or_else(|_| panic!("'{cell}' is out of range"))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One number of each table, copied by eye from the documents: this tells whether the reader
    /// reads what a person reads.
    #[test]
    fn registers_read_as_they_stand() {
        let document = Document::corncrake();
        let registers = registers(&document);
        assert_eq!(registers.len(), 66);
        let named = |name| {
            registers
                .iter()
                .find(|register| register.name == name)
                .expect("a register")
        };
        let limit = named("UNDER_CURRENT_2");
        assert_eq!((limit.pointer, limit.bytes, limit.signed), (0x23, 3, true));
        assert_eq!((limit.readable, limit.writable), (true, true));
        assert_eq!((limit.counted, limit.idle_only), (true, false));
        assert_eq!(limit.reset, Some(0xFE_0000));
        let idle_only = registers.iter().filter(|register| register.idle_only);
        let idle_only: Vec<_> = idle_only.map(|register| &register.name[..]).collect();
        assert_eq!(idle_only, ["CHANNELS", "RANGES", "AVERAGING"]);
    }

    #[test]
    fn ranges_and_rates_read_as_they_stand() {
        let document = Document::corncrake();
        let range = Range {
            code: 2,
            lsb_nv: 1_000_000,
            full_scale_nv: 65_536_000_000,
        };
        assert_eq!(rail_ranges(&document)[2], range);
        assert_eq!(code(&document, "rail").greatest(), 65_535);
        assert_eq!(accuracy(&document)[3].range, "rail 16.384 V");
        let rate = ScanRate {
            scans_per_second: 500,
            period_ns: 2_000_000,
            period_conversions: 32,
        };
        assert_eq!(scan_rates(&document)[1], rate);
        let mode = "continuous, 100 scans a second";
        assert_eq!(modes(&document)[3], (0x12, mode.to_owned()));
    }

    #[test]
    fn the_other_tables_read_as_they_stand() {
        let document = Document::corncrake();
        let range = Range {
            code: 1,
            lsb_nv: 200,
            full_scale_nv: 26_214_400,
        };
        assert_eq!(sense_ranges(&document)[1], range);
        assert_eq!(code(&document, "power").least(), -(1 << 33));
        let fine = &accuracy(&document)[1];
        assert_eq!(fine.range, "sense 26.2144 mV");
        assert_eq!((fine.lsb_nv, fine.gain_ppm), (200, 2_000));
        assert_eq!((fine.offset_nv, fine.noise_nv), (10_000, 1_200));
        let limits = CommonLimits {
            noise_factor: 6,
            bias_na: 20,
            offset_stability_nv: 50,
            oscillator_ppm: 15_000,
            oscillator_change_ppm: 100,
        };
        assert_eq!(common_limits(&document), limits);
        assert_eq!(timing_ns(&document, "conversion"), 62_500);
        assert_eq!(addresses(&document), [0x32, 0x33, 0x34, 0x35]);
        let supply = supply(&document);
        assert_eq!(
            (supply[0].typical_na, supply[2].greatest_na),
            (2_200, 420_000)
        );
    }
}
