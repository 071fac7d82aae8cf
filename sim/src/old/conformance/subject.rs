use crake::old::alert::{Kind, Outputs};
use crake::old::part::{BusRange, Part, SenseRange};
use crake::old::units::Resistance;
use crake::old::{Channel, Ranges};
use embedded_hal::i2c::I2c;

/// A thing under test: a map, and a fixture that it talks to.
///
/// `N` is the number of channels. The fixture is a model on a bench, a [`Scripted`](super::Scripted) register file, or hardware with sources behind its inputs that can be set exactly.
pub trait Subject<const N: usize> {
    /// The map.
    type Part: Part;
    /// The fixture.
    type Desk: Desk;

    /// What the datasheet says, put down by the porter apart from the map's `Spec`.
    fn stated(&self) -> Stated;

    /// The part's 7-bit address.
    fn address(&self) -> u8;

    /// The driver's side of a part of which nothing is known yet.
    fn map(&self) -> Self::Part;

    /// Ranges of a channel in checks that are not about ranges; those of places 0 if nothing is said.
    fn ranges(&self, channel: Channel) -> Ranges {
        let _ = channel;
        Ranges {
            sense: SenseRange(0),
            bus: BusRange(0),
        }
    }

    /// Sense resistor of the board that the kit makes; 1 mΩ if nothing is said. A part that measures amperes by itself has 1 Ω ([`Shunt::inside`](crake::old::board::Shunt::inside)).
    fn shunt(&self) -> Resistance {
        Resistance::from_milliohms(1)
    }

    /// Microseconds until a change of inputs shows, beyond a few periods of the fastest pace; for a part that samples at a rate of its own.
    fn settling_us(&self) -> u32 {
        0
    }

    /// What a channel's own number format adds to one LSB of the `Spec`; nothing if nothing is said.
    fn coarseness(&self, channel: Channel) -> Coarseness {
        let _ = channel;
        Coarseness::default()
    }

    /// A fresh fixture: a part without errors of its own, from power-up long enough ago to answer, all inputs at 0 V, on a bus that it has to itself.
    ///
    /// `oscillator_ppm` is the error of the part's oscillator, positive when it is fast. A fixture that cannot set it may leave it at what it is; the checks of timing then prove less.
    fn desk(&self, oscillator_ppm: i32) -> Self::Desk;
}

/// Half a step of the coarsest number that a channel shows, in codes of its ranges; what grows with the number stands in [`Stated::format_ppm`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Coarseness {
    /// Of sense.
    pub sense: u32,
    /// Of bus.
    pub bus: u32,
    /// Of power, with what sums of it are rounded to.
    pub power: u32,
}

/// What a fixture does for the kit. Clones are handles of the same fixture.
pub trait Desk: Clone + 'static {
    /// The controller on its bus.
    type I2c: I2c;

    /// A controller on its bus.
    fn i2c(&self) -> Self::I2c;

    /// Clock frequency of the bus in hertz.
    fn bus_hz(&self) -> u32;

    /// Nanoseconds since a moment of the fixture's own choosing.
    fn now_ns(&self) -> u64;

    /// Lets time pass.
    fn run_for_ns(&self, ns: u64);

    /// Puts voltages on a channel's inputs, exactly, from now on until changed: across the sense input, positive for current from source to load, and on the bus input.
    ///
    /// For a part that reports current instead of a sense voltage, what flows through the resistor that its `Spec` takes it to have.
    fn apply(&self, channel: u8, sense_nv: i64, bus_nv: i64);

    /// Resets the part as a dip of its supply does, and returns at once: whatever time it needs to answer again passes later.
    fn reset(&self);

    /// Sets a channel's running sums, modulo their widths, as if they had got there by rounds. `false` where that cannot be done.
    fn preload(&self, channel: u8, charge: i64, energy: i64) -> bool {
        let _ = (channel, charge, energy);
        false
    }

    /// Sets the count of rounds. `false` where that cannot be done.
    fn preload_rounds(&self, rounds: u32) -> bool {
        let _ = rounds;
        false
    }

    /// Whether one alert output is pulled low; `None` where the fixture cannot see it.
    fn is_low(&self, output: Outputs) -> Option<bool> {
        let _ = output;
        None
    }
}

/// What a part's datasheet says, in the datasheet's own terms: held against the map's `Spec`, and telling which checks make sense.
#[derive(Clone, Copy, Debug)]
pub struct Stated {
    /// Number of channels.
    pub channels: u8,
    /// Sense ranges, in the order of the `Spec`.
    pub sense: &'static [StatedRange],
    /// Bus ranges, in the order of the `Spec`.
    pub bus: &'static [StatedRange],
    /// Round periods in microseconds, in the order of the `Spec`.
    pub periods_us: &'static [u32],
    /// Greatest k of means of 2^k rounds.
    pub averaging_max: u8,
    /// Bits of the energy sum, sign included; 0 where the part has none.
    pub energy_bits: u8,
    /// Bits of the charge sum, sign included; 0 where the part has none.
    pub charge_bits: u8,
    /// Bits of the count of rounds; 0 where the part has none.
    pub rounds_bits: u8,
    /// Kinds of limits that the part compares itself.
    pub kinds: &'static [Kind],
    /// Alert outputs.
    pub outputs: Outputs,
    /// Greatest debounce that the part counts; 1 where it has none.
    pub debounce_max: u8,
    /// Greatest error of the oscillator in either direction, parts per million.
    pub oscillator_ppm: u32,
    /// Transfers end with a check byte (PEC).
    pub check_byte: bool,
    /// The block of results carries a check value of its own.
    pub block_check: bool,
    /// The part tells what it is, in the first register that is read when it is set up or joined.
    pub identity: bool,
    /// The part tells whether anybody wrote to its set-up.
    pub serial: bool,
    /// The part converts by itself, at a pace; else only when a frame is asked for.
    pub free_running: bool,
    /// An input beyond the range is remembered until a frame has told of it, even if the input is back by then.
    pub remembers_clipping: bool,
    /// So many eighths of its greatest magnitude, or beyond, and a sum is told as near its end; 0 where the part does not tell.
    pub rollover_ahead_eighths: u8,
    /// The map may read again while the part is not ready, instead of waiting until it surely is.
    pub polls: bool,
    /// Conversions that a burst keeps; 0 where the part has no bursts.
    pub burst: u16,
    /// Further error of a value through the part's own number format, parts per million of it; 0 for codes that count LSBs.
    pub format_ppm: u32,
}

impl Stated {
    /// A part of plain [`Registers`](crake::old::part::make_up::Registers): what the driver makes up for it, and nothing that it does not have to have. Name what the datasheet says before `..Stated::PLAIN`.
    pub const PLAIN: Self = Self {
        channels: 0,
        sense: &[],
        bus: &[],
        periods_us: &[2_000, 5_000, 10_000, 25_000, 100_000, 1_000_000, 10_000_000],
        averaging_max: 0,
        energy_bits: 63,
        charge_bits: 63,
        rounds_bits: 32,
        kinds: &[],
        outputs: Outputs::empty(),
        debounce_max: 1,
        oscillator_ppm: 0,
        check_byte: false,
        block_check: false,
        identity: true,
        serial: true,
        free_running: false,
        remembers_clipping: false,
        rollover_ahead_eighths: 0,
        polls: false,
        burst: 0,
        format_ppm: 0,
    };
}

/// One range as a datasheet has it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StatedRange {
    /// Full scale in nanovolts.
    pub full_scale_nv: u64,
    /// So many LSBs are the full scale.
    pub full_scale_codes: u32,
    /// Greatest code.
    pub code_max: u32,
}

impl StatedRange {
    /// Of two's complement codes of so many bits, at most 32: full scale is half of their number.
    #[must_use]
    pub const fn signed(full_scale_nv: u64, bits: u32) -> Self {
        Self::unsigned(full_scale_nv, bits - 1)
    }

    /// Of codes of so many bits from zero up, at most 31: full scale is their number.
    #[must_use]
    pub const fn unsigned(full_scale_nv: u64, bits: u32) -> Self {
        Self {
            full_scale_nv,
            full_scale_codes: 1 << bits,
            code_max: (1 << bits) - 1,
        }
    }
}
