//! What flows through a rail of the skiff, integrated here from the scenario's numbers and the
//! recorded points.

use crate::skiff::{Rail, array, number, recording, text};
use toml::Table;

/// Totals of a rail over the scenario.
#[derive(Clone, Copy, Debug, Default)]
pub struct Flow {
    /// Seconds.
    pub time: f64,
    /// Coulombs.
    pub charge: f64,
    /// Joules.
    pub energy: f64,
    /// Coulombs, whichever way they went.
    pub throughput: f64,
    /// The same times the voltage at which they went: joules.
    pub turned_energy: f64,
    /// Volts × seconds.
    pub volt_seconds: f64,
}

impl Flow {
    /// Mean voltage over time.
    pub fn voltage(&self) -> f64 {
        self.volt_seconds / self.time
    }
}

/// Integrates `seconds` whole seconds of a rail.
///
/// In steps of 1 ms, on which all jumps of the skiff fall, by Gauss's rule with two points: exact
/// for the products of straight lines that current and voltage are in between.
pub fn flow(rail: &Rail, seconds: u32) -> Flow {
    let load = Load::new(&rail.load);
    let source = Source::new(&rail.source);
    let mut flow = Flow::default();
    let (dt, node) = (1e-3, 0.5 / 3_f64.sqrt());
    for ms in 0..u64::from(seconds) * 1000 {
        let begun = flow.charge;
        for into in [0.5 - node, 0.5 + node] {
            let t = (ms as f64 + into) * dt;
            let i = load.current(ms, t);
            let v = source.voltage(t, begun + i * into * dt) - rail.impedance * i;
            flow.time += dt / 2.0;
            flow.charge += i * dt / 2.0;
            flow.energy += i * v * dt / 2.0;
            flow.throughput += i.abs() * dt / 2.0;
            flow.turned_energy += (i * v).abs() * dt / 2.0;
            flow.volt_seconds += v * dt / 2.0;
        }
    }
    flow
}

enum Load {
    Constant(f64),
    Recorded(Vec<(f64, f64)>),
    Pulses {
        low: f64,
        high: f64,
        first_ms: u64,
        width_ms: u64,
        period_ms: u64,
        /// Pulses in a train, and from one train to the next.
        train: Option<(u64, u64)>,
    },
}

impl Load {
    fn new(load: &Table) -> Self {
        let ms = |key: &str| (number(&load[key]) * 1e3).round() as u64;
        match text(&load["kind"]).as_str() {
            "constant" => Self::Constant(number(&load["current_a"])),
            "recorded" => {
                assert_eq!(
                    (text(&load["interpolation"]), text(&load["at_end"])),
                    ("linear".to_owned(), "repeat".to_owned())
                );
                Self::Recorded(recording(load))
            }
            "pulses" => Self::Pulses {
                low: number(&load["low_a"]),
                high: number(&load["high_a"]),
                first_ms: ms("first_s"),
                width_ms: ms("width_s"),
                period_ms: ms("period_s"),
                train: load
                    .get("train_pulses")
                    .map(|pulses| (number(pulses) as u64, ms("train_period_s"))),
            },
            other => panic!("load '{other}'"),
        }
    }

    /// In amperes, at `t` seconds, which lie in the millisecond `ms`.
    fn current(&self, ms: u64, t: f64) -> f64 {
        match self {
            Self::Constant(current) => *current,
            Self::Recorded(points) => {
                let pass = points[points.len() - 1].0;
                straight(points, t % pass)
            }
            Self::Pulses {
                low,
                high,
                first_ms,
                width_ms,
                period_ms,
                train,
            } => {
                let Some(since) = ms.checked_sub(*first_ms) else {
                    return *low;
                };
                let since = train.map_or(since, |(_, period)| since % period);
                let pulses = train.map_or(u64::MAX, |(pulses, _)| pulses);
                if since / period_ms < pulses && since % period_ms < *width_ms {
                    *high
                } else {
                    *low
                }
            }
        }
    }
}

enum Source {
    Constant(f64),
    Recorded(Vec<(f64, f64)>),
    /// Cells in series, coulombs of one, state at the beginning, open-circuit voltage of one over
    /// its state.
    Cell(f64, f64, f64, Vec<(f64, f64)>),
}

impl Source {
    fn new(source: &Table) -> Self {
        match text(&source["kind"]).as_str() {
            "constant" => Self::Constant(number(&source["voltage_v"])),
            "recorded" => Self::Recorded(recording(source)),
            "cell" => Self::Cell(
                number(&source["series"]),
                number(&source["capacity_ah"]) * 3600.0,
                number(&source["initial_state"]),
                array(&source["open_circuit"])
                    .iter()
                    .map(|pair| (number(&pair[0]), number(&pair[1])))
                    .collect(),
            ),
            other => panic!("source '{other}'"),
        }
    }

    /// Behind its impedance, in volts, after `charge` coulombs.
    fn voltage(&self, t: f64, charge: f64) -> f64 {
        match self {
            Self::Constant(voltage) => *voltage,
            Self::Recorded(points) => straight(points, t),
            Self::Cell(series, capacity, initial, open_circuit) => {
                series * straight(open_circuit, initial - charge / capacity)
            }
        }
    }
}

/// The value at `x` of straight lines through `points`.
fn straight(points: &[(f64, f64)], x: f64) -> f64 {
    let after = points
        .partition_point(|point| point.0 <= x)
        .clamp(1, points.len() - 1);
    let ((x0, y0), (x1, y1)) = (points[after - 1], points[after]);
    y0 + (y1 - y0) * (x - x0) / (x1 - x0)
}
