//! What every check has at hand: the subject, exact arithmetic on what its `PartInfo` says, and
//! fresh fixtures with a monitor on them. None of the arithmetic is the driver's.

use alloc::{format, string::String, vec::Vec};

use crake::Channel;
use crake::config::AlertFlags;
use crake::info::{PartInfo, RangeInfo};
use crake::part::Codes;

use super::hint::{self, volts};
use super::report::{Checked, Notes, Stop};
use super::rig::{Erased, Seen, Setup};
use super::trial::{How, Trial};
use super::{OverRange, Stated};

pub(super) struct Scene<'s> {
    pub(super) subject: &'s dyn Erased,
    pub(super) info: &'static PartInfo,
    pub(super) stated: Stated,
    /// Of the sense resistor.
    pub(super) nanoohms: i128,
    /// Channels of the monitor.
    pub(super) count: u8,
}

/// What is put on a channel's inputs, in LSBs of the ranges in force.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Point {
    pub(super) sense: i64,
    pub(super) rail: i64,
}

/// One input of a point.
type Of = fn(Point) -> i64;

impl<'s> Scene<'s> {
    pub(super) fn channels(&self) -> impl DoubleEndedIterator<Item = Channel> + use<> {
        Channel::first(self.count)
    }

    pub(super) fn last(&self) -> Channel {
        Channel::new(self.count - 1)
    }

    pub(super) fn sense(&self, place: usize) -> &'static RangeInfo {
        &self.info.sense_ranges[place]
    }

    pub(super) fn rail(&self, place: usize) -> &'static RangeInfo {
        &self.info.rail_ranges[place]
    }

    /// The ranges of a channel in checks that are not about ranges: its first.
    pub(super) fn first(&self, channel: Channel) -> (usize, usize) {
        self.subject.ranges(channel)
    }

    /// Greatest codes that every channel has in its first ranges.
    pub(super) fn full(&self) -> Point {
        let least = |of: &dyn Fn((usize, usize)) -> i32| {
            let each = self.channels().map(|channel| of(self.first(channel)));
            i64::from(each.min().unwrap_or_default())
        };
        Point {
            sense: least(&|(sense, _)| self.sense(sense).code_max),
            rail: least(&|(_, rail)| self.rail(rail).code_max),
        }
    }

    /// So many parts of them.
    pub(super) fn share(&self, count: i64, parts: i64) -> Point {
        let Point { sense, rail } = self.full();
        Point {
            sense: sense * count / parts,
            rail: rail * count / parts,
        }
    }

    /// Least sense code that every channel has in its first range.
    pub(super) fn least(&self) -> i64 {
        let each = self
            .channels()
            .map(|channel| self.sense(self.first(channel).0).code_min);
        i64::from(each.max().unwrap_or_default())
    }

    /// How far codes may lie from what was applied.
    pub(super) fn off(&self, channel: Channel, point: Point) -> Point {
        self.subject.tolerance(channel, point)
    }

    /// Codes from one to another that is surely beyond it.
    pub(super) fn grain(&self) -> i64 {
        let each = self.channels().map(|channel| {
            let off = self.off(channel, self.full());
            2 * off.sense.max(off.rail) - 1
        });
        each.max().unwrap_or(1)
    }

    /// Whether codes are to the LSB.
    pub(super) fn is_exact(&self) -> bool {
        self.grain() == 1
    }

    /// Whether codes show a point.
    pub(super) fn shows(&self, channel: Channel, codes: Option<Codes>, point: Point) -> bool {
        let off = self.off(channel, point);
        codes.is_some_and(|codes| {
            (i64::from(codes.sense) - point.sense).abs() <= off.sense
                && (i64::from(codes.rail) - point.rail).abs() <= off.rail
        })
    }

    /// Power code of a point, and how far it may be off.
    pub(super) fn power(&self, channel: Channel, point: Point) -> (i64, i64) {
        let (power, off) = (point.sense * point.rail, self.off(channel, point));
        let factors = point.sense.abs() * off.rail + point.rail * off.sense + off.sense * off.rail;
        (
            power,
            factors + self.subject.power_tolerance(channel, power),
        )
    }

    /// The voltages that stand for a point on each channel.
    pub(super) fn volts(&self, point: Point) -> Vec<(i64, i64)> {
        let each = self
            .channels()
            .map(|channel| self.nanovolts(self.first(channel), point));
        each.collect()
    }

    /// All channels in the first ranges at the fastest scan rate, or single-shot.
    pub(super) fn fast(&self) -> Setup {
        Setup {
            ranges: self
                .channels()
                .map(|channel| Some(self.first(channel)))
                .collect(),
            rate: (!self.info.scan_periods_us.is_empty()).then_some(0),
            averaging_log2: 0,
        }
    }

    /// The same, single-shot; `None` where the part has none.
    pub(super) fn single(&self) -> Option<Setup> {
        self.stated.single_shot.then(|| self.fast().at(None))
    }

    /// What differs from [`fast`](Self::fast) in one thing, as far as the part has it.
    pub(super) fn others(&self) -> Vec<(&'static str, Setup)> {
        let (mut fewer, mut ranges, info) = (self.fast(), self.fast(), self.info);
        fewer.ranges[self.last().index()] = None;
        ranges.ranges[0] = Some((info.sense_ranges.len() - 1, info.rail_ranges.len() - 1));
        let means = self.fast().means(info.averaging_log2_max.min(1));
        let second = info.scan_periods_us.len().min(2).checked_sub(1);
        let each = [
            (FEWER, fewer),
            ("other ranges", ranges),
            ("another averaging", means),
            ("another scan rate", self.fast().at(second)),
        ];
        let single = self.single().map(|single| ("single-shot", single));
        let each = each.into_iter().chain(single);
        let is_there = |setup: &Setup| {
            *setup != self.fast()
                && setup.ranges.iter().any(Option::is_some)
                && self.subject.takes(setup)
        };
        each.filter(|(_, setup)| is_there(setup)).collect()
    }

    /// How long anything takes with the slowest oscillator, in nanoseconds, rounded up.
    pub(super) fn slowest_ns(&self, nominal_ns: u64) -> u64 {
        let slow = 1_000_000 - u64::from(self.stated.oscillator_ppm);
        (nominal_ns * 1_000_000).div_ceil(slow)
    }

    /// Scan period; of a single-shot the length of one scan.
    pub(super) fn period_ns(&self, setup: &Setup) -> u64 {
        match setup.rate {
            Some(rate) => u64::from(self.info.scan_periods_us[rate]) * 1_000,
            None => self.scan_ns(setup),
        }
    }

    /// Length of one scan.
    pub(super) fn scan_ns(&self, setup: &Setup) -> u64 {
        let enabled = setup.ranges.iter().flatten().count() as u64;
        2 * enabled * u64::from(self.info.conversion_ns)
    }

    /// How long before a sample its inputs have to be there to be all that it shows. A scan that is
    /// done whole after that has nothing else in it; what is triggered converts after the trigger.
    pub(super) fn fresh_ns(&self, setup: &Setup) -> u64 {
        match setup.rate {
            Some(_) => {
                let scans = self.period_ns(setup) << setup.averaging_log2;
                self.slowest_ns(scans + self.scan_ns(setup)) + u64::from(self.info.wake_us) * 1_000
            }
            None => 0,
        }
    }

    /// Long enough that whatever the part shows was converted from its beginning on.
    pub(super) fn settling_ns(&self, setup: &Setup) -> u64 {
        2 * self.fresh_ns(setup) + 2 * self.scan_ns(setup)
    }

    /// From a reset until the part surely answers.
    pub(super) fn reset_ns(&self) -> u64 {
        u64::from(self.stated.reset_us) * 1_000 + 10_000
    }

    /// The voltages that stand for a point exactly.
    pub(super) fn nanovolts(&self, (sense, rail): (usize, usize), point: Point) -> (i64, i64) {
        let lsb = |unit: i64, range: &RangeInfo| unit * i64::from(range.lsb_units);
        (
            point.sense * lsb(self.info.sense_unit.as_nanovolts(), self.sense(sense)),
            point.rail * lsb(self.info.rail_unit.as_nanovolts(), self.rail(rail)),
        )
    }

    /// A different point for each channel, of either sign, none near an end or near another.
    pub(super) fn distinct(&self, ranges: (usize, usize), channel: Channel) -> Point {
        let place = i64::from(channel.number()) + 1;
        let of = |max: i32| i64::from(max) * place / (i64::from(self.count) + 1);
        let sense = of(self.sense(ranges.0).code_max);
        Point {
            sense: if place % 2 == 0 { -sense } else { sense },
            rail: of(self.rail(ranges.1).code_max),
        }
    }

    pub(super) fn own(&self, channel: Channel) -> Point {
        self.distinct(self.first(channel), channel)
    }

    /// Holds the codes of a channel against what was applied to it.
    pub(super) fn judge(
        &self,
        notes: &mut Notes,
        seen: &Seen,
        channel: Channel,
        ranges: (usize, usize),
        point: Point,
    ) -> Checked {
        notes.tried();
        let Some(codes) = seen.codes[channel.index()] else {
            return notes.find(format!("{channel} is enabled, and has no reading"));
        };
        let (sense_nv, rail_nv) = self.nanovolts(ranges, point);
        // What is there by `apply_own`.
        let apart = point == self.own(channel);
        let others = |of: Of| {
            let others = self
                .channels()
                .filter(move |other| apart && *other != channel);
            others.map(move |other| (other, of(self.own(other))))
        };
        let off = self.off(channel, point);
        let inputs: [(_, Of); 2] = [("sense", |at| at.sense), ("rail", |at| at.rail)];
        let read = Point {
            sense: codes.sense.into(),
            rail: i64::from(codes.rail as i32),
        };
        for (input, of) in inputs {
            let (read, expected, off) = (of(read), of(point), of(off));
            if (read - expected).abs() <= off {
                continue;
            }
            let (applied, table, place) = match input {
                "sense" => (volts(sense_nv, true), self.info.sense_ranges, ranges.0),
                _ => (volts(rail_nv, false), self.info.rail_ranges, ranges.1),
            };
            let hint = hint::of(read, expected, table, place, others(of));
            notes.find(format!(
                "{channel}: {input} {applied} applied, code {read} read, expected {expected} ± \
                 {off}{hint}"
            ))?;
        }
        Ok(())
    }

    /// What of a sample is wrong, under a point of its own on each channel; `None` if nothing is.
    pub(super) fn wrong(&self, setup: &Setup, seen: &Seen) -> Option<String> {
        let mut notes = Notes::default();
        let asked = || {
            let all = self.channels().zip(&setup.ranges);
            all.filter_map(|(channel, ranges)| ranges.map(|ranges| (channel, ranges)))
        };
        // At the first finding there is enough.
        let _ = asked().try_for_each(|(channel, ranges)| {
            self.judge(
                &mut notes,
                seen,
                channel,
                ranges,
                self.distinct(ranges, channel),
            )
        });
        let power = asked().find_map(|(channel, ranges)| {
            let point = self.distinct(ranges, channel);
            let codes = seen.codes[channel.index()]?;
            let (power, off) = self.power(channel, point);
            let wrong = (codes.power - power).abs() > off;
            // Where reading clears them, more may be told than there was.
            let flagged = self.stated.over_range != OverRange::ClearedByReading
                && (codes.sense_clipped || codes.rail_clipped);
            (wrong || flagged).then(|| format!("{channel}: power or a flag is wrong: {codes:?}"))
        });
        notes.first().map(String::from).or(power)
    }

    /// Whether the part counts scans.
    pub(super) const fn counts_scans(&self) -> bool {
        self.info.sum_bits.scans > 0 && self.info.sum_bits.tick_us == 0
    }

    pub(super) fn trial<'t>(&'t self, how: How) -> Trial<'t> {
        let tap = self.subject.tap(how.oscillator_ppm);
        let fixture = tap.fixture.clone();
        let rig = self.subject.rig(&tap, how.face, how.read_max, how.attempts);
        Trial {
            scene: self,
            fixture,
            tap,
            rig,
            setup: self.fast(),
            how,
            by_driver: false,
            told: AlertFlags::empty(),
        }
    }

    /// A trial that is initialised, with a point of its own on each channel, and settled.
    pub(super) fn running<'t>(&'t self, how: How) -> Result<Trial<'t>, Stop> {
        self.running_in(how, &self.fast())
    }

    /// The same in another configuration.
    pub(super) fn running_in<'t>(&'t self, how: How, setup: &Setup) -> Result<Trial<'t>, Stop> {
        let mut trial = self.trial(how);
        trial.setup = setup.clone();
        trial.apply_own();
        trial.init(setup)?;
        trial.settle();
        Ok(trial)
    }

    /// A trial that is initialised, with this on all channels, and settled.
    pub(super) fn at<'t>(&'t self, how: How, point: Point) -> Result<Trial<'t>, Stop> {
        let mut trial = self.trial(how);
        trial.apply_all(point);
        trial.init(&self.fast())?;
        trial.settle();
        Ok(trial)
    }
}

/// What a part that converts all its channels whatever is asked for does not show.
pub(super) const FEWER: &str = "a channel fewer";
