//! The closed loop: what the table reports goes into the signaller, what the signaller orders is done on the table.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::Duration;

use signaller::{Conduct, Digest, Input, Output, Request, Signaller, Step, Ticket, Time};
use track::{Layout, TrainId};

use crate::checkers::{Checkers, Claims, Violation};
use crate::place::PlaceError;
use crate::settings::Settings;
use crate::statistics::{Keeper, Statistics};
use crate::table::Table;
use crate::truth::Happening;

/// How often the checkers judge what lasts while trains move and nothing is heard.
const JUDGE_EVERY: Duration = Duration::from_millis(50);

/// How long a request, or a wake that is already due, takes to come back in. Time moves on even where a listener asks for
/// something in every step.
const TURNAROUND: Duration = Duration::from_millis(1);

/// Something that works like a signaller. The signaller itself does; so can one that records, or a script of outputs.
pub trait Works {
    /// Works through everything heard at `now`.
    fn work(&mut self, now: Time, inputs: &[Input]) -> Step<'_>;
}

impl Works for Signaller {
    fn work(&mut self, now: Time, inputs: &[Input]) -> Step<'_> {
        self.step(now, inputs)
    }
}

/// A table and a signaller that work each other, from the first reports on.
#[derive(Debug)]
pub struct Session<S = Signaller> {
    pub(crate) table: Table,
    pub(crate) signaller: S,
    pub(crate) checkers: Checkers,
    pub(crate) keeper: Keeper,
    digest: Digest,
    desk: Desk,
    now: Time,
    pub(crate) wake_at: Option<Time>,
    has_begun: bool,
    inputs: Vec<Input>,
    /// What is heard before anything else once time passes again.
    pub(crate) unheard: Vec<Input>,
    outputs: Vec<Output>,
    pub(crate) happenings: Vec<(Time, Happening)>,
    /// How many violations the listener was told of.
    told: usize,
}

/// One moment of the loop, for whoever listens.
#[derive(Debug)]
pub struct Moment<'a, S = Signaller> {
    /// The layout time.
    pub now: Time,
    /// What the signaller heard. Empty where the listener only asked to be called.
    pub inputs: &'a [Input],
    /// What it made of it.
    pub outputs: &'a [Output],
    /// What happened on the table since the moment before.
    pub happenings: &'a [(Time, Happening)],
    /// Rules broken since the moment before.
    pub violations: &'a [Violation],
    /// The table.
    pub table: &'a Table,
    /// The signaller.
    pub signaller: &'a S,
}

/// Where requests are handed in.
#[derive(Debug, Default)]
pub struct Desk {
    now: Time,
    tickets: u64,
    handed_in: BTreeMap<(Time, u64), Input>,
    calls: BTreeSet<Time>,
    to_take: Vec<TrainId>,
}

impl Desk {
    /// Hands in a request at once. Its answer comes under this ticket.
    pub fn request(&mut self, request: Request) -> Ticket {
        self.request_at(self.now, request)
    }

    /// Hands in a request for later.
    pub fn request_at(&mut self, at: Time, request: Request) -> Ticket {
        let ticket = self.next_ticket();
        self.hand_in(at, ticket, request);
        ticket
    }

    /// Hands in a request under a ticket that somebody else made. Tickets of the desk count up from 1.
    pub fn hand_in(&mut self, at: Time, ticket: Ticket, request: Request) {
        self.handed_in.insert((at.max(self.now + TURNAROUND), ticket.0), Input::Requested { ticket, request });
    }

    /// Calls the listener at that time, whatever else happens.
    pub fn call_at(&mut self, at: Time) {
        self.calls.insert(at.max(self.now + TURNAROUND));
    }

    /// A person goes to the table and takes the train out of a section in which another one is. Only where people are about.
    pub(crate) fn take_from_others(&mut self, train: TrainId) {
        self.to_take.push(train);
    }

    fn next_ticket(&mut self) -> Ticket {
        self.tickets += 1;
        Ticket(self.tickets)
    }

    /// Whether nothing that was handed in waits to be heard.
    pub fn is_clear(&self) -> bool {
        self.handed_in.is_empty()
    }

    /// When something is due next.
    pub fn next_due(&self) -> Option<Time> {
        let handed_in = self.handed_in.first_key_value().map(|(&(at, _), _)| at);
        handed_in.into_iter().chain(self.calls.first().copied()).min()
    }

    /// Gives what is due into `inputs`, and tells whether a call is.
    pub fn take_due(&mut self, now: Time, inputs: &mut Vec<Input>) -> Called {
        self.now = now;
        while let Some(entry) = self.handed_in.first_entry().filter(|entry| entry.key().0 <= now) {
            inputs.push(entry.remove());
        }
        let before = self.calls.len();
        self.calls.retain(|&at| at > now);
        if self.calls.len() < before { Called::Yes } else { Called::No }
    }
}

/// Whether somebody asked to be called.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Called {
    /// At this time, or before.
    Yes,
    /// Not yet.
    No,
}

impl Session {
    /// A fresh table under a signaller that controls it.
    ///
    /// # Errors
    /// A train that does not fit where it is said to stand.
    pub fn new(layout: Arc<Layout>, settings: &Settings) -> Result<Self, PlaceError> {
        let signaller = Signaller::new(Arc::clone(&layout), Conduct::Control);
        Self::with(layout, settings, signaller)
    }
}

impl<S: Works> Session<S> {
    /// A fresh table under something that works like a signaller.
    ///
    /// # Errors
    /// A train that does not fit where it is said to stand.
    pub fn with(layout: Arc<Layout>, settings: &Settings, signaller: S) -> Result<Self, PlaceError> {
        Ok(Self {
            table: Table::new(Arc::clone(&layout), settings)?,
            signaller,
            checkers: Checkers::new(Arc::clone(&layout), settings),
            keeper: Keeper::new(layout),
            digest: Digest::new(),
            desk: Desk::default(),
            now: Time::ZERO,
            wake_at: None,
            has_begun: false,
            inputs: Vec::new(),
            unheard: Vec::new(),
            outputs: Vec::new(),
            happenings: Vec::new(),
            told: 0,
        })
    }

    /// The layout time.
    pub fn now(&self) -> Time {
        self.now
    }

    /// The table.
    pub fn table(&self) -> &Table {
        &self.table
    }

    /// The table, to let something happen on it between two calls of [`Session::run_until`].
    pub fn table_mut(&mut self) -> &mut Table {
        &mut self.table
    }

    /// Nothing goes wrong on the table from now on, and people set right what did: see [`Table::heal`].
    pub fn heal(&mut self) {
        self.table.heal();
    }

    /// Accidents so far that nobody could know of.
    pub fn excused(&self) -> &[Violation] {
        self.checkers.excused()
    }

    /// The sure claims so far.
    pub fn claims(&self) -> &Claims {
        self.checkers.claims()
    }

    /// The signaller.
    pub fn signaller(&self) -> &S {
        &self.signaller
    }

    /// The signaller, to ask it something that changes nothing of what it does.
    pub fn signaller_mut(&mut self) -> &mut S {
        &mut self.signaller
    }

    /// Where requests are handed in from outside, between two calls of [`Session::run_until`].
    pub fn desk(&mut self) -> &mut Desk {
        &mut self.desk
    }

    /// Every rule that was broken so far.
    pub fn violations(&self) -> &[Violation] {
        self.checkers.violations()
    }

    /// The figures so far.
    pub fn statistics(&self) -> &Statistics {
        self.keeper.figures()
    }

    /// The digest of everything that went into the signaller and came out, with its times.
    pub fn digest(&self) -> Digest {
        self.digest
    }

    /// The signaller hears these first of all, before any report. To be called before time passes.
    pub fn begin_with(&mut self, inputs: Vec<Input>) {
        if !self.has_begun {
            self.inputs = inputs;
        }
    }

    /// Lets layout time pass until `until`. The listener is called after every step of the signaller, and whenever it asked to
    /// be; what it requests goes in a millisecond later.
    pub fn run_until(&mut self, until: Time, listener: &mut dyn FnMut(&Moment<'_, S>, &mut Desk)) {
        if !self.has_begun {
            self.has_begun = true;
            self.inputs.append(&mut self.table.first_inputs(|| self.desk.next_ticket()));
            let called = self.desk.take_due(self.now, &mut self.inputs);
            self.step(called, listener);
        }
        if !self.unheard.is_empty() {
            self.inputs = std::mem::take(&mut self.unheard);
            self.step(Called::No, listener);
        }
        while self.now < until {
            let judge_at = self.table.is_active().then(|| self.now + JUDGE_EVERY);
            let due = [self.wake_at, self.desk.next_due(), judge_at].into_iter().flatten().min();
            self.now = self.table.advance(due.map_or(until, |due| due.clamp(self.now, until)));
            self.keeper.pass(self.now, &self.table);
            self.see();
            self.inputs.clear();
            self.table.take_heard(&mut self.inputs);
            let called = self.desk.take_due(self.now, &mut self.inputs);
            if self.wake_at.is_some_and(|at| at <= self.now) {
                self.inputs.push(Input::Woke);
            }
            self.step(called, listener);
        }
    }

    /// Time passes in which nobody hears anything.
    pub(crate) fn pass_unheard(&mut self, until: Time) {
        while self.now < until {
            self.now = self.table.advance(until);
            self.keeper.pass(self.now, &self.table);
            self.see();
            let mut unheard = Vec::new();
            self.table.take_heard(&mut unheard);
        }
    }

    /// Hears these at once.
    pub(crate) fn hear(&mut self, inputs: Vec<Input>, listener: &mut dyn FnMut(&Moment<'_, S>, &mut Desk)) {
        self.inputs = inputs;
        self.step(Called::No, listener);
    }

    /// Somebody else takes over: nothing that was said or granted before counts any more.
    pub(crate) fn begin_anew(&mut self, signaller: S) {
        self.signaller = signaller;
        self.wake_at = None;
        self.checkers.begin_anew(&self.table);
        self.keeper.begin_anew();
        self.table.forget_what_was_granted();
    }

    /// One step of the signaller, if it heard anything; in any case the checkers judge.
    fn step(&mut self, called: Called, listener: &mut dyn FnMut(&Moment<'_, S>, &mut Desk)) {
        self.outputs.clear();
        if !self.inputs.is_empty() {
            self.checkers.overhear(&self.inputs, &self.table);
            let step = self.signaller.work(self.now, &self.inputs);
            self.outputs.extend_from_slice(step.outputs);
            self.wake_at = step.wake_at.map(|at| at.max(self.now + TURNAROUND));
            self.digest.add(&self.now);
            self.digest.add(&self.inputs);
            self.digest.add(&self.outputs);
            for output in &self.outputs {
                self.checkers.hear(self.now, output, &self.table);
                self.table.act(output);
            }
            // A turnout thrown under a standing train derails it now, not when time next passes.
            self.see();
            self.keeper.step(&self.inputs, &self.outputs);
        }
        self.checkers.judge(self.now, &self.table);
        let violations = &self.checkers.violations()[self.told..];
        self.told += violations.len();
        if !self.inputs.is_empty() || called == Called::Yes || !violations.is_empty() {
            let moment = Moment {
                now: self.now,
                inputs: &self.inputs,
                outputs: &self.outputs,
                happenings: &self.happenings,
                violations,
                table: &self.table,
                signaller: &self.signaller,
            };
            listener(&moment, &mut self.desk);
            self.happenings.clear();
            for train in self.desk.to_take.drain(..) {
                self.table.take_from_others(train);
            }
        }
    }

    /// Lets the checkers see what happened on the table, and keeps it for the listener.
    fn see(&mut self) {
        for (at, happening) in self.table.take_happenings() {
            self.checkers.see(at, happening, &self.table);
            self.happenings.push((at, happening));
        }
    }
}
