//! A host that sleeps: it wakes once an hour, or at an alert, or at the last safe moment for the
//! totals or for its own clock, whichever comes first. A day of it, in virtual time; always the
//! same output.
//!
//! ```sh
//! cargo run --example async_supervision
//! ```
//!
//! The firmware reports; it does not protect. Fuses, battery protection circuits and certified
//! devices do.

use std::cell::Cell;
use std::error::Error;
use std::time::Duration;

use crake::alert::{AlertQueue, Limit, Limits, Outputs, Threshold};
use crake::asynch::{Monitor, ShuntMonitor};
use crake::board::{Board, Load, Rail, SenseResistor};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake};
use crake::totals::{Totals, Update};
use crake::units::{Current, Resistance, Tolerance, Voltage};
use crake::{Call, Channel, CounterClock, TimedSample};
use crake_sim::bench::Bench;
use crake_sim::part::corncrake::{self as model, Output};
use crake_sim::plant::{self, AfterEnd, Constant, Interpolation, Recorded, Source};
use embassy_futures::select::{Either, select};
use embedded_hal::digital::InputPin;
use embedded_hal_async::{delay::DelayNs, digital::Wait};

const HOUR_US: u64 = 3_600_000_000;
const BUS_HZ: u32 = 400_000;

/// A rail of 5 V, at most 800 mA through 50 mΩ.
const RAIL: Rail = Rail::new(SenseResistor::new(
    Resistance::from_milliohms(50),
    Tolerance::ZERO,
))
.with_load(Load::smooth(Current::from_milliamps(800)));
static RAILS: [Rail; 1] = [RAIL];
static BOARD: Board<1> = Corncrake::board(&RAILS).with_clock(Tolerance::from_ppm(100));
const CONFIG: Config<1> = Config::continuous(
    [FullScale::new(
        Voltage::from_millivolts(50),
        Voltage::from_volts(6),
    )],
    ScanRate::per_second(1),
);
static LIMITS: Limits<'_> = Limits::new(&[Limit::new(
    Channel::C0,
    Threshold::OverCurrent(Current::from_milliamps(500)),
)
.to(Outputs::A)]);

/// How often the host woke, and why.
#[derive(Default)]
struct Wakes {
    by_deadline: Cell<u32>,
    by_alert: Cell<u32>,
}

/// The firmware: generic over the part, the bus, the line and the timer. `service_us` is the
/// longest that a service can take, `read_by_us` the clock's own latest moment.
async fn supervise<M>(
    monitor: &mut M,
    line: &mut (impl Wait + InputPin),
    timer: &mut impl DelayNs,
    totals: &mut Totals<'_, 1>,
    service_us: u64,
    read_by_us: impl Fn(u64) -> u64,
    wakes: &Wakes,
) -> Result<(), crake::Error<M::BusError>>
where
    M: ShuntMonitor<1>,
    M::Sample: TimedSample<1>,
{
    let mut queue: AlertQueue<'_, 8> = AlertQueue::new();
    monitor.init(&CONFIG).await?;
    queue.asynch().set_limits(monitor, &LIMITS).await?;
    let mut next_us = 0;
    loop {
        let sample = queue.asynch().service(monitor).await?;
        let now_us = sample.timestamp().after_us;
        let update = totals.update(sample);
        if update != Update::Continued {
            println!("{:>6} s  {update:?}", now_us / 1_000_000);
        }
        while let Some(event) = queue.next_event() {
            let value = event.value().map_or("-".into(), |value| value.to_string());
            println!("{:>6} s  {}: {value}", now_us / 1_000_000, event.flag());
        }

        if now_us + 1_000 >= next_us {
            next_us = now_us + HOUR_US;
        }
        let safe_us = totals.next_sample_by_us().unwrap_or(u64::MAX);
        let again_us = queue
            .next_in()
            .map_or(u64::MAX, |time| now_us + time.as_micros() as u64);
        let deadline_us = next_us
            .min(safe_us.saturating_sub(service_us))
            .min(again_us)
            .min(read_by_us(now_us));
        let sleep_ms = u32::try_from(deadline_us.saturating_sub(now_us) / 1_000);
        let asleep = timer.delay_ms(sleep_ms.unwrap_or(u32::MAX));
        let woken_by = match select(line.wait_for_low(), asleep).await {
            Either::First(_) => &wakes.by_alert,
            Either::Second(()) => &wakes.by_deadline,
        };
        woken_by.set(woken_by.get() + 1);
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    // The rail: 20 mA, and 800 mA for 3 s, five and a quarter hours after the start.
    let bench = Bench::new(1);
    let part = bench.part(model::Corncrake::new(0x32))?;
    let at_ns = 18_900_000_000_000;
    let load = [
        (0, 20_000_000),
        (at_ns, 800_000_000),
        (at_ns + 3_000_000_000, 20_000_000),
    ];
    let load = Recorded::new(load.to_vec(), Interpolation::Hold, AfterEnd::Hold)?;
    let rail = plant::Rail::new(Source::of(Constant::new(5_000_000_000)?), load)?;
    part.rail(0, rail, crake_sim::board::SenseResistor::ideal(50_000_000))?;

    // The host's counter: 32 768 Hz, 32 bits, runs through sleep.
    let nanoseconds = bench.clock();
    let read = move || (u128::from(nanoseconds.now_ns()) * 32_768 / 1_000_000_000) as u32;
    let clock = CounterClock::new(read, 32_768, 1 << 32).ok_or("no such counter")?;
    let wrap_us = (1_u64 << 32) * 1_000_000 / 32_768;

    let (i2c, delay) = (bench.i2c(), bench.delay());
    let corncrake = Corncrake::new(Address::Strap0);
    let mut monitor = Monitor::new(i2c, delay, corncrake, &BOARD).with_clock(clock);
    let service_us = monitor
        .worst_case_us(Call::Service, &CONFIG, BUS_HZ)
        .ok_or("no such service")?;
    let mut totals = Totals::new(&BOARD);
    let mut line = bench.alert(&part, Output::A);
    let mut timer = bench.delay();
    let wakes = Wakes::default();
    {
        let mut tasks = bench.tasks();
        tasks.spawn("supervision", async {
            // A sample every hour reads the clock as well; it would be due at the latest a wrap
            // after that.
            let read_by_us = |now_us: u64| now_us + wrap_us - 1_000_000;
            let ended = supervise(
                &mut monitor,
                &mut line,
                &mut timer,
                &mut totals,
                service_us,
                read_by_us,
                &wakes,
            )
            .await;
            println!("supervision ended: {ended:?}");
        });
        tasks.run_for(Duration::from_secs(24 * 3_600 + 10))?;
    }
    let energy = totals.energy(Channel::C0).ok_or("no such rail")?;
    let truth_mj = part.truth(0)?.energy_sixth_na_nv_ns as f64 / 6e27 * 1e3;
    let energy_mj = energy.value.as_nanojoules() as f64 / 1e6;
    let stats = bench.bus_stats();
    let hours = bench.now_ns() as f64 / 3.6e12;
    println!("{hours:.2} h, {} discontinuities", totals.epoch());
    println!("the rail:    {energy_mj:.0} mJ; really {truth_mj:.0} mJ");
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
