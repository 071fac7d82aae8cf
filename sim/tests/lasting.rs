//! Scenarios like the one that once hung: whatever lasts, virtual time comes to its end, the bus
//! stays free, and what is told is what happened.

use std::cell::RefCell;
use std::io;
use std::rc::Rc;

use crake_sim::bench::Bench;
use crake_sim::bus::{Line, Transaction, WireWatcher};
use crake_sim::rng::Rng;
use crake_sim::run::{Observer, OnBench, Row, run};
use crake_sim::scenario::Scenario;

/// What limit, what the rail does beyond it, and what it does else: source in V and load in A.
const KINDS: [(&str, &str, [f64; 2]); 5] = [
    ("over_voltage", "limit_v = 6", [8.0, 1.0]),
    ("under_voltage", "limit_v = 4", [2.0, 1.0]),
    ("over_current", "limit_a = 1.5", [5.0, 3.0]),
    ("under_current", "limit_a = 0.5", [5.0, -1.0]),
    ("over_power", "limit_w = 8", [5.0, 3.0]),
];
const ELSE: [f64; 2] = [5.0, 1.0];
const CASES: u64 = 160;

/// A scenario drawn from a seed, and the moments in seconds at which its rail comes to be beyond
/// the limit.
struct Case {
    text: String,
    beyond_s: Vec<f64>,
    duration_s: f64,
    read_s: f64,
    look_again_s: Option<f64>,
    /// From the condition to its event: debounce, two conversions, and host and bus.
    told_within_s: f64,
}

fn one_of<T: Copy>(rng: &mut Rng, of: &[T]) -> T {
    of[rng.below(of.len() as u64) as usize]
}

fn drawn(seed: u64) -> Case {
    let rng = &mut Rng::new(seed).stream("lasting");
    let (kind, limit, there) = one_of(rng, &KINDS);
    let rate = one_of(rng, &[2000_u32, 500, 100, 10, 1]);
    let debounce = one_of(rng, &[1_u32, 1, 2, 15]);
    let read_s = 0.3 + rng.below(4_701) as f64 / 1e3;
    let scan_s = 1.0 / f64::from(rate);
    // Long enough for a reading, and for the debounce of a part that is 1.5 % slow.
    let unit_s = read_s.max(f64::from(debounce + 2) * scan_s * 1.02);
    // Beyond from the beginning or from the middle, to the end or back and beyond once more.
    let edges: &[f64] = one_of(
        rng,
        &[&[0.0][..], &[3.0], &[0.0, 3.0, 6.0], &[3.0, 6.0, 9.0]],
    );
    let duration_s = (12.0 * unit_s * 1e3).ceil() / 1e3;
    let look_again_s = one_of(rng, &[None, None, Some(0.25), Some(1.5)]);
    let hysteresis = one_of(
        rng,
        &["", "hysteresis_UNIT = 0\n", "hysteresis_UNIT = 0.3\n"],
    );
    let unit = &limit[6..7];

    let profile = |key: &str, place: usize| {
        let at = |beyond: bool| if beyond { there[place] } else { ELSE[place] };
        let begun = edges[0] == 0.0;
        let later = edges.iter().filter(|edge| **edge > 0.0).enumerate();
        let steps: Vec<_> = later
            .map(|(n, edge)| {
                let beyond = (n % 2 == 0) != begun;
                format!("[{:.6}, {}]", edge * unit_s, at(beyond))
            })
            .collect();
        let initial = at(begun);
        match steps.as_slice() {
            [] => format!(
                "{{ kind = \"constant\", {}_{key} = {initial} }}",
                match key {
                    "v" => "voltage",
                    _ => "current",
                }
            ),
            steps => format!(
                "{{ kind = \"steps\", initial_{key} = {initial}, steps = [{}] }}",
                steps.join(", ")
            ),
        }
    };
    let text = format!(
        "title = \"case {seed}\"\nduration_s = {duration_s}\npart.scan_rate = {rate}\n\
         host.read_every_s = {read_s:.3}\n[[rail]]\nname = \"MAIN\"\n\
         sense.resistance_ohm = 0.01\nsource = {}\nload = {}\n\
         [[rail.alert]]\nkind = \"{kind}\"\n{limit}\ndebounce = {debounce}\n\
         output = \"{}\"\nmode = \"{}\"\n{}{}",
        profile("v", 0),
        profile("a", 1),
        one_of(rng, &["A", "B", "both"]),
        one_of(rng, &["latching", "following"]),
        hysteresis.replace("UNIT", unit),
        look_again_s.map_or_else(String::new, |s| format!("look_again_s = {s}\n")),
    );
    let beyond_s = edges.iter().step_by(2).map(|edge| edge * unit_s).collect();
    Case {
        text,
        beyond_s,
        duration_s,
        read_s,
        look_again_s,
        told_within_s: (f64::from(debounce + 1) * scan_s + 125e-6) / 0.985 + 0.02,
    }
}

/// Ends a run that transfers more than it may, instead of waiting for it for ever.
struct Counter {
    left: u64,
    case: String,
}

impl WireWatcher for Counter {
    fn until(&mut self, _: u64) {}

    fn begin(&mut self, start_ns: u64) {
        self.left = self
            .left
            .checked_sub(1)
            .unwrap_or_else(|| panic!("transfers without end at {start_ns} ns\n{}", self.case));
    }

    fn edge(&mut self, _: u64, _: Line, _: bool) {}

    fn end(&mut self, _: &Transaction) {}
}

struct Watched(Rc<RefCell<Counter>>);

impl Observer for Watched {
    fn begin(&mut self, bench: &Bench, _: &[OnBench<'_>]) -> io::Result<()> {
        bench.watch_wires(Some(self.0.clone()));
        Ok(())
    }

    fn progress(&mut self, _: u64, _: u64) {}

    fn reading(&mut self, _: &Row<'_>) -> io::Result<()> {
        Ok(())
    }
}

/// What may come of a case: a sample each reading, one each second while a flag is masked, one each
/// look again, and a few for each event; some twenty transfers for each.
fn check(seed: u64) {
    let case = drawn(seed);
    let scenario = Scenario::parse(&case.text, "case.toml");
    let scenario = scenario.unwrap_or_else(|error| panic!("{error}\n{}", case.text));
    let every = |interval_s: f64| (case.duration_s / interval_s).ceil();
    let looks = case.look_again_s.map_or(0.0, every);
    let samples = every(case.read_s) + every(1.0) + looks + 4.0 * (1 + case.beyond_s.len()) as f64;
    let counter = Rc::new(RefCell::new(Counter {
        left: 20 * samples as u64,
        case: case.text.clone(),
    }));
    let report = run(&scenario, seed, &mut Watched(counter))
        .unwrap_or_else(|error| panic!("{error}\n{}", case.text));

    let told: Vec<f64> = report.alerts.iter().map(|alert| alert.time_s).collect();
    let is_of = |(told_s, beyond_s): (&f64, &f64)| {
        (*beyond_s..*beyond_s + case.told_within_s + 0.01).contains(told_s)
    };
    let matches = told.len() == case.beyond_s.len() && told.iter().zip(&case.beyond_s).all(is_of);
    assert!(
        matches,
        "told at {told:?}, beyond from {:?}\n{}",
        case.beyond_s, case.text
    );
    assert!(
        report.samples as f64 <= samples,
        "{} samples\n{}",
        report.samples,
        case.text
    );
    assert!(
        report.bus.busy_share < 0.1,
        "{}\n{}",
        report.bus.busy_share,
        case.text
    );
    assert!(report.verdict.holds, "{:?}\n{}", report.verdict, case.text);
}

/// Each kind of limit, from the beginning or from the middle, once or twice, at each rate, on both
/// outputs, latching and following, with hysteresis and without.
///
/// `LASTING=17 cargo test -p crake-sim --test program lasting` runs case 17 alone.
#[test]
fn whatever_lasts_the_run_ends_with_the_events_that_there_were() {
    if let Ok(seed) = std::env::var("LASTING") {
        return check(seed.parse().expect("a number"));
    }
    for seed in 0..CASES {
        if std::panic::catch_unwind(|| check(seed)).is_err() {
            panic!("LASTING={seed} cargo test -p crake-sim --test program lasting");
        }
    }
}
