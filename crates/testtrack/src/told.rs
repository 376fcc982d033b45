//! What the signaller was told: the reports that were delivered to it, and what it ordered. With this the checkers judge what
//! it could know.

use std::time::Duration;

use signaller::{Fact, Input, Output, Suspect, Time};
use smallvec::SmallVec;
use track::{Layout, Lie, SectionId, Table as Rows, TrainId, TurnoutId};

use crate::table::Table;

/// What was delivered last, and ordered last.
#[derive(Debug)]
pub(crate) struct Told {
    sections: Rows<SectionId, Heard>,
    turnouts: Rows<TurnoutId, Option<(Lie, Time)>>,
    ordered: Rows<TurnoutId, Option<(Lie, Time)>>,
    /// Turnouts that the signaller found out to lie otherwise than it had ordered, and has not thrown since.
    found_out: Rows<TurnoutId, bool>,
    holders: Rows<SectionId, SmallVec<[TrainId; 1]>>,
}

/// What was heard of a section.
#[derive(Clone, Copy, Debug)]
struct Heard {
    says: Option<bool>,
    is_dark: bool,
    /// Its link is down.
    is_cut_off: bool,
    /// Its link went down, and it was not reported since.
    is_stale: bool,
    occupied_since: Option<Time>,
    /// When it was last said to be free after it had been occupied.
    freed_at: Option<Time>,
    /// When the power was last said to be back.
    lit_at: Option<Time>,
}

impl Heard {
    fn power(&mut self, live: bool, now: Time) {
        if live && self.is_dark {
            self.lit_at = Some(now);
        }
        self.is_dark = !live;
        self.update(now);
    }

    fn update(&mut self, now: Time) {
        if self.is_dark || self.is_cut_off || self.is_stale || self.says != Some(false) {
            self.occupied_since.get_or_insert(now);
        } else if self.occupied_since.take().is_some() {
            self.freed_at = Some(now);
        }
    }
}

impl Told {
    pub(crate) fn new(layout: &Layout) -> Self {
        let nothing = Heard {
            says: None,
            is_dark: false,
            is_cut_off: false,
            is_stale: false,
            occupied_since: Some(Time::ZERO),
            freed_at: None,
            lit_at: None,
        };
        Self {
            sections: Rows::filled(nothing, layout.sections.len()),
            turnouts: Rows::filled(None, layout.turnouts.len()),
            ordered: Rows::filled(None, layout.turnouts.len()),
            found_out: Rows::filled(false, layout.turnouts.len()),
            holders: Rows::filled(SmallVec::new(), layout.sections.len()),
        }
    }

    /// Takes in what is handed over to the signaller.
    pub(crate) fn deliver(&mut self, layout: &Layout, now: Time, input: &Input) {
        match *input {
            Input::SectionReported { section, occupied } => {
                let heard = &mut self.sections[section];
                (heard.says, heard.is_stale) = (Some(occupied), false);
                heard.update(now);
            }
            Input::TurnoutReported { turnout, lie } => self.turnouts[turnout] = lie.map(|lie| (lie, now)),
            Input::PowerReported { district, live } => {
                for (section, _) in layout.sections.iter().filter(|(_, row)| row.district == Some(district)) {
                    self.sections[section].power(live, now);
                }
            }
            Input::LinkReported { link, up } => {
                let carried =
                    |row: &track::Section| row.detector.is_some_and(|it| layout.detectors[it].link == Some(link));
                for (section, _) in layout.sections.iter().filter(|(_, row)| carried(row)) {
                    let heard = &mut self.sections[section];
                    (heard.is_cut_off, heard.is_stale) = (!up, true);
                    heard.update(now);
                }
                for (turnout, _) in layout.turnouts.iter().filter(|(_, row)| row.link == Some(link)) {
                    self.turnouts[turnout] = None;
                }
            }
            _ => {}
        }
    }

    /// Nothing that was granted counts any more.
    pub(crate) fn forget_grants(&mut self) {
        self.holders.values_mut().for_each(SmallVec::clear);
    }

    /// Takes in what the signaller says.
    pub(crate) fn hear(&mut self, layout: &Layout, now: Time, output: &Output) {
        match output {
            Output::Throw { turnout, lie } => {
                self.found_out[*turnout] = false;
                let before = &mut self.ordered[*turnout];
                if before.is_none_or(|(ordered, _)| ordered != *lie) {
                    *before = Some((*lie, now));
                }
            }
            Output::Power { district, live } => {
                for (section, _) in layout.sections.iter().filter(|(_, row)| row.district == Some(*district)) {
                    self.sections[section].power(*live, now);
                }
            }
            Output::Fact(Fact::Suspected { suspect: Suspect::Turnout(turnout), .. }) => {
                self.found_out[*turnout] = true;
            }
            Output::Fact(Fact::RouteSet { train, sections }) => {
                for &section in sections {
                    if !self.holders[section].contains(train) {
                        self.holders[section].push(*train);
                    }
                }
            }
            Output::Fact(Fact::SectionReleased { train, section }) => {
                self.holders[*section].retain(|holder| holder != train);
            }
            _ => {}
        }
    }
}

impl Table {
    /// Since when the last report delivered to the signaller says that something is in the section, or it is known to be
    /// unknown; nothing where it says free, and in dark sections, which nobody reports.
    pub fn told_occupied_since(&self, section: SectionId) -> Option<Time> {
        self.layout().sections[section].detector?;
        self.told.sections[section].occupied_since
    }

    /// Whether the last report delivered to the signaller says that something is in the section.
    pub(crate) fn is_told_filled(&self, section: SectionId) -> bool {
        self.told.sections[section].says == Some(true)
    }

    /// Whether the power of the section was said to be off, or was cut by the signaller, and is not back for longer than that.
    pub(crate) fn is_told_dark(&self, section: SectionId, settling: Duration, at: Time) -> bool {
        let heard = &self.told.sections[section];
        heard.is_dark || heard.lit_at.is_some_and(|lit| at.since(lit) <= settling)
    }

    /// When a report was delivered last that says that a section has become free.
    pub(crate) fn told_freed_at(&self, section: SectionId) -> Option<Time> {
        self.told.sections[section].freed_at
    }

    /// What the last report delivered to the signaller says of how a turnout lies, and when that was.
    pub fn told_lie(&self, turnout: TurnoutId) -> Option<(Lie, Time)> {
        self.told.turnouts[turnout]
    }

    /// How a turnout was ordered to lie last, and since when.
    pub fn ordered_lie(&self, turnout: TurnoutId) -> Option<(Lie, Time)> {
        self.told.ordered[turnout]
    }

    /// Whether the signaller found out that a turnout lies otherwise than it ordered.
    pub(crate) fn is_found_out(&self, turnout: TurnoutId) -> bool {
        self.told.found_out[turnout]
    }

    /// The trains that were granted a section.
    pub(crate) fn holders(&self, section: SectionId) -> &[TrainId] {
        &self.told.holders[section]
    }
}
