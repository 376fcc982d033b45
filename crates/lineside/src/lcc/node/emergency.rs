//! Stopping everything at once (Event Identifiers, 22 July 2024, well-known events that are routed everywhere).

use super::{Node, Turn};
use crate::lcc::EventId;
use crate::news::{Meaning, Told};

/// All outputs off, all trains stopped; and that these are over.
const OFF: EventId = 0x0100_0000_0000_FFFF;
const OFF_IS_OVER: EventId = 0x0100_0000_0000_FFFE;
const STOP: EventId = 0x0100_0000_0000_FFFD;
const STOP_IS_OVER: EventId = 0x0100_0000_0000_FFFC;

impl Node {
    /// Somebody on the bus stops everything, or says that this is over: then nodes of trains run on as they were last told (Train
    /// Control, section 6.2), so that by then they must have been told to stand.
    pub(super) fn hear_emergency(&self, event: EventId, turn: &mut Turn) -> Option<Meaning> {
        let says = match event {
            OFF => "everything is to be off",
            STOP => "everything is to stand",
            OFF_IS_OVER | STOP_IS_OVER => "that is over",
            _ => return None,
        };
        turn.told.push(match event {
            OFF | STOP => Told::Stop(format!("somebody on the bus says that {says}")),
            _ => Told::Say("the emergency on the bus is over: trains stand until a person lets them go on".to_owned()),
        });
        Some(Meaning::Known { name: "emergency".to_owned(), says: says.to_owned() })
    }
}
