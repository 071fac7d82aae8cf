use crake::bus::Fault;
use crake::calibration::{CalibrationError, RecordError};
use crake::config::{ConfigError, LimitError, LimitReason};
use crake::totals::CheckpointError;
use crake::{Channel, ErrorKind, NoReading};

use crate::*;

/// What became of a call; 0 is success. Also says why a channel has no reading.
#[repr(i32)]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Code {
    /// It was done.
    #[default]
    Ok = 0,
    /// There is none: no event is queued, nobody answered. Not an error.
    Nothing = 1,

    /// A pointer is null or not aligned; `argument` counts from 1. Nothing was done.
    BadPointer = 10,
    /// A value lies outside its list or range: `argument`. Nothing was done.
    BadArgument = 11,
    /// An object was not initialised, or its memory not zeroed before: `argument`. Nothing was
    /// done.
    NotReady = 12,
    /// An object is in use by a call that has not returned: called from a callback or an interrupt.
    /// Nothing was done.
    InCall = 13,
    /// The memory holds an object already: zero it to use it again. Nothing was done.
    InUse = 14,

    /// A callback said that the bus failed, as often as it was tried; `bus_status` is the last.
    Bus = 20,
    /// The check byte of a read was wrong, as often as it was tried: `expected`, `got`.
    CheckByte = 21,
    /// The sample block's check value was wrong, as often as it was read: `expected`, `got`.
    BlockCheck = 22,
    /// No new block in time: the tags `expected`, `got`.
    Stale = 23,
    /// The host's clock fell while a sample was latched, or 72 minutes passed.
    Clock = 24,
    /// What was begun did not end in time: `expected`, `got`.
    Busy = 25,
    /// Another part answers: `expected`, `got`.
    Identity = 26,
    /// A register reads back otherwise than it was written: `expected`, `got`.
    ReadBack = 27,
    /// The part was reset since it was configured: initialise it.
    Reset = 28,
    /// Somebody else wrote to the part: initialise it. `expected`, `got`.
    Changed = 29,
    /// The part is not configured, or its configuration was given up: initialise it.
    NotConfigured = 30,
    /// Limits are not known to stand in the part: set them.
    NotArmed = 31,
    /// The part's supply is declared off.
    Unpowered = 32,
    /// This cannot be; nothing was sent.
    Refused = 33,

    /// There is no such channel: `channel`.
    NoSuchChannel = 40,
    /// No channel is enabled.
    NoChannel = 41,
    /// No sense range reaches the full scale asked for: `channel`.
    SenseFullScale = 42,
    /// No rail range reaches the full scale asked for: `channel`.
    RailFullScale = 43,
    /// The part has no scan rate as high as this; `got` is its period in microseconds.
    ScanRate = 44,
    /// Means of 2^`got` scans were asked for, the part goes to 2^`expected`.
    Averaging = 45,
    /// The sense resistor or its correction is beyond what the part can be used with: `channel`.
    SenseResistor = 46,

    /// A limit on a channel that is not enabled: `channel`, `kind`, here and below.
    LimitNotEnabled = 50,
    /// There are two limits of the kind on the channel.
    LimitSetTwice = 51,
    /// No code of the range lies beyond the limit, or none within it.
    LimitBeyondFullScale = 52,
    /// Over- and under-limit leave no code between them.
    LimitsCrossed = 53,
    /// A limit reaches no output and is not silent.
    LimitNoOutput = 54,
    /// A debounce of `got`: 1 to 15 can be, or as many as a single shot has scans.
    LimitDebounce = 55,
    /// A limit would be masked on an output that is wired to hardware: have it looked at again.
    LimitMaskedOnWired = 56,
    /// A hysteresis below zero.
    LimitHysteresis = 57,

    /// No reading: the channel was not enabled.
    NotEnabled = 60,
    /// No reading: no mean was finished yet with this configuration; or the sample failed.
    NotComplete = 61,
    /// A conversion went over range: what is given is a limit, not a value.
    Clipped = 62,

    /// Bytes are not as many as they have to be: `expected`, `got`.
    BytesLength = 70,
    /// The bytes do not begin as a calibration record does.
    BytesMark = 71,
    /// Bytes of a version that this library does not know.
    BytesVersion = 72,
    /// The check value is not that of the bytes: torn, or damaged. `expected`, `got` of a record.
    BytesCheck = 73,
    /// The field of a record at offset `got` is out of range.
    BytesField = 74,
    /// The totals are counted by margins of another board than the monitor's.
    TotalsOfAnotherBoard = 76,
    /// The bytes belong to another board, or to one that converts otherwise: serial numbers
    /// `expected`, `got` of a record.
    BytesOfAnotherBoard = 75,

    /// The part does not scan by itself: nothing to calibrate with was counted.
    NotCounting = 80,
    /// Another configuration than that of the sample before.
    Reconfigured = 81,
    /// Samples lie so far apart that a rollover could hide between them.
    TooFarApart = 82,
    /// `got` stretches of a thousand scans were collected, a calibration takes `expected`.
    TooFew = 83,
    /// Means of stretches differ by `got` nV, noise explains `expected`.
    Unsteady = 84,
    /// `got` nV without current, `expected` at the most: is the load disconnected?
    ImplausibleOffset = 85,
    /// A gain `got` ppm off 1, `expected` at the most: is the reference right?
    ImplausibleGain = 86,
    /// The reference current, or the difference of two, must be at least `expected` nA.
    ReferenceTooSmall = 87,
    /// The reference current must be at most `expected` nA.
    ReferenceTooGreat = 88,
    /// A gain from one current needs a calibrated offset.
    NoOffset = 89,
    /// Two points of different channels or sense ranges.
    DifferentInputs = 90,

    /// Something that this interface does not know.
    Other = 99,
}

/// What was asked of the part.
#[repr(u8)]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Operation {
    /// Nothing.
    #[default]
    None = 0,
    /// `crake_init`.
    Init = 1,
    /// `crake_resume`.
    Resume = 2,
    /// `crake_configure`.
    Configure = 3,
    /// Latching and reading a sample.
    Sample = 4,
    /// `crake_queue_set_limits`.
    SetLimits = 5,
    /// Reading alert flags.
    ReadAlerts = 6,
    /// Choosing which flags reach an output.
    SetMasks = 7,
    /// `crake_start_capture`.
    StartCapture = 8,
    /// `crake_fetch_capture`.
    FetchCapture = 9,
    /// `crake_queue_service`, for `crake_worst_case_us`; an error names the piece that failed.
    Service = 10,
}

/// What was asked, of whom, and what came. Fields that do not belong to the code are 0.
#[repr(C)]
#[derive(Clone, Copy, Default)]
pub struct Error {
    /// What should have come.
    pub expected: i64,
    /// What came.
    pub got: i64,
    /// As returned by the call.
    pub code: Code,
    /// What the callback returned, where the bus failed.
    pub bus_status: i32,
    /// What was asked of the part.
    pub operation: Operation,
    /// 7-bit address of the part that was asked.
    pub address: u8,
    /// Register that was asked for last.
    pub at_register: u8,
    /// Which argument of the call, counted from 1.
    pub argument: u8,
    /// Which channel.
    pub channel: u8,
    /// Which kind of limit: a `crake_kind`.
    pub kind: u8,
    /// 1 if the same call may simply be made again, with no `crake_init` in between.
    pub may_repeat: u8,
}

impl Error {
    pub(crate) fn new(code: Code) -> Self {
        Self {
            code,
            ..Self::default()
        }
    }

    /// About the `argument`-th argument of the call.
    pub(crate) fn argument(code: Code, argument: u8) -> Self {
        Self {
            argument,
            ..Self::new(code)
        }
    }

    pub(crate) fn channel(code: Code, channel: Channel) -> Self {
        Self {
            channel: channel.number(),
            ..Self::new(code)
        }
    }

    pub(crate) fn pair(code: Code, expected: impl Into<i64>, got: impl Into<i64>) -> Self {
        Self {
            expected: expected.into(),
            got: got.into(),
            ..Self::new(code)
        }
    }
}

/// One of ours for each of the driver's by the same name, and one for all others.
macro_rules! mirrored {
    ($From:ty => $To:ty: $($Variant:ident),* $(; _ => $Other:ident)?) => {
        impl From<$From> for $To {
            fn from(from: $From) -> Self {
                match from {
                    $(<$From>::$Variant => Self::$Variant,)*
                    $(_ => Self::$Other,)?
                }
            }
        }
    };
}
pub(crate) use mirrored;

impl From<Status> for Error {
    fn from(Status(bus_status): Status) -> Self {
        Self {
            bus_status,
            ..Self::new(Code::Bus)
        }
    }
}

impl From<crake::Error<Status>> for Error {
    fn from(error: crake::Error<Status>) -> Self {
        let what = match error.kind {
            ErrorKind::Bus(status) => Self::from(status),
            ErrorKind::Differs { expected, got, .. } => {
                Self::pair(error.fault().into(), expected, got)
            }
            ErrorKind::Config(error) => Self::from(error),
            ErrorKind::Limits(error) => Self::from(error),
            _ => Self::new(error.fault().into()),
        };
        Self {
            operation: error.operation.into(),
            address: error.address,
            at_register: error.register,
            may_repeat: u8::from(error.may_repeat()),
            ..what
        }
    }
}

mirrored!(
    crake::Operation => Operation: Init, Resume, Configure, Sample, SetLimits, ReadAlerts,
    SetMasks, StartCapture, FetchCapture; _ => None
);
mirrored!(
    Fault => Code: Bus, CheckByte, BlockCheck, Stale, Clock, Busy, Identity, ReadBack, Reset,
    Changed, NotConfigured, NotArmed, Unpowered, Refused; _ => Other
);

impl From<ConfigError> for Error {
    fn from(error: ConfigError) -> Self {
        match error {
            ConfigError::NoSuchChannel(channel) => Self::channel(Code::NoSuchChannel, channel),
            ConfigError::NoChannel => Self::new(Code::NoChannel),
            ConfigError::SenseFullScale(channel) => Self::channel(Code::SenseFullScale, channel),
            ConfigError::RailFullScale(channel) => Self::channel(Code::RailFullScale, channel),
            ConfigError::ScanRate(rate) => Self::pair(Code::ScanRate, 0, rate.period_us()),
            ConfigError::Averaging { asked, greatest } => {
                Self::pair(Code::Averaging, greatest, asked)
            }
            ConfigError::SenseResistor(channel) => Self::channel(Code::SenseResistor, channel),
            _ => Self::new(Code::Other),
        }
    }
}

impl From<LimitError> for Error {
    fn from(error: LimitError) -> Self {
        let (code, got) = match error.reason {
            LimitReason::NotEnabled => (Code::LimitNotEnabled, 0),
            LimitReason::SetTwice => (Code::LimitSetTwice, 0),
            LimitReason::BeyondFullScale => (Code::LimitBeyondFullScale, 0),
            LimitReason::Crossed => (Code::LimitsCrossed, 0),
            LimitReason::NoOutput => (Code::LimitNoOutput, 0),
            LimitReason::Debounce(count) => (Code::LimitDebounce, count),
            LimitReason::MaskedOnWired => (Code::LimitMaskedOnWired, 0),
            LimitReason::Hysteresis => (Code::LimitHysteresis, 0),
            _ => (Code::Other, 0),
        };
        Self {
            kind: error.kind.index() as u8, // below 5
            channel: error.channel.number(),
            ..Self::pair(code, 0, got)
        }
    }
}

impl From<NoReading> for Error {
    fn from(why: NoReading) -> Self {
        match why {
            NoReading::NoSuchChannel(channel) => Self::channel(Code::NoSuchChannel, channel),
            NoReading::NotEnabled(channel) => Self::channel(Code::NotEnabled, channel),
            NoReading::NotComplete => Self::new(Code::NotComplete),
            NoReading::Clipped { channel, .. } => Self::channel(Code::Clipped, channel),
            _ => Self::new(Code::Other),
        }
    }
}

impl From<CheckpointError> for Error {
    fn from(error: CheckpointError) -> Self {
        Self::new(match error {
            CheckpointError::Length => Code::BytesLength,
            CheckpointError::Corrupt => Code::BytesCheck,
            CheckpointError::Version => Code::BytesVersion,
            CheckpointError::Board => Code::BytesOfAnotherBoard,
            _ => Code::Other,
        })
    }
}

impl From<RecordError> for Error {
    fn from(error: RecordError) -> Self {
        match error {
            RecordError::Length(_) => Self::new(Code::BytesLength),
            RecordError::Mark => Self::new(Code::BytesMark),
            RecordError::Version(got) => Self::pair(Code::BytesVersion, 0, got),
            RecordError::Check { expected, got } => Self::pair(Code::BytesCheck, expected, got),
            RecordError::Field { offset } => Self::pair(Code::BytesField, 0, offset as u32),
            RecordError::Board { record, board } => {
                Self::pair(Code::BytesOfAnotherBoard, board, record)
            }
            RecordError::Channels { .. } => Self::new(Code::BytesOfAnotherBoard),
            RecordError::SenseRange(channel) => Self::channel(Code::SenseResistor, channel),
            RecordError::Config(error) => Self::from(error),
            _ => Self::new(Code::Other),
        }
    }
}

impl From<CalibrationError> for Error {
    fn from(error: CalibrationError) -> Self {
        use CalibrationError as Why;
        match error {
            Why::NoReading(channel) => Self::channel(Code::NotComplete, channel),
            Why::NotCounting => Self::new(Code::NotCounting),
            Why::Reconfigured => Self::new(Code::Reconfigured),
            Why::Clipped(channel) => Self::channel(Code::Clipped, channel),
            Why::TooFarApart => Self::new(Code::TooFarApart),
            Why::TooFew { stretches, least } => Self::pair(Code::TooFew, least, stretches),
            Why::Unsteady { spread, limit } => {
                Self::pair(Code::Unsteady, limit.as_nanovolts(), spread.as_nanovolts())
            }
            Why::ImplausibleOffset { found, limit } => Self::pair(
                Code::ImplausibleOffset,
                limit.as_nanovolts(),
                found.as_nanovolts(),
            ),
            Why::ImplausibleGain {
                found_ppm,
                limit_ppm,
            } => Self::pair(Code::ImplausibleGain, limit_ppm, found_ppm),
            Why::ReferenceTooSmall { least } => {
                Self::pair(Code::ReferenceTooSmall, least.as_nanoamps(), 0)
            }
            Why::ReferenceTooGreat { greatest } => {
                Self::pair(Code::ReferenceTooGreat, greatest.as_nanoamps(), 0)
            }
            Why::NoOffset => Self::new(Code::NoOffset),
            Why::DifferentInputs => Self::new(Code::DifferentInputs),
            _ => Self::new(Code::Other),
        }
    }
}
