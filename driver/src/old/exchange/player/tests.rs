extern crate std;

use super::*;
use crate::old::exchange::Ask;
use std::{vec, vec::Vec};

struct Asks;
struct Silent;

impl Asking for Asks {
    const ASKS: bool = true;
}

impl Asking for Silent {
    const ASKS: bool = false;
}

const LINK: Link = Link {
    address: 0x34,
    checked: true,
    read_max: u8::MAX,
    repeats: 2,
};

/// What was handed out: bytes written, and how many are to be read.
#[derive(Debug, PartialEq)]
enum Seen {
    Write(Vec<u8>),
    Stamped(Vec<u8>),
    WriteRead(Vec<u8>, usize),
    Wait(u32),
}

/// Plays `steps` in order; `answer` says of each transfer, by its number, what is read, or that the bus failed.
fn play(
    link: Link,
    steps: &[Step],
    answer: impl Fn(usize) -> Option<Vec<u8>>,
) -> (Vec<Seen>, Result<(), Option<Fault>>) {
    let mut block = [0; 16];
    let mut operation = |turn: &mut Turn<'_>| {
        let step = steps.get(usize::from(turn.stage)).copied();
        Ok(turn.next(step.unwrap_or(Step::Done)))
    };
    let mut player = Player::<Asks>::new(&mut operation, link);
    let mut seen = Vec::new();
    loop {
        assert!(seen.len() < 100, "no end");
        let outcome = answer(seen.len());
        match player.poll(&mut block) {
            Err(fault) => return (seen, Err(Some(fault))),
            Ok(Action::Done) => return (seen, Ok(())),
            Ok(Action::Write(bytes)) => seen.push(Seen::Write(bytes.to_vec())),
            Ok(Action::WriteStamped(bytes)) => seen.push(Seen::Stamped(bytes.to_vec())),
            Ok(Action::Wait(us)) => seen.push(Seen::Wait(us)),
            Ok(Action::WriteRead(bytes, room)) => {
                seen.push(Seen::WriteRead(bytes.to_vec(), room.len()));
                let data = outcome.as_deref().unwrap_or_default();
                room.iter_mut().zip(data).for_each(|(to, from)| *to = *from);
            }
        }
        if outcome.is_some() {
            if let Err(fault) = player.succeeded(&block) {
                return (seen, Err(Some(fault)));
            }
        } else if !player.failed() {
            return (seen, Err(None));
        }
    }
}

/// 0x0140 to command 0x42 of address 0x34, as in the test of [`Command`].
const BYTES: [u8; 4] = [0x42, 0x40, 0x01, 0xE9];

fn command() -> Command {
    Command::little_endian(0x42, 0x0140, 2)
}

#[test]
fn a_write_once_is_never_repeated() {
    let steps = [Step::WriteOnce(command())];
    assert_eq!(
        play(LINK, &steps, |_| None),
        (vec![Seen::Write(BYTES.to_vec())], Err(None))
    );
    assert_eq!(
        play(LINK, &steps, |_| Some(vec![])),
        (vec![Seen::Write(BYTES.to_vec())], Ok(()))
    );
}

#[test]
fn other_steps_are_repeated_as_often_as_the_link_says() {
    let read = Read {
        pointer: 7,
        len: 4,
        at: 0,
        check: false,
    };
    let write = || Seen::Write(BYTES.to_vec());
    let stamped = || Seen::Stamped(BYTES.to_vec());
    let cases = [
        (Step::Write(command()), write as fn() -> Seen),
        (Step::WriteStamped(command()), stamped),
        (Step::Put(command()), write),
        (Step::Read(read), || Seen::WriteRead(vec![7], 4)),
    ];
    for (step, expected) in cases {
        for repeats in [0, 1, 2, 5_u8] {
            let link = Link { repeats, ..LINK };
            let (seen, result) = play(link, &[step], |_| None);
            assert_eq!(result, Err(None));
            assert_eq!(seen.len(), usize::from(repeats) + 1, "{step:?}");
            assert!(seen.iter().all(|action| *action == expected()));
        }
    }
}

/// Each step has its own allowance: two failures in each of two steps are no failure.
#[test]
fn repeats_are_counted_by_step() {
    let steps = [
        Step::Write(command()),
        Step::Wait(9),
        Step::Write(command()),
    ];
    let fails = [0, 1, 4, 5];
    let (seen, result) = play(LINK, &steps, |at| (!fails.contains(&at)).then(Vec::new));
    assert_eq!((seen.len(), result), (7, Ok(())));
    assert_eq!(seen[3], Seen::Wait(9));
}

/// A read's check byte covers both addresses, the pointer and the data (SMBus, packet error checking); `Pec` has its own tests.
#[test]
fn what_is_put_is_read_back_and_compared() {
    let steps = [Step::Put(command())];
    let mut pec = Pec::new();
    pec.add_all(&[0x68, 0x42, 0x69, 0x40, 0x01]);
    let right = vec![0x40, 0x01, pec.value()];
    let put = [Seen::Write(BYTES.to_vec()), Seen::WriteRead(vec![0x42], 3)];
    let (seen, result) = play(LINK, &steps, |_| Some(right.clone()));
    assert_eq!((&seen[..], result), (&put[..], Ok(())));

    // The write went through, the read-back failed: the whole is done again.
    let (seen, result) = play(LINK, &steps, |at| (at != 1).then(|| right.clone()));
    assert_eq!((seen.len(), result), (4, Ok(())));
    assert_eq!(&seen[2..], &put[..]);

    // Differs, with a right check byte; then one with a wrong check byte, whose data are right.
    let mut pec = Pec::new();
    pec.add_all(&[0x68, 0x42, 0x69, 0x40, 0x03]);
    let other = vec![0x40, 0x03, pec.value()];
    let fault = Fault::ReadBack { wrote: 1, read: 3 };
    let (seen, result) = play(LINK, &steps, |_| Some(other.clone()));
    assert_eq!((seen.len(), result), (6, Err(Some(fault))));
    let wrong = vec![0x40, 0x01, right[2] ^ 1];
    let (_, result) = play(LINK, &steps, |_| Some(wrong.clone()));
    let (expected, got) = (right[2], right[2] ^ 1);
    assert_eq!(result, Err(Some(Fault::CheckByte { expected, got })));
}

#[test]
fn without_check_bytes_nothing_is_added_and_nothing_verified() {
    let link = Link {
        checked: false,
        ..LINK
    };
    let (seen, result) = play(link, &[Step::Put(command())], |_| Some(vec![0x40, 0x01]));
    assert_eq!(result, Ok(()));
    assert_eq!(
        seen,
        [
            Seen::Write(BYTES[..3].to_vec()),
            Seen::WriteRead(vec![0x42], 2)
        ]
    );
}

/// The widest register, check byte included.
#[test]
fn eight_bytes_are_read_back_whole() {
    let command = Command::big_endian(0x70, 0x0102_0304_0506_0708, 8);
    let (seen, result) = play(LINK, &[Step::Put(command)], |at| match at {
        0 => Some(vec![]),
        _ => {
            let mut pec = Pec::new();
            pec.add_all(&[0x68, 0x70, 0x69, 1, 2, 3, 4, 5, 6, 7, 8]);
            Some(vec![1, 2, 3, 4, 5, 6, 7, 8, pec.value()])
        }
    });
    assert_eq!((seen.len(), result), (2, Ok(())));
}

#[test]
fn reads_that_do_not_fit_the_block_are_mistakes_of_the_map() {
    for (len, at, check, fits) in [
        (16, 0, false, true),
        (15, 0, true, true),
        (16, 0, true, false),
        (4, 13, false, false),
        (0, 0, false, false),
        (255, 255, true, false),
    ] {
        let step = Step::Read(Read {
            pointer: 0,
            len,
            at,
            check,
        });
        let (seen, result) = play(LINK, &[step], |_| None);
        let expected = if fits { None } else { Some(Fault::NoRoom) };
        assert_eq!(result, Err(expected), "{step:?}");
        assert_eq!(seen.is_empty(), !fits);
    }
}

#[test]
fn tries_are_counted_with_the_first() {
    let mut block = [];
    let mut turn = Turn {
        stage: 9,
        tries: 0,
        answered: true,
        block: &mut block,
    };
    for _ in 0..2 {
        assert_eq!(
            turn.again(4, Step::Wait(1), 3, Fault::NoRoom),
            Ok(Step::Wait(1))
        );
        assert_eq!(turn.stage, 4);
    }
    assert_eq!(
        turn.again(4, Step::Wait(1), 3, Fault::NoRoom),
        Err(Fault::NoRoom)
    );
}

/// What is asked in vain is asked as often as the link says, then the operation goes on and knows; the step after it is answered again.
#[test]
fn a_question_without_answer_is_no_failure() {
    let ask = Ask::of(Read {
        pointer: 0x87,
        len: 7,
        at: 0,
        check: true,
    });
    for answer in [None, Some(vec![0xFF; 8])] {
        let mut block = [0; 16];
        let mut heard = Vec::new();
        let mut operation = |turn: &mut Turn<'_>| {
            heard.push(turn.answered);
            Ok(match turn.stage {
                0 => turn.next(Step::Ask(ask)),
                1 => turn.next(Step::Wait(1)),
                _ => Step::Done,
            })
        };
        let mut player = Player::<Asks>::new(&mut operation, LINK);
        let mut asked = 0;
        loop {
            let outcome = match player.poll(&mut block) {
                Err(fault) => panic!("{fault}"),
                Ok(Action::Done) => break,
                Ok(Action::WriteRead(bytes, room)) => {
                    assert_eq!((bytes, room.len()), (&[0x87][..], 8));
                    asked += 1;
                    // All ones, as of a bus that nobody pulls down: its check byte is another.
                    answer.as_ref().map(|bytes| room.copy_from_slice(bytes))
                }
                Ok(_) => Some(()),
            };
            match outcome {
                Some(()) => assert_eq!(player.succeeded(&block), Ok(())),
                None => assert!(player.failed()),
            }
        }
        assert_eq!(asked, 3);
        assert_eq!(heard, [true, false, true]);
    }
}

/// Published check values (worked out with two PyPI packages, crcmod and crc): the mask of STATUS_VOUT of address 0x34, and a block write-block read.
#[test]
fn the_check_byte_of_a_question_covers_what_is_written_with_it() {
    let read = |pointer, len| Read {
        pointer,
        len,
        at: 2,
        check: true,
    };
    let mask = Ask::with(read(0x1B, 2), [0x01, 0x7A]);
    let call = Ask::with(read(0xA6, 4), [0x02, 0x11, 0x22]);
    for (ask, written, answer) in [
        (mask, vec![0x1B, 0x01, 0x7A], vec![0x01, 0x20, 0x62]),
        (
            call,
            vec![0xA6, 0x02, 0x11, 0x22],
            vec![0x03, 0x33, 0x44, 0x55, 0x55],
        ),
    ] {
        let steps = [Step::Ask(ask)];
        let asked = Seen::WriteRead(written, answer.len());
        let (seen, result) = play(LINK, &steps, |_| Some(answer.clone()));
        assert_eq!((&seen[..], result), (&[asked][..], Ok(())));
        // A wrong one is asked for again, and is no answer in the end.
        let mut wrong = answer.clone();
        wrong[1] ^= 1;
        let (seen, result) = play(LINK, &steps, |_| Some(wrong.clone()));
        assert_eq!((seen.len(), result), (3, Ok(())));
    }
    assert_eq!(
        Ask::with(read(1, 1), [2, 3, 4, 5]).bytes(),
        [1, 2, 3, 4],
        "no room for more"
    );
}

#[test]
fn questions_that_do_not_fit_the_block_are_mistakes_of_the_map() {
    let ask = |len, at| {
        Step::Ask(Ask::of(Read {
            pointer: 0,
            len,
            at,
            check: false,
        }))
    };
    for step in [ask(0, 0), ask(4, 13), ask(17, 0)] {
        let (seen, result) = play(LINK, &[step], |_| None);
        assert_eq!((seen.len(), result), (0, Err(Some(Fault::NoRoom))));
    }
}

#[test]
fn a_part_that_said_it_asks_nothing_may_not() {
    let mut block = [0; 16];
    let ask = Step::Ask(Ask::of(Read {
        pointer: 0,
        len: 1,
        at: 0,
        check: false,
    }));
    let mut operation = |turn: &mut Turn<'_>| Ok(turn.next(ask));
    let mut player = Player::<Silent>::new(&mut operation, LINK);
    assert_eq!(player.poll(&mut block).err(), Some(Fault::NoRoom));
}

/// What is known to be there and does not answer is a failure, of the bus or of the check byte.
#[test]
fn a_question_that_has_to_be_answered() {
    let read = Read {
        pointer: 0xA6,
        len: 4,
        at: 0,
        check: true,
    };
    let steps = [Step::Ask(Ask::with(read, [0x02, 0x11, 0x22]).required())];
    let (seen, result) = play(LINK, &steps, |_| None);
    assert_eq!((seen.len(), result), (3, Err(None)));
    let wrong = vec![0x03, 0x33, 0x44, 0x55, 0x54];
    let (seen, result) = play(LINK, &steps, |_| Some(wrong.clone()));
    let (expected, got) = (0x55, 0x54);
    let fault = Fault::CheckByte { expected, got };
    assert_eq!((seen.len(), result), (3, Err(Some(fault))));
}
