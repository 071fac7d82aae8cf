use std::time::Duration;

use crake::alert::{Lasting, Limit, Limits, Outputs};

use super::case::Case;
use super::firmware::{Run, Service};
use super::history::{Excursion, History, of};
use crate::fixture::bits;

/// What a case showed.
#[derive(Default)]
pub struct Judged {
    pub failures: Vec<String>,
    told: usize,
    merged: usize,
    /// Excursions of limits that follow which no look found.
    unfound: usize,
    masked: usize,
    busy: f64,
}

#[derive(Debug, Default)]
pub struct Seen {
    pub failed: usize,
    pub told: usize,
    pub merged: usize,
    pub unfound: usize,
    pub masked: usize,
    pub busiest: f64,
}

impl Seen {
    pub fn add(&mut self, judged: Judged) {
        self.told += judged.told;
        self.merged += judged.merged;
        self.unfound += judged.unfound;
        self.masked += judged.masked;
        self.busiest = self.busiest.max(judged.busy);
    }
}

pub fn judge(case: &Case, run: &Run) -> Judged {
    let mut judged = Judged {
        busy: run.busy,
        ..Judged::default()
    };
    if run.busy >= 0.1 {
        judged.fail(format!("the bus is busy for {:.3} of the time", run.busy));
    }
    judged.masks(case, run);
    for (limit, since_ns) in case.limits.iter().zip(&run.since_ns) {
        let apertures = run.apertures[limit.channel().index()].borrow();
        let history = History::new(limit, &apertures, *since_ns, case.is_single_shot);
        judged.events(case, run, limit, &history);
    }
    judged
}

impl Judged {
    fn fail(&mut self, what: String) {
        self.failures.push(what);
    }

    /// An output that is wired to hardware always has all its flags, the other never more than its
    /// own.
    fn masks(&mut self, case: &Case, run: &Run) {
        let limits = Limits::new(&case.limits);
        let both = [Outputs::A, Outputs::B].into_iter().zip(&run.masks);
        for ((output, masks), full) in both.zip(limits.masks()) {
            let full = bits(*full);
            self.masked += masks.iter().filter(|mask| **mask != full).count();
            for mask in masks {
                let is_good = *mask == full || !case.wired.contains(output) && mask & !full == 0;
                if !is_good {
                    self.fail(format!("{output:?} has {mask:06x} of {full:06x}"));
                }
            }
        }
    }

    fn events(&mut self, case: &Case, run: &Run, limit: &Limit, history: &History) {
        let flag = limit.flag();
        let told: Vec<usize> = (0..)
            .zip(&run.services)
            .flat_map(|(number, service)| {
                let events = service.events.iter().filter(|event| event.flag() == flag);
                events.map(move |_| number)
            })
            .collect();
        // Flags are read at some moment between START and STOP: early, or late.
        let all = [(false, false), (false, true), (true, false), (true, true)];
        let counted = all.map(|edges| groups(limit, history, &run.services, edges));
        let least = counted.iter().map(|groups| groups.len()).min();
        let most = counted.iter().map(|groups| groups.len()).max();
        let (least, most) = (least.unwrap_or(0), most.unwrap_or(0));
        self.told += told.len();
        self.unfound += match limit.is_latching() {
            true => 0,
            false => history.excursions.len().saturating_sub(most),
        };
        if limit.is_latching() {
            self.merged += history.excursions.len().saturating_sub(told.len());
        }
        if told.len() < least || told.len() > most {
            let shown = format!(
                "{flag}: told {}, and there are {least} to {most}",
                told.len()
            );
            self.fail(shown);
            return;
        }
        let Some(groups) = counted.iter().find(|groups| groups.len() == told.len()) else {
            return;
        };
        for (group, number) in groups.iter().zip(told) {
            self.when(case, run, (limit, history), (group, number));
            self.what(limit, history, &run.services[number]);
        }
        self.apart(case, limit, history, groups);
    }

    /// An event is told by the first look that can know of it, and that look comes as soon as
    /// stated.
    fn when(
        &mut self,
        case: &Case,
        run: &Run,
        (limit, history): (&Limit, &History),
        (group, number): (&Excursion, usize),
    ) {
        let service = &run.services[number];
        if service.looks[0].1 < group.first_ns {
            self.fail(format!("{}: told before it was", limit.flag()));
        }
        let before = number.checked_sub(1).map(|number| &run.services[number]);
        if before.is_some_and(|before| before.looks[0].0 > group.first_ns) {
            self.fail(format!("{}: not told by the look before", limit.flag()));
        }
        // What the look before may have cleared is set again by the next conversion.
        let cleared_ns = before.map_or(0, |before| before.looks.last().map_or(0, |look| look.1));
        let from_ns = group.first_ns.max(cleared_ns);
        let mut set = history.scans.iter().filter(|scan| scan.condition);
        let set_ns = set
            .find(|scan| scan.ends_ns >= from_ns)
            .map_or(from_ns, |scan| scan.ends_ns);
        let ready_ns = before
            .map_or(run.began_ns, |before| before.ends_ns)
            .max(set_ns);
        let took_ns = service.begins_ns.saturating_sub(ready_ns);
        let stated_ns = reaction_ns(case, limit);
        if took_ns > stated_ns {
            let flag = limit.flag();
            self.fail(format!(
                "{flag}: served after {took_ns}, not {stated_ns} ns"
            ));
        }
    }

    /// It carries its limit, and what its sample shows.
    fn what(&mut self, limit: &Limit, history: &History, service: &Service) {
        let mut of_this = service
            .events
            .iter()
            .filter(|event| event.flag() == limit.flag());
        let Some(event) = of_this.next() else { return };
        let shown = service.scan.and_then(|scan| history.scans.get(scan));
        let expected = shown.map(|shown| shown.value);
        let got = event.value().map(of);
        // Power is told to a nanowatt.
        let differs = match (got, expected) {
            (Some(got), Some(expected)) => got.abs_diff(expected) > 20,
            (got, expected) => got.is_some() || expected.is_some(),
        };
        if differs || event.limit() != Some(limit.threshold()) {
            self.fail(format!("{}: {event:?}, not {expected:?}", limit.flag()));
        }
    }

    /// Excursions that lie further apart than firmware may take for a look are told one by one.
    fn apart(&mut self, case: &Case, limit: &Limit, history: &History, groups: &[Excursion]) {
        if case.is_single_shot || !limit.is_latching() {
            return;
        }
        let lasting_ns = match limit.lasting_rule() {
            Lasting::LookAgain(interval) => ns(interval),
            Lasting::MaskUntilOver => ns(case.interval),
        };
        let look_ns = lasting_ns.max(reaction_ns(case, limit)).min(case.read_ns);
        let least_ns = look_ns + 2 * case.period_ns + 30_000_000;
        for pair in history.excursions.windows(2) {
            let (from_ns, to_ns) = (pair[0].over_ns, pair[1].first_ns);
            let between = |at_ns: u64| at_ns >= from_ns && at_ns < to_ns;
            let mut between = history.scans.iter().filter(|scan| between(scan.ends_ns));
            if to_ns - from_ns > least_ns
                && between.all(|scan| scan.is_over)
                && !groups.iter().any(|group| group.first_ns == to_ns)
            {
                let flag = limit.flag();
                self.fail(format!("{flag}: {from_ns} to {to_ns} ns do not separate"));
            }
        }
    }
}

/// The longest from a flag to the service that tells it, if none is at work: a limit that is looked
/// at again keeps its outputs from being listened to, and a silent one has none.
fn reaction_ns(case: &Case, limit: &Limit) -> u64 {
    if limit.is_silent() {
        return case.read_ns;
    }
    let others = case
        .limits
        .iter()
        .filter(|other| other.flag() != limit.flag());
    let intervals = others
        .filter(|other| other.outputs().intersects(limit.outputs()))
        .filter_map(|other| match other.lasting_rule() {
            Lasting::LookAgain(interval) => Some(ns(interval)),
            Lasting::MaskUntilOver => None,
        });
    intervals.max().unwrap_or(0).min(case.read_ns)
}

fn ns(time: Duration) -> u64 {
    time.as_nanos() as u64
}

/// Excursions that are to be told: the first of each run of them that no sample separates.
///
/// A sample separates two if it shows the first one over, and came after a look that found it.
/// Where flags latch, what was over again before the look after that sample goes with the first.
/// Where they follow, an excursion is one that a look found.
fn groups(
    limit: &Limit,
    history: &History,
    services: &[Service],
    (finds_early, clears_early): (bool, bool),
) -> Vec<Excursion> {
    let edge = |look: &(u64, u64), early: bool| if early { look.0 } else { look.1 };
    let mut groups: Vec<Excursion> = Vec::new();
    // The last conversion of the excursions that are told by the last event.
    let mut last_ns = 0;
    for excursion in &history.excursions {
        let found_by = |service: &&Service| {
            let at_ns = edge(&service.looks[0], finds_early);
            excursion.first_ns < at_ns && (limit.is_latching() || at_ns < excursion.over_ns)
        };
        if !services.iter().any(|service| found_by(&service)) {
            continue;
        }
        let Some(group) = groups.last() else {
            groups.push(*excursion);
            last_ns = excursion.last_ns;
            continue;
        };
        let (mut separate, mut hidden) = (false, false);
        let first_ns = group.first_ns;
        for service in services {
            let Some(shown) = service.scan.and_then(|scan| history.scans.get(scan)) else {
                continue;
            };
            let is_known = first_ns < edge(&service.looks[0], finds_early);
            let lies_between = shown.ends_ns > last_ns && shown.ends_ns < excursion.first_ns;
            if is_known && shown.is_over && lies_between {
                let settles = service.looks.last().filter(|_| limit.is_latching());
                match settles.is_some_and(|look| excursion.last_ns < edge(look, clears_early)) {
                    true => hidden = true,
                    false => separate = true,
                }
            }
        }
        if separate {
            groups.push(*excursion);
            last_ns = excursion.last_ns;
        } else if !hidden {
            last_ns = excursion.last_ns;
        }
    }
    groups
}
