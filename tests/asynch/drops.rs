//! A future dropped at any await, or at any moment of a wait, leaves what its docs say.

use std::future::{Future, poll_fn};
use std::pin::pin;
use std::task::Poll;

use crake::old::alert::{Cause, Event, Kind, Outputs, Station};
use crake::old::asynch::{ShuntMonitor as _, prove};
use crake::old::ledger::{Break, Entry};
use crake::old::part::Joint;
use crake::old::{Channel, Condition, Mode, NoReading, Setup};
use crake_sim::bench::Bench;
use crake_sim::old::corncrake::Output;
use crake_suite::rig::{ADDRESS, CHANNELS, Rig, RigMonitorAsync};
use embedded_hal::i2c::I2c as _;
use embedded_hal_async::delay::DelayNs as _;

use crate::desk::{AFTERWARDS_NS, Books, OTHER_WATCHES, SETUP, WATCHES, board, other, rig};

const OVER_CURRENT: Cause = Cause::Limit(Channel::C0, Kind::OverCurrent);

/// When a future is given up.
#[derive(Clone, Copy, Debug)]
enum Until {
    /// Its poll with this number, counted from 1, did not finish it.
    Polls(u32),
    /// So much time has passed.
    Ns(u64),
}

/// Runs a future until it is over, or dropped: then `None`.
fn run<T>(bench: &Bench, until: Until, future: impl Future<Output = T>) -> Option<T> {
    let run = async {
        let mut future = pin!(future);
        match until {
            Until::Polls(most) => {
                let mut polls = 0;
                poll_fn(|context| {
                    polls += 1;
                    match future.as_mut().poll(context) {
                        Poll::Ready(output) => Poll::Ready(Some(output)),
                        Poll::Pending if polls == most => Poll::Ready(None),
                        Poll::Pending => Poll::Pending,
                    }
                })
                .await
            }
            Until::Ns(ns) => {
                let mut delay = bench.delay();
                let mut over = pin!(delay.delay_ns(u32::try_from(ns).expect("seconds")));
                poll_fn(|context| match future.as_mut().poll(context) {
                    Poll::Ready(output) => Poll::Ready(Some(output)),
                    Poll::Pending => over.as_mut().poll(context).map(|()| None),
                })
                .await
            }
        }
    };
    bench.block_on(run).expect("nothing waits for ever")
}

/// A monitor that has been set up and armed; an over-current beyond the range stands in the part, and no frame has told of it.
struct Scene<'b> {
    rig: Rig,
    monitor: RigMonitorAsync<'b, CHANNELS>,
    station: Station<'static, CHANNELS, 8>,
    books: Books<'b>,
}

impl<'b> Scene<'b> {
    fn new(board: &'b crake::old::board::Board<CHANNELS>) -> Self {
        let mut scene = Self::set_up(board);
        let Self {
            rig,
            monitor,
            station,
            books,
        } = &mut scene;
        let bench = rig.bench.clone();
        let arm = async {
            books.enter(rig, &station.arm_async(monitor).await.expect("arm"));
            books.enter(rig, &monitor.latch().await.expect("latch"));
        };
        bench.block_on(arm).expect("nothing waits for ever");
        bench.run_until(AFTERWARDS_NS);
        assert!(rig.part.is_low(Output::A));
        scene
    }

    /// Nothing was done to the part but to set it up, and only one block was latched.
    fn set_up(board: &'b crake::old::board::Board<CHANNELS>) -> Self {
        let rig = rig(7);
        let mut monitor = rig.monitor_async(board);
        let mut books = Books::new(board);
        let init = async {
            books.enter(&rig, &monitor.init(&SETUP).await.expect("init"));
        };
        rig.bench.block_on(init).expect("nothing waits for ever");
        Self {
            rig,
            monitor,
            station: Station::new(SETUP, WATCHES),
            books,
        }
    }

    /// Whoever has the bus next finds it free and the part on it.
    fn assert_bus_is_free(&self) {
        let mut identity = [0; 4];
        let outcome = self
            .rig
            .bench
            .i2c()
            .write_read(ADDRESS, &[0x00], &mut identity);
        assert_eq!((outcome, identity), (Ok(()), [0x9E, 0x37, 0xC4, 0x01]));
    }

    fn service(&mut self) -> Entry {
        let Self {
            rig,
            monitor,
            station,
            books,
        } = self;
        let bench = rig.bench.clone();
        let service = async {
            let frame = station.service_async(monitor).await.expect("service");
            books.enter(rig, &frame)
        };
        bench.block_on(service).expect("nothing waits for ever")
    }

    /// Latches, and shows the frame to station and ledger.
    fn report(&mut self) {
        let Self {
            rig,
            monitor,
            station,
            books,
        } = self;
        let bench = rig.bench.clone();
        let report = async {
            let frame = monitor.latch().await.expect("latch");
            station.report(&frame);
            books.enter(rig, &frame)
        };
        let entry = bench.block_on(report).expect("nothing waits for ever");
        assert_eq!(entry, Entry::Added);
    }

    /// Latches; the entry, whether the frame is unbroken, and whether it says that channel 0 went over range.
    fn latch(&mut self) -> (Entry, bool, bool) {
        let Self {
            rig,
            monitor,
            books,
            ..
        } = self;
        let bench = rig.bench.clone();
        let latch = async {
            let frame = monitor.latch().await.expect("latch");
            let clipped = matches!(
                frame.reading(Channel::C0),
                Err(NoReading::Clipped { .. } | NoReading::NotComplete)
            ) && frame.codes(Channel::C0).sense_clipped;
            (books.enter(rig, &frame), frame.unbroken(), clipped)
        };
        bench.block_on(latch).expect("nothing waits for ever")
    }

    fn events(&mut self) -> Vec<Event> {
        std::iter::from_fn(|| self.station.next_event()).collect()
    }

    /// Some time later another frame, without any over-range; then the account is looked at.
    fn assert_all_is_well(&mut self) {
        self.rig.pass_ms(20);
        let (entry, unbroken, clipped) = self.latch();
        assert_eq!((entry, unbroken, clipped), (Entry::Added, true, false));
        self.books.assert_honest();
    }
}

/// Calls `check` with every moment at which a future of this kind can be dropped, until it says that the future came to its end first. At least `least` awaits must be among them.
fn at_every_await(least: u32, mut check: impl FnMut(Until) -> bool) {
    let polls = (1..)
        .find(|&polls| check(Until::Polls(polls)))
        .expect("an end");
    assert!(polls > least, "only {polls} polls");
    // Moments in the middle of bits, delays and rounds: steps that nothing on the bench is a multiple of.
    let step_ns = 37_003;
    (1..)
        .find(|&step| check(Until::Ns(step * step_ns)))
        .expect("an end");
}

#[test]
fn a_dropped_latch_loses_no_count_and_no_flag() {
    let board = board();
    at_every_await(200, |until| {
        let mut scene = Scene::new(&board);
        let bench = scene.rig.bench.clone();
        let latch = async { scene.monitor.latch().await.map(|_| ()) };
        if run(&bench, until, latch).is_some() {
            return true;
        }
        scene.assert_bus_is_free();
        let (entry, unbroken, clipped) = scene.latch();
        assert_eq!(entry, Entry::Added, "{until:?}");
        assert!(unbroken && clipped, "{until:?}: {unbroken} {clipped}");
        scene.assert_all_is_well();
        assert_eq!(scene.books.ledger.epoch(), 0);
        false
    });
}

#[test]
fn a_dropped_service_loses_no_cause_besides_and_tells_it_once() {
    let board = board();
    at_every_await(230, |until| {
        let mut scene = Scene::new(&board);
        let bench = scene.rig.bench.clone();
        let Scene {
            station, monitor, ..
        } = &mut scene;
        let service = async { station.service_async(monitor).await.map(|_| ()) };
        if run(&bench, until, service).is_some() {
            return true;
        }
        scene.assert_bus_is_free();
        assert!(scene.events().is_empty(), "nothing was reported yet");
        assert_eq!(scene.service(), Entry::Added, "{until:?}");
        let told: Vec<_> = scene.events().iter().map(|event| event.cause).collect();
        assert_eq!(told, [OVER_CURRENT], "{until:?}");
        let account = scene.books.ledger.account(Channel::C0).expect("a rail");
        assert_ne!(account.charge_side, crake::old::Side::Near, "{until:?}");
        assert!(!scene.rig.part.is_low(Output::A));
        scene.assert_all_is_well();
        assert_eq!(scene.books.ledger.epoch(), 0);
        false
    });
}

/// Goal: the pieces of a service, dropped anywhere in them, tell their cause once, whether the next piece is a frame or a further look.
#[test]
fn a_service_in_pieces_dropped_anywhere_loses_no_cause_and_tells_it_once() {
    let board = board();
    for frame_first in [false, true] {
        at_every_await(260, |until| {
            let mut scene = Scene::new(&board);
            let bench = scene.rig.bench.clone();
            let Scene {
                station,
                monitor,
                books,
                rig,
            } = &mut scene;
            let pieces = async {
                while station.look_async(monitor).await.expect("look") {
                    bench.delay().delay_us(100).await;
                }
                let frame = monitor.latch().await.expect("latch");
                station.report(&frame);
                books.enter(rig, &frame);
            };
            if run(&bench, until, pieces).is_some() {
                return true;
            }
            scene.assert_bus_is_free();
            let mut told = scene.events();
            assert!(told.is_empty(), "{until:?}: no frame came");
            if frame_first {
                scene.report();
                told.extend(scene.events());
            }
            assert_eq!(scene.service(), Entry::Added, "{until:?}");
            told.extend(scene.events());
            let told: Vec<_> = told.iter().map(|event| event.cause).collect();
            assert_eq!(told, [OVER_CURRENT], "{until:?}");
            assert!(!scene.rig.part.is_low(Output::A));
            scene.assert_all_is_well();
            assert_eq!(scene.books.ledger.epoch(), 0);
            false
        });
    }
}

#[test]
fn a_dropped_change_of_set_up_ends_the_epoch_and_loses_no_flag() {
    let board = board();
    at_every_await(250, |until| {
        let mut scene = Scene::new(&board);
        let bench = scene.rig.bench.clone();
        let setup = SETUP.averaging(2);
        let configure = async { scene.monitor.configure(&setup).await.map(|_| ()) };
        if run(&bench, until, configure).is_some() {
            return true;
        }
        assert_ends_the_epoch(&mut scene, until);
        // The cause and its limit stand as before.
        assert!(scene.rig.part.is_low(Output::A));
        assert_eq!(scene.service(), Entry::Added, "{until:?}");
        assert_eq!(scene.events().len(), 1);
        scene.assert_all_is_well();
        false
    });
}

#[test]
fn a_dropped_arming_ends_the_epoch_and_loses_neither_flag_nor_cause() {
    let board = board();
    at_every_await(300, |until| {
        let mut scene = Scene::new(&board);
        let bench = scene.rig.bench.clone();
        let Scene {
            station, monitor, ..
        } = &mut scene;
        let arm = async {
            let armed = station.rearm_async(monitor, other(), OTHER_WATCHES).await;
            armed.map(|_| ())
        };
        if run(&bench, until, arm).is_some() {
            return true;
        }
        assert_ends_the_epoch(&mut scene, until);
        // Arming again puts all in order, and tells what stood.
        let arm = async {
            let armed = scene.station.arm_async(&mut scene.monitor).await;
            scene.books.enter(&scene.rig, &armed.expect("arm"))
        };
        let entry = bench.block_on(arm).expect("nothing waits for ever");
        assert_eq!(entry, Entry::Turned, "{until:?}");
        let told: Vec<_> = scene.events();
        assert_eq!(told.len(), 1, "{until:?}");
        assert_eq!((told[0].cause, told[0].in_force), (OVER_CURRENT, None));
        assert!(!scene.rig.part.is_low(Output::A));
        scene.latch();
        scene.assert_all_is_well();
        false
    });
}

/// Goal: wherever the test is given up, arming puts the station's own watch in force, tells what had stood, and nothing that the test brought about.
#[test]
fn a_dropped_proof_test_is_over_once_the_station_is_armed() {
    let board = board();
    let mut ends = 0;
    // All of its thousands of awaits would take a quarter of a minute.
    let polls = (1..2_000).step_by(7).map(Until::Polls);
    let moments = polls.chain((1..100).map(|step| Until::Ns(step * 1_000_003)));
    for (until, stands) in moments.zip([false, true].into_iter().cycle()) {
        let mut scene = Scene::new(&board);
        if !stands {
            scene.service();
            assert_eq!(scene.events().len(), 1);
        }
        let bench = scene.rig.bench.clone();
        let Scene {
            station,
            monitor,
            rig,
            ..
        } = &mut scene;
        let test = async {
            let mut sees_low = |output| {
                rig.part.is_low(if output == Outputs::A {
                    Output::A
                } else {
                    Output::B
                })
            };
            let proof = prove(station, monitor, &mut sees_low, &mut bench.delay()).await;
            assert!(proof.is_ok_and(|proof| proof.passed()));
        };
        if run(&bench, until, test).is_some() {
            ends += 1;
            continue;
        }
        scene.assert_bus_is_free();
        assert!(scene.events().is_empty(), "{until:?}");
        let arm = async {
            let armed = scene.station.arm_async(&mut scene.monitor).await;
            scene.books.enter(&scene.rig, &armed.expect("arm"));
        };
        bench.block_on(arm).expect("nothing waits for ever");
        let told: Vec<_> = scene.events().iter().map(|event| event.cause).collect();
        assert_eq!(told, vec![OVER_CURRENT; usize::from(stands)], "{until:?}");
        scene.rig.pass_ms(2);
        let low = [Output::A, Output::B].map(|output| scene.rig.part.is_low(output));
        assert_eq!(low, [false, false], "{until:?}");
        scene.latch();
        scene.assert_all_is_well();
    }
    assert!((1..300).contains(&ends), "{ends} came to their end");
}

/// The next frame does not claim to be unbroken, and tells of the over-range.
fn assert_ends_the_epoch(scene: &mut Scene<'_>, until: Until) {
    scene.assert_bus_is_free();
    let (entry, unbroken, clipped) = scene.latch();
    let broken = Entry::Broken {
        reason: Break::SetUpChanged,
        reopened: true,
    };
    assert_eq!((entry, unbroken), (broken, false), "{until:?}");
    assert!(clipped, "{until:?}");
    assert_eq!(scene.books.ledger.epoch(), 1);
}

/// Goal: whether `init` or a mere latch follows, nothing is claimed that is not so.
#[test]
fn a_dropped_init_is_started_over_and_until_then_no_stale_block_passes() {
    let board = board();
    at_every_await(250, |until| {
        for latches in [0, 1] {
            let mut scene = if latches == 0 {
                Scene::new(&board)
            } else {
                Scene::set_up(&board)
            };
            scene.rig.bench.run_until(AFTERWARDS_NS);
            let bench = scene.rig.bench.clone();
            let init = async { scene.monitor.init(&SETUP).await.map(|_| ()) };
            if run(&bench, until, init).is_some() {
                return true;
            }
            if latches > 0 {
                latch_is_fresh(&mut scene, until);
            } else {
                // The part may be within the millisecond in which it does not answer.
                scene.rig.pass_ms(1);
                scene.assert_bus_is_free();
            }
            let init = async {
                let frame = scene.monitor.init(&SETUP).await.expect("init");
                assert!(!frame.unbroken());
                scene.books.enter(&scene.rig, &frame)
            };
            let entry = bench.block_on(init).expect("nothing waits for ever");
            assert!(
                matches!(entry, Entry::Broken { .. } | Entry::Opened),
                "{until:?}: {entry:?}"
            );
            assert!(scene.books.ledger.epoch() > 0);
            scene.latch();
            scene.assert_all_is_well();
        }
        false
    });
}

/// Goal: tags are used up and begin anew while nothing reaches the part, and yet the block in place is not taken for a new one.
#[test]
fn any_number_of_latches_that_never_began_lets_no_stale_block_pass() {
    let board = board();
    for dropped in 253..=257 {
        let mut scene = Scene::set_up(&board);
        let bench = scene.rig.bench.clone();
        scene.latch();
        scene.rig.pass_ms(5);
        for _ in 0..dropped {
            let latch = async { scene.monitor.latch().await.map(|_| ()) };
            assert!(run(&bench, Until::Polls(1), latch).is_none());
        }
        let latch = async {
            let frame = scene.monitor.latch().await.expect("latch");
            assert!(frame.unbroken());
            frame.head().rounds
        };
        let rounds = bench.block_on(latch).expect("nothing waits for ever");
        assert_is_fresh(&bench, rounds, &dropped);
    }
}

/// What a latch in the middle of nowhere gives is of that moment, and not vouched for.
fn latch_is_fresh(scene: &mut Scene<'_>, until: Until) {
    scene.rig.pass_ms(5);
    let bench = scene.rig.bench.clone();
    let latch = async {
        let Ok(frame) = scene.monitor.latch().await else {
            return None;
        };
        assert!(!frame.unbroken(), "{until:?}");
        scene.books.enter(&scene.rig, &frame);
        (frame.condition() == Condition::Steady).then(|| frame.head().rounds)
    };
    let latched = bench.block_on(latch).expect("nothing waits for ever");
    if let Some(rounds) = latched {
        assert_is_fresh(&bench, rounds, &until);
    }
}

/// Right after a latch the part has made few rounds more than it says: the read of a block at 400 kHz takes 2.7 ms, which is six at most.
fn assert_is_fresh(bench: &Bench, rounds: u32, of: &impl std::fmt::Debug) {
    let mut live = [0; 4];
    let read = bench.i2c().write_read(ADDRESS, &[0x74], &mut live);
    read.expect("a free bus");
    let since = u32::from_be_bytes(live).wrapping_sub(rounds);
    assert!(since <= 6, "{of:?}: a block {since} rounds old");
}

#[test]
fn a_dropped_attach_changes_nothing() {
    let board = board();
    at_every_await(230, |until| {
        let mut scene = Scene::new(&board);
        let bench = scene.rig.bench.clone();
        let joint: Joint = scene.monitor.joint();
        // The firmware begins anew, with the ledger it had kept.
        scene.monitor = scene.rig.monitor_async(&board);
        let attach = async { scene.monitor.attach(&joint).await.map(|_| ()) };
        if run(&bench, until, attach).is_some() {
            return true;
        }
        scene.assert_bus_is_free();
        // What stands in the part is not known: a range must not change under it.
        let refused = bench.block_on(async { scene.monitor.configure(&other()).await.map(|_| ()) });
        let refused = refused.expect("nothing waits for ever");
        assert!(
            refused.is_err_and(|error| error.misuse().is_some()),
            "{until:?}"
        );
        let attach = async {
            let frame = scene.monitor.attach(&joint).await.expect("attach");
            assert!(frame.unbroken(), "{until:?}");
            let clipped = frame.codes(Channel::C0).sense_clipped;
            (scene.books.enter(&scene.rig, &frame), clipped)
        };
        let (entry, clipped) = bench.block_on(attach).expect("nothing waits for ever");
        assert_eq!((entry, clipped), (Entry::Added, true), "{until:?}");
        assert_eq!(scene.service(), Entry::Added, "{until:?}");
        assert_eq!(scene.events().len(), 1, "{until:?}");
        scene.assert_all_is_well();
        assert_eq!(scene.books.ledger.epoch(), 0);
        false
    });
}

#[test]
fn a_dropped_fetch_leaves_the_codes_in_the_part() {
    let board = board();
    let burst: Setup<CHANNELS> = Setup {
        mode: Mode::Burst(Channel::C1),
        ..SETUP
    };
    let mut expected: Option<Vec<i32>> = None;
    // The undropped run comes first: its codes are what each other one must find.
    let mut runs = vec![Until::Polls(u32::MAX)];
    runs.extend((1..2_000).step_by(7).map(Until::Polls));
    runs.extend((1..100).map(|step| Until::Ns(step * 1_000_003)));
    let mut dropped = 0;
    for until in runs {
        let mut scene = Scene::new(&board);
        let bench = scene.rig.bench.clone();
        let configure = async {
            let frame = scene.monitor.configure(&burst).await.expect("configure");
            scene.books.enter(&scene.rig, &frame)
        };
        let entry = bench.block_on(configure).expect("nothing waits for ever");
        assert_eq!(entry, Entry::Turned);
        let mut codes = vec![0; 1024];
        let fetch = async { scene.monitor.fetch(&mut codes).await };
        match (run(&bench, until, fetch), &expected) {
            (Some(count), Some(expected)) => {
                assert_eq!((count, &codes), (Ok(1024), expected));
            }
            (Some(count), None) => {
                assert_eq!(count, Ok(1024));
                expected = Some(codes);
            }
            (None, expected) => {
                dropped += 1;
                scene.assert_bus_is_free();
                codes.fill(0);
                let fetch = async { scene.monitor.fetch(&mut codes).await };
                let count = bench.block_on(fetch).expect("nothing waits for ever");
                assert_eq!(
                    (count, Some(&codes)),
                    (Ok(1024), expected.as_ref()),
                    "{until:?}"
                );
            }
        }
        // Back to the pace: the sums stood still meanwhile, and are whole.
        let configure = async {
            let frame = scene.monitor.configure(&SETUP).await.expect("configure");
            scene.books.enter(&scene.rig, &frame)
        };
        let entry = bench.block_on(configure).expect("nothing waits for ever");
        assert_eq!(entry, Entry::Turned);
        scene.latch();
        scene.assert_all_is_well();
        assert_eq!(scene.books.ledger.epoch(), 0);
    }
    assert!(dropped > 200, "{dropped}");
}
