//! A part with four rails that tell the time, and what may be asked of it: configurations, and
//! what the datasheet says the part's registers then are.

use std::cell::RefCell;
use std::fmt;
use std::rc::Rc;
use std::time::Duration;

use crake::Channel;
use crake::alert::Outputs;
use crake::board::{Board, Load, Rail, SenseResistor};
use crake::config::{Config, FullScale, Mode, ScanRate};
use crake::part::corncrake::{Corncrake, INFO};
use crake::totals::Margins;
use crake::units::{Current, Resistance, Tolerance, Voltage};
use crake_sim::bench::{Bench, Part};
use crake_sim::part::Target;
use crake_sim::part::corncrake as model;
use crake_sim::plant::{self, Bounds, Profile, Pulses, Section, Source};

use crate::bus::Wiring;
use crate::limits::Witness;

pub const ADDRESS: u8 = 0x32;
pub const CHANNELS: usize = 4;

/// 10 mΩ in each rail. Of what is said of the load nothing holds but on the rails with ramps.
const RAIL: Rail = Rail::new(SenseResistor::new(
    Resistance::from_milliohms(10),
    Tolerance::ZERO,
))
.with_load(Load::smooth(Current::from_amps(3)).both_ways());
pub static BOARD: Board<CHANNELS> = Corncrake::board(&[RAIL; CHANNELS]);
pub static MARGINS: Margins<'static, CHANNELS> = Margins::new(&INFO, &BOARD, &[RAIL; CHANNELS]);

/// A configuration, and what the part's registers are with it (datasheet, sections 3.3 and 3.4).
pub struct Setting {
    pub name: &'static str,
    pub config: fn() -> Config<CHANNELS>,
    /// RUN between two calls.
    pub run: u8,
    pub channels: u8,
    pub ranges: u16,
    pub averaging: u8,
    /// From scan to scan, in microseconds; 0 where it does not scan by itself.
    pub period_us: u32,
    /// The longest that a reading can be older than its latch, in microseconds: as long as it takes
    /// until the next mean is finished, and half of what it is a mean over.
    pub age_us: u64,
}

const FINE: FullScale = FullScale::new(
    Voltage::from_millivolts(60),
    Voltage::from_millivolts(6_500),
);
const COARSE: FullScale = FullScale::new(
    Voltage::from_millivolts(26),
    Voltage::from_millivolts(16_000),
);

/// Four channels as fast as can be.
pub static FAST: Setting = Setting {
    name: "fast",
    config: || Config::continuous([FINE; CHANNELS], ScanRate::per_second(2_000)),
    run: 0x10,
    channels: 0x0F,
    ranges: 0x0000,
    averaging: 0,
    period_us: 500,
    age_us: 500 + 500,
};

/// Two channels, other ranges, means of two scans.
pub static SLOW: Setting = Setting {
    name: "slow",
    config: || {
        Config::continuous([COARSE; CHANNELS], ScanRate::per_second(500))
            .without(Channel::C1)
            .without(Channel::C3)
            .averaging(1)
    },
    run: 0x11,
    channels: 0x05,
    ranges: 0x2525,
    averaging: 1,
    period_us: 2_000,
    age_us: 2 * 2_000 + 2_000 + 500,
};

/// Three channels, converted when asked to, means of four scans.
pub static SHOT: Setting = Setting {
    name: "shot",
    config: || {
        Config::single_shot([FINE, COARSE, FINE, COARSE])
            .without(Channel::C2)
            .averaging(2)
    },
    run: 0x00,
    channels: 0x0B,
    ranges: 0x5250,
    averaging: 2,
    period_us: 0,
    // Four scans back to back, of which the first begins after the call does.
    age_us: 0,
};

/// No conversions at all.
pub static IDLE: Setting = Setting {
    name: "idle",
    config: || (FAST.config)().with_mode(Mode::Idle),
    run: 0x00,
    channels: 0x0F,
    ranges: 0x0000,
    averaging: 0,
    period_us: 0,
    age_us: 0,
};

impl Setting {
    /// Whether samples have readings.
    pub fn converts(&self) -> bool {
        self.name != IDLE.name
    }

    pub fn enables(&self, channel: Channel) -> bool {
        self.channels >> channel.number() & 1 == 1
    }
}

impl fmt::Debug for Setting {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name)
    }
}

/// The bench, its part, and the wiring on which plans are carried out.
pub struct Scene {
    pub bench: Bench,
    pub part: Part<model::Model>,
    pub wiring: Rc<Wiring>,
    pub witness: Rc<RefCell<Witness>>,
}

impl Scene {
    /// A part without errors, with rails whose voltage tells the time.
    pub fn new() -> Self {
        let bench = Bench::new(1);
        let part = bench
            .part(model::Corncrake::ideal(ADDRESS))
            .expect("an address");
        for channel in 0..CHANNELS {
            let source = Source::of(Ramp::voltage(channel));
            let rail = if tells_time_by_current(channel) {
                plant::Rail::new(source, Ramp::current(channel))
            } else {
                let pulses = Pulses::new(0, PULSE_NA, 7_300_000, 1_000_000);
                plant::Rail::new(source, pulses.expect("pulses"))
            };
            let rail = rail.expect("a rail");
            let resistor = crake_sim::board::SenseResistor::ideal(10_000_000);
            part.rail(channel, rail, resistor).expect("a channel");
        }
        let scene = Self {
            wiring: Wiring::new(&bench, &part),
            bench,
            part,
            witness: Rc::default(),
        };
        scene.pass_us(1_234);
        scene
    }

    pub fn pass_us(&self, us: u64) {
        self.bench.run_for(Duration::from_micros(us));
    }

    pub fn now_us(&self) -> u64 {
        self.bench.now_ns() / 1_000
    }

    /// Reads a register at the part itself: no time passes, and no bus is in between.
    pub fn register(&self, pointer: u8, width: usize) -> Option<u64> {
        self.part.with(|part| {
            part.start();
            if !part.address(ADDRESS << 1) {
                part.stop();
                return None;
            }
            part.write(pointer);
            part.start();
            part.address(ADDRESS << 1 | 1);
            let mut value = 0;
            for _ in 0..width {
                let byte = part.offer();
                part.settle(byte);
                value = value << 8 | u64::from(byte);
            }
            part.stop();
            Some(value)
        })
    }

    /// Whether an output is pulled low.
    pub fn is_low(&self, output: Outputs) -> bool {
        let output = match output {
            Outputs::A => model::Output::A,
            _ => model::Output::B,
        };
        self.part.is_low(output)
    }

    /// Has the witness see the part's flags from now on.
    pub fn watch(&self) {
        self.part.watch(self.bench.now_ns(), self.witness.clone());
    }

    /// Whether the part was reset and nobody told it since that it was seen; or it does not answer.
    pub fn was_reset(&self) -> bool {
        self.register(0x0A, 1) != Some(0)
    }

    /// What differs from the setting in the part's registers; nothing if it is as it was told.
    pub fn differs(&self, setting: &Setting) -> Option<String> {
        let expected = [
            ("RUN", 0x04, 1, u64::from(setting.run)),
            ("CHANNELS", 0x05, 1, u64::from(setting.channels)),
            ("RANGES", 0x06, 2, u64::from(setting.ranges)),
            ("AVERAGING", 0x07, 1, u64::from(setting.averaging)),
            ("RESET_SEEN", 0x0A, 1, 0),
        ];
        expected
            .into_iter()
            .find_map(|(name, pointer, width, value)| {
                let got = self.register(pointer, width);
                (got != Some(value)).then(|| format!("{name} is {got:X?}, not {value:#X}"))
            })
    }
}

/// A straight line, other for each channel: whoever sees a point of it knows when that was.
struct Ramp {
    start: i64,
    per_us: i64,
}

/// When the ramps end.
const END_NS: u64 = 5_000_000_000;

impl Ramp {
    /// 0.2 V and 0.1 V more for each channel; 1 V a second.
    fn voltage(channel: usize) -> Self {
        Self {
            start: 200_000_000 + 100_000_000 * channel as i64,
            per_us: NV_PER_US,
        }
    }

    /// -1 A and 0.2 A more for each channel; 0.5 A a second.
    fn current(channel: usize) -> Self {
        Self {
            start: -1_000_000_000 + 200_000_000 * channel as i64,
            per_us: NA_PER_US,
        }
    }
}

/// Channels 2 and 3 have pulses of 1 ms every 7.3 ms instead.
pub fn tells_time_by_current(channel: usize) -> bool {
    channel < 2
}

const PULSE_NA: i64 = 2_300_000_000;
const NV_PER_US: i64 = 1_000;
const NA_PER_US: i64 = 500;

impl Profile for Ramp {
    fn section(&self, at_ns: u64) -> Section {
        let last = self.start + self.per_us * (END_NS / 1_000) as i64;
        if at_ns >= END_NS {
            return Section::flat(END_NS, u64::MAX, last);
        }
        Section {
            from_ns: 0,
            to_ns: END_NS,
            start: self.start,
            end: last,
        }
    }

    fn bounds(&self) -> Bounds {
        let last = self.start + self.per_us * (END_NS / 1_000) as i64;
        Bounds {
            least: self.start,
            greatest: last,
        }
    }
}

/// What flowed on a channel with ramps from one moment to another, in seconds: coulombs and joules.
pub fn flowed(channel: usize, from_s: f64, to_s: f64) -> [f64; 2] {
    // 10^-9 units at the start; 10^-9 units a microsecond are 10^-3 units a second.
    let line = |ramp: Ramp| (ramp.start as f64 / 1e9, ramp.per_us as f64 / 1e3);
    let (amperes, more_amperes) = line(Ramp::current(channel));
    let (volts, more_volts) = line(Ramp::voltage(channel));
    let [one, two, three] =
        [1, 2, 3].map(|power| (to_s.powi(power) - from_s.powi(power)) / f64::from(power));
    [
        amperes * one + more_amperes * two,
        volts * amperes * one
            + (volts * more_amperes + more_volts * amperes) * two
            + more_volts * more_amperes * three,
    ]
}

/// When a channel's voltage was this, in microseconds.
pub fn time_of_voltage(channel: Channel, nanovolts: i64) -> i64 {
    (nanovolts - Ramp::voltage(channel.index()).start) / NV_PER_US
}

/// When a channel's current was this, in microseconds.
pub fn time_of_current(channel: Channel, nanoamps: i64) -> i64 {
    (nanoamps - Ramp::current(channel.index()).start) / NA_PER_US
}
