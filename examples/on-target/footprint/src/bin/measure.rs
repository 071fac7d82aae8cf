//! Counts instructions and stack of what the driver does, and prints them with the sizes of its types, one `name = value` a line.
//!
//! Instructions, not cycles: the emulator lets one pass every 32 ns, and SysTick ticks every 40 ns. A stand-in for the bus copies prepared answers; its own cost and
//! the preparation's are measured apart and taken off. Stack is painted before and looked at after; the stand-in's own few bytes are part of it.
#![no_std]
#![no_main]

use core::future::Future as _;
use core::hint::black_box;
use core::mem::{size_of, size_of_val};
use core::pin::pin;
use core::task::{Context, Poll, Waker};

use cortex_m::Peripherals;
use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_stack::{current_stack_in_use, repaint_stack, stack_painted, stack_size};
use crake::old::alert::{Event, Station, Watches, prove};
use crake::old::asynch;
use crake::old::board::{Board, Rail};
use crake::old::crc::Pec;
use crake::old::ledger::{Account, Entry, Ledger};
use crake::old::part::corncrake::{Corncrake, SPEC};
use crake::old::{Channel, Error, Fault, Frame, Monitor, Reading, Setup, ShuntMonitor};
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;
use footprint::{ADDRESS, Answers, BOARD, Handle, Instantly, LIMITS, RAILS, SETUP, Time};
use semihosting::{println, process};

/// Calls that are measured together: exact to a tenth of an instruction, and the longest does not run SysTick out.
const CALLS: u32 = 32;
const TIME: Time = Time::every(500_000);

type Blocking<'a> = Monitor<'static, Handle<'a>, Instantly, Time, Corncrake, RAILS>;
type Async<'a> = asynch::Monitor<'static, Handle<'a>, Instantly, Time, Corncrake, RAILS>;

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
        frames(),
        ledgers(),
        alerts(),
        conversions(),
        asynchronous(),
        alerts_asynchronous(),
    ];
    process::exit(if good == [true; 6] { 0 } else { 1 })
}

/// Instructions for one call of `act`, each after a call of `before`, which does not count.
#[inline(never)]
fn instructions(before: &mut dyn FnMut(), act: &mut dyn FnMut()) -> u32 {
    let whole = ticks(before, act);
    let rest = ticks(before, &mut || {
        black_box(());
    });
    // 40 ns a tick, 32 ns an instruction.
    whole.saturating_sub(rest) * 5 / 4 / CALLS
}

#[inline(never)]
fn ticks(before: &mut dyn FnMut(), act: &mut dyn FnMut()) -> u32 {
    let begin = SYST::get_current();
    for _ in 0..CALLS {
        before();
        act();
    }
    begin.wrapping_sub(SYST::get_current()) & 0x00FF_FFFF
}

fn alone(act: &mut dyn FnMut()) -> u32 {
    instructions(&mut || {}, act)
}

/// Bytes of stack that `act` takes, at the deepest.
#[inline(never)]
fn stack(act: &mut dyn FnMut()) -> u32 {
    repaint_stack();
    let before = current_stack_in_use();
    act();
    (stack_size() - stack_painted()).saturating_sub(before)
}

fn monitor(bus: &Answers) -> Blocking<'_> {
    Monitor::new(
        Handle(bus),
        Instantly,
        TIME,
        Corncrake::new(),
        ADDRESS,
        &BOARD,
    )
}

fn monitor_async(bus: &Answers) -> Async<'_> {
    asynch::Monitor::new(
        Handle(bus),
        Instantly,
        TIME,
        Corncrake::new(),
        ADDRESS,
        &BOARD,
    )
}

fn sizes() {
    println!(
        "size.monitor = {}",
        size_of::<Monitor<'static, (), (), (), Corncrake, RAILS>>()
    );
    println!("size.ledger = {}", size_of::<Ledger<'static, RAILS>>());
    println!(
        "size.ledger_of_totals = {}",
        size_of::<Ledger<'static, RAILS, ()>>()
    );
    println!(
        "size.station_8_events = {}",
        size_of::<Station<'static, RAILS, 8>>()
    );
    println!("size.event = {}", size_of::<Event>());
    println!("size.board = {}", size_of::<Board<RAILS>>());
    println!("size.rail = {}", size_of::<Rail>());
    println!("size.setup = {}", size_of::<Setup<RAILS>>());
    println!("size.frame = {}", size_of::<Frame<'static>>());
    println!("size.reading = {}", size_of::<Reading>());
    println!("size.account = {}", size_of::<Account>());
    println!("size.fault = {}", size_of::<Fault>());
    println!("size.error = {}", size_of::<Error<()>>());
}

/// The transfers of one frame, as the driver makes them.
#[inline(never)]
fn frame_on_the_bus(bus: &Answers, room: &mut [u8; 112]) {
    let mut bus = Handle(bus);
    let _ = bus.write(ADDRESS, black_box(&[0x03, 7, 6, 0x55]));
    Instantly.delay_us(510);
    let _ = bus.write_read(ADDRESS, &[0x80], black_box(room));
}

fn frames() -> bool {
    let (bus, other, mut room) = (Answers::new([0; 3]), Answers::new([0; 3]), [0; 112]);
    frame_on_the_bus(&other, &mut room);
    println!("bus.frame_transfers = {}", other.transfers());
    // 109 bytes go to the decoder; the block's check value and the check byte do not.
    println!(
        "bus.frame_data_permille = {}",
        109 * 8 * 1000 / other.bits()
    );
    let bus_alone = alone(&mut || frame_on_the_bus(&other, &mut room));
    println!(
        "stack.bus_stand_in = {}",
        stack(&mut || frame_on_the_bus(&other, &mut room))
    );

    let mut monitor = monitor(&bus);
    bus.prepare();
    let mut good = true;
    println!(
        "stack.init = {}",
        stack(&mut || good &= monitor.init(&SETUP).is_ok())
    );
    let whole = instructions(&mut || bus.prepare(), &mut || {
        good &= monitor.latch().is_ok()
    });
    println!("instructions.frame = {}", whole - bus_alone);
    bus.prepare();
    println!(
        "stack.frame = {}",
        stack(&mut || good &= monitor.latch().is_ok())
    );
    bus.prepare();
    println!(
        "stack.configure = {}",
        stack(&mut || good &= monitor.configure(&SETUP).is_ok())
    );
    let mut codes = [0; 16];
    println!(
        "stack.fetch = {}",
        stack(&mut || good &= monitor.fetch(&mut codes).is_ok())
    );

    let one_by_one = alone(&mut || {
        black_box(register_by_register(&other));
    });
    let bus_one_by_one = alone(&mut || registers_on_the_bus(&other));
    println!(
        "instructions.one_register_at_a_time = {}",
        one_by_one - bus_one_by_one
    );
    let other = Answers::new([0; 3]);
    registers_on_the_bus(&other);
    println!(
        "bus.one_register_at_a_time_transfers = {}",
        other.transfers()
    );
    println!(
        "bus.one_register_at_a_time_data_permille = {}",
        100 * 8 * 1000 / other.bits()
    );
    good
}

/// Bytes of what a frame gives, read the other way: a register at a time, each with its check byte; not coherent.
const REGISTERS: [(u8, usize); 5] = [(0x60, 3), (0x64, 2), (0x68, 5), (0x6C, 6), (0x70, 8)];

#[inline(never)]
fn register_by_register(bus: &Answers) -> [[i64; 5]; RAILS] {
    let mut values = [[0; 5]; RAILS];
    for (channel, values) in (0..).zip(&mut values) {
        for ((first, len), value) in REGISTERS.iter().zip(values) {
            *value = register(bus, first + channel, *len).unwrap_or_default();
        }
    }
    black_box(register(bus, 0x74, 4));
    values
}

fn register(bus: &Answers, pointer: u8, len: usize) -> Option<i64> {
    let mut room = [0; 9];
    let room = room.get_mut(..=len)?;
    let _ = Handle(bus).write_read(ADDRESS, &[pointer], room);
    let (check, data) = room.split_last()?;
    let mut pec = Pec::new();
    pec.add_all(&[ADDRESS << 1, pointer, ADDRESS << 1 | 1]);
    pec.add_all(data);
    let value = data
        .iter()
        .fold(0_i64, |value, byte| value << 8 | i64::from(*byte));
    let spare = 64 - 8 * len as u32;
    (pec.value() == *check).then_some(value << spare >> spare)
}

#[inline(never)]
fn registers_on_the_bus(bus: &Answers) {
    for channel in 0..RAILS as u8 {
        for (first, len) in REGISTERS {
            if let Some(room) = [0; 9].get_mut(..=len) {
                let _ = Handle(bus).write_read(ADDRESS, &[first + channel], black_box(room));
            }
        }
    }
    let _ = Handle(bus).write_read(ADDRESS, &[0x74], black_box(&mut [0; 5]));
}

fn ledgers() -> bool {
    let bus = Answers::new([0; 3]);
    let mut monitor = monitor(&bus);
    let mut ledger = Ledger::new(&BOARD, &SPEC);
    bus.prepare();
    let mut good = match monitor.init(&SETUP) {
        Ok(frame) => ledger.update(&frame) == Entry::Opened,
        Err(_) => false,
    };
    let frame_alone = alone(&mut || {
        bus.prepare();
        // Whole, not merely asked whether it came: making it is part of a frame's cost.
        if let Ok(frame) = monitor.latch() {
            black_box(&frame);
        }
    });
    // The first of those skipped frames was not lost: the sums of the next have it. It is also the one that tells what the new set-up is, which is worked out once.
    bus.prepare();
    if let Ok(frame) = monitor.latch() {
        good &= ledger.update(&frame) == Entry::Added;
    }
    let with_update = alone(&mut || {
        bus.prepare();
        if let Ok(frame) = monitor.latch() {
            good &= ledger.update(black_box(&frame)) == Entry::Added;
        }
    });
    println!("instructions.ledger_update = {}", with_update - frame_alone);
    bus.prepare();
    if let Ok(frame) = monitor.latch() {
        println!(
            "stack.ledger_update = {}",
            stack(&mut || good &= ledger.update(&frame) == Entry::Added)
        );
        println!(
            "instructions.readings_of_four = {}",
            alone(&mut || readings(black_box(&frame)))
        );
        println!(
            "stack.readings_of_four = {}",
            stack(&mut || readings(black_box(&frame)))
        );
    }
    let mut account = || {
        black_box(ledger.account(black_box(Channel::C0)));
    };
    println!("instructions.account = {}", alone(&mut account));
    let mut total = || {
        black_box(ledger.total(black_box(Channel::C0)));
    };
    println!("instructions.total = {}", alone(&mut total));
    println!("stack.total = {}", stack(&mut total));
    println!("stack.account = {}", stack(&mut account));
    bus.prepare();
    if let Ok(frame) = monitor.configure(&SETUP) {
        println!(
            "stack.ledger_turn = {}",
            stack(&mut || good &= ledger.update(&frame) == Entry::Turned)
        );
    }
    let mut totals = Ledger::of_totals(&BOARD, &SPEC);
    for close in [false, false, true] {
        bus.prepare();
        let frame = if close {
            monitor.configure(&SETUP)
        } else {
            monitor.latch()
        };
        if let Ok(frame) = frame {
            let used = stack(&mut || good &= totals.update(&frame) != Entry::Idle);
            if close {
                println!("stack.totals_turn = {used}");
            }
        }
    }
    good
}

fn readings(frame: &Frame<'_>) {
    for channel in Channel::first(RAILS as u8) {
        let _ = black_box(frame.reading(channel));
    }
}

fn alerts() -> bool {
    // Channel 0's over-current stands whenever a service looks.
    let (bus, other) = (Answers::new([0, 0, 4]), Answers::new([0, 0, 4]));
    let mut room = [0; 112];
    let mut monitor = monitor(&bus);
    let mut station = Station::<RAILS, 8>::new(SETUP, Watches::limits(&LIMITS));
    bus.prepare();
    let mut good = monitor.init(&SETUP).is_ok();
    bus.prepare();
    println!(
        "stack.arm = {}",
        stack(&mut || good &= station.arm(&mut monitor).is_ok())
    );
    while station.next_event().is_some() {}
    let bus_alone = alone(&mut || service_on_the_bus(&other, &mut room));
    let mut service = || {
        good &= station.service(&mut monitor).is_ok();
        good &= station.next_event().is_some();
    };
    let whole = instructions(&mut || bus.prepare(), &mut service);
    println!("instructions.service = {}", whole - bus_alone);
    bus.prepare();
    println!("stack.service = {}", stack(&mut service));
    let bus_alone = alone(&mut || look_on_the_bus(&other));
    let mut look = || good &= matches!(station.look(&mut monitor), Ok(true));
    let whole = instructions(&mut || bus.prepare(), &mut look);
    println!("instructions.look = {}", whole - bus_alone);
    bus.prepare();
    println!("stack.look = {}", stack(&mut look));
    // Its second latch finds the block stale, which is where the deepest path ends.
    bus.prepare();
    println!(
        "stack.prove = {}",
        stack(&mut || {
            let _ = black_box(prove(
                &mut station,
                &mut monitor,
                &mut |_| black_box(true),
                &mut |_| bus.prepare(),
            ));
        })
    );
    good
}

/// The transfers of a look that finds one cause.
#[inline(never)]
fn look_on_the_bus(bus: &Answers) {
    let mut handle = Handle(bus);
    let _ = handle.write_read(ADDRESS, &[0x37], black_box(&mut [0; 4]));
    let _ = handle.write(ADDRESS, black_box(&[0x37, 0, 0, 4, 0x55]));
}

/// The transfers of a service that finds one cause.
#[inline(never)]
fn service_on_the_bus(bus: &Answers, room: &mut [u8; 112]) {
    look_on_the_bus(bus);
    let _ = Handle(bus).write_read(ADDRESS, &[0x37], black_box(&mut [0; 4]));
    frame_on_the_bus(bus, room);
}

/// The nanoamperes of a code, by the driver and in `f32`: 500 nV over 10 mΩ.
fn conversions() -> bool {
    let [rail, ..] = BOARD.rails();
    let driver = alone(&mut || {
        black_box(rail.current(black_box(100_000)));
    });
    println!("instructions.conversion = {driver}");
    let in_f32 = alone(&mut || {
        black_box(nanoamperes_in_f32(
            black_box(20_000),
            black_box(50_000.0),
            black_box(0.0),
        ));
    });
    println!("instructions.conversion_in_f32 = {in_f32}");
    let all_in_f32 = alone(&mut || {
        for channel in 0..RAILS as i32 {
            let volts = black_box(13_200 + channel) as f32 * black_box(0.000_25);
            let amps = black_box(20_000) as f32 * black_box(0.000_05);
            black_box((volts, amps, volts * amps));
        }
    });
    println!("instructions.readings_of_four_in_f32 = {all_in_f32}");
    // 100 000 units of 100 nV over 10 mΩ.
    rail.current(100_000).as_nanoamps() == 1_000_000_000
}

#[inline(never)]
fn nanoamperes_in_f32(code: i32, nanoamperes: f32, zero: f32) -> i64 {
    // The driver's conversion takes the zero of a calibration off, too.
    (code as f32 * nanoamperes - zero) as i64
}

fn asynchronous() -> bool {
    use asynch::ShuntMonitor as _;

    let mut context = Context::from_waker(Waker::noop());
    let (bus, other) = (Answers::new([0; 3]), Answers::new([0; 3]));
    let mut room = [0; 112];
    let mut monitor = monitor_async(&bus);
    bus.prepare();
    let mut good = pin!(monitor.init(&SETUP)).poll(&mut context).is_ready();
    let bus_alone = alone(&mut || frame_on_the_bus(&other, &mut room));
    println!("size.future_of_latch = {}", size_of_val(&monitor.latch()));
    let mut latch = || {
        let latch = pin!(monitor.latch());
        good &= latch.poll(&mut context).is_ready();
    };
    let whole = instructions(&mut || bus.prepare(), &mut latch);
    println!("instructions.frame_async = {}", whole - bus_alone);
    bus.prepare();
    println!("stack.frame_async = {}", stack(&mut latch));
    let frame_alone = alone(&mut || {
        bus.prepare();
        latch();
    });
    let mut ledger = Ledger::new(&BOARD, &SPEC);
    let mut latch_and_update = || {
        let latch = pin!(monitor.latch());
        if let Poll::Ready(Ok(frame)) = latch.poll(&mut context) {
            good &= matches!(
                ledger.update(black_box(&frame)),
                Entry::Opened | Entry::Added
            );
        }
    };
    bus.prepare();
    latch_and_update();
    // Each block counts on from the one before, so each that is prepared is to be latched.
    let with_update = alone(&mut || {
        bus.prepare();
        latch_and_update();
    });
    println!(
        "instructions.ledger_update_async = {}",
        with_update - frame_alone
    );
    bus.prepare();
    println!(
        "stack.frame_and_ledger_update_async = {}",
        stack(&mut latch_and_update)
    );
    good
}

fn alerts_asynchronous() -> bool {
    use asynch::ShuntMonitor as _;

    let mut context = Context::from_waker(Waker::noop());
    let (bus, other) = (Answers::new([0, 0, 4]), Answers::new([0, 0, 4]));
    let mut room = [0; 112];
    let mut monitor = monitor_async(&bus);
    let mut station = Station::<RAILS, 8>::new(SETUP, Watches::limits(&LIMITS));
    bus.prepare();
    let mut good = pin!(monitor.init(&SETUP)).poll(&mut context).is_ready();
    bus.prepare();
    let mut arm = || {
        let arm = pin!(station.arm_async(&mut monitor));
        good &= matches!(arm.poll(&mut context), Poll::Ready(Ok(_)));
    };
    println!("stack.arm_async = {}", stack(&mut arm));
    while station.next_event().is_some() {}
    let bus_alone = alone(&mut || service_on_the_bus(&other, &mut room));
    let size = size_of_val(&station.service_async(&mut monitor));
    println!("size.future_of_service = {size}");
    let mut service = || {
        {
            let service = pin!(station.service_async(&mut monitor));
            good &= matches!(service.poll(&mut context), Poll::Ready(Ok(_)));
        }
        good &= station.next_event().is_some();
    };
    let whole = instructions(&mut || bus.prepare(), &mut service);
    println!("instructions.service_async = {}", whole - bus_alone);
    bus.prepare();
    println!("stack.service_async = {}", stack(&mut service));
    good
}
