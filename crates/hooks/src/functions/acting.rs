//! Asking: everything that makes a request.

use std::collections::VecDeque;

use mlua::{MultiValue, Value};
use signaller::{Destination, Request};
use track::{Function, Lie, TrainId};

use super::call::{after, number};
use super::{Call, shorten};
use crate::desk::{Desk, Trip, Wait};
use crate::event::read_names;
use crate::names::unknown;

/// More places to pass on the way are an oversight.
const MOST_VIA: usize = 100;

/// How a train is to get somewhere.
#[derive(Default)]
struct How {
    within: Option<f64>,
    via: VecDeque<Destination>,
}

/// Reads seconds, or `{within = ..., via = {...}}`.
fn how(call: &Call<'_>, desk: &Desk, at: usize) -> Result<How, String> {
    let table = match call.argument(at) {
        None => return Ok(How::default()),
        Some(Value::Table(table)) => table,
        Some(value) => return Ok(How { within: Some(call.as_seconds(value)?), via: VecDeque::new() }),
    };
    let mut how = How::default();
    for pair in table.pairs::<Value, Value>() {
        let (key, value) = pair.map_err(|error| error.to_string())?;
        let key = key.as_string().map(mlua::LuaString::to_string_lossy).unwrap_or_default();
        match key.as_str() {
            "within" => how.within = Some(call.as_seconds(&value)?),
            "via" => {
                let names = read_names(&value).filter(|names| names.len() <= MOST_VIA);
                let names =
                    names.ok_or_else(|| call.wants("the name of a place or a list of such names", Some(&value)))?;
                how.via = names.iter().map(|name| desk.names.place(name)).collect::<Result<_, _>>()?;
            }
            other => return Err(unknown("way of going there", other, ["within", "via"].into_iter())),
        }
    }
    Ok(how)
}

/// Whether the names and the care are right for a trip.
pub(super) fn may_send(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let call = call.named("try_send");
    let train = call.train(desk, 0)?;
    call.place(desk, 1)?;
    how(&call, desk, 2)?;
    desk.must_not_be_anothers(call.carer(desk)?, train)?;
    call.answer(())
}

pub(crate) fn send(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let (train, to) = (call.train(desk, 0)?, call.place(desk, 1)?);
    let How { within, mut via } = how(call, desk, 2)?;
    call.must_be_able_to_wait(desk)?;
    let carer = call.carer(desk)?;
    desk.take_care(carer, train)?;
    via.push_back(to);
    let first = via.pop_front().unwrap_or(to);
    let ticket = desk.post(carer, Request::Go { train, to: first })?;
    desk.picture.bind(train, to);
    let deadline = within.map(|seconds| (after(desk.now, seconds), seconds));
    call.wait(desk, Wait::Trip(Trip { ticket, train, to: first, then: via, carer, deadline, is_accepted: false }))
}

/// Posts a request and waits for the answer.
fn ask(call: &Call<'_>, desk: &mut Desk, request: Request) -> Result<MultiValue, String> {
    call.must_be_able_to_wait(desk)?;
    let gives_up = match request {
        Request::Stop { train } => Some(train),
        _ => None,
    };
    let ticket = desk.post(call.carer(desk)?, request)?;
    call.wait(desk, Wait::Answer { ticket, gives_up })
}

/// Posts a request about a train of the script's own and waits for the answer.
fn ask_of_own(call: &Call<'_>, desk: &mut Desk, train: TrainId, request: Request) -> Result<MultiValue, String> {
    call.must_be_able_to_wait(desk)?;
    desk.must_be_own(call.carer(desk)?, train)?;
    ask(call, desk, request)
}

pub(crate) fn stop(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let train = call.train(desk, 0)?;
    ask_of_own(call, desk, train, Request::Stop { train })
}

pub(crate) fn hold(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let train = call.train(desk, 0)?;
    let reason = shorten(&call.text(1, "a reason")?);
    let waits = ask_of_own(call, desk, train, Request::Hold { train, reason: reason.clone() })?;
    // Somebody else's hold stays somebody else's.
    if desk.picture.held(train).is_none() {
        desk.holds.insert(train, (call.script, reason));
    }
    Ok(waits)
}

pub(crate) fn release(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let train = call.train(desk, 0)?;
    if desk.holds.get(&train).is_none_or(|(script, _)| *script != call.script) {
        let name = desk.names.of_train(train);
        return Err(format!("`{name}` is not held by this script; hint: who held it must release it"));
    }
    ask_of_own(call, desk, train, Request::Release { train })
}

pub(crate) fn limit(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let train = call.train(desk, 0)?;
    let step = match call.argument(1) {
        None => None,
        Some(value) => {
            let step = number(value).filter(|step| (1.0..=126.0).contains(step) && step.fract() == 0.0);
            let step = step.ok_or_else(|| format!("`{}` wants a whole speed step from 1 to 126 here", call.name))?;
            Some(step as u8)
        }
    };
    ask_of_own(call, desk, train, Request::LimitStep { train, step })
}

pub(crate) fn set_function(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let train = call.train(desk, 0)?;
    let highest = Function::HIGHEST;
    let said = call.argument(1).and_then(number);
    let said = said.filter(|said| (0.0..=f64::from(highest)).contains(said) && said.fract() == 0.0);
    let number =
        said.ok_or_else(|| format!("`{}` wants the number of a function from 0 to {highest} here", call.name))?;
    let on = call.flag(2, "`true` for on or `false` for off")?;
    ask_of_own(call, desk, train, Request::SwitchFunction { train, number: number as u8, on })
}

pub(crate) fn switch(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let accessory = desk.names.accessory(&call.text(0, "the name of an accessory")?)?;
    let on = call.flag(1, "`true` for on or `false` for off")?;
    ask(call, desk, Request::SwitchAccessory { accessory, on })
}

pub(crate) fn care(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let carer = call.carer(desk)?;
    for train in call.trains(desk)? {
        desk.take_care(carer, train)?;
    }
    call.answer(())
}

pub(crate) fn let_go(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let carer = call.carer(desk)?;
    for train in call.trains(desk)? {
        desk.must_be_own(carer, train)?;
        desk.care.remove(&train);
    }
    call.answer(())
}

pub(crate) fn set_route(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let name = call.text(0, "the name of a route")?;
    let (entry, exit, via) = desk.names.route(&name)?;
    ask(call, desk, Request::SetRoute { entry, exit, via })
}

pub(crate) fn cancel_route(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let entry = desk.names.signal(&call.text(0, "the name of a signal")?)?;
    ask(call, desk, Request::CancelRoute { entry })
}

pub(crate) fn throw(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let turnout = desk.names.turnout(&call.text(0, "the name of a turnout")?)?;
    let lie = match call.text(1, "`straight` or `diverging`")?.as_str() {
        "straight" => Lie::Straight,
        "diverging" => Lie::Diverging,
        other => return Err(unknown("way for a turnout to lie", other, ["straight", "diverging"].into_iter())),
    };
    ask(call, desk, Request::Throw { turnout, lie })
}

pub(crate) fn take_out_of_service(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let section = desk.names.section(&call.text(0, "the name of a section")?)?;
    let reason = shorten(&call.text(1, "a reason")?);
    let waits = ask(call, desk, Request::TakeOutOfService { section, reason })?;
    // Whoever took it out before keeps it.
    if !desk.picture.board.withdrawn.contains_key(&section) {
        desk.taken_out.insert(section, call.script);
    }
    Ok(waits)
}

pub(crate) fn put_in_service(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let name = call.text(0, "the name of a section")?;
    let section = desk.names.section(&name)?;
    if desk.taken_out.get(&section) != Some(&call.script) {
        return Err(format!("this script did not take `{name}` out of service; hint: who did must put it back"));
    }
    ask(call, desk, Request::PutInService { section })
}

pub(crate) fn keep_at_danger(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let signal = desk.names.signal(&call.text(0, "the name of a signal")?)?;
    let waits = ask(call, desk, Request::KeepAtDanger { signal, held: true })?;
    desk.kept_at_danger.entry(signal).or_insert(call.script);
    Ok(waits)
}

pub(crate) fn let_clear(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let name = call.text(0, "the name of a signal")?;
    let signal = desk.names.signal(&name)?;
    if desk.kept_at_danger.get(&signal) != Some(&call.script) {
        return Err(format!("this script does not keep `{name}` at danger; hint: who does must let it clear"));
    }
    let waits = ask(call, desk, Request::KeepAtDanger { signal, held: false })?;
    desk.kept_at_danger.remove(&signal);
    Ok(waits)
}
