//! What mistake would have led to what was read.

use alloc::{format, string::String, vec::Vec};

use crake::Channel;
use crake::info::RangeInfo;

/// A guess, if there is a good one, with a colon before it.
pub(super) fn of(
    read: i64,
    expected: i64,
    table: &[RangeInfo],
    place: usize,
    others: impl IntoIterator<Item = (Channel, i64)>,
) -> String {
    let near = |value: i64| (read - value).abs() <= 1;
    let range = &table[place];
    if let Some((channel, _)) = others.into_iter().find(|(_, other)| near(*other)) {
        return format!(": that is what was applied to {channel}");
    }
    if let Some(hint) = of_bytes(read, expected) {
        return hint.into();
    }
    if read == 0 {
        return ": nothing was read, or the channel is not converted".into();
    }
    let signed = range.code_min < 0;
    if signed && near(-expected) {
        return ": the sign is turned round".into();
    }
    let bits = 32 - range.code_max.leading_zeros() + u32::from(signed);
    // Fields are whole bytes, so a few bits more than the code's own.
    for bits in bits - 1..=bits + 14 {
        if (read - expected).unsigned_abs().abs_diff(1 << bits) <= 1 {
            return match expected < 0 && signed {
                true => format!(": the sign bit was lost ({bits} bits taken as unsigned)"),
                false => format!(": the highest of {bits} bits was taken for a sign, or was lost"),
            };
        }
    }
    // A voltage is one code in this range and another in the next: by exactly their LSBs.
    let lsb = i64::from(range.lsb_units);
    for (number, other) in table
        .iter()
        .enumerate()
        .filter(|(number, _)| *number != place)
    {
        if (read * i64::from(other.lsb_units) - expected * lsb).abs() <= lsb.max(2) {
            return format!(
                ": that is its code in range {number}, so the part converts in another range than \
                 asked for"
            );
        }
    }
    for bits in 1..=12 {
        if near(expected << bits) || near(expected >> bits) {
            return format!(": shifted by {bits} bits: is the result justified otherwise?");
        }
    }
    let end = |code: i32| near(code.into());
    if end(range.code_min) || end(range.code_max) {
        return ": the end of the range, so the part is in a narrower one".into();
    }
    String::new()
}

/// The same of a register that is known, where its bytes or their number tell.
pub(super) fn of_bytes(read: i64, expected: i64) -> Option<&'static str> {
    if is_reordered(read, expected) {
        return Some(": the bytes are in the wrong order");
    }
    for bits in [8, 16, 24].into_iter().filter(|_| expected.abs() > 0xFF) {
        let (above, mask) = (expected >> bits, (1 << bits) - 1);
        if ![0, -1].contains(&above) && (read == above || read == expected & mask) {
            return Some(": the register has more bytes than are read");
        }
        // Past its end come ones, or the next register; a word has room for no more. What has its
        // highest bit set may have got a sign instead.
        let is_end = |code: i64| {
            let longer = code << bits | mask;
            read >> bits == code && read & mask != 0
                || read >> bits != 0 && read & mask == code && code <= mask >> 1
                || longer as u16 == read as u16
        };
        if read != expected && (expected - 1..=expected + 1).any(is_end) {
            return Some(": the register has fewer bytes than are read");
        }
    }
    None
}

/// Whether a field of so many bytes with two of them exchanged, or all in reverse order, gives what
/// was read; within one code, for the byte that now stands higher carries the LSB's doubt.
fn is_reordered(read: i64, expected: i64) -> bool {
    (2..=5).any(|len| {
        (expected - 1..=expected + 1).any(|expected| {
            let all = expected.to_be_bytes();
            let field = &all[8 - len..];
            let mut orders: Vec<Vec<u8>> = (1..len).map(|_| field.to_vec()).collect();
            (1..len)
                .zip(&mut orders)
                .for_each(|(place, order)| order.swap(place - 1, place));
            orders.push(field.iter().rev().copied().collect());
            orders.iter().any(|order| {
                let value = order
                    .iter()
                    .fold(0, |value, byte| value << 8 | i64::from(*byte));
                let spare = 64 - 8 * len;
                let signed = value << spare >> spare;
                order != field && (read == value || read == signed)
            })
        })
    })
}

/// A voltage for people: exact, in the unit that fits, with a sign where there can be two.
pub(super) fn volts(nanovolts: i64, signed: bool) -> String {
    let magnitude = nanovolts.unsigned_abs();
    let (unit, size, digits) = match magnitude {
        1_000_000_000.. => ("V", 1_000_000_000, 9),
        1_000_000.. => ("mV", 1_000_000, 6),
        _ => ("µV", 1_000, 3),
    };
    let sign = match nanovolts {
        i64::MIN..=-1 => "−",
        1.. if signed => "+",
        _ => "",
    };
    let decimals = format!("{:0digits$}", magnitude % size);
    let shown = decimals.trim_end_matches('0').len().max(3);
    format!("{sign}{}.{} {unit}", magnitude / size, &decimals[..shown])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sense of 18 bits, LSBs of 5 and 2 units.
    const RANGES: [RangeInfo; 2] = [range(5), range(2)];

    const fn range(lsb_units: u8) -> RangeInfo {
        RangeInfo {
            lsb_units,
            full_scale_uv: 0,
            code_min: -131_072,
            code_max: 131_071,
        }
    }

    #[test]
    fn each_mistake_is_told_by_its_name() {
        let told = |read, expected| of(read, expected, &RANGES, 0, [(Channel::C3, 777)]);
        // 20 000 is 0x004E20, and 0x204E00 is 2 117 120.
        assert!(told(2_117_120, 20_000).contains("wrong order"));
        // 0x012345 with its two lowest bytes exchanged, and its two highest.
        assert!(told(0x01_4523, 0x01_2345).contains("wrong order"));
        assert!(told(0x23_0145, 0x01_2345).contains("wrong order"));
        // −20 000 is 262 144 − 20 000 without its sign, or 2^24 − 20 000 in three bytes.
        assert!(told(242_144, -20_000).contains("18 bits taken as unsigned"));
        assert!(told(16_757_216, -20_000).contains("24 bits taken as unsigned"));
        assert!(told(-20_000, 20_000).contains("turned round"));
        assert!(told(777, 20_000).contains("channel 3"));
        assert!(told(50_000, 20_000).contains("range 1"));
        assert!(told(160_000, 20_000).contains("3 bits"));
        // Of 16 bits, the highest taken for a sign.
        assert_eq!(of_bytes(-32_768, 32_768), None);
        // 0x4E20, read as 0x4E, 0x20, 0x4E20FF, and low byte first 0xFF4E20.
        assert!(told(0x4E, 20_000).contains("more bytes than are read"));
        assert!(told(0x20, 20_000).contains("more bytes than are read"));
        assert!(told(0x4E_20FF, 20_000).contains("fewer bytes than are read"));
        assert!(told(0xFF_4E20, 20_000).contains("fewer bytes than are read"));
        assert!(told(0, 20_000).contains("nothing"));
        assert_eq!(told(31_415, 20_001), "");
    }

    #[test]
    fn voltages_read_well() {
        assert_eq!(volts(10_000_000, true), "+10.000 mV");
        assert_eq!(volts(-1_500, true), "−1.500 µV");
        assert_eq!(volts(3_300_250_000, false), "3.30025 V");
        assert_eq!(volts(0, true), "0.000 µV");
    }
}
