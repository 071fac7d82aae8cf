//! The skiff on the bench, for tests that state volts, amperes and time.
//!
//! A rail's amperes and volts are steps: `&[(0.0, 1.0), (300.0, 12.0)]` is 1.0 until 300 ms and
//! 12.0 from then on.

use std::cell::Cell;
use std::rc::Rc;
use std::time::Duration;

use crake::alert::{Limit, Limits, Outputs};
use crake::board::{self, Board, Load, Rail};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake, INFO};
use crake::totals::Margins;
use crake::units::{Current, Resistance, Tolerance, Voltage};
use crake::{Channel, Monitor, WithClock};
use crake_sim::bench::{Bench, Delay, I2c, Line, Part};
use crake_sim::board::SenseResistor;
use crake_sim::bus;
use crake_sim::part::corncrake::{self as model, Output};
use crake_sim::plant::{self, Charger, Inrush, Recorded, Source, Switch, Switched};
use embedded_hal::digital::InputPin;
use skiff_supervisor::policy::Refused;
use skiff_supervisor::{
    CELL, DRIVE, Event, LOGIC, MODEM, RAILS, Record, Settings, Supervisor, Switches,
};

#[path = "wiring.rs"]
mod wiring;

use wiring::Pin;

/// From a line falling, or a deadline, until the firmware's loop calls the supervisor: what this
/// host declares.
pub const HOST_LATENCY_US: u64 = 150;
/// Sense resistors by channel, in milliohms.
const RESISTORS_MOHM: [u64; RAILS] = [5, 10, 500, 20];
/// Their tolerance: 0.5 %.
const TOLERANCE_PPM: u32 = 5_000;

const fn rail(channel: Channel, greatest: Current, both_ways: bool) -> Rail {
    let resistance = Resistance::from_milliohms(RESISTORS_MOHM[channel.index()]);
    let tolerance = Tolerance::from_ppm(TOLERANCE_PPM);
    let load = Load::smooth(greatest);
    Rail::new(board::SenseResistor::new(resistance, tolerance)).with_load(if both_ways {
        load.both_ways()
    } else {
        load
    })
}

static RAILS_OF_THE_SKIFF: [Rail; RAILS] = [
    rail(DRIVE, Current::from_amps(13), true),
    rail(CELL, Current::from_milliamps(2_600), true),
    rail(LOGIC, Current::from_milliamps(50), false),
    rail(MODEM, Current::from_milliamps(3_200), false),
];
static BOARD: Board<RAILS> = Corncrake::board(&RAILS_OF_THE_SKIFF);
static MARGINS: Margins<'_, RAILS> = Margins::new(&INFO, &BOARD, &RAILS_OF_THE_SKIFF);

const fn full_scale(sense_mv: i64, rail_v: i64) -> FullScale {
    FullScale::new(
        Voltage::from_millivolts(sense_mv),
        Voltage::from_volts(rail_v),
    )
}

/// 13 A, 2.6 A, 50 mA and 3.2 A through the sense resistors.
const CONFIG: Config<RAILS> = Config::continuous(
    [
        full_scale(65, 16),
        full_scale(26, 6),
        full_scale(25, 6),
        full_scale(64, 6),
    ],
    ScanRate::per_second(2_000),
);

type Firmware = Supervisor<'static, 256, 16>;
type SkiffMonitor = Monitor<'static, I2c, Delay, Corncrake, RAILS, WithClock<bus::Clock>>;

/// The skiff before its launch: what its rails will do.
pub struct Plan {
    settings: Settings,
    amps: [Vec<(f64, f64)>; RAILS],
    volts: [Vec<(f64, f64)>; RAILS],
    inrush: Option<Inrush>,
    cell: CellIs,
}

/// What stands behind CELL's sense resistor.
enum CellIs {
    /// The steps of volts and amperes.
    Stated,
    /// The steps, and what MODEM draws too, behind so many milliohms.
    FeedingModem(u64),
    /// A cell of its own on a charger, beside the steps of amperes.
    OnCharger(plant::Cell, Charger),
}

/// Impedance of a cell on its charger, in microohms.
const CELL_UOHM: u64 = 100_000;

impl Plan {
    /// Other limits and times than the skiff's.
    pub fn settings(mut self, settings: Settings) -> Self {
        self.settings = settings;
        self
    }

    /// The current that a rail's load draws while its switch, if it has one, is closed; positive
    /// from source to load.
    pub fn amps(mut self, rail: Channel, steps: &[(f64, f64)]) -> Self {
        self.amps[rail.index()] = steps.to_vec();
        self
    }

    /// The voltage of a rail at its load; of CELL, when it feeds MODEM, its voltage without load.
    pub fn volts(mut self, rail: Channel, steps: &[(f64, f64)]) -> Self {
        self.volts[rail.index()] = steps.to_vec();
        self
    }

    /// Each time DRIVE closes, so many amperes flow at first, and fall to nothing within `ms`,
    /// beside its load.
    pub fn inrush(mut self, amps: f64, ms: f64) -> Self {
        self.inrush = Some(Inrush {
            peak_na: nano(amps),
            length_ns: nanoseconds(ms),
        });
        self
    }

    /// CELL has an impedance and feeds MODEM, whose current then pulls its voltage down.
    pub fn cell_feeds_modem(mut self, impedance_mohm: u64) -> Self {
        self.cell = CellIs::FeedingModem(impedance_mohm);
        self
    }

    /// CELL is a small deeply discharged cell (20 mAh, so that a charge takes minutes) on a
    /// charger: 0.228 A below 2.9 V, then 1.14 A, up to 4.2 V.
    pub fn cell_on_charger(mut self) -> Self {
        let volt = 1_000_000_000;
        let table = [
            (0, 27 * volt / 10),
            (50_000, 3 * volt),
            (200_000, 7 * volt / 2),
            (1_000_000, 42 * volt / 10),
        ];
        let cell = plant::Cell::new(20_000, 10_000, &table).expect("a cell");
        let charger = Charger {
            trickle_na: nano(0.228),
            trickle_below_nv: nano(2.9),
            bulk_na: nano(1.14),
            full_nv: nano(4.2),
            least_na: nano(0.1),
        };
        self.cell = CellIs::OnCharger(cell, charger);
        self.amps(CELL, &[(0.0, 0.0)])
    }

    /// Puts it on a bench with this seed, part and resistors drawn within their limits.
    pub fn launch(self, seed: u64) -> Skiff {
        Skiff::new(self, seed)
    }

    /// Source and loads of a rail.
    fn rail(&self, channel: Channel, drive: &Switch, modem: &Switch) -> Switched {
        let own = plant::Load::of(steps(&self.amps[channel.index()]));
        let stated = Source::of(steps(&self.volts[channel.index()]));
        let (source, loads) = match channel {
            DRIVE => {
                let own = own.behind(drive);
                let load = match self.inrush {
                    Some(inrush) => own.with_inrush(inrush),
                    None => own,
                };
                (stated, vec![load])
            }
            MODEM => (stated, vec![own.behind(modem)]),
            CELL => match &self.cell {
                CellIs::Stated => (stated, vec![own]),
                CellIs::FeedingModem(mohm) => {
                    let fed = plant::Load::of(steps(&self.amps[MODEM.index()])).behind(modem);
                    let source = stated.behind_microohms(mohm * 1_000).expect("an impedance");
                    (source, vec![own, fed])
                }
                CellIs::OnCharger(cell, charger) => {
                    let source = Source::cell(cell.clone()).behind_microohms(CELL_UOHM);
                    let charger = plant::Load::charger(*charger).expect("a charger");
                    (source.expect("an impedance"), vec![own, charger])
                }
            },
            _ => (stated, vec![own]),
        };
        Switched::new(source, loads).expect("a rail")
    }
}

/// The skiff, its firmware running.
pub struct Skiff {
    pub bench: Bench,
    pub part: Part,
    pub supervisor: Firmware,
    monitor: SkiffMonitor,
    /// While set, pins refuse.
    pub refusing: Rc<Cell<bool>>,
    lines: [Line; 2],
    switches: Switches<Pin, Pin>,
    due_us: u64,
    records: Vec<Record>,
}

impl Skiff {
    /// Rails that bother nobody, to be changed by what a test is about.
    pub fn plan() -> Plan {
        let steps = |value| vec![(0.0, value)];
        Plan {
            settings: Settings::SKIFF,
            amps: [1.0, 0.5, 0.02, 0.06].map(steps),
            volts: [15.5, 3.8, 3.3, 3.8].map(steps),
            inrush: None,
            cell: CellIs::Stated,
        }
    }

    fn new(plan: Plan, seed: u64) -> Self {
        let bench = Bench::new(seed);
        let part = bench
            .part(model::Corncrake::new(0x32))
            .expect("a free address");
        let [drive, modem] = [Switch::open(bench.clock()), Switch::open(bench.clock())];
        let mut rng = bench.rng("sense resistors");
        for channel in [DRIVE, CELL, LOGIC, MODEM] {
            let nominal = SenseResistor::ideal(RESISTORS_MOHM[channel.index()] * 1_000_000);
            let resistor = nominal
                .tolerance_ppm(TOLERANCE_PPM)
                .individual_from(&mut rng);
            part.rail(
                channel.index(),
                plan.rail(channel, &drive, &modem),
                resistor,
            )
            .expect("a channel");
        }
        let refusing = Rc::<Cell<bool>>::default();
        let part_driver = Corncrake::new(Address::Strap0);
        let monitor = Monitor::new(bench.i2c(), bench.delay(), part_driver, &BOARD);
        let monitor = monitor.with_clock(bench.clock());
        // A program has one skiff and keeps its limits in flash; a test has many, and lets them go
        // with the process.
        let limits: &[Limit] = Box::leak(Box::new(plan.settings.limits()));
        let limits = Box::leak(Box::new(Limits::new(limits)));
        Self {
            supervisor: Supervisor::new(
                plan.settings,
                limits,
                CONFIG,
                &MARGINS,
                &RAILS_OF_THE_SKIFF,
            ),
            monitor,
            lines: [Output::A, Output::B].map(|output| bench.alert(&part, output)),
            switches: Switches {
                drive: Pin::new(&bench, drive, &refusing),
                modem: Pin::new(&bench, modem, &refusing),
            },
            refusing,
            due_us: 0,
            records: Vec::new(),
            part,
            bench,
        }
    }

    /// The contacts of DRIVE or MODEM: to weld them.
    pub fn contacts(&self, rail: Channel) -> &Switch {
        &self.pin(rail).switch
    }

    /// Lets the firmware run until so many milliseconds have passed since the bench began.
    pub fn run_to_ms(&mut self, ms: u64) {
        let end_ns = ms * 1_000_000;
        while self.bench.now_ns() < end_ns {
            let low = self.low();
            if self.due_us * 1_000 <= self.bench.now_ns() || low.intersects(self.supervisor.lines())
            {
                self.bench.run_for(Duration::from_micros(HOST_LATENCY_US));
                self.poll();
            } else {
                self.step(end_ns.min(self.due_us * 1_000));
            }
        }
    }

    /// What the helmsman's button does.
    pub fn command_drive_on(&mut self) -> Result<(), Refused> {
        let commanded = self
            .supervisor
            .command_drive_on(self.bench.now_ns() / 1_000);
        self.due_us = 0;
        commanded
    }

    /// One turn of the firmware's loop.
    fn poll(&mut self) {
        let (low, now_us) = (self.low(), self.bench.now_ns() / 1_000);
        self.due_us = self
            .supervisor
            .poll(&mut self.monitor, low, now_us, &mut self.switches);
        self.records
            .extend(std::iter::from_fn(|| self.supervisor.next_record()));
    }

    /// To the part's next event, at most until `end_ns`.
    fn step(&self, end_ns: u64) {
        let next_ns = self.part.next_event_ns().unwrap_or(u64::MAX);
        self.bench
            .run_until(next_ns.clamp(self.bench.now_ns() + 1, end_ns.max(self.bench.now_ns() + 1)));
    }

    fn low(&mut self) -> Outputs {
        let [a, b] = &mut self.lines;
        let mut low = Outputs::empty();
        low.set(Outputs::A, a.is_low() == Ok(true));
        low.set(Outputs::B, b.is_low() == Ok(true));
        low
    }

    /// Whether the pin of DRIVE or MODEM says closed.
    pub fn is_on(&self, rail: Channel) -> bool {
        self.pin(rail).changes.last().is_some_and(|change| change.1)
    }

    /// When DRIVE or MODEM was told to open, in nanoseconds of the bench's clock, each time after
    /// the launch.
    pub fn openings_ns(&self, rail: Channel) -> Vec<u64> {
        let changes = self.pin(rail).changes.iter();
        let since_launch = changes.skip_while(|change| !change.1);
        let openings = since_launch.filter(|change| !change.1);
        openings.map(|change| change.0).collect()
    }

    /// When it was told to close, each time; the first is the launch.
    pub fn closings_ns(&self, rail: Channel) -> Vec<u64> {
        let closings = self.pin(rail).changes.iter().filter(|change| change.1);
        closings.map(|change| change.0).collect()
    }

    fn pin(&self, rail: Channel) -> &Pin {
        match rail {
            DRIVE => &self.switches.drive,
            MODEM => &self.switches.modem,
            _ => panic!("{rail} has no switch"),
        }
    }

    /// What the firmware noticed and did since this was called last.
    pub fn take_records(&mut self) -> Vec<Record> {
        std::mem::take(&mut self.records)
    }

    /// What the firmware noticed and did so far.
    pub fn events(&self) -> Vec<Event> {
        self.records.iter().map(|record| record.event).collect()
    }

    /// When it noticed or did something of which `is_it` is true, in microseconds.
    pub fn times_us(&self, is_it: impl Fn(&Event) -> bool) -> Vec<u64> {
        let records = self.records.iter().filter(|record| is_it(&record.event));
        records.map(|record| record.at_us).collect()
    }

    /// A rail's charge in nanocoulombs, and its bound.
    pub fn charge(&self, rail: Channel) -> (i128, i128) {
        let total = self.supervisor.totals().charge(rail).expect("a rail");
        let (value, bound) = (total.value, total.bound);
        (value.as_nanocoulombs(), bound.as_nanocoulombs())
    }

    /// A rail's energy in nanojoules, and its bound.
    pub fn energy(&self, rail: Channel) -> (i128, i128) {
        let total = self.supervisor.totals().energy(rail).expect("a rail");
        (total.value.as_nanojoules(), total.bound.as_nanojoules())
    }
}

/// Steps of amperes or volts at milliseconds, as the bench takes them.
fn steps(steps: &[(f64, f64)]) -> Recorded {
    let ((_, first), rest) = steps.split_first().expect("a first step, at 0 ms");
    let rest: Vec<_> = rest
        .iter()
        .map(|(ms, value)| (nanoseconds(*ms), nano(*value)))
        .collect();
    Recorded::steps(nano(*first), &rest).expect("steps in the order of time")
}

fn nano(value: f64) -> i64 {
    (value * 1e9).round() as i64
}

fn nanoseconds(ms: f64) -> u64 {
    (ms * 1e6).round() as u64
}
