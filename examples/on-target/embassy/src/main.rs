//! Firmware under embassy's executor: one task latches and accounts through the async monitor, another runs in between. The part is the model on the bench, whose
//! transfers are over at once; on a board the bus is the controller's own async driver, and nothing else changes.
//!
//! Ends with status 0 if readings and charge are what flows on the bench.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(all(target_os = "none", target_has_atomic = "ptr"))]
mod firmware {
    use core::sync::atomic::{AtomicU32, Ordering};
    use core::time::Duration;

    use cortex_m as _;
    use crake::old::asynch::{Monitor, ShuntMonitor};
    use crake::old::board::{Board, Load, Rail, Shunt};
    use crake::old::ledger::Ledger;
    use crake::old::part::corncrake::{BUS_6_V, Corncrake, PACE_2000, SENSE_65_MV, SPEC};
    use crake::old::units::{Charge, Current, Resistance, Tolerance, Voltage};
    use crake::old::{Channel, Mode, Ranges, Setup};
    use crake_sim::bench::{Bench, Delay};
    use crake_sim::board::SenseResistor;
    use crake_sim::old::corncrake as model;
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

    static BOARD: Board<1> = match Board::new(
        &SPEC,
        [Rail::new(
            Shunt::new(Resistance::from_milliohms(10), Tolerance::ZERO),
            Load::smooth(Current::from_amps(2)),
        )],
    ) {
        Ok(board) => board,
        Err(_) => panic!("a sense resistor that cannot be"),
    };

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
    async fn account() {
        process::exit(match measure().await {
            Some(charge) => {
                println!(
                    "{charge} in ten seconds of 1 A; the other task had {} turns",
                    TURNS.load(Ordering::Relaxed)
                );
                // 1 A from the first latch to the last: 10 s, and what the transfers take.
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
        part.rail(0, rail, SenseResistor::ideal(10_000_000)).ok()?;

        let (bus, delay) = (BlockingAsync::new(bench.i2c()), AtOnce(bench.delay()));
        let mut monitor = Monitor::new(bus, delay, bench.clock(), Corncrake::new(), 0x32, &BOARD);
        let mut ledger = Ledger::new(&BOARD, &SPEC);
        let ranges = Ranges {
            sense: SENSE_65_MV,
            bus: BUS_6_V,
        };
        ledger.update(
            &monitor
                .init(&Setup::all(ranges, Mode::Paced(PACE_2000)))
                .await
                .ok()?,
        );
        for _ in 0..10 {
            bench.run_for(Duration::from_secs(1));
            let frame = monitor.latch().await.ok()?;
            let reading = frame.reading(Channel::C0).ok()?;
            if (reading.voltage, reading.current)
                != (Voltage::from_millivolts(3_300), Current::from_amps(1))
            {
                return None;
            }
            ledger.update(&frame);
            yield_now().await;
        }
        ledger.account(Channel::C0).map(|account| account.charge)
    }

    fn begin(spawner: Spawner) {
        // Each task has one place, and is spawned once.
        if let (Ok(account), Ok(other_work)) = (account(), other_work()) {
            spawner.spawn(account);
            spawner.spawn(other_work);
        }
    }

    #[cortex_m_rt::entry]
    fn main() -> ! {
        // The allocator takes its memory by address, which no safe interface can vouch for. Once, before anything is allocated.
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
