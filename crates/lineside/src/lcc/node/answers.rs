//! What a node must answer.

use super::{Node, Turn};
use crate::lcc::message::{Body, Message, Mti};

/// What we know: events (Message Network, section 3.3.7).
const SUPPORTED: [u8; 3] = [0x04, 0x00, 0x00];
/// A datagram is not wanted (Datagram Transport, section 4.3).
const DATAGRAM_REJECTED: Mti = Mti(0x0A48);
/// A message, or datagrams, are not known here (Message Network, section 3.5.5).
const UNKNOWN_MESSAGE: [u8; 2] = [0x10, 0x43];
/// Answers, to which nobody answers.
const ANSWERS: [Mti; 6] =
    [Mti::REJECTED, Mti(0x00A8), Mti::SUPPORT_REPLY, Mti::TRAIN_REPLY, Mti(0x0A28), DATAGRAM_REJECTED];

impl Node {
    /// Says which events we hear and tell.
    pub(super) fn identify_all(&self, turn: &mut Turn) {
        let Some(alias) = self.alias() else { return };
        for &event in self.events.hears.keys() {
            turn.say(&Message::event(alias, Mti::CONSUMER_UNKNOWN, event));
        }
        for event in self.events.told() {
            turn.say(&Message::event(alias, self.produces(event), event));
        }
    }

    /// Whether what an event of ours tells is so.
    fn produces(&self, event: u64) -> Mti {
        for (signal, aspects) in &self.events.aspects {
            let Some(&aspect) = self.signals.get(signal) else { continue };
            let name = self.events.layout.book_of(*signal).name(aspect).unwrap_or_default();
            if let Some((own, _)) = aspects.iter().find(|(_, own)| *own == event) {
                return if own == name { Mti::PRODUCER_VALID } else { Mti::PRODUCER_INVALID };
            }
        }
        Mti::PRODUCER_UNKNOWN
    }

    /// Answers what is asked of all, or of us.
    pub(super) fn answer(&mut self, message: &Message, turn: &mut Turn) {
        let Some(alias) = self.alias() else { return };
        if message.to.is_some_and(|to| to != alias) {
            return;
        }
        let (mti, data) = match &message.body {
            Body::Datagram(_) => {
                turn.say(&Message::to(alias, message.source, DATAGRAM_REJECTED, &UNKNOWN_MESSAGE));
                return;
            }
            Body::Said(mti, data) => (*mti, data),
        };
        match mti {
            Mti::VERIFY_ALL if !data.is_empty() && message.node_id() != Some(self.id) => {}
            Mti::VERIFY_ALL | Mti::VERIFY => turn.say(&Message::node(alias, Mti::VERIFIED, self.id)),
            Mti::IDENTIFY_EVENTS | Mti::IDENTIFY_EVENTS_OF => self.identify_all(turn),
            Mti::IDENTIFY_CONSUMER => {
                let event = message.event_id().filter(|event| self.events.hears.contains_key(event));
                if let Some(event) = event {
                    turn.say(&Message::event(alias, Mti::CONSUMER_UNKNOWN, event));
                }
            }
            Mti::IDENTIFY_PRODUCER => {
                let event = message.event_id().filter(|&event| self.events.told().any(|own| own == event));
                if let Some(event) = event {
                    turn.say(&Message::event(alias, self.produces(event), event));
                }
            }
            Mti::SUPPORT_INQUIRY => turn.say(&Message::to(alias, message.source, Mti::SUPPORT_REPLY, &SUPPORTED)),
            Mti::TRAIN_REPLY => self.hear_train(message.source, data, turn),
            other if message.to.is_some() && !ANSWERS.contains(&other) => {
                let [high, low] = other.0.to_be_bytes();
                let why = [&UNKNOWN_MESSAGE[..], &[high, low]].concat();
                turn.say(&Message::to(alias, message.source, Mti::REJECTED, &why));
            }
            _ => {}
        }
    }
}
