//! Firmware on a blocking or on an async bus, asked for the same operations.

use std::future::{Future, poll_fn};
use std::pin::pin;
use std::rc::Rc;
use std::task::Poll;

use crake::alert::asynch::alert_response as alert_response_async;
use crake::alert::{AlertQueue, Answer, Proof, alert_response};
use crake::asynch::ShuntMonitor as _;
use crake::part::ResumeToken;
use crake::part::corncrake::{Address, Corncrake};
use crake::totals::Update;
use crake::{
    Call, Channel, Error, Monitor, NoReading, Reading, ShuntMonitor, TimedSample, Timestamp,
    WithClock, asynch,
};
use crake_sim::bench::{Bench, Delay};
use crake_sim::bus::BusError;

use crate::books::{Books, Saved};
use crate::bus::{Controller, HostClock, Wiring};
use crate::limits::LimitSet;
use crate::scene::{BOARD, CHANNELS, Scene, Setting};

/// Which bus the firmware is written for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Face {
    Blocking,
    Async,
}

pub const FACES: [Face; 2] = [Face::Blocking, Face::Async];

/// What is asked of a monitor.
#[derive(Clone, Copy, Debug)]
pub enum Ask {
    Init(&'static Setting),
    Configure(&'static Setting),
    Sample,
    /// Those that belong to the setting.
    SetLimits(&'static Setting),
    ReadAlerts,
    Service,
    ProofTest,
    /// The SMBus alert response, on the monitor's own bus.
    AlertResponse,
    StartCapture(Channel),
    FetchCapture,
    /// The firmware restarts: a new monitor goes on with the token that was kept.
    Resume(&'static Setting),
    Powered(bool),
}

/// What came of it.
#[derive(Debug)]
pub enum Outcome {
    Done,
    Sampled(Box<Seen>),
    Fetched(Vec<i32>),
    Proved(Proof),
    Answered(Result<Answer, BusError>),
    Failed(Error<BusError>),
    Dropped,
}

/// All that a sample tells.
#[derive(Debug)]
pub struct Seen {
    pub stamp: Timestamp,
    pub scans: u32,
    pub configuration: u32,
    /// What the totals said of it, if they were given it.
    pub update: Option<Update>,
    pub readings: [Result<Reading, NoReading>; CHANNELS],
}

type Blocking = Monitor<'static, Controller, Delay, Corncrake, CHANNELS, WithClock<HostClock>>;
type Async = asynch::Monitor<'static, Controller, Delay, Corncrake, CHANNELS, WithClock<HostClock>>;

/// A monitor of either kind.
pub enum Host {
    Blocking(Box<Blocking>),
    Async(Box<Async>),
}

/// What firmware keeps besides its monitor.
pub struct Kept {
    pub queue: AlertQueue<'static, 64>,
    pub books: Books,
    /// Totals and token as of the last operation that came through.
    pub saved: Option<Saved>,
    /// What was loaded after a restart.
    pub token: ResumeToken,
}

impl Default for Kept {
    fn default() -> Self {
        Self {
            token: ResumeToken {
                writes: 0,
                configuration: 0,
            },
            queue: AlertQueue::new(),
            books: Books::default(),
            saved: None,
        }
    }
}

/// Which codes of a capture are fetched, and how many: two reads, and the last ones.
pub const FIRST_CODE: u16 = 1_000;
pub const CODES: usize = 24;

/// The bench's bus, unless set otherwise.
const BUS_HZ: u32 = 400_000;

/// Calls a method of the queue with either monitor.
macro_rules! on_queue {
    ($host:expr, $scene:expr, $queue:expr, $method:ident($($argument:expr),*)) => {
        match $host {
            Host::Blocking(monitor) => Some($queue.$method(&mut **monitor, $($argument),*)),
            Host::Async(monitor) => run(
                &$scene.bench,
                &$scene.wiring,
                $queue.asynch().$method(&mut **monitor, $($argument),*),
            ),
        }
    };
}

/// Calls a method of either monitor.
macro_rules! call {
    ($host:expr, $bench:expr, $wiring:expr, $method:ident($($argument:expr),*)) => {
        match $host {
            Host::Blocking(monitor) => Some(monitor.$method($($argument),*)),
            Host::Async(monitor) => run($bench, $wiring, monitor.$method($($argument),*)),
        }
    };
}

impl Host {
    pub fn new(face: Face, scene: &Scene) -> Self {
        let (i2c, delay) = (Controller::new(&scene.wiring), scene.bench.delay());
        let (part, clock) = (
            Corncrake::new(Address::Strap0),
            HostClock(scene.wiring.clone()),
        );
        match face {
            Face::Blocking => {
                let monitor = Monitor::new(i2c, delay, part, &BOARD).with_clock(clock);
                Self::Blocking(Box::new(monitor))
            }
            Face::Async => {
                let monitor = asynch::Monitor::new(i2c, delay, part, &BOARD).with_clock(clock);
                Self::Async(Box::new(monitor))
            }
        }
    }

    pub fn token(&self) -> ResumeToken {
        match self {
            Self::Blocking(monitor) => monitor.token(),
            Self::Async(monitor) => monitor.token(),
        }
    }

    pub fn is_armed(&self) -> bool {
        match self {
            Self::Blocking(monitor) => monitor.is_armed(),
            Self::Async(monitor) => monitor.is_armed(),
        }
    }

    /// The longest that it may take with nobody else on the bus; `setting` is what the part is
    /// told.
    pub fn longest_us(&self, ask: Ask, setting: &Setting) -> u64 {
        let mut codes = [0; CODES];
        let (setting, call) = match ask {
            Ask::Init(asked) => (asked, Call::Init),
            Ask::Configure(asked) => (asked, Call::Configure),
            Ask::Resume(asked) => (asked, Call::Resume),
            Ask::Sample => (setting, Call::Sample),
            Ask::SetLimits(_) => (setting, Call::SetLimits(&LimitSet::of(setting).limits)),
            Ask::ReadAlerts => (setting, Call::ReadAlerts),
            Ask::Service => (setting, Call::Service),
            Ask::StartCapture(_) => (setting, Call::StartCapture),
            Ask::FetchCapture => (setting, Call::FetchCapture(&mut codes)),
            Ask::Powered(_) => return 0,
            Ask::ProofTest | Ask::AlertResponse => return u64::MAX,
        };
        let config = (setting.config)();
        let longest = match self {
            Self::Blocking(monitor) => monitor.worst_case_us(call, &config, BUS_HZ),
            Self::Async(monitor) => monitor.worst_case_us(call, &config, BUS_HZ),
        };
        longest.expect("a call that can be")
    }

    /// Carries out what is asked. A resume takes the token that was kept.
    pub fn ask(&mut self, scene: &Scene, ask: Ask, kept: &mut Kept) -> Outcome {
        let token = kept.token;
        let (bench, wiring) = (&scene.bench, &scene.wiring);
        match ask {
            Ask::Init(setting) => done(call!(self, bench, wiring, init(&(setting.config)()))),
            Ask::Configure(setting) => {
                done(call!(self, bench, wiring, configure(&(setting.config)())))
            }
            Ask::Sample => sampled(&mut kept.books, call!(self, bench, wiring, sample())),
            Ask::Resume(setting) => sampled(
                &mut kept.books,
                call!(self, bench, wiring, resume(&(setting.config)(), token)),
            ),
            Ask::SetLimits(setting) => {
                let limits = &LimitSet::of(setting).limits;
                done(on_queue!(self, scene, kept.queue, set_limits(limits)))
            }
            Ask::ReadAlerts => done(on_queue!(self, scene, kept.queue, read_alerts())),
            Ask::Service => sampled(
                &mut kept.books,
                on_queue!(self, scene, kept.queue, service()),
            ),
            Ask::ProofTest => {
                let is_low = |output| scene.is_low(output);
                let proof = match self {
                    Self::Blocking(monitor) => {
                        let mut delay = bench.delay();
                        Some(kept.queue.proof_test(&mut **monitor, &mut delay, is_low))
                    }
                    Self::Async(monitor) => {
                        let mut delay = bench.delay();
                        let mut queue = kept.queue.asynch();
                        let proof = queue.proof_test(&mut **monitor, &mut delay, is_low);
                        run(bench, wiring, proof)
                    }
                };
                match proof {
                    Some(Ok(proof)) => Outcome::Proved(proof),
                    Some(Err(error)) => Outcome::Failed(error),
                    None => Outcome::Dropped,
                }
            }
            Ask::AlertResponse => {
                let mut bus = Controller::new(wiring);
                let answer = match self {
                    Self::Blocking(_) => Some(alert_response(&mut bus)),
                    Self::Async(_) => run(bench, wiring, alert_response_async(&mut bus)),
                };
                answer.map_or(Outcome::Dropped, Outcome::Answered)
            }
            Ask::StartCapture(channel) => done(call!(self, bench, wiring, start_capture(channel))),
            Ask::FetchCapture => {
                let mut codes = [0; CODES];
                let fetch = call!(self, bench, wiring, fetch_capture(FIRST_CODE, &mut codes));
                match fetch {
                    Some(Ok(capture)) => Outcome::Fetched(capture.codes().to_vec()),
                    Some(Err(error)) => Outcome::Failed(error),
                    None => Outcome::Dropped,
                }
            }
            Ask::Powered(on) => {
                match self {
                    Self::Blocking(monitor) => monitor.set_powered(on),
                    Self::Async(monitor) => monitor.set_powered(on),
                }
                Outcome::Done
            }
        }
    }
}

fn done<T>(result: Option<Result<T, Error<BusError>>>) -> Outcome {
    match result {
        Some(Ok(_)) => Outcome::Done,
        Some(Err(error)) => Outcome::Failed(error),
        None => Outcome::Dropped,
    }
}

fn sampled(
    books: &mut Books,
    result: Option<Result<&impl TimedSample<CHANNELS>, Error<BusError>>>,
) -> Outcome {
    match result {
        Some(Ok(sample)) => Outcome::Sampled(Box::new(Seen {
            stamp: sample.timestamp(),
            scans: sample.scans(),
            configuration: sample.configuration(),
            update: books.update(sample),
            readings: [0, 1, 2, 3].map(|number| sample.reading(Channel::new(number))),
        })),
        Some(Err(error)) => Outcome::Failed(error),
        None => Outcome::Dropped,
    }
}

/// Runs a future on the bench until it is over, or until the plan drops it: then `None`.
fn run<T>(bench: &Bench, wiring: &Rc<Wiring>, future: impl Future<Output = T>) -> Option<T> {
    let driven = async {
        let mut future = pin!(future);
        poll_fn(|context| match future.as_mut().poll(context) {
            Poll::Ready(output) => Poll::Ready(Some(output)),
            Poll::Pending if wiring.waits() => Poll::Ready(None),
            Poll::Pending => Poll::Pending,
        })
        .await
    };
    bench.block_on(driven).expect("nothing waits for ever")
}
