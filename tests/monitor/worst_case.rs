//! No call takes longer than the monitor says beforehand: measured on a bus that fails as often as
//! it may.

use crake::alert::{AlertFlags, AlertQueue, Limit, Limits, Outputs, Threshold};
use crake::config::Config;
use crake::part::corncrake::{Address, Corncrake};
use crake::units::{Current, Power, Voltage};
use crake::{Call, Channel, ShuntMonitor};
use crake_sim::bench::I2c as BenchI2c;
use crake_sim::bus::{BusError, Restart, Speed};
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, Operation};

use crate::fixture::{CHANNELS, FINE_RAIL, FINE_SENSE, Fixture, fast};

const SPEEDS: [(Speed, u32); 3] = [
    (Speed::Standard, 100_000),
    (Speed::Fast, 400_000),
    (Speed::FastPlus, 1_000_000),
];

/// Pointers (datasheet, section 3), and the end of the sample window (2.4).
const FLAGS: u8 = 0x37;
const CAPTURE_COUNT: u8 = 0x78;
const SAMPLE: u8 = 0x80;
const SAMPLE_END: usize = 0x80 + 111;

/// A bus on which each transfer that may be tried again fails after its last bit, but for the last
/// try; and on which a capture seems to have just begun, as often as it may.
struct Meanest {
    inner: BenchI2c,
    attempts: u8,
    /// By pointer, of writes and of reads; all of a block together.
    failed: [[u8; 256]; 2],
    counts_read: u8,
}

/// How often the driver reads the count of a capture.
const COUNT_READS: u8 = 2;

impl ErrorType for Meanest {
    type Error = BusError;
}

impl I2c for Meanest {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusError> {
        I2c::transaction(&mut self.inner, address, operations)?;
        let (pointer, read) = match operations {
            [Operation::Write(bytes)] => (bytes[0], None),
            [Operation::Write(bytes), Operation::Read(read)] => (bytes[0], Some(read)),
            _ => panic!("no transfer of this layer"),
        };
        let is_last_piece = |read: &[u8]| usize::from(pointer) + read.len() >= SAMPLE_END;
        // Flags are cleared once; a block fails with its last piece.
        let may_fail = match &read {
            None => pointer != FLAGS,
            Some(read) => pointer < SAMPLE || is_last_piece(read),
        };
        if may_fail {
            let of_pointer = usize::from(pointer.min(SAMPLE));
            let failed = &mut self.failed[usize::from(read.is_some())][of_pointer];
            *failed += 1;
            if *failed < self.attempts {
                return Err(BusError(ErrorKind::Other));
            }
            *failed = 0;
        }
        if let (Some(read), CAPTURE_COUNT) = (read, pointer) {
            self.counts_read += 1;
            if self.counts_read == COUNT_READS {
                return Ok(());
            }
            // CRC-8 of the SMBus specification, by a crate that is not ours.
            let smbus = crc::Crc::<u8>::new(&crc::CRC_8_SMBUS);
            let check = smbus.checksum(&[address << 1, pointer, address << 1 | 1, 0, 0]);
            read.copy_from_slice(&[0, 0, check]);
        }
        Ok(())
    }
}

/// Every limit that there is; over-voltage is passed.
fn every_limit() -> Vec<Limit> {
    let of_channel = |channel| {
        [
            Threshold::OverVoltage(Voltage::from_millivolts(2_500)),
            Threshold::UnderVoltage(Voltage::from_millivolts(500)),
            Threshold::OverCurrent(Current::from_milliamps(2_500)),
            Threshold::UnderCurrent(Current::from_milliamps(-100)),
            Threshold::OverPower(Power::from_milliwatts(7_500)),
        ]
        .map(|threshold| Limit::new(channel, threshold).to(Outputs::A))
    };
    Channel::first(4).flat_map(of_channel).collect()
}

/// A bus and how the driver uses it.
#[derive(Clone, Copy, Debug)]
struct Circumstances {
    speed: (Speed, u32),
    attempts: u8,
    read_max: u8,
    restart: Restart,
    block_check_alone: bool,
}

/// Makes all calls; gives each with how long it took in nanoseconds, and how long it may take in
/// microseconds.
fn measure(with: Circumstances, config: &Config<CHANNELS>) -> Vec<(String, u64, u64)> {
    let fixture = Fixture::new();
    fixture.bench.set_bus_speed(with.speed.0);
    let i2c = Meanest {
        inner: fixture.bench.i2c().with_restart(with.restart),
        attempts: with.attempts,
        failed: [[0; 256]; 2],
        counts_read: 0,
    };
    let mut part = Corncrake::new(Address::Strap0);
    if with.block_check_alone {
        part = part.with_block_check_alone();
    }
    let mut monitor = fixture.monitor_of(part, i2c);
    monitor.set_attempts(with.attempts);
    monitor.set_read_max(with.read_max);
    let all = every_limit();
    let (limits, one) = (Limits::new(&all), Limits::new(&all[..1]));
    let mut queue = AlertQueue::<64>::new();
    let mut seen = AlertFlags::empty();
    let mut codes = [0; 1_024];
    let bench = fixture.bench.clone();
    let mut figures = Vec::new();
    macro_rules! time {
        ($call:expr, $make:expr) => {{
            let call: Call = $call;
            let name = format!("{call:?}");
            let most_us = monitor.worst_case_us(call, config, with.speed.1);
            // Anywhere in a scan, and beyond the free time behind a STOP.
            fixture.pass_us(3_333);
            let from_ns = bench.now_ns();
            $make
                .map(drop)
                .unwrap_or_else(|error| panic!("{name}: {error}"));
            let name = name.chars().take(20).collect();
            figures.push((name, bench.now_ns() - from_ns, most_us.expect("it can be")));
        }};
    }
    time!(Call::Init, monitor.init(config));
    time!(Call::Sample, monitor.sample());
    time!(
        Call::SetLimits(&limits),
        monitor.set_limits(&limits, &mut seen)
    );
    time!(Call::SetLimits(&one), monitor.set_limits(&one, &mut seen));
    time!(
        Call::SetLimits(&limits),
        queue.set_limits(&mut monitor, &limits)
    );
    time!(
        Call::ReadAlerts,
        monitor.read_alerts(AlertFlags::all(), &mut seen)
    );
    time!(Call::Service, queue.service(&mut monitor));
    time!(Call::SetMasks, monitor.set_masks(&[AlertFlags::LIMITS; 2]));
    let token = monitor.token();
    time!(Call::Resume, monitor.resume(config, token));
    time!(Call::Configure, monitor.configure(config));
    time!(Call::StartCapture, monitor.start_capture(Channel::C1));
    let mut room = codes;
    time!(
        Call::FetchCapture(&mut room),
        monitor.fetch_capture(0, &mut codes)
    );
    figures
}

#[test]
fn no_call_takes_longer_than_said_however_mean_the_bus() {
    let shot = Config::single_shot([FINE_RAIL; CHANNELS]).averaging(3);
    let mut calls = 0;
    for speed in SPEEDS {
        for attempts in [1, 2, 3, 6] {
            for read_max in [u8::MAX, 112, 111, 32, 7] {
                for restart in [Restart::Repeated, Restart::StopStart] {
                    for block_check_alone in [false, true] {
                        let with = Circumstances {
                            speed,
                            attempts,
                            read_max,
                            restart,
                            block_check_alone,
                        };
                        for config in [&fast(), &shot] {
                            for (call, took_ns, most_us) in measure(with, config) {
                                calls += 1;
                                let most_ns = most_us * 1_000;
                                assert!(
                                    took_ns <= most_ns,
                                    "{call} {with:?}: {took_ns} ns, at most {most_ns}"
                                );
                            }
                        }
                    }
                }
            }
        }
    }
    assert_eq!(calls, 3 * 4 * 5 * 2 * 2 * 2 * 12);
}

/// On the meanest bus the promise is all but used up: it is no number out of the air.
#[test]
fn what_is_said_is_not_much_more_than_it_can_take() {
    for speed in SPEEDS {
        for attempts in [1, 3] {
            let with = Circumstances {
                speed,
                attempts,
                read_max: u8::MAX,
                restart: Restart::Repeated,
                block_check_alone: false,
            };
            for (call, took_ns, most_us) in measure(with, &fast()) {
                let used = took_ns as f64 / (most_us as f64 * 1e3);
                let least = match call.as_str() {
                    // It need not look twice, nor change masks.
                    "Service" => 0.5,
                    _ => 0.8,
                };
                assert!(used > least, "{call} {with:?}: {used} of {most_us} µs");
            }
        }
    }
}

/// What would be refused has no longest time; and a longer one is told for a slower bus, more
/// attempts and shorter reads.
#[test]
fn it_depends_on_what_it_should() {
    let fixture = Fixture::new();
    let mut monitor = fixture.monitor_on(fixture.bench.i2c());
    let config = fast();
    let most_us = |monitor: &crate::fixture::Blocking<BenchI2c>, config: &_, hz| {
        monitor.worst_case_us(Call::Sample, config, hz)
    };
    let plain = most_us(&monitor, &config, 400_000).expect("it can be");
    assert!(most_us(&monitor, &config, 100_000) > Some(plain));
    assert!(most_us(&monitor, &config.without(Channel::C2), 400_000) < Some(plain));
    monitor.set_read_max(32);
    let in_pieces = most_us(&monitor, &config, 400_000);
    assert!(in_pieces > Some(plain));
    monitor.set_attempts(4);
    assert!(most_us(&monitor, &config, 400_000) > in_pieces);
    assert_eq!(most_us(&monitor, &config.averaging(11), 400_000), None);
    let over = Threshold::OverVoltage(Voltage::from_volts(70));
    let beyond = [Limit::new(Channel::C0, over).to(Outputs::A)];
    let limits = Limits::new(&beyond);
    let call = Call::SetLimits(&limits);
    assert_eq!(monitor.worst_case_us(call, &config, 400_000), None);
    assert_eq!(
        fixture.bench.bus_stats().transactions,
        0,
        "no bus is touched"
    );
    let coarse = Config::single_shot([FINE_SENSE; CHANNELS]).averaging(10);
    // 1024 scans of 0.5 ms (section 6), at least.
    assert!(most_us(&monitor, &coarse, 400_000) > Some(512_000));
}
