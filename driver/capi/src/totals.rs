use crake::Channel;
use crake::totals::Bounds;
use crake::units::{Charge, Energy};

use crate::*;

/// Length of a checkpoint in bytes.
pub const CHECKPOINT_LEN: usize = 468;

/// cbindgen:ignore
type DriverTotals = crake::totals::Totals<'static, CRAKE_RAILS, Bounds<'static, CRAKE_RAILS>>;
const _: () = assert!(CHECKPOINT_LEN == DriverTotals::CHECKPOINT_LEN);

/// Memory of totals: zero it, then `crake_totals_init`.
#[repr(C)]
pub struct Totals {
    words: [u64; 64],
}

/// What lives in the memory of totals.
pub struct Counted {
    pub(crate) of: &'static Described,
    pub(crate) totals: DriverTotals,
    /// What gives them a sample: linked only where totals are made.
    pub(crate) update: fn(&mut DriverTotals, &LastSample) -> Update,
}

/// Charge or energy of one rail: the truth lies within `value` ± `bound`.
#[repr(C)]
pub struct Total {
    /// What flowed, less what flowed back, by the host's clock: microcoulombs or microjoules, up to
    /// ±9.2e18 of them (290 kW for a year).
    pub value: i64,
    /// How far it may lie from the truth; `INT64_MAX` where nothing is known.
    pub bound: i64,
    /// What it says of the truth after a conversion went over range.
    pub saturation: Saturation,
    /// 1 if a load is declared, so that the bound covers what it does between conversions; 0: it
    /// covers the instrument alone.
    pub covers_load: u8,
}

/// Time that was not counted, as a bracket, in true microseconds.
#[repr(C)]
pub struct Gap {
    /// At least this long.
    pub least_us: u64,
    /// At most this long; `UINT64_MAX` where nobody knows.
    pub greatest_us: u64,
}

/// How totals stand.
#[repr(C)]
pub struct TotalsStatus {
    /// The time that was counted, in microseconds of the host's clock.
    pub counted_us: u64,
    /// The same by the part's clock, nominal: the ratio of the two is that of the clocks.
    pub part_clock_us: u64,
    /// The latest safe moment for the next sample on the host's clock: its `after_us` must not lie
    /// beyond. `UINT64_MAX` while nothing counts.
    pub next_sample_by_us: u64,
    /// Time that was not counted, from the first sample to the last.
    pub gap: Gap,
    /// Number of discontinuities.
    pub epoch: u32,
}

calls! {
    /// Makes empty totals, on the board of these margins. Give them to every call that takes a
    /// sample; one may be left out.
    fn crake_totals_init(totals: new Totals, margins: fixed Margins) {
        let made = DriverTotals::with_bounds(&margins.margins);
        let update = |totals: &mut DriverTotals, sample: &LastSample| totals.update(sample).into();
        totals.fill(Counted { of: margins.of, totals: made, update })
    }

    /// Charge of a rail so far, from source to load.
    fn crake_totals_charge(totals: live Totals, channel: value u8, charge: wanted Total) {
        let found = totals.totals.charge(Channel::new(channel));
        charge.write(total(found, channel, Charge::as_microcoulombs)?)
    }

    /// Energy of a rail so far, into the load; the sense resistor's own loss is not in it.
    fn crake_totals_energy(totals: live Totals, channel: value u8, energy: wanted Total) {
        let found = totals.totals.energy(Channel::new(channel));
        energy.write(total(found, channel, Energy::as_microjoules)?)
    }

    /// Times, gap and epoch.
    fn crake_totals_get_status(totals: live Totals, status: wanted TotalsStatus) {
        let totals = &totals.totals;
        let crake::totals::Gap { least_us, greatest_us } = totals.gap();
        status.write(TotalsStatus {
            counted_us: totals.counted_us(),
            part_clock_us: totals.part_clock_us(),
            next_sample_by_us: totals.next_sample_by_us().unwrap_or(u64::MAX),
            gap: Gap { least_us, greatest_us },
            epoch: totals.epoch(),
        })
    }

    /// Counts by the margins of another board from now on, as after a calibration: what comes after
    /// the last sample is counted by it, and has its bound. It is no discontinuity.
    fn crake_totals_set_margins(totals: live Totals, margins: fixed Margins) {
        totals.totals.set_margins(&margins.margins);
        totals.of = margins.of;
        Ok(())
    }

    /// Declares that nothing is counted until the next sample, because the part has no supply or is
    /// left alone on purpose. It counts as a discontinuity.
    fn crake_totals_unpowered(totals: live Totals) {
        totals.totals.unpowered();
        Ok(())
    }

    /// Writes everything, and what `crake_get_token` gives now, to `CRAKE_CHECKPOINT_LEN` bytes,
    /// for memory that outlives a restart of the firmware. `BYTES_LENGTH` for another `count`.
    ///
    /// Save after the sample that totals were given, and again after whatever changes the token.
    fn crake_totals_save(
        totals: live Totals, token: given Token, bytes: room u8, count: value usize
    ) {
        length(CHECKPOINT_LEN, count)?;
        Ok(totals.totals.save((*token).into(), bytes.filled(count, |_| Ok(0))?)?)
    }

    /// Takes what was saved into totals that were initialised on the same board, and gives the
    /// token for `crake_resume`. Whatever is wrong with the bytes, the totals are as they were.
    ///
    /// Where the monitor resumes with it, totals go on with the next sample. Where the part has to
    /// be initialised, that is a discontinuity, and the time since the last sample a gap.
    fn crake_totals_load(
        totals: live Totals, bytes: array u8, count: value usize, token: wanted Token
    ) {
        length(CHECKPOINT_LEN, count)?;
        token.write(totals.totals.load(bytes.values(count)?)?.into())
    }

    /// Declares that the host's clock began anew, or jumped, since the last sample: it shows
    /// `now_us`.
    ///
    /// `since` is how long ago the last sample was, from something that went on: no epoch ends, and
    /// bounds take in how uncertain it is. Where it is null, the stretch ends with the last sample,
    /// and the gap is open-ended.
    fn crake_totals_clock_restarted(totals: live Totals, now_us: value u64, since: perhaps Gap) {
        if since.is_some_and(|since| since.least_us > since.greatest_us) {
            return Err(Error::argument(Code::BadArgument, 3));
        }
        let since = since.map(|&Gap { least_us, greatest_us }| {
            crake::totals::Gap { least_us, greatest_us }
        });
        totals.totals.clock_restarted(now_us, since);
        Ok(())
    }
}

fn total<Q: Copy>(
    found: Option<crake::totals::Total<Q>>,
    channel: u8,
    number: impl Fn(Q) -> i128,
) -> Result<Total, Error> {
    let none = Error::channel(Code::NoSuchChannel, Channel::new(channel));
    let found = found.ok_or(none)?;
    let fitting = |number: i128| number.clamp(i64::MIN.into(), i64::MAX.into()) as i64;
    Ok(Total {
        value: fitting(number(found.value)),
        // Both are rounded to nearest: half a unit each.
        bound: fitting(number(found.bound).saturating_add(1)),
        saturation: found.saturation.into(),
        covers_load: u8::from(found.covers_load),
    })
}

/// As many bytes as it has to be.
pub(crate) fn length(expected: usize, got: usize) -> Result<(), Error> {
    match u32::try_from(got) {
        _ if got == expected => Ok(()),
        got => Err(Error::pair(
            Code::BytesLength,
            expected as u32,
            got.unwrap_or(u32::MAX),
        )),
    }
}
