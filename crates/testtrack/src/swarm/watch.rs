//! What a trial keeps in mind: who moved on, who is held and why, and which questions are open.

use std::collections::{BTreeMap, BTreeSet};

use signaller::{Answer, Doubt, DoubtId, Fact, Input, Output, Request, Tag, Ticket, Time};
use track::{Layout, SectionId, Table as Rows, TrainId};

use super::trial::{Broken, Law};
use super::words::train_name;
use crate::meddling::HELD;
use crate::session::Moment;
use crate::statistics::{STOPPED, is_for_want_of_power};
use crate::table::Table;

/// How a train is refused that cannot be sent anywhere until somebody says how it points.
const NOBODY_KNOWS_WHICH_WAY: &str = "nobody knows which way";

/// What settled a doubt.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Settled {
    /// A reader read a train.
    ByReading,
    /// A person said so.
    ByWord,
    /// A train was moved a little.
    ByRollCall,
    /// What detectors reported later.
    ByEvidence,
}

impl Settled {
    /// All of them.
    pub(super) const ALL: [Self; 4] = [Self::ByReading, Self::ByWord, Self::ByRollCall, Self::ByEvidence];

    /// How figures call it.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::ByReading => "by_reading",
            Self::ByWord => "by_word",
            Self::ByRollCall => "by_roll_call",
            Self::ByEvidence => "by_evidence",
        }
    }
}

/// A doubt that is not settled.
#[derive(Clone, Debug)]
pub(super) struct Open {
    pub(super) since: Time,
    pub(super) about: Doubt,
}

/// What is kept in mind.
#[derive(Debug)]
pub(super) struct Watch {
    pub(super) tags: Rows<SectionId, Option<Tag>>,
    pub(super) holds: BTreeMap<TrainId, String>,
    pub(super) doubts: BTreeMap<DoubtId, Open>,
    pub(super) raised: u64,
    pub(super) settled: BTreeMap<Settled, u64>,
    wishes: BTreeMap<Ticket, TrainId>,
    /// Since when each train has had an order, whichever, and has not arrived.
    ordered: BTreeMap<TrainId, Time>,
    waits: BTreeMap<TrainId, String>,
    moved_on: BTreeSet<TrainId>,
    /// Trains that cannot be sent anywhere until somebody says how they point.
    pub(super) nose_unknown: BTreeSet<TrainId>,
    /// The train that is being called.
    called: Option<TrainId>,
}

impl Watch {
    pub(super) fn new(layout: &Layout) -> Self {
        Self {
            tags: Rows::filled(None, layout.sections.len()),
            holds: BTreeMap::new(),
            doubts: BTreeMap::new(),
            raised: 0,
            settled: BTreeMap::new(),
            wishes: BTreeMap::new(),
            ordered: BTreeMap::new(),
            waits: BTreeMap::new(),
            moved_on: BTreeSet::new(),
            nose_unknown: BTreeSet::new(),
            called: None,
        }
    }

    /// From now on it counts who moves on.
    pub(super) fn heal(&mut self) {
        self.moved_on.clear();
    }

    pub(super) fn hear(&mut self, moment: &Moment<'_>) {
        for input in moment.inputs {
            match input {
                Input::Requested { ticket, request: Request::Go { train, .. } } => {
                    self.wishes.insert(*ticket, *train);
                }
                Input::Requested { request: Request::Place { train, .. }, .. } => {
                    self.nose_unknown.remove(train);
                }
                _ => {}
            }
        }
        for output in moment.outputs {
            if let Output::Fact(fact) = output {
                self.fact(moment, fact);
            }
        }
        // What is said in the moment in which a call ends may still have come of it.
        let ends = |output: &Output| matches!(output, Output::Fact(Fact::RollCallEnded { .. }));
        if moment.outputs.iter().any(ends) {
            self.called = None;
        }
    }

    /// The trains that are held though no person wished it, and not for want of power.
    pub(super) fn held_by_doubt(&self) -> impl Iterator<Item = TrainId> + '_ {
        let is_doubt = |reason: &str| reason != HELD && reason != STOPPED && !is_for_want_of_power(reason);
        self.holds.iter().filter(move |(_, reason)| is_doubt(reason)).map(|(&train, _)| train)
    }

    fn fact(&mut self, moment: &Moment<'_>, fact: &Fact) {
        match fact {
            Fact::Tagged { section, tag } => self.tags[*section] = Some(tag.clone()),
            Fact::HoldSet { train, reason } => {
                self.holds.insert(*train, reason.clone());
            }
            Fact::HoldLifted { train } => {
                self.holds.remove(train);
            }
            Fact::Waiting { train, reason } => {
                self.waits.insert(*train, reason.clone());
            }
            Fact::Departed { train, .. } | Fact::Arrived { train, .. } => {
                self.moved_on.insert(*train);
                if matches!(fact, Fact::Arrived { .. }) {
                    self.ordered.remove(train);
                }
            }
            Fact::Answered { ticket, answer } => match (self.wishes.remove(ticket), answer) {
                (Some(train), Answer::Accepted) => {
                    self.ordered.entry(train).or_insert(moment.now);
                }
                (Some(train), Answer::Refused(why)) if why.reason.starts_with(NOBODY_KNOWS_WHICH_WAY) => {
                    self.nose_unknown.insert(train);
                }
                _ => {}
            },
            Fact::DoubtRaised { doubt, about } => {
                let since = self.doubts.get(doubt).map_or(moment.now, |open| open.since);
                self.raised += u64::from(!self.doubts.contains_key(doubt));
                self.doubts.insert(*doubt, Open { since, about: about.clone() });
            }
            Fact::DoubtCleared { doubt, .. } => {
                let open = self.doubts.remove(doubt);
                let called = self.called.filter(|train| open.is_some_and(|open| open.about.trains.contains(train)));
                *self.settled.entry(settled_by(moment, called)).or_default() += 1;
            }
            Fact::RollCallBegan { train } => self.called = Some(*train),
            _ => {}
        }
    }

    /// Whether every train on the table has moved on or is held, and nothing is in doubt.
    pub(super) fn is_done(&self, table: &Table) -> bool {
        let in_doubt = |tag: &Option<Tag>| matches!(tag, Some(Tag::Doubt(_) | Tag::Unexplained));
        let mut trains = table.layout().trains.ids().filter(|&train| table.is_on_table(train));
        self.doubts.is_empty()
            && self.holds.is_empty()
            && !self.tags.values().any(in_doubt)
            && trains.all(|train| self.moved_on.contains(&train))
    }

    /// What did not come to an end as it must, now that the time for it is over.
    ///
    /// Where nobody measured the track, a train may reach into the throats on either side of it for all that anybody knows, and
    /// so keep others where they are: there nothing is promised.
    pub(super) fn judge(&self, now: Time, table: &Table) -> Vec<Broken> {
        let layout = &**table.layout();
        let mut broken = Vec::new();
        let mut report = |sentence| broken.push(Broken { at: now, law: Law::MovesOn, sentence });
        let measured = layout.ways.values().all(|way| way.length.is_some());
        let trains =
            layout.trains.ids().filter(|&train| measured && table.is_on_table(train) && !table.is_wrecked(train));
        for train in trains {
            if self.moved_on.contains(&train) || self.holds.contains_key(&train) {
                continue;
            }
            // An order that came late has time until later.
            let is_late = self.ordered.get(&train).is_some_and(|&since| now.since(since) > super::FINISH / 4);
            if is_late {
                let why = self.waits.get(&train).map_or("and does not say why", String::as_str);
                report(format!("{} did not move on though nobody holds it ({why})", train_name(layout, train)));
            }
        }
        for (section, tag) in self.tags.iter() {
            let is_asked = self
                .doubts
                .values()
                .any(|open| open.about.sections.contains(&section) && !open.about.settled_by.is_empty());
            if matches!(tag, Some(Tag::Doubt(_) | Tag::Unexplained)) && !is_asked {
                let name = &layout.sections[section].name;
                report(format!("{name} is in doubt, and nobody is asked who is there"));
            }
        }
        for (train, _) in self.holds.iter().filter(|(_, reason)| reason.is_empty()) {
            report(format!("{} is held without a reason", train_name(layout, *train)));
        }
        broken
    }
}

/// What settled a doubt, by what was heard in the same moment.
fn settled_by(moment: &Moment<'_>, called: Option<TrainId>) -> Settled {
    let is_word = |input: &Input| match input {
        Input::Requested { request, .. } => {
            matches!(
                request,
                Request::Place { .. }
                    | Request::Lift { .. }
                    | Request::Identify { .. }
                    | Request::FoundEmpty { .. }
                    | Request::Release { .. }
            )
        }
        _ => false,
    };
    if moment.inputs.iter().any(|input| matches!(input, Input::TrainRead { .. })) {
        Settled::ByReading
    } else if moment.inputs.iter().any(is_word) {
        Settled::ByWord
    } else if called.is_some() {
        Settled::ByRollCall
    } else {
        Settled::ByEvidence
    }
}
