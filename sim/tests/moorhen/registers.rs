//! The register table of section 3, walked from end to end.

use crate::moorhen::{
    datasheet::{Input, both, command, done, registers, table},
    fixture::{Fixture, word},
};

#[test]
fn reset_values_are_those_of_the_table() {
    let fixture = Fixture::ideal();
    let rows = registers();
    assert_eq!(rows.len(), 15);
    for row in &rows {
        let (name, found) = (row.name, fixture.read(row.pointer));
        assert_eq!(row.readable, row.reset.is_some());
        assert_eq!(found, row.reset.unwrap_or(0), "{name}");
        let holds_sense_code = name.starts_with("SENSE");
        assert_eq!(row.signed, holds_sense_code, "{name}");
    }
}

#[test]
fn limits_begin_at_the_greatest_code() {
    let fixture = Fixture::ideal();
    for input in Input::all() {
        let (_, greatest) = input.ends();
        assert_eq!(fixture.read(input.limit()), word(greatest));
    }
}

#[test]
fn every_other_pointer_reads_zero_and_takes_nothing() {
    let fixture = Fixture::ideal();
    let rows = registers();
    for pointer in 0..=0xFF {
        if !rows.iter().any(|row| row.pointer == pointer) {
            for word in [0xFFFF, command("TRIGGER"), command("RESTART")] {
                fixture.write(pointer, word);
                assert_eq!(fixture.read(pointer), 0, "{pointer:#04x}");
            }
        }
    }
    for row in &rows {
        let found = fixture.read(row.pointer);
        assert_eq!(found, row.reset.unwrap_or(0), "{}", row.name);
    }
}

/// What a register reads after `written`, from sections 3.1, 3.2 and 3.5. None for one that keeps
/// no word.
fn kept(name: &str, written: u16) -> Option<u16> {
    match name {
        "CONFIGURATION" => Some(written & (both() | Input::bits())),
        "MASK" => Some(written & Input::bits()),
        _ if name.starts_with("RAIL_LIMIT") => Some(written % 4_096),
        _ if name.starts_with("SENSE_LIMIT") => {
            let code = i64::from(written) % 4_096;
            Some(word(if code >= 2_048 { code - 4_096 } else { code }))
        }
        _ => None,
    }
}

#[test]
fn each_register_keeps_its_own_bits_and_touches_no_other() {
    let words: [u16; 9] = [
        0xFFFF, 0x0000, 0xA5C3, 0x5A3C, 0x4000, 0x8007, 0x07FF, 0x0800, 0xF7FF,
    ];
    for row in registers() {
        for word in words {
            let fixture = Fixture::ideal();
            fixture.write(row.pointer, word);
            for other in registers() {
                let mut expected = other.reset.unwrap_or(0);
                if other.pointer == row.pointer {
                    expected = kept(row.name, word).unwrap_or(expected);
                }
                let found = fixture.read(other.pointer);
                let (name, other) = (row.name, other.name);
                assert_eq!(found, expected, "{word:#06x} to {name}, {other}");
            }
        }
        let clears = ["TRIGGER", "RESTART", "ALERT_FLAGS", "STATUS"].contains(&row.name);
        assert_eq!(row.writable, kept(row.name, 0).is_some() || clears);
        let idle_only = ["CONFIGURATION", "TRIGGER"].contains(&row.name);
        assert_eq!(row.idle_only, idle_only);
    }
}

#[test]
fn the_document_gives_each_input_its_bit_in_the_order_of_conversion() {
    let of = |input: &Input| (input.channel, input.is_sense);
    let order: Vec<_> = Input::all().iter().map(of).collect();
    let of = |row: &Vec<&str>| {
        let channel = usize::from(row[0].ends_with('1'));
        (channel, row[0].starts_with("sense"))
    };
    let rows = table("| conversion | begins |");
    let converted: Vec<_> = rows.iter().map(of).collect();
    assert_eq!(order, converted);
    // No bit of any register has two meanings.
    assert_eq!((Input::bits() | both()).count_ones(), 6);
    assert_eq!(Input::bits() & done(), 0);
}

#[test]
fn only_the_named_word_triggers_and_only_the_named_word_restarts() {
    let fixture = Fixture::enabled();
    let (trigger, restart) = (command("TRIGGER"), command("RESTART"));
    fixture.set("MASK", Input::bits());
    let near = [trigger, restart].into_iter().flat_map(|word| {
        let flipped = (0..16).map(move |bit| word ^ 1 << bit);
        flipped.chain([word.swap_bytes(), !word])
    });
    for word in (0..=0xFFFF_u16).step_by(0x3D).chain(near) {
        if word != trigger {
            fixture.set("TRIGGER", word);
        }
        if word != restart {
            fixture.set("RESTART", word);
        }
    }
    let found = (fixture.named("STATUS"), fixture.named("MASK"));
    assert_eq!(found, (0, Input::bits()));
    assert_eq!(fixture.part.next_event_ns(), None);
}
