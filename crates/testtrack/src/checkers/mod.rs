//! The checkers: what must never happen, held against the truth of the table after every step.
//!
//! They stand outside the signaller. Of it they know only what it says: its outputs. Of the table they know everything.
//! One rule a file; [`Violation`] is what a broken one leaves behind.
//!
//! **Lateness.** The signaller cannot know of a train before it hears of it. So what lasts is judged against the truth
//! of any moment within the last *lateness* of the section's detector: its own on-delay or off-delay, the most that it
//! takes beyond that, the most that a report takes, and two ticks of physics. What the signaller decides by itself
//! (authority, turnouts, holds) is judged at once.
//!
//! **Faults.** The signaller answers for what it orders, and for what it can know. A train is *in hand* while it moves
//! as ordered. It is *out of hand* from the beginning of a fault of motion until a delivered report shows that it
//! passed a joint after the fault, or a person truthfully says where it is, and it had the time to brake; which faults
//! these are is said in the module that keeps account of it (`astray`). A tail that parted and a wagon that nobody
//! knows of are out of hand for good. A train that stalls is in hand.
//!
//! | rule | not charged |
//! | --- | --- |
//! | N0 | a contact, where no train in hand moved; or what it ran into came there out of hand right in front of it, or could be seen by nobody. A derailment, where the train is out of hand, or the turnout lies otherwise than anybody knows |
//! | N1 | a name that a person gave wrongly. A name where nothing stands though the last report says that something does, or the train was taken off where no detector watches or the power is off: it outlasts the train that was there last, or comes before one that is next to it. A name that was there before something came in out of hand where the report said already that the section is filled, and nothing that came in left is told to be free: no report tells of it, and the named train is next to it. Else that one train is taken for another is never excused |
//! | N2 | track given to a train where something lies that nobody could see |
//! | N3 | a turnout thrown under something that nobody could see |
//! | N4 | a train out of hand; one that still rolls as the signaller before had ordered it |
//! | N5 | a signal that vouches for track where something is that nobody could see, or where the train for which it was cleared came and no report said so, or a turnout lies otherwise than anybody knows |
//! | N6 | a train out of hand |
//!
//! The words are those of the functions in `excuses`. Accidents that are not charged are kept: [`Checkers::excused`].

mod accidents;
mod authority;
mod claims;
mod excuses;
mod holds;
mod signals;
mod tags;
mod turnouts;
mod wishes;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::sync::Arc;
use std::time::Duration;

use signaller::detect::KEPT_BACK_AT_MOST;
use signaller::{Aspect, Fact, Input, Output, Request, Tag, Time};
use smallvec::SmallVec;
use track::{Layout, SectionId, SignalId, Table as Rows, TrainId};

use crate::settings::{Settings, TICK};
use crate::table::Table;
use crate::truth::Happening;

pub use claims::{Claims, WrongClaim};

/// What must never happen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Rule {
    /// A driven train touches another, or derails on a turnout.
    N0,
    /// A sure tag names the wrong train.
    N1,
    /// Two trains hold authority over the same section.
    N2,
    /// A turnout is thrown under a train, a lock or a doubt.
    N3,
    /// A driven train's nose passes the end of its authority.
    N4,
    /// A signal shows better than the true state of the track ahead allows.
    N5,
    /// A train moves while held.
    N6,
}

impl Rule {
    /// All rules, in order.
    pub const ALL: [Self; 7] = [Self::N0, Self::N1, Self::N2, Self::N3, Self::N4, Self::N5, Self::N6];
}

/// A rule that was broken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Violation {
    /// When.
    pub at: Time,
    /// Which rule.
    pub rule: Rule,
    /// By or to which train, where it concerns one.
    pub train: Option<TrainId>,
    /// Where, where it concerns a section.
    pub section: Option<SectionId>,
    /// What happened, in one plain sentence without a full stop.
    pub sentence: String,
}

impl fmt::Display for Violation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?} {:?}: {}", self.at, self.rule, self.sentence)
    }
}

/// All checkers, and what the signaller said so far.
#[derive(Debug)]
pub struct Checkers {
    layout: Arc<Layout>,
    lateness: Duration,
    order_delay: Duration,
    said: Said,
    /// What is broken at the moment, so that it is told once and not in every step.
    broken: BTreeSet<Breach>,
    violations: Vec<Violation>,
    excused: Vec<Violation>,
    claims: Claims,
    /// Trains of which a person said last that they are where they are not.
    misnamed: BTreeSet<TrainId>,
    /// Trains that still roll since another signaller took over, and that it has not set in motion itself.
    rolling: BTreeSet<TrainId>,
}

/// What the signaller said last.
#[derive(Debug)]
struct Said {
    tags: Rows<SectionId, Option<Tag>>,
    authority: Rows<SectionId, SmallVec<[TrainId; 1]>>,
    aspects: Rows<SignalId, Aspect>,
    wishes: wishes::Wishes,
    /// By when each held train must stand.
    stand_by: BTreeMap<TrainId, Time>,
}

impl Said {
    fn new(layout: &Arc<Layout>) -> Self {
        Self {
            wishes: wishes::Wishes::new(layout),
            tags: Rows::filled(None, layout.sections.len()),
            authority: Rows::filled(SmallVec::new(), layout.sections.len()),
            aspects: Rows::filled(Aspect::STOP, layout.signals.len()),
            stand_by: BTreeMap::new(),
        }
    }
}

/// Something that is wrong for as long as it lasts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Breach {
    Tag(SectionId, TrainId),
    /// A tag where nothing stands, that is not charged.
    EmptyTag(SectionId, TrainId),
    Signal(SignalId, Aspect),
    Hold(TrainId),
}

/// A breach found, to be told if it is new.
struct Found {
    breach: Breach,
    train: Option<TrainId>,
    section: Option<SectionId>,
    sentence: String,
}

impl Checkers {
    /// Checkers for a table of these settings.
    pub fn new(layout: Arc<Layout>, settings: &Settings) -> Self {
        let said = Said::new(&layout);
        let lateness = settings.lateness() + 2 * TICK;
        let order_delay = settings.order_delay.most;
        Self {
            layout,
            lateness,
            order_delay,
            said,
            broken: BTreeSet::new(),
            violations: Vec::new(),
            excused: Vec::new(),
            claims: Claims::default(),
            misnamed: BTreeSet::new(),
            rolling: BTreeSet::new(),
        }
    }

    /// How long it takes at most until the signaller believes that a section is empty: its detector's off-delay, the lateness of
    /// the report, and what the signaller keeps it back.
    fn emptying_takes(&self, section: SectionId) -> Duration {
        let detector = self.layout.sections[section].detector;
        let off_delay = detector.map_or(Duration::ZERO, |it| self.layout.detectors[it].off_delay);
        off_delay + self.lateness + self.kept_back(section)
    }

    /// How long the signaller keeps an emptying of the section back at most.
    fn kept_back(&self, section: SectionId) -> Duration {
        let detector = self.layout.sections[section].detector;
        detector.map_or(Duration::ZERO, |it| self.layout.detectors[it].bridge.max(KEPT_BACK_AT_MOST))
    }

    /// Contacts and derailments so far that the signaller is not charged with, each with why: nobody could know of
    /// them.
    pub fn excused(&self) -> &[Violation] {
        &self.excused
    }

    /// The sure claims so far.
    pub fn claims(&self) -> &Claims {
        &self.claims
    }

    /// Takes in what people tell the signaller.
    pub fn overhear(&mut self, inputs: &[Input], table: &Table) {
        for input in inputs {
            let Input::Requested { request, .. } = input else { continue };
            let (train, is_so) = match request {
                Request::Place { train, on, .. } => (*train, on.iter().all(|&section| table.covers(*train, section))),
                Request::Identify { section, train } => (*train, table.covers(*train, *section)),
                Request::Lift { train } => (*train, !table.is_on_table(*train)),
                _ => continue,
            };
            if is_so {
                self.misnamed.remove(&train);
            } else {
                self.misnamed.insert(train);
            }
        }
    }

    /// Every rule that was broken so far, in order.
    pub fn violations(&self) -> &[Violation] {
        &self.violations
    }

    /// Goes on as checkers of another layout, with all that was found.
    pub(crate) fn go_on_as(&mut self, fresh: Self) {
        let before = std::mem::replace(self, fresh);
        self.violations = before.violations;
        self.excused = before.excused;
        self.claims = before.claims;
    }

    /// Another signaller takes over: nothing that was said before counts any more. Signals are at danger until it says
    /// otherwise.
    pub(crate) fn begin_anew(&mut self, table: &Table) {
        self.said = Said::new(&self.layout);
        self.broken.clear();
        self.rolling = self.layout.trains.ids().filter(|&train| table.speed(train).um() != 0).collect();
    }

    /// Takes in what the signaller says. Must be called before the table acts on it.
    pub fn hear(&mut self, now: Time, output: &Output, table: &Table) {
        match output {
            Output::Throw { turnout, lie } => {
                turnouts::check(self, now, *turnout, *lie, table);
                wishes::thrown(self, now, *turnout, *lie);
            }
            Output::Show { signal, aspect } => self.said.aspects[*signal] = *aspect,
            Output::Drive { train, step, .. } => {
                if *step != 0 {
                    self.rolling.remove(train);
                }
            }
            Output::Light { .. }
            | Output::Function { .. }
            | Output::Accessory { .. }
            | Output::EmergencyStop { .. }
            | Output::Power { .. } => {}
            Output::Fact(Fact::Tagged { section, tag }) => {
                self.claims.made += u64::from(matches!(tag, Tag::Sure(_)));
                self.said.tags[*section] = Some(tag.clone());
            }
            Output::Fact(Fact::RouteSet { train, sections }) => {
                wishes::granted(self, now, *train, sections, table);
                authority::granted(self, now, *train, sections, table);
            }
            Output::Fact(Fact::RouteStage { entry, exit, stage }) => self.said.wishes.route(*entry, *exit, *stage),
            Output::Fact(Fact::Withdrawn { section, .. }) => {
                self.said.wishes.withdrawn.insert(*section);
            }
            Output::Fact(Fact::InService { section }) => {
                self.said.wishes.withdrawn.remove(section);
            }
            Output::Fact(Fact::SectionReleased { train, section }) => {
                self.said.authority[*section].retain(|holder| holder != train);
            }
            Output::Fact(Fact::HoldSet { train, .. }) => holds::set(self, now, *train, table),
            Output::Fact(Fact::HoldLifted { train }) => {
                self.said.stand_by.remove(train);
            }
            Output::Fact(_) => {}
        }
    }

    /// Takes in what happened on the table.
    pub fn see(&mut self, at: Time, happening: Happening, table: &Table) {
        match happening {
            Happening::Entered { train, .. } | Happening::HitBuffer { train, .. }
                if table.is_out_of_hand(train, at) => {}
            Happening::Entered { train, section } if self.rolling.contains(&train) => {
                let sentence = format!("{} still rolled into {}", self.train_name(train), self.section_name(section));
                self.excuse(at, Rule::N4, train, section, sentence);
            }
            Happening::Entered { train, section } => authority::entered(self, at, train, section),
            Happening::HitBuffer { train, at: end } => authority::ended(self, at, train, end),
            Happening::Derailed { .. } | Happening::Collided { .. } => accidents::happened(self, at, happening, table),
            Happening::Faulted { .. } => {}
        }
    }

    /// Judges everything that lasts: tags, signals, holds.
    pub fn judge(&mut self, now: Time, table: &Table) {
        self.rolling.retain(|&train| table.speed(train).um() != 0);
        let mut found = Vec::new();
        tags::judge(self, now, table, &mut found);
        signals::judge(self, now, table, &mut found);
        holds::judge(self, now, table, &mut found);
        let before = std::mem::take(&mut self.broken);
        for Found { breach, train, section, sentence } in found {
            if !before.contains(&breach) {
                let rule = match breach {
                    Breach::EmptyTag(section, train) => {
                        self.excuse(now, Rule::N1, train, section, sentence);
                        self.broken.insert(breach);
                        continue;
                    }
                    Breach::Tag(..) => Rule::N1,
                    Breach::Signal(..) => Rule::N5,
                    Breach::Hold(_) => Rule::N6,
                };
                if let Breach::Tag(section, train) = breach {
                    claims::wrong(self, now, train, section, table);
                }
                self.report(now, rule, train, section, sentence);
            }
            self.broken.insert(breach);
        }
    }

    fn report(&mut self, at: Time, rule: Rule, train: Option<TrainId>, section: Option<SectionId>, sentence: String) {
        self.violations.push(Violation { at, rule, train, section, sentence });
    }

    fn excuse(&mut self, at: Time, rule: Rule, train: TrainId, section: SectionId, sentence: String) {
        self.excused.push(Violation { at, rule, train: Some(train), section: Some(section), sentence });
    }

    fn train_name(&self, train: TrainId) -> &str {
        self.layout.trains.get(train).map_or("a train that the layout does not know", |train| &train.name)
    }

    fn section_name(&self, section: SectionId) -> &str {
        &self.layout.sections[section].name
    }
}
