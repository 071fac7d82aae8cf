//! The example firmware on the bench, as a user would test a policy of one's own: volts, amperes
//! and time go in, what the firmware concludes is checked. No byte is looked at.

mod board_log;
mod charging;
mod shedding;
mod skiff;

use crake::alert::{AlertFlag, Kind};
use crake::bus::Fault;
use crake::part::corncrake::INFO;
use crake::units::Current;
use crake_sim::bus::{Speed, Timing};
use crake_sim::fault::{self, FaultKind};
use skiff::{HOST_LATENCY_US, Skiff};
use skiff_supervisor::policy::Refused;
use skiff_supervisor::{DRIVE, Event, LOGIC, MODEM, Settings};

#[test]
fn a_thruster_that_draws_too_much_is_switched_off_and_stays_off() {
    let plan = Skiff::plan().amps(DRIVE, &[(0.0, 8.0), (100.0, 11.0), (300.0, 8.0)]);
    let mut skiff = plan.launch(1);
    skiff.run_to_ms(100);
    assert!(skiff.is_on(DRIVE));
    skiff.run_to_ms(1_000);
    assert!(!skiff.is_on(DRIVE) && skiff.is_on(MODEM));
}

/// Nominal scan period at 2000 scans a second: datasheet, section 6.
const SCAN_US: u32 = 500;
/// Seeds whose parts run slower and faster than nominal.
const SEEDS: [u64; 4] = [1, 2, 3, 4];

/// The longest service, from the bus's timing (UM10204, as the bench keeps it) and what a service
/// is documented to do: flags are read and cleared, a latch is asked for, a scan of the slowest
/// oscillator waited for, the block read; then flags are read and cleared again, both masks written
/// and read back, and the count of writes read.
fn longest_service_us() -> u64 {
    let timing = Timing::of(Speed::Fast);
    let read = |bytes: u64| timing.bus_free + timing.transfer_ns(3 + bytes + 1, 1);
    let write = |bytes: u64| timing.bus_free + timing.transfer_ns(2 + bytes + 1, 0);
    let flags = read(3) + write(3);
    let scan_ns = 512_000; // four times 125 µs ÷ 0.985, rounded up as the driver does
    let sample = write(2) + scan_ns + read(111);
    let masks = 2 * (write(3) + read(3)) + read(2);
    (flags + sample + flags + masks).div_ceil(1_000)
}

/// From the crossing on the bench to the switch opening, wherever in a scan and in the firmware's
/// own services the crossing falls.
#[test]
fn drive_is_off_within_the_promised_time() {
    let settings = Settings::SKIFF;
    let service_us = longest_service_us();
    let promise_us =
        settings.drive_off_within_us(&INFO, SCAN_US, service_us, service_us, HOST_LATENCY_US);
    // By hand: (8 × 500 + 2 × 62.5) µs ÷ 0.985 = 4 188 µs, and the rest.
    assert_eq!(promise_us, 4_188 + 2 * service_us + HOST_LATENCY_US);

    let (mut worst_us, mut least_us) = (0, u64::MAX);
    for seed in SEEDS {
        for phase in 0..48 {
            let crossing_ms = 60.0 + f64::from(phase) * 0.437; // all over 20 ms and a scan
            let plan = Skiff::plan().amps(DRIVE, &[(0.0, 8.0), (crossing_ms, 11.0)]);
            let mut skiff = plan.launch(seed);
            skiff.run_to_ms(100);
            let openings = skiff.openings_ns(DRIVE);
            assert_eq!(openings.len(), 1, "seed {seed}, phase {phase}");
            let taken_us = (openings[0] - (crossing_ms * 1e6) as u64).div_ceil(1_000);
            assert!(
                taken_us <= promise_us,
                "seed {seed}, phase {phase}: {taken_us} of {promise_us} µs"
            );
            (worst_us, least_us) = (worst_us.max(taken_us), least_us.min(taken_us));
        }
    }
    // Eight conversions lie seven scans apart, at the fastest oscillator; and a service in progress
    // does cost its time.
    assert!(least_us >= 7 * 500 * 985 / 1_000, "{least_us}");
    assert!(
        worst_us > least_us + 2_000,
        "{least_us} to {worst_us} of {promise_us} µs"
    );
}

/// DRIVE's conversions come every 492.6 to 507.7 µs and last 63.5 µs at most (500 and 62.5 µs ± 1.5
/// %). An inrush of 3.3 ms touches at most seven; one of 4.2 ms covers at least eight.
#[test]
fn an_inrush_shorter_than_the_debounce_does_not_trip_and_a_longer_one_does() {
    for seed in SEEDS {
        for phase in 0..12 {
            let begin_ms = 60.0 + f64::from(phase) * 0.043;
            for (length_ms, trips) in [(3.3, false), (4.2, true)] {
                let inrush = [(0.0, 2.0), (begin_ms, 12.0), (begin_ms + length_ms, 2.0)];
                let mut skiff = Skiff::plan().amps(DRIVE, &inrush).launch(seed);
                skiff.run_to_ms(90);
                assert_eq!(
                    skiff.is_on(DRIVE),
                    !trips,
                    "seed {seed}, {length_ms} ms at {begin_ms} ms"
                );
            }
        }
    }
}

#[test]
fn a_brown_out_of_the_part_is_survived() {
    for seed in SEEDS {
        let plan = Skiff::plan().amps(DRIVE, &[(0.0, 0.0), (50.0, 2.0), (900.0, 11.0)]);
        let mut skiff = plan.launch(seed);
        skiff.run_to_ms(450);
        let (before, _) = skiff.charge(DRIVE);
        skiff.part.brown_out();
        skiff.run_to_ms(880);
        assert!(skiff.is_on(DRIVE), "nothing is switched for a brown-out");
        let lost = skiff.times_us(|event| {
            matches!(
                event,
                Event::Lost {
                    fault: Fault::Reset,
                    ..
                }
            )
        });
        let armed = skiff.times_us(|event| matches!(event, Event::Rearmed { epoch: 1, .. }));
        assert_eq!(
            (lost.len(), armed.len()),
            (1, 1),
            "seed {seed}: {:?}",
            skiff.events()
        );
        // Noticed by the next service, then set up: reset time, and some forty short transfers.
        assert!(
            lost[0] > 450_000 && armed[0] < 450_000 + 20_000 + 40_000,
            "seed {seed}: {armed:?}"
        );
        // What was counted before stays; what was not is told as a bracket that holds the truth:
        // 2 A for 830 ms, less the gap.
        let ((nc, bound), gap) = (skiff.charge(DRIVE), skiff.supervisor.totals().gap());
        let charge = |us: u64| i128::from(us) * 2_000; // 2 A in nC
        let accounted = charge(skiff.bench.now_ns() / 1_000 - 50_000);
        let (least, greatest) = (
            accounted - charge(gap.greatest_us + 40_000),
            accounted - charge(gap.least_us),
        );
        assert!(nc > before);
        assert!(
            least - bound <= nc && nc <= greatest + bound,
            "seed {seed}: {least} {nc} {greatest}"
        );

        // The limits are in force again.
        skiff.run_to_ms(950);
        assert!(!skiff.is_on(DRIVE), "seed {seed}");
        // And a tripped DRIVE stays open over another brown-out.
        skiff.part.brown_out();
        skiff.run_to_ms(1_500);
        assert!(
            !skiff.is_on(DRIVE) && skiff.closings_ns(DRIVE).len() == 1,
            "seed {seed}"
        );
    }
}

/// -6 A for one second into a source of 15.5 V are -6 C and -93 J. More than the limit's 9.5 A, but
/// the other way, opens nothing.
#[test]
fn current_that_flows_back_counts_as_negative() {
    for seed in SEEDS {
        let plan = Skiff::plan().amps(
            DRIVE,
            &[
                (0.0, 0.0),
                (100.0, -6.0),
                (1_100.0, 0.0),
                (1_200.0, -11.0),
                (1_210.0, 0.0),
            ],
        );
        let mut skiff = plan.launch(seed);
        skiff.run_to_ms(1_150);
        let ((nc, nc_bound), (nj, nj_bound)) = (skiff.charge(DRIVE), skiff.energy(DRIVE));
        assert!(
            (nc + 6_000_000_000).abs() <= nc_bound,
            "seed {seed}: {nc} nC within {nc_bound}"
        );
        assert!(
            (nj + 93_000_000_000).abs() <= nj_bound,
            "seed {seed}: {nj} nJ within {nj_bound}"
        );
        // The bound is no excuse: 2 % of 6 C, and an offset of 10 µV at 5 mΩ for a second and a
        // bit.
        assert!(
            nc_bound < 120_000_000 + 60_000_000,
            "seed {seed}: {nc_bound}"
        );

        skiff.run_to_ms(1_300);
        assert!(skiff.is_on(DRIVE), "seed {seed}");
        let reversed = skiff.times_us(
            |event| matches!(event, Event::DriveReversed(current) if current.is_negative()),
        );
        assert!(
            (100_000..125_000).contains(&reversed[0]),
            "seed {seed}: {reversed:?}"
        );
    }
}

/// Contacts that weld: told to open at some 108 ms, DRIVE goes on drawing 2 A until somebody pulls
/// it apart at 500 ms.
#[test]
fn a_load_that_goes_on_drawing_is_told_and_cannot_be_switched_on_again() {
    for seed in SEEDS {
        let plan = Skiff::plan().amps(DRIVE, &[(0.0, 8.0), (100.0, 11.0), (112.0, 2.0)]);
        let mut skiff = plan.launch(seed);
        skiff.run_to_ms(50);
        skiff.contacts(DRIVE).stick(true);
        skiff.run_to_ms(450);
        let is_stuck = |event: &Event| matches!(event, Event::Stuck(..));
        let stuck: Vec<_> = skiff.events().into_iter().filter(is_stuck).collect();
        let [Event::Stuck(DRIVE, current)] = stuck[..] else {
            panic!("seed {seed}: {stuck:?}")
        };
        assert!(
            (current.as_milliamps() - 2_000).abs() < 30,
            "seed {seed}: {current}"
        );
        // After the settling time of 5 ms and a service that is surely later.
        let (told, opened) = (
            skiff.times_us(is_stuck)[0],
            skiff.openings_ns(DRIVE)[0] / 1_000,
        );
        assert!(
            (opened + 5_000..opened + 15_000).contains(&told),
            "seed {seed}: opened {opened}, told {told}"
        );
        assert_eq!(skiff.command_drive_on(), Err(Refused::IsStuck));

        skiff.run_to_ms(500);
        skiff.contacts(DRIVE).mend();
        skiff.run_to_ms(600);
        let ceased = skiff.times_us(|event| *event == Event::Ceased(DRIVE));
        assert_eq!(ceased.len(), 1, "seed {seed}");
        assert!(!skiff.is_on(DRIVE), "seed {seed}");
        assert_eq!(skiff.command_drive_on(), Ok(()));
        skiff.run_to_ms(650);
        assert!(skiff.is_on(DRIVE), "seed {seed}");
    }
}

/// A short of 9 ms trips; the command closes DRIVE again; each closing has an inrush of 12 A that
/// is below the limit after 2.5 ms, within the debounce.
#[test]
fn drive_comes_back_by_command_alone_and_its_inrush_does_not_trip_it() {
    for seed in SEEDS {
        let plan = Skiff::plan().amps(DRIVE, &[(0.0, 2.0), (100.0, 11.0), (109.0, 2.0)]);
        let mut skiff = plan.inrush(10.0, 10.0).launch(seed);
        skiff.run_to_ms(3_000);
        assert!(
            !skiff.is_on(DRIVE) && skiff.openings_ns(DRIVE).len() == 1,
            "seed {seed}"
        );
        assert_eq!(skiff.command_drive_on(), Ok(()), "seed {seed}");
        skiff.run_to_ms(4_000);
        assert!(
            skiff.is_on(DRIVE) && skiff.openings_ns(DRIVE).len() == 1,
            "seed {seed}"
        );
        assert!(
            skiff
                .times_us(|event| matches!(event, Event::Stuck(..)))
                .is_empty()
        );
    }
}

#[test]
fn logic_under_voltage_and_modem_over_current_are_told_once_each() {
    let plan = Skiff::plan()
        .volts(LOGIC, &[(0.0, 3.3), (100.0, 2.9), (1_000.0, 3.3)])
        .amps(MODEM, &[(0.0, 0.06), (200.0, 2.8), (900.0, 0.06)]);
    let mut skiff = plan.launch(1);
    skiff.run_to_ms(1_200);
    let told = |kind, rail| Event::Told(AlertFlag::Limit(rail, kind));
    assert_eq!(
        skiff.events(),
        [
            Event::Watching,
            told(Kind::UnderVoltage, LOGIC),
            told(Kind::OverCurrent, MODEM)
        ]
    );
    assert!(skiff.is_on(DRIVE) && skiff.is_on(MODEM));
}

/// Around the over-current: readings before it, the one at it, and some after.
#[test]
fn readings_of_drive_around_the_over_current_are_kept() {
    let plan = Skiff::plan().amps(
        DRIVE,
        &[(0.0, 1.0), (100.0, 4.0), (300.0, 11.0), (330.0, 0.0)],
    );
    let mut skiff = plan.launch(1);
    skiff.run_to_ms(1_000);
    let around = skiff.supervisor.around_trip();
    assert!(around.is_complete());
    let place = around.trigger_place().expect("a trigger");
    let amps: Vec<_> = around
        .iter()
        .filter_map(|shown| shown.seen.reading())
        .map(|reading| reading.current)
        .collect();
    let near = |current: Current, ma: i64| (current.as_milliamps() - ma).abs() < ma / 50 + 20;
    assert!(amps.len() == 16 && place == 7, "{place} of {amps:?}");
    assert!(
        near(amps[0], 4_000) && near(amps[place], 11_000) && near(amps[15], 0),
        "{amps:?}"
    );
}

/// From 90 to 300 ms flags can be read and samples cannot. DRIVE goes over its limit in between:
/// the flag alone is enough to act on.
#[test]
fn a_flag_is_acted_on_even_if_no_sample_comes_through() {
    let mut skiff = Skiff::plan()
        .amps(DRIVE, &[(0.0, 8.0), (100.0, 11.0)])
        .launch(3);
    skiff.run_to_ms(90);
    // Flags can be read, and no sample: the block from 0x80 on (datasheet, section 5).
    let fault = fault::Fault::new(FaultKind::ArbitrationLost).register(0x80);
    let fault = skiff.bench.fault(fault).expect("a fault that can be");
    skiff.run_to_ms(300);
    assert_eq!(
        skiff.events(),
        [
            Event::Watching,
            Event::Unreachable(Fault::Bus),
            Event::DriveTripped(None)
        ]
    );
    let opened_us = skiff.openings_ns(DRIVE)[0] / 1_000;
    assert!((103_000..115_000).contains(&opened_us), "{opened_us}");
    assert_eq!(skiff.command_drive_on(), Err(Refused::NotYetDead));

    fault.mend();
    skiff.run_to_ms(400);
    assert_eq!(skiff.events()[3..], [Event::Reachable]);
    assert_eq!(skiff.command_drive_on(), Ok(()));
}

#[test]
fn a_pin_that_refuses_is_driven_again_and_told_once() {
    let mut skiff = Skiff::plan()
        .amps(DRIVE, &[(0.0, 8.0), (100.0, 11.0)])
        .launch(3);
    skiff.run_to_ms(90);
    skiff.refusing.set(true);
    skiff.run_to_ms(200);
    assert!(skiff.is_on(DRIVE));
    skiff.refusing.set(false);
    skiff.run_to_ms(210);
    assert!(!skiff.is_on(DRIVE));
    let failed = |event: &Event| *event == Event::SwitchFailed(DRIVE);
    assert_eq!(skiff.times_us(failed).len(), 1, "{:?}", skiff.events());
}

#[test]
fn the_same_seed_gives_the_same_events_at_the_same_times() {
    let run = |seed| {
        let plan = Skiff::plan().amps(DRIVE, &[(0.0, 8.0), (100.0, 11.0), (109.0, 2.0)]);
        let mut skiff = plan.launch(seed);
        skiff.run_to_ms(300);
        let records = skiff.take_records();
        assert!(records.len() > 1 && skiff.supervisor.dropped() == 0);
        records
    };
    assert_eq!(run(5), run(5));
    assert_ne!(run(5), run(6), "another part, another resistor");
}
