/// The host's clock: counts through sleep, steps never, runs at a rate whose error the board declares.
///
/// Implement it for a timer or a real-time counter that runs on while the core sleeps; energy is charged against it, so a clock that stops makes
/// energy vanish.
pub trait Clock {
    /// Microseconds since a moment of the clock's own choosing; never less than the call before.
    ///
    /// A coarser timer rounds down and makes the bracket of each latch that much wider; a narrower one is extended by [`CounterClock`](crate::old::CounterClock).
    fn now_us(&mut self) -> u64;
}

impl<C: Clock + ?Sized> Clock for &mut C {
    fn now_us(&mut self) -> u64 {
        (**self).now_us()
    }
}
