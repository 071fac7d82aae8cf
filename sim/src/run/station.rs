//! The host of a run: one loop over all parts, which waits for whichever is to be served.

use core::future::{Future, poll_fn};
use core::pin::pin;
use core::task::Poll;
use core::time::Duration;

use embedded_hal_async::delay::DelayNs;
use embedded_hal_async::digital::Wait;

use super::RunError;
use super::alerts::Awaited;
use super::books::BookReport;
use super::firmware::Observer;
use super::{AlertReport, FailureReport};
use crate::bench::Bench;

/// One part with its firmware, as the host's loop sees it. An operation that fails uses up one of
/// two tries until the next reading.
pub trait Station {
    /// A reading is to come: two tries.
    fn begin_reading(&mut self);

    /// Whether it still has something to do for this reading.
    fn is_busy(&self) -> bool;

    /// Whether the part is set up.
    fn is_set_up(&self) -> bool;

    /// Sets the part up.
    fn set_up(&mut self) -> Result<(), RunError>;

    /// What it waits for; nothing until the next reading, if none.
    fn awaits(&self) -> Option<Awaited>;

    /// Serves the part because of that; the reading is due at `reading_ns`.
    fn serve(&mut self, reading_ns: u64) -> Result<(), RunError>;

    /// Takes the reading, the host's n-th.
    fn read(
        &mut self,
        reading_ns: u64,
        number: u64,
        observer: &mut dyn Observer,
    ) -> Result<(), RunError>;

    /// The longest time for which it may keep the host, in seconds.
    fn keeps_host_s(&self) -> f64;

    /// Others may keep the host for so long, in seconds.
    fn wait_for_others(&mut self, others_s: f64);

    /// The host set up another part, and listened to nothing until now.
    fn was_kept_waiting(&mut self);

    /// What it came to.
    fn outcome(&mut self) -> Outcome;
}

/// What the firmware of a part came to.
pub struct Outcome {
    pub(super) books: BookReport,
    pub(super) alerts: Vec<AlertReport>,
    pub(super) failures: Vec<FailureReport>,
    /// When the totals had begun.
    pub(super) begun_ns: Option<u64>,
}

/// Serves until a moment and then takes a reading of every part. One failure of a part on the way
/// is made good by another try, after two it is left alone until the moment.
pub(super) fn read(
    bench: &Bench,
    stations: &mut [&mut dyn Station],
    at_ns: u64,
    number: u64,
    observer: &mut dyn Observer,
) -> Result<(), RunError> {
    for station in stations.iter_mut() {
        station.begin_reading();
    }
    let mut served = stations.len().saturating_sub(1);
    loop {
        let mut all = stations.iter();
        if let Some(place) = all.position(|it| it.is_busy() && !it.is_set_up()) {
            set_up(stations, place)?;
            continue;
        }
        match wait_until(bench, stations, served, at_ns)? {
            Some(place) => {
                stations[place].serve(at_ns)?;
                served = place;
            }
            None => break,
        }
    }
    for place in 0..stations.len() {
        while stations[place].is_busy() {
            if stations[place].is_set_up() {
                stations[place].read(at_ns, number, observer)?;
            } else {
                set_up(stations, place)?;
            }
        }
    }
    bench.run_until(at_ns);
    Ok(())
}

fn set_up(stations: &mut [&mut dyn Station], place: usize) -> Result<(), RunError> {
    stations[place].set_up()?;
    let others = stations.iter_mut().enumerate();
    for (_, other) in others.filter(|(other, _)| *other != place) {
        other.was_kept_waiting();
    }
    Ok(())
}

/// Lets time pass until a part is to be served, and the host's latency from there, or until
/// `until_ns`; which part it is. Of several that wait at once the part served last comes last: one
/// that always has something to say keeps none of the others waiting for ever.
fn wait_until(
    bench: &Bench,
    stations: &[&mut dyn Station],
    served: usize,
    until_ns: u64,
) -> Result<Option<usize>, RunError> {
    let now_ns = bench.now_ns();
    if now_ns >= until_ns {
        return Ok(None);
    }
    let all = stations.iter().enumerate();
    let in_turn = all.clone().skip(served + 1).chain(all.take(served + 1));
    let mut awaited: Vec<(usize, Awaited)> = in_turn
        .filter(|(_, station)| station.is_busy())
        .filter_map(|(place, station)| Some((place, station.awaits()?)))
        .collect();
    if awaited.is_empty() {
        bench.run_until(until_ns);
        return Ok(None);
    }
    let due = awaited
        .iter()
        .filter_map(|(place, it)| Some((it.due_ns?, *place)));
    // Of equals the first.
    let due = due.min_by_key(|(due_ns, _)| *due_ns);
    let due = due.filter(|(due_ns, _)| *due_ns < until_ns);
    let rest_ns = due
        .map_or(until_ns, |(due_ns, _)| due_ns)
        .saturating_sub(now_ns);
    let mut waits = Vec::new();
    for (place, it) in &mut awaited {
        for mut line in it.lines.drain(..) {
            let latency = it.latency;
            let low = Box::pin(async move {
                // The bench's lines never fail.
                let Ok(()) = line.wait_for_low().await;
            });
            waits.push((*place, latency, low));
        }
    }
    let mut delay = bench.delay();
    let low = bench.block_on(async {
        let mut rest = pin!(sleep(&mut delay, Duration::from_nanos(rest_ns)));
        poll_fn(|context| {
            for (place, latency, wait) in &mut waits {
                if wait.as_mut().poll(context).is_ready() {
                    return Poll::Ready(Some((*place, *latency)));
                }
            }
            rest.as_mut().poll(context).map(|()| None)
        })
        .await
    });
    let low = low.map_err(|stall| RunError::Stall(stall.to_string()))?;
    Ok(match low {
        Some((place, latency)) => {
            bench.run_for(latency);
            Some(place)
        }
        None => due.map(|(_, place)| place),
    })
}

async fn sleep(delay: &mut crate::bench::Delay, duration: Duration) {
    let us = duration.as_micros();
    let mut left = u64::try_from(us).unwrap_or(u64::MAX);
    while left > 0 {
        let part = u32::try_from(left).unwrap_or(u32::MAX);
        delay.delay_us(part).await;
        left -= u64::from(part);
    }
    delay.delay_ns(duration.subsec_nanos() % 1_000).await;
}

#[cfg(test)]
mod tests {
    use std::cell::RefCell;
    use std::rc::Rc;

    use super::*;
    use crate::bench::Line;
    use crate::part::corncrake::{Corncrake, Output};
    use crate::run::Silent;

    /// What was done with the stations, and when.
    type Log = Rc<RefCell<Vec<(String, u64)>>>;

    struct Stub {
        name: char,
        bench: Bench,
        log: Log,
        tries: u8,
        is_set_up: bool,
        /// When it is due, one moment after the other.
        due_ns: Vec<u64>,
        lines: Vec<Line>,
        /// Readings that fail, and take the set-up with them.
        failing: u8,
    }

    impl Stub {
        fn note(&self, what: &str) {
            let entry = (format!("{what} {}", self.name), self.bench.now_ns());
            self.log.borrow_mut().push(entry);
        }
    }

    impl Station for Stub {
        fn begin_reading(&mut self) {
            self.tries = 2;
        }
        fn is_busy(&self) -> bool {
            self.tries > 0
        }
        fn is_set_up(&self) -> bool {
            self.is_set_up
        }
        fn set_up(&mut self) -> Result<(), RunError> {
            self.note("set up");
            self.is_set_up = true;
            Ok(())
        }
        fn awaits(&self) -> Option<Awaited> {
            Some(Awaited {
                lines: self.lines.clone(),
                due_ns: self.due_ns.first().copied(),
                latency: Duration::from_micros(3),
            })
        }
        fn serve(&mut self, _: u64) -> Result<(), RunError> {
            self.note("serve");
            self.lines.clear();
            if !self.due_ns.is_empty() {
                self.due_ns.remove(0);
            }
            Ok(())
        }
        fn read(&mut self, _: u64, _: u64, _: &mut dyn Observer) -> Result<(), RunError> {
            self.note("read");
            self.tries = 0;
            if self.failing > 0 {
                self.failing -= 1;
                (self.tries, self.is_set_up) = (1, false);
            }
            Ok(())
        }
        fn keeps_host_s(&self) -> f64 {
            0.0
        }
        fn wait_for_others(&mut self, _: f64) {}
        fn was_kept_waiting(&mut self) {
            self.note("keep waiting");
        }
        fn outcome(&mut self) -> Outcome {
            unreachable!("nobody asks for it")
        }
    }

    fn stubs(bench: &Bench, names: &str) -> (Log, Vec<Stub>) {
        let log = Log::default();
        let stub = |name| Stub {
            name,
            bench: bench.clone(),
            log: log.clone(),
            tries: 0,
            is_set_up: true,
            due_ns: Vec::new(),
            lines: Vec::new(),
            failing: 0,
        };
        let stubs = names.chars().map(stub).collect();
        (log, stubs)
    }

    fn read_at(bench: &Bench, stubs: &mut [Stub], at_ns: u64) {
        let mut stations = Vec::new();
        for stub in stubs {
            stations.push(stub as &mut dyn Station);
        }
        read(bench, &mut stations, at_ns, 0, &mut Silent).expect("stubs never fail");
    }

    fn told(log: &Log) -> Vec<(String, u64)> {
        log.take()
    }

    fn entries(of: &[(&str, u64)]) -> Vec<(String, u64)> {
        of.iter()
            .map(|(what, ns)| ((*what).to_owned(), *ns))
            .collect()
    }

    /// Three that are due at one moment, and each again when it was served: none waits for ever.
    /// What is due when the reading is, or later, comes with it.
    #[test]
    fn all_that_are_due_are_served_in_turn_and_then_read() {
        let bench = Bench::new(0);
        let (log, mut stubs) = stubs(&bench, "abc");
        for stub in &mut stubs {
            stub.due_ns = vec![1_234_567; 2];
        }
        read_at(&bench, &mut stubs, 2_000_000_001);
        let due = ["a", "b", "c", "a", "b", "c"].map(|name| format!("serve {name}"));
        let due = due.iter().map(|what| (what.as_str(), 1_234_567));
        let read = ["read a", "read b", "read c"].map(|what| (what, 2_000_000_001));
        let expected: Vec<_> = due.chain(read).collect();
        assert_eq!(told(&log), entries(&expected));
        assert_eq!(bench.now_ns(), 2_000_000_001);
        // One that was late comes first, and a moment before the reading is before it.
        let at_ns = 3_000_000_000;
        stubs[0].due_ns = vec![at_ns - 1, at_ns];
        stubs[1].due_ns = vec![at_ns];
        stubs[2].due_ns = vec![5];
        read_at(&bench, &mut stubs, at_ns);
        let read = ["read a", "read b", "read c"].map(|what| (what, at_ns));
        let expected = [("serve c", 2_000_000_001), ("serve a", at_ns - 1)];
        assert_eq!(told(&log), entries(&[&expected[..], &read].concat()));
    }

    /// The host sets up before it waits, and listens to nobody else meanwhile; one whose reading
    /// took its set-up is set up again and read again.
    #[test]
    fn a_part_is_set_up_before_anything_else() {
        let bench = Bench::new(0);
        let (log, mut stubs) = stubs(&bench, "abc");
        stubs[1].is_set_up = false;
        stubs[2].failing = 1;
        read_at(&bench, &mut stubs, 1_000);
        let waiting = |of: [&'static str; 2], ns| of.map(|what| (what, ns));
        let expected = [
            &[("set up b", 0)][..],
            &waiting(["keep waiting a", "keep waiting c"], 0),
            &[("read a", 1_000), ("read b", 1_000), ("read c", 1_000)],
            &[("set up c", 1_000)],
            &waiting(["keep waiting a", "keep waiting b"], 1_000),
            &[("read c", 1_000)],
        ];
        assert_eq!(told(&log), entries(&expected.concat()));
    }

    /// "Reset seen" pulls output A from the end of the write of MASK_A on (sections 3.4, 3.6 of the
    /// datasheet). The host comes its latency later, but for a reading that is due.
    #[test]
    fn an_output_is_served_after_the_latency() {
        use embedded_hal::i2c::I2c;

        let bench = Bench::new(0);
        let part = bench.part(Corncrake::ideal(0x32)).expect("a free address");
        let line = bench.alert(&part, Output::A);
        let mask = [0x35, 0x40, 0x00, 0x00];
        bench.i2c().write(0x32, &mask).expect("acknowledged");
        let low_ns = bench.now_ns();
        let (log, mut stubs) = stubs(&bench, "ab");
        stubs[1].lines = vec![bench.line(), line.clone()];
        read_at(&bench, &mut stubs, low_ns + 10_000);
        let read = |ns| ["read a", "read b"].map(|what| (what, ns));
        let served = [("serve b", low_ns + 3_000)];
        let expected = [&served[..], &read(low_ns + 10_000)].concat();
        assert_eq!(told(&log), entries(&expected));
        stubs[1].lines = vec![line];
        read_at(&bench, &mut stubs, low_ns + 10_000);
        assert_eq!(told(&log), entries(&read(low_ns + 10_000)));
    }
}
