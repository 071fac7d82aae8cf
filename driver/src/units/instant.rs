//! What is true at a moment: voltage, current, power.

use super::quantity::{quantity, signed};

quantity! {
    /// A voltage. Resolution 1 nV, range ±9.22 GV, signed.
    ///
    /// Sense voltages are positive when current flows from source to load; rail voltages are
    /// against ground, at the load's side of the sense resistor.
    Voltage(i64), "V";
    finest from_nanovolts, as_nanovolts, "nanovolts";
    from_microvolts, as_microvolts, 1_000, "microvolts";
    from_millivolts, as_millivolts, 1_000_000, "millivolts";
    from_volts, as_volts, 1_000_000_000, "volts";
}

quantity! {
    /// A current. Resolution 1 nA, range ±9.22 GA, signed: positive from source to load.
    Current(i64), "A";
    finest from_nanoamps, as_nanoamps, "nanoamperes";
    from_microamps, as_microamps, 1_000, "microamperes";
    from_milliamps, as_milliamps, 1_000_000, "milliamperes";
    from_amps, as_amps, 1_000_000_000, "amperes";
}

quantity! {
    /// A power. Resolution 1 nW, range ±9.22 GW, signed: positive into the load.
    Power(i64), "W";
    finest from_nanowatts, as_nanowatts, "nanowatts";
    from_microwatts, as_microwatts, 1_000, "microwatts";
    from_milliwatts, as_milliwatts, 1_000_000, "milliwatts";
    from_watts, as_watts, 1_000_000_000, "watts";
}

signed!(Voltage, Current, Power);
