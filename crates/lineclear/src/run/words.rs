//! What happened, in words.

use std::collections::BTreeSet;
use std::fmt;

use hooks::NoticeKind;
use signaller::{Destination, Fact, Output, RouteStage, Tag, Time};
use testtrack::Happening;
use track::{DistrictId, InputId, Layout, SectionId, Table, TrainId};

use super::house::Heard;

/// How much attention a line wants.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Weight {
    /// The ordinary course of things.
    Ordinary,
    /// Something is not as it should be, and is taken care of.
    Notable,
    /// Something went wrong.
    Grave,
}

/// One thing that happened.
#[derive(Clone, Debug)]
pub(crate) struct Line {
    /// When.
    pub(crate) at: Time,
    /// How much attention it wants.
    pub(crate) weight: Weight,
    /// What.
    pub(crate) text: String,
}

impl fmt::Display for Line {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}  {}", clock(self.at), self.text)
    }
}

/// A layout time as people read it, to the tenth of a second.
pub(crate) fn clock(at: Time) -> String {
    let tenths = at.nanos() / 100_000_000;
    let (hours, minutes, seconds, tenth) = (tenths / 36_000, tenths / 600 % 60, tenths / 10 % 60, tenths % 10);
    format!("{hours}:{minutes:02}:{seconds:02}.{tenth}")
}

/// A train's name.
pub(super) fn train(layout: &Layout, train: TrainId) -> &str {
    layout.trains.get(train).map_or("a stranger", |train| &train.name)
}

/// A destination's name.
pub(super) fn place(layout: &Layout, place: Destination) -> &str {
    match place {
        Destination::Stop(stop) => &layout.stops[stop].name,
        Destination::Section(section) => &layout.sections[section].name,
    }
}

/// Puts into words what is worth telling.
#[derive(Debug)]
pub(super) struct Teller {
    /// Sections of which it was last said that nobody is sure.
    unsure: Table<SectionId, Sureness>,
    /// Inputs that were on when that was known last.
    on: BTreeSet<InputId>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sureness {
    Sure,
    Unsure,
}

impl Teller {
    /// Nothing was told yet.
    pub(super) fn new(layout: &Layout) -> Self {
        Self { unsure: Table::filled(Sureness::Sure, layout.sections.len()), on: BTreeSet::new() }
    }

    /// What is worth telling of one moment.
    pub(super) fn lines(&mut self, heard: &Heard<'_>) -> Vec<Line> {
        let layout = heard.board.layout();
        let at = heard.now;
        let facts = heard.outputs.iter().filter_map(|output| match output {
            Output::Fact(fact) => Some(fact),
            _ => None,
        });
        let mut lines: Vec<Line> =
            facts.filter_map(|fact| self.fact(layout, fact)).map(|(weight, text)| Line { at, weight, text }).collect();
        if let Some(on_table) = &heard.on_table {
            lines.extend(on_table.happenings.iter().filter_map(|(at, happening)| match happening {
                Happening::Faulted { mishap } => {
                    let text = format!("on the table: {}", on_table.table.mishap_in_words(mishap));
                    Some(Line { at: *at, weight: Weight::Notable, text })
                }
                _ => None,
            }));
        }
        lines.extend(heard.notices.iter().map(|notice| {
            let is_ordinary = matches!(notice.kind, NoticeKind::Said(_) | NoticeKind::Reloaded(_));
            let weight = if is_ordinary { Weight::Ordinary } else { Weight::Notable };
            Line { at, weight, text: notice.to_string() }
        }));
        if let Some(on_table) = &heard.on_table {
            lines.extend(on_table.violations.iter().map(|violation| {
                let text = format!("broken rule {:?}: {}", violation.rule, violation.sentence);
                Line { at: violation.at, weight: Weight::Grave, text }
            }));
        }
        lines
    }

    fn fact(&mut self, layout: &Layout, fact: &Fact) -> Option<(Weight, String)> {
        let name = |id: &TrainId| train(layout, *id);
        let told = match fact {
            Fact::Tagged { section, tag } => return self.tagged(layout, *section, tag),
            Fact::Departed { train, to } => {
                (Weight::Ordinary, format!("{} departs for {}", name(train), place(layout, *to)))
            }
            Fact::Arrived { train, at } => {
                (Weight::Ordinary, format!("{} arrives at {}", name(train), place(layout, *at)))
            }
            Fact::KeptBack { train, reason } => (Weight::Ordinary, format!("{} is kept back: {reason}", name(train))),
            Fact::Waiting { train, reason } => (Weight::Ordinary, format!("{} waits: {reason}", name(train))),
            Fact::HoldSet { train, reason } => (Weight::Notable, format!("{} is held: {reason}", name(train))),
            Fact::HoldLifted { train } => (Weight::Ordinary, format!("{} is held no more", name(train))),
            Fact::DoubtRaised { about, .. } => {
                let what = about.alternatives.join("; or ");
                (Weight::Notable, format!("in doubt: {what}. {}", about.settled_by))
            }
            Fact::DoubtCleared { by, .. } => (Weight::Ordinary, format!("a doubt is settled: {by}")),
            Fact::RollCallBegan { train } => {
                (Weight::Notable, format!("{} is moved a little to find out where it is", name(train)))
            }
            Fact::RollCallEnded { train, found: Some(section) } => {
                (Weight::Ordinary, format!("{} was found in {}", name(train), layout.sections[*section].name))
            }
            Fact::RollCallEnded { train, found: None } => {
                (Weight::Notable, format!("{} was moved and did not show itself", name(train)))
            }
            Fact::Coupled { train, with } => {
                (Weight::Ordinary, format!("{} was coupled to {}", name(with), name(train)))
            }
            Fact::Uncoupled { train, rest } => {
                (Weight::Ordinary, format!("{} was uncoupled from {}", name(rest), name(train)))
            }
            Fact::RouteStage { entry, exit, stage } => {
                let route = format!("the route from {} to {}", layout.signals[*entry].name, exit.name(layout));
                let told = match stage {
                    RouteStage::Called => "is locked",
                    RouteStage::Cleared => "is cleared",
                    RouteStage::ApproachLocked => "is cleared, and somebody may have seen it",
                    RouteStage::Used => "is used",
                    RouteStage::Cancelled => "is cancelled",
                    RouteStage::Released => "is released",
                };
                (Weight::Ordinary, format!("{route} {told}"))
            }
            Fact::RouteWaiting { entry, reason } => {
                (Weight::Notable, format!("the route from {} waits: {reason}", layout.signals[*entry].name))
            }
            Fact::Withdrawn { section, because } => {
                (Weight::Ordinary, format!("no train runs over {}: {because}", layout.sections[*section].name))
            }
            Fact::InService { section } => {
                (Weight::Ordinary, format!("trains run over {} again", layout.sections[*section].name))
            }
            Fact::InputIs { input, on } => return self.input(layout, *input, (*on)?),
            equipment => return of_equipment(layout, equipment),
        };
        Some(told)
    }

    /// An input that is as it was when it was known last, or off at first, is not worth a line.
    fn input(&mut self, layout: &Layout, input: InputId, on: bool) -> Option<(Weight, String)> {
        let changes = if on { self.on.insert(input) } else { self.on.remove(&input) };
        let name = &layout.inputs[input].name;
        changes.then(|| (Weight::Ordinary, format!("input {name}: {}", if on { "on" } else { "off" })))
    }

    fn tagged(&mut self, layout: &Layout, section: SectionId, tag: &Tag) -> Option<(Weight, String)> {
        let sureness = if matches!(tag, Tag::Doubt(_) | Tag::Unexplained) { Sureness::Unsure } else { Sureness::Sure };
        let before = std::mem::replace(&mut self.unsure[section], sureness);
        let there = &layout.sections[section].name;
        match tag {
            Tag::Doubt(trains) => {
                let names: Vec<&str> = trains.iter().map(|&id| train(layout, id)).collect();
                Some((Weight::Notable, format!("{there} holds {}: not sure which", names.join(" or "))))
            }
            Tag::Unexplained => Some((Weight::Notable, format!("{there} is occupied, and no known train explains it"))),
            Tag::Sure(id) if before == Sureness::Unsure => {
                Some((Weight::Ordinary, format!("{there} surely holds {} again", train(layout, *id))))
            }
            Tag::Free if before == Sureness::Unsure => Some((Weight::Ordinary, format!("{there} is free again"))),
            Tag::Sure(_) | Tag::Free => None,
        }
    }
}

/// What is worth telling of power, links and what should be looked at.
fn of_equipment(layout: &Layout, fact: &Fact) -> Option<(Weight, String)> {
    Some(match fact {
        Fact::PowerLost { district, because } => {
            (Weight::Notable, format!("the power is off{}: {because}", within(layout, *district)))
        }
        Fact::PowerBack { district } => (Weight::Ordinary, format!("the power is back{}", within(layout, *district))),
        Fact::LinkLost { link } => (Weight::Notable, format!("link {} is down", layout.links[*link].name)),
        Fact::LinkBack { link } => (Weight::Ordinary, format!("link {} is up again", layout.links[*link].name)),
        Fact::Suspected { because, .. } => (Weight::Notable, because.clone()),
        _ => return None,
    })
}

/// Where the power is off; nothing to say where everything on the layout goes dark together.
fn within(layout: &Layout, district: Option<DistrictId>) -> String {
    district.map_or_else(String::new, |district| format!(" in {}", layout.districts[district].name))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn layout_time_is_told_in_hours_minutes_and_seconds() {
        assert_eq!(clock(Time::from_millis(12_550)), "0:00:12.5");
        assert_eq!(clock(Time::from_millis(3_723_000)), "1:02:03.0");
    }
}
