//! One script at work: its tasks and hooks, what each waits for, and in which order they have their turn.

use std::collections::{BTreeMap, VecDeque};
use std::time::{Duration, Instant};

use mlua::MultiValue;
use signaller::{Fact, Request, Ticket, Time};
use track::TrainId;

use crate::desk::{Carer, Newcomer, Running, SOON, SharedDesk, TaskId, Wait};
use crate::event::Event;
use crate::functions::SHORTEST_WAIT;
use crate::notice::{NoticeKind, ScriptError};
use crate::task::{Hook, Reply, Role, Task, reply_to_event, reply_to_fact, reply_values};
use crate::vm::{Trouble, Vm};

mod ending;
mod trips;

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
            let what = "the top level gave way; hint: put what takes time into a task".to_owned();
            return Err(Trouble { ends_script: true, ..Trouble::new(what) });
        }
        self.take_in_newcomers()
    }

    /// Everything whose time has come by now has its turn next, the earliest first.
    pub(crate) fn wake_due(&mut self, now: Time) {
        let clock = self.desk.lock().clock.clone();
        let mut due: Vec<(Time, TaskId)> = self
            .tasks
            .iter()
            .filter_map(|(&id, task)| Some((task.wait.due(now, &clock)?, id)))
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
                    let (train, to) = (desk.names.of_train(trip.train), desk.names.of_place(trip.goal()));
                    Reply::Refused(format!("`{train}` did not reach `{to}` within {seconds} seconds"))
                }
                Wait::Question { number, .. } => {
                    self.desk.lock().questions.remove(number);
                    Reply::Answered(None)
                }
                Wait::Until(_) | Wait::Turn | Wait::Answer { .. } | Wait::Clock(_) => Reply::Done,
            };
            self.make_ready(id, reply);
        }
    }

    /// Hooks and tasks that wait for what happened have their turn: first hooks in the order in which they were declared,
    /// then tasks in the order in which they were started.
    pub(crate) fn hear_event(&mut self, event: &Event) {
        self.call_hooks(event);
        let replies: Vec<(TaskId, Reply)> =
            self.tasks.iter().filter_map(|(&id, task)| Some((id, reply_to_event(&task.wait, event)?))).collect();
        for (id, reply) in replies {
            self.make_ready(id, reply);
        }
    }

    /// Tasks that wait for an answer or a train have their turn.
    pub(crate) fn hear_fact(&mut self, fact: &Fact) {
        self.send_on(fact);
        let replies: Vec<(TaskId, Reply)> =
            self.tasks.iter_mut().filter_map(|(&id, task)| Some((id, reply_to_fact(&mut task.wait, fact)?))).collect();
        let mut gave_up = Vec::new();
        for (id, reply) in replies {
            match (&reply, self.tasks.get(&id).map(|task| &task.wait)) {
                (Reply::Done, Some(Wait::Answer { gives_up: Some(train), .. })) => gave_up.push((*train, id)),
                (Reply::Refused(_), Some(Wait::Trip(trip))) => {
                    self.desk.lock().picture.unbind(trip.train, trip.goal());
                }
                _ => {}
            }
            self.make_ready(id, reply);
        }
        for (train, by) in gave_up {
            self.desk.lock().picture.give_up(train);
            self.end_other_trips(train, by, "was told to stop");
        }
    }

    /// The task that asked a question, if it is one of this script, hears the answer.
    pub(crate) fn hear_answer(&mut self, question: u64, answer: &str) {
        let asks = |task: &Task| matches!(task.wait, Wait::Question { number, .. } if number == question);
        if let Some(id) = self.tasks.iter().find(|(_, task)| asks(task)).map(|(&id, _)| id) {
            self.make_ready(id, Reply::Answered(Some(answer.to_owned())));
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
        let (now, clock) = (desk.now, &desk.clock);
        let due = self.tasks.values().filter_map(|task| task.wait.due(now, clock)).min();
        [turn, request, due.map(|due| due.max(now + SOON))].into_iter().flatten().min()
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
                self.fail(None, &role, Trouble::new(what));
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
                self.fail(Some(id), &role, Trouble::new(what));
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
                    self.hooks
                        .insert(self.hooks_so_far, Hook { pattern, body, unfinished_calls: 0, failed_at: Vec::new() });
                    self.hooks_so_far += 1;
                }
            }
        }
        Ok(())
    }
}
