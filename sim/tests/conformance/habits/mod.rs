//! Small scripted parts, one everyday habit each, and maps of them: the kit passes each map, and
//! finds each mistake that the habit invites.
//!
//! **Whinchat** (fictional) has N channels, words of 16 bits, high byte first, and no check byte;
//! its address is 0x2C. The tables say what all of its kinds have in common, [`Habit`] what is
//! particular to each.
//!
//! | pointer | name | reset | what it is |
//! |---|---|---|---|
//! | 0x00 | KIND | 0x51A7 | fixed |
//! | 0x01 | SETUP | 0 | bit c: channel c is enabled; bits 11 to 8: averaging k |
//! | 0x02 | GO | - | 1 starts a single-shot, which takes over SETUP |
//! | 0x03 | STATE | 0 | bit 0: busy; bits 2 + 2c, 3 + 2c: sense, rail of c over range |
//! | 0x08 | FLAGS | 0 | bit c: sense code of c above its limit; a one written clears |
//! | 0x09 | MASK | 0 | flags that pull the output low |
//! | 0x10 + 2c, 0x11 + 2c | SENSE c, RAIL c | 0 | results: two's complement; unsigned |
//! | 0x30 + c | LIMIT c | greatest | sense code |
//!
//! Sense LSB 3 µV, 16 bits; rail LSB 1.1 mV, 15 bits; a conversion takes 100 µs (oscillator ±2 %),
//! after 50 µs of waking up: sense, then rail, of each enabled channel in turn, 2^k times. All
//! results change together at the end. A reset takes 300 µs.

mod info;
mod map;
mod pieces;
mod script;

use std::marker::PhantomData;
use std::rc::Rc;

use crake::config::{Kind, Outputs};
use crake::part::{AddUp, Compare, NoComparator as Nothing, NoSums, Part};
use crake::part::{SoftwareComparator, SoftwareSums};
use crake::units::Resistance;
use crake_sim::conformance::{
    Fixture, OverRange, Scripted, Stated, StatedRange, Subject, check, first_failure,
};

use map::Map;
use script::Script;

/// What is particular to a kind of Whinchat.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Habit {
    /// Nothing: it has no word of the host's own and no counter; a reset shows by SETUP.
    Plain,
    /// FLAGS is cleared by reading it, and limits are of rail codes.
    ClearedByReading,
    /// Sense codes are 15 bits and a sign.
    SignAndMagnitude,
    /// Codes are 12 bits and stand in the upper ones; sense LSB 12 µV, rail LSB
    /// 4.4 mV.
    JustifiedLeft,
    /// Bit 15 of SETUP is GO, and reads as busy. A trigger sets up anew what a reset took, so that
    /// nobody finds out the reset, and that limits are gone.
    OneRegister,
    /// It converts by itself, a scan each 2 ms; results change at its end, read or not.
    FreeRunning,
    /// Bit 12 of SETUP has it convert by itself, as above; without it GO starts a single-shot.
    BothModes,
    /// Pointers of 16 bits, and what is read past a register's end goes on in the next.
    AutoIncrement,
    /// Low byte first.
    LowByteFirst,
    /// Each transfer ends with a check byte (PEC).
    CheckByte,
    /// Nothing tells of over-range but the code at the end.
    EndCode,
    /// It converts by itself, as above. Over-range stays in STATE until STATE is read, which clears
    /// it.
    OverRangeRead,
    /// Means of 2^k scans, k up to 4.
    Averages,
    /// It compares nothing.
    NoComparator,
    /// After a reset all channels are enabled.
    ResetIsWanted,
}

use Habit::*;

impl Habit {
    pub(crate) const ALL: [Self; 15] = [
        Plain,
        ClearedByReading,
        SignAndMagnitude,
        JustifiedLeft,
        OneRegister,
        FreeRunning,
        BothModes,
        AutoIncrement,
        LowByteFirst,
        CheckByte,
        EndCode,
        OverRangeRead,
        Averages,
        NoComparator,
        ResetIsWanted,
    ];
}

/// No mistake where the datasheet says so.
const UNREADABLE: &str = "another's configuration that cannot be read back";

/// A map with a mistake, or with none, on a scripted part.
struct Whinchat<const H: u8, const N: usize, C = SoftwareComparator<N>, S = SoftwareSums<N>>(
    &'static str,
    PhantomData<(C, S)>,
);

impl<const H: u8, const N: usize, C, S> Subject<N> for Whinchat<H, N, C, S>
where
    C: Compare + Clone,
    S: AddUp + Clone,
{
    type Part = Map<H, N, C, S>;

    fn stated(&self) -> Stated {
        let habit = Habit::ALL[usize::from(H)];
        let is = |other| habit == other;
        const WIDE: ([StatedRange; 1], [StatedRange; 1]) = (
            [StatedRange::signed(98_304_000, 16).errors(4_000, 25_000, 4_000)],
            [StatedRange::unsigned(36_044_800_000, 15).errors(5_000, 4_000_000, 700_000)],
        );
        const SIGNED: [StatedRange; 1] = [StatedRange {
            code_min: -32_767,
            ..WIDE.0[0]
        }];
        const SHORT: ([StatedRange; 1], [StatedRange; 1]) = (
            [StatedRange::signed(24_576_000, 12).errors(4_000, 25_000, 4_000)],
            [StatedRange::unsigned(18_022_400_000, 12).errors(5_000, 4_000_000, 700_000)],
        );
        let (sense, rail): (&[_], &[_]) = match habit {
            JustifiedLeft => (&SHORT.0, &SHORT.1),
            SignAndMagnitude => (&SIGNED, &WIDE.1),
            _ => (&WIDE.0, &WIDE.1),
        };
        Stated {
            channels: N as u8,
            sense,
            rail,
            bias_na: 50,
            offset_stability_nv: 500,
            periods_us: if is(FreeRunning) || is(BothModes) || is(OverRangeRead) {
                &[2_000]
            } else {
                &[]
            },
            single_shot: !is(FreeRunning) && !is(OverRangeRead),
            conversion_ns: 100_000,
            averaging_log2_max: if is(Averages) { 4 } else { 0 },
            oscillator_ppm: 20_000,
            wake_us: 50,
            reset_us: 300,
            skew_us: 205 * (N as u32 - 1), // 200 µs ÷ 0.98
            kinds: match habit {
                NoComparator => &[&[]],
                ClearedByReading => &[&[Kind::OverVoltage]],
                _ => &[&[Kind::OverCurrent]],
            },
            outputs: if is(NoComparator) {
                Outputs::empty()
            } else {
                Outputs::A
            },
            over_range: match habit {
                EndCode => OverRange::EndCode,
                OverRangeRead => OverRange::ClearedByReading,
                _ => OverRange::WhileItLasts,
            },
            check_byte: is(CheckByte),
            identity: true,
            reads_back: self.0 != UNREADABLE,
            cleared_by_reading: is(ClearedByReading),
            tells_reset: !is(OneRegister),
            tells_lost_trigger: is(FreeRunning) || is(BothModes) || is(OverRangeRead),
            tells_change_while_read: true,
            ..Stated::PLAIN
        }
    }

    fn map(&self) -> Map<H, N, C, S> {
        Map::new(self.0)
    }

    fn resistor(&self) -> Resistance {
        Resistance::from_ohms(1)
    }

    fn fixture(&self, oscillator_ppm: i32) -> Rc<dyn Fixture> {
        let habit = Habit::ALL[usize::from(H)];
        Scripted::fixture(script::wire(habit), Script::<N>::new(habit, oscillator_ppm))
    }
}

/// The map passes, and each mistake is found first by the check that is about it.
fn proven<const H: u8, const N: usize>(mistakes: &[(&'static str, &str, &str)]) {
    assert_eq!(Map::<H, N>::INFO.name, "Whinchat");
    check(&Whinchat::<H, N>("", PhantomData)).assert();
    for (mistake, about, hint) in mistakes {
        found(
            &Whinchat::<H, N>(mistake, PhantomData),
            mistake,
            about,
            hint,
        );
    }
}

/// The check about a mistake is the first to fail, and its first finding says what is wrong.
fn found<S: Subject<N>, const N: usize>(subject: &S, mistake: &str, about: &str, hint: &str) {
    let found = first_failure(subject);
    let found = found.map(|found| (found.name, found.findings().to_vec()));
    let is = |found: &(&str, Vec<String>)| found.0 == about && found.1[0].contains(hint);
    assert!(
        found.as_ref().is_some_and(is),
        "{mistake}: {about}, {hint}: {found:#?}"
    );
}

#[test]
fn plain() {
    proven::<{ Plain as u8 }, 2>(&[
        ("polls for ever", "ends", "hangs on register 0x03"),
        ("low byte first", "init", "bytes are in the wrong order"),
        ("identity of one byte", "init", "more bytes"),
        ("identity of three bytes", "init", "fewer bytes"),
        ("wait 10 % too short", "waits", "wait is too short"),
        ("results of one byte", "byte-order", "more bytes"),
        ("results of three bytes", "byte-order", "fewer bytes"),
        ("lost write of a limit", "limits-read-back", "not read back"),
        ("limits left in the part", "limits-removed", "left"),
        ("configure clears flags", "limits-removed", "lost"),
        ("one mask for all flags", "masks", "single_masks"),
        ("set-up not read back", "reset", "note of a reset"),
        ("a reset nobody can find out", "reset", "one configuration"),
        ("resume looks at nothing", "identity", "compared first"),
        ("resume leaves out the wait", "resume", "inputs changed"),
        ("resume takes what stands", "resume", "another"),
        ("resume sets up anew", "resume", "resume writes"),
        ("resume clears flags", "resume", "resume writes"),
        (
            "another's configuration let pass",
            "foreign-writes",
            "read back with it",
        ),
    ]);
}

#[test]
fn what_the_driver_does_left_out() {
    const P: u8 = Plain as u8;
    let bare = Whinchat::<P, 2, Nothing, SoftwareSums<2>>("", PhantomData);
    found(&bare, "NoComparator", "limit-at-code", "Comparator");
    let bare = Whinchat::<P, 2, SoftwareComparator<2>, NoSums>("", PhantomData);
    found(&bare, "NoSums", "totals", "Sums");
}

/// Nothing else can end it; it is named all the same.
#[test]
#[should_panic(expected = "an operation that never ends: hangs on register 0x03")]
fn a_map_that_hangs_for_all_errors() {
    let mistake = "polls for ever, whatever the bus says";
    let _ = first_failure(&Whinchat::<{ Plain as u8 }, 2>(mistake, PhantomData));
}

#[test]
fn a_configuration_that_cannot_be_read_back() {
    check(&Whinchat::<{ Plain as u8 }, 2>(UNREADABLE, PhantomData)).assert();
}

#[test]
fn flags_cleared_by_reading() {
    proven::<{ ClearedByReading as u8 }, 2>(&[
        (
            "a read that clears is repeated",
            "lost-events",
            "a read that clears repeated",
        ),
        ("resume reads flags", "resume", "resume cleared it"),
        (
            "what was read before a reset dropped",
            "reset",
            "what the look had read is dropped",
        ),
    ]);
}

#[test]
fn sign_and_magnitude() {
    proven::<{ SignAndMagnitude as u8 }, 2>(&[("taken as two's complement", "signs", "")]);
}

#[test]
fn justified_left() {
    proven::<{ JustifiedLeft as u8 }, 2>(&[("not shifted", "byte-order", "justified otherwise")]);
}

#[test]
fn set_up_and_trigger_in_one_register() {
    proven::<{ OneRegister as u8 }, 2>(&[
        ("wait 10 % too short", "waits", "wait is too short"),
        (
            "resume in the middle of a single-shot",
            "resume",
            "in progress",
        ),
    ]);
}

#[test]
fn free_running() {
    proven::<{ FreeRunning as u8 }, 2>(&[
        ("age left out", "stamps", "older than the map says"),
        ("age 15 % too short", "stamps", "older than the map says"),
        (
            "first scan not waited for",
            "waits",
            "read before there is one",
        ),
        ("read once", "coherence", "torn"),
    ]);
}

#[test]
fn a_scan_rate_and_single_shots() {
    proven::<{ BothModes as u8 }, 2>(&[
        (
            "a single-shot for a scan rate",
            "modes",
            "a single-shot runs instead",
        ),
        (
            "a scan rate for a single-shot",
            "modes",
            "converts at a scan rate instead",
        ),
        ("over-range of single-shots left out", "over-range", ""),
        (
            "a reset in a single-shot let pass",
            "reset",
            "note of a reset",
        ),
    ]);
}

#[test]
fn pointers_of_16_bits_and_auto_increment() {
    proven::<{ AutoIncrement as u8 }, 2>(&[(
        "results from the next register on",
        "byte-order",
        "",
    )]);
}

#[test]
fn low_byte_first() {
    proven::<{ LowByteFirst as u8 }, 2>(&[]);
}

#[test]
fn check_bytes() {
    proven::<{ CheckByte as u8 }, 2>(&[("check byte of flags ignored", "check-byte", "compared")]);
}

#[test]
fn over_range_by_the_end_code_alone() {
    proven::<{ EndCode as u8 }, 2>(&[("end code not told", "over-range", "")]);
}

#[test]
fn over_range_cleared_by_reading() {
    proven::<{ OverRangeRead as u8 }, 2>(&[
        ("over-range read again", "over-range", "a read that clears"),
        ("over-range forgotten", "over-range", "a read that clears"),
    ]);
}

#[test]
fn averaging_in_the_part() {
    proven::<{ Averages as u8 }, 2>(&[
        ("wait for one scan alone", "waits", "wait is too short"),
        ("means of half as many scans", "averaging", "shorter means"),
        ("k left out", "averaging", "shorter means"),
    ]);
}

#[test]
fn no_comparator() {
    proven::<{ NoComparator as u8 }, 2>(&[]);
}

#[test]
fn a_reset_that_leaves_what_is_wanted() {
    let hint = "note of a reset";
    proven::<{ ResetIsWanted as u8 }, 2>(&[("a reset taken as found out", "reset", hint)]);
}

#[test]
fn six_channels() {
    proven::<{ Plain as u8 }, 6>(&[("over-range of another channel", "over-range", "")]);
}
