//! Our node on the bus.

mod aliases;
mod answers;
mod emergency;
mod events;
mod search;
mod silence;
mod trains;

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use signaller::{Aspect, Direction, Output};
use track::wiring::{Mark, Thing};
use track::{SignalId, TrainId};

use super::frame::Frame;
use super::message::{Assembly, Body, Message, Mti};
use super::{Aliases, EventId, NodeId, dotted};
use crate::motion::{Motion, Motions};
use crate::news::{Meaning, Overheard, Told};
use crate::reading::{input_of, mark_ordered, read_by, title};

pub use events::Events;
use events::is_in_range;

/// How long after the four questions an alias is taken where nobody objects (CAN Frame Transfer, section 6.2.1).
const OBJECTIONS: Duration = Duration::from_millis(200);
/// How long after everything was asked it is said which events nobody tells.
const ANSWERS: Duration = Duration::from_secs(3);
/// How often trains are looked for that have not answered.
const LOOKED_FOR: Duration = Duration::from_secs(2);
/// So many different nodes are known by their aliases at most: there are no more.
const MOST_NODES: usize = 4096;

/// What comes of something that was heard or ordered.
#[derive(Debug, Default)]
pub struct Turn {
    /// Frames to send.
    pub send: Vec<Frame>,
    /// What it means.
    pub told: Vec<Told>,
}

impl Turn {
    fn say(&mut self, message: &Message) {
        self.send.extend(message.frames());
    }
}

/// How far our node is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// It may say nothing but who it wants to be; from then on nobody has objected.
    Inhibited { alias: u16, until: Duration },
    /// It has its alias.
    Permitted { alias: u16 },
}

/// Our node.
#[derive(Debug)]
pub struct Node {
    id: NodeId,
    events: Events,
    state: State,
    aliases: Aliases,
    assembly: Assembly,
    /// Who has which alias, as far as was heard.
    nodes: BTreeMap<NodeId, u16>,
    /// Events that somebody says they tell.
    produced: BTreeSet<EventId>,
    /// When it is said which nobody does.
    doubts_at: Option<Duration>,
    looks_at: Duration,
    silence: silence::Silence,
    /// How trains shall run, and what of them is on.
    motions: Motions,
    drives: BTreeMap<TrainId, (Direction, Motion)>,
    functions: BTreeMap<(TrainId, u8), bool>,
    /// Who answered to a search, as far as it is not known yet which node that is: by alias, with what was asked.
    answered: BTreeMap<u16, EventId>,
    /// Nodes of trains that know us as their controller.
    controlled: BTreeSet<NodeId>,
    signals: BTreeMap<SignalId, Aspect>,
    /// Ordered while it had no alias.
    waiting: Vec<Output>,
    listens: bool,
}

impl Node {
    /// A node that is not on the bus yet.
    pub fn new(id: NodeId, events: Events) -> Self {
        Self {
            id,
            events,
            state: State::Inhibited { alias: 0, until: Duration::MAX },
            aliases: Aliases::of(id),
            assembly: Assembly::default(),
            nodes: BTreeMap::new(),
            produced: BTreeSet::new(),
            doubts_at: None,
            looks_at: Duration::ZERO,
            silence: silence::Silence::default(),
            motions: Motions::default(),
            drives: BTreeMap::new(),
            functions: BTreeMap::new(),
            answered: BTreeMap::new(),
            controlled: BTreeSet::new(),
            signals: BTreeMap::new(),
            waiting: Vec::new(),
            listens: false,
        }
    }

    /// The same, for somebody who wants to know of everything that comes, and says nothing.
    #[must_use]
    pub fn listening(mut self) -> Self {
        self.listens = true;
        self
    }

    /// Our alias, once we have one.
    pub fn alias(&self) -> Option<u16> {
        match self.state {
            State::Permitted { alias } => Some(alias),
            State::Inhibited { .. } => None,
        }
    }

    /// The bus is there.
    pub fn begin(&mut self, now: Duration) -> Turn {
        self.aliases = Aliases::of(self.id);
        self.assembly = Assembly::default();
        self.silence.is_broken(now);
        self.nodes.clear();
        self.answered.clear();
        self.events.forget_found();
        self.controlled.clear();
        // How everything shall be is ordered anew: what was so before the bus was lost may not be so any more.
        self.forget_orders();
        let mut turn = Turn::default();
        if self.listens {
            // Who only listens says nothing, and is nobody: a daemon on the same bus has our id.
            self.state = State::Inhibited { alias: 0, until: Duration::MAX };
            turn.told.push(Told::Here);
        } else {
            self.try_alias(now, &mut turn);
        }
        turn
    }

    /// The same events and nodes stand for things that go by other numbers. What they shall be like is to be ordered anew.
    pub(crate) fn rewire(&mut self, mut events: Events) {
        events.find_again(&self.events);
        self.events = events;
        self.forget_orders();
    }

    fn forget_orders(&mut self) {
        self.waiting.clear();
        self.motions.forget();
        self.drives.clear();
        self.functions.clear();
        self.signals.clear();
    }

    /// A frame came.
    pub fn hear(&mut self, now: Duration, frame: &Frame) -> Turn {
        let mut turn = Turn::default();
        self.silence.is_broken(now);
        if !self.mind_alias(now, frame, &mut turn) {
            return turn;
        }
        if !frame.is_message() {
            self.overheard(frame, Meaning::Housekeeping, &mut turn);
            return turn;
        }
        let Some(message) = self.assembly.hear(frame) else { return turn };
        let meaning = self.understand(&message, &mut turn);
        self.overheard(frame, meaning, &mut turn);
        turn
    }

    fn overheard(&self, frame: &Frame, meaning: Meaning, turn: &mut Turn) {
        if self.listens {
            turn.told.push(Told::Heard(Overheard { raw: frame.text(), meaning }));
        }
    }

    fn understand(&mut self, message: &Message, turn: &mut Turn) -> Meaning {
        let Body::Said(mti, _) = message.body else {
            self.answer(message, turn);
            return Meaning::Housekeeping;
        };
        match mti {
            Mti::EVENT | Mti::EVENT_LAST => self.happened(message, turn),
            Mti::PRODUCER_VALID | Mti::PRODUCER_INVALID | Mti::PRODUCER_UNKNOWN => self.told_of(mti, message, turn),
            Mti::PRODUCER_RANGE => {
                if let Some(range) = message.event_id() {
                    let all = self.events.hears.keys().copied();
                    self.produced.extend(all.filter(|&event| is_in_range(event, range)));
                }
                Meaning::Housekeeping
            }
            Mti::INITIALIZED | Mti::INITIALIZED_SIMPLE | Mti::VERIFIED | Mti::VERIFIED_SIMPLE => {
                if let Some(node) = message.node_id() {
                    self.met(node, message.source, turn);
                    // A node that has just come knows nothing of what was asked before.
                    if matches!(mti, Mti::INITIALIZED | Mti::INITIALIZED_SIMPLE) {
                        self.ask(turn);
                    }
                }
                Meaning::Housekeeping
            }
            _ => {
                self.answer(message, turn);
                Meaning::Housekeeping
            }
        }
    }

    /// An event happens.
    fn happened(&mut self, message: &Message, turn: &mut Turn) -> Meaning {
        let Some(event) = message.event_id() else { return Meaning::Housekeeping };
        let emergency = self.hear_emergency(event, turn);
        self.produced.insert(event);
        if let Some((thing, name, mark)) = self.events.hears.get(&event) {
            turn.told.extend(input_of(*thing, *mark).map(Told::Input));
            return Meaning::Known { name: title(*thing, name), says: mark.word().to_owned() };
        }
        if let Some(meaning) = emergency {
            return meaning;
        }
        if let Some((detector, name, train)) = self.events.reading(event) {
            turn.told.extend(train.map(|train| Told::Input(read_by(detector, train))));
            let says = train.map_or("nobody that is known", |train| &self.events.layout.trains[train].name);
            return Meaning::Known { name: format!("reader {name}"), says: says.to_owned() };
        }
        if self.events.told().any(|own| own == event) {
            return Meaning::Housekeeping;
        }
        let id = dotted(event, 8);
        Meaning::New { hint: format!("[link.sections]\n\"NAME\" = {{ occupied = \"{id}\", free = \"?\" }}") }
    }

    /// Somebody says whether something is so that an event tells of.
    fn told_of(&mut self, mti: Mti, message: &Message, turn: &mut Turn) -> Meaning {
        let Some(event) = message.event_id() else { return Meaning::Housekeeping };
        self.produced.insert(event);
        if self.found(event, message.source, turn) {
            return Meaning::Housekeeping;
        }
        let Some((thing, name, mark)) = self.events.hears.get(&event) else { return Meaning::Housekeeping };
        let lasts = !matches!(thing, Thing::Spot(_));
        let mark = match mti {
            Mti::PRODUCER_VALID if lasts => Some(*mark),
            // A turnout that does not lie straight may be moving.
            Mti::PRODUCER_INVALID if lasts && !matches!(thing, Thing::Turnout(_)) => mark.opposite(),
            _ => None,
        };
        turn.told.extend(mark.and_then(|mark| input_of(*thing, mark)).map(Told::Input));
        let says = mark.map_or("not known", Mark::word).to_owned();
        Meaning::Known { name: title(*thing, name), says }
    }

    /// Asks how everything is.
    fn ask(&mut self, turn: &mut Turn) {
        let Some(alias) = self.alias() else { return };
        for &event in self.events.hears.keys() {
            turn.say(&Message::event(alias, Mti::IDENTIFY_PRODUCER, event));
        }
    }

    /// Something is ordered.
    pub fn order(&mut self, output: &Output) -> Turn {
        let mut turn = Turn::default();
        let Some(alias) = self.alias() else {
            self.waiting.push(output.clone());
            return turn;
        };
        let event = match *output {
            Output::Throw { .. } | Output::Power { .. } | Output::Accessory { .. } => {
                mark_ordered(output).and_then(|ordered| self.events.marks.get(&ordered).copied())
            }
            Output::Show { signal, aspect } => {
                self.signals.insert(signal, aspect);
                let name = self.events.layout.book_of(signal).name(aspect).unwrap_or_default();
                let own = self.events.aspects.get(&signal).into_iter().flatten();
                own.into_iter().find(|(aspect, _)| aspect == name).map(|(_, event)| *event)
            }
            Output::Drive { .. } | Output::EmergencyStop { .. } => {
                self.drive(output, &mut turn);
                None
            }
            Output::Function { train, number, on } => {
                self.switch_function(train, number, on, &mut turn);
                None
            }
            Output::Light { .. } | Output::Fact(_) => None,
        };
        if let Some(event) = event {
            turn.say(&Message::event(alias, Mti::EVENT, event));
        }
        turn
    }

    /// Time passes.
    pub fn tick(&mut self, now: Duration) -> Turn {
        let mut turn = Turn::default();
        if let State::Inhibited { alias, until } = self.state
            && now >= until
        {
            self.take_alias(now, alias, &mut turn);
        }
        if self.doubts_at.is_some_and(|at| now >= at) {
            self.doubts_at = None;
            let silent: BTreeSet<String> = self
                .events
                .hears
                .iter()
                .filter(|(event, _)| !self.produced.contains(event))
                .map(|(event, (thing, name, _))| format!("{} of {}", dotted(*event, 8), title(*thing, name)))
                .collect();
            if !silent.is_empty() {
                let list: Vec<String> = silent.into_iter().collect();
                turn.told.push(Told::Say(format!("nobody on the bus tells {}", list.join(", "))));
            }
        }
        self.mind_silence(now, &mut turn);
        if now >= self.looks_at {
            self.looks_at = now + LOOKED_FOR;
            self.look_for_trains(&mut turn);
        }
        turn
    }

    /// A node is there by this alias.
    fn met(&mut self, node: NodeId, alias: u16, turn: &mut Turn) {
        if self.nodes.len() < MOST_NODES || self.nodes.contains_key(&node) {
            self.found_node(node, alias, turn);
            let before = self.nodes.insert(node, alias);
            if before != Some(alias) {
                self.met_train(node, turn);
            }
        }
    }
}
