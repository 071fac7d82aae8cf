use crake::bus::Fault;
use crake::calibration::{CalibrationError, RecordError};
use crake::config::{ConfigError, LimitReason};
use crake::totals::CheckpointError;
use crake::{ErrorKind, NoReading};

use crate::*;

/// What each error of the driver's is here, with what of it stands in which field. Of each code:
/// its number, and what it is made of; behind `|` what becomes a code that stands elsewhere. The
/// program in `header/` reads the same rows.
macro_rules! codes {
    (
        $(#[$about:meta])*
        own { $($(#[$own_doc:meta])* $Own:ident = $own_number:literal,)* }
        $($From:ident {
            $(
                $(#[$doc:meta])*
                $Code:ident = $number:literal: $what:pat
                    $(=> { $($field:ident: $value:expr),* })?,
            )*
            $(| $other:pat => $Same:ident { $($with:ident: $other_value:expr),* },)*
        })*
    ) => {
        $(#[$about])*
        #[repr(i32)]
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
        pub enum Code {
            $($(#[$own_doc])* $Own = $own_number,)*
            $($($(#[$doc])* $Code = $number,)*)*
        }
        $(impl From<$From> for Error {
            fn from(error: $From) -> Self {
                use $From::*;
                match error {
                    $($what => Self { $($($field: $value.into(),)*)? ..Code::$Code.into() },)*
                    $($other => Self { $($with: $other_value.into(),)* ..Code::$Same.into() },)*
                    _ => Code::Other.into(),
                }
            }
        })*
    };
}

codes! {
    /// What became of a call; 0 is success. Also says why a channel has no reading. From 10 to 15
    /// nothing was done; of 10 to 14 `argument` tells which one is wrong, counted from 1.
    own {
        /// It was done.
        #[default]
        Ok = 0,
        /// There is none: no event is queued, nobody answered. Not an error.
        Nothing = 1,
        /// A pointer is null or not aligned.
        BadPointer = 10,
        /// A value lies outside its list or range, or values are more than `CRAKE_CAPTURE_MAX`.
        BadArgument = 11,
        /// An object was not initialised, or its memory not zeroed before.
        NotReady = 12,
        /// An object is in use by a call that has not returned: this one comes from a callback or
        /// an interrupt.
        InCall = 13,
        /// The memory holds an object already: zero it to use it again.
        InUse = 14,
        /// The totals are counted by margins of another board than the monitor's.
        TotalsOfAnotherBoard = 15,
        /// Something that this interface does not know.
        Other = 99,
    }
    Fault {
        /// A callback said that the bus failed, as often as it was tried; `bus_status` is the last.
        Bus = 20: Bus,
        /// The check byte of a read was wrong, as often as it was tried: `expected`, `got`.
        CheckByte = 21: CheckByte,
        /// The sample block's check value was wrong, as often as it was read: `expected`, `got`.
        BlockCheck = 22: BlockCheck,
        /// No new block in time: the tags `expected`, `got`.
        Stale = 23: Stale,
        /// The host's clock fell while a sample was latched, or 72 minutes passed.
        Clock = 24: Clock,
        /// What was begun did not end in time: `expected`, `got`.
        Busy = 25: Busy,
        /// Another part answers: `expected`, `got`.
        Identity = 26: Identity,
        /// A register reads back otherwise than it was written: `expected`, `got`.
        ReadBack = 27: ReadBack,
        /// The part was reset since it was configured: initialise it.
        Reset = 28: Reset,
        /// Somebody else wrote to the part: initialise it. `expected`, `got`.
        Changed = 29: Changed,
        /// The part is not configured, or its configuration was given up: initialise it.
        NotConfigured = 30: NotConfigured,
        /// Limits are not known to stand in the part: set them.
        NotArmed = 31: NotArmed,
        /// The part's supply is declared off.
        Unpowered = 32: Unpowered,
        /// This cannot be; nothing was sent.
        Refused = 33: Refused,
    }
    ConfigError {
        /// There is no such channel: `channel`.
        NoSuchChannel = 40: NoSuchChannel(which) => { channel: which.number() },
        /// No channel is enabled.
        NoChannel = 41: NoChannel,
        /// No sense range reaches the full scale asked for: `channel`.
        SenseFullScale = 42: SenseFullScale(which) => { channel: which.number() },
        /// No rail range reaches the full scale asked for: `channel`.
        RailFullScale = 43: RailFullScale(which) => { channel: which.number() },
        /// The part has no scan rate as high as this; `got` is its period in microseconds.
        ScanRate = 44: ScanRate(rate) => { got: rate.period_us() },
        /// Means of 2^`got` scans were asked for, the part goes to 2^`expected`.
        Averaging = 45: Averaging { asked, greatest } => { expected: greatest, got: asked },
        /// Sense resistor or correction are beyond what the part can be used with: `channel`.
        SenseResistor = 46: SenseResistor(which) => { channel: which.number() },
    }
    LimitReason {
        /// A limit on a channel that is not enabled: `channel`, `kind`, here and below.
        LimitNotEnabled = 50: NotEnabled,
        /// There are two limits of the kind on the channel.
        LimitSetTwice = 51: SetTwice,
        /// No code of the range lies beyond the limit, or none within it.
        LimitBeyondFullScale = 52: BeyondFullScale,
        /// Over- and under-limit leave no code between them.
        LimitsCrossed = 53: Crossed,
        /// A limit reaches no output and is not silent.
        LimitNoOutput = 54: NoOutput,
        /// A debounce of `got`: 1 to 15 can be, or as many as a single shot has scans.
        LimitDebounce = 55: Debounce(count) => { got: count },
        /// A limit would be masked on an output that is wired to hardware: have it looked at again.
        LimitMaskedOnWired = 56: MaskedOnWired,
        /// A hysteresis below zero.
        LimitHysteresis = 57: Hysteresis,
    }
    NoReading {
        /// No reading: the channel was not enabled.
        NotEnabled = 60: NotEnabled(which) => { channel: which.number() },
        /// No reading: no mean was finished yet with this configuration; or the sample failed.
        NotComplete = 61: NotComplete,
        /// A conversion went over range: what is given is a limit, not a value.
        Clipped = 62: Clipped { channel, .. } => { channel: channel.number() },
        | NoSuchChannel(which) => NoSuchChannel { channel: which.number() },
    }
    CheckpointError {
        | Corrupt => BytesCheck {},
        | Version => BytesVersion {},
        | Board => BytesOfAnotherBoard {},
    }
    RecordError {
        /// The bytes do not begin as a calibration record does.
        BytesMark = 71: Mark,
        /// Bytes of a version that this library does not know.
        BytesVersion = 72: Version(got) => { got: got },
        /// The check value is not that of the bytes: torn, or damaged. Of a record `expected`,
        /// `got`.
        BytesCheck = 73: Check { expected, got } => { expected: expected, got: got },
        /// The field of a record at offset `got` is out of range.
        BytesField = 74: Field { offset } => { got: offset as u32 },
        /// The bytes belong to another board, or to one that converts otherwise: serial numbers
        /// `expected`, `got` of a record.
        BytesOfAnotherBoard = 75: Board { record, board } => { expected: board, got: record },
        | Channels { .. } => BytesOfAnotherBoard {},
        | SenseRange(which) => SenseResistor { channel: which.number() },
        | Config(ConfigError::SenseResistor(which)) => SenseResistor { channel: which.number() },
    }
    CalibrationError {
        /// The part does not scan by itself: nothing to calibrate with was counted.
        NotCounting = 80: NotCounting,
        /// Another configuration than that of the sample before.
        Reconfigured = 81: Reconfigured,
        /// Samples lie so far apart that a rollover could hide between them.
        TooFarApart = 82: TooFarApart,
        /// `got` stretches of a thousand scans were collected, a calibration takes `expected`.
        TooFew = 83: TooFew { stretches, least } => { expected: least, got: stretches },
        /// Means of stretches differ by `got` nV, noise explains `expected`.
        Unsteady = 84: Unsteady { spread, limit } => {
            expected: limit.as_nanovolts(), got: spread.as_nanovolts()
        },
        /// `got` nV without current, `expected` at the most: is the load disconnected?
        ImplausibleOffset = 85: ImplausibleOffset { found, limit } => {
            expected: limit.as_nanovolts(), got: found.as_nanovolts()
        },
        /// A gain `got` ppm off 1, `expected` at the most: is the reference right?
        ImplausibleGain = 86: ImplausibleGain { found_ppm, limit_ppm } => {
            expected: limit_ppm, got: found_ppm
        },
        /// The reference current, or the difference of two, must be at least `expected` nA.
        ReferenceTooSmall = 87: ReferenceTooSmall { least } => { expected: least.as_nanoamps() },
        /// The reference current must be at most `expected` nA.
        ReferenceTooGreat = 88: ReferenceTooGreat { greatest } => {
            expected: greatest.as_nanoamps()
        },
        /// A gain from one current needs a calibrated offset.
        NoOffset = 89: NoOffset,
        /// Two points of different channels or sense ranges.
        DifferentInputs = 90: DifferentInputs,
        | NoReading(which) => NotComplete { channel: which.number() },
        | Clipped(which) => Clipped { channel: which.number() },
    }
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

types! {
    /// What was asked, of whom, and what came. Fields that do not belong to the code are 0.
    #[derive(Clone, Copy, Default)]
    struct Error {
        /// What should have come.
        expected: i64,
        /// What came.
        got: i64,
        /// As returned by the call.
        code: Code,
        /// What the callback returned, where the bus failed.
        bus_status: i32,
        /// What was asked of the part.
        operation: Operation,
        /// 7-bit address of the part that was asked.
        address: u8,
        /// Register that was asked for last.
        at_register: u8,
        /// Which argument of the call, counted from 1.
        argument: u8,
        /// Which channel.
        channel: u8,
        /// Which kind of limit: a `crake_kind`.
        kind: u8,
        /// 1 if the same call may simply be made again, with no `crake_init` in between.
        may_repeat: u8,
    }
}

impl Code {
    /// About the `argument`-th argument of the call.
    pub(crate) fn at(self, argument: u8) -> Error {
        Error {
            code: self,
            argument,
            ..Error::default()
        }
    }
}

impl Error {
    pub(crate) fn with(mut self, expected: impl Into<i64>, got: impl Into<i64>) -> Self {
        (self.expected, self.got) = (expected.into(), got.into());
        self
    }
}

impl From<Code> for Error {
    fn from(code: Code) -> Self {
        code.at(0)
    }
}

mirrored!(
    crake::Operation => Operation: Init, Resume, Configure, Sample, SetLimits, ReadAlerts,
    SetMasks, StartCapture, FetchCapture; _ => Self::None
);

impl From<Status> for Error {
    fn from(Status(bus_status): Status) -> Self {
        Self {
            bus_status,
            ..Code::Bus.into()
        }
    }
}

impl From<crake::Error<Status>> for Error {
    fn from(error: crake::Error<Status>) -> Self {
        let what = Self::from(error.fault());
        let what = match error.kind {
            ErrorKind::Bus(status) => status.into(),
            ErrorKind::Config(error) => error.into(),
            ErrorKind::Limits(error) => Self {
                kind: error.kind.index() as u8, // below 5
                channel: error.channel.number(),
                ..error.reason.into()
            },
            ErrorKind::Differs { expected, got, .. } => what.with(expected, got),
            _ => what,
        };
        Self {
            operation: error.operation.into(),
            address: error.address,
            at_register: error.register,
            may_repeat: error.may_repeat().into(),
            ..what
        }
    }
}
