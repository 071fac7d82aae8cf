use core::ffi::c_void;
use core::time::Duration;

use crake::alert::{AlertFlag, Answer, Event as DriverEvent, Finding as DriverFinding};
use crake::alert::{Kind as DriverKind, Lasting, Limit as DriverLimit, Limits as DriverLimits};
use crake::alert::{Outputs, Proof as DriverProof, Quantity, Threshold};
use crake::alert::{alert_response, limit_in_force};
use crake::{Channel, ShuntMonitor as _};

use crate::*;

/// cbindgen:ignore
type DriverQueue = crake::alert::AlertQueue<'static, 8>;

/// What lives in the memory of an alert queue.
pub struct Queue {
    pub(crate) queue: DriverQueue,
    /// What gives it a sample: linked only where a queue is made.
    pub(crate) update: fn(&mut DriverQueue, &LastSample),
}

/// What a limit watches for.
#[repr(u8)]
pub enum Kind {
    /// Rail voltage above the limit.
    OverVoltage = 0,
    /// Rail voltage below the limit.
    UnderVoltage = 1,
    /// Current above the limit, signed.
    OverCurrent = 2,
    /// Current below the limit, signed.
    UnderCurrent = 3,
    /// Power above the limit, signed.
    OverPower = 4,
}

/// What an event is about.
#[repr(u8)]
pub enum About {
    /// A limit on a channel was passed.
    Limit = 0,
    /// One of the part's running sums comes near its end: take a sample.
    RolloverAhead = 1,
    /// A scan was completed.
    ScanDone = 2,
    /// The part was reset.
    ResetSeen = 3,
}

/// What a proof test found of one output's way to the host.
#[repr(u8)]
pub enum Finding {
    /// Low when driven, high when not.
    Works = 0,
    /// Never low: broken, or stuck high; or the part converts nothing.
    NeverLow = 1,
    /// Never high: shorted, stuck low, or held low by another part on the line.
    NeverHigh = 2,
    /// Follows the other output instead.
    Swapped = 3,
    /// Follows both outputs: the lines are joined.
    Joined = 4,
    /// The part cannot be tested.
    NotTested = 5,
}

mirrored!(DriverFinding => Finding: Works, NeverLow, NeverHigh, Swapped, Joined, NotTested);

/// What a flag is about, and channel and kind of a limit.
fn about(event: &DriverEvent) -> (About, u8, u8) {
    match event.flag() {
        // A kind's place is below 5.
        AlertFlag::Limit(channel, kind) => (About::Limit, channel.number(), kind.index() as u8),
        AlertFlag::RolloverAhead => (About::RolloverAhead, 0, 0),
        AlertFlag::ScanDone => (About::ScanDone, 0, 0),
        AlertFlag::ResetSeen => (About::ResetSeen, 0, 0),
    }
}

types! {
    /// One limit on one channel, and what is to happen when it is passed.
    struct Limit {
        /// The limit, in nanovolts, nanoamperes or nanowatts.
        limit: i64,
        /// Over only once a sample is back on the permitted side by this much, in the limit's unit,
        /// 0 or more; 0 takes a 64th of the limit. A limit near zero needs one of its own.
        hysteresis: i64,
        /// What happens while the condition lasts: 0, its flag alone is taken off its outputs until
        /// a sample shows it over; otherwise it is looked at again after so many microseconds.
        look_again_us: u32,
        /// The channel.
        channel: u8,
        /// A `crake_kind`.
        kind: u8,
        /// Passed after so many consecutive conversions beyond the limit: 1 to 15; 0 counts as 1.
        debounce: u8,
        /// 0: the flag stays until it was seen and cleared; 1: it follows the condition.
        following: u8,
        /// Outputs it reaches: 1 A, 2 B, 3 both, 0 none, which has to be meant.
        outputs: u8,
        /// 1 if it reaches no output on purpose, to be found by looking.
        silent: u8,
    }

    /// Something that the part told.
    struct Event of (event: DriverEvent) {
        /// When the sample right after the flag was latched, in microseconds on the host's clock:
        /// the flag is older than `after_us`.
        before_us: u64 = event.timestamp().map_or(0, |date| date.before_us),
        /// As in a sample.
        after_us: u64 = event.timestamp().map_or(0, |date| date.after_us),
        /// The limit that was passed, as asked for, in nanovolts, nanoamperes or nanowatts.
        limit: i64 = event.limit().map_or(0, |limit| limit.billionths()),
        /// What that sample shows of the quantity, in the same unit: already back, perhaps.
        value: i64 = event.value().map_or(0, |value| value.billionths()),
        /// What it is about.
        about: About = about(&event).0,
        /// Channel of the limit.
        channel: u8 = about(&event).1,
        /// Its `crake_kind`.
        kind: u8 = about(&event).2,
        /// 1 if `before_us` and `after_us` are known; 0 for what was told without a sample.
        dated: u8 = event.timestamp().is_some().into(),
        /// 1 if `limit` is known; 0 after a restart, or a setting of limits that failed.
        limit_known: u8 = event.limit().is_some().into(),
        /// 1 if `value` is known.
        value_known: u8 = event.value().is_some().into(),
        /// 1 if a conversion went over range: the value is a limit, then.
        clipped: u8 = event.is_clipped().into(),
    }

    /// How a queue stands. Flags have five bits per channel from channel 0 up in the order of
    /// `crake_kind`; bit 61 rollover ahead, bit 62 scan done, bit 63 reset seen.
    struct QueueStatus of (queue: &mut DriverQueue) {
        /// How long after the last service the next one is due, whatever the outputs say, in
        /// microseconds. `UINT64_MAX`: not before an output says so. 0: something is left to do.
        next_in_us: u64 = queue.next_in().map_or(u64::MAX, |next| next.as_micros() as u64),
        /// Flags that were seen in the part and are not yet events.
        pending: u64 = queue.pending().bits(),
        /// Limits whose event was told and that no sample has shown to be over.
        lasting: u64 = queue.lasting().bits(),
        /// Flags of events that found the queue full, since this was asked last.
        lost: u64 = queue.lost().bits(),
        /// Number of events that found the queue full.
        dropped: u32 = queue.dropped(),
        /// Outputs whose active level is news: 1 A, 2 B. One that a lasting condition keeps active
        /// is not among them.
        listening: u8 = queue.listening().bits(),
    }

    /// Findings for both outputs.
    struct Proof of (found: DriverProof) {
        /// Output A.
        a: Finding = found.a.into(),
        /// Output B.
        b: Finding = found.b.into(),
    }
}

impl Limit {
    fn driver(&self) -> Option<DriverLimit> {
        let kind = *DriverKind::ALL.get(usize::from(self.kind))?;
        let threshold = Threshold::of(kind, self.limit);
        let mut limit = DriverLimit::new(Channel::new(self.channel), threshold)
            .debounce(self.debounce.max(1))
            .to(Outputs::from_bits(self.outputs)?);
        if self.hysteresis != 0 {
            limit = limit.hysteresis(Quantity::of(kind, self.hysteresis));
        }
        if self.following != 0 {
            limit = limit.following();
        }
        if self.silent != 0 {
            limit = limit.silent();
        }
        if self.look_again_us > 0 {
            let interval = Duration::from_micros(self.look_again_us.into());
            limit = limit.lasting(Lasting::LookAgain(interval));
        }
        Some(limit)
    }
}

calls! {
    /// Makes limits of a list of `count`, which is not needed afterwards; `memory` has room for as
    /// many, and stays with the limits. What cannot be is found when they are set.
    ///
    /// `rollover_outputs` are told when a running sum of the part comes near its end; nothing is
    /// masked on `wired_outputs`, which are wired to hardware. `BAD_ARGUMENT` with the place in the
    /// list as `got` for a kind or an output that there is not.
    fn crake_limits_init(
        limits: new Limits, memory: room LimitMemory; count, list: array Limit; count,
        count: value usize, rollover_outputs: value u8, wired_outputs: value u8
    ) {
        let bad = |argument| Code::BadArgument.at(argument);
        let list = memory.filled(|place| {
            let made = list.get(place).and_then(Limit::driver);
            made.ok_or(Error { got: place as i64, ..bad(3) })
        })?;
        let rollover = Outputs::from_bits(rollover_outputs).ok_or(bad(5))?;
        let wired = Outputs::from_bits(wired_outputs).ok_or(bad(6))?;
        limits.fill(DriverLimits::new(list).rollover_ahead(rollover).wired(wired))
    }

    /// What a limit's code stands for under the configuration in force: the limit moved to the code
    /// on the safe side. `kind` is a `crake_kind`. `NOTHING` where the channel is not enabled or
    /// the limit beyond full scale.
    fn crake_limit_in_force(
        monitor: live Monitor, channel: value u8, kind: value u8, limit: value i64,
        in_force: wanted i64
    ) {
        let kind = DriverKind::ALL.get(usize::from(kind)).ok_or(Code::BadArgument.at(3))?;
        let threshold = Threshold::of(*kind, limit);
        let found = limit_in_force(monitor.monitor.last_sample(), Channel::new(channel), threshold);
        in_force.write(found.ok_or(Code::Nothing)?.billionths())
    }

    /// Makes an empty queue. While a flag is masked a sample is due every `interval_us`; 0 for once
    /// a second.
    fn crake_queue_init(queue: new AlertQueue, interval_us: value u32) {
        let interval = Duration::from_micros(interval_us.into());
        let update = |queue: &mut DriverQueue, sample: &LastSample| queue.update(sample);
        queue.fill(Queue { queue: DriverQueue::new().with_interval(interval), update })
    }

    /// Puts limits in place of those before; flags that stood in the part become events. Scans and
    /// samples go on meanwhile. 23 transfers, and two for each limit.
    ///
    /// A limit that cannot be is refused before a byte is sent, and those before stand. After a
    /// failure on the bus alerts are not armed: set limits again.
    fn crake_queue_set_limits(queue: live AlertQueue, monitor: live Monitor, limits: fixed Limits) {
        Ok(queue.queue.set_limits(&mut monitor.monitor, limits)?)
    }

    /// Looks at the flags, clears exactly those that it saw, takes a sample, makes events of what
    /// was noted, and settles what a condition that lasts, or is over, asks for. Call it while an
    /// output that is listened to is active (its level, not its edge), and when `next_in_us` says
    /// so. `totals` and `sample` may be null.
    ///
    /// `NOT_ARMED` until limits were set. What was noted before a failure stays so, and the next
    /// service goes on with it; totals have the sample, if one was taken. `RESET` has become an
    /// event, and leaves the monitor not configured.
    fn crake_queue_service(
        queue: live AlertQueue, monitor: live Monitor, totals: maybe Totals, sample: optional Sample
    ) {
        queue.queue.read_alerts(&mut monitor.monitor)?;
        monitor.sample(Some(&mut queue), totals, sample, |monitor| monitor.sample())?;
        Ok(queue.queue.settle(&mut monitor.monitor)?)
    }

    /// The first piece of a service that is split, so that a watchdog or others on the bus are met:
    /// looks at the flags once, notes and clears them. `found` are those that it found. Then
    /// `crake_take_sample` with the queue, and `crake_queue_settle`; the bus is free between any
    /// two.
    fn crake_queue_read_alerts(queue: live AlertQueue, monitor: live Monitor, found: wanted u64) {
        found.write(queue.queue.read_alerts(&mut monitor.monitor)?.bits())
    }

    /// The last piece: clears what conditions had set until a sample showed them over, and masks or
    /// unmasks flags. Touches the bus only where there is something to do.
    fn crake_queue_settle(queue: live AlertQueue, monitor: live Monitor) {
        Ok(queue.queue.settle(&mut monitor.monitor)?)
    }

    /// Takes the oldest event out of the queue; `NOTHING` if there is none.
    fn crake_queue_next_event(queue: live AlertQueue, event: wanted Event) {
        event.write(Event::of(queue.queue.next_event().ok_or(Code::Nothing)?))
    }

    /// How the queue stands; `lost` is forgotten with it.
    fn crake_queue_get_status(queue: live AlertQueue, status: wanted QueueStatus) {
        status.write(QueueStatus::of(&mut queue.queue))
    }

    /// Proves the way of both outputs to the host: lets the end of each scan reach one output, then
    /// the other, looks at the lines, and puts the masks back. `is_low` gets `context` and the
    /// output (1 A, 2 B), and gives 0 for high. Limits stand all the while, three scans and a half;
    /// only no output tells of them. The part has to run at a scan rate.
    ///
    /// An output that is wired to hardware drives it. Prove the path before trusting it, and never
    /// let a monitor be the only protection. After a failure the next service puts the masks back.
    fn crake_queue_proof_test(
        queue: live AlertQueue, monitor: live Monitor,
        is_low: value Option<unsafe extern "C" fn(context: *mut c_void, output: u8) -> i32>,
        context: value *mut c_void, proof: wanted Proof
    ) {
        let is_low = is_low.ok_or(Code::BadPointer.at(3))?;
        let mut delay = monitor.host;
        // SAFETY: the caller's promise.
        let lines = |output: Outputs| unsafe { is_low(context, output.bits()) } != 0;
        proof.write(Proof::of(queue.queue.proof_test(&mut monitor.monitor, &mut delay, lines)?))
    }

    /// Asks which part pulls a shared alert line: the SMBus alert response, a read of two bytes
    /// with the `read` of `host`. The part at `address` has answered and let go of the line, and
    /// its flags are still set: serve it before asking again, until nobody answers or the line is
    /// high.
    ///
    /// `NOTHING`: nobody answered, which `read` says by `CRAKE_NO_ACKNOWLEDGE`. `CHECK_BYTE`,
    /// `BUS`: a part may have answered and let go: serve every part on the line.
    fn crake_alert_response(host: given Host, address: wanted u8) {
        match alert_response(&mut Lines::of(host, 1)?)? {
            Answer::From(part) => address.write(part),
            Answer::Nobody => Err(Code::Nothing.into()),
            Answer::Garbled { expected, got, .. } => Err(Code::CheckByte.at(0).with(expected, got)),
        }
    }
}
