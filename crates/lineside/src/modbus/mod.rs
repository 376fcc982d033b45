//! Links to servers of coils and registers (Modbus application protocol 1.1b3), over TCP or a serial line.
//!
//! Such servers say nothing by themselves: [`Plan`] says what is asked for next, and when, so that the line is in use for no
//! more than its share of the time. The shell keeps the line.

mod mirror;
mod plan;
mod shell;
mod trust;

pub use mirror::Mirror;
pub use plan::{Ask, Next, Plan};
pub(crate) use shell::serve;
