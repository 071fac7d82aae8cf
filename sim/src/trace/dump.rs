use std::io::{self, Write};

use vcd::{IdCode, ReferenceIndex, SimulationCommand, TimescaleUnit, VarType, Writer};

/// Level or number of a signal; a signal never changes its kind.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Value {
    Wire(bool),
    Vector { bits: u32, width: u32 },
    Real(f64),
}

/// A signal of the dump, by the order in which it was declared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Signal(usize);

/// A value change dump (IEEE 1364) of signals in modules, at a timescale of 1 ns.
///
/// Until it is opened it only keeps the latest values. Of several values that a signal gets at one
/// moment the last is written, and that only if it differs from the one before.
pub(super) struct Dump<W: Write> {
    writer: Writer<W>,
    signals: Vec<State>,
    /// Signals that got a value at the present moment.
    touched: Vec<usize>,
    /// The moment of the last values, once the dump is open.
    at_ns: Option<u64>,
    begun: bool,
}

struct State {
    id: IdCode,
    value: Value,
    written: Option<Value>,
}

impl<W: Write> Dump<W> {
    pub(super) fn new(writer: W) -> io::Result<Self> {
        let mut writer = Writer::new(writer);
        writer.version(concat!("crake-sim ", env!("CARGO_PKG_VERSION")))?;
        writer.comment("Times are nanoseconds of the bench's clock.")?;
        writer.timescale(1, TimescaleUnit::NS)?;
        Ok(Self {
            writer,
            signals: Vec::new(),
            touched: Vec::new(),
            at_ns: None,
            begun: false,
        })
    }

    /// Signals declared from here on stand in a module of this name, within the one before.
    pub(super) fn enter(&mut self, module: &str) -> io::Result<()> {
        self.writer.add_module(&reference(module))
    }

    pub(super) fn leave(&mut self) -> io::Result<()> {
        self.writer.upscope()
    }

    /// A signal and the value that it has until it gets another.
    pub(super) fn declare(&mut self, name: &str, value: Value) -> io::Result<Signal> {
        let (of_type, width, range) = match value {
            Value::Wire(_) => (VarType::Wire, 1, None),
            Value::Vector { width, .. } => {
                let range = ReferenceIndex::Range(width as i32 - 1, 0);
                (VarType::Wire, width, Some(range))
            }
            Value::Real(_) => (VarType::Real, 64, None),
        };
        let id = self.writer.add_var(of_type, width, name, range)?;
        self.signals.push(State {
            id,
            value,
            written: None,
        });
        Ok(Signal(self.signals.len() - 1))
    }

    /// All signals are declared.
    pub(super) fn end_of_header(&mut self) -> io::Result<()> {
        self.writer.enddefinitions()
    }

    /// Begins with the values that the signals have at `at_ns`.
    pub(super) fn open(&mut self, at_ns: u64) {
        self.at_ns = Some(at_ns);
        self.touched = (0..self.signals.len()).collect();
    }

    /// A signal's value from `at_ns` on, which is not before that of the call before.
    pub(super) fn set(&mut self, at_ns: u64, signal: Signal, value: Value) -> io::Result<()> {
        if self.at_ns.is_some_and(|present| present < at_ns) {
            self.write_moment()?;
            self.at_ns = Some(at_ns);
        }
        self.signals[signal.0].value = value;
        if self.at_ns.is_some() {
            self.touched.push(signal.0);
        }
        Ok(())
    }

    /// Ends at `at_ns`. The last moment written is later than the last change, be it by a
    /// nanosecond: a value that lasts no time is none to many readers.
    pub(super) fn close(&mut self, at_ns: u64) -> io::Result<()> {
        let Some(present) = self.at_ns else {
            return Ok(());
        };
        self.write_moment()?;
        self.writer
            .timestamp(at_ns.max(present.saturating_add(1)))?;
        self.at_ns = None;
        self.writer.flush()
    }

    /// What is written to.
    pub(super) fn writer(&mut self) -> &mut W {
        self.writer.writer()
    }

    fn write_moment(&mut self) -> io::Result<()> {
        let at_ns = self.at_ns.unwrap_or_default();
        let mut stamped = false;
        for &index in &self.touched {
            let state = &mut self.signals[index];
            if state.written == Some(state.value) {
                continue;
            }
            if !stamped {
                self.writer.timestamp(at_ns)?;
                if !self.begun {
                    self.writer.begin(SimulationCommand::Dumpvars)?;
                }
                stamped = true;
            }
            state.written = Some(state.value);
            write(&mut self.writer, state)?;
        }
        self.touched.clear();
        if !self.begun {
            self.begun = true;
            self.writer.end()?;
        }
        Ok(())
    }
}

fn write(writer: &mut Writer<impl Write>, state: &State) -> io::Result<()> {
    match state.value {
        Value::Wire(high) => writer.change_scalar(state.id, high),
        Value::Real(number) => writer.change_real(state.id, number),
        Value::Vector { bits, width } => {
            let digits = (0..width).rev().map(|bit| (bits >> bit & 1 == 1).into());
            writer.change_vector(state.id, digits)
        }
    }
}

/// A name without what a dump cannot have in one.
fn reference(name: &str) -> String {
    let allowed = |c: char| c.is_ascii_alphanumeric() || c == '_';
    name.chars()
        .map(|c| if allowed(c) { c } else { '_' })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    // The form is that of IEEE 1364, clause 18; the text was written by hand.
    #[test]
    fn only_what_lasts_and_differs_is_written() -> io::Result<()> {
        let mut dump = Dump::new(Vec::new())?;
        dump.enter("a b")?;
        let wire = dump.declare("wire", Value::Wire(false))?;
        let bits = |bits| Value::Vector { bits, width: 4 };
        let vector = dump.declare("vector", bits(0))?;
        let real = dump.declare("real", Value::Real(0.0))?;
        dump.leave()?;
        dump.end_of_header()?;
        // Before the dump is open only the last value counts, and at its first moment too.
        dump.set(3, wire, Value::Wire(true))?;
        dump.set(5, vector, bits(7))?;
        dump.open(9);
        dump.set(9, real, Value::Real(-0.5))?;
        // There and back at one moment, and the same again: nothing.
        dump.set(10, wire, Value::Wire(false))?;
        dump.set(10, wire, Value::Wire(true))?;
        dump.set(11, vector, bits(7))?;
        dump.set(12, wire, Value::Wire(false))?;
        dump.set(12, vector, bits(0xA))?;
        dump.set(12, vector, bits(0xB))?;
        dump.close(12)?;
        let text = String::from_utf8_lossy(dump.writer()).into_owned();
        let (header, changes) = text
            .split_once("$enddefinitions $end\n")
            .unwrap_or_default();
        assert!(header.ends_with(concat!(
            "$timescale 1 ns $end\n",
            "$scope module a_b $end\n",
            "$var wire 1 ! wire $end\n",
            "$var wire 4 \" vector [3:0] $end\n",
            "$var real 64 # real $end\n",
            "$upscope $end\n"
        )));
        assert_eq!(
            changes,
            "#9\n$dumpvars\n1!\nb0111 \"\nr-0.5 #\n$end\n#12\n0!\nb1011 \"\n#13\n"
        );
        Ok(())
    }
}
