//! Numbers on their way: codes to quantities and back, and the check values around them.

mod check_bytes;
mod codes;
