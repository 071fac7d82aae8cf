use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{I2c, SevenBitAddress};

use super::{Came, Clock, Error, ShuntMonitor, Task};
use crate::Channel;
use crate::alert::{Causes, Plan, Watches};
use crate::board::Board;
use crate::exchange::{Action, Fault, Link, Misuse, Operation, Player};
use crate::frame::{Condition, Frame, Stamp};
use crate::part::{Joint, Part, Spec};
use crate::sampling::{Ranges, Setup};

/// A monitor on a blocking bus: one part, its board, and what is known of both.
///
/// Owns the bus, the delay and the clock by value; a `&mut` of each is one too, and sharing a bus among drivers is left to crates made for it.
///
/// Every call waits out its transfers. The longest is [`init`](ShuntMonitor::init): the part's reset time and about ten short transfers more than a
/// [`latch`](ShuntMonitor::latch), which takes two transfers and one round.
#[derive(Debug)]
pub struct Monitor<'b, I2C, D, C, P: Part, const N: usize> {
    i2c: I2C,
    delay: D,
    clock: C,
    part: P,
    board: &'b Board<N>,
    link: Link,
    block: P::Block,
    stamp: Stamp,
    powered: bool,
    /// The part ran under our set-up alone since the frame before, as far as is known: what the next frame will say.
    unbroken: bool,
    /// Causes whose limits are in force, as far as this monitor put them there.
    watched: Causes,
    /// Ranges in force.
    in_force: [Option<Ranges>; N],
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
            part,
            board,
            link: Link {
                address,
                checked: P::CHECKED,
                read_max: u8::MAX,
                repeats: 2,
            },
            block: P::EMPTY,
            stamp: Stamp {
                before_us: 0,
                after_us: 0,
            },
            powered: true,
            // A joint may vouch for what was before; nothing else can.
            unbroken: true,
            watched: Causes::empty(),
            in_force: [None; N],
        }
    }

    /// The same for a controller that reads at most `bytes` (at least 1) in one transfer: blocks are read in pieces, and stay coherent.
    ///
    /// Single registers are read whole whatever `bytes` is; with their check byte they take at most 9, Corncrake's at most 5.
    #[must_use]
    pub const fn with_read_max(mut self, bytes: u8) -> Self {
        self.link.read_max = if bytes == 0 { 1 } else { bytes };
        self
    }

    /// The same with another number of repeats after a failure.
    #[must_use]
    pub const fn with_repeats(mut self, repeats: u8) -> Self {
        self.link.repeats = repeats;
        self
    }

    /// Declares the part's supply on or off. Off: no transfer is made, and frames say so. On again: the part is fresh from reset; call [`init`](ShuntMonitor::init).
    pub const fn declare_powered(&mut self, powered: bool) {
        self.powered = powered;
    }

    /// Converts by another description of the board from now on: after a calibration.
    pub const fn set_board(&mut self, board: &'b Board<N>) {
        self.board = board;
    }

    /// The board by which frames are converted.
    #[must_use]
    pub const fn board(&self) -> &'b Board<N> {
        self.board
    }

    /// Gives bus, delay and clock back; the part runs on.
    pub fn release(self) -> (I2C, D, C) {
        (self.i2c, self.delay, self.clock)
    }

    /// Microseconds on the host's clock.
    pub fn now_us(&mut self) -> u64 {
        self.clock.now_us()
    }

    fn perform(
        &mut self,
        task: Task,
        mut operation: impl FnMut(
            &mut P,
            &mut crate::exchange::Turn<'_>,
        ) -> Result<crate::exchange::Step, Fault>,
    ) -> Result<(), Error<I2C::Error>> {
        let address = self.link.address;
        if !self.powered {
            let came = Came::Fault(Fault::Misuse(Misuse::Unpowered));
            return Err(Error {
                task,
                address,
                register: 0,
                came,
            });
        }
        let part = &mut self.part;
        let mut operation = |turn: &mut crate::exchange::Turn<'_>| operation(part, turn);
        let transport = Transport {
            i2c: &mut self.i2c,
            delay: &mut self.delay,
            clock: &mut self.clock,
        };
        let mut stamped = None;
        let played = transport.play(&mut operation, self.link, self.block.as_mut(), &mut stamped);
        if let Some(stamp) = stamped {
            self.stamp = stamp;
        }
        played.map_err(|(register, came)| {
            // A latch that fails changes nothing; another set-up that may have taken over at a moment unknown does.
            if matches!(came, Came::Fault(Fault::SetUpChanged { .. }))
                || (matches!(task, Task::Configure | Task::Arm) && stamped.is_some())
            {
                self.unbroken = false;
            }
            Error {
                task,
                address,
                register,
                came,
            }
        })
    }

    fn frame(&self, condition: Condition, unbroken: bool) -> Frame<'_> {
        let reset =
            condition != Condition::Unpowered && self.part.head(self.block.as_ref()).reset_seen;
        Frame {
            codec: &self.part,
            block: self.block.as_ref(),
            rails: self.board.rails(),
            stamp: self.stamp,
            condition: if reset { Condition::Reset } else { condition },
            unbroken,
        }
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
        self.part.spec()
    }

    fn init(&mut self, setup: &Setup<N>) -> Result<Frame<'_>, Error<Self::BusError>> {
        let (sampling, read_max) = (setup.view(), self.link.read_max);
        self.refuse(Task::Init, setup)?;
        // From here on the part may be reset and its running sums zero, whatever comes of it.
        self.unbroken = false;
        self.perform(Task::Init, |part, turn| {
            part.init(turn, &sampling, read_max)
        })?;
        (self.unbroken, self.watched, self.in_force) = (true, Causes::empty(), setup.channels);
        Ok(self.frame(Condition::Boundary, false))
    }

    fn attach(&mut self, joint: &Joint) -> Result<Frame<'_>, Error<Self::BusError>> {
        let read_max = self.link.read_max;
        self.perform(Task::Attach, |part, turn| {
            part.attach(turn, joint, read_max)
        })?;
        // What limits stand in the part is not known: take it that every channel has some.
        self.watched = Causes::LIMITS;
        for (channel, ranges) in Channel::first(u8::MAX).zip(&mut self.in_force) {
            *ranges = self.part.ranges(self.block.as_ref(), channel);
        }
        let unbroken = core::mem::replace(&mut self.unbroken, true);
        Ok(self.frame(Condition::Steady, unbroken))
    }

    fn latch(&mut self) -> Result<Frame<'_>, Error<Self::BusError>> {
        if !self.powered {
            let now_us = self.clock.now_us();
            self.stamp = Stamp {
                before_us: now_us,
                after_us: now_us,
            };
            self.unbroken = false;
            return Ok(self.frame(Condition::Unpowered, false));
        }
        let read_max = self.link.read_max;
        self.perform(Task::Latch, |part, turn| part.latch(turn, read_max))?;
        let unbroken = core::mem::replace(&mut self.unbroken, true);
        Ok(self.frame(Condition::Steady, unbroken))
    }

    fn configure(&mut self, setup: &Setup<N>) -> Result<Frame<'_>, Error<Self::BusError>> {
        let (sampling, read_max) = (setup.view(), self.link.read_max);
        self.refuse(Task::Configure, setup)?;
        self.refuse_under_limits(setup)?;
        self.perform(Task::Configure, |part, turn| {
            part.configure(turn, &sampling, read_max)
        })?;
        self.in_force = setup.channels;
        let unbroken = core::mem::replace(&mut self.unbroken, true);
        Ok(self.frame(Condition::Boundary, unbroken))
    }

    fn arm(
        &mut self,
        setup: &Setup<N>,
        watches: &Watches<'_>,
        found: &mut Causes,
    ) -> Result<Frame<'_>, Error<Self::BusError>> {
        let (sampling, read_max, board) = (setup.view(), self.link.read_max, self.board);
        self.refuse(Task::Arm, setup)?;
        let plan = Plan::new(self.part.spec(), board.rails(), &sampling, *watches)
            .map_err(|misuse| self.misuse(Task::Arm, misuse))?;
        // Until it is through, old limits, new ones or both may stand, in old or new ranges.
        (self.watched, self.in_force) = (self.watched | plan.watched(), [None; N]);
        self.perform(Task::Arm, |part, turn| {
            part.arm(turn, &sampling, &plan, found, read_max)
        })?;
        (self.watched, self.in_force) = (plan.watched(), setup.channels);
        let unbroken = core::mem::replace(&mut self.unbroken, true);
        Ok(self.frame(Condition::Boundary, unbroken))
    }

    fn service(
        &mut self,
        interest: Causes,
        found: &mut Causes,
    ) -> Result<Frame<'_>, Error<Self::BusError>> {
        let read_max = self.link.read_max;
        self.perform(Task::Service, |part, turn| {
            part.service(turn, interest, found, read_max)
        })?;
        let unbroken = core::mem::replace(&mut self.unbroken, true);
        Ok(self.frame(Condition::Steady, unbroken))
    }

    fn fetch(&mut self, codes: &mut [i32]) -> Result<usize, Error<Self::BusError>> {
        let mut count = 0;
        self.perform(Task::Fetch, |part, turn| {
            part.fetch(turn, codes, &mut count)
        })?;
        Ok(count)
    }

    fn joint(&self) -> Joint {
        self.part.joint()
    }
}

impl<I2C, D, C, P, const N: usize> Monitor<'_, I2C, D, C, P, N>
where
    I2C: I2c<SevenBitAddress>,
    P: Part,
{
    fn refuse(&self, task: Task, setup: &Setup<N>) -> Result<(), Error<I2C::Error>> {
        let came = |fault| Error {
            task,
            address: self.link.address,
            register: 0,
            came: Came::Fault(fault),
        };
        self.part.check(&setup.view()).map_err(came)
    }

    fn misuse(&self, task: Task, misuse: Misuse) -> Error<I2C::Error> {
        Error {
            task,
            address: self.link.address,
            register: 0,
            came: Came::Fault(Fault::Misuse(misuse)),
        }
    }

    /// A range that changes under a limit would change what the limit means.
    fn refuse_under_limits(&self, setup: &Setup<N>) -> Result<(), Error<I2C::Error>> {
        let changes = self.in_force.iter().zip(&setup.channels);
        for (channel, (now, then)) in Channel::first(u8::MAX).zip(changes) {
            if now != then && self.watched.intersects(Causes::channel(channel)) {
                return Err(self.misuse(Task::Configure, Misuse::LimitsInForce(channel)));
            }
        }
        Ok(())
    }
}

/// Bus, delay and clock, borrowed for one operation.
struct Transport<'t, I2C, D, C> {
    i2c: &'t mut I2C,
    delay: &'t mut D,
    clock: &'t mut C,
}

impl<I2C: I2c<SevenBitAddress>, D: DelayNs, C: Clock> Transport<'_, I2C, D, C> {
    /// Carries out what the player hands out, until it is done; on failure, the register it was about and what came.
    fn play<'o>(
        self,
        operation: &'o mut Operation<'o>,
        link: Link,
        block: &mut [u8],
        stamped: &mut Option<Stamp>,
    ) -> Result<(), (u8, Came<I2C::Error>)> {
        let mut player = Player::new(operation, link);
        loop {
            let outcome = match player.poll(block) {
                Err(fault) => return Err((player.pointer(), Came::Fault(fault))),
                Ok(Action::Done) => return Ok(()),
                Ok(Action::Wait(us)) => {
                    self.delay.delay_us(us);
                    Ok(())
                }
                Ok(Action::WriteRead(bytes, room)) => {
                    self.i2c.write_read(link.address, bytes, room)
                }
                Ok(Action::WriteStamped(bytes)) => {
                    // All attempts count: each of them may have been the one.
                    let before_us =
                        stamped.map_or_else(|| self.clock.now_us(), |stamp| stamp.before_us);
                    let outcome = self.i2c.write(link.address, bytes);
                    *stamped = Some(Stamp {
                        before_us,
                        after_us: self.clock.now_us(),
                    });
                    outcome
                }
                Ok(Action::Write(bytes)) => self.i2c.write(link.address, bytes),
            };
            match outcome {
                Ok(()) => player
                    .succeeded(block)
                    .map_err(|fault| (player.pointer(), Came::Fault(fault)))?,
                Err(error) if !player.failed() => return Err((player.pointer(), Came::Bus(error))),
                Err(_) => {}
            }
        }
    }
}
