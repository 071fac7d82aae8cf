use crate::old::Channel;
use crate::old::alert::{Causes, Plan, Watches};
use crate::old::board::Board;
use crate::old::exchange::{Fault, Link, Misuse};
use crate::old::frame::{Condition, Frame, Stamp};
use crate::old::part::{Joint, Part, Source, Spec};
use crate::old::sampling::{Ranges, Setup};

use super::{Came, Error, Task};

/// All that a monitor knows and decides, without a bus: what the blocking and the async shell share.
///
/// An operation goes [`begin`](Self::begin), then its exchange is played by a shell, then [`conclude`](Self::conclude), then the method that makes its frame. `begin` assumes the worst, so that
/// an operation that never comes to its end (an async one that is dropped) leaves nothing that claims more than is known.
#[derive(Debug)]
pub(super) struct Core<'b, P: Part, const N: usize> {
    part: P,
    board: &'b Board<N>,
    link: Link,
    block: P::Block,
    latched: Latched,
    powered: bool,
    /// The part ran under our set-up alone since the frame before, as far as is known: what the next frame will say.
    unbroken: bool,
    /// The same as it was before the operation in progress.
    before: bool,
    /// See the field of the same name in [`Frame`].
    turns: u32,
    /// Causes whose limits are in force, as far as this monitor put them there.
    watched: Causes,
    /// Ranges in force.
    in_force: [Option<Ranges>; N],
}

/// When a latch was asked for, and whether it was in the exchange in progress.
#[derive(Debug)]
pub(super) struct Latched {
    stamp: Stamp,
    asked: bool,
}

impl Latched {
    /// The clock before a write that asks for a latch. All attempts count, since each of them may have been the one: the first one's stands.
    pub(super) fn before(&mut self, now_us: impl FnOnce() -> u64) {
        if !self.asked {
            (self.stamp.before_us, self.asked) = (now_us(), true);
        }
    }

    /// The clock after it.
    pub(super) const fn after(&mut self, now_us: u64) {
        self.stamp.after_us = now_us;
    }
}

impl<'b, P: Part, const N: usize> Core<'b, P, N> {
    pub(super) const fn new(part: P, address: u8, board: &'b Board<N>) -> Self {
        Self {
            part,
            board,
            link: Link {
                address,
                checked: P::CHECKED,
                read_max: u8::MAX,
                repeats: 2,
            },
            block: P::EMPTY,
            latched: Latched {
                stamp: Stamp {
                    before_us: 0,
                    after_us: 0,
                },
                asked: false,
            },
            powered: true,
            // A joint may vouch for what was before; nothing else can.
            unbroken: true,
            before: true,
            turns: 0,
            watched: Causes::empty(),
            in_force: [None; N],
        }
    }

    pub(super) const fn set_read_max(&mut self, bytes: u8) {
        self.link.read_max = if bytes == 0 { 1 } else { bytes };
    }

    pub(super) const fn set_repeats(&mut self, repeats: u8) {
        self.link.repeats = repeats;
    }

    pub(super) const fn set_powered(&mut self, powered: bool) {
        self.powered = powered;
    }

    pub(super) const fn set_board(&mut self, board: &'b Board<N>) {
        self.board = board;
    }

    pub(super) const fn board(&self) -> &'b Board<N> {
        self.board
    }

    pub(super) const fn link(&self) -> Link {
        self.link
    }

    pub(super) fn spec(&self) -> &'static Spec {
        self.part.spec()
    }

    pub(super) fn longest_us(&self, task: Task, bus_hz: u32) -> u64 {
        P::effort(task, self.link.read_max).longest_us(self.link.repeats, bus_hz)
    }

    pub(super) fn joint(&self) -> Joint {
        self.part.joint()
    }

    /// What a shell plays an exchange with.
    pub(super) fn lent(&mut self) -> (&mut P, &mut [u8], &mut Latched) {
        self.latched.asked = false;
        (&mut self.part, self.block.as_mut(), &mut self.latched)
    }

    /// Nothing is asked of a part without supply.
    pub(super) fn begin<E>(&mut self, task: Task) -> Result<(), Error<E>> {
        if !self.powered {
            return Err(self.misuse(task, Misuse::Unpowered));
        }
        self.before = self.unbroken;
        match task {
            // The part may be reset and its running sums zero, whatever comes of it.
            Task::Init => (self.before, self.unbroken) = (false, false),
            // Another set-up may have taken over at a moment unknown.
            Task::Configure | Task::Arm => self.unbroken = false,
            // What limits stand in the part is not known: take it that every channel has some, in whatever ranges.
            Task::Attach => (self.watched, self.in_force) = (Causes::LIMITS, [None; N]),
            Task::Latch | Task::Look | Task::Service | Task::Fetch => {}
        }
        Ok(())
    }

    /// The exchange is over.
    pub(super) fn conclude<E>(
        &mut self,
        task: Task,
        played: Result<(), (u8, Came<E>)>,
    ) -> Result<(), Error<E>> {
        // What a look or a fetch leaves in the block is no sample, and the stamp is of a latch before.
        let frame = !matches!(task, Task::Look | Task::Service | Task::Fetch);
        if played.is_ok() && frame {
            let stamp = self.latched.stamp;
            self.latched.stamp = self.part.settle(task, self.block.as_mut(), stamp);
        }
        played.map_err(|(register, came)| {
            if matches!(came, Came::Fault(Fault::SetUpChanged { .. })) {
                self.unbroken = false;
            } else if !self.latched.asked {
                // It did not come to the take-over.
                self.unbroken = self.before;
            }
            Error {
                task,
                address: self.link.address,
                register,
                came,
            }
        })
    }

    pub(super) fn begin_init<E>(&mut self, setup: &Setup<N>) -> Result<(), Error<E>> {
        self.refuse(Task::Init, setup)?;
        self.begin(Task::Init)
    }

    pub(super) fn initialised(&mut self, setup: &Setup<N>) -> Frame<'_> {
        (self.watched, self.in_force) = (Causes::empty(), setup.channels);
        self.completed(Condition::Boundary)
    }

    pub(super) fn attached(&mut self) -> Frame<'_> {
        for (channel, ranges) in Channel::first(u8::MAX).zip(&mut self.in_force) {
            *ranges = self.part.ranges(self.block.as_ref(), channel);
        }
        // Sums that the driver keeps did not outlive it.
        self.before &= self.part.spec().sums == Source::Part;
        Frame {
            joined: true,
            ..self.completed(Condition::Steady)
        }
    }

    pub(super) const fn is_powered(&self) -> bool {
        self.powered
    }

    /// The frame of a part whose supply is declared off.
    pub(super) fn unpowered(&mut self, now_us: u64) -> Frame<'_> {
        self.latched.stamp = Stamp {
            before_us: now_us,
            after_us: now_us,
        };
        self.unbroken = false;
        self.frame(Condition::Unpowered, false)
    }

    /// The frame of an operation that left the set-up as it was.
    pub(super) fn steady(&mut self) -> Frame<'_> {
        self.completed(Condition::Steady)
    }

    /// What the part's driver has judged in the last frame.
    pub(super) fn judged(&mut self, interest: Causes) -> Causes {
        self.part.judged(interest)
    }

    pub(super) fn begin_configure<E>(&mut self, setup: &Setup<N>) -> Result<(), Error<E>> {
        self.refuse(Task::Configure, setup)?;
        self.refuse_under_limits(setup)?;
        self.begin(Task::Configure)
    }

    pub(super) fn configured(&mut self, setup: &Setup<N>) -> Frame<'_> {
        self.in_force = setup.channels;
        self.completed(Condition::Boundary)
    }

    /// What arming is to bring about, not yet checked: [`begin_arm`](Self::begin_arm) does.
    pub(super) fn plan<'p>(&self, setup: &'p Setup<N>, watches: &Watches<'p>) -> Plan<'p>
    where
        'b: 'p,
    {
        let rails = self.board.rails();
        Plan::unchecked(self.part.spec(), rails, &setup.channels, *watches)
    }

    pub(super) fn begin_arm<E>(
        &mut self,
        setup: &Setup<N>,
        plan: &Plan<'_>,
    ) -> Result<(), Error<E>> {
        self.refuse(Task::Arm, setup)?;
        plan.check_all()
            .map_err(|misuse| self.misuse(Task::Arm, misuse))?;
        self.begin(Task::Arm)?;
        // Until it is through, old limits, new ones or both may stand, in old or new ranges.
        (self.watched, self.in_force) = (self.watched | plan.watched(), [None; N]);
        Ok(())
    }

    pub(super) fn armed(&mut self, setup: &Setup<N>, watched: Causes) -> Frame<'_> {
        (self.watched, self.in_force) = (watched, setup.channels);
        self.completed(Condition::Boundary)
    }

    fn completed(&mut self, condition: Condition) -> Frame<'_> {
        self.unbroken = true;
        if condition == Condition::Boundary || !self.before {
            self.turns = self.turns.wrapping_add(1);
        }
        self.frame(condition, self.before)
    }

    fn frame(&self, condition: Condition, unbroken: bool) -> Frame<'_> {
        let head = self.part.head(self.block.as_ref());
        let reset = condition != Condition::Unpowered && head.reset_seen;
        Frame {
            codec: &self.part,
            block: self.block.as_ref(),
            rails: self.board.rails(),
            stamp: self.latched.stamp,
            condition: if reset { Condition::Reset } else { condition },
            complete: head.complete,
            rounds: head.rounds,
            mode: head.mode,
            unbroken,
            joined: false,
            turns: self.turns,
        }
    }

    fn refuse<E>(&self, task: Task, setup: &Setup<N>) -> Result<(), Error<E>> {
        self.part
            .check(&setup.view())
            .map_err(|fault| self.error(task, fault))
    }

    /// A range that changes under a limit would change what the limit means.
    fn refuse_under_limits<E>(&self, setup: &Setup<N>) -> Result<(), Error<E>> {
        let changes = self.in_force.iter().zip(&setup.channels);
        for (channel, (now, then)) in Channel::first(u8::MAX).zip(changes) {
            if now != then && self.watched.intersects(Causes::channel(channel)) {
                return Err(self.misuse(Task::Configure, Misuse::LimitsInForce(channel)));
            }
        }
        Ok(())
    }

    const fn misuse<E>(&self, task: Task, misuse: Misuse) -> Error<E> {
        self.error(task, Fault::Misuse(misuse))
    }

    /// Found before anything was sent.
    const fn error<E>(&self, task: Task, fault: Fault) -> Error<E> {
        Error {
            task,
            address: self.link.address,
            register: 0,
            came: Came::Fault(fault),
        }
    }
}
