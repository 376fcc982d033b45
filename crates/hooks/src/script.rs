//! One script at work: its tasks and hooks, what each waits for, and in which order they have their turn.

use std::collections::{BTreeMap, VecDeque};
use std::time::{Duration, Instant};

use mlua::MultiValue;
use signaller::{Fact, Request, Ticket, Time};
use track::TrainId;

use crate::desk::{Carer, Newcomer, Running, SharedDesk, TaskId, Wait};
use crate::event::Event;
use crate::functions::SHORTEST_WAIT;
use crate::notice::{Ended, Failure, NoticeKind, ScriptError};
use crate::task::{Hook, Reply, Role, Task, reply_to, reply_values};
use crate::vm::{Trouble, Vm};

/// Calls of one hook that may be unfinished at a time.
const CALLS_AT_ONCE: usize = 32;

/// How many turns, and how many times the budget of one turn, a script has each time it is woken. The rest of the work is put
/// off a little, so that a script that always finds more to do cannot keep the host in one instant.
const TURNS_AT_ONCE: u32 = 1000;
const BUDGETS_AT_ONCE: u32 = 4;

/// A script.
#[derive(Debug)]
pub(crate) struct Script {
    number: usize,
    desk: SharedDesk,
    /// Nothing once the whole script has ended.
    vm: Option<Vm>,
    tasks: BTreeMap<TaskId, Task>,
    hooks: BTreeMap<u64, Hook>,
    hooks_so_far: u64,
    /// Tasks whose turn has come, in order, and what each is told.
    ready: VecDeque<(TaskId, Reply)>,
    put_off_until: Option<Time>,
    checks_at_once: u64,
    /// What came of it since the host last asked.
    pub(crate) results: Results,
}

/// What came of running a script.
#[derive(Debug, Default)]
pub(crate) struct Results {
    pub(crate) notices: Vec<NoticeKind>,
    /// Holds because of failures: they leave at once, whatever else the script asks for.
    pub(crate) holds: Vec<(TrainId, Ticket, Request)>,
}

impl Script {
    /// Compiles a script and runs its top level.
    pub(crate) fn load(
        number: usize,
        desk: SharedDesk,
        vm: Vm,
        checks_at_once: u64,
        text: &str,
    ) -> (Self, Result<(), ScriptError>) {
        let mut script = Self {
            number,
            desk,
            vm: Some(vm),
            tasks: BTreeMap::new(),
            hooks: BTreeMap::new(),
            hooks_so_far: 0,
            ready: VecDeque::new(),
            put_off_until: None,
            checks_at_once: checks_at_once.saturating_mul(u64::from(BUDGETS_AT_ONCE)),
            results: Results::default(),
        };
        let result = script.run_top_level(text).map_err(|trouble| {
            let held = script.end_all(&trouble.what);
            let what = match held.as_slice() {
                [] => trouble.what,
                held => format!("{}; in its care and now held: {}", trouble.what, held.join(", ")),
            };
            ScriptError { file: script.file(), line: trouble.line, what }
        });
        script.collect_said();
        (script, result)
    }

    fn run_top_level(&mut self, text: &str) -> Result<(), Trouble> {
        let Some(vm) = &self.vm else { return Ok(()) };
        let coroutine = vm.compile(&self.file(), text)?;
        let carer = self.carer(None);
        self.desk.lock().papers[self.number].running = Some(Running { carer, coroutine: None });
        let result = vm.run(&coroutine, MultiValue::new());
        self.desk.lock().papers[self.number].running = None;
        result?;
        if coroutine.is_resumable() {
            return Err(Trouble {
                line: None,
                what: "the top level gave way; hint: put what takes time into a task".to_owned(),
                ends_script: true,
            });
        }
        self.take_in_newcomers()
    }

    /// Everything whose time has come by now has its turn next, the earliest first.
    pub(crate) fn wake_due(&mut self, now: Time) {
        let mut due: Vec<(Time, TaskId)> = self
            .tasks
            .iter()
            .filter_map(|(&id, task)| Some((task.wait.due()?, id)))
            .filter(|(due, _)| *due <= now)
            .collect();
        due.sort_unstable();
        for (_, id) in due {
            let Some(task) = self.tasks.get(&id) else { continue };
            let reply = match &task.wait {
                Wait::Event { .. } => Reply::Heard(None),
                Wait::Change { deadline, .. } => {
                    Reply::Look { is_last: deadline.is_some_and(|deadline| deadline <= now) }
                }
                Wait::Trip(trip) => {
                    let seconds = trip.deadline.map_or(0.0, |(_, seconds)| seconds);
                    let desk = self.desk.lock();
                    let (train, to) = (desk.names.of_train(trip.train), desk.names.of_place(trip.to));
                    Reply::Refused(format!("`{train}` did not reach `{to}` within {seconds} seconds"))
                }
                Wait::Until(_) | Wait::Turn | Wait::Answer { .. } => Reply::Done,
            };
            self.make_ready(id, reply);
        }
    }

    /// Hooks and tasks that wait for what has become so have their turn: first hooks in the order in which they were
    /// declared, then tasks in the order in which they were started.
    pub(crate) fn hear(&mut self, fact: &Fact, event: Option<&Event>) {
        if let Some(event) = event {
            self.call_hooks(event);
        }
        let replies: Vec<(TaskId, Reply)> = self
            .tasks
            .iter_mut()
            .filter_map(|(&id, task)| Some((id, reply_to(&mut task.wait, fact, event)?)))
            .collect();
        let mut gave_up = Vec::new();
        for (id, reply) in replies {
            match (&reply, self.tasks.get(&id).map(|task| &task.wait)) {
                (Reply::Done, Some(Wait::Answer { gives_up: Some(train), .. })) => gave_up.push((*train, id)),
                (Reply::Refused(_), Some(Wait::Trip(trip))) => self.desk.lock().picture.unbind(trip.train, trip.to),
                _ => {}
            }
            self.make_ready(id, reply);
        }
        for (train, by) in gave_up {
            self.desk.lock().picture.give_up(train);
            self.end_other_trips(train, by, "was told to stop");
        }
    }

    /// Tasks that wait for a change look again.
    pub(crate) fn look_again(&mut self) {
        let looking: Vec<TaskId> =
            self.tasks.iter().filter(|(_, task)| matches!(task.wait, Wait::Change { .. })).map(|(&id, _)| id).collect();
        for id in looking {
            self.make_ready(id, Reply::Look { is_last: false });
        }
    }

    /// Gives everybody whose turn has come a turn.
    pub(crate) fn run(&mut self, now: Time) {
        if self.put_off_until.is_some_and(|until| now < until) {
            return;
        }
        self.put_off_until = None;
        let (began, mut checks, mut turns) = (Instant::now(), 0_u64, 0);
        while let Some((id, reply)) = self.ready.pop_front() {
            let Some(vm) = &self.vm else { break };
            let time_at_once: Duration = vm.time_each() * BUDGETS_AT_ONCE;
            if turns >= TURNS_AT_ONCE || checks >= self.checks_at_once || began.elapsed() > time_at_once {
                self.ready.push_front((id, reply));
                self.put_off_until = Some(now + SHORTEST_WAIT);
                break;
            }
            self.give_turn(id, &reply);
            turns += 1;
            checks += self.vm.as_ref().map_or(0, Vm::checks_used);
            self.collect_said();
        }
    }

    /// When the script has something to do if nothing happens before.
    pub(crate) fn next_wake(&self) -> Option<Time> {
        let desk = self.desk.lock();
        let papers = &desk.papers[self.number];
        let turn = (!self.ready.is_empty()).then(|| self.put_off_until.unwrap_or(desk.now));
        let request = (!papers.outbox.is_empty()).then(|| papers.requests.next());
        let due = self.tasks.values().filter_map(|task| task.wait.due()).min();
        [turn, request, due].into_iter().flatten().min()
    }

    /// The requests that may leave now.
    pub(crate) fn take_requests(&mut self, now: Time) -> Vec<(Ticket, Request)> {
        let mut desk = self.desk.lock();
        let papers = &mut desk.papers[self.number];
        let mut leaving = Vec::new();
        while !papers.outbox.is_empty() && papers.requests.take(now) {
            leaving.extend(papers.outbox.pop_front().map(|wish| (wish.ticket, wish.request)));
        }
        leaving
    }

    pub(crate) fn number(&self) -> usize {
        self.number
    }

    pub(crate) fn file(&self) -> String {
        self.desk.lock().papers[self.number].file.clone()
    }

    fn carer(&self, task: Option<TaskId>) -> Carer {
        Carer { script: self.number, task }
    }

    fn carer_of(&self, id: TaskId, role: &Role) -> Carer {
        match role {
            Role::Task(_) => self.carer(Some(id)),
            Role::Hook { .. } => self.carer(None),
        }
    }

    fn make_ready(&mut self, id: TaskId, reply: Reply) {
        if let Some(task) = self.tasks.get_mut(&id) {
            task.wait = Wait::Turn;
            self.ready.push_back((id, reply));
        }
    }

    fn call_hooks(&mut self, event: &Event) {
        let wanted: Vec<u64> =
            self.hooks.iter().filter(|(_, hook)| hook.pattern.matches(event)).map(|(&number, _)| number).collect();
        for number in wanted {
            let (Some(hook), Some(vm)) = (self.hooks.get_mut(&number), &self.vm) else { continue };
            let role = Role::Hook { hook: number, what: event.what };
            if hook.unfinished_calls >= CALLS_AT_ONCE {
                let what = format!("is still busy with {CALLS_AT_ONCE} earlier events");
                self.fail(None, &role, Trouble { line: None, what, ends_script: false });
                continue;
            }
            match vm.coroutine(hook.body.clone()) {
                Ok(coroutine) => {
                    hook.unfinished_calls += 1;
                    let id = self.desk.lock().task_id();
                    self.tasks.insert(id, Task { role, coroutine, wait: Wait::Turn });
                    self.ready.push_back((id, Reply::Start(Some(event.clone()))));
                }
                Err(trouble) => self.fail(None, &role, trouble),
            }
        }
    }

    fn give_turn(&mut self, id: TaskId, reply: &Reply) {
        let (Some(task), Some(vm)) = (self.tasks.get(&id), &self.vm) else { return };
        let (role, coroutine) = (task.role.clone(), task.coroutine.clone());
        let running = Running { carer: self.carer_of(id, &role), coroutine: Some(coroutine.to_pointer() as usize) };
        let arguments = {
            let mut desk = self.desk.lock();
            let papers = &mut desk.papers[self.number];
            (papers.running, papers.wait) = (Some(running), None);
            reply_values(vm, reply, &desk.names)
        };
        let result = match arguments {
            Ok(arguments) => vm.run(&coroutine, arguments),
            Err(trouble) => Err(trouble),
        };
        let wait = {
            let mut desk = self.desk.lock();
            let papers = &mut desk.papers[self.number];
            papers.running = None;
            papers.wait.take()
        };
        // What was declared before a failure stays declared.
        let taken_in = self.take_in_newcomers();
        let result = result.and(taken_in);
        match (result, coroutine.is_resumable(), wait) {
            (Err(trouble), ..) => self.fail(Some(id), &role, trouble),
            (Ok(()), false, _) => self.finish(id),
            (Ok(()), true, Some(wait)) => self.settle(id, wait),
            (Ok(()), true, None) => {
                let what = "gave way without saying for what; hint: use `wait` instead of `coroutine.yield`".to_owned();
                self.fail(Some(id), &role, Trouble { line: None, what, ends_script: false });
            }
        }
    }

    /// Makes a task wait. A new trip takes the place of an older one of the same train.
    fn settle(&mut self, id: TaskId, wait: Wait) {
        let train = match &wait {
            Wait::Trip(trip) => Some(trip.train),
            _ => None,
        };
        if let Some(task) = self.tasks.get_mut(&id) {
            task.wait = wait;
        }
        if let Some(train) = train {
            self.end_other_trips(train, id, "was sent elsewhere");
        }
    }

    fn end_other_trips(&mut self, train: TrainId, except: TaskId, why: &str) {
        let is_other =
            |id: TaskId, task: &Task| id != except && matches!(&task.wait, Wait::Trip(trip) if trip.train == train);
        let others: Vec<TaskId> =
            self.tasks.iter().filter(|&(&id, task)| is_other(id, task)).map(|(&id, _)| id).collect();
        let name = self.desk.lock().names.of_train(train);
        for id in others {
            self.make_ready(id, Reply::Refused(format!("`{name}` {why}")));
        }
    }

    fn take_in_newcomers(&mut self) -> Result<(), Trouble> {
        let newcomers = std::mem::take(&mut self.desk.lock().papers[self.number].newcomers);
        let Some(vm) = &self.vm else { return Ok(()) };
        for newcomer in newcomers {
            match newcomer {
                Newcomer::Task { name, body } => {
                    let coroutine = vm.coroutine(body)?;
                    let id = self.desk.lock().task_id();
                    self.tasks.insert(id, Task { role: Role::Task(name), coroutine, wait: Wait::Turn });
                    self.ready.push_back((id, Reply::Start(None)));
                }
                Newcomer::Hook { pattern, body } => {
                    self.hooks.insert(self.hooks_so_far, Hook { pattern, body, unfinished_calls: 0 });
                    self.hooks_so_far += 1;
                }
            }
        }
        Ok(())
    }

    /// A task came to its end. The trains in its care stay in the script's.
    fn finish(&mut self, id: TaskId) {
        let Some(task) = self.tasks.remove(&id) else { return };
        match task.role {
            Role::Task(_) => {
                let mut desk = self.desk.lock();
                desk.papers[self.number].tasks -= 1;
                for train in desk.trains_of(self.carer(Some(id))) {
                    desk.care.insert(train, self.carer(None));
                }
            }
            Role::Hook { hook, .. } => {
                if let Some(hook) = self.hooks.get_mut(&hook) {
                    hook.unfinished_calls -= 1;
                }
            }
        }
    }

    /// Ends what failed, asks for the trains in its care to be held, and says so.
    fn fail(&mut self, id: Option<TaskId>, role: &Role, trouble: Trouble) {
        // What it said before comes before.
        self.collect_said();
        let ended = role.ended();
        if trouble.ends_script {
            let held = self.end_all(&trouble.what);
            let failure = Failure { ended: Ended::Script, line: trouble.line, what: trouble.what, held };
            self.results.notices.push(NoticeKind::Failed(failure));
            return;
        }
        let carer = match (role, id) {
            (Role::Task(_), Some(id)) => self.carer(Some(id)),
            _ => self.carer(None),
        };
        let held = self.hold_all(carer, &format!("{}: {ended}: {}", self.file(), trouble.what));
        match role {
            Role::Task(_) => {
                self.desk.lock().take_back(carer);
                id.into_iter().for_each(|id| self.finish(id));
            }
            Role::Hook { hook, .. } => {
                self.hooks.remove(hook);
                self.tasks.retain(|_, task| !matches!(task.role, Role::Hook { hook: other, .. } if other == *hook));
                self.desk.lock().papers[self.number].hooks -= 1;
            }
        }
        let failure = Failure { ended, line: trouble.line, what: trouble.what, held };
        self.results.notices.push(NoticeKind::Failed(failure));
    }

    /// Ends the whole script, and asks for every train in its care to be held. Tells their names.
    fn end_all(&mut self, why: &str) -> Vec<String> {
        let reason = format!("{}: {}: {why}", self.file(), Ended::Script);
        let carers: Vec<Carer> = {
            let desk = self.desk.lock();
            let mut tasks: Vec<_> = desk.care.values().filter(|carer| carer.script == self.number).copied().collect();
            tasks.sort_unstable_by_key(|carer| carer.task);
            tasks.dedup();
            tasks
        };
        let mut held = Vec::new();
        for carer in carers {
            held.extend(self.hold_all(carer, &reason));
            self.desk.lock().take_back(carer);
        }
        let mut desk = self.desk.lock();
        desk.care.retain(|_, carer| carer.script != self.number);
        let papers = &mut desk.papers[self.number];
        papers.outbox.clear();
        papers.newcomers.clear();
        drop(desk);
        self.tasks.clear();
        self.hooks.clear();
        self.ready.clear();
        self.vm = None;
        held
    }

    fn hold_all(&mut self, carer: Carer, reason: &str) -> Vec<String> {
        let mut desk = self.desk.lock();
        let holds = desk.hold_all(carer, reason);
        let names = holds.iter().map(|(train, ..)| desk.names.of_train(*train)).collect();
        self.results.holds.extend(holds);
        names
    }

    fn collect_said(&mut self) {
        let said = self.desk.lock().take_said(self.number);
        self.results.notices.extend(said);
    }
}
