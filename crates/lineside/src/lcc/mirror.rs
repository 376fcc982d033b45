//! The other side of a bus: what its nodes say and do, for a pretend table that stands in for them.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use signaller::{Direction, Input, Output};
use track::wiring::{At, Lcc, LccAt, Mark, Thing, WiredLink};
use track::{Address, Facing, Layout, TrainId};

use super::frame::Frame;
use super::message::{Assembly, Body, Message, Mti};
use super::{Aliases, EventId, NodeId, from_float16};
use crate::motion::as_seen;
use crate::reading::{mark_of, order_of};

/// How long after the four questions an alias is taken (CAN Frame Transfer, section 6.2.1).
const OBJECTIONS: Duration = Duration::from_millis(200);
/// How often controllers are asked whether they are still there.
const BEATS: Duration = Duration::from_secs(1);
/// Within so many seconds they are to answer.
const PATIENCE_S: u8 = 3;
/// A mile an hour in metres a second, of which nodes for DCC decoders make one of 126 steps each.
const MPH: f64 = 0.447_04;

/// The id of the node that stands for a decoder (Unique Identifiers, section 5.8).
fn node_of(address: Address) -> NodeId {
    match address {
        Address::Short(number) => 0x0601_0000_0000 | u64::from(number),
        Address::Long(number) => 0x0601_0000_C000 | u64::from(number),
    }
}

/// One node there: the one that reports, or one of a train.
#[derive(Debug)]
struct Player {
    id: NodeId,
    alias: u16,
    train: Option<(TrainId, Facing)>,
    /// The event by which it is found.
    search: Option<EventId>,
    controller: Option<u16>,
}

/// What comes of something that was heard.
#[derive(Debug, Default)]
pub struct Heard {
    /// Frames to send.
    pub send: Vec<Frame>,
    /// What is ordered.
    pub orders: Vec<Output>,
    /// Somebody has come.
    pub has_come: bool,
}

/// The nodes on the bus of a link. What reports everything is a node with the first six bytes of its first event as its id, or
/// the next one where that is the daemon's own.
#[derive(Debug)]
pub struct Mirror {
    layout: Arc<Layout>,
    reports: BTreeMap<(Thing, Mark), EventId>,
    orders: BTreeMap<EventId, Output>,
    players: Vec<Player>,
    assembly: Assembly,
    until: Option<Duration>,
    beats_at: Duration,
}

impl Mirror {
    /// The nodes of a link.
    pub fn new(layout: Arc<Layout>, wired: &WiredLink, setup: &Lcc) -> Self {
        let (mut reports, mut orders, mut trains) = (BTreeMap::new(), BTreeMap::new(), Vec::new());
        for carried in &wired.carries {
            match (&carried.at, carried.thing) {
                (At::Lcc(LccAt::Marks { hears, tells }), thing) => {
                    reports.extend(hears.iter().map(|&(mark, event)| ((thing, mark), event)));
                    orders.extend(tells.iter().filter_map(|&(mark, event)| Some((event, order_of(thing, mark)?))));
                }
                (At::Lcc(LccAt::Aspects(aspects)), Thing::Signal(signal)) => {
                    let book = layout.book_of(signal);
                    let shown = |(name, event): &(String, u64)| {
                        Some((*event, Output::Show { signal, aspect: book.named(name)? }))
                    };
                    orders.extend(aspects.iter().filter_map(shown));
                }
                (At::Lcc(LccAt::Train(nodes)), Thing::Train(train)) => {
                    let facings = super::facings(&layout, train, nodes.len());
                    let nodes = nodes.iter().zip(facings);
                    trains.extend(nodes.map(|(&node, facing)| (node, Some((train, facing)), None)));
                }
                (At::Lcc(LccAt::Searched(searches)), Thing::Train(train)) => {
                    let decoders = layout.trains[train].decoders().zip(searches);
                    let found = |((address, facing), &search): ((Address, Facing), &EventId)| {
                        (node_of(address), Some((train, facing)), Some(search))
                    };
                    trains.extend(decoders.map(found));
                }
                _ => {}
            }
        }
        let first = reports.values().next().map_or(setup.node, |event| event >> 16);
        let own = if first == setup.node { first + 1 } else { first };
        let players = std::iter::once((own, None, None)).chain(trains);
        let players = players.map(|(id, train, search)| {
            let alias = Aliases::of(id).next_alias();
            Player { id, alias, train, search, controller: None }
        });
        Self {
            reports,
            orders,
            players: players.collect(),
            layout,
            assembly: Assembly::default(),
            until: None,
            beats_at: Duration::ZERO,
        }
    }

    /// Somebody is there to speak to: every node asks for its alias.
    pub fn begin(&mut self, now: Duration) -> Vec<Frame> {
        self.assembly = Assembly::default();
        self.until = Some(now + OBJECTIONS);
        let mut frames = Vec::new();
        for player in &mut self.players {
            player.controller = None;
            frames.extend([(7u32, 36), (6, 24), (5, 12), (4, 0)].into_iter().filter_map(|(place, shift)| {
                let part = (player.id >> shift & 0xFFF) as u32;
                Frame::new(0x1000_0000 | place << 24 | part << 12 | u32::from(player.alias), &[])
            }));
        }
        frames
    }

    /// Time passes.
    pub fn tick(&mut self, now: Duration) -> Vec<Frame> {
        let mut frames = Vec::new();
        if self.until.is_some_and(|until| now >= until) {
            self.until = None;
            for player in &self.players {
                let id = &player.id.to_be_bytes()[2..];
                let control =
                    |content: u32, data: &[u8]| Frame::new(0x1000_0000 | content << 12 | u32::from(player.alias), data);
                frames.extend(control(0x0700, &[]));
                frames.extend(control(0x0701, id));
                frames.extend(Message::node(player.alias, Mti::INITIALIZED, player.id).frames());
            }
        }
        if now >= self.beats_at {
            self.beats_at = now + BEATS;
            for player in &self.players {
                let Some(to) = player.controller else { continue };
                frames.extend(Message::to(player.alias, to, Mti::TRAIN_REPLY, &[0x40, 0x03, PATIENCE_S]).frames());
            }
        }
        frames
    }

    /// Whether somebody drives a train, and is asked again and again whether they are still there.
    pub fn is_controlled(&self) -> bool {
        self.players.iter().any(|player| player.controller.is_some())
    }

    /// The event by which something is reported; nothing where it is not of this link, or nobody may speak yet.
    pub fn report(&self, input: &Input) -> Option<Frame> {
        let event = *self.reports.get(&mark_of(input)?).filter(|_| self.until.is_none())?;
        Message::event(self.players.first()?.alias, Mti::EVENT, event).frames().pop()
    }

    /// A frame came; `states` are how everything is.
    pub fn hear(&mut self, frame: &Frame, states: &BTreeMap<Thing, Input>) -> Heard {
        let mut heard = Heard::default();
        let Some(message) = self.assembly.hear(frame) else { return heard };
        let Body::Said(mti, data) = &message.body else { return heard };
        heard.has_come = *mti == Mti::INITIALIZED;
        // Without an alias nobody may answer; who then says that they are there is asked again.
        if self.until.is_some() {
            return heard;
        }
        match *mti {
            Mti::EVENT => heard.orders.extend(message.event_id().and_then(|event| self.orders.get(&event).cloned())),
            Mti::IDENTIFY_PRODUCER => {
                let answer =
                    message.event_id().and_then(|event| self.identify(event, states).or_else(|| self.find(event)));
                heard.send.extend(answer.into_iter().flat_map(|answer| answer.frames()));
            }
            Mti::VERIFY_ALL => {
                let meant = message.node_id();
                let asked = self.players.iter().filter(|player| meant.is_none_or(|meant| meant == player.id));
                heard.send.extend(asked.flat_map(|one| Message::node(one.alias, Mti::VERIFIED, one.id).frames()));
            }
            Mti::VERIFY => {
                let asked = self.players.iter().find(|player| message.to == Some(player.alias));
                let answer = asked.map(|one| Message::node(one.alias, Mti::VERIFIED, one.id));
                heard.send.extend(answer.into_iter().flat_map(|answer| answer.frames()));
            }
            Mti::TRAIN => self.obey(&message, data, &mut heard),
            _ => {}
        }
        heard
    }

    /// Whether what an event tells is so.
    fn identify(&self, event: EventId, states: &BTreeMap<Thing, Input>) -> Option<Message> {
        let (thing, mark) = self.reports.iter().find(|(_, own)| **own == event).map(|(&what, _)| what)?;
        let mti = match states.get(&thing).and_then(mark_of) {
            Some((_, is)) if is == mark => Mti::PRODUCER_VALID,
            Some(_) => Mti::PRODUCER_INVALID,
            None => Mti::PRODUCER_UNKNOWN,
        };
        Some(Message::event(self.players.first()?.alias, mti, event))
    }

    /// The node of a train that is searched for: it is there, or has just been made.
    fn find(&self, event: EventId) -> Option<Message> {
        let player = self.players.iter().find(|player| player.search == Some(event))?;
        Some(Message::event(player.alias, Mti::PRODUCER_VALID, event))
    }

    /// Something is said to a train.
    fn obey(&mut self, message: &Message, data: &[u8], heard: &mut Heard) {
        let found = self.players.iter_mut().find(|player| message.to == Some(player.alias));
        let Some(player) = found else { return };
        let Some((train, facing)) = player.train else { return };
        match *data {
            [0x00, high, low] => {
                let bits = u16::from_be_bytes([high, low]);
                let highest = self.layout.trains[train].speed_steps.highest();
                let step = from_float16(bits).map_or(0.0, |speed| speed.abs() / MPH * f64::from(highest) / 126.0);
                let seen = if bits & 0x8000 == 0 { Direction::Forward } else { Direction::Backward };
                let step = (step.round() as u8).min(highest);
                heard.orders.push(Output::Drive { train, direction: as_seen(seen, facing), step });
            }
            [0x01, 0, 0, number, high, low] => {
                heard.orders.push(Output::Function { train, number, on: (high, low) != (0, 0) });
            }
            [0x02] => heard.orders.push(Output::EmergencyStop { train }),
            [0x20, 0x01, ..] => {
                player.controller = Some(message.source);
                let agreed = Message::to(player.alias, message.source, Mti::TRAIN_REPLY, &[0x20, 0x01, 0x00]);
                heard.send.extend(agreed.frames());
            }
            _ => {}
        }
    }
}
