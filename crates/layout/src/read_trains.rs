//! Reading `trains.toml` into what was typed.

use toml::de::DeValue;
use track::{Address, Length, SpeedSteps};

use crate::axles::read_axles;
use crate::behaviour::{read_engine, read_function};
use crate::diagnostic::Findings;
use crate::keys::{Keys, check_name, table_of, text_of, wrong_type};
use crate::numbers::{Unit, number_of};
use crate::read_track::each;
use crate::source::{Said, Span};
use crate::written::{WrittenStart, WrittenTrain, WrittenVehicle};

/// How far the first and the last detectable axle of a vehicle lie from its ends where nobody said (common practice, no
/// source), and which share of the vehicle's length it is at most.
const AXLE_INSET: Length = Length::from_mm(25);
const AXLE_INSET_SHARE: i64 = 4;
/// No vehicle on a table is longer than this.
const LONGEST_VEHICLE: Length = Length::from_mm(5_000);

/// No train stands on more sections than this; the bound keeps a faulty file from being checked for hours.
const MOST_SECTIONS: usize = 1000;

/// Reads the whole file.
pub(crate) fn read_trains<'t>(mut root: Keys<'t>, out: &mut Findings) -> Vec<WrittenTrain<'t>> {
    let trains = each(&mut root, "train", "a train", out, read_train);
    root.finish(out);
    trains
}

fn read_train<'t>(mut keys: Keys<'t>, out: &mut Findings) -> Option<WrittenTrain<'t>> {
    let name = keys.needed_name("\"Heron\"", out);
    let file = keys.header().file;
    let vehicles = keys.list("vehicles", out).map(|list| {
        let tables = list.value.iter().filter_map(|item| {
            let span = Span::new(file, item.span());
            let table = table_of("a vehicle", Said { value: item.get_ref(), span }, out)?;
            read_vehicle(table, out)
        });
        let read: Vec<_> = tables.collect();
        // Of a train that was only half understood neither length nor blind ends are known.
        if read.len() == list.value.len() { read } else { Vec::new() }
    });
    let address = keys.value("address").and_then(|value| read_address(value, out));
    let link = keys.text("link", out);
    let speed_steps = keys.number("speed-steps", Unit::Count, out).and_then(|steps| read_steps(steps, out));
    let top_speed = keys.speed("top-speed", out);
    let acceleration = keys.acceleration("acceleration", out);
    let braking = keys.acceleration("braking", out);
    let gradient_share = keys.number("gradient-share", Unit::Share, out);
    let speed_tolerance = keys.number("speed-tolerance", Unit::Share, out);
    let [dwell, start_delay] = ["dwell", "start-delay"].map(|key| keys.duration(key, out).map(|said| said.value));
    let functions = keys.tables("function", "a function", out);
    let functions = functions.into_iter().filter_map(|keys| read_function(keys, out)).collect();
    let stands =
        keys.value("stands").and_then(|value| table_of("`stands`", value, out)).and_then(|keys| read_start(keys, out));
    keys.finish(out);
    Some(WrittenTrain {
        name: name?,
        vehicles: vehicles.unwrap_or_default(),
        address,
        link,
        speed_steps,
        top_speed,
        acceleration,
        braking,
        gradient_share,
        speed_tolerance,
        dwell,
        start_delay,
        functions,
        stands,
    })
}

fn read_vehicle<'t>(mut keys: Keys<'t>, out: &mut Findings) -> Option<WrittenVehicle<'t>> {
    let name = keys.text("name", out).filter(|name| check_name(*name, out));
    let length = keys.length("length", out);
    if !keys.has("length") {
        keys.missing("length", "120", out);
    }
    let detectable = keys.value("detectable");
    let axles = read_axles(&mut keys, length.map(|length| length.value), out);
    let engine = read_engine(&mut keys, out);
    keys.finish(out);
    let length = length?;
    if length.value > LONGEST_VEHICLE {
        out.mistake(length.span, "the vehicle is longer than five metres on the table")
            .hint("lengths are millimetres on the table, not of the real railway");
        return None;
    }
    let detectable = match detectable {
        Some(value) => Some(Said { value: read_detectable(value, length.value, out)?, span: value.span }),
        None => None,
    };
    Some(WrittenVehicle { name, length: length.value, detectable, axles: axles?, engine })
}

/// `true`, `false`, or from where to where. The outer `None`: it was wrong, and has been reported.
fn read_detectable(value: Said<&DeValue<'_>>, length: Length, out: &mut Findings) -> Option<Option<(Length, Length)>> {
    match value.value {
        DeValue::Boolean(false) => Some(None),
        DeValue::Boolean(true) => {
            let inset = AXLE_INSET.min(length.scaled(1, AXLE_INSET_SHARE));
            Some(Some((inset, length - inset)))
        }
        DeValue::Array(list) if list.len() == 2 => {
            let mut bounds = list.iter().map(|item| {
                let span = Span::new(value.span.file, item.span());
                number_of("detectable", Unit::MillimetresFromEnd, Said { value: item.get_ref(), span }, out)
            });
            let (from, to) = (bounds.next()??, bounds.next()??);
            drop(bounds);
            let (first, last) = (Length::from_mm_f64(from.value), Length::from_mm_f64(to.value));
            if first >= last {
                out.mistake(value.span, "the last detectable axle lies ahead of the first")
                    .hint("both are measured from the vehicle's front: `detectable = [first, last]`");
                return None;
            }
            if last > length {
                out.mistake(
                    to.span,
                    format!("the last detectable axle lies behind the vehicle, which is {} mm long", length.mm()),
                )
                .hint("both are measured from the vehicle's front");
                return None;
            }
            Some(Some((first, last)))
        }
        _ => {
            wrong_type("detectable", "`true`, `false` or `[first, last]`", value, out).hint(
                "give the distances of the first and the last detectable axle from the vehicle's front, in millimetres",
            );
            None
        }
    }
}

/// A number (1 to 127 is short, above is long), `{ short = 3 }` or `{ long = 3 }`.
pub(crate) fn read_address(value: Said<&DeValue<'_>>, out: &mut Findings) -> Option<Said<Address>> {
    let span = value.span;
    let address = if value.value.is_table() {
        let mut keys = table_of("an address", value, out)?;
        let short = keys.number("short", Unit::Address, out);
        let long = keys.number("long", Unit::Address, out);
        let (has_short, has_long) = (keys.has("short"), keys.has("long"));
        keys.finish(out);
        if has_short == has_long {
            out.mistake(span, "an address is either short or long").hint("write `{ short = 3 }` or `{ long = 1003 }`");
            return None;
        }
        match (short, long) {
            (Some(short), _) => short_address(short, out)?,
            (None, Some(long)) => long_address(long, out)?,
            (None, None) => return None,
        }
    } else {
        let number = number_of("address", Unit::Address, value, out)?;
        if number.value > f64::from(Address::HIGHEST_SHORT) {
            long_address(number, out)?
        } else {
            short_address(number, out)?
        }
    };
    Some(Said { value: address, span })
}

fn whole(number: f64) -> Option<u64> {
    (number >= 0.0).then_some(number as u64)
}

fn short_address(number: Said<f64>, out: &mut Findings) -> Option<Address> {
    let address = whole(number.value).and_then(Address::short);
    if address.is_none() {
        out.mistake(number.span, format!("a short address is 1 to 127 (NMRA S-9.2), not {}", number.value)).hint(
            if number.value <= 0.0 {
                "0 speaks to all decoders at once; the long address 0 is written `{ long = 0 }`"
            } else {
                "a larger number is a long address: `{ long = ... }`"
            },
        );
    }
    address
}

fn long_address(number: Said<f64>, out: &mut Findings) -> Option<Address> {
    let address = whole(number.value).and_then(Address::long);
    if address.is_none() {
        out.mistake(number.span, format!("a long address is 0 to 10239 (NMRA S-9.2.1), not {}", number.value))
            .hint("read the decoder's address again: configuration variables 17 and 18 hold a long one");
    }
    address
}

fn read_steps(steps: Said<f64>, out: &mut Findings) -> Option<SpeedSteps> {
    let known = SpeedSteps::of_count(steps.value as u64);
    if known.is_none() {
        let hint = if steps.value as u64 == 128 || steps.value as u64 == 127 {
            "the 128-step instruction has 126 steps, a stop and an emergency stop: write 126"
        } else if steps.value as u64 == 27 {
            "the nearest is 28"
        } else {
            "write 14, 28 or 126"
        };
        out.mistake(steps.span, format!("no decoder has {} speed steps (NMRA S-9.2, S-9.2.1)", steps.value)).hint(hint);
    }
    known
}

fn read_start<'t>(mut keys: Keys<'t>, out: &mut Findings) -> Option<WrittenStart<'t>> {
    let on = keys.list("on", out);
    if !keys.has("on") {
        keys.missing("on", "[\"quay-1\"]", out);
    }
    let nose = keys.text("nose", out);
    let file = keys.header().file;
    keys.finish(out);
    let on = on?;
    if on.value.is_empty() {
        out.mistake(on.span, "`on` is empty")
            .hint("list the sections the train stands on, tail first, or leave `stands` out");
        return None;
    }
    if on.value.len() > MOST_SECTIONS {
        out.mistake(on.span, format!("no train stands on more than {MOST_SECTIONS} sections"));
        return None;
    }
    let sections: Vec<_> = on
        .value
        .iter()
        .map(|item| text_of("a section", Said { value: item.get_ref(), span: Span::new(file, item.span()) }, out))
        .collect();
    let sections: Option<Vec<_>> = sections.into_iter().collect();
    Some(WrittenStart { on: sections?, on_span: on.span, nose })
}
