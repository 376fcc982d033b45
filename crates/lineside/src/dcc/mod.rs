//! Packets for the track, in the order they are to be sent (NMRA S-9.2, July 2004; S-9.2.1, July 2012).
//!
//! [`Scheduler`] says which packet comes next; [`Packets`] feeds it with what is ordered. What the bytes of a packet mean is in
//! [`track::dcc`].

mod bits;
mod packets;
mod scheduler;

pub use bits::{bits_of, duration_us};
pub use packets::Packets;
pub use scheduler::Scheduler;
