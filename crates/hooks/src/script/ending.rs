//! How tasks, hooks and whole scripts end.

use std::time::Duration;

use signaller::Time;

use super::Script;
use crate::desk::{Carer, TaskId, Wait};
use crate::notice::{Ended, Failure, NoticeKind};
use crate::task::Role;
use crate::vm::Trouble;

/// A hook that fails so often within this time is paused.
const MOST_FAILURES: usize = 3;
const FAILURES_WITHIN: Duration = Duration::from_secs(60);

impl Script {
    /// A task came to its end. The trains in its care stay in the script's.
    pub(super) fn finish(&mut self, id: TaskId) {
        let Some(task) = self.tasks.remove(&id) else { return };
        if let Wait::Question { number, .. } = task.wait {
            self.desk.lock().questions.remove(&number);
        }
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
    pub(super) fn fail(&mut self, id: Option<TaskId>, role: &Role, trouble: Trouble) {
        // What it said before comes before.
        self.collect_said();
        let ended = role.ended();
        let mut is_paused = false;
        if trouble.ends_script {
            let held = self.end_all(&trouble.what);
            let Trouble { line, what, calls, .. } = trouble;
            let failure = Failure { ended: Ended::Script, line, what, calls, is_paused, held };
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
                id.into_iter().for_each(|id| self.finish(id));
                if self.fails_too_often(*hook) {
                    self.pause(*hook);
                    is_paused = true;
                }
            }
        }
        let Trouble { line, what, calls, .. } = trouble;
        self.results.notices.push(NoticeKind::Failed(Failure { ended, line, what, calls, is_paused, held }));
    }

    /// Notes that a hook failed. Whether it did so too often of late.
    fn fails_too_often(&mut self, hook: u64) -> bool {
        let now: Time = self.desk.lock().now;
        let Some(hook) = self.hooks.get_mut(&hook) else { return false };
        hook.failed_at.retain(|&at| now.since(at) < FAILURES_WITHIN);
        hook.failed_at.push(now);
        hook.failed_at.len() >= MOST_FAILURES
    }

    /// A hook is called no more, and its unfinished calls are ended.
    fn pause(&mut self, hook: u64) {
        let is_call = |role: &Role| matches!(role, Role::Hook { hook: other, .. } if *other == hook);
        let calls: Vec<TaskId> = self.tasks.iter().filter(|(_, task)| is_call(&task.role)).map(|(&id, _)| id).collect();
        for id in calls {
            self.finish(id);
        }
        self.hooks.remove(&hook);
        self.desk.lock().papers[self.number].hooks -= 1;
    }

    /// Ends the whole script, and asks for every train in its care to be held. Tells their names.
    pub(super) fn end_all(&mut self, why: &str) -> Vec<String> {
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
        for task in self.tasks.values() {
            if let Wait::Question { number, .. } = task.wait {
                desk.questions.remove(&number);
            }
        }
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

    pub(super) fn collect_said(&mut self) {
        let said = self.desk.lock().take_said(self.number);
        self.results.notices.extend(said);
    }
}
