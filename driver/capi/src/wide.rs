use crate::code::{Code, Error};
use crate::memory::{self, report};

/// A signed number of 128 bits in two limbs: `high` × 2^64 + `low`.
///
/// Totals are that wide because 10 nJ kept over 10 kW for 10 years takes 68 bits and a sign. While a total lies within ±9.2 GJ or ±9.2 GC, `high` is 0 or -1 and
/// `(int64_t)low` is the number.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wide {
    /// Upper 64 bits, with the sign.
    pub high: i64,
    /// Lower 64 bits.
    pub low: u64,
}

impl From<i128> for Wide {
    fn from(number: i128) -> Self {
        // Both halves are meant: the upper one keeps the sign, the lower one is cut off.
        Self {
            high: (number >> 64) as i64,
            low: number as u64,
        }
    }
}

impl From<Wide> for i128 {
    fn from(wide: Wide) -> Self {
        (Self::from(wide.high) << 64) | Self::from(wide.low)
    }
}

/// `value` ÷ `divisor`, rounded to nearest, halves away from zero: nJ ÷ 3 600 000 000 is mWh, nC ÷ 3 600 000 000 is mAh, ÷ 1 the number itself.
///
/// `OUT_OF_RANGE` if the quotient does not fit, which leaves the end of the range in `quotient`; `BAD_ARGUMENT` for a divisor below 1.
///
/// # Safety
/// Each pointer is null or leads to what its type says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_wide_divided(
    value: *const Wide,
    divisor: i64,
    quotient: *mut i64,
    error: *mut Error,
) -> Code {
    let outcome = || {
        // SAFETY: the caller's promise.
        let value = i128::from(*unsafe { memory::input(value, 1) }?);
        let divisor = match i128::from(divisor) {
            divisor @ 1.. => divisor,
            _ => return Err(Error::argument(Code::BadArgument, 2)),
        };
        let whole = value.checked_div(divisor).unwrap_or_default();
        let rest = value.checked_rem(divisor).unwrap_or_default();
        // |rest| < divisor < 2^63, so its double fits.
        let away = if rest.unsigned_abs().wrapping_mul(2) >= divisor.unsigned_abs() {
            rest.signum()
        } else {
            0
        };
        let rounded = whole.saturating_add(away);
        let fitting =
            i64::try_from(rounded).unwrap_or(if rounded < 0 { i64::MIN } else { i64::MAX });
        // SAFETY: the caller's promise.
        unsafe { memory::output(quotient, 3, fitting) }?;
        if i128::from(fitting) == rounded {
            Ok(())
        } else {
            Err(Error::new(Code::OutOfRange))
        }
    };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome()) }
}
