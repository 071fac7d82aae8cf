use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{I2c, SevenBitAddress};

use super::core::Core;
use super::{Came, Clock, Error, ShuntMonitor, Task};
use crate::old::alert::{Causes, Watches};
use crate::old::board::Board;
use crate::old::exchange::{Action, Fault, Player, Step, Turn};
use crate::old::frame::Frame;
use crate::old::part::{Joint, Part, Spec};
use crate::old::sampling::Setup;

/// A monitor on a blocking bus: one part, its board, and what is known of both.
///
/// Owns the bus, the delay and the clock by value; a `&mut` of each is one too, and sharing a bus among drivers is left to crates made for it.
///
/// Every call waits out its transfers; [`longest_us`](ShuntMonitor::longest_us) tells how long that can take.
#[derive(Debug)]
pub struct Monitor<'b, I2C, D, C, P: Part, const N: usize> {
    i2c: I2C,
    delay: D,
    clock: C,
    core: Core<'b, P, N>,
}

impl<'b, I2C, D, C, P, const N: usize> Monitor<'b, I2C, D, C, P, N>
where
    I2C: I2c<SevenBitAddress>,
    D: DelayNs,
    C: Clock,
    P: Part,
{
    /// A monitor for the part at the 7-bit `address`. Touches nothing yet; go on with [`init`](ShuntMonitor::init) or [`attach`](ShuntMonitor::attach).
    ///
    /// Steps that may be repeated are repeated twice after a failure; reads are as long as the block.
    pub const fn new(
        i2c: I2C,
        delay: D,
        clock: C,
        part: P,
        address: u8,
        board: &'b Board<N>,
    ) -> Self {
        Self {
            i2c,
            delay,
            clock,
            core: Core::new(part, address, board),
        }
    }

    /// The same for a controller that reads at most `bytes` (at least 1) in one transfer: blocks are read in pieces, and stay coherent.
    ///
    /// Single registers are read whole whatever `bytes` is; with their check byte they take at most 9, Corncrake's at most 5 outside bursts.
    #[must_use]
    pub const fn with_read_max(mut self, bytes: u8) -> Self {
        self.core.set_read_max(bytes);
        self
    }

    /// The same with another number of repeats after a failure.
    #[must_use]
    pub const fn with_repeats(mut self, repeats: u8) -> Self {
        self.core.set_repeats(repeats);
        self
    }

    /// Declares the part's supply on or off. Off: no transfer is made, and frames say so. On again: the part is fresh from reset; call [`init`](ShuntMonitor::init).
    pub const fn declare_powered(&mut self, powered: bool) {
        self.core.set_powered(powered);
    }

    /// Converts by another description of the board from now on: after a calibration.
    pub const fn set_board(&mut self, board: &'b Board<N>) {
        self.core.set_board(board);
    }

    /// The board by which frames are converted.
    #[must_use]
    pub const fn board(&self) -> &'b Board<N> {
        self.core.board()
    }

    /// Gives bus, delay and clock back; the part runs on.
    pub fn release(self) -> (I2C, D, C) {
        (self.i2c, self.delay, self.clock)
    }

    /// Microseconds on the host's clock.
    pub fn now_us(&mut self) -> u64 {
        self.clock.now_us()
    }

    /// Plays the exchange of a task that has begun: carries out what the player hands out, until it is done.
    fn perform(
        &mut self,
        task: Task,
        operation: &mut dyn FnMut(&mut P, &mut Turn<'_>) -> Result<Step, Fault>,
    ) -> Result<(), Error<I2C::Error>> {
        let link = self.core.link();
        let (part, block, latched) = self.core.lent();
        let mut operation = |turn: &mut Turn<'_>| operation(part, turn);
        let mut player = Player::<P>::new(&mut operation, link);
        let played = loop {
            let outcome = match player.poll(block) {
                Err(fault) => break Err((player.pointer(), Came::Fault(fault))),
                Ok(Action::Done) => break Ok(()),
                Ok(Action::Wait(us)) => {
                    self.delay.delay_us(us);
                    Ok(())
                }
                Ok(Action::WriteRead(bytes, room)) => {
                    self.i2c.write_read(link.address, bytes, room)
                }
                Ok(Action::WriteStamped(bytes)) => {
                    latched.before(|| self.clock.now_us());
                    let outcome = self.i2c.write(link.address, bytes);
                    latched.after(self.clock.now_us());
                    outcome
                }
                Ok(Action::Write(bytes)) => self.i2c.write(link.address, bytes),
            };
            match outcome {
                Ok(()) => {
                    if let Err(fault) = player.succeeded(block) {
                        break Err((player.pointer(), Came::Fault(fault)));
                    }
                }
                Err(error) if !player.failed() => break Err((player.pointer(), Came::Bus(error))),
                Err(_) => {}
            }
        };
        self.core.conclude(task, played)
    }
}

impl<I2C, D, C, P, const N: usize> ShuntMonitor<N> for Monitor<'_, I2C, D, C, P, N>
where
    I2C: I2c<SevenBitAddress>,
    D: DelayNs,
    C: Clock,
    P: Part,
{
    type BusError = I2C::Error;

    fn spec(&self) -> &'static Spec {
        self.core.spec()
    }

    fn init(&mut self, setup: &Setup<N>) -> Result<Frame<'_>, Error<Self::BusError>> {
        self.core.begin_init(setup)?;
        let (sampling, read_max) = (setup.view(), self.core.link().read_max);
        self.perform(Task::Init, &mut |part, turn| {
            part.init(turn, &sampling, read_max)
        })?;
        Ok(self.core.initialised(setup))
    }

    fn attach(&mut self, joint: &Joint) -> Result<Frame<'_>, Error<Self::BusError>> {
        self.core.begin(Task::Attach)?;
        let read_max = self.core.link().read_max;
        self.perform(Task::Attach, &mut |part, turn| {
            part.attach(turn, joint, read_max)
        })?;
        Ok(self.core.attached())
    }

    fn latch(&mut self) -> Result<Frame<'_>, Error<Self::BusError>> {
        if self.core.is_powered() {
            self.core.begin(Task::Latch)?;
            let read_max = self.core.link().read_max;
            self.perform(Task::Latch, &mut |part, turn| part.latch(turn, read_max))?;
            Ok(self.core.steady())
        } else {
            Ok(self.core.unpowered(self.clock.now_us()))
        }
    }

    fn configure(&mut self, setup: &Setup<N>) -> Result<Frame<'_>, Error<Self::BusError>> {
        self.core.begin_configure(setup)?;
        let (sampling, read_max) = (setup.view(), self.core.link().read_max);
        self.perform(Task::Configure, &mut |part, turn| {
            part.configure(turn, &sampling, read_max)
        })?;
        Ok(self.core.configured(setup))
    }

    fn arm(
        &mut self,
        setup: &Setup<N>,
        watches: &Watches<'_>,
        found: &mut Causes,
    ) -> Result<Frame<'_>, Error<Self::BusError>> {
        let plan = self.core.plan(setup, watches);
        self.core.begin_arm(setup, &plan)?;
        let (sampling, read_max) = (setup.view(), self.core.link().read_max);
        self.perform(Task::Arm, &mut |part, turn| {
            part.arm(turn, &sampling, &plan, found, read_max)
        })?;
        Ok(self.core.armed(setup, plan.watched()))
    }

    fn look(
        &mut self,
        interest: Causes,
        found: &mut Causes,
    ) -> Result<bool, Error<Self::BusError>> {
        self.core.begin(Task::Look)?;
        let mut more = false;
        self.perform(Task::Look, &mut |part, turn| {
            part.look(turn, interest, found, &mut more)
        })?;
        Ok(more)
    }

    fn service(
        &mut self,
        interest: Causes,
        found: &mut Causes,
    ) -> Result<Frame<'_>, Error<Self::BusError>> {
        for _ in 0..Task::LOOKS {
            if !self.look(interest, found)? {
                break;
            }
        }
        self.latch()?;
        *found |= self.core.judged(interest);
        Ok(self.core.steady())
    }

    fn fetch(&mut self, codes: &mut [i32]) -> Result<usize, Error<Self::BusError>> {
        self.core.begin(Task::Fetch)?;
        let mut count = 0;
        self.perform(Task::Fetch, &mut |part, turn| {
            part.fetch(turn, codes, &mut count)
        })?;
        Ok(count)
    }

    fn longest_us(&self, task: Task, bus_hz: u32) -> u64 {
        self.core.longest_us(task, bus_hz)
    }

    fn joint(&self) -> Joint {
        self.core.joint()
    }
}

#[cfg(feature = "defmt")]
impl<I2C, D, C, P: Part, const N: usize> defmt::Format for Monitor<'_, I2C, D, C, P, N> {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "Monitor({})", self.core.link());
    }
}
