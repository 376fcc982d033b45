//! Everything that is known, as one table.

use mlua::{IntoLua, Lua, Table};
use signaller::RouteStage;
use track::Aspect;

use super::clock::clock_table;
use super::reading::lie_in_words;
use crate::desk::Desk;
use crate::event::describe;

/// A copy of everything that is known, as the record `Picture`.
pub(super) fn picture_table(lua: &Lua, desk: &Desk) -> mlua::Result<Table> {
    let picture = lua.create_table()?;
    picture.raw_set("time", desk.now.secs_f64())?;
    picture.raw_set("clock", clock_table(lua, desk)?)?;
    picture.raw_set("trains", trains(lua, desk)?)?;
    picture.raw_set("sections", sections(lua, desk)?)?;
    picture.raw_set("signals", signals(lua, desk)?)?;
    picture.raw_set("turnouts", turnouts(lua, desk)?)?;
    picture.raw_set("routes", routes(lua, desk)?)?;
    picture.raw_set("doubts", doubts(lua, desk)?)?;
    let board = &desk.picture.board;
    let known = board.inputs.iter().filter_map(|(input, on)| Some((desk.names.of_input(input), (*on)?)));
    picture.raw_set("inputs", lua.create_table_from(known)?)?;
    let dark = board.dark.iter().map(|(district, because)| {
        (district.map_or("", |district| desk.names.of_district(district)), because.as_str())
    });
    picture.raw_set("dark", lua.create_table_from(dark)?)?;
    let down = board.down.iter().map(|&link| desk.names.of_link(link));
    picture.raw_set("links_down", lua.create_sequence_from(down)?)?;
    Ok(picture)
}

/// Sets a field, where there is something to set.
fn set(table: &Table, field: &str, value: Option<impl IntoLua>) -> mlua::Result<()> {
    value.map_or(Ok(()), |value| table.raw_set(field, value))
}

fn trains(lua: &Lua, desk: &Desk) -> mlua::Result<Table> {
    let (names, board) = (&desk.names, &desk.picture.board);
    let trains = lua.create_table()?;
    for (&train, errand) in &board.errands {
        let row = lua.create_table()?;
        let on = desk.picture.sections_of(train).map(|section| names.of_section(section));
        row.raw_set("sections", lua.create_sequence_from(on)?)?;
        set(&row, "at", desk.picture.at(train).map(|place| names.of_place(place)))?;
        set(&row, "bound", desk.picture.bound(train).map(|place| names.of_place(place)))?;
        set(&row, "waiting", errand.waits.as_deref())?;
        set(&row, "held", errand.held.as_deref())?;
        row.raw_set("step", errand.step)?;
        row.raw_set("trips", errand.trips as f64)?;
        trains.raw_set(names.of_train(train), row)?;
    }
    Ok(trains)
}

fn sections(lua: &Lua, desk: &Desk) -> mlua::Result<Table> {
    let (names, board) = (&desk.names, &desk.picture.board);
    let sections = lua.create_table()?;
    for (section, tag) in board.tags.iter() {
        let row = lua.create_table()?;
        let (how, there) = tag.as_ref().map_or(("unknown", &[][..]), describe);
        row.raw_set("how", how)?;
        row.raw_set("trains", lua.create_sequence_from(there.iter().map(|&train| names.of_train(train)))?)?;
        set(&row, "granted", board.granted[section].map(|train| names.of_train(train)))?;
        set(&row, "out_of_service", board.withdrawn.get(&section).map(String::as_str))?;
        sections.raw_set(names.of_section(section), row)?;
    }
    Ok(sections)
}

fn signals(lua: &Lua, desk: &Desk) -> mlua::Result<Table> {
    let signals = lua.create_table()?;
    for (signal, &aspect) in desk.picture.board.aspects.iter() {
        let row = lua.create_table()?;
        row.raw_set("aspect", desk.names.of_aspect(signal, aspect))?;
        row.raw_set("danger", aspect == Aspect::STOP)?;
        signals.raw_set(desk.names.of_signal(signal), row)?;
    }
    Ok(signals)
}

fn turnouts(lua: &Lua, desk: &Desk) -> mlua::Result<Table> {
    let known = desk.picture.board.lies.iter().filter_map(|(turnout, lie)| Some((turnout, (*lie)?)));
    lua.create_table_from(known.map(|(turnout, lie)| (desk.names.of_turnout(turnout), lie_in_words(lie))))
}

fn routes(lua: &Lua, desk: &Desk) -> mlua::Result<Table> {
    let routes = lua.create_table()?;
    for (&signal, route) in &desk.picture.board.routes {
        let row = lua.create_table()?;
        row.raw_set("exit", desk.names.of_exit(route.exit))?;
        row.raw_set("stage", stage_in_words(route.stage))?;
        set(&row, "waiting", route.waits.as_deref())?;
        routes.raw_set(desk.names.of_signal(signal), row)?;
    }
    Ok(routes)
}

fn doubts(lua: &Lua, desk: &Desk) -> mlua::Result<Table> {
    let names = &desk.names;
    let mut rows = Vec::new();
    for (number, doubt) in &desk.picture.board.doubts {
        let row = lua.create_table()?;
        row.raw_set("doubt", number.0 as f64)?;
        row.raw_set("trains", lua.create_sequence_from(doubt.trains.iter().map(|&train| names.of_train(train)))?)?;
        row.raw_set("sections", lua.create_sequence_from(doubt.sections.iter().map(|&id| names.of_section(id)))?)?;
        row.raw_set("may_be", lua.create_sequence_from(doubt.alternatives.iter().map(String::as_str))?)?;
        row.raw_set("settled_by", doubt.settled_by.as_str())?;
        rows.push(row);
    }
    lua.create_sequence_from(rows)
}

/// How far a route has come, in a word.
pub(crate) fn stage_in_words(stage: RouteStage) -> &'static str {
    match stage {
        RouteStage::Called => "called",
        RouteStage::Cleared => "cleared",
        RouteStage::ApproachLocked => "approach-locked",
        RouteStage::Used => "used",
        RouteStage::Cancelled => "cancelled",
        RouteStage::Released => "released",
    }
}
