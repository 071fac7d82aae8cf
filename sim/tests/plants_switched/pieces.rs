//! Where pieces end, on rails whose loads follow the voltage.

use super::laws::rail;
use super::*;
use crake_sim::plant::Pulses;

const MILLISECOND: u64 = 1_000_000;

/// 60 W down to 4 V behind 0.5 Ω have no root below √120 V: there the current jumps from 10.95 A to
/// what (4 V)² / 60 W takes, 14.3 A, within one nanosecond.
#[test]
fn a_power_that_gives_in_does_so_within_a_nanosecond() {
    for length_ns in MILLISECOND..MILLISECOND + 16 {
        let falling = Recorded::ramp((0, 12 * VOLT), (length_ns, 10 * VOLT)).expect("ramp");
        let source = Source::of(falling).behind_microohms(500_000);
        let load = Load::power(60_000_000_000, 4 * VOLT.unsigned_abs()).expect("power");
        let mut rail = Switched::new(source.expect("impedance"), vec![load]).expect("rail");
        let (mut at_ns, mut jumps) = (0, Vec::new());
        while at_ns < length_ns {
            let piece = rail.piece(at_ns).expect("not far back");
            if piece.end_na - piece.start_na > 2 * AMPERE {
                // The source falls by 2 µV in a nanosecond: √(V² - 120) is 7 mV then, and 7 mA.
                assert!(piece.start_na > 10_945_000_000, "{piece:?}");
                jumps.push(piece.to_ns - piece.from_ns);
            }
            at_ns = piece.to_ns;
        }
        assert_eq!(jumps, [1], "{length_ns}");
    }
}

/// Pieces end where the loads do, if no law bends them. 5 V behind 1 Ω into 4 Ω: 1 A, and beside a
/// pulse of 1 A 0.8 A; straight from one to the other while the pulse rises and falls.
#[test]
fn a_resistance_breaks_no_piece() {
    let pulses = Pulses::new(0, AMPERE, 10 * MILLISECOND, 3 * MILLISECOND);
    let pulses = pulses.and_then(|pulses| pulses.with_edges(MILLISECOND));
    let loads = vec![
        Load::of(pulses.expect("pulses")),
        Load::resistance(4_000_000).expect("4 Ω"),
    ];
    let mut rail = rail(5 * VOLT, 1_000_000, loads);
    let (low, high) = (AMPERE, 1_800_000_000);
    for period in 0..5 {
        let begin_ns = period * 10 * MILLISECOND;
        for (from_ms, to_ms, start_na, end_na) in [
            (0, 1, low, high),
            (1, 3, high, high),
            (3, 4, high, low),
            (4, 10, low, low),
        ] {
            let from_ns = begin_ns + from_ms * MILLISECOND;
            let piece = rail.piece(from_ns).expect("a piece");
            let ends = (from_ns, begin_ns + to_ms * MILLISECOND);
            assert_eq!((piece.from_ns, piece.to_ns), ends);
            assert_eq!((piece.start_na, piece.end_na), (start_na, end_na));
        }
    }
}

/// A cell of 3.6 C that gives 36 W loses a quarter of a volt in 100 ms: at both ends of a piece the
/// power is that, but for what the rising current takes more meanwhile, 0.3 %.
#[test]
fn a_power_follows_a_cell_that_falls() {
    let table = [(0, 3 * VOLT), (1_000_000, 4 * VOLT)];
    let cell = Source::cell(Cell::new(1_000, 1_000_000, &table).expect("cell"));
    let load = Load::power(30_000_000_000, VOLT.unsigned_abs()).expect("power");
    let fixed = Load::of(constant(AMPERE));
    let mut rail = Switched::new(cell, vec![load, fixed]).expect("rail");
    let mut at_ns = 0;
    while at_ns < 250 * MILLISECOND {
        let piece = rail.piece(at_ns).expect("a piece");
        for (na, nv) in [
            (piece.start_na, piece.start_nv),
            (piece.end_na, piece.end_nv),
        ] {
            let watts = (na - AMPERE) as f64 * nv as f64 / 1e18;
            assert!((watts - 30.0).abs() < 0.1, "{watts} in {piece:?}");
        }
        at_ns = piece.to_ns;
    }
}
