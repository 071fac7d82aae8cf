//! The kit on the maps of this project, and on wrong ones.

use crake_sim::conformance::{Corncrake, Moorhen, check, mutant};

#[test]
fn corncrake_conforms() {
    check(&Corncrake).assert();
}

#[test]
fn moorhen_conforms() {
    check(&Moorhen).assert();
}

/// Every mutant is found, and by the check that is about its mistake.
#[test]
fn every_mutant_is_found_by_the_check_that_is_about_it() {
    let mut wrong = Vec::new();
    for tamper in mutant::CORNCRAKE {
        let (name, wanted) = tamper.name();
        match mutant::caught(&Corncrake, *tamper) {
            Some(found) if found.name == wanted => {
                println!("{name}: {wanted}: {:?}", found.outcome);
            }
            Some(found) => wrong.push(format!(
                "{name}: {wanted} expected, found by {}: {:?}",
                found.name, found.outcome
            )),
            None => wrong.push(format!("{name}: survived; {wanted} expected")),
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
