//! Limits at exact codes, the inputs that pass them, and who compares them.

use alloc::{format, string::String, vec::Vec};

use crake::Channel;
use crake::config::{AlertFlag, AlertFlags, Kind, Limit, Outputs, Threshold};
use crake::info::Source;

use super::scene::{Point, Scene};

impl Scene<'_> {
    /// A code so many steps further in the direction in which a kind trips.
    pub(super) fn beyond(&self, kind: Kind, code: i64, steps: i64) -> i64 {
        let steps = steps * self.grain();
        if kind.is_over() {
            code + steps
        } else {
            code - steps
        }
    }

    /// A point at which a comparator of this kind sees exactly this code, while nothing else is
    /// near an end of its scale.
    pub(super) fn point(&self, kind: Kind, code: i64) -> Point {
        let rail = self.full().rail / 2;
        match kind {
            Kind::OverVoltage | Kind::UnderVoltage => Point {
                sense: 0,
                rail: code,
            },
            Kind::OverCurrent | Kind::UnderCurrent => Point { sense: code, rail },
            Kind::OverPower => Point {
                sense: code,
                rail: self.power_rail(),
            },
        }
    }

    /// Rail code under limits of power: with one, power codes are sense codes; a part whose numbers
    /// are coarse shows nothing so small.
    pub(super) fn power_rail(&self) -> i64 {
        if self.is_exact() {
            1
        } else {
            self.full().rail / 2
        }
    }

    /// A limit in engineering units that lies half a step beyond this code in the first ranges, so
    /// that it and none other is the code on the safe side. Latching and silent.
    pub(super) fn limit(&self, channel: Channel, kind: Kind, code: i64) -> Limit {
        let (sense, rail) = self.nanovolts(self.first(channel), Point { sense: 1, rail: 1 });
        let halves = 2 * i128::from(code) + if kind.is_over() { 1 } else { -1 };
        let numerator = match kind {
            Kind::OverVoltage | Kind::UnderVoltage => i128::from(rail) * self.nanoohms,
            Kind::OverCurrent | Kind::UnderCurrent => i128::from(sense) * 1_000_000_000,
            // nV × nV ÷ nΩ = nW.
            Kind::OverPower => i128::from(sense) * i128::from(rail) * i128::from(self.power_rail()),
        };
        let billionths = (halves * numerator).div_euclid(2 * self.nanoohms);
        Limit::new(channel, Threshold::of(kind, billionths as i64)).silent()
    }

    /// Middle of a kind's scale, well away from both ends.
    pub(super) fn middle(&self, kind: Kind) -> i64 {
        match kind {
            Kind::OverVoltage | Kind::UnderVoltage => self.full().rail / 3,
            _ => self.full().sense / 3,
        }
    }

    /// Whether the part itself compares with a limit.
    pub(super) fn by_part(&self, limit: &Limit) -> bool {
        let (debounce, latching) = (limit.debounce_count(), limit.is_latching());
        let channel = limit.channel().number();
        self.info
            .compared_by(channel, limit.kind(), debounce, latching)
            == Source::Part
    }

    /// The part's own outputs, one by one.
    pub(super) fn outputs(&self) -> impl Iterator<Item = Outputs> + use<> {
        let there = self.info.alerts.outputs;
        [Outputs::A, Outputs::B]
            .into_iter()
            .filter(move |output| there.contains(*output))
    }

    /// The first of them; none where there are none.
    pub(super) fn output(&self) -> Outputs {
        self.outputs().next().unwrap_or(Outputs::empty())
    }
}

/// The flag of a kind on a channel.
pub(super) fn flag(channel: Channel, kind: Kind) -> AlertFlags {
    AlertFlags::of(AlertFlag::Limit(channel, kind))
}

/// Names of flags, for findings.
pub(super) fn names(flags: AlertFlags) -> String {
    let names: Vec<String> = flags.each().map(|flag| format!("{flag}")).collect();
    match names.is_empty() {
        true => "nothing".into(),
        false => names.join(", "),
    }
}
