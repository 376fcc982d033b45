//! Driving trains (Train Control, 22 July 2024).

use signaller::{Direction, Output};
use track::{Facing, TrainId};

use super::{Node, Turn};
use crate::lcc::message::{Message, Mti};
use crate::lcc::{NodeId, dotted, to_float16};
use crate::motion::{Motion, as_seen};
use crate::news::Told;

/// Instructions: set the speed, set a function, stop in an emergency, become the controller, and say that we are still there.
const SET_SPEED: u8 = 0x00;
const SET_FUNCTION: u8 = 0x01;
const EMERGENCY_STOP: u8 = 0x02;
const CONTROLLER: u8 = 0x20;
const ASSIGN: u8 = 0x01;
const RELEASE: u8 = 0x02;
const MANAGEMENT: u8 = 0x40;
const HEARTBEAT: u8 = 0x03;
/// A mile an hour in metres a second (international mile).
const MPH: f64 = 0.447_04;
/// So many speed steps are a mile an hour each (Train Control, technical note: what nodes for DCC decoders do).
const STEPS: f64 = 126.0;

impl Node {
    /// A train shall move so. What a node makes of a speed is its own affair; one for a DCC decoder makes the very step of it.
    pub(super) fn drive(&mut self, output: &Output, turn: &mut Turn) {
        let Some((train, direction, motion)) = self.motions.order(output) else { return };
        self.drives.insert(train, (direction, motion));
        self.tell_each(train, turn, |node, facing| node.motion_of(train, facing).into_iter().collect());
    }

    /// A function of a train shall be on, or off.
    pub(super) fn switch_function(&mut self, train: TrainId, number: u8, on: bool, turn: &mut Turn) {
        self.functions.insert((train, number), on);
        self.tell_each(train, turn, |_, _| vec![set_function(number, on)]);
    }

    /// The instruction by which what stands so in a train moves as it shall.
    fn motion_of(&self, train: TrainId, facing: Facing) -> Option<Vec<u8>> {
        let &(direction, motion) = self.drives.get(&train)?;
        let Motion::Step(step) = motion else { return Some(vec![EMERGENCY_STOP]) };
        let highest = f64::from(self.events.layout.trains.get(train)?.speed_steps.highest());
        let speed = (f64::from(step) * STEPS / highest) * MPH;
        let signed = if as_seen(direction, facing) == Direction::Forward { speed } else { -speed };
        let [high, low] = to_float16(signed).to_be_bytes();
        Some(vec![SET_SPEED, high, low])
    }

    /// Tells the nodes of a train something, as far as it is known where they are.
    fn tell_each(&mut self, train: TrainId, turn: &mut Turn, say: impl Fn(&Self, Facing) -> Vec<Vec<u8>>) {
        for engine in self.events.trains.get(&train).cloned().unwrap_or_default() {
            let instructions = say(self, engine.facing);
            // One whose node is still to be found is told everything once it is.
            engine.node.iter().for_each(|&node| self.tell(node, &instructions, turn));
        }
    }

    fn tell(&mut self, node: NodeId, instructions: &[Vec<u8>], turn: &mut Turn) {
        let (Some(alias), Some(&to)) = (self.alias(), self.nodes.get(&node)) else { return };
        if !instructions.is_empty() && self.controlled.insert(node) {
            let id = &self.id.to_be_bytes()[2..];
            turn.say(&Message::to(alias, to, Mti::TRAIN, &[&[CONTROLLER, ASSIGN, 0][..], id].concat()));
        }
        for instruction in instructions {
            turn.say(&Message::to(alias, to, Mti::TRAIN, instruction));
        }
    }

    /// The node of a train has come, or has another alias: it is told everything that it shall do.
    pub(super) fn met_train(&mut self, node: NodeId, turn: &mut Turn) {
        let Some((train, facing)) = self.events.driven_by(node) else { return };
        self.controlled.remove(&node);
        let mut instructions: Vec<Vec<u8>> = self.motion_of(train, facing).into_iter().collect();
        let functions = self.functions.iter().filter(|((whose, _), _)| *whose == train);
        instructions.extend(functions.map(|(&(_, number), &on)| set_function(number, on)));
        self.tell(node, &instructions, turn);
    }

    /// We are about to leave: trains that know us as their controller are given up (Train Control, section 6.1).
    pub(crate) fn end(&mut self) -> Turn {
        let mut turn = Turn::default();
        let Some(alias) = self.alias() else { return turn };
        let id = &self.id.to_be_bytes()[2..];
        for node in std::mem::take(&mut self.controlled) {
            if let Some(&to) = self.nodes.get(&node) {
                turn.say(&Message::to(alias, to, Mti::TRAIN, &[&[CONTROLLER, RELEASE, 0][..], id].concat()));
            }
        }
        turn
    }

    /// A train answers, or wants to know whether we are still there.
    pub(super) fn hear_train(&mut self, source: u16, data: &[u8], turn: &mut Turn) {
        let Some(alias) = self.alias() else { return };
        match *data {
            [MANAGEMENT, HEARTBEAT, ..] => {
                turn.say(&Message::to(alias, source, Mti::TRAIN, &[MANAGEMENT, HEARTBEAT]));
            }
            [CONTROLLER, ASSIGN, flags, ..] if flags != 0 => {
                let node = self.nodes.iter().find(|(_, alias)| **alias == source).map(|(&node, _)| node);
                let name = node.map_or_else(|| format!("alias {source:03X}"), |node| dotted(node, 6));
                turn.told.push(Told::Say(format!("train node {name} does not let itself be controlled by us")));
            }
            _ => {}
        }
    }
}

/// The instruction that sets a function: three bytes for which, two for its value (Train Control, section 4.3); 1 is on and 0 off
/// (section 6.3), and those of a DCC decoder are counted from 0 (section 7.1).
fn set_function(number: u8, on: bool) -> Vec<u8> {
    vec![SET_FUNCTION, 0, 0, number, 0, u8::from(on)]
}
