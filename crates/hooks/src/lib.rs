//! Lua: outputs in, requests out.
//!
//! Scripts ask; the signaller decides. This crate runs the scripts of a layout in sandboxed Luau machines, tells them the
//! [`Fact`](signaller::Fact)s that come out of the signaller, and hands out their [`Request`](signaller::Request)s. It knows no
//! clock or file: the host says how late it is, so the same script runs in the testtrack at any pace. [`Apart`] gives the
//! scripts a thread of their own, so that whoever runs trains never waits for them.
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
//! Every function and event, and the tables they take and give, stand in the table at the end of this page. `lineclear types
//! DIR` writes the same for editors, with the names of the layout.
//!
//! `which` picks events: `{train = "Heron"}`, `{section = {"quay-1", "quay-2"}}`, `{place = "yard-*"}`, or several at once. In a
//! pattern `*` stands for any letters, `?` for one; a pattern that fits nothing is an error.
//!
//! **Care.** A train is in the care of the task that sends it; of the file, if a hook does so or the top level takes it into
//! care; and of the file again once the task ended well. When a task fails, the trains in its care are held, and only a person
//! can release them. When a call of a hook fails, the trains in the file's own care are, and the hook goes on; one that
//! fails three times within a minute is called no more. When the whole script fails, all of them are.
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
//!
//! # Functions and events
//!

#![doc = include_str!("reference.md")]

mod apart;
mod budget;
mod clock;
mod desk;
mod event;
mod event_pattern;
mod functions;
mod names;
mod notice;
mod picture;
mod precheck;
mod reference;
mod script;
mod scripts;
mod task;
mod tokens;
mod vm;
mod vocabulary;

pub use apart::{Apart, ScriptWish, Shown, Taken};
pub use budget::Budget;
pub use clock::{ClockTime, LayoutClock};
pub use desk::{FIRST_TICKET, Question};
pub use notice::{Ended, Failure, Notice, NoticeKind, ScriptError};
pub use reference::{luacats_types, luau_types, reference_page};
pub use scripts::Scripts;

#[cfg(test)]
mod tests {
    use crate::Scripts;

    #[test]
    fn scripts_can_live_on_a_thread_of_their_own() {
        fn can_move<T: Send>() {}
        can_move::<Scripts>();
    }
}
