//! Which mistake is turned on.
extern crate std;
use core::time::Duration;
use std::sync::OnceLock;

pub(crate) fn on(switch: u32) -> bool {
    static ON: OnceLock<u32> = OnceLock::new();
    let number = || std::env::var("MUTANT").ok().and_then(|text| text.parse().ok());
    *ON.get_or_init(|| number().unwrap_or(0)) == switch
}

pub(crate) trait Nudge {
    fn nudge(self) -> Self;
}
macro_rules! whole {
    ($($of:ty)*) => {$(impl Nudge for $of {
        fn nudge(self) -> Self {
            self.checked_add(self / 50 + 1).unwrap_or(self - 1)
        }
    })*};
}
whole!(i8 i16 i32 i64 i128 isize u8 u16 u32 u64 u128 usize);
impl Nudge for f64 {
    fn nudge(self) -> Self {
        if self == 0.0 { 0.02 } else { self * 1.02 }
    }
}
impl Nudge for Duration {
    fn nudge(self) -> Self {
        self + self / 50 + Duration::from_nanos(1)
    }
}
pub(crate) fn nudged<T: Nudge>(value: T) -> T {
    value.nudge()
}
