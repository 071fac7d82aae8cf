//! Straps and pull-ups.

use crake::checks::{AddressFinding, LinesFinding, address, asynch, bus_lines};
use crake_sim::bench::Bench;
use crake_sim::fault::{BusLine, Fault, FaultKind};
use crake_sim::part::corncrake as model;
use embedded_hal::i2c::{ErrorType, I2c, Operation};

use crate::seeds;

/// Corncrake's straps (section 2.1), its identity's pointer, and an address of nobody.
const STRAPS: [u8; 4] = [0x32, 0x33, 0x34, 0x35];
const IDENTITY: u8 = 0x00;
const NOBODY: u8 = 0x77;

fn strapped(seed: u64, addresses: &[u8]) -> Bench {
    let bench = Bench::new(seed);
    for address in addresses {
        bench
            .part(model::Corncrake::new(*address))
            .expect("a strap");
    }
    bench
}

/// Wherever it is expected, and wherever it is.
#[test]
fn a_wrong_strap_is_found_and_a_right_one_passes() {
    for seed in seeds() {
        let expected = STRAPS[seed as usize % 4];
        let is = STRAPS[(seed / 4) as usize % 4];
        let verdict = address(
            &mut strapped(seed, &[is]).i2c(),
            expected,
            &STRAPS,
            IDENTITY,
        );
        let finding = match is == expected {
            true => AddressFinding::Sound,
            false => AddressFinding::Elsewhere,
        };
        assert_eq!(
            (verdict.finding, verdict.answered),
            (finding, Some(is)),
            "seed {seed}"
        );
        assert_eq!(verdict.expected, expected);

        let nobody = address(&mut strapped(seed, &[]).i2c(), expected, &STRAPS, IDENTITY);
        assert_eq!(
            (nobody.finding, nobody.answered),
            (AddressFinding::Nobody, None)
        );
        let two = strapped(seed, &[expected, STRAPS[(seed as usize + 1) % 4]]);
        let two = address(&mut two.i2c(), expected, &STRAPS, IDENTITY);
        assert_eq!(
            (two.finding, two.answered),
            (AddressFinding::TooMany, Some(expected))
        );
    }
}

#[test]
fn an_absent_pull_up_is_found_and_sound_lines_pass() {
    for seed in seeds() {
        let bench = strapped(seed, &[0x32]);
        assert_eq!(
            bus_lines(&mut bench.i2c(), NOBODY, IDENTITY),
            LinesFinding::Sound
        );
        let line = [BusLine::Data, BusLine::Clock][seed as usize % 2];
        let fault = bench
            .fault(Fault::new(FaultKind::NoPullUp { line }))
            .expect("a fault");
        let begun_ns = bench.now_ns();
        assert_eq!(
            bus_lines(&mut bench.i2c(), NOBODY, IDENTITY),
            LinesFinding::Fails
        );
        let verdict = address(&mut bench.i2c(), 0x32, &STRAPS, IDENTITY);
        assert_eq!(
            (verdict.finding, verdict.answered),
            (AddressFinding::Fails, None)
        );
        // A clock that never rises is given up after T_TIMEOUT (SMBus 3.2), each of two times.
        let waited = bench.now_ns() - begun_ns >= 50_000_000;
        assert_eq!(waited, line == BusLine::Clock, "{line:?}");
        assert_eq!(fault.strikes().times, 2);
    }
}

/// A controller that looks for no arbitration takes a data line that stays low for an answer.
struct Low;

impl ErrorType for Low {
    type Error = std::convert::Infallible;
}

impl I2c for Low {
    fn transaction(&mut self, _: u8, operations: &mut [Operation<'_>]) -> Result<(), Self::Error> {
        for operation in operations {
            if let Operation::Read(bytes) = operation {
                bytes.fill(0);
            }
        }
        Ok(())
    }
}

#[test]
fn a_data_line_that_acknowledges_everything_is_found() {
    assert_eq!(bus_lines(&mut Low, NOBODY, IDENTITY), LinesFinding::DataLow);
}

/// The async face says the same.
#[test]
fn both_faces_agree() {
    for expected in STRAPS {
        let bench = strapped(1, &[0x34]);
        let mut i2c = bench.i2c();
        let both = bench.block_on(async {
            (
                asynch::bus_lines(&mut i2c, NOBODY, IDENTITY).await,
                asynch::address(&mut i2c, expected, &STRAPS, IDENTITY).await,
            )
        });
        let (lines, verdict) = both.expect("nobody waits for ever");
        assert_eq!(lines, bus_lines(&mut bench.i2c(), NOBODY, IDENTITY));
        assert_eq!(
            verdict,
            address(&mut bench.i2c(), expected, &STRAPS, IDENTITY)
        );
    }
}
