//! Readings as lines of text, for a serial port or a file: what `crake-sim characterise` reads.

use core::fmt::{self, Write};

use crake::Reading;
use crake::crc::Crc16;

/// The first line, which names the columns. The bench's own readings.csv has all of them but the
/// check, and totals besides.
pub const HEADER: &str = "time_s,rail,voltage_v,current_a,power_w,clipped,check\n";

/// Writes one reading as a line, digit by digit: nothing is allocated, nothing is kept.
///
/// `at_us` is the host's time. `rail` is a name without separators, quotes and line ends. The last
/// column is a CRC-16/GENIBUS of everything before its separator, so that whoever reads the log
/// finds a line that was torn on the way.
///
/// # Errors
/// Whatever the writer reports; the line is torn then.
pub fn write_line(
    out: &mut impl Write,
    at_us: u64,
    rail: &str,
    reading: &Reading,
    clipped: bool,
) -> fmt::Result {
    let mut line = Checked {
        out,
        crc: Crc16::new(),
    };
    let (seconds, rest) = (at_us / 1_000_000, at_us % 1_000_000);
    write!(line, "{seconds}.{rest:06},{rail},")?;
    for nano in [
        reading.voltage.as_nanovolts(),
        reading.current.as_nanoamps(),
        reading.power.as_nanowatts(),
    ] {
        let sign = if nano < 0 { "-" } else { "" };
        let (whole, rest) = (nano.unsigned_abs() / BILLION, nano.unsigned_abs() % BILLION);
        write!(line, "{sign}{whole}.{rest:09},")?;
    }
    line.write_char(if clipped { '1' } else { '0' })?;
    let check = line.crc.value();
    writeln!(out, ",{check:04X}")
}

const BILLION: u64 = 1_000_000_000;

/// Passes text on, and keeps its check value.
struct Checked<'w, W> {
    out: &'w mut W,
    crc: Crc16,
}

impl<W: Write> Write for Checked<'_, W> {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        self.crc.add_all(text.as_bytes());
        self.out.write_str(text)
    }
}
