use crate::units::{Current, Voltage};

/// Which way current can flow on a rail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Flow {
    /// From source to load alone.
    Forward,
    /// Both ways: a battery that is charged and discharged, a motor that feeds back.
    Both,
}

/// How often, and by how much, a load's current jumps. Up or down each count as one.
///
/// A jump that falls between two conversions is dated wrongly by up to one scan. What that costs
/// enters the bound in full, for loads may jump in step with the scans.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LoadSteps {
    /// Greatest number of jumps in any 3600 s; bounds take them to come evenly: in any other time
    /// as many as that makes, and one more.
    pub per_hour: u32,
    /// Greatest jump.
    pub step: Current,
}

/// How often, and by how much, a source's voltage jumps: as [`LoadSteps`], for the rail's voltage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct VoltageSteps {
    /// Greatest number of jumps in any 3600 s, likewise.
    pub per_hour: u32,
    /// Greatest jump.
    pub step: Voltage,
}

/// What the engineer knows of a rail's load and source, and declares: bounds of totals lean on it.
///
/// Without a declared load a bound covers the instrument alone, and says so.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Load {
    pub(crate) greatest: Current,
    pub(crate) flow: Flow,
    pub(crate) steps: LoadSteps,
    pub(crate) voltage_steps: VoltageSteps,
    pub(crate) mean: Current,
    pub(crate) mean_over_s: u32,
}

impl Load {
    /// A load that never jumps (its current hardly changes within a scan) and never draws more than
    /// `greatest`.
    #[must_use]
    pub const fn smooth(greatest: Current) -> Self {
        let greatest = greatest.abs();
        Self {
            greatest,
            flow: Flow::Forward,
            steps: LoadSteps {
                per_hour: 0,
                step: Current::ZERO,
            },
            voltage_steps: VoltageSteps {
                per_hour: 0,
                step: Voltage::ZERO,
            },
            mean: greatest,
            mean_over_s: 0,
        }
    }

    /// The same for a rail on which current flows both ways, at most the greatest either way.
    #[must_use]
    pub const fn both_ways(mut self) -> Self {
        self.flow = Flow::Both;
        self
    }

    /// The same where the mean of the current's *magnitude* is at most `mean` over any stretch of
    /// at least `over_s` seconds.
    ///
    /// It matters where current flows both ways: temperature and the oscillator act on what was
    /// turned over whichever way, which the totals do not tell.
    #[must_use]
    pub const fn with_mean(mut self, mean: Current, over_s: u32) -> Self {
        self.mean = mean.abs();
        self.mean_over_s = over_s;
        self
    }

    /// The same for a load that jumps.
    #[must_use]
    pub const fn with_steps(mut self, steps: LoadSteps) -> Self {
        self.steps = steps;
        self
    }

    /// The same for a source whose voltage jumps.
    #[must_use]
    pub const fn with_voltage_steps(mut self, steps: VoltageSteps) -> Self {
        self.voltage_steps = steps;
        self
    }

    /// Greatest current in either direction.
    #[must_use]
    pub const fn greatest(&self) -> Current {
        self.greatest
    }

    /// Which way current can flow.
    #[must_use]
    pub const fn flow(&self) -> Flow {
        self.flow
    }

    /// How often and how far its current jumps.
    #[must_use]
    pub const fn steps(&self) -> LoadSteps {
        self.steps
    }

    /// How often and how far its source's voltage jumps.
    #[must_use]
    pub const fn voltage_steps(&self) -> VoltageSteps {
        self.voltage_steps
    }

    /// Greatest mean of the current's magnitude, and the least stretch in seconds for which it
    /// holds.
    #[must_use]
    pub const fn mean(&self) -> (Current, u32) {
        (self.mean, self.mean_over_s)
    }
}
