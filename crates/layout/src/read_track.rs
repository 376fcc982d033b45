//! Reading `layout.toml` into what was typed.

use toml::Spanned;
use toml::de::DeValue;
use track::{Length, Lie, SpeedClass};

use crate::diagnostic::Findings;
use crate::drawing::read_drawing;
use crate::keys::{Keys, check_name, list_of, table_of, text_of, texts_of, word_of, wrong_type};
use crate::numbers::{Unit, number_of};
use crate::read_signals::read_signal;
use crate::sensing::read_sensing;
use crate::source::{Said, Span};
use crate::speeds::read_speeds;
use crate::written::{
    WrittenDetector, WrittenDetectorPlace, WrittenDistrict, WrittenFitting, WrittenJoint, WrittenLink, WrittenSection,
    WrittenStop, WrittenTrack, WrittenTurnout, WrittenWay,
};
use track::nearest;

/// No station throat has more ways than this; the bound keeps a faulty file from being checked for hours.
const MOST_WAYS: usize = 1000;

/// Reads the whole file.
pub(crate) fn read_track<'t>(mut root: Keys<'t>, out: &mut Findings) -> WrittenTrack<'t> {
    let mut track = WrittenTrack::default();
    match root.value("layout") {
        Some(value) if value.value.is_array() => {
            out.mistake(value.span, "`layout` is one table, not a list")
                .hint("write `[layout]` with one bracket on each side");
        }
        Some(value) => {
            if let Some(keys) = table_of("the layout", value, out) {
                read_head(keys, &mut track, out);
            }
        }
        None => root.missing("[layout]", "...", out),
    }
    if let Some(keys) = root.value("speeds").and_then(|value| table_of("`[speeds]`", value, out)) {
        track.speeds = read_speeds(keys, out);
    }
    if let Some(keys) = root.value("diagram").and_then(|value| table_of("`[diagram]`", value, out)) {
        track.drawing = read_drawing(keys, out);
    }
    track.links = each(&mut root, "link", "a link", out, read_link);
    track.districts = each(&mut root, "district", "a power district", out, read_district);
    track.accessories =
        each(&mut root, "accessory", "an accessory", out, |keys, out| read_fitting(keys, "\"quay lamps\"", out));
    track.inputs =
        each(&mut root, "input", "an input", out, |keys, out| read_fitting(keys, "\"coal stage lever\"", out));
    track.turnouts = each(&mut root, "turnout", "a turnout", out, read_turnout);
    track.has_sections = root.has("section");
    track.sections = each(&mut root, "section", "a section", out, read_section);
    track.joints = each(&mut root, "joint", "a joint", out, read_joint);
    track.buffer_stops =
        each(&mut root, "buffer-stop", "a buffer stop", out, read_ends).into_iter().flatten().collect();
    track.off_layout =
        each(&mut root, "off-layout", "an end off the layout", out, read_ends).into_iter().flatten().collect();
    track.signals = each(&mut root, "signal", "a signal", out, read_signal);
    track.stops = each(&mut root, "stopping-point", "a stopping point", out, read_stop);
    track.detectors = each(&mut root, "detector", "a detector", out, read_detector);
    root.finish(out);
    track
}

/// No bus for trains carries more orders a second than this.
const MOST_ORDERS: u16 = 10_000;

/// Reads every `[[key]]`; those that lack something are left out, having been reported.
pub(crate) fn each<'t, T>(
    root: &mut Keys<'t>,
    key: &'static str,
    what: &'static str,
    out: &mut Findings,
    read: fn(Keys<'t>, &mut Findings) -> Option<T>,
) -> Vec<T> {
    root.tables(key, what, out).into_iter().filter_map(|keys| read(keys, out)).collect()
}

fn read_head<'t>(mut keys: Keys<'t>, track: &mut WrittenTrack<'t>, out: &mut Findings) {
    track.name = keys.needed_name("\"Low Staithe\"", out);
    track.scale = keys.needed_text("scale", "\"H0\"", out);
    if let Some(parts) = keys.number("parts", Unit::Count, out) {
        if parts.value >= 1.0 {
            track.parts = Some(Said { value: parts.value as usize, span: parts.span });
        } else {
            out.mistake(parts.span, "a layout has at least one part");
        }
    }
    track.aspects = keys.text("aspects", out);
    track.sensing = read_sensing(&mut keys, out);
    if let (None, Some(threshold), false) = (track.sensing.kind, track.sensing.threshold, track.sensing.is_faulty) {
        out.mistake(threshold.span, "`threshold` goes with a `sensing`")
            .hint("say `sensing = \"diode-drop\"` beside it");
    }
    keys.finish(out);
}

fn read_link<'t>(mut keys: Keys<'t>, out: &mut Findings) -> Option<WrittenLink<'t>> {
    let name = keys.needed_name("\"west\"", out);
    let orders = keys.number("orders", Unit::Count, out).and_then(|said| {
        let bounds = 1.0..=f64::from(MOST_ORDERS);
        if !bounds.contains(&said.value) {
            out.mistake(said.span, format!("a link carries 1 to {MOST_ORDERS} orders a second, not {}", said.value))
                .hint("leave `orders` out where their number is of no matter");
            return None;
        }
        Some(said.value as u16)
    });
    keys.finish(out);
    Some(WrittenLink { name: name?, orders })
}

fn read_district<'t>(mut keys: Keys<'t>, out: &mut Findings) -> Option<WrittenDistrict<'t>> {
    let name = keys.needed_name("\"harbour\"", out);
    let voltage = keys.voltage("voltage", out).map(|said| said.value);
    let is_faulty = keys.has("voltage") && voltage.is_none();
    let is_switched = keys.flag("switched", out).is_some_and(|said| said.value);
    keys.finish(out);
    Some(WrittenDistrict { name: name?, voltage, is_faulty, is_switched })
}

fn read_fitting<'t>(mut keys: Keys<'t>, example: &str, out: &mut Findings) -> Option<WrittenFitting<'t>> {
    let name = keys.needed_name(example, out);
    let link = keys.text("link", out);
    keys.finish(out);
    Some(WrittenFitting { name: name?, link })
}

fn read_turnout<'t>(mut keys: Keys<'t>, out: &mut Findings) -> Option<WrittenTurnout<'t>> {
    let name = keys.needed_name("\"W1\"", out);
    let reported = keys.flag("reported", out).map(|said| said.value);
    let worked = keys.flag("worked", out).map(|said| said.value);
    let throw_time = keys.duration("throw-time", out).map(|said| said.value);
    let normal = keys.text("normal", out).and_then(|word| read_lie_word(word, out));
    let limit = keys.speed("limit", out);
    let link = keys.text("link", out);
    keys.finish(out);
    Some(WrittenTurnout { name: name?, reported, worked, throw_time, normal, limit, link })
}

fn read_section<'t>(mut keys: Keys<'t>, out: &mut Findings) -> Option<WrittenSection<'t>> {
    let name = keys.needed_name("\"quay-1\"", out);
    let length = keys.length("length", out);
    let limit = keys.speed("limit", out);
    let gradient = keys.gradient("gradient", out);
    let class = read_class(&mut keys, out);
    let district = keys.text("district", out);
    let link = keys.text("link", out);
    let dark = keys.flag("dark", out);
    let crosses = keys.value("crosses").map(|said| texts_of("crosses", said, out)).unwrap_or_default();
    let ways = keys.list("ways", out);
    if let (Some(length), Some(_)) = (length, ways) {
        out.mistake(length.span, "a section with `ways` has no `length` of its own").hint("give each way its `length`");
    }
    if let (Some(gradient), Some(_)) = (gradient, ways) {
        out.mistake(gradient.span, "a section with `ways` has no `gradient` of its own")
            .hint("give each way its `gradient`: how it rises from the end it comes `from`");
    }
    if let Some(ways) = ways.filter(|ways| ways.value.len() > MOST_WAYS) {
        out.mistake(ways.span, format!("a section has at most {MOST_WAYS} ways, not {}", ways.value.len()))
            .hint("split the section where detectors could tell its parts apart");
    }
    if let Some(ways) = ways.filter(|ways| ways.value.is_empty()) {
        out.mistake(ways.span, "`ways` is empty: no train could pass the section")
            .hint("leave `ways` out for a section with two ends `a` and `b`, joined by one way");
    }
    let file = keys.header().file;
    let ways = ways.map(|ways| {
        let tables = ways.value.iter().take(MOST_WAYS).filter_map(|item| {
            let span = Span::new(file, item.span());
            let table = table_of("a way", Said { value: item.get_ref(), span }, out)?;
            read_way(table, out)
        });
        tables.collect()
    });
    keys.finish(out);
    Some(WrittenSection { name: name?, length, ways, district, link, dark, crosses, limit, gradient, class })
}

fn read_way<'t>(mut keys: Keys<'t>, out: &mut Findings) -> Option<WrittenWay<'t>> {
    let span = keys.header();
    let from = read_end_name(&mut keys, "from", "\"toe\"", out);
    let to = read_end_name(&mut keys, "to", "\"one\"", out);
    let length = keys.length("length", out);
    let limit = keys.speed("limit", out);
    let gradient = keys.gradient("gradient", out);
    let class = read_class(&mut keys, out);
    let needs = match keys.value("needs").and_then(|value| table_of("`needs`", value, out)) {
        Some(needs) => needs.entries().map(|(turnout, lie)| (turnout, read_lie(turnout, lie, out))).collect(),
        None => Vec::new(),
    };
    keys.finish(out);
    Some(WrittenWay { from: from?, to: to?, length, needs, limit, gradient, class, span })
}

fn read_end_name<'t>(
    keys: &mut Keys<'t>,
    key: &'static str,
    example: &str,
    out: &mut Findings,
) -> Option<Said<&'t str>> {
    let name = keys.needed_text(key, example, out)?;
    if name.value.contains('.') {
        out.mistake(name.span, format!("the name of an end must not hold a dot: `{}`", name.value))
            .hint("within its section an end has a short name, such as `toe`; elsewhere it is written `section.toe`");
        return None;
    }
    check_name(name, out).then_some(name)
}

fn read_lie(turnout: Said<&str>, value: Said<&DeValue<'_>>, out: &mut Findings) -> Option<Lie> {
    read_lie_word(text_of(turnout.value, value, out)?, out)
}

fn read_lie_word(word: Said<&str>, out: &mut Findings) -> Option<Lie> {
    let lie = match word.value {
        "straight" => Lie::Straight,
        "diverging" => Lie::Diverging,
        other => {
            let hint = match nearest(other, ["straight", "diverging"].into_iter()) {
                Some(near) => format!("the nearest word is `{near}`"),
                None => "write `straight` or `diverging`".to_owned(),
            };
            out.mistake(word.span, format!("a turnout does not lie `{other}`")).hint(hint);
            return None;
        }
    };
    Some(lie)
}

/// Two ends; of a joint that is wrong, whatever texts stand in it.
fn read_joint<'t>(mut keys: Keys<'t>, out: &mut Findings) -> Option<WrittenJoint<'t>> {
    let legible = keys.entries().flat_map(|(_, value)| texts_in(value)).collect();
    let Some(list) = keys.list("ends", out) else {
        if !keys.has("ends") {
            keys.missing("ends", "[\"quay-1.b\", \"west-throat.one\"]", out);
        }
        keys.finish(out);
        return Some(WrittenJoint::Faulty(legible));
    };
    let file = keys.header().file;
    let ends: Vec<_> = list
        .value
        .iter()
        .map(|item| text_of("an end", Said { value: item.get_ref(), span: Span::new(file, item.span()) }, out))
        .collect();
    keys.finish(out);
    Some(match ends[..] {
        [Some(a), Some(b)] => WrittenJoint::Whole([a, b]),
        [_, _] => WrittenJoint::Faulty(legible),
        _ => {
            out.mistake(list.span, format!("a joint has two ends, not {}", ends.len()))
                .hint("an end that meets several others has a joint with each of them");
            WrittenJoint::Faulty(legible)
        }
    })
}

/// A text, or the texts in a list.
fn texts_in<'t>(value: Said<&'t DeValue<'t>>) -> Vec<Said<&'t str>> {
    let text = |value: &'t DeValue<'t>, span| match value {
        DeValue::String(text) => Some(Said { value: text.as_ref(), span }),
        _ => None,
    };
    match value.value {
        DeValue::Array(list) => {
            let place = |range| Span::new(value.span.file, range);
            list.iter().filter_map(|item| text(item.get_ref(), place(item.span()))).collect()
        }
        other => text(other, value.span).into_iter().collect(),
    }
}

/// `speed-class = "medium"`.
fn read_class(keys: &mut Keys<'_>, out: &mut Findings) -> Option<SpeedClass> {
    let said = keys.text("speed-class", out)?;
    word_of(said, "a class of speed", &SpeedClass::ALL, out)
}

/// `at = "section.end"`, or a list of such.
fn read_ends<'t>(mut keys: Keys<'t>, out: &mut Findings) -> Option<Vec<Said<&'t str>>> {
    let ends = match keys.value("at") {
        Some(value) => texts_of("at", value, out),
        None => {
            keys.missing("at", "\"quay-1.a\"", out);
            Vec::new()
        }
    };
    keys.finish(out);
    Some(ends)
}

fn read_stop<'t>(mut keys: Keys<'t>, out: &mut Findings) -> Option<WrittenStop<'t>> {
    let name = keys.text("name", out).filter(|name| check_name(*name, out));
    let at = keys.needed_text("at", "\"quay-1.b\"", out);
    let short_of_end = keys.distance("short-of-end", out);
    let platform = keys.value("platform").map(|said| Said { value: read_platform(said, out), span: said.span });
    keys.finish(out);
    Some(WrittenStop { name, at: at?, short_of_end, platform })
}

/// From where to where a platform reaches, measured back from the end; nothing where that was wrong, and has been reported.
fn read_platform(said: Said<&DeValue<'_>>, out: &mut Findings) -> Option<(Length, Length)> {
    let DeValue::Array(list) = said.value else {
        wrong_type("platform", "`[from, to]`", said, out)
            .hint("give where it begins and ends in millimetres, measured back from the end named by `at`");
        return None;
    };
    let [from, to] = &list[..] else {
        out.mistake(said.span, "a platform has a beginning and an end").hint("write `platform = [100, 900]`");
        return None;
    };
    let bound = |item: &Spanned<DeValue<'_>>, out: &mut Findings| {
        let span = Span::new(said.span.file, item.span());
        let said = number_of("platform", Unit::MillimetresFromEnd, Said { value: item.get_ref(), span }, out)?;
        Some(Length::from_mm_f64(said.value))
    };
    let (from, to) = (bound(from, out)?, bound(to, out)?);
    if from >= to {
        out.mistake(said.span, "the platform ends before it begins")
            .hint("both are measured back from the end named by `at`, the nearer first");
        return None;
    }
    Some((from, to))
}

fn read_detector<'t>(mut keys: Keys<'t>, out: &mut Findings) -> Option<WrittenDetector<'t>> {
    let header = keys.header();
    let name = keys.text("name", out).filter(|name| check_name(*name, out));
    let kinds = ["area", "reader", "spot"].map(|key| keys.text(key, out));
    let to = keys.text("to", out);
    let distance = keys.distance("distance", out);
    let on_delay = keys.duration("on-delay", out).map(|said| said.value);
    let off_delay = keys.duration("off-delay", out).map(|said| said.value);
    let link = keys.text("link", out);
    let sensing = read_sensing(&mut keys, out);
    keys.finish(out);
    let place = match kinds {
        [Some(section), None, None] => WrittenDetectorPlace::Area(section),
        [None, Some(section), None] => WrittenDetectorPlace::Reader(section),
        [None, None, Some(at)] => WrittenDetectorPlace::Spot { at, to, distance },
        [None, None, None] => {
            if !out.is_broken(header.file) {
                out.mistake(header, "a detector needs a place")
                    .hint("add `area = \"section\"`, `reader = \"section\"` or `spot = \"section.end\"`");
            }
            return None;
        }
        _ => {
            out.mistake(header, "a detector has one place")
                .hint(format!("keep one of {}", list_of(&["area", "reader", "spot"])));
            return None;
        }
    };
    if !matches!(place, WrittenDetectorPlace::Spot { .. }) {
        for span in [to.map(|to| to.span), distance.map(|distance| distance.span)].into_iter().flatten() {
            out.mistake(span, "only a spot has `to` and `distance`")
                .hint("a detector of a whole section needs neither");
        }
    }
    Some(WrittenDetector { name, place, on_delay, off_delay, link, sensing, header })
}
