//! Moorhen's registers as data (section 3 of its datasheet).

use super::{ADDRESSES, SPEC, pointer};
use crate::old::Channel;
use crate::old::part::description::{
    Access::{self, Both, Read, Write},
    Counts, Description, Field, Form, Order, Register,
};

/// All registers of Moorhen, for bringing a board up.
pub const DESCRIPTION: Description = Description {
    spec: &SPEC,
    addresses: &ADDRESSES,
    checked: false,
    selector: None,
    registers: REGISTERS,
};

const fn register(
    name: &'static str,
    pointer: u8,
    access: Access,
    fields: &'static [Field],
) -> Register {
    Register {
        name,
        pointer,
        len: 2,
        order: Order::LowFirst,
        access,
        block: false,
        pages: &[],
        fields,
    }
}

/// One that each channel has.
const fn of(pointer: u8, channel: u8) -> u8 {
    pointer.wrapping_add(pointer::STRIDE.wrapping_mul(channel))
}

const fn number(name: &'static str, low: u16, bits: u8) -> Field {
    Field::new(name, low, bits, Form::Unsigned)
}

const fn flag(name: &'static str, low: u16) -> Field {
    Field::new(name, low, 1, Form::Flag)
}

const fn sense(channel: u8) -> Field {
    Field::new("code", 3, 12, Form::Signed).counting(Counts::Sense(Channel::new(channel)))
}

const fn bus(channel: u8) -> Field {
    Field::new("code", 3, 12, Form::Unsigned).counting(Counts::Bus(Channel::new(channel)))
}

/// The input bit of a channel's sense (section 3.1); that of its bus comes next.
const fn input(channel: u16) -> u16 {
    channel.wrapping_mul(2).wrapping_add(6)
}

const fn sense_range(name: &'static str, channel: u8) -> Field {
    let form = Form::Named(&[(0, "73.728 mV"), (1, "18.432 mV")]);
    Field::new(name, input(channel as u16), 1, form)
        .counting(Counts::SenseRange(Channel::new(channel)))
}

const fn bus_range(name: &'static str, channel: u8) -> Field {
    let form = Form::Named(&[(0, "28.672 V"), (1, "7.168 V")]);
    Field::new(name, input(channel as u16).wrapping_add(1), 1, form)
        .counting(Counts::BusRange(Channel::new(channel)))
}

const CHANNEL: Field = number("channel", 15, 1);
const COUNT: Field = number("count", 0, 3);

/// What there is once for each channel's number, in the order of the datasheet.
macro_rules! by_channel {
    ($($c:literal)*) => {
        const INPUTS: &[Field] = &[
            $( flag(concat!("sense_", $c), input($c)), flag(concat!("bus_", $c), input($c).wrapping_add(1)), )*
        ];

        const REGISTERS: &[Register] = &[
            register("IDENTITY", pointer::IDENTITY, Read, &[Field::new("fixed", 0, 16, Form::Pattern)]),
            register("MARK", pointer::MARK, Both, &[number("mark", 0, 16)]),
            register("RANGES", pointer::RANGES, Both, &[
                $( sense_range(concat!("sense_range_", $c), $c), bus_range(concat!("bus_range_", $c), $c), )*
            ]),
            register("MASK", pointer::MASK, Both, INPUTS),
            register("CAUSES", pointer::CAUSES, Both, INPUTS),
            register("TRIGGER", pointer::TRIGGER, Write, &[number("trigger", 0, 16)]),
            register("PROGRESS", pointer::PROGRESS, Read, &[
                flag("busy", 10),
                $(
                    flag(concat!("sense_clipped_", $c), input($c)),
                    flag(concat!("bus_clipped_", $c), input($c).wrapping_add(1)),
                )*
                number("count", 0, 6),
            ]),
            register("RESTART", pointer::RESTART, Write, &[number("restart", 0, 16)]),
            $(
                register(concat!("BUS_LIMIT_", $c), of(pointer::BUS_LIMIT, $c), Both, &[bus($c)]),
                register(concat!("SENSE_LIMIT_", $c), of(pointer::SENSE_LIMIT, $c), Both, &[sense($c)]),
                register(concat!("BUS_", $c), of(pointer::BUS, $c), Read, &[CHANNEL, bus($c), COUNT]),
                register(concat!("SENSE_", $c), of(pointer::SENSE, $c), Read, &[CHANNEL, sense($c), COUNT]),
            )*
        ];
    };
}

by_channel!(0 1);
