//! What the part converted, reckoned from the rails' apertures, and what a limit makes of it by the
//! datasheet's sections 3.6 and 4. Neither the model's codes nor the driver's are looked at.

use std::cell::RefCell;
use std::rc::Rc;

use crake::alert::{Kind, Limit, Quantity};
use crake_sim::plant::{Means, Plant, Truth};

use super::case::Level;

/// A rail that holds each level from its moment on, as conversions see it: what holds when one
/// begins. It keeps each aperture's end and level.
pub struct Staged {
    levels: Vec<(u64, Level)>,
    apertures: Apertures,
}

pub type Apertures = Rc<RefCell<Vec<(u64, Level)>>>;

impl Staged {
    pub fn new(levels: Vec<(u64, Level)>) -> (Self, Apertures) {
        let apertures = Apertures::default();
        let staged = Self {
            levels,
            apertures: apertures.clone(),
        };
        (staged, apertures)
    }
}

impl Plant for Staged {
    fn window(&mut self, from_ns: u64, to_ns: u64) -> Means {
        let begun = self.levels.partition_point(|(at_ns, _)| *at_ns <= from_ns);
        let (_, level) = self.levels[begun.max(1) - 1];
        self.apertures.borrow_mut().push((to_ns, level));
        Means {
            current_na: level.0 as f64,
            voltage_nv: level.1 as f64,
        }
    }

    fn truth(&mut self, _: u64) -> Truth {
        Truth::default()
    }
}

/// One conversion, or one product of two, as a limit sees it.
#[derive(Clone, Copy, Debug)]
pub struct Conversion {
    pub ends_ns: u64,
    /// In 20ths of nanoamperes, nanovolts or nanowatts.
    pub value: i64,
    pub condition: bool,
    /// Back by the hysteresis.
    pub is_over: bool,
}

/// All scans of a limit's channel, as the limit sees them.
pub struct History {
    pub scans: Vec<Conversion>,
    pub excursions: Vec<Excursion>,
}

/// Conversions in a row that found the condition set.
#[derive(Clone, Copy, Debug)]
pub struct Excursion {
    pub first_ns: u64,
    pub last_ns: u64,
    /// The end of the first conversion that did not; of the last excursion of all, for ever.
    pub over_ns: u64,
}

/// Section 3.4, in nanovolts; the sense resistor is 1 Ω.
const SENSE_LSB: i64 = 500;
const RAIL_LSB: i64 = 100_000;

impl History {
    /// The apertures of the limit's channel, and when the limit came into force. The start of a
    /// single shot clears counts and conditions (section 3.3).
    pub fn new(
        limit: &Limit,
        apertures: &[(u64, Level)],
        since_ns: u64,
        is_single_shot: bool,
    ) -> Self {
        let threshold = limit.threshold().billionths() * 20;
        let release = of(limit.release());
        let is_over = limit.kind().is_over();
        let mut count = 0;
        let mut scans = Vec::new();
        // Sense, then rail of each scan: section 1.
        for pair in apertures.chunks_exact(2) {
            let (ends_ns, value) = compared(limit.kind(), pair);
            let beyond = match is_over {
                true => value > threshold,
                false => value < threshold,
            };
            count = match (beyond && ends_ns > since_ns, is_single_shot) {
                (true, false) => count + 1,
                (now, _) => u32::from(now),
            };
            scans.push(Conversion {
                ends_ns,
                value,
                condition: count >= u32::from(limit.debounce_count()),
                is_over: match is_over {
                    true => value <= release,
                    false => value >= release,
                },
            });
        }
        let mut excursions: Vec<Excursion> = Vec::new();
        let mut before = false;
        for scan in &scans {
            match (before, scan.condition) {
                (false, true) => excursions.push(Excursion {
                    first_ns: scan.ends_ns,
                    last_ns: scan.ends_ns,
                    over_ns: u64::MAX,
                }),
                (true, now) => {
                    let excursion = excursions.last_mut().expect("one has begun");
                    match now {
                        true => excursion.last_ns = scan.ends_ns,
                        false => excursion.over_ns = scan.ends_ns,
                    }
                }
                (false, false) => {}
            }
            before = scan.condition;
        }
        Self { scans, excursions }
    }
}

/// In 20ths of a billionth.
pub fn of(quantity: Quantity) -> i64 {
    quantity.billionths() * 20
}

fn compared(kind: Kind, pair: &[(u64, Level)]) -> (u64, i64) {
    let [(sense_ns, (current, _)), (rail_ns, (_, voltage))] = *pair else {
        panic!("two conversions");
    };
    // 18 bits signed and 16 unsigned (section 4); the levels are whole codes.
    let sense = (current / SENSE_LSB).clamp(-(1 << 17), (1 << 17) - 1);
    let rail = (voltage / RAIL_LSB).clamp(0, (1 << 16) - 1);
    match kind {
        Kind::OverCurrent | Kind::UnderCurrent => (sense_ns, sense * SENSE_LSB * 20),
        Kind::OverVoltage | Kind::UnderVoltage => (rail_ns, rail * RAIL_LSB * 20),
        // 500 nA times 100 µV is a 20th of a nanowatt.
        Kind::OverPower => (rail_ns, sense * rail),
    }
}
