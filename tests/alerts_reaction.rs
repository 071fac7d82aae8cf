//! From the crossing to the line: within debounce × round period and two conversions, by the slowest oscillator.

mod alerts_desk;

use std::cell::Cell;
use std::rc::Rc;

use alerts_desk::{ADDRESS, Desk, SETUP, events};
use crake::old::alert::{Cause, Kind, Limit, Outputs, Station, Watch, Watches};
use crake::old::units::{Current, Voltage};
use crake::old::{Channel, Mode, Setup, ShuntMonitor, part::Pace};
use crake_sim::board::SenseResistor;
use crake_sim::old::corncrake::Corncrake;
use crake_sim::plant::{Means, Plant, Truth};
use crake_suite::{datasheet, markdown::Document};

/// A rail that steps from one value to another at a moment, in the middle of an aperture as well.
struct Step {
    at_ns: Rc<Cell<u64>>,
    before: (f64, f64),
    after: (f64, f64),
}

impl Plant for Step {
    fn window(&mut self, from_ns: u64, to_ns: u64) -> Means {
        let at_ns = self.at_ns.get().clamp(from_ns, to_ns);
        let share = (to_ns - at_ns) as f64 / (to_ns - from_ns) as f64;
        let mixed = |before: f64, after: f64| before + (after - before) * share;
        Means {
            current_na: mixed(self.before.0, self.after.0),
            voltage_nv: mixed(self.before.1, self.after.1),
        }
    }

    fn truth(&mut self, _: u64) -> Truth {
        Truth::default()
    }
}

/// Where the step lies.
#[derive(Clone, Copy, PartialEq)]
enum Place {
    /// A little past the middle of the aperture that decides: too late to count there, and the longest to wait.
    JustMissed,
    /// Anywhere in a period.
    Drawn,
}

/// Drawn individuals with offset, gain, noise and an oscillator of their own; the step goes far enough beyond the limit for all of these.
#[test]
fn every_pace_and_debounce_reacts_in_time() {
    let document = Document::old_corncrake();
    let conversion_ns = datasheet::timing_ns(&document, "conversion");
    let off = f64::from(datasheet::common_limits(&document).oscillator_ppm) / 1e6;
    // Section 6: a frequency that is off by −1.5 % makes each time 1 ÷ 0.985 of its length.
    let (slowest, fastest) = (1.0 / (1.0 - off), 1.0 / (1.0 + off));
    let mut closest = 0.0_f64;
    for (pace, entry) in (0..).zip(datasheet::scan_rates(&document)) {
        for debounce in 1..=15_u8 {
            for seed in 0..4_u8 {
                let kind = Kind::ALL[usize::from(seed + debounce) % 5];
                let channel = (seed + pace) % 4;
                let place = [Place::JustMissed, Place::Drawn][usize::from(seed % 2)];
                let reaction_ns = reaction(
                    ADDRESS + seed,
                    (channel, kind),
                    (pace, entry.period_ns),
                    debounce,
                    place,
                ) as f64;
                let bound_ns =
                    (u64::from(debounce) * entry.period_ns + 2 * conversion_ns) as f64 * slowest;
                let name = format!("{kind}, pace {pace}, debounce {debounce}: {reaction_ns} ns");
                assert!(reaction_ns <= bound_ns, "{name}");
                // All rounds of the debounce but one lie between, or all of them.
                let rounds = u64::from(debounce - u8::from(place == Place::Drawn));
                let least_ns = (rounds * entry.period_ns) as f64 * fastest;
                assert!(reaction_ns >= least_ns, "{name}");
                closest = closest.max(reaction_ns / bound_ns);
            }
        }
    }
    // The bound is no luxury: somebody comes near it.
    assert!(closest > 0.98, "{closest}");
}

/// From the step to the line, in nanoseconds.
fn reaction(
    address: u8,
    (channel, kind): (u8, Kind),
    (pace, period_ns): (u8, u64),
    debounce: u8,
    place: Place,
) -> u64 {
    let desk = Desk::of(Corncrake::drawn(address), 1_000_000_000);
    let at_ns = Rc::new(Cell::new(u64::MAX));
    // 10 mA and 3 V to 20 mA and 4 V, or down to 5 mA and 2 V; the limits lie half-way.
    let before = (10e6, 3e9);
    let after = if kind.is_over() {
        (20e6, 4e9)
    } else {
        (5e6, 2e9)
    };
    let limit = match kind {
        Kind::OverVoltage => Limit::OverVoltage(Voltage::from_millivolts(3_500)),
        Kind::UnderVoltage => Limit::UnderVoltage(Voltage::from_millivolts(2_500)),
        Kind::OverCurrent => Limit::OverCurrent(Current::from_milliamps(15)),
        Kind::UnderCurrent => Limit::UnderCurrent(Current::from_microamps(7_500)),
        Kind::OverPower => Limit::OverPower(crake::old::units::Power::from_milliwatts(55)),
    };
    for number in 0..4 {
        let step = Step {
            at_ns: at_ns.clone(),
            before,
            after,
        };
        desk.part
            .rail(number, step, SenseResistor::ideal(desk.nanoohms))
            .expect("a channel");
    }
    let watches = [Watch::new(Channel::new(channel), limit)
        .debounce(debounce)
        .to(Outputs::B)];
    let setup = Setup {
        mode: Mode::Paced(Pace(pace)),
        ..SETUP
    };
    let mut monitor = crake::old::Monitor::new(
        desk.bench.i2c(),
        desk.bench.delay(),
        desk.bench.clock(),
        crake::old::part::corncrake::Corncrake::new(),
        address,
        alerts_desk::board(desk.nanoohms),
    );
    monitor.init(&setup).expect("a part that answers");
    let mut station: Station<'_, 4, 4> = Station::new(setup, Watches::limits(&watches));
    station.arm(&mut monitor).expect("watches that can be");
    desk.next_round();
    let crossing_ns = match place {
        Place::Drawn => {
            let mut rng = desk.bench.rng(&format!("{pace} {debounce} {address}"));
            desk.bench.now_ns() + 1 + rng.below(period_ns)
        }
        Place::JustMissed => {
            // Sense, then bus of each channel; the conversions before it, after the rest if there is one.
            let by_bus = !matches!(kind, Kind::OverCurrent | Kind::UnderCurrent);
            let before = 2 * u64::from(channel) + u64::from(by_bus);
            let done = desk.part.conversions() + before;
            while desk.part.conversions() < done
                || desk.part.next_event_ns() > Some(desk.bench.now_ns() + 64_000)
            {
                desk.step();
            }
            // 60 % into the aperture: 40 % of the step is too little.
            desk.bench.now_ns() + 37_500
        }
    };
    at_ns.set(crossing_ns);
    desk.bench.run_until(crossing_ns - 1);
    assert_eq!(
        desk.low(),
        [false, false],
        "{kind}: nothing before the step"
    );
    while !desk.low()[1] {
        desk.step();
        assert!(desk.bench.now_ns() < crossing_ns + 20 * period_ns);
    }
    let reaction_ns = desk.bench.now_ns() - crossing_ns;
    station.service(&mut monitor).expect("a part that answers");
    let told = events(&mut station);
    assert_eq!(told.len(), 1);
    assert_eq!(told[0].cause, Cause::Limit(Channel::new(channel), kind));
    reaction_ns
}
