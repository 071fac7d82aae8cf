use super::actual::Actual;
use super::error::Text;
use super::part::{PartKind, PartPlan};
use super::table::{Limits, Table};
use super::{RailPlan, Scenario, ScenarioError, converter, fault, part, profile, rail};
use toml::Spanned;
use toml::de::DeTable;

/// The host that reads the parts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Host {
    /// What the engineer declares: greatest error of its clock, in parts per billion.
    pub clock_limit_ppb: u32,
    /// What the error is; none if it is an individual's within the limit.
    pub clock_error_ppb: Option<i32>,
    /// From one reading to the next, in nanoseconds.
    pub read_every_ns: u64,
    /// From the edge of an alert output until the firmware begins to serve it, in nanoseconds.
    pub latency_ns: u64,
}

/// What the board is exposed to, in thousandths of a degree Celsius.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Board {
    /// The temperature that it has.
    pub ambient_mc: i32,
    /// What the engineer declares: least and greatest temperature.
    pub declared_mc: (i32, i32),
}

/// Reads a whole scenario, with parts of these kinds.
pub(super) fn scenario(
    text: Text<'_>,
    kinds: &[&'static PartKind],
) -> Result<Scenario, ScenarioError> {
    let document = DeTable::parse(text.text).map_err(|error| text.syntax(&error))?;
    self::document(text, &document, kinds)
}

/// The same of a document that was parsed.
pub(super) fn document<'a>(
    text: Text<'a>,
    document: &'a Spanned<DeTable<'a>>,
    kinds: &[&'static PartKind],
) -> Result<Scenario, ScenarioError> {
    let span = document.span();
    let mut top = Table::new(
        text,
        Some(document.get_ref()),
        0..span.end,
        "the file",
        String::new(),
    );
    let title = top.needed("title", "one line about the scenario")?;
    let duration_ns = top.count("duration_s", DURATION)?;
    let seed = top.count_or("seed", SEED, 1)?;
    let parts = part::read_all(&mut top, kinds)?;
    let bus_hz = bus(top.table("bus", "[bus]")?)?;
    let host = host(top.table("host", "[host]")?, duration_ns)?;
    let mut scenario = Scenario {
        title: title.line_of_text(TITLE_MAX)?.to_owned(),
        duration_ns,
        seed,
        bus_hz,
        board: board(top.table("board", "[board]")?)?,
        rails: rails(&mut top, duration_ns, &parts, host.read_every_ns)?,
        host,
        parts,
        faults: Vec::new(),
    };
    scenario.faults = fault::read_all(&mut top, &scenario)?;
    top.finish()?;
    Ok(scenario)
}

fn bus(mut table: Table<'_>) -> Result<u32, ScenarioError> {
    let speed = table.field("speed");
    let hz = speed.map_or(Ok(400_000), |field| field.one_of(&SPEEDS))?;
    table.finish()?;
    Ok(hz)
}

pub(super) const LATENCY: Limits = Limits::new(
    0,
    0,
    1_000_000,
    "the latency must be a whole number of microseconds from 0 to 1000000",
);

fn host(mut table: Table<'_>, duration_ns: u64) -> Result<Host, ScenarioError> {
    let limit = table.number_or("clock_limit_ppm", CLOCK_LIMIT, 50_000)?;
    let clock_error_ppb = match table.field("clock_error_ppm") {
        None => None,
        Some(field) if field.is_string() => field.one_of(&CLOCK_ERRORS)?,
        Some(field) => {
            let error = field.number(CLOCK_ERROR)?;
            if error.abs() > limit {
                return Err(
                    field.error("it must lie within clock_limit_ppm, which is 50 unless given")
                );
            }
            Some(small(error))
        }
    };
    let every = table.field("read_every_s");
    let read_every_ns = match every {
        None => READ_EVERY_NS.min(duration_ns),
        Some(field) => {
            let every = field.number(READ_EVERY)?.unsigned_abs();
            if every > duration_ns {
                return Err(field.error("it must be at most duration_s, or nothing is ever read"));
            }
            every
        }
    };
    let latency_us = table.count_or("latency_us", LATENCY, 100)?;
    table.finish()?;
    Ok(Host {
        latency_ns: latency_us * 1_000,
        clock_limit_ppb: small(limit).unsigned_abs(),
        clock_error_ppb,
        read_every_ns,
    })
}

fn board(mut table: Table<'_>) -> Result<Board, ScenarioError> {
    let declared = match table.field("declared_c") {
        None => (TEMPERATURE.least, TEMPERATURE.greatest),
        Some(field) => {
            let span = field.pair(TEMPERATURE, TEMPERATURE, DECLARED)?;
            if span.0 > span.1 {
                return Err(field.error(DECLARED));
            }
            span
        }
    };
    let ambient = match table.field("ambient_c") {
        None => 25_000.clamp(declared.0, declared.1),
        Some(field) => {
            let ambient = field.number(TEMPERATURE)?;
            if !(declared.0..=declared.1).contains(&ambient) {
                return Err(field.error("it must lie within declared_c"));
            }
            ambient
        }
    };
    table.finish()?;
    Ok(Board {
        ambient_mc: small(ambient),
        declared_mc: (small(declared.0), small(declared.1)),
    })
}

fn rails(
    top: &mut Table<'_>,
    duration_ns: u64,
    parts: &[PartPlan],
    read_every_ns: u64,
) -> Result<Vec<RailPlan>, ScenarioError> {
    let rails = top.needed("rail", RAILS)?;
    let elements = rails.elements(RAILS)?;
    if elements.is_empty() {
        return Err(rails.error(RAILS));
    }
    let mut plans: Vec<RailPlan> = Vec::new();
    let mut undeclared = Vec::new();
    let mut lines = Vec::new();
    for element in elements {
        let mut table = element.table("[[rail]]")?;
        let field = table.needed("name", "what the rail is called")?;
        let name = field.line_of_text(NAME_MAX)?.to_owned();
        if let Some(first) = plans.iter().position(|plan| plan.name == name) {
            let taken = format!("the rail at line {} has that name already", lines[first]);
            return Err(field.error(&taken));
        }
        table.owned_by(format!("rail \"{name}\""));
        let place = part::of(&mut table, "[[rail]]", parts)?;
        let channel = channel(&mut table, (place, &parts[place]), &plans, &lines)?;
        let at = (place, channel);
        let (plan, is_declared) = rail::read(table, name, at, &parts[place], duration_ns)?;
        lines.push(element.line());
        if !is_declared {
            undeclared.push((plans.len(), element));
        }
        plans.push(plan);
    }
    converter::connect(top.text(), &mut plans, duration_ns)?;
    for (index, element) in undeclared {
        let plan = &mut plans[index];
        let look_ns = parts[plan.part].look_ns(read_every_ns);
        let actual = Actual::follow(plan, duration_ns, look_ns).ok().flatten();
        let declared = actual.and_then(|actual| actual.declaration(plan.line));
        let Some(declared) = declared else {
            let mut table = element.table("[[rail]]")?;
            table.owned_by(format!("rail \"{}\"", plan.name));
            return Err(table.error(UNDECLARED.to_owned()));
        };
        plan.declared = declared;
    }
    Ok(plans)
}

/// The channel that watches a rail: its place among those of its part, unless the file says
/// otherwise.
fn channel(
    table: &mut Table<'_>,
    (place, part): (usize, &PartPlan),
    plans: &[RailPlan],
    lines: &[u64],
) -> Result<u8, ScenarioError> {
    let (info, field) = (part.kind.info, table.field("channel"));
    let others = || {
        plans
            .iter()
            .zip(lines)
            .filter(|(plan, _)| plan.part == place)
    };
    let channel = match &field {
        Some(field) => byte(field.number(CHANNEL)?),
        None => others().count() as u8,
    };
    if channel >= info.channels {
        let (name, last) = (&part.name, info.channels.saturating_sub(1));
        return Err(match field {
            Some(field) => field.error(&format!("a channel of {name} is 0 to {last}")),
            None => table.error(format!(
                "{name} has {} channels, and each watches one rail",
                info.channels
            )),
        });
    }
    let Some((other, line)) = others().find(|(plan, _)| plan.channel == channel) else {
        return Ok(channel);
    };
    let other = &other.name;
    Err(match field {
        Some(field) => field.error(&format!(
            "rail \"{other}\" at line {line} has that channel already"
        )),
        None => table.error(format!(
            "[[rail]] needs channel: {channel}, its place in the file, is that of rail \
             \"{other}\" at line {line}"
        )),
    })
}

/// For numbers whose limits are within 8 bits.
fn byte(number: i64) -> u8 {
    u8::try_from(number).unwrap_or(u8::MAX)
}

/// For numbers whose limits are within 32 bits.
fn small(number: i64) -> i32 {
    i32::try_from(number).unwrap_or(i32::MAX)
}

pub(super) const SPEEDS: [(&str, u32); 3] =
    [("100k", 100_000), ("400k", 400_000), ("1M", 1_000_000)];
pub(super) const CLOCK_ERRORS: [(&str, Option<i32>); 1] = [("individual", None)];
const UNDECLARED: &str = "its load has too many steps to be looked through: declare what they are \
    at the most in [rail.load_declared]";
/// Characters of a title and of a rail's name.
pub(super) const TITLE_MAX: usize = 200;
pub(super) const NAME_MAX: usize = 24;
const RAILS: &str = "a scenario has a rail at least, each under [[rail]]";
const DECLARED: &str = "it must be the least and the greatest temperature, such as [0, 60]";
const READ_EVERY_NS: u64 = 1_000_000_000;

pub(super) const DURATION: Limits = Limits::new(
    9,
    1,
    profile::TIME.greatest,
    "a duration must be above 0 and at most 315576000 s",
);
pub(super) const SEED: Limits = Limits::new(
    0,
    0,
    i64::MAX,
    "a seed is a whole number from 0 to 9223372036854775807",
);
pub(super) const CLOCK_LIMIT: Limits = Limits::new(
    3,
    0,
    100_000_000,
    "a clock's limit must lie between 0 and 100000 ppm",
);
pub(super) const CLOCK_ERROR: Limits = Limits::new(
    3,
    -100_000_000,
    100_000_000,
    "a clock's error must lie between -100000 and 100000 ppm, or be \"individual\"",
);
pub(super) const READ_EVERY: Limits = Limits::new(
    9,
    1_000_000,
    profile::TIME.greatest,
    "the host reads every 0.001 s or less often",
);
pub(super) const TEMPERATURE: Limits = Limits::new(
    3,
    -40_000,
    85_000,
    "a temperature must lie between -40 and 85 °C, for which the part is specified",
);
pub(super) const CHANNEL: Limits = Limits::new(0, 0, 255, "a channel is a whole number from 0 on");
