//! Excursions of one conversion at every position within a service, however it is made, and what
//! has to be told of them.

use crake::alert::{AlertFlag, Event};
use crake_sim::bench::I2c;
use crake_sim::bus::{Logging, Speed, Transaction};

use crate::faults::*;
use crate::fixture::{Blocking, FAST, Fixture, events};

pub type Serve = fn(&Fixture, &mut Queue, &mut Blocking<I2c>) -> Vec<Event>;

/// An over-current starts a service; an under-voltage of one single conversion comes at every
/// position within it, in steps of less than two bits of the bus.
pub fn rises_anywhere(service_ns: u64, serve: Serve) {
    let mut in_one_service = 0;
    sweep(UNDER_VOLTAGE, service_ns, serve, |told, set_ns, log| {
        assert_eq!(count(told, OVER_CURRENT), 1, "set at {set_ns}");
        assert_eq!(count(told, UNDER_VOLTAGE), 1, "set at {set_ns}");
        assert_eq!(told.len(), 2);
        let latches = log.iter().filter(|entry| is_latch(entry)).count();
        in_one_service += usize::from(latches == 1);
    });
    assert!(in_one_service > 10, "{in_one_service}");
}

/// The same, but what rises within the service is what it is already about.
///
/// Until the look at the flags it merges, for no sample showed it over; after the look that follows
/// the sample it is told again. In between it merges, too: it lies wholly between a sample and that
/// look, or is the end of what was told.
pub fn recurs_anywhere(service_ns: u64, serve: Serve) {
    let (mut merged, mut again) = (0, 0);
    sweep(OVER_CURRENT, service_ns, serve, |told, set_ns, log| {
        let (began_ns, ended_ns) = look_after_a_sample(log);
        let told = count(told, OVER_CURRENT);
        if set_ns < began_ns {
            assert_eq!(told, 1, "set at {set_ns}, looked at {began_ns}");
            merged += 1;
        } else if set_ns > ended_ns {
            assert_eq!(told, 2, "set at {set_ns}, looked until {ended_ns}");
            again += 1;
        } else {
            // The value is sampled somewhere within the read.
            assert!(told == 1 || told == 2);
        }
    });
    assert!(merged > 50 && again > 150, "{merged} merged, {again} again");
}

fn is_latch(entry: &Transaction) -> bool {
    entry.to_string().starts_with("S 64 03 ")
}

/// When FLAGS was read right after a block, from START to STOP; another user's reads of CONDITIONS
/// aside.
fn look_after_a_sample(log: &[Transaction]) -> (u64, u64) {
    let of = |entry: &Transaction, start: &str| entry.to_string().starts_with(start);
    let own: Vec<&Transaction> = log.iter().filter(|entry| !of(entry, "S 64 38 ")).collect();
    let pair = own
        .windows(2)
        .find(|pair| of(pair[0], "S 64 80 Sr 65 ") && of(pair[1], "S 64 37 Sr 65 "));
    let look = pair.expect("a look after the sample")[1];
    (look.start_ns, look.stop_ns)
}

/// Serves an over-current, with a further excursion of one conversion that ends at each position of
/// the service in turn; hands over what was told in all, when that conversion ended, and what went
/// over the bus.
fn sweep(
    flag: AlertFlag,
    service_ns: u64,
    serve: Serve,
    mut judge: impl FnMut(&[Event], u64, &[Transaction]),
) {
    let mut positions = 0;
    let mut longest_ns = 0;
    for shift_ns in (0..service_ns).step_by(4_300) {
        let fixture = Fixture::new();
        fixture.bench.set_bus_speed(Speed::Fast);
        let first = fixture.excursion(0, AT_REST, MUCH);
        let second = fixture.excursion(1, AT_REST, LOW);
        for channel in [2, 3] {
            fixture.hands[channel].set(AT_REST.0, AT_REST.1);
        }
        let mut monitor = fixture.monitor();
        crake::ShuntMonitor::init(&mut monitor, &FAST).expect("a part that answers");
        let mut queue = Queue::new();
        queue
            .set_limits(&mut monitor, &LIMITS)
            .expect("limits that can be");
        excursion_of_one_conversion(&fixture, &first);
        assert_eq!(fixture.low(), [true, false]);

        // Scans follow each other without a gap: sense of channel 0 ends 62.5 µs into each, rail of
        // channel 1 250 µs. The conversion that shall end `shift_ns` after the service begins is
        // fixed; the service begins by so much earlier.
        let into_scan = if flag == OVER_CURRENT {
            62_500
        } else {
            250_000
        };
        let set_ns = fixture.bench.now_ns() + 10_000_000 + into_scan;
        let plant = if flag == OVER_CURRENT {
            &first
        } else {
            &second
        };
        plant.when_ns.borrow_mut().push((set_ns - 62_500, set_ns));
        let service_ns = set_ns - shift_ns;
        fixture.bench.run_until(service_ns);
        fixture.bench.set_logging(Logging::Full);
        let mut told = serve(&fixture, &mut queue, &mut monitor);
        longest_ns = longest_ns.max(fixture.bench.now_ns() - service_ns);
        // It may lie behind the service: the next one tells it.
        fixture.bench.run_until(set_ns);
        told.extend(serve(&fixture, &mut queue, &mut monitor));
        told.extend(serve_until_rest(&fixture, &mut queue, &mut monitor));
        judge(&told, set_ns, &fixture.bench.log());
        assert_eq!(fixture.flags(), 0);
        assert!(events(&mut queue).is_empty() && queue.pending().is_empty());
        positions += 1;
    }
    assert!(positions > 1_000);
    assert!(
        longest_ns > service_ns / 3 * 2,
        "the sweep covers a service of {longest_ns} ns"
    );
}
