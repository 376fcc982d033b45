//! N2: two trains hold authority over the same section. N4: a driven train's nose passes the end of its authority.
//!
//! Sections that cross are like one here: where exactly their rails meet nobody measured, so on the table nothing touches there.
//! A train with wheels in a section holds it, granted or not: giving it to another is N2 too, whatever detectors say. A train
//! may move within the sections it lies in; every section that its nose rolls into must have been granted before and not been
//! given back. The end of the track is the end of every authority.

use signaller::Time;
use track::{EndId, SectionId, TrainId};

use super::{Checkers, Rule, excuses};
use crate::table::Table;

pub(super) fn granted(checkers: &mut Checkers, now: Time, train: TrainId, sections: &[SectionId], table: &Table) {
    for &section in sections {
        crossed(checkers, now, train, section, table);
        let holders = checkers.said.authority[section].iter().copied();
        let (held, lies) =
            (holders.filter(|&other| other != train).min(), lies_in(checkers, table, train, section, now));
        if let Some(other) = held.or(lies) {
            let how = if held.is_some() { "holds it" } else { "lies there" };
            let (name, other_name) = (checkers.train_name(train), table.body_name(other));
            let sentence = format!("{name} was granted {}, but {other_name} {how}", checkers.section_name(section));
            checkers.report(now, Rule::N2, Some(train), Some(section), sentence);
        }
        let authority = &mut checkers.said.authority[section];
        if !authority.contains(&train) {
            authority.push(train);
        }
    }
}

/// A section that crosses one which another holds, or lies in, is given to nobody either.
fn crossed(checkers: &mut Checkers, now: Time, train: TrainId, section: SectionId, table: &Table) {
    for place in 0..checkers.layout.sections[section].crosses.len() {
        let other = checkers.layout.sections[section].crosses[place];
        let held = checkers.said.authority[other].iter().copied().min();
        let Some(by) = held.or_else(|| lies_in(checkers, table, train, other, now)) else { continue };
        let how = if held.is_some() { "holds that" } else { "lies there" };
        let (name, by) = (checkers.train_name(train), table.body_name(by));
        let [here, there] = [section, other].map(|section| checkers.section_name(section));
        let sentence = format!("{name} was granted {here}, which crosses {there}, but {by} {how}");
        checkers.report(now, Rule::N2, Some(train), Some(section), sentence);
    }
}

/// Another train that lies in a section with its wheels, and that somebody could see.
fn lies_in(checkers: &Checkers, table: &Table, train: TrainId, section: SectionId, now: Time) -> Option<TrainId> {
    let others = table.trains_in(section).iter().map(|presence| presence.train);
    let lying = others.filter(|&other| {
        table.belongs_to(other) != Some(train)
            && table.stands_in(other, section)
            && !excuses::nobody_could_see(checkers, table, other, section, Some(train), now)
    });
    lying.min()
}

pub(super) fn entered(checkers: &mut Checkers, at: Time, train: TrainId, section: SectionId) {
    if !checkers.said.authority[section].contains(&train) {
        let (name, place) = (checkers.train_name(train), checkers.section_name(section));
        let sentence = format!("{name} ran into {place}, which it had not been granted");
        checkers.report(at, Rule::N4, Some(train), Some(section), sentence);
    }
}

pub(super) fn ended(checkers: &mut Checkers, at: Time, train: TrainId, end: EndId) {
    let sentence =
        format!("{} ran against the end of the track at {}", checkers.train_name(train), checkers.layout.end_name(end));
    checkers.report(at, Rule::N4, Some(train), Some(checkers.layout.ends[end].section), sentence);
}
