//! Three seconds of the skiff: thruster, cell, logger and modem, with the supervisor's firmware,
//! the driver and the part all on one core.
//!
//! The thruster's current goes over its limit at 600 ms, the cell sags at 1200 ms and recovers, the
//! thruster is given back by command at 1500 ms. At the end a fast capture is taken of the
//! thruster.

use alloc::vec::Vec;
use core::fmt::Write;
use core::time::Duration;

use crake::alert::{Limits, Outputs};
use crake::board::{self, Board, Load, Rail};
use crake::capture::Tally;
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake, INFO};
use crake::totals::Margins;
use crake::units::{Current, Resistance, Tolerance, Voltage};
use crake::{Channel, Monitor, Sample, ShuntMonitor, TimedSample, WithClock};
use crake_sim::bench::{Bench, Delay, I2c, Line, Part};
use crake_sim::board::SenseResistor;
use crake_sim::bus;
use crake_sim::part::corncrake::{self as model, Output};
use crake_sim::plant::{self, Profile, Pulses, Recorded, Source, Switch, Switched};
use embedded_hal::digital::InputPin;
use skiff_supervisor::{
    CELL, DRIVE, Event, LOGIC, MODEM, RAILS, Settings, Supervisor, Switches, name,
};

use crate::Wrong;
use crate::fixture::ADDRESS;

/// From a line falling, or a deadline, until the loop calls the supervisor.
const HOST_LATENCY: Duration = Duration::from_micros(150);
/// Sense resistors by channel, in milliohms, good to 0.5 %.
const RESISTORS_MOHM: [u64; RAILS] = [5, 10, 500, 20];
const TOLERANCE_PPM: u32 = 5_000;
/// How long the skiff is watched.
const END_MS: u64 = 3_000;
const REPORT_EVERY_MS: u64 = 250;
/// When the thruster is given back.
const COMMAND_MS: u64 = 1_500;

const fn rail(channel: Channel, load: Load) -> Rail {
    let resistance = Resistance::from_milliohms(RESISTORS_MOHM[channel.index()]);
    let tolerance = Tolerance::from_ppm(TOLERANCE_PPM);
    Rail::new(board::SenseResistor::new(resistance, tolerance)).with_load(load)
}

static SKIFF: [Rail; RAILS] = [
    rail(DRIVE, Load::smooth(Current::from_amps(13)).both_ways()),
    rail(
        CELL,
        Load::smooth(Current::from_milliamps(2_600)).both_ways(),
    ),
    rail(LOGIC, Load::smooth(Current::from_milliamps(50))),
    rail(MODEM, Load::smooth(Current::from_milliamps(3_200))),
];
static BOARD: Board<RAILS> = Corncrake::board(&SKIFF);
static MARGINS: Margins<'_, RAILS> = Margins::new(&INFO, &BOARD, &SKIFF);

static LIMITS: Limits<'_> = Limits::new(&Settings::SKIFF.limits());

const fn full_scale(sense_mv: i64, rail_v: i64) -> FullScale {
    FullScale::new(
        Voltage::from_millivolts(sense_mv),
        Voltage::from_volts(rail_v),
    )
}

/// What the supervisor watches with: 13 A, 2.6 A, 50 mA and 3.2 A, 500 scans a second.
const CONFIG: Config<RAILS> = Config::continuous(
    [
        full_scale(65, 16),
        full_scale(26, 6),
        full_scale(25, 6),
        full_scale(64, 6),
    ],
    ScanRate::per_second(500),
);

/// The host's clock: the bench's, in whole microseconds.
type SkiffMonitor = Monitor<'static, I2c, Delay, Corncrake, RAILS, WithClock<bus::Clock>>;

/// Board and firmware.
struct Skiff {
    bench: Bench,
    part: Part,
    supervisor: Supervisor<'static, 16, 8>,
    monitor: SkiffMonitor,
    lines: [Line; 2],
    switches: Switches<Switch, Switch>,
    due_us: u64,
}

/// The mission with this seed, as lines: what was noticed and done, readings, totals.
///
/// # Errors
/// A board that cannot be, or an outcome that is not as it must be whatever the seed.
pub fn run(out: &mut dyn Write, seed: u64) -> Result<(), Wrong> {
    let mut skiff = Skiff::new(seed)?;
    writeln!(out, "mission with seed {seed}")?;
    let mut seen = Vec::new();
    for ms in (REPORT_EVERY_MS..=END_MS).step_by(REPORT_EVERY_MS as usize) {
        skiff.run_to_ms(out, ms, &mut seen)?;
        skiff.readings(out)?;
        if ms == COMMAND_MS {
            let now_us = skiff.bench.now_ns() / 1_000;
            if skiff.supervisor.command_drive_on(now_us).is_err() {
                return Err(Wrong::Mission("the thruster is not given back"));
            }
            skiff.due_us = 0;
        }
    }
    skiff.totals(out)?;
    skiff.capture(out)?;
    let count = |is_it: fn(&Event) -> bool| seen.iter().filter(|event| is_it(event)).count();
    let as_it_must = [
        count(|event| matches!(event, Event::Watching)),
        count(|event| matches!(event, Event::DriveTripped(Some(_)))),
        count(|event| matches!(event, Event::DriveRestored)),
        count(|event| matches!(event, Event::ModemShed(Some(_)))),
    ];
    if as_it_must != [1; 4] {
        return Err(Wrong::Mission("not each of the four events once"));
    }
    Ok(())
}

impl Skiff {
    fn new(seed: u64) -> Result<Self, Wrong> {
        let bench = Bench::new(seed);
        let part = bench.part(model::Corncrake::new(ADDRESS))?;
        let mut rng = bench.rng("sense resistors");
        let (drive, modem) = (Switch::open(bench.clock()), Switch::open(bench.clock()));
        let ms = |ms: u64| ms * 1_000_000;
        let (ma, mv) = (1_000_000, 1_000_000);
        let thruster =
            Recorded::steps(4_000 * ma, &[(ms(600), 11_000 * ma), (ms(900), 6_000 * ma)])?;
        let sagging = Recorded::steps(
            3_700 * mv,
            &[(ms(1_200), 3_200 * mv), (ms(1_300), 3_700 * mv)],
        )?;
        let radio = Pulses::new(60 * ma, 1_800 * ma, ms(40), ms(9))?.with_edges(500_000)?;
        // The cell gives what logger and modem draw, and is charged on the way.
        let flow = Recorded::ramp((0, 700 * ma), (ms(END_MS), -300 * ma))?;
        let steady = plant::Constant::new;
        let rails: [(Source, Vec<plant::Load>); RAILS] = [
            (
                source(steady(15_500 * mv)?, 20_000)?,
                load(thruster, Some(&drive)),
            ),
            (source(sagging, 0)?, load(flow, None)),
            (
                source(steady(3_300 * mv)?, 100_000)?,
                load(steady(22 * ma)?, None),
            ),
            (
                source(steady(3_800 * mv)?, 80_000)?,
                load(radio, Some(&modem)),
            ),
        ];
        for ((channel, (source, loads)), mohm) in (0..).zip(rails).zip(RESISTORS_MOHM) {
            let nominal = SenseResistor::ideal(mohm * 1_000_000);
            let resistor = nominal
                .tolerance_ppm(TOLERANCE_PPM)
                .individual_from(&mut rng);
            part.rail(channel, Switched::new(source, loads)?, resistor)?;
        }
        let corncrake = Corncrake::new(Address::Strap0);
        let monitor =
            Monitor::new(bench.i2c(), bench.delay(), corncrake, &BOARD).with_clock(bench.clock());
        Ok(Self {
            supervisor: Supervisor::new(Settings::SKIFF, &LIMITS, CONFIG, &MARGINS, &SKIFF),
            monitor,
            lines: [Output::A, Output::B].map(|output| bench.alert(&part, output)),
            switches: Switches { drive, modem },
            due_us: 0,
            part,
            bench,
        })
    }

    /// The firmware's loop, until so many milliseconds have passed since the bench began; a line
    /// for whatever the supervisor notes.
    fn run_to_ms(
        &mut self,
        out: &mut dyn Write,
        ms: u64,
        seen: &mut Vec<Event>,
    ) -> Result<(), Wrong> {
        let end_ns = ms * 1_000_000;
        while self.bench.now_ns() < end_ns {
            let low = self.low();
            let now_ns = self.bench.now_ns();
            if self.due_us * 1_000 > now_ns && !low.intersects(self.supervisor.lines()) {
                // Asleep until the deadline or the part's next event, which may call a line.
                let until_ns = end_ns.min(self.due_us * 1_000);
                let next_ns = self.part.next_event_ns().unwrap_or(u64::MAX);
                self.bench.run_until(next_ns.min(until_ns).max(now_ns + 1));
                continue;
            }
            self.bench.run_for(HOST_LATENCY);
            let (low, now_us) = (self.low(), self.bench.now_ns() / 1_000);
            self.due_us = self
                .supervisor
                .poll(&mut self.monitor, low, now_us, &mut self.switches);
            while let Some(record) = self.supervisor.next_record() {
                writeln!(out, "{record}")?;
                seen.push(record.event);
            }
        }
        Ok(())
    }

    fn low(&mut self) -> Outputs {
        let [a, b] = &mut self.lines;
        let mut low = Outputs::empty();
        low.set(Outputs::A, a.is_low() == Ok(true));
        low.set(Outputs::B, b.is_low() == Ok(true));
        low
    }

    /// A sample of its own: codes, sums and readings. The supervisor's totals do without it.
    fn readings(&mut self, out: &mut dyn Write) -> Result<(), Wrong> {
        let Ok(sample) = self.monitor.sample() else {
            return Err(Wrong::Mission("a sample"));
        };
        let timestamp = sample.timestamp();
        writeln!(
            out,
            "{} to {} us: {} scans, {} clipped samples",
            timestamp.before_us,
            timestamp.after_us,
            sample.scans(),
            sample.clipped_samples()
        )?;
        for channel in Channel::first(RAILS as u8) {
            write!(out, "  {:5} {:?}", name(channel), sample.sums(channel))?;
            match sample.reading(channel) {
                Ok(reading) => writeln!(
                    out,
                    " {} nV {} nA {} nW",
                    reading.voltage.as_nanovolts(),
                    reading.current.as_nanoamps(),
                    reading.power.as_nanowatts()
                )?,
                Err(why) => writeln!(out, " {why}")?,
            }
        }
        Ok(())
    }

    /// What the totals are, held against the truth.
    fn totals(&mut self, out: &mut dyn Write) -> Result<(), Wrong> {
        let totals = self.supervisor.totals();
        writeln!(
            out,
            "epoch {}, {:?}, next sample by {:?}",
            totals.epoch(),
            totals.gap(),
            totals.next_sample_by_us()
        )?;
        for channel in Channel::first(RAILS as u8) {
            let (Some(charge), Some(energy)) = (totals.charge(channel), totals.energy(channel))
            else {
                return Err(Wrong::Mission("totals"));
            };
            writeln!(out, "  {:5} {charge:?}, {energy:?}", name(channel))?;
            let truth_nc = self.part.truth(channel.index())?.charge_half_na_ns / 2_000_000_000;
            let off = charge.value.as_nanocoulombs() - truth_nc;
            writeln!(out, "  {:5} truly {truth_nc} nC", name(channel))?;
            // The truth runs from the very beginning to now, the total from a few milliseconds
            // later to the last service: hence 1 % besides.
            let bound = charge.bound.as_nanocoulombs() + truth_nc.abs() / 100;
            if channel != CELL && off.abs() > bound {
                return Err(Wrong::Mission("a total beyond its bound"));
            }
        }
        Ok(())
    }

    /// A fast capture of the thruster, and what it comes to.
    fn capture(&mut self, out: &mut dyn Write) -> Result<(), Wrong> {
        let wrong = Wrong::Mission("a fast capture");
        let mut codes = [0; 256];
        self.monitor.start_capture(DRIVE).map_err(|_| wrong)?;
        let capture = self
            .monitor
            .fetch_capture(0, &mut codes)
            .map_err(|_| wrong)?;
        let mut tally = Tally::new();
        if !tally.add(&capture) {
            return Err(wrong);
        }
        writeln!(
            out,
            "capture: {tally:?}, mean {:?}, rms {:?}, {:?}",
            tally.mean(&capture),
            tally.rms(&capture),
            tally.charge(&capture)
        )?;
        writeln!(out, "codes {:?}", capture.codes())?;
        let stats = self.bench.bus_stats();
        writeln!(out, "{stats:?}, {} conversions", self.part.conversions())?;
        Ok(())
    }
}

fn source(voltage: impl Profile + 'static, microohms: u64) -> Result<Source, Wrong> {
    Ok(Source::of(voltage).behind_microohms(microohms)?)
}

fn load(current: impl Profile + 'static, switch: Option<&Switch>) -> Vec<plant::Load> {
    let load = plant::Load::of(current);
    Vec::from([match switch {
        Some(switch) => load.behind(switch),
        None => load,
    }])
}
