//! Recordings, read back by the parser of the crate `vcd` and held against UM10204, the datasheet
//! and the bench.

mod reading;

use std::fs;
use std::process::{Command as Process, Output};
use std::time::Duration;

use crake_sim::{
    bench::{Bench, Part},
    board::SenseResistor,
    bus::{Logging, Speed},
    part::corncrake::Corncrake,
    plant::{Constant, Rail, Source},
    trace::{Trace, Traced, Window},
};
use embedded_hal::i2c::I2c;

use reading::{Directory, Read};

type Tested = Result<(), Box<dyn std::error::Error>>;

/// A part on a bench with 1.5 A through 10 mΩ at 3.3 V on channel 1.
fn wired(bench: &Bench) -> Result<Part, Box<dyn std::error::Error>> {
    let part = bench.part(Corncrake::ideal(0x32))?;
    let source = Source::of(Constant::new(3_300_000_000)?);
    let rail = Rail::new(source, Constant::new(1_500_000_000)?)?;
    part.rail(1, rail, SenseResistor::ideal(10_000_000))?;
    Ok(part)
}

fn ms(ms: u64) -> Duration {
    Duration::from_millis(ms)
}

/// UM10204 (Rev. 6), table 10, in nanoseconds: 1/fSCL, tLOW, tHIGH, tHD;STA, tSU;STA, tSU;DAT,
/// tSU;STO, tBUF, least of each.
const TABLE_10: [(Speed, [u64; 8]); 3] = [
    (
        Speed::Standard,
        [10_000, 4_700, 4_000, 4_000, 4_700, 250, 4_000, 4_700],
    ),
    (Speed::Fast, [2_500, 1_300, 600, 600, 600, 100, 600, 1_300]),
    (Speed::FastPlus, [1_000, 500, 260, 260, 260, 50, 260, 500]),
];

#[test]
fn every_edge_keeps_the_times_of_the_bus_specification() -> Tested {
    for (speed, least) in TABLE_10 {
        let [
            period,
            low,
            high,
            start_hold,
            restart_setup,
            data_setup,
            stop_setup,
            bus_free,
        ] = least;
        let directory = Directory::new(&format!("edges-{}", speed as u8));
        let bench = Bench::new(1);
        bench.part(Corncrake::ideal(0x32))?;
        bench.set_bus_speed(speed);
        let trace = Trace::start(&bench, &[], Window::default(), directory.path())?;
        bench.run_for(ms(1));
        let mut i2c = bench.i2c();
        i2c.write_read(0x32, &[0x00], &mut [0; 5])?;
        assert!(i2c.write(0x55, &[0x00]).is_err());
        i2c.write_read(0x32, &[0x00], &mut [0; 2])?;
        trace.finish()?;

        let read = Read::new(&directory.path().join("trace.vcd"))?;
        let (mut scl, mut sda) = (true, true);
        let (mut rose, mut fell, mut data) = (0, 0, 0);
        let (mut started, mut stopped) = (0_u64, None);
        let (mut clocks, mut starts, mut stops) = (0, 0, 0);
        for (at, is_scl, level) in read.edges() {
            if at == read.begin_ns {
                assert!(level, "an idle bus at first");
                continue;
            }
            if is_scl {
                if level {
                    assert!(at - fell >= low, "{speed:?} low at {at}");
                    assert!(at - data >= data_setup, "{speed:?} data set up at {at}");
                    assert!(
                        clocks == 0 || at - rose >= period,
                        "{speed:?} clock at {at}"
                    );
                    rose = at;
                    clocks += 1;
                } else {
                    let first = started > rose;
                    assert!(first || at - rose >= high, "{speed:?} high at {at}");
                    assert!(
                        !first || at - started >= start_hold,
                        "{speed:?} START at {at}"
                    );
                    fell = at;
                }
                scl = level;
            } else {
                if scl && !level {
                    match stopped.take() {
                        Some(stopped) => assert!(at - stopped >= bus_free, "{speed:?} free {at}"),
                        None if starts > 0 => assert!(at - rose >= restart_setup, "{speed:?} {at}"),
                        None => {}
                    }
                    starts += 1;
                    started = at;
                } else if scl {
                    assert!(at - rose >= stop_setup, "{speed:?} STOP at {at}");
                    stops += 1;
                    stopped = Some(at);
                } else {
                    assert!(at > fell, "{speed:?} data held at {at}");
                    data = at;
                }
                sda = level;
            }
        }
        assert!(scl && sda, "an idle bus at last");
        // Bytes 8, 1 and 5; nine clocks each, one for each repeated START and each STOP.
        assert_eq!((starts, stops, clocks), (5, 3, 9 * (8 + 1 + 5) + 2 + 3));
    }
    Ok(())
}

// Section 6: wake-up 150 µs after the STOP that starts the mode, conversions of 62.5 µs. Section 4:
// 15 mV / 500 nV = 30000, 3.3 V / 1 mV = 3300. Section 3.6: with a debounce of 3 the third
// conversion in a row sets the flag, and MASK_A pulls output A low.
#[test]
fn codes_counters_flags_and_outputs_change_when_the_datasheet_says() -> Tested {
    let directory = Directory::new("part");
    let bench = Bench::new(1);
    let part = wired(&bench)?;
    let mut i2c = bench.i2c();
    i2c.write(0x32, &[0x05, 0x02])?; // channel 1
    i2c.write(0x32, &[0x31, 0x01, 0x13, 0x11])?; // three conversions for over-current
    i2c.write(0x32, &[0x1A, 0x00, 0x75, 0x2F])?; // OVER_CURRENT_1 at 29999
    i2c.write(0x32, &[0x35, 0x00, 0x00, 0x80])?; // that flag, bit 7, to output A
    let channels = [(1, "load of 1.5 A")];
    let parts = [Traced::new(&part, &channels)];
    let window = Window::new(Duration::ZERO, ms(3));
    let trace = Trace::start(&bench, &parts, window, directory.path())?;
    i2c.write(0x32, &[0x04, 0x10])?; // 2000 scans a second
    let first_ns = bench.now_ns() + 150_000;
    bench.run_for(ms(10));
    trace.finish()?;

    let read = Read::new(&directory.path().join("trace.vcd"))?;
    assert!(read.begin_ns < first_ns && read.end_ns == 3_000_000);
    let in_channel = |name: &str| read.of(&format!("corncrake_32.ch1_load_of_1_5_A.{name}"));
    let later = |changes: &[(u64, String)]| changes[1..].to_vec();
    let (sense_ns, rail_ns) = (first_ns + 62_500, first_ns + 125_000);
    let at = |ns: u64, text: &str| vec![(ns, text.to_owned())];
    // 30000 and 3300 in binary.
    assert_eq!(
        later(in_channel("sense")),
        at(sense_ns, "000111010100110000")
    );
    assert_eq!(later(in_channel("rail")), at(rail_ns, "0000110011100100"));
    assert_eq!(later(in_channel("current_a")), at(sense_ns, "1.5"));
    assert_eq!(later(in_channel("voltage_v")), at(rail_ns, "3.3"));
    let third_ns = sense_ns + 2 * 500_000;
    let counts: Vec<(u64, u64)> = later(in_channel("over_current"))
        .iter()
        .map(|(at, bits)| (*at, u64::from_str_radix(bits, 2).unwrap_or(99)))
        .collect();
    let scans = (3_000_000 - sense_ns) / 500_000 + 1;
    let expected: Vec<(u64, u64)> = (0..scans)
        .map(|i| (sense_ns + i * 500_000, i + 1))
        .collect();
    assert_eq!(counts, expected);
    assert_eq!(later(read.of("corncrake_32.A")), at(third_ns, "0"));
    assert_eq!(later(read.of("corncrake_32.B")), []);
    let conditions = "000000000000000010000000";
    assert_eq!(
        later(read.of("corncrake_32.CONDITIONS")),
        at(third_ns, conditions)
    );
    // Reset seen, then scan done at the end of the first scan, then over-current, which follows.
    let flags = read.of("corncrake_32.FLAGS");
    let flags: Vec<&str> = flags.iter().map(|(_, bits)| &bits[..]).collect();
    assert_eq!(
        flags,
        [
            "010000000000000000000000",
            "011000000000000000000000",
            "011000000000000010000000"
        ]
    );
    Ok(())
}

#[test]
fn a_window_holds_whole_transfers_and_the_same_ones_in_both_files() -> Tested {
    // One read of IDENTITY at each millisecond.
    let recorded = |from_us, for_us| -> Result<(Vec<String>, Read), Box<dyn std::error::Error>> {
        let directory = Directory::new(&format!("window-{from_us}-{for_us}"));
        let bench = Bench::new(1);
        bench.part(Corncrake::ideal(0x32))?;
        let window = Window::new(
            Duration::from_micros(from_us),
            Duration::from_micros(for_us),
        );
        let trace = Trace::start(&bench, &[], window, directory.path())?;
        for k in 0..10 {
            bench.run_until(k * 1_000_000);
            bench.i2c().write_read(0x32, &[0x00], &mut [0; 4])?;
        }
        trace.finish()?;
        assert_eq!(directory.files(), ["trace.vcd", "transactions.jsonl"]);
        let log = fs::read_to_string(directory.path().join("transactions.jsonl"))?;
        let starts = log.lines().map(|line| {
            let rest = line.strip_prefix(r#"{"start_ns":"#).unwrap_or_default();
            rest.split(',').next().unwrap_or_default().to_owned()
        });
        Ok((
            starts.collect(),
            Read::new(&directory.path().join("trace.vcd"))?,
        ))
    };
    // Each takes 7 bytes and a repeated START at 400 kHz: 0.6 + 7 * 9 * 2.5 + (1.3 + 0.6 + 0.6) +
    // 1.3 + 0.6 µs by UM10204.
    let stop_ns = 162_500;
    let (starts, read) = recorded(0, 3_500)?;
    assert_eq!(starts, ["0", "1000000", "2000000", "3000000"]);
    assert_eq!((read.begin_ns, read.end_ns), (0, 3_500_000));
    let (starts, read) = recorded(1_004, 2_000)?;
    assert_eq!(starts, ["2000000", "3000000"]);
    assert_eq!(read.begin_ns, 1_000_000 + stop_ns);
    assert_eq!(read.end_ns, 3_000_000 + stop_ns + 1);
    let (starts, read) = recorded(5_500, 100)?;
    assert!(starts.is_empty());
    assert_eq!((read.begin_ns, read.end_ns), (5_500_000, 5_600_000));
    assert_eq!(read.edges().len(), 2, "both wires, idle");
    // Beyond the end: as far as there is something.
    let (starts, read) = recorded(8_500, 90_000)?;
    assert_eq!(starts, ["9000000"]);
    assert_eq!(read.end_ns, 9_000_000 + stop_ns + 1);
    Ok(())
}

#[test]
fn what_is_recorded_goes_as_it_would_have_gone() -> Tested {
    let play = |recorded: Option<&Directory>| -> Result<_, Box<dyn std::error::Error>> {
        let bench = Bench::new(7);
        let part = bench.part(Corncrake::new(0x32))?;
        let source = Source::of(Constant::new(3_300_000_000)?);
        let rail = Rail::new(source, Constant::new(1_500_000_000)?)?;
        part.rail(0, rail, SenseResistor::ideal(10_000_000))?;
        bench.set_logging(Logging::Full);
        let parts = [Traced::new(&part, &[(0, "X")])];
        let window = Window::new(ms(7), ms(20));
        let trace = recorded
            .map(|directory| Trace::start(&bench, &parts, window, directory.path()))
            .transpose()?;
        bench.i2c().write(0x32, &[0x04, 0x10])?;
        for tag in 2..50 {
            bench.run_for(Duration::from_micros(1_234));
            bench.i2c().write(0x32, &[0x03, tag, tag - 1])?;
            bench.run_for(ms(1));
            bench.i2c().write_read(0x32, &[0x80], &mut [0; 112])?;
        }
        trace.map_or(Ok(()), Trace::finish)?;
        Ok((bench.now_ns(), bench.log(), part.conversions()))
    };
    let directory = Directory::new("same");
    assert_eq!(play(None)?, play(Some(&directory))?);
    // 20 ms, or up to a transfer of 2.6 ms more, with a scan every 500 µs, give or take 1.5 %;
    // noise repeats a code now and then.
    let read = Read::new(&directory.path().join("trace.vcd"))?;
    let sense = read.of("corncrake_32.ch0_X.sense").len();
    assert!((30..=48).contains(&sense), "{sense} sense codes");
    Ok(())
}

#[test]
fn nothing_half_written_is_left_behind() -> Tested {
    let directory = Directory::new("nothing");
    {
        let bench = Bench::new(1);
        let part = wired(&bench)?;
        let traced = |channels| Traced::new(&part, channels);
        let start = |parts: &[Traced<'_>], from| {
            Trace::start(&bench, parts, Window::new(from, ms(1)), directory.path())
        };
        assert!(start(&[traced(&[(4, "none")])], ms(0)).is_err());
        assert_eq!(directory.files(), [""; 0]);
        let given_up = start(&[traced(&[(1, "X")])], ms(0))?;
        assert_eq!(
            directory.files(),
            [".trace.vcd.part", ".transactions.jsonl.part"]
        );
        drop(given_up);
        let never_begun = start(&[], ms(2))?;
        bench.run_for(ms(1));
        assert!(never_begun.finish().is_err());
    }
    assert_eq!(directory.files(), [""; 0]);
    Ok(())
}

#[test]
fn the_program_records_a_stretch_of_a_run() -> Tested {
    let scenario = concat!(env!("CARGO_MANIFEST_DIR"), "/../examples/survey-skiff.toml");
    let directory = Directory::new("program");
    let run = |more: &[&str]| -> std::io::Result<Output> {
        Process::new(env!("CARGO_BIN_EXE_crake-sim"))
            .args(["run", scenario, "--for", "2"])
            .args(more)
            .output()
    };
    let out = directory.path().to_string_lossy().into_owned();
    // A sample is taken at 0.997 s.
    let recorded = run(&[
        "--out",
        &out,
        "--trace-from",
        "0.99",
        "--trace-for",
        "0.025",
    ])?;
    assert!(recorded.status.success(), "{recorded:?}");
    assert_eq!(directory.files(), crate::WRITTEN);
    let read = Read::new(&directory.path().join("trace.vcd"))?;
    assert_eq!((read.begin_ns, read.end_ns), (990_000_000, 1_015_000_000));
    let in_window = |(at, _): &&(u64, String)| (997_000_000..1_000_000_000).contains(at);
    assert!(read.of("SDA").iter().any(|change| in_window(&change)));
    // LOGIC stands at 3.3 V less a drop of 22 µV: 0.55 ohm at 40 µA.
    for (_, volts) in read.of("corncrake_32.ch2_LOGIC.voltage_v") {
        assert_eq!(volts, "3.299978");
    }

    // Neither a window after the end of the run nor a window without a place for it.
    for (arguments, about) in [
        (&["--out", &out, "--trace-from", "2"][..], "--trace-from"),
        (&["--out", &out, "--trace-for", "-1"][..], "--trace-for"),
        (&["--trace-from", "1"][..], "--out"),
    ] {
        let refused = run(arguments)?;
        assert_eq!(refused.status.code(), Some(2));
        let message = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert!(message.contains(about), "{message}");
    }
    Ok(())
}

/// What happens in the window's last nanosecond is in it, and what comes a nanosecond later is not.
#[test]
fn a_window_ends_with_its_last_nanosecond() -> Tested {
    let sense = "corncrake_32.ch1_MAIN.sense";
    let record = |length: Duration, name: &str| -> Result<Read, Box<dyn std::error::Error>> {
        let directory = Directory::new(name);
        let bench = Bench::new(1);
        let part = wired(&bench)?;
        let window = Window::new(Duration::ZERO, length);
        let channels = [(1, "MAIN")];
        let trace = Trace::start(
            &bench,
            &[Traced::new(&part, &channels)],
            window,
            directory.path(),
        )?;
        bench.i2c().write(0x32, &[0x05, 0x02])?; // channel 1
        bench.i2c().write(0x32, &[0x04, 0x10])?; // 2000 scans a second
        bench.run_for(ms(20));
        trace.finish()?;
        Read::new(&directory.path().join("trace.vcd"))
    };
    let whole = record(ms(20), "last-whole")?;
    let (at_ns, code) = whole.of(sense).last().ok_or("a code")?.clone();
    // 15 mV in codes of 500 nV.
    assert_eq!(i64::from_str_radix(&code, 2)?, 30_000);
    let last = record(Duration::from_nanos(at_ns), "last-in")?;
    assert_eq!(last.of(sense).last(), Some(&(at_ns, code)));
    let short = record(Duration::from_nanos(at_ns - 1), "last-out")?;
    assert_eq!(short.of(sense).len(), 1);
    Ok(())
}

/// docs/trace.md: from the beginning on, 0.1 s.
#[test]
fn a_window_is_the_first_tenth_of_a_second_if_nothing_else_is_said() {
    assert_eq!(Window::default(), Window::new(Duration::ZERO, ms(100)));
}

/// A window has no end beyond that of the clock.
#[test]
fn a_window_that_begins_after_the_end_of_time_begins_never() {
    let never = Window::new(Duration::MAX, Duration::MAX);
    assert_eq!(never.begin_ns(), u64::MAX);
}
