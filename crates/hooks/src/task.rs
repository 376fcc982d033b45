//! One task of a script, or one call of a hook: what it waits for, and what it is told when its turn comes.

use mlua::{Function, IntoLuaMulti, MultiValue, Thread};
use signaller::{Answer, Fact, Time};

use crate::desk::Wait;
use crate::event::{Event, Pattern};
use crate::names::Names;
use crate::notice::Ended;
use crate::vm::{Trouble, Vm, explain};

/// A task at work.
#[derive(Debug)]
pub(crate) struct Task {
    pub(crate) role: Role,
    pub(crate) coroutine: Thread,
    pub(crate) wait: Wait,
}

/// A task that the script started, or one call of a hook.
#[derive(Clone, Debug)]
pub(crate) enum Role {
    Task(String),
    Hook { hook: u64, what: &'static str },
}

impl Role {
    /// How it is called when it has ended.
    pub(crate) fn ended(&self) -> Ended {
        match self {
            Self::Task(name) => Ended::Task(name.clone()),
            Self::Hook { what, .. } => Ended::Hook((*what).to_owned()),
        }
    }
}

/// A function that is called each time something happens.
#[derive(Debug)]
pub(crate) struct Hook {
    pub(crate) pattern: Box<Pattern>,
    pub(crate) body: Function,
    pub(crate) unfinished_calls: usize,
    /// When it failed of late.
    pub(crate) failed_at: Vec<Time>,
}

/// What a task is told when its turn comes.
#[derive(Clone, Debug)]
pub(crate) enum Reply {
    /// It starts, with an event if it is a hook.
    Start(Option<Event>),
    /// It is so.
    Done,
    /// It waited for this event; nothing if time was up.
    Heard(Option<Event>),
    /// It may look again; whether for the last time.
    Look { is_last: bool },
    /// It will not be so.
    Refused(String),
    /// Somebody answered this; nothing if time was up.
    Answered(Option<String>),
}

/// What a task that waits for an event is told of it, if anything.
pub(crate) fn reply_to_event(wait: &Wait, event: &Event) -> Option<Reply> {
    match wait {
        Wait::Event { pattern, .. } if pattern.matches(event) => Some(Reply::Heard(Some(event.clone()))),
        _ => None,
    }
}

/// What a task that waits is told of a fact, if anything.
pub(crate) fn reply_to_fact(wait: &mut Wait, fact: &Fact) -> Option<Reply> {
    match (wait, fact) {
        (Wait::Answer { ticket: asked, .. }, Fact::Answered { ticket, answer }) if asked == ticket => match answer {
            Answer::Accepted => Some(Reply::Done),
            Answer::Refused(refusal) => Some(Reply::Refused(refusal.reason.clone())),
        },
        (Wait::Trip(trip), Fact::Answered { ticket, answer }) if trip.ticket == *ticket => match answer {
            Answer::Accepted => {
                trip.is_accepted = true;
                None
            }
            Answer::Refused(refusal) => Some(Reply::Refused(refusal.reason.clone())),
        },
        (Wait::Trip(trip), Fact::Arrived { train, at })
            if trip.train == *train && trip.to == *at && trip.then.is_empty() =>
        {
            Some(Reply::Done)
        }
        (Wait::Trip(trip), Fact::Departed { train, to })
            if trip.is_accepted && trip.train == *train && trip.to != *to =>
        {
            Some(Reply::Refused("it was sent elsewhere".to_owned()))
        }
        _ => None,
    }
}

/// What a reply is in Lua: for a start the arguments, else whether it is well, and a result.
pub(crate) fn reply_values(vm: &Vm, reply: &Reply, names: &Names) -> Result<MultiValue, Trouble> {
    let lua = vm.lua();
    let values = match reply {
        Reply::Start(None) => Ok(MultiValue::new()),
        Reply::Start(Some(event)) => event.to_table(lua, names).and_then(|event| event.into_lua_multi(lua)),
        Reply::Done => (true, true).into_lua_multi(lua),
        Reply::Heard(None) => true.into_lua_multi(lua),
        Reply::Heard(Some(event)) => event.to_table(lua, names).and_then(|event| (true, event).into_lua_multi(lua)),
        Reply::Look { is_last } => (true, *is_last).into_lua_multi(lua),
        Reply::Answered(answer) => (true, answer.as_deref()).into_lua_multi(lua),
        Reply::Refused(why) => (false, why.as_str()).into_lua_multi(lua),
    };
    values.map_err(|error| explain(&error))
}
