use core::time::Duration;

use embedded_hal::digital::PinState;

use super::part::{self, PartPlan};
use super::profile::TIME;
use super::rail::RESISTANCE;
use super::table::{Field, Limits, Table};
use super::{RailPlan, Scenario, ScenarioError};
use crate::fault::{BusLine, Fault, FaultKind};

/// One thing that goes wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FaultPlan {
    /// Line of the scenario file.
    pub line: u64,
    /// What, when, and where.
    pub fault: Fault,
}

/// Reads all `[[fault]]` of a scenario whose parts and rails are known.
pub(super) fn read_all(
    top: &mut Table<'_>,
    scenario: &Scenario,
) -> Result<Vec<FaultPlan>, ScenarioError> {
    let Some(field) = top.field("fault") else {
        return Ok(Vec::new());
    };
    let elements = field.elements("[[fault]] tables")?;
    let plans = elements.iter().map(|element| {
        let table = element.table("[[fault]]")?;
        Ok(FaultPlan {
            line: element.line(),
            fault: read(table, scenario)?,
        })
    });
    plans.collect()
}

fn read(mut table: Table<'_>, scenario: &Scenario) -> Result<Fault, ScenarioError> {
    let duration_ns = scenario.duration_ns;
    let kind = table.needed("kind", KIND)?.one_of(&KINDS)?;
    let (parts, rails) = (&scenario.parts, &scenario.rails);
    let rail = match kind.channel() {
        Some(_) => Some(rail(&mut table, rails)?),
        None => None,
    };
    let part = match rail {
        Some(rail) => &parts[rail.part],
        None => &parts[part::of(&mut table, "[[fault]]", parts)?],
    };
    let kind = filled_in(kind, &mut table, part, rail)?;
    let mut fault = Fault::new(kind).part(part.fitted_address);
    let from_ns = match table.field("from_s") {
        None => 0,
        Some(field) => {
            let from_ns = field.number(TIME)?.unsigned_abs();
            if from_ns >= duration_ns {
                return Err(field.error("it must be before duration_s, or the fault never comes"));
            }
            from_ns
        }
    };
    fault = fault.from(Duration::from_nanos(from_ns));
    if kind != FaultKind::Reset
        && let Some(field) = table.field("until_s")
    {
        let until_ns = field.number(TIME)?.unsigned_abs();
        if until_ns <= from_ns {
            return Err(field.error("it must be after from_s, which is 0 unless given"));
        }
        fault = fault.until(Duration::from_nanos(until_ns));
    }
    let of_transfers = kind.is_of_transfers();
    if of_transfers || matches!(kind, FaultKind::Reset | FaultKind::NoSupply) {
        if let Some(field) = table.field("register") {
            fault = fault.register(register(&field, part)?);
        }
        fault = fault.after(table.count_or("after_transfers", AFTER, 0)?);
    }
    if of_transfers && let Some(field) = table.field("times") {
        fault = fault.times(field.number(TIMES)?.unsigned_abs());
    }
    table.finish()?;
    Ok(fault)
}

/// A kind with what it is given besides, on a rail if it is about one.
fn filled_in(
    kind: FaultKind,
    table: &mut Table<'_>,
    part: &PartPlan,
    rail: Option<&RailPlan>,
) -> Result<FaultKind, ScenarioError> {
    if part.kind.measures_amperes && rail.is_some() {
        let name = part.kind.info.name;
        return Err(table.error(format!(
            "{name} measures amperes itself, without a resistor"
        )));
    }
    let channel = rail.map(|rail| usize::from(rail.channel));
    let channel = channel.unwrap_or_default();
    Ok(match kind {
        FaultKind::BitsFlipped { .. } => FaultKind::BitsFlipped {
            byte: usize::try_from(table.number_or("byte", BYTE, 0)?).unwrap_or(usize::MAX),
            bits: u8::try_from(table.number_or("bits", BITS, 1)?).unwrap_or(u8::MAX),
        },
        FaultKind::ClockHeld(_) => {
            FaultKind::ClockHeld(Duration::from_nanos(table.count("held_s", HELD)?))
        }
        FaultKind::LineStuck { level, .. } => FaultKind::LineStuck {
            output: output(table, part)?,
            level,
        },
        FaultKind::SenseValue { .. } => FaultKind::SenseValue {
            channel,
            nano_ohms: table.count("resistance_ohm", RESISTANCE)?,
        },
        FaultKind::SenseDrift { .. } => FaultKind::SenseDrift {
            channel,
            ppm: i32::try_from(table.number("drift_percent", DRIFT)?).unwrap_or(i32::MAX),
        },
        FaultKind::SenseOpen { .. } => FaultKind::SenseOpen { channel },
        FaultKind::SenseSwapped { .. } => FaultKind::SenseSwapped { channel },
        kind => kind,
    })
}

/// What the part's model calls the output that is named.
fn output(table: &mut Table<'_>, part: &PartPlan) -> Result<&'static str, ScenarioError> {
    let field = table.needed("output", OUTPUT)?;
    let place = usize::from(field.one_of(&OUTPUTS)? == "B");
    let output = part.kind.outputs.get(place).copied();
    let name = part.kind.info.name;
    output.ok_or_else(|| field.error(&format!("{name} has one alert output, \"A\"")))
}

/// The rail that is named.
fn rail<'r>(table: &mut Table<'_>, rails: &'r [RailPlan]) -> Result<&'r RailPlan, ScenarioError> {
    let field = table.needed("rail", "the name of a rail")?;
    let name = field.string()?;
    let Some(rail) = rails.iter().find(|rail| rail.name == name) else {
        let names: Vec<_> = rails.iter().map(|rail| rail.name.as_str()).collect();
        let names = names.join("\", \"");
        return Err(field.error(&format!("no rail is called so; there is \"{names}\"")));
    };
    Ok(rail)
}

/// By its name in the datasheet, or as a number.
fn register(field: &Field<'_>, part: &PartPlan) -> Result<u8, ScenarioError> {
    if !field.is_string() {
        let pointer = field.number(POINTER)?;
        return Ok(u8::try_from(pointer).unwrap_or(u8::MAX));
    }
    let register = part.kind.registers.register(field.string()?);
    register.map(|register| register.pointer).ok_or_else(|| {
        field.error(&format!(
            "the part has no register of this name; \
             crake-sim registers --part {} lists them",
            part.kind.word
        ))
    })
}

/// What else they are given is filled in.
pub(super) const KINDS: [(&str, FaultKind); 17] = {
    use FaultKind::{
        AddressNotAcknowledged, AnswerLost, ArbitrationLost, BitsFlipped, ClockHeld,
        DataNotAcknowledged, LineStuck, NoPullUp, NoSupply, Reset, SenseDrift, SenseOpen,
        SenseSwapped, SenseValue, WriteLost,
    };
    let (byte, bits, channel, nano_ohms, ppm, output) = (0, 1, 0, 0, 0, "A");
    let (low, high) = (PinState::Low, PinState::High);
    let (data, clock) = (BusLine::Data, BusLine::Clock);
    [
        ("address_not_acknowledged", AddressNotAcknowledged),
        ("data_not_acknowledged", DataNotAcknowledged),
        ("bits_flipped", BitsFlipped { byte, bits }),
        ("clock_held", ClockHeld(Duration::ZERO)),
        ("arbitration_lost", ArbitrationLost),
        ("answer_lost", AnswerLost),
        ("write_lost", WriteLost),
        ("no_data_pull_up", NoPullUp { line: data }),
        ("no_clock_pull_up", NoPullUp { line: clock }),
        ("reset", Reset),
        ("no_supply", NoSupply),
        ("line_low", LineStuck { output, level: low }),
        (
            "line_released",
            LineStuck {
                output,
                level: high,
            },
        ),
        ("sense_value", SenseValue { channel, nano_ohms }),
        ("sense_drift", SenseDrift { channel, ppm }),
        ("sense_open", SenseOpen { channel }),
        ("sense_swapped", SenseSwapped { channel }),
    ]
};
const KIND: &str = "what goes wrong, such as \"address_not_acknowledged\" or \"reset\"";
pub(super) const OUTPUTS: [(&str, &str); 2] = [("A", "A"), ("B", "B")];
const OUTPUT: &str = "\"A\" or \"B\"";

pub(super) const POINTER: Limits = Limits::new(
    0,
    0,
    255,
    "a register is a name of the datasheet, or a pointer from 0 to 255",
);
pub(super) const AFTER: Limits = Limits::new(
    0,
    0,
    1_000_000_000_000,
    "the number of transfers that pass first must be a whole number from 0 to 1000000000000",
);
pub(super) const TIMES: Limits = Limits::new(
    0,
    1,
    1_000_000_000_000,
    "it strikes a whole number of transfers from 1 to 1000000000000; leave it out for all",
);
pub(super) const BYTE: Limits = Limits::new(0, 0, 255, "a data byte is 0 to 255");
pub(super) const BITS: Limits =
    Limits::new(0, 1, 255, "the bits of a byte are 1 to 255, such as 0x80");
pub(super) const HELD: Limits = Limits::new(
    9,
    1,
    1_000_000_000,
    "a clock is held for above 0 and at most 1 s; after 25 ms the transfer is given up",
);
pub(super) const DRIFT: Limits = Limits::new(
    4,
    -1_000_000,
    10_000_000,
    "a resistor drifts by -100 to 1000 %",
);
