//! Corncrake's registers as data (sections 3 to 5 of its datasheet).

use super::map::{ADDRESSES, block, pointer};
use super::spec::SPEC;
use crate::old::Channel;
use crate::old::part::description::{
    Access::{self, Both, Read, Write},
    Counts, Description, Field, Form, Order, Register,
};

/// All registers of Corncrake, for bringing a board up.
pub const DESCRIPTION: Description = Description {
    spec: &SPEC,
    addresses: &ADDRESSES,
    checked: true,
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
    Register {
        name,
        pointer,
        len,
        order: Order::HighFirst,
        access,
        block: false,
        pages: &[],
        fields,
    }
}

/// A limit of a channel: its place among the channel's limits is that of its cause bit.
const fn limit(
    name: &'static str,
    channel: u8,
    place: u8,
    len: u8,
    fields: &'static [Field],
) -> Register {
    let first = pointer::LIMITS.wrapping_add(pointer::LIMITS_STRIDE.wrapping_mul(channel));
    register(name, first.wrapping_add(place), len, Both, fields)
}

const fn number(name: &'static str, low: u16, bits: u8) -> Field {
    Field::new(name, low, bits, Form::Unsigned)
}

const fn flag(name: &'static str, low: u16) -> Field {
    Field::new(name, low, 1, Form::Flag)
}

const fn named(
    name: &'static str,
    low: u16,
    bits: u8,
    names: &'static [(u64, &'static str)],
) -> Field {
    Field::new(name, low, bits, Form::Named(names))
}

const fn sense(name: &'static str, channel: u8, low: u16) -> Field {
    Field::new(name, low, 24, Form::Signed).counting(Counts::Sense(Channel::new(channel)))
}

const fn bus(name: &'static str, channel: u8, low: u16) -> Field {
    Field::new(name, low, 16, Form::Unsigned).counting(Counts::Bus(Channel::new(channel)))
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
    named(name, low, 1, SENSE_RANGES).counting(Counts::SenseRange(Channel::new(channel)))
}

const fn bus_range(name: &'static str, channel: u8, low: u16) -> Field {
    named(name, low, 2, BUS_RANGES).counting(Counts::BusRange(Channel::new(channel)))
}

/// The lowest bit of `bytes` at `offset` of the frame block, whose first byte is its most significant.
const fn at(offset: usize, bytes: usize) -> u16 {
    let end = (block::LEN as usize)
        .wrapping_sub(offset)
        .wrapping_sub(bytes);
    end.wrapping_mul(8) as u16
}

/// The same within what the frame block has of a channel.
const fn of(channel: usize, offset: usize, bytes: usize) -> u16 {
    let first = block::CHANNEL.wrapping_add(block::CHANNEL_STRIDE.wrapping_mul(channel));
    at(first.wrapping_add(offset), bytes)
}

/// The lowest of as many bits as each channel has.
const fn nth(channel: u16, bits: u16, first: u16) -> u16 {
    channel.wrapping_mul(bits).wrapping_add(first)
}

const SENSE_RANGES: &[(u64, &str)] = &[(0, "65.536 mV"), (1, "26.2144 mV")];
const BUS_RANGES: &[(u64, &str)] = &[(0, "6.5536 V"), (1, "16.384 V"), (2, "65.536 V")];
const MODES: &[(u64, &str)] = &[
    (0x00, "idle"),
    (0x10, "paced, 2000 rounds a second"),
    (0x11, "paced, 500 rounds a second"),
    (0x12, "paced, 100 rounds a second"),
    (0x13, "paced, 10 rounds a second"),
    (0x14, "paced, 1 round a second"),
    (0x20, "single-shot"),
    (0x30, "burst on channel 0"),
    (0x31, "burst on channel 1"),
    (0x32, "burst on channel 2"),
    (0x33, "burst on channel 3"),
];
const ACTIVE_MODES: &[(u64, &str)] = &[(0, "idle"), (1, "paced"), (2, "single-shot"), (3, "burst")];

const DEBOUNCE: &[Field] = &[
    number("over_voltage", 0, 4),
    number("under_voltage", 4, 4),
    number("over_current", 8, 4),
    number("under_current", 12, 4),
    number("over_power", 16, 4),
];

/// What there is once for each channel's number, in the order of the datasheet.
macro_rules! by_channel {
    ($($c:literal)*) => {
        const CAUSES: &[Field] = &[
            $(
                flag(concat!("over_voltage_", $c), nth($c, 5, 0)),
                flag(concat!("under_voltage_", $c), nth($c, 5, 1)),
                flag(concat!("over_current_", $c), nth($c, 5, 2)),
                flag(concat!("under_current_", $c), nth($c, 5, 3)),
                flag(concat!("over_power_", $c), nth($c, 5, 4)),
            )*
            flag("rollover_ahead", 20),
            flag("round_done", 21),
            flag("reset_seen", 22),
        ];

        const FRAME: &[Field] = &[
            number("tag", at(block::TAG, 1), 8),
            number("serial", at(block::SERIAL, 2), 16),
            named("mode", at(block::MODE, 1), 8, MODES),
            number("averaging", nth(1, at(block::SETUP, 1), 4), 4),
            $( flag(concat!("channel_", $c), nth(1, at(block::SETUP, 1), $c)), )*
            $(
                sense_range(concat!("sense_range_", $c), $c, nth($c, 4, nth(1, at(block::RANGES, 2), 2))),
                bus_range(concat!("bus_range_", $c), $c, nth($c, 4, at(block::RANGES, 2))),
            )*
            flag("reset_seen", nth(1, at(block::FLAGS, 2), 15)),
            flag("complete", nth(1, at(block::FLAGS, 2), 14)),
            $(
                flag(concat!("sense_over_range_", $c), nth($c, 2, at(block::FLAGS, 2))),
                flag(concat!("bus_over_range_", $c), nth($c, 2, nth(1, at(block::FLAGS, 2), 1))),
            )*
            number("rounds", at(block::ROUNDS, 4), 32),
            $(
                sense(concat!("sense_", $c), $c, of($c, 0, 3)),
                bus(concat!("bus_", $c), $c, of($c, 3, 2)),
                power(concat!("power_", $c), $c, of($c, 5, 5)),
                charge(concat!("charge_", $c), $c, of($c, 10, 6)),
                energy(concat!("energy_", $c), $c, of($c, 16, 8)),
            )*
            number("crc", at(block::CRC, 2), 16),
        ];

        const REGISTERS: &[Register] = &[
            register("IDENTITY", pointer::IDENTITY, 4, Read, &[
                Field::new("fixed", 8, 24, Form::Pattern), number("revision", 0, 8),
            ]),
            register("SERIAL", pointer::SERIAL, 2, Read, &[number("serial", 0, 16)]),
            register("STATE", pointer::STATE, 1, Read, &[
                named("mode", 0, 4, ACTIVE_MODES), flag("busy", 7), flag("latch_asked", 6),
            ]),
            register("LATCH", pointer::LATCH, 2, Write, &[number("tag", 8, 8), number("seen", 0, 8)]),
            register("RUN", pointer::RUN, 3, Both, &[
                named("mode", 16, 8, MODES), number("tag", 8, 8), number("seen", 0, 8),
            ]),
            register("CHANNELS", pointer::CHANNELS, 1, Both, &[$( flag(concat!("channel_", $c), $c), )*]),
            register("RANGES", pointer::RANGES, 2, Both, &[
                $(
                    sense_range(concat!("sense_range_", $c), $c, nth($c, 4, 2)),
                    bus_range(concat!("bus_range_", $c), $c, nth($c, 4, 0)),
                )*
            ]),
            register("AVERAGING", pointer::AVERAGING, 1, Both, &[number("averaging", 0, 8)]),
            register("GUARD", pointer::GUARD, 1, Both, &[flag("check_byte_required", 0)]),
            register("RESTART", pointer::RESTART, 1, Write, &[number("restart", 0, 8)]),
            register("BOOT", pointer::BOOT, 1, Both, &[flag("reset_seen", 0)]),
            $(
                limit(concat!("OVER_VOLTAGE_", $c), $c, 0, 2, &[bus("code", $c, 0)]),
                limit(concat!("UNDER_VOLTAGE_", $c), $c, 1, 2, &[bus("code", $c, 0)]),
                limit(concat!("OVER_CURRENT_", $c), $c, 2, 3, &[sense("code", $c, 0)]),
                limit(concat!("UNDER_CURRENT_", $c), $c, 3, 3, &[sense("code", $c, 0)]),
                limit(concat!("OVER_POWER_", $c), $c, 4, 5, &[power("code", $c, 0)]),
            )*
            $( register(concat!("DEBOUNCE_", $c), pointer::DEBOUNCE.wrapping_add($c), 3, Both, DEBOUNCE), )*
            register("HOLD", pointer::HOLD, 3, Both, CAUSES),
            register("MASK_A", pointer::MASK_A, 3, Both, CAUSES),
            register("MASK_B", pointer::MASK_B, 3, Both, CAUSES),
            register("CAUSES", pointer::CAUSES, 3, Both, CAUSES),
            register("LEVELS", 0x38, 3, Read, CAUSES),
            register("OUTPUTS", 0x39, 1, Read, &[flag("a_low", 0), flag("b_low", 1)]),
            $( register(concat!("SENSE_", $c), 0x60 | $c, 3, Read, &[sense("code", $c, 0)]), )*
            $( register(concat!("BUS_", $c), 0x64 | $c, 2, Read, &[bus("code", $c, 0)]), )*
            $( register(concat!("POWER_", $c), 0x68 | $c, 5, Read, &[power("code", $c, 0)]), )*
            $( register(concat!("CHARGE_", $c), 0x6C | $c, 6, Read, &[charge("sum", $c, 0)]), )*
            $( register(concat!("ENERGY_", $c), 0x70 | $c, 8, Read, &[energy("sum", $c, 0)]), )*
            register("ROUNDS", 0x74, 4, Read, &[number("rounds", 0, 32)]),
            register("STORE_COUNT", pointer::STORE_COUNT, 2, Read, &[number("count", 0, 16)]),
            register("STORE_INDEX", pointer::STORE_INDEX, 2, Both, &[number("index", 0, 16)]),
            register("STORE", pointer::STORE, 48, Read, STORE),
            register("FRAME", pointer::FRAME, block::LEN, Read, FRAME),
        ];
    };
}

by_channel!(0 1 2 3);

/// One entry for each code that STORE shows; whose channel it is, and by which range, is the burst's affair.
macro_rules! store {
    ($($n:literal)*) => {
        const STORE: &[Field] = &[
            $( Field::new(concat!("code_", $n), 360_u16.wrapping_sub(nth($n, 24, 0)), 24, Form::Signed), )*
        ];
    };
}

store!(0 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15);
