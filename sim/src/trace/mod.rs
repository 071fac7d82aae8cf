//! What happened on a bench in a stretch of time, for tools that others made: a value change dump
//! of rails, codes, flags, outputs and the two wires of the bus for waveform viewers and protocol
//! decoders, and the bus's transactions as lines of JSON. `docs/trace.md` describes both files.
//!
//! ```
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! use core::time::Duration;
//! use crake_sim::{bench::Bench, part::corncrake::Corncrake, trace::{Trace, Traced, Window}};
//! use embedded_hal::i2c::I2c;
//!
//! # let directory = std::env::temp_dir().join(format!("crake-sim-doc-{}", std::process::id()));
//! let bench = Bench::new(1);
//! let part = bench.part(Corncrake::ideal(0x32))?;
//! let window = Window::new(Duration::ZERO, Duration::from_millis(1));
//! let trace = Trace::start(&bench, &[Traced::new(&part, &[])], window, &directory)?;
//! bench.i2c().write_read(0x32, &[0x00], &mut [0; 4])?;
//! trace.finish()?; // DIRECTORY/trace.vcd and DIRECTORY/transactions.jsonl
//! # std::fs::remove_dir_all(&directory)?;
//! # Ok(())
//! # }
//! ```

mod dump;
mod journal;
mod recorder;
mod tap;

use std::cell::RefCell;
use std::io;
use std::path::Path;
use std::rc::Rc;
use std::time::Duration;

use crate::bench::{Bench, Part};
use crate::bus::Clock;
use crate::growing::Growing;
use dump::{Dump, Value};
use recorder::Recorder;
use tap::{Signals, Tap};

/// The stretch of the bench's time that is recorded.
///
/// Either end that falls into a transfer is put off to the end of that transfer, so that only whole
/// transfers are recorded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Window {
    begin_ns: u64,
    end_ns: u64,
}

impl Window {
    /// From `from`, counted from the bench's time 0, for `length`; what lies beyond 584 years is as
    /// good as never.
    pub fn new(from: Duration, length: Duration) -> Self {
        let ns = |duration: Duration| u64::try_from(duration.as_nanos()).unwrap_or(u64::MAX);
        Self {
            begin_ns: ns(from),
            end_ns: ns(from.saturating_add(length)),
        }
    }

    /// Its beginning, in nanoseconds of the bench's clock.
    pub fn begin_ns(&self) -> u64 {
        self.begin_ns
    }
}

impl Default for Window {
    /// The first 100 ms: setting the part up and the first readings.
    fn default() -> Self {
        Self::new(Duration::ZERO, Duration::from_millis(100))
    }
}

/// A part that is recorded.
#[derive(Clone, Copy)]
pub struct Traced<'a> {
    part: &'a Part,
    channels: &'a [(usize, &'a str)],
}

impl<'a> Traced<'a> {
    /// The part's flags and outputs, and of `channels`, given by number and name, what their rails
    /// do and what is made of it.
    pub fn new(part: &'a Part, channels: &'a [(usize, &'a str)]) -> Self {
        Self { part, channels }
    }
}

/// A recording in progress. Given up before [`finish`](Self::finish) it leaves no file behind.
pub struct Trace {
    clock: Clock,
    recorder: Rc<RefCell<Recorder<Growing>>>,
}

impl Trace {
    /// Begins to record a bench's bus and `parts` into `directory`, which is made where it is
    /// missing. Takes the place of watchers of that bus and those parts.
    ///
    /// What happened before this call is not recorded, whatever the window says; nothing that the
    /// bench does depends on being recorded.
    ///
    /// # Errors
    /// A file that cannot be made, or a channel that a part does not have; neither file is left
    /// behind.
    pub fn start(
        bench: &Bench,
        parts: &[Traced<'_>],
        window: Window,
        directory: &Path,
    ) -> io::Result<Self> {
        let window = Window {
            begin_ns: window.begin_ns.max(bench.now_ns()),
            ..window
        };
        let mut dump = Dump::new(Growing::create(directory, "trace.vcd")?)?;
        let journal = Growing::create(directory, "transactions.jsonl")?;
        dump.enter("bench")?;
        let scl = dump.declare("SCL", Value::Wire(true))?;
        let sda = dump.declare("SDA", Value::Wire(true))?;
        let signals = parts
            .iter()
            .map(|traced| declare(&mut dump, traced))
            .collect::<io::Result<Vec<_>>>()?;
        dump.leave()?;
        dump.end_of_header()?;

        let recorder = Recorder::new(window, dump, scl, sda, journal);
        let recorder = Rc::new(RefCell::new(recorder));
        bench.watch_wires(Some(recorder.clone()));
        for (traced, signals) in parts.iter().zip(signals) {
            let tap = Tap::new(signals, recorder.clone());
            traced
                .part
                .watch(window.begin_ns, Rc::new(RefCell::new(tap)));
        }
        Ok(Self {
            clock: bench.clock(),
            recorder,
        })
    }

    /// Ends the recording at the window's end, or at the present moment if that comes first, and
    /// gives the files their names.
    ///
    /// A transfer in progress at the present moment stands in the dump as far as it got, and not
    /// among the transactions.
    ///
    /// # Errors
    /// Whatever could not be written since the beginning, or a window that has not begun; no file
    /// is left behind then, or the first of the two if it was the second that could not get its
    /// name.
    pub fn finish(self) -> io::Result<()> {
        let mut recorder = self.recorder.borrow_mut();
        let (dump, journal) = recorder.finish(self.clock.now_ns())?;
        dump.keep()?;
        journal.keep()
    }
}

fn declare(dump: &mut Dump<Growing>, traced: &Traced<'_>) -> io::Result<Signals> {
    let name = format!("corncrake_{:02x}", traced.part.address());
    let present = traced.part.snapshot();
    let missing = |&&(channel, _): &&(usize, &str)| channel >= present.channels.len();
    if let Some((channel, _)) = traced.channels.iter().find(missing) {
        let message = format!("the part has no channel {channel}");
        return Err(io::Error::new(io::ErrorKind::InvalidInput, message));
    }
    Signals::declare(dump, &name, traced.channels, &present)
}
