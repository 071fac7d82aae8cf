//! Numbers to numbers: factors of one multiply and constant shift, the way back by search, and
//! exact fractions for what adds up over months. What the numbers mean stands in
//! [`board`](crate::board).

mod divide;
mod factor;
mod search;
mod wide;

pub(crate) use divide::{divide, divided, divided_up, root, times};
pub use factor::{CurrentFactor, PowerFactor};
pub(crate) use factor::{
    corrected, product, product_by_short, product_unsigned, product_wide, scaled,
};
pub(crate) use search::first_where;
pub use search::{code_at_least, code_at_most};
pub(crate) use wide::{Words, long_factor, long_product, scaled_wide, share};
