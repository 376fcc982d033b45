//! Real hardware through open standards.
//!
//! Each kind of link is a **codec**, which makes messages of bytes and bytes of messages, knows no clock, socket or task and
//! keeps no secrets, and around it a thin **shell**, which does the waiting. What is heard becomes [`signaller::Input`]s, what
//! is ordered comes as [`signaller::Output`]s, so that nothing else in the house knows of topics, events or registers.
//!
//! What holds for every link: it has a state that is told ([`What::Up`], [`What::Down`]); when it is lost, nothing is known of
//! what it carries until it is back *and* everything has been reported anew: it asks, it does not assume. It comes back by
//! itself, trying less and less often. It never repeats an order to throw a turnout: what was safe then may not be safe now.
//! And where the loop that drives the trains hangs, its links tell the trains to stand.
//!
//! Read [`Lineside`] first, then [`mqtt::Codec`].

pub mod adapter;
mod backoff;
mod behind;
mod bits;
pub mod dcc;
#[cfg(test)]
mod described;
mod desired;
pub mod gpio;
pub mod health;
pub mod lcc;
mod lineside;
pub mod modbus;
mod motion;
pub mod mqtt;
mod news;
mod pulse;
pub mod railcom;
mod reading;
mod reporter;
mod rewire;
mod stream;
mod words;

pub use behind::{Behind, Ordered};
pub use desired::Desired;
pub use lineside::{Lineside, Role};
pub use news::{Meaning, News, Overheard, Told, What};
pub use pulse::Pulse;
pub use rewire::Rewired;
