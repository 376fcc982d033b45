//! Links to pins of this computer (the GPIO character device of Linux).
//!
//! [`Pins`] is what the shell needs of a chip, so that it can be tried without one.

mod shell;

#[cfg(target_os = "linux")]
mod chip;

pub(crate) use shell::serve;
pub use shell::{Change, Pins};
