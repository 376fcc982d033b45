//! Where trains stood when the signaller was last in charge.
//!
//! What is remembered of a train is no account until detectors speak for it: its own sections, and those around them, have to be
//! heard first. Then it is as it was if every section of it shows something and nothing near by changed. Whatever did change
//! while nobody looked is doubt (`reconcile.rs`). Until then the train may be where it stood, is held, and takes part in nothing.
//!
//! The nose of a train that stood then, and is as it was, is where it was. One that was on its way rolled on, nobody knows how far:
//! its nose may be anywhere in its section.
//!
//! Limit: trains that were exchanged by hand meanwhile, each put down just where another had stood, look like trains that
//! nobody touched, and so does one that was pushed within its section. And two trains that share a section since they were uncoupled are in doubt after a restart: which of them is on
//! which side is not remembered.

use smallvec::{SmallVec, smallvec};
use track::{Length, SectionId, TrainId};

use super::account::{Account, Head, Stand, Who};
use super::batch::{Batch, Placement};
use super::odometer::detectable_length;
use super::picture::Hold;
use super::topology::way_length;
use super::{Identity, Standing, Whereabouts};
use crate::door::{Direction, Memory, StoodWithin};
use crate::time::Time;

/// What is remembered and not yet reconciled with what detectors say.
#[derive(Debug, Default, serde::Serialize, serde::Deserialize)]
pub(super) struct Memories {
    pub pending: Vec<Remembered>,
    /// Trains of which nobody said since that all of them stands where they are seen.
    pub unsaid: Vec<TrainId>,
    /// Where noses of trains stood that are as they were, until it is reckoned with.
    pub stood: Vec<(TrainId, StoodWithin)>,
    /// Sections whose reports of this instant are taken as they are: they tell how things stand, not that anything moved.
    quiet: Vec<SectionId>,
}

/// Where one train stood.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct Remembered {
    pub train: TrainId,
    /// Tail first, nose last.
    pub holds: SmallVec<[Hold; 4]>,
    pub backward: bool,
    /// Whether that was beyond doubt.
    pub sure: bool,
    /// Where its nose was, if it stood.
    pub stood: Option<StoodWithin>,
}

impl Remembered {
    pub fn covers(&self, section: SectionId) -> bool {
        self.holds.iter().any(|hold| hold.section == section)
    }
}

impl Memories {
    /// Whether reports of the section are no news of a movement.
    pub fn takes_quietly(&self, section: SectionId) -> bool {
        self.quiet.contains(&section)
    }

    /// The trains that are remembered to cover the section.
    pub fn over(&self, section: SectionId) -> impl Iterator<Item = TrainId> + '_ {
        self.pending.iter().filter(move |it| it.covers(section)).map(|it| it.train)
    }
}

impl Identity {
    /// Takes a memory, to be reconciled with what detectors say. One of a train that stands somewhere already is old news.
    ///
    /// # Errors
    /// Tells in plain words why no train can stand so.
    pub(crate) fn remember(&mut self, train: TrainId, memory: &Memory) -> Result<(), String> {
        if memory.on.iter().chain(&memory.hidden).any(|&section| self.layout.sections.get(section).is_none())
            || memory.nose.is_some_and(|nose| self.layout.ends.get(nose).is_none())
        {
            return Err("it was remembered in a section that there is no more".to_owned());
        }
        if memory.on.is_empty() {
            return Err("it was remembered in no section".to_owned());
        }
        // A train seen with a gap, or one whose track was laid anew, cannot be put down like that; it may still be there.
        let placement = Placement::new(&self.layout, train, &memory.on, memory.nose).ok();
        let unjoined = || memory.on.iter().map(|&section| Hold { section, enter: None, seen: false }).collect();
        if self.clusters.home(train).is_some() {
            return Ok(());
        }
        let sure = memory.sure && placement.is_some();
        let mut holds: SmallVec<[Hold; 4]> = placement.map_or_else(unjoined, |placement| placement.holds);
        holds.iter_mut().for_each(|hold| hold.seen = false);
        let backward = memory.leading == Direction::Backward;
        let mut remembered = Remembered { train, holds, backward, sure, stood: memory.stood };
        if let Some(at) = self.memories.pending.iter().position(|other| other.train == train) {
            // Remembered twice: if not alike, neither can be relied on.
            let other = self.memories.pending.remove(at);
            remembered.sure &= other.sure && other.holds == remembered.holds && other.backward == remembered.backward;
            remembered.stood = remembered.stood.filter(|_| other.stood == remembered.stood);
        }
        // It may have coasted on unheard: what it showed itself in, its blind tail may lie in now.
        let hidden: Vec<SectionId> = memory.on.iter().chain(&memory.hidden).copied().collect();
        self.note_hidden(train, &remembered.holds, &hidden);
        self.memories.unsaid.push(train);
        self.memories.pending.push(remembered);
        Ok(())
    }

    /// What is to be remembered of a train, from one run of the signaller to the next; of one that `keeps_within` the sections
    /// where it is seen, for it was never told to go beyond.
    pub(crate) fn memory_of(&self, train: TrainId, keeps_within: impl Fn(&[SectionId]) -> bool) -> Option<Memory> {
        if let Some(it) = self.memories.pending.iter().find(|it| it.train == train) {
            let memory = self.as_memory(train, &it.holds, it.backward, it.sure);
            return Some(Memory { stood: it.stood, ..memory });
        }
        let who = Who::train(train);
        let cluster = self.clusters.cluster(self.clusters.home(train)?);
        let likeliest = cluster.accounts.iter().flat_map(|it| &it.stands).find(|stand| stand.who == who)?;
        let agreeing = cluster.accounts.iter().filter(|account| account.stands.contains(likeliest));
        let agree: f64 = agreeing.map(|account| account.weight).sum();
        let shown = likeliest.holds.iter().any(|hold| hold.seen || self.topology.is_dark(hold.section));
        let sure = shown && 1.0 - agree + cluster.given_up < self.prices.sure;
        let mut memory = self.as_memory(train, &likeliest.holds, likeliest.backward, sure);
        let stands = self.stands_within(likeliest).filter(|_| sure);
        let keeps_within = stands.is_some() && keeps_within(&memory.on);
        memory.stood = stands.map(|(within, length)| {
            let end = if keeps_within { length } else { Length::MAX };
            StoodWithin { least: within.least.min(end), most: within.most.min(end) }
        });
        if keeps_within {
            memory.hidden = self.trailing(train).filter(|section| !memory.on.contains(section)).collect();
        }
        Some(memory)
    }

    /// Where the nose of a train is that surely stands, and how long its section is.
    fn stands_within(&self, stand: &Stand) -> Option<(StoodWithin, Length)> {
        let (least, most) = self.odometers.head_standing(stand)?;
        let length = way_length(&self.layout, stand.nose().enter?, None)?;
        let (_, front, rear) = detectable_length(&self.roster, stand.who).unwrap_or_default();
        let hidden = if stand.backward { rear } else { front };
        let nose = |head: Length| head.max(Length::ZERO).min(length) + hidden;
        Some((StoodWithin { least: nose(least), most: nose(most) }, length))
    }

    fn as_memory(&self, train: TrainId, holds: &[Hold], backward: bool, sure: bool) -> Memory {
        let nose = holds.last().and_then(|hold| hold.enter).and_then(|enter| {
            // An end that tells by itself where the nose came in, where there is one.
            let leaves = self.topology.passages(enter).iter().map(|passage| passage.leave);
            leaves
                .clone()
                .find(|&leave| self.topology.only_entry(leave) == Some(enter))
                .or_else(|| leaves.clone().next())
        });
        let leading = if backward { Direction::Backward } else { Direction::Forward };
        let on: Vec<SectionId> = holds.iter().map(|hold| hold.section).collect();
        let hidden = self.hidden_ends(train).into_iter().filter(|section| !on.contains(section)).collect();
        Memory { on, hidden, nose, leading, sure, stood: None }
    }

    /// Where a train was that is only remembered.
    pub(super) fn remembered_whereabouts(&self, train: TrainId) -> Option<Whereabouts> {
        let it = self.memories.pending.iter().find(|it| it.train == train)?;
        let stand = it.as_stand(it.holds.clone());
        Some(Whereabouts {
            sure: false,
            leading: if it.backward { Direction::Backward } else { Direction::Forward },
            nose: None,
            blind_nose: self.blind_nose(&stand),
            footprint: it.holds.clone(),
        })
    }

    /// A word or a reading of a train counts for more than what is remembered of it; and reports that only tell how things
    /// stand are taken note of.
    pub(super) fn begin_reconciling(&mut self, now: Time, batch: &Batch) {
        self.memories.quiet.clear();
        if self.memories.pending.is_empty() {
            return;
        }
        let mut pending = std::mem::take(&mut self.memories.pending);
        pending.retain(|it| {
            let placed = batch.placed.iter().any(|placement| placement.train == it.train);
            let named = batch.named.iter().chain(&batch.read).any(|&(_, train)| train == it.train);
            let stays = !placed && !named && !batch.lifted.contains(&it.train);
            if !stays {
                it.holds.iter().for_each(|hold| self.tags.touch_section(hold.section));
            }
            stays
        });
        self.memories.pending = pending;
        for &(section, filled) in &batch.edges {
            if batch.placed.iter().any(|placement| placement.stands_on(section)) || !self.is_at_rest_around(section) {
                continue;
            }
            if self.reported[section] != Some(filled) && filled {
                self.filled_at[section] = now;
            }
            self.reported[section] = Some(filled);
            self.tags.touch_section(section);
            self.memories.quiet.push(section);
        }
    }

    /// Whether nothing but trains that are only remembered can have to do with a report of the section.
    fn is_at_rest_around(&self, section: SectionId) -> bool {
        let nobody_near = || self.topology.near(section).iter().all(|&near| self.clusters.at(near).is_empty());
        let first_heard = self.reported[section].is_none();
        self.clusters.at(section).is_empty()
            && (first_heard || self.memories.over(section).next().is_some() || nobody_near())
    }

    /// Every train that is as it was becomes sure again; of the others there are accounts, once enough was heard.
    pub(super) fn reconcile(&mut self, now: Time) {
        if self.memories.pending.is_empty() {
            return;
        }
        for at in 0..self.memories.pending.len() {
            for place in 0..self.memories.pending[at].holds.len() {
                self.tags.touch_section(self.memories.pending[at].holds[place].section);
            }
        }
        let as_it_was: Vec<bool> = self.memories.pending.iter().map(|it| self.is_as_it_was(it)).collect();
        let heard: Vec<bool> = self.memories.pending.iter().map(|it| self.has_heard_all_around(it)).collect();
        let mut changed = Vec::new();
        let mut kept = Vec::new();
        for (at, remembered) in std::mem::take(&mut self.memories.pending).into_iter().enumerate() {
            match (heard[at], as_it_was[at]) {
                (false, _) => kept.push(remembered),
                (true, true) => self.confirm(now, &remembered),
                (true, false) => changed.push(remembered),
            }
        }
        self.memories.pending = kept;
        if !changed.is_empty() {
            self.weigh_what_changed(&changed);
        }
    }

    fn confirm(&mut self, now: Time, remembered: &Remembered) {
        let stand = remembered.as_stand(self.as_seen(remembered));
        let mut accounts = vec![Account { weight: 1.0, stands: smallvec![stand] }];
        self.tags.touch(&accounts);
        self.clusters.add(&mut accounts, 0.0);
        self.memories.stood.extend(remembered.stood.map(|stood| (remembered.train, stood)));
        self.anchor(remembered.train, now);
    }

    /// Its sections, each with whether its detector shows something that is no other train for all that is known.
    pub(super) fn as_seen(&self, remembered: &Remembered) -> SmallVec<[Hold; 4]> {
        let seen = |section: SectionId| {
            !self.topology.is_dark(section) && self.reported[section] == Some(true) && !self.is_of_known(section)
        };
        remembered.holds.iter().map(|hold| Hold { seen: seen(hold.section), ..*hold }).collect()
    }

    fn around(&self, remembered: &Remembered) -> impl Iterator<Item = SectionId> + '_ {
        let sections: SmallVec<[SectionId; 4]> = remembered.holds.iter().map(|hold| hold.section).collect();
        sections.into_iter().flat_map(|section| self.topology.near(section).iter().copied())
    }

    fn has_heard_all_around(&self, remembered: &Remembered) -> bool {
        self.around(remembered).all(|section| {
            self.topology.is_dark(section)
                || (self.reported[section].is_some() && self.standings[section] == Standing::Current)
        })
    }

    /// Whether nothing speaks against the train standing where it stood: each of its sections shows something, but that one at
    /// the edge may have just lost it, and near by nothing came and nobody went.
    fn is_as_it_was(&self, remembered: &Remembered) -> bool {
        let shows = |hold: &Hold| self.topology.is_dark(hold.section) || self.reported[hold.section] == Some(true);
        let (first, last) = (remembered.holds.first(), remembered.holds.last());
        let inner = remembered.holds.iter().skip(1).take(remembered.holds.len().saturating_sub(2)).all(shows);
        let edges = [first, last].into_iter().flatten().filter(|hold| shows(hold)).count();
        let others = || self.memories.pending.iter().filter(|other| other.train != remembered.train);
        let shared = remembered
            .holds
            .iter()
            .any(|hold| others().any(|other| other.covers(hold.section)) || !self.clusters.at(hold.section).is_empty());
        let nothing_changed = self.around(remembered).all(|section| {
            let theirs = others().any(|other| other.covers(section));
            match self.reported[section] {
                _ if self.topology.is_dark(section) => true,
                Some(true) => theirs || remembered.covers(section) || !self.is_unaccounted_for(section),
                _ => !theirs,
            }
        });
        remembered.sure && inner && edges > 0 && !shared && nothing_changed
    }

    /// Whether something fills the section, and nobody was remembered or is known to be there.
    pub(super) fn is_unaccounted_for(&self, section: SectionId) -> bool {
        self.reported[section] == Some(true)
            && self.memories.over(section).next().is_none()
            && !self.is_of_known(section)
    }

    /// Whether some account has a known train in the section.
    fn is_of_known(&self, section: SectionId) -> bool {
        let known = |stand: &Stand| stand.who.known().is_some() && stand.sees(section);
        let clusters = self.clusters.at(section).iter().map(|&cluster| self.clusters.cluster(cluster));
        clusters.flat_map(|cluster| &cluster.accounts).any(|account| account.stands.iter().any(known))
    }
}

impl Remembered {
    pub fn as_stand(&self, holds: SmallVec<[Hold; 4]>) -> Stand {
        let who = Who::train(self.train);
        Stand { who, backward: self.backward, is_said: false, lost_for: 0, holds, head: Head::UNKNOWN }
    }
}
