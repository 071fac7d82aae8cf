//! A host that sleeps: it wakes once an hour, or at an alert, or at the last safe moment for the ledger or for its own clock, whichever comes first. A day of it, in virtual time; always the same output.
//!
//! ```sh
//! cargo run --release --example async_supervision
//! ```
//!
//! The firmware reports; it does not protect. Fuses, battery protection circuits and certified devices do.

use std::cell::Cell;
use std::error::Error;

use crake::old::alert::{Limit, Outputs, Station, Watch, Watches};
use crake::old::asynch::{Monitor, ShuntMonitor};
use crake::old::board::{Board, Load, Rail, Shunt};
use crake::old::ledger::Ledger;
use crake::old::part::corncrake::{BUS_6_V, Corncrake, PACE_1, SENSE_65_MV, SPEC};
use crake::old::units::{Current, Resistance, Tolerance};
use crake::old::{Channel, CounterClock, Mode, Ranges, Setup, Task};
use crake_sim::bench::Bench;
use crake_sim::board::SenseResistor;
use crake_sim::old::corncrake::{self as model, Output};
use crake_sim::plant::{self, AfterEnd, Constant, Interpolation, Recorded, Source};
use embassy_futures::select::{Either, select};
use embedded_hal::digital::InputPin;
use embedded_hal_async::{delay::DelayNs, digital::Wait};

const HOUR_US: u64 = 3_600_000_000;
const BUS_HZ: u32 = 400_000;

const SETUP: Setup<1> = Setup::all(
    Ranges {
        sense: SENSE_65_MV,
        bus: BUS_6_V,
    },
    Mode::Paced(PACE_1),
);
static LIMITS: [Watch; 1] = [Watch::new(
    Channel::C0,
    Limit::OverCurrent(Current::from_milliamps(500)),
)
.held()
.to(Outputs::A)];

/// How often the host woke, and why.
#[derive(Default)]
struct Wakes {
    by_deadline: Cell<u32>,
    by_alert: Cell<u32>,
}

/// The firmware: generic over the part, the bus, the line and the timer. `read_by_us` is the clock's own latest moment.
async fn supervise<M: ShuntMonitor<1>>(
    monitor: &mut M,
    line: &mut (impl Wait + InputPin),
    timer: &mut impl DelayNs,
    ledger: &mut Ledger<'_, 1>,
    read_by_us: impl Fn(u64) -> u64,
    wakes: &Wakes,
) -> Result<(), crake::old::Error<M::BusError>> {
    let mut station: Station<'_, 1, 8> = Station::new(SETUP, Watches::limits(&LIMITS));
    ledger.update(&monitor.init(&SETUP).await?);
    let frame = station.arm_async(monitor).await?;
    ledger.update(&frame);
    let mut now_us = frame.stamp().after_us;
    let mut next_us = now_us + HOUR_US;
    loop {
        let longest_us = monitor.longest_us(Task::Service, BUS_HZ);
        let safe_us = ledger
            .next_read_by_us()
            .map_or(u64::MAX, |us| us.saturating_sub(longest_us));
        let deadline_us = next_us.min(safe_us).min(read_by_us(now_us));
        let sleep_ms = u32::try_from(deadline_us.saturating_sub(now_us) / 1_000);
        let asleep = timer.delay_ms(sleep_ms.unwrap_or(u32::MAX));
        let frame = match select(line.wait_for_low(), asleep).await {
            Either::First(_) => {
                wakes.by_alert.set(wakes.by_alert.get() + 1);
                station.service_async(monitor).await?
            }
            Either::Second(()) => {
                wakes.by_deadline.set(wakes.by_deadline.get() + 1);
                monitor.latch().await?
            }
        };
        now_us = frame.stamp().after_us;
        if now_us + 1_000 >= next_us {
            next_us += HOUR_US;
        }
        let entry = ledger.update(&frame);
        let reading = frame.reading(Channel::C0);
        while let Some(event) = station.next_event() {
            println!(
                "{:>6} s  {:?}: {:?}",
                now_us / 1_000_000,
                event.cause,
                reading.map(|reading| reading.current.as_nanoamps() / 1_000_000)
            );
        }
        if !matches!(entry, crake::old::ledger::Entry::Added) {
            println!("{:>6} s  {entry:?}", now_us / 1_000_000);
        }
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    // A rail of 5 V and 20 mA that takes 800 mA for 3 s, five and a quarter hours after the start.
    let bench = Bench::new(1);
    let part = bench.part(model::Corncrake::drawn(0x32))?;
    let at_ns = 18_900_000_000_000;
    let load = [
        (0, 20_000_000),
        (at_ns, 800_000_000),
        (at_ns + 3_000_000_000, 20_000_000),
    ];
    let load = Recorded::new(load.to_vec(), Interpolation::Hold, AfterEnd::Hold)?;
    let rail = plant::Rail::new(Source::of(Constant::new(5_000_000_000)?), load)?;
    part.rail(0, rail, SenseResistor::ideal(50_000_000))?;

    // The host's counter: 32 768 Hz, 32 bits, runs through sleep.
    let nanoseconds = bench.clock();
    let read = move || (u128::from(nanoseconds.now_ns()) * 32_768 / 1_000_000_000) as u32;
    let clock = CounterClock::new(read, 32_768, 1 << 32).ok_or("no such counter")?;
    let wrap_us = (1_u64 << 32) * 1_000_000 / 32_768;

    let shunt = Shunt::new(Resistance::from_milliohms(50), Tolerance::ZERO);
    let load = Load::smooth(Current::from_milliamps(800));
    let board =
        Board::new(&SPEC, [Rail::new(shunt, load)]).map_err(|error| format!("{error:?}"))?;
    let board = board.with_clock(Tolerance::from_ppm(100));
    let (i2c, delay) = (bench.i2c(), bench.delay());
    let mut monitor = Monitor::new(i2c, delay, clock, Corncrake::new(), 0x32, &board);
    let mut ledger = Ledger::new(&board, &SPEC);
    let mut line = bench.alert(&part, Output::A);
    let mut timer = bench.delay();
    let wakes = Wakes::default();
    {
        let mut tasks = bench.tasks();
        tasks.spawn("supervision", async {
            // A frame every hour reads the clock as well; it would be due at the latest a wrap after that.
            let read_by_us = |now_us: u64| now_us + wrap_us - 1_000_000;
            let ended = supervise(
                &mut monitor,
                &mut line,
                &mut timer,
                &mut ledger,
                read_by_us,
                &wakes,
            )
            .await;
            println!("supervision ended: {ended:?}");
        });
        tasks.run_for(core::time::Duration::from_secs(24 * 3_600 + 10))?;
    }
    let account = ledger.account(Channel::C0).ok_or("no such rail")?;
    let truth_mj = part.truth(0)?.energy_sixth_na_nv_ns as f64 / 6e27 * 1e3;
    let (energy_mj, bound_mj) = (
        account.energy.as_nanojoules() as f64 / 1e6,
        account.energy_bound.total().as_nanojoules() as f64 / 1e6,
    );
    let stats = bench.bus_stats();
    let hours = bench.now_ns() as f64 / 3.6e12;
    println!("{hours:.2} h, {} epoch(s) ended", ledger.epoch());
    println!("the rail:    {energy_mj:.0} mJ within {bound_mj:.0} mJ; really {truth_mj:.0} mJ");
    println!(
        "the monitor: {:.0} mJ of its own supply",
        part.supply_energy_na_mv_ns() as f64 / 1e18
    );
    println!(
        "the host:    woke {} times by deadline, {} by alert",
        wakes.by_deadline.get(),
        wakes.by_alert.get()
    );
    println!(
        "the bus:     {} transfers, {} bytes, busy for {} µs",
        stats.transactions,
        stats.bytes,
        stats.busy_ns / 1_000
    );
    Ok(())
}
