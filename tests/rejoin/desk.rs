//! Four rails that differ: smooth both ways, constant, pulsed, constant backwards.

use crake::old::board::{Board, Edges, Load, Rail, Shunt};
use crake::old::ledger::Ledger;
use crake::old::part::Pace;
use crake::old::part::corncrake::{BUS_6_V, BUS_16_V, BUS_65_V, SENSE_26_MV, SENSE_65_MV, SPEC};
use crake::old::units::{Current, Resistance, Tolerance};
use crake::old::{Channel, Mode, Ranges, Setup};
use crake_sim::plant::{AfterEnd, Constant, Interpolation, Pulses, Recorded};
use crake_suite::rig::{CHANNELS, Flowed, Rig};

const MILLIAMPERE: i64 = 1_000_000;
const MILLIVOLT: i64 = 1_000_000;
const MS: u64 = 1_000_000;

/// The bench with its part and rails.
pub fn rig(seed: u64) -> Rig {
    let rig = Rig::drawn(seed);
    let triangle = [
        (0, -1_000 * MILLIAMPERE),
        (10_000 * MS, 3_000 * MILLIAMPERE),
        (20_000 * MS, -1_000 * MILLIAMPERE),
    ];
    let triangle = Recorded::new(triangle.to_vec(), Interpolation::Linear, AfterEnd::Repeat);
    let pulses = Pulses::new(40_000, 30 * MILLIAMPERE, 1_000 * MS, 8 * MS);
    let constant = |milliamperes| Constant::new(milliamperes * MILLIAMPERE).expect("a load");
    rig.rail(
        0,
        (12_000 * MILLIVOLT, 40_000),
        triangle.expect("a load"),
        10_000_000,
    );
    rig.rail(1, (3_300 * MILLIVOLT, 150_000), constant(200), 100_000_000);
    rig.rail(
        2,
        (3_300 * MILLIVOLT, 550_000),
        pulses.expect("a load"),
        500_000_000,
    );
    rig.rail(
        3,
        (48_000 * MILLIVOLT, 50_000),
        constant(-1_200),
        20_000_000,
    );
    rig
}

/// The board as declared: resistors without error, so that bounds are as tight as the part allows.
pub fn board() -> Board<4> {
    let edges = Edges {
        per_1000_s: 2_000,
        step: Current::from_milliamps(30),
    };
    let rail = |milliohms, load| {
        Rail::new(
            Shunt::new(Resistance::from_milliohms(milliohms), Tolerance::ZERO),
            load,
        )
    };
    let smooth = |milliamps| Load::smooth(Current::from_milliamps(milliamps));
    let rails = [
        rail(10, smooth(3_000).both_ways()),
        rail(100, smooth(200)),
        rail(500, smooth(30).with_edges(edges)),
        rail(20, smooth(1_200).both_ways()),
    ];
    Board::new(&SPEC, rails).expect("a board")
}

/// Ranges that fit.
pub fn setup(pace: Pace) -> Setup<4> {
    let ranges = |sense, bus| Some(Ranges { sense, bus });
    Setup {
        channels: [
            ranges(SENSE_65_MV, BUS_16_V),
            ranges(SENSE_26_MV, BUS_6_V),
            ranges(SENSE_26_MV, BUS_6_V),
            ranges(SENSE_65_MV, BUS_65_V),
        ],
        mode: Mode::Paced(pace),
        averaging: 0,
    }
}

/// Other ranges that fit as well.
pub fn other_setup(pace: Pace) -> Setup<4> {
    let ranges = |sense, bus| Some(Ranges { sense, bus });
    Setup {
        channels: [
            ranges(SENSE_65_MV, BUS_65_V),
            ranges(SENSE_65_MV, BUS_16_V),
            ranges(SENSE_26_MV, BUS_16_V),
            ranges(SENSE_26_MV, BUS_65_V),
        ],
        mode: Mode::Paced(pace),
        averaging: 3,
    }
}

/// Every rail's account lies within its bound of the truth, and covers the same time.
pub fn assert_within(ledger: &Ledger<'_, 4>, truth: &Flowed) {
    for channel in 0..CHANNELS {
        let account = ledger.account(channel_of(channel)).expect("a rail");
        truth.assert_within(channel, &account);
        let (accounted, passed) = (account.duration_us as f64 / 1e6, truth.time);
        assert!(
            (accounted - passed).abs() < 1e-5,
            "channel {channel}: {accounted} s accounted for, {passed} s passed"
        );
    }
}

pub fn channel_of(index: usize) -> Channel {
    Channel::new(u8::try_from(index).expect("a small number"))
}
