//! The built program, from the outside.

mod bad_input;
mod contract;
mod day;
mod encrypted;
pub(crate) mod killed;
mod run;
#[cfg(unix)]
mod service;
