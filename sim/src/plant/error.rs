use core::fmt;

/// Why a profile, a source or a rail cannot be built.
///
/// Found at construction; nothing that happens later on a rail is an error.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum PlantError {
    /// A current beyond [`CURRENT_NA_MAX`](super::CURRENT_NA_MAX), in nanoamperes: a single value
    /// or what a rail's load may add up to.
    Current(i64),
    /// A voltage beyond [`VOLTAGE_NV_MAX`](super::VOLTAGE_NV_MAX), in nanovolts, after the drop
    /// across the source's impedance.
    Voltage(i64),
    /// A profile's value whose magnitude is greater than 10^12.
    Value(i64),
    /// A recording, a table of a cell or a sum without any point.
    Empty,
    /// Point number `.0` (from 0) is not later, or not at a higher state, than the one before.
    Order(usize),
    /// A recording of less than two points cannot be repeated: its pass has no length.
    Pass,
    /// Pulses need 0 < width, edge ≤ width and width + edge ≤ period.
    PulseShape,
    /// A train needs at least one pulse, and a period of at least as many pulse periods.
    TrainShape,
    /// A scale with denominator 0 or a factor beyond ±10^6.
    Scale,
    /// An impedance beyond 1 kΩ, in microohms.
    Impedance(u64),
    /// A cell's table must begin at state 0 and end at 1 000 000 parts per million.
    StateEnds,
    /// A cell's initial state beyond 1 000 000 parts per million.
    State(u32),
    /// A cell's capacity of 0 or beyond 10 000 Ah, in microampere-hours.
    Capacity(u64),
    /// A pack of no cells, or of more than 1000.
    Series(u32),
    /// A resistance of less than 1 mΩ or more than 1 GΩ, in microohms.
    Resistance(u64),
    /// A power beyond 1 kW, in nanowatts.
    Power(u64),
    /// A voltage, down to which a power is taken, of less than 1 µV or more than 1 kV, in
    /// nanovolts.
    LeastVoltage(u64),
    /// A capacitor beyond 1000 F, or whose time constant with its series resistance is below 1 µs.
    Capacitor,
    /// An efficiency of less than 1 % or more than 100 %, in parts per million.
    Efficiency(u32),
}

impl fmt::Display for PlantError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Current(na) => write!(f, "a current of {} A is beyond ±1000 A", na / NANO),
            Self::Voltage(nv) => write!(
                f,
                "the voltage at the load, with the drop across the source's impedance, may come \
                 to {} V; it must stay within ±1000 V",
                nv / NANO
            ),
            Self::Value(value) => write!(
                f,
                "values may come to {} A (or V); they must stay within ±1000",
                value / NANO
            ),
            Self::Empty => f.write_str("there is no point at all"),
            Self::Order(index) => {
                write!(f, "point {index} (from 0) is not after the one before it")
            }
            Self::Pass => f.write_str("a repeated recording needs at least two points"),
            Self::PulseShape => {
                f.write_str("pulses need 0 < width, edge <= width and width + edge <= period")
            }
            Self::TrainShape => f.write_str(
                "a train needs at least one pulse, and a period as long as its pulses together",
            ),
            Self::Scale => f.write_str("a scale must be a ratio between -1000000 and 1000000"),
            Self::Impedance(uohm) => write!(f, "an impedance of {uohm} µΩ is beyond 1 kΩ"),
            Self::StateEnds => {
                f.write_str("the table of a cell must begin at state 0 and end at state 1")
            }
            Self::State(ppm) => write!(f, "an initial state of {ppm} ppm is beyond 1"),
            Self::Capacity(uah) => {
                write!(
                    f,
                    "a capacity of {uah} µAh is not between 1 µAh and 10000 Ah"
                )
            }
            Self::Resistance(uohm) => {
                write!(f, "a resistance of {uohm} µΩ is not between 1 mΩ and 1 GΩ")
            }
            Self::Power(nw) => write!(f, "a power of {nw} nW is beyond 1 kW"),
            Self::LeastVoltage(nv) => {
                write!(f, "a least voltage of {nv} nV is not between 1 µV and 1 kV")
            }
            Self::Capacitor => f.write_str(
                "a capacitor must be below 1000 F, and 1 µs or more with its series resistance",
            ),
            Self::Efficiency(ppm) => {
                write!(f, "an efficiency of {ppm} ppm is not between 1 and 100 %")
            }
            Self::Series(cells) => write!(f, "{cells} cells in series are not between 1 and 1000"),
        }
    }
}

impl core::error::Error for PlantError {}

/// Messages speak of whole amperes and volts.
const NANO: i64 = 1_000_000_000;
