//! The desk between scripts and the scheduler: what both lay hands on while a script runs.

use std::collections::{BTreeMap, VecDeque};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use mlua::Function;
use signaller::{Board, Destination, Fact, Input, Output, Request, Ticket, Time};
use track::{Layout, SectionId, SignalId, TrainId};

use crate::budget::{Allowance, Budget};
use crate::clock::{ClockTime, LayoutClock};
use crate::event::{Event, Pattern};
use crate::names::Names;
use crate::notice::NoticeKind;
use crate::picture::Picture;

/// Requests that may queue up before a script that asks for more has failed.
const OUTBOX_LIMIT: usize = 64;

/// Tasks, and hooks, that one script may have at a time.
pub(crate) const LIMIT_EACH: usize = 256;

/// What is due already is due a little later: nobody keeps the host in one instant.
pub(crate) const SOON: Duration = Duration::from_millis(1);

/// Numbers tasks in the order in which they were started, over all scripts.
pub(crate) type TaskId = u64;

/// Whose care a train is in: a script's, and within it a task's. Without a task: the script's top level and its hooks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Carer {
    pub(crate) script: usize,
    pub(crate) task: Option<TaskId>,
}

/// What a task waits for.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Wait {
    /// Its turn.
    Turn,
    /// A time.
    Until(Time),
    /// Anything to happen; in any case to look again at `look_at`. At `deadline` it has waited too long.
    Change { look_at: Time, deadline: Option<Time> },
    /// An event.
    Event { pattern: Box<Pattern>, deadline: Option<Time> },
    /// The answer to a request. Where it is accepted, `gives_up` has no destination any more.
    Answer { ticket: Ticket, gives_up: Option<TrainId> },
    /// A train to arrive.
    Trip(Trip),
    /// The layout clock to show a time.
    Clock(ClockTime),
    /// Somebody to answer a question.
    Question { number: u64, deadline: Option<Time> },
}

/// A train on its way, for the task that sent it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Trip {
    pub(crate) ticket: Ticket,
    pub(crate) train: TrainId,
    /// Where it was sent: to the next place that it is to pass, or to the last.
    pub(crate) to: Destination,
    /// The places after that.
    pub(crate) then: VecDeque<Destination>,
    pub(crate) carer: Carer,
    /// When it has taken too long, and how many seconds that is.
    pub(crate) deadline: Option<(Time, f64)>,
    /// The signaller will do it.
    pub(crate) is_accepted: bool,
}

impl Trip {
    /// Where the train is to come to stand.
    pub(crate) fn goal(&self) -> Destination {
        self.then.back().copied().unwrap_or(self.to)
    }
}

/// A question to people that stands open.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Question {
    /// Its number, by which it is answered.
    pub number: u64,
    /// The file of the script that asks.
    pub file: String,
    /// What is asked.
    pub text: String,
    /// The answers to choose from.
    pub answers: Vec<String>,
}

impl Wait {
    /// When the waiting is over in any case.
    pub(crate) fn due(&self, now: Time, clock: &LayoutClock) -> Option<Time> {
        match self {
            Self::Turn | Self::Answer { .. } => None,
            Self::Until(time) => Some(*time),
            Self::Change { look_at, .. } => Some(*look_at),
            Self::Event { deadline, .. } | Self::Question { deadline, .. } => *deadline,
            Self::Trip(trip) => trip.deadline.map(|(time, _)| time),
            Self::Clock(target) => clock.when(now, *target),
        }
    }
}

/// Something a script declared while it ran.
#[derive(Clone, Debug)]
pub(crate) enum Newcomer {
    Task { name: String, body: Function },
    Hook { pattern: Box<Pattern>, body: Function },
}

/// A request on its way out.
#[derive(Clone, Debug)]
pub(crate) struct Wish {
    pub(crate) ticket: Ticket,
    pub(crate) request: Request,
    pub(crate) carer: Carer,
}

/// The task that runs at the moment.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Running {
    pub(crate) carer: Carer,
    /// Tells its coroutine from those that the script makes itself. Nothing while the top level runs, which cannot wait.
    pub(crate) coroutine: Option<usize>,
}

/// What one script has on the desk.
#[derive(Debug)]
pub(crate) struct Papers {
    pub(crate) file: String,
    pub(crate) running: Option<Running>,
    /// What the running task wants to wait for when it gives way.
    pub(crate) wait: Option<Wait>,
    pub(crate) newcomers: Vec<Newcomer>,
    /// Tasks and hooks at work, newcomers included.
    pub(crate) tasks: usize,
    pub(crate) hooks: usize,
    pub(crate) outbox: VecDeque<Wish>,
    pub(crate) requests: Allowance,
    lines: Allowance,
    lines_left_out: u64,
    said: Vec<NoticeKind>,
}

/// The desk.
#[derive(Debug)]
pub(crate) struct Desk {
    pub(crate) now: Time,
    pub(crate) names: Names,
    pub(crate) picture: Picture,
    pub(crate) care: BTreeMap<TrainId, Carer>,
    /// Holds that a script asked for and that nobody has replaced by another: train, script and reason.
    pub(crate) holds: BTreeMap<TrainId, (usize, String)>,
    /// Sections that scripts took out of service, and signals that they keep at danger.
    pub(crate) taken_out: BTreeMap<SectionId, usize>,
    pub(crate) kept_at_danger: BTreeMap<SignalId, usize>,
    pub(crate) clock: LayoutClock,
    /// The minute of the clock that was told last.
    pub(crate) minute_told: Option<ClockTime>,
    pub(crate) questions: BTreeMap<u64, Question>,
    next_question: u64,
    pub(crate) papers: Vec<Papers>,
    next_ticket: u64,
    next_task: TaskId,
}

/// A handle to the desk for Lua functions and the scheduler.
#[derive(Clone, Debug)]
pub(crate) struct SharedDesk(Arc<Mutex<Desk>>);

impl SharedDesk {
    pub(crate) fn new(layout: Arc<Layout>) -> Self {
        Self(Arc::new(Mutex::new(Desk {
            now: Time::ZERO,
            picture: Picture::new(Arc::clone(&layout)),
            names: Names::new(layout),
            care: BTreeMap::new(),
            holds: BTreeMap::new(),
            taken_out: BTreeMap::new(),
            kept_at_danger: BTreeMap::new(),
            clock: LayoutClock::default(),
            minute_told: None,
            questions: BTreeMap::new(),
            next_question: 1,
            papers: Vec::new(),
            next_ticket: FIRST_TICKET,
            next_task: 0,
        })))
    }

    /// The desk, for a moment. Nothing of Lua's may run while it is held.
    pub(crate) fn lock(&self) -> MutexGuard<'_, Desk> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Tickets from here on are ours.
pub const FIRST_TICKET: u64 = 1 << 63;

impl Desk {
    /// Makes room for one more script and tells its number.
    pub(crate) fn add_script(&mut self, file: &str, budget: &Budget) -> usize {
        self.papers.push(Papers {
            file: file.to_owned(),
            running: None,
            wait: None,
            newcomers: Vec::new(),
            tasks: 0,
            hooks: 0,
            outbox: VecDeque::new(),
            requests: Allowance::new(budget.requests_at_once, budget.requests_per_second),
            lines: Allowance::new(budget.lines_at_once, budget.requests_per_second),
            lines_left_out: 0,
            said: Vec::new(),
        });
        self.papers.len() - 1
    }

    /// Begins with what a desk before knew: nothing is numbered twice.
    pub(crate) fn succeed(&mut self, before: &Self) {
        (self.now, self.clock, self.minute_told) = (before.now, before.clock.clone(), before.minute_told);
        (self.names, self.picture) = (before.names.clone(), before.picture.clone());
        (self.next_ticket, self.next_task, self.next_question) =
            (before.next_ticket, before.next_task, before.next_question);
        for papers in &before.papers {
            for wish in &papers.outbox {
                // That trip will never begin.
                if let Request::Go { train, .. } = wish.request {
                    self.picture.give_up(train);
                }
            }
        }
    }

    /// What scripts of the same name did before is theirs; what others did is nobody's among the scripts.
    pub(crate) fn inherit(&mut self, before: &Self) {
        let heir = |script: usize| self.papers.iter().position(|papers| papers.file == before.papers[script].file);
        let holds =
            before.holds.iter().filter_map(|(&train, (script, why))| Some((train, (heir(*script)?, why.clone()))));
        let taken_out = before.taken_out.iter().filter_map(|(&section, &script)| Some((section, heir(script)?)));
        let kept = before.kept_at_danger.iter().filter_map(|(&signal, &script)| Some((signal, heir(script)?)));
        let (holds, taken_out, kept): (BTreeMap<_, _>, BTreeMap<_, _>, BTreeMap<_, _>) =
            (holds.collect(), taken_out.collect(), kept.collect());
        (self.holds, self.taken_out, self.kept_at_danger) = (holds, taken_out, kept);
    }

    pub(crate) fn ticket(&mut self) -> Ticket {
        self.next_ticket += 1;
        Ticket(self.next_ticket - 1)
    }

    pub(crate) fn task_id(&mut self) -> TaskId {
        self.next_task += 1;
        self.next_task
    }

    /// Takes in what was heard and what came of it; tells what happened.
    pub(crate) fn apply(&mut self, inputs: &[Input], outputs: &[Output]) -> Vec<Event> {
        let now = self.now;
        let mut events = Vec::new();
        for input in inputs {
            events.extend(Event::of_input(now, input, &self.picture, &self.names));
            self.picture.hear(input);
        }
        for output in outputs {
            events.extend(Event::of_output(now, output, &self.picture, &self.names).into_iter().flatten());
            self.picture.apply(now, output);
            if let Output::Fact(fact) = output {
                self.note_ownership(fact);
            }
        }
        events.extend(self.time_passed());
        events
    }

    /// Takes in everything that is known, where so many things that happened are not told.
    pub(crate) fn catch_up(&mut self, board: Board, missed: u64) -> Event {
        for (train, errand) in &board.errands {
            if self.holds.get(train).is_some_and(|(_, own)| errand.held.as_ref() != Some(own)) {
                self.holds.remove(train);
            }
        }
        self.taken_out.retain(|section, _| board.withdrawn.contains_key(section));
        self.picture.catch_up(board);
        Event::missed(self.now, missed)
    }

    /// What happened only because time passed: turnouts that nobody reports arrived, the clock went on.
    fn time_passed(&mut self) -> Vec<Event> {
        let now = self.now;
        let mut events = Vec::new();
        for turnout in self.picture.arrive(now) {
            events.push(Event::turnout_lies(now, turnout, self.picture.board.lies[turnout]));
        }
        let minute = self.clock.shows(now).full_minute();
        // Of minutes that were jumped over only the last is told.
        if self.clock.is_running() && self.minute_told != Some(minute) {
            self.minute_told = Some(minute);
            events.push(Event::named("clock", now, minute.to_string()));
        }
        events
    }

    /// When something happens only because time passes.
    pub(crate) fn next_happening(&self) -> Option<Time> {
        let shows = self.clock.shows(self.now);
        let is_told = self.minute_told == Some(shows.full_minute());
        let next = if is_told { shows.next_minute() } else { shows.full_minute() };
        let minute = self.clock.is_running().then(|| self.clock.when(self.now, next)).flatten();
        let minute = minute.map(|minute| minute.max(self.now + SOON));
        [self.picture.next_arrival(), minute].into_iter().flatten().min()
    }

    /// What a script did that somebody undid is its own no more.
    fn note_ownership(&mut self, fact: &Fact) {
        match fact {
            Fact::HoldSet { train, reason } if self.holds.get(train).is_some_and(|(_, own)| own != reason) => {
                self.holds.remove(train);
            }
            Fact::HoldLifted { train } => {
                self.holds.remove(train);
            }
            Fact::InService { section } => {
                self.taken_out.remove(section);
            }
            _ => {}
        }
    }

    /// Puts a question; tells its number.
    pub(crate) fn put_question(&mut self, script: usize, text: String, answers: Vec<String>) -> u64 {
        let number = self.next_question;
        self.next_question += 1;
        let file = self.papers[script].file.clone();
        let question = Question { number, file, text, answers };
        self.papers[script].said.push(NoticeKind::Asked(question.clone()));
        self.questions.insert(number, question);
        number
    }

    /// Asks for a hold on every train in one carer's care, because it failed. They can then only be released by a person.
    pub(crate) fn hold_all(&mut self, carer: Carer, why: &str) -> Vec<(TrainId, Ticket, Request)> {
        let mut holds = Vec::new();
        for train in self.trains_of(carer) {
            self.holds.remove(&train);
            self.care.insert(train, Carer { task: None, ..carer });
            holds.push((train, self.ticket(), Request::Hold { train, reason: why.to_owned() }));
        }
        holds
    }

    /// Takes back the requests of a task that have not left yet.
    pub(crate) fn take_back(&mut self, carer: Carer) {
        let mut kept = VecDeque::new();
        for wish in std::mem::take(&mut self.papers[carer.script].outbox) {
            match wish.request {
                Request::Go { train, .. } if wish.carer == carer => self.picture.give_up(train),
                _ if wish.carer == carer => {}
                _ => kept.push_back(wish),
            }
        }
        self.papers[carer.script].outbox = kept;
    }

    /// Puts a request into the script's outbox.
    pub(crate) fn post(&mut self, carer: Carer, request: Request) -> Result<Ticket, String> {
        if self.papers[carer.script].outbox.len() >= OUTBOX_LIMIT {
            return Err(format!("{OUTBOX_LIMIT} requests are waiting to leave already; hint: wait between requests"));
        }
        let ticket = self.ticket();
        self.papers[carer.script].outbox.push_back(Wish { ticket, request, carer });
        Ok(ticket)
    }

    /// Takes a train into care, unless another script has it.
    pub(crate) fn take_care(&mut self, carer: Carer, train: TrainId) -> Result<(), String> {
        self.must_not_be_anothers(carer, train)?;
        self.care.insert(train, carer);
        Ok(())
    }

    /// Fails where another script has a train in its care.
    pub(crate) fn must_not_be_anothers(&self, carer: Carer, train: TrainId) -> Result<(), String> {
        match self.care.get(&train) {
            Some(other) if other.script != carer.script => Err(format!(
                "`{}` is in the care of `{}`; hint: it must be let go of there first",
                self.names.of_train(train),
                self.papers[other.script].file
            )),
            _ => Ok(()),
        }
    }

    /// Fails where a train is not in this script's care.
    pub(crate) fn must_be_own(&self, carer: Carer, train: TrainId) -> Result<(), String> {
        self.must_not_be_anothers(carer, train)?;
        if self.care.contains_key(&train) {
            return Ok(());
        }
        let name = self.names.of_train(train);
        Err(format!("`{name}` is not in the care of this script; hint: take it with `care(\"{name}\")`"))
    }

    /// The trains in one carer's care, in order.
    pub(crate) fn trains_of(&self, carer: Carer) -> Vec<TrainId> {
        self.care.iter().filter(|(_, other)| **other == carer).map(|(&train, _)| train).collect()
    }

    /// The section that a place lies in is free.
    pub(crate) fn is_free(&self, place: Destination) -> bool {
        let section_of = |place| self.names.section_of(place);
        self.picture.is_free(section_of(place), section_of)
    }

    /// Puts a line out, as far as the script may still say something.
    pub(crate) fn say(&mut self, script: usize, notice: NoticeKind) {
        let now = self.now;
        let papers = &mut self.papers[script];
        if papers.lines.take(now) {
            papers.said.push(notice);
        } else {
            papers.lines_left_out += 1;
        }
    }

    /// Takes what a script said since the last time.
    pub(crate) fn take_said(&mut self, script: usize) -> Vec<NoticeKind> {
        let papers = &mut self.papers[script];
        let mut said = std::mem::take(&mut papers.said);
        if papers.lines_left_out > 0 {
            said.push(NoticeKind::LinesLeftOut(std::mem::take(&mut papers.lines_left_out)));
        }
        said
    }
}
