//! Corncrake, the four-channel rail monitor, as docs/corncrake-datasheet.md defines it.
//!
//! [`Corncrake`] says which part is wanted; [`Model`] is that part.

mod alerts;
mod check;
mod configuration;
mod converter;
mod engine;
mod handle;
mod individual;
mod protocol;
mod registers;
mod sample;
mod sums;
mod supply;
mod target;
mod values;
mod watch;

use alloc::{boxed::Box, format, rc::Rc, vec::Vec};
use core::cell::RefCell;

pub use super::{Converted, Input, analogue::Drift};
pub use individual::Individual;
pub use watch::{ChannelSnapshot, PartWatcher, Snapshot};

use super::{
    Order,
    analogue::{Errors, Supply},
};
use crate::rng::Rng;
use alerts::Alerts;
use configuration::Configuration;
use converter::Converter;
use engine::{IDLE, Phase};
use protocol::Protocol;
use registers::Register;
use sample::{Block, Pending};
use sums::{CHARGE_BITS, ENERGY_BITS, SCANS_BITS, Sums, wrapped};
use supply::Draw;
use values::Settings;
use watch::Watch;

/// Channels of the part.
pub const CHANNELS: usize = 4;

/// An order for a part: its address and how its errors come about.
#[derive(Clone, Debug, PartialEq)]
pub struct Corncrake {
    address: u8,
    errors: Errors<Individual>,
}

impl Corncrake {
    /// A part whose errors come from the bench's seed and the address, and nothing else. `address`
    /// is a 7-bit address, 0x32 to 0x35.
    pub fn new(address: u8) -> Self {
        Self {
            address,
            errors: Errors::FromSeed,
        }
    }

    /// A part without errors and noise.
    pub fn ideal(address: u8) -> Self {
        Self::individual(address, Individual::ideal())
    }

    /// A part with exactly these errors.
    pub fn individual(address: u8, individual: Individual) -> Self {
        Self {
            address,
            errors: Errors::Given(Box::new(individual)),
        }
    }

    /// The 7-bit address asked for.
    pub fn address(&self) -> u8 {
        self.address
    }
}

/// Addresses 0x32 to 0x35.
impl Order for Corncrake {
    type Model = Model;

    fn address(&self) -> u8 {
        self.address
    }

    fn build(self, rng: &Rng) -> Option<Model> {
        if !(0x32..=0x35).contains(&self.address) {
            return None;
        }
        let rng = rng.stream(&format!("corncrake {:#04x}", self.address));
        let individual = self.errors.or_from_seed(|| Individual::from_seed(&rng));
        Some(Model {
            address: self.address,
            now_ns: 0,
            powered: true,
            addressable_at_ns: 0,
            converter: Converter::new(individual, &rng),
            supply: Supply::new(Draw::Idle as u32),
            core: Core::after_reset(),
            protocol: Protocol::after_reset(),
            watch: None,
        })
    }
}

/// One of the two alert outputs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Output {
    /// Output A.
    A,
    /// Output B.
    B,
}

/// A Corncrake on the bench.
///
/// All methods speak of the moment to which the part was last [advanced](super::Target::advance).
pub struct Model {
    address: u8,
    now_ns: u64,
    powered: bool,
    addressable_at_ns: u64,
    converter: Converter,
    supply: Supply,
    core: Core,
    protocol: Protocol,
    watch: Option<Watch>,
}

/// Everything that a reset clears, but for what the bus side keeps.
#[derive(Debug)]
struct Core {
    settings: Settings,
    configuration: Configuration,
    /// The active mode byte; idle exactly when the phase is.
    mode: u8,
    phase: Phase,
    /// Scans that a single-shot has yet to do.
    scans_to_do: u32,
    sums: Sums,
    alerts: Alerts,
    /// The codes that the last or present capture has kept.
    captured: Vec<i32>,
    pending: Option<Pending>,
    block: Block,
}

impl Core {
    fn after_reset() -> Self {
        Self {
            settings: Settings::after_reset(),
            configuration: Configuration::after_reset(),
            mode: IDLE,
            phase: Phase::Idle,
            scans_to_do: 0,
            sums: Sums::default(),
            alerts: Alerts::after_reset(),
            captured: Vec::new(),
            pending: None,
            block: Block::after_reset(),
        }
    }
}

impl Model {
    /// The errors of this part.
    pub fn individual(&self) -> &Individual {
        &self.converter.individual
    }

    /// Shows what happens in the part to `watcher`, from `from_ns` on, in place of a watcher
    /// before.
    pub fn watch(&mut self, from_ns: u64, watcher: Rc<RefCell<dyn PartWatcher>>) {
        self.watch = Some(Watch::new(from_ns, watcher));
    }

    /// Bench only: sets a channel's running sums, modulo their widths, as if they had got there by
    /// scans. No flag is set. False if there is no such channel.
    pub fn preload(&mut self, channel: usize, charge: i64, energy: i64) -> bool {
        if channel >= CHANNELS {
            return false;
        }
        self.core.sums.charge[channel] = wrapped::<CHARGE_BITS>(charge);
        self.core.sums.energy[channel] = wrapped::<ENERGY_BITS>(energy);
        true
    }

    /// Bench only: sets SCANS, modulo its width. No flag is set.
    pub fn preload_scans(&mut self, scans: u32) {
        self.core.sums.scans = scans % (1 << SCANS_BITS);
    }

    fn reset(&mut self) {
        self.core = Core::after_reset();
        self.protocol = Protocol::after_reset();
        self.addressable_at_ns = self.now_ns + UNADDRESSABLE_NS;
        self.supply.draw(Draw::Idle as u32, self.now_ns);
        self.show(self.now_ns);
    }

    fn accept(&mut self, register: Register, value: u64) {
        match register {
            Register::Latch => {
                let [.., tag, seen] = value.to_be_bytes();
                self.latch(tag, seen);
            }
            Register::Run => self.run(value as u8),
            Register::Restart => self.reset(),
            _ => self.core.store(register, value),
        }
    }

    fn end_transfer(&mut self) {
        if let Some((register, value)) = self.protocol.end(self.core.settings.guard) {
            self.accept(register, value);
            self.show(self.now_ns);
        }
    }
}

/// Section 6.
const UNADDRESSABLE_NS: u64 = 1_000_000;
