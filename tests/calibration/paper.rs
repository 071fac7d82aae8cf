//! Samples on paper: what they tell is written down, nothing is converted.

use crake::board::{Board, Rail, SenseResistor};
use crake::calibration::{CalibrationError, Collection};
use crake::config::{ChannelRange, Run, Scan};
use crake::info::PartInfo;
use crake::part::corncrake::{Corncrake, INFO};
use crake::part::{Codes, Sums};
use crake::units::{Resistance, Tolerance};
use crake::{Channel, Sample, TimedSample, Timestamp};

pub const CHANNEL: Channel = Channel::C2;
/// Places of the sense ranges (datasheet, section 3.4).
pub const COARSE: u8 = 0;
pub const FINE: u8 = 1;

/// 1 Ω ± 0.5 %, without temperature effects.
pub const ONE_OHM: Rail = Rail::new(SenseResistor::new(
    Resistance::from_ohms(1),
    Tolerance::from_ppm(5_000),
));

/// A part whose channel 2 counts what it is told, from just below the wraps of its sums.
#[derive(Clone)]
pub struct Paper {
    board: Board<4>,
    scan: Scan<4>,
    pub info: &'static PartInfo,
    pub complete: bool,
    pub clipped: [bool; 4],
    pub clipped_samples: u32,
    pub configuration: u32,
    pub now_us: u64,
    scans: u32,
    charge: i64,
}

impl Paper {
    /// All channels in the fine sense range, 2000 scans a second.
    pub fn new() -> Self {
        let range = ChannelRange {
            sense: FINE,
            rail: 2,
            sense_lsb: 2,
            rail_lsb: 20,
        };
        Self {
            board: Corncrake::board(&[ONE_OHM; 4]),
            scan: Scan {
                ranges: [range; 4],
                enabled: 0x0F,
                run: Run::Continuous(0),
                averaging_log2: 0,
                undetectable: crake::info::Undetectable::empty(),
            },
            info: &INFO,
            complete: true,
            clipped: [false; 4],
            clipped_samples: u32::MAX,
            configuration: 7,
            now_us: 1_000_000,
            scans: 0x0FFF_FFFF,
            charge: (1 << 43) - 1,
        }
    }

    pub fn set_sense_range(&mut self, place: u8) {
        self.scan.ranges[CHANNEL.index()].sense = place;
    }

    pub fn disable(&mut self, channel: Channel) {
        self.scan.enabled &= !(1 << channel.number());
    }

    pub fn stop(&mut self) {
        self.scan.run = Run::SingleShot;
    }

    /// Lets some scans pass whose sense codes add up to `codes`.
    pub fn run(&mut self, scans: u32, codes: i64) {
        self.scans = (self.scans + scans) & 0x0FFF_FFFF;
        self.charge = (self.charge + codes) << 20 >> 20;
        self.now_us += u64::from(scans) * 500;
    }

    /// A sample, then one after each stretch of (scans, sum of codes).
    pub fn collect(&mut self, stretches: &[(u32, i64)]) -> Collection {
        let mut collection = Collection::new(CHANNEL);
        collection.add(self).expect("a sample");
        for &(scans, codes) in stretches {
            self.run(scans, codes);
            collection.add(self).expect("a sample");
        }
        collection
    }

    /// Four stretches of 1000 scans whose codes add up to `codes`, a multiple of 4.
    pub fn steady(&mut self, codes: i64) -> Collection {
        self.collect(&[(1_000, codes / 4); 4])
    }

    /// What becomes of a sample after four stretches.
    pub fn refused(&mut self, spoil: impl Fn(&mut Self)) -> CalibrationError {
        let mut collection = self.steady(0);
        self.run(1_000, 0);
        spoil(self);
        let refused = collection.add(self).unwrap_err();
        assert_eq!(collection.scans(), 0, "begins anew");
        refused
    }
}

impl Sample<4> for Paper {
    fn info(&self) -> &'static PartInfo {
        self.info
    }

    fn board(&self) -> &Board<4> {
        &self.board
    }

    fn scan(&self) -> &Scan<4> {
        &self.scan
    }

    fn readable(&self, channel: Channel) -> Option<&ChannelRange> {
        self.scan.range(channel).filter(|_| self.complete)
    }

    fn codes(&self, channel: Channel) -> Codes {
        Codes {
            sense_clipped: self.clipped[channel.index()],
            ..Codes::default()
        }
    }

    fn configuration(&self) -> u32 {
        self.configuration
    }

    fn scans(&self) -> u32 {
        self.scans
    }

    fn latched_at(&self) -> Option<Timestamp> {
        Some(self.timestamp())
    }
}

impl TimedSample<4> for Paper {
    fn timestamp(&self) -> Timestamp {
        Timestamp {
            before_us: self.now_us,
            after_us: self.now_us + 100,
        }
    }

    fn sums(&self, channel: Channel) -> Sums {
        assert_eq!(channel, CHANNEL);
        Sums {
            charge: self.charge,
            energy: 0,
        }
    }

    fn clipped_samples(&self) -> u32 {
        self.clipped_samples
    }
}
