use core::ptr;

use crake::part::ResumeToken;
use crake::part::corncrake::{Address, Corncrake};
use crake::{Call, Channel, Last, Sample as _, ShuntMonitor, Timestamp, WithClock};

use crate::*;

/// Where the part is, and how it is to be read. All zero but the address is a good choice.
#[repr(C)]
#[derive(Clone, Copy, Default)]
pub struct Options {
    /// 7-bit address of the part: 0x32 to 0x35.
    pub address: u8,
    /// Most bytes that `write_read` reads in one transfer; 0 for no limit. Blocks are then read in
    /// pieces, and stay coherent. Single registers take 6 whatever it is.
    pub read_max: u8,
    /// How often a transfer is tried before an operation gives up; 0 for three times.
    pub attempts: u8,
    /// 1 to leave out the bus's check byte of a sample block, whose own CRC-16 covers it.
    pub block_check_alone: u8,
}

/// What has to be kept across a restart of the firmware.
#[repr(C)]
#[derive(Clone, Copy, Default)]
pub struct Token {
    /// The part's count of accepted writes.
    pub writes: u32,
    /// The monitor's number of the configuration.
    pub configuration: u32,
}

/// How far a reading may lie from the truth, either way.
#[repr(C)]
pub struct ReadingBound {
    /// Of the voltage, in nanovolts.
    pub voltage_nv: i64,
    /// Of the current, in nanoamperes.
    pub current_na: i64,
    /// Of the power, in nanowatts.
    pub power_nw: i64,
}

/// Memory of a monitor: zero it, then `crake_monitor_init`.
#[repr(C)]
pub struct Monitor {
    words: [u64; 36],
}

/// cbindgen:ignore
type DriverMonitor = crake::Monitor<'static, Lines, Lines, Corncrake, 4, WithClock<Lines>>;
/// cbindgen:ignore
pub(crate) type LastSample = Last<'static, Corncrake, Timestamp, CRAKE_RAILS>;

/// What lives in a monitor's memory.
pub struct Live {
    pub(crate) monitor: DriverMonitor,
    pub(crate) host: Lines,
    pub(crate) of: &'static Described,
}

impl Live {
    pub(crate) fn last(&self) -> &LastSample {
        self.monitor.last_sample()
    }

    /// Takes a sample by a call of the driver, and gives it to a queue, to totals, and to the
    /// caller. Totals of another board are found before the part is asked.
    pub(crate) fn sample(
        &mut self,
        queue: Option<&mut Queue>,
        totals: Option<Held<Totals>>,
        wanted: Option<Wanted<Sample>>,
        call: impl FnOnce(&mut DriverMonitor) -> Result<&LastSample, crake::Error<Status>>,
    ) -> Result<(), Error> {
        if totals
            .as_ref()
            .is_some_and(|totals| !ptr::eq(totals.of, self.of))
        {
            return Err(Error::new(Code::TotalsOfAnotherBoard));
        }
        let sample = call(&mut self.monitor)?;
        if let Some(queue) = queue {
            (queue.update)(&mut queue.queue, sample);
        }
        let update = totals.map_or(Update::None, |mut of| {
            let Counted { totals, update, .. } = &mut *of;
            update(totals, sample)
        });
        wanted.map_or(Ok(()), |wanted| wanted.write(Sample::new(sample, update)))
    }
}

calls! {
    /// Makes a monitor of the part at an address, on a board. Touches nothing yet: go on with
    /// `crake_init` or `crake_resume`.
    fn crake_monitor_init(
        monitor: new Monitor, board: fixed Board, host: given Host, options: given Options
    ) {
        let address = match options.address {
            0x32 => Address::Strap0,
            0x33 => Address::Strap1,
            0x34 => Address::Strap2,
            0x35 => Address::Strap3,
            _ => return Err(Error::argument(Code::BadArgument, 4)),
        };
        if host.write.and(host.delay_us).is_none() || host.write_read.and(host.now_us).is_none() {
            return Err(Error::argument(Code::BadPointer, 3));
        }
        let (host, mut part) = (Lines(host), Corncrake::new(address));
        if options.block_check_alone != 0 {
            part = part.with_block_check_alone();
        }
        let mut made = crake::Monitor::new(host, host, part, &board.board).with_clock(host);
        if options.read_max > 0 {
            made.set_read_max(options.read_max);
        }
        if options.attempts > 0 {
            made.set_attempts(options.attempts);
        }
        monitor.fill(Live { monitor: made, host, of: board })
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
        let (config, token) = (config.driver()?, ResumeToken::from(*token));
        monitor.sample(None, totals, sample, |monitor| monitor.resume(&config, token))
    }

    /// Gives what has to be kept across a restart of the firmware. Each configuration, setting of
    /// limits and service that masks or unmasks a flag makes another one: keep it anew after these,
    /// best together with the totals.
    fn crake_get_token(monitor: live Monitor, token: wanted Token) {
        token.write(monitor.monitor.token().into())
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
        let channel = Channel::new(channel);
        let rail = monitor.of.rails.get(channel.index());
        match rail.and_then(|rail| monitor.last().bound(channel, rail)) {
            Some(found) => bound.write(ReadingBound {
                voltage_nv: found.voltage.as_nanovolts(),
                current_na: found.current.as_nanoamps(),
                power_nw: found.power.as_nanowatts(),
            }),
            None => Err(monitor.last().no_reading(channel).into()),
        }
    }

    /// The longest that a call can take under a configuration on a bus of `bus_hz`, waits and
    /// repeats included, in microseconds; the host's own work comes on top. It touches no bus.
    ///
    /// `operation` is a `crake_operation`. `limits` are looked at for `SET_LIMITS` alone, and
    /// `codes`, which are overwritten, for `FETCH_CAPTURE` alone. `REFUSED` for a call that would
    /// be.
    fn crake_worst_case_us(
        monitor: live Monitor, config: given Config, operation: value u8, limits: maybe Limits,
        codes: room i32, count: value usize, bus_hz: value u32, longest_us: wanted u64
    ) {
        let limits = limits.as_deref();
        // As `crake_operation` numbers them.
        let call = match operation {
            1 => Call::Init,
            2 => Call::Resume,
            3 => Call::Configure,
            4 => Call::Sample,
            5 => Call::SetLimits(limits.ok_or(Error::argument(Code::BadPointer, 4))?),
            6 => Call::ReadAlerts,
            7 => Call::SetMasks,
            8 => Call::StartCapture,
            9 => Call::FetchCapture(codes.filled(counted(count)?, |_| Ok(0))?),
            10 => Call::Service,
            _ => return Err(Error::argument(Code::BadArgument, 3)),
        };
        let found = monitor.monitor.worst_case_us(call, &config.driver()?, bus_hz);
        longest_us.write(found.ok_or(Error::new(Code::Refused))?)
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

impl From<ResumeToken> for Token {
    fn from(
        ResumeToken {
            writes,
            configuration,
        }: ResumeToken,
    ) -> Self {
        Self {
            writes,
            configuration,
        }
    }
}

impl From<Token> for ResumeToken {
    fn from(
        Token {
            writes,
            configuration,
        }: Token,
    ) -> Self {
        Self {
            writes,
            configuration,
        }
    }
}
