//! One call of a host function: its arguments, who calls, and whether they can wait.

use std::time::Duration;

use mlua::{IntoLuaMulti, Lua, MultiValue, Value};
use signaller::{Destination, Time};
use track::TrainId;

use super::SHORTEST_WAIT;
use crate::desk::{Carer, Desk, Running, Wait};
use crate::event::{Pattern, read_pattern};
use crate::names::unknown;
use crate::vocabulary::{EVENTS, event_named};

/// More seconds than this (a year) are an oversight.
const LONGEST_WAIT_SECONDS: f64 = 31_536_000.0;

/// One call of a host function.
pub(crate) struct Call<'a> {
    pub(super) lua: &'a Lua,
    pub(super) name: &'static str,
    pub(super) arguments: &'a [Value],
    pub(super) script: usize,
}

impl Call<'_> {
    /// The same call, as if the function of that name had been called.
    pub(super) fn named(&self, name: &'static str) -> Self {
        Self { name, ..*self }
    }

    /// The argument at `at`, counted from 0; nothing where it was left out.
    pub(super) fn argument(&self, at: usize) -> Option<&Value> {
        self.arguments.get(at).filter(|value| !value.is_nil())
    }

    pub(super) fn text(&self, at: usize, what: &str) -> Result<String, String> {
        match self.argument(at) {
            Some(Value::String(text)) => Ok(text.to_string_lossy()),
            other => Err(self.wants(what, other)),
        }
    }

    pub(super) fn flag(&self, at: usize, what: &str) -> Result<bool, String> {
        match self.argument(at) {
            Some(Value::Boolean(flag)) => Ok(*flag),
            other => Err(self.wants(what, other)),
        }
    }

    pub(super) fn function(&self, at: usize, what: &str) -> Result<mlua::Function, String> {
        match self.argument(at) {
            Some(Value::Function(function)) => Ok(function.clone()),
            other => Err(self.wants(what, other)),
        }
    }

    pub(super) fn seconds(&self, at: usize) -> Result<Option<f64>, String> {
        self.argument(at).map(|value| self.as_seconds(value)).transpose()
    }

    pub(super) fn as_seconds(&self, value: &Value) -> Result<f64, String> {
        let number = number(value).ok_or_else(|| self.wants("seconds", Some(value)))?;
        if (0.0..=LONGEST_WAIT_SECONDS).contains(&number) {
            return Ok(number);
        }
        Err(format!("`{}` cannot wait for {number} seconds", self.name))
    }

    pub(super) fn wants(&self, what: &str, found: Option<&Value>) -> String {
        let found = found.map_or("nothing", Value::type_name);
        format!("`{}` wants {what} here, not {found}", self.name)
    }

    pub(super) fn train(&self, desk: &Desk, at: usize) -> Result<TrainId, String> {
        desk.names.train(&self.text(at, "the name of a train")?)
    }

    pub(super) fn place(&self, desk: &Desk, at: usize) -> Result<Destination, String> {
        desk.names.place(&self.text(at, "the name of a section or stopping point")?)
    }

    /// All arguments as trains, at least one.
    pub(super) fn trains(&self, desk: &Desk) -> Result<Vec<TrainId>, String> {
        (0..self.arguments.len().max(1)).map(|at| self.train(desk, at)).collect()
    }

    /// An event and, where the next argument is a table, which of them; and where the arguments after them start.
    pub(super) fn pattern(&self, desk: &Desk) -> Result<(Pattern, usize), String> {
        let name = self.text(0, "the name of an event")?;
        let event = event_named(&name).ok_or_else(|| unknown("event", &name, EVENTS.iter().map(|event| event.name)))?;
        let which = self.argument(1).and_then(Value::as_table);
        let next = if which.is_some() || self.argument(1).is_none() { 2 } else { 1 };
        Ok((read_pattern(event.name, which, &desk.names)?, next))
    }

    pub(super) fn running(&self, desk: &Desk) -> Result<Running, String> {
        desk.papers[self.script].running.ok_or_else(|| format!("`{}` was called while nothing runs", self.name))
    }

    pub(super) fn carer(&self, desk: &Desk) -> Result<Carer, String> {
        Ok(self.running(desk)?.carer)
    }

    /// Fails where the caller cannot wait.
    pub(super) fn must_be_able_to_wait(&self, desk: &Desk) -> Result<(), String> {
        match self.running(desk)?.coroutine {
            Some(coroutine) if coroutine == self.lua.current_thread().to_pointer() as usize => Ok(()),
            Some(_) => Err(format!("`{}` cannot wait inside a coroutine of the script's own", self.name)),
            None => Err(format!(
                "`{}` waits, which only a task or a hook can; hint: put it into `task(\"name\", function() ... end)`",
                self.name
            )),
        }
    }

    /// Notes what the caller waits for; the Luau part then gives way.
    pub(super) fn wait(&self, desk: &mut Desk, wait: Wait) -> Result<MultiValue, String> {
        self.must_be_able_to_wait(desk)?;
        desk.papers[self.script].wait = Some(wait);
        Ok(MultiValue::new())
    }

    pub(super) fn answer(&self, value: impl IntoLuaMulti) -> Result<MultiValue, String> {
        value.into_lua_multi(self.lua).map_err(|error| error.to_string())
    }
}

/// A number; whole ones may come as another kind of value.
pub(super) fn number(value: &Value) -> Option<f64> {
    match value {
        Value::Integer(number) => Some(*number as f64),
        Value::Number(number) => Some(*number),
        _ => None,
    }
}

/// When so many seconds are over.
pub(super) fn after(now: Time, seconds: f64) -> Time {
    now + Duration::from_secs_f64(seconds).max(SHORTEST_WAIT)
}
