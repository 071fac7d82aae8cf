use crake::old::alert::{
    Answer, Cause, Causes, Kind, Limit, Outputs, Station, Watch, Watches, alert_response,
};
use crake::old::part::Source;
use crake::old::part::pmbus::gallinule::{Gallinule, SPEC};
use crake::old::units::{Current, Power, Voltage};
use crake::old::{Channel, Misuse, ShuntMonitor};
use embedded_hal::i2c::I2c;

use super::desk::{ADDRESS, Desk, USUAL, board, setup, steps};

/// Each kind's limit on each page, half a volt or so beyond what the rail usually does; and what of
/// the rail then passes it.
fn cases() -> Vec<(usize, Limit, f64, f64)> {
    let mut cases = vec![];
    for (page, (volts, amperes)) in USUAL.into_iter().enumerate() {
        let volt = |value: f64| Voltage::from_millivolts((value * 1e3).round() as i64);
        let ampere = |value: f64| Current::from_milliamps((value * 1e3).round() as i64);
        let watt = |value: f64| Power::from_nanowatts((value * 1e9).round() as i64);
        cases.push((
            page,
            Limit::OverVoltage(volt(volts * 1.05)),
            volts * 1.1,
            amperes,
        ));
        cases.push((
            page,
            Limit::UnderVoltage(volt(volts * 0.95)),
            volts * 0.9,
            amperes,
        ));
        cases.push((
            page,
            Limit::OverCurrent(ampere(amperes * 1.5)),
            volts,
            amperes * 2.0,
        ));
        cases.push((
            page,
            Limit::UnderCurrent(ampere(amperes * 0.5)),
            volts,
            amperes * 0.2,
        ));
        cases.push((
            page,
            Limit::OverPower(watt(volts * amperes * 1.5)),
            volts,
            amperes * 2.0,
        ));
    }
    cases
}

/// Every kind on every page: nothing before the limit is passed; then its cause and no other, the
/// line low where the device compares, and with the cause cleared and its reason gone, all quiet.
#[test]
fn every_limit_on_every_page() {
    for (page, limit, volts, amperes) in cases() {
        let what = format!("page {page}, {limit:?}");
        let (desk, board) = (Desk::ideal(), board());
        let usual = USUAL[page];
        desk.rail(
            page,
            steps(usual.0, &[(200, volts), (300, usual.0)]),
            steps(usual.1, &[(200, amperes), (300, usual.1)]),
        );
        let mut monitor = desk.monitor(Gallinule::new(), &board);
        monitor.init(&setup()).unwrap();
        desk.run_ms(20);
        let channel = Channel::new(page as u8);
        let watch = Watch::new(channel, limit).held().to(Outputs::A);
        let cause = Cause::Limit(channel, limit.kind());
        let mut found = Causes::empty();
        monitor
            .arm(&setup(), &Watches::limits(&[watch]), &mut found)
            .unwrap();
        desk.run_ms(100);
        monitor.service(Causes::all(), &mut found).unwrap();
        assert_eq!(found, Causes::empty(), "{what}");
        assert_eq!(desk.edges(), 0, "{what}");
        desk.bench.run_until(250_000_000);
        // Page 1 tells no power, and no page an under-current: the driver judges these.
        let by_driver =
            limit.kind() == Kind::UnderCurrent || (page == 1 && limit.kind() == Kind::OverPower);
        assert_eq!(desk.edges() == 0, by_driver, "{what}");
        if by_driver {
            monitor.latch().unwrap();
        }
        monitor.service(Causes::all(), &mut found).unwrap();
        assert_eq!(found, Causes::of(cause), "{what}");
        desk.bench.run_until(400_000_000);
        let mut late = Causes::empty();
        monitor.service(Causes::all(), &mut late).unwrap();
        assert!(Causes::of(cause).contains(late), "{what}");
        let mut later = Causes::empty();
        monitor.service(Causes::all(), &mut later).unwrap();
        assert_eq!(later, Causes::empty(), "{what}");
        assert!(!desk.is_low(), "{what}");
    }
}

/// What a limit register holds lies on the safe side of what was asked for, and no further than a
/// step; so does what page 1 makes of it, which keeps limits in a format of its own.
#[test]
fn limits_are_in_force_on_their_safe_side() {
    // Sixteenths of page 1's step of 1/64 A, so that every rounding occurs.
    for sixteenths in (100..2_000).step_by(37) {
        let nanoamps = i64::from(sixteenths) * 976_562;
        let (desk, board) = (Desk::ideal(), board());
        let mut monitor = desk.monitor(Gallinule::new(), &board);
        monitor.init(&setup()).unwrap();
        let limit = Limit::OverCurrent(Current::from_nanoamps(nanoamps));
        let watches =
            [0, 1, 2].map(|page| Watch::new(Channel::new(page), limit).held().to(Outputs::A));
        monitor
            .arm(&setup(), &Watches::limits(&watches), &mut Causes::empty())
            .unwrap();
        for (page, step) in [(0, 15_625_000), (1, 15_625_000), (2, 1_250_000)] {
            let mut word = [0; 2];
            let mut bus = desk.bench.i2c();
            bus.write(ADDRESS, &[0x00, page]).unwrap();
            bus.write_read(ADDRESS, &[0x4A], &mut word).unwrap();
            let word = u16::from_le_bytes(word);
            let in_force = if page == 2 {
                (i64::from(word as i16) - 475) * 1_250_000 // m = 800, b = 475, R = 0
            } else {
                let mantissa = i64::from(((word << 5) as i16) >> 5) * 1_000_000_000;
                mantissa >> (32 - (word >> 11))
            };
            // Our code of 500 µA comes in between.
            let below = nanoamps - in_force;
            assert!(
                (0..=step + 500_000).contains(&below),
                "page {page}: {in_force} for {nanoamps}"
            );
        }
    }
}

/// Fault bits, and warnings that nobody asked for, stay as they are and reach no line; a bit that
/// was seen is cleared and no other.
#[test]
fn exactly_what_was_seen_is_cleared() {
    let (desk, board) = (Desk::ideal(), board());
    let mut monitor = desk.monitor(Gallinule::new(), &board);
    monitor.init(&setup()).unwrap();
    let limit = Limit::OverCurrent(Current::from_amps(10));
    let watch = Watch::new(Channel::C0, limit).held().to(Outputs::A);
    let mut found = Causes::empty();
    monitor
        .arm(&setup(), &Watches::limits(&[watch]), &mut found)
        .unwrap();
    // All but OC warning.
    let raise = |register, bits| assert!(desk.part.with(|model| model.raise(0, register, bits)));
    raise(0x7A, 0xFF);
    raise(0x7B, 0xDF);
    assert_eq!(desk.edges(), 0);
    monitor.service(Causes::all(), &mut found).unwrap();
    assert_eq!(found, Causes::empty());
    raise(0x7B, 0x20);
    desk.run_ms(1);
    assert_eq!(desk.edges(), 1);
    monitor.service(Causes::all(), &mut found).unwrap();
    assert_eq!(
        found,
        Causes::of(Cause::Limit(Channel::C0, Kind::OverCurrent))
    );
    assert_eq!(desk.edges(), 1);
    assert_eq!(
        (desk.peek(Some(0), 0x7A), desk.peek(Some(0), 0x7B)),
        (0xFF, 0xDF)
    );
}

/// Of a change nothing false is told: old bits of old limits are found and cleared, new limits are
/// judged from then on; limits that stood there from before our time are gone.
#[test]
fn a_change_of_limits_tells_nothing_false() {
    let (desk, board) = (Desk::ideal(), board());
    // Somebody's limit of 1 A, long passed, and the bit that it has set.
    desk.poke(0, &[0x4A, 0x01, 0x00]);
    desk.run_ms(20);
    assert_eq!(desk.peek(Some(0), 0x7B), 0x20);
    let mut monitor = desk.monitor(Gallinule::new(), &board);
    monitor.init(&setup()).unwrap();
    let watch = |amps| {
        Watch::new(Channel::C0, Limit::OverCurrent(Current::from_amps(amps)))
            .held()
            .to(Outputs::A)
    };
    let mut found = Causes::empty();
    monitor
        .arm(&setup(), &Watches::limits(&[watch(5)]), &mut found)
        .unwrap();
    desk.run_ms(20);
    assert_eq!(found, Causes::empty());
    assert_eq!(desk.edges(), 0);
    // 4.2 A passes 4 A; then 5 A again, which it does not.
    monitor
        .arm(&setup(), &Watches::limits(&[watch(4)]), &mut found)
        .unwrap();
    assert_eq!(found, Causes::empty());
    desk.run_ms(20);
    assert!(desk.is_low());
    monitor
        .arm(&setup(), &Watches::limits(&[watch(5)]), &mut found)
        .unwrap();
    assert_eq!(
        found,
        Causes::of(Cause::Limit(Channel::C0, Kind::OverCurrent))
    );
    desk.run_ms(20);
    let mut late = Causes::empty();
    monitor.service(Causes::all(), &mut late).unwrap();
    assert_eq!(late, Causes::empty());
    assert!(!desk.is_low());
}

/// With a station, the alert response and a limit that stays passed: an event at every service, and
/// the limit that is in force.
#[test]
fn a_station_serves_it_like_any_other() {
    let (desk, board) = (Desk::ideal(), board());
    let mut monitor = desk.monitor(Gallinule::new(), &board);
    monitor.init(&setup()).unwrap();
    desk.run_ms(20);
    let limit = Limit::OverVoltage(Voltage::from_millivolts(47_500));
    let watches = [Watch::new(Channel::C2, limit).held().to(Outputs::B)];
    let mut station = Station::<4, 4>::new(setup(), Watches::limits(&watches));
    station.arm(&mut monitor).unwrap();
    desk.run_ms(20);
    assert_eq!(
        alert_response(&mut desk.bench.i2c()).unwrap(),
        Answer::From(ADDRESS)
    );
    assert_eq!(
        alert_response(&mut desk.bench.i2c()).unwrap(),
        Answer::Nobody
    );
    station.service(&mut monitor).unwrap();
    let event = station.next_event().unwrap();
    assert_eq!(event.cause, Cause::Limit(Channel::C2, Kind::OverVoltage));
    assert_eq!(event.in_force, Some(limit));
    assert_eq!(
        event.reading.unwrap().unwrap().voltage,
        Voltage::from_volts(48)
    );
    station.service(&mut monitor).unwrap();
    assert!(station.next_event().is_some());
}

/// Watches that follow their condition, or are debounced, are the driver's: the device can do
/// neither.
#[test]
fn what_the_device_cannot_do_the_driver_does() {
    let (desk, board) = (Desk::ideal(), board());
    desk.rail(0, steps(3.3, &[]), steps(4.2, &[(200, 8.0)]));
    let limit = Limit::OverCurrent(Current::from_amps(5));
    let watch = Watch::new(Channel::C0, limit)
        .held()
        .debounce(3)
        .to(Outputs::A);
    assert_eq!(SPEC.judged_by(&watch), Source::Driver);
    let mut monitor = desk.monitor(Gallinule::new(), &board);
    monitor.init(&setup()).unwrap();
    desk.run_ms(20);
    let mut found = Causes::empty();
    monitor
        .arm(&setup(), &Watches::limits(&[watch]), &mut found)
        .unwrap();
    desk.bench.run_until(250_000_000);
    for expected in [
        Causes::empty(),
        Causes::empty(),
        Causes::of(Cause::Limit(Channel::C0, Kind::OverCurrent)),
    ] {
        let mut found = Causes::empty();
        monitor.service(Causes::all(), &mut found).unwrap();
        assert_eq!(found, expected);
        desk.run_ms(10);
    }
    assert_eq!(desk.edges(), 0);
}

#[test]
fn what_no_such_device_tells_is_refused() {
    let (desk, board) = (Desk::ideal(), board());
    let mut monitor = desk.monitor(Gallinule::new(), &board);
    monitor.init(&setup()).unwrap();
    desk.tape.borrow_mut().rewind();
    let watches = Watches::limits(&[]).rollover_ahead(Outputs::A);
    let error = monitor
        .arm(&setup(), &watches, &mut Causes::empty())
        .unwrap_err();
    assert_eq!(error.misuse(), Some(Misuse::NotTold(Cause::RolloverAhead)));
    assert!(desk.tape.borrow().transfers.is_empty());
}
