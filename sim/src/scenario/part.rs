use std::fmt;

use crake::Channel;
use crake::board::{Board, Rail, SenseResistor, rail_voltage};
use crake::config::{ChannelRange, Config, FullScale, Outputs, Scan};
use crake::info::{PartInfo, RangeInfo};
use crake::part::{corncrake, moorhen, pmbus};
use crake::units::{Resistance, Tolerance, Voltage};

use super::read::NAME_MAX;
use super::table::{Field, Limits, Table};
use super::{AlertKind, ScenarioError, Sense};
use crate::inspect::{self, Description};

/// A kind of part, as far as a scenario has to know it.
#[derive(Clone, Copy)]
pub struct PartKind {
    /// What a scenario calls it.
    pub word: &'static str,
    /// What it can do, for the driver.
    pub info: &'static PartInfo,
    /// Its addresses, in the order of its straps, and its registers by name.
    pub registers: &'static Description,
    /// What its model calls alert output A, and B.
    pub outputs: &'static [&'static str],
    /// Whether it measures amperes itself, and channel n has the n-th range of both tables.
    pub measures_amperes: bool,
}

/// A part that measures, and how it is set up.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PartPlan {
    /// What it is called; its kind's own name unless the scenario says otherwise.
    pub name: String,
    /// What it is.
    pub kind: &'static PartKind,
    /// The 7-bit address at which the firmware expects it.
    pub address: u8,
    /// The one that its straps give it.
    pub fitted_address: u8,
    /// Its scan rate in scans a second; 0 for a part that converts when it is told to.
    pub scans_per_second: u32,
    /// k of the averaging over 2^k scans.
    pub averaging: u8,
    /// Whether individuals have errors.
    pub errors: Errors,
}

/// Errors of a part and of its sense resistors.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Errors {
    /// Each an individual within its limits, from the seed.
    Individual,
    /// All zero: an ideal individual.
    None,
}

impl PartKind {
    /// The four-channel part of `docs/corncrake-datasheet.md`.
    pub const CORNCRAKE: Self = Self {
        word: "corncrake",
        info: &corncrake::INFO,
        registers: &inspect::CORNCRAKE,
        outputs: &["A", "B"],
        measures_amperes: false,
    };
    /// The two-channel part of `docs/moorhen-datasheet.md`.
    pub const MOORHEN: Self = Self {
        word: "moorhen",
        info: &moorhen::INFO,
        registers: &inspect::MOORHEN,
        outputs: &["Alert"],
        measures_amperes: false,
    };
    /// The PMBus device of `docs/pmbus-device.md`, part B.
    pub const GALLINULE: Self = Self {
        word: "gallinule",
        info: &pmbus::gallinule::INFO,
        registers: &inspect::GALLINULE,
        outputs: &["SmbAlert"],
        measures_amperes: true,
    };
    /// All of these.
    pub const ALL: [&'static Self; 3] = [&Self::CORNCRAKE, &Self::MOORHEN, &Self::GALLINULE];

    /// The greatest sense and rail voltage that a channel reaches, in nanovolts; a device that
    /// measures amperes has 1 V for 1 A.
    pub(super) fn greatest_nv(&self, channel: u8) -> (i64, i64) {
        let of = |ranges: &[RangeInfo]| {
            let own = self.measures_amperes.then_some(usize::from(channel));
            let ranges = ranges.iter().enumerate();
            let ranges = ranges.filter(|(place, _)| own.is_none_or(|own| own == *place));
            let greatest = ranges.map(|(_, range)| i64::from(range.full_scale_uv) * 1_000);
            greatest.max().unwrap_or_default()
        };
        (of(self.info.sense_ranges), of(self.info.rail_ranges))
    }

    /// Least and greatest current in nanoamperes, and greatest voltage in nanovolts, that a channel
    /// shows behind this resistor, in the ranges that the driver takes.
    pub(super) fn shown(&self, channel: u8, sense: &Sense) -> Option<(i64, i64, i64)> {
        let range = self.range(channel, sense)?;
        let resistor = SenseResistor::new(
            Resistance::from_nanoohms(sense.resistance_nohm),
            Tolerance::ZERO,
        );
        let board = Board::<1>::new(self.info, &[Rail::new(resistor)]);
        let factors = board.factors(Channel::C0)?;
        let codes = self.info.sense_ranges.get(usize::from(range.sense))?;
        let rail = self.info.rail_ranges.get(usize::from(range.rail))?;
        let amps = |code| factors.current(&range, code).as_nanoamps();
        let most = u32::try_from(rail.code_max).unwrap_or(u32::MAX);
        Some((
            amps(codes.code_min),
            amps(codes.code_max),
            rail_voltage(self.info, &range, most).as_nanovolts(),
        ))
    }

    /// What helps where a limit of this kind lies beyond what a channel shows.
    pub(super) fn remedy(&self, kind: AlertKind, channel: u8, sense: &Sense) -> &'static str {
        let Some(range) = self
            .range(channel, sense)
            .filter(|_| !self.measures_amperes)
        else {
            return "choose another limit";
        };
        let is_greatest = |ranges: &[RangeInfo], place: u8, greatest_nv| {
            let range = ranges.get(usize::from(place));
            range.is_some_and(|range| i64::from(range.full_scale_uv) * 1_000 == greatest_nv)
        };
        let (sense_nv, rail_nv) = self.greatest_nv(channel);
        let sense = is_greatest(self.info.sense_ranges, range.sense, sense_nv);
        let rail = is_greatest(self.info.rail_ranges, range.rail, rail_nv);
        match kind {
            AlertKind::OverVoltage | AlertKind::UnderVoltage if rail => "choose another limit",
            AlertKind::OverCurrent | AlertKind::UnderCurrent | AlertKind::OverPower if sense => {
                "choose another limit, or a smaller sense resistor"
            }
            _ => "ask for a greater full scale, or choose another limit",
        }
    }

    fn range(&self, channel: u8, sense: &Sense) -> Option<ChannelRange> {
        if self.measures_amperes {
            let place = usize::from(channel);
            return Some(ChannelRange {
                sense: channel,
                rail: channel,
                sense_lsb: self.info.sense_ranges.get(place)?.lsb_units,
                rail_lsb: self.info.rail_ranges.get(place)?.lsb_units,
            });
        }
        let scale = FullScale::new(
            Voltage::from_nanovolts(sense.sense_full_scale_nv),
            Voltage::from_nanovolts(sense.rail_full_scale_nv),
        );
        let mut scan = Scan::<1>::NONE;
        let config = Config::single_shot([scale]);
        config.resolve(self.info, &mut scan).ok()?;
        scan.range(Channel::C0).copied()
    }

    /// Scan rates in scans a second; none where it converts when it is told to.
    pub(super) fn rates(&self) -> impl Iterator<Item = u32> {
        let periods = self.info.scan_periods_us.iter();
        periods.filter_map(|period_us| 1_000_000_u32.checked_div(*period_us))
    }

    /// Whether it has alert output B.
    pub(super) const fn has_output_b(&self) -> bool {
        self.info.alerts.outputs.contains(Outputs::B)
    }
}

/// Its word.
impl fmt::Debug for PartKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word)
    }
}

/// Kinds of one word are one.
impl PartialEq for PartKind {
    fn eq(&self, other: &Self) -> bool {
        self.word == other.word
    }
}

impl Eq for PartKind {}

impl PartPlan {
    /// From one look at the rails to the next, in nanoseconds: a scan, or a sample where the driver
    /// keeps a running sum.
    pub(crate) fn look_ns(&self, read_every_ns: u64) -> u64 {
        let scan_ns = 1_000_000_000_u64.checked_div(self.scans_per_second.into());
        match self.kind.info.has_sums_by_driver() {
            true => read_every_ns,
            false => scan_ns.unwrap_or(read_every_ns),
        }
    }
}

/// Reads `[part]`, or all `[[part]]`, of these kinds.
pub(super) fn read_all(
    top: &mut Table<'_>,
    kinds: &[&'static PartKind],
) -> Result<Vec<PartPlan>, ScenarioError> {
    let Some(field) = top.field("part").filter(Field::is_array) else {
        return Ok(vec![read(top.table("part", "[part]")?, kinds, &[])?]);
    };
    let elements = field.elements(PARTS)?;
    if elements.is_empty() {
        return Err(field.error(PARTS));
    }
    let mut plans: Vec<(u64, PartPlan)> = Vec::new();
    for element in elements {
        let plan = read(element.table("[[part]]")?, kinds, &plans)?;
        plans.push((element.line(), plan));
    }
    Ok(plans.into_iter().map(|(_, plan)| plan).collect())
}

fn read(
    mut table: Table<'_>,
    kinds: &[&'static PartKind],
    earlier: &[(u64, PartPlan)],
) -> Result<PartPlan, ScenarioError> {
    let words: Vec<_> = kinds.iter().map(|kind| (kind.word, *kind)).collect();
    let kind = match (table.field("model"), words.first()) {
        (Some(field), _) => field.one_of(&words)?,
        (None, Some((_, first))) => first,
        (None, None) => return Err(table.error("no kind of part is known".to_owned())),
    };
    let name = table.field("name");
    let name = match &name {
        Some(field) => field.line_of_text(NAME_MAX)?,
        None => kind.info.name,
    };
    if let Some((line, _)) = earlier.iter().find(|(_, plan)| plan.name == name) {
        let message = format!("the part at line {line} has the name \"{name}\" already");
        return Err(table.error(message));
    }
    let address = address(&mut table, kind, earlier)?;
    let plan = PartPlan {
        name: name.to_owned(),
        kind,
        address,
        fitted_address: match table.field("fitted_strap") {
            None => address,
            Some(field) => strap(&field, kind)?,
        },
        scans_per_second: scan_rate(&mut table, kind)?,
        averaging: averaging(&mut table, kind)?,
        errors: table
            .field("errors")
            .map_or(Ok(Errors::Individual), |field| field.one_of(&ERRORS))?,
    };
    table.finish()?;
    Ok(plan)
}

/// The part that a table under this header names, by its place; it need not where there is one
/// alone.
pub(super) fn of(
    table: &mut Table<'_>,
    header: &str,
    parts: &[PartPlan],
) -> Result<usize, ScenarioError> {
    let Some(field) = table.field("part") else {
        return match parts {
            [_] => Ok(0),
            _ => Err(table.error(format!("{header} needs part: one of {}", names(parts)))),
        };
    };
    let name = field.string()?;
    let place = parts.iter().position(|part| part.name == name);
    place.ok_or_else(|| field.error(&format!("no part is called so; there is {}", names(parts))))
}

fn names(parts: &[PartPlan]) -> String {
    let names: Vec<_> = parts
        .iter()
        .map(|part| format!("\"{}\"", part.name))
        .collect();
    names.join(", ")
}

fn address(
    table: &mut Table<'_>,
    kind: &PartKind,
    earlier: &[(u64, PartPlan)],
) -> Result<u8, ScenarioError> {
    let addresses = kind.registers.addresses;
    let taken = |address: u8| earlier.iter().find(|(_, plan)| plan.address == address);
    let told = |(line, plan): &(u64, PartPlan)| {
        format!(
            "{} at line {line} has address {:#04x} already",
            plan.name, plan.address
        )
    };
    let field = match (table.field("address"), table.field("strap")) {
        (Some(_), Some(strap)) => {
            return Err(strap.error("address is given already; leave one of them out"));
        }
        (None, None) => {
            let free = addresses.iter().copied().find(|&one| taken(one).is_none());
            return free.ok_or_else(|| {
                let most = addresses.len();
                table.error(format!("only {most} {} fit on a bus", kind.info.name))
            });
        }
        (Some(address), None) => {
            let found = address.number(ADDRESS)?;
            let found = addresses
                .iter()
                .copied()
                .find(|&one| i64::from(one) == found);
            let rule = format!("{} has the addresses {}", kind.info.name, listed(addresses));
            (found.ok_or_else(|| address.error(&rule))?, address)
        }
        (None, Some(field)) => (strap(&field, kind)?, field),
    };
    let (address, field) = field;
    match taken(address) {
        Some(other) => Err(field.error(&told(other))),
        None => Ok(address),
    }
}

/// The address that a strap gives.
fn strap(field: &Field<'_>, kind: &PartKind) -> Result<u8, ScenarioError> {
    let addresses = kind.registers.addresses;
    let place = usize::try_from(field.number(STRAP)?).unwrap_or(usize::MAX);
    let found = addresses.get(place).copied();
    found.ok_or_else(|| {
        let last = addresses.len().saturating_sub(1);
        let listed = listed(addresses);
        field.error(&format!("a strap is 0 to {last}, for addresses {listed}"))
    })
}

fn listed(addresses: &[u8]) -> String {
    let words: Vec<_> = addresses.iter().map(|one| format!("{one:#04x}")).collect();
    words.join(", ")
}

fn scan_rate(table: &mut Table<'_>, kind: &PartKind) -> Result<u32, ScenarioError> {
    let fastest = kind.rates().max().unwrap_or_default();
    let Some(field) = table.field("scan_rate") else {
        return Ok(fastest);
    };
    let name = kind.info.name;
    if fastest == 0 {
        return Err(field.error(&format!(
            "{name} converts when it is told to, at each sample: leave it out"
        )));
    }
    let asked = field.number(SCAN_RATE)?;
    let mut rates = kind.rates();
    let found = rates.find(|rate| i64::from(*rate) == asked);
    found.ok_or_else(|| {
        let rates: Vec<_> = kind.rates().map(|rate| rate.to_string()).collect();
        let rates = match rates.split_last() {
            Some((last, [])) => last.clone(),
            Some((last, others)) => format!("{} or {last}", others.join(", ")),
            None => String::new(),
        };
        field.error(&format!("a scan rate is {rates} scans a second"))
    })
}

fn averaging(table: &mut Table<'_>, kind: &PartKind) -> Result<u8, ScenarioError> {
    let Some(field) = table.field("averaging") else {
        return Ok(0);
    };
    let most = kind.info.averaging_log2_max;
    let k = field.number(AVERAGING)?;
    match u8::try_from(k) {
        Ok(k) if k <= most => Ok(k),
        _ if most == 0 => Err(field.error(&format!(
            "{} has no averaging: leave it out",
            kind.info.name
        ))),
        _ => Err(field.error(&format!("averaging is k of 2^k scans, from 0 to {most}"))),
    }
}

const PARTS: &str = "a scenario has a part at least, each under [[part]]";
/// Which of them a kind takes is said by its own words.
pub(super) const ADDRESS: Limits =
    Limits::new(0, 0x08, 0x77, "an address has 7 bits, from 0x08 to 0x77");
pub(super) const STRAP: Limits = Limits::new(0, 0, 255, "a strap is a whole number from 0 on");
const SCAN_RATE: Limits = Limits::new(0, 0, i64::MAX, "a scan rate is a whole number");
pub(super) const AVERAGING: Limits = Limits::new(
    0,
    0,
    255,
    "averaging is k of 2^k scans, a whole number from 0 on",
);
pub(super) const ERRORS: [(&str, Errors); 2] =
    [("individual", Errors::Individual), ("none", Errors::None)];
