use std::io::{self, Write};
use std::mem;

use super::Window;
use super::dump::{Dump, Signal, Value};
use super::journal;
use crate::bus::{Line, Transaction, WireWatcher};

/// Puts what bus and parts tell into the order of time, and writes what lies in the window.
///
/// The bus draws a piece of a transfer before the parts have lived through it, and of several parts
/// one is ahead of another. So all is kept until the bus says that everything before some moment
/// has been told.
pub(super) struct Recorder<W: Write> {
    window: Window,
    stage: Stage,
    told: Vec<Told>,
    scl: Signal,
    sda: Signal,
    /// A transfer is going on, in the order of the written times.
    busy: bool,
    /// The end of the transfer before.
    free_since_ns: u64,
    /// A transfer is going on, in the order of the calls.
    busy_at_present: bool,
    dump: Dump<W>,
    journal: W,
    /// The first error; nothing is written after it.
    failed: Option<io::Error>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    Before,
    Within,
    After,
}

struct Told {
    at_ns: u64,
    what: What,
}

enum What {
    Value(Signal, Value),
    Begin,
    End(Transaction),
}

impl<W: Write> Recorder<W> {
    /// Records into a dump whose header is complete, and whose signals `scl` and `sda` are the
    /// bus's.
    pub(super) fn new(window: Window, dump: Dump<W>, scl: Signal, sda: Signal, journal: W) -> Self {
        Self {
            window,
            stage: Stage::Before,
            told: Vec::new(),
            scl,
            sda,
            busy: false,
            free_since_ns: 0,
            busy_at_present: false,
            dump,
            journal,
            failed: None,
        }
    }

    /// Whether a part that has come to `at_ns` may stop telling.
    pub(super) fn has_seen_enough(&self, at_ns: u64) -> bool {
        self.stage == Stage::After || (at_ns > self.window.end_ns && !self.busy_at_present)
    }

    pub(super) fn tell(&mut self, at_ns: u64, signal: Signal, value: Value) {
        self.note(at_ns, What::Value(signal, value));
    }

    /// Ends at `now_ns` or at the window's end before it.
    ///
    /// # Errors
    /// Whatever could not be written, now or earlier, or a window that has not begun.
    pub(super) fn finish(&mut self, now_ns: u64) -> io::Result<(&mut W, &mut W)> {
        self.write_until(u64::MAX);
        if self.stage == Stage::Before && !self.busy && self.window.begin_ns <= now_ns {
            self.open();
        }
        match self.stage {
            Stage::Before => {
                return Err(io::Error::other(
                    "the run ended before the window of the trace began",
                ));
            }
            Stage::Within => self.close(now_ns),
            Stage::After => {}
        }
        match self.failed.take() {
            Some(error) => Err(error),
            None => Ok((self.dump.writer(), &mut self.journal)),
        }
    }

    fn note(&mut self, at_ns: u64, what: What) {
        if self.stage != Stage::After {
            self.told.push(Told { at_ns, what });
        }
    }

    /// Writes what was told of the time before `until_ns`.
    fn write_until(&mut self, until_ns: u64) {
        // Stable: what is told of one moment stays in the order of the telling.
        self.told.sort_by_key(|told| told.at_ns);
        let complete = self.told.partition_point(|told| told.at_ns < until_ns);
        let later = self.told.split_off(complete);
        for told in mem::replace(&mut self.told, later) {
            if self.failed.is_none() && self.stage != Stage::After {
                self.failed = self.write(told).err();
            }
        }
        if self.stage == Stage::After || self.failed.is_some() {
            self.stage = Stage::After;
            self.told = Vec::new();
        }
    }

    fn write(&mut self, told: Told) -> io::Result<()> {
        if !self.busy {
            if self.stage == Stage::Before && told.at_ns >= self.window.begin_ns {
                self.open();
            }
            if self.stage == Stage::Within && told.at_ns > self.window.end_ns {
                self.close(self.window.end_ns);
                return Ok(());
            }
        }
        match told.what {
            What::Value(signal, value) => self.dump.set(told.at_ns, signal, value)?,
            What::Begin => self.busy = true,
            What::End(transaction) => {
                self.busy = false;
                self.free_since_ns = told.at_ns;
                if self.stage == Stage::Within {
                    writeln!(self.journal, "{}", journal::Line(&transaction))?;
                }
            }
        }
        Ok(())
    }

    /// The window begins, at the end of a transfer that its beginning cuts in two.
    fn open(&mut self) {
        self.stage = Stage::Within;
        self.dump.open(self.window.begin_ns.max(self.free_since_ns));
    }

    /// The window ends, at the end of a transfer that its end cuts in two.
    fn close(&mut self, at_ns: u64) {
        self.stage = Stage::After;
        let at_ns = at_ns.min(self.window.end_ns).max(self.free_since_ns);
        let closed = self.dump.close(at_ns).and_then(|()| self.journal.flush());
        self.failed = self.failed.take().or(closed.err());
    }
}

impl<W: Write> WireWatcher for Recorder<W> {
    fn until(&mut self, now_ns: u64) {
        self.write_until(now_ns);
    }

    fn begin(&mut self, start_ns: u64) {
        self.busy_at_present = true;
        self.note(start_ns, What::Begin);
    }

    fn edge(&mut self, at_ns: u64, line: Line, high: bool) {
        let signal = match line {
            Line::Scl => self.scl,
            Line::Sda => self.sda,
        };
        // A dump knows no time before its first moment: a START just there is drawn a nanosecond
        // late, or it would be none.
        let at_first = at_ns == self.window.begin_ns && line == Line::Sda && !high;
        self.tell(at_ns + u64::from(at_first), signal, Value::Wire(high));
    }

    fn end(&mut self, transaction: &Transaction) {
        self.busy_at_present = false;
        self.note(transaction.stop_ns, What::End(transaction.clone()));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn recorder<W: Write>(window: Window, dump: W, journal: W) -> io::Result<Recorder<W>> {
        let mut dump = Dump::new(dump)?;
        dump.enter("bench")?;
        let [scl, sda] = ["SCL", "SDA"].map(|name| dump.declare(name, Value::Wire(true)));
        let (scl, sda) = (scl?, sda?);
        dump.leave()?;
        dump.end_of_header()?;
        Ok(Recorder::new(window, dump, scl, sda, journal))
    }

    fn transaction(start_ns: u64, stop_ns: u64) -> Transaction {
        Transaction {
            start_ns,
            stop_ns,
            events: Vec::new(),
        }
    }

    /// A disk with room for so many more bytes.
    struct Disk(usize);

    impl Write for Disk {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            let left = self.0.checked_sub(bytes.len());
            self.0 = left.ok_or(io::ErrorKind::StorageFull)?;
            Ok(bytes.len())
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    /// Either file may be the one that has no room; what fails first is told at the end.
    #[test]
    fn what_cannot_be_written_is_told() -> io::Result<()> {
        let window = Window {
            begin_ns: 0,
            end_ns: 1_000,
        };
        // Header and first values take some hundred bytes.
        for (dump, journal, edges, fails) in [
            (10_000, 10_000, 1, false),
            (10_000, 0, 1, true),
            (400, 10_000, 200, true),
        ] {
            let mut recorder = recorder(window, Disk(dump), Disk(journal))?;
            recorder.begin(1);
            for n in 0..edges {
                recorder.edge(2 + n, Line::Scl, n % 2 == 1);
            }
            recorder.end(&transaction(1, 500));
            recorder.until(600);
            assert_eq!(recorder.has_seen_enough(600), fails);
            let outcome = recorder.finish(2_000).map(drop);
            let failed = outcome.map_err(|error| error.kind());
            assert_eq!(failed.is_err(), fails, "{dump} {journal}");
            assert!(!fails || failed == Err(io::ErrorKind::StorageFull));
        }
        Ok(())
    }

    /// Both wires are high at first, SDA is the second: a START there is drawn a nanosecond later.
    #[test]
    fn a_start_at_the_first_moment_is_an_edge() -> io::Result<()> {
        let window = Window {
            begin_ns: 100,
            end_ns: 200,
        };
        let mut recorder = recorder(window, Vec::new(), Vec::new())?;
        recorder.begin(100);
        recorder.edge(100, Line::Sda, false);
        recorder.edge(150, Line::Sda, true);
        recorder.end(&transaction(100, 150));
        let (dump, _) = recorder.finish(300)?;
        let dump = String::from_utf8_lossy(dump);
        let (_, moments) = dump.split_once("$end\n#100\n").unwrap_or_default();
        let lines: Vec<_> = moments.split_whitespace().collect();
        let first = ["$dumpvars", "1!", "1\"", "$end"];
        assert_eq!(lines[..4], first);
        assert_eq!(lines[4..], ["#101", "0\"", "#150", "1\"", "#200"]);
        Ok(())
    }

    /// A window begins with its first moment, whether anything happens there or not, or with the
    /// end of the transfer that goes on there.
    #[test]
    fn a_window_that_has_not_begun_is_told() -> io::Result<()> {
        let window = Window {
            begin_ns: 100,
            end_ns: 200,
        };
        let ends = |busy_from_ns: Option<u64>, now_ns| {
            let mut recorder = recorder(window, Vec::new(), Vec::new())?;
            if let Some(ns) = busy_from_ns {
                recorder.begin(ns);
            }
            io::Result::Ok(recorder.finish(now_ns).is_ok())
        };
        assert_eq!((ends(None, 99)?, ends(None, 100)?), (false, true));
        assert_eq!((ends(Some(50), 150)?, ends(Some(120), 150)?), (false, true));
        Ok(())
    }

    /// A transfer that the window's end cuts in two is recorded to its end, and so are the parts
    /// while it lasts.
    #[test]
    fn parts_are_listened_to_until_the_window_and_its_last_transfer_are_over() -> io::Result<()> {
        let window = Window {
            begin_ns: 100,
            end_ns: 200,
        };
        let mut recorder = recorder(window, Vec::new(), Vec::new())?;
        assert!(!recorder.has_seen_enough(200) && recorder.has_seen_enough(201));
        recorder.begin(150);
        assert!(!recorder.has_seen_enough(201));
        recorder.end(&transaction(150, 210));
        assert!(!recorder.has_seen_enough(200) && recorder.has_seen_enough(201));
        recorder.until(300);
        assert!(!recorder.has_seen_enough(200));
        recorder.begin(300);
        recorder.until(301);
        assert!(recorder.has_seen_enough(200));
        let (_, journal) = recorder.finish(400)?;
        let line = journal::Line(&transaction(150, 210)).to_string();
        assert_eq!(String::from_utf8_lossy(journal), line + "\n");
        Ok(())
    }
}
