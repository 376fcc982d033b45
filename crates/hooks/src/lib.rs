//! Lua: outputs in, requests out.
//!
//! Scripts ask; the signaller decides. This crate runs the scripts of a layout in sandboxed Luau machines, tells them the
//! [`Fact`](signaller::Fact)s that come out of the signaller, and hands out their [`Request`](signaller::Request)s. It knows no
//! clock, thread or file: the host says how late it is, so the same script runs in the testtrack at any pace.
//!
//! Invariants: a script cannot keep its host for longer than its [`Budget`]. A script that fails holds the trains in its care
//! and says so; nothing else stops. No script touches a train in the care of another. Within one instant no script can make
//! the host turn in circles: after [`Scripts::wake`] the next wake is always later.
//!
//! Read [`Scripts`] first, then `script.rs` (whose turn it is) and `prelude.luau` (how a function waits).
//!
//! # For the host
//!
//! ```text
//! Scripts::load(layout, files, &budget, seed)     once; errors name file and line, the good scripts run all the same
//! scripts.hear(now, step.outputs)                 after every step of the signaller, from the first on
//! scripts.wake(now)                               when scripts.next_wake() has come
//! scripts.take_requests()                         after each of these; put them into the signaller's next step
//! scripts.take_notices()                          after each of these; show them
//! ```
//!
//! # For scripts
//!
//! A script is a `.lua` file in the layout's folder `scripts`. Its top level runs once, when it is loaded, and declares tasks
//! and hooks. Each file is by itself: files share no variables. Names are those of `layout.toml` and `trains.toml`; a *place*
//! is a stopping point (`"quay-1.b"`) or a section (`"quay-1"`: as far in as the train may go). Seconds are seconds of layout
//! time. Square brackets mark what may be left out. Wrong names are found before the script runs where they are written out,
//! otherwise when they are used: ``no section or stopping point `quay-3`; hint: did
//! you mean `quay-2`?``
//!
//! | function | what it does and returns | what can go wrong |
//! | --- | --- | --- |
//! | `task(name, body)` | starts the function `body`, which may take its time | more than 256 tasks at a time |
//! | `on(event, [which], body)` | calls `body(event)` each time it happens; the call may take its time | more than 256 hooks; a hook that falls 32 calls behind is ended |
//! | `wait(seconds)` | waits, at least a tenth of a second | |
//! | `wait_until(condition, [seconds])` | waits until the function `condition` gives something and returns that, or `false` when time is up; looks when anything happens, and every second | an error in `condition` |
//! | `wait_for(event, [which], [seconds])` | waits until it happens and returns the event, or `nil` when time is up | |
//! | `send(train, place, [seconds])` | sends a train and waits until it stands there; returns `true` | refused, sent elsewhere, told to stop, not there within `seconds`, in the care of another script |
//! | `try_send(train, place, [seconds])` | like `send`, but returns `false` and the reason instead of failing | in the care of another script |
//! | `free(places)` | the first place of a list, or the one named, that is free: empty, granted to nobody, nobody on the way to it; else `nil` | |
//! | `next_free(places, [seconds])` | waits until one is free and returns it, or `false` when time is up | |
//! | `stop(train)` | lets a train stop where it safely can and give up its destination; waits for the answer | refused; not in this script's care |
//! | `hold(train, reason)` | holds a train; waits for the answer | refused; not in this script's care |
//! | `release(train)` | lifts a hold that this script set; waits for the answer | refused; held by somebody else |
//! | `care(train, ...)` | takes trains into care; `send` does so by itself | in the care of another script |
//! | `let_go(train, ...)` | takes trains out of care | not in this script's care |
//! | `where(train)` | the list of sections that are surely this train's | |
//! | `is_at(train, place)` | whether a train surely stands there and is not on the way elsewhere | |
//! | `tag(section)` | the likeliest train in a section, or `nil`, and how: `"free"`, `"sure"`, `"doubt"`, `"unexplained"` or `"unknown"` | |
//! | `bound(train)` | the place a train is on the way to, or `nil` | |
//! | `waiting(train)` | why a train waits for track, or `nil` | |
//! | `held(train)` | why a train is held, or `nil` | |
//! | `now()` | the layout time in seconds | |
//! | `say(...)` | says a line; `print` does the same | more than 50 lines at once are left out, then more than ten a second |
//!
//! Anything that goes wrong ends the task or hook it happens in, unless the script catches it with `pcall`.
//!
//! | event | when | it has, besides `what` and `time` |
//! | --- | --- | --- |
//! | `tagged` | what is said of a section changed | `section`, `how`, `train` or, in doubt, `trains` |
//! | `route_set` | a train was granted track | `train`, `sections` |
//! | `section_released` | a section was given back | `train`, `section` |
//! | `departed` | a train began to move towards a place | `train`, `place`, `section` |
//! | `arrived` | a train came to stand at its place | `train`, `place`, `section` |
//! | `waiting` | a train waits for track | `train`, `reason` |
//! | `held` | a train is held | `train`, `reason` |
//! | `hold_lifted` | a train is held no more | `train` |
//!
//! `which` picks events: `{train = "Heron"}`, `{section = {"quay-1", "quay-2"}}`, `{place = "loop-1"}`, or several at once.
//!
//! **Care.** A train is in the care of the task that sends it; of the file, if a hook does so or the top level takes it into
//! care; and of the file again once the task ended well. When a task fails, the trains in its care are held, and only a person
//! can release them. When a hook fails, the trains in the file's own care are. When the whole script fails, all of them are.
//!
//! **Turns.** Files have their turns in the order of their names; within a file first what waited for its time, then hooks
//! in the order in which they were declared, then tasks in the order in which they were started. All of them see the
//! picture as it is once everything heard at that moment is known.
//!
//! # Limits
//!
//! Whatever calls a function of ours from inside a sort comparison, a metamethod or a coroutine of the script's own cannot
//! wait there. A trip whose train is lifted off the track, or stopped by a person, ends only by its `seconds`. A script that
//! runs for long between two turns is ended after 200,000 calls and turns of loops, or half a second, whichever comes first.
//! The order of `pairs` may differ from run to run. Files, clocks and the loading of code are not there at all; `table.move`
//! and plain searches in very long text are not either, because nothing could end them.

mod budget;
mod desk;
mod event;
mod functions;
mod names;
mod notice;
mod picture;
mod precheck;
mod script;
mod scripts;
mod task;
mod tokens;
mod vm;
mod vocabulary;

pub use budget::Budget;
pub use desk::FIRST_TICKET;
pub use notice::{Ended, Failure, Notice, NoticeKind, ScriptError};
pub use scripts::Scripts;

#[cfg(test)]
mod tests {
    use crate::Scripts;
    use crate::vocabulary::{EVENTS, WORDS};

    #[test]
    fn scripts_can_live_on_a_thread_of_their_own() {
        fn can_move<T: Send>() {}
        can_move::<Scripts>();
    }

    /// The rows of the tables in the documentation above whose first cell starts so.
    fn rows(start: &str) -> Vec<&'static str> {
        let marked = format!("//! | `{start}");
        include_str!("lib.rs").lines().filter(|line| line.starts_with(&marked)).collect()
    }

    #[test]
    fn every_word_of_a_script_is_explained() {
        for word in WORDS {
            assert_eq!(rows(&format!("{}(", word.name)).len(), 1, "`{}` in the table of functions", word.name);
        }
        for event in EVENTS {
            assert_eq!(rows(&format!("{event}`")).len(), 1, "`{event}` in the table of events");
        }
        assert_eq!(rows("").len(), WORDS.len() + EVENTS.len(), "nothing else is explained");
    }
}
