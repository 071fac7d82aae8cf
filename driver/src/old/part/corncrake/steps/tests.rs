extern crate std;

use super::*;
use crate::old::part::{BusRange, Pace, SenseRange};
use crate::old::sampling::{Ranges, Setup};
use crate::old::{Channel, Misuse};

/// Goal: whatever the cap, the pieces make up the block once, each within the cap, and the stages of all of them fit.
#[test]
fn pieces_make_up_the_block_for_every_cap() {
    for cap in 0..=u8::MAX {
        let mut next = 0;
        let mut count = 0_u8;
        while let Some(Step::Read(read)) = piece(count, cap) {
            assert_eq!((read.at, read.pointer), (next, 0x80 + next));
            let len = u32::from(read.len) + u32::from(read.check);
            assert!(read.len > 0 && len <= u32::from(cap.max(1)), "cap {cap}");
            next += read.len;
            assert!(!read.check || next == 111);
            count += 1;
        }
        assert_eq!(next, 111, "cap {cap}");
        assert!(READ_PRESENT + count < LATCH && READ.checked_add(count).is_some());
    }
}

#[test]
fn tags_skip_that_of_a_part_fresh_from_reset() {
    let mut part = Corncrake::new();
    let mut tags = [false; 256];
    for _ in 0..255 {
        part.advance_tag();
        tags[usize::from(part.tag)] = true;
    }
    assert!(!tags[0] && tags[1..].iter().all(|seen| *seen));
}

/// All that section 3 does not allow is refused before a byte is sent; all that it allows is not.
#[test]
fn set_ups_are_refused_by_name() {
    let ranges = |sense, bus| {
        Some(Ranges {
            sense: SenseRange(sense),
            bus: BusRange(bus),
        })
    };
    let good = Setup {
        channels: [ranges(0, 0), ranges(1, 2), None, ranges(1, 1)],
        mode: Mode::Paced(Pace(4)),
        averaging: 10,
    };
    let refused = |setup: &Setup<4>| setup.view().check(&SPEC).err();
    let burst = |channel| Setup {
        mode: Mode::Burst(channel),
        ..good
    };
    assert_eq!(refused(&good), None);
    assert_eq!(refused(&burst(Channel::C3)), None);
    assert_eq!(
        refused(&burst(Channel::C2)),
        Some(Misuse::BurstOnDisabled(Channel::C2))
    );
    let beyond = Channel::new(4);
    assert_eq!(refused(&burst(beyond)), Some(Misuse::NoSuchChannel(beyond)));
    assert_eq!(
        refused(&good.with(Channel::C2, ranges(2, 0))),
        Some(Misuse::NoSuchSenseRange(Channel::C2))
    );
    assert_eq!(
        refused(&good.with(Channel::C0, ranges(0, 3))),
        Some(Misuse::NoSuchBusRange(Channel::C0))
    );
    let k = 11;
    assert_eq!(
        refused(&good.averaging(k)),
        Some(Misuse::NoSuchAveraging { k, max: 10 })
    );
    let setup = Setup {
        mode: Mode::Paced(Pace(5)),
        ..good
    };
    assert_eq!(refused(&setup), Some(Misuse::NoSuchPace));
    let setup = Setup {
        channels: [None; 4],
        ..good
    };
    assert_eq!(refused(&setup), Some(Misuse::NoChannel));
    let five = Setup::<5>::all(
        Ranges {
            sense: SenseRange(0),
            bus: BusRange(0),
        },
        Mode::Idle,
    );
    assert_eq!(five.view().check(&SPEC), Err(Misuse::NoSuchChannel(beyond)));
    // CHANNELS 0b1011; RANGES by section 3.4, 2 where a channel is left out.
    assert_eq!(
        (channels(&good.view()), ranges_value(&good)),
        (0x0B, 0x5260)
    );
}

fn ranges_value(setup: &Setup<4>) -> u64 {
    super::ranges(&setup.view())
}
