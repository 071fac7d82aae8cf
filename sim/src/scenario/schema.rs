//! The form of a scenario file as a JSON Schema, from the limits and words that the reader has.
//!
//! What lies beyond a form stays the reader's: that a name is taken once, that a step comes before
//! the end.

use std::collections::BTreeSet;

use schemars::Schema;
use serde_json::{Map, Value, json};

use super::part::PartKind;
use super::profile::{AT_END, INTERPOLATION, PULSES, SCALE, TIME, Unit};
use super::table::Limits;
use super::{alert, converter, declared, fault, load, part, rail, read, recording};

/// The schema, draft 2020-12.
pub(crate) fn schema() -> Schema {
    let mut file = table(
        [
            ("title", text(read::TITLE_MAX)),
            ("duration_s", number(read::DURATION)),
            ("rail", list(rail(), Some(1))),
        ],
        [
            ("seed", number(read::SEED)),
            ("part", parts()),
            ("bus", table([], [("speed", words(&read::SPEEDS))])),
            ("host", host()),
            ("board", board()),
            ("fault", list(fault(), None)),
        ],
    );
    file["$schema"] = "https://json-schema.org/draft/2020-12/schema".into();
    file["title"] = "Scenario".into();
    file["description"] = "A scenario file of crake-sim, its TOML taken as JSON.".into();
    let mut voltages = profiles(rail::VOLTS, "voltage");
    for kind in &mut voltages {
        // In a sum each says its kind.
        let said = json!([kind["required"][0], "kind"]);
        if kind["properties"]["kind"]["const"] == "constant" {
            kind["required"] = said;
        }
    }
    file["$defs"] = json!({ "load": load(), "voltage": one_of(voltages) });
    Schema::try_from(file).unwrap_or_default()
}

/// One part alone, or several.
fn parts() -> Value {
    json!({ "anyOf": [part(), list(part(), Some(1))] })
}

fn part() -> Value {
    // Which of them a kind of part has is the reader's to know, as are addresses.
    let rates: Vec<_> = PartKind::ALL.iter().flat_map(|kind| kind.rates()).collect();
    let mut part = table(
        [],
        [
            ("name", text(read::NAME_MAX)),
            ("model", words(&PartKind::ALL.map(|kind| (kind.word, kind)))),
            ("address", number(part::ADDRESS)),
            ("strap", number(part::STRAP)),
            ("fitted_strap", number(part::STRAP)),
            ("scan_rate", json!({ "enum": rates })),
            ("averaging", number(part::AVERAGING)),
            ("errors", words(&part::ERRORS)),
        ],
    );
    part["not"] = json!({ "required": ["address", "strap"] });
    part
}

fn host() -> Value {
    let error = json!({ "anyOf": [number(read::CLOCK_ERROR), words(&read::CLOCK_ERRORS)] });
    table(
        [],
        [
            ("clock_limit_ppm", number(read::CLOCK_LIMIT)),
            ("clock_error_ppm", error),
            ("read_every_s", number(read::READ_EVERY)),
            ("latency_us", number(read::LATENCY)),
        ],
    )
}

fn board() -> Value {
    let temperature = || number(read::TEMPERATURE);
    table(
        [],
        [
            ("ambient_c", temperature()),
            ("declared_c", pair(temperature(), temperature())),
        ],
    )
}

fn rail() -> Value {
    table(
        [
            ("name", text(read::NAME_MAX)),
            ("source", source()),
            ("load", json!({ "$ref": "#/$defs/load" })),
        ],
        [
            // Of a part that measures amperes itself.
            ("sense", sense()),
            ("part", json!({ "type": "string" })),
            ("channel", number(read::CHANNEL)),
            ("load_declared", load_declared()),
            ("alert", list(one_of(alerts()), None)),
        ],
    )
}

fn sense() -> Value {
    table(
        [("resistance_ohm", number(rail::RESISTANCE))],
        [
            ("tolerance_percent", number(rail::TOLERANCE)),
            (
                "temperature_coefficient_ppm_per_k",
                number(rail::COEFFICIENT),
            ),
            ("thermal_resistance_k_per_w", number(rail::THERMAL)),
            ("sense_full_scale_v", number(rail::FULL_SCALE)),
            ("rail_full_scale_v", number(rail::FULL_SCALE)),
        ],
    )
}

fn source() -> Value {
    let mut kinds = profiles(rail::VOLTS, "voltage");
    let points = list(pair(number(rail::STATE), number(rail::VOLTS.limits)), None);
    kinds.push(kind(
        "cell",
        [
            ("capacity_ah", number(rail::CAPACITY)),
            ("initial_state", number(rail::STATE)),
            ("open_circuit", points),
        ],
        [("series", number(rail::SERIES))],
    ));
    kinds.push(kind(
        "converter",
        [
            ("input", json!({ "type": "string" })),
            ("voltage_v", number(rail::VOLTS.limits)),
            ("efficiency", number(converter::EFFICIENCY)),
            ("input_down_to_v", number(load::DOWN_TO)),
        ],
        [("idle_w", number(load::POWER))],
    ));
    for kind in &mut kinds {
        kind["properties"]["impedance_ohm"] = number(rail::IMPEDANCE);
    }
    one_of(kinds)
}

fn load() -> Value {
    let (amps, volts) = (load::AMPS, || number(rail::VOLTS.limits));
    let (current, resistance) = (|| number(load::CHARGE), || number(rail::RESISTANCE_ANY));
    let mut kinds = profiles(amps, "load");
    kinds.push(kind("resistance", [("resistance_ohm", resistance())], []));
    let power = [
        ("power_w", number(load::POWER)),
        ("down_to_v", number(load::DOWN_TO)),
    ];
    kinds.push(kind("constant_power", power, []));
    let inrush = [
        ("capacitance_f", number(load::CAPACITANCE)),
        ("series_ohm", resistance()),
    ];
    kinds.push(kind("inrush", inrush, [("initial_v", volts())]));
    let charger = [
        ("trickle_a", current()),
        ("trickle_below_v", volts()),
        ("constant_current_a", current()),
        ("constant_voltage_v", volts()),
        ("end_a", current()),
    ];
    kinds.push(kind("charger", charger, []));
    // Of a sum each part has its own switch.
    for kind in kinds
        .iter_mut()
        .filter(|kind| kind["properties"]["kind"]["const"] != "sum")
    {
        for key in ["closes_s", "opens_s"] {
            kind["properties"][key] = number(TIME);
        }
    }
    one_of(kinds)
}

/// Every kind of profile; the parts of a sum are of `definition`.
fn profiles(unit: Unit, definition: &str) -> Vec<Value> {
    let [initial, from, to, low, high] =
        ["initial", "from", "to", "low", "high"].map(|key| unit.key(key));
    let (time, value) = (|| number(TIME), || number(unit.limits));
    let mut pulses = kind(
        "pulses",
        [
            (&*low, value()),
            (&*high, value()),
            ("period_s", time()),
            ("width_s", time()),
        ],
        [
            ("first_s", time()),
            ("edge_s", time()),
            ("train_pulses", number(PULSES)),
            ("train_period_s", time()),
        ],
    );
    together(&mut pulses, ["train_pulses", "train_period_s"]);
    let column = || json!({ "anyOf": [number(recording::COLUMN), { "type": "string" }] });
    let character = || json!({ "type": "string", "pattern": "^(tab|[^\\r\\n\"])$" });
    let steps = list(pair(time(), value()), None);
    let parts = json!({ "$ref": format!("#/$defs/{definition}") });
    vec![
        // Its value alone says it.
        table(
            [(unit.constant(), value())],
            [("kind", json!({ "const": "constant" }))],
        ),
        kind("steps", [(&*initial, value()), ("steps", steps)], []),
        kind(
            "ramp",
            [
                ("start_s", time()),
                (&*from, value()),
                ("end_s", time()),
                (&*to, value()),
            ],
            [],
        ),
        pulses,
        kind(
            "recorded",
            [
                ("file", json!({ "type": "string" })),
                ("interpolation", words(&INTERPOLATION)),
                ("at_end", words(&AT_END)),
            ],
            [
                ("time_column", column()),
                ("value_column", column()),
                ("separator", character()),
                ("comment", character()),
                ("scale", number(SCALE)),
            ],
        ),
        kind("sum", [("parts", list(parts, None))], []),
    ]
}

fn load_declared() -> Value {
    let mut declared = table(
        [
            ("steps_per_hour", number(declared::STEPS)),
            ("step_a", number(declared::STEP)),
            ("flow", words(&declared::FLOWS)),
            ("greatest_a", number(declared::GREATEST)),
        ],
        [
            ("voltage_steps_per_hour", number(declared::STEPS)),
            ("voltage_step_v", number(declared::VOLTAGE_STEP)),
            ("mean_a", number(declared::MEAN)),
            ("mean_over_s", number(declared::MEAN_OVER)),
            (
                "voltage_v",
                pair(number(declared::SPAN), number(declared::SPAN)),
            ),
        ],
    );
    together(&mut declared, ["voltage_steps_per_hour", "voltage_step_v"]);
    together(&mut declared, ["mean_a", "mean_over_s"]);
    declared
}

fn alerts() -> Vec<Value> {
    let each = alert::KINDS.iter().map(|&(word, watched)| {
        let (limit, hysteresis) = alert::keys(watched);
        kind(
            word,
            [
                (limit, number(alert::LIMIT)),
                ("output", words(&alert::OUTPUTS)),
            ],
            [
                ("debounce", number(alert::DEBOUNCE)),
                ("mode", words(&alert::MODES)),
                (hysteresis, number(alert::HYSTERESIS)),
                ("look_again_s", number(alert::LOOK_AGAIN)),
            ],
        )
    });
    each.collect()
}

fn fault() -> Value {
    use crate::fault::FaultKind::{
        BitsFlipped, ClockHeld, LineStuck, NoSupply, Reset, SenseDrift, SenseValue,
    };
    let registers = PartKind::ALL
        .iter()
        .flat_map(|kind| kind.registers.registers);
    let names: BTreeSet<_> = registers.map(|register| register.name).collect();
    let register = || json!({ "anyOf": [number(fault::POINTER), { "enum": names }] });
    let each = fault::KINDS.iter().map(|&(word, what)| {
        let (mut needed, mut optional) = (Vec::new(), vec![("from_s", number(TIME))]);
        let name = json!({ "type": "string" });
        match what.channel() {
            Some(_) => needed.push(("rail", name)),
            None => optional.push(("part", name)),
        }
        match what {
            BitsFlipped { .. } => {
                optional.push(("byte", number(fault::BYTE)));
                optional.push(("bits", number(fault::BITS)));
            }
            ClockHeld(_) => needed.push(("held_s", number(fault::HELD))),
            LineStuck { .. } => needed.push(("output", words(&fault::OUTPUTS))),
            SenseValue { .. } => needed.push(("resistance_ohm", number(rail::RESISTANCE))),
            SenseDrift { .. } => needed.push(("drift_percent", number(fault::DRIFT))),
            _ => {}
        }
        if what != Reset {
            optional.push(("until_s", number(TIME)));
        }
        if what.is_of_transfers() || matches!(what, Reset | NoSupply) {
            optional.push(("register", register()));
            optional.push(("after_transfers", number(fault::AFTER)));
        }
        if what.is_of_transfers() {
            optional.push(("times", number(fault::TIMES)));
        }
        kind(word, needed, optional)
    });
    one_of(each.collect())
}

/// A number as the reader takes it.
fn number(limits: Limits) -> Value {
    let unit = 10_f64.powi(limits.places as i32);
    let end = |end: i64| match limits.places {
        0 => Value::from(end),
        _ => Value::from(end as f64 / unit),
    };
    json!({
        "type": if limits.places == 0 { "integer" } else { "number" },
        "minimum": end(limits.least),
        "maximum": end(limits.greatest),
        "description": limits.rule,
    })
}

fn text(most: usize) -> Value {
    json!({ "type": "string", "minLength": 1, "maxLength": most })
}

fn words<T>(words: &[(&str, T)]) -> Value {
    let words: Vec<_> = words.iter().map(|(word, _)| *word).collect();
    json!({ "enum": words })
}

fn pair(one: Value, other: Value) -> Value {
    json!({ "type": "array", "prefixItems": [one, other], "minItems": 2, "maxItems": 2 })
}

fn list(of: Value, least: Option<u64>) -> Value {
    let mut list = json!({ "type": "array", "items": of });
    if let Some(least) = least {
        list["minItems"] = least.into();
    }
    list
}

fn one_of(kinds: Vec<Value>) -> Value {
    json!({ "oneOf": kinds })
}

/// A table that takes these keys and no others.
fn table<'k>(
    needed: impl IntoIterator<Item = (&'k str, Value)>,
    optional: impl IntoIterator<Item = (&'k str, Value)>,
) -> Value {
    let (mut properties, mut required) = (Map::new(), Vec::new());
    for (key, value) in needed {
        required.push(key);
        properties.insert(key.to_owned(), value);
    }
    properties.extend(
        optional
            .into_iter()
            .map(|(key, value)| (key.to_owned(), value)),
    );
    json!({
        "type": "object",
        "properties": properties,
        "required": required,
        "additionalProperties": false,
    })
}

/// The same with its kind.
fn kind<'k>(
    word: &str,
    needed: impl IntoIterator<Item = (&'k str, Value)>,
    optional: impl IntoIterator<Item = (&'k str, Value)>,
) -> Value {
    let kind = ("kind", json!({ "const": word }));
    table(needed.into_iter().chain([kind]), optional)
}

/// Both keys or neither.
fn together(table: &mut Value, [one, other]: [&str; 2]) {
    table["dependentRequired"][one] = json!([other]);
    table["dependentRequired"][other] = json!([one]);
}
