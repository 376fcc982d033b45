//! All scripts of a layout, for their host.

use std::collections::BTreeMap;
use std::sync::Arc;

use signaller::{Answer, Board, Fact, Input, Output, Request, Ticket, Time};
use track::{Layout, TrainId};

use crate::budget::Budget;
use crate::clock::LayoutClock;
use crate::desk::{Question, SharedDesk};
use crate::event::Event;
use crate::functions::shorten;
use crate::names::unknown;
use crate::notice::{Notice, NoticeKind, ScriptError};
use crate::precheck::precheck;
use crate::script::Script;
use crate::vm::Vm;

/// A longer script is not read.
const LONGEST_SCRIPT: usize = 1 << 20;

/// All scripts of a layout.
///
/// No threads and no clock: the host says what happened and how late it is, and takes what the scripts ask for. Dropping it
/// ends every script; what trains do then is the host's to decide.
#[derive(Debug)]
pub struct Scripts {
    layout: Arc<Layout>,
    budget: Budget,
    seed: u64,
    desk: SharedDesk,
    scripts: Vec<Script>,
    leaving: Vec<(Ticket, Request)>,
    notices: Vec<Notice>,
    has_begun: bool,
    /// Holds asked for because of failures, and not answered yet: in which script, and which train.
    holds: BTreeMap<Ticket, (usize, TrainId)>,
}

impl Scripts {
    /// Takes scripts, as pairs of file name and text, into service: looks for names that nobody bears, and runs each one's top
    /// level. Tasks start when [`Scripts::hear`] or [`Scripts::wake`] is first called.
    ///
    /// A script with an error stays out of service; the others are not concerned. Files are worked through in the order of
    /// their names. `seed` decides what `math.random` gives.
    pub fn load(
        layout: Arc<Layout>,
        files: Vec<(String, String)>,
        budget: &Budget,
        seed: u64,
    ) -> (Self, Vec<ScriptError>) {
        Self::load_going_on(layout, files, budget, seed, LayoutClock::default())
    }

    /// The same, with the layout clock as it is to be at first.
    pub fn load_going_on(
        layout: Arc<Layout>,
        files: Vec<(String, String)>,
        budget: &Budget,
        seed: u64,
        clock: LayoutClock,
    ) -> (Self, Vec<ScriptError>) {
        let mut scripts = Self::none(layout, budget, seed);
        {
            let mut desk = scripts.desk.lock();
            // The minute that a clock goes on in was told before.
            desk.minute_told = clock.goes_on().then(|| clock.shows(desk.now).full_minute());
            desk.clock = clock;
        }
        let errors = scripts.load_all(files);
        (scripts, errors)
    }

    fn none(layout: Arc<Layout>, budget: &Budget, seed: u64) -> Self {
        Self {
            desk: SharedDesk::new(Arc::clone(&layout)),
            layout,
            budget: budget.clone(),
            seed,
            scripts: Vec::new(),
            leaving: Vec::new(),
            notices: Vec::new(),
            has_begun: false,
            holds: BTreeMap::new(),
        }
    }

    fn load_all(&mut self, mut files: Vec<(String, String)>) -> Vec<ScriptError> {
        files.sort();
        let errors = files.iter().flat_map(|(file, text)| self.load_one(file, text)).collect();
        self.collect();
        errors
    }

    /// Takes other scripts into service instead, if none of them has an error; otherwise these stay.
    ///
    /// What these waited for is given up; trains under way run on to where they were sent, and holds, sections out of service and
    /// signals at danger stay as they are, those of a file of the same name its own.
    ///
    /// # Errors
    /// What is wrong with the other scripts, in words.
    pub fn reload(&mut self, now: Time, files: Vec<(String, String)>) -> Result<(), String> {
        let count = files.len();
        let mut next = Self::none(Arc::clone(&self.layout), &self.budget, self.seed);
        {
            let mut desk = self.desk.lock();
            desk.now = desk.now.max(now);
            next.desk.lock().succeed(&desk);
        }
        let errors = next.load_all(files);
        let at = self.desk.lock().now;
        let notice = |kind| Notice { at, file: "scripts".to_owned(), kind };
        if !errors.is_empty() {
            let errors: Vec<String> = errors.iter().map(ToString::to_string).collect();
            self.notices.push(notice(NoticeKind::NotReloaded(errors.clone())));
            return Err(format!("the scripts before stay in service; {}", errors.join("; ")));
        }
        next.desk.lock().inherit(&self.desk.lock());
        // What was already on its way out still leaves.
        next.leaving.splice(0..0, std::mem::take(&mut self.leaving));
        next.notices.splice(0..0, std::mem::take(&mut self.notices));
        next.notices.push(notice(NoticeKind::Reloaded(count)));
        *self = next;
        // They begin now, whether or not anything happens on the railway.
        self.wake(now);
        Ok(())
    }

    fn load_one(&mut self, file: &str, text: &str) -> Vec<ScriptError> {
        let (budget, seed) = (&self.budget.clone(), self.seed);
        let error = |what: String| vec![ScriptError { file: file.to_owned(), line: None, what }];
        if text.len() > LONGEST_SCRIPT {
            return error(format!("a script can be {LONGEST_SCRIPT} bytes long, and this one is {}", text.len()));
        }
        let found = precheck(file, text, &self.desk.lock().names);
        if !found.is_empty() {
            return found;
        }
        let number = self.desk.lock().add_script(file, budget);
        let vm = match Vm::new(&self.desk, number, budget, seed) {
            Ok(vm) => vm,
            Err(cause) => return error(format!("cannot make a machine for it: {cause}")),
        };
        let (script, result) = Script::load(number, self.desk.clone(), vm, budget.checks, text);
        self.scripts.push(script);
        result.err().into_iter().collect()
    }

    /// Says that a train which the layout does not describe got this id and name.
    pub fn name_train(&mut self, train: TrainId, name: &str) {
        self.desk.lock().names.add_stranger(train, name.to_owned());
    }

    /// Tells the scripts what went into a step of the signaller and what came out of it, and lets them work.
    ///
    /// Everything that is told at once is so before any script runs: scripts see a consistent picture.
    pub fn hear(&mut self, now: Time, inputs: &[Input], outputs: &[Output]) {
        let mut events = self.begin(now);
        events.extend(self.desk.lock().apply(inputs, outputs));
        self.work(&events, outputs);
    }

    /// Tells the scripts what is known by now, where they fell behind and so many things that happened are not told. Of those
    /// they still hear `outputs`: answers to what they asked, and arrivals.
    pub fn catch_up(&mut self, now: Time, board: Board, outputs: &[Output], missed: u64) {
        let mut events = self.begin(now);
        events.push(self.desk.lock().catch_up(board, missed));
        self.work(&events, outputs);
    }

    /// Lets the scripts work because time has passed.
    pub fn wake(&mut self, now: Time) {
        self.hear(now, &[], &[]);
    }

    /// The run is about to end.
    pub fn end(&mut self, now: Time) {
        let mut events = self.begin(now);
        events.push(Event::new("stop", now));
        self.work(&events, &[]);
    }

    /// Somebody pressed a button.
    pub fn press(&mut self, now: Time, button: &str) {
        let mut events = self.begin(now);
        events.push(Event::named("button", now, shorten(button)));
        self.work(&events, &[]);
    }

    /// The questions that stand open, in the order in which they were asked.
    pub fn questions(&self) -> Vec<Question> {
        self.desk.lock().questions.values().cloned().collect()
    }

    /// Somebody answers a question.
    ///
    /// # Errors
    /// In words, where there is no such question, or it does not offer that answer.
    pub fn answer(&mut self, now: Time, number: u64, answer: &str) -> Result<(), String> {
        let events = self.begin(now);
        {
            let mut desk = self.desk.lock();
            let question = desk.questions.get(&number).ok_or_else(|| format!("no question {number} stands open"))?;
            if !question.answers.iter().any(|offered| offered == answer) {
                let offered = question.answers.iter().map(String::as_str);
                let known = question.answers.join("`, `");
                return Err(match unknown("answer", answer, offered) {
                    told if told.contains("hint:") => told,
                    told => format!("{told}; hint: choose one of `{known}`"),
                });
            }
            desk.questions.remove(&number);
        }
        for script in &mut self.scripts {
            script.hear_answer(number, answer);
        }
        self.work(&events, &[]);
        Ok(())
    }

    /// The layout clock.
    pub fn clock(&self) -> LayoutClock {
        self.desk.lock().clock.clone()
    }

    /// Somebody sets, starts or pauses the layout clock.
    pub fn turn_clock(&mut self, now: Time, turn: impl FnOnce(&mut LayoutClock)) {
        let mut events = self.begin(now);
        {
            let mut desk = self.desk.lock();
            turn(&mut desk.clock);
            events.extend(desk.apply(&[], &[]));
        }
        self.work(&events, &[]);
    }

    /// Time is so late by now. Tells what that means.
    fn begin(&mut self, now: Time) -> Vec<Event> {
        let mut desk = self.desk.lock();
        desk.now = desk.now.max(now);
        let begins = !std::mem::replace(&mut self.has_begun, true);
        begins.then(|| Event::new("start", desk.now)).into_iter().collect()
    }

    /// Lets everybody hear what happened, and have their turn.
    fn work(&mut self, events: &[Event], outputs: &[Output]) {
        let now = self.desk.lock().now;
        let facts = || {
            outputs.iter().filter_map(|output| match output {
                Output::Fact(fact) => Some(fact),
                _ => None,
            })
        };
        for fact in facts() {
            self.notice_answer(fact);
        }
        let something_happened = !events.is_empty() || facts().next().is_some();
        for script in &mut self.scripts {
            script.wake_due(now);
            for event in events {
                script.hear_event(event);
            }
            for fact in facts() {
                script.hear_fact(fact);
            }
            if something_happened {
                script.look_again();
            }
        }
        for script in &mut self.scripts {
            script.run(now);
        }
        self.collect();
    }

    /// When [`Scripts::wake`] should be called if nothing is heard before. After a call it is always later than that call.
    pub fn next_wake(&self) -> Option<Time> {
        let happening = self.desk.lock().next_happening();
        self.scripts.iter().filter_map(Script::next_wake).chain(happening).min()
    }

    /// Takes what the scripts ask for. Their tickets are [`FIRST_TICKET`](crate::FIRST_TICKET) and above.
    pub fn take_requests(&mut self) -> Vec<(Ticket, Request)> {
        std::mem::take(&mut self.leaving)
    }

    /// Takes what the scripts said, and what is said about them.
    pub fn take_notices(&mut self) -> Vec<Notice> {
        std::mem::take(&mut self.notices)
    }

    fn notice_answer(&mut self, fact: &Fact) {
        let Fact::Answered { ticket, answer } = fact else { return };
        let Some((script, train)) = self.holds.remove(ticket) else { return };
        let Answer::Refused(refusal) = answer else { return };
        let desk = self.desk.lock();
        self.notices.push(Notice {
            at: desk.now,
            file: desk.papers[script].file.clone(),
            kind: NoticeKind::HoldRefused { train: desk.names.of_train(train), reason: refusal.reason.clone() },
        });
    }

    /// Gathers what came of running: holds first, then what may leave of the other requests.
    fn collect(&mut self) {
        let at = self.desk.lock().now;
        for script in &mut self.scripts {
            let results = std::mem::take(&mut script.results);
            let file = script.file();
            self.notices.extend(results.notices.into_iter().map(|kind| Notice { at, file: file.clone(), kind }));
            for (train, ticket, request) in results.holds {
                self.holds.insert(ticket, (script.number(), train));
                self.leaving.push((ticket, request));
            }
        }
        for script in &mut self.scripts {
            self.leaving.extend(script.take_requests(at));
        }
    }
}
