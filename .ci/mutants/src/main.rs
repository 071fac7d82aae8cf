//! Finds the places of a source tree where a mistake can be planted, and plants some of them, each
//! behind a switch that is read at run time: one build then serves every mistake.
//!
//! `mutants find LIST FILE...` prints all places as JSON: those that cargo-mutants lists in LIST,
//! and numbers. `mutants plant PLACES` reads some of them, and writes the files anew with the
//! mistakes in them.

mod find;
mod place;
mod plant;
mod theirs;

use std::error::Error;
use std::fs;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    match arguments.next().as_deref() {
        Some("find") => {
            let list = arguments.next().ok_or("find: which list?")?;
            let theirs: Vec<theirs::Theirs> = serde_json::from_str(&fs::read_to_string(list)?)?;
            let mut places = Vec::new();
            for file in arguments {
                let text = fs::read_to_string(&file)?;
                places.extend(find::places(&file, &text, &theirs)?);
            }
            println!("{}", serde_json::to_string(&places)?);
        }
        Some("plant") => {
            let list = arguments.next().ok_or("plant: which places?")?;
            let places: Vec<place::Place> = serde_json::from_str(&fs::read_to_string(list)?)?;
            plant::all(&places)?;
        }
        _ => return Err("find LIST FILE... or plant PLACES".into()),
    }
    Ok(())
}
