use crake::old::Channel;
use crake::old::ledger::{Bound as DriverBound, Ledger as DriverLedger};
use crake::old::part::corncrake::SPEC;
use crake::old::units::{Charge, Energy};

use crate::code::{Code, Error};
use crate::frame::side;
use crate::memory::{self, Board, Ledger, report};
use crate::wide::Wide;

/// How far a total may be from the truth, by named parts; the truth lies within ± `total`. In nanojoules or nanocoulombs.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bound {
    /// Sum of the parts.
    pub total: Wide,
    /// Gain error of the part, or of the calibration.
    pub gain: Wide,
    /// Offset error and input bias.
    pub offset: Wide,
    /// Noise and rounding, averaged over the rounds.
    pub noise: Wide,
    /// Tolerance of the sense resistor.
    pub shunt: Wide,
    /// Temperature of the sense resistor.
    pub thermal: Wide,
    /// Clocks, and the ends of each segment.
    pub clock: Wide,
    /// What the load does between conversions, as declared.
    pub load: Wide,
}

/// Totals of one rail.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Account {
    /// Energy into the load by the host's clock, in nanojoules.
    pub energy_nj: Wide,
    /// Charge from source to load by the host's clock, in nanocoulombs.
    pub charge_nc: Wide,
    /// Energy by the part's own clock, in nanojoules.
    pub part_energy_nj: Wide,
    /// Charge by the part's own clock, in nanocoulombs.
    pub part_charge_nc: Wide,
    /// Bound of `energy_nj`.
    pub energy_bound: Bound,
    /// Bound of `charge_nc`.
    pub charge_bound: Bound,
    /// How long the rail was accounted for, in microseconds of the host's clock.
    pub duration_us: u64,
    /// What `energy_nj` says of the truth: 0 near it, within the bound; 1 the truth is at least that, less the bound; 2 it may lie beyond on either side.
    pub energy_side: u8,
    /// The same of `charge_nc`.
    pub charge_side: u8,
}

/// Totals of one rail without bounds.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Total {
    /// Energy into the load by the host's clock, in nanojoules.
    pub energy_nj: Wide,
    /// Charge from source to load by the host's clock, in nanocoulombs.
    pub charge_nc: Wide,
    /// How long the rail was accounted for, in microseconds of the host's clock.
    pub duration_us: u64,
    /// As in `crake_account`, without the bound.
    pub energy_side: u8,
    /// The same of `charge_nc`.
    pub charge_side: u8,
}

/// Time that is accounted for on no rail, as a bracket.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Gap {
    /// At least this long, in microseconds.
    pub least_us: u64,
    /// At most this long.
    pub greatest_us: u64,
}

impl Bound {
    fn new<Q: Copy>(bound: DriverBound<Q>, total: Q, number: impl Fn(Q) -> i128) -> Self {
        let wide = |quantity| Wide::from(number(quantity));
        Self {
            total: wide(total),
            gain: wide(bound.gain),
            offset: wide(bound.offset),
            noise: wide(bound.noise),
            shunt: wide(bound.shunt),
            thermal: wide(bound.thermal),
            clock: wide(bound.clock),
            load: wide(bound.load),
        }
    }
}

impl From<crake::old::ledger::Account> for Account {
    fn from(account: crake::old::ledger::Account) -> Self {
        let (energy, charge) = (account.energy_bound, account.charge_bound);
        Self {
            energy_nj: Wide::from(account.energy.as_nanojoules()),
            charge_nc: Wide::from(account.charge.as_nanocoulombs()),
            part_energy_nj: Wide::from(account.energy_by_part_clock.as_nanojoules()),
            part_charge_nc: Wide::from(account.charge_by_part_clock.as_nanocoulombs()),
            energy_bound: Bound::new(energy, energy.total(), Energy::as_nanojoules),
            charge_bound: Bound::new(charge, charge.total(), Charge::as_nanocoulombs),
            duration_us: account.duration_us,
            energy_side: side(account.energy_side),
            charge_side: side(account.charge_side),
        }
    }
}

impl From<crake::old::ledger::Total> for Total {
    fn from(total: crake::old::ledger::Total) -> Self {
        Self {
            energy_nj: Wide::from(total.energy.as_nanojoules()),
            charge_nc: Wide::from(total.charge.as_nanocoulombs()),
            duration_us: total.duration_us,
            energy_side: side(total.energy_side),
            charge_side: side(total.charge_side),
        }
    }
}

/// Makes an empty ledger in zeroed memory. Hand it to every call that makes a frame; one that was merely latched, and in which no channel went over range, may be left out.
///
/// # Safety
/// Each pointer is null or leads to what its type says, and `board` stays where it is, as long as the ledger is used.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_ledger_init(
    ledger: *mut Ledger,
    board: *const Board,
    error: *mut Error,
) -> Code {
    let outcome = || {
        // SAFETY: the caller's promise, for as long as the ledger is used.
        let board = unsafe { memory::shared(board, 2) }?;
        let live = (board, DriverLedger::new(board, &SPEC));
        // SAFETY: the caller's promise.
        unsafe { memory::create(ledger, 1, live) }
    };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome()) }
}

/// Totals of a rail so far.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_ledger_account(
    ledger: *mut Ledger,
    channel: u8,
    account: *mut Account,
    error: *mut Error,
) -> Code {
    // SAFETY: the caller's promise.
    unsafe {
        memory::asked(ledger, (account, 3), error, |(_, live)| {
            let found = live.account(Channel::new(channel)).ok_or(Error {
                channel,
                ..Error::argument(Code::NoSuchChannel, 2)
            })?;
            Ok(Account::from(found))
        })
    }
}

/// The same without bounds: in less time and on less stack.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_ledger_total(
    ledger: *mut Ledger,
    channel: u8,
    total: *mut Total,
    error: *mut Error,
) -> Code {
    let outcome = || {
        // SAFETY: the caller's promise.
        let live = unsafe { memory::held(ledger, 1) }?;
        let found = live.1.total(Channel::new(channel)).ok_or(Error {
            channel,
            ..Error::argument(Code::NoSuchChannel, 2)
        })?;
        // SAFETY: the caller's promise.
        unsafe { memory::output(total, 3, Total::from(found)) }
    };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome()) }
}

/// The latest safe moment for the next frame, in microseconds on the host's clock: its `after_us` must not lie beyond. `NOTHING` if nothing counts.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_ledger_next_read_by(
    ledger: *mut Ledger,
    by_us: *mut u64,
    error: *mut Error,
) -> Code {
    // SAFETY: the caller's promise.
    unsafe {
        memory::asked(ledger, (by_us, 2), error, |(_, live)| {
            live.next_read_by_us().ok_or(Error::new(Code::Nothing))
        })
    }
}

/// Time that is accounted for on no rail.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_ledger_gap(
    ledger: *mut Ledger,
    gap: *mut Gap,
    error: *mut Error,
) -> Code {
    // SAFETY: the caller's promise.
    unsafe {
        memory::asked(ledger, (gap, 2), error, |(_, live)| {
            let found = live.gap();
            Ok(Gap {
                least_us: found.least_us,
                greatest_us: found.greatest_us,
            })
        })
    }
}

/// How often counts were lost or may have been.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_ledger_epoch(
    ledger: *mut Ledger,
    epoch: *mut u32,
    error: *mut Error,
) -> Code {
    // SAFETY: the caller's promise.
    unsafe { memory::asked(ledger, (epoch, 2), error, |(_, live)| Ok(live.epoch())) }
}
