//! Finding the nodes of trains by the addresses of their decoders (Train Search, 22 July 2024).

use track::{Facing, TrainId};

use super::events::{Engine, Events};
use super::{Node, Turn};
use crate::lcc::message::{Message, Mti};
use crate::lcc::{EventId, NodeId, dotted};
use crate::news::Told;

impl Events {
    /// Which engine is found by an event.
    fn searched(&mut self, event: EventId) -> Option<(TrainId, &mut Engine)> {
        let all = self.trains.iter_mut().flat_map(|(&train, engines)| engines.iter_mut().map(move |one| (train, one)));
        all.into_iter().find(|(_, engine)| engine.search == Some(event))
    }

    /// Nodes that were found may not be there any more.
    pub(super) fn forget_found(&mut self) {
        let engines = self.trains.values_mut().flatten();
        engines.filter(|engine| engine.search.is_some()).for_each(|engine| engine.node = None);
    }

    /// What was found by others is found by these, too.
    pub(super) fn find_again(&mut self, others: &Self) {
        let found = others.trains.values().flatten().filter_map(|engine| Some((engine.search?, engine.node?)));
        for (search, node) in found {
            if let Some((_, engine)) = self.searched(search) {
                engine.node = Some(node);
            }
        }
    }

    /// Whose node it is, and how what it drives stands in the train.
    pub(super) fn driven_by(&self, node: NodeId) -> Option<(TrainId, Facing)> {
        let all = self.trains.iter().flat_map(|(&train, engines)| engines.iter().map(move |engine| (train, engine)));
        all.into_iter().find(|(_, engine)| engine.node == Some(node)).map(|(train, engine)| (train, engine.facing))
    }
}

impl Node {
    /// Asks for the node of an engine (section 6.1 and 6.2: whoever is it, or can make it, identifies itself as a producer of the
    /// event), or whether one that is known is there.
    pub(super) fn look_for_trains(&mut self, turn: &mut Turn) {
        let Some(alias) = self.alias() else { return };
        for engine in self.events.trains.values().flatten() {
            match *engine {
                Engine { node: Some(node), .. } if self.nodes.contains_key(&node) => {}
                Engine { search: Some(event), .. } => turn.say(&Message::event(alias, Mti::IDENTIFY_PRODUCER, event)),
                Engine { node: Some(node), .. } => turn.say(&Message::node(alias, Mti::VERIFY_ALL, node)),
                Engine { .. } => {}
            }
        }
    }

    /// Somebody answers to an event; tells whether that was a search of ours. The first who answers is it.
    pub(super) fn found(&mut self, event: EventId, source: u16, turn: &mut Turn) -> bool {
        if self.events.searched(event).is_none() {
            return false;
        }
        let node = self.nodes.iter().find(|(_, alias)| **alias == source).map(|(&node, _)| node);
        match (node, self.alias()) {
            (Some(node), _) => self.is_at(event, node, turn),
            (None, Some(alias)) => {
                self.answered.insert(source, event);
                turn.say(&Message::to(alias, source, Mti::VERIFY, &[]));
            }
            (None, None) => {}
        }
        true
    }

    /// It is known now which node has an alias: perhaps one that answered to a search.
    pub(super) fn found_node(&mut self, node: NodeId, alias: u16, turn: &mut Turn) {
        if let Some(event) = self.answered.remove(&alias) {
            self.nodes.insert(node, alias);
            self.is_at(event, node, turn);
        }
    }

    /// What was searched for is this node.
    fn is_at(&mut self, event: EventId, node: NodeId, turn: &mut Turn) {
        let nodes = &self.nodes;
        let Some((train, engine)) = self.events.searched(event) else { return };
        match engine.node.filter(|before| nodes.contains_key(before)) {
            Some(before) if before == node => {}
            Some(before) => {
                let name = &self.events.layout.trains[train].name;
                let [one, other] = [before, node].map(|node| dotted(node, 6));
                turn.told.push(Told::Say(format!(
                    "two nodes say that they are {name}: {one}, which is driven, and {other}"
                )));
            }
            None => {
                engine.node = Some(node);
                self.met_train(node, turn);
            }
        }
    }
}
