//! Reading a vehicle's axles that draw current.

use toml::de::DeValue;
use track::{Current, Draw, Length, Resistance};

use crate::diagnostic::Findings;
use crate::keys::Keys;
use crate::numbers::{Unit, number_of};
use crate::source::{Said, Span};
use crate::written::WrittenAxles;

/// Nobody lists more axles of one vehicle; the bound keeps a faulty file from being checked for hours.
const MOST_AXLES: usize = 100;
/// The resistor of a resistor axle where nobody said (common practice, no source).
const RESISTANCE: Resistance = Resistance::from_ohm(10_000);

/// Reads `pickups` with `draws`, and `resistor-axles` with `resistance`. Nothing: something was wrong, and has been reported.
pub(crate) fn read_axles(keys: &mut Keys<'_>, length: Option<Length>, out: &mut Findings) -> Option<Vec<WrittenAxles>> {
    let pickups = read_places(keys, "pickups", length, out);
    let draws = keys.current("draws", out);
    let resistors = read_places(keys, "resistor-axles", length, out);
    let resistance = keys.resistance("resistance", out);
    let mut fine = !(keys.has("pickups") && pickups.is_none() || keys.has("draws") && draws.is_none());
    fine &= !(keys.has("resistor-axles") && resistors.is_none() || keys.has("resistance") && resistance.is_none());
    for (key, value, needs, hint) in [
        (
            "pickups",
            pickups.as_ref().map(|said| said.span),
            "draws",
            "add `draws`: what motor, decoder and lights draw together while it stands, in milliamperes",
        ),
        (
            "draws",
            draws.map(|said| said.span),
            "pickups",
            "add `pickups`: the axles that collect current, in millimetres from the vehicle's front",
        ),
        (
            "resistance",
            resistance.map(|said| said.span),
            "resistor-axles",
            "add `resistor-axles`: where they are, in millimetres from the vehicle's front",
        ),
    ] {
        if let (Some(span), false) = (value, keys.has(needs)) {
            out.mistake(span, format!("`{key}` goes with `{needs}`")).hint(hint);
            fine = false;
        }
    }
    if let (Some(pickups), Some(resistors)) = (&pickups, &resistors)
        && let Some(twice) = resistors.value.iter().find(|axle| pickups.value.contains(axle))
    {
        out.mistake(resistors.span, format!("the axle at {} mm is listed as a pickup too", twice.mm()))
            .see(pickups.span, "the pickups")
            .hint("an axle either collects current for the vehicle or has a resistor: list it once");
        fine = false;
    }
    let mut groups = Vec::new();
    if let (Some(at), Some(draws)) = (pickups, draws) {
        let share = Current::from_ua(draws.value.ua() / at.value.len() as i64);
        groups.push(WrittenAxles { at, draw: Draw::Share(share) });
    }
    if let Some(at) = resistors {
        let resistance = resistance.map_or(RESISTANCE, |said| said.value);
        groups.push(WrittenAxles { at, draw: Draw::Resistor(resistance) });
    }
    fine.then_some(groups)
}

/// A list of distances from the vehicle's front, nearest first.
fn read_places(
    keys: &mut Keys<'_>,
    key: &'static str,
    length: Option<Length>,
    out: &mut Findings,
) -> Option<Said<Vec<Length>>> {
    let list = keys.list(key, out)?;
    if list.value.is_empty() || list.value.len() > MOST_AXLES {
        let message = match list.value.len() {
            0 => format!("`{key}` is empty"),
            count => format!("a vehicle has at most {MOST_AXLES} axles, not {count}"),
        };
        out.mistake(list.span, message)
            .hint(format!("list where these axles are, in millimetres from the vehicle's front, or leave `{key}` out"));
        return None;
    }
    let mut places: Vec<Length> = Vec::new();
    let mut fine = true;
    for item in list.value {
        let value: Said<&DeValue<'_>> = Said { value: item.get_ref(), span: Span::new(list.span.file, item.span()) };
        let Some(said) = number_of(key, Unit::MillimetresFromEnd, value, out) else {
            fine = false;
            continue;
        };
        let at = Length::from_mm_f64(said.value);
        if let Some(length) = length.filter(|length| at > *length) {
            out.mistake(said.span, format!("the axle lies behind the vehicle, which is {} mm long", length.mm()))
                .hint("axles are measured from the vehicle's front");
            fine = false;
        } else if places.contains(&at) {
            out.mistake(said.span, format!("the axle at {} mm is listed twice", at.mm()));
            fine = false;
        }
        places.push(at);
    }
    places.sort_unstable();
    fine.then_some(Said { value: places, span: list.span })
}
