//! From a wrong code to the mistake that would make it.

use alloc::{format, string::String, vec::Vec};

use crake::old::Channel;

/// Bits of a code.
#[derive(Clone, Copy, Debug)]
pub(super) struct Width {
    bits: u32,
    signed: bool,
}

impl Width {
    /// Of signed codes up to this.
    pub(super) const fn signed(code_max: u32) -> Self {
        Self {
            bits: 33 - code_max.leading_zeros(),
            signed: true,
        }
    }

    /// Of unsigned codes up to this.
    pub(super) const fn unsigned(code_max: u32) -> Self {
        Self {
            bits: 32 - code_max.leading_zeros(),
            signed: false,
        }
    }
}

/// What may have made `read` of `expected`, as a tail for a finding: `": sign bit lost?"`; empty where nothing fits.
pub(super) fn suspicion(
    read: i64,
    expected: i64,
    width: Width,
    tolerance: i64,
    others: impl IntoIterator<Item = (Channel, i64)>,
) -> String {
    let near = |value: i64| (read - value).abs() <= tolerance;
    if let Some(guess) = swapped(read, expected, tolerance) {
        return format!(": {guess}");
    }
    for (channel, other) in others {
        if near(other) {
            return format!(": that is what was applied to {channel}");
        }
    }
    if read == 0 {
        return ": nothing was read, or the channel is not converted".into();
    }
    if near(-expected) {
        return ": the sign is turned round".into();
    }
    let power = (read - expected).unsigned_abs();
    // A few bits more than the code's own: fields are whole bytes.
    for bits in width.bits.saturating_sub(1)..=width.bits + 14 {
        if power.abs_diff(1 << bits) <= tolerance.unsigned_abs() {
            return if expected < 0 && width.signed {
                format!(": the sign bit was lost ({bits} bits taken as unsigned)")
            } else {
                format!(": the highest of {bits} bits was taken for a sign, or was lost")
            };
        }
    }
    for (factor, divisor) in RATIOS {
        if near(expected * factor / divisor) {
            return format!(
                ": {factor}/{divisor} of it, so another LSB, or another range than asked for"
            );
        }
    }
    String::new()
}

/// Ratios of LSBs that ranges have, and shifts by a bit.
const RATIOS: [(i64, i64); 14] = [
    (1, 2),
    (2, 1),
    (2, 5),
    (5, 2),
    (1, 4),
    (4, 1),
    (1, 10),
    (10, 1),
    (4, 5),
    (5, 4),
    (1, 16),
    (16, 1),
    (1, 256),
    (256, 1),
];

/// Whether a field of so many bytes with two of them exchanged, or all in reverse order, gives what was read.
fn swapped(read: i64, expected: i64, tolerance: i64) -> Option<&'static str> {
    for len in 2..=5_usize {
        // Within the tolerance, for the byte that now stands higher carries the LSB's doubt.
        for expected in expected - tolerance..=expected + tolerance {
            let all = expected.to_be_bytes();
            let field = &all[8 - len..];
            let reversed: Vec<u8> = field.iter().rev().copied().collect();
            let pairs = (1..len).map(|place| {
                let mut field = field.to_vec();
                field.swap(place - 1, place);
                field
            });
            let is_it = |bytes: Vec<u8>| {
                let value = bytes
                    .iter()
                    .fold(0, |value, byte| value << 8 | i64::from(*byte));
                let spare = 64 - 8 * len;
                let signed = value << spare >> spare;
                bytes != field && (read == value || read == signed)
            };
            if pairs.chain([reversed]).any(is_it) {
                return Some("the bytes are in the wrong order");
            }
        }
    }
    None
}

/// A voltage for people: exact, in the unit that fits, three decimals at the least, with a sign where there can be two.
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
    let mut decimals = format!("{:0digits$}", magnitude % size);
    while decimals.len() > 3 && decimals.ends_with('0') {
        decimals.pop();
    }
    format!("{sign}{}.{decimals} {unit}", magnitude / size)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_mistake_is_told_by_its_name() {
        let sense = Width::signed(131_071);
        let told = |read, expected| suspicion(read, expected, sense, 1, [(Channel::C3, 777)]);
        // 20 000 is 0x004E20, and 0x204E00 is 2 117 120.
        assert!(told(2_117_120, 20_000).contains("wrong order"));
        // 0x012345 with its two lowest bytes exchanged, and its two highest.
        assert!(told(0x01_4523, 0x01_2345).contains("wrong order"));
        assert!(told(0x23_0145, 0x01_2345).contains("wrong order"));
        // Eighteen bits: −20 000 is 262 144 − 20 000 without its sign, or 2^24 − 20 000 in three bytes.
        assert!(told(242_144, -20_000).contains("18 bits taken as unsigned"));
        assert!(told(16_757_216, -20_000).contains("24 bits taken as unsigned"));
        assert!(told(-20_000, 20_000).contains("turned round"));
        assert!(told(777, 20_000).contains("channel 3"));
        assert!(told(50_000, 20_000).contains("5/2"));
        assert!(told(0, 20_000).contains("nothing"));
        assert_eq!(told(31_415, 20_000), "");
        let bus = Width::unsigned(65_535);
        assert!(suspicion(-25_536, 40_000, bus, 1, []).contains("taken for a sign"));
    }

    #[test]
    fn voltages_read_well() {
        assert_eq!(volts(10_000_000, true), "+10.000 mV");
        assert_eq!(volts(-1_500, true), "−1.500 µV");
        assert_eq!(volts(3_300_250_000, false), "3.30025 V");
        assert_eq!(volts(0, true), "0.000 µV");
    }
}
