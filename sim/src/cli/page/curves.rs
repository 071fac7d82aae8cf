use crate::page::{Point, Series};
use crate::run::Row;
use crate::scenario::Scenario;

/// Readings and totals of a run's rails as they come, for its charts.
pub(crate) struct Curves(Vec<RailCurves>);

/// Those of one rail.
pub(super) struct RailCurves {
    name: String,
    pub(super) voltage: Series,
    pub(super) current: Series,
    pub(super) power: Series,
    pub(super) charge: Series,
    pub(super) energy: Series,
    /// Readings that are limits, since a conversion went over range.
    pub(super) clipped: u64,
}

impl Curves {
    pub(crate) fn new(scenario: &Scenario) -> Self {
        let of_rail = |name: &String| RailCurves {
            name: name.clone(),
            voltage: Series::new(),
            current: Series::new(),
            power: Series::new(),
            charge: Series::new(),
            energy: Series::new(),
            clipped: 0,
        };
        Self(
            scenario
                .rails
                .iter()
                .map(|rail| of_rail(&rail.name))
                .collect(),
        )
    }

    pub(crate) fn note(&mut self, row: &Row<'_>) {
        let Some(rail) = self.0.iter_mut().find(|rail| rail.name == row.rail) else {
            return;
        };
        let timestamp = row.timestamp;
        let middle_us = timestamp.before_us + timestamp.width_us() / 2;
        let time_s = middle_us as f64 / 1e6;
        let point = |nano: f64, bound_nano: Option<f64>| Point {
            time_s,
            value: nano / 1e9,
            bound: bound_nano.map(|nano| nano / 1e9),
        };
        let (reading, bounds) = (row.reading, row.bounds());
        let [voltage, current, power] = [
            bounds.map(|all| all.voltage.as_nanovolts()),
            bounds.map(|all| all.current.as_nanoamps()),
            bounds.map(|all| all.power.as_nanowatts()),
        ]
        .map(|bound| bound.map(|nano| nano as f64));
        rail.voltage
            .push(point(reading.voltage.as_nanovolts() as f64, voltage));
        rail.current
            .push(point(reading.current.as_nanoamps() as f64, current));
        rail.power
            .push(point(reading.power.as_nanowatts() as f64, power));
        rail.clipped += u64::from(row.clipped);

        let (charge, energy) = (row.charge, row.energy);
        // A bound that says nothing is none.
        let known =
            |saturation, nano: i128| (saturation == crake::Saturation::None).then_some(nano as f64);
        rail.charge.push(point(
            charge.value.as_nanocoulombs() as f64,
            known(charge.saturation, charge.bound.as_nanocoulombs()),
        ));
        rail.energy.push(point(
            energy.value.as_nanojoules() as f64,
            known(energy.saturation, energy.bound.as_nanojoules()),
        ));
    }

    pub(super) fn rail(&self, name: &str) -> Option<&RailCurves> {
        self.0.iter().find(|rail| rail.name == name)
    }
}
