//! Error against current, both logarithmic, as letters.

use std::fmt::Write;

use crate::quantity::quantity;

/// A letter, and its points: current in amperes, error as a share.
pub(super) type Curve = (char, Vec<[f64; 2]>);

const COLUMNS: usize = 76;
const ROWS: usize = 18;
/// Where curves lie on each other.
const SEVERAL: char = '=';

/// Curves in one field, with a line at the error `allowed`. Those of one cell show as `=`.
pub(super) fn chart(curves: &[Curve], allowed: f64) -> String {
    let all = || curves.iter().flat_map(|(_, points)| points.iter());
    let [least_a, greatest_a] = ends(all().map(|point| point[0]));
    let [least, greatest] = ends(all().map(|point| point[1]).chain([allowed]));
    let column = |amps: f64| place(amps, least_a, greatest_a, COLUMNS);
    let row = |share: f64| ROWS - 1 - place(share, least, greatest, ROWS);

    let mut field = vec![[' '; COLUMNS]; ROWS];
    field[row(allowed)] = ['.'; COLUMNS];
    for (letter, points) in curves {
        for (at, there) in drawn(points).map(|[amps, share]| (column(amps), row(share))) {
            let cell = &mut field[there][at];
            *cell = match *cell {
                ' ' | '.' => *letter,
                same if same == *letter => same,
                _ => SEVERAL,
            };
        }
    }
    let mut text = String::new();
    let mut labels = vec![String::new(); ROWS];
    for share in ticks(least, greatest) {
        labels[row(share)] = format!("{} %", rounded(share * 100.0));
    }
    labels[row(allowed)] = format!("{} %", rounded(allowed * 100.0));
    for (label, cells) in labels.iter().zip(field) {
        let cells: String = cells.iter().collect();
        // Writing to a string cannot fail.
        let _ = writeln!(text, "  {label:>8} |{}", cells.trim_end());
    }
    let mut axis = vec!['-'; COLUMNS];
    let mut names = vec![' '; COLUMNS + 10];
    for amps in ticks(least_a, greatest_a) {
        let name = quantity(amps, 1, "A");
        let at = column(amps);
        let free = names[at.saturating_sub(1)..at + name.chars().count() + 1].iter();
        if free.clone().all(|cell| *cell == ' ') {
            axis[at] = '+';
            for (cell, letter) in names[at..].iter_mut().zip(name.chars()) {
                *cell = letter;
            }
        }
    }
    let [axis, names] = [axis, names].map(|cells| cells.into_iter().collect::<String>());
    let _ = writeln!(text, "  {:>8} +{axis}", "");
    let _ = writeln!(text, "  {:>8}  {}", "", names.trim_end());
    text
}

/// A point for each column and more, between the points that there are.
fn drawn(points: &[[f64; 2]]) -> impl Iterator<Item = [f64; 2]> {
    let pairs = points.windows(2);
    let between = |pair: &[[f64; 2]]| {
        let ([from_a, from], [to_a, to]) = (pair[0], pair[1]);
        [0.0, 0.5, 1.0].map(|part: f64| {
            [
                from_a * (to_a / from_a).powf(part),
                from * (to / from).powf(part),
            ]
        })
    };
    pairs.flat_map(between)
}

pub(super) fn ends(values: impl Iterator<Item = f64>) -> [f64; 2] {
    let nothing = [f64::INFINITY, 0.0];
    values.fold(nothing, |[least, greatest], value| {
        [least.min(value), greatest.max(value)]
    })
}

fn place(value: f64, least: f64, greatest: f64, cells: usize) -> usize {
    let share = (value / least).ln() / (greatest / least).ln();
    ((share * (cells - 1) as f64).round() as usize).min(cells - 1)
}

/// 1, 2 and 5 of each decade within.
pub(super) fn ticks(least: f64, greatest: f64) -> impl Iterator<Item = f64> {
    let decades = least.log10().floor() as i32..=greatest.log10().ceil() as i32;
    let ticks = decades.flat_map(|decade| [1.0, 2.0, 5.0].map(|one| one * 10_f64.powi(decade)));
    let slack = 1e-9;
    ticks.filter(move |tick| (least * (1.0 - slack)..=greatest * (1.0 + slack)).contains(tick))
}

/// Up to three digits, without zeros at the end.
pub(super) fn rounded(value: f64) -> f64 {
    let step = 10_f64.powi(value.log10().floor() as i32 - 2);
    let digits = (value / step).round();
    if step < 1.0 {
        digits / (1.0 / step).round()
    } else {
        digits * step
    }
}
