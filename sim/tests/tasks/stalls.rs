//! Tasks that wait for what cannot come.

use super::*;

#[test]
fn a_deadlock_names_what_each_task_waits_for() {
    let bench = Bench::new(0);
    let one = bench.part(Corncrake::ideal(0x32)).expect("free");
    let other = bench.part(Corncrake::ideal(0x33)).expect("free");
    bench.run_until(12_345);
    let (mut single, mut shared) = (bench.alert(&one, Output::B), bench.line());
    shared.wire(&one, Output::A);
    shared.wire(&other, Output::B);
    let mut i2c = bench.i2c();
    let mut tasks = bench.tasks();
    tasks.spawn("alarms", async move {
        // Output A has a mask, but the part is idle and will set no flag.
        i2c.write(0x32, &[0x35, 0x00, 0x00, 0x04])
            .await
            .expect("acknowledged");
        let _ = shared.wait_for_low().await;
    });
    tasks.spawn("done", async {});
    tasks.spawn("elsewhere", std::future::pending());
    let stall = tasks
        .block_on(async { single.wait_for_rising_edge().await })
        .expect_err("a deadlock");
    assert_eq!(stall.reason, StallReason::Deadlock);
    let golden = "deadlock at 127345 ns: \
                  main waits for a rising edge of 0x32 output B (no flag reaches it); \
                  alarms waits for a low level of 0x32 output A (nothing is converted) \
                  + 0x33 output B (no flag reaches it); \
                  elsewhere waits for something that is not on the bench";
    assert_eq!(stall.to_string(), golden);
    assert_eq!(
        bench.now_ns(),
        12_345 + Timing::of(Speed::Fast).transfer_ns(5, 0)
    );
    // The task that was left goes on when the bench does.
    bench.alert(&one, Output::A).stick(PinState::Low);
    let stall = tasks.run().expect_err("one is left");
    assert_eq!(
        stall
            .tasks
            .iter()
            .map(|task| &task.name[..])
            .collect::<Vec<_>>(),
        ["elsewhere"]
    );
}

/// A part that converts for ever cannot change a line that no flag reaches: that needs no patience.
#[test]
fn a_line_that_nothing_can_change_is_a_deadlock_at_once() {
    let bench = Bench::new(0);
    let part = alarming(&bench);
    let mut other = bench.alert(&part, Output::B);
    run(&bench);
    let began_ns = bench.now_ns();
    let stall = bench
        .block_on(async { other.wait_for_low().await })
        .expect_err("a deadlock");
    assert_eq!(
        (stall.reason, stall.at_ns),
        (StallReason::Deadlock, began_ns)
    );
    other.stick(PinState::High);
    let stall = bench
        .block_on(async { other.wait_for_low().await })
        .expect_err("a deadlock");
    assert_eq!(
        stall.to_string(),
        format!(
            "deadlock at {began_ns} ns: main waits for a low level of 0x32 output B (no flag \
             reaches it), stuck High"
        )
    );
}

/// A part that converts for ever and never sees a limit crossed ends the wait after the patience,
/// not before.
#[test]
fn patience_is_counted_from_the_last_moment_that_anybody_had_something_to_do() {
    let bench = Bench::new(0);
    let part = alarming(&bench);
    let (mut alert, busy) = (bench.alert(&part, Output::A), bench.alert(&part, Output::B));
    // Over-power never comes. Output B follows over-current and changes all the time, and nobody
    // waits for it.
    let mut i2c = bench.i2c();
    for bytes in [[0x35, 0x00, 0x00, 0x10], [0x36, 0x00, 0x00, 0x04]] {
        embedded_hal::i2c::I2c::write(&mut i2c, 0x32, &bytes).expect("acknowledged");
    }
    busy.set_recording(true);
    run(&bench);
    let mut delay = bench.delay();
    let mut tasks = bench.tasks();
    tasks.set_patience(Duration::from_secs(2));
    tasks.spawn("early", async move { delay.delay_ms(700).await });
    let began_ns = bench.now_ns();
    let stall = tasks
        .block_on(async { alert.wait_for_low().await })
        .expect_err("quiet");
    assert_eq!(stall.reason, StallReason::Patience(Duration::from_secs(2)));
    let message = stall.to_string();
    assert!(message.starts_with("nothing to do for 2s at "), "{message}");
    assert!(
        message.ends_with(" ns: main waits for a low level of 0x32 output A"),
        "{message}"
    );
    assert!(busy.edges().len() > 400, "the other line is alive");
    let waited_ns = bench.now_ns() - began_ns;
    assert!((2_700_000_000 - PERIOD_NS..=2_700_000_000).contains(&waited_ns));
}

#[test]
fn tasks_that_only_wake_each_other_are_told_from_work() {
    let bench = Bench::new(0);
    let spin = poll_fn(|context| -> Poll<()> {
        context.waker().wake_by_ref();
        Poll::Pending
    });
    let stall = bench.block_on(spin).expect_err("spinning");
    let message =
        "tasks spin and no time passes at 0 ns: main waits for something that is not on the bench";
    assert_eq!(stall.to_string(), message);
}
