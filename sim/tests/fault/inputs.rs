//! What stands between a rail and the part's inputs. The sound resistor has 10 mΩ, and 2 A flow.

use crake_sim::fault::{Fault, FaultKind};

use crate::fault::fixture::Fixture;

#[test]
fn a_sense_resistor_at_fault_shows_another_current_and_no_other_truth() {
    let channel = 0;
    let value = |nano_ohms| FaultKind::SenseValue { channel, nano_ohms };
    let drift = |ppm| FaultKind::SenseDrift { channel, ppm };
    for (kind, read_ma) in [
        (value(20_000_000), 4_000),
        (value(5_000_000), 1_000),
        (drift(50_000), 2_100),
        (drift(-250_000), 1_500),
        (FaultKind::SenseOpen { channel }, 0),
        (FaultKind::SenseSwapped { channel }, -2_000),
    ] {
        let mut fixture = Fixture::new();
        let (from, until) = (fixture.in_ms(10), fixture.in_ms(20));
        let injected = fixture.fault(Fault::new(kind).from(from).until(until));
        let mut read = Vec::new();
        for _ in 0..3 {
            read.push(fixture.sample_ma().expect("a sample"));
            fixture.pass_ms(11);
        }
        assert_eq!(read, [2_000, read_ma, 2_000], "{kind:?}");
        assert_eq!(injected.strikes().times, 1);
        let at_ns = i128::from(fixture.bench.now_ns());
        let truth = fixture.part.truth(0).expect("a channel");
        assert_eq!(truth.charge_half_na_ns, 2 * 2_000_000_000 * at_ns);
    }
}

/// A resistor of twice the value with swapped leads; then the leads alone, then nothing.
#[test]
fn faults_of_one_resistor_add_up_and_end_one_by_one() {
    let mut fixture = Fixture::new();
    let channel = 0;
    let nano_ohms = 20_000_000;
    let value = fixture.fault(Fault::new(FaultKind::SenseValue { channel, nano_ohms }));
    let swapped = fixture.fault(Fault::new(FaultKind::SenseSwapped { channel }));
    let mut read = Vec::new();
    for ended in [None, Some(value), Some(swapped)] {
        if let Some(fault) = ended {
            fault.mend();
        }
        fixture.pass_ms(2);
        read.push(fixture.sample_ma().expect("a sample"));
    }
    assert_eq!(read, [-4_000, -2_000, 2_000]);
}
