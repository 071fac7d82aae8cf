use alloc::{rc::Rc, vec::Vec};
use core::cell::RefCell;

use crake::{Clock, totals::Update};

use super::Part;
use crate::{
    part::{PartModel, corncrake},
    plant::Truth,
};

/// Keeps what really flowed through a part's rails over the time that totals cover: gaps are in
/// neither.
///
/// A sample's moment lies between two readings of the host's clock. So the witness looks at the
/// rails whenever [its clock](Self::clock) is read, and takes the middle of what it saw at the last
/// two readings.
///
/// ```
/// use core::time::Duration;
/// use crake::board::{self, Board, Load};
/// use crake::config::{Config, FullScale, ScanRate};
/// use crake::part::corncrake::{Address, Corncrake, INFO};
/// use crake::totals::{Margins, Totals};
/// use crake::units::{Current, Resistance, Tolerance, Voltage};
/// use crake::{Channel, Monitor, ShuntMonitor};
/// use crake_sim::bench::{Bench, Witness};
/// use crake_sim::board::SenseResistor;
/// use crake_sim::part::corncrake;
/// use crake_sim::plant::{Constant, Rail, Source};
///
/// static RAILS: [board::Rail; 1] = [board::Rail::new(board::SenseResistor::new(
///     Resistance::from_milliohms(10),
///     Tolerance::from_percent(1),
/// ))
/// .with_load(Load::smooth(Current::from_amps(2)))];
/// static BOARD: Board<1> = Corncrake::board(&RAILS);
/// const FULL_SCALE: FullScale =
///     FullScale::new(Voltage::from_millivolts(25), Voltage::from_volts(6));
///
/// # fn main() -> Result<(), Box<dyn core::error::Error>> {
/// let bench = Bench::new(1);
/// let part = bench.part(corncrake::Corncrake::new(0x32))?;
/// let source = Source::of(Constant::new(5_000_000_000)?);
/// let rail = Rail::new(source, Constant::new(2_000_000_000)?)?;
/// part.rail(0, rail, SenseResistor::ideal(10_000_000))?;
///
/// let mut witness = Witness::new(&part);
/// let corncrake = Corncrake::new(Address::Strap0);
/// let mut monitor = Monitor::new(bench.i2c(), bench.delay(), corncrake, &BOARD)
///     .with_clock(witness.clock(bench.clock()));
/// monitor.init(&Config::continuous([FULL_SCALE], ScanRate::per_second(500)))?;
/// let margins = Margins::new(&INFO, &BOARD, &RAILS);
/// let mut totals = Totals::with_bounds(&margins);
/// for _ in 0..60 {
///     bench.run_for(Duration::from_secs(1));
///     witness.note(totals.update(monitor.sample()?));
/// }
/// let total = totals.energy(Channel::C0).ok_or("no rail")?;
/// let truth = witness.truth(0).energy();
/// assert!(total.bound.contains(total.value.saturating_sub(truth)));
/// # Ok(())
/// # }
/// ```
pub struct Witness<M = corncrake::Model> {
    part: Part<M>,
    seen: Rc<RefCell<[Vec<Truth>; 2]>>,
    rails: Vec<Accounted>,
}

/// A host's clock whose readings a [`Witness`] sees.
pub struct WitnessedClock<C, M = corncrake::Model> {
    inner: C,
    part: Part<M>,
    seen: Rc<RefCell<[Vec<Truth>; 2]>>,
}

impl<M: PartModel> Witness<M> {
    /// A witness of all rails of `part`, which has seen nothing yet.
    pub fn new(part: &Part<M>) -> Self {
        let channels = part.with(|model| model.channels());
        Self {
            part: part.clone(),
            seen: Rc::default(),
            rails: alloc::vec![Accounted::default(); channels],
        }
    }

    /// The clock to be given to the monitor: `inner` itself, such as the bench's, with a look at
    /// the rails at each reading.
    pub fn clock<C: Clock>(&self, inner: C) -> WitnessedClock<C, M> {
        WitnessedClock {
            inner,
            part: self.part.clone(),
            seen: self.seen.clone(),
        }
    }

    /// Takes what the totals made of the sample that was taken last.
    pub fn note(&mut self, update: Update) {
        let [before, after] = &*self.seen.borrow();
        for ((rail, before), after) in self.rails.iter_mut().zip(before).zip(after) {
            rail.note(update, before.middle(after));
        }
    }

    /// What flowed through a channel's rail in the time that the totals cover; nothing through a
    /// channel that the part does not have.
    pub fn truth(&self, channel: usize) -> Truth {
        let rail = self.rails.get(channel);
        rail.map_or(Truth::default(), Accounted::truth)
    }
}

impl<C: Clock, M: PartModel> Clock for WitnessedClock<C, M> {
    fn now_us(&mut self) -> u64 {
        let channels = self.part.with(|model| model.channels());
        let truths = (0..channels).map(|channel| self.part.truth(channel).unwrap_or_default());
        let [before, after] = &mut *self.seen.borrow_mut();
        core::mem::swap(before, after);
        after.clear();
        after.extend(truths);
        self.inner.now_us()
    }
}

/// One rail, stretch by stretch.
#[derive(Clone, Copy, Debug, Default)]
struct Accounted {
    closed: Truth,
    /// Where the open stretch begins, and how far it has come.
    open: Option<(Truth, Truth)>,
}

impl Accounted {
    /// Takes what the totals made of a sample that was latched when `now` had flowed since time 0.
    fn note(&mut self, update: Update, now: Truth) {
        match update {
            Update::Continued | Update::Clipped => {
                if let Some((_, end)) = &mut self.open {
                    *end = now;
                }
            }
            Update::First | Update::Discontinuity(_) => {
                self.closed = self.truth();
                self.open = Some((now, now));
            }
            Update::NotCounting => {}
        }
    }

    /// All stretches together.
    fn truth(&self) -> Truth {
        let open = self.open.map(|(start, end)| end.since(&start));
        self.closed.and(&open.unwrap_or_default())
    }
}
#[cfg(test)]
mod tests {
    use crake::totals::Discontinuity;

    use super::*;

    /// Charge and energy by one count.
    fn at(count: i128) -> Truth {
        Truth {
            charge_half_na_ns: count,
            energy_sixth_na_nv_ns: -count,
        }
    }

    #[test]
    fn what_flows_in_a_gap_is_left_out() {
        let broken = Update::Discontinuity(Discontinuity::TooLate);
        let mut accounted = Accounted::default();
        let samples = [
            (Update::NotCounting, 3, 0),
            (Update::First, 10, 0),
            (Update::Continued, 15, 5),
            (Update::Clipped, 17, 7),
            (broken, 100, 7),
            (Update::Continued, 101, 8),
            (broken, 200, 8),
            (Update::NotCounting, 300, 8),
            (Update::First, 1_000, 8),
            (Update::Continued, 1_002, 10),
        ];
        for (update, now, all) in samples {
            accounted.note(update, at(now));
            assert_eq!(accounted.truth(), at(all), "{update:?} at {now}");
        }
    }

    /// 1 A at 5 V, seen after 1 and 3 ms, and after 10 and 14 ms: the middles lie 10 ms apart.
    #[test]
    fn a_sample_stands_in_the_middle_of_its_bracket() {
        use crake::units::{Charge, Energy};

        use crate::bench::Bench;
        use crate::board::SenseResistor;
        use crate::plant::{Constant, Rail, Source};

        let bench = Bench::new(1);
        let part = bench.part(corncrake::Corncrake::ideal(0x32)).unwrap();
        let source = Source::of(Constant::new(5_000_000_000).unwrap());
        let rail = Rail::new(source, Constant::new(1_000_000_000).unwrap()).unwrap();
        let resistor = SenseResistor::ideal(10_000_000);
        part.rail(2, rail, resistor).unwrap();
        let mut witness = Witness::new(&part);
        let mut clock = witness.clock(bench.clock());
        for (update, moments_ms) in [(Update::First, [1, 3]), (Update::Continued, [10, 14])] {
            for ms in moments_ms {
                bench.run_until(ms * 1_000_000);
                assert_eq!(clock.now_us(), ms * 1_000);
            }
            witness.note(update);
        }
        let truth = witness.truth(2);
        assert_eq!(truth.charge(), Charge::from_millicoulombs(10));
        assert_eq!(truth.energy(), Energy::from_millijoules(50));
        assert_eq!(witness.truth(1), Truth::default());
        assert_eq!(witness.truth(4), Truth::default());
    }
}
