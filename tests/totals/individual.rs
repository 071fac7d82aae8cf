//! A part and its board at the corners of what the datasheet allows, in exact rational arithmetic:
//! what they show, and what is true.

use crate::model::ratio;
use crake::Channel;
use crake::board::{
    Board, Correction, Gain, Load, LoadSteps, Offset, Rail, SenseResistor, VoltageSteps,
};
use crake::part::corncrake::INFO;
use crake::units::{Current, Resistance, Tolerance, Voltage};
use num_bigint::BigInt;
use num_rational::BigRational;

use crate::stub::{PERIODS_US, Stub};

type Q = BigRational;

/// Section 3.4: LSBs of the ranges, in nV.
const SENSE_LSB_NV: [i64; 2] = [500, 200];
const RAIL_LSB_NV: [i64; 3] = [100_000, 250_000, 1_000_000];
/// Section 7: gain errors in ppm, offset errors and noise in nV, bias in nA.
const SENSE_GAIN_PPM: i64 = 2_000;
const RAIL_GAIN_PPM: i64 = 1_500;
const OFFSET_NV: i64 = 10_000;
const STABILITY_NV: i64 = 50;
const RAIL_OFFSET_NV: [i64; 3] = [1_000_000, 2_500_000, 10_000_000];
const SENSE_NOISE_NV: [i64; 2] = [2_500, 1_200];
const RAIL_NOISE_NV: [i64; 3] = [150_000, 400_000, 1_500_000];
const BIAS_NA: i64 = 20;
/// Section 6: the oscillator's error and wander in ppm.
const OSCILLATOR_PPM: i64 = 15_000;
const WANDER_PPM: i64 = 100;
/// The board of these tests.
pub const TOLERANCE_PPM: i64 = 5_000;
/// 50 ppm/K over 60 K (IEC 60115-1).
const THERMAL_PPM: i64 = 3_000;
pub const CLOCK_PPM: i64 = 100;
/// What a calibration leaves open.
const OFFSET_BOUND_NV: i64 = 110;
const GAIN_BOUND_PPM: i64 = 200;

/// Draws from a seed (SplitMix64).
pub struct Draw(pub u64);

impl Draw {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    pub fn below(&mut self, end: u64) -> u64 {
        self.next() % end
    }

    pub fn of<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[self.below(choices.len() as u64) as usize]
    }

    /// Which end of a limit.
    pub fn sign(&mut self) -> i64 {
        self.of(&[-1, 1])
    }
}

/// One plus so many ppm.
fn one_and(ppm: i64) -> Q {
    ratio(1_000_000 + ppm, 1_000_000)
}

/// What flows for some scans, and at which end of its limits everything is meanwhile.
#[derive(Clone, Copy, Debug)]
pub struct Piece {
    pub scans: u64,
    pub nanoamps: i64,
    pub microvolts: i64,
    pub thermal: i64,
    pub wander: i64,
}

/// The physical rail, and what the host knows of it.
pub struct Individual {
    pub nanoohms: i64,
    /// Sense voltage shown for a volt across the nominal resistance, by range.
    pub sense: [Q; 2],
    rail: [Q; 3],
    /// Shown for nothing, in V.
    offset: Q,
    rail_offset: i64,
    clock: i64,
    oscillator: i64,
    noise: i64,
    rail_noise: i64,
    pub rate: u8,
    pub ranges: (u8, u8),
    greatest_na: i64,
    greatest_uv: i64,
    /// Instant of the last sample on the host's clock, in µs; scans in this stretch.
    host_us: Q,
    scans: u64,
    before: Option<Piece>,
    /// Sums of the part, exact, in codes; and noise that is in them.
    charge: Q,
    energy: Q,
    /// What really flowed while something counted, in nC and nJ.
    pub truth: [Q; 2],
}

impl Individual {
    pub fn new(draw: &mut Draw, nanoohms: i64, rate: u8, ranges: (u8, u8)) -> Self {
        let resistor = one_and(draw.sign() * TOLERANCE_PPM);
        let offset = ratio(draw.sign() * OFFSET_NV, 1_000_000_000)
            + ratio(draw.sign() * BIAS_NA, 1_000_000_000) * ratio(nanoohms, 1_000_000_000);
        Self {
            nanoohms,
            sense: [0, 1].map(|_| &resistor * one_and(draw.sign() * SENSE_GAIN_PPM)),
            rail: [0, 1, 2].map(|_| one_and(draw.sign() * RAIL_GAIN_PPM)),
            offset,
            rail_offset: draw.sign(),
            clock: draw.sign(),
            oscillator: draw.sign(),
            noise: draw.sign(),
            rail_noise: draw.sign(),
            rate,
            ranges,
            greatest_na: 0,
            greatest_uv: 0,
            host_us: ratio(1_000_000, 1),
            scans: 0,
            before: None,
            charge: ratio(0, 1),
            energy: ratio(0, 1),
            truth: [ratio(0, 1), ratio(0, 1)],
        }
    }

    /// The rail as the engineer declares it for what will flow: jumps from piece to piece.
    pub fn declared(&mut self, pieces: &[Piece], both_ways: bool) -> Rail {
        self.greatest_na = pieces
            .iter()
            .map(|piece| piece.nanoamps.abs())
            .max()
            .expect("some");
        self.greatest_uv = pieces
            .iter()
            .map(|piece| piece.microvolts)
            .max()
            .expect("some");
        let least_uv = pieces
            .iter()
            .map(|piece| piece.microvolts)
            .min()
            .expect("some");
        let jump = |of: fn(&Piece) -> i64| {
            let jumps = pieces
                .windows(2)
                .map(|pair| (of(&pair[1]) - of(&pair[0])).abs());
            jumps.max().unwrap_or_default()
        };
        let period_us = PERIODS_US[usize::from(self.rate)];
        let us: u64 = pieces.iter().map(|piece| piece.scans * period_us).sum();
        // The oscillator may be fast.
        let per_hour = (pieces.len() as u64 * 3_700_000_000).div_ceil(us) as u32;
        let mut load = Load::smooth(Current::from_nanoamps(self.greatest_na))
            .with_steps(LoadSteps {
                per_hour,
                step: Current::from_nanoamps(jump(|piece| piece.nanoamps)),
            })
            .with_voltage_steps(VoltageSteps {
                per_hour,
                step: Voltage::from_nanovolts(jump(|piece| piece.microvolts) * 1_000),
            });
        if both_ways {
            let turned: i128 = pieces
                .iter()
                .map(|piece| i128::from(piece.nanoamps.abs()) * i128::from(piece.scans))
                .sum();
            let scans: u64 = pieces.iter().map(|piece| piece.scans).sum();
            // Scans may be longer at one end of the wander than at the other.
            let mean_na = turned * 1_000_200 / (i128::from(scans) * 1_000_000) + 1;
            let seconds = (us * 100 / 98).div_ceil(1_000_000) as u32;
            load = load
                .both_ways()
                .with_mean(Current::from_nanoamps(mean_na as i64), seconds);
        }
        let resistor = SenseResistor::new(
            Resistance::from_nanoohms(self.nanoohms as u64),
            Tolerance::from_ppm(TOLERANCE_PPM as u32),
        );
        Rail::new(resistor.with_temperature(50, 60_000))
            .with_load(load)
            .with_voltage(
                Voltage::from_nanovolts(least_uv * 1_000),
                Voltage::from_nanovolts(self.greatest_uv * 1_000),
            )
    }

    /// What a calibration in this range would find, as far off as it says.
    pub fn calibrated(&self, draw: &mut Draw, gain_range: u8) -> Correction {
        let open_nv = draw.sign() * (OFFSET_BOUND_NV + STABILITY_NV - 1);
        let offset = &self.offset * ratio(1_000_000_000, 1) + ratio(open_nv, 1);
        let offset = (offset * ratio(256, 1)).round().to_integer();
        let shown = &self.sense[usize::from(gain_range)];
        let gain = one_and(draw.sign() * (GAIN_BOUND_PPM - 1)) / shown;
        let gain = (gain * ratio(1 << 30, 1)).round().to_integer();
        Correction {
            offset: Offset::from_bits(i32::try_from(offset).expect("small")),
            gain: Gain::from_bits(i32::try_from(gain).expect("small")),
            offset_bound: Some(Voltage::from_nanovolts(OFFSET_BOUND_NV)),
            gain_bound: Some(Tolerance::from_ppm(GAIN_BOUND_PPM as u32)),
            gain_range: Some(gain_range),
        }
    }

    /// Another configuration: what comes until the next sample is not counted.
    pub fn configure(&mut self, ranges: (u8, u8)) {
        self.ranges = ranges;
        (self.scans, self.before) = (0, None);
    }

    /// So many scans, and a sample; the stub shows it.
    pub fn run(&mut self, draw: &mut Draw, stub: &mut Stub<1>, piece: Piece, counts: bool) {
        let (sense, volts) = (usize::from(self.ranges.0), usize::from(self.ranges.1));
        let scans = ratio(piece.scans, 1);
        let speed = one_and(self.oscillator * OSCILLATOR_PPM) * one_and(piece.wander * WANDER_PPM);
        let scan_us = ratio(PERIODS_US[usize::from(self.rate)], 1) / speed;
        let true_us = &scan_us * &scans;
        self.host_us += &true_us * one_and(self.clock * CLOCK_PPM);

        let amps = ratio(piece.nanoamps, 1_000_000_000);
        let real_volts = ratio(piece.microvolts, 1_000_000);
        let thermal = one_and(piece.thermal * THERMAL_PPM);
        let ohms = ratio(self.nanoohms, 1_000_000_000);
        let rail_offset = ratio(self.rail_offset * RAIL_OFFSET_NV[volts], 1_000_000_000);
        let shown = &amps * &ohms * &self.sense[sense] * thermal + &self.offset;
        let shown_volts = &real_volts * &self.rail[volts] + rail_offset;
        let sense_lsb = ratio(SENSE_LSB_NV[sense], 1_000_000_000);
        let rail_lsb = ratio(RAIL_LSB_NV[volts], 1_000_000_000);
        let mut charge = &shown / &sense_lsb * &scans;
        let mut energy = &shown * &shown_volts / &sense_lsb / &rail_lsb * &scans;
        // Noise of so many conversions: six times r.m.s., by the root of their number.
        let more = (self.scans + piece.scans).isqrt() - self.scans.isqrt();
        let noise = ratio(self.noise * 6 * SENSE_NOISE_NV[sense], SENSE_LSB_NV[sense]);
        let rail_noise = ratio(
            self.rail_noise * 6 * RAIL_NOISE_NV[volts],
            RAIL_LSB_NV[volts],
        );
        let greatest = ratio(self.greatest_na, 1_000_000_000);
        let greatest_volts = ratio(self.greatest_uv, 1_000_000);
        charge += &noise * ratio(more, 1);
        energy += (noise * &greatest_volts / &rail_lsb
            + rail_noise * &greatest * &ohms / &sense_lsb)
            * ratio(more, 1);
        // A jump is dated wrongly by half a scan; the truth moves instead of what is shown.
        let half = &scan_us * ratio(draw.sign(), 2) * ratio(1_000, 1);
        let mut truth = [
            &amps * &true_us * ratio(1_000, 1),
            &amps * &real_volts * &true_us * ratio(1_000, 1),
        ];
        let end = draw.sign();
        if let Some(before) = self.before {
            let jump = &amps - ratio(before.nanoamps, 1_000_000_000);
            let volts = &real_volts - ratio(before.microvolts, 1_000_000);
            truth[0] += &jump * &half;
            truth[1] += (jump * &greatest_volts + volts * &greatest) * half;
        } else {
            // What counts begins a scan earlier or later than the stamp says, and ends so.
            let ends = &scan_us * &greatest * ratio(2_000 * end, 1);
            truth[0] += &ends;
            truth[1] += ends * &greatest_volts;
        }
        if counts {
            for (total, more) in self.truth.iter_mut().zip(truth) {
                *total += more;
            }
            self.before = Some(piece);
            self.scans += piece.scans;
        }

        self.charge += charge;
        self.energy += energy;
        let integer = |sum: &Q| i128::try_from(sum.round().to_integer()).expect("small");
        stub.scans += piece.scans;
        (stub.charge, stub.energy) = ([integer(&self.charge)], [integer(&self.energy)]);
        stub.codes[0].rail = integer(&(shown_volts / rail_lsb)) as u32;
        stub.width_us = draw.of(&[0, 100, 1_500]);
        // The latch lies at one end of its bracket.
        let at: BigInt = if draw.sign() > 0 {
            self.host_us.floor().to_integer()
        } else {
            self.host_us.ceil().to_integer() - stub.width_us
        };
        stub.now_us = u64::try_from(at).expect("after the beginning");
    }

    /// The board of a declared rail.
    pub fn board(rail: &Rail) -> Board<1> {
        Board::new(&INFO, &[*rail]).with_clock(Tolerance::from_ppm(CLOCK_PPM as u32))
    }
}

/// The rail that all is about.
pub const RAIL: Channel = Channel::C0;
