//! Corncrake's registers as data (sections 3 to 5 of its datasheet).

use crake::Channel;

use super::description::{
    Access::{self, Both, Read, ReadVaries, Write},
    Counts, Description, Field, Form, Register, flag, named, number,
};

/// All registers of Corncrake.
pub const CORNCRAKE: Description = Description {
    name: "Corncrake",
    addresses: &[0x32, 0x33, 0x34, 0x35],
    checked: true,
    channels: 4,
    sense_lsb_nv: &[500, 200],
    rail_lsb_nv: &[100_000, 250_000, 1_000_000],
    selector: None,
    registers: REGISTERS,
};

const fn register(
    name: &'static str,
    pointer: u8,
    len: u8,
    access: Access,
    fields: &'static [Field],
) -> Register {
    Register::new(name, pointer, len, access, fields)
}

/// A limit of a channel: its place among the channel's limits is that of its flag's bit.
const fn limit(
    name: &'static str,
    channel: u8,
    place: u8,
    len: u8,
    fields: &'static [Field],
) -> Register {
    register(name, 0x10 + 8 * channel + place, len, Both, fields)
}

const fn sense(name: &'static str, channel: u8, low: u16) -> Field {
    Field::new(name, low, 24, Form::Signed).counting(Counts::Sense(Channel::new(channel)))
}

const fn rail(name: &'static str, channel: u8, low: u16) -> Field {
    Field::new(name, low, 16, Form::Unsigned).counting(Counts::Rail(Channel::new(channel)))
}

const fn power(name: &'static str, channel: u8, low: u16) -> Field {
    Field::new(name, low, 40, Form::Signed).counting(Counts::Power(Channel::new(channel)))
}

const fn charge(name: &'static str, channel: u8, low: u16) -> Field {
    Field::new(name, low, 48, Form::Signed).counting(Counts::Charge(Channel::new(channel)))
}

const fn energy(name: &'static str, channel: u8, low: u16) -> Field {
    Field::new(name, low, 64, Form::Signed).counting(Counts::Energy(Channel::new(channel)))
}

const fn sense_range(name: &'static str, channel: u8, low: u16) -> Field {
    let names = &[(0, "65.536 mV"), (1, "26.2144 mV")];
    named(name, low, 1, names).counting(Counts::SenseRange(Channel::new(channel)))
}

const fn rail_range(name: &'static str, channel: u8, low: u16) -> Field {
    let names = &[(0, "6.5536 V"), (1, "16.384 V"), (2, "65.536 V")];
    named(name, low, 2, names).counting(Counts::RailRange(Channel::new(channel)))
}

/// The lowest bit of `bytes` at `offset` of the sample block, whose first byte is its most
/// significant.
const fn at(offset: u16, bytes: u16) -> u16 {
    8 * (SAMPLE_LEN as u16 - offset - bytes)
}

const SAMPLE_LEN: u8 = 111;

const MODES: &[(u64, &str)] = &[
    (0x00, "idle"),
    (0x10, "continuous, 2000 scans a second"),
    (0x11, "continuous, 500 scans a second"),
    (0x12, "continuous, 100 scans a second"),
    (0x13, "continuous, 10 scans a second"),
    (0x14, "continuous, 1 scan a second"),
    (0x20, "single-shot"),
    (0x30, "fast capture on channel 0"),
    (0x31, "fast capture on channel 1"),
    (0x32, "fast capture on channel 2"),
    (0x33, "fast capture on channel 3"),
];

const ACTIVE_MODES: &[(u64, &str)] = &[
    (0, "idle"),
    (1, "continuous"),
    (2, "single-shot"),
    (3, "fast capture"),
];

const DEBOUNCE: &[Field] = &[
    number("over_voltage", 0, 4),
    number("under_voltage", 4, 4),
    number("over_current", 8, 4),
    number("under_current", 12, 4),
    number("over_power", 16, 4),
];

/// What there is once for each channel, in the order of the datasheet.
macro_rules! by_channel {
    ($($c:literal)*) => {
        const FLAGS: &[Field] = &[
            $(
                flag(concat!("over_voltage_", $c), 5 * $c),
                flag(concat!("under_voltage_", $c), 5 * $c + 1),
                flag(concat!("over_current_", $c), 5 * $c + 2),
                flag(concat!("under_current_", $c), 5 * $c + 3),
                flag(concat!("over_power_", $c), 5 * $c + 4),
            )*
            flag("rollover_ahead", 20),
            flag("scan_done", 21),
            flag("reset_seen", 22),
        ];

        const SAMPLE: &[Field] = &[
            number("tag", at(0, 1), 8),
            number("writes", at(1, 2), 16),
            named("mode", at(3, 1), 8, MODES),
            number("averaging", at(4, 1) + 4, 4),
            $( flag(concat!("channel_", $c), at(4, 1) + $c), )*
            $(
                sense_range(concat!("sense_range_", $c), $c, at(5, 2) + 4 * $c + 2),
                rail_range(concat!("rail_range_", $c), $c, at(5, 2) + 4 * $c),
            )*
            flag("reset_seen", at(7, 2) + 15),
            flag("complete", at(7, 2) + 14),
            $(
                flag(concat!("sense_over_range_", $c), at(7, 2) + 2 * $c),
                flag(concat!("rail_over_range_", $c), at(7, 2) + 2 * $c + 1),
            )*
            number("scans", at(9, 4), 32),
            $(
                sense(concat!("sense_", $c), $c, at(13 + 24 * $c, 3)),
                rail(concat!("rail_", $c), $c, at(16 + 24 * $c, 2)),
                power(concat!("power_", $c), $c, at(18 + 24 * $c, 5)),
                charge(concat!("charge_", $c), $c, at(23 + 24 * $c, 6)),
                energy(concat!("energy_", $c), $c, at(29 + 24 * $c, 8)),
            )*
            number("crc", at(109, 2), 16),
        ];

        const REGISTERS: &[Register] = &[
            register("IDENTITY", 0x00, 4, Read, &[
                Field::new("fixed", 8, 24, Form::Pattern), number("revision", 0, 8),
            ]),
            register("WRITES", 0x01, 2, Read, &[number("writes", 0, 16)]),
            register("STATE", 0x02, 1, Read, &[
                named("mode", 0, 4, ACTIVE_MODES), flag("busy", 7), flag("latch_asked", 6),
            ]),
            register("LATCH", 0x03, 2, Write, &[number("tag", 8, 8), number("seen", 0, 8)]),
            register("RUN", 0x04, 1, Both, &[named("mode", 0, 8, MODES)]),
            register("CHANNELS", 0x05, 1, Both, &[$( flag(concat!("channel_", $c), $c), )*]),
            register("RANGES", 0x06, 2, Both, &[
                $(
                    sense_range(concat!("sense_range_", $c), $c, 4 * $c + 2),
                    rail_range(concat!("rail_range_", $c), $c, 4 * $c),
                )*
            ]),
            register("AVERAGING", 0x07, 1, Both, &[number("averaging", 0, 8)]),
            register("GUARD", 0x08, 1, Both, &[flag("check_byte_required", 0)]),
            register("RESTART", 0x09, 1, Write, &[number("restart", 0, 8)]),
            register("RESET_SEEN", 0x0A, 1, Both, &[flag("reset_seen", 0)]),
            $(
                limit(concat!("OVER_VOLTAGE_", $c), $c, 0, 2, &[rail("code", $c, 0)]),
                limit(concat!("UNDER_VOLTAGE_", $c), $c, 1, 2, &[rail("code", $c, 0)]),
                limit(concat!("OVER_CURRENT_", $c), $c, 2, 3, &[sense("code", $c, 0)]),
                limit(concat!("UNDER_CURRENT_", $c), $c, 3, 3, &[sense("code", $c, 0)]),
                limit(concat!("OVER_POWER_", $c), $c, 4, 5, &[power("code", $c, 0)]),
            )*
            $( register(concat!("DEBOUNCE_", $c), 0x30 + $c, 3, Both, DEBOUNCE), )*
            register("LATCHING", 0x34, 3, Both, FLAGS),
            register("MASK_A", 0x35, 3, Both, FLAGS),
            register("MASK_B", 0x36, 3, Both, FLAGS),
            register("FLAGS", 0x37, 3, Both, FLAGS),
            register("CONDITIONS", 0x38, 3, Read, FLAGS),
            register("OUTPUTS", 0x39, 1, Read, &[flag("a_low", 0), flag("b_low", 1)]),
            $( register(concat!("SENSE_", $c), 0x60 + $c, 3, Read, &[sense("code", $c, 0)]), )*
            $( register(concat!("RAIL_", $c), 0x64 + $c, 2, Read, &[rail("code", $c, 0)]), )*
            $( register(concat!("POWER_", $c), 0x68 + $c, 5, Read, &[power("code", $c, 0)]), )*
            $( register(concat!("CHARGE_", $c), 0x6C + $c, 6, Read, &[charge("sum", $c, 0)]), )*
            $( register(concat!("ENERGY_", $c), 0x70 + $c, 8, Read, &[energy("sum", $c, 0)]), )*
            register("SCANS", 0x74, 4, Read, &[number("scans", 0, 32)]),
            register("CAPTURE_COUNT", 0x78, 2, Read, &[number("count", 0, 16)]),
            register("CAPTURE_FROM", 0x79, 3, Both, &[
                number("index", 8, 16), number("number", 0, 8),
            ]),
            // Its codes are the driver's affair: which channel's and in what range they are is
            // known to whoever started the capture.
            register("CAPTURE", 0x7A, 48, ReadVaries, &[]),
            register("SAMPLE", 0x80, SAMPLE_LEN, Read, SAMPLE),
        ];
    };
}

by_channel!(0 1 2 3);
