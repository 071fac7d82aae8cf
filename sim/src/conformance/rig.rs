//! The monitor under test, as firmware has it, over either face and with the part's type taken
//! away: so that every check is compiled once.

use alloc::{boxed::Box, rc::Rc, vec::Vec};

use crake::alert::AlertQueue;
use crake::board::Board;
use crake::bus::{Fault, Wire};
use crake::config::{AlertFlags, Config, FullScale, Limits, Mode, Scan, ScanRate};
use crake::info::{PartInfo, RangeInfo, Undetectable};
use crake::part::{Codes, Part, ResumeToken, Sums};
use crake::totals::{Totals, Update};
use crake::units::Voltage;
use crake::{
    Call, Channel, Error, ErrorKind, Monitor, Operation, TimedSample, Timestamp, WithClock, asynch,
};

use super::Subject;
use super::probe::{Dropped, Probe, Tap, block_on};
use super::scene::Point;
use crate::bus::BusError;

/// What the driver answers.
pub(super) type Answer<T> = Result<T, Error<BusError>>;

/// Which face of the driver.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Face {
    Blocking,
    Async,
}

/// What is asked of a part, by places in the tables of its `PartInfo`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Setup {
    /// Sense and rail range of each channel; `None`: not enabled.
    pub(super) ranges: Vec<Option<(usize, usize)>>,
    /// Place of the scan rate; `None`: single-shot.
    pub(super) rate: Option<usize>,
    pub(super) averaging_log2: u8,
}

impl Setup {
    /// The same at another scan rate, or single-shot.
    pub(super) fn at(mut self, rate: Option<usize>) -> Self {
        self.rate = rate;
        self
    }

    /// The same with means of 2^k scans.
    pub(super) fn means(mut self, k: u8) -> Self {
        self.averaging_log2 = k;
        self
    }
}

/// A sample, copied out of the monitor.
#[derive(Clone, Debug)]
pub(super) struct Seen {
    /// `None`: no reading.
    pub(super) codes: Vec<Option<Codes>>,
    pub(super) sums: Vec<Sums>,
    pub(super) scans: u32,
    pub(super) stamp: Timestamp,
    pub(super) update: Update,
}

/// Calls of a monitor whose worst case can be asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Asked {
    Init,
    Configure,
    Resume,
    Sample,
    SetLimits,
    ReadAlerts,
    StartCapture,
    FetchCapture,
}

/// The operations of a monitor, of totals that get every sample, and of a queue.
pub(super) trait Rig<'l> {
    fn init(&mut self, setup: &Setup) -> Answer<()>;
    fn configure(&mut self, setup: &Setup) -> Answer<()>;
    fn resume(&mut self, setup: &Setup, token: ResumeToken) -> Answer<Seen>;
    fn token(&self) -> ResumeToken;
    fn sample(&mut self) -> Answer<Seen>;
    fn set_limits(&mut self, limits: &Limits<'_>, seen: &mut AlertFlags) -> Answer<()>;
    fn read_alerts(&mut self, seen: &mut AlertFlags) -> Answer<AlertFlags>;
    /// By the queue.
    fn arm(&mut self, limits: &'l Limits<'l>) -> Answer<()>;
    /// By the queue.
    fn service(&mut self) -> Answer<()>;
    /// How many looks of the queue may have lost events.
    fn unread(&self) -> u32;
    fn undetectable(&self) -> Undetectable;
    /// Flags of the queue's events since the last call.
    fn events(&mut self) -> AlertFlags;
    fn start_capture(&mut self, channel: Channel) -> Answer<()>;
    fn fetch_capture(&mut self, first: u16, codes: &mut [i32]) -> Answer<usize>;
    fn worst_case_us(&self, asked: Asked, limits: &Limits<'_>, setup: &Setup) -> Option<u64>;
    /// Charge in nanocoulombs, energy in nanojoules, both of a channel, and the time in which they
    /// were counted, in microseconds.
    fn totals(&self, channel: Channel) -> (i128, i128, u64);
}

/// A subject whose types are taken away.
pub(super) trait Erased {
    /// Whether the part has this configuration, in the ranges asked for.
    fn takes(&self, setup: &Setup) -> bool;

    fn ranges(&self, channel: Channel) -> (usize, usize);

    fn tolerance(&self, channel: Channel, point: Point) -> Point;

    fn power_tolerance(&self, channel: Channel, power: i64) -> i64;

    /// A tap of a fresh fixture.
    fn tap(&self, oscillator_ppm: i32) -> Rc<Tap>;

    /// A new monitor on a tap, with this most of bytes a read and so many attempts.
    fn rig<'t>(
        &'t self,
        tap: &Rc<Tap>,
        face: Face,
        read_max: u8,
        attempts: u8,
    ) -> Box<dyn Rig<'t> + 't>;
}

pub(super) struct Held<'s, S, const N: usize> {
    pub(super) subject: &'s S,
    pub(super) board: Board<N>,
}

impl<S: Subject<N>, const N: usize> Erased for Held<'_, S, N> {
    fn takes(&self, setup: &Setup) -> bool {
        let mut scan = Scan::<N>::NONE;
        let taken = S::Part::resolve(&config(S::Part::INFO, setup), &mut scan).is_ok();
        let channels = Channel::first(N as u8).zip(&setup.ranges);
        taken
            && channels.fold(true, |all, (channel, asked)| {
                let range = scan.range(channel);
                let range = range.map(|range| (usize::from(range.sense), usize::from(range.rail)));
                all && range == *asked
            })
    }

    fn ranges(&self, channel: Channel) -> (usize, usize) {
        self.subject.ranges(channel.number())
    }

    fn tolerance(&self, channel: Channel, Point { sense, rail }: Point) -> Point {
        let (sense, rail) = self.subject.tolerance(channel.number(), sense, rail);
        Point { sense, rail }
    }

    fn power_tolerance(&self, channel: Channel, power: i64) -> i64 {
        self.subject.power_tolerance(channel.number(), power)
    }

    fn tap(&self, oscillator_ppm: i32) -> Rc<Tap> {
        Tap::new(self.subject.fixture(oscillator_ppm), S::Part::POINTER_BYTES)
    }

    fn rig<'t>(
        &'t self,
        tap: &Rc<Tap>,
        face: Face,
        read_max: u8,
        attempts: u8,
    ) -> Box<dyn Rig<'t> + 't> {
        let (probe, delay) = (Probe(tap.clone()), Probe(tap.clone()));
        let (map, clock, board) = (self.subject.map(), Probe(tap.clone()), &self.board);
        match face {
            Face::Blocking => {
                let mut monitor = Monitor::new(probe, delay, map, board).with_clock(clock);
                monitor.set_attempts(attempts);
                monitor.set_read_max(read_max);
                Box::new(blocking::Face::new(monitor, tap, board))
            }
            Face::Async => {
                let mut monitor = asynch::Monitor::new(probe, delay, map, board).with_clock(clock);
                monitor.set_attempts(attempts);
                monitor.set_read_max(read_max);
                Box::new(asynchronous::Face::new(monitor, tap, board))
            }
        }
    }
}

/// A configuration in the driver's terms. A range past a table's end is one that no part has.
fn config<const N: usize>(info: &PartInfo, setup: &Setup) -> Config<N> {
    let reach = |ranges: &[RangeInfo], place: usize| {
        let uv = ranges
            .get(place)
            .map_or(u32::MAX, |range| range.full_scale_uv);
        Voltage::from_microvolts(uv.into())
    };
    let scale = |(sense, rail)| {
        FullScale::new(
            reach(info.sense_ranges, sense),
            reach(info.rail_ranges, rail),
        )
    };
    let any = scale((0, 0));
    let mut config = Config::single_shot([any; N]);
    for (number, ranges) in (0..).zip(&setup.ranges) {
        let channel = Channel::new(number);
        config = match ranges {
            Some(places) => config.with(channel, scale(*places)),
            None => config.without(channel),
        };
    }
    if let Some(rate) = setup.rate {
        let period_us = info.scan_periods_us.get(rate).copied().unwrap_or(1);
        let rate = match 1_000_000 / period_us {
            0 => ScanRate::every_seconds(period_us.div_ceil(1_000_000) as u16),
            scans => ScanRate::per_second(scans),
        };
        config = config.with_mode(Mode::Continuous(rate));
    }
    config.averaging(setup.averaging_log2)
}

/// What a call answers whose future was dropped.
fn dropped<T>(operation: Operation) -> Answer<T> {
    Err(Error {
        operation,
        address: 0,
        register: 0,
        kind: ErrorKind::State(Fault::Waits),
    })
}

fn seen<const N: usize, S: TimedSample<N>>(sample: &S, update: Update) -> Seen {
    let channels = || Channel::first(N as u8);
    let codes = channels().map(|channel| sample.readable(channel).map(|_| sample.codes(channel)));
    Seen {
        codes: codes.collect(),
        sums: channels().map(|channel| sample.sums(channel)).collect(),
        scans: sample.scans(),
        stamp: sample.timestamp(),
        update,
    }
}

/// Writes a face: its monitor, its trait, and what runs a call of it.
macro_rules! face {
    ($name:ident, $Monitor:path, $Trait:path, $queue:ident => $of:expr,
     $tap:ident, $operation:ident, $call:ident => $run:expr) => {
        mod $name {
            use super::*;
            use $Trait;

            type Of<'b, P, const N: usize> = $Monitor;

            pub(super) struct Face<'b, P: Part, const N: usize> {
                monitor: Of<'b, P, N>,
                totals: Totals<'b, N>,
                queue: AlertQueue<'b, 32>,
                tap: Rc<Tap>,
            }

            impl<'b, P: Part, const N: usize> Face<'b, P, N> {
                pub(super) fn new(
                    monitor: Of<'b, P, N>,
                    tap: &Rc<Tap>,
                    board: &'b Board<N>,
                ) -> Self {
                    let (totals, queue, tap) = (Totals::new(board), AlertQueue::new(), tap.clone());
                    Self {
                        monitor,
                        totals,
                        queue,
                        tap,
                    }
                }
            }

            /// Runs a call to its end.
            macro_rules! run {
                ($self:ident, $kind:ident, $future:expr) => {{
                    let ($tap, $operation) = (&*$self.tap, Operation::$kind);
                    $tap.allow();
                    // Not `let`: what the future borrows has to live on.
                    match $future {
                        $call => $run,
                    }
                }};
            }

            impl<'b, P: Part + Clone, const N: usize> Rig<'b> for Face<'b, P, N> {
                fn init(&mut self, setup: &Setup) -> Answer<()> {
                    run!(self, Init, self.monitor.init(&config(P::INFO, setup)))
                }

                fn configure(&mut self, setup: &Setup) -> Answer<()> {
                    run!(
                        self,
                        Configure,
                        self.monitor.configure(&config(P::INFO, setup))
                    )
                }

                fn resume(&mut self, setup: &Setup, token: ResumeToken) -> Answer<Seen> {
                    let config = config(P::INFO, setup);
                    let sample = run!(self, Resume, self.monitor.resume(&config, token))?;
                    let update = self.totals.update(sample);
                    Ok(seen(sample, update))
                }

                fn token(&self) -> ResumeToken {
                    self.monitor.token()
                }

                fn sample(&mut self) -> Answer<Seen> {
                    let sample = run!(self, Sample, self.monitor.sample())?;
                    let update = self.totals.update(sample);
                    Ok(seen(sample, update))
                }

                fn set_limits(&mut self, limits: &Limits<'_>, seen: &mut AlertFlags) -> Answer<()> {
                    run!(self, SetLimits, self.monitor.set_limits(limits, seen))
                }

                fn read_alerts(&mut self, seen: &mut AlertFlags) -> Answer<AlertFlags> {
                    let wanted = AlertFlags::all();
                    run!(self, ReadAlerts, self.monitor.read_alerts(wanted, seen))
                }

                fn arm(&mut self, limits: &'b Limits<'b>) -> Answer<()> {
                    let $queue = &mut self.queue;
                    run!(self, SetLimits, $of.set_limits(&mut self.monitor, limits))
                }

                fn service(&mut self) -> Answer<()> {
                    let $queue = &mut self.queue;
                    run!(self, ReadAlerts, $of.service(&mut self.monitor)).map(drop)
                }

                fn unread(&self) -> u32 {
                    self.queue.unread()
                }

                fn undetectable(&self) -> Undetectable {
                    self.monitor.undetectable()
                }

                fn events(&mut self) -> AlertFlags {
                    let each = core::iter::from_fn(|| self.queue.next_event());
                    each.fold(AlertFlags::empty(), |all, event| {
                        all | AlertFlags::of(event.flag())
                    })
                }

                fn start_capture(&mut self, channel: Channel) -> Answer<()> {
                    run!(self, StartCapture, self.monitor.start_capture(channel))
                }

                fn fetch_capture(&mut self, first: u16, codes: &mut [i32]) -> Answer<usize> {
                    let call = run!(self, FetchCapture, self.monitor.fetch_capture(first, codes))?;
                    Ok(call.codes().len())
                }

                fn worst_case_us(
                    &self,
                    asked: Asked,
                    limits: &Limits<'_>,
                    setup: &Setup,
                ) -> Option<u64> {
                    let mut codes = [0; 32];
                    let call = match asked {
                        Asked::Init => Call::Init,
                        Asked::Configure => Call::Configure,
                        Asked::Resume => Call::Resume,
                        Asked::Sample => Call::Sample,
                        Asked::SetLimits => Call::SetLimits(limits),
                        Asked::ReadAlerts => Call::ReadAlerts,
                        Asked::StartCapture => Call::StartCapture,
                        Asked::FetchCapture => Call::FetchCapture(&mut codes),
                    };
                    let config = config(P::INFO, setup);
                    self.monitor
                        .worst_case_us(call, &config, self.tap.fixture.bus_hz())
                }

                fn totals(&self, channel: Channel) -> (i128, i128, u64) {
                    let charge = self.totals.charge(channel).map(|net| net.value);
                    let energy = self.totals.energy(channel).map(|net| net.value);
                    (
                        charge.map_or(0, |charge| charge.as_nanocoulombs()),
                        energy.map_or(0, |energy| energy.as_nanojoules()),
                        self.totals.counted_us(),
                    )
                }
            }
        }
    };
}

face!(blocking, Monitor<'b, Probe, Probe, P, N, WithClock<Probe>>, crake::ShuntMonitor,
    queue => queue, _tap, _operation, call => call);
face!(asynchronous, asynch::Monitor<'b, Probe, Probe, P, N, WithClock<Probe>>,
    crake::asynch::ShuntMonitor, queue => queue.asynch(), tap, operation, call =>
    block_on(tap, call).unwrap_or_else(|Dropped| dropped(operation)));
