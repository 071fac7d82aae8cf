use super::Sums;
use crate::old::Channel;
use crate::old::alert::{Causes, Kind, Outputs};
use crate::old::exchange::{Fault, Step};
use crate::old::part::{AlertSpec, Codes, Oscillator, PaceSpec, Source, Spec, Supply};
use crate::old::sampling::{Ranges, Sampling};
use crate::units::{Current, Voltage};

/// The register map of a plain part, written down by its porter: lists of bus steps, and what the bytes mean.
///
/// For a part that converts when it is asked to, with values in registers and at most a few comparators. Everything
/// else ([`MadeUp`](super::MadeUp)) is the driver's: running sums, power, whatever limits the part does not compare, frames, joining, retries, worst-case times.
///
/// A list is a function of `stage`, counted from 0: `Some` step for each stage, `None` past the end. Steps must not depend on anything but their arguments.
/// The part has to keep one 16-bit word for the host that reads back as written and that a reset brings to zero, the **mark**: by it a reset, a stranger's set-up and a change that stopped half-way
/// are found.
///
/// docs/porting.md walks through one.
pub trait Registers {
    /// What the part can do. `sums` is [`Source::Driver`](crate::old::part::Source::Driver), with [`Sums::WIDTHS`](super::Sums::WIDTHS); paces are the driver's promises to read so often.
    const SPEC: &'static Spec;
    /// Whether the part has check bytes (PEC), and writes and reads use them.
    const CHECKED: bool;
    /// Room for everything that `identity`, `read` and `read_causes` read, each at its own place, and one byte more for a check byte behind the last.
    type Raw: AsRef<[u8]> + AsMut<[u8]> + core::fmt::Debug;
    /// Room that holds nothing.
    const EMPTY: Self::Raw;

    /// Reads what tells the part from others.
    fn identity() -> Step;

    /// Judges what `identity` read.
    ///
    /// # Errors
    /// [`Fault::Identity`] with what came instead.
    fn identified(raw: &[u8]) -> Result<(), Fault>;

    /// Brings the part from whatever state into that after a reset; waits included.
    fn restart(stage: u8) -> Option<Step>;

    /// Puts a set-up, which has passed [`Sampling::check`], into the part.
    fn set_up(stage: u8, sampling: &Sampling<'_>) -> Option<Step>;

    /// Puts the mark.
    fn mark(value: u16) -> Step;

    /// Asks for a conversion of all channels: a [`Step::WriteStamped`], whose repeat must be harmless.
    fn trigger() -> Step;

    /// From `trigger` until the conversion has surely ended, by the slowest oscillator, in microseconds.
    const CONVERSION_US: u32;

    /// Reads the state, then the results of all channels, and the mark last: a reset in the middle leaves results that look like some, and only a mark that was read after them tells.
    fn read(stage: u8) -> Option<Step>;

    /// What `read` read of the part as a whole.
    fn state(raw: &[u8]) -> State;

    /// What `read` read of a channel: its codes, without power where `SPEC.power` is the driver's.
    fn codes(raw: &[u8], channel: Channel) -> Codes;

    /// The ranges in which a channel was converted, as `read` read them or as they always are.
    fn ranges(raw: &[u8], channel: Channel) -> Ranges;

    /// Puts the limit of a channel; without a code, so that nothing ever passes it. `None` where the part has no such comparator, as for every kind that `SPEC.alerts` leaves out.
    fn limit(_channel: Channel, _kind: Kind, _code: Option<i64>) -> Option<Step> {
        None
    }

    /// Lets these causes, and no others, reach the part's output. `None` where it has none.
    fn unmask(_causes: Causes) -> Option<Step> {
        None
    }

    /// Reads the causes that are set. `None` where the part compares nothing.
    fn read_causes() -> Option<Step> {
        None
    }

    /// What `read_causes` read.
    fn causes(_raw: &[u8]) -> Causes {
        Causes::empty()
    }

    /// Clears these causes, and no others. `None` where the part compares nothing.
    fn clear(_causes: Causes) -> Option<Step> {
        None
    }
}

/// What a part tells of itself beside its results.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct State {
    /// A conversion is in progress: the results are not those that were asked for.
    pub busy: bool,
    /// Changes with every conversion that has ended, where the part counts them: a conversion that never took place is found by it.
    pub sequence: Option<u16>,
    /// The mark; 0 after a reset.
    pub mark: u16,
}

/// What every part of plain [`Registers`] has in common: `..PLAIN` at the end of a [`Spec`]. It converts when it is asked to, single conversions, and keeps no sums;
/// nothing is compared by it. Whatever a datasheet has to say ([`name`](Spec::name), ranges, errors, times, currents) is left empty, and has to stand before it.
pub const PLAIN: Spec = Spec {
    name: "",
    channels: 0,
    sense_unit_nv: 0,
    bus_unit_nv: 0,
    sense: &[],
    bus: &[],
    bias: Current::ZERO,
    zero_stability: Voltage::ZERO,
    paces: &PROMISES,
    conversion_ns: 0,
    averaging_max: 0,
    burst_max: 0,
    skew_us: 0,
    power: Source::Driver,
    sums: Source::Driver,
    accumulators: Sums::<0>::WIDTHS,
    alerts: AlertSpec {
        outputs: Outputs::empty(),
        kinds: &[],
        debounce_max: 1,
        following: false,
    },
    oscillator: Oscillator {
        error_ppm: 0,
        wander_ppm: 0,
    },
    wake_us: 0,
    reset_us: 0,
    supply: Supply {
        idle: Current::ZERO,
        resting: Current::ZERO,
        converting: Current::ZERO,
    },
};

/// Paces that a firmware can promise: 2, 5, 10, 25, 100 ms, 1 and 10 s from one frame to the next.
const PROMISES: [PaceSpec; 7] = [
    every_ms(2),
    every_ms(5),
    every_ms(10),
    every_ms(25),
    every_ms(100),
    every_ms(1_000),
    every_ms(10_000),
];

const fn every_ms(ms: u32) -> PaceSpec {
    PaceSpec {
        period_us: ms.saturating_mul(1_000),
    }
}
