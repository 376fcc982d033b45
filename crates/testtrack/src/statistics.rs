//! What a run was like, in figures.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::Duration;

use signaller::{Destination, Fact, Input, Output, Request, Tag, Time};
use track::{Layout, SectionId, StopId, Table as Rows, TrainId};

use crate::table::Table;

/// Figures of a run.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Statistics {
    /// Layout time that passed.
    pub layout_time: Duration,
    /// Steps of the signaller.
    pub steps: u64,
    /// Reports, requests and wakes that went in.
    pub inputs: u64,
    /// Orders and facts that came out.
    pub outputs: u64,
    /// Journeys begun.
    pub departures: u64,
    /// Journeys that ended at their destination.
    pub trips: u64,
    /// Stops at a stopping point.
    pub stops: Stops,
    /// Sections that came into doubt.
    pub doubts: u64,
    /// Sections that came to be unexplained.
    pub unexplained: u64,
    /// Times a train was held.
    pub holds: u64,
    /// Train-time with a sure tag and no doubtful one.
    pub time_sure: Duration,
    /// Train-time with a doubtful tag.
    pub time_in_doubt: Duration,
    /// Train-time with no tag at all.
    pub time_untagged: Duration,
    /// Train-time held.
    pub time_held: Duration,
    /// Train-time held because of a doubt, or of something that was found to be wrong; not for want of power. Where a train is
    /// held for several reasons the last one counts.
    pub time_held_by_doubt: Duration,
}

/// How well trains stopped at stopping points.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Stops {
    /// Stops measured.
    pub count: u64,
    /// Arrivals of trains of which no end lies in the section of the stopping point.
    pub elsewhere: u64,
    /// Sum of the distances between nose and stopping point, in micrometres, whichever way.
    pub error_um_total: u64,
    /// The furthest short of a stopping point, in micrometres.
    pub short_um_most: i64,
    /// The furthest beyond a stopping point, in micrometres.
    pub beyond_um_most: i64,
}

impl Stops {
    /// The mean distance between nose and stopping point, in millimetres.
    pub fn error_mm_mean(&self) -> f64 {
        self.error_um_total as f64 / 1000.0 / (self.count.max(1) as f64)
    }
}

impl Statistics {
    /// Which share of train-time was sure, from 0 to 1. Before any time has passed, 1.
    pub fn share_sure(&self) -> f64 {
        let total = self.time_sure + self.time_in_doubt + self.time_untagged;
        if total.is_zero() { 1.0 } else { self.time_sure.as_secs_f64() / total.as_secs_f64() }
    }

    /// Which share of train-time was in doubt, from 0 to 1.
    pub fn share_in_doubt(&self) -> f64 {
        let total = self.time_sure + self.time_in_doubt + self.time_untagged;
        if total.is_zero() { 0.0 } else { self.time_in_doubt.as_secs_f64() / total.as_secs_f64() }
    }
}

/// Takes the figures as a run goes on.
#[derive(Debug)]
pub(crate) struct Keeper {
    layout: Arc<Layout>,
    figures: Statistics,
    counted_to: Time,
    tags: Rows<SectionId, Option<Tag>>,
    standing: BTreeMap<TrainId, Standing>,
    /// Trains said to have arrived at a stopping point, until they really stand.
    stopping: Vec<(TrainId, StopId)>,
    /// Reasons for which people wished that a train be held.
    wished: BTreeSet<String>,
}

/// The reason of a hold that a person set on everything.
pub(crate) const STOPPED: &str = "everything was stopped";

/// How it stands with a train.
#[derive(Clone, Copy, Debug, Default)]
struct Standing {
    /// Sections in which it is tagged for sure.
    sure: i32,
    /// Sections whose doubtful tag names it.
    doubtful: i32,
    held: Option<Held>,
}

/// Whether a train that is held for this reason stands where there is no power.
pub(crate) fn is_for_want_of_power(reason: &str) -> bool {
    reason.starts_with("the power is off")
}

/// On whose account a train is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Held {
    Wish,
    /// There is no power where it stands: nobody need doubt where that is.
    Power,
    Doubt,
}

impl Keeper {
    pub(crate) fn new(layout: Arc<Layout>) -> Self {
        let tags = Rows::filled(None, layout.sections.len());
        let standing = layout.trains.ids().map(|train| (train, Standing::default())).collect();
        let figures = Statistics::default();
        Self { layout, figures, counted_to: Time::ZERO, tags, standing, stopping: Vec::new(), wished: BTreeSet::new() }
    }

    /// The same figures, going on with another layout.
    pub(crate) fn going_on(layout: Arc<Layout>, before: &Self) -> Self {
        Self { figures: before.figures.clone(), counted_to: before.counted_to, ..Self::new(layout) }
    }

    pub(crate) fn figures(&self) -> &Statistics {
        &self.figures
    }

    /// Counts the time that passed since it was last asked. Must be called before what happens `now` is heard.
    pub(crate) fn pass(&mut self, now: Time, table: &Table) {
        let passed = now.since(self.counted_to);
        self.counted_to = now;
        self.figures.layout_time += passed;
        for (&train, standing) in self.standing.iter().filter(|(train, _)| table.is_on_table(**train)) {
            debug_assert!(self.layout.trains.get(train).is_some());
            let time = match standing {
                Standing { doubtful: 1.., .. } => &mut self.figures.time_in_doubt,
                Standing { sure: 1.., .. } => &mut self.figures.time_sure,
                _ => &mut self.figures.time_untagged,
            };
            *time += passed;
            if let Some(held) = standing.held {
                self.figures.time_held += passed;
                self.figures.time_held_by_doubt += if held == Held::Doubt { passed } else { Duration::ZERO };
            }
        }
        let stopping = std::mem::take(&mut self.stopping);
        for (train, stop) in stopping {
            if table.speed(train).um() == 0 {
                self.measure(train, stop, table);
            } else {
                self.stopping.push((train, stop));
            }
        }
    }

    /// Another signaller takes over: nothing that was said before counts any more.
    pub(crate) fn begin_anew(&mut self) {
        self.tags.values_mut().for_each(|tag| *tag = None);
        self.standing.values_mut().for_each(|standing| *standing = Standing::default());
        self.stopping.clear();
    }

    /// Takes in a step.
    pub(crate) fn step(&mut self, inputs: &[Input], outputs: &[Output]) {
        self.figures.steps += 1;
        self.figures.inputs += inputs.len() as u64;
        self.figures.outputs += outputs.len() as u64;
        for input in inputs {
            if let Input::Requested { request: Request::Hold { reason, .. }, .. } = input
                && !self.wished.contains(reason)
            {
                self.wished.insert(reason.clone());
            }
        }
        for output in outputs {
            if let Output::Fact(fact) = output {
                self.hear(fact);
            }
        }
    }

    fn hear(&mut self, fact: &Fact) {
        match fact {
            Fact::Tagged { section, tag } => self.tagged(*section, tag),
            Fact::Departed { .. } => self.figures.departures += 1,
            Fact::Arrived { train, at } => {
                self.figures.trips += 1;
                if let Destination::Stop(stop) = at {
                    self.stopping.push((*train, *stop));
                }
            }
            Fact::HoldSet { train, reason } => {
                self.figures.holds += 1;
                let by_wish = reason == STOPPED || self.wished.contains(reason);
                let held = if by_wish {
                    Held::Wish
                } else if is_for_want_of_power(reason) {
                    Held::Power
                } else {
                    Held::Doubt
                };
                self.standing.entry(*train).or_default().held = Some(held);
            }
            Fact::HoldLifted { train } => self.standing.entry(*train).or_default().held = None,
            _ => {}
        }
    }

    fn tagged(&mut self, section: SectionId, tag: &Tag) {
        let before = self.tags[section].replace(tag.clone());
        match (tag, &before) {
            (Tag::Doubt(_), Some(Tag::Doubt(_))) | (Tag::Unexplained, Some(Tag::Unexplained)) => {}
            (Tag::Doubt(_), _) => self.figures.doubts += 1,
            (Tag::Unexplained, _) => self.figures.unexplained += 1,
            _ => {}
        }
        self.count(before.as_ref(), -1);
        self.count(Some(tag), 1);
    }

    /// Counts a tag in, or out again.
    fn count(&mut self, tag: Option<&Tag>, change: i32) {
        match tag {
            Some(Tag::Sure(train)) => self.standing.entry(*train).or_default().sure += change,
            Some(Tag::Doubt(trains)) => {
                for train in trains {
                    self.standing.entry(*train).or_default().doubtful += change;
                }
            }
            Some(Tag::Free | Tag::Unexplained) | None => {}
        }
    }

    fn measure(&mut self, train: TrainId, stop: StopId, table: &Table) {
        let (point, stops) = (&self.layout.stops[stop], &mut self.figures.stops);
        match table.short_of(train, point.towards) {
            Some(short_of_end) => {
                let length = table.layout().trains.get(train).and_then(track::Train::length);
                let short = (short_of_end - self.layout.stands_short(stop, length)).um();
                stops.count += 1;
                stops.error_um_total += short.unsigned_abs();
                stops.short_um_most = stops.short_um_most.max(short);
                stops.beyond_um_most = stops.beyond_um_most.max(-short);
            }
            None => stops.elsewhere += 1,
        }
    }
}
