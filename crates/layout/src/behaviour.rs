//! How a train behaves: how long it stands, when it sets out, what it switches on, and which engines it has.

use std::time::Duration;

use track::{Address, Facing, Function, On};

use crate::diagnostic::Findings;
use crate::keys::Keys;
use crate::numbers::Unit;
use crate::read_trains::read_address;
use crate::source::Said;
use crate::written::WrittenVehicle;

/// What a function may go by.
const WHILES: [(&str, On); 4] =
    [("moving", On::Moving), ("standing", On::Standing), ("forward", On::Forward), ("backward", On::Backward)];

/// Reads one `[[train.function]]`.
pub(crate) fn read_function(mut keys: Keys<'_>, out: &mut Findings) -> Option<Function> {
    let number = keys.number("number", Unit::Count, out);
    if !keys.has("number") {
        keys.missing("number", "0", out);
    }
    let (whilst, at) = (keys.text("while", out), keys.text("at", out));
    let lasts = keys.duration("for", out);
    let has = (keys.has("while"), keys.has("at"), keys.has("for"));
    let header = keys.header();
    keys.finish(out);
    let on = match has {
        (true, false, false) => {
            let word = whilst?;
            let known = WHILES.iter().find(|(name, _)| *name == word.value);
            if known.is_none() {
                out.mistake(word.span, format!("`{}` is no state of a train that a function can go by", word.value))
                    .hint("write \"moving\", \"standing\", \"forward\" or \"backward\"");
            }
            known?.1
        }
        (false, true, true) => {
            let (word, lasts) = (at?, lasts?);
            let made: fn(Duration) -> On = match word.value {
                "start" => On::AtStart,
                "stop" => On::AtStop,
                other => {
                    out.mistake(word.span, format!("a function cannot be switched on at `{other}`"))
                        .hint("write \"start\" or \"stop\"");
                    return None;
                }
            };
            made(lasts.value)
        }
        _ => {
            out.mistake(header, "a function is on while something is so, or for a time at a moment")
                .hint("write `while = \"forward\"`, or `at = \"start\"` and `for = 1.2`");
            return None;
        }
    };
    let number = number?;
    if number.value > f64::from(Function::HIGHEST) {
        out.mistake(number.span, format!("no decoder has a function {} (NMRA S-9.2.1)", number.value))
            .hint("functions are numbered 0 to 28");
        return None;
    }
    Some(Function { number: number.value as u8, on })
}

/// The decoder of an engine that is one of several, where a vehicle has one.
pub(crate) fn read_engine(keys: &mut Keys<'_>, out: &mut Findings) -> Option<Said<(Address, Facing)>> {
    let address = keys.value("address").and_then(|value| read_address(value, out));
    let reversed = keys.flag("reversed", out);
    if let (Some(reversed), false) = (reversed, keys.has("address")) {
        out.mistake(reversed.span, "`reversed` is said of an engine, and this vehicle has no `address`")
            .hint("an engine that stands the other way round has an address of its own");
    }
    let facing = if reversed.is_some_and(|said| said.value) { Facing::Astern } else { Facing::Ahead };
    address.map(|address| Said { value: (address.value, facing), span: address.span })
}

/// The engines of a train, and whether they go together with its own address.
pub(crate) fn engines_of(
    vehicles: &[WrittenVehicle<'_>],
    own: Option<Said<Address>>,
    out: &mut Findings,
) -> Vec<track::Engine> {
    let mut engines = Vec::new();
    for (vehicle, said) in vehicles.iter().enumerate().filter_map(|(place, it)| Some((place, it.engine?))) {
        let (address, facing) = said.value;
        if let Some(own) = own {
            out.mistake(said.span, "a train has one address, or each of its engines has one")
                .see(own.span, "the train's")
                .hint("leave out one of them");
            return Vec::new();
        }
        engines.push(track::Engine { vehicle, address, facing });
    }
    engines
}
