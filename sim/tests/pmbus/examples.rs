//! The worked examples of section B8, byte by byte.

use crate::{desk::Desk, document::table};

/// Plays transfers of the document: bytes from the device must be those of the document, and every byte to it
/// acknowledged, but for those marked.
fn play(desk: &Desk, transfers: &str) {
    let tokens: Vec<&str> = transfers.split_whitespace().collect();
    let (mut reading, mut address_follows) = (false, false);
    for (i, token) in tokens.iter().enumerate() {
        match *token {
            "S" | "Sr" => {
                desk.wire.start();
                address_follows = true;
            }
            "P" => desk.wire.stop(),
            "~" => desk.sample(),
            hex => {
                let byte = u8::from_str_radix(hex.trim_end_matches('!'), 16).expect("a byte");
                if reading && !address_follows {
                    let more = tokens[i + 1] != "P";
                    assert_eq!(desk.wire.receive(more), byte, "token {i} of {transfers}");
                } else {
                    assert_eq!(
                        desk.wire.send(byte),
                        !hex.ends_with('!'),
                        "token {i} of {transfers}"
                    );
                    reading = address_follows && byte & 1 == 1;
                }
                address_follows = false;
            }
        }
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
        play(&prepared(row[2]), row[3]);
    }
}
