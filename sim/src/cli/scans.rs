use std::cell::RefCell;
use std::io::{self, Write};
use std::path::Path;
use std::rc::Rc;

use super::readings::{cell, decimal};
use crate::growing::Growing;
use crate::part::corncrake::{Model, PartWatcher, Snapshot};
use crate::run::{Conversions, OnBench};
use crate::scenario::{PartKind, Scenario};

/// `scans.csv` while it grows: every scan of the first Corncrake, which no bus could carry.
pub(super) struct Scans(Rc<RefCell<Writer>>);

struct Writer {
    file: Growing,
    rails: Vec<(usize, String)>,
    codes: Conversions,
    /// The part's place.
    place: usize,
    /// Conversions so far, when a row was written last.
    last: u64,
    /// What went wrong first; it is told at the end.
    error: Option<io::Error>,
}

impl Scans {
    /// Begins the file in `directory`.
    pub(super) fn create(directory: &Path, scenario: &Scenario) -> io::Result<Self> {
        // One that can be looked into.
        let mut parts = scenario.parts.iter();
        let place = parts.position(|part| part.kind.word == PartKind::CORNCRAKE.word);
        let Some(place) = place else {
            let message = "--every-scan: the scenario has no Corncrake, of which every scan can be \
                           written; leave it out";
            return Err(io::Error::other(message));
        };
        let mut file = Growing::create(directory, "scans.csv")?;
        file.write_all(b"time_s,rail,voltage_v,current_a\n")?;
        let rails = scenario.rails_of(place);
        let writer = Rc::new(RefCell::new(Writer {
            file,
            rails: rails
                .map(|rail| (usize::from(rail.channel), cell(&rail.name)))
                .collect(),
            codes: Conversions::new(scenario, place),
            place,
            last: 0,
            error: None,
        }));
        Ok(Self(writer))
    }

    /// From here on every scan of the part is written.
    pub(super) fn watch(&self, parts: &[OnBench<'_>]) {
        let place = self.0.borrow().place;
        let part = parts.get(place).and_then(OnBench::part::<Model>);
        if let Some(part) = part {
            part.watch(0, self.0.clone());
        }
    }

    /// The file is complete: gives it its name.
    pub(super) fn keep(self) -> io::Result<()> {
        let mut writer = self.0.borrow_mut();
        match writer.error.take() {
            Some(error) => Err(error),
            None => writer.file.keep(),
        }
    }
}

impl PartWatcher for Writer {
    fn see(&mut self, at_ns: u64, part: &Snapshot) -> bool {
        let scan = 2 * self.rails.len() as u64;
        if part.conversions == self.last || !part.conversions.is_multiple_of(scan) {
            return true;
        }
        self.last = part.conversions;
        let written = self.write(at_ns, part);
        self.error = written.err();
        self.error.is_none()
    }
}

impl Writer {
    fn write(&mut self, at_ns: u64, part: &Snapshot) -> io::Result<()> {
        let time = decimal(at_ns.into(), 9);
        for (channel, name) in &self.rails {
            let codes = &part.channels[*channel];
            let Some((voltage, current)) = self.codes.of(*channel, codes.rail, codes.sense) else {
                continue;
            };
            let voltage = decimal(voltage.as_nanovolts().into(), 9);
            let current = decimal(current.as_nanoamps().into(), 9);
            writeln!(self.file, "{time},{name},{voltage},{current}")?;
        }
        Ok(())
    }
}
