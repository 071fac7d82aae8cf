//! Counts runs and collects those that failed, so that one failure does not hide the others.

use std::cell::Cell;
use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::Once;

/// Runs so far, and what went wrong in which.
#[derive(Default)]
pub struct Tally {
    runs: usize,
    /// How often, and which was the first, by what was said but for its numbers.
    failures: BTreeMap<String, (usize, String)>,
}

impl Tally {
    /// Carries a run out; `named` says which it is, and how to do it again.
    pub fn run(&mut self, named: impl FnOnce() -> String, run: impl FnOnce()) {
        self.runs += 1;
        quietly(true);
        let result = catch_unwind(AssertUnwindSafe(run));
        quietly(false);
        if let Err(payload) = result {
            let text = payload.downcast_ref::<String>().map(String::as_str);
            let text = text.or(payload.downcast_ref::<&str>().copied());
            let text = text.unwrap_or("?");
            let is_number = |word: &&str| !word.contains(|c: char| c.is_ascii_digit());
            let kind: Vec<_> = text.split(' ').filter(is_number).collect();
            let kind = kind.join(" ");
            let entry = self.failures.entry(kind);
            entry
                .or_insert_with(|| (0, format!("{}: {text}", named())))
                .0 += 1;
        }
    }

    /// # Panics
    /// If any run failed.
    pub fn finish(self) {
        println!("{} runs", self.runs);
        let mut failed = 0;
        for (count, first) in self.failures.values() {
            println!("{count} times, first: {first}\n");
            failed += count;
        }
        assert!(failed == 0, "{failed} of {} runs failed", self.runs);
    }
}

/// Whether panics of this thread are collected, not printed.
fn quietly(quiet: bool) {
    thread_local!(static QUIET: Cell<bool> = const { Cell::new(false) });
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let hook = take_hook();
        set_hook(Box::new(move |info| {
            if !QUIET.get() {
                hook(info);
            }
        }));
    });
    QUIET.set(quiet);
}
