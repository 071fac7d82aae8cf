use crake::Channel;
use crake::board::Offset;
use crake::calibration::{CalibrationError, Collection, offset};
use crake::info::{PartInfo, SumBits};
use crake::part::corncrake::INFO;
use crake::units::Voltage;

use crate::paper::{CHANNEL, COARSE, ONE_OHM, Paper};

/// A code is 200 nV (section 3.4): 123 456 codes in 4000 scans are 6172.8 nV, 1 580 236.8 of
/// 256ths.
#[test]
fn sums_wrap_and_the_mean_is_right() {
    let mut paper = Paper::new();
    let collection = paper.steady(123_456);
    assert_eq!(collection.scans(), 4_000);
    let correction = offset(&collection, &ONE_OHM).expect("an offset");
    assert_eq!(correction.offset, Offset::from_bits(1_580_237));
    let correction = offset(&paper.steady(-123_456), &ONE_OHM).expect("an offset");
    assert_eq!(correction.offset, Offset::from_bits(-1_580_237));
}

#[test]
fn too_little_is_refused() {
    let made = |stretches: &[_]| offset(&Paper::new().collect(stretches), &ONE_OHM).err();
    let too_few = |stretches| {
        Some(CalibrationError::TooFew {
            stretches,
            least: 4,
        })
    };
    assert_eq!(made(&[]), too_few(0));
    assert_eq!(
        made(&[(1_000, 0), (1_000, 0), (1_000, 0), (999, 0)]),
        too_few(3)
    );
    // Samples further apart make longer stretches, and one of the same scan makes none.
    assert_eq!(
        made(&[(2_000, 0), (2_000, 0), (0, 0), (2_000, 0)]),
        too_few(3)
    );
    assert_eq!(made(&[(40, 0); 100]), None);
    assert_eq!(
        offset(&Collection::new(CHANNEL), &ONE_OHM).err(),
        too_few(0)
    );
}

/// 7 600 nV ÷ √1000 = 240.333 nV for either stretch, and 50 nV of stability: 530.665 nV. One code
/// in 1000 scans is 0.2 nV, and means are told in 256ths.
#[test]
fn means_that_differ_by_more_than_noise_are_refused() {
    let made = |codes| {
        let quiet = (1_000, 0);
        let stretches = [quiet, quiet, (1_000, codes), quiet];
        offset(&Paper::new().collect(&stretches), &ONE_OHM)
    };
    // 530.6 nV in a quarter of the scans: 132.65 nV, 33 958.4 of 256ths.
    let correction = made(2_653).expect("an offset");
    assert_eq!(correction.offset, Offset::from_bits(33_958));
    assert_eq!(
        made(2_654),
        Err(CalibrationError::Unsteady {
            spread: Voltage::from_nanovolts(531),
            limit: Voltage::from_nanovolts(531)
        })
    );
    assert!(made(-2_653).is_ok() && made(-2_654).is_err());
}

/// What comes after the last full stretch is left out, for it was not judged.
#[test]
fn an_open_stretch_is_not_counted() {
    let mut collection = Paper::new().collect(&[(1_000, 0), (1_000, 0), (1_000, 0), (1_000, 0)]);
    assert!(collection.is_enough());
    let mut paper = Paper::new();
    paper.run(4_000, 0);
    paper.run(999, 1_000_000);
    collection.add(&paper).expect("a sample");
    assert_eq!(collection.scans(), 4_000);
    let correction = offset(&collection, &ONE_OHM).expect("an offset");
    assert_eq!(correction.offset, Offset::NONE);
}

#[test]
fn samples_that_cannot_be_counted_are_refused() {
    let refused = |spoil: fn(&mut Paper)| Paper::new().refused(spoil);
    let no_reading = CalibrationError::NoReading(CHANNEL);
    assert_eq!(refused(|paper| paper.complete = false), no_reading);
    assert_eq!(refused(|paper| paper.disable(CHANNEL)), no_reading);
    assert_eq!(refused(|paper| paper.set_sense_range(2)), no_reading);
    assert_eq!(refused(Paper::stop), CalibrationError::NotCounting);
    assert_eq!(
        refused(|paper| paper.configuration += 1),
        CalibrationError::Reconfigured
    );
    assert_eq!(
        refused(|paper| {
            paper.set_sense_range(COARSE);
            paper.configuration += 1;
        }),
        CalibrationError::Reconfigured
    );
    static SUMLESS: PartInfo = PartInfo {
        sum_bits: SumBits::new(0, 0, 0, &[], &[]),
        ..INFO
    };
    assert_eq!(
        refused(|paper| paper.info = &SUMLESS),
        CalibrationError::NotCounting
    );
    let absent = Channel::new(4);
    let mut collection = Collection::new(absent);
    let refused = collection.add(&Paper::new());
    assert_eq!(refused, Err(CalibrationError::NoReading(absent)));
}

/// The count of samples with clips tells of one that was left out; which channel it was is not
/// known.
#[test]
fn clipping_is_refused_on_this_channel_and_where_it_is_not_known() {
    let clipped = CalibrationError::Clipped(CHANNEL);
    let own = |paper: &mut Paper| {
        paper.clipped[CHANNEL.index()] = true;
        paper.clipped_samples = 0;
    };
    assert_eq!(Paper::new().refused(own), clipped);
    assert_eq!(
        Paper::new().refused(|paper| paper.clipped_samples = 0),
        clipped
    );
    let other_and_one_left_out = |paper: &mut Paper| {
        paper.clipped[0] = true;
        paper.clipped_samples = 1;
    };
    assert_eq!(Paper::new().refused(other_and_one_left_out), clipped);

    let mut paper = Paper::new();
    let mut collection = paper.steady(0);
    paper.run(1_000, 0);
    paper.clipped[0] = true;
    paper.clipped_samples = 0;
    collection.add(&paper).expect("another channel's clip");
    assert_eq!(collection.scans(), 5_000);
}

/// Section 4: 44 bits and codes of 18 leave 2^26 scans, 33 554 s at 2000 a second, for a wrap, and
/// 2^25 for a difference with its sign; half of that is told to be safe.
#[test]
fn samples_far_apart_are_refused() {
    let mut paper = Paper::new();
    let mut collection = paper.steady(0);
    paper.run(1, 0);
    paper.now_us += 8_388 * 1_000_000;
    collection.add(&paper).expect("two hours are safe");
    let refused = Paper::new().refused(|paper| paper.now_us += 16_777 * 1_000_000);
    assert_eq!(refused, CalibrationError::TooFarApart);
}
