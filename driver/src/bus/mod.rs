//! A bus and a delay as operations see them: registers read and written, verified, repeated so
//! often.
//!
//! Operations are `async` by nature. A blocking bus is one whose futures are ready at once; what
//! runs on it comes to its end in one poll.

mod asynch;
mod blocking;
mod dry;
mod fault;
mod link;
mod port;
mod register;
mod target;
mod traffic;
mod wire;

pub use asynch::Async;
pub use blocking::Blocking;
pub(crate) use blocking::{Done, at_once, poll_once};
pub(crate) use dry::Dry;
pub use fault::Fault;
pub use link::Link;
pub use port::Port;
pub use register::{Access, Register};
pub use target::Target;
pub use traffic::Traffic;
pub use wire::Wire;
