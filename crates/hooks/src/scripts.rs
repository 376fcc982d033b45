//! All scripts of a layout, for their host.

use std::collections::BTreeMap;
use std::sync::Arc;

use signaller::{Answer, Fact, Output, Request, Ticket, Time};
use track::{Layout, TrainId};

use crate::budget::Budget;
use crate::desk::SharedDesk;
use crate::event::Event;
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
    desk: SharedDesk,
    scripts: Vec<Script>,
    leaving: Vec<(Ticket, Request)>,
    notices: Vec<Notice>,
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
        mut files: Vec<(String, String)>,
        budget: &Budget,
        seed: u64,
    ) -> (Self, Vec<ScriptError>) {
        files.sort();
        let desk = SharedDesk::new(layout);
        let mut scripts =
            Self { desk, scripts: Vec::new(), leaving: Vec::new(), notices: Vec::new(), holds: BTreeMap::new() };
        let mut errors = Vec::new();
        for (file, text) in files {
            errors.extend(scripts.load_one(&file, &text, budget, seed));
        }
        scripts.collect();
        (scripts, errors)
    }

    fn load_one(&mut self, file: &str, text: &str, budget: &Budget, seed: u64) -> Vec<ScriptError> {
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

    /// Tells the scripts what came out of a step of the signaller, and lets them work.
    ///
    /// Everything that is told at once is so before any script runs: scripts see a consistent picture.
    pub fn hear(&mut self, now: Time, outputs: &[Output]) {
        let mut heard = Vec::new();
        let now = {
            let mut desk = self.desk.lock();
            desk.now = desk.now.max(now);
            for output in outputs {
                let Output::Fact(fact) = output else { continue };
                desk.apply(fact);
                heard.push((fact, Event::new(desk.now, fact, &desk.names)));
            }
            desk.now
        };
        for (fact, _) in &heard {
            self.notice_answer(fact);
        }
        for script in &mut self.scripts {
            script.wake_due(now);
            for (fact, event) in &heard {
                script.hear(fact, event.as_ref());
            }
            if !heard.is_empty() {
                script.look_again();
            }
        }
        for script in &mut self.scripts {
            script.run(now);
        }
        self.collect();
    }

    /// Lets the scripts work because time has passed.
    pub fn wake(&mut self, now: Time) {
        self.hear(now, &[]);
    }

    /// When [`Scripts::wake`] should be called if nothing is heard before. After a call it is always later than that call.
    pub fn next_wake(&self) -> Option<Time> {
        self.scripts.iter().filter_map(Script::next_wake).min()
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
