//! The built program, from the outside.

mod bad_input;
mod run;
