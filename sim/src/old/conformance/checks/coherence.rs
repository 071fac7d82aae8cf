//! Whether all values of a frame are of one moment.

use alloc::{format, rc::Rc, vec::Vec};
use core::cell::RefCell;

use crate::old::conformance::report::{Notes, Stop};
use crate::old::conformance::scene::{Point, Scene};
use crate::old::conformance::trial::Seen;
use crate::old::conformance::{Desk, Subject};

type Checked = Result<(), Stop>;

/// Steps of the inputs, and when each began.
type Steps = Rc<RefCell<Vec<u64>>>;

/// Inputs go on by a step before every transfer of a latch: what a frame shows must belong to one step.
pub(super) fn coherence<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    for read_max in [255, 32, 9] {
        let mut trial = scene.trial_at(0, read_max);
        trial.init(&scene.fast())?;
        let began: Steps = Rc::default();
        // What a part without a latch shows at first is of before.
        began.borrow_mut().push(trial.desk.now_ns());
        trial.apply_all(step_point(scene, 0));
        trial.settle();
        for _ in 0..4 {
            notes.tried();
            let (desk, steps) = (trial.desk.clone(), began.clone());
            let volts: Vec<Vec<(i64, i64)>> = (0..STEPS)
                .map(|step| {
                    let point = step_point(scene, step);
                    let each = scene.channels();
                    each.map(|channel| scene.nanovolts(scene.first(channel), point))
                        .collect()
                })
                .collect();
            let pause_ns = if is_live(scene) {
                0
            } else {
                3 * scene.period_ns(scene.fast().mode)
            };
            trial.tap.between(move |_| {
                let step = steps.borrow().len() % STEPS;
                steps.borrow_mut().push(desk.now_ns());
                for (channel, (sense_nv, bus_nv)) in (0..).zip(&volts[step]) {
                    desk.apply(channel, *sense_nv, *bus_nv);
                }
                desk.run_for_ns(pause_ns);
            });
            let seen = trial.latch()?;
            trial.tap.begin();
            one_moment(scene, notes, &seen, &began.borrow())?;
        }
    }
    Ok(())
}

/// Nothing is latched: what is read goes on being converted, so a pause would be a skew of the kit's own making.
pub(super) fn is_live<S: Subject<N>, const N: usize>(scene: &Scene<'_, S, N>) -> bool {
    scene.stated.free_running && scene.spec.skew_us > 0
}

const STEPS: usize = 64;

fn step_point<S: Subject<N>, const N: usize>(scene: &Scene<'_, S, N>, step: usize) -> Point {
    let step = step as i64 + 1;
    Point {
        sense: scene.sense_full() / (STEPS as i64 + 1) * step,
        bus: scene.bus_full() / (STEPS as i64 + 1) * step,
    }
}

/// Every value of the frame was true at some moment; those moments lie no further apart than the part's skew.
fn one_moment<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    seen: &Seen<N>,
    began: &[u64],
) -> Checked {
    let skew_ns = u64::from(scene.spec.skew_us) * 1_000;
    // (from, until) of the step that a value shows, what it is of, and the step.
    let mut shown: Vec<(u64, u64, alloc::string::String, usize)> = Vec::new();
    for channel in scene.channels() {
        let codes = seen.codes[channel.index()];
        let values = [
            ("sense", i64::from(codes.sense)),
            ("bus", i64::from(codes.bus)),
        ];
        for (what, code) in values {
            let near = |step: usize| {
                let point = step_point(scene, step % STEPS);
                let off = scene.tolerance(channel, point);
                if what == "sense" {
                    (point.sense - code).abs() <= off.sense
                } else {
                    (point.bus - code).abs() <= off.bus
                }
            };
            // The latest step that fits: steps come round again only after more transfers than a latch has.
            let step = (0..began.len()).rev().find(|step| near(*step));
            let Some(step) = step else {
                notes.find(format!(
                    "{channel}: {what} code {code} read, and it was applied at no time"
                ))?;
                continue;
            };
            let until = began.get(step + 1).copied().unwrap_or(u64::MAX);
            shown.push((began[step], until, format!("{what} of {channel}"), step));
        }
        let (power, tolerance) = (
            codes.power,
            i64::from(codes.sense).abs() + i64::from(codes.bus) + 1,
        );
        let product = i64::from(codes.sense) * i64::from(codes.bus);
        if scene.is_exact() && (power - product).abs() > tolerance {
            notes.find(format!(
                "{channel}: power code {power} beside sense code {} and bus code {}, whose product is {product}: of different rounds?",
                codes.sense, codes.bus
            ))?;
        }
    }
    let latest = shown.iter().max_by_key(|(from, ..)| *from);
    let earliest = shown.iter().min_by_key(|(_, until, ..)| *until);
    if let (Some((from, _, late, late_step)), Some((_, until, early, early_step))) =
        (latest, earliest)
        && from.saturating_sub(*until) > skew_ns
    {
        notes.find(format!(
            "inputs went on by a step before every transfer: {early} shows step {early_step}, {late} shows step {late_step}, {} µs later; the Spec allows {} µs: read from live registers instead of one latch?",
            (from - until) / 1_000,
            scene.spec.skew_us
        ))?;
    }
    Ok(())
}
