//! Links to a bus of nodes that speak of events (NMRA S-9.7, adopted texts of 22 July 2024).
//!
//! [`Frame`] is what goes over a CAN bus, and as text over TCP; [`Message`] what nodes say in one or several frames; [`Node`] is
//! ours: it takes an alias and defends it, asks how everything is that is reported by events, answers what nodes must answer,
//! and drives trains, whose nodes it finds by the addresses of their decoders where it has to (Train Search). Whoever stops
//! everything on the bus makes every train stand. Datagrams are refused as the standard asks, so that nobody waits for an answer; of
//! streams, of what nodes are set to, of clocks and of the drafts, but for the one on detection, it knows nothing. Where somebody is
//! on the bus who does not keep to the standard in something harmless, that is passed over: nodes that take an alias without asking
//! for it are heard all the same.

mod alias;
mod can;
mod float16;
mod frame;
mod message;
mod mirror;
mod node;
mod shell;

pub use alias::Aliases;
pub use float16::{from_float16, to_float16};
pub use frame::{Frame, Frames};
pub use message::{Assembly, Body, Message, Mti};
pub use mirror::{Heard, Mirror};
pub use node::{Events, Node};
pub(crate) use shell::serve;

use track::{Facing, Layout, TrainId};

/// The id of a node: six bytes.
pub type NodeId = u64;
/// The id of an event: eight bytes.
pub type EventId = u64;

/// `05.01.01.01.8C.00.00.07`.
pub(crate) fn dotted(id: u64, count: usize) -> String {
    let bytes: Vec<String> = id.to_be_bytes()[8 - count..].iter().map(|byte| format!("{byte:02X}")).collect();
    bytes.join(".")
}

/// How what each node of a train drives stands in it: as its decoders do, or ahead where one node stands for all of them.
fn facings(layout: &Layout, train: TrainId, nodes: usize) -> Vec<Facing> {
    let decoders = layout.trains.get(train).into_iter().flat_map(track::Train::decoders);
    let facings: Vec<Facing> = decoders.map(|(_, facing)| facing).collect();
    if facings.len() == nodes { facings } else { vec![Facing::Ahead; nodes] }
}
