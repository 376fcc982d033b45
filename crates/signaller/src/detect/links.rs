//! What is old news, because the link that carries it went down since.

use std::time::Duration;

use track::{DetectorKind, Layout, Lie, LinkId, SectionId, TurnoutId};

use super::{Detect, Timer};
use crate::door::Fact;
use crate::identity::Identity;
use crate::snapshot::kept;
use crate::time::Time;

/// What is reported anew counts when nothing else was for so long: nodes send first what they remember, and the truth soon after.
/// Common practice, no source.
const SETTLED: Duration = Duration::from_millis(500);
/// At most so long after the first report.
const SETTLING: Duration = Duration::from_secs(3);

/// A link that has gone down is noticed no later than this. Common practice, no source.
const UNNOTICED: Duration = Duration::from_secs(2);

/// One link.
#[derive(Debug)]
pub(super) struct Connection {
    state: State,
    /// When it went down last.
    lost_at: Time,
    sections: Vec<SectionId>,
    turnouts: Vec<TurnoutId>,
    due: Option<Time>,
}

kept!(Connection { kept: [state, lost_at, due], parts: [], made_anew: [sections, turnouts] });

#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
enum State {
    Up,
    Down,
    /// It is up again, and something it carries has not yet been heard anew. When the first report came that is not settled
    /// yet.
    Settling(Option<Time>),
    /// The same, and nothing that was heard waits to be settled.
    Incomplete,
}

impl Connection {
    pub fn new(layout: &Layout, link: LinkId) -> Self {
        let detectors = layout.detectors.values().filter(|detector| detector.link == Some(link));
        let sections = detectors.filter_map(|detector| match detector.kind {
            DetectorKind::Area(section) => Some(section),
            _ => None,
        });
        let turnouts = layout.turnouts.iter().filter(|(_, turnout)| turnout.link == Some(link) && turnout.reported);
        Self {
            state: State::Up,
            lost_at: Time::ZERO,
            sections: sections.collect(),
            turnouts: turnouts.map(|(turnout, _)| turnout).collect(),
            due: None,
        }
    }

    pub fn is_down(&self) -> bool {
        self.state == State::Down
    }
}

impl Detect {
    /// The links that are down.
    pub(crate) fn links_down(&self) -> impl Iterator<Item = LinkId> {
        self.links.iter().filter(|(_, connection)| connection.is_down()).map(|(link, _)| link)
    }

    /// Whether a link is down.
    pub(crate) fn is_link_down(&self, link: LinkId) -> bool {
        self.links[link].is_down()
    }

    /// A link came up or went down.
    pub(crate) fn link(&mut self, now: Time, link: LinkId, up: bool) {
        match (self.links[link].state, up) {
            (State::Down, true) => {
                self.links[link].state = State::Settling(None);
                self.set_link_due(link, Some(now + SETTLED));
            }
            (State::Down, false) => {}
            (_, false) => self.lose_link(now, link),
            (_, true) => {}
        }
    }

    fn lose_link(&mut self, now: Time, link: LinkId) {
        (self.links[link].state, self.links[link].lost_at) = (State::Down, now);
        self.set_link_due(link, None);
        for place in 0..self.links[link].sections.len() {
            let section = self.links[link].sections[place];
            self.set_due(section, None);
            let raw = self.channels[section].raw.take();
            if let Some(supply) = self.rules[section].supply {
                self.supplies[supply].count(raw, None);
            }
            self.channels[section].is_old = true;
            self.heard.standings.push(section);
        }
        for &turnout in &self.links[link].turnouts {
            self.lies[turnout] = None;
            self.heard.lies.push((turnout, None));
        }
        self.heard.facts.push(Fact::LinkLost { link });
    }

    /// A section reported for the first time since its link is up again, or says something else than it did then.
    pub(super) fn heard_anew(&mut self, now: Time, section: SectionId) {
        if let Some(link) = self.rules[section].link {
            self.extend_settling(now, link);
        }
    }

    fn extend_settling(&mut self, now: Time, link: LinkId) {
        let since = match self.links[link].state {
            State::Settling(since) => since.unwrap_or(now),
            State::Incomplete => now,
            State::Up | State::Down => return,
        };
        self.links[link].state = State::Settling(Some(since));
        self.set_link_due(link, Some((now + SETTLED).min(since + SETTLING)));
    }

    /// A turnout was reported. Tells whether that counts now.
    pub(crate) fn turnout(&mut self, now: Time, turnout: TurnoutId, lie: Option<Lie>) -> bool {
        let Some(link) = self.layout.turnouts[turnout].link else { return true };
        match self.links[link].state {
            State::Up | State::Incomplete => true,
            State::Down => false,
            State::Settling(_) => {
                if self.lies[turnout] != lie {
                    self.lies[turnout] = lie;
                    self.extend_settling(now, link);
                }
                false
            }
        }
    }

    /// What was reported since the link is up again has settled: it counts from now on, all in one piece.
    pub(super) fn settle_link(&mut self, now: Time, link: LinkId, identity: &Identity) {
        self.links[link].due = None;
        let mut is_complete = true;
        for place in 0..self.links[link].sections.len() {
            let section = self.links[link].sections[place];
            let channel = self.channels[section];
            let Some(raw) = channel.raw.filter(|_| channel.is_old) else {
                is_complete &= !channel.is_old;
                continue;
            };
            self.channels[section].is_old = false;
            self.heard.standings.push(section);
            let is_dark = self.rules[section].supply.is_some_and(|supply| self.supplies[supply].is_dark());
            if channel.told != Some(raw) && !is_dark {
                // It may have become so at any time since the link fell silent.
                let unheard = now.since(self.links[link].lost_at) + UNNOTICED;
                self.tell(now, section, raw, unheard, identity);
            }
        }
        for &turnout in &self.links[link].turnouts {
            if let Some(lie) = self.lies[turnout].take() {
                self.heard.lies.push((turnout, Some(lie)));
            }
        }
        if is_complete {
            self.links[link].state = State::Up;
            self.heard.facts.push(Fact::LinkBack { link });
        } else {
            self.links[link].state = State::Incomplete;
        }
    }

    fn set_link_due(&mut self, link: LinkId, due: Option<Time>) {
        let before = std::mem::replace(&mut self.links[link].due, due);
        self.set_timer(Timer::Link(link), before, due);
    }
}
