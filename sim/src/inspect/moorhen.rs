//! Moorhen's registers as data (section 3 of its datasheet).

use crake::Channel;

use super::description::{
    Access::{self, Both, Read, Write},
    Counts, Description, Field, Form, Order, Register, flag, named, number,
};

/// All registers of Moorhen.
pub const MOORHEN: Description = Description {
    name: "Moorhen",
    addresses: &[0x17, 0x31],
    checked: false,
    channels: 2,
    sense_lsb_nv: &[36_000, 9_000],
    rail_lsb_nv: &[7_000_000, 1_750_000],
    selector: None,
    registers: REGISTERS,
};

const fn register(
    name: &'static str,
    pointer: u8,
    access: Access,
    fields: &'static [Field],
) -> Register {
    Register::new(name, pointer, 2, access, fields).ordered(Order::LowFirst)
}

const fn sense(channel: u8) -> Field {
    Field::new("code", 0, 16, Form::Signed).counting(Counts::Sense(Channel::new(channel)))
}

const fn rail(channel: u8) -> Field {
    Field::new("code", 0, 16, Form::Unsigned).counting(Counts::Rail(Channel::new(channel)))
}

const fn sense_range(name: &'static str, channel: u8) -> Field {
    let names = &[(0, "73.728 mV"), (1, "18.432 mV")];
    let range = named(name, SENSE + channel as u16, 1, names);
    range.counting(Counts::SenseRange(Channel::new(channel)))
}

const fn rail_range(name: &'static str, channel: u8) -> Field {
    let names = &[(0, "28.672 V"), (1, "7.168 V")];
    let range = named(name, RAIL + channel as u16, 1, names);
    range.counting(Counts::RailRange(Channel::new(channel)))
}

/// The input bits of channel 0 (3.1); those of channel 1 follow.
const SENSE: u16 = 4;
const RAIL: u16 = 12;

const FLAGS: &[Field] = &[
    flag("sense_0", SENSE),
    flag("rail_0", RAIL),
    flag("sense_1", SENSE + 1),
    flag("rail_1", RAIL + 1),
];

const REGISTERS: &[Register] = &[
    register(
        "IDENTITY",
        0x0B,
        Read,
        &[Field::new("fixed", 0, 16, Form::Pattern)],
    ),
    register(
        "CONFIGURATION",
        0x1C,
        Both,
        &[
            flag("channel_0", 8),
            flag("channel_1", 9),
            sense_range("sense_range_0", 0),
            rail_range("rail_range_0", 0),
            sense_range("sense_range_1", 1),
            rail_range("rail_range_1", 1),
        ],
    ),
    register("TRIGGER", 0x1F, Write, &[number("trigger", 0, 16)]),
    register(
        "STATUS",
        0x24,
        Both,
        &[
            flag("busy", 15),
            flag("done", 1),
            flag("sense_over_range_0", SENSE),
            flag("rail_over_range_0", RAIL),
            flag("sense_over_range_1", SENSE + 1),
            flag("rail_over_range_1", RAIL + 1),
        ],
    ),
    register("SENSE_0", 0x42, Read, &[sense(0)]),
    register("SENSE_1", 0x43, Read, &[sense(1)]),
    register("RAIL_0", 0x4A, Read, &[rail(0)]),
    register("RAIL_1", 0x4B, Read, &[rail(1)]),
    register("ALERT_FLAGS", 0x71, Both, FLAGS),
    register("MASK", 0x72, Both, FLAGS),
    register("SENSE_LIMIT_0", 0x88, Both, &[sense(0)]),
    register("SENSE_LIMIT_1", 0x89, Both, &[sense(1)]),
    register("RAIL_LIMIT_0", 0x8E, Both, &[rail(0)]),
    register("RAIL_LIMIT_1", 0x8F, Both, &[rail(1)]),
    register("RESTART", 0xD6, Write, &[number("restart", 0, 16)]),
];
