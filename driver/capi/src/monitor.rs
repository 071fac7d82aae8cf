use core::ptr;

use crake::config::{Config as DriverConfig, FullScale, Mode as DriverMode, ScanRate};
use crake::part::ResumeToken;
use crake::part::corncrake::{Address, Corncrake};
use crake::units::Voltage;
use crake::{Call, Last, Sample as _, ShuntMonitor, Timestamp, WithClock};

use crate::*;

/// What the part does by itself.
#[repr(u8)]
pub enum Mode {
    /// Nothing: no conversions, sums stand still, least supply current.
    Idle = 0,
    /// Scans for ever.
    Continuous = 1,
    /// As many scans as one mean takes whenever a sample is taken, then idle.
    SingleShot = 2,
}

types! {
    /// What one channel has to reach, in either direction; the finest range that does is taken.
    #[derive(Clone, Copy, Default)]
    struct Channel {
        /// At least so many microvolts across the sense resistor: up to 65 535 on Corncrake.
        sense_uv: u32,
        /// At least so many microvolts of the rail: up to 65 535 000.
        rail_uv: u32,
        /// 1 to convert the channel, 0 to leave it out.
        enabled: u8,
    }

    /// What to convert, and how often.
    #[derive(Clone, Copy, Default)]
    struct Config {
        /// From channel 0 up.
        channels: [Channel; CRAKE_RAILS],
        /// In continuous mode at least so many scans a second; 2000, 500, 100, 10 and 1 can be.
        scans_per_second: u32,
        /// A `crake_mode`.
        mode: u8,
        /// k: readings are means of 2^k scans, k from 0 to 10. Running sums take every scan
        /// regardless.
        averaging_log2: u8,
    }

    /// Where the part is, and how it is to be read. All zero but the address is a good choice.
    #[derive(Clone, Copy, Default)]
    struct Options {
        /// 7-bit address of the part: 0x32 to 0x35.
        address: u8,
        /// Most bytes that are read in one transfer; 0 for no limit. Blocks are then read in
        /// pieces, and stay coherent. Single registers take 6 whatever it is.
        read_max: u8,
        /// How often a transfer is tried before an operation gives up; 0 for three times.
        attempts: u8,
        /// 1 to leave out the bus's check byte of a sample block, whose own CRC-16 covers it.
        block_check_alone: u8,
    }

    /// What has to be kept across a restart of the firmware.
    #[derive(Clone, Copy, Default)]
    struct Token of (token: ResumeToken) {
        /// The part's count of accepted writes.
        writes: u32 = token.writes,
        /// The monitor's number of the configuration.
        configuration: u32 = token.configuration,
    }

    /// How far a reading may lie from the truth, either way.
    struct ReadingBound of (bound: crake::board::ReadingBound) {
        /// Of the voltage, in nanovolts.
        voltage_nv: i64 = bound.voltage.as_nanovolts(),
        /// Of the current, in nanoamperes.
        current_na: i64 = bound.current.as_nanoamps(),
        /// Of the power, in nanowatts.
        power_nw: i64 = bound.power.as_nanowatts(),
    }
}

impl Config {
    /// As the driver takes it; what the part cannot do is for the driver to refuse. It is the
    /// second argument of each call.
    pub(crate) fn driver(&self) -> Met<DriverConfig<CRAKE_RAILS>> {
        let mode = match self.mode {
            0 => DriverMode::Idle,
            1 => DriverMode::Continuous(ScanRate::per_second(self.scans_per_second)),
            2 => DriverMode::SingleShot,
            _ => return Err(Code::BadArgument.at(2)),
        };
        let (channels, volts) = (self.channels, |uv: u32| Voltage::from_microvolts(uv.into()));
        let scales = channels.map(|of| FullScale::new(volts(of.sense_uv), volts(of.rail_uv)));
        let mut config = DriverConfig::single_shot(scales)
            .with_mode(mode)
            .averaging(self.averaging_log2);
        for (channel, asked) in crake::Channel::first(u8::MAX).zip(&self.channels) {
            if asked.enabled == 0 {
                config = config.without(channel);
            }
        }
        Ok(config)
    }
}

/// cbindgen:ignore
type DriverMonitor = crake::Monitor<'static, Lines, Lines, Corncrake, 4, WithClock<Lines>>;
/// cbindgen:ignore
pub(crate) type LastSample = Last<'static, Corncrake, Timestamp, CRAKE_RAILS>;

/// What lives in a monitor's memory.
pub struct Driven {
    pub(crate) monitor: DriverMonitor,
    pub(crate) host: Lines,
    pub(crate) of: &'static Described,
}

impl Driven {
    /// Takes a sample by a call of the driver, and gives it to a queue, to totals, and to the
    /// caller. Totals of another board are found before the part is asked.
    pub(crate) fn sample(
        &mut self,
        queue: Option<&mut Queue>,
        totals: Option<Held<Counted>>,
        wanted: Option<Wanted<Sample>>,
        call: impl FnOnce(&mut DriverMonitor) -> Result<&LastSample, crake::Error<Status>>,
    ) -> Met<()> {
        if let Some(totals) = &totals
            && !ptr::eq(totals.of, self.of)
        {
            return Err(Code::TotalsOfAnotherBoard.into());
        }
        let sample = call(&mut self.monitor)?;
        if let Some(queue) = queue {
            (queue.update)(&mut queue.queue, sample);
        }
        let update = totals.map_or(Update::None, |mut of| {
            let Counted { totals, update, .. } = &mut *of;
            update(totals, sample)
        });
        wanted.map_or(Ok(()), |wanted| wanted.write(Sample::of(sample, update)))
    }
}

calls! {
    /// Makes a monitor of the part at an address, on a board. Touches nothing yet: go on with
    /// `crake_init` or `crake_resume`.
    fn crake_monitor_init(
        monitor: new Monitor, board: fixed Board, host: given Host, options: given Options
    ) {
        let straps = [Address::Strap0, Address::Strap1, Address::Strap2, Address::Strap3];
        let strap = straps.get(usize::from(options.address).wrapping_sub(0x32));
        let mut part = Corncrake::new(*strap.ok_or(Code::BadArgument.at(4))?);
        let host = Lines::of(host, 3)?;
        if options.block_check_alone != 0 {
            part = part.with_block_check_alone();
        }
        let mut made = crake::Monitor::new(host, host, part, &board.board).with_clock(host);
        let or = |chosen: u8, usual: u8| if chosen > 0 { chosen } else { usual };
        made.set_read_max(or(options.read_max, u8::MAX));
        made.set_attempts(or(options.attempts, 3));
        monitor.fill(Driven { monitor: made, host, of: board })
    }

    /// Sets the part up from whatever state it is in, and starts it. Limits have to be set again; a
    /// token that was kept has to be thrown away before. 15 transfers.
    ///
    /// A configuration that cannot be is refused before a byte is sent. After another failure the
    /// part may be half configured: this starts over.
    fn crake_init(monitor: live Monitor, config: given Config) {
        Ok(monitor.monitor.init(&config.driver()?)?)
    }

    /// Changes the configuration: stops the part, writes, reads back, starts. Totals see a gap from
    /// the last sample before to the first one after; limits have to be set again. Where alerts are
    /// used, `queue`, which may be null, notes the flags that stand. Fails as `crake_init`.
    fn crake_configure(monitor: live Monitor, config: given Config, queue: maybe AlertQueue) {
        let config = config.driver()?;
        match queue {
            Some(mut queue) => Ok(queue.queue.configure(&mut monitor.monitor, &config)?),
            None => Ok(monitor.monitor.configure(&config)?),
        }
    }

    /// Goes on with a part that ran while the firmware did not, and takes a sample. Limits have to
    /// be set again before alerts are read.
    ///
    /// `IDENTITY`, `RESET` or `CHANGED`: the part is as it was, and `crake_init` is what remains.
    fn crake_resume(
        monitor: live Monitor, config: given Config, token: given Token,
        totals: maybe Totals, sample: optional Sample
    ) {
        let (config, &Token { writes, configuration }) = (config.driver()?, token);
        let token = ResumeToken { writes, configuration };
        monitor.sample(None, totals, sample, |monitor| monitor.resume(&config, token))
    }

    /// Gives what has to be kept across a restart of the firmware. Each configuration, setting of
    /// limits and service that masks or unmasks a flag makes another one: keep it anew after these,
    /// best together with the totals.
    fn crake_get_token(monitor: live Monitor, token: wanted Token) {
        token.write(Token::of(monitor.monitor.token()))
    }

    /// Latches all channels and reads them: two transfers, and the wait of one scan in between.
    /// `queue`, `totals` and `sample` may be null. With a queue it is the second piece of a service
    /// that is split, and what was noted becomes events.
    ///
    /// After a failure of the bus or of a check value nothing is lost, and the next sample has it.
    /// `RESET` and `CHANGED` leave the monitor not configured.
    fn crake_take_sample(
        monitor: live Monitor, queue: maybe AlertQueue, totals: maybe Totals,
        sample: optional Sample
    ) {
        monitor.sample(queue.as_deref_mut(), totals, sample, |monitor| monitor.sample())
    }

    /// How far the last sample's reading of a channel may lie from the truth; of one that went over
    /// range the bound belongs to the limit that is known. Or why there is no reading.
    fn crake_get_bound(monitor: live Monitor, channel: value u8, bound: wanted ReadingBound) {
        let (sample, channel) = (monitor.monitor.last_sample(), crake::Channel::new(channel));
        let rail = monitor.of.rails.get(channel.index());
        let found = rail.and_then(|rail| sample.bound(channel, rail));
        bound.write(ReadingBound::of(found.ok_or_else(|| sample.no_reading(channel))?))
    }

    /// The longest that a call can take under a configuration on a bus of `bus_hz`, waits and
    /// repeats included, in microseconds; the host's own work comes on top. It touches no bus.
    ///
    /// `operation` is a `crake_operation`. `limits` are looked at for `SET_LIMITS` alone; `codes`
    /// are overwritten, and tell how many `FETCH_CAPTURE` is to fetch. `REFUSED` for a call that
    /// would be.
    fn crake_worst_case_us(
        monitor: live Monitor, config: given Config, operation: value u8, limits: maybe Limits,
        codes: room i32; count, count: value usize, bus_hz: value u32, longest_us: wanted u64
    ) {
        let limits = limits.as_deref();
        // As `crake_operation` numbers them.
        let call = match operation {
            1 => Call::Init,
            2 => Call::Resume,
            3 => Call::Configure,
            4 => Call::Sample,
            5 => Call::SetLimits(limits.ok_or(Code::BadPointer.at(4))?),
            6 => Call::ReadAlerts,
            7 => Call::SetMasks,
            8 => Call::StartCapture,
            9 => Call::FetchCapture(codes.filled(|_| Ok(0))?),
            10 => Call::Service,
            _ => return Err(Code::BadArgument.at(3)),
        };
        let found = monitor.monitor.worst_case_us(call, &config.driver()?, bus_hz);
        longest_us.write(found.ok_or(Code::Refused)?)
    }

    /// Converts by another board from now on, while the part runs; the last sample is gone. Totals
    /// need `crake_totals_set_margins` before the next one, and limits are to be set again.
    fn crake_monitor_set_board(monitor: live Monitor, board: fixed Board) {
        monitor.monitor.set_board(&board.board)?;
        monitor.of = board;
        Ok(())
    }

    /// Declares the part's supply on, or off with 0. Off, no operation touches the bus; on again,
    /// the part is not configured. Tell totals by `crake_totals_unpowered`.
    fn crake_set_powered(monitor: live Monitor, powered: value u8) {
        monitor.monitor.set_powered(powered != 0);
        Ok(())
    }
}
