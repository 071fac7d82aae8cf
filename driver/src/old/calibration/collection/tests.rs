use super::super::paper::{CHANNEL, Paper};
use super::*;

/// Mean codes 30.864 × 200 nV × 256, though both sums wrap in the first stretch.
#[test]
fn the_mean_is_that_of_all_rounds_across_rollovers() {
    let collection = Paper::new().steady(123_456);
    assert_eq!(collection.rounds(), 4_000);
    let mean = collection.mean().unwrap();
    assert_eq!(mean.nv_256, 1_580_237); // 1 580 236.8
    assert_eq!(mean.noise_nv, 121); // 7 600 nV ÷ √4000 = 120.2
    assert_eq!(
        Paper::new().steady(-123_456).mean().unwrap().nv_256,
        -1_580_237
    );
}

#[test]
fn what_spoils_a_collection_is_named_and_empties_it() {
    let refused = |spoil: fn(&mut Paper)| Paper::new().refused(spoil);
    assert_eq!(
        refused(|paper| paper.condition = Condition::Reset),
        CalibrationError::Reset
    );
    assert_eq!(
        refused(|paper| paper.condition = Condition::Boundary),
        CalibrationError::Boundary
    );
    assert_eq!(
        refused(|paper| paper.condition = Condition::Unpowered),
        CalibrationError::Unpowered
    );
    assert_eq!(
        refused(|paper| paper.unbroken = false),
        CalibrationError::Broken
    );
    assert_eq!(
        refused(|paper| paper.set_sense_range(0)),
        CalibrationError::SetUpChanged
    );
    assert_eq!(
        refused(|paper| paper.block[3] = 0x11),
        CalibrationError::SetUpChanged
    );
    assert_eq!(
        refused(|paper| paper.block[3] = 0x00),
        CalibrationError::NotPaced
    );
    assert_eq!(
        refused(|paper| paper.block[4] = 0x0B),
        CalibrationError::NotEnabled(CHANNEL)
    );
    // Flag bit 2c: sense of channel c went over range.
    assert_eq!(
        refused(|paper| paper.block[8] = 1 << 4),
        CalibrationError::Clipped(CHANNEL)
    );
    // Half of 2^43 ÷ 2^17 rounds at 500 µs: 16 777 s.
    assert_eq!(
        refused(|paper| paper.now_us += 16_778_000_000),
        CalibrationError::TooFarApart
    );
}

/// Clipping before the first frame is none of the calibration's business; neither is a clipped bus, nor another channel.
#[test]
fn clipping_elsewhere_spoils_nothing() {
    let mut paper = Paper::new();
    let mut collection = Collection::new(CHANNEL);
    paper.block[8] = 1 << 4;
    collection.add(&paper.frame()).unwrap();
    paper.block[8] = !(1 << 4);
    paper.run(10, 0);
    collection.add(&paper.frame()).unwrap();
    assert_eq!(collection.rounds(), 10);
}

#[test]
fn a_channel_that_the_board_lacks_is_refused() {
    let channel = Channel::new(4);
    assert_eq!(
        Collection::new(channel).add(&Paper::new().frame()),
        Err(CalibrationError::NoSuchChannel(channel))
    );
}

#[test]
fn too_little_is_refused() {
    let error = |stretches: &[_]| Paper::new().collect(stretches).mean().err();
    assert_eq!(
        error(&[(1_000, 0), (1_000, 0), (1_000, 0), (999, 0)]),
        Some(CalibrationError::TooFewRounds {
            rounds: 3_999,
            least: 4_000
        })
    );
    // A frame of the same round adds no stretch.
    assert_eq!(
        error(&[(2_000, 0), (2_000, 0), (0, 0), (2_000, 0)]),
        Some(CalibrationError::TooFewSpans { spans: 3, least: 4 })
    );
    assert_eq!(
        Collection::new(CHANNEL).mean().err(),
        Some(CalibrationError::TooFewRounds {
            rounds: 0,
            least: 4_000
        })
    );
}

/// 7 600 nV ÷ √1000 = 240.3 nV, rounded up, for either stretch, and 50 nV of stability: 532 nV. One code in 1000 rounds is 0.2 nV.
#[test]
fn means_that_differ_by_more_than_noise_are_refused() {
    let mean = |codes| {
        let quiet = (1_000, 0);
        let collection = Paper::new().collect(&[quiet, quiet, (1_000, codes), quiet]);
        collection.mean().map(|mean| mean.nv_256)
    };
    assert_eq!(mean(2_660), Ok(34_048)); // 133 nV × 256
    assert_eq!(
        mean(2_661),
        Err(CalibrationError::Unstable {
            spread: Voltage::from_nanovolts(533),
            limit: Voltage::from_nanovolts(532)
        })
    );
    assert!(mean(-2_661).is_err());
}

/// 128 frames of 40 rounds: between two of them 1.5 µV are noise, between two eighths of them they are not (7 600 nV ÷ √640 = 300.4, so 652 nV).
#[test]
fn many_short_stretches_are_judged_together() {
    let drifting = |later| {
        let mut stretches = [(40, 0); 128];
        for stretch in &mut stretches[64..] {
            *stretch = (40, later);
        }
        Paper::new().collect(&stretches)
    };
    let steady = drifting(0);
    assert_eq!(steady.rounds(), 5_120);
    assert_eq!(steady.spans.map(|span| span.rounds), [640; SPANS_MAX]);
    assert!(steady.mean().is_ok());
    assert_eq!(
        drifting(300).mean().err(), // 7.5 codes of 200 nV
        Some(CalibrationError::Unstable {
            spread: Voltage::from_nanovolts(1_500),
            limit: Voltage::from_nanovolts(652)
        })
    );
}
