//! Firmware under embassy's executor: one task samples and adds up through the async monitor,
//! another runs in between. The part is the model on the bench, whose transfers are over at once;
//! on a board the bus is the controller's own async driver, and nothing else changes.
//!
//! Ends with status 0 if readings and charge are what flows on the bench.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(all(target_os = "none", target_has_atomic = "ptr"))]
mod firmware {
    use core::sync::atomic::{AtomicU32, Ordering};
    use core::time::Duration;

    use cortex_m as _;
    use crake::asynch::{Monitor, ShuntMonitor};
    use crake::board::{Board, Load, Rail, SenseResistor};
    use crake::config::{Config, FullScale, ScanRate};
    use crake::part::corncrake::{Address, Corncrake};
    use crake::totals::Totals;
    use crake::units::{Charge, Current, Resistance, Tolerance, Voltage};
    use crake::{Channel, Sample};
    use crake_sim::bench::{Bench, Delay};
    use crake_sim::part::corncrake as model;
    use crake_sim::plant::{self, Constant, Source};
    use embassy_embedded_hal::adapter::BlockingAsync;
    use embassy_executor::{Executor, Spawner};
    use embassy_futures::yield_now;
    use embedded_alloc::LlffHeap;
    use embedded_hal_async::delay::DelayNs;
    use semihosting::{println, process};

    #[global_allocator]
    static HEAP: LlffHeap = LlffHeap::empty();

    const HEAP_BYTES: usize = 24 * 1024;

    const RAIL: Rail = Rail::new(SenseResistor::new(
        Resistance::from_milliohms(10),
        Tolerance::ZERO,
    ))
    .with_load(Load::smooth(Current::from_amps(2)));
    static BOARD: Board<1> = Corncrake::board(&[RAIL]);
    const CONFIG: Config<1> = Config::continuous(
        [FullScale::new(
            Voltage::from_millivolts(20),
            Voltage::from_volts(5),
        )],
        ScanRate::per_second(2_000),
    );

    /// Turns that the other task had.
    static TURNS: AtomicU32 = AtomicU32::new(0);

    #[embassy_executor::task]
    async fn other_work() {
        loop {
            TURNS.fetch_add(1, Ordering::Relaxed);
            yield_now().await;
        }
    }

    #[embassy_executor::task]
    async fn add_up() {
        process::exit(match measure().await {
            Some(charge) => {
                println!(
                    "{charge} in ten seconds of 1 A; the other task had {} turns",
                    TURNS.load(Ordering::Relaxed)
                );
                // 1 A from the first sample to the last: 10 s, and what the transfers take.
                let right = charge >= Charge::from_coulombs(10)
                    && charge < Charge::from_millicoulombs(10_100);
                i32::from(!(right && TURNS.load(Ordering::Relaxed) >= 10))
            }
            None => 1,
        })
    }

    /// The bench's time moves at once; on a board this is the executor's timer.
    struct AtOnce(Delay);

    impl DelayNs for AtOnce {
        async fn delay_ns(&mut self, ns: u32) {
            embedded_hal::delay::DelayNs::delay_ns(&mut self.0, ns);
        }
    }

    /// `None` where anything is not as it should be.
    async fn measure() -> Option<Charge> {
        let bench = Bench::new(1);
        let part = bench.part(model::Corncrake::ideal(0x32)).ok()?;
        let source = Source::of(Constant::new(3_300_000_000).ok()?);
        let rail = plant::Rail::new(source, Constant::new(1_000_000_000).ok()?).ok()?;
        let resistor = crake_sim::board::SenseResistor::ideal(10_000_000);
        part.rail(0, rail, resistor).ok()?;

        let (bus, delay) = (BlockingAsync::new(bench.i2c()), AtOnce(bench.delay()));
        let part = Corncrake::new(Address::Strap0);
        let mut monitor = Monitor::new(bus, delay, part, &BOARD).with_clock(bench.clock());
        let mut totals = Totals::new(&BOARD);
        monitor.init(&CONFIG).await.ok()?;
        totals.update(monitor.sample().await.ok()?);
        for _ in 0..10 {
            bench.run_for(Duration::from_secs(1));
            let sample = monitor.sample().await.ok()?;
            let reading = sample.reading(Channel::C0).ok()?;
            if (reading.voltage, reading.current)
                != (Voltage::from_millivolts(3_300), Current::from_amps(1))
            {
                return None;
            }
            totals.update(sample);
            yield_now().await;
        }
        totals.charge(Channel::C0).map(|charge| charge.value)
    }

    fn begin(spawner: Spawner) {
        // Each task has one place, and is spawned once.
        if let (Ok(add_up), Ok(other_work)) = (add_up(), other_work()) {
            spawner.spawn(add_up);
            spawner.spawn(other_work);
        }
    }

    #[cortex_m_rt::entry]
    fn main() -> ! {
        // The allocator takes its memory by address, which no safe interface can vouch for. Once,
        // before anything is allocated.
        #[allow(unsafe_code)]
        unsafe {
            embedded_alloc::init!(HEAP, HEAP_BYTES);
        }
        // It runs for ever, so it may as well live for ever.
        alloc::boxed::Box::leak(alloc::boxed::Box::new(Executor::new())).run(begin)
    }

    extern crate alloc;
}

#[cfg(not(target_os = "none"))]
fn main() {
    println!("this firmware is for a Cortex-M3 or greater");
}

#[cfg(all(target_os = "none", not(target_has_atomic = "ptr")))]
compile_error!("embassy's executor needs compare-and-swap: a Cortex-M3 or greater");
