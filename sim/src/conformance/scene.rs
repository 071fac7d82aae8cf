use alloc::{format, string::String};

use crake::alert::{Kind, Limit, Outputs, Watch};
use crake::board::{Board, Load, Rail, Shunt};
use crake::part::{BusRange, Codec, Codes, Pace, Part, RangeSpec, SenseRange, Source, Spec};
use crake::units::{Current, Power, Resistance, Tolerance, Voltage};
use crake::{Channel, Mode, Ranges, Setup};

use super::report::{Notes, Stop};
use super::suspect::{Width, suspicion, volts};
use super::{Stated, Subject};

/// What every check has at hand: the subject, and exact arithmetic on what its `Spec` says. None of it is the driver's.
pub(super) struct Scene<'s, S, const N: usize> {
    pub(super) subject: &'s S,
    pub(super) spec: &'static Spec,
    pub(super) stated: Stated,
    pub(super) board: Board<N>,
}

/// What is put on a channel's inputs, in LSBs of the ranges in force.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Point {
    pub(super) sense: i64,
    pub(super) bus: i64,
}

/// The coarsest ranges of a table's beginning: what checks use that are not about ranges.
pub(super) const FIRST: Ranges = Ranges {
    sense: SenseRange(0),
    bus: BusRange(0),
};

/// Sense resistor of every rail: one nanovolt is a microampere, and steps of power are many nanowatts.
const SHUNT: Resistance = Resistance::from_milliohms(1);
const NANOAMPS_PER_NANOVOLT: i64 = 1_000;
/// nV × nV ÷ this = nW.
const SQUARE_NANOVOLTS_PER_NANOWATT: i128 = 1_000_000;

impl<'s, S: Subject<N>, const N: usize> Scene<'s, S, N> {
    pub(super) fn new(subject: &'s S) -> Result<Self, Stop> {
        let spec = subject.map().spec();
        let shunt = Shunt::new(SHUNT, Tolerance::ZERO);
        let rail = Rail::new(shunt, Load::smooth(Current::from_amps(100)));
        let board = Board::new(spec, [rail; N])
            .map_err(|error| Stop::Finding(format!("no board can be made for it: {error}")))?;
        Ok(Self {
            subject,
            spec,
            stated: subject.stated(),
            board,
        })
    }

    pub(super) fn channels(&self) -> impl DoubleEndedIterator<Item = Channel> + use<S, N> {
        Channel::first(N as u8)
    }

    /// All channels in their first ranges at the fastest pace.
    pub(super) fn fast(&self) -> Setup<N> {
        Setup::all(FIRST, Mode::Paced(Pace(0)))
    }

    /// Round period of a set-up's pace in nanoseconds; of the fastest pace where it has none.
    pub(super) fn period_ns(&self, mode: Mode) -> u64 {
        let pace = match mode {
            Mode::Paced(pace) => pace,
            Mode::Idle | Mode::SingleShot | Mode::Burst(_) => Pace(0),
        };
        u64::from(self.spec.period_us(pace).unwrap_or(1_000)) * 1_000
    }

    /// Long enough that whatever the part shows was converted from its beginning on.
    pub(super) fn settling_ns(&self, setup: &Setup<N>) -> u64 {
        let rounds = (1 << setup.averaging) + 2;
        u64::from(self.spec.wake_us) * 1_000 + rounds * self.period_ns(setup.mode) * 11 / 10
    }

    /// From a reset until the part surely answers.
    pub(super) fn reset_ns(&self) -> u64 {
        u64::from(self.spec.reset_us) * 1_100 + 1_000_000
    }

    pub(super) fn sense(&self, ranges: Ranges) -> RangeSpec {
        self.spec.sense_range(ranges.sense).copied().unwrap_or(NONE)
    }

    pub(super) fn bus(&self, ranges: Ranges) -> RangeSpec {
        self.spec.bus_range(ranges.bus).copied().unwrap_or(NONE)
    }

    pub(super) fn sense_max(&self, ranges: Ranges) -> i64 {
        self.sense(ranges).code_max.into()
    }

    pub(super) fn bus_max(&self, ranges: Ranges) -> i64 {
        self.bus(ranges).code_max.into()
    }

    /// The voltages that stand for a point exactly.
    pub(super) fn nanovolts(&self, ranges: Ranges, point: Point) -> (i64, i64) {
        let unit = |lsb: u32, unit: u32| i64::from(lsb) * i64::from(unit);
        (
            point.sense * unit(self.sense(ranges).lsb_units, self.spec.sense_unit_nv),
            point.bus * unit(self.bus(ranges).lsb_units, self.spec.bus_unit_nv),
        )
    }

    /// A different point for each channel, none of them near an end or near another.
    pub(super) fn distinct(&self, ranges: Ranges, channel: Channel) -> Point {
        let place = i64::from(channel.number()) + 1;
        let sense = self.sense_max(ranges) * place / (N as i64 + 1);
        let odd = channel.number() % 2 == 1;
        Point {
            sense: if odd { -sense } else { sense },
            bus: self.bus_max(ranges) * place / (N as i64 + 1),
        }
    }

    /// How far a code may lie from what was applied: one LSB, and what the part's number format adds.
    fn tolerance(&self, code: i64) -> i64 {
        1 + code.abs() * i64::from(self.stated.format_ppm) / 1_000_000
    }

    /// Holds the codes of a channel against what was applied to it.
    pub(super) fn judge(
        &self,
        notes: &mut Notes,
        channel: Channel,
        ranges: Ranges,
        point: Point,
        codes: &Codes,
    ) -> Result<(), Stop> {
        notes.tried();
        let (sense_nv, bus_nv) = self.nanovolts(ranges, point);
        let others = |of: fn(Point) -> i64| {
            let others = self.channels().filter(move |other| *other != channel);
            others.map(move |other| (other, of(self.distinct(ranges, other))))
        };
        let sense = (i64::from(codes.sense), point.sense);
        if let Some(text) = self.off(
            sense,
            Width::signed(self.sense(ranges).code_max),
            others(|point| point.sense),
        ) {
            notes.find(format!(
                "{channel}: sense {} applied, {text}",
                volts(sense_nv, true)
            ))?;
        }
        let bus = (i64::from(codes.bus as i32), point.bus);
        let width = Width::unsigned(self.bus(ranges).code_max);
        if let Some(text) = self.off(bus, width, others(|point| point.bus)) {
            notes.find(format!(
                "{channel}: bus {} applied, {text}",
                volts(bus_nv, false)
            ))?;
        }
        Ok(())
    }

    fn off(
        &self,
        (read, expected): (i64, i64),
        width: Width,
        others: impl Iterator<Item = (Channel, i64)>,
    ) -> Option<String> {
        let tolerance = self.tolerance(expected);
        if (read - expected).abs() <= tolerance {
            return None;
        }
        let suspicion = suspicion(read, expected, width, tolerance, others);
        Some(format!(
            "code {read} read, expected {expected} ± {tolerance}{suspicion}"
        ))
    }

    /// Power code of a point and how far it may be off: each factor by its tolerance.
    pub(super) fn power(&self, point: Point) -> (i64, i64) {
        let (sense, bus) = (self.tolerance(point.sense), self.tolerance(point.bus));
        let tolerance = point.sense.abs() * bus + point.bus.abs() * sense + sense * bus;
        (point.sense * point.bus, tolerance)
    }

    /// A point at which a comparator of this kind sees exactly this code, while nothing else is near an end of its scale.
    pub(super) fn point(&self, kind: Kind, code: i64) -> Point {
        let half = self.bus_max(FIRST) / 2;
        match kind {
            Kind::OverVoltage | Kind::UnderVoltage => Point {
                sense: 0,
                bus: code,
            },
            Kind::OverCurrent | Kind::UnderCurrent => Point {
                sense: code,
                bus: half,
            },
            Kind::OverPower => Point {
                sense: code,
                bus: 1,
            },
        }
    }

    /// The limit in engineering units that lies half a step beyond this code in the first ranges, so that it and none other is the code on the safe side.
    pub(super) fn limit(&self, kind: Kind, code: i64) -> Limit {
        let (sense_lsb, bus_lsb) = self.nanovolts(FIRST, Point { sense: 1, bus: 1 });
        let halves = 2 * i128::from(code) + if kind.is_over() { 1 } else { -1 };
        let of = |lsb: i64| (halves * i128::from(lsb)).div_euclid(2) as i64;
        match kind {
            Kind::OverVoltage => Limit::OverVoltage(Voltage::from_nanovolts(of(bus_lsb))),
            Kind::UnderVoltage => Limit::UnderVoltage(Voltage::from_nanovolts(of(bus_lsb))),
            Kind::OverCurrent | Kind::UnderCurrent => {
                let current = Current::from_nanoamps(of(sense_lsb * NANOAMPS_PER_NANOVOLT));
                if kind.is_over() {
                    Limit::OverCurrent(current)
                } else {
                    Limit::UnderCurrent(current)
                }
            }
            Kind::OverPower => {
                let product = halves * i128::from(sense_lsb) * i128::from(bus_lsb);
                let nanowatts = product.div_euclid(2 * SQUARE_NANOVOLTS_PER_NANOWATT);
                Limit::OverPower(Power::from_nanowatts(nanowatts as i64))
            }
        }
    }

    /// A watch with that limit, held, silent unless it is given an output.
    pub(super) fn watch(&self, channel: Channel, kind: Kind, code: i64) -> Watch {
        Watch::new(channel, self.limit(kind, code)).held().silent()
    }

    /// Whether the part itself compares with this watch's limit.
    pub(super) fn by_part(&self, watch: &Watch) -> bool {
        self.spec.judged_by(watch) == Source::Part
    }

    /// The part's own outputs, one by one.
    pub(super) fn outputs(&self) -> impl Iterator<Item = Outputs> + use<S, N> {
        let there = self.spec.alerts.outputs;
        [Outputs::A, Outputs::B]
            .into_iter()
            .filter(move |output| there.contains(*output))
    }

    /// Whether the map takes this set-up.
    pub(super) fn takes(&self, setup: &Setup<N>) -> bool {
        self.subject.map().check(&setup.view()).is_ok()
    }
}

/// Middle of a kind's scale, well away from both ends.
pub(super) fn middle(kind: Kind, sense_max: i64, bus_max: i64) -> i64 {
    match kind {
        Kind::OverVoltage | Kind::UnderVoltage => bus_max / 3,
        Kind::OverCurrent | Kind::UnderCurrent | Kind::OverPower => sense_max / 3,
    }
}

/// The code so many steps further in the direction in which a kind trips.
pub(super) const fn beyond(kind: Kind, code: i64, steps: i64) -> i64 {
    if kind.is_over() {
        code + steps
    } else {
        code - steps
    }
}

/// Of a range that the `Spec` does not have: everything is zero, and every check of it fails.
const NONE: RangeSpec = RangeSpec {
    lsb_units: 0,
    code_max: 0,
    gain_ppm: 0,
    offset: Voltage::ZERO,
    noise: Voltage::ZERO,
};
