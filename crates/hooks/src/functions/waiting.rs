//! Tasks, hooks, and waiting.

use mlua::MultiValue;

use super::Call;
use super::call::after;
use crate::desk::{Desk, LIMIT_EACH, Newcomer, Wait};

pub(crate) fn task(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
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

pub(crate) fn on(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let (pattern, next) = call.pattern(desk)?;
    let body = call.function(next, "a function")?;
    let papers = &mut desk.papers[call.script];
    if papers.hooks >= LIMIT_EACH {
        return Err(format!("a script can have {LIMIT_EACH} hooks"));
    }
    papers.hooks += 1;
    papers.newcomers.push(Newcomer::Hook { pattern: Box::new(pattern), body });
    call.answer(())
}

pub(crate) fn wait(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let seconds = call.seconds(0)?.ok_or_else(|| call.wants("seconds", None))?;
    let until = after(desk.now, seconds);
    call.wait(desk, Wait::Until(until))
}

pub(crate) fn wait_for(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let (pattern, next) = call.pattern(desk)?;
    let deadline = call.seconds(next)?.map(|seconds| after(desk.now, seconds));
    call.wait(desk, Wait::Event { pattern: Box::new(pattern), deadline })
}
