//! The worked examples of section B8, byte by byte.

use crake_sim::part::pmbus::{Coefficients, Description, Format};

use crate::pmbus::{
    common::sheet::{play, value},
    desk::Desk,
    document::table,
};

/// Plays transfers of the document, in some of which the last byte to the device is marked as
/// refused.
fn play_all(desk: &Desk, transfers: &str) {
    for transfer in transfers.split_inclusive('P') {
        let transfer = match transfer.trim().strip_prefix('~') {
            Some(transfer) => {
                desk.sample();
                transfer
            }
            None => transfer,
        };
        let acknowledged = play(&desk.wire, &transfer.replace('!', ""));
        assert_eq!(acknowledged, !transfer.contains('!'), "{transfer}");
    }
}

/// A device in the state that the column "before" describes.
fn prepared(before: &str) -> Desk {
    let desk = Desk::ideal();
    let parts = || before.split("; ").filter_map(|part| part.split_once(' '));
    let number = |unit: &str| {
        parts()
            .find(|(_, name)| *name == unit)
            .map(|(number, _)| number)
    };
    let page: u8 = parts()
        .find(|(name, _)| *name == "page")
        .map_or(0, |(_, page)| page.parse().expect("a page"));
    if let (Some(volts), Some(amperes)) = (number("V"), number("A")) {
        desk.rail(
            page.into(),
            volts.parse().expect("volts"),
            amperes.parse().expect("amperes"),
        );
    }
    desk.select(page);
    desk.settle(2);
    if let (Some(counts), Some(samples)) = (number("counts"), number("samples")) {
        let (counts, samples) = (
            counts.parse().expect("counts"),
            samples.parse().expect("samples"),
        );
        assert!(
            desk.part
                .with(|model| model.preload(page.into(), counts, samples))
        );
    }
    desk
}

#[test]
fn every_worked_example_is_what_the_device_does() {
    let rows = table("| # | what | before | bytes | values |");
    assert!(rows.len() > 40);
    for row in rows {
        println!("{}: {}", row[0], row[1]);
        play_all(&prepared(row[2]), row[3]);
    }
}

// What an example says beside its bytes is what the description says: m, b and R of the page's
// formats.
#[test]
fn coefficients_of_the_examples_are_those_of_the_description() {
    let rows = table("| # | what | before | bytes | values |");
    let rows = rows.iter().filter(|row| row[1].starts_with("COEFFICIENTS"));
    let page = &Description::gallinule().pages[2];
    for row in rows.clone() {
        let [m, b, r] = ["m", "b", "R"].map(|name| value(row[4], name).expect("a value"));
        let (m, b, r) = (m as i16, b as i16, r as i8);
        let format = match row[1] {
            "COEFFICIENTS of READ_IOUT" => page.current.format,
            _ => page.voltage.format,
        };
        assert_eq!(format, Format::Direct(Coefficients { m, b, r }));
    }
    assert_eq!(rows.count(), 2);
}
