//! Calibration against parts drawn within the datasheet's limits: corrected currents lie within the bound that comes with them.
//!
//! The part is a double of its own: section 7's equation for each conversion, exact in integers, its sums and means as in section 4, and a bus that knows as much as joining and latching take.
//! Its noise is a sum of twelve uniform numbers less its middle: r.m.s. 1, never beyond 6, as the datasheet has it.

use std::cell::RefCell;

use crake::old::board::{Board, Correction, Load, Rail, Shunt};
use crake::old::calibration::{Collection, Point, Reference, gain, line, zero};
use crake::old::part::Joint;
use crake::old::part::corncrake::{Corncrake, SENSE_26_MV, SENSE_65_MV, SPEC};
use crake::old::units::{Current, Resistance, Tolerance};
use crake::old::{Channel, Clock, Monitor, NoReading, ShuntMonitor};
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorType, I2c, Operation};
use proptest::prelude::*;

const PEC: crc::Crc<u8> = crc::Crc::<u8>::new(&crc::CRC_8_SMBUS);
const GENIBUS: crc::Crc<u16> = crc::Crc::<u16>::new(&crc::CRC_16_GENIBUS);
const PPB: i128 = 1_000_000_000;

/// An individual part and sense resistor.
#[derive(Clone, Copy, Debug)]
struct Individual {
    /// Gain error in either sense range, coarse first; ppb.
    gains: [i64; 2],
    offset_nv: i64,
    bias_na: i64,
    /// Nominal.
    nanoohms: i64,
    resistor_ppb: i64,
    seed: u64,
}

/// What may differ between a calibration and a measurement.
#[derive(Clone, Copy, Debug, Default)]
struct Moment {
    /// Relative change of the resistor by temperature, ppb.
    thermal_ppb: i64,
    /// Change of the offset.
    drift_nv: i64,
}

/// The double: channel 0 alone matters.
struct Double {
    individual: Individual,
    moment: Moment,
    current_na: i64,
    coarse: bool,
    noise: u64,
    tag: u8,
    rounds: u32,
    charge: i64,
    sense: i64,
    clipped: bool,
    now_us: u64,
}

impl Double {
    fn new(individual: Individual) -> Self {
        Self {
            individual,
            moment: Moment::default(),
            current_na: 0,
            coarse: false,
            noise: individual.seed,
            tag: 0,
            rounds: 0x0FFF_F000,
            charge: (1 << 43) - 5,
            sense: 0,
            clipped: false,
            now_us: 0,
        }
    }

    /// 2^k rounds of one mean, which then is the result.
    fn run(&mut self, k: u32) {
        let of = self.individual;
        let (gain, lsb_nv, noise_nv) = if self.coarse {
            (of.gains[0], 500, 2_500)
        } else {
            (of.gains[1], 200, 1_200)
        };
        // 10^-18 V: nA × nΩ, resistor and gain to 10^-36 in all.
        let ohms = i128::from(of.nanoohms) * (PPB + i128::from(of.resistor_ppb)) / PPB
            * (PPB + i128::from(self.moment.thermal_ppb));
        let input = i128::from(self.current_na + of.bias_na) * ohms / PPB;
        let quiet = input * (PPB + i128::from(gain)) / PPB
            + i128::from(of.offset_nv + self.moment.drift_nv) * PPB;
        let lsb = lsb_nv * PPB;
        let mut sum = 0;
        for _ in 0..1 << k {
            let shown = quiet + i128::from(self.deviate()) * noise_nv * PPB / 65_536;
            let code = (2 * shown + lsb).div_euclid(2 * lsb);
            self.clipped |= !(-131_072..=131_071).contains(&code);
            sum += code.clamp(-131_072, 131_071) as i64;
        }
        // Rounded to nearest, halves towards plus infinity.
        self.sense = (2 * sum + (1 << k)) >> (k + 1);
        self.rounds = (self.rounds + (1 << k)) & 0x0FFF_FFFF;
        self.charge = (self.charge + sum) << 20 >> 20;
        self.now_us += 500 << k;
    }

    /// Noise in 65 536ths of its r.m.s.
    fn deviate(&mut self) -> i64 {
        let mut sum = 0;
        for _ in 0..3 {
            // SplitMix64 (Steele, Lea, Flood: Fast Splittable Pseudorandom Number Generators, 2014).
            self.noise = self.noise.wrapping_add(0x9E37_79B9_7F4A_7C15);
            let mut z = self.noise;
            z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
            z ^= z >> 31;
            sum += (0..4)
                .map(|part| (z >> (16 * part) & 0xFFFF) as i64)
                .sum::<i64>();
        }
        sum - 6 * 65_536 + 6
    }

    /// Section 5, and the check byte of section 2.3.
    fn block(&mut self) -> Vec<u8> {
        let mut block = vec![0; 109];
        block[0] = self.tag;
        block[3] = 0x10; // paced, 2000 rounds a second
        block[4] = 0xA1; // averaging k = 10, channel 0
        block[6] = if self.coarse { 0 } else { 4 };
        block[7] = 0x40; // complete
        block[8] = u8::from(self.clipped);
        block[9..13].copy_from_slice(&self.rounds.to_be_bytes());
        block[13..16].copy_from_slice(&self.sense.to_be_bytes()[5..]);
        block[23..29].copy_from_slice(&self.charge.to_be_bytes()[2..]);
        block.extend(GENIBUS.checksum(&block).to_be_bytes());
        self.clipped = false;
        block
    }
}

/// Bus, delay and clock of the double.
#[derive(Clone, Copy)]
struct Wire<'d>(&'d RefCell<Double>);

impl ErrorType for Wire<'_> {
    type Error = core::convert::Infallible;
}

impl I2c for Wire<'_> {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), Self::Error> {
        let mut double = self.0.borrow_mut();
        match operations {
            [Operation::Write([0x03, tag, ..])] => double.tag = *tag,
            [Operation::Write([pointer]), Operation::Read(room)] => {
                let pointer = *pointer;
                let mut bytes = match pointer {
                    0x00 => vec![0x9E, 0x37, 0xC4, 0x01],
                    0x01 => vec![0, 0], // as its blocks have it
                    0x80 => double.block(),
                    _ => panic!("register 0x{pointer:02X}"),
                };
                let mut covered = vec![address << 1, pointer, address << 1 | 1];
                covered.extend(&bytes);
                bytes.push(PEC.checksum(&covered));
                room.copy_from_slice(&bytes[..room.len()]);
            }
            _ => panic!("a transfer that joining and latching do not take"),
        }
        Ok(())
    }
}

impl DelayNs for Wire<'_> {
    fn delay_ns(&mut self, _: u32) {}
}

impl Clock for Wire<'_> {
    fn now_us(&mut self) -> u64 {
        self.0.borrow().now_us
    }
}

/// A double and the board that it is on.
struct Rig {
    double: RefCell<Double>,
    board: Board<1>,
}

impl Rig {
    fn new(individual: Individual, shunt: Shunt) -> Self {
        let load = Load::smooth(Current::from_milliamps(26)).both_ways();
        Self {
            double: RefCell::new(Double::new(individual)),
            board: Board::new(&SPEC, [Rail::new(shunt, load)]).unwrap(),
        }
    }

    fn set(&self, current_na: i64, coarse: bool, moment: Moment) {
        let mut double = self.double.borrow_mut();
        (double.current_na, double.coarse, double.moment) = (current_na, coarse, moment);
        double.clipped = false;
    }

    fn monitor<'r>(
        &'r self,
        board: &'r Board<1>,
    ) -> Monitor<'r, Wire<'r>, Wire<'r>, Wire<'r>, Corncrake, 1> {
        let wire = Wire(&self.double);
        let mut monitor = Monitor::new(wire, wire, wire, Corncrake::new(), 0x32, board);
        monitor.attach(&Joint { serial: 0 }).unwrap();
        monitor
    }

    /// Five frames, 4 × 1024 rounds.
    fn collect(&self) -> Collection {
        let mut monitor = self.monitor(&self.board);
        let mut collection = Collection::new(Channel::C0);
        collection.add(&monitor.latch().unwrap()).unwrap();
        for _ in 0..4 {
            self.double.borrow_mut().run(10);
            collection.add(&monitor.latch().unwrap()).unwrap();
        }
        collection
    }

    /// A current of 1024 rounds as this board shows it, and its bound.
    fn measure(&self, correction: Correction) -> Result<(Current, Current), NoReading> {
        let board = self
            .board
            .corrected(&SPEC, Channel::C0, correction)
            .unwrap();
        let mut monitor = self.monitor(&board);
        self.double.borrow_mut().run(10);
        let frame = monitor.latch().unwrap();
        Ok((
            frame.reading(Channel::C0)?.current,
            frame.current_bound(Channel::C0)?.total(),
        ))
    }
}

/// 1 Ω ± 1 %, 50 ppm/K over 20 K: 0.1 %.
fn one_ohm() -> Shunt {
    Shunt::new(Resistance::from_ohms(1), Tolerance::from_percent(1)).with_temperature(50, 20_000)
}

const THERMAL_PPB: i64 = 1_000_000;
const UNCERTAINTY_PPB: i64 = 200_000;

/// Limits of section 7, both ends as likely as all between them together: that is where bounds break.
fn within(limit: i64) -> impl Strategy<Value = i64> {
    prop_oneof![Just(-limit), Just(limit), -limit..=limit, -limit..=limit]
}

fn individuals() -> impl Strategy<Value = Individual> {
    (
        [within(2_000_000), within(2_000_000)],
        within(10_000),
        within(20),
        within(10_000_000),
        any::<u64>(),
    )
        .prop_map(
            |(gains, offset_nv, bias_na, resistor_ppb, seed)| Individual {
                gains,
                offset_nv,
                bias_na,
                nanoohms: 1_000_000_000,
                resistor_ppb,
                seed,
            },
        )
}

fn moments() -> impl Strategy<Value = Moment> {
    (within(THERMAL_PPB), within(50)).prop_map(|(thermal_ppb, drift_nv)| Moment {
        thermal_ppb,
        drift_nv,
    })
}

/// What the reference shows while a current flows that is off by so much of it.
fn reference(microamps: i64, off_ppb: i64) -> (i64, Reference) {
    let na = i128::from(microamps) * 1_000;
    let flowing = na * (PPB + i128::from(off_ppb)) / PPB;
    let current = Current::from_microamps(microamps);
    (
        flowing as i64,
        Reference::new(current, Tolerance::from_ppm(200)),
    )
}

proptest! {
    /// Zero, gain from one current and from two: in either range, at any temperature, after any drift, the truth lies within the bound; and in the range of the calibration
    /// the bound is a fraction of what it was.
    #[test]
    fn corrected_currents_lie_within_their_bounds(
        individual in individuals(),
        moments in [moments(), moments(), moments()],
        at_zero in within(THERMAL_PPB),
        off in [within(UNCERTAINTY_PPB), within(UNCERTAINTY_PPB)],
        measured_coarse in any::<bool>(),
        calibrated_coarse in any::<bool>(),
        current_na in prop_oneof![Just(50_000), -25_000_000..=25_000_000_i64],
    ) {
        let rig = Rig::new(individual, one_ohm());
        let cold = Moment { thermal_ppb: at_zero, drift_nv: 0 };
        rig.set(0, calibrated_coarse, cold);
        let zeroed = zero(&rig.collect())?;

        let scale = if calibrated_coarse { 2 } else { 1 };
        let (high_na, high_reference) = reference(scale * 20_000, off[0]);
        rig.set(high_na, calibrated_coarse, moments[0]);
        let high = rig.collect();
        let high = Point { collection: &high, reference: high_reference };
        let (low_na, low_reference) = reference(scale * -15_000, off[1]);
        rig.set(low_na, calibrated_coarse, moments[1]);
        let low = rig.collect();
        let low = Point { collection: &low, reference: low_reference };
        let gained = gain(zeroed, &high)?;
        let lined = line(zeroed, &high, &low)?;
        let lone = line(Correction::NONE, &high, &low)?;

        rig.set(current_na, measured_coarse, moments[2]);
        let mut bounds = [Current::ZERO; 5];
        for (bound, correction) in
            bounds.iter_mut().zip([Correction::NONE, zeroed, gained, lined, lone])
        {
            let shown;
            (shown, *bound) = rig.measure(correction)?;
            let error = shown.saturating_sub(Current::from_nanoamps(current_na)).abs();
            prop_assert!(error <= *bound, "{error:?} beyond {bound:?} by {correction:?}");
        }
        let [before, after_zero, after_gain, after_line, _] = bounds;
        prop_assert!(after_zero < before);
        if measured_coarse == calibrated_coarse && current_na.abs() > 10_000_000 {
            for after in [after_gain, after_line] {
                prop_assert!(after.as_nanoamps() * 3 < before.as_nanoamps());
            }
        }
    }
}

/// Each limit at its end, all in the same direction: the errors come near the bound, so that it is no more than needed.
#[test]
fn bounds_are_no_wider_than_limits_need() {
    for sign in [-1, 1] {
        let individual = Individual {
            gains: [0, sign * 2_000_000],
            offset_nv: sign * 10_000,
            bias_na: sign * 20,
            nanoohms: 1_000_000_000,
            resistor_ppb: sign * 10_000_000,
            seed: 1,
        };
        let rig = Rig::new(individual, one_ohm());
        let calibration = Moment {
            thermal_ppb: -sign * THERMAL_PPB,
            drift_nv: 0,
        };
        let use_ = Moment {
            thermal_ppb: sign * THERMAL_PPB,
            drift_nv: sign * 50,
        };
        let error_of_bound = |correction| {
            rig.set(20_000_000, false, use_);
            let (shown, bound) = rig.measure(correction).unwrap();
            let error = (shown.as_nanoamps() - 20_000_000).abs();
            (error * 100 / bound.as_nanoamps(), bound)
        };
        let (before, before_bound) = error_of_bound(Correction::NONE);

        rig.set(0, false, calibration);
        let zeroed = zero(&rig.collect()).unwrap();
        let (flowing, reference) = reference(20_000, -sign * UNCERTAINTY_PPB);
        rig.set(flowing, false, calibration);
        let collection = rig.collect();
        let point = Point {
            collection: &collection,
            reference,
        };
        let (after, after_bound) = error_of_bound(gain(zeroed, &point).unwrap());
        assert!((95..=100).contains(&before), "{before} % of {before_bound}");
        assert!((95..=100).contains(&after), "{after} % of {after_bound}");
        assert!(after_bound < before_bound);
    }
}

/// A gain measured in one range is open in the other, and the readings say so.
#[test]
fn a_gain_of_the_other_range_is_bounded_as_such() {
    let individual = Individual {
        gains: [2_000_000, -2_000_000],
        offset_nv: 3_000,
        bias_na: 0,
        nanoohms: 1_000_000_000,
        resistor_ppb: 0,
        seed: 7,
    };
    let rig = Rig::new(individual, one_ohm());
    rig.set(0, false, Moment::default());
    let zeroed = zero(&rig.collect()).unwrap();
    let (flowing, reference) = reference(20_000, 0);
    rig.set(flowing, false, Moment::default());
    let collection = rig.collect();
    let point = Point {
        collection: &collection,
        reference,
    };
    let correction = gain(zeroed, &point).unwrap();
    assert_eq!(correction.gain_range, Some(SENSE_26_MV));
    assert_ne!(correction.gain_range, Some(SENSE_65_MV));

    let measure = |coarse| {
        rig.set(20_000_000, coarse, Moment::default());
        let (shown, bound) = rig.measure(correction).unwrap();
        (
            (shown.as_nanoamps() - 20_000_000).abs(),
            bound.as_nanoamps(),
        )
    };
    let (error, bound) = measure(false);
    assert!(error < 2_000 && bound < 60_000, "{error} {bound}");
    // 1.002 ÷ 0.998: 0.4 % of 20 mA.
    let (error, bound) = measure(true);
    assert!((79_000..82_000).contains(&error), "{error}");
    assert!(bound > error && bound < 140_000, "{bound}");
}
