//! What can be wrong with rails, detectors, links and nodes, one function a fault: for what is drawn, and for tests that want
//! one thing to happen.

use std::time::Duration;

use track::{LinkId, Resistance, SectionId, TrainId};

use super::{Begun, Trouble};
use crate::detectors::{Harm, Stuck};
use crate::electrics::Load;
use crate::faults::Fault;
use crate::table::{Reached, Table};

/// How long after a link went down the signaller hears of it, in milliseconds: the keep-alive time.
const KEEP_ALIVE_MS: (i64, i64) = (500, 1_500);

impl Table {
    /// Every axle of a train loses contact for so long as it rolls. Where it comes to stand meanwhile it stays without until it
    /// rolls on.
    pub fn lose_contact(&mut self, train: TrainId, while_rolling: Duration) {
        let mut changes = Vec::new();
        let lost = self.trains[train].axles.lose_all(while_rolling.as_millis() as i64);
        self.trains[train].look(&mut changes);
        self.apply(train, &mut changes, Reached::ByHand);
        (0..lost).for_each(|_| self.contact_lost(train));
    }

    /// The rails of a section are dirty for so long: every axle that rolls there loses contact again and again.
    pub fn soil(&mut self, section: SectionId, lasts: Duration) {
        if self.begin(Trouble::Dirty(section), Some(lasts)) == Begun::Now {
            self.ground.dirty.push(section);
        }
    }

    /// Something that resists so lies across the rails of a section for so long: moisture, a finger, a tool.
    pub fn bridge_rails(&mut self, section: SectionId, with: Resistance, lasts: Duration) {
        if self.begin(Trouble::Filled(section), Some(lasts)) == Begun::Now {
            self.detectors.leak(section, Load::resistor(with.ohm()), self.now());
        }
    }

    pub(super) fn dry(&mut self, section: SectionId) {
        self.detectors.leak(section, Load::NONE, self.now());
    }

    /// The area detector of a section goes on saying what it said last, for so long, or until everything is healed.
    pub fn stick_detector(&mut self, section: SectionId, lasts: Option<Duration>) {
        if self.begin(Trouble::Stuck(section), lasts) == Begun::Now {
            self.detectors.stick(section, Stuck::Fast, self.now());
        }
    }

    pub(super) fn unstick(&mut self, section: SectionId) {
        self.detectors.stick(section, Stuck::Free, self.now());
    }

    /// The area detector of a section takes so much longer to make up its mind, for so long.
    pub fn slow_detector(&mut self, section: SectionId, by: Duration, lasts: Duration) {
        if self.begin(Trouble::Slow(section), Some(lasts)) == Begun::Now {
            self.detectors.slow_down(section, by);
        }
    }

    /// Harm is done to the next report of a section's area detector.
    pub fn harm_next_report(&mut self, section: SectionId, harm: Harm) {
        self.detectors.doom(section, harm);
    }

    /// A link goes down for so long, at least for the keep-alive time of 0.5 to 1.5 s after which the signaller hears of it.
    /// Every report and every order to a turnout that it would have carried is lost. When it is up again everything it carries
    /// first says what it said last before, and within 0.3 s what is so.
    pub fn drop_link(&mut self, link: LinkId, lasts: Duration) {
        let (least, most) = KEEP_ALIVE_MS;
        let keep_alive = Duration::from_millis(self.troubles.stream(Fault::LinkDown).between(least, most) as u64);
        if self.begin(Trouble::Down(link), Some(lasts.max(keep_alive))) == Begun::Now {
            self.detectors.link_down(link, self.now() + keep_alive);
        }
    }

    pub(super) fn raise_link(&mut self, link: LinkId) {
        let now = self.now();
        self.detectors.link_up(link, now, self.troubles.stream(Fault::LinkDown));
    }

    /// The node that watches a section starts anew, and needs so long for it. Nobody says so; every detector that it watches
    /// says free at once, and finds nothing until it has started. A node watches what a link carries; on a layout without
    /// links, a power district.
    pub fn restart_node(&mut self, section: SectionId, takes: Duration) {
        let node = self.troubles.nodes.iter().position(|sections| sections.contains(&section));
        node.into_iter().for_each(|node| self.restart(node, takes));
    }

    pub(super) fn restart(&mut self, node: usize, takes: Duration) {
        if self.begin(Trouble::Starting(node), Some(takes)) == Begun::Now {
            let (now, sections) = (self.now(), self.troubles.nodes[node].clone());
            self.detectors.restart(&sections, now, self.troubles.stream(Fault::NodeRestart));
        }
    }

    pub(super) fn node_started(&mut self, node: usize) {
        self.detectors.started(&self.troubles.nodes[node], self.now());
    }
}
