//! What an earlier form of the file called otherwise: such a file is refused, and told the new
//! name.

/// Old key, new key, how the value is given now.
const KEYS: &[(&str, &str, &str)] = &[
    ("pace", "scan_rate", "scans a second, the same number"),
    (
        "sense_range",
        "sense_full_scale_v",
        "the greatest voltage to be measured across the resistor, such as 0.065",
    ),
    (
        "bus_range",
        "rail_full_scale_v",
        "the greatest rail voltage to be measured, such as 16",
    ),
    (
        "edges_per_second",
        "steps_per_hour",
        "the greatest number in any hour, at most 3600 times as many",
    ),
];

/// Old word, new word.
const WORDS: &[(&str, &str)] = &[("drawn", "individual"), ("held", "latching")];

/// The old name of a key that is there in its place, and the new name with how it is given.
pub(super) fn key_before(
    key: &str,
    is_there: impl Fn(&str) -> bool,
) -> Option<(&'static str, (&'static str, &'static str))> {
    let mut keys = KEYS.iter();
    let found = keys.find(|(old, new, _)| *new == key && is_there(old));
    found.map(|(old, new, how)| (*old, (*new, *how)))
}

/// The new name of a key and how it is given, in a table that takes it.
pub(super) fn key_now(
    key: &str,
    takes: impl Fn(&str) -> bool,
) -> Option<(&'static str, &'static str)> {
    let mut keys = KEYS.iter();
    let found = keys.find(|(old, new, _)| *old == key && takes(new));
    found.map(|(_, new, how)| (*new, *how))
}

/// The new form of a word.
pub(super) fn word_now(word: &str) -> Option<&'static str> {
    let found = WORDS.iter().find(|(old, _)| *old == word);
    found.map(|(_, new)| *new)
}
