//! What the rails of a scenario really do, as a table: current and voltage of each at every so many
//! seconds, from time 0 to the scenario's end.
//!
//! ```text
//! cargo run --release -p crake-sim --example trajectory -- examples/survey-skiff.toml 0.5
//! ```

use std::error::Error;
use std::io::{self, BufWriter, Write};

use crake_sim::plant::{Piece, Switched};
use crake_sim::scenario::Scenario;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let (Some(path), Some(step_s)) = (arguments.next(), arguments.next()) else {
        return Err("give a scenario and the seconds from row to row".into());
    };
    let step_ns = (step_s.parse::<f64>()? * 1e9).round() as u64;
    let scenario = Scenario::load(path)?;
    let rails = scenario.rails.iter().map(|plan| plan.rail());
    let mut rails = rails.collect::<Result<Vec<Switched>, _>>()?;

    let mut out = BufWriter::new(io::stdout().lock());
    write!(out, "time_s")?;
    for plan in &scenario.rails {
        write!(out, ",{0} current_a,{0} voltage_v", plan.name)?;
    }
    writeln!(out)?;
    for at_ns in (0..=scenario.duration_ns).step_by(step_ns.max(1) as usize) {
        write!(out, "{:.9}", at_ns as f64 / 1e9)?;
        for rail in &mut rails {
            let piece = rail.piece(at_ns).ok_or("too far back")?;
            let (amps, volts) = values(&piece, at_ns);
            write!(out, ",{amps:.9},{volts:.9}")?;
        }
        writeln!(out)?;
    }
    out.flush()?;
    Ok(())
}

/// Amperes and volts within a piece.
fn values(piece: &Piece, at_ns: u64) -> (f64, f64) {
    let share = (at_ns - piece.from_ns) as f64 / (piece.to_ns - piece.from_ns) as f64;
    let line = |start: i64, end: i64| (start as f64 + (end - start) as f64 * share) / 1e9;
    (
        line(piece.start_na, piece.end_na),
        line(piece.start_nv, piece.end_nv),
    )
}
