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
