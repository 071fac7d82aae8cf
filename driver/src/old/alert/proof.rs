use super::{Causes, Limit, Outputs, Station, Watch, Watches};
use crate::old::Channel;
use crate::old::frame::Frame;
use crate::old::monitor::{Error, ShuntMonitor};
use crate::old::sampling::{Mode, Setup};
use crate::units::Current;

/// What a proof test found of one output's way to the host.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Finding {
    /// Low when tripped, high when not.
    Works,
    /// Never low: broken, or stuck high.
    NeverLow,
    /// Never high: shorted, stuck low, or held low by another part on the line.
    NeverHigh,
    /// Follows the other output's trips instead of its own.
    Swapped,
    /// Follows both outputs' trips: the lines are joined.
    Joined,
}

/// Findings for both outputs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Proof {
    /// Output A.
    pub a: Finding,
    /// Output B.
    pub b: Finding,
}

impl Proof {
    /// Whether both outputs reach the host, each on its own line.
    #[must_use]
    pub const fn passed(&self) -> bool {
        matches!((self.a, self.b), (Finding::Works, Finding::Works))
    }
}

/// Proof test of the alert path, for production and the field: trips each output by a limit that lies under any reading, looks at the lines, and puts the
/// station's own watches back. [`asynch::prove`](crate::old::asynch::prove) is its twin.
///
/// `is_low` tells whether the host sees an output's line low right now; `wait_us` lets time pass. While the test runs nothing else is watched; causes that stood before it stay
/// pending. Takes about as long as four set-ups and three rounds. The first enabled channel is used; the part must run at a pace.
///
/// Prove the path before trusting it, and never let a monitor be the only protection: fuses, battery protection circuits and certified devices protect.
///
/// # Errors
/// The bus failed: the station's watches may not be in force; arm it.
pub fn prove<const N: usize, const Q: usize, E>(
    station: &mut Station<'_, N, Q>,
    monitor: &mut dyn ShuntMonitor<N, BusError = E>,
    is_low: &mut dyn FnMut(Outputs) -> bool,
    wait_us: &mut dyn FnMut(u32),
) -> Result<Proof, Error<E>> {
    let trial = Trial::new(*station.setup(), &monitor.latch()?);
    let mut lows = [[false; 2]; 3];
    for (output, lows) in Trial::<N>::TRIPPED.into_iter().zip(&mut lows) {
        let (watch, mut of_test) = (trial.watch(output), Causes::empty());
        let (watches, found) = (
            Watches::limits(watch.as_slice()),
            station.found(&mut of_test),
        );
        monitor.arm(&trial.setup, &watches, found)?;
        station.begin_proof();
        wait_us(trial.wait_us);
        *lows = [is_low(Outputs::A), is_low(Outputs::B)];
    }
    station.arm(monitor)?;
    Ok(Proof::of(lows))
}

/// What a proof test does and how it judges: what the blocking and the async one share.
pub(crate) struct Trial<const N: usize> {
    pub(crate) setup: Setup<N>,
    /// Before the lines are looked at: one round, and half as much again for a slow oscillator and the wake-up.
    pub(crate) wait_us: u32,
    channel: Channel,
    /// Under any reading: reverse current at the far end of the scale.
    limit: Current,
}

impl<const N: usize> Trial<N> {
    /// The output that is tripped in each of the three steps; in the first, none.
    pub(crate) const TRIPPED: [Option<Outputs>; 3] = [None, Some(Outputs::A), Some(Outputs::B)];

    pub(crate) fn new(setup: Setup<N>, frame: &Frame<'_>) -> Self {
        let spec = frame.spec();
        let period_us = match setup.mode {
            Mode::Paced(pace) => spec.period_us(pace).unwrap_or_default(),
            Mode::Idle | Mode::SingleShot | Mode::Burst(_) => 0,
        };
        let channel = Channel::first(u8::MAX)
            .zip(setup.channels)
            .find_map(|(channel, ranges)| ranges.map(|_| channel))
            .unwrap_or(Channel::C0);
        Self {
            setup,
            wait_us: period_us
                .saturating_add(period_us / 2)
                .saturating_add(spec.wake_us),
            channel,
            limit: floor(frame, &setup, channel),
        }
    }

    pub(crate) fn watch(&self, output: Option<Outputs>) -> Option<Watch> {
        output.map(|output| {
            Watch::new(self.channel, Limit::OverCurrent(self.limit))
                .held()
                .to(output)
        })
    }
}

impl Proof {
    /// Lines A and B, low or not, in each of the three steps.
    pub(crate) const fn of(
        [[rest_a, rest_b], [own_a, cross_b], [cross_a, own_b]]: [[bool; 2]; 3],
    ) -> Self {
        Self {
            a: judge(rest_a, own_a, cross_a),
            b: judge(rest_b, own_b, cross_b),
        }
    }
}

/// A line is low at rest, at its own trip, at the other's trip.
const fn judge(rest: bool, own: bool, cross: bool) -> Finding {
    match (rest, own, cross) {
        (true, _, _) => Finding::NeverHigh,
        (false, true, false) => Finding::Works,
        (false, true, true) => Finding::Joined,
        (false, false, true) => Finding::Swapped,
        (false, false, false) => Finding::NeverLow,
    }
}

/// Least current that the channel can show in the ranges it is to be in; those of the frame are the ranges before.
fn floor<const N: usize>(frame: &Frame<'_>, setup: &Setup<N>, channel: Channel) -> Current {
    let ranges = setup.channels.get(channel.index()).copied().flatten();
    let range = ranges.and_then(|ranges| frame.spec().sense_range(ranges.sense));
    let (Some(range), Some(rail)) = (range, frame.rails.get(channel.index())) else {
        return Current::MIN;
    };
    // Some 18 bits times a few units.
    let units = (range.code_max as i32)
        .wrapping_neg()
        .wrapping_sub(1)
        .wrapping_mul(range.lsb_units as i32);
    rail.current(units)
}
