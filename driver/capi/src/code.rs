use crake::old::board::BoardError;
use crake::old::ledger::CheckpointError;
use crake::old::{Came, Fault, Misuse, NoReading, Task};

use crate::host::Status;

/// What became of a call; 0 is success. Also says why a channel has no reading.
#[repr(i32)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Code {
    /// It was done.
    Ok = 0,
    /// There is none: no event is queued, no deadline runs, nothing was asked for. Not an error.
    Nothing = 1,

    /// A pointer is null or not aligned; `argument` says which, counted from 1. Nothing was done.
    BadPointer = 10,
    /// A value lies outside its list or range; `argument` says which, counted from 1. Nothing was done.
    BadArgument = 11,
    /// An object was not initialised, or its memory was not zeroed before; `argument` says which. Nothing was done.
    NotReady = 12,
    /// An object is in use by a call that has not returned: called from a callback or an interrupt. Nothing was done.
    Busy = 13,
    /// The memory holds an object already: zero it to use it again. Nothing was done.
    InUse = 14,
    /// The result does not fit; the end of the range was given in its place.
    OutOfRange = 15,

    /// A callback said that the bus failed, as often as it was tried; `bus_status` is what it returned.
    Bus = 20,
    /// The check byte of a read was wrong, as often as it was tried: `expected`, `got`.
    CheckByte = 21,
    /// The frame block's own check value was wrong, as often as it was read: `expected`, `got`.
    BlockCheck = 22,
    /// The latch did not take place in time, the block has an older tag: `expected`, `got`.
    Stale = 23,
    /// Another part answers: `expected`, `got`.
    Identity = 24,
    /// A register did not read back as written: `expected` was written, `got` was read.
    ReadBack = 25,
    /// Somebody else wrote to the part's set-up; serials `expected`, `got`.
    SetUpChanged = 26,
    /// The part was reset since it was set up: initialise it.
    ResetSeen = 27,
    /// A mistake in the driver's map of the part.
    NoRoom = 28,

    /// There is no such channel or rail: `channel`.
    NoSuchChannel = 40,
    /// No channel is enabled.
    NoChannel = 41,
    /// No such sense range: `channel`.
    NoSuchSenseRange = 42,
    /// No such bus range: `channel`.
    NoSuchBusRange = 43,
    /// No such pace.
    NoSuchPace = 44,
    /// Means of 2^`got` rounds were asked for, the part goes to 2^`expected`.
    NoSuchAveraging = 45,
    /// A burst on a channel that is not enabled: `channel`.
    BurstOnDisabled = 46,
    /// The part's supply is declared off.
    Unpowered = 47,
    /// A limit on a channel that is not enabled: `channel`.
    WatchedButNotEnabled = 48,
    /// Two limits of one kind on one channel: `channel`, `kind`.
    WatchedTwice = 49,
    /// A limit that no reading can pass, or that every reading passes: `channel`, `kind`.
    LimitBeyondFullScale = 50,
    /// An over-limit below the under-limit: `channel`, `kind`.
    LimitsCrossed = 51,
    /// A limit that reaches no output, though it was not declared silent: `channel`, `kind`.
    ReachesNoOutput = 52,
    /// A debounce of none, or of more than 15: `channel`, `kind`, `got`.
    NoSuchDebounce = 53,
    /// Ranges were to change under limits in force: arm both together. `channel`.
    LimitsInForce = 54,

    /// More rails than the part has channels.
    TooManyRails = 60,
    /// A sense resistor below 100 µΩ or above 10 Ω: `channel`.
    Resistance = 61,
    /// A correction out of all proportion: `channel`.
    Correction = 62,

    /// No reading: the channel was not enabled.
    NotEnabled = 70,
    /// No reading: no mean was finished yet with this set-up.
    NotComplete = 71,
    /// A conversion went over range: what is given is a limit, not a value; the sides say on which side the truth lies.
    Clipped = 72,
    /// No reading: the part was reset or has no supply.
    NotRunning = 73,

    /// The bytes are not as many as a checkpoint has: `expected`, `got`. Nothing was written, or nothing read.
    CheckpointLength = 80,
    /// No checkpoint, or one of a version that this library does not know: `got`.
    CheckpointVersion = 81,
    /// The check value of a checkpoint is wrong: torn, or worn out.
    CheckpointCorrupt = 82,
    /// The checkpoint belongs to something else: another part, number of rails, or board (whose serial number or number of corrections is `got`).
    CheckpointOfAnother = 83,

    /// Something that this interface does not know yet.
    Other = 99,
}

/// What was asked, of whom, and what came. Fields that do not belong to the code are 0.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Error {
    /// As returned by the call.
    pub code: Code,
    /// What the callback returned, where the bus failed.
    pub bus_status: i32,
    /// What should have come.
    pub expected: u32,
    /// What came.
    pub got: u32,
    /// What was asked: 0 nothing of the bus, 1 init, 2 attach, 3 latch, 4 configure, 5 arm, 7 fetch, 8 look, 255 another. (A service, 6, fails in a look or in its latch.)
    pub task: u8,
    /// 7-bit address of the part that was asked.
    pub address: u8,
    /// Register that was asked for last.
    pub pointer: u8,
    /// Which argument of the call, counted from 1.
    pub argument: u8,
    /// Which channel.
    pub channel: u8,
    /// Which kind of limit: 0 over-voltage, 1 under-voltage, 2 over-current, 3 under-current, 4 over-power.
    pub kind: u8,
    /// 1 if the same call may simply be made again. No call loses counts by being repeated.
    pub worth_repeating: u8,
}

impl Error {
    pub(crate) const fn new(code: Code) -> Self {
        Self {
            code,
            bus_status: 0,
            expected: 0,
            got: 0,
            task: 0,
            address: 0,
            pointer: 0,
            argument: 0,
            channel: 0,
            kind: 0,
            worth_repeating: 0,
        }
    }

    /// About the `argument`-th argument of the call.
    pub(crate) const fn argument(code: Code, argument: u8) -> Self {
        Self {
            argument,
            ..Self::new(code)
        }
    }

    const fn channel(code: Code, channel: crake::old::Channel) -> Self {
        Self {
            channel: channel.number(),
            ..Self::new(code)
        }
    }

    const fn limit(
        code: Code,
        channel: crake::old::Channel,
        kind: crake::old::alert::Kind,
    ) -> Self {
        Self {
            kind: kind.index() as u8, // below 5
            ..Self::channel(code, channel)
        }
    }

    fn pair(code: Code, expected: impl Into<u32>, got: impl Into<u32>) -> Self {
        Self {
            expected: expected.into(),
            got: got.into(),
            ..Self::new(code)
        }
    }
}

/// Tasks by their numbers, from 1 up.
const TASKS: [Task; 8] = [
    Task::Init,
    Task::Attach,
    Task::Latch,
    Task::Configure,
    Task::Arm,
    Task::Service,
    Task::Fetch,
    Task::Look,
];

/// The task of this number.
pub(crate) fn task(number: u8) -> Option<Task> {
    let place = usize::from(number).checked_sub(1)?;
    TASKS.get(place).copied()
}

impl From<Status> for Error {
    fn from(Status(bus_status): Status) -> Self {
        Self {
            bus_status,
            ..Self::new(Code::Bus)
        }
    }
}

impl From<CheckpointError> for Error {
    fn from(error: CheckpointError) -> Self {
        let of_another = |got| Self::pair(Code::CheckpointOfAnother, 0_u32, got);
        match error {
            CheckpointError::Length { expected, got } => {
                let number = |len| u32::try_from(len).unwrap_or(u32::MAX);
                Self::pair(Code::CheckpointLength, number(expected), number(got))
            }
            CheckpointError::Version(got) => Self::pair(Code::CheckpointVersion, 0_u32, got),
            CheckpointError::Corrupt => Self::new(Code::CheckpointCorrupt),
            CheckpointError::Rails(got) => of_another(u32::from(got)),
            CheckpointError::Board(got) | CheckpointError::Revision(got) => of_another(got),
            CheckpointError::Part => of_another(0),
            _ => Self::new(Code::Other),
        }
    }
}

impl From<crake::old::Error<Status>> for Error {
    fn from(error: crake::old::Error<Status>) -> Self {
        let came = match error.came {
            Came::Bus(status) => Self::from(status),
            Came::Fault(fault) => Self::from(fault),
        };
        Self {
            task: (1..)
                .zip(TASKS)
                .find(|(_, task)| *task == error.task)
                .map_or(u8::MAX, |(number, _)| number),
            address: error.address,
            pointer: error.register,
            worth_repeating: u8::from(error.is_worth_repeating()),
            ..came
        }
    }
}

impl From<Fault> for Error {
    fn from(fault: Fault) -> Self {
        match fault {
            Fault::CheckByte { expected, got } => Self::pair(Code::CheckByte, expected, got),
            Fault::BlockCheck { expected, got } => Self::pair(Code::BlockCheck, expected, got),
            Fault::Stale { expected, got } => Self::pair(Code::Stale, expected, got),
            Fault::Identity { expected, got } => Self::pair(Code::Identity, expected, got),
            Fault::ReadBack { wrote, read } => Self::pair(Code::ReadBack, wrote, read),
            Fault::SetUpChanged { expected, got } => Self::pair(Code::SetUpChanged, expected, got),
            Fault::ResetSeen => Self::new(Code::ResetSeen),
            Fault::NoRoom => Self::new(Code::NoRoom),
            Fault::Misuse(misuse) => Self::from(misuse),
            _ => Self::new(Code::Other),
        }
    }
}

impl From<Misuse> for Error {
    fn from(misuse: Misuse) -> Self {
        match misuse {
            Misuse::NoSuchChannel(channel) => Self::channel(Code::NoSuchChannel, channel),
            Misuse::NoChannel => Self::new(Code::NoChannel),
            Misuse::NoSuchSenseRange(channel) => Self::channel(Code::NoSuchSenseRange, channel),
            Misuse::NoSuchBusRange(channel) => Self::channel(Code::NoSuchBusRange, channel),
            Misuse::NoSuchPace => Self::new(Code::NoSuchPace),
            Misuse::NoSuchAveraging { k, max } => Self::pair(Code::NoSuchAveraging, max, k),
            Misuse::BurstOnDisabled(channel) => Self::channel(Code::BurstOnDisabled, channel),
            Misuse::Unpowered => Self::new(Code::Unpowered),
            Misuse::WatchedButNotEnabled(channel) => {
                Self::channel(Code::WatchedButNotEnabled, channel)
            }
            Misuse::WatchedTwice(channel, kind) => Self::limit(Code::WatchedTwice, channel, kind),
            Misuse::LimitBeyondFullScale(channel, kind) => {
                Self::limit(Code::LimitBeyondFullScale, channel, kind)
            }
            Misuse::LimitsCrossed(channel, kind) => Self::limit(Code::LimitsCrossed, channel, kind),
            Misuse::ReachesNoOutput(channel, kind) => {
                Self::limit(Code::ReachesNoOutput, channel, kind)
            }
            Misuse::NoSuchDebounce(channel, kind, count) => Self {
                got: u32::from(count),
                ..Self::limit(Code::NoSuchDebounce, channel, kind)
            },
            Misuse::LimitsInForce(channel) => Self::channel(Code::LimitsInForce, channel),
            _ => Self::new(Code::Other),
        }
    }
}

impl From<BoardError> for Error {
    fn from(error: BoardError) -> Self {
        match error {
            BoardError::TooManyRails => Self::new(Code::TooManyRails),
            BoardError::Resistance(channel) => Self::channel(Code::Resistance, channel),
            BoardError::Correction(channel) => Self::channel(Code::Correction, channel),
            _ => Self::new(Code::Other),
        }
    }
}

impl From<NoReading> for Code {
    fn from(why: NoReading) -> Self {
        match why {
            NoReading::NoSuchChannel(_) => Self::NoSuchChannel,
            NoReading::NotEnabled(_) => Self::NotEnabled,
            NoReading::NotComplete => Self::NotComplete,
            NoReading::Clipped { .. } => Self::Clipped,
            NoReading::NotRunning => Self::NotRunning,
            _ => Self::Other,
        }
    }
}
