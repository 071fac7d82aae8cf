//! C interface of the blocking driver with the Corncrake part, four rails: what stands behind `crake.h`.
//!
//! The only crate of the workspace with `unsafe` in it. It decides nothing: each function checks what it was handed, calls the driver, and puts what came into
//! plain structures. See `docs/c-interface.md`.
#![no_std]
#![cfg_attr(
    not(test),
    deny(
        clippy::arithmetic_side_effects,
        clippy::indexing_slicing,
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic,
        clippy::float_arithmetic
    )
)]

mod board;
mod burst;
mod checkpoint;
mod code;
mod frame;
mod host;
mod ledger;
mod memory;
mod monitor;
#[cfg(feature = "panic-handler")]
mod panic;
mod proof;
mod setup;
mod station;
mod watch;
mod wide;

pub use board::{Description, Rail, crake_board_init};
pub use burst::{
    BURST_CODES, Statistics, crake_burst_currents, crake_burst_statistics, crake_fetch,
};
pub use checkpoint::{
    CHECKPOINT_LEN, crake_ledger_clock_restarted, crake_ledger_load, crake_ledger_save,
};
pub use code::{Code, Error};
pub use frame::{Frame, Reading};
pub use host::{Host, NO_ACKNOWLEDGE};
pub use ledger::{
    Account, Bound, Gap, Total, crake_ledger_account, crake_ledger_epoch, crake_ledger_gap,
    crake_ledger_init, crake_ledger_next_read_by, crake_ledger_total,
};
pub use memory::{
    BOARD_WORDS, Board, LEDGER_WORDS, Ledger, MONITOR_WORDS, Monitor, STATION_WORDS, Station,
    WATCHES_WORDS, Watches,
};
pub use monitor::{
    Config, crake_attach, crake_configure, crake_declare_powered, crake_init, crake_joint,
    crake_latch, crake_longest_us, crake_monitor_init,
};
pub use proof::{Proof, crake_alert_response, crake_prove};
pub use setup::{Ranges, Setup};
pub use station::{
    Event, crake_station_arm, crake_station_init, crake_station_latch, crake_station_look,
    crake_station_lost, crake_station_next_event, crake_station_rearm, crake_station_service,
};
pub use watch::{WATCHES_MAX, Watch, crake_watches_init};
pub use wide::{Wide, crake_wide_divided};

/// Rails of a board, channels of the part.
pub const CRAKE_RAILS: usize = 4;
