//! What a correction by calibration leaves open of totals.

use super::margins::{Margins, RailMargins, SenseMargins, UNKNOWN, greater, parts_of, short};
use crate::board::{Board, Correction};
use crate::convert::{divided_up, share};
use crate::units::Voltage;

/// A half in parts of 2^32. Limits beyond it are unknown.
const HALF: u64 = 1 << 31;

/// Parts of 2^32 in a part per million, rounded up.
const PPM: u64 = 4_295;

impl<'b, const N: usize> Margins<'b, N> {
    /// Takes over a board on which rails were corrected since, and what the corrections of all its
    /// rails leave open: [`Correction::NONE`] where there is none.
    ///
    /// A gain belongs to the sense range that it was measured in: in another, the part's gains in
    /// both are open besides. What is corrected without a known bound may be wrong in full.
    ///
    /// A rail is corrected once, from margins as they were made, as [`Board::correct`] does. A
    /// second time, or where the board has another correction or another sense resistor, it has no
    /// bound any more; nor has any rail with a board of another part or clock.
    ///
    /// ```
    /// use crake::Channel;
    /// use crake::board::{Board, Correction, Gain, Rail, SenseResistor};
    /// use crake::part::corncrake::{Corncrake, INFO};
    /// use crake::totals::{Margins, Totals};
    /// use crake::units::{Resistance, Tolerance};
    ///
    /// const RAILS: [Rail; 1] = [Rail::new(SenseResistor::new(
    ///     Resistance::from_milliohms(500),
    ///     Tolerance::from_ppm(5_000),
    /// ))];
    /// static BOARD: Board<1> = Corncrake::board(&RAILS);
    /// static MARGINS: Margins<'static, 1> = Margins::new(&INFO, &BOARD, &RAILS);
    ///
    /// // As it comes from a calibration record.
    /// let correction = Correction {
    ///     gain: Gain::from_bits((1 << 30) + 4_000_000),
    ///     gain_bound: Some(Tolerance::from_ppm(150)),
    ///     gain_range: Some(1),
    ///     ..Correction::NONE
    /// };
    /// let board = BOARD.corrected(Channel::C0, &correction);
    /// let mut margins = MARGINS;
    /// margins.correct(&board, &[correction]);
    /// let mut totals = Totals::with_bounds(&MARGINS);
    /// totals.set_margins(&margins);
    /// ```
    pub fn correct(&mut self, board: &'b Board<N>, corrections: &[Correction; N]) {
        let (unit, before) = (board.sense_unit(), self.board);
        let alike = before.sense_unit() == unit && before.clock() == board.clock();
        let factors = before.all_factors().iter().zip(board.all_factors());
        let rails = self.rails.iter_mut().zip(corrections).zip(factors);
        for ((rail, correction), (before, after)) in rails {
            if !correction.is_none() {
                rail.correct(correction, unit, self.two_ranges);
            }
            if !alike
                || before.nanoohms() != after.nanoohms()
                || !after.is_corrected_by(correction, unit)
            {
                rail.forget();
            }
        }
        self.board = board;
    }
}

impl RailMargins {
    #[inline(never)]
    pub(super) const fn correct(
        &mut self,
        correction: &Correction,
        unit: Voltage,
        two_ranges: bool,
    ) {
        let gain = correction.gain.to_bits();
        self.greatest = before_gain(self.greatest, gain);
        self.mean = before_gain(self.mean, gain);
        self.steps = before_gain(self.steps, gain);
        let [first, others] = &mut self.ranges;
        let (one, other) = (first.gain_ppm as u64, others.gain_ppm as u64);
        let anywhere = greater(first.gain_ppm as u32, others.gain_ppm as u32) as u64;
        // What is open of the part's gain besides, in either range.
        let (here, there) = match correction.gain_range {
            Some(0) => (0, other.wrapping_add(one)),
            Some(1) if two_ranges => (one.wrapping_add(other), 0),
            _ => (one.wrapping_add(anywhere), other.wrapping_add(anywhere)),
        };
        first.correct(correction, unit, (self.constant, here));
        others.correct(correction, unit, (self.constant, there));
        if self.corrected
            || self.greatest == UNKNOWN
            || self.mean == UNKNOWN
            || self.steps == UNKNOWN
        {
            self.forget();
        }
        self.corrected = true;
    }

    /// There is no bound any more.
    const fn forget(&mut self) {
        let [first, others] = &mut self.ranges;
        (first.relative, others.relative) = (UNKNOWN, UNKNOWN);
        self.load_declared = false;
    }
}

impl SenseMargins {
    #[inline(never)]
    const fn correct(
        &mut self,
        correction: &Correction,
        unit: Voltage,
        (constant, more_ppm): (u32, u64),
    ) {
        self.relative = match correction.gain_bound {
            Some(bound) => {
                let open_ppm = (bound.as_ppm() as u64).wrapping_add(more_ppm);
                over_rest(open_ppm.wrapping_mul(PPM).wrapping_add(constant as u64))
            }
            None if self.relative == UNKNOWN => UNKNOWN,
            None => {
                // Over the rest that there was, and then over the rest that there is.
                let off = (correction.gain.to_bits().abs_diff(1 << 30) as u64) << 2;
                let off = off.wrapping_add(up(off, self.relative));
                let both = off.wrapping_add(self.relative as u64);
                short(both.wrapping_add(up(both, over_rest(off))))
            }
        };
        let offset_256ths = correction.offset.to_bits().unsigned_abs();
        let offset = Voltage::from_nanovolts(offset_256ths.div_ceil(256) as i64);
        let open = match correction.offset_bound {
            Some(bound) => parts_of(bound, unit).saturating_add(self.after_calibration as u32),
            None => parts_of(offset, unit).saturating_add(self.lasting),
        };
        // What is taken off is rounded to a 256th of a unit.
        let rounding = if offset_256ths == 0 { 0 } else { 2 };
        self.lasting = open.saturating_add(rounding);
        if self.lasting == UNKNOWN
            || self.noise == UNKNOWN
            || self.gain_ppm == u16::MAX
            || self.after_calibration == u16::MAX
        {
            self.relative = UNKNOWN;
        }
    }
}

/// What is shown before a gain makes this of it.
const fn before_gain(number: u32, gain: i32) -> u32 {
    if gain <= 0 {
        return UNKNOWN;
    }
    short(divided_up((number as u128) << 30, gain as u64))
}

/// A relative limit ρ as ρ ÷ (1 − ρ), which is at most ρ + ρ² + 2 ρ³ for a half or less.
const fn over_rest(limit: u64) -> u32 {
    if limit > HALF {
        return UNKNOWN;
    }
    let square = up(limit, limit as u32);
    let cube = up(square, limit as u32);
    short(
        limit
            .wrapping_add(square)
            .wrapping_add(cube.wrapping_mul(2)),
    )
}

/// So many parts of 2^32, rounded up.
const fn up(number: u64, parts: u32) -> u64 {
    share(number, parts).wrapping_add(1)
}
