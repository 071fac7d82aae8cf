//! Counts instructions and stack of what the driver does, and prints them with the sizes of its
//! types, one `name = value` a line.
//!
//! Instructions, not cycles: the emulator lets one pass every 32 ns, and SysTick ticks every 40 ns.
//! A stand-in for the bus copies prepared answers; its own cost and the preparation's are measured
//! apart and taken off. Stack is painted before and looked at after; the stand-in's own few bytes
//! are part of it.
#![no_std]
#![no_main]

mod asynchronous;
mod baselines;
mod meter;

use core::hint::black_box;
use core::mem::size_of;

use cortex_m::Peripherals;
use cortex_m::peripheral::syst::SystClkSource;
use crake::alert::{AlertQueue, Event};
use crake::board::{Board, Correction, Gain, Offset, Rail};
use crake::part::corncrake::Corncrake;
use crake::part::moorhen::Moorhen;
use crake::part::pmbus::gallinule::Gallinule;
use crake::totals::{Bounds, Margins, Totals, Update};
use crake::{Channel, Error, Monitor, Reading, Sample, ShuntMonitor, WithClock};
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;
use footprint::{
    ADDRESS, Answers, BOARD, CONFIG, Handle, Instantly, LIMITS, MARGINS, RAILS, Silent, Time,
    moorhen, part, pmbus,
};
use semihosting::{println, process};

use asynchronous::asynchronous;
use baselines::baselines;
use meter::{alone, instructions, stack};

const TIME: Time = Time::every(500_000);

type Blocking<'a> = Monitor<'static, Handle<'a>, Instantly, Corncrake, RAILS, WithClock<Time>>;

#[cortex_m_rt::entry]
fn main() -> ! {
    let Some(core) = Peripherals::take() else {
        process::exit(1)
    };
    let mut systick = core.SYST;
    systick.set_clock_source(SystClkSource::Core);
    systick.set_reload(0x00FF_FFFF);
    systick.clear_current();
    systick.enable_counter();
    sizes();
    let good = [
        samples(true),
        samples(false),
        corrected(),
        totals(&BOARD, ""),
        bounds(),
        alerts(),
        asynchronous(),
    ];
    baselines();
    process::exit(if good == [true; 7] { 0 } else { 1 })
}

fn monitor(bus: &Answers, part: Corncrake) -> Blocking<'_> {
    Monitor::new(Handle(bus), Instantly, part, &BOARD).with_clock(TIME)
}

fn sizes() {
    println!(
        "size.monitor = {}",
        size_of::<Monitor<'static, Silent, Instantly, Corncrake, RAILS>>()
    );
    println!(
        "size.monitor_of_moorhen = {}",
        size_of::<Monitor<'static, Silent, Instantly, Moorhen, { moorhen::RAILS }, WithClock<Time>>>(
        )
    );
    println!(
        "size.monitor_of_pmbus = {}",
        size_of::<Monitor<'static, Silent, Instantly, Gallinule, { pmbus::RAILS }, WithClock<Time>>>(
        )
    );
    println!("size.totals = {}", size_of::<Totals<'static, RAILS>>());
    println!(
        "size.totals_with_bounds = {}",
        size_of::<Totals<'static, RAILS, Bounds<'static, RAILS>>>()
    );
    println!("size.margins = {}", size_of::<Margins<'static, RAILS>>());
    println!("size.event = {}", size_of::<Event>());
    println!(
        "size.queue_8_events = {}",
        size_of::<AlertQueue<'static, 8>>()
    );
    println!("size.board = {}", size_of::<Board<RAILS>>());
    println!("size.rail = {}", size_of::<Rail>());
    println!("size.reading = {}", size_of::<Reading>());
    println!("size.error = {}", size_of::<Error<()>>());
}

/// Where the block goes: as far off a word as in the driver, or copying costs another number.
#[repr(align(4))]
struct Room([u8; 115]);

/// The transfers of one sample, as the driver makes them.
#[inline(never)]
fn sample_on_the_bus(bus: &Answers, room: &mut Room) {
    let mut bus = Handle(bus);
    let _ = bus.write(ADDRESS, black_box(&[0x03, 7, 6, 0x55]));
    Instantly.delay_us(510);
    let room = black_box(room).0.get_mut(3..).unwrap_or_default();
    let _ = bus.write_read(ADDRESS, &[0x80], room);
}

fn samples(block_pec: bool) -> bool {
    let (bus, other, mut room) = (Answers::new([0; 3]), Answers::new([0; 3]), Room([0; 115]));
    let bus_alone = alone(&mut || sample_on_the_bus(&other, &mut room));
    let part = if block_pec {
        part()
    } else {
        part().with_block_check_alone()
    };
    let mut monitor = monitor(&bus, part);
    bus.prepare();
    let mut good = true;
    let init = stack(&mut || good &= monitor.init(&CONFIG).is_ok());
    let whole = instructions(&mut || bus.prepare(), &mut || {
        good &= monitor.sample().is_ok()
    });
    let name = if block_pec {
        "sample"
    } else {
        "sample_block_check_alone"
    };
    println!("instructions.{name} = {}", whole - bus_alone);
    if block_pec {
        println!(
            "stack.bus_stand_in = {}",
            stack(&mut || sample_on_the_bus(&other, &mut room))
        );
        println!("stack.init = {init}");
        bus.prepare();
        println!(
            "stack.sample = {}",
            stack(&mut || good &= monitor.sample().is_ok())
        );
        bus.prepare();
        if let Ok(sample) = monitor.sample() {
            println!(
                "instructions.readings = {}",
                alone(&mut || readings(black_box(sample)))
            );
            println!(
                "stack.readings = {}",
                stack(&mut || readings(black_box(sample)))
            );
        }
    }
    good
}

#[inline(never)]
fn readings<S: Sample<RAILS>>(sample: &S) {
    for channel in Channel::first(RAILS as u8) {
        let _ = black_box(sample.reading(channel));
    }
}

/// A board with an offset and a gain on each rail.
fn board_corrected() -> Board<RAILS> {
    let mut correction = Correction::NONE;
    correction.offset = Offset::from_bits(512);
    correction.gain = Gain::from_bits((1 << 30) + 12_345);
    let mut board = BOARD;
    for channel in Channel::first(RAILS as u8) {
        board.correct(channel, &correction);
    }
    board
}

fn corrected() -> bool {
    let board = board_corrected();
    let bus = Answers::new([0; 3]);
    let mut monitor = Monitor::new(Handle(&bus), Instantly, part(), &board).with_clock(TIME);
    bus.prepare();
    let good = monitor.init(&CONFIG).is_ok();
    bus.prepare();
    if let Ok(sample) = monitor.sample() {
        println!(
            "instructions.readings_corrected = {}",
            alone(&mut || readings(black_box(sample)))
        );
    }
    good & totals(&board, "_offset")
}

fn totals(board: &Board<RAILS>, name: &str) -> bool {
    let bus = Answers::new([0; 3]);
    let mut monitor = Monitor::new(Handle(&bus), Instantly, part(), board).with_clock(TIME);
    let mut totals = Totals::new(board);
    bus.prepare();
    let mut good = monitor.init(&CONFIG).is_ok();
    for _ in 0..3 {
        bus.prepare();
        if let Ok(sample) = monitor.sample() {
            good &= !matches!(totals.update(sample), Update::Discontinuity(_));
        }
    }
    let sample_alone = alone(&mut || {
        bus.prepare();
        if let Ok(sample) = monitor.sample() {
            black_box(sample);
        }
    });
    let mut totals = Totals::new(board);
    bus.prepare();
    if let Ok(sample) = monitor.sample() {
        black_box(totals.update(sample));
    }
    let with_update = alone(&mut || {
        bus.prepare();
        if let Ok(sample) = monitor.sample() {
            good &= !matches!(totals.update(black_box(sample)), Update::Discontinuity(_));
        }
    });
    println!("instructions.update{name} = {}", with_update - sample_alone);
    if !name.is_empty() {
        return good;
    }
    bus.prepare();
    if let Ok(sample) = monitor.sample() {
        println!(
            "stack.update = {}",
            stack(&mut || {
                black_box(totals.update(sample));
            })
        );
    }
    let mut total = || {
        black_box(totals.energy(black_box(Channel::C0)));
    };
    println!("instructions.total_without_bound = {}", alone(&mut total));
    println!("stack.total_without_bound = {}", stack(&mut total));
    bus.prepare();
    good &= monitor.configure(&CONFIG).is_ok();
    bus.prepare();
    if let Ok(sample) = monitor.sample() {
        println!(
            "stack.close = {}",
            stack(&mut || {
                good &= matches!(totals.update(sample), Update::Discontinuity(_));
            })
        );
    }
    good
}

fn bounds() -> bool {
    let bus = Answers::new([0; 3]);
    let mut monitor = monitor(&bus, part());
    let mut totals = Totals::with_bounds(&MARGINS);
    bus.prepare();
    let mut good = monitor.init(&CONFIG).is_ok();
    for _ in 0..3 {
        bus.prepare();
        if let Ok(sample) = monitor.sample() {
            good &= !matches!(totals.update(sample), Update::Discontinuity(_));
        }
    }
    let mut total = || {
        black_box(totals.energy(black_box(Channel::C0)));
    };
    println!("instructions.total_with_bound = {}", alone(&mut total));
    println!("stack.total_with_bound = {}", stack(&mut total));
    bus.prepare();
    good &= monitor.configure(&CONFIG).is_ok();
    bus.prepare();
    if let Ok(sample) = monitor.sample() {
        println!(
            "stack.close_with_bounds = {}",
            stack(&mut || {
                good &= matches!(totals.update(sample), Update::Discontinuity(_));
            })
        );
    }
    good
}

/// The transfers of a look that finds one flag.
#[inline(never)]
fn look_on_the_bus(bus: &Answers) {
    let mut handle = Handle(bus);
    let _ = handle.write_read(ADDRESS, &[0x37], black_box(&mut [0; 4]));
    let _ = handle.write(ADDRESS, black_box(&[0x37, 0, 0, 4, 0x55]));
}

/// The transfers of a service that finds one flag.
#[inline(never)]
fn service_on_the_bus(bus: &Answers, room: &mut Room) {
    look_on_the_bus(bus);
    sample_on_the_bus(bus, room);
}

fn alerts() -> bool {
    // Channel 3's over-power stands whenever a service looks; it is silent, so no mask changes.
    const STANDING: [u8; 3] = [0x08, 0, 0];
    let (bus, other, mut room) = (
        Answers::new(STANDING),
        Answers::new(STANDING),
        Room([0; 115]),
    );
    let mut monitor = monitor(&bus, part());
    let mut queue = AlertQueue::<8>::new();
    bus.prepare();
    let mut good = monitor.init(&CONFIG).is_ok();
    bus.prepare();
    println!(
        "stack.set_limits = {}",
        stack(&mut || good &= queue.set_limits(&mut monitor, &LIMITS).is_ok())
    );
    let bus_alone = alone(&mut || service_on_the_bus(&other, &mut room));
    let mut service = || {
        good &= queue.service(&mut monitor).is_ok();
        black_box(queue.next_event());
    };
    let whole = instructions(&mut || bus.prepare(), &mut service);
    println!("instructions.service = {}", whole - bus_alone);
    bus.prepare();
    println!("stack.service = {}", stack(&mut service));
    let bus_alone = alone(&mut || look_on_the_bus(&other));
    let mut look = || good &= queue.read_alerts(&mut monitor).is_ok();
    let whole = instructions(&mut || bus.prepare(), &mut look);
    println!("instructions.read_alerts = {}", whole - bus_alone);
    bus.prepare();
    println!("stack.read_alerts = {}", stack(&mut look));
    good
}
