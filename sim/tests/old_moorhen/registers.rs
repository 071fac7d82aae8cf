//! The register table of section 3, walked from end to end.

use crate::old_moorhen::{
    datasheet::{Input, registers, table},
    desk::Desk,
};

#[test]
fn reset_values_are_those_of_the_table() {
    let desk = Desk::ideal();
    let rows = registers();
    assert_eq!(rows.len(), 16);
    for row in &rows {
        assert_eq!(row.readable, row.reset.is_some());
        assert_eq!(
            desk.read(row.pointer),
            row.reset.unwrap_or(0),
            "{}",
            row.name
        );
    }
}

#[test]
fn every_other_pointer_reads_zero_and_takes_nothing() {
    let desk = Desk::ideal();
    let rows = registers();
    for pointer in 0..=0xFF {
        if !rows.iter().any(|row| row.pointer == pointer) {
            desk.write(pointer, 0xFFFF);
            assert_eq!(desk.read(pointer), 0, "{pointer:#04x}");
        }
    }
    for row in &rows {
        assert_eq!(
            desk.read(row.pointer),
            row.reset.unwrap_or(0),
            "{}",
            row.name
        );
    }
}

/// Bits that a register keeps when they are written, from sections 3.1, 3.2 and 3.5.
fn kept(name: &str) -> u16 {
    match name {
        "MARK" => 0xFFFF,
        "RANGES" | "MASK" => 0b0000_0011_1100_0000,
        // Bits 14 to 3.
        _ if name.contains("LIMIT") => 0b0111_1111_1111_1000,
        _ => panic!("{name} is no word that is kept"),
    }
}

#[test]
fn each_register_keeps_its_own_bits_and_touches_no_other() {
    let words: [u16; 7] = [0xFFFF, 0x0000, 0xA5C3, 0x5A3C, 0x4000, 0x8007, 0x3FF8];
    let writable =
        |name: &str| ["MARK", "RANGES", "MASK"].contains(&name) || name.contains("LIMIT");
    for row in registers() {
        for word in words {
            let desk = Desk::ideal();
            desk.write(row.pointer, word);
            for other in registers() {
                let mut expected = other.reset.unwrap_or(0);
                if other.pointer == row.pointer && writable(row.name) {
                    expected = word & kept(row.name);
                }
                assert_eq!(
                    desk.read(other.pointer),
                    expected,
                    "{word:#06x} to {}, {}",
                    row.name,
                    other.name
                );
            }
        }
        let is_command = ["TRIGGER", "RESTART", "CAUSES"].contains(&row.name);
        assert_eq!(
            row.writable,
            writable(row.name) || is_command,
            "{}",
            row.name
        );
    }
}

#[test]
fn the_document_gives_each_input_its_bit_in_the_order_of_conversion() {
    let order: Vec<_> = Input::all()
        .iter()
        .map(|input| (input.channel, input.is_sense))
        .collect();
    let converted: Vec<_> = table("| conversion | begins |")
        .iter()
        .map(|row| {
            (
                usize::from(row[0].ends_with('1')),
                row[0].starts_with("sense"),
            )
        })
        .collect();
    assert_eq!(order, converted);
}

#[test]
fn only_the_named_word_triggers_and_only_the_named_word_restarts() {
    let desk = Desk::ideal();
    desk.set("MARK", 0x7777);
    for word in (0..=0xFFFF_u16)
        .step_by(0x3D)
        .chain([0x0101, 0x8001, 0x5AC3, 0xC35B])
    {
        if word != 1 {
            desk.set("TRIGGER", word);
        }
        if word != 0xC35A {
            desk.set("RESTART", word);
        }
    }
    assert_eq!((desk.named("PROGRESS"), desk.named("MARK")), (0, 0x7777));
    assert_eq!(desk.part.next_event_ns(), None);
}
