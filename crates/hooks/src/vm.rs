//! One sandboxed Luau machine for one script: made, run within its budget, and its errors put into our words.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use mlua::chunk::ChunkMode;
use mlua::{Function, Lua, LuaOptions, MultiValue, StdLib, Table, Thread, VmState};

use crate::budget::Budget;
use crate::desk::SharedDesk;
use crate::functions::{host_table, shorten};
use crate::vocabulary::{LANGUAGE, Run, TAKEN_OUT, WORDS};

const PRELUDE: &str = include_str!("prelude.luau");

/// How the Luau parts of our own are called in messages of the machine: that, and what they are.
const OURS: &str = "lineclear";

/// How many letters a plain search may compare, at most: text times what is sought. Some milliseconds.
const LONGEST_SEARCH: u64 = 10_000_000;

/// A Luau machine.
#[derive(Debug)]
pub(crate) struct Vm {
    lua: Lua,
    meter: Arc<Meter>,
    budget: Budget,
}

/// What went wrong while a script ran.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Trouble {
    pub(crate) line: Option<u32>,
    pub(crate) what: String,
    /// From where that was called, the innermost first, in words.
    pub(crate) calls: Vec<String>,
    /// The whole machine is of no use any more.
    pub(crate) ends_script: bool,
}

impl Trouble {
    /// Trouble of which no more is known.
    pub(crate) fn new(what: impl Into<String>) -> Self {
        Self { line: None, what: what.into(), calls: Vec::new(), ends_script: false }
    }
}

/// How long something took cannot be told.
const UNKNOWN: u64 = u64::MAX;

/// For how many nanoseconds this thread has run, where the system says so. While others have the machine a script uses nothing.
fn thread_has_run() -> u64 {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat");
    told.ok().and_then(|told| told.split(' ').next()?.parse().ok()).unwrap_or(UNKNOWN)
}

/// Counts what is used between being woken and giving way.
#[derive(Debug)]
struct Meter {
    began: Instant,
    checks_left: AtomicU64,
    /// Nanoseconds after `began`.
    ends_at: AtomicU64,
    /// How long the thread had run when the turn began, in nanoseconds; [`UNKNOWN`] where the system does not say.
    had_run: AtomicU64,
    is_spent: AtomicBool,
    /// The line that ran when the budget was spent; 0 where unknown.
    line: AtomicU32,
}

impl Meter {
    fn elapsed(&self) -> u64 {
        self.began.elapsed().as_nanos().min(u128::from(u64::MAX)) as u64
    }

    fn restart(&self, budget: &Budget) {
        let span = budget.time.as_nanos().min(u128::from(u64::MAX)) as u64;
        self.checks_left.store(budget.checks, Ordering::Relaxed);
        self.ends_at.store(self.elapsed().saturating_add(span), Ordering::Relaxed);
        self.had_run.store(thread_has_run(), Ordering::Relaxed);
        self.is_spent.store(false, Ordering::Relaxed);
        self.line.store(0, Ordering::Relaxed);
    }

    /// Counts one check. Whether the budget, of which this much is time, is spent.
    fn check(&self, time: Duration) -> bool {
        let left = self.checks_left.load(Ordering::Relaxed);
        if left == 0 || self.elapsed() > self.ends_at.load(Ordering::Relaxed) && self.has_run_for(time) {
            return true;
        }
        self.checks_left.store(left - 1, Ordering::Relaxed);
        false
    }
}

impl Meter {
    /// Whether the turn took this time by itself, and not because the machine was busy with others. Then it has more.
    fn has_run_for(&self, time: Duration) -> bool {
        let (before, now) = (self.had_run.load(Ordering::Relaxed), thread_has_run());
        if before == UNKNOWN || now == UNKNOWN {
            return true;
        }
        let left = (time.as_nanos() as u64).saturating_sub(now.saturating_sub(before));
        self.ends_at.store(self.elapsed().saturating_add(left), Ordering::Relaxed);
        left == 0
    }
}

impl Vm {
    /// A machine with our functions and what is left of the language's own.
    pub(crate) fn new(desk: &SharedDesk, script: usize, budget: &Budget, seed: u64) -> mlua::Result<Self> {
        let libraries = StdLib::TABLE | StdLib::STRING | StdLib::UTF8 | StdLib::BIT | StdLib::MATH | StdLib::COROUTINE;
        // As it is by default, `pcall` is Luau's own: a script can wait within it.
        let lua = Lua::new_with(libraries, LuaOptions::default())?;
        let globals = lua.globals();
        let host = host_table(&lua, desk, script)?;
        let words: Table = lua.load(PRELUDE).set_name(format!("={OURS}")).call((host, LONGEST_SEARCH))?;
        for name in names_in(&globals)? {
            if !LANGUAGE.contains(&name.as_str()) {
                globals.raw_remove(name)?;
            }
        }
        for (library, functions) in TAKEN_OUT {
            let library: Table = globals.get(*library)?;
            for function in *functions {
                library.raw_remove(*function)?;
            }
        }
        for word in WORDS.iter().filter(|word| !matches!(word.run, Run::Pattern(_))) {
            globals.raw_set(word.name, words.get::<Function>(word.name)?)?;
        }
        // They are made of the words above alone.
        for word in WORDS.iter() {
            if let Run::Pattern(source) = word.run {
                let pattern: Function = lua.load(source).set_name(format!("={OURS} {}", word.name)).eval()?;
                globals.raw_set(word.name, pattern)?;
            }
        }
        globals.raw_set("print", words.get::<Function>("say")?)?;
        globals.get::<Table>("math")?.get::<Function>("randomseed")?.call::<()>((seed >> 11) as f64)?;
        lua.sandbox(true)?;
        lua.set_memory_limit(budget.memory)?;
        let meter = Arc::new(Meter {
            began: Instant::now(),
            checks_left: AtomicU64::new(0),
            ends_at: AtomicU64::new(0),
            had_run: AtomicU64::new(UNKNOWN),
            is_spent: AtomicBool::new(false),
            line: AtomicU32::new(0),
        });
        set_interrupt(&lua, &meter, budget.time);
        Ok(Self { lua, meter, budget: budget.clone() })
    }

    /// Compiles a script to a coroutine that runs its top level.
    pub(crate) fn compile(&self, file: &str, text: &str) -> Result<Thread, Trouble> {
        let chunk = self.lua.load(text).set_name(format!("={file}")).set_mode(ChunkMode::Text);
        let function = chunk.into_function().map_err(|error| explain(&error))?;
        self.coroutine(function)
    }

    /// A coroutine that will run a function.
    pub(crate) fn coroutine(&self, function: Function) -> Result<Thread, Trouble> {
        self.lua.create_thread(function).map_err(|error| explain(&error))
    }

    pub(crate) fn lua(&self) -> &Lua {
        &self.lua
    }

    /// Runs a coroutine until it gives way or ends.
    ///
    /// A script that swallowed the error by which a spent budget ends it has failed all the same.
    pub(crate) fn run(&self, coroutine: &Thread, arguments: MultiValue) -> Result<(), Trouble> {
        // The machine does not tidy up by itself when memory runs out, so every turn starts with room.
        if self.lua.used_memory() > self.budget.memory / 2 {
            self.lua.gc_collect().map_err(|error| explain(&error))?;
        }
        self.meter.restart(&self.budget);
        let result = coroutine.resume::<MultiValue>(arguments);
        if self.meter.is_spent.load(Ordering::Relaxed) {
            let line = self.meter.line.load(Ordering::Relaxed);
            let what = "used up its time without waiting; hint: is there a loop without `wait`?";
            return Err(Trouble { line: (line > 0).then_some(line), ..Trouble::new(what) });
        }
        result.map(|_| ()).map_err(|error| explain(&error))
    }

    /// How many checks the last run used.
    pub(crate) fn checks_used(&self) -> u64 {
        self.budget.checks - self.meter.checks_left.load(Ordering::Relaxed).min(self.budget.checks)
    }

    /// How long the last run may have taken at most.
    pub(crate) fn time_each(&self) -> Duration {
        self.budget.time
    }
}

fn names_in(table: &Table) -> mlua::Result<Vec<String>> {
    table.pairs::<String, mlua::Value>().map(|pair| pair.map(|(name, _)| name)).collect()
}

fn set_interrupt(lua: &Lua, meter: &Arc<Meter>, time: Duration) {
    let meter = Arc::clone(meter);
    lua.set_interrupt(move |lua| {
        if !meter.check(time) {
            return Ok(VmState::Continue);
        }
        if !meter.is_spent.swap(true, Ordering::Relaxed) {
            meter.line.store(line_of_script(lua), Ordering::Relaxed);
        }
        Err(mlua::Error::runtime("time is up"))
    });
}

/// The line of the script that runs; 0 where it cannot be told.
fn line_of_script(lua: &Lua) -> u32 {
    for level in 0..16 {
        let line = lua.inspect_stack(level, |debug| {
            let is_ours = debug.source().short_src.is_some_and(|source| source.starts_with(OURS));
            debug.current_line().filter(|_| !is_ours)
        });
        match line {
            Some(Some(line)) => return line.try_into().unwrap_or(0),
            Some(None) => {}
            None => break,
        }
    }
    0
}

/// An error of the machine in our words.
pub(crate) fn explain(error: &mlua::Error) -> Trouble {
    match error {
        mlua::Error::MemoryError(_) => {
            Trouble { ends_script: true, ..Trouble::new("used up its memory; hint: does a list grow for ever?") }
        }
        mlua::Error::CallbackError { cause, .. } => explain(cause),
        mlua::Error::CoroutineUnresumable => {
            Trouble::new("was resumed or closed by the script itself; hint: leave a task's own coroutine alone")
        }
        mlua::Error::SyntaxError { message, .. } | mlua::Error::RuntimeError(message) => {
            let (line, what) = take_place_off(message);
            let at_work = lines_at_work(message);
            let line = line.or_else(|| at_work.first().map(|(line, _)| *line));
            Trouble { line, calls: calls(&at_work, line), ..Trouble::new(in_our_words(what)) }
        }
        other => Trouble::new(shorten(&other.to_string())),
    }
}

/// What an error says, without the place it happened in.
pub(crate) fn reason_of(message: &str) -> String {
    in_our_words(take_place_off(message).1)
}

/// More calls than that are not told.
const MOST_CALLS: usize = 5;

/// The lines of the script that were at work, the innermost first, each with the name of its function where it has one, as the
/// machine tells it beneath an error.
fn lines_at_work(message: &str) -> Vec<(u32, Option<&str>)> {
    let Some((_, stack)) = message.split_once("\nstack traceback:\n") else { return Vec::new() };
    let mut found: Vec<(u32, Option<&str>)> = stack.lines().filter_map(line_at_work).collect();
    found.dedup();
    found
}

/// Reads `file.lua:12: in function 'go'`.
fn line_at_work(place: &str) -> Option<(u32, Option<&str>)> {
    let (file, rest) = place.trim().split_once(':')?;
    let (line, rest) = rest.split_once(':').unwrap_or((rest, ""));
    let name = rest.trim().strip_prefix("in function '").and_then(|name| name.strip_suffix('\''));
    (!file.starts_with(OURS)).then_some((line.trim().parse().ok()?, name))
}

/// From where what failed was called, in words.
fn calls(at_work: &[(u32, Option<&str>)], line: Option<u32>) -> Vec<String> {
    let told = at_work.iter().filter(|(at, _)| Some(*at) != line).take(MOST_CALLS);
    told.map(|(at, name)| name.map_or_else(|| format!("line {at}"), |name| format!("line {at} in `{name}`"))).collect()
}

/// Splits `file:12: what` into the line and what is said, and leaves out where it was called from. Where an error went through
/// a coroutine, its place stands there twice; the inner one is meant.
fn take_place_off(message: &str) -> (Option<u32>, &str) {
    let message = message.split("\nstack traceback:").next().unwrap_or(message);
    let mut start = 0;
    while let Some(colon) = message[start..].find(':').map(|found| start + found) {
        let (file, rest) = (&message[..colon], &message[colon + 1..]);
        let digits = rest.bytes().take_while(u8::is_ascii_digit).count();
        if digits > 0 && rest[digits..].starts_with(": ") {
            let what = &rest[digits + 2..];
            let again = what.strip_prefix(file).is_some_and(|rest| rest.starts_with(':'));
            // A line of ours tells a script's author nothing.
            let line = if file.starts_with(OURS) { None } else { rest[..digits].parse().ok() };
            return if again { take_place_off(what) } else { (line, what) };
        }
        start = colon + 1;
    }
    (None, message)
}

/// The machine's own most frequent messages, said so that they help.
fn in_our_words(what: &str) -> String {
    let what = what.trim();
    if what.starts_with("stack overflow") {
        return "calls itself too deep; hint: does a function call itself for ever?".to_owned();
    }
    if what.contains("attempt to yield across") {
        return "cannot wait in here; hint: wait in the task itself, not while sorting or searching".to_owned();
    }
    if what == "attempt to call a nil value" {
        return "calls a function that does not exist; hint: is its name written right?".to_owned();
    }
    if let Some(key) = what.strip_prefix("attempt to index nil with ") {
        let key = key.trim_matches('\'');
        return format!("asks for `{key}` of something that is nil; hint: is the name before it written right?");
    }
    let is_address = ["table", "function", "thread", "userdata", "buffer"]
        .iter()
        .any(|kind| what.strip_prefix(kind).is_some_and(|rest| rest.starts_with(": 0x")));
    if is_address || what.starts_with('<') && what.ends_with('>') || what.is_empty() {
        return "failed with an error that is not text".to_owned();
    }
    shorten(what)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn from_where_a_failing_line_was_called_is_told_in_words() {
        let message = "x.lua:3: no\nstack traceback:\n[C]: in function 'error'\nlineclear:9: in function 'send'\n\
                       x.lua:3: in function 'deep'\nx.lua:3: in function 'deep'\nx.lua:7: in function 'go'\n\
                       x.lua:12: in function <x.lua:10>";
        let at_work = lines_at_work(message);
        assert_eq!(at_work, [(3, Some("deep")), (7, Some("go")), (12, None)]);
        assert_eq!(calls(&at_work, Some(3)), ["line 7 in `go`", "line 12"]);
        assert_eq!(calls(&lines_at_work("x.lua:3: no"), Some(3)), Vec::<String>::new());
    }

    #[test]
    fn the_place_is_told_from_what_is_said() {
        assert_eq!(take_place_off("x.lua:12: no: 3: way\nstack traceback:\nx"), (Some(12), "no: 3: way"));
        assert_eq!(take_place_off("x.lua:12: x.lua:7: no"), (Some(7), "no"));
        assert_eq!(take_place_off("track 9: closed"), (None, "track 9: closed"));
        assert_eq!(take_place_off("odd:name.lua:7: here"), (Some(7), "here"));
    }
}
