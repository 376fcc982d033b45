//! The functions of a script as far as they are the host's.
//!
//! Each answers `true` and its results, or `false` and what is wrong. The Luau part (`prelude.luau`) raises the error where
//! the script called, and gives way where a function waits.

pub(crate) mod acting;
mod call;
pub(crate) mod clock;
mod inner;
mod picture;
pub(crate) mod reading;
pub(crate) mod talking;
pub(crate) mod waiting;

use std::time::Duration;

use mlua::{IntoLuaMulti, Lua, MultiValue, Table};

use crate::desk::{Desk, SharedDesk};
use crate::vocabulary::{Run, WORDS};
pub(crate) use call::Call;
pub(crate) use picture::stage_in_words;
pub(crate) use reading::lie_in_words;

/// Nobody waits for less than this: a script must not be able to run for ever within one instant.
pub(crate) const SHORTEST_WAIT: Duration = Duration::from_millis(100);

/// The longest line that can be said, in characters.
const LONGEST_LINE: usize = 500;

/// What a function does.
pub(crate) type Body = fn(&Call<'_>, &mut Desk) -> Result<MultiValue, String>;

/// Makes the table of host functions for one script: under `now` and `waits` the words that are the host's, under `inner` what
/// only the Luau part calls.
pub(crate) fn host_table(lua: &Lua, desk: &SharedDesk, script: usize) -> mlua::Result<Table> {
    let install = |into: &Table, name: &'static str, body: Body| -> mlua::Result<()> {
        let desk = desk.clone();
        let function = lua.create_function(move |lua, arguments: MultiValue| {
            let arguments = arguments.into_vec();
            let call = Call { lua, name, arguments: &arguments, script };
            match body(&call, &mut desk.lock()) {
                Ok(results) => (true, results).into_lua_multi(lua),
                Err(wrong) => (false, wrong).into_lua_multi(lua),
            }
        })?;
        into.raw_set(name, function)
    };
    let [now, waits, inner] = [lua.create_table()?, lua.create_table()?, lua.create_table()?];
    for word in WORDS.iter() {
        match word.run {
            Run::Now(body) => install(&now, word.name, body)?,
            Run::Waits(body) => install(&waits, word.name, body)?,
            Run::InPrelude | Run::Pattern(_) => {}
        }
    }
    for &(name, body) in inner::BODIES {
        install(&inner, name, body)?;
    }
    let table = lua.create_table()?;
    table.raw_set("now", now)?;
    table.raw_set("waits", waits)?;
    table.raw_set("inner", inner)?;
    Ok(table)
}

/// One line of bounded length.
pub(crate) fn shorten(text: &str) -> String {
    text.chars().map(|letter| if letter.is_control() { ' ' } else { letter }).take(LONGEST_LINE).collect()
}
