use crake::alert::{
    AlertFlag, AlertFlags, AlertQueue, Answer, Kind, Limit, Limits, Outputs, Quantity, Threshold,
    alert_response,
};
use crake::asynch::ShuntMonitor as _;
use crake::config::LimitReason;
use crake::info::{PartInfo, Source};
use crake::part::pmbus::gallinule::{self, ADDRESSES, Gallinule, INFO};
use crake::part::pmbus::{Declaration, Device, Format, Page, Pmbus};
use crake::units::{Current, Power, Voltage};
use crake::{Channel, ErrorKind, Sample, ShuntMonitor as _, asynch};
use crake_sim::part::pmbus::{self as model, Coefficients, Description};
use embedded_hal::i2c::I2c;

use super::desk::{ADDRESS, BOARD, CHANNELS, CONFIG, Desk, USUAL, steps};

/// Each kind's limit on each page, a little beyond what the rail usually does; and what of the rail
/// then passes it.
fn cases() -> Vec<(usize, Threshold, f64, f64)> {
    let mut cases = vec![];
    for (page, (volts, amperes)) in USUAL.into_iter().enumerate() {
        let amperes = amperes.abs();
        let volt = |value: f64| Voltage::from_millivolts((value * 1e3).round() as i64);
        let ampere = |value: f64| Current::from_milliamps((value * 1e3).round() as i64);
        let watt = |value: f64| Power::from_nanowatts((value * 1e9).round() as i64);
        let mut case = |threshold, volts, amperes| cases.push((page, threshold, volts, amperes));
        case(
            Threshold::OverVoltage(volt(volts * 1.05)),
            volts * 1.1,
            amperes,
        );
        case(
            Threshold::UnderVoltage(volt(volts * 0.95)),
            volts * 0.9,
            amperes,
        );
        case(
            Threshold::OverCurrent(ampere(amperes * 1.5)),
            volts,
            amperes * 2.0,
        );
        case(
            Threshold::UnderCurrent(ampere(amperes * 0.5)),
            volts,
            amperes * 0.2,
        );
        case(
            Threshold::OverPower(watt(volts * amperes * 1.5)),
            volts,
            amperes * 2.0,
        );
    }
    cases
}

/// Every kind on every page: nothing before the limit is passed; then its flag and no other, the
/// line low where the device compares, and with the flag cleared and its reason gone, all quiet.
#[test]
fn every_limit_on_every_page() {
    for (page, threshold, volts, amperes) in cases() {
        let what = format!("page {page}, {threshold:?}");
        let desk = Desk::ideal();
        let usual = (USUAL[page].0, USUAL[page].1.abs());
        desk.rail(
            page,
            steps(usual.0, &[(200, volts), (300, usual.0)]),
            steps(usual.1, &[(200, amperes), (300, usual.1)]),
        );
        let mut monitor = desk.monitor();
        monitor.init(&CONFIG).unwrap();
        monitor.sample().unwrap();
        let channel = CHANNELS[page];
        let limits = [Limit::new(channel, threshold).to(Outputs::A)];
        let flag = AlertFlags::of(AlertFlag::Limit(channel, threshold.kind()));
        let mut seen = AlertFlags::empty();
        monitor
            .set_limits(&Limits::new(&limits), &mut seen)
            .unwrap();
        desk.run_ms(100);
        monitor.sample().unwrap();
        monitor.read_alerts(AlertFlags::all(), &mut seen).unwrap();
        assert_eq!(
            (seen, desk.line.edges().len()),
            (AlertFlags::empty(), 0),
            "{what}"
        );
        desk.bench.run_until(250_000_000);
        // Page 1 tells no power, and no page an under-current: the driver compares these.
        let kind = threshold.kind();
        let by_driver = kind == Kind::UnderCurrent || page == 1 && kind == Kind::OverPower;
        assert_eq!(desk.line.edges().is_empty(), by_driver, "{what}");
        if by_driver {
            monitor.sample().unwrap();
        }
        monitor.read_alerts(AlertFlags::all(), &mut seen).unwrap();
        assert_eq!(seen, flag, "{what}");
        desk.bench.run_until(400_000_000);
        monitor.sample().unwrap();
        let mut late = AlertFlags::empty();
        monitor.read_alerts(AlertFlags::all(), &mut late).unwrap();
        assert!(flag.contains(late), "{what}");
        let mut later = AlertFlags::empty();
        monitor.read_alerts(AlertFlags::all(), &mut later).unwrap();
        assert_eq!(
            (later, desk.is_low()),
            (AlertFlags::empty(), false),
            "{what}"
        );
    }
}

/// What a limit register holds lies on the safe side of what was asked for, and no further than a
/// step; so does what page 1 makes of it, which keeps limits in a form of its own (B3.2).
#[test]
fn limits_are_in_force_on_their_safe_side() {
    let desk = Desk::ideal();
    let mut monitor = desk.monitor();
    monitor.init(&CONFIG).unwrap();
    // Sixteenths of page 1's step of 1/64 A, so that every rounding occurs.
    for sixteenths in (100..2_000).step_by(37) {
        let nanoamps = i64::from(sixteenths) * 976_562;
        let threshold = Threshold::OverCurrent(Current::from_nanoamps(nanoamps));
        let limits = [Channel::C0, Channel::C1, Channel::C2]
            .map(|channel| Limit::new(channel, threshold).to(Outputs::A));
        let mut seen = AlertFlags::empty();
        monitor
            .set_limits(&Limits::new(&limits), &mut seen)
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
            let near = (0..=step + 500_000).contains(&below);
            assert!(near, "page {page}: {in_force} for {nanoamps}");
        }
    }
}

/// Gallinule, but for a voltage of page 2 whose slope falls: Y = (−5000 V − 1200) ÷ 10.
#[derive(Debug)]
struct Falling;
const FALLING: [Page; 4] = {
    let mut pages = [gallinule::DECLARATION.pages[0]; 4];
    pages[1] = gallinule::DECLARATION.pages[1];
    pages[2] = gallinule::DECLARATION.pages[2];
    pages[3] = gallinule::DECLARATION.pages[3];
    let (m, b, r) = (-5_000, -1_200, -1);
    pages[2].voltage = Format::Direct { m, b, r };
    pages
};
impl Device for Falling {
    const INFO: &'static PartInfo = &INFO;
    const DECLARATION: &'static Declaration = &Declaration {
        pages: &FALLING,
        ..gallinule::DECLARATION
    };
}

/// Words go down as the voltage rises: without limits the least word stands for the over-limit and
/// the greatest for the under-limit, and 50 V are −25 120, 40 V −20 120.
#[test]
fn limits_where_the_slope_falls() {
    let mut description = Description::gallinule();
    let (m, b, r) = (-5_000, -1_200, -1);
    description.pages[2].voltage.format = model::Format::Direct(Coefficients { m, b, r });
    let desk = Desk::of(description);
    desk.rail(2, steps(48.0, &[(100, 51.0), (200, 39.0)]), steps(1.0, &[]));
    let mut monitor = desk.monitor_of(Pmbus::<Falling, 4>::new(ADDRESS), &BOARD);
    monitor.init(&CONFIG).unwrap();
    let kept = |command| {
        let (mut bus, mut word) = (desk.bench.i2c(), [0; 2]);
        bus.write(ADDRESS, &[0x00, 2]).unwrap();
        bus.write_read(ADDRESS, &[command], &mut word).unwrap();
        i16::from_le_bytes(word)
    };
    assert_eq!([kept(0x42), kept(0x43)], [i16::MIN, i16::MAX]);
    let limit = |threshold| Limit::new(Channel::C2, threshold).to(Outputs::A);
    let limits = [
        limit(Threshold::OverVoltage(Voltage::from_volts(50))),
        limit(Threshold::UnderVoltage(Voltage::from_volts(40))),
    ];
    let mut seen = AlertFlags::empty();
    monitor
        .set_limits(&Limits::new(&limits), &mut seen)
        .unwrap();
    assert_eq!([kept(0x42), kept(0x43)], [-25_120, -20_120]);
    let flag = |kind| AlertFlags::of(AlertFlag::Limit(Channel::C2, kind));
    let [over, under] = [Kind::OverVoltage, Kind::UnderVoltage].map(flag);
    // What lasts sets its flag again once it was cleared.
    for (ms, expected) in [(90, AlertFlags::empty()), (150, over), (250, over | under)] {
        desk.bench.run_until(ms * 1_000_000);
        let mut seen = AlertFlags::empty();
        monitor.read_alerts(AlertFlags::all(), &mut seen).unwrap();
        assert_eq!(seen, expected, "{ms}");
    }
}

/// An under-limit that page 1 would keep too low is written a second time: 1.1 V needs no more than
/// a word of its own, so the current of a device whose limits are kept elsewhere is forged.
#[test]
fn a_limit_that_is_not_kept_is_refused() {
    let desk = Desk::ideal();
    let mut monitor = desk.monitor();
    monitor.init(&CONFIG).unwrap();
    desk.tape.borrow_mut().forged = vec![(vec![0x4A], vec![0x80, 0xD0])];
    let limit = Threshold::OverCurrent(Current::from_amps(5));
    let limits = [Limit::new(Channel::C1, limit).to(Outputs::A)];
    let limits = Limits::new(&limits);
    let error = monitor
        .set_limits(&limits, &mut AlertFlags::empty())
        .unwrap_err();
    assert_eq!(
        (error.fault(), error.register),
        (crake::bus::Fault::ReadBack, 0x4A)
    );
    assert!(!monitor.is_armed());
}

/// Fault bits, and bits of no limit, stay as they are and reach no line; a bit that was seen is
/// cleared and no other.
#[test]
fn exactly_what_was_seen_is_cleared() {
    let desk = Desk::ideal();
    let mut monitor = desk.monitor();
    monitor.init(&CONFIG).unwrap();
    let threshold = Threshold::OverCurrent(Current::from_amps(10));
    let limits = [Limit::new(Channel::C0, threshold).to(Outputs::A)];
    let mut seen = AlertFlags::empty();
    monitor
        .set_limits(&Limits::new(&limits), &mut seen)
        .unwrap();
    let raise = |register, bits| assert!(desk.part.with(|model| model.raise(0, register, bits)));
    // All but what is a warn limit of ours: OV and UV; OC and OP.
    raise(0x7A, 0x9F);
    raise(0x7B, 0xDE);
    raise(0x7E, 0xFF);
    monitor.read_alerts(AlertFlags::all(), &mut seen).unwrap();
    assert_eq!((seen, desk.line.edges().len()), (AlertFlags::empty(), 0));
    raise(0x7B, 0x20);
    desk.run_ms(1);
    assert_eq!(desk.line.edges().len(), 1);
    // One that is not wanted is neither told nor cleared.
    raise(0x7A, 0x40);
    let wanted = AlertFlags::of(AlertFlag::Limit(Channel::C0, Kind::OverCurrent));
    let found = monitor.read_alerts(wanted, &mut seen).unwrap();
    assert_eq!((found, seen), (wanted, wanted));
    assert_eq!(desk.line.edges().len(), 1, "up again");
    assert_eq!((desk.peek(0, 0x7A), desk.peek(0, 0x7B)), (0xDF, 0xDE));
}

/// Of a change nothing false is told: old bits of old limits are found and cleared, new limits are
/// compared from then on; limits that stood there from before our time are gone.
#[test]
fn a_change_of_limits_tells_nothing_false() {
    let desk = Desk::ideal();
    // Somebody's limit of 1 A, long passed, and the bit that it has set.
    desk.poke(0, &[0x4A, 0x01, 0x00]);
    desk.run_ms(20);
    assert_eq!(desk.peek(0, 0x7B), 0x20);
    let mut monitor = desk.monitor();
    monitor.init(&CONFIG).unwrap();
    let flag = AlertFlags::of(AlertFlag::Limit(Channel::C0, Kind::OverCurrent));
    let mut set = |amps| {
        let threshold = Threshold::OverCurrent(Current::from_amps(amps));
        let limits = [Limit::new(Channel::C0, threshold).to(Outputs::A)];
        let mut seen = AlertFlags::empty();
        monitor
            .set_limits(&Limits::new(&limits), &mut seen)
            .unwrap();
        desk.run_ms(20);
        (seen, desk.is_low())
    };
    // What stood there is told, for nobody knows of which limit it came.
    assert_eq!(set(5), (flag, false));
    // 4.2 A passes 4 A; then 5 A again, which it does not.
    assert_eq!(set(4), (AlertFlags::empty(), true));
    assert_eq!(set(5), (flag, false));
    assert_eq!(set(5), (AlertFlags::empty(), false));
}

/// With a queue, the alert response and a limit that stays passed.
#[test]
fn a_queue_serves_it_like_any_other() {
    let desk = Desk::ideal();
    let mut monitor = desk.monitor();
    monitor.init(&CONFIG).unwrap();
    monitor.sample().unwrap();
    let threshold = Threshold::OverVoltage(Voltage::from_millivolts(47_500));
    // The device has one output: what is to reach B reaches that.
    let limits = [Limit::new(Channel::C2, threshold).to(Outputs::B)];
    let limits = Limits::new(&limits);
    let mut queue: AlertQueue<'_, 4> = AlertQueue::new();
    queue.set_limits(&mut monitor, &limits).unwrap();
    desk.run_ms(20);
    let ask = || alert_response(&mut desk.bench.i2c()).unwrap();
    assert_eq!((ask(), ask()), (Answer::From(ADDRESS), Answer::Nobody));
    queue.service(&mut monitor).unwrap();
    let event = queue.next_event().unwrap();
    assert_eq!(
        event.flag(),
        AlertFlag::Limit(Channel::C2, Kind::OverVoltage)
    );
    assert_eq!(
        event.value(),
        Some(Quantity::Voltage(Voltage::from_volts(48)))
    );
    // Its flag alone is masked while it lasts.
    desk.run_ms(20);
    assert!(!desk.is_low());
    desk.rail(2, steps(40.0, &[]), steps(1.0, &[]));
    desk.run_ms(20);
    queue.service(&mut monitor).unwrap();
    desk.rail(2, steps(48.0, &[]), steps(1.0, &[]));
    desk.run_ms(20);
    assert!(desk.is_low());
    queue.service(&mut monitor).unwrap();
    assert!(queue.next_event().is_some());
}

/// The async face, once through everything.
#[test]
fn the_async_face_does_the_same() {
    let desk = Desk::ideal();
    let firmware = async {
        let part = Gallinule::new(ADDRESSES[0]);
        let (i2c, delay) = (desk.bench.i2c(), desk.bench.delay());
        let mut monitor = asynch::Monitor::new(i2c, delay, part, &BOARD).with_clock(desk.clock());
        monitor.init(&CONFIG).await.unwrap();
        let threshold = Threshold::OverCurrent(Current::from_amps(4));
        let limits = [Limit::new(Channel::C0, threshold).to(Outputs::A)];
        let limits = Limits::new(&limits);
        let mut queue: AlertQueue<'_, 4> = AlertQueue::new();
        queue
            .asynch()
            .set_limits(&mut monitor, &limits)
            .await
            .unwrap();
        let sample = monitor.sample().await.unwrap();
        let readings = CHANNELS.map(|channel| sample.reading(channel).unwrap());
        desk.run_ms(20);
        queue.asynch().service(&mut monitor).await.unwrap();
        (readings, queue.next_event().is_some())
    };
    let (readings, told) = desk
        .bench
        .block_on(firmware)
        .expect("nothing waits for ever");
    let other = Desk::ideal();
    let mut monitor = other.monitor();
    monitor.init(&CONFIG).unwrap();
    let sample = monitor.sample().unwrap();
    assert_eq!(
        CHANNELS.map(|channel| sample.reading(channel).unwrap()),
        readings
    );
    assert!(told);
}

/// Limits that follow their condition, or are debounced, are the driver's: the device can do
/// neither.
#[test]
fn what_the_device_cannot_do_the_driver_does() {
    let desk = Desk::ideal();
    desk.rail(0, steps(3.3, &[]), steps(4.2, &[(200, 8.0)]));
    assert_eq!(
        INFO.compared_by(0, Kind::OverCurrent, 3, true),
        Source::Driver
    );
    let threshold = Threshold::OverCurrent(Current::from_amps(5));
    let limits = [Limit::new(Channel::C0, threshold).debounce(3).silent()];
    let mut monitor = desk.monitor();
    monitor.init(&CONFIG).unwrap();
    let mut seen = AlertFlags::empty();
    monitor
        .set_limits(&Limits::new(&limits), &mut seen)
        .unwrap();
    desk.bench.run_until(250_000_000);
    let flag = AlertFlags::of(AlertFlag::Limit(Channel::C0, Kind::OverCurrent));
    for expected in [AlertFlags::empty(), AlertFlags::empty(), flag] {
        monitor.sample().unwrap();
        monitor.read_alerts(AlertFlags::all(), &mut seen).unwrap();
        assert_eq!(seen, expected);
        desk.run_ms(10);
    }
    assert!(desk.line.edges().is_empty());
}

/// A limit beyond what the page reaches: nothing is sent.
#[test]
fn a_limit_beyond_full_scale_is_refused() {
    let desk = Desk::ideal();
    let mut monitor = desk.monitor();
    monitor.init(&CONFIG).unwrap();
    desk.taken();
    let threshold = Threshold::OverVoltage(Voltage::from_volts(7));
    let limits = [Limit::new(Channel::C1, threshold).to(Outputs::A)];
    let limits = Limits::new(&limits);
    let error = monitor
        .set_limits(&limits, &mut AlertFlags::empty())
        .unwrap_err();
    let ErrorKind::Limits(error) = error.kind else {
        panic!("{error:?}")
    };
    assert_eq!(error.reason, LimitReason::BeyondFullScale);
    assert!(desk.taken().is_empty());
}
