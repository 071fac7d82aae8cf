use super::{Error, FastCapture, Sample};
use crate::Channel;
use crate::config::{AlertFlags, Config, Limits};
use crate::info::{PartInfo, Undetectable};
use crate::part::ResumeToken;

/// A monitor of `N` rails, whatever its part: what firmware is written against.
///
/// ```
/// use crake::config::Config;
/// use crake::{Channel, Error, Sample, ShuntMonitor};
///
/// fn first_reading<M: ShuntMonitor<4>>(
///     monitor: &mut M,
///     config: &Config<4>,
/// ) -> Result<(), Error<M::BusError>> {
///     monitor.init(config)?;
///     match monitor.sample()?.reading(Channel::C0) {
///         Ok(reading) => println!("{}, {}", reading.voltage, reading.current),
///         Err(why) => println!("no reading: {why}"),
///     }
///     Ok(())
/// }
/// ```
pub trait ShuntMonitor<const N: usize> {
    /// The bus's own error.
    type BusError;

    /// What [`sample`](Self::sample) lends.
    type Sample: Sample<N> + ?Sized;

    /// What the part can do.
    fn info(&self) -> &'static PartInfo;

    /// What nobody can find out on this part under the present configuration, after
    /// [`init`](Self::init): whether it was reset, say, where it is configured as a reset leaves
    /// it.
    fn undetectable(&self) -> Undetectable;

    /// Sets the part up from whatever state it is in, and starts it.
    ///
    /// Alert flags that stand in the part stay; limits have to be set again. A [token](Self::token)
    /// that was kept has to be thrown away before: after a reset it could fit again. 15 transfers
    /// on a Corncrake.
    ///
    /// # Errors
    /// A configuration that cannot be is refused before a byte is sent. Otherwise the part may be
    /// left half configured and the monitor not configured: `init` starts over.
    fn init(&mut self, config: &Config<N>) -> Result<(), Error<Self::BusError>>;

    /// Changes the configuration: stops the part, writes, reads back, starts.
    ///
    /// Totals see a gap from the last sample before to the first one after; firmware that wants it
    /// short samples right before. Limits have to be set again. Firmware with alerts calls
    /// [`AlertQueue::configure`](crate::alert::AlertQueue::configure), which notes the flags that
    /// stand: here those that latch wait for the next setting of limits, and one that follows goes
    /// with its condition. 14 transfers on a Corncrake.
    ///
    /// # Errors
    /// As [`init`](Self::init), and `NotConfigured` before it.
    fn configure(&mut self, config: &Config<N>) -> Result<(), Error<Self::BusError>>;

    /// Goes on with a part that ran while the firmware did not, and samples it.
    ///
    /// The token is the one that was kept. Limits have to be set again before alerts are read. Nine
    /// transfers on a Corncrake.
    ///
    /// # Errors
    /// `Identity`, `Reset` or `Changed`: the part is as it was, and `init` is what remains.
    fn resume(
        &mut self,
        config: &Config<N>,
        token: ResumeToken,
    ) -> Result<&Self::Sample, Error<Self::BusError>>;

    /// What has to be kept across a restart of the firmware to [`resume`](Self::resume).
    ///
    /// Every operation that writes to the part makes another one: a configuration, limits, and a
    /// service that takes a lasting condition off its output or lets it back. So it is kept anew
    /// after each of these, best together with the totals; an older one is refused as `Changed`.
    fn token(&self) -> ResumeToken;

    /// Latches all channels and reads them: two transfers, and the wait of one scan in between;
    /// three for a single shot.
    ///
    /// # Errors
    /// After a failure of the bus or of a check value nothing is lost, and the next sample has it.
    /// `Reset` and `Changed` leave the monitor not configured.
    fn sample(&mut self) -> Result<&Self::Sample, Error<Self::BusError>>;

    /// The last sample as it stands; it has no readings after a sample that failed.
    fn last_sample(&self) -> &Self::Sample;

    /// Puts limits in place of those before: what stands is noted and cleared, then limits are
    /// written, read back, and their flags let to the outputs. Scans and samples go on meanwhile.
    ///
    /// `seen` gets every flag that stood before, own ones included: they came of the limits before.
    /// Flags that follow are noted, too, but for one that rises while the limits are being removed.
    /// 23 transfers, and two for each limit, on a Corncrake.
    ///
    /// # Errors
    /// A limit that cannot be is refused before a byte is sent, with its channel and kind.
    /// Otherwise the part may have some of the limits and masks: alerts are not armed until this
    /// came through. Flags in `seen` may stand in the part still.
    fn set_limits(
        &mut self,
        limits: &Limits<'_>,
        seen: &mut AlertFlags,
    ) -> Result<(), Error<Self::BusError>>;

    /// Reads the alert flags, adds those that are `wanted` to `seen`, and clears exactly these: two
    /// transfers, one if there are none. Gives those that were found this time.
    ///
    /// A reset of the part is found by every call, and added to `seen`, too.
    ///
    /// # Errors
    /// Nothing is lost by a failure of the bus: what was read is in `seen`, and may stand in the
    /// part still. `NotArmed` until limits were set; `Reset` leaves the monitor not configured.
    fn read_alerts(
        &mut self,
        wanted: AlertFlags,
        seen: &mut AlertFlags,
    ) -> Result<AlertFlags, Error<Self::BusError>>;

    /// Compares the last sample with those limits that the driver compares, if it was not compared
    /// yet, and adds the flags of those that are passed to `seen`. Touches no bus.
    /// [`read_alerts`](Self::read_alerts) does the same, and reads the part's own flags.
    fn compare(&mut self, seen: &mut AlertFlags);

    /// Lets these flags, and no others, reach output A and output B, until limits are set anew.
    /// Five transfers on a Corncrake.
    ///
    /// # Errors
    /// `NotArmed` until limits were set. After a failure of the bus either mask may be as before.
    fn set_masks(&mut self, masks: &[AlertFlags; 2]) -> Result<(), Error<Self::BusError>>;

    /// Whether limits are known to stand in the part.
    fn is_armed(&self) -> bool;

    /// Starts a fast capture of an enabled channel, in the range of the configuration in force.
    ///
    /// A change of configuration: the part stops sampling, and there are no samples until
    /// [`configure`](Self::configure) or [`init`](Self::init); limits have to be set again then.
    /// Running sums stand still meanwhile, which totals see as a gap. Nothing is compared with
    /// limits while it captures. Three transfers, and one to note the part's count of writes.
    ///
    /// # Errors
    /// `NotSupported` on a part without one, `Refused` if the channel is not enabled, `Unpowered`,
    /// `NotConfigured`: nothing was sent. `Changed`: somebody else wrote to the part. After that
    /// one, and any other failure on the way, the monitor is not configured, and `init` starts
    /// over.
    fn start_capture(&mut self, channel: Channel) -> Result<(), Error<Self::BusError>>;

    /// Waits for the end of the capture and fetches codes from number `first` on: as many as there
    /// are and `codes` has room for.
    ///
    /// Fetching takes nothing away: a small buffer gets them in several calls, and a call that
    /// failed on the bus can be made again. [`PartInfo::capture_max`] says how many there are in
    /// all. Each read keeps to the cap on read length, but for one code and its check byte at the
    /// least (4 bytes).
    ///
    /// # Errors
    /// `NotConfigured` without a capture. `Busy`: it did not end in time. `Reset`, `Changed`: the
    /// codes are gone; what is in `codes` then means nothing.
    fn fetch_capture<'m>(
        &'m mut self,
        first: u16,
        codes: &'m mut [i32],
    ) -> Result<FastCapture<'m>, Error<Self::BusError>>;

    /// Declares the part's supply on or off. Off, no operation touches the bus; on again, the part
    /// is not configured.
    fn set_powered(&mut self, powered: bool);
}
