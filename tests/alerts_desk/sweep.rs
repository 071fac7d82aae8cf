//! Excursions of one conversion at every position within a service, however it is made, and what has to be told of them.

use crake::old::ShuntMonitor;
use crake::old::alert::{Cause, Event, Station, Watches};
use crake_sim::bus::{Logging, Speed, Transaction};

use super::faults::*;
use super::{CAUSES, Desk, LIMITS, events};

/// An over-current starts a service; an under-voltage of one single conversion comes at every position within it, in steps of less than two bits of the bus.
pub fn rises_anywhere(
    service_ns: u64,
    serve: impl FnMut(&Desk, &mut Stationed, Told<'_>) -> Vec<Event>,
) {
    let mut in_one_service = 0;
    sweep(UNDER_VOLTAGE, service_ns, serve, |told, set_ns, log| {
        assert_eq!(count(told, OVER_CURRENT), 1, "set at {set_ns}");
        assert_eq!(count(told, UNDER_VOLTAGE), 1, "set at {set_ns}");
        assert_eq!(told.len(), 2);
        in_one_service += usize::from(reads_of_causes(log).len() == 3);
    });
    assert!(in_one_service > 50, "{in_one_service}");
}

/// The same, but what rises within the service is what it is already about. Until the last look it merges; after it, it is told again.
pub fn recurs_anywhere(
    service_ns: u64,
    serve: impl FnMut(&Desk, &mut Stationed, Told<'_>) -> Vec<Event>,
) {
    let (mut merged, mut again) = (0, 0);
    sweep(OVER_CURRENT, service_ns, serve, |told, set_ns, log| {
        let latch = log
            .iter()
            .position(|entry| entry.to_string().starts_with("S 64 03 "))
            .expect("a latch");
        let reads = reads_of_causes(&log[..latch]);
        let (began_ns, ended_ns) = *reads.last().expect("a look that finds nothing");
        let told = count(told, OVER_CURRENT);
        if set_ns < began_ns {
            assert_eq!(told, 1, "set at {set_ns}, last look at {began_ns}");
            merged += 1;
        } else if set_ns > ended_ns {
            assert_eq!(told, 2, "set at {set_ns}, last look until {ended_ns}");
            again += 1;
        } else {
            // The value is sampled somewhere within the read.
            assert!(told == 1 || told == 2);
        }
    });
    assert!(merged > 50 && again > 200, "{merged} merged, {again} again");
}

/// When CAUSES was read, from START to STOP.
fn reads_of_causes(log: &[Transaction]) -> Vec<(u64, u64)> {
    log.iter()
        .filter(|entry| entry.to_string().starts_with("S 64 37 Sr 65 "))
        .map(|entry| (entry.start_ns, entry.stop_ns))
        .collect()
}

/// Serves an over-current, with a further excursion of one conversion that ends at each position of the service in turn; hands over what was told in all, when that conversion ended, and what
/// went over the bus.
fn sweep(
    cause: Cause,
    service_ns: u64,
    mut serve: impl FnMut(&Desk, &mut Stationed, Told<'_>) -> Vec<Event>,
    mut judge: impl FnMut(&[Event], u64, &[Transaction]),
) {
    let mut positions = 0;
    let mut longest_ns = 0;
    for shift_ns in (0..service_ns).step_by(4_300) {
        let desk = Desk::new();
        desk.bench.set_bus_speed(Speed::Fast);
        let first = desk.excursion(0, AT_REST, MUCH);
        let second = desk.excursion(1, AT_REST, LOW);
        for channel in [2, 3] {
            desk.hands[channel].set(AT_REST.0, AT_REST.1);
        }
        let mut monitor = desk.monitor();
        monitor.init(&FAST).expect("a part that answers");
        let mut station: Stationed = Station::new(FAST, Watches::limits(&WATCHES));
        station.arm(&mut monitor).expect("watches that can be");
        excursion_of_one_conversion(&desk, &first);
        assert_eq!(desk.low(), [true, false]);

        // Rounds follow each other without a gap: sense of channel 0 ends 62.5 µs into each, bus of channel 1 250 µs. The conversion that shall end `shift_ns` after the
        // service begins is fixed; the service begins by so much earlier.
        let into_round = if cause == OVER_CURRENT {
            62_500
        } else {
            250_000
        };
        let set_ns = desk.bench.now_ns() + 5_000_000 + into_round;
        let plant = if cause == OVER_CURRENT {
            &first
        } else {
            &second
        };
        plant.when_ns.borrow_mut().push((set_ns - 62_500, set_ns));
        let service_ns = set_ns - shift_ns;
        desk.bench.run_until(service_ns);
        desk.bench.set_logging(Logging::Full);
        let mut told = serve(&desk, &mut station, &mut monitor);
        longest_ns = longest_ns.max(desk.bench.now_ns() - service_ns);
        // It may lie behind the service: the next one tells it.
        desk.bench.run_until(set_ns);
        told.extend(serve(&desk, &mut station, &mut monitor));
        judge(&told, set_ns, &desk.bench.log());
        assert_eq!(desk.register(CAUSES) & LIMITS, 0);
        assert!(events(&mut station).is_empty() && station.pending().is_empty());
        positions += 1;
    }
    assert!(positions > 1_000);
    assert!(
        longest_ns > service_ns / 3 * 2,
        "the sweep covers a service of {longest_ns} ns"
    );
}
