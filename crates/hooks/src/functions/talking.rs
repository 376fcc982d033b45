//! Talking to people.

use mlua::{MultiValue, Value};

use super::call::after;
use super::{Call, shorten};
use crate::desk::{Desk, Wait};
use crate::notice::NoticeKind;

/// Questions that may stand open at a time.
const MOST_QUESTIONS: usize = 16;

/// Answers that a question may offer.
const MOST_ANSWERS: usize = 16;

pub(crate) fn say(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let text = call.text(0, "text")?;
    desk.say(call.script, NoticeKind::Said(shorten(&text)));
    call.answer(())
}

pub(crate) fn log(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let text = call.text(0, "text")?;
    desk.say(call.script, NoticeKind::Logged(shorten(&text)));
    call.answer(())
}

pub(crate) fn ask(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let question = shorten(&call.text(0, "a question")?);
    let answers = match call.argument(1) {
        Some(Value::Table(list)) => list
            .sequence_values::<String>()
            .take(MOST_ANSWERS + 1)
            .collect::<mlua::Result<Vec<String>>>()
            .map_err(|_| call.wants("a list of answers in words", call.argument(1)))?,
        other => return Err(call.wants("a list of answers", other)),
    };
    if !(1..=MOST_ANSWERS).contains(&answers.len()) {
        return Err(format!("`ask` offers {} answers, and may offer 1 to {MOST_ANSWERS}", answers.len()));
    }
    let answers = answers.iter().map(|answer| shorten(answer)).collect();
    let deadline = call.seconds(2)?.map(|seconds| after(desk.now, seconds));
    call.must_be_able_to_wait(desk)?;
    if desk.questions.len() >= MOST_QUESTIONS {
        return Err(format!("{MOST_QUESTIONS} questions stand open already; hint: wait for an answer first"));
    }
    let number = desk.put_question(call.script, question, answers);
    call.wait(desk, Wait::Question { number, deadline })
}
