//! Every kind × channel × output mask × latching or following × debounce, walked completely: what
//! the part does from a condition that comes, stands and goes, through driver, bus and model.
//!
//! What is expected is the plain reading of the datasheet's section 3.6, worked out here and
//! nowhere else.

use std::time::Duration;

use crake::alert::{
    AlertFlag, AlertQueue, Kind, Lasting, Limit, Limits, Outputs, Quantity, Threshold,
};
use crake::units::{Current, Power, Voltage};
use crake::{Channel, ShuntMonitor};
use crake_sim::bench::I2c;

use crate::fixture::{Blocking, CONDITIONS, CONFIG, Fixture, told};

/// On the limit: sense and rail code. 1 Ω makes a sense code 500 nA; a rail code is 100 µV.
const SENSE: i64 = 2_000;
const RAIL: i64 = 30_000;

/// Kind, number of its flag within a channel, sense and rail code one step beyond the limit,
/// whether the rail conversion decides (else sense).
const KINDS: [(Kind, u32, (i64, i64), bool); 5] = [
    (Kind::OverVoltage, 0, (SENSE, RAIL + 1), true),
    (Kind::UnderVoltage, 1, (SENSE, RAIL - 1), true),
    (Kind::OverCurrent, 2, (SENSE + 1, RAIL), false),
    (Kind::UnderCurrent, 3, (SENSE - 1, RAIL), false),
    (Kind::OverPower, 4, (SENSE, RAIL + 1), true),
];

const MASKS: [(Outputs, [bool; 2]); 4] = [
    (Outputs::empty(), [false, false]),
    (Outputs::A, [true, false]),
    (Outputs::B, [false, true]),
    (Outputs::all(), [true, true]),
];

const HIGH: [bool; 2] = [false, false];

fn threshold(kind: Kind) -> Threshold {
    let voltage = Voltage::from_microvolts(RAIL * 100);
    let current = Current::from_nanoamps(SENSE * 500);
    match kind {
        Kind::OverVoltage => Threshold::OverVoltage(voltage),
        Kind::UnderVoltage => Threshold::UnderVoltage(voltage),
        Kind::OverCurrent => Threshold::OverCurrent(current),
        Kind::UnderCurrent => Threshold::UnderCurrent(current),
        // 3 V × 1 mA.
        Kind::OverPower => Threshold::OverPower(Power::from_milliwatts(3)),
    }
}

#[test]
fn every_kind_channel_mask_latching_and_debounce() {
    let mut cases = 0;
    for channel in 0..4 {
        for kind in KINDS {
            for mask in MASKS {
                for latching in [false, true] {
                    let fixture = Fixture::new();
                    let mut monitor = fixture.monitor();
                    monitor.init(&CONFIG).expect("a part that answers");
                    for debounce in 1..=15 {
                        let how = (mask, latching, debounce);
                        case(&fixture, &mut monitor, channel, kind, how);
                        cases += 1;
                    }
                }
            }
        }
    }
    assert_eq!(cases, 4 * 5 * 4 * 2 * 15);
}

fn case(
    fixture: &Fixture,
    monitor: &mut Blocking<I2c>,
    channel: u8,
    (kind, bit, beyond, by_rail): (Kind, u32, (i64, i64), bool),
    ((mask, lines), latching, debounce): ((Outputs, [bool; 2]), bool, u8),
) {
    let name =
        format!("{kind} of channel {channel}, {mask:?}, latching {latching}, debounce {debounce}");
    let flag = 1_u64 << (5 * u32::from(channel) + bit);
    let place = usize::from(channel);
    let rail = |(sense, rail): (i64, i64)| fixture.hands[place].set(sense * 500, rail * 100_000);
    // The others pass every such limit, were they watched.
    for (other, hand) in fixture.hands.iter().enumerate() {
        if other % 2 == 0 {
            hand.set(-30_000_000, 0);
        } else {
            hand.set(60_000_000, 6_000_000_000);
        }
    }
    rail((SENSE, RAIL));

    let mut limit = Limit::new(Channel::new(channel), threshold(kind))
        .debounce(debounce)
        .hysteresis(Quantity::of(kind, 0))
        .lasting(Lasting::LookAgain(Duration::from_secs(1)))
        .to(mask);
    if !latching {
        limit = limit.following();
    }
    if mask.is_empty() {
        limit = limit.silent();
    }
    let limits = [limit];
    let limits = Limits::new(&limits);
    let mut queue: AlertQueue<'_, 4> = AlertQueue::new();
    queue
        .set_limits(monitor, &limits)
        .expect("limits that can be");
    assert!(told(&mut queue).is_empty(), "{name}: at arming");
    fixture.finish_scan();

    // On the limit is not beyond it.
    let quiet = |what: &str| {
        let before = fixture.part.conversions();
        while fixture.part.conversions() < before + 8 {
            fixture.step();
            assert_eq!(fixture.low(), HIGH, "{name}: {what}");
        }
    };
    quiet("on the limit");
    // One conversion fewer than the debounce, and then a break: it counts from nothing again.
    rail(beyond);
    for _ in 1..debounce {
        quiet("bounce");
    }
    rail((SENSE, RAIL));
    quiet("break");
    let set = || (fixture.register(CONDITIONS), fixture.flags());
    assert_eq!(set(), (0, 0), "{name}: after the break");
    rail(beyond);
    for _ in 1..debounce {
        quiet("too few");
    }
    // The conversion that completes the debounce, and no other, changes the lines: sense, then rail
    // of each channel.
    let decisive = 2 * u64::from(channel) + u64::from(by_rail) + 1;
    let before = fixture.part.conversions();
    loop {
        fixture.step();
        let done = fixture.part.conversions() - before;
        let expected = if done < decisive { HIGH } else { lines };
        assert_eq!(fixture.low(), expected, "{name}: after conversion {done}");
        if done == 8 {
            break;
        }
    }
    assert_eq!(set(), (flag, flag), "{name}: set");

    // Cleared while the condition stands: the lines go up, the condition stays, the next conversion
    // of the kind sets the flag again.
    fixture.clear(flag);
    assert_eq!(fixture.low(), HIGH, "{name}: cleared");
    assert_eq!(set(), (flag, 0), "{name}: cleared");
    fixture.next_scan();
    assert_eq!(fixture.low(), lines, "{name}: set again");
    assert_eq!(set(), (flag, flag), "{name}: set again");

    // The driver's service tells it, whether it reaches a line or not, and tells it once.
    let wanted = AlertFlag::Limit(Channel::new(channel), kind);
    queue.service(monitor).expect("a part that answers");
    assert_eq!(told(&mut queue), [wanted], "{name}: while it stands");
    fixture.next_scan();
    assert_eq!(fixture.low(), lines, "{name}: it still stands");
    queue.service(monitor).expect("a part that answers");
    assert!(told(&mut queue).is_empty(), "{name}: told before");
    fixture.next_scan();

    // The first conversion that is back ends the condition; a following flag goes with it, a
    // latching one stays, and is cleared with the condition that it came of.
    rail((SENSE, RAIL));
    fixture.next_scan();
    let (stays, low) = if latching { (flag, lines) } else { (0, HIGH) };
    assert_eq!(set(), (0, stays), "{name}: back");
    assert_eq!(fixture.low(), low, "{name}: back");
    queue.service(monitor).expect("a part that answers");
    assert!(told(&mut queue).is_empty(), "{name}: after it");
    assert!(queue.lasting().is_empty(), "{name}: seen to be over");
    assert_eq!(fixture.low(), HIGH, "{name}: served");
    fixture.next_scan();
    assert_eq!(set(), (0, 0), "{name}: for good");
}
