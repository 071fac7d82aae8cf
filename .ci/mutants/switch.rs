//! Which mistake is turned on, and which places are reached.
extern crate std;
use core::sync::atomic::{AtomicBool, Ordering};
use core::time::Duration;
use std::io::Write;
use std::sync::OnceLock;

static REACHED: [AtomicBool; 10_000] = [const { AtomicBool::new(false) }; 10_000];

pub(crate) fn on(switch: u32) -> bool {
    static ON: OnceLock<Option<u32>> = OnceLock::new();
    let number = || std::env::var("MUTANT").ok()?.parse().ok();
    let on = *ON.get_or_init(number);
    if on == Some(0) && !REACHED[switch as usize].swap(true, Ordering::Relaxed) {
        note(switch);
    }
    on == Some(switch)
}

/// In the file that REACHED names, of which a program that a test starts knows, too.
fn note(switch: u32) {
    let Some(path) = std::env::var_os("REACHED") else { return };
    let file = std::fs::File::options().append(true).open(path);
    let text = std::format!("{switch}\n");
    file.and_then(|mut file| file.write_all(text.as_bytes())).expect("REACHED names a file");
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
