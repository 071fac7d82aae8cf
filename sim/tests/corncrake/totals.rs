//! Section 4: codes, means, running sums, over-range.

use core::time::Duration;

use crate::corncrake::fixture::Fixture;

/// The nearest whole number to sum / count, halves towards plus infinity: floor((2 sum + count) /
/// (2 count)).
fn mean(sum: i64, count: i64) -> i64 {
    (2 * sum + count).div_euclid(2 * count)
}

/// Sense and rail codes without pattern, both signs of sense.
fn codes(scans: usize) -> Vec<i64> {
    let sense = |i: i64| (i * i * 7919 + i * 30) % 200_003 - 100_000;
    let rail = |i: i64| (i * i * 104_729 + i * 17) % 65_521;
    (0..scans as i64)
        .flat_map(|i| [sense(i), rail(i)])
        .collect()
}

#[test]
fn means_scan_halves_towards_plus_infinity_and_power_is_the_mean_of_products() {
    let mut halves = 0;
    for averaging in 0..=10 {
        let scans = 1 << averaging;
        for shift in 0..8 {
            let fixture = Fixture::ideal();
            let codes: Vec<i64> = codes(scans + shift)[2 * shift..].to_vec();
            fixture.listed(3, &codes);
            fixture.write(0x05, &[0x08]);
            fixture.write(0x06, &[0, 0]);
            fixture.write(0x07, &[averaging]);
            fixture.run(0x20);
            fixture.bench.run_for(Duration::from_millis(200));
            let sums = codes.chunks(2).fold((0, 0, 0), |(s, b, p), pair| {
                (s + pair[0], b + pair[1], p + pair[0] * pair[1])
            });
            let count = scans as i64;
            halves +=
                usize::from(count > 1 && sums.0 < 0 && (2 * sums.0).rem_euclid(2 * count) == count);
            assert_eq!(
                fixture.signed(0x63, 3),
                mean(sums.0, count),
                "sense, k = {averaging}"
            );
            assert_eq!(
                fixture.unsigned(0x67, 2) as i64,
                mean(sums.1, count),
                "rail, k = {averaging}"
            );
            assert_eq!(
                fixture.signed(0x6B, 5),
                mean(sums.2, count),
                "power, k = {averaging}"
            );
            assert_eq!(fixture.signed(0x6F, 6), sums.0, "charge, k = {averaging}");
            assert_eq!(fixture.signed(0x73, 8), sums.2, "energy, k = {averaging}");
            assert_eq!(fixture.unsigned(0x74, 4), scans as u64);
        }
    }
    assert!(halves > 0, "no negative half among the cases");
}

#[test]
fn results_stand_until_a_mean_is_complete_and_a_mean_in_the_making_is_dropped() {
    let fixture = Fixture::ideal();
    fixture.write(0x05, &[0x01]);
    fixture.write(0x07, &[0x01]);
    fixture.listed(0, &[100, 0, 200, 0, 1000, 0, 7, 0, 9, 0]);
    fixture.run(0x20);
    fixture.run_conversions(40);
    assert_eq!(fixture.signed(0x60, 3), 150);
    fixture.run(0x12);
    // Wake-up and one scan of the mean; the next scan comes 10 ms later.
    fixture.run_conversions(6);
    assert_eq!(
        (fixture.unsigned(0x74, 4), fixture.signed(0x60, 3)),
        (3, 150)
    );
    fixture.stop();
    fixture.run(0x12);
    fixture.run_conversions(170);
    assert_eq!(
        (fixture.unsigned(0x74, 4), fixture.signed(0x60, 3)),
        (5, 8),
        "the scan of 1000 is in no mean"
    );
    assert_eq!(
        fixture.signed(0x6C, 6),
        100 + 200 + 1000 + 7 + 9,
        "but in the charge"
    );
}

#[test]
fn running_sums_wrap_modulo_their_widths() {
    let fixture = Fixture::ideal();
    fixture.write(0x05, &[0x03]);
    fixture.write(0x06, &[0, 0]);
    fixture.steady(0, 1_000.0 * 500.0, 3_000.0 * 100_000.0);
    fixture.steady(1, -1_000.0 * 500.0, 3_000.0 * 100_000.0);
    let greatest_charge = (1_i64 << 43) - 1;
    let greatest_energy = (1_i64 << 59) - 1;
    fixture
        .part
        .preload(0, greatest_charge - 10, greatest_energy - 10)
        .expect("channel");
    fixture
        .part
        .preload(1, -greatest_charge, -greatest_energy)
        .expect("channel");
    fixture.part.preload_scans(0xFFFF_FFFF);
    assert_eq!(fixture.unsigned(0x74, 4), 0x0FFF_FFFF);
    fixture.run(0x20);
    fixture.run_conversions(10);
    assert_eq!(
        fixture.signed(0x6C, 6),
        greatest_charge - 10 + 1_000 - (1 << 44)
    );
    assert_eq!(
        fixture.signed(0x70, 8),
        greatest_energy - 10 + 3_000_000 - (1 << 60)
    );
    assert_eq!(
        fixture.signed(0x6D, 6),
        -greatest_charge - 1_000 + (1 << 44)
    );
    assert_eq!(
        fixture.signed(0x71, 8),
        -greatest_energy - 3_000_000 + (1 << 60)
    );
    assert_eq!(fixture.unsigned(0x74, 4), 0);
    assert!(fixture.part.preload(4, 0, 0).is_err());
}

/// Which preset makes a scan set the flag "rollover ahead": each running sum, both signs, on,
/// before and beyond three quarters.
#[test]
fn rollover_ahead_is_set_on_the_way_to_three_quarters_only() {
    let charge = 3_i64 << 41;
    let energy = 3_i64 << 57;
    let cases = [
        ((charge - 1_000, 0, 0), 1_000, true),
        ((charge - 1_001, 0, 0), 1_000, false),
        ((charge, 0, 0), 1_000, false),
        ((-charge + 1_000, 0, 0), -1_000, true),
        ((-charge + 1_001, 0, 0), -1_000, false),
        // Over the end: the magnitude was above all the time.
        (((1 << 43) - 1, 0, 0), 1_000, false),
        ((0, energy - 2_000_000, 0), 1_000, true),
        ((0, energy - 2_000_001, 0), 1_000, false),
        ((0, -energy + 2_000_000, 0), -1_000, true),
        ((0, 0, 0x0BFF_FFFF), 0, true),
        // Two at once.
        ((charge - 1_000, energy - 2_000_000, 0), 1_000, true),
        ((0, energy - 2_000_000, 0x0BFF_FFFF), 1_000, true),
        ((0, 0, 0x0C00_0000), 0, false),
        ((0, 0, 0x0BFF_FFFE), 0, false),
    ];
    for ((charge, energy, scans), code, expected) in cases {
        let fixture = Fixture::ideal();
        fixture.write(0x06, &[0, 0]);
        fixture.steady(2, f64::from(code) * 500.0, 2_000.0 * 100_000.0);
        fixture.part.preload(2, charge, energy).expect("channel");
        fixture.part.preload_scans(scans);
        fixture.run(0x20);
        fixture.run_conversions(12);
        let set = fixture.unsigned(0x37, 3) >> 20 & 1 == 1;
        assert_eq!(set, expected, "{charge} {energy} {scans:#x} {code}");
    }
}

#[test]
fn codes_stop_at_their_ends_and_say_so_but_a_negative_rail_voltage_is_zero() {
    let cases: &[(f64, f64, i64, u64, u64)] = &[
        (131_071.0, 65_535.0, 131_071, 65_535, 0b00),
        (131_071.4, 65_535.4, 131_071, 65_535, 0b00),
        (131_072.0, 65_535.0, 131_071, 65_535, 0b01),
        (-131_072.0, 65_536.0, -131_072, 65_535, 0b10),
        (-131_073.0, -1.0, -131_072, 0, 0b01),
        (1e12, 1e12, 131_071, 65_535, 0b11),
        (-1e12, -1e12, -131_072, 0, 0b01),
        (0.5, 0.49, 1, 0, 0b00),
    ];
    for channel in 0..4 {
        for &(sense, rail, sense_code, rail_code, flags) in cases {
            let fixture = Fixture::ideal();
            fixture.write(0x06, &[0, 0]);
            fixture.steady(channel, sense * 500.0, rail * 100_000.0);
            fixture.run(0x20);
            fixture.run_conversions(12);
            fixture.latch(2, 1);
            assert_eq!(fixture.signed(0x60 + channel as u8, 3), sense_code);
            assert_eq!(fixture.unsigned(0x64 + channel as u8, 2), rail_code);
            assert_eq!(
                fixture.sample().flags() & 0xFF,
                flags << (2 * channel),
                "{sense} {rail}"
            );
        }
    }
}

#[test]
fn an_over_range_in_a_capture_is_flagged_too() {
    let fixture = Fixture::ideal();
    fixture.steady(1, 1e9, 0.0);
    fixture.run(0x31);
    fixture.run_conversions(10);
    fixture.latch(2, 1);
    assert_eq!(fixture.sample().flags() & 0xFF, 0b0100);
}
