//! Corncrake, the four-channel rail monitor, as its datasheet defines it.
//!
//! [`Corncrake`] says which part is wanted; [`Model`] is that part.
//!
//! Where the datasheet leaves a choice, the model takes these: a single-shot or burst that is done shows mode
//! 0x00 (it *is* idle); a RUN during a wake-up lets the wake-up end as it would have; a RUN put off by a
//! reading of the window waits for the end of the round then in progress; each conversion that finds a level
//! standing sets its cause again, also a following one, and so pulls an output that an alert response had let
//! go of.

mod alerts;
mod check;
mod converter;
mod engine;
mod frame;
mod handle;
mod individual;
mod protocol;
mod registers;
mod sums;
mod supply;
mod values;
mod watch;

use alloc::{boxed::Box, format, rc::Rc};
use core::{cell::RefCell, fmt};

pub use crate::part::{Converted, Input, analogue::Drift};
pub use individual::Individual;
pub use watch::{ChannelSnapshot, PartWatcher, Snapshot};

use crate::{
    board::SenseResistor,
    part::{
        AlertOutputs, Order, PartModel, Target,
        analogue::{Errors, Supply},
    },
    plant::{Plant, Truth},
    rng::Rng,
};
use alerts::Alerts;
use converter::Converter;
use engine::{Active, Phase, Store};
use frame::{Block, Pending};
use protocol::Protocol;
use registers::Register;
use sums::{CHARGE_BITS, ENERGY_BITS, ROUNDS_BITS, Sums, wrapped};
use supply::{Draw, SUPPLY_MV};
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
    /// A part whose errors are drawn from the seed and the address, and nothing else. `address` is a 7-bit
    /// address, 0x32 to 0x35.
    pub fn drawn(address: u8) -> Self {
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
        let individual = self.errors.or_from_seed(|| Individual::drawn(&rng));
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

/// This Corncrake on a bench.
pub type Part = crate::bench::Part<Model>;

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
/// All methods speak of the moment to which the part was last [advanced](Target::advance).
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
    active: Active,
    phase: Phase,
    sums: Sums,
    alerts: Alerts,
    store: Store,
    pending: Option<Pending>,
    block: Block,
}

impl Core {
    fn after_reset() -> Self {
        let settings = Settings::after_reset();
        Self {
            active: Active::taken_over(&settings, 0),
            settings,
            phase: Phase::Idle,
            sums: Sums::default(),
            alerts: Alerts::after_reset(),
            store: Store::after_reset(),
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

    /// Shows what happens in the part to `watcher`, from `from_ns` on, in place of a watcher before.
    pub fn watch(&mut self, from_ns: u64, watcher: Rc<RefCell<dyn PartWatcher>>) {
        self.watch = Some(Watch::new(from_ns, watcher));
    }

    /// Bench only: sets a channel's accumulators, modulo their widths, as if they had got there by rounds. No
    /// cause is set. False if there is no such channel.
    pub fn preload(&mut self, channel: usize, charge: i64, energy: i64) -> bool {
        if channel >= CHANNELS {
            return false;
        }
        self.core.sums.charge[channel] = wrapped::<CHARGE_BITS>(charge);
        self.core.sums.energy[channel] = wrapped::<ENERGY_BITS>(energy);
        true
    }

    /// Bench only: sets ROUNDS, modulo its width. No cause is set.
    pub fn preload_rounds(&mut self, rounds: u32) {
        self.core.sums.rounds = rounds % (1 << ROUNDS_BITS);
    }

    fn reset(&mut self) {
        self.core = Core::after_reset();
        self.protocol = Protocol::after_reset();
        self.addressable_at_ns = self.now_ns + UNADDRESSABLE_NS;
        self.supply.draw(Draw::Idle as u32, self.now_ns);
        self.show(self.now_ns);
    }

    fn accept(&mut self, register: Register, value: u64) {
        let [.., mode, tag, seen] = value.to_be_bytes();
        match register {
            Register::Latch | Register::Run if self.core.knows(tag) => {}
            Register::Latch => self.ask(tag, seen, None),
            Register::Run => {
                self.core.store(register, value);
                self.ask(tag, seen, Some(mode));
            }
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

impl PartModel for Model {
    fn own_address(&self) -> u8 {
        self.address
    }

    fn channels(&self) -> usize {
        CHANNELS
    }

    fn attach(&mut self, channel: usize, plant: Box<dyn Plant>, resistor: SenseResistor) -> bool {
        self.converter.inputs.attach(channel, plant, resistor)
    }

    fn resistor(&mut self, channel: usize) -> Option<&mut SenseResistor> {
        self.converter.inputs.resistor(channel)
    }

    fn truth(&mut self, channel: usize) -> Truth {
        if let Some((converted, from_ns)) = self.core.aperture() {
            self.converter.inputs.cut(converted, from_ns, self.now_ns);
        }
        self.converter.inputs.truth(channel, self.now_ns)
    }

    fn conversions(&self) -> u64 {
        self.converter.inputs.conversions()
    }

    fn last_conversion(&self) -> Option<Converted> {
        self.converter.inputs.last()
    }

    fn supply_charge_na_ns(&self) -> u128 {
        self.supply.charge_na_ns(self.now_ns)
    }

    fn supply_mv(&self) -> u32 {
        SUPPLY_MV
    }

    fn is_powered(&self) -> bool {
        self.powered
    }

    fn power_loss(&mut self) {
        self.reset();
        self.powered = false;
        self.supply.draw(Draw::Unpowered as u32, self.now_ns);
    }

    fn power_up(&mut self) {
        if !self.powered {
            self.powered = true;
            self.reset();
        }
    }
}

impl AlertOutputs for Model {
    type Output = Output;

    fn is_low(&self, output: Output) -> bool {
        self.core.alerts.outputs() >> output as u8 & 1 == 1
    }

    fn is_reached(&self, output: Output) -> bool {
        let alerts = &self.core.alerts;
        let mask = match output {
            Output::A => alerts.mask_a,
            Output::B => alerts.mask_b,
        };
        mask != 0
    }
}

/// The active mode byte, as in RUN, and the outputs.
impl fmt::Debug for Model {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let level = |output| if self.is_low(output) { "low" } else { "high" };
        let (mode, a, b) = (self.core.active.mode, level(Output::A), level(Output::B));
        write!(f, "mode {mode:#04x}, A {a}, B {b}")
    }
}

impl Target for Model {
    fn advance(&mut self, to_ns: u64) {
        self.run_to(to_ns);
    }

    fn next_event_ns(&self) -> Option<u64> {
        self.core.phase.until_ns()
    }

    fn start(&mut self) {
        self.end_transfer();
    }

    fn address(&mut self, byte: u8) -> bool {
        if !self.powered || self.now_ns < self.addressable_at_ns {
            return false;
        }
        if byte == self.address << 1 {
            self.protocol.begin_write(byte);
        } else if byte == self.address << 1 | 1 {
            self.protocol.begin_read(byte, &self.core);
        } else if byte == ALERT_RESPONSE && self.core.alerts.outputs() != 0 {
            self.protocol.begin_alert_response(byte, self.address << 1);
        } else {
            return false;
        }
        true
    }

    fn write(&mut self, byte: u8) -> bool {
        self.protocol.write(byte, &self.core)
    }

    fn offer(&mut self) -> u8 {
        self.protocol.offer()
    }

    fn settle(&mut self, wire: u8) {
        if self.protocol.settle(wire) {
            self.core.alerts.let_go();
            self.show(self.now_ns);
        }
    }

    fn stop(&mut self) {
        self.end_transfer();
        self.protocol.reads_window = false;
        self.settle_pending(self.now_ns);
    }

    fn incomplete_byte(&mut self) {
        self.protocol.forget_transfer();
    }
}

const IDENTITY: u32 = 0x9E37_C401;
const UNADDRESSABLE_NS: u64 = 1_000_000;
/// Read address byte of the SMBus alert response address 0x0C.
const ALERT_RESPONSE: u8 = 0x19;
