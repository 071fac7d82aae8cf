//! Totals that are given samples as faults let them come, and what truly flowed: nothing is lost or
//! counted twice but in a gap.

use crake::part::ResumeToken;
use crake::totals::{Bounds, Discontinuity, Totals, Update};
use crake::{Channel, TimedSample};

use crate::host::Seen;
use crate::scene::{CHANNELS, MARGINS, Setting, flowed, tells_time_by_current};

type Bounded = Totals<'static, CHANNELS, Bounds<'static, CHANNELS>>;

/// Totals, and what they have to be.
#[derive(Clone)]
pub struct Books {
    totals: Bounded,
    first: Option<Latch>,
    last: Option<Latch>,
    /// Charge and energy by channel, in coulombs and joules, and how far totals may lie from them.
    expected: [[f64; 2]; CHANNELS],
    tolerance: [[f64; 2]; CHANNELS],
    /// Time that jumps of the host's clock have added or taken, in seconds: no bound knows of them.
    off_s: f64,
    /// The host's clock has jumped since the last sample, and ever.
    jumped: bool,
    ever_jumped: bool,
    left_out: u8,
}

/// Totals as they were saved, and what they had to be then.
pub struct Saved {
    books: Books,
    bytes: Vec<u8>,
}

impl Saved {
    /// After the restart: totals made of the bytes, and the token to resume with.
    pub fn load(&self) -> (Books, ResumeToken) {
        let mut books = Books {
            totals: Totals::with_bounds(&MARGINS),
            ..self.books.clone()
        };
        let token = books.totals.load(&self.bytes).expect("good bytes");
        if let Some(last) = &mut books.last {
            last.configuration |= ResumeToken::KEPT;
        }
        (books, token)
    }
}

/// When a sample was latched, in microseconds.
#[derive(Clone, Copy, Debug)]
struct Latch {
    /// By the host's clock, and by the bench's.
    host: (u64, u64),
    bench: (i64, i64),
    configuration: u32,
    counts: bool,
}

impl Latch {
    /// Middle of the bracket on the bench, and that of the host's.
    fn middles(&self) -> (f64, f64) {
        let bench = (self.bench.0 + self.bench.1) as f64 / 2.0;
        let host = (self.host.0 as f64 + self.host.1 as f64) / 2.0;
        (bench, host)
    }

    fn width_us(&self) -> f64 {
        let bench = self.bench.1 - self.bench.0;
        bench.max(self.host.1.wrapping_sub(self.host.0) as i64) as f64
    }
}

/// Greatest current and power of the ramps, and how fast they change a second (see `scene`).
const AMPERES: f64 = 1.5;
const WATTS: f64 = 8.0;
const AMPERES_A_SECOND: f64 = 0.5;
const WATTS_A_SECOND: f64 = 4.5;
/// One code of either quantity at the most: 50 µA; and 250 µV at 1.5 A, 50 µA at 5.5 V.
const CODE: [f64; 2] = [50e-6, 650e-6];
/// Samples that the totals are not given: one in so many.
const LEAVES_OUT: u8 = 5;

impl Default for Books {
    fn default() -> Self {
        Self {
            totals: Totals::with_bounds(&MARGINS),
            first: None,
            last: None,
            expected: [[0.0; 2]; CHANNELS],
            tolerance: [[0.0; 2]; CHANNELS],
            off_s: 0.0,
            jumped: false,
            ever_jumped: false,
            left_out: 0,
        }
    }
}

impl Books {
    /// What firmware keeps across its restart, together with a token.
    pub fn save(&mut self, token: ResumeToken) -> Saved {
        let mut bytes = vec![0; Bounded::CHECKPOINT_LEN];
        let saved = self.totals.save(token, &mut bytes);
        assert_eq!(saved, Ok(()));
        Saved {
            books: self.clone(),
            bytes,
        }
    }

    /// Gives a sample to the totals, or leaves it out: then `None`.
    pub fn update(&mut self, sample: &impl TimedSample<CHANNELS>) -> Option<Update> {
        self.left_out = (self.left_out + 1) % LEAVES_OUT;
        (self.left_out != 0).then(|| self.totals.update(sample))
    }

    /// Notes whether the host's clock has jumped in a call.
    pub fn note_clock(&mut self, jumped: bool) {
        self.jumped |= jumped;
        self.ever_jumped |= jumped;
    }

    /// What the totals said of a sample, and what they are now. `latched` is when, on the bench;
    /// the host's clock may have jumped in the same call.
    ///
    /// # Panics
    /// Where it is wrong.
    pub fn judge(&mut self, setting: &Setting, seen: &Seen, latched: (i64, i64), jumped: bool) {
        let Some(update) = seen.update else { return };
        let now = Latch {
            host: (seen.stamp.before_us, seen.stamp.after_us),
            bench: latched,
            configuration: seen.configuration,
            counts: setting.period_us > 0,
        };
        let last = self.last.replace(now);
        self.first.get_or_insert(now);
        let goes_on = last.is_some_and(|last| last.counts);
        let is_same = last.is_some_and(|last| last.configuration == now.configuration);
        match update {
            Update::Continued => {
                assert!(goes_on && is_same, "{update:?}: {last:?}, then {now:?}");
                let last = last.expect("one before");
                self.go_on(setting, &last, &now);
            }
            Update::First => assert!(now.counts && !goes_on, "{last:?}, then {now:?}"),
            Update::NotCounting => assert!(!now.counts && !goes_on, "{last:?}, then {now:?}"),
            Update::Discontinuity(Discontinuity::Configured) => {
                assert!(goes_on && !is_same, "{last:?}, then {now:?}");
            }
            _ => assert!(self.jumped, "{update:?}: {last:?}, then {now:?}"),
        }
        // In this call it may have jumped after the latch.
        self.jumped = jumped;
        self.compare(update);
    }

    /// What flowed from one sample to the next.
    fn go_on(&mut self, setting: &Setting, last: &Latch, now: &Latch) {
        let ((from_us, host_from_us), (to_us, host_to_us)) = (last.middles(), now.middles());
        let seconds = (to_us - from_us) / 1e6;
        let period_s = f64::from(setting.period_us) / 1e6;
        // What jumps of the clock the totals may take for its error, and that of the part's
        // oscillator.
        let off_s = ((host_to_us - host_from_us) / 1e6 - seconds).abs();
        let ends_s = (last.width_us() + now.width_us()) / 2e6;
        let most_s = ends_s + 0.016 * seconds + 4.0 * period_s + 0.0006;
        assert!(off_s <= most_s, "{off_s} s: {last:?}, then {now:?}");
        self.off_s += off_s;
        for channel in 0..CHANNELS {
            if !setting.enables(Channel::new(channel as u8)) {
                continue;
            }
            let change = [AMPERES_A_SECOND, WATTS_A_SECOND];
            let most = [AMPERES, WATTS];
            for quantity in 0..2 {
                self.expected[channel][quantity] +=
                    flowed(channel, from_us / 1e6, to_us / 1e6)[quantity];
                self.tolerance[channel][quantity] += most[quantity] * (ends_s + off_s)
                    + seconds * (change[quantity] * 3.0 * period_s + CODE[quantity]);
            }
        }
    }

    fn compare(&self, update: Update) {
        for number in 0..CHANNELS {
            if !tells_time_by_current(number) {
                continue;
            }
            let channel = Channel::new(number as u8);
            let charge = self.totals.charge(channel).expect("a rail");
            let energy = self.totals.energy(channel).expect("a rail");
            assert!(charge.covers_load && energy.covers_load);
            let base = |billionths: i128| billionths as f64 / 1e9;
            let coulombs = [charge.value, charge.bound].map(|of| base(of.as_nanocoulombs()));
            let joules = [energy.value, energy.bound].map(|of| base(of.as_nanojoules()));
            let most = [AMPERES, WATTS];
            for (quantity, [told, bound]) in [coulombs, joules].into_iter().enumerate() {
                let expected = self.expected[number][quantity];
                let tolerance = self.tolerance[number][quantity];
                let least = tolerance.min(bound + self.off_s * most[quantity]);
                assert!(
                    (told - expected).abs() <= least,
                    "{update:?}, {channel}: {told}, not {expected} to {tolerance}, bound {bound}"
                );
            }
        }
        let (Some(first), Some(last)) = (self.first, self.last) else {
            return;
        };
        if self.ever_jumped {
            return;
        }
        // What was counted and the gap make up all the time.
        let span_us = last.middles().0 - first.middles().0;
        let (counted_us, gap) = (self.totals.counted_us() as f64, self.totals.gap());
        let slack_us = first.width_us() + last.width_us() + 2.0;
        let least_us = counted_us + gap.least_us as f64 - slack_us;
        let greatest_us = counted_us + gap.greatest_us as f64 + slack_us;
        assert!(
            least_us <= span_us && span_us <= greatest_us,
            "{span_us} µs passed, {counted_us} counted, {gap:?}"
        );
    }
}
