//! From the crossing to the line: within debounce × scan period and two conversions, by the slowest
//! oscillator; and from there to the event.

use std::cell::Cell;
use std::rc::Rc;

use crake::alert::{AlertFlag, AlertQueue, Kind, Limit, Limits, Outputs, Threshold};
use crake::config::{Config, ScanRate};
use crake::part::corncrake::{Address, Corncrake};
use crake::units::{Current, Power, Voltage};
use crake::{Channel, Monitor, ShuntMonitor};
use crake_sim::board::SenseResistor;
use crake_sim::part::corncrake as model;
use crake_sim::plant::{Means, Plant, Truth};
use crake_suite::{datasheet, markdown::Document};

use crate::fixture::{ADDRESS, COARSE, Fixture, board, told};

/// At the addresses from 0x32 on; each address is an individual of its own.
const STRAPS: [Address; 4] = [
    Address::Strap0,
    Address::Strap1,
    Address::Strap2,
    Address::Strap3,
];

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
    /// A little past the middle of the aperture that decides: too late to count there, and the
    /// longest to wait.
    JustMissed,
    /// Anywhere in a period.
    Drawn,
}

/// Individuals with offset, gain, noise and an oscillator of their own; the step goes far enough
/// beyond the limit for all of these.
#[test]
fn every_scan_rate_and_debounce_reacts_in_time() {
    let document = Document::corncrake();
    let conversion_ns = datasheet::timing_ns(&document, "conversion");
    let off = f64::from(datasheet::common_limits(&document).oscillator_ppm) / 1e6;
    // Section 6: a frequency that is off by −1.5 % makes each time 1 ÷ 0.985 of its length.
    let (slowest, fastest) = (1.0 / (1.0 - off), 1.0 / (1.0 + off));
    let mut closest = 0.0_f64;
    for (rate, entry) in (0_u8..).zip(datasheet::scan_rates(&document)) {
        for debounce in 1..=15_u8 {
            for seed in 0..4_u8 {
                let kind = Kind::ALL[usize::from(seed + debounce) % 5];
                let channel = (seed + rate) % 4;
                let place = [Place::JustMissed, Place::Drawn][usize::from(seed % 2)];
                let reaction_ns = reaction(
                    (ADDRESS + seed, STRAPS[usize::from(seed)]),
                    (channel, kind),
                    entry.period_ns,
                    debounce,
                    place,
                ) as f64;
                let bound_ns =
                    (u64::from(debounce) * entry.period_ns + 2 * conversion_ns) as f64 * slowest;
                let name = format!("{kind}, rate {rate}, debounce {debounce}: {reaction_ns} ns");
                assert!(reaction_ns <= bound_ns, "{name}");
                // All scans of the debounce but one lie between, or all of them.
                let scans = u64::from(debounce - u8::from(place == Place::Drawn));
                let least_ns = (scans * entry.period_ns) as f64 * fastest;
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
    (address, strap): (u8, Address),
    (channel, kind): (u8, Kind),
    period_ns: u64,
    debounce: u8,
    place: Place,
) -> u64 {
    let fixture = Fixture::of(model::Corncrake::new(address), 1_000_000_000);
    let at_ns = Rc::new(Cell::new(u64::MAX));
    // 10 mA and 3 V to 20 mA and 4 V, or down to 5 mA and 2 V; the limits lie half-way.
    let before = (10e6, 3e9);
    let after = if kind.is_over() {
        (20e6, 4e9)
    } else {
        (5e6, 2e9)
    };
    let limit = match kind {
        Kind::OverVoltage => Threshold::OverVoltage(Voltage::from_millivolts(3_500)),
        Kind::UnderVoltage => Threshold::UnderVoltage(Voltage::from_millivolts(2_500)),
        Kind::OverCurrent => Threshold::OverCurrent(Current::from_milliamps(15)),
        Kind::UnderCurrent => Threshold::UnderCurrent(Current::from_microamps(7_500)),
        Kind::OverPower => Threshold::OverPower(Power::from_milliwatts(55)),
    };
    for number in 0..4 {
        let step = Step {
            at_ns: at_ns.clone(),
            before,
            after,
        };
        fixture
            .part
            .rail(number, step, SenseResistor::ideal(fixture.nanoohms))
            .expect("a channel");
    }
    let limits = [Limit::new(Channel::new(channel), limit)
        .debounce(debounce)
        .to(Outputs::B)];
    let limits = Limits::new(&limits);
    let rate = ScanRate::per_second((1_000_000_000 / period_ns) as u32);
    let config = Config::continuous([COARSE; 4], rate);
    let (i2c, delay) = (fixture.bench.i2c(), fixture.bench.delay());
    let corncrake = Corncrake::new(strap);
    let mut monitor = Monitor::new(i2c, delay, corncrake, board(fixture.nanoohms));
    monitor.init(&config).expect("a part that answers");
    let mut queue: AlertQueue<'_, 4> = AlertQueue::new();
    queue
        .set_limits(&mut monitor, &limits)
        .expect("limits that can be");
    fixture.next_scan();
    let crossing_ns = match place {
        Place::Drawn => {
            let mut rng = fixture
                .bench
                .rng(&format!("{period_ns} {debounce} {address}"));
            fixture.bench.now_ns() + 1 + rng.below(period_ns)
        }
        Place::JustMissed => {
            // Sense, then rail of each channel; the conversions before it, after the rest if there
            // is one.
            let by_rail = !matches!(kind, Kind::OverCurrent | Kind::UnderCurrent);
            let before = 2 * u64::from(channel) + u64::from(by_rail);
            let done = fixture.part.conversions() + before;
            while fixture.part.conversions() < done
                || fixture.part.next_event_ns() > Some(fixture.bench.now_ns() + 64_000)
            {
                fixture.step();
            }
            // 60 % into the aperture: 40 % of the step is too little.
            fixture.bench.now_ns() + 37_500
        }
    };
    at_ns.set(crossing_ns);
    fixture.bench.run_until(crossing_ns - 1);
    assert_eq!(
        fixture.low(),
        [false, false],
        "{kind}: nothing before the step"
    );
    while !fixture.low()[1] {
        fixture.step();
        assert!(fixture.bench.now_ns() < crossing_ns + 20 * period_ns);
    }
    let reaction_ns = fixture.bench.now_ns() - crossing_ns;
    queue.service(&mut monitor).expect("a part that answers");
    let flag = AlertFlag::Limit(Channel::new(channel), kind);
    assert_eq!(told(&mut queue), [flag]);
    reaction_ns
}
