//! Every kind × channel × output mask × hold × debounce, walked completely: what the part does from a condition that comes, stands and goes, through driver, bus and model.
//!
//! What is expected is the plain reading of the datasheet's section 3.6, worked out here and nowhere else.

mod alerts_desk;

use alerts_desk::{CAUSES, Desk, LEVELS, LIMITS, SETUP, events};
use crake::old::alert::{Cause, Kind, Limit, Outputs, Station, Watch, Watches};
use crake::old::units::{Current, Power, Voltage};
use crake::old::{Channel, ShuntMonitor};

/// On the limit: sense and bus code. 1 Ω makes a sense code 500 nA; a bus code is 100 µV.
const SENSE: i64 = 2_000;
const BUS: i64 = 30_000;

/// Kind, number of its cause bit within a channel, sense and bus code one step beyond the limit, whether the bus conversion decides (else sense).
const KINDS: [(Kind, u32, (i64, i64), bool); 5] = [
    (Kind::OverVoltage, 0, (SENSE, BUS + 1), true),
    (Kind::UnderVoltage, 1, (SENSE, BUS - 1), true),
    (Kind::OverCurrent, 2, (SENSE + 1, BUS), false),
    (Kind::UnderCurrent, 3, (SENSE - 1, BUS), false),
    (Kind::OverPower, 4, (SENSE, BUS + 1), true),
];

const MASKS: [(Outputs, [bool; 2]); 4] = [
    (Outputs::empty(), [false, false]),
    (Outputs::A, [true, false]),
    (Outputs::B, [false, true]),
    (Outputs::all(), [true, true]),
];

const HIGH: [bool; 2] = [false, false];

fn limit(kind: Kind) -> Limit {
    let voltage = Voltage::from_microvolts(BUS * 100);
    let current = Current::from_nanoamps(SENSE * 500);
    match kind {
        Kind::OverVoltage => Limit::OverVoltage(voltage),
        Kind::UnderVoltage => Limit::UnderVoltage(voltage),
        Kind::OverCurrent => Limit::OverCurrent(current),
        Kind::UnderCurrent => Limit::UnderCurrent(current),
        // 3 V × 1 mA.
        Kind::OverPower => Limit::OverPower(Power::from_milliwatts(3)),
    }
}

#[test]
fn every_kind_channel_mask_hold_and_debounce() {
    let mut cases = 0;
    for channel in 0..4 {
        for kind in KINDS {
            for mask in MASKS {
                for held in [false, true] {
                    let desk = Desk::new();
                    let mut monitor = desk.monitor();
                    monitor.init(&SETUP).expect("a part that answers");
                    for debounce in 1..=15 {
                        case(&desk, &mut monitor, channel, kind, mask, held, debounce);
                        cases += 1;
                    }
                }
            }
        }
    }
    assert_eq!(cases, 4 * 5 * 4 * 2 * 15);
}

fn case(
    desk: &Desk,
    monitor: &mut dyn ShuntMonitor<4, BusError = crake_sim::bus::BusError>,
    channel: u8,
    (kind, bit, beyond, by_bus): (Kind, u32, (i64, i64), bool),
    (mask, lines): (Outputs, [bool; 2]),
    held: bool,
    debounce: u8,
) {
    let name = format!("{kind} of channel {channel}, {mask:?}, held {held}, debounce {debounce}");
    let cause = 1_u64 << (5 * u32::from(channel) + bit);
    let place = usize::from(channel);
    let rail = |(sense, bus): (i64, i64)| desk.hands[place].set(sense * 500, bus * 100_000);
    // The others pass every such limit, were they watched.
    for (other, hand) in desk.hands.iter().enumerate() {
        if other % 2 == 0 {
            hand.set(-30_000_000, 0);
        } else {
            hand.set(60_000_000, 6_000_000_000);
        }
    }
    rail((SENSE, BUS));

    let mut watch = Watch::new(Channel::new(channel), limit(kind))
        .debounce(debounce)
        .to(mask);
    if held {
        watch = watch.held();
    }
    if mask.is_empty() {
        watch = watch.silent();
    }
    let watches = [watch];
    let mut station: Station<'_, 4, 4> = Station::new(SETUP, Watches::limits(&watches));
    station.arm(monitor).expect("watches that can be");
    assert!(events(&mut station).is_empty(), "{name}: at arming");
    desk.finish_round();

    // On the limit is not beyond it.
    let quiet = |what: &str| {
        let before = desk.part.conversions();
        while desk.part.conversions() < before + 8 {
            desk.step();
            assert_eq!(desk.low(), HIGH, "{name}: {what}");
        }
    };
    quiet("on the limit");
    // One conversion fewer than the debounce, and then a break: it counts from nothing again.
    rail(beyond);
    for _ in 1..debounce {
        quiet("bounce");
    }
    rail((SENSE, BUS));
    quiet("break");
    assert_eq!(
        (desk.register(LEVELS), desk.register(CAUSES) & LIMITS),
        (0, 0),
        "{name}: after the break"
    );
    rail(beyond);
    for _ in 1..debounce {
        quiet("too few");
    }
    // The conversion that completes the debounce, and no other, changes the lines: sense, then bus of each channel.
    let decisive = 2 * u64::from(channel) + u64::from(by_bus) + 1;
    let before = desk.part.conversions();
    loop {
        desk.step();
        let done = desk.part.conversions() - before;
        let expected = if done < decisive { HIGH } else { lines };
        assert_eq!(desk.low(), expected, "{name}: after conversion {done}");
        if done == 8 {
            break;
        }
    }
    let set = || (desk.register(LEVELS), desk.register(CAUSES) & LIMITS);
    assert_eq!(set(), (cause, cause), "{name}: set");

    // Cleared while the condition stands: the lines go up, the level stays, the next conversion of the kind sets it again.
    desk.clear(cause);
    assert_eq!(desk.low(), HIGH, "{name}: cleared");
    assert_eq!(set(), (cause, 0), "{name}: cleared");
    desk.next_round();
    assert_eq!(desk.low(), lines, "{name}: set again");
    assert_eq!(set(), (cause, cause), "{name}: set again");

    // The driver's service reports it, whether it reaches a line or not.
    let wanted = Cause::Limit(Channel::new(channel), kind);
    station.service(monitor).expect("a part that answers");
    let told: Vec<_> = events(&mut station)
        .iter()
        .map(|event| event.cause)
        .collect();
    assert_eq!(told, [wanted], "{name}: while it stands");
    desk.next_round();
    assert_eq!(desk.low(), lines, "{name}: it still stands");

    // The first conversion that is back ends the level; a following cause goes with it, a held one stays.
    rail((SENSE, BUS));
    desk.next_round();
    let (stays, low) = if held { (cause, lines) } else { (0, HIGH) };
    assert_eq!(set(), (0, stays), "{name}: back");
    assert_eq!(desk.low(), low, "{name}: back");
    station.service(monitor).expect("a part that answers");
    let told: Vec<_> = events(&mut station)
        .iter()
        .map(|event| event.cause)
        .collect();
    let expected = if held { vec![wanted] } else { Vec::new() };
    assert_eq!(told, expected, "{name}: after it");
    assert_eq!(desk.low(), HIGH, "{name}: served");
    desk.next_round();
    assert_eq!(set(), (0, 0), "{name}: for good");
}
