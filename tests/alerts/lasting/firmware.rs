use crake::alert::{AlertQueue, Event, Limit, Limits, Outputs};
use crake::{Sample, ShuntMonitor};
use crake_sim::bus::{Logging, Transaction};

use super::case::Case;
use super::history::{Apertures, Staged};
use crate::fixture::{ADDRESS, Fixture, events};

/// What firmware did, and what came of it.
pub struct Run {
    pub apertures: [Apertures; 4],
    /// When each limit came into force, in the order of the case's.
    pub since_ns: Vec<u64>,
    /// When all of them had.
    pub began_ns: u64,
    pub services: Vec<Service>,
    /// Writes to MASK_A and MASK_B after limits were set.
    pub masks: [Vec<u64>; 2],
    pub busy: f64,
}

/// One service.
pub struct Service {
    pub begins_ns: u64,
    pub ends_ns: u64,
    /// START and STOP of each read of FLAGS: before the sample, and after it if that settled
    /// anything.
    pub looks: Vec<(u64, u64)>,
    /// The scan that the sample shows, from 0 on; `None` before there was one.
    pub scan: Option<usize>,
    pub events: Vec<Event>,
}

/// Serves while an output is low that the queue listens to, when the queue says that something is
/// due, and as often as it reads anyway.
pub fn run(case: &Case) -> Run {
    let fixture = Fixture::new();
    let bench = &fixture.bench;
    bench.set_bus_speed(case.speed);
    let apertures = [0, 1, 2, 3].map(|channel: usize| {
        let (rail, apertures) = Staged::new(case.levels[channel].clone());
        let resistor = crake_sim::board::SenseResistor::ideal(fixture.nanoohms);
        fixture
            .part
            .rail(channel, rail, resistor)
            .expect("a channel");
        apertures
    });
    let mut monitor = fixture.monitor();
    monitor.init(&case.config).expect("a part that answers");
    let limits = Limits::new(&case.limits).wired(case.wired);
    let mut queue: AlertQueue<'_, 64> = AlertQueue::new().with_interval(case.interval);
    bench.set_logging(Logging::Full);
    queue
        .set_limits(&mut monitor, &limits)
        .expect("limits that can be");
    let log = bench.log();
    let began_ns = bench.now_ns();
    let mut run = Run {
        apertures,
        since_ns: case.limits.iter().map(|limit| set(&log, limit)).collect(),
        began_ns,
        services: Vec::new(),
        masks: Default::default(),
        busy: 0.0,
    };
    let before = bench.bus_stats();
    let mut due_ns = began_ns;
    while bench.now_ns() < case.ends_ns {
        let is_called = || {
            let [a, b] = fixture.low();
            let listening = queue.listening();
            a && listening.contains(Outputs::A) || b && listening.contains(Outputs::B)
        };
        while bench.now_ns() < due_ns && !is_called() {
            let next_ns = fixture.part.next_event_ns().unwrap_or(due_ns);
            bench.run_until(next_ns.min(due_ns));
        }
        let begins_ns = bench.now_ns();
        let sample = queue.service(&mut monitor).expect("a part that answers");
        let scan = (sample.scans() as usize).checked_sub(1);
        let log = bench.log();
        run.services.push(Service {
            begins_ns,
            ends_ns: bench.now_ns(),
            looks: looks(&log),
            scan,
            events: events(&mut queue),
        });
        for (masks, pointer) in run.masks.iter_mut().zip([0x35, 0x36]) {
            masks.extend(written(&log, pointer));
        }
        due_ns = bench.now_ns() + case.read_ns;
        if let Some(time) = queue.next_in() {
            due_ns = due_ns.min(bench.now_ns() + time.as_nanos() as u64);
        }
    }
    let busy_ns = bench.bus_stats().busy_ns - before.busy_ns;
    run.busy = busy_ns as f64 / (bench.now_ns() - began_ns) as f64;
    assert_eq!(queue.dropped(), 0);
    run
}

/// `S 64 37 Sr 65 20 00 84 .. P` is a look at the flags.
fn looks(log: &[Transaction]) -> Vec<(u64, u64)> {
    log.iter()
        .filter(|entry| entry.to_string().starts_with("S 64 37 Sr 65 "))
        .map(|entry| (entry.start_ns, entry.stop_ns))
        .collect()
}

/// Values of three bytes that were written to a register.
fn written(log: &[Transaction], pointer: u8) -> Vec<u64> {
    let prefix = format!("S {:02X} {pointer:02X} ", ADDRESS << 1);
    let texts = log.iter().map(ToString::to_string);
    texts
        .filter_map(|text| Some(text.strip_prefix(&prefix)?.to_owned()))
        .filter(|rest| !rest.starts_with("Sr"))
        .map(|rest| u64::from_str_radix(&rest[..8].replace(' ', ""), 16).expect("bytes"))
        .collect()
}

/// When a limit was written: registers 0x10 on, eight a channel, in the order of the kinds (section
/// 3).
fn set(log: &[Transaction], limit: &Limit) -> u64 {
    let register = 0x10 + 8 * limit.channel().number() + limit.kind().index() as u8;
    let prefix = format!("S {:02X} {register:02X} ", ADDRESS << 1);
    let read = format!("{prefix}Sr");
    let of = |entry: &&Transaction| {
        let text = entry.to_string();
        text.starts_with(&prefix) && !text.starts_with(&read)
    };
    log.iter().rfind(of).expect("a write").stop_ns
}
