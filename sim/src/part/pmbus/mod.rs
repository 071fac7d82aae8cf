//! Devices of the open PMBus standard, as docs/pmbus-device.md describes them.
//!
//! A [`Description`] says what a device is: its pages, their formats, what it lacks.
//! [`Description::gallinule`] is the fictional device of that document; a test builds any other.
//! [`Device`] is an order for one, [`Model`] the device.
//!
//! ```
//! # fn main() -> Result<(), Box<dyn core::error::Error>> {
//! use core::time::Duration;
//! use crake_sim::{bench::Bench, board::SenseResistor, part::pmbus::{Description, Device}, plant};
//! use embedded_hal::i2c::I2c;
//!
//! let bench = Bench::new(1);
//! let part = bench.part(Device::ideal(Description::gallinule(), 0x58)?)?;
//! let source = plant::Source::of(plant::Constant::new(3_300_000_000)?); // 3.3 V, in nV
//! let load = plant::Constant::new(4_200_000_000)?; // 4.2 A, in nA
//! part.rail(0, plant::Rail::new(source, load)?, SenseResistor::ideal(1_000_000))?;
//! bench.run_for(Duration::from_millis(10));
//!
//! let mut volts = [0; 2];
//! bench.i2c().write_read(0x58, &[0x8B], &mut volts)?;
//! assert_eq!(u16::from_le_bytes(volts), 1690); // × 2^−9 V
//! # Ok(())
//! # }
//! ```

mod command;
mod description;
mod format;
mod gallinule;
mod individual;
mod order;
mod page;
mod protocol;
mod registers;
mod sampler;
mod status;

use alloc::{boxed::Box, collections::BTreeMap};
use core::fmt;

pub use description::{Count, Description, DescriptionError, Page, Pec, Quantity, Refusal, Side};
pub use format::{Coefficients, Exponent, Format};
pub use individual::{Individual, PageErrors};
pub use order::Device;

use crate::{
    board::SenseResistor,
    part::{AlertOutputs, Converted, Input, PartModel, Target, analogue::Supply},
    plant::{Plant, Truth},
};
use command::Register;
use protocol::Protocol;
use registers::Registers;
use sampler::Sampler;

/// The one alert output, SMBALERT#.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SmbAlert;

/// A device on the bench.
///
/// All methods speak of the moment to which it was last [advanced](Target::advance).
pub struct Model {
    address: u8,
    now_ns: u64,
    powered: bool,
    addressable_at_ns: u64,
    description: Description,
    registers: Registers,
    sampler: Sampler,
    protocol: Protocol,
    supply: Supply,
    last: Option<Converted>,
}

impl Model {
    /// Powered up long enough before time 0 to be addressable.
    fn new(address: u8, description: Description, individual: Individual) -> Self {
        Self {
            address,
            now_ns: 0,
            powered: true,
            addressable_at_ns: 0,
            registers: Registers::after_reset(&description),
            sampler: Sampler::new(individual, &description),
            protocol: Protocol::default(),
            supply: Supply::new(SUPPLY_NA),
            last: None,
            description,
        }
    }

    /// What it is.
    pub fn description(&self) -> &Description {
        &self.description
    }

    /// The errors of this device.
    pub fn errors(&self) -> &Individual {
        &self.sampler.individual
    }

    /// PAGE.
    pub fn page(&self) -> u8 {
        self.registers.selected
    }

    /// Writing transfers to commands that a watching host has no business with, accepted or not, by
    /// command code; since the bench began, resets or not. They are all commands but PAGE, the warn
    /// limits, SMBALERT_MASK, the STATUS registers and USER_DATA_00; CLEAR_FAULTS (0x03) is among
    /// them.
    pub fn disturbances(&self) -> &BTreeMap<u8, u64> {
        &self.protocol.disturbances
    }

    /// Bench only: sets a page's readings of voltage, current and power until its next sample, as
    /// words of its formats. Nothing is compared. False if there is no such page.
    pub fn show(&mut self, page: usize, readings: [u16; 3]) -> bool {
        let page = self.registers.pages.get_mut(page);
        page.map(|page| page.readings = readings).is_some()
    }

    /// Bench only: sets a page's energy count, in counts modulo 256 periods, and its sample count,
    /// modulo 2^24. False if there is no such page, or no count on it.
    pub fn preload(&mut self, page: usize, counts: u64, samples: u32) -> bool {
        let Some(count) = self
            .description
            .pages
            .get(page)
            .and_then(|page| page.energy)
        else {
            return false;
        };
        let Some(state) = self.registers.pages.get_mut(page) else {
            return false;
        };
        state.energy = (counts % (256 * u64::from(count.period))) as u32;
        state.samples = samples;
        true
    }

    /// Bench only: sets bits of a STATUS register (code 0x7A, 0x7B, 0x7C, or 0x7E, which has no
    /// page) as if a cause had come and gone. False if there is no such register.
    pub fn raise(&mut self, page: usize, register: u8, bits: u8) -> bool {
        let Some(command::Command::Status(register)) = command::Command::of(register) else {
            return false;
        };
        let status = match (register, self.registers.pages.get_mut(page)) {
            (Register::Cml, _) => Some(&mut self.registers.cml),
            (_, Some(page)) => page.status_mut(register),
            (_, None) => None,
        };
        status.map(|status| status.set(bits)).is_some()
    }

    /// Bench only: sets WRITE_PROTECT.
    pub fn protect(&mut self, value: u8) {
        self.registers.write_protect = value;
    }

    fn reset(&mut self) {
        self.registers = Registers::after_reset(&self.description);
        self.protocol.reset();
        self.addressable_at_ns = self.now_ns + UNADDRESSABLE_NS;
        self.sampler.start_at(self.addressable_at_ns);
    }
}

impl Target for Model {
    fn advance(&mut self, to_ns: u64) {
        while let Some(at_ns) = self.next_event_ns().filter(|&at_ns| at_ns <= to_ns) {
            let at = self.sampler.next().page;
            let (Some(page), Some(state)) = (
                self.description.pages.get(at),
                self.registers.pages.get_mut(at),
            ) else {
                return;
            };
            state.sample(self.sampler.sample(page), page);
            self.last = Some(Converted {
                channel: at,
                input: Input::Rail,
                code: i32::from(state.readings[0]),
                clipped: false,
                at_ns,
            });
        }
        self.now_ns = self.now_ns.max(to_ns);
    }

    fn next_event_ns(&self) -> Option<u64> {
        self.powered.then(|| self.sampler.next().to_ns)
    }

    fn start(&mut self) {
        self.protocol.start();
    }

    fn address(&mut self, byte: u8) -> bool {
        if !self.powered || self.now_ns < self.addressable_at_ns {
            return false;
        }
        if byte >> 1 == self.address {
            match byte & 1 {
                0 => self.protocol.begin_write(byte),
                _ => (self.protocol).begin_read(byte, &mut self.registers, &self.description),
            }
        } else if byte == ALERT_RESPONSE && self.registers.pulls() {
            self.protocol
                .begin_alert_response(byte, self.address << 1, &self.description);
        } else {
            return false;
        }
        true
    }

    fn write(&mut self, byte: u8) -> bool {
        self.protocol
            .write(byte, &mut self.registers, &self.description)
    }

    fn offer(&mut self) -> u8 {
        self.protocol.offer()
    }

    fn settle(&mut self, wire: u8) {
        if self.protocol.settle(wire) {
            self.registers.mark();
        }
    }

    fn stop(&mut self) {
        self.protocol.stop(&mut self.registers, &self.description);
    }

    fn incomplete_byte(&mut self) {
        self.protocol.break_off(&mut self.registers);
    }
}

impl PartModel for Model {
    fn own_address(&self) -> u8 {
        self.address
    }

    /// Its pages.
    fn channels(&self) -> usize {
        self.sampler.pages()
    }

    /// Currents are sensed inside: the resistor is of no effect.
    fn attach(&mut self, page: usize, plant: Box<dyn Plant>, resistor: SenseResistor) -> bool {
        self.sampler.attach(page, plant, resistor)
    }

    fn resistor(&mut self, channel: usize) -> Option<&mut SenseResistor> {
        self.sampler.resistor(channel)
    }

    fn truth(&mut self, page: usize) -> Truth {
        self.sampler.cut(self.now_ns);
        self.sampler.truth(page, self.now_ns)
    }

    /// Samples of single pages.
    fn conversions(&self) -> u64 {
        self.sampler.samples
    }

    /// The word of the voltage in the page's format; PMBus tells of no clipping.
    fn last_conversion(&self) -> Option<Converted> {
        self.last
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
        self.supply.draw(0, self.now_ns);
    }

    fn power_up(&mut self) {
        if !self.powered {
            self.powered = true;
            self.supply.draw(SUPPLY_NA, self.now_ns);
            self.reset();
        }
    }
}

impl AlertOutputs for Model {
    type Output = SmbAlert;

    fn is_low(&self, _: SmbAlert) -> bool {
        self.registers.pulls()
    }

    fn is_reached(&self, _: SmbAlert) -> bool {
        self.registers.is_reached()
    }
}

/// PAGE and the alert output.
impl fmt::Debug for Model {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let level = if self.is_low(SmbAlert) { "low" } else { "high" };
        write!(f, "PAGE {:#04x}, SMBALERT# {level}", self.page())
    }
}

const UNADDRESSABLE_NS: u64 = 2_000_000;
/// Read address byte of the SMBus alert response address 0x0C.
const ALERT_RESPONSE: u8 = 0x19;
const SUPPLY_NA: u32 = 12_000_000;
const SUPPLY_MV: u32 = 3_300;
