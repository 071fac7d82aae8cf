//! Error budgets by hand, from sections 3.4, 6 and 7 of the datasheet.

use crake::board::{Correction, Gain, Offset};
use crake::board::{Load, LoadSteps, Mean, OperatingPoint, Rail, SenseResistor, VoltageSteps};
use crake::config::ChannelRange;
use crake::part::corncrake::INFO;
use crake::units::{Charge, Current, Energy, Power, Resistance, Tolerance, Voltage};

const FINE: ChannelRange = ChannelRange {
    sense: 1,
    rail: 0,
    sense_lsb: 2,
    rail_lsb: 2,
};
const COARSE: ChannelRange = ChannelRange {
    sense: 0,
    sense_lsb: 5,
    ..FINE
};

/// 1 Ω ± 0.5 %, 50 ppm/K × 20 K = 0.1 %; at most 20 mA, one way.
fn rail() -> Rail {
    let resistor = SenseResistor::new(Resistance::from_ohms(1), Tolerance::from_ppm(5_000))
        .with_temperature(50, 20_000);
    Rail::new(resistor).with_load(Load::smooth(Current::from_milliamps(20)))
}

/// 10 mA at 3.3 V.
fn at(mean: Mean) -> OperatingPoint {
    OperatingPoint {
        range: FINE,
        current: Current::from_milliamps(10),
        voltage: Voltage::from_millivolts(3_300),
        power: Power::from_milliwatts(33),
        mean,
    }
}

const SINGLE: Mean = Mean::Reading { averaging_log2: 0 };

/// One second of 2000 scans, ends uncertain by a millisecond, host's clock good to 100 ppm.
const SECOND: Mean = Mean::Stretch {
    scans: 2_000,
    scan_period_us: 500,
    duration_us: 1_000_000,
    ends_us: 1_000,
    clock: Tolerance::from_ppm(100),
};

/// Everything over 1 − ρ, ρ = 0.2 % + 0.5 % + 0.1 %: ÷ 0.992, rounded up.
#[test]
fn a_single_reading_of_a_current() {
    let budget = rail().current_budget(&INFO, &at(SINGLE)).expect("a range");
    let nanoamps = Current::from_nanoamps;
    assert_eq!(budget.gain, nanoamps(20_162)); // 20 000 = 20 161.3
    assert_eq!(budget.resistor, nanoamps(50_404)); // 50 000 = 50 403.2
    assert_eq!(budget.temperature, nanoamps(10_081)); // 10 000 = 10 080.6
    assert_eq!(budget.offset, nanoamps(10_081)); // 10 µV
    assert_eq!(budget.bias, nanoamps(22)); // 20 nA, rounded up before
    assert_eq!(budget.noise, nanoamps(7_259)); // 6 × 1.2 µV = 7 258.1
    assert_eq!(budget.quantisation, nanoamps(405)); // 2 × 200 nV and 1 nA = 404.2
    assert_eq!(
        (budget.clock, budget.load_steps),
        (Current::ZERO, Current::ZERO)
    );
    assert_eq!(budget.total(), nanoamps(98_414));
    // The other way round it is the same.
    let backwards = OperatingPoint {
        current: Current::from_milliamps(-10),
        ..at(SINGLE)
    };
    assert_eq!(rail().current_budget(&INFO, &backwards), Some(budget));
    let nowhere = OperatingPoint {
        range: ChannelRange { sense: 2, ..FINE },
        ..at(SINGLE)
    };
    assert_eq!(rail().current_budget(&INFO, &nowhere), None);
}

/// 20 nA through 1 Ω and twice 100 Ω: 4.02 µV; in 1 Ω 4 020 nA, ÷ 0.992 = 4 052.4, rounded up at
/// most by a thousandth before.
#[test]
fn resistors_in_the_sense_leads_carry_the_bias() {
    let bias = |rail: Rail| {
        let budget = rail.current_budget(&INFO, &at(SINGLE)).expect("a range");
        budget.bias.as_nanoamps()
    };
    let filtered = rail().with_input_filter(Resistance::from_ohms(100));
    assert!((4_053..=4_057).contains(&bias(filtered)));
    let calibrated = filtered.corrected(Correction {
        offset_bound: Some(Voltage::from_nanovolts(122)),
        ..Correction::NONE
    });
    assert_eq!(bias(calibrated), 0);
}

/// A mean of 16 scans that the part rounds: 7 200 nV ÷ 4, 400 nV ÷ 4, and half a code of 200 nV.
#[test]
fn a_mean_that_the_part_rounds_costs_half_a_code() {
    let mean = Mean::Reading { averaging_log2: 4 };
    let budget = rail().current_budget(&INFO, &at(mean)).expect("a range");
    let nanoamps = Current::from_nanoamps;
    assert_eq!(budget.noise, nanoamps(1_815)); // 1 800 ÷ 0.992 = 1 814.5
    assert_eq!(budget.quantisation, nanoamps(203)); // 100 + 100 + 1 = 202.6
    let voltage = rail().voltage_budget(&INFO, &at(mean)).expect("a range");
    let microvolts = |part: Voltage| part.as_nanovolts().unsigned_abs().div_ceil(1_000);
    assert_eq!(microvolts(voltage.noise), 226); // 6 × 150 µV ÷ 4 ÷ 0.9985 = 225.3
    assert_eq!(microvolts(voltage.quantisation), 101); // 2 × 100 µV ÷ 4 + 50 µV = 100.2
}

/// ρ = 0.2 % + 0.5 % + 0.1 % + 100 ppm + 2 × 100 ppm: ÷ 0.9917.
#[test]
fn a_mean_over_a_second() {
    let budget = rail().current_budget(&INFO, &at(SECOND)).expect("a range");
    let nanoamps = Current::from_nanoamps;
    assert_eq!(budget.gain, nanoamps(20_168)); // 20 000 = 20 167.4
    assert_eq!(budget.offset, nanoamps(10_084)); // 10 000 = 10 083.7
    assert_eq!(budget.noise, nanoamps(163)); // 7 200 ÷ √2000 = 161.0, 162.3
    assert_eq!(budget.quantisation, nanoamps(11)); // 400 ÷ √2000 = 8.9, and 1
    // 10 mA × 300 ppm, and 20 mA × 1 ms in 1 s: 23 000 nA = 23 192.5.
    assert_eq!(budget.clock, nanoamps(23_193));
    assert_eq!(budget.load_steps, Current::ZERO);
    // A millionth of an ampere for three seconds.
    let charge = budget.charge(3_000_000);
    assert_eq!(charge.offset, Charge::from_nanocoulombs(3 * 10_084));
    assert_eq!(
        charge.total().as_nanocoulombs(),
        3 * i128::from(budget.total().as_nanoamps())
    );
}

/// Two steps a second of 2 A: 20 and one more in 10 s, each half a period wrong: 21 × 2 A × 250 µs
/// ÷ 10 s = 1.05 mA. Steps of the source: 12 an hour of 1 V in an hour, and one more: 13 × 1 V ×
/// 250 µs ÷ 3600 s.
#[test]
fn steps_of_load_and_source() {
    let load = Load::smooth(Current::from_amps(3)).with_steps(LoadSteps {
        per_hour: 7_200,
        step: Current::from_amps(2),
    });
    let exact = SenseResistor::new(Resistance::from_ohms(1), Tolerance::ZERO);
    let stretch = |seconds: u64| Mean::Stretch {
        scans: 2_000 * seconds,
        scan_period_us: 500,
        duration_us: seconds * 1_000_000,
        ends_us: 0,
        clock: Tolerance::ZERO,
    };
    let budget = Rail::new(exact)
        .with_load(load)
        .current_budget(&INFO, &at(stretch(10)))
        .expect("a range");
    // 0.2 % and the oscillator's 0.02 %.
    assert_eq!(budget.load_steps, Current::from_nanoamps(1_052_316)); // ÷ 0.9978

    let source = Load::smooth(Current::from_amps(3)).with_voltage_steps(VoltageSteps {
        per_hour: 12,
        step: Voltage::from_volts(1),
    });
    let budget = Rail::new(exact)
        .with_load(source)
        .power_budget(&INFO, &at(stretch(3_600)))
        .expect("a range");
    // 902.8 nV, rounded up, times 3 A, ÷ 0.9963.
    assert_eq!(budget.load_steps, Power::from_nanowatts(2_720));
    let energy = budget.energy(3_600_000_000);
    assert_eq!(energy.load_steps, Energy::from_nanojoules(2_720 * 3_600));
}

/// What heats and wanders acts on what was turned over: 1.5 A of which 10 mA remain.
#[test]
fn currents_both_ways_count_whichever_way() {
    let load = Load::smooth(Current::from_amps(8))
        .both_ways()
        .with_mean(Current::from_milliamps(1_500), 600);
    let stretch = |seconds: u64| Mean::Stretch {
        scans: 2_000 * seconds,
        scan_period_us: 500,
        duration_us: seconds * 1_000_000,
        ends_us: 0,
        clock: Tolerance::from_ppm(100),
    };
    let resistor = SenseResistor::new(Resistance::from_milliohms(5), Tolerance::ZERO)
        .with_temperature(50, 20_000);
    let parts = |seconds| {
        let rail = Rail::new(resistor).with_load(load);
        let budget = rail
            .current_budget(&INFO, &at(stretch(seconds)))
            .expect("a range");
        [budget.temperature, budget.clock].map(|part| part.as_microamps())
    };
    // ρ = 0.2 % + 0.1 % + 300 ppm. 0.1 % and 200 ppm of 1.5 A or 8 A, 100 ppm of 10 mA.
    assert_eq!(parts(600), [1_505, 302]);
    assert_eq!(parts(599), [8_026, 1_606]);
}

/// The same with an offset known to 122 nV, 50 nV of stability, and a gain known to 300 ppm: ÷
/// 0.9987.
#[test]
fn after_a_calibration() {
    let rail = rail().corrected(Correction {
        offset: Offset::NONE,
        offset_bound: Some(Voltage::from_nanovolts(122)),
        gain: Gain::ONE,
        gain_bound: Some(Tolerance::from_ppm(300)),
        gain_range: Some(1),
    });
    let budget = rail.current_budget(&INFO, &at(SINGLE)).expect("a range");
    let nanoamps = Current::from_nanoamps;
    assert_eq!(budget.gain, nanoamps(3_004)); // 3 000 = 3 003.9
    assert_eq!(
        (budget.resistor, budget.bias),
        (Current::ZERO, Current::ZERO)
    );
    assert_eq!(budget.temperature, nanoamps(10_014)); // 10 000 = 10 013.02
    assert_eq!(budget.offset, nanoamps(173)); // 172 = 172.2

    // In the other range the gain is open again, twice: 300 ppm + 2 × 0.2 %, ÷ 0.9947.
    let other = OperatingPoint {
        range: COARSE,
        ..at(SINGLE)
    };
    let budget = rail.current_budget(&INFO, &other).expect("a range");
    assert_eq!(budget.gain, nanoamps(43_230)); // 43 000 = 43 229.1
}

/// ρ = 0.2 % + 0.5 % + 0.1 % + 0.15 %: ÷ 0.9905. 10 mA at 3.3 V.
#[test]
fn a_single_reading_of_a_power() {
    let budget = rail().power_budget(&INFO, &at(SINGLE)).expect("a range");
    let nanowatts = Power::from_nanowatts;
    assert_eq!(budget.gain, nanowatts(116_608)); // 33 mW × 0.35 % = 115 500
    assert_eq!(budget.resistor, nanowatts(166_583)); // 165 000 = 166 582.5
    assert_eq!(budget.temperature, nanowatts(33_317)); // 33 000 = 33 316.5
    // 10 µA × 3.3 V, 10 mA × 1 mV, and both errors: 17.621 µA × 2.1 mV = 37.0 nW: 43 038.
    assert_eq!(budget.offset, nanowatts(43_451)); // 43 450.8
    assert_eq!(budget.bias, nanowatts(71)); // 21 nA × 3.3 V = 69.3, 70
    assert_eq!(budget.noise, nanowatts(33_075)); // 23 760 + 10 mA × 900 µV = 32 760
    assert_eq!(budget.quantisation, nanowatts(3_353)); // 1 320 + 10 mA × 200 µV + 1 = 3 321
    assert_eq!(
        (budget.clock, budget.load_steps),
        (Power::ZERO, Power::ZERO)
    );
}

/// Within a mean, current and voltage may have moved: noise of the one is weighed with the greatest
/// of the other, 20 mA as declared, and 4 V or full scale, 6.5535 V.
#[test]
fn noise_of_a_mean_power_is_weighed() {
    let mean = Mean::Reading { averaging_log2: 4 };
    let (least, greatest) = (Voltage::from_volts(3), Voltage::from_volts(4));
    let noise = |rail: Rail| {
        let budget = rail.power_budget(&INFO, &at(mean)).expect("a range");
        budget.noise
    };
    // 1 800 nA × 4 V + 20 mA × 225 µV = 11 700; ÷ 0.9905 = 11 812.2.
    let declared = noise(rail().with_voltage(least, greatest));
    assert_eq!(declared, Power::from_nanowatts(11_813));
    // 11 796.3 + 4 500, rounded up: 16 297 = 16 453.3.
    assert_eq!(noise(rail()), Power::from_nanowatts(16_454));
}

/// The bound of a reading is the sum of the parts, which are rounded up one by one: ten each at
/// most.
#[test]
fn a_bound_is_the_sum_of_its_parts() {
    let corrected = rail().corrected(Correction {
        offset: Offset::from_bits(256_000),
        offset_bound: Some(Voltage::from_nanovolts(122)),
        gain: Gain::from_bits((1 << 30) + (1 << 24)),
        gain_bound: Some(Tolerance::from_ppm(300)),
        gain_range: Some(0),
    });
    for rail in [rail(), corrected] {
        for averaging_log2 in [0, 1, 4, 10] {
            for range in [FINE, COARSE] {
                let at = OperatingPoint {
                    range,
                    ..at(Mean::Reading { averaging_log2 })
                };
                let bound = rail.reading_bound(&INFO, &at).expect("ranges");
                let current = rail.current_budget(&INFO, &at).expect("a range").total();
                let voltage = rail.voltage_budget(&INFO, &at).expect("a range").total();
                let power = rail.power_budget(&INFO, &at).expect("ranges").total();
                let more = [
                    current.as_nanoamps() - bound.current.as_nanoamps(),
                    voltage.as_nanovolts() - bound.voltage.as_nanovolts(),
                    power.as_nanowatts() - bound.power.as_nanowatts(),
                ];
                assert!(more.iter().all(|more| (0..40).contains(more)), "{more:?}");
            }
        }
    }
}

#[test]
fn a_single_reading_of_a_voltage() {
    let budget = rail().voltage_budget(&INFO, &at(SINGLE)).expect("a range");
    let nanovolts = Voltage::from_nanovolts;
    assert_eq!(budget.gain, nanovolts(4_957_437)); // 3.3 V × 0.15 % ÷ 0.9985 = 4 957 436.2
    assert_eq!(budget.offset, nanovolts(1_001_503)); // 1 mV
    assert_eq!(budget.noise, nanovolts(901_353)); // 900 µV
    assert_eq!(budget.quantisation, nanovolts(200_301)); // 200 µV
    assert_eq!(budget.resistor, Voltage::ZERO);
    assert_eq!(budget.total(), nanovolts(7_060_594));
}
