use crake::part::ResumeToken;
use crake::totals::{Bounds, Gap as DriverGap, Total as DriverTotal};
use crake::units::{Charge, Energy};
use crake::{Channel, NoReading};

use crate::*;

/// cbindgen:ignore
type DriverTotals = crake::totals::Totals<'static, CRAKE_RAILS, Bounds<'static, CRAKE_RAILS>>;

/// What lives in the memory of totals.
pub struct Counted {
    pub(crate) of: &'static Described,
    pub(crate) totals: DriverTotals,
    /// What gives them a sample: linked only where totals are made.
    pub(crate) update: fn(&mut DriverTotals, &LastSample) -> Update,
}

types! {
    /// What was saved of totals.
    struct Checkpoint {
        /// In any memory that outlives a restart of the firmware.
        bytes: [u8; 468],
    }

    /// Charge or energy of one rail: the truth lies within `value` ± `bound`.
    struct Total of (value: i128, bound: i128, saturation: crake::Saturation, covers_load: bool) {
        /// What flowed, less what flowed back, by the host's clock: microcoulombs or microjoules,
        /// up to ±9.2e18 of them (290 kW for a year).
        value: i64 = fitting(value),
        /// How far it may lie from the truth; `INT64_MAX` where nothing is known.
        bound: i64 = fitting(bound),
        /// What it says of the truth after a conversion went over range.
        saturation: Saturation = saturation.into(),
        /// 1 if a load is declared, so that the bound covers what it does between conversions; 0:
        /// it covers the instrument alone.
        covers_load: u8 = covers_load.into(),
    }

    /// Time that was not counted, as a bracket, in true microseconds.
    struct Gap of (gap: DriverGap) {
        /// At least this long.
        least_us: u64 = gap.least_us,
        /// At most this long; `UINT64_MAX` where nobody knows.
        greatest_us: u64 = gap.greatest_us,
    }

    /// How totals stand.
    struct TotalsStatus of (totals: &DriverTotals) {
        /// The time that was counted, in microseconds of the host's clock.
        counted_us: u64 = totals.counted_us(),
        /// The same by the part's clock, nominal: the ratio of the two is that of the clocks.
        part_clock_us: u64 = totals.part_clock_us(),
        /// The latest safe moment for the next sample on the host's clock: its `after_us` must not
        /// lie beyond. `UINT64_MAX` while nothing counts.
        next_sample_by_us: u64 = totals.next_sample_by_us().unwrap_or(u64::MAX),
        /// Time that was not counted, from the first sample to the last.
        gap: Gap = Gap::of(totals.gap()),
        /// Number of discontinuities.
        epoch: u32 = totals.epoch(),
    }
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
        status.write(TotalsStatus::of(&totals.totals))
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

    /// Gives everything, and what `crake_get_token` gives now, as it is to be kept. Save after the
    /// sample that totals were given, and again after whatever changes the token.
    fn crake_totals_save(totals: live Totals, token: given Token, saved: wanted Checkpoint) {
        let &Token { writes, configuration } = token;
        let saved = saved.put(Checkpoint { bytes: [0; DriverTotals::CHECKPOINT_LEN] });
        Ok(totals.totals.save(ResumeToken { writes, configuration }, &mut saved.bytes)?)
    }

    /// Takes what was saved into totals that were initialised on the same board, and gives the
    /// token for `crake_resume`. Whatever is wrong with the bytes, the totals are as they were.
    ///
    /// Where the monitor resumes with it, totals go on with the next sample. Where the part has to
    /// be initialised, that is a discontinuity, and the time since the last sample a gap.
    fn crake_totals_load(totals: live Totals, saved: given Checkpoint, token: wanted Token) {
        token.write(Token::of(totals.totals.load(&saved.bytes)?))
    }

    /// Declares that the host's clock began anew, or jumped, since the last sample: it shows
    /// `now_us`.
    ///
    /// `since` is how long ago the last sample was, from something that went on: no epoch ends, and
    /// bounds take in how uncertain it is. Where it is null, the stretch ends with the last sample,
    /// and the gap is open-ended.
    fn crake_totals_clock_restarted(totals: live Totals, now_us: value u64, since: perhaps Gap) {
        if since.is_some_and(|since| since.least_us > since.greatest_us) {
            return Err(Code::BadArgument.at(3));
        }
        let since = since.map(|&Gap { least_us, greatest_us }| DriverGap { least_us, greatest_us });
        totals.totals.clock_restarted(now_us, since);
        Ok(())
    }
}

fn total<Q>(found: Option<DriverTotal<Q>>, channel: u8, number: fn(Q) -> i128) -> Met<Total> {
    let found = found.ok_or(NoReading::NoSuchChannel(Channel::new(channel)))?;
    // Both are rounded to nearest: half a unit each.
    let (value, bound) = (number(found.value), number(found.bound).saturating_add(1));
    Ok(Total::of(value, bound, found.saturation, found.covers_load))
}

fn fitting(number: i128) -> i64 {
    number.clamp(i64::MIN.into(), i64::MAX.into()) as i64
}
