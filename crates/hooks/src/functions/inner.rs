//! What only the Luau part calls.

use std::time::Duration;

use mlua::{MultiValue, Value};
use signaller::Time;

use super::call::{after, number};
use super::{Body, Call, SHORTEST_WAIT, acting, shorten, talking};
use crate::desk::{Desk, Wait};
use crate::vm::reason_of;

/// A condition is looked at again after this long even if nothing happens.
const LOOK_AGAIN: Duration = Duration::from_secs(1);

pub(super) const BODIES: &[(&str, Body)] = &[
    ("deadline", deadline),
    ("change", change),
    ("may_send", acting::may_send),
    ("say", talking::say),
    ("log", talking::log),
    ("reason", reason),
];

/// When a wait of so many seconds, asked for by the function of that name, is over. Nothing: never.
fn deadline(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let call = call.named("wait_until");
    let deadline = call.seconds(1)?.map(|seconds| after(desk.now, seconds).secs_f64());
    call.answer(deadline)
}

fn change(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let deadline = call.argument(0).and_then(number).map(Time::from_secs_f64);
    let soon = desk.now + LOOK_AGAIN;
    let look_at = deadline.map_or(soon, |deadline| deadline.clamp(desk.now + SHORTEST_WAIT, soon));
    call.wait(desk, Wait::Change { look_at, deadline })
}

/// What an error says, without the place it happened in.
fn reason(call: &Call<'_>, _desk: &mut Desk) -> Result<MultiValue, String> {
    match call.argument(0) {
        Some(Value::String(text)) => call.answer(shorten(&reason_of(&text.to_string_lossy()))),
        Some(other) => call.answer(other.clone()),
        None => call.answer("failed with an error that is not text"),
    }
}
