//! The functions of a script as far as they are the host's: reading the picture, and asking.
//!
//! Each answers `true` and its results, or `false` and what is wrong. The Luau part (`prelude.luau`) raises the error where
//! the script called, and gives way where a function waits.

use std::time::Duration;

use mlua::{IntoLuaMulti, Lua, MultiValue, Table, Value};
use signaller::{Destination, Request, Time};
use track::TrainId;

use crate::desk::{Carer, Desk, LIMIT_EACH, Newcomer, Running, SharedDesk, Trip, Wait};
use crate::event::{Pattern, describe, read_names, read_pattern};
use crate::names::unknown;
use crate::vocabulary::EVENTS;

/// A condition is looked at again after this long even if nothing happens.
const LOOK_AGAIN: Duration = Duration::from_secs(1);

/// Nobody waits for less than this: a script must not be able to run for ever within one instant.
pub(crate) const SHORTEST_WAIT: Duration = Duration::from_millis(100);

/// More seconds than this (a year) are an oversight.
const LONGEST_WAIT_SECONDS: f64 = 31_536_000.0;

/// The longest line that can be said, in characters.
const LONGEST_LINE: usize = 500;

/// Makes the table of host functions for one script.
pub(crate) fn host_table(lua: &Lua, desk: &SharedDesk, script: usize) -> mlua::Result<Table> {
    let table = lua.create_table()?;
    let install = |name: &'static str, body: Body| -> mlua::Result<()> {
        let desk = desk.clone();
        let function = lua.create_function(move |lua, arguments: MultiValue| {
            let arguments = arguments.into_vec();
            let call = Call { lua, name, arguments: &arguments, script };
            match body(&call, &mut desk.lock()) {
                Ok(results) => (true, results).into_lua_multi(lua),
                Err(wrong) => (false, wrong).into_lua_multi(lua),
            }
        })?;
        table.raw_set(name, function)
    };
    for &(name, body) in BODIES {
        install(name, body)?;
    }
    Ok(table)
}

type Body = fn(&Call<'_>, &mut Desk) -> Result<MultiValue, String>;

const BODIES: &[(&str, Body)] = &[
    ("task", task),
    ("on", on),
    ("wait", wait),
    ("wait_for", wait_for),
    ("deadline", deadline),
    ("change", change),
    ("may_send", may_send),
    ("send", send),
    ("stop", stop),
    ("hold", hold),
    ("release", release),
    ("care", care),
    ("let_go", let_go),
    ("free", free),
    ("where", where_is),
    ("is_at", is_at),
    ("tag", tag),
    ("bound", bound),
    ("waiting", waiting),
    ("held", held),
    ("now", now),
    ("say", say),
];

/// One call of a host function.
struct Call<'a> {
    lua: &'a Lua,
    name: &'static str,
    arguments: &'a [Value],
    script: usize,
}

impl Call<'_> {
    /// The argument at `at`, counted from 0; nothing where it was left out.
    fn argument(&self, at: usize) -> Option<&Value> {
        self.arguments.get(at).filter(|value| !value.is_nil())
    }

    fn text(&self, at: usize, what: &str) -> Result<String, String> {
        match self.argument(at) {
            Some(Value::String(text)) => Ok(text.to_string_lossy()),
            other => Err(self.wants(what, other)),
        }
    }

    fn function(&self, at: usize, what: &str) -> Result<mlua::Function, String> {
        match self.argument(at) {
            Some(Value::Function(function)) => Ok(function.clone()),
            other => Err(self.wants(what, other)),
        }
    }

    fn seconds(&self, at: usize) -> Result<Option<f64>, String> {
        let Some(value) = self.argument(at) else { return Ok(None) };
        let number = number(value).ok_or_else(|| self.wants("seconds", Some(value)))?;
        if (0.0..=LONGEST_WAIT_SECONDS).contains(&number) {
            return Ok(Some(number));
        }
        Err(format!("`{}` cannot wait for {number} seconds", self.name))
    }

    fn wants(&self, what: &str, found: Option<&Value>) -> String {
        let found = found.map_or("nothing", Value::type_name);
        format!("`{}` wants {what} here, not {found}", self.name)
    }

    fn train(&self, desk: &Desk, at: usize) -> Result<TrainId, String> {
        desk.names.train(&self.text(at, "the name of a train")?)
    }

    fn place(&self, desk: &Desk, at: usize) -> Result<Destination, String> {
        desk.names.place(&self.text(at, "the name of a section or stopping point")?)
    }

    /// All arguments as trains, at least one.
    fn trains(&self, desk: &Desk) -> Result<Vec<TrainId>, String> {
        (0..self.arguments.len().max(1)).map(|at| self.train(desk, at)).collect()
    }

    /// An event and, where the next argument is a table, which of them; and where the arguments after them start.
    fn pattern(&self, desk: &Desk) -> Result<(Pattern, usize), String> {
        let what = self.text(0, "the name of an event")?;
        let known = EVENTS.iter().find(|known| **known == what);
        let what = known.ok_or_else(|| unknown("event", &what, EVENTS.iter().copied()))?;
        let which = self.argument(1).and_then(Value::as_table);
        let next = if which.is_some() || self.argument(1).is_none() { 2 } else { 1 };
        Ok((read_pattern(what, which, &desk.names)?, next))
    }

    fn running(&self, desk: &Desk) -> Result<Running, String> {
        desk.papers[self.script].running.ok_or_else(|| format!("`{}` was called while nothing runs", self.name))
    }

    fn carer(&self, desk: &Desk) -> Result<Carer, String> {
        Ok(self.running(desk)?.carer)
    }

    /// Fails where the caller cannot wait.
    fn must_be_able_to_wait(&self, desk: &Desk) -> Result<(), String> {
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
    fn wait(&self, desk: &mut Desk, wait: Wait) -> Result<MultiValue, String> {
        self.must_be_able_to_wait(desk)?;
        desk.papers[self.script].wait = Some(wait);
        Ok(MultiValue::new())
    }

    fn answer(&self, value: impl IntoLuaMulti) -> Result<MultiValue, String> {
        value.into_lua_multi(self.lua).map_err(|error| error.to_string())
    }
}

/// A number; whole ones may come as another kind of value.
fn number(value: &Value) -> Option<f64> {
    match value {
        Value::Integer(number) => Some(*number as f64),
        Value::Number(number) => Some(*number),
        _ => None,
    }
}

fn span(seconds: f64) -> Duration {
    Duration::from_secs_f64(seconds)
}

fn task(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let name = call.text(0, "a name")?;
    let body = call.function(1, "a function")?;
    let papers = &mut desk.papers[call.script];
    if papers.tasks >= LIMIT_EACH {
        return Err(format!("a script can have {LIMIT_EACH} tasks at a time"));
    }
    papers.tasks += 1;
    papers.newcomers.push(Newcomer::Task { name, body });
    call.answer(())
}

fn on(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let (pattern, next) = call.pattern(desk)?;
    let body = call.function(next, "a function")?;
    let papers = &mut desk.papers[call.script];
    if papers.hooks >= LIMIT_EACH {
        return Err(format!("a script can have {LIMIT_EACH} hooks"));
    }
    papers.hooks += 1;
    papers.newcomers.push(Newcomer::Hook { pattern, body });
    call.answer(())
}

fn wait(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let seconds = call.seconds(0)?.ok_or_else(|| call.wants("seconds", None))?;
    let until = desk.now + span(seconds).max(SHORTEST_WAIT);
    call.wait(desk, Wait::Until(until))
}

fn wait_for(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let (pattern, next) = call.pattern(desk)?;
    let now = desk.now;
    let deadline = call.seconds(next)?.map(|seconds| now + span(seconds).max(SHORTEST_WAIT));
    call.wait(desk, Wait::Event { pattern, deadline })
}

/// When a wait of so many seconds, asked for by the function of that name, is over. Nothing: never.
fn deadline(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let call = Call { name: "wait_until", ..*call };
    let deadline = call.seconds(1)?.map(|seconds| (desk.now + span(seconds).max(SHORTEST_WAIT)).secs_f64());
    call.answer(deadline)
}

fn change(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let deadline = call.argument(0).and_then(number).map(Time::from_secs_f64);
    let soon = desk.now + LOOK_AGAIN;
    let look_at = deadline.map_or(soon, |deadline| deadline.clamp(desk.now + SHORTEST_WAIT, soon));
    call.wait(desk, Wait::Change { look_at, deadline })
}

/// Whether the names and the care are right for a trip.
fn may_send(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let call = Call { name: "try_send", ..*call };
    let train = call.train(desk, 0)?;
    call.place(desk, 1)?;
    call.seconds(2)?;
    desk.must_not_be_anothers(call.carer(desk)?, train)?;
    call.answer(())
}

fn send(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let (train, to) = (call.train(desk, 0)?, call.place(desk, 1)?);
    let seconds = call.seconds(2)?;
    call.must_be_able_to_wait(desk)?;
    let carer = call.carer(desk)?;
    desk.take_care(carer, train)?;
    let ticket = desk.post(carer, Request::Go { train, to })?;
    desk.picture.bind(train, to);
    let deadline = seconds.map(|seconds| (desk.now + span(seconds).max(SHORTEST_WAIT), seconds));
    call.wait(desk, Wait::Trip(Trip { ticket, train, to, deadline, is_accepted: false }))
}

/// Posts a request about a train of the script's own and waits for the answer.
fn ask(call: &Call<'_>, desk: &mut Desk, train: TrainId, request: Request) -> Result<MultiValue, String> {
    call.must_be_able_to_wait(desk)?;
    let carer = call.carer(desk)?;
    desk.must_be_own(carer, train)?;
    let gives_up = matches!(request, Request::Stop { .. }).then_some(train);
    let ticket = desk.post(carer, request)?;
    call.wait(desk, Wait::Answer { ticket, gives_up })
}

fn stop(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let train = call.train(desk, 0)?;
    ask(call, desk, train, Request::Stop { train })
}

fn hold(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let train = call.train(desk, 0)?;
    let reason = shorten(&call.text(1, "a reason")?);
    let waits = ask(call, desk, train, Request::Hold { train, reason: reason.clone() })?;
    // Somebody else's hold stays somebody else's.
    if desk.picture.held(train).is_none() {
        desk.holds.insert(train, (call.script, reason));
    }
    Ok(waits)
}

fn release(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let train = call.train(desk, 0)?;
    if desk.holds.get(&train).is_none_or(|(script, _)| *script != call.script) {
        let name = desk.names.of_train(train);
        return Err(format!("`{name}` is not held by this script; hint: who held it must release it"));
    }
    ask(call, desk, train, Request::Release { train })
}

fn care(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let carer = call.carer(desk)?;
    for train in call.trains(desk)? {
        desk.take_care(carer, train)?;
    }
    call.answer(())
}

fn let_go(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let carer = call.carer(desk)?;
    for train in call.trains(desk)? {
        desk.must_be_own(carer, train)?;
        desk.care.remove(&train);
    }
    call.answer(())
}

fn free(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let wanted = call.argument(0).and_then(read_names);
    let wanted = wanted.ok_or_else(|| call.wants("the name of a place or a list of such names", call.argument(0)))?;
    let mut found = None;
    for name in wanted {
        if desk.is_free(desk.names.place(&name)?) && found.is_none() {
            found = Some(name);
        }
    }
    call.answer(found)
}

fn where_is(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let train = call.train(desk, 0)?;
    let sections = desk.picture.sections_of(train).map(|section| desk.names.of_section(section));
    let list = call.lua.create_sequence_from(sections).map_err(|error| error.to_string())?;
    call.answer(list)
}

fn is_at(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let (train, place) = (call.train(desk, 0)?, call.place(desk, 1)?);
    call.answer(desk.picture.is_at(train, place, desk.names.section_of(place)))
}

fn tag(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let section = desk.names.section(&call.text(0, "the name of a section")?)?;
    let (how, trains) = desk.picture.tag(section).map_or(("unknown", &[][..]), describe);
    call.answer((trains.first().map(|&train| desk.names.of_train(train)), how))
}

fn bound(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let train = call.train(desk, 0)?;
    call.answer(desk.picture.bound(train).map(|place| desk.names.of_place(place)))
}

fn waiting(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let train = call.train(desk, 0)?;
    call.answer(desk.picture.waiting(train))
}

fn held(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let train = call.train(desk, 0)?;
    call.answer(desk.picture.held(train))
}

fn now(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    call.answer(desk.now.secs_f64())
}

fn say(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let text = call.text(0, "text")?;
    desk.say(call.script, shorten(&text));
    call.answer(())
}

/// One line of bounded length.
pub(crate) fn shorten(text: &str) -> String {
    text.chars().map(|letter| if letter.is_control() { ' ' } else { letter }).take(LONGEST_LINE).collect()
}
