//! Reports that are kept back until it is clear what they mean.

use std::time::Duration;

use track::{SectionId, TrainId};

use super::record::Returned;
use super::rules::{KEPT_BACK_AT_MOST, SPREAD};
use super::{Detect, Expected, Timer};
use crate::door::Tag;
use crate::identity::Identity;
use crate::time::Time;

/// No train runs through a section faster than this: what fills so soon after its neighbour was not filled by a train that came
/// from there. Longer than reports of one moment are mostly apart.
const CROSSING: Duration = Duration::from_millis(100);

/// Where so many sections, somewhere on the layout, fill in one moment that no movement explains, something else than trains fills
/// sections.
const BURST: usize = 2;

/// A filling that emptied again within this was false, if nothing explained it.
const PASSING: Duration = Duration::from_secs(120);

/// What fills again under the same train within this had lost contact for a moment.
const FLICKER: Duration = Duration::from_secs(1);

/// So long before it empties somebody may have said that nothing is left in a section. Common practice, no source.
const SAID_BEFORE: Duration = Duration::from_secs(10);

/// What one section's detector said, and what identity was told.
#[derive(Clone, Copy, Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct Channel {
    /// What the detector says; nothing where that was never heard, or is old news.
    pub raw: Option<bool>,
    /// Since when.
    pub raw_at: Time,
    /// It said the opposite before.
    pub has_changed: bool,
    /// What identity was told last.
    pub told: Option<bool>,
    /// When it was.
    pub told_at: Time,
    /// When the report that is kept back is looked at again.
    pub due: Option<Time>,
    /// What identity was told is old news: the link went down since.
    pub is_old: bool,
    /// The train that was surely here when it emptied, until it fills again.
    pub left_by: Option<TrainId>,
    /// No movement explained that it emptied, or filled.
    pub is_unexplained: bool,
    /// It filled just before the power was reported to be off.
    pub filled_as_power_went: bool,
    /// It has flickered since it filled after being free for longer than a flicker.
    pub has_flickered: bool,
    /// When somebody last said that nothing is left there.
    pub said_empty_at: Option<Time>,
}

impl Default for Channel {
    fn default() -> Self {
        Self {
            raw: None,
            raw_at: Time::ZERO,
            has_changed: false,
            told: None,
            told_at: Time::ZERO,
            due: None,
            is_old: false,
            left_by: None,
            is_unexplained: false,
            filled_as_power_went: false,
            has_flickered: false,
            said_empty_at: None,
        }
    }
}

impl Channel {
    /// The detector says that nothing is there, and identity does not know yet.
    pub fn is_emptying_kept(&self) -> bool {
        self.due.is_some() && self.raw == Some(false)
    }

    /// The detector has just come to say that something is there.
    pub fn has_just_filled(&self) -> bool {
        let is_told = self.told == Some(true) && self.told_at == self.raw_at;
        self.has_changed && (is_told || self.is_filling_kept())
    }

    /// The detector says that something is there, and identity does not know yet.
    pub fn is_filling_kept(&self) -> bool {
        self.due.is_some() && self.raw == Some(true)
    }
}

impl Detect {
    /// The detector says so now. Tells whether it said otherwise before.
    pub(super) fn change_raw(&mut self, now: Time, section: SectionId, occupied: bool) -> bool {
        let channel = &mut self.channels[section];
        if channel.raw == Some(occupied) {
            return false;
        }
        if let Some(supply) = self.rules[section].supply {
            self.supplies[supply].count(channel.raw, Some(occupied));
        }
        channel.has_changed = channel.raw.is_some();
        channel.raw = Some(occupied);
        channel.raw_at = now;
        true
    }

    /// A section reported that has a power district, a link or a bridge.
    pub(super) fn condition(
        &mut self,
        now: Time,
        section: SectionId,
        occupied: bool,
        expected: Expected,
        identity: &Identity,
    ) {
        let (link, supply) = (self.rules[section].link, self.rules[section].supply);
        if link.is_some_and(|link| self.links[link].is_down()) {
            // It was on its way when the link went down: old news.
            return;
        }
        let since = self.channels[section].raw_at;
        let is_new = self.change_raw(now, section, occupied);
        if self.channels[section].is_old {
            if is_new {
                self.heard_anew(now, section);
            }
            return;
        }
        if let Some(supply) = supply.filter(|&supply| self.supplies[supply].is_dark()) {
            if is_new {
                self.changed_in_the_dark(now, supply, section);
            }
            return;
        }
        match (self.channels[section].told, occupied) {
            (None, _) => self.tell(now, section, occupied, Duration::ZERO, identity),
            (Some(true), false) if is_new => self.keep_emptying(now, section),
            (Some(false), true) if is_new => self.consider_filling(now, section, expected, identity),
            (Some(_), _) => {
                if is_new {
                    self.swallow(now, section, since, identity);
                }
            }
        }
        if occupied && is_new {
            self.explain_neighbours(now, section);
            self.heard.stirred.extend(supply);
        }
    }

    fn keep_emptying(&mut self, now: Time, section: SectionId) {
        let rules = &self.rules[section];
        let wait = rules.wait.max(self.bridge(section));
        let wait = if self.is_emptying_explained(section) { wait } else { wait.max(rules.patience) };
        self.set_due(section, Some(now + wait));
    }

    /// For how long an emptying is taken for a flicker: as the layout has it, and longer where the record says so, or where it flickers
    /// under this very train.
    fn bridge(&self, section: SectionId) -> Duration {
        let by_layout = self.rules[section].bridge;
        if self.channels[section].has_flickered {
            return by_layout.max(KEPT_BACK_AT_MOST);
        }
        by_layout.max(self.records.bridge(section))
    }

    /// A filling that a movement explains is heard at once, unless the signaller drives and no train was granted the section, or
    /// so much else fills in this moment that nothing which fills is to be trusted; another waits, and counts as occupied
    /// meanwhile.
    fn consider_filling(&mut self, now: Time, section: SectionId, expected: Expected, identity: &Identity) {
        let rules = &self.rules[section];
        let may_come = expected != Expected::Nothing && self.is_filling_explained(now, section);
        let fill_wait = rules.fill_wait;
        self.unexplained.retain(|&mut (at, _)| now.since(at) <= SPREAD);
        if fill_wait == Duration::ZERO || may_come && self.unexplained.len() < BURST {
            self.tell(now, section, true, Duration::ZERO, identity);
        } else {
            if !may_come {
                self.unexplained.push((now, section));
            }
            self.set_due(section, Some(now + fill_wait));
            self.heard.standings.push(section);
        }
    }

    /// The detector is back to what identity was told.
    fn swallow(&mut self, now: Time, section: SectionId, since: Time, identity: &Identity) {
        self.set_due(section, None);
        if self.channels[section].raw == Some(true) {
            self.channels[section].has_flickered = true;
            let train = sure(&identity.tag(section));
            self.records.flickered(section, train, now.since(since));
        } else {
            self.records.filled_falsely(section);
            self.heard.standings.push(section);
        }
    }

    /// What filled may be where the trains went that left the sections next to it.
    fn explain_neighbours(&mut self, now: Time, section: SectionId) {
        for place in 0..self.rules[section].neighbours.len() {
            let other = self.rules[section].neighbours[place];
            if self.channels[other].is_emptying_kept() {
                let wait = self.rules[other].wait.max(self.bridge(other));
                let due = (self.channels[other].raw_at + wait).max(now);
                self.set_due(other, self.channels[other].due.map(|before| before.min(due)));
            }
        }
    }

    /// Whether a train that was here may have gone to a section next to it.
    pub(super) fn is_emptying_explained(&self, section: SectionId) -> bool {
        let rules = &self.rules[section];
        rules.is_open || rules.neighbours.iter().any(|&other| self.channels[other].raw != Some(false))
    }

    /// Whether somebody said just before the section emptied that nothing is left there.
    pub(super) fn was_said_to_empty(&self, now: Time, section: SectionId) -> bool {
        self.channels[section].said_empty_at.is_some_and(|at| now.since(at) <= SAID_BEFORE)
    }

    /// Whether a train next to it may have come in.
    fn is_filling_explained(&self, now: Time, section: SectionId) -> bool {
        let rules = &self.rules[section];
        let may_come_from = |&other: &SectionId| {
            let channel = &self.channels[other];
            channel.told.is_none()
                || channel.is_old
                || (channel.told == Some(true) && now.since(channel.told_at) >= CROSSING)
        };
        rules.is_open || rules.neighbours.iter().any(may_come_from)
    }

    /// A report was kept back long enough.
    pub(super) fn reconsider(&mut self, now: Time, section: SectionId, identity: &Identity) {
        let (channel, supply) = (self.channels[section], self.rules[section].supply);
        if channel.raw == Some(false) && supply.is_some_and(|supply| self.infer_all_emptied(now, supply, identity)) {
            return;
        }
        self.channels[section].due = None;
        let Some(raw) = channel.raw else { return };
        // It was explained when it came; what explained it may be gone meanwhile.
        let patience = channel.raw_at + self.rules[section].patience;
        if !raw && now < patience && !self.is_emptying_explained(section) {
            self.set_due(section, Some(patience));
            return;
        }
        self.tell(now, section, raw, now.since(channel.raw_at), identity);
    }

    /// Lets identity hear now what was kept back, for a person's word explains it.
    pub(crate) fn release(&mut self, now: Time, section: SectionId, identity: &Identity) {
        let channel = &self.channels[section];
        if let (Some(_), Some(raw)) = (channel.due, channel.raw) {
            let kept = now.since(channel.raw_at);
            self.set_due(section, None);
            self.tell(now, section, raw, kept, identity);
        }
    }

    /// Tells identity.
    pub(super) fn tell(&mut self, now: Time, section: SectionId, occupied: bool, kept: Duration, identity: &Identity) {
        let before = self.channels[section];
        self.heard.edges.push((section, occupied, kept));
        if before.told != Some(occupied) {
            let is_unexplained = if occupied {
                let gap = now.since(before.told_at);
                let was_lost = before.is_unexplained;
                if let Some(train) = before.left_by.filter(|_| was_lost || gap < FLICKER) {
                    self.heard.returned.push(Returned { section, train, gap, was_lost });
                }
                before.told.is_some() && !self.is_filling_explained(now, section)
            } else {
                !self.is_emptying_explained(section)
            };
            let left_by = if occupied { None } else { self.note_emptying(now, section, identity) };
            let channel = &mut self.channels[section];
            if occupied && now.since(before.told_at) >= FLICKER {
                channel.has_flickered = false;
            }
            (channel.told, channel.told_at) = (Some(occupied), now);
            (channel.left_by, channel.is_unexplained) = (left_by, is_unexplained);
        }
        if kept > Duration::ZERO {
            self.heard.standings.push(section);
        }
    }

    /// The train that is surely in the section that empties. A train passed, or nothing was ever there.
    fn note_emptying(&mut self, now: Time, section: SectionId, identity: &Identity) -> Option<TrainId> {
        let before = &self.channels[section];
        if before.told != Some(true) {
            return None;
        }
        let tag = identity.tag(section);
        let (train, is_explained) = (sure(&tag), self.is_emptying_explained(section));
        if train.is_none() && before.is_unexplained && !is_explained && now.since(before.told_at) < PASSING {
            self.records.filled_falsely(section);
        } else if is_explained && tag != Tag::Unexplained {
            self.records.passed(section, train);
        }
        train
    }

    /// The sections that are said to be free, and identity does not know yet.
    pub(crate) fn emptying(&self) -> impl Iterator<Item = SectionId> + '_ {
        self.timers.iter().filter_map(|(_, timer)| match timer {
            Timer::Section(section) if self.channels[*section].is_emptying_kept() => Some(*section),
            _ => None,
        })
    }

    pub(super) fn set_due(&mut self, section: SectionId, due: Option<Time>) {
        let before = std::mem::replace(&mut self.channels[section].due, due);
        self.set_timer(Timer::Section(section), before, due);
    }
}

fn sure(tag: &Tag) -> Option<TrainId> {
    match tag {
        Tag::Sure(train) => Some(*train),
        _ => None,
    }
}
