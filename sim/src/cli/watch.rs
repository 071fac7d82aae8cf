use std::fmt::Write;
use std::time::{Duration, Instant};

use crate::quantity::{count, quantity, spoken};
use crate::run::{AlertReport, Row, word_of};
use crate::scenario::Scenario;

/// What is seen of a run while it goes on.
pub(super) struct Watch {
    title: String,
    rails: Vec<Seen>,
    limits: Vec<Told>,
    /// Alerts that are counted.
    heard: Vec<usize>,
    coloured: bool,
    drawn: Option<Instant>,
}

/// The last reading of a rail.
struct Seen {
    name: String,
    /// The part that watches it, by its place.
    part: usize,
    /// Voltage, current, power; charge and energy, each with the share of its bound that it uses.
    cells: Option<[(String, Option<f64>); 5]>,
}

/// A limit, and what was told of it.
struct Told {
    rail: String,
    word: &'static str,
    events: u64,
    last_s: Option<f64>,
    /// Told since it was drawn last.
    is_new: bool,
}

/// From one picture to the next.
const PAUSE: Duration = Duration::from_millis(100);

impl Watch {
    pub(super) fn new(scenario: &Scenario, coloured: bool) -> Self {
        let rails = scenario.rails.iter();
        let limits = rails.clone().flat_map(|rail| {
            rail.alerts.iter().map(|alert| Told {
                rail: rail.name.clone(),
                word: word_of(alert),
                events: 0,
                last_s: None,
                is_new: false,
            })
        });
        Self {
            title: scenario.title.clone(),
            limits: limits.collect(),
            rails: rails
                .map(|rail| Seen {
                    name: rail.name.clone(),
                    part: rail.part,
                    cells: None,
                })
                .collect(),
            heard: vec![0; scenario.parts.len()],
            coloured,
            drawn: None,
        }
    }

    pub(super) fn reading(&mut self, row: &Row<'_>) {
        let Some(rail) = self.rails.iter_mut().find(|rail| rail.name == row.rail) else {
            return;
        };
        let of = |nano: f64, digits, unit| quantity(nano / 1e9, digits, unit);
        let hours = |nano: i128, unit| quantity(nano as f64 / 3_600e9, 4, unit);
        let (reading, [charge, energy]) = (row.reading, row.shares());
        rail.cells = Some([
            (of(reading.voltage.as_nanovolts() as f64, 5, "V"), None),
            (of(reading.current.as_nanoamps() as f64, 5, "A"), None),
            (of(reading.power.as_nanowatts() as f64, 5, "W"), None),
            (hours(row.charge.value.as_nanocoulombs(), "Ah"), charge),
            (hours(row.energy.value.as_nanojoules(), "Wh"), energy),
        ]);
    }

    /// All alerts of one part so far.
    pub(super) fn alerts(&mut self, so_far: &[AlertReport]) {
        let first = so_far.first();
        let mut rails = self.rails.iter();
        let rail = rails.find(|rail| first.is_some_and(|alert| alert.rail == rail.name));
        let Some(heard) = rail.and_then(|rail| self.heard.get_mut(rail.part)) else {
            return;
        };
        for alert in so_far.iter().skip(*heard) {
            let mut limits = self.limits.iter_mut();
            let same = |it: &&mut Told| it.rail == alert.rail && it.word == alert.kind;
            if let Some(limit) = limits.find(same) {
                limit.events += 1;
                limit.last_s = Some(alert.time_s);
                limit.is_new = true;
            }
        }
        *heard = so_far.len();
    }

    /// The next picture, if it is time for one.
    pub(super) fn due(&mut self) -> Option<String> {
        if self.drawn.is_some_and(|drawn| drawn.elapsed() < PAUSE) {
            return None;
        }
        let picture = self.picture();
        self.drawn = Some(Instant::now());
        self.limits
            .iter_mut()
            .for_each(|limit| limit.is_new = false);
        Some(picture)
    }

    fn picture(&self) -> String {
        let mut out = String::new();
        // Writing to a string cannot fail.
        let _ = self.write(&mut out);
        out
    }

    fn write(&self, out: &mut String) -> std::fmt::Result {
        let names = self.rails.iter().map(|rail| rail.name.chars().count());
        let width = names.max().unwrap_or(0).max(6);
        writeln!(out, "{}\n", self.title)?;
        writeln!(
            out,
            "{:width$} {:>10} {:>10} {:>10} {:>10}   used {:>10}   used",
            "rail", "voltage", "current", "power", "charge", "energy"
        )?;
        for rail in &self.rails {
            write!(out, "{:width$}", rail.name)?;
            for (text, share) in rail.cells.iter().flatten() {
                write!(out, " {text:>10}")?;
                if let Some(share) = share {
                    let used = format!("{:5.0} %", 100.0 * share);
                    write!(out, "{}", self.marked(&used, *share > 1.0))?;
                }
            }
            writeln!(out)?;
        }
        if !self.limits.is_empty() {
            writeln!(
                out,
                "\n{:width$} {:14} {:>7} {:>11}",
                "rail", "alert", "events", "last"
            )?;
        }
        for limit in &self.limits {
            let last = limit
                .last_s
                .map_or_else(|| "-".to_owned(), |at_s| format!("{at_s:.2} s"));
            let line = format!(
                "{:width$} {:14} {:>7} {last:>11}",
                limit.rail,
                spoken(limit.word),
                count(limit.events),
            );
            writeln!(out, "{}", self.marked(&line, limit.is_new))?;
        }
        Ok(())
    }

    fn marked(&self, text: &str, is_marked: bool) -> String {
        match is_marked && self.coloured {
            true => format!("\x1b[1;31m{text}\x1b[0m"),
            false => text.to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TWO_LIMITS: &str = "title = \"t\"\nduration_s = 9\n[[rail]]\nname = \"ONE\"\n\
        sense.resistance_ohm = 0.01\nsource.voltage_v = 5\nload.current_a = 1\n\
        alert = [\n\
        { kind = \"over_current\", limit_a = 2, output = \"A\" },\n\
        { kind = \"under_voltage\", limit_v = 4, output = \"B\" },\n]\n";

    fn alert(time_s: f64) -> AlertReport {
        AlertReport {
            time_s,
            rail: "ONE".to_owned(),
            kind: "under_voltage",
            output: "B",
            value: None,
            limit: None,
            crossing_to_edge_s: None,
            crossing_to_edge_bound_s: 1.0,
            edge_to_event_s: None,
            edge_to_event_bound_s: 1.0,
        }
    }

    /// Each alert counts once however often the list is shown, and is marked once, if colours are
    /// welcome.
    #[test]
    fn alerts_are_counted_as_they_come() {
        let scenario = Scenario::parse(TWO_LIMITS, "t.toml").unwrap();
        for coloured in [false, true] {
            let mut watch = Watch::new(&scenario, coloured);
            let list = [alert(1.25), alert(7.5)];
            watch.alerts(&list[..1]);
            watch.alerts(&list);
            watch.alerts(&list);
            let picture = watch.due().unwrap();
            let line = "ONE    under-voltage        2      7.50 s";
            assert!(picture.contains(line), "{picture}");
            assert!(
                picture.contains("ONE    over-current         0           -"),
                "{picture}"
            );
            assert_eq!(picture.contains('\u{1b}'), coloured);
            assert!(!watch.picture().contains('\u{1b}'));
        }
    }
}
