//! The layout clock, as scripts see it.

use mlua::{Lua, MultiValue, Table};

use super::Call;
use super::call::number;
use crate::clock::{ClockTime, LayoutClock};
use crate::desk::{Desk, Wait};

pub(crate) fn clock(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let table = clock_table(call.lua, desk).map_err(|error| error.to_string())?;
    call.answer(table)
}

pub(super) fn clock_table(lua: &Lua, desk: &Desk) -> mlua::Result<Table> {
    let clock = &desk.clock;
    let shown = clock.shows(desk.now);
    let table = lua.create_table()?;
    table.raw_set("shows", shown.to_string())?;
    table.raw_set("day", shown.day() as f64)?;
    table.raw_set("hour", shown.hour())?;
    table.raw_set("minute", shown.minute())?;
    table.raw_set("second", shown.second())?;
    table.raw_set("pace", clock.pace())?;
    table.raw_set("running", clock.is_running())?;
    table.raw_set("goes_on", clock.goes_on())?;
    Ok(table)
}

fn time(call: &Call<'_>) -> Result<ClockTime, String> {
    ClockTime::read(&call.text(0, "a time such as `18:30`")?)
}

pub(crate) fn set_clock(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let time = time(call)?;
    desk.clock.set(desk.now, time);
    call.answer(())
}

pub(crate) fn start_clock(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let pace = match call.argument(0) {
        None => desk.clock.pace(),
        Some(value) => number(value).ok_or_else(|| call.wants("how many times faster", Some(value)))?,
    };
    desk.clock.start(desk.now, LayoutClock::check_pace(pace)?);
    call.answer(())
}

pub(crate) fn pause_clock(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    desk.clock.pause(desk.now);
    call.answer(())
}

pub(crate) fn wait_clock(call: &Call<'_>, desk: &mut Desk) -> Result<MultiValue, String> {
    let time = time(call)?;
    let target = desk.clock.next(desk.now, time);
    call.wait(desk, Wait::Clock(target))
}
