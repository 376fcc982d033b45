//! Taking an alias, and defending it (CAN Frame Transfer, section 6.2).

use std::time::Duration;

use super::{ANSWERS, Node, OBJECTIONS, State, Turn};
use crate::lcc::NodeId;
use crate::lcc::frame::Frame;
use crate::lcc::message::{Message, Mti};
use crate::news::Told;

/// Control frames, by their content.
const RID: u16 = 0x0700;
const AMD: u16 = 0x0701;
const AME: u16 = 0x0702;
const AMR: u16 = 0x0703;
/// The reserved bit, which is always sent as 1.
const RESERVED: u32 = 0x1000_0000;
/// Two nodes with one id.
const DUPLICATE: u64 = 0x0101_0000_0000_0201;

fn control(content: u16, alias: u16, data: &[u8]) -> Option<Frame> {
    Frame::new(RESERVED | u32::from(content) << 12 | u32::from(alias), data)
}

fn bytes_of(id: NodeId) -> [u8; 6] {
    let [_, _, rest @ ..] = id.to_be_bytes();
    rest
}

fn id_of(data: &[u8]) -> Option<NodeId> {
    let bytes: &[u8; 6] = data.first_chunk()?;
    Some(bytes.iter().fold(0, |id, &byte| id << 8 | u64::from(byte)))
}

impl Node {
    /// Asks four times whether somebody has the next alias.
    pub(super) fn try_alias(&mut self, now: Duration, turn: &mut Turn) {
        let alias = self.aliases.next_alias();
        for (place, shift) in [(7u16, 36), (6, 24), (5, 12), (4, 0)] {
            let part = (self.id >> shift & 0xFFF) as u16;
            turn.send.extend(control(place << 12 | part, alias, &[]));
        }
        self.state = State::Inhibited { alias, until: now + OBJECTIONS };
    }

    /// Nobody objected: the alias is ours. We say who we are and what we know, and ask how everything is.
    pub(super) fn take_alias(&mut self, now: Duration, alias: u16, turn: &mut Turn) {
        self.state = State::Permitted { alias };
        turn.send.extend(control(RID, alias, &[]));
        turn.send.extend(control(AMD, alias, &bytes_of(self.id)));
        turn.say(&Message::node(alias, Mti::INITIALIZED, self.id));
        self.identify_all(turn);
        turn.told.push(Told::Here);
        self.ask(turn);
        turn.send.extend(control(AME, alias, &[]));
        self.doubts_at = Some(now + ANSWERS);
        self.looks_at = now;
        for output in std::mem::take(&mut self.waiting) {
            let more = self.order(&output);
            turn.send.extend(more.send);
        }
    }

    /// Looks after aliases in a frame, whatever else it says; tells whether anything else is to be made of it.
    pub(super) fn mind_alias(&mut self, now: Duration, frame: &Frame, turn: &mut Turn) -> bool {
        let source = frame.source();
        let is_question = !frame.is_message() && (0x4000..=0x7FFF).contains(&frame.content());
        match self.state {
            State::Inhibited { alias, .. } if source == alias => {
                self.try_alias(now, turn);
                return false;
            }
            State::Permitted { alias } if source == alias => {
                if is_question {
                    turn.send.extend(control(RID, alias, &[]));
                } else {
                    turn.send.extend(control(AMR, alias, &bytes_of(self.id)));
                    self.controlled.clear();
                    self.try_alias(now, turn);
                }
                return false;
            }
            _ => {}
        }
        if frame.is_message() {
            return true;
        }
        let named = id_of(frame.data());
        match (frame.content(), self.alias()) {
            (AMD, alias) => {
                if let (Some(alias), true) = (alias, named == Some(self.id)) {
                    turn.say(&Message::event(alias, Mti::EVENT, DUPLICATE));
                    turn.told.push(Told::Say("another node on the bus has our node id".to_owned()));
                } else if let Some(node) = named {
                    self.met(node, source, turn);
                }
            }
            (AMR, _) => {
                self.assembly.forget(source);
                self.nodes.retain(|_, alias| *alias != source);
            }
            (AME, Some(alias)) if named.is_none() || named == Some(self.id) => {
                turn.send.extend(control(AMD, alias, &bytes_of(self.id)));
            }
            _ => {}
        }
        true
    }
}
