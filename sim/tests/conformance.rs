//! The kit on the maps of this project, and on wrong ones.

use crake_sim::conformance::mutant::{CORNCRAKE, GALLINULE, MOORHEN, Tamper, caught};
use crake_sim::conformance::{Corncrake, Gallinule, Moorhen, Outcome, Subject, check};

#[test]
fn corncrake_conforms_and_has_something_to_check_everywhere() {
    let report = check(&Corncrake);
    report.assert();
    assert_eq!(report.applied(), report.results.len());
}

#[test]
fn moorhen_conforms() {
    check(&Moorhen).assert();
}

#[test]
fn gallinule_conforms() {
    check(&Gallinule).assert();
}

/// What is left out is left out for a reason, and not because nothing was tried.
#[test]
fn no_check_passes_without_having_tried_anything() {
    for report in [check(&Corncrake), check(&Moorhen), check(&Gallinule)] {
        for result in &report.results {
            let tried = result.tried.0 > 0;
            let applies = result.outcome == Outcome::Passed;
            assert!(tried || !applies, "{}: {}", report.part, result.name);
        }
    }
}

#[test]
fn wrong_maps_of_corncrake_are_found_by_the_check_that_is_about_each() {
    every_one_is_found(&Corncrake, CORNCRAKE);
}

#[test]
fn wrong_maps_of_moorhen_are_found_by_the_check_that_is_about_each() {
    every_one_is_found(&Moorhen, MOORHEN);
}

#[test]
fn wrong_maps_of_gallinule_are_found_by_the_check_that_is_about_each() {
    every_one_is_found(&Gallinule, GALLINULE);
}

fn every_one_is_found<S: Subject<N>, const N: usize>(subject: &S, mutants: &[&'static dyn Tamper]) {
    let mut missed = Vec::new();
    for tamper in mutants {
        let (name, wanted) = tamper.name();
        match caught(subject, *tamper) {
            Some(found) if found.name == wanted => {}
            Some(found) => missed.push(format!(
                "{name}: {wanted} expected, found by {}: {:?}",
                found.name, found.outcome
            )),
            None => missed.push(format!("{name}: survived; {wanted} expected")),
        }
    }
    assert!(missed.is_empty(), "{}", missed.join("\n"));
}
