//! Who may have which track: exclusive sections, locked turnouts, release behind the tail.
//!
//! What holds at all times: a section is granted to one train at most; no section is granted while another train may be in
//! it; a turnout that a granted passage needs is locked and does not move; authority ends where the turnouts are not proved.
//!
//! Trains that the signaller drives are granted track piece by piece (`grant.rs`), with the overlap of the signal they run up
//! to (`overlaps.rs`) and the turnouts that protect its flanks (`flank.rs`); nothing is taken back from a train that moves,
//! which is all the approach locking they need. For trains that people drive whole routes are set (`set_route`), with flank
//! protection and approach locking. No train is worked over what is out of service or in a person's hands (`withdrawn.rs`).
//!
//! Limits: a train turns back on its way at stopping points and ends of tracks only, where the track was measured and it fits in
//! (`turning.rs`); orders that could only be carried out if two trains drew aside at once, or one without an order did, wait until
//! a person or a script changes one of them.
//!
//! Read [`Run`] first: it is all that is kept of one train. [`Interlock::work`] follows the trains (`follow.rs`), plans for
//! those that have an order (`plan.rs`), and grants what is safe (`grant.rs`, `safe.rs`, `rehearsal.rs`); where trains stand in
//! each other's way, one draws aside (`aside.rs`).

mod aside;
mod astray;
mod by_hand;
#[cfg(test)]
mod checking;
mod disputed;
mod emergency;
mod exchange;
mod flank;
mod follow;
mod grant;
mod holds;
mod in_doubt;
mod no_answer;
mod no_path;
mod orders;
mod overlaps;
mod plan;
mod rehearsal;
mod roll_call;
mod run;
mod safe;
mod set_route;
mod shown;
#[cfg(test)]
mod tests;
mod turning;
mod turnouts;
mod withdrawn;

use std::collections::VecDeque;
use std::sync::Arc;

use smallvec::SmallVec;
use track::routes::Routes;
use track::{
    DistrictId, EndId, Graph, Layout, Length, Lie, SectionId, SignalId, StopId, Table, TrainId, Traverse, TurnoutId,
    WayId,
};

use crate::aspect::Signals;
use crate::door::{Destination, Fact, Output};
use crate::drive::Drive;
use crate::picture::Picture;
use crate::roster::Roster;
use crate::signaller::Changes;
use crate::snapshot::kept;
use crate::time::Time;

pub use holds::HoldKind;
use overlaps::Overlaps;
pub(crate) use roll_call::Creep;
pub(crate) use run::{Run, Wait};
pub use set_route::{OVERLAP_DELAY, RELEASE_DELAY};
use set_route::{SetRoutes, is_clear};
pub use shown::Ahead;
use turnouts::Turnouts;
pub use withdrawn::Withdrawal;
use withdrawn::Withdrawn;

/// All grants and locks.
#[derive(Clone, Debug)]
pub struct Interlock {
    layout: Arc<Layout>,
    roster: Arc<Roster>,
    graph: Arc<Graph>,
    turnouts: Turnouts,
    granted_to: Table<SectionId, Option<TrainId>>,
    withdrawn: Withdrawn,
    overlaps: Overlaps,
    /// What a signal can be cleared for, reckoned when somebody asks.
    routes: Arc<Routes>,
    set_routes: SetRoutes,
    /// Sections granted or given back since somebody asked last.
    regranted: Vec<SectionId>,
    /// What trains had in this step before they were granted some of it anew.
    had: Vec<(TrainId, SectionId)>,
    /// Trains that a person has seen to and released since somebody asked last.
    vouched_for: Vec<TrainId>,
    /// The trains that plan to pass the section and were not granted it yet.
    planned_by: Table<SectionId, SmallVec<[TrainId; 4]>>,
    cleared: Table<SignalId, bool>,
    cleared_anew: Vec<SignalId>,
    runs: Table<TrainId, Run>,
    orders_so_far: u64,
    /// The time of this step.
    now: Time,
    everything_stopped: bool,
    /// The trains that were told to be held when everything was stopped.
    told_stopped: Vec<TrainId>,
    /// Something was released, freed or thrown: whoever waits may try again.
    is_stirred: bool,
    touched: Vec<TrainId>,
    /// In which order everybody got home in the last rehearsal that served.
    order_of_running: Vec<rehearsal::Leg>,
    /// How often something was freed or given back so far: only then can there be a new way round.
    freed: u64,
    /// How often a train arrived so far, and a hold was lifted.
    homecomings: u64,
    lifted: u64,
    /// When it may be looked for a train that could draw aside again, and what had happened when that was done last.
    look_aside_at: Time,
    looked_aside_at_turn: u64,
    /// Orders came or went: those that are not admitted may try again.
    may_admit: bool,
    /// Trains that want more track than they have, the oldest order first.
    wanting: Vec<TrainId>,
    /// Trains to be looked at again at a time.
    looks: Vec<(Time, TrainId)>,
    roll_call: Option<roll_call::RollCall>,
    /// Trains that are to stop as quickly as they can, and power districts that are to be cut, since somebody asked last.
    to_stop: Vec<TrainId>,
    to_cut: Vec<(DistrictId, TrainId)>,
    /// Other trains do not answer, or answer again, than identity knows of.
    missing_changed: bool,
    /// Trains that did otherwise than they were told, of which identity does not know yet.
    disobeyed: Vec<TrainId>,
    /// Where trains stood when one set out.
    stood: exchange::Stood,
    /// A mistake made on purpose, so that the model checker has something to find.
    #[cfg(test)]
    planted: Option<checking::Bug>,
}

kept!(Interlock {
    kept: [
        granted_to,
        withdrawn,
        set_routes,
        regranted,
        had,
        vouched_for,
        planned_by,
        cleared,
        cleared_anew,
        runs,
        orders_so_far,
        now,
        everything_stopped,
        told_stopped,
        is_stirred,
        touched,
        order_of_running,
        freed,
        homecomings,
        lifted,
        look_aside_at,
        looked_aside_at_turn,
        may_admit,
        wanting,
        looks,
        roll_call,
        to_stop,
        to_cut,
        missing_changed,
        disobeyed,
        stood,
    ],
    parts: [turnouts],
    made_anew: [
        layout,
        roster,
        graph,
        overlaps,
        routes,
        #[cfg(test)]
        planted
    ],
});

/// How far a train may go.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Authority<'a> {
    /// What it was granted, from the tail on.
    pub(crate) granted: &'a VecDeque<Traverse>,
    /// Which of these the nose is in.
    pub(crate) nose: usize,
    /// The nose may be in those before this one.
    pub(crate) end: usize,
    /// Where in the last of them to stop, if not at its far end, and how far short of that.
    pub(crate) stop: Option<(StopId, Length)>,
    pub(crate) call: Call,
}

/// What is asked of a train now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Call {
    /// Go on as far as allowed.
    Go,
    /// The same, as slowly as it goes.
    Creep,
    /// Come to stand in an ordinary way.
    Brake,
    /// Stand at once.
    Stand,
}

impl Interlock {
    /// Nothing is granted.
    pub fn new(layout: Arc<Layout>) -> Self {
        Self {
            graph: Arc::new(Graph::new(&layout)),
            turnouts: Turnouts::new(Arc::clone(&layout)),
            granted_to: Table::filled(None, layout.sections.len()),
            withdrawn: Withdrawn::new(),
            overlaps: Overlaps::new(&layout),
            routes: Arc::new(Routes::new(Arc::clone(&layout))),
            set_routes: SetRoutes::default(),
            regranted: Vec::new(),
            had: Vec::new(),
            vouched_for: Vec::new(),
            order_of_running: Vec::new(),
            planned_by: Table::filled(SmallVec::new(), layout.sections.len()),
            cleared: Table::filled(false, layout.signals.len()),
            cleared_anew: Vec::new(),
            runs: layout.trains.values().map(|_| Run::default()).collect(),
            roster: Roster::new(&layout),
            orders_so_far: 0,
            now: Time::ZERO,
            everything_stopped: false,
            told_stopped: Vec::new(),
            is_stirred: false,
            freed: 0,
            homecomings: 0,
            lifted: 0,
            look_aside_at: Time::ZERO,
            looked_aside_at_turn: 0,
            may_admit: false,
            touched: Vec::new(),
            wanting: Vec::new(),
            looks: Vec::new(),
            roll_call: None,
            to_stop: Vec::new(),
            to_cut: Vec::new(),
            missing_changed: false,
            disobeyed: Vec::new(),
            stood: exchange::Stood::default(),
            #[cfg(test)]
            planted: None,
            layout,
        }
    }

    /// The train to which a section is granted.
    pub fn granted_to(&self, section: SectionId) -> Option<TrainId> {
        self.granted_to[section]
    }

    /// A train that means to run over a section that it was not granted yet.
    pub(crate) fn planned_by(&self, section: SectionId) -> Option<TrainId> {
        self.planned_by[section].first().copied()
    }

    /// A train for which a turnout is locked.
    pub(crate) fn locked_for(&self, turnout: TurnoutId) -> Option<TrainId> {
        self.turnouts.locked_by(turnout).first().copied()
    }

    /// Where a route ends.
    pub(crate) fn exit_of(&self, route: track::RouteId) -> track::routes::Exit {
        self.routes.route(route).exit
    }

    /// Whether a roll call is going on.
    pub(crate) fn is_calling(&self) -> bool {
        self.roll_call.is_some()
    }

    /// Whether a train has begun the errand that it is on.
    pub(crate) fn has_departed(&self, train: TrainId) -> bool {
        self.runs.get(train).is_some_and(|run| run.has_departed)
    }

    /// For what a train waits, in words.
    pub(crate) fn why_it_waits(&self, train: TrainId) -> Option<String> {
        let wait = self.runs.get(train)?.waits_for?;
        Some(self.in_words(wait))
    }

    /// All sections that are withdrawn, and why.
    pub(crate) fn withdrawals(&self) -> impl Iterator<Item = (SectionId, &Withdrawal)> {
        self.withdrawn.iter().map(|(&section, why)| (section, why))
    }

    /// A train that a person has seen to and released since this was asked last.
    pub(crate) fn next_vouched_for(&mut self) -> Option<TrainId> {
        self.vouched_for.pop()
    }

    /// A section that was granted or given back since this was asked last.
    pub(crate) fn next_regranted(&mut self) -> Option<SectionId> {
        self.regranted.pop()
    }

    /// How a turnout lies; nothing while it moves and where nobody knows.
    pub fn lie(&self, turnout: TurnoutId) -> Option<Lie> {
        self.turnouts.lie(turnout)
    }

    /// Where a train is to go.
    pub fn destination(&self, train: TrainId) -> Option<Destination> {
        self.runs.get(train).and_then(|run| run.to)
    }

    /// The same, and where it turns back first on its way there.
    pub(crate) fn goals(&self, train: TrainId) -> impl Iterator<Item = Destination> {
        self.runs.get(train).into_iter().flat_map(|run| [run.to, run.turns_first]).flatten()
    }

    /// The sections granted to a train, from its tail on, and then those beside its path.
    pub fn granted_sections(&self, train: TrainId) -> impl Iterator<Item = SectionId> + '_ {
        let passages = self.runs.get(train).into_iter().flat_map(|run| run.granted.iter().chain(&run.lent));
        passages.map(|passage| passage.section)
    }

    /// Whether a train that is seen in these sections, nose last, was granted nothing beyond them.
    pub(crate) fn keeps_within(&self, train: TrainId, on: &[SectionId]) -> bool {
        let Some(run) = self.runs.get(train) else { return false };
        let nose = run.granted.iter().position(|passage| Some(&passage.section) == on.last());
        !self.is_driven_by_hand(train) && nose.is_some_and(|nose| nose + 1 == run.granted.len())
    }

    /// The one way through a section, entered by `enter`, that the turnouts allow as they are known to lie. Nothing where one
    /// is unknown, where none fits, or where several do.
    pub(crate) fn way_that_lies(&self, enter: EndId) -> Option<WayId> {
        let mut fitting = self.layout.ends[enter].ways.iter().copied().filter(|&way| self.turnouts.way_lies(way));
        let way = fitting.next()?;
        fitting.next().is_none().then_some(way)
    }

    /// The way that lies; or else one that may, for no turnout is known to lie otherwise: a tail lies on one of them.
    fn way_that_may_lie(&self, enter: EndId) -> Option<WayId> {
        let may_lie = |need: &track::Need| self.turnouts.lie(need.turnout).is_none_or(|lie| lie == need.lie);
        let mut ways = self.layout.ends[enter].ways.iter().copied();
        self.way_that_lies(enter).or_else(|| ways.find(|&way| self.layout.ways[way].needs.iter().all(may_lie)))
    }

    /// Whether a route from this signal on is set, locked and proved for the train that comes to it next, that train can not have
    /// passed it unseen, and nobody says that something else stands there.
    pub(crate) fn is_cleared(&self, signal: SignalId) -> bool {
        let of = self.granted_to[self.layout.ends[self.layout.signals[signal].at].section];
        let may_have_passed = |train| self.is_missing(train) || self.is_out_of_sight(train);
        self.cleared[signal] && !of.is_some_and(|train| may_have_passed(train) || self.is_disputed(train))
    }

    /// The trains that this step has to do with.
    pub(crate) fn touched(&self) -> &[TrainId] {
        &self.touched
    }

    pub(crate) fn begin_step(&mut self) {
        self.touched.clear();
    }

    pub(crate) fn touch(&mut self, train: TrainId) {
        if !self.touched.contains(&train) && self.runs.get(train).is_some() {
            self.touched.push(train);
        }
    }

    pub(crate) fn wake_at(&self, now: Time) -> Option<Time> {
        if self.is_stirred || !self.to_cut.is_empty() || !self.to_stop.is_empty() {
            return Some(now);
        }
        let next_look = self.looks.iter().map(|&(at, _)| at).min();
        let rounds = [self.next_look_round(), self.next_look_aside(), self.next_set_route()];
        rounds.into_iter().chain([self.turnouts.wake_at(), next_look]).flatten().min()
    }

    /// Releases, holds, plans and grants whatever this step changed. Turnouts that came to lie are added to `changes`.
    pub(crate) fn work<P: Picture>(
        &mut self,
        now: Time,
        picture: &mut P,
        drive: &Drive,
        signals: &Signals,
        changes: &mut Changes,
        outputs: &mut Vec<Output>,
    ) {
        self.now = now;
        self.settle_turnouts(now, picture, changes, outputs);
        for &train in &changes.trains {
            self.touch(train);
        }
        for &section in &changes.sections {
            if let Some(train) = self.granted_to[section] {
                self.touch(train);
            }
            for place in 0..self.layout.sections[section].crosses.len() {
                if let Some(train) = self.granted_to[self.layout.sections[section].crosses[place]] {
                    self.touch(train);
                }
            }
        }
        for place in 0..changes.power.len() {
            for train in picture.holders(changes.power[place]) {
                self.touch(train);
            }
        }
        self.touch_due(now);
        self.is_stirred |= !changes.sections.is_empty() || !changes.turnouts.is_empty();
        if changes.sections.iter().any(|&section| !picture.is_occupied(section)) {
            self.freed += 1;
            self.may_admit |= self.wanting.iter().any(|&train| !self.runs[train].is_admitted);
        }
        self.is_stirred |= self.next_look_round().is_some_and(|at| at <= now);
        self.work_set_routes(now, picture, outputs);
        self.work_roll_call(now, picture, (drive, changes), outputs);
        let mut place = 0;
        while let Some(&train) = self.touched.get(place) {
            self.follow(train, now, picture, outputs);
            self.decide(train, now, picture, drive, outputs);
            place += 1;
        }
        self.suspect_exchanges(now, picture, drive, changes, outputs);
        if self.next_look_aside().is_some_and(|at| at <= now) {
            self.draw_aside(now, picture, drive, signals, outputs);
        }
        if std::mem::take(&mut self.is_stirred) {
            if std::mem::take(&mut self.may_admit) {
                self.admit(picture);
            }
            self.serve_waiting(now, picture, signals, outputs);
        }
        self.note_thrown(picture, changes);
        self.leave_out_what_stays(outputs);
        debug_assert!(self.touched.iter().all(|&train| self.is_consistent(train)), "grants and locks do not fit");
    }

    /// The part of [`Interlock::work`] that is left where people drive: turnouts that they have thrown come to lie, and routes
    /// that they have set live on.
    pub(crate) fn follow_turnouts(
        &mut self,
        now: Time,
        picture: &mut impl Picture,
        changes: &mut Changes,
        outputs: &mut Vec<Output>,
    ) {
        if self.turnouts.any_moves() {
            self.settle_turnouts(now, picture, changes, outputs);
        }
        self.work_set_routes(now, picture, outputs);
        self.note_thrown(picture, changes);
        self.is_stirred = false;
    }

    fn note_thrown(&mut self, picture: &mut impl Picture, changes: &mut Changes) {
        while let Some(turnout) = self.turnouts.next_thrown() {
            picture.set_lie(turnout, None);
            changes.turnouts.push(turnout);
        }
    }

    /// When a train that waits looks for a way round again, if anything was freed since it did.
    fn next_look_round(&self) -> Option<Time> {
        // One that is held looks again when the hold is lifted.
        let free = self.wanting.iter().filter(|&&train| !self.is_held(train) && !self.is_called(train));
        let runs = free.map(|&train| &self.runs[train]).filter(|run| !run.must_stand);
        runs.filter(|run| run.waits_for.is_some() && run.is_admitted && run.looked_round_at_freed != self.freed)
            .map(|run| run.look_round_at)
            .min()
    }

    fn settle_turnouts(
        &mut self,
        now: Time,
        picture: &mut impl Picture,
        changes: &mut Changes,
        outputs: &mut Vec<Output>,
    ) {
        // Whoever may pass beside a turnout may be there before anybody hears of it. Who needs the turnout cannot.
        let beside_route = |&turnout: &TurnoutId| {
            let mut sections = self.layout.turnouts[turnout].sections.iter();
            self.turnout_not_routed(turnout).is_ok() && sections.any(|&section| self.not_routed(section).is_err())
        };
        let beside_route: SmallVec<[TurnoutId; 4]> = self.turnouts.moving().filter(beside_route).collect();
        let (layout, granted_to) = (&self.layout, &self.granted_to);
        let may_move = |turnouts: &Turnouts, turnout: TurnoutId| {
            let is_free = |&section: &SectionId| {
                !picture.is_occupied(section)
                    && picture.holders(section).is_empty()
                    && granted_to[section].is_none_or(|by| turnouts.locked_by(turnout).contains(&by))
            };
            !beside_route.contains(&turnout) && layout.turnouts[turnout].sections.iter().all(is_free)
        };
        let settled = changes.turnouts.len();
        self.turnouts.settle(now, may_move, outputs, &mut changes.turnouts);
        for &turnout in &changes.turnouts[settled..] {
            picture.set_lie(turnout, self.turnouts.lie(turnout));
        }
        for place in 0..changes.turnouts.len() {
            self.touch_users(changes.turnouts[place]);
        }
    }

    /// Looks again at the trains that have to do with a turnout: in their path, beside it, or in their overlap.
    fn touch_users(&mut self, turnout: TurnoutId) {
        for section in 0..self.layout.turnouts[turnout].sections.len() {
            let section = self.layout.turnouts[turnout].sections[section];
            let in_overlap = self.overlap_of(None, section).map(|(train, _)| train);
            for train in self.granted_to[section].into_iter().chain(in_overlap) {
                self.touch(train);
            }
        }
        for place in 0..self.turnouts.locked_by(turnout).len() {
            self.touch(self.turnouts.locked_by(turnout)[place]);
        }
    }

    /// Takes the signals whose route was set or taken back since the last call.
    pub(crate) fn tell_signals(&mut self, signals: &mut Signals) {
        for signal in self.cleared_anew.drain(..) {
            signals.look_at(signal);
        }
    }

    /// How far the train may go now, under every account.
    pub(crate) fn authority(&self, train: TrainId, picture: &impl Picture, signals: &Signals) -> Option<Authority<'_>> {
        let run = self.runs.get(train).filter(|run| !run.granted.is_empty())?;
        let mut end = run.nose + 1;
        // The last signal ahead: a train does not pass one when something is wrong behind it, if it has not passed it yet.
        let mut at_signal = None;
        while end < run.proved {
            if self.layout.main_signal(run.granted[end - 1].leave).is_some() {
                at_signal = Some(end);
            }
            if !self.is_still_good(train, run, end, picture, signals) {
                end = at_signal.unwrap_or(end);
                break;
            }
            end += 1;
        }
        let at_destination = end == run.granted.len() && run.is_planned && run.plan.is_empty();
        let stop = match run.leg() {
            Some(Destination::Stop(stop)) if at_destination && run.aside.is_none() => {
                Some((stop, self.layout.stands_short(stop, self.train_length(train))))
            }
            _ => None,
        };
        let call = if self.everything_stopped || run.holds.any() {
            Call::Stand
        } else if run.must_stand || run.to.is_none() || run.waits_for == Some(Wait::NoPath) {
            Call::Brake
        } else if self.is_tried_again(train) {
            Call::Creep
        } else {
            Call::Go
        };
        Some(Authority { granted: &run.granted, nose: run.nose, end, stop, call })
    }

    /// Whether the train may still enter a passage that it was granted before.
    fn is_still_good(
        &self,
        train: TrainId,
        run: &Run,
        place: usize,
        picture: &impl Picture,
        signals: &Signals,
    ) -> bool {
        let passage = &run.granted[place];
        let signal = self.layout.main_signal(run.granted[place - 1].leave);
        let holders = picture.holders(passage.section);
        !signal.is_some_and(|signal| signals.is_kept_at_danger(signal))
            && self.turnouts.way_lies(passage.way)
            && holders.iter().all(|&holder| holder == train)
            && (!holders.is_empty() || !picture.is_occupied(passage.section))
            && self.layout.sections[passage.section].crosses.iter().all(|&crossed| is_clear(crossed, picture))
    }

    fn name(&self, train: TrainId) -> String {
        self.roster.name(train)
    }

    fn train_length(&self, train: TrainId) -> Option<Length> {
        self.roster.train(train).and_then(track::Train::length)
    }

    fn wait(&mut self, train: TrainId, wait: Wait, outputs: &mut Vec<Output>) {
        let (now, run) = (self.now, &mut self.runs[train]);
        if !std::mem::take(&mut run.waited_before) && run.waits_for.is_none() {
            run.waits_since = now;
        }
        if run.waits_for.replace(wait) != Some(wait) {
            let reason = wait.in_words(&self.layout, |other| self.name(other));
            outputs.push(Output::Fact(Fact::Waiting { train, reason }));
        }
    }

    /// What must be true of a train's grants whenever a step is over.
    fn is_consistent(&self, train: TrainId) -> bool {
        let run = &self.runs[train];
        run.proved <= run.granted.len()
            && (run.granted.is_empty() || run.nose < run.granted.len())
            && run.granted.iter().chain(&run.lent).all(|passage| {
                let needs = &self.layout.ways[passage.way].needs;
                self.granted_to[passage.section] == Some(train)
                    && needs.iter().all(|need| self.turnouts.locked_by(need.turnout).contains(&train))
            })
    }
}
