//! A bus on which nobody says anything: is anybody still there?

use std::time::Duration;

use super::{Node, Turn};
use crate::lcc::message::{Message, Mti};
use crate::news::Told;

/// After so long without a word a node is asked whether it is there, which it must answer (Message Network, section 3.4.2), and then
/// the next one, each time after as long again.
const ASKED_AFTER: Duration = Duration::from_millis(1500);
/// A bus of which some node was known and that is silent for so long is gone, or cut off.
const GONE_AFTER: Duration = Duration::from_secs(6);

/// When something was heard last, and who was asked since.
#[derive(Debug, Default)]
pub(super) struct Silence {
    heard_at: Duration,
    asked_at: Duration,
    asked: usize,
}

impl Silence {
    /// Something was heard.
    pub(super) fn is_broken(&mut self, now: Duration) {
        (self.heard_at, self.asked_at) = (now, now);
    }
}

impl Node {
    /// Asks nodes one after the other where the bus is silent; says that it is gone where none answers.
    pub(super) fn mind_silence(&mut self, now: Duration, turn: &mut Turn) {
        let Some(alias) = self.alias() else { return };
        if self.nodes.is_empty() || now < self.silence.asked_at + ASKED_AFTER {
            return;
        }
        if now >= self.silence.heard_at + GONE_AFTER {
            turn.told.push(Told::Gone("no node on the bus answers any more".to_owned()));
            return;
        }
        let next = self.silence.asked % self.nodes.len();
        if let Some(&to) = self.nodes.values().nth(next) {
            turn.say(&Message::to(alias, to, Mti::VERIFY, &[]));
        }
        (self.silence.asked_at, self.silence.asked) = (now, next + 1);
    }
}
