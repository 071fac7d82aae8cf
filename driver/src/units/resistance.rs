//! Resistance of a sense resistor.

use super::quantity::quantity;

quantity! {
    /// A resistance. Resolution 1 nΩ, range 0 to 18.4 GΩ, never negative.
    Resistance(u64), "Ω";
    finest from_nanoohms, as_nanoohms, "nanoohms";
    from_microohms, as_microohms, 1_000, "microohms";
    from_milliohms, as_milliohms, 1_000_000, "milliohms";
    from_ohms, as_ohms, 1_000_000_000, "ohms";
}
