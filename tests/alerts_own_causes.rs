//! Causes that are about the part as a whole: rollover ahead, round done, reset seen (datasheet, section 3.6).

mod alerts_desk;

use std::time::Duration;

use alerts_desk::{CAUSES, Desk, SETUP, events};
use crake::old::alert::{Cause, Limit, Outputs, Station, Watch, Watches};
use crake::old::units::Current;
use crake::old::{Channel, Condition, Mode, Setup, ShuntMonitor};

/// Section 3.6.
const ROUND_DONE: u64 = 1 << 21;
const RESET_SEEN: u64 = 1 << 22;
/// Section 3.6 again: three quarters of 28 bits.
const ROUNDS_NEAR: u32 = 0x0C00_0000;

type Stationed = Station<'static, 4, 8>;

fn told(station: &mut Stationed) -> Vec<Cause> {
    events(station).iter().map(|event| event.cause).collect()
}

#[test]
fn rollover_ahead_reaches_its_output_once() {
    let desk = Desk::new();
    let mut monitor = desk.monitor();
    monitor.init(&SETUP).expect("a part that answers");
    // One that happened before anybody watched is an old story.
    desk.part.preload_rounds(ROUNDS_NEAR - 1);
    desk.next_round();
    let watches = Watches::default().rollover_ahead(Outputs::B);
    let mut station: Stationed = Station::new(SETUP, watches);
    station.arm(&mut monitor).expect("watches that can be");
    desk.next_round();
    assert_eq!(desk.low(), [false, false]);
    assert_eq!(told(&mut station), []);

    desk.part.preload_rounds(ROUNDS_NEAR - 2);
    desk.next_round();
    assert_eq!(desk.low(), [false, false]);
    desk.next_round();
    assert_eq!(desk.low(), [false, true]);
    station.service(&mut monitor).expect("a part that answers");
    assert_eq!(told(&mut station), [Cause::RolloverAhead]);
    desk.next_round();
    assert_eq!(desk.low(), [false, false]);
    // One that stands when the watches change was watched for: it is not lost.
    desk.part.preload_rounds(ROUNDS_NEAR - 1);
    desk.next_round();
    station
        .rearm(&mut monitor, SETUP, Watches::default())
        .expect("watches that can be");
    assert_eq!(told(&mut station), [Cause::RolloverAhead]);
}

#[test]
fn round_done_is_told_after_each_single_shot() {
    let setup = Setup {
        mode: Mode::SingleShot,
        ..SETUP
    };
    let desk = Desk::new();
    let mut monitor = desk.monitor();
    monitor.init(&SETUP).expect("a part that answers");
    desk.next_round();
    let watches = Watches {
        round_done: Outputs::A,
        ..Watches::default()
    };
    let mut station: Stationed = Station::new(setup, watches);
    for _ in 0..3 {
        // Arming starts the single-shot, and the round before it is not taken for it.
        station.arm(&mut monitor).expect("watches that can be");
        desk.bench.run_for(Duration::from_millis(2));
        station.service(&mut monitor).expect("a part that answers");
        assert!(told(&mut station).contains(&Cause::RoundDone));
        assert_eq!(desk.low(), [false, false]);
        assert_eq!(desk.register(CAUSES) & ROUND_DONE, 0);
    }
}

/// `init` resets the part: that is not news. A reset that nobody asked for is, and shows by looking: the masks are gone with it.
#[test]
fn a_reset_of_our_own_is_no_event_and_another_one_is() {
    let desk = Desk::new();
    let mut monitor = desk.monitor();
    monitor.init(&SETUP).expect("a part that answers");
    assert_eq!(desk.register(CAUSES) & RESET_SEEN, RESET_SEEN);
    let watches = Watches {
        reset_seen: Outputs::A,
        ..Watches::default()
    };
    let mut station: Stationed = Station::new(SETUP, watches);
    station.arm(&mut monitor).expect("watches that can be");
    desk.next_round();
    assert_eq!(desk.low(), [false, false]);
    station.service(&mut monitor).expect("a part that answers");
    assert_eq!(told(&mut station), []);

    desk.part.brown_out();
    desk.bench.run_for(Duration::from_millis(2));
    let frame = station.service(&mut monitor).expect("a part that answers");
    assert_eq!(frame.condition(), Condition::Reset);
    assert_eq!(told(&mut station), [Cause::ResetSeen]);

    // Set up again, the part has been reset once more, by us.
    monitor.init(&SETUP).expect("a part that answers");
    station.arm(&mut monitor).expect("watches that can be");
    station.service(&mut monitor).expect("a part that answers");
    assert_eq!(told(&mut station), []);
}

/// A cause that follows goes when its limit goes; it stood when the change began, and is told.
#[test]
fn a_following_cause_that_stands_at_a_change_is_told() {
    static OLD: [Watch; 1] =
        [Watch::new(Channel::C0, Limit::OverCurrent(Current::from_milliamps(10))).to(Outputs::A)];
    static NEW: [Watch; 1] =
        [Watch::new(Channel::C3, Limit::OverCurrent(Current::from_milliamps(10))).to(Outputs::A)];
    let desk = Desk::new();
    let mut monitor = desk.monitor();
    monitor.init(&SETUP).expect("a part that answers");
    let mut station: Stationed = Station::new(SETUP, Watches::limits(&OLD));
    station.arm(&mut monitor).expect("watches that can be");
    desk.hands[0].set(20_000_000, 0);
    desk.next_round();
    desk.next_round();
    station
        .rearm(&mut monitor, SETUP, Watches::limits(&NEW))
        .expect("watches that can be");
    let told = events(&mut station);
    assert_eq!(told.len(), 1);
    let limit = Limit::OverCurrent(Current::from_milliamps(10));
    assert_eq!(told[0].in_force, Some(limit));
    // The reading is of the moment at which the change took over, in the old ranges.
    let reading = told[0].reading.expect("a limit's").expect("a reading");
    assert_eq!(reading.current, Current::from_milliamps(20));
    desk.next_round();
    assert_eq!(desk.low(), [false, false]);
}
