use core::fmt;

bitflags::bitflags! {
    /// What nobody can find out on a part: its registers do not tell. Totals and alerts carry it
    /// on.
    #[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
    pub struct Undetectable: u8 {
        /// A reset between two samples.
        const RESET = 1;
        /// Writes by somebody else, or by this firmware before its restart.
        const WRITES = 2;
        /// A conversion that was asked for and never took place: a result may be an old one.
        const LOST_TRIGGER = 4;
        /// Results that changed while they were read.
        const CHANGE_WHILE_READ = 8;
        /// A conversion beyond the range that went into a mean or a sum of the part: it shows by
        /// the code at the end alone, and that of the last conversion is all there is. A load that
        /// never goes beyond full scale is what a total of such a part rests on.
        const OVER_RANGE = 16;
    }
}

impl fmt::Display for Undetectable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut before = "";
        for (thing, words) in [
            (Self::RESET, "a reset"),
            (Self::WRITES, "writes by somebody else"),
            (Self::LOST_TRIGGER, "a conversion that never took place"),
            (
                Self::CHANGE_WHILE_READ,
                "results that changed while they were read",
            ),
            (Self::OVER_RANGE, "over-range inside a mean or a sum"),
        ] {
            if self.contains(thing) {
                write!(f, "{before}{words}")?;
                before = ", ";
            }
        }
        match self.is_empty() {
            true => f.write_str("nothing"),
            false => Ok(()),
        }
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Undetectable {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "Undetectable({=u8:#b})", self.bits());
    }
}
