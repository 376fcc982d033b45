//! Reading what is known.

use mlua::{MultiValue, Value};
use track::{Aspect, Lie};

use super::Call;
use super::picture::picture_table;
use crate::desk::Desk;
use crate::event::{describe, read_names};
use crate::names::unknown;
use crate::vocabulary::Kind;

pub(crate) fn free(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let wanted = call.argument(0).and_then(read_names);
    let wanted = wanted.ok_or_else(|| call.wants("the name of a place or a list of such names", call.argument(0)))?;
    let mut found = None;
    for name in wanted {
        for place in desk.names.places(&name)? {
            if desk.is_free(place) && found.is_none() {
                found = Some(desk.names.of_place(place).to_owned());
            }
        }
    }
    call.answer(found)
}

pub(crate) fn where_is(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let train = call.train(desk, 0)?;
    let sections = desk.picture.sections_of(train).map(|section| desk.names.of_section(section));
    let list = call.lua.create_sequence_from(sections).map_err(|error| error.to_string())?;
    call.answer(list)
}

pub(crate) fn at(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let train = call.train(desk, 0)?;
    call.answer(desk.picture.at(train).map(|place| desk.names.of_place(place)))
}

pub(crate) fn is_at(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let (train, place) = (call.train(desk, 0)?, call.place(desk, 1)?);
    call.answer(desk.picture.is_at(train, place, desk.names.section_of(place)))
}

pub(crate) fn is_on(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let accessory = desk.names.accessory(&call.text(0, "the name of an accessory")?)?;
    call.answer(desk.picture.board.accessories[accessory] == Some(true))
}

pub(crate) fn reads(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let input = desk.names.input(&call.text(0, "the name of an input")?)?;
    call.answer(desk.picture.board.inputs[input])
}

pub(crate) fn tag(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let section = desk.names.section(&call.text(0, "the name of a section")?)?;
    let (how, trains) = desk.picture.tag(section).map_or(("unknown", &[][..]), describe);
    call.answer((trains.first().map(|&train| desk.names.of_train(train)), how))
}

pub(crate) fn bound(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let train = call.train(desk, 0)?;
    call.answer(desk.picture.bound(train).map(|place| desk.names.of_place(place)))
}

pub(crate) fn waiting(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let train = call.train(desk, 0)?;
    call.answer(desk.picture.waiting(train))
}

pub(crate) fn held(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let train = call.train(desk, 0)?;
    call.answer(desk.picture.held(train))
}

pub(crate) fn shows(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let signal = desk.names.signal(&call.text(0, "the name of a signal")?)?;
    let aspect = desk.picture.board.aspects[signal];
    call.answer((desk.names.of_aspect(signal, aspect), aspect == Aspect::STOP))
}

pub(crate) fn lies(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let turnout = desk.names.turnout(&call.text(0, "the name of a turnout")?)?;
    call.answer(desk.picture.board.lies[turnout].map(lie_in_words))
}

pub(crate) fn dark(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let dark = &desk.picture.board.dark;
    let because = match call.argument(0) {
        None => dark.values().next(),
        Some(_) => {
            let district = desk.names.district(&call.text(0, "the name of a power district")?)?;
            dark.get(&Some(district)).or_else(|| dark.get(&None))
        }
    };
    call.answer(because.map(String::as_str))
}

pub(crate) fn picture(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let table = picture_table(call.lua, desk).map_err(|error| error.to_string())?;
    call.answer(table)
}

/// The kinds that can be asked for by name.
const KINDS: &[(&str, Kind)] = &[
    ("train", Kind::Train),
    ("section", Kind::Section),
    ("place", Kind::Place),
    ("signal", Kind::Signal),
    ("turnout", Kind::Turnout),
    ("detector", Kind::Detector),
    ("district", Kind::District),
    ("input", Kind::Input),
    ("link", Kind::Link),
];

pub(crate) fn names(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let kind = call.text(0, "the name of a kind")?;
    let known = KINDS.iter().find(|(name, _)| *name == kind).map(|&(_, kind)| kind);
    let kind = known.ok_or_else(|| unknown("kind of name", &kind, KINDS.iter().map(|(name, _)| *name)))?;
    let wanted = match call.argument(1) {
        None => vec!["*".to_owned()],
        Some(value) => {
            read_names(value).ok_or_else(|| call.wants("a name, a pattern or a list of these", Some(value)))?
        }
    };
    let mut found = Vec::new();
    for pattern in wanted {
        match desk.names.all(kind, &pattern) {
            Err(_) if call.argument(1).is_none() => {}
            names => found.extend(names?),
        }
    }
    let list = call.lua.create_sequence_from(found).map_err(|error| error.to_string())?;
    call.answer(list)
}

pub(crate) fn length(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let name = call.text(0, "the name of a train or a section")?;
    let length = desk.names.length(&name)?;
    call.answer(length.map(|length| length.um() as f64 / 1000.0))
}

pub(crate) fn now(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    call.answer(Value::Number(desk.now.secs_f64()))
}

/// How a turnout lies, in one word.
pub(crate) fn lie_in_words(lie: Lie) -> &'static str {
    match lie {
        Lie::Straight => "straight",
        Lie::Diverging => "diverging",
    }
}
