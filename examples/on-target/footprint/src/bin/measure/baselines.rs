//! The same work done otherwise: a register at a time, and in floating point.

use core::hint::black_box;

use crake::crc::Pec;
use embedded_hal::i2c::I2c;
use footprint::{ADDRESS, Answers, Handle, RAILS};
use semihosting::println;

use crate::meter::alone;
use crate::{Room, sample_on_the_bus};

/// Bytes of what a sample gives, read the other way: a register at a time, each with its check
/// byte; not coherent.
const REGISTERS: [(u8, usize); 5] = [(0x60, 3), (0x64, 2), (0x68, 5), (0x6C, 6), (0x70, 8)];

pub fn baselines() {
    let other = Answers::new([0; 3]);
    let one_by_one = alone(&mut || {
        black_box(register_by_register(&other));
    });
    let bus_alone = alone(&mut || registers_on_the_bus(&other));
    println!(
        "instructions.one_register_at_a_time = {}",
        one_by_one - bus_alone
    );
    let other = Answers::new([0; 3]);
    registers_on_the_bus(&other);
    println!(
        "bus.one_register_at_a_time_transfers = {}",
        other.transfers()
    );
    println!(
        "bus.one_register_at_a_time_data_permille = {}",
        100 * 8 * 1000 / other.bits()
    );
    let (other, mut room) = (Answers::new([0; 3]), Room([0; 115]));
    sample_on_the_bus(&other, &mut room);
    println!("bus.sample_transfers = {}", other.transfers());
    // 109 bytes go to the decoder; the block's check value and the check byte do not.
    println!(
        "bus.sample_data_permille = {}",
        109 * 8 * 1000 / other.bits()
    );
    println!(
        "instructions.readings_in_f32 = {}",
        alone(&mut || {
            black_box(readings_in_f32(black_box(&[[30_000, 13_200, 0]; RAILS])));
        })
    );
}

#[inline(never)]
fn register_by_register(bus: &Answers) -> [[i64; 5]; RAILS] {
    let mut values = [[0; 5]; RAILS];
    for (channel, values) in (0..).zip(&mut values) {
        for ((first, len), value) in REGISTERS.iter().zip(values) {
            *value = register(bus, first + channel, *len).unwrap_or_default();
        }
    }
    black_box(register(bus, 0x74, 4));
    values
}

fn register(bus: &Answers, pointer: u8, len: usize) -> Option<i64> {
    let mut room = [0; 9];
    let room = room.get_mut(..=len)?;
    let _ = Handle(bus).write_read(ADDRESS, &[pointer], room);
    let (check, data) = room.split_last()?;
    let mut pec = Pec::new();
    pec.add_all(&[0, ADDRESS << 1, pointer, ADDRESS << 1 | 1]);
    pec.add_all(data);
    let value = data
        .iter()
        .fold(0_i64, |value, byte| value << 8 | i64::from(*byte));
    let spare = 64 - 8 * len as u32;
    (pec.value() == *check).then_some(value << spare >> spare)
}

#[inline(never)]
fn registers_on_the_bus(bus: &Answers) {
    for channel in 0..RAILS as u8 {
        for (first, len) in REGISTERS {
            if let Some(room) = [0; 9].get_mut(..=len) {
                let _ = Handle(bus).write_read(ADDRESS, &[first + channel], black_box(room));
            }
        }
    }
    let _ = Handle(bus).write_read(ADDRESS, &[0x74], black_box(&mut [0; 5]));
}

/// What a driver in floating point would do with the same codes.
#[inline(never)]
fn readings_in_f32(codes: &[[i32; 3]; RAILS]) -> [[f32; 3]; RAILS] {
    codes.map(|[sense, rail, offset]| {
        let current = (sense - offset) as f32 * black_box(5.0e-5_f32);
        let voltage = rail as f32 * black_box(2.5e-4_f32);
        [voltage, current, voltage * current]
    })
}
