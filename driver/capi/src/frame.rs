use crake::old::ledger::{Break, Entry};
use crake::old::{Channel, Condition, NoReading, Side};

use crate::CRAKE_RAILS;
use crate::code::Code;

/// Voltage, current and power of one channel, from one latch.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reading {
    /// `OK`, or why there is no reading (all numbers 0). After `CLIPPED` the numbers are limits.
    pub code: Code,
    /// What the current says of the truth: 0 near it, within the bound; 1 the truth is at least that, less the bound; 2 it may lie beyond on either side.
    pub current_side: u8,
    /// The same of the voltage.
    pub voltage_side: u8,
    /// Bus voltage at the load's side of the sense resistor, in nanovolts.
    pub voltage_nv: i64,
    /// Current in nanoamperes, positive from source to load.
    pub current_na: i64,
    /// Power in nanowatts, positive into the load; mean of products.
    pub power_nw: i64,
    /// How far `current_na` may lie from the mean of what flowed while it was converted, in nanoamperes; 0 where there is no reading, or bounds were not asked for on initialisation.
    pub current_bound_na: i64,
}

/// One coherent latch of all channels, and what became of it in the ledger.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Frame {
    /// The host's clock right before the latch was asked for, in microseconds.
    pub before_us: u64,
    /// Right after.
    pub after_us: u64,
    /// Readings, from channel 0 up.
    pub readings: [Reading; CRAKE_RAILS],
    /// The part's running count of rounds.
    pub rounds: u32,
    /// Set-up serial of the part.
    pub serial: u16,
    /// 0 steady; 1 boundary: another set-up took over at this very moment; 2 the part was reset; 3 its supply is declared off.
    pub condition: u8,
    /// 1 if the part is known to have run under our set-up alone since the frame before.
    pub unbroken: u8,
    /// What the ledger made of it: 0 no ledger was given; 1 added; 2 added, and the next segment begins here; 3 it begins an account; 4 counts were lost or may have been, an epoch ended,
    /// and another begins here; 5 the same, and none begins; 6 idle.
    pub entry: u8,
    /// Why an epoch ended: 0 it did not; 1 reset; 2 no supply; 3 read too late; 4 the set-up changed; 5 the clock began anew; 6 the count of rounds does not fit the clock.
    pub reason: u8,
}

impl Reading {
    /// No numbers, and why.
    pub(crate) const fn none(code: Code) -> Self {
        Self {
            code,
            current_side: 0,
            voltage_side: 0,
            voltage_nv: 0,
            current_na: 0,
            power_nw: 0,
            current_bound_na: 0,
        }
    }

    fn with_sides(self, code: Code, current: Side, voltage: Side) -> Self {
        Self {
            code,
            current_side: side(current),
            voltage_side: side(voltage),
            ..self
        }
    }
}

impl From<crake::old::Reading> for Reading {
    fn from(reading: crake::old::Reading) -> Self {
        Self {
            voltage_nv: reading.voltage.as_nanovolts(),
            current_na: reading.current.as_nanoamps(),
            power_nw: reading.power.as_nanowatts(),
            ..Self::none(Code::Ok)
        }
    }
}

impl From<Result<crake::old::Reading, NoReading>> for Reading {
    fn from(outcome: Result<crake::old::Reading, NoReading>) -> Self {
        match outcome {
            Ok(reading) => Self::from(reading),
            Err(
                why @ NoReading::Clipped {
                    reading,
                    current,
                    voltage,
                    ..
                },
            ) => Self::from(reading).with_sides(Code::from(why), current, voltage),
            Err(why) => Self::none(Code::from(why)),
        }
    }
}

impl Frame {
    pub(crate) fn new(frame: &crake::old::Frame<'_>, bounds: bool, entry: Option<Entry>) -> Self {
        let (stamp, head) = (frame.stamp(), frame.head());
        let (entry, reason) = entry.map_or((0, 0), numbered);
        let mut made = Self {
            before_us: stamp.before_us,
            after_us: stamp.after_us,
            readings: [Reading::none(Code::Nothing); CRAKE_RAILS],
            rounds: head.rounds,
            serial: head.serial,
            condition: match frame.condition() {
                Condition::Steady => 0,
                Condition::Boundary => 1,
                Condition::Reset => 2,
                Condition::Unpowered => 3,
            },
            unbroken: u8::from(frame.unbroken()),
            entry,
            reason,
        };
        for (channel, reading) in Channel::first(u8::MAX).zip(&mut made.readings) {
            *reading = Reading::from(frame.reading(channel));
            if bounds {
                let bound = frame.current_bound(channel);
                reading.current_bound_na = bound.map_or(0, |bound| bound.total().as_nanoamps());
            }
        }
        made
    }
}

/// What a number says of the truth.
pub(crate) const fn side(side: Side) -> u8 {
    match side {
        Side::Near => 0,
        Side::AtLeast => 1,
        Side::Unknown => 2,
    }
}

const fn numbered(entry: Entry) -> (u8, u8) {
    match entry {
        Entry::Added => (1, 0),
        Entry::Turned => (2, 0),
        Entry::Opened => (3, 0),
        Entry::Broken { reason, reopened } => (if reopened { 4 } else { 5 }, why(reason)),
        Entry::Idle => (6, 0),
    }
}

/// Why an epoch ended.
pub(crate) const fn why(reason: Break) -> u8 {
    match reason {
        Break::Reset => 1,
        Break::Unpowered => 2,
        Break::TooLate => 3,
        Break::SetUpChanged => 4,
        Break::Clock => 5,
        Break::Rounds { .. } => 6,
    }
}
