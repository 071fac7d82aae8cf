use core::time::Duration;

use crake::{Channel, ShuntMonitor};
use crake_sim::bus::{Event, Logging};
use num_rational::BigRational;

use crate::fixture::{
    COARSE, CONVERSION_NS, FINE, Fixture, KEPT, Ramp, config, pulses, pulses_na, ramp_na, ratio,
};

const ONE_OHM: u64 = 1_000_000_000;

/// 1 Ω: as many nanovolts as nanoamperes. To the nearest code, halves away from zero, which is
/// `round` of num-rational.
fn code(na: &BigRational, lsb_nv: i128) -> i32 {
    let code = (na / ratio(lsb_nv, 1)).round().to_integer();
    i32::try_from(code).expect("18 bits")
}

/// Section 3.4: 500 nV in the coarse range, 200 nV in the fine one.
#[test]
fn codes_are_what_the_plant_did() {
    type Mean = fn((u64, u64)) -> BigRational;
    for (channel, sense, lsb_nv, ramp, scans) in (0..4)
        .flat_map(|channel| [(channel, COARSE, 500), (channel, FINE, 200)])
        .flat_map(|(channel, sense, lsb)| [true, false].map(|ramp| (channel, sense, lsb, ramp)))
        .flat_map(|(channel, sense, lsb, ramp)| {
            [1, 500, 2_000].map(|scans| (channel, sense, lsb, ramp, scans))
        })
    {
        let fixture = Fixture::new(ONE_OHM);
        let (windows, mean) = if ramp {
            (fixture.fit(channel, Ramp), ramp_na as Mean)
        } else {
            (fixture.fit(channel, pulses()), pulses_na as Mean)
        };
        let mut monitor = fixture.monitor();
        monitor.init(&config(sense, scans)).expect("a part");
        fixture.bench.run_for(Duration::from_micros(7_777));
        monitor
            .start_capture(Channel::new(channel))
            .expect("a capture");
        let mut codes = [0; KEPT + 8];
        let capture = monitor.fetch_capture(0, &mut codes).expect("codes");
        let windows = windows.borrow();
        let own = &windows[windows.len() - KEPT..];
        let expected: Vec<i32> = own.iter().map(|of| code(&mean(*of), lsb_nv)).collect();
        assert_eq!(capture.codes(), expected);
        for pair in own.windows(2) {
            assert_eq!(pair[0].1 - pair[0].0, CONVERSION_NS, "16 000 a second");
            assert_eq!(pair[0].1, pair[1].0, "back to back");
        }
        assert_eq!(codes[KEPT..], [0; 8]);
    }
}

/// Whatever room there is and whatever the bus can read at once, codes come from where they were
/// asked for, oldest first, no more than fit, and fetching takes nothing away.
#[test]
fn as_many_codes_as_fit() {
    let fixture = Fixture::new(ONE_OHM);
    fixture.fit(1, Ramp);
    let mut monitor = fixture.monitor();
    monitor.init(&config(COARSE, 500)).expect("a part");
    monitor.start_capture(Channel::C1).expect("a capture");
    let mut all = [0; KEPT];
    let capture = monitor.fetch_capture(0, &mut all).expect("codes");
    assert!(
        capture.codes().windows(2).all(|pair| pair[0] < pair[1]),
        "a ramp"
    );
    for read_max in [2, 4, 6, 7, 32, 48, 49, 255] {
        monitor.set_read_max(read_max);
        for first in [0, 1, 500, 1_008, 1_023, 1_024, 2_000, u16::MAX] {
            for room in [0, 1, 2, 15, 16, 17, 33] {
                let mut codes = vec![i32::MIN; room];
                let capture = monitor.fetch_capture(first, &mut codes).expect("codes");
                let from = usize::from(first).min(KEPT);
                let expected = &all[from..(from + room).min(KEPT)];
                assert_eq!(capture.codes(), expected, "{first}, {room}, {read_max}");
                let count = expected.len();
                assert!(codes[count..].iter().all(|code| *code == i32::MIN));
            }
        }
    }
}

/// No read of a fetch is longer than the bus can do.
#[test]
fn reads_keep_to_the_cap() {
    let fixture = Fixture::new(ONE_OHM);
    fixture.fit(0, Ramp);
    let mut monitor = fixture.monitor();
    monitor.init(&config(COARSE, 500)).expect("a part");
    monitor.start_capture(Channel::C0).expect("a capture");
    for read_max in [4, 32, 255] {
        monitor.set_read_max(read_max);
        fixture.bench.set_logging(Logging::Full);
        let before = fixture.bench.log().len();
        monitor.fetch_capture(0, &mut [0; 100]).expect("codes");
        let log = fixture.bench.log();
        let lengths = log[before..].iter().map(|transfer| {
            let events = transfer.events.iter();
            events
                .filter(|event| matches!(event, Event::Received { .. }))
                .count()
        });
        let longest = lengths.max().expect("transfers");
        // 16 codes are the most that the part gives; a half, a quarter and so on of them fit.
        let expected = [(4, 4), (32, 25), (255, 49)];
        assert!(
            expected.contains(&(read_max, longest)),
            "{read_max}: {longest}"
        );
    }
}
