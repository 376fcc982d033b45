//! Whose fault it may be that contact is lost, in words.
//!
//! What follows a train through several sections is the train: dirty wheels. What stays with a section under several trains is
//! the section: dirty track, a loose feeder.

use track::{Layout, SectionId, TrainId};

use super::record::{Record, Records};
use crate::door::{Fact, Suspect};
use crate::roster::Roster;

/// Contact lost so often gives cause, if it is more than one in so many passages.
const OFTEN: u32 = 6;
const ONE_IN: u32 = 10;
/// So often where only one train was ever seen to lose it.
const OFTEN_UNDER_ONE: u32 = 10;
/// In so many sections it is the train's fault.
const SECTIONS: usize = 3;
/// Filled so often without a reason.
const OFTEN_FALSE: u32 = 3;

impl Records {
    /// Says what the faults of this step make suspect, once for each finding.
    pub fn say_suspects(&mut self, layout: &Layout, roster: &Roster, facts: &mut Vec<Fact>) {
        while let Some((section, train)) = self.anew.pop() {
            if let Some(train) = train.filter(|&train| self.is_train_suspect(train)) {
                let because = self.of_train(train, roster);
                facts.push(Fact::Suspected { suspect: Suspect::Train(train), because });
            } else if self.is_section_suspect(section) {
                let because = self.of_section(section, layout, roster);
                facts.push(Fact::Suspected { suspect: Suspect::Section(section), because });
            }
            self.say_false_fills(section, layout, facts);
        }
    }

    /// Whether a train loses contact wherever it goes, and the others do not. Notes that it was found.
    fn is_train_suspect(&mut self, train: TrainId) -> bool {
        let record = self.train(train);
        let Some(history) = self.trains.get(&train) else { return false };
        if history.is_suspected || !is_often(record, OFTEN) || history.with.len() < SECTIONS {
            return false;
        }
        let (mut own, mut all) = (0, 0);
        for (section, _) in &history.with {
            for (other, count) in self.sections.get(section).into_iter().flat_map(|history| &history.with) {
                all += count;
                own += if *other == train { *count } else { 0 };
            }
        }
        let most = history.with.iter().map(|(_, count)| *count).max().unwrap_or(0);
        let is_found = own * 3 >= all * 2 && most * 2 <= record.contact_lost();
        if let Some(history) = self.trains.get_mut(&train).filter(|_| is_found) {
            history.is_suspected = true;
            // What is the train's fault is not the sections'.
            self.changed.extend(history.with.iter().map(|(section, _)| section));
        }
        is_found
    }

    /// Whether contact is lost in a section whichever train is there. Notes that it was found.
    fn is_section_suspect(&mut self, section: SectionId) -> bool {
        let record = self.section(section);
        let Some(history) = self.sections.get(&section) else { return false };
        if history.is_suspected {
            return false;
        }
        let known: u32 = history.with.iter().map(|(_, count)| *count).sum();
        let most = history.with.iter().max_by_key(|(_, count)| *count);
        let is_found = match most {
            Some((_, count)) if *count * 3 <= known * 2 => is_often(record, OFTEN),
            // The train that loses contact here nearly always: only if it does so nowhere else.
            Some((train, count)) => {
                is_often(record, OFTEN_UNDER_ONE)
                    && self.trains.get(train).is_some_and(|own| count * 10 >= own.record.contact_lost() * 9)
            }
            None => is_often(record, OFTEN_UNDER_ONE),
        };
        if let Some(history) = self.sections.get_mut(&section).filter(|_| is_found) {
            history.is_suspected = true;
        }
        is_found
    }

    fn say_false_fills(&mut self, section: SectionId, layout: &Layout, facts: &mut Vec<Fact>) {
        let passages = self.passages(section);
        let Some(history) = self.sections.get_mut(&section) else { return };
        let times = history.record.false_fills;
        if history.fills_falsely || times < OFTEN_FALSE || times * ONE_IN < passages {
            return;
        }
        history.fills_falsely = true;
        let name = &layout.sections[section].name;
        let because = format!(
            "`{name}` filled {times} times with nothing there, in {passages}: moisture, or something across the rails",
            passages = counted(passages, "passage")
        );
        facts.push(Fact::Suspected { suspect: Suspect::Section(section), because });
    }

    fn passages(&self, section: SectionId) -> u32 {
        self.section(section).passages
    }

    fn of_train(&self, train: TrainId, roster: &Roster) -> String {
        let record = self.train(train);
        let sections = self.trains.get(&train).map_or(0, |history| history.with.len());
        format!(
            "`{}` lost contact {} times in {sections} sections, in {}: dirty wheels",
            roster.name(train),
            record.contact_lost(),
            counted(record.passages, "passage")
        )
    }

    fn of_section(&self, section: SectionId, layout: &Layout, roster: &Roster) -> String {
        let record = self.section(section);
        let name = &layout.sections[section].name;
        let (times, passages) = (record.contact_lost(), counted(record.passages, "passage"));
        match self.sections.get(&section).map_or(&[][..], |history| &history.with[..]) {
            [(only, _)] => format!(
                "`{name}` lost contact {times} times under `{}` alone, in {passages}: dirty track, a loose feeder, or that \
                 train's wheels",
                roster.name(*only)
            ),
            [] => format!("`{name}` lost contact {times} times, in {passages}: dirty track or a loose feeder"),
            trains => format!(
                "`{name}` lost contact {times} times under {} trains, in {passages}: dirty track or a loose feeder",
                trains.len()
            ),
        }
    }
}

fn is_often(record: Record, often: u32) -> bool {
    record.contact_lost() >= often && record.contact_lost() * ONE_IN >= record.passages
}

fn counted(count: u32, what: &str) -> String {
    format!("{count} {what}{}", if count == 1 { "" } else { "s" })
}
