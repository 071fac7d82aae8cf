//! What a sample says of the quantity that a limit is on.

use crate::Channel;
use crate::board::Scale;
use crate::config::{Kind, Limit, Threshold};
use crate::monitor::{Sample, Saturation};
use crate::part::Codes;

/// What a limit's code stands for: the limit as asked for, moved to the code on the safe side. In
/// engineering units, resolution one code.
///
/// `None` where the channel is not enabled, or the limit is beyond full scale. The configuration is that
/// of the sample, which [`last_sample`](crate::ShuntMonitor::last_sample) has even before the first.
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

/// The reading of the quantity that a kind of limit is on, in billionths, and what it says of the true
/// value; `None` where there is no reading.
pub(super) fn value<const N: usize, S: Sample<N> + ?Sized>(
    sample: &S,
    channel: Channel,
    kind: Kind,
) -> Option<(i64, Saturation)> {
    let (scale, codes) = readable(sample, channel)?;
    let value = match kind {
        Kind::OverPower => scale.power(codes.power, codes.rail),
        _ => scale.compared(kind, code(&codes, kind)),
    };
    let clipped = match kind {
        Kind::OverVoltage | Kind::UnderVoltage => codes.rail_clipped,
        Kind::OverCurrent | Kind::UnderCurrent => codes.sense_clipped,
        Kind::OverPower => codes.sense_clipped || codes.rail_clipped,
    };
    let saturation = match (clipped, kind) {
        (false, _) => Saturation::None,
        (true, Kind::OverVoltage | Kind::UnderVoltage) => Saturation::AtLeast,
        (true, _) if is_forward(sample, channel) => Saturation::AtLeast,
        (true, _) => Saturation::Unknown,
    };
    Some((value, saturation))
}

/// Whether a sample shows the condition of a limit over by its hysteresis.
///
/// The code is what the part compares, so a sample and a flag never contradict each other: a code at the
/// end of the scale is beyond every limit that can be.
pub(super) fn is_back<const N: usize, S: Sample<N> + ?Sized>(sample: &S, limit: &Limit) -> bool {
    match readable(sample, limit.channel()) {
        Some((scale, codes)) => scale.is_back(limit, code(&codes, limit.kind())),
        None => false,
    }
}

fn code(codes: &Codes, kind: Kind) -> i64 {
    match kind {
        Kind::OverVoltage | Kind::UnderVoltage => i64::from(codes.rail),
        Kind::OverCurrent | Kind::UnderCurrent => i64::from(codes.sense),
        Kind::OverPower => codes.power,
    }
}

fn readable<const N: usize, S: Sample<N> + ?Sized>(
    sample: &S,
    channel: Channel,
) -> Option<(Scale<'_>, Codes)> {
    let (range, factors) = (sample.readable(channel)?, sample.board().factors(channel)?);
    Some((
        Scale::new(sample.info(), factors, range),
        sample.codes(channel),
    ))
}

fn is_forward<const N: usize, S: Sample<N> + ?Sized>(sample: &S, channel: Channel) -> bool {
    let factors = sample.board().factors(channel);
    factors.is_some_and(|factors| factors.is_forward())
}
