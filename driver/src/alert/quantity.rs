//! What a sample says of the quantity that a limit is on.

use crate::Channel;
use crate::board::Scale;
use crate::config::{Kind, Threshold};
use crate::monitor::Sample;

/// What a limit's code stands for: the limit as asked for, moved to the code on the safe side. In
/// engineering units, resolution one code.
///
/// `None` where the channel is not enabled, or the limit is beyond full scale. The configuration is
/// that of the sample, which [`last_sample`](crate::ShuntMonitor::last_sample) has even before the
/// first.
pub fn limit_in_force<const N: usize, S: Sample<N> + ?Sized>(
    sample: &S,
    channel: Channel,
    threshold: Threshold,
) -> Option<Threshold> {
    let scale = Scale::new(
        sample.info(),
        sample.board().factors(channel)?,
        sample.scan().range(channel)?,
    );
    let (kind, code) = (threshold.kind(), scale.code(threshold)?);
    Some(Threshold::of(kind, scale.compared(kind, code)))
}

/// What a sample shows of the quantity that a limit is on, in billionths.
pub(super) struct Shown {
    /// The reading.
    pub(super) value: i64,
    /// What the limit is compared with. The code behind it is what the part compares, so a sample
    /// and a flag never contradict each other: a code at the end of the scale is beyond every limit
    /// that can be.
    pub(super) compared: i64,
    /// A conversion went over range: the reading is a limit, not a value.
    pub(super) clipped: bool,
}

impl Shown {
    /// `None` where there is no reading.
    pub(super) fn new<const N: usize, S: Sample<N> + ?Sized>(
        sample: &S,
        channel: Channel,
        kind: Kind,
    ) -> Option<Self> {
        let (range, factors) = (sample.readable(channel)?, sample.board().factors(channel)?);
        let scale = Scale::new(sample.info(), factors, range);
        let codes = sample.codes(channel);
        let (code, clipped) = match kind {
            Kind::OverVoltage | Kind::UnderVoltage => (i64::from(codes.rail), codes.rail_clipped),
            Kind::OverCurrent | Kind::UnderCurrent => (i64::from(codes.sense), codes.sense_clipped),
            Kind::OverPower => (codes.power, codes.sense_clipped || codes.rail_clipped),
        };
        let compared = scale.compared(kind, code);
        let value = match kind {
            Kind::OverPower => scale.value(kind, code, codes.rail),
            _ => compared,
        };
        Some(Self {
            value,
            compared,
            clipped,
        })
    }
}
