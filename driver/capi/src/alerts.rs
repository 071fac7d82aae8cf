use core::ffi::c_void;
use core::time::Duration;

use crake::ShuntMonitor as _;
use crake::alert::{AlertFlag, Answer, Event as DriverEvent, Finding as DriverFinding};
use crake::alert::{Outputs, alert_response};

use crate::*;

/// Memory of an alert queue: zero it, then `crake_queue_init`.
#[repr(C)]
pub struct AlertQueue {
    words: [u64; 56],
}

/// cbindgen:ignore
type DriverQueue = crake::alert::AlertQueue<'static, 8>;

/// What lives in the memory of an alert queue, with room for eight events.
pub struct Queue {
    pub(crate) queue: DriverQueue,
    /// What gives it a sample: linked only where a queue is made.
    pub(crate) update: fn(&mut DriverQueue, &LastSample),
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

/// Something that the part told.
#[repr(C)]
pub struct Event {
    /// When the sample right after the flag was latched, in microseconds on the host's clock: the
    /// flag is older than `after_us`.
    pub before_us: u64,
    /// As in a sample.
    pub after_us: u64,
    /// The limit that was passed, as asked for, in nanovolts, nanoamperes or nanowatts.
    pub limit: i64,
    /// What that sample shows of the quantity, in the same unit: already back, perhaps.
    pub value: i64,
    /// What it is about.
    pub about: About,
    /// Channel of the limit.
    pub channel: u8,
    /// Its `crake_kind`.
    pub kind: u8,
    /// 1 if `before_us` and `after_us` are known; 0 for what was told without a sample.
    pub dated: u8,
    /// 1 if `limit` is known; 0 after a restart, or a setting of limits that failed.
    pub limit_known: u8,
    /// 1 if `value` is known.
    pub value_known: u8,
    /// 1 if a conversion went over range: the value is a limit, then.
    pub clipped: u8,
}

/// How a queue stands. Flags have five bits per channel from channel 0 up in the order of
/// `crake_kind`; bit 61 rollover ahead, bit 62 scan done, bit 63 reset seen.
#[repr(C)]
pub struct QueueStatus {
    /// How long after the last service the next one is due, whatever the outputs say, in
    /// microseconds. `UINT64_MAX`: not before an output says so. 0: something is left to do.
    pub next_in_us: u64,
    /// Flags that were seen in the part and are not yet events.
    pub pending: u64,
    /// Limits whose event was told and that no sample has shown to be over.
    pub lasting: u64,
    /// Flags of events that found the queue full, since this was asked last.
    pub lost: u64,
    /// Number of events that found the queue full.
    pub dropped: u32,
    /// Outputs whose active level is news: 1 A, 2 B. One that a lasting condition keeps active is
    /// not among them.
    pub listening: u8,
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

/// Findings for both outputs.
#[repr(C)]
pub struct Proof {
    /// Output A.
    pub a: Finding,
    /// Output B.
    pub b: Finding,
}

calls! {
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
        event.write(queue.queue.next_event().ok_or(Error::new(Code::Nothing))?.into())
    }

    /// How the queue stands; `lost` is forgotten with it.
    fn crake_queue_get_status(queue: live AlertQueue, status: wanted QueueStatus) {
        let queue = &mut queue.queue;
        let next_in = queue.next_in().map(|next| next.as_micros() as u64); // below 2^64
        status.write(QueueStatus {
            next_in_us: next_in.unwrap_or(u64::MAX),
            pending: queue.pending().bits(),
            lasting: queue.lasting().bits(),
            lost: queue.lost().bits(),
            dropped: queue.dropped(),
            listening: queue.listening().bits(),
        })
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
        let is_low = is_low.ok_or(Error::argument(Code::BadPointer, 3))?;
        let mut delay = monitor.host;
        // SAFETY: the caller's promise.
        let lines = |output: Outputs| unsafe { is_low(context, output.bits()) } != 0;
        let found = queue.queue.proof_test(&mut monitor.monitor, &mut delay, lines)?;
        let [a, b] = [found.a, found.b].map(Finding::from);
        proof.write(Proof { a, b })
    }

    /// Asks which part pulls a shared alert line: the SMBus alert response, a read of two bytes
    /// with the `read` of `host`. The part at `address` has answered and let go of the line, and
    /// its flags are still set: serve it before asking again, until nobody answers or the line is
    /// high.
    ///
    /// `NOTHING`: nobody answered, which `read` says by `CRAKE_NO_ACKNOWLEDGE`. `CHECK_BYTE`,
    /// `BUS`: a part may have answered and let go: serve every part on the line.
    fn crake_alert_response(host: given Host, address: wanted u8) {
        if host.read.is_none() {
            return Err(Error::argument(Code::BadPointer, 1));
        }
        match alert_response(&mut Lines(host))? {
            Answer::From(part) => address.write(part),
            Answer::Nobody => Err(Error::new(Code::Nothing)),
            Answer::Garbled { expected, got, .. } => {
                Err(Error::pair(Code::CheckByte, expected, got))
            }
        }
    }
}

impl From<DriverEvent> for Event {
    fn from(event: DriverEvent) -> Self {
        let (about, channel, kind) = match event.flag() {
            // A kind's place is below 5.
            AlertFlag::Limit(channel, kind) => (About::Limit, channel.number(), kind.index() as u8),
            AlertFlag::RolloverAhead => (About::RolloverAhead, 0, 0),
            AlertFlag::ScanDone => (About::ScanDone, 0, 0),
            AlertFlag::ResetSeen => (About::ResetSeen, 0, 0),
        };
        let date = event.timestamp();
        Self {
            before_us: date.map_or(0, |date| date.before_us),
            after_us: date.map_or(0, |date| date.after_us),
            limit: event.limit().map_or(0, |limit| limit.billionths()),
            value: event.value().map_or(0, |value| value.billionths()),
            about,
            channel,
            kind,
            dated: date.is_some().into(),
            limit_known: event.limit().is_some().into(),
            value_known: event.value().is_some().into(),
            clipped: event.is_clipped().into(),
        }
    }
}

mirrored!(
    DriverFinding => Finding: Works, NeverLow, NeverHigh, Swapped, Joined, NotTested
);
