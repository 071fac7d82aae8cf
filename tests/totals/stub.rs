//! A part without physics: sums that a test adds to, shown modulo their widths, and a clock that it
//! sets.

use crake::board::{Board, Rail, SenseResistor};
use crake::config::{ChannelRange, Run, Scan};
use crake::info::{PartInfo, SumBits};
use crake::part::corncrake::INFO;
use crake::part::{Codes, Sums};
use crake::units::{Resistance, Tolerance};
use crake::{Channel, Sample, TimedSample, Timestamp};

/// Corncrake's scan periods by place in its table (section 6), in microseconds.
pub const PERIODS_US: [u64; 5] = [500, 2_000, 10_000, 100_000, 1_000_000];

/// A part and the sample that it shows.
#[derive(Clone, Debug)]
pub struct Stub<const N: usize> {
    pub info: &'static PartInfo,
    /// Widths of the sums in bits: energy, charge, scans.
    pub bits: [u8; 3],
    pub board: Board<N>,
    pub scan: Scan<N>,
    /// Counted since the part's reset, unwrapped.
    pub scans: u64,
    pub charge: [i128; N],
    pub energy: [i128; N],
    pub codes: [Codes; N],
    pub complete: bool,
    pub configuration: u32,
    pub clipped_samples: u32,
    /// The host's clock, and how wide brackets are.
    pub now_us: u64,
    pub width_us: u64,
}

impl<const N: usize> Stub<N> {
    /// A Corncrake that runs at its fastest scan rate, all channels in their widest ranges.
    pub fn new(board: Board<N>) -> Self {
        let mut stub = Self {
            info: &INFO,
            bits: [60, 44, 28],
            board,
            scan: Scan::NONE,
            scans: 0,
            charge: [0; N],
            energy: [0; N],
            codes: [Codes::default(); N],
            complete: true,
            configuration: 0,
            clipped_samples: 0,
            now_us: 1_000_000,
            width_us: 100,
        };
        stub.configure(0, [Some((0, 2)); N]);
        stub
    }

    /// Another configuration: place of the scan rate, and of the ranges of each channel. What is
    /// counted goes on.
    pub fn configure(&mut self, rate: u8, ranges: [Option<(u8, u8)>; N]) {
        self.scan = Scan::NONE;
        self.scan.run = Run::Continuous(rate);
        for (channel, range) in ranges.iter().enumerate() {
            let Some((sense, rail)) = *range else {
                continue;
            };
            self.scan.enabled |= 1 << channel;
            self.scan.ranges[channel] = ChannelRange {
                sense,
                rail,
                sense_lsb: INFO.sense_ranges[usize::from(sense)].lsb_units,
                rail_lsb: INFO.rail_ranges[usize::from(rail)].lsb_units,
            };
        }
        self.configuration += 1;
    }

    /// `scans` scans of these codes on every enabled channel, while `us` pass on the host's clock.
    pub fn run(&mut self, scans: u64, us: u64, sense: [i32; N], rail: [u16; N]) {
        self.now_us += us;
        self.scans += scans;
        for channel in 0..N {
            if self.scan.enabled >> channel & 1 == 0 {
                continue;
            }
            let (s, r) = (i128::from(sense[channel]), i128::from(rail[channel]));
            self.charge[channel] += s * i128::from(scans);
            self.energy[channel] += s * r * i128::from(scans);
            self.codes[channel] = Codes {
                sense: sense[channel],
                rail: u32::from(rail[channel]),
                power: i64::from(sense[channel]) * i64::from(rail[channel]),
                ..self.codes[channel]
            };
        }
    }

    /// The part is reset: it counts from nothing. Whoever initialises it calls [`Self::configure`].
    pub fn reset(&mut self) {
        self.scans = 0;
        (self.charge, self.energy) = ([0; N], [0; N]);
    }

    /// A conversion went over range since the sample before: `(sense, rail)` by channel.
    pub fn clip(&mut self, clipped: [(bool, bool); N]) {
        for (codes, (sense, rail)) in self.codes.iter_mut().zip(clipped) {
            (codes.sense_clipped, codes.rail_clipped) = (sense, rail);
        }
        self.clipped_samples += 1;
    }

    /// Twice the middle of the bracket.
    pub fn twice_us(&self) -> u64 {
        2 * self.now_us + self.width_us
    }
}

impl<const N: usize> Sample<N> for Stub<N> {
    fn info(&self) -> &'static PartInfo {
        self.info
    }

    fn board(&self) -> &Board<N> {
        &self.board
    }

    fn scan(&self) -> &Scan<N> {
        &self.scan
    }

    fn readable(&self, channel: Channel) -> Option<&ChannelRange> {
        self.scan.range(channel).filter(|_| self.complete)
    }

    fn codes(&self, channel: Channel) -> Codes {
        self.codes.get(channel.index()).copied().unwrap_or_default()
    }

    fn configuration(&self) -> u32 {
        self.configuration
    }

    fn scans(&self) -> u32 {
        (self.scans & ((1 << self.bits[2]) - 1)) as u32
    }

    fn latched_at(&self) -> Option<Timestamp> {
        Some(self.timestamp())
    }
}

impl<const N: usize> TimedSample<N> for Stub<N> {
    fn timestamp(&self) -> Timestamp {
        Timestamp {
            before_us: self.now_us,
            after_us: self.now_us + self.width_us,
        }
    }

    fn sums(&self, channel: Channel) -> Sums {
        Sums {
            charge: wrapped(self.charge[channel.index()], self.bits[1]),
            energy: wrapped(self.energy[channel.index()], self.bits[0]),
        }
    }

    fn clipped_samples(&self) -> u32 {
        self.clipped_samples
    }
}

/// Two's complement of so many bits, sign-extended.
fn wrapped(sum: i128, bits: u8) -> i64 {
    let span = 1_i128 << bits;
    let folded = sum.rem_euclid(span);
    i64::try_from(if folded >= span / 2 {
        folded - span
    } else {
        folded
    })
    .expect("at most 64 bits")
}

/// Corncrake with sums of other widths.
pub fn info_with(bits: [u8; 3]) -> &'static PartInfo {
    let [energy, charge, scans] = bits;
    let sum_bits = SumBits::new(energy, charge, scans, INFO.sense_ranges, INFO.rail_ranges);
    Box::leak(Box::new(PartInfo { sum_bits, ..INFO }))
}

/// A rail of which nothing is known but its resistor.
pub const fn rail(nanoohms: u64) -> Rail {
    Rail::new(SenseResistor::new(
        Resistance::from_nanoohms(nanoohms),
        Tolerance::ZERO,
    ))
}

pub const fn board<const N: usize>(rails: [Rail; N]) -> Board<N> {
    Board::new(&INFO, &rails)
}
