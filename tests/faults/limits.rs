//! Limits to be set, what the part's registers then are, and a witness of the part's flags.

use crake::Channel;
use crake::alert::{Limit, Limits, Outputs, Threshold};
use crake::units::{Current, Voltage};
use crake_sim::part::corncrake::{PartWatcher, Snapshot};

use crate::scene::{Scene, Setting};

/// Limits for a setting, and the registers that follow (datasheet, sections 3 and 3.6).
pub struct LimitSet {
    pub limits: Limits<'static>,
    /// Pointer, width and value.
    registers: &'static [(u8, usize, u64)],
    masks: [u64; 2],
}

/// 0.35 V, which channel 1 passes after 50 ms, and channel 0 after 150 ms.
const OVER: Threshold = Threshold::OverVoltage(Voltage::from_millivolts(350));
const NEVER: Threshold = Threshold::UnderVoltage(Voltage::from_millivolts(100));
/// Pulses are 2.3 A.
const PULSE: Threshold = Threshold::OverCurrent(Current::from_amps(2));

/// 50 µA and 100 µV a code.
static OF_FAST: LimitSet = LimitSet {
    limits: Limits::new(&[
        Limit::new(Channel::C1, OVER).debounce(3).to(Outputs::A),
        Limit::new(Channel::C3, PULSE).to(Outputs::B),
        Limit::new(Channel::C0, NEVER).following().to(Outputs::A),
    ]),
    registers: &[
        (0x30, 3, 0x01_1111),
        (0x31, 3, 0x01_1113),
        (0x18, 2, 3_500),
        (0x2A, 3, 40_000),
        (0x11, 2, 1_000),
        (0x34, 3, 0x72_0020),
    ],
    masks: [0x00_0022, 0x02_0000],
};

/// 20 µA and 250 µV a code.
static OF_SLOW: LimitSet = LimitSet {
    limits: Limits::new(&[
        Limit::new(Channel::C0, OVER).to(Outputs::A),
        Limit::new(Channel::C2, PULSE).to(Outputs::B),
    ]),
    registers: &[
        (0x30, 3, 0x01_1111),
        (0x10, 2, 1_400),
        (0x22, 3, 100_000),
        (0x34, 3, 0x70_1001),
    ],
    masks: [0x00_0001, 0x00_1000],
};

/// 100 µV a code on channel 0, 20 µA on channel 3.
static OF_SHOT: LimitSet = LimitSet {
    limits: Limits::new(&[
        Limit::new(Channel::C0, OVER).to(Outputs::A),
        Limit::new(Channel::C3, PULSE).to(Outputs::B),
    ]),
    registers: &[
        (0x33, 3, 0x01_1111),
        (0x10, 2, 3_500),
        (0x2A, 3, 100_000),
        (0x34, 3, 0x72_0001),
    ],
    masks: [0x00_0001, 0x02_0000],
};

impl LimitSet {
    /// Those for a setting.
    pub fn of(setting: &Setting) -> &'static Self {
        match setting.name {
            "slow" => &OF_SLOW,
            "shot" => &OF_SHOT,
            _ => &OF_FAST,
        }
    }

    /// What differs in the part; masks may lack what lasts, and nothing else may reach an output.
    pub fn differs(&self, scene: &Scene) -> Option<String> {
        let differs = |&(pointer, width, value): &(u8, usize, u64)| {
            let got = scene.register(pointer, width);
            (got != Some(value)).then(|| format!("{pointer:#04x} is {got:X?}, not {value:#X}"))
        };
        self.registers.iter().find_map(differs).or_else(|| {
            let masks = [0x35, 0x36].into_iter().zip(self.masks);
            masks.into_iter().find_map(|(pointer, most)| {
                let got = scene.register(pointer, 3);
                got.is_none_or(|got| got & !most != 0)
                    .then(|| format!("{pointer:#04x} is {got:X?}, more than {most:#X}"))
            })
        })
    }
}

/// Sees which flags of limits the part loses, and whether by a reset.
#[derive(Default)]
pub struct Witness {
    flags: u32,
    /// Flags that fell since the firmware began, but for resets.
    pub fallen: u32,
    /// How often each fell in the operation.
    falls: [u8; 20],
}

/// Flags that are about limits, and that of a reset.
const OF_LIMITS: u32 = 0x0F_FFFF;
const RESET_SEEN: u32 = 1 << 22;

impl Witness {
    /// The most that any flag fell since this was asked last.
    pub fn most_falls(&mut self) -> u8 {
        let falls = std::mem::take(&mut self.falls);
        falls.into_iter().max().unwrap_or(0)
    }
}

impl PartWatcher for Witness {
    fn see(&mut self, _: u64, part: &Snapshot) -> bool {
        let was_reset = part.flags & !self.flags & RESET_SEEN != 0;
        if !was_reset {
            let fell = self.flags & !part.flags & OF_LIMITS;
            self.fallen |= fell;
            for (bit, count) in self.falls.iter_mut().enumerate() {
                *count += u8::from(fell >> bit & 1 == 1);
            }
        }
        self.flags = part.flags;
        true
    }
}
