use crake::alert::{Kind, Outputs};
use crake::part::Part;
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

    /// A fresh fixture: a part without errors of its own, from power-up long enough ago to answer, all inputs at 0 V, on a bus that it has to itself.
    ///
    /// `oscillator_ppm` is the error of the part's oscillator, positive when it is fast. A fixture that cannot set it may leave it at what it is; the checks of timing then prove less.
    fn desk(&self, oscillator_ppm: i32) -> Self::Desk;
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
