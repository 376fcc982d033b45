//! Links over MQTT (OASIS standards 3.1.1 and 5.0): topics and payloads, through a broker.
//!
//! [`Codec`] knows what topics and payloads mean; the shell keeps the connection.

mod codec;
mod mirror;
mod payload;
mod shell;
mod trains;

pub use codec::{Codec, Message, Publish};
pub use mirror::Mirror;
pub(crate) use shell::serve;
pub use shell::{Client, Event, Failure};
