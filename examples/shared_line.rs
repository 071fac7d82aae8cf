//! Two monitors on one bus, their alert outputs on one line.
//!
//! ```sh
//! cargo run --example shared_line
//! ```
//!
//! The bus is shared by `embedded-hal-bus`, each monitor has a device of it, and the firmware knows
//! them as `dyn ShuntMonitor`. A line that several parts pull does not tell who calls: the SMBus
//! alert response does. The part that answers lets go of the line until a further flag, and is
//! served; who else pulls it answers next. All goes by the line's *level*, for a second part may
//! pull it while the first is served.

use core::cell::RefCell;
use core::error::Error;
use core::time::Duration;

use crake::alert::{AlertQueue, Answer, Limit, Limits, Outputs, Threshold, alert_response};
use crake::board::{Board, Rail, SenseResistor};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake};
use crake::units::{Current, Resistance, Tolerance, Voltage};
use crake::{Channel, Last, Monitor, ShuntMonitor, Timestamp};
use crake_sim::bench::Bench;
use crake_sim::bus::BusError;
use crake_sim::part::corncrake::{self as model, Output};
use crake_sim::plant::{self, Constant, Recorded, Source};
use embedded_hal::digital::InputPin;
use embedded_hal_bus::i2c::RefCellDevice;

/// The two rails of each monitor: 10 mΩ, up to 5 A at up to 5 V.
const RAIL: Rail = Rail::new(SenseResistor::new(
    Resistance::from_milliohms(10),
    Tolerance::from_percent(1),
));
static BOARD: Board<2> = Corncrake::board(&[RAIL; 2]);
const FULL_SCALE: FullScale = FullScale::new(Voltage::from_millivolts(50), Voltage::from_volts(5));
const CONFIG: Config<2> = Config::continuous([FULL_SCALE; 2], ScanRate::per_second(500));

/// Too much current on the first rail of each. While it lasts its flag is off the line, and is let
/// to it again at most 20 ms after it is over.
static LIMITS: Limits<'_> =
    Limits::new(&[
        Limit::new(Channel::C0, Threshold::OverCurrent(Current::from_amps(3))).to(Outputs::A),
    ]);
const INTERVAL: Duration = Duration::from_millis(20);

/// A monitor of two rails with its alerts; which part and which bus it is on is told by nothing but
/// the type of what its samples are kept in.
type Rails<'a> =
    dyn ShuntMonitor<2, BusError = BusError, Sample = Last<'static, Corncrake, Timestamp, 2>> + 'a;

struct Post<'a> {
    address: u8,
    monitor: &'a mut Rails<'a>,
    queue: AlertQueue<'static, 4>,
    /// When it is to be served at the latest, in nanoseconds of the bench's time.
    due_ns: u64,
}

fn main() -> Result<(), Box<dyn Error>> {
    let bench = Bench::new(1);
    let first = bench.part(model::Corncrake::new(0x32))?;
    let second = bench.part(model::Corncrake::new(0x33))?;
    let resistor = || crake_sim::board::SenseResistor::ideal(10_000_000);
    first.rail(0, steps(&[(30, 4), (100, 1)])?, resistor())?;
    first.rail(1, steps(&[])?, resistor())?;
    second.rail(0, steps(&[(30, 4), (60, 1), (120, 5)])?, resistor())?;
    second.rail(1, steps(&[])?, resistor())?;
    let mut line = bench.line();
    line.wire(&first, Output::A);
    line.wire(&second, Output::A);

    let bus = RefCell::new(bench.i2c());
    let monitor = |address| {
        let (device, delay) = (RefCellDevice::new(&bus), bench.delay());
        Monitor::new(device, delay, Corncrake::new(address), &BOARD).with_clock(bench.clock())
    };
    let (mut monitor_1, mut monitor_2) = (monitor(Address::Strap0), monitor(Address::Strap1));
    let mut posts = [
        Post::new(0x32, &mut monitor_1)?,
        Post::new(0x33, &mut monitor_2)?,
    ];
    let mut device = RefCellDevice::new(&bus);
    while bench.now_ns() < 200_000_000 {
        if line.is_low()? {
            match alert_response(&mut device)? {
                Answer::From(address) => {
                    println!(
                        "{:>4} ms  {address:#04x} answers",
                        bench.now_ns() / 1_000_000
                    );
                    let called = posts.iter_mut().find(|post| post.address == address);
                    called.ok_or("a stranger on the line")?.serve(&bench)?;
                }
                // Who it was is lost: everybody is served.
                Answer::Nobody | Answer::Garbled { .. } => {
                    posts.iter_mut().try_for_each(|post| post.serve(&bench))?;
                }
            }
        }
        for post in &mut posts {
            if post.due_ns <= bench.now_ns() {
                post.serve(&bench)?;
            }
        }
        bench.run_for(Duration::from_millis(1));
    }
    Ok(())
}

impl<'a> Post<'a> {
    /// Initialises a part and puts the limits in force.
    fn new(address: u8, monitor: &'a mut Rails<'a>) -> Result<Self, crake::Error<BusError>> {
        let mut queue = AlertQueue::new().with_interval(INTERVAL);
        monitor.init(&CONFIG)?;
        queue.set_limits(monitor, &LIMITS)?;
        Ok(Self {
            address,
            monitor,
            queue,
            due_ns: u64::MAX,
        })
    }

    fn serve(&mut self, bench: &Bench) -> Result<(), crake::Error<BusError>> {
        self.queue.service(self.monitor)?;
        while let Some(event) = self.queue.next_event() {
            let value = event
                .value()
                .map_or("no reading".into(), |value| value.to_string());
            println!(
                "{:>4} ms  {:#04x}: {} ({value})",
                bench.now_ns() / 1_000_000,
                self.address,
                event.flag()
            );
        }
        let due = self.queue.next_in();
        self.due_ns = due.map_or(u64::MAX, |time| bench.now_ns() + time.as_nanos() as u64);
        Ok(())
    }
}

/// 5 V, and amperes: 1 at first, then as the steps say, from so many milliseconds on.
fn steps(steps: &[(u64, i64)]) -> Result<plant::Rail, Box<dyn Error>> {
    let steps: Vec<_> = steps
        .iter()
        .map(|(ms, amps)| (ms * 1_000_000, amps * 1_000_000_000))
        .collect();
    let source = Source::of(Constant::new(5_000_000_000)?);
    let load = Recorded::steps(1_000_000_000, &steps)?;
    Ok(plant::Rail::new(source, load)?)
}
