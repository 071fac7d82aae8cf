//! Logs what a driver's user logs, through defmt: readings, what became of a sample, totals,
//! limits, events, errors.
//!
//! Nothing is formatted here: the log holds numbers, and the words stand in the ELF. `.ci/defmt`
//! runs this in an emulator, decodes the log with the ELF, and compares it with `log.txt`, whose
//! values are those of the datasheet's section 10.1.
#![no_std]
#![no_main]

mod part;

// For its critical section, which the logger needs.
use cortex_m as _;
use cortex_m_rt::entry;
use crake::alert::{AlertFlags, AlertQueue, Limit, Limits, Outputs, Threshold};
use crake::board::{Board, Load, Rail, SenseResistor};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::ResumeToken;
use crake::part::corncrake::{Address, Corncrake};
use crake::totals::Totals;
use crake::units::{Current, Resistance, Tolerance, Voltage};
use crake::{Channel, Monitor, Sample, ShuntMonitor, TimedSample};
use defmt::{error, info, warn};
use defmt_semihosting as _;

use part::{Bus, LEN, Pause, Ticks};

/// Section 10.1, without the check byte.
#[rustfmt::skip]
const BLOCK: [u8; LEN] = [
    0x5A, 0x01, 0x23, 0x11, 0x4F, 0x60, 0x41, 0x40, 0x10, 0x0A, 0xBC, 0xDE, 0xF0,
    0x01, 0x48, 0x20, 0x80, 0xE8, 0x00, 0xA5, 0x39, 0x5D, 0x00,
    0x00, 0x00, 0x3A, 0xDE, 0x68, 0xB1, 0x00, 0x00, 0x1D, 0xA4, 0x8D, 0xE7, 0x7B, 0xC0,
    0xFF, 0xE2, 0xB4, 0xBC, 0x7A, 0xFF, 0xEA, 0x6E, 0x39, 0xC8,
    0xFF, 0xFF, 0xFF, 0x1B, 0x1E, 0x40, 0xFF, 0xFF, 0xFF, 0x57, 0x7D, 0x23, 0x6A, 0x80,
    0x01, 0xFF, 0xFF, 0xFF, 0xFF, 0x01, 0xFF, 0xFD, 0x00, 0x01,
    0x07, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x07, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF,
    0xFE, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00,
    0xF8, 0x00, 0x00, 0x00, 0x00, 0x00, 0xF8, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00,
    0xDD, 0x5A,
];

const fn rail(nanoohms: u64) -> Rail {
    let resistance = Resistance::from_nanoohms(nanoohms);
    Rail::new(SenseResistor::new(resistance, Tolerance::from_percent(1)))
        .with_load(Load::smooth(Current::from_amps(20)))
}

const RAILS: [Rail; 4] = [
    rail(10_000_000),
    rail(1_000_000_000),
    rail(5_000_000),
    rail(4_000_000),
];
static BOARD: Board<4> = Corncrake::board(&RAILS);

const fn full_scale(sense_mv: i64, rail_v: i64) -> FullScale {
    FullScale::new(
        Voltage::from_millivolts(sense_mv),
        Voltage::from_volts(rail_v),
    )
}

/// What the block was converted under.
const CONFIG: Config<4> = Config::continuous(
    [
        full_scale(65, 16),
        full_scale(26, 6),
        full_scale(65, 6),
        full_scale(26, 65),
    ],
    ScanRate::per_second(500),
)
.averaging(4);

static LIMITS: Limits<'_> =
    Limits::new(&[
        Limit::new(Channel::C0, Threshold::OverCurrent(Current::from_amps(4)))
            .debounce(3)
            .to(Outputs::A),
    ]);

#[entry]
fn main() -> ! {
    let failed = run().is_err();
    semihosting::process::exit(i32::from(failed))
}

fn run() -> Result<(), crake::Error<embedded_hal::i2c::ErrorKind>> {
    let part = Corncrake::new(Address::Strap0);
    let mut monitor =
        Monitor::new(Bus::new(BLOCK), Pause, part, &BOARD).with_clock(Ticks::default());
    let mut totals = Totals::new(&BOARD);
    info!(
        "{} with {=u8} channels",
        monitor.info().name,
        monitor.info().channels
    );
    info!("{}", RAILS[0].resistor());
    info!("{}", CONFIG);

    let sample = monitor.resume(
        &CONFIG,
        ResumeToken {
            writes: 0x0123,
            configuration: 0,
        },
    )?;
    info!("{} scans at {}", sample.scans(), sample.timestamp());
    for channel in Channel::first(4) {
        match sample.reading(channel) {
            Ok(reading) => info!("{} {}", channel, reading),
            Err(why) => warn!("{} {}", channel, why),
        }
    }
    info!("{} of {}", totals.update(sample), sample.sums(Channel::C0));
    let sample = monitor.sample()?;
    info!(
        "{} at {}, next by {}",
        totals.update(sample),
        sample.timestamp(),
        totals.next_sample_by_us()
    );
    info!("{} {}", totals.charge(Channel::C1), totals.gap());

    info!("{}", LIMITS);
    info!("{}", LIMITS.enabled() | AlertFlags::ROLLOVER_AHEAD);
    let mut queue: AlertQueue<'_, 2> = AlertQueue::new();
    queue.set_limits(&mut monitor, &LIMITS)?;
    // The first sample sets the flag, the second service finds it.
    for _ in 0..2 {
        queue.service(&mut monitor)?;
    }
    info!("{}", queue.next_event());

    // Eleven is one too many: refused. And at the next address nobody answers.
    if let Err(why) = monitor.init(&CONFIG.averaging(11)) {
        error!("{}", why);
    }
    let (bus, pause, _) = monitor.release();
    let mut other = Monitor::new(bus, pause, Corncrake::new(Address::Strap1), &BOARD);
    if let Err(why) = other.init(&CONFIG) {
        error!("{}", why);
    }
    Ok(())
}

/// Nothing panics in the driver; what does in this example ends the run with a status that tells.
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    semihosting::process::exit(101)
}
