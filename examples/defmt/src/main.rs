//! Logs what a driver's user logs, through defmt: frames and readings, the ledger's entries and totals, events, errors.
//!
//! Nothing is formatted here: the log holds numbers, and the words stand in the ELF. `.ci/defmt` runs this in an emulator, decodes the log with the ELF, and
//! compares it with `log.txt`, whose values are those of the datasheet's section 10.1.
#![no_std]
#![no_main]

mod part;

// For its critical section, which the logger needs.
use cortex_m as _;
use cortex_m_rt::entry;
use crake::old::alert::{Cause, Causes, Event, Kind, Limit, Outputs, Watch};
use crake::old::board::{Board, Load, Rail, Shunt};
use crake::old::ledger::Ledger;
use crake::old::part::Joint;
use crake::old::part::corncrake::{self, Corncrake};
use crake::old::units::{Current, Resistance, Tolerance};
use crake::old::{Channel, Mode, Monitor, Ranges, Setup, ShuntMonitor};
use defmt::{error, info, warn};
use defmt_semihosting as _;

use part::{ADDRESS, Bus, Pause, SERIAL, Ticks};

const fn rail(nanoohms: u64) -> Rail {
    let shunt = Shunt::new(
        Resistance::from_nanoohms(nanoohms),
        Tolerance::from_percent(1),
    );
    Rail::new(shunt, Load::smooth(Current::from_amps(20)))
}

static BOARD: Board<4> = match Board::new(
    &corncrake::SPEC,
    [
        rail(10_000_000),
        rail(1_000_000_000),
        rail(5_000_000),
        rail(4_000_000),
    ],
) {
    Ok(board) => board,
    Err(_) => panic!("a sense resistor lies outside what the part can be used with"),
};

#[entry]
fn main() -> ! {
    let failed = run().is_err();
    semihosting::process::exit(i32::from(failed))
}

fn run() -> Result<(), crake::old::Error<embedded_hal::i2c::ErrorKind>> {
    let part = Corncrake::new();
    let mut monitor = Monitor::new(Bus::new(), Pause, Ticks(0), part, ADDRESS, &BOARD);
    let mut ledger = Ledger::new(&BOARD, monitor.spec());
    info!(
        "{} with {=u8} channels",
        monitor.spec().name,
        monitor.spec().channels
    );
    info!("{}", BOARD.rails()[0].shunt());

    let frame = monitor.attach(&Joint { serial: SERIAL })?;
    info!("{}", frame);
    for channel in Channel::first(4) {
        match frame.reading(channel) {
            Ok(reading) => info!("{} {}", channel, reading),
            Err(why) => warn!("{} {}", channel, why),
        }
    }
    info!(
        "{} of {}",
        ledger.update(&frame),
        frame.counters(Channel::C0)
    );
    let frame = monitor.latch()?;
    let reading = frame.reading(Channel::C0);
    let (entry, stamp) = (ledger.update(&frame), frame.stamp());
    info!(
        "{} at {}, next by {}",
        entry,
        stamp,
        ledger.next_read_by_us()
    );
    if let Some(account) = ledger.account(Channel::C1) {
        info!("{} {}", account.charge, account.energy_by_part_clock);
    }

    let limit = Limit::OverCurrent(Current::from_amps(4));
    info!(
        "{}",
        Watch::new(Channel::C0, limit)
            .held()
            .debounce(3)
            .to(Outputs::A)
    );
    let cause = Cause::Limit(Channel::C0, Kind::OverCurrent);
    info!("{}", Causes::of(cause) | Causes::ROLLOVER_AHEAD);
    let event = Event {
        cause,
        in_force: Some(limit),
        reading: Some(reading),
        stamp,
    };
    info!("{}", event);

    let ranges = Ranges {
        sense: corncrake::SENSE_65_MV,
        bus: corncrake::BUS_16_V,
    };
    let wanted = Setup::<4>::all(ranges, Mode::Paced(corncrake::PACE_100)).averaging(11);
    info!("{}", wanted);
    // Eleven is one too many: refused. And the stand-in takes no set-up at all: the bus fails.
    for setup in [wanted, wanted.averaging(10)] {
        if let Err(why) = monitor.init(&setup) {
            error!("{}", why);
        }
    }
    Ok(())
}

/// Nothing panics in the driver; what does in this example ends the run with a status that tells.
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    semihosting::process::exit(101)
}
