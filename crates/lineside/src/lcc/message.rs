//! What nodes say (Message Network, Event Transport, Train Control), and in which frames (CAN Frame Transfer, section 7).

use std::collections::BTreeMap;

use super::frame::Frame;
use super::{EventId, NodeId};

/// What kind of message it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Mti(pub u16);

impl Mti {
    /// A node is there.
    pub const INITIALIZED: Self = Self(0x0100);
    /// As above, of a node that knows only some messages.
    pub const INITIALIZED_SIMPLE: Self = Self(0x0101);
    /// Who is there? To one node.
    pub const VERIFY: Self = Self(0x0488);
    /// Who is there? To all.
    pub const VERIFY_ALL: Self = Self(0x0490);
    /// I am.
    pub const VERIFIED: Self = Self(0x0170);
    /// As above, of a node that knows only some messages.
    pub const VERIFIED_SIMPLE: Self = Self(0x0171);
    /// That is not known here.
    pub const REJECTED: Self = Self(0x0068);
    /// What do you know?
    pub const SUPPORT_INQUIRY: Self = Self(0x0828);
    /// This.
    pub const SUPPORT_REPLY: Self = Self(0x0668);
    /// An event happens.
    pub const EVENT: Self = Self(0x05B4);
    /// Who hears this event?
    pub const IDENTIFY_CONSUMER: Self = Self(0x08F4);
    /// I do, and do not know whether what it says is so.
    pub const CONSUMER_UNKNOWN: Self = Self(0x04C7);
    /// I do, and it is so.
    pub const CONSUMER_VALID: Self = Self(0x04C4);
    /// I do, and it is not so.
    pub const CONSUMER_INVALID: Self = Self(0x04C5);
    /// I hear all events of a range.
    pub const CONSUMER_RANGE: Self = Self(0x04A4);
    /// Who tells this event?
    pub const IDENTIFY_PRODUCER: Self = Self(0x0914);
    /// I do, and it is so.
    pub const PRODUCER_VALID: Self = Self(0x0544);
    /// I do, and it is not so.
    pub const PRODUCER_INVALID: Self = Self(0x0545);
    /// I do, and do not know whether it is so.
    pub const PRODUCER_UNKNOWN: Self = Self(0x0547);
    /// I tell all events of a range.
    pub const PRODUCER_RANGE: Self = Self(0x0524);
    /// Which events do you all know?
    pub const IDENTIFY_EVENTS: Self = Self(0x0970);
    /// Which do you know?
    pub const IDENTIFY_EVENTS_OF: Self = Self(0x0968);
    /// Something for a train.
    pub const TRAIN: Self = Self(0x05EB);
    /// Something from a train.
    pub const TRAIN_REPLY: Self = Self(0x01E9);
    /// An event with more to say: the first frame, those between, the last one.
    pub const EVENT_FIRST: Self = Self(0x0F16);
    /// As above.
    pub const EVENT_MIDDLE: Self = Self(0x0F15);
    /// As above.
    pub const EVENT_LAST: Self = Self(0x0F14);

    /// Whether it is for one node.
    pub fn is_addressed(self) -> bool {
        self.0 & 0x0008 != 0
    }

    /// Whether it carries an event.
    pub fn has_event(self) -> bool {
        self.0 & 0x0004 != 0
    }
}

/// What is said, by whom, and to whom.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// The alias of who says it.
    pub source: u16,
    /// The alias of who is meant, where it is one node.
    pub to: Option<u16>,
    /// What it is.
    pub body: Body,
}

/// What is said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Body {
    /// A message with what it holds; of one with an event the event leads.
    Said(Mti, Vec<u8>),
    /// A datagram.
    Datagram(Vec<u8>),
}

/// A datagram holds 72 bytes (Datagram Transport, section 3).
const LONGEST: usize = 72;
/// The longest of all: an event with 256 bytes more (Event Transport, section 4.3; from memory).
const LONGEST_EVENT: usize = 8 + 256;
/// So many messages may be half said at once.
const HALF_SAID: usize = 64;
/// Header bits of every frame with a message: the reserved one and that one.
const MESSAGE: u32 = 0x1800_0000;
/// The frame format of messages that are neither datagrams nor streams.
const PLAIN: u32 = 0x0100_0000;

impl Message {
    /// A message with an event.
    pub fn event(source: u16, mti: Mti, event: EventId) -> Self {
        Self { source, to: None, body: Body::Said(mti, event.to_be_bytes().to_vec()) }
    }

    /// A message with the id of a node.
    pub fn node(source: u16, mti: Mti, node: NodeId) -> Self {
        Self { source, to: None, body: Body::Said(mti, node.to_be_bytes()[2..].to_vec()) }
    }

    /// A message to one node.
    pub fn to(source: u16, to: u16, mti: Mti, data: &[u8]) -> Self {
        Self { source, to: Some(to), body: Body::Said(mti, data.to_vec()) }
    }

    /// The event that it carries.
    pub fn event_id(&self) -> Option<EventId> {
        match &self.body {
            Body::Said(mti, data) if mti.has_event() => data.first_chunk().map(|bytes| EventId::from_be_bytes(*bytes)),
            _ => None,
        }
    }

    /// The id of a node in its first six bytes.
    pub fn node_id(&self) -> Option<NodeId> {
        let Body::Said(_, data) = &self.body else { return None };
        let bytes: &[u8; 6] = data.first_chunk()?;
        Some(bytes.iter().fold(0, |id, &byte| id << 8 | u64::from(byte)))
    }

    /// The frames in which it is said; none where it is too long.
    pub fn frames(&self) -> Vec<Frame> {
        let source = u32::from(self.source & 0xFFF);
        match (&self.body, self.to) {
            (Body::Said(mti, data), None) => {
                Frame::new(MESSAGE | PLAIN | u32::from(mti.0 & 0xFFF) << 12 | source, data).into_iter().collect()
            }
            (Body::Said(mti, data), Some(to)) => {
                let header = MESSAGE | PLAIN | u32::from(mti.0 & 0xFFF) << 12 | source;
                let pieces: Vec<&[u8]> = if data.is_empty() { vec![&[]] } else { data.chunks(6).collect() };
                let last = pieces.len() - 1;
                let with_head = |(place, piece): (usize, &&[u8])| {
                    let flags: u8 = match (place == 0, place == last) {
                        (true, true) => 0b00,
                        (true, false) => 0b01,
                        (false, true) => 0b10,
                        (false, false) => 0b11,
                    };
                    let [high, low] = (to & 0xFFF).to_be_bytes();
                    Frame::new(header, &[&[flags << 4 | high, low], *piece].concat())
                };
                pieces.iter().enumerate().filter_map(with_head).collect()
            }
            (Body::Datagram(data), Some(to)) if data.len() <= LONGEST => {
                let pieces: Vec<&[u8]> = if data.is_empty() { vec![&[]] } else { data.chunks(8).collect() };
                let last = pieces.len() - 1;
                let framed = |(place, piece): (usize, &&[u8])| {
                    let format: u32 = match (place == 0, place == last) {
                        (true, true) => 2,
                        (true, false) => 3,
                        (false, false) => 4,
                        (false, true) => 5,
                    };
                    Frame::new(MESSAGE | format << 24 | u32::from(to & 0xFFF) << 12 | source, piece)
                };
                pieces.iter().enumerate().filter_map(framed).collect()
            }
            (Body::Datagram(_), _) => Vec::new(),
        }
    }
}

/// Puts messages together that come in several frames.
#[derive(Debug, Default)]
pub struct Assembly {
    half_said: BTreeMap<(u16, u16, u16), Vec<u8>>,
}

/// Which of several frames one is.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Part {
    Only,
    First,
    Middle,
    Last,
}

impl Assembly {
    /// Takes in a frame; gives the message that it completes. Frames out of their order are passed over.
    pub fn hear(&mut self, frame: &Frame) -> Option<Message> {
        if !frame.is_message() {
            return None;
        }
        let (source, field, data) = (frame.source(), frame.content() & 0xFFF, frame.data());
        match frame.content() >> 12 {
            1 if Mti(field).is_addressed() && Mti(field).0 & 0x1000 == 0 => {
                let (&[high, low], rest) = data.split_first_chunk::<2>()?;
                let to = u16::from(high & 0x0F) << 8 | u16::from(low);
                let part = match high >> 4 & 0b11 {
                    0b00 => Part::Only,
                    0b01 => Part::First,
                    0b10 => Part::Last,
                    _ => Part::Middle,
                };
                let whole = self.add((source, to, field), part, rest)?;
                Some(Message { source, to: Some(to), body: Body::Said(Mti(field), whole) })
            }
            1 => {
                let mti = Mti(field);
                let part = match mti {
                    Mti::EVENT_FIRST => Part::First,
                    Mti::EVENT_MIDDLE => Part::Middle,
                    Mti::EVENT_LAST => Part::Last,
                    _ => Part::Only,
                };
                let key = (source, 0, Mti::EVENT_LAST.0);
                let whole = if part == Part::Only { data.to_vec() } else { self.add(key, part, data)? };
                let mti = if part == Part::Only { mti } else { Mti::EVENT_LAST };
                Some(Message { source, to: None, body: Body::Said(mti, whole) })
            }
            format @ 2..=5 => {
                let part = [Part::Only, Part::First, Part::Middle, Part::Last][usize::from(format - 2)];
                let whole = self.add((source, field, 0), part, data)?;
                Some(Message { source, to: Some(field), body: Body::Datagram(whole) })
            }
            _ => None,
        }
    }

    /// Whoever had this alias has it no more: what they had half said is nothing.
    pub fn forget(&mut self, source: u16) {
        self.half_said.retain(|(who, ..), _| *who != source);
    }

    fn add(&mut self, key: (u16, u16, u16), part: Part, data: &[u8]) -> Option<Vec<u8>> {
        match part {
            Part::Only => Some(data.to_vec()),
            Part::First => {
                // Somebody who begins without ending must not fill the memory.
                if self.half_said.len() < HALF_SAID || self.half_said.contains_key(&key) {
                    self.half_said.insert(key, data.to_vec());
                }
                None
            }
            Part::Middle | Part::Last => {
                let mut begun = self.half_said.remove(&key)?;
                begun.extend_from_slice(data);
                if begun.len() > LONGEST_EVENT {
                    return None;
                }
                if part == Part::Last {
                    return Some(begun);
                }
                self.half_said.insert(key, begun);
                None
            }
        }
    }
}
