use alloc::{boxed::Box, string::String, sync::Arc, task::Wake, vec::Vec};
use core::{
    fmt,
    future::Future,
    pin::{Pin, pin},
    sync::atomic::{AtomicBool, Ordering},
    task::{Context, Poll, Waker},
    time::Duration,
};

use super::{Bench, LAST_NS, Stall, StallReason};

/// Several tasks that run on a bench in virtual time, on one thread.
///
/// When every task waits, the bench goes on to the next moment that one of them waits for, or to
/// the next change of a line. Tasks whose turn has come run in the order in which they were
/// spawned, always.
///
/// ```
/// # fn main() -> Result<(), Box<dyn core::error::Error>> {
/// use core::{cell::Cell, time::Duration};
/// use crake_sim::bench::Bench;
/// use embedded_hal_async::delay::DelayNs;
///
/// let bench = Bench::new(1);
/// let blinks = Cell::new(0);
/// let (mut delay, mut other) = (bench.delay(), bench.delay());
/// let mut tasks = bench.tasks();
/// tasks.spawn("blink", async {
///     loop {
///         delay.delay_ms(250).await;
///         blinks.set(blinks.get() + 1);
///     }
/// });
/// tasks.run_for(Duration::from_secs(1))?;
/// assert_eq!(blinks.get(), 4);
///
/// tasks.block_on(async { other.delay_ms(600).await })?;
/// assert_eq!((blinks.get(), bench.now_ns()), (6, 1_600_000_000));
/// # Ok(())
/// # }
/// ```
pub struct Tasks<'a> {
    bench: Bench,
    tasks: Vec<Task<'a>>,
    patience: Duration,
    /// When anybody had something to do last.
    quiet_since_ns: u64,
}

struct Task<'a> {
    name: String,
    /// None once it is over.
    future: Option<Pin<Box<dyn Future<Output = ()> + 'a>>>,
    flag: Arc<Flag>,
}

/// Until when tasks are run.
enum Until<'f> {
    /// This one is over; it is called "main".
    Main(Pin<&'f mut dyn Future<Output = ()>>, Arc<Flag>),
    /// All are over.
    Over,
    /// This moment.
    Moment(u64),
}

impl Bench {
    /// Runs a future to its end in virtual time: firmware written for `embedded-hal-async`.
    ///
    /// # Errors
    /// If the future waits for what will never come, or nothing comes for an hour of virtual time;
    /// see [`Stall`].
    pub fn block_on<F: Future>(&self, future: F) -> Result<F::Output, Stall> {
        self.tasks().block_on(future)
    }

    /// A set of tasks to run together, empty as yet.
    pub fn tasks<'a>(&self) -> Tasks<'a> {
        Tasks {
            bench: self.clone(),
            tasks: Vec::new(),
            patience: PATIENCE,
            quiet_since_ns: 0,
        }
    }
}

impl<'a> Tasks<'a> {
    /// Adds a task. It begins to run with the next call that runs tasks; dropping the set drops it.
    /// The name appears in [`Stall`].
    pub fn spawn(&mut self, name: &str, future: impl Future<Output = ()> + 'a) {
        self.tasks.push(Task {
            name: String::from(name),
            future: Some(Box::pin(future)),
            flag: Flag::raised(),
        });
    }

    /// How long nobody may have anything to do, with no moment that anybody waits for, before that
    /// counts as a stall. An hour if not set.
    pub fn set_patience(&mut self, patience: Duration) {
        self.patience = patience;
    }

    /// Runs the tasks, and `main` besides and first, until `main` is over. The other tasks stay
    /// where they are and go on in the next call.
    ///
    /// # Errors
    /// See [`Stall`]; `main` is dropped then.
    pub fn block_on<F: Future>(&mut self, main: F) -> Result<F::Output, Stall> {
        let mut output = None;
        {
            let main = pin!(async { output = Some(main.await) });
            self.run_until(Until::Main(main, Flag::raised()))?;
        }
        output.ok_or_else(|| self.stall(StallReason::EndOfTime, false))
    }

    /// Runs the tasks until all are over.
    ///
    /// # Errors
    /// See [`Stall`]; the tasks stay where they are.
    pub fn run(&mut self) -> Result<(), Stall> {
        self.run_until(Until::Over)?;
        if self.tasks.iter().any(|task| task.future.is_some()) {
            return Err(self.stall(StallReason::EndOfTime, false));
        }
        Ok(())
    }

    /// Runs the tasks for a time; that all wait for something that does not come is no error here.
    ///
    /// # Errors
    /// [`StallReason::Spinning`] alone; the tasks stay where they are.
    pub fn run_for(&mut self, duration: Duration) -> Result<(), Stall> {
        let ns = u64::try_from(duration.as_nanos()).unwrap_or(u64::MAX);
        let until_ns = self.bench.now_ns().saturating_add(ns).min(LAST_NS);
        self.run_until(Until::Moment(until_ns))
    }

    fn run_until(&mut self, mut until: Until<'_>) -> Result<(), Stall> {
        let with_main = matches!(until, Until::Main(..));
        let bench = self.bench.clone();
        // What the test did since the tasks ran last.
        bench.waits.tell(&bench);
        while !self.poll_all(&mut until)? {
            let limit_ns = match until {
                Until::Moment(ns) => Some(ns),
                Until::Main(..) | Until::Over => None,
            };
            if bench.now_ns() >= limit_ns.unwrap_or(LAST_NS) {
                return Ok(());
            }
            let moment_ns = [bench.waits.next_moment_ns(), limit_ns];
            let moment_ns = moment_ns.into_iter().flatten().min();
            let changed = match moment_ns {
                Some(ns) => {
                    let ns = ns.min(LAST_NS);
                    let changed = bench.with_bus(|bus| bus.advance_to_change(ns));
                    if !changed {
                        bench.run_until(ns);
                    }
                    true
                }
                None => is_alive(&bench) && self.advance_to_change(),
            };
            if !changed {
                let reason = match bench.with_bus(|bus| bus.next_event_ns()) {
                    Some(_) if is_alive(&bench) => StallReason::Patience(self.patience),
                    _ => StallReason::Deadlock,
                };
                return Err(self.stall(reason, with_main));
            }
            bench.waits.tell(&bench);
        }
        Ok(())
    }

    /// Goes on to the next change of a line; false if there is none in as long as patience lasts.
    fn advance_to_change(&self) -> bool {
        let patience_ns = u64::try_from(self.patience.as_nanos()).unwrap_or(u64::MAX);
        let ns = self.quiet_since_ns.saturating_add(patience_ns);
        self.bench
            .with_bus(|bus| bus.advance_to_change(ns.min(LAST_NS)))
    }

    /// Polls whoever was told, until nobody is; true if that is all there was to do.
    fn poll_all(&mut self, until: &mut Until<'_>) -> Result<bool, Stall> {
        let bench = self.bench.clone();
        let mut polls = 0_u32;
        let mut at_ns = bench.now_ns();
        loop {
            let mut any = false;
            if let Until::Main(future, flag) = until
                && flag.lower()
            {
                any = true;
                if flag.poll(&bench, 0, future.as_mut()) {
                    return Ok(true);
                }
            }
            for (index, task) in self.tasks.iter_mut().enumerate() {
                if let Some(future) = &mut task.future
                    && task.flag.lower()
                {
                    any = true;
                    if task.flag.poll(&bench, index + 1, future.as_mut()) {
                        task.future = None;
                    }
                }
            }
            if !any {
                let is_over = self.tasks.iter().all(|task| task.future.is_none());
                return Ok(matches!(until, Until::Over) && is_over);
            }
            self.quiet_since_ns = bench.now_ns();
            if bench.now_ns() > at_ns {
                (polls, at_ns) = (0, bench.now_ns());
            }
            polls += 1;
            if polls > POLLS_MAX {
                let with_main = matches!(until, Until::Main(..));
                return Err(self.stall(StallReason::Spinning, with_main));
            }
        }
    }

    fn stall(&self, reason: StallReason, with_main: bool) -> Stall {
        let names = self.tasks.iter().enumerate().filter_map(|(index, task)| {
            let is_over = task.future.is_none();
            (!is_over).then_some((index + 1, task.name.as_str()))
        });
        let main = with_main.then_some((0, "main"));
        Stall::new(&self.bench, reason, main.into_iter().chain(names))
    }
}

/// Whether a line that is waited for may change without any task's doing, by a part or by a fault.
fn is_alive(bench: &Bench) -> bool {
    let faults_to_come = bench.with_bus(|bus| bus.next_fault_ns()) < u64::MAX;
    bench.waits.any_line_is_alive() || bench.waits.any_line() && faults_to_come
}

impl fmt::Debug for Tasks<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let open = self.tasks.iter().filter(|task| task.future.is_some());
        f.debug_list().entries(open.map(|task| &task.name)).finish()
    }
}

/// Raised when a task has something to do.
struct Flag(AtomicBool);

impl Flag {
    fn raised() -> Arc<Self> {
        Arc::new(Self(AtomicBool::new(true)))
    }

    fn lower(&self) -> bool {
        self.0.swap(false, Ordering::Relaxed)
    }

    /// True if the task is over. Time may have gone on.
    fn poll(
        self: &Arc<Self>,
        bench: &Bench,
        task: usize,
        future: Pin<&mut dyn Future<Output = ()>>,
    ) -> bool {
        bench.waits.set_task(task);
        let waker = Waker::from(self.clone());
        let is_over = matches!(
            future.poll(&mut Context::from_waker(&waker)),
            Poll::Ready(())
        );
        bench.waits.tell(bench);
        is_over
    }
}

impl Wake for Flag {
    fn wake(self: Arc<Self>) {
        self.0.store(true, Ordering::Relaxed);
    }
}

const PATIENCE: Duration = Duration::from_secs(3_600);
/// Rounds of polling in which no time passes.
const POLLS_MAX: u32 = 100_000;
