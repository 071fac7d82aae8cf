use alloc::{format, string::String};

use crake::old::alert::{Kind, Limit, Outputs, Watch};
use crake::old::board::{Board, Load, Rail, Shunt};
use crake::old::part::{Codec, Codes, Pace, Part, RangeSpec, Source, Spec};
use crake::old::units::{Current, Power, Tolerance, Voltage};
use crake::old::{Channel, Mode, Ranges, Setup};

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

impl<'s, S: Subject<N>, const N: usize> Scene<'s, S, N> {
    pub(super) fn new(subject: &'s S) -> Result<Self, Stop> {
        let spec = subject.map().spec();
        let shunt = Shunt::new(subject.shunt(), Tolerance::ZERO);
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

    /// The ranges of a channel in checks that are not about ranges.
    pub(super) fn first(&self, channel: Channel) -> Ranges {
        self.subject.ranges(channel)
    }

    /// Greatest sense code that every channel has.
    pub(super) fn sense_full(&self) -> i64 {
        let each = self
            .channels()
            .map(|channel| self.sense_max(self.first(channel)));
        each.min().unwrap_or(0)
    }

    /// Greatest bus code that every channel has.
    pub(super) fn bus_full(&self) -> i64 {
        let each = self
            .channels()
            .map(|channel| self.bus_max(self.first(channel)));
        each.min().unwrap_or(0)
    }

    /// All channels in their first ranges at the fastest pace.
    pub(super) fn fast(&self) -> Setup<N> {
        Setup {
            channels: core::array::from_fn(|channel| Some(self.first(Channel::new(channel as u8)))),
            mode: Mode::Paced(Pace(0)),
            averaging: 0,
        }
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
        u64::from(self.spec.wake_us + self.subject.settling_us()) * 1_000
            + rounds * self.period_ns(setup.mode) * 11 / 10
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

    /// [`distinct`](Self::distinct) in the channel's own ranges.
    pub(super) fn own(&self, channel: Channel) -> Point {
        self.distinct(self.first(channel), channel)
    }

    /// How far codes may lie from what was applied: one LSB, and what the part's number format adds.
    pub(super) fn tolerance(&self, channel: Channel, point: Point) -> Point {
        let coarse = self.subject.coarseness(channel);
        let of = |code: i64, half: u32| {
            1 + i64::from(half) + code.abs() * i64::from(self.stated.format_ppm) / 1_000_000
        };
        Point {
            sense: of(point.sense, coarse.sense),
            bus: of(point.bus, coarse.bus),
        }
    }

    /// Codes from a limit to one that is surely on its other side: one, where the part counts in the `Spec`'s own LSBs.
    fn grain(&self) -> i64 {
        let full = Point {
            sense: self.sense_full(),
            bus: self.bus_full(),
        };
        let coarsest = self.channels().map(|channel| {
            let off = self.tolerance(channel, full);
            2 * (off.sense.max(off.bus) - 1) + 1
        });
        coarsest.max().unwrap_or(1)
    }

    /// Whether the part counts in the `Spec`'s own LSBs.
    pub(super) fn is_exact(&self) -> bool {
        self.grain() == 1
    }

    /// The code so many steps further in the direction in which a kind trips.
    pub(super) fn beyond(&self, kind: Kind, code: i64, steps: i64) -> i64 {
        let away = steps * self.grain();
        if kind.is_over() {
            code + away
        } else {
            code - away
        }
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
        let off = self.tolerance(channel, point);
        let sense = (i64::from(codes.sense), point.sense, off.sense);
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
        let bus = (i64::from(codes.bus as i32), point.bus, off.bus);
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
        (read, expected, tolerance): (i64, i64, i64),
        width: Width,
        others: impl Iterator<Item = (Channel, i64)>,
    ) -> Option<String> {
        if (read - expected).abs() <= tolerance {
            return None;
        }
        let suspicion = suspicion(read, expected, width, tolerance, others);
        Some(format!(
            "code {read} read, expected {expected} ± {tolerance}{suspicion}"
        ))
    }

    /// Power code of a point and how far it may be off: each factor by its tolerance, and the power's own number format.
    pub(super) fn power(&self, channel: Channel, point: Point) -> (i64, i64) {
        let off = self.tolerance(channel, point);
        let power = point.sense * point.bus;
        let format = power.abs() / 1_000_000 * i64::from(self.stated.format_ppm);
        let factors =
            point.sense.abs() * off.bus + point.bus.abs() * off.sense + off.sense * off.bus;
        let own = i64::from(self.subject.coarseness(channel).power);
        (power, factors + format + own)
    }

    /// A point at which a comparator of this kind sees exactly this code, while nothing else is near an end of its scale.
    pub(super) fn point(&self, kind: Kind, code: i64) -> Point {
        let half = self.bus_full() / 2;
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
                bus: self.power_bus(),
            },
        }
    }

    /// Bus code under limits of power: with one, power codes are sense codes; a part whose numbers are coarse shows nothing so small.
    fn power_bus(&self) -> i64 {
        if self.is_exact() {
            1
        } else {
            self.bus_full() / 2
        }
    }

    /// The limit in engineering units that lies half a step beyond this code in the first ranges, so that it and none other is the code on the safe side.
    pub(super) fn limit(&self, channel: Channel, kind: Kind, code: i64) -> Limit {
        let (sense_lsb, bus_lsb) = self.nanovolts(self.first(channel), Point { sense: 1, bus: 1 });
        let nanoohms = i128::from(self.subject.shunt().as_nanoohms());
        let halves = 2 * i128::from(code) + if kind.is_over() { 1 } else { -1 };
        let of = |lsb: i64| (halves * i128::from(lsb)).div_euclid(2) as i64;
        match kind {
            Kind::OverVoltage => Limit::OverVoltage(Voltage::from_nanovolts(of(bus_lsb))),
            Kind::UnderVoltage => Limit::UnderVoltage(Voltage::from_nanovolts(of(bus_lsb))),
            Kind::OverCurrent | Kind::UnderCurrent => {
                let nanoamps = halves * i128::from(sense_lsb) * 1_000_000_000;
                let current = Current::from_nanoamps(nanoamps.div_euclid(2 * nanoohms) as i64);
                if kind.is_over() {
                    Limit::OverCurrent(current)
                } else {
                    Limit::UnderCurrent(current)
                }
            }
            Kind::OverPower => {
                let bus = i128::from(bus_lsb) * i128::from(self.power_bus());
                // nV × nV ÷ nΩ = nW.
                let nanowatts = (halves * i128::from(sense_lsb) * bus).div_euclid(2 * nanoohms);
                Limit::OverPower(Power::from_nanowatts(nanowatts as i64))
            }
        }
    }

    /// A watch with that limit, held, silent unless it is given an output.
    pub(super) fn watch(&self, channel: Channel, kind: Kind, code: i64) -> Watch {
        Watch::new(channel, self.limit(channel, kind, code))
            .held()
            .silent()
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

/// Of a range that the `Spec` does not have: everything is zero, and every check of it fails.
const NONE: RangeSpec = RangeSpec {
    lsb_units: 0,
    code_max: 0,
    gain_ppm: 0,
    offset: Voltage::ZERO,
    noise: Voltage::ZERO,
};
