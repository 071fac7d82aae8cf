//! What adds up over time: charge and energy.
//!
//! Both are 128 bits wide: 10 nJ kept over 10 kW for 10 years is 68 bits and a sign.

use super::quantity::{quantity, signed};

quantity! {
    /// A charge. Resolution 1 nC, range ±1.7e29 C, signed: positive from source to load.
    ///
    /// The ampere hour is 3600 C exactly: 1 C is 1 A·s and 1 h is 3600 s (SI Brochure, 9th edition,
    /// tables 4 and 8).
    Charge(i128), "C";
    finest from_nanocoulombs, as_nanocoulombs, "nanocoulombs";
    from_microcoulombs, as_microcoulombs, 1_000, "microcoulombs";
    from_millicoulombs, as_millicoulombs, 1_000_000, "millicoulombs";
    from_coulombs, as_coulombs, 1_000_000_000, "coulombs";
    from_microamp_hours, as_microamp_hours, 3_600_000, "microampere hours";
    from_milliamp_hours, as_milliamp_hours, 3_600_000_000, "milliampere hours";
    from_amp_hours, as_amp_hours, 3_600_000_000_000, "ampere hours";
}

quantity! {
    /// An energy. Resolution 1 nJ, range ±1.7e29 J, signed: positive into the load.
    ///
    /// The watt hour is 3600 J exactly: 1 J is 1 W·s and 1 h is 3600 s (SI Brochure, 9th edition,
    /// tables 4 and 8).
    Energy(i128), "J";
    finest from_nanojoules, as_nanojoules, "nanojoules";
    from_microjoules, as_microjoules, 1_000, "microjoules";
    from_millijoules, as_millijoules, 1_000_000, "millijoules";
    from_joules, as_joules, 1_000_000_000, "joules";
    from_microwatt_hours, as_microwatt_hours, 3_600_000, "microwatt hours";
    from_milliwatt_hours, as_milliwatt_hours, 3_600_000_000, "milliwatt hours";
    from_watt_hours, as_watt_hours, 3_600_000_000_000, "watt hours";
}

signed!(Charge, Energy);
