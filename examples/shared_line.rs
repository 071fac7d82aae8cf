//! Three monitors of different kinds on one bus, their alert outputs on one line.
//!
//! ```sh
//! cargo run --example shared_line
//! ```
//!
//! The bus is shared by `embedded-hal-bus`, each monitor has a device of it, and the firmware knows
//! [`ShuntMonitor`] alone. A line that several parts pull does not tell who calls: the SMBus alert
//! response does, of parts that know it. The part that answers lets go of the line until a further
//! flag, and is served; who else pulls it answers next. Where nobody answers, everybody is served.
//! All goes by the line's *level*, for a second part may pull it while the first is served.
//!
//! Corncrake and Gallinule convert by themselves. Moorhen converts and compares when it is asked
//! to, so it is served once in an interval, and knows no alert response.

use core::cell::RefCell;
use core::error::Error;
use core::time::Duration;

use crake::alert::{AlertQueue, Answer, Limit, Limits, Outputs, Threshold, alert_response};
use crake::board::{Board, Rail, SenseResistor};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{self, Corncrake};
use crake::part::moorhen::{self, Moorhen};
use crake::part::pmbus::{self, gallinule::Gallinule};
use crake::units::{Current, Resistance, Tolerance, Voltage};
use crake::{Channel, Monitor, ShuntMonitor};
use crake_sim::bench::{Bench, Line, Part};
use crake_sim::part::{self as model, AlertOutputs};
use crake_sim::plant::{self, Constant, Recorded, Source};
use embedded_hal::digital::InputPin;
use embedded_hal_bus::i2c::RefCellDevice;

/// The two rails of each monitor: 10 mΩ, up to 5 A at up to 5 V.
const RAIL: Rail = Rail::new(SenseResistor::new(
    Resistance::from_milliohms(10),
    Tolerance::from_percent(1),
));
const FIVE_AMPS: FullScale = FullScale::new(Voltage::from_millivolts(50), Voltage::from_volts(5));
/// Of a device that measures amperes itself: 1 V for 1 A.
const FIVE_AMPS_TOLD: FullScale = FullScale::new(Voltage::from_volts(5), Voltage::from_volts(5));
static DECK: Board<2> = Corncrake::board(&[RAIL; 2]);
static CABIN: Board<2> = Moorhen::board(&[RAIL; 2]);
static POWER: Board<2> = Gallinule::board(&[pmbus::RAIL; 2]);

/// Too much current on the first rail of each. While it lasts its flag is off the line, and is let
/// to it again at most 20 ms after it is over.
static LIMITS: Limits<'_> =
    Limits::new(&[
        Limit::new(Channel::C0, Threshold::OverCurrent(Current::from_amps(3))).to(Outputs::A),
    ]);
const INTERVAL: Duration = Duration::from_millis(20);

/// In nanoohms; what measures amperes itself has 1 Ω in the driver's eyes.
const TEN_MILLIOHMS: u64 = 10_000_000;
const ONE_OHM: u64 = 1_000_000_000;

/// A monitor of two rails with its alerts, whatever part it is.
struct Post<M> {
    address: u8,
    monitor: M,
    queue: AlertQueue<'static, 4>,
    /// When it is to be served at the latest, in nanoseconds of the bench's time.
    due_ns: u64,
}

/// What the firmware's loop needs of it.
trait Served {
    fn address(&self) -> u8;
    fn due_ns(&self) -> u64;
    fn serve(&mut self, bench: &Bench) -> Result<(), Box<dyn Error>>;
}

fn main() -> Result<(), Box<dyn Error>> {
    let bench = Bench::new(1);
    let deck = bench.part(model::corncrake::Corncrake::new(0x32))?;
    let cabin = bench.part(model::moorhen::Moorhen::new(0x17))?;
    let described = model::pmbus::Description::gallinule();
    let power = bench.part(model::pmbus::Device::new(described, 0x58)?)?;
    let mut line = bench.line();
    let (a, alert) = (model::corncrake::Output::A, model::moorhen::Output::Alert);
    wire(&mut line, (&deck, a), TEN_MILLIOHMS, &[(30, 4), (100, 1)])?;
    wire(
        &mut line,
        (&cabin, alert),
        TEN_MILLIOHMS,
        &[(50, 4), (90, 1)],
    )?;
    let steps = [(30, 4), (60, 1), (120, 5)];
    wire(&mut line, (&power, model::pmbus::SmbAlert), ONE_OHM, &steps)?;

    let bus = RefCell::new(bench.i2c());
    let device = || RefCellDevice::new(&bus);
    let on_deck = Corncrake::new(corncrake::Address::Strap0);
    let in_cabin = Moorhen::new(moorhen::Address::Strap0);
    let of_power = Gallinule::new(0x58);
    let deck = Monitor::new(device(), bench.delay(), on_deck, &DECK).with_clock(bench.clock());
    let cabin = Monitor::new(device(), bench.delay(), in_cabin, &CABIN).with_clock(bench.clock());
    let power = Monitor::new(device(), bench.delay(), of_power, &POWER).with_clock(bench.clock());
    let mut posts: [Box<dyn Served + '_>; 3] = [
        Box::new(Post::new(0x32, deck, FIVE_AMPS)?),
        Box::new(Post::new(0x17, cabin, FIVE_AMPS)?),
        Box::new(Post::new(0x58, power, FIVE_AMPS_TOLD)?),
    ];
    let mut device = device();
    while bench.now_ns() < 200_000_000 {
        if line.is_low()? {
            let ms = bench.now_ns() / 1_000_000;
            match alert_response(&mut device)? {
                Answer::From(address) => {
                    println!("{ms:>4} ms  {address:#04x} answers");
                    let called = posts.iter_mut().find(|post| post.address() == address);
                    called.ok_or("a stranger on the line")?.serve(&bench)?;
                }
                Answer::Nobody | Answer::Garbled { .. } => {
                    println!("{ms:>4} ms  nobody answers: all are served");
                    posts.iter_mut().try_for_each(|post| post.serve(&bench))?;
                }
            }
        }
        for post in &mut posts {
            if post.due_ns() <= bench.now_ns() {
                post.serve(&bench)?;
            }
        }
        bench.run_for(Duration::from_millis(1));
    }
    Ok(())
}

impl<M: ShuntMonitor<2>> Post<M> {
    /// Initialises a part and puts the limits in force.
    fn new(
        address: u8,
        mut monitor: M,
        full_scale: FullScale,
    ) -> Result<Self, crake::Error<M::BusError>> {
        let config = match monitor.info().scan_periods_us {
            [] => Config::single_shot([full_scale; 2]),
            _ => Config::continuous([full_scale; 2], ScanRate::per_second(100)),
        };
        let mut queue = AlertQueue::new().with_interval(INTERVAL);
        monitor.init(&config)?;
        queue.set_limits(&mut monitor, &LIMITS)?;
        Ok(Self {
            address,
            monitor,
            queue,
            due_ns: 0,
        })
    }
}

impl<M> Served for Post<M>
where
    M: ShuntMonitor<2>,
    crake::Error<M::BusError>: Error + 'static,
{
    fn address(&self) -> u8 {
        self.address
    }

    fn due_ns(&self) -> u64 {
        self.due_ns
    }

    fn serve(&mut self, bench: &Bench) -> Result<(), Box<dyn Error>> {
        self.queue.service(&mut self.monitor)?;
        while let Some(event) = self.queue.next_event() {
            let value = event
                .value()
                .map_or("no reading".into(), |value| value.to_string());
            let ms = bench.now_ns() / 1_000_000;
            println!(
                "{ms:>4} ms  {:#04x}: {} ({value})",
                self.address,
                event.flag()
            );
        }
        // A part that does not scan by itself looks when it is served.
        let looks = self.monitor.info().scan_periods_us.is_empty();
        let due = self.queue.next_in().into_iter();
        let due = due.chain(looks.then_some(INTERVAL)).min();
        self.due_ns = due.map_or(u64::MAX, |time| bench.now_ns() + time.as_nanos() as u64);
        Ok(())
    }
}

/// Puts two rails of 1 A at 5 V behind a part, the first of which steps to so many amperes at so
/// many milliseconds, and its output on the line.
fn wire<M: AlertOutputs>(
    line: &mut Line,
    (part, output): (&Part<M>, M::Output),
    nohm: u64,
    steps: &[(u64, i64)],
) -> Result<(), Box<dyn Error>> {
    let steps = steps
        .iter()
        .map(|(ms, amps)| (ms * 1_000_000, amps * 1_000_000_000));
    let steps: Vec<_> = steps.collect();
    for (channel, steps) in [(0, &steps[..]), (1, &[])] {
        let source = Source::of(Constant::new(5_000_000_000)?);
        let load = Recorded::steps(1_000_000_000, steps)?;
        let resistor = crake_sim::board::SenseResistor::ideal(nohm);
        part.rail(channel, plant::Rail::new(source, load)?, resistor)?;
    }
    line.wire(part, output);
    Ok(())
}
