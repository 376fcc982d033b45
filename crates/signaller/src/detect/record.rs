//! What is on record of detectors and of trains.
//!
//! Counts are halved every so many passages, so that what was mended is forgotten, and memory is bounded: a section remembers
//! a few trains, a train a few sections, and nothing is kept of those that never gave cause.

use std::collections::BTreeMap;
use std::time::Duration;

use smallvec::SmallVec;
use track::{Id, SectionId, Table, TrainId};

use super::rules::KEPT_BACK_AT_MOST;
use crate::door::Tag;

/// After so many passages everything on record counts half.
const MEMORY: u32 = 400;
/// How many sections or trains are remembered of one train or section.
const REMEMBERED: usize = 8;
/// A detector with so many flickers on record has its emptyings bridged by itself.
const FLICKERS_TO_BRIDGE: u32 = 3;
/// At most so long.
const LONGEST_BRIDGE: Duration = KEPT_BACK_AT_MOST;

/// How often something went wrong, beside how often all went well. Of a section: with its detector, its feed and its track; of
/// a train: with its wheels.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Record {
    /// It emptied under a train and filled again at once.
    pub flickers: u32,
    /// It emptied under a train that could not have gone, and was found to be there later.
    pub losses: u32,
    /// It filled without a reason, and emptied again without one.
    pub false_fills: u32,
    /// A train passed.
    pub passages: u32,
}

impl Record {
    /// How often contact was lost, for a moment or for longer.
    pub fn contact_lost(&self) -> u32 {
        self.flickers + self.losses
    }

    fn halve(&mut self) {
        for count in [&mut self.flickers, &mut self.losses, &mut self.false_fills, &mut self.passages] {
            *count /= 2;
        }
    }
}

/// A section filled again after it had emptied under a train.
#[derive(Clone, Copy, Debug)]
pub(super) struct Returned {
    pub section: SectionId,
    /// The train that was there.
    pub train: TrainId,
    /// For how long it read free.
    pub gap: Duration,
    /// No movement explained that it emptied.
    pub was_lost: bool,
}

/// Of one section or train.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct History<I> {
    pub record: Record,
    /// Where, or under which trains, contact was lost, and how often.
    pub with: SmallVec<[(I, u32); REMEMBERED]>,
    pub longest_gap: Duration,
    /// It was said that contact is lost too often, and nothing speaks against it since.
    pub is_suspected: bool,
    /// It was said that it fills without a reason.
    pub fills_falsely: bool,
}

/// All records.
#[derive(Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct Records {
    passages: Table<SectionId, u32>,
    pub sections: BTreeMap<SectionId, History<TrainId>>,
    pub trains: BTreeMap<TrainId, History<SectionId>>,
    passages_of_trains: Table<TrainId, u32>,
    /// What gave cause in this step.
    pub anew: Vec<(SectionId, Option<TrainId>)>,
    /// Sections whose record is different now.
    pub changed: Vec<SectionId>,
}

impl<I: Copy + PartialEq> History<I> {
    fn new() -> Self {
        Self {
            record: Record::default(),
            with: SmallVec::new(),
            longest_gap: Duration::ZERO,
            is_suspected: false,
            fills_falsely: false,
        }
    }

    fn count(&mut self, with: Option<I>) {
        let Some(with) = with else { return };
        if let Some((_, count)) = self.with.iter_mut().find(|(other, _)| *other == with) {
            *count += 1;
            return;
        }
        if self.with.len() == REMEMBERED {
            let least = (0..REMEMBERED).min_by_key(|&place| self.with[place].1).unwrap_or(0);
            self.with.remove(least);
        }
        self.with.push((with, 1));
    }

    fn halve(&mut self) {
        self.record.halve();
        self.longest_gap /= 2;
        for (_, count) in &mut self.with {
            *count /= 2;
        }
        self.with.retain(|(_, count)| *count > 0);
        // Half of what makes suspect clears: nothing is said twice of the same cause.
        self.is_suspected &= self.record.contact_lost() * 20 >= self.record.passages.max(1);
        self.fills_falsely &= self.record.false_fills > 0;
    }
}

impl Records {
    pub fn new(sections: usize) -> Self {
        Self {
            passages: Table::filled(0, sections),
            sections: BTreeMap::new(),
            trains: BTreeMap::new(),
            passages_of_trains: Table::new(),
            anew: Vec::new(),
            changed: Vec::new(),
        }
    }

    pub fn section(&self, section: SectionId) -> Record {
        let passages = self.passages[section];
        Record { passages, ..self.sections.get(&section).map_or_else(Record::default, |history| history.record) }
    }

    pub fn train(&self, train: TrainId) -> Record {
        let passages = self.passages_of_trains.get(train).copied().unwrap_or(0);
        Record { passages, ..self.trains.get(&train).map_or_else(Record::default, |history| history.record) }
    }

    /// How often contact was lost in a section, but for what is the fault of a train's wheels.
    pub fn misses(&self, section: SectionId) -> u32 {
        let Some(history) = self.sections.get(&section) else { return 0 };
        let is_at_fault = |train: &TrainId| self.trains.get(train).is_some_and(|history| history.is_suspected);
        let by_trains: u32 = history.with.iter().filter(|(train, _)| is_at_fault(train)).map(|(_, count)| count).sum();
        history.record.contact_lost().saturating_sub(by_trains)
    }

    /// For how long an emptying of the section is taken for a flicker, by its record.
    pub fn bridge(&self, section: SectionId) -> Duration {
        let history = self.sections.get(&section);
        let history = history.filter(|history| history.record.flickers >= FLICKERS_TO_BRIDGE);
        history.map_or(Duration::ZERO, |history| (history.longest_gap * 2).min(LONGEST_BRIDGE))
    }

    /// A train passed a section.
    pub fn passed(&mut self, section: SectionId, train: Option<TrainId>) {
        let passages = &mut self.passages[section];
        *passages += 1;
        if *passages >= MEMORY {
            *passages /= 2;
            let passages = *passages;
            forget(&mut self.sections, section, passages);
        }
        if self.sections.contains_key(&section) {
            self.changed.push(section);
        }
        let Some(train) = train else { return };
        while self.passages_of_trains.len() <= train.index() {
            self.passages_of_trains.push(0);
        }
        let passages = &mut self.passages_of_trains[train];
        *passages += 1;
        if *passages >= MEMORY {
            *passages /= 2;
            let passages = *passages;
            forget(&mut self.trains, train, passages);
        }
    }

    /// A section emptied under a train and filled again at once.
    pub fn flickered(&mut self, section: SectionId, train: Option<TrainId>, gap: Duration) {
        self.lost_contact(section, train, |record| record.flickers += 1);
        if let Some(history) = self.sections.get_mut(&section) {
            history.longest_gap = history.longest_gap.max(gap.min(LONGEST_BRIDGE));
        }
    }

    /// A section filled and emptied again, and nobody was there.
    pub fn filled_falsely(&mut self, section: SectionId) {
        self.sections.entry(section).or_insert_with(History::new).record.false_fills += 1;
        self.anew.push((section, None));
        self.changed.push(section);
    }

    /// What identity made of a section that filled again tells whether the train had been there all the time.
    pub fn count_return(&mut self, returned: &Returned, tag: &Tag) {
        if *tag != Tag::Sure(returned.train) {
            return;
        }
        if returned.was_lost {
            self.lost_contact(returned.section, Some(returned.train), |record| record.losses += 1);
        } else {
            self.flickered(returned.section, Some(returned.train), returned.gap);
        }
    }

    fn lost_contact(&mut self, section: SectionId, train: Option<TrainId>, count: impl Fn(&mut Record)) {
        let history = self.sections.entry(section).or_insert_with(History::new);
        count(&mut history.record);
        history.count(train);
        if let Some(train) = train {
            let history = self.trains.entry(train).or_insert_with(History::new);
            count(&mut history.record);
            history.count(Some(section));
        }
        self.anew.push((section, train));
        self.changed.push(section);
    }
}

/// Everything on record counts half; nothing is kept of what gives no cause any more.
fn forget<I: Copy + Ord, W: Copy + PartialEq>(histories: &mut BTreeMap<I, History<W>>, id: I, passages: u32) {
    let Some(history) = histories.get_mut(&id) else { return };
    history.record.passages = passages;
    history.halve();
    if history.with.is_empty() && history.record.contact_lost() + history.record.false_fills == 0 {
        histories.remove(&id);
    }
}
