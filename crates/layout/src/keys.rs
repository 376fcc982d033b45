//! Reading the keys of one table: every value with its place, every wrong type and every unread key reported.

use std::time::Duration;

use toml::de::{DeArray, DeTable, DeValue};
use track::braking::Gradient;
use track::{Acceleration, Current, Length, Resistance, Voltage};

use crate::diagnostic::Findings;
use crate::numbers::{Unit, WrittenSpeed, number_of, read_speed};
use crate::source::{FileId, Said, Span};
use track::nearest;

/// Nothing on a table is shorter than this; who writes less took another unit.
const SHORTEST_MM: f64 = 10.0;
/// Few trains climb more than this, in millimetres a metre; who writes more may have counted otherwise.
const STEEP_PERMILLE: f64 = 100.0;
/// So many names are listed before the rest is only counted.
const LISTED: usize = 12;
/// One table while it is being read. What is asked for is remembered; [`Keys::finish`] reports the rest.
#[derive(Clone)]
pub(crate) struct Keys<'t> {
    /// What the table describes, with its article: `a section`.
    what: &'static str,
    table: &'t DeTable<'t>,
    file: FileId,
    header: Span,
    asked: Vec<&'static str>,
    /// What the other keys are depends on one that is wrong.
    is_passed_over: bool,
}

impl<'t> Keys<'t> {
    pub(crate) fn new(what: &'static str, table: &'t DeTable<'t>, header: Span) -> Self {
        Self { what, table, file: header.file, header, asked: Vec::new(), is_passed_over: false }
    }

    /// Which keys there are depends on something that is wrong: those that nobody asks for are not reported.
    pub(crate) fn pass_over(&mut self) {
        self.is_passed_over = true;
    }

    /// The place of the table's header.
    pub(crate) fn header(&self) -> Span {
        self.header
    }

    /// All keys with their values, for tables whose keys are names the user chose.
    pub(crate) fn entries(&self) -> impl Iterator<Item = (Said<&'t str>, Said<&'t DeValue<'t>>)> + use<'t> {
        let file = self.file;
        self.table.iter().map(move |(key, value)| {
            (
                Said { value: key.get_ref().as_ref(), span: Span::new(file, key.span()) },
                Said { value: value.get_ref(), span: Span::new(file, value.span()) },
            )
        })
    }

    /// Whether the table has the key, of whatever type.
    pub(crate) fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    /// The value of a key, whatever its type.
    pub(crate) fn value(&mut self, key: &'static str) -> Option<Said<&'t DeValue<'t>>> {
        self.asked.push(key);
        let value = self.table.get(key)?;
        Some(Said { value: value.get_ref(), span: Span::new(self.file, value.span()) })
    }

    /// Reports that a key that must be there is not.
    pub(crate) fn missing(&self, key: &str, example: &str, out: &mut Findings) {
        if !out.is_broken(self.file) {
            // A table is begun by its head, not by a value.
            let text = if key.starts_with('[') { key.to_owned() } else { format!("{key} = {example}") };
            out.mistake(self.header, format!("{} needs `{key}`", self.what)).hint(format!("add `{text}`"));
        }
    }

    pub(crate) fn text(&mut self, key: &'static str, out: &mut Findings) -> Option<Said<&'t str>> {
        let value = self.value(key)?;
        text_of(key, value, out)
    }

    pub(crate) fn needed_text(
        &mut self,
        key: &'static str,
        example: &str,
        out: &mut Findings,
    ) -> Option<Said<&'t str>> {
        if !self.table.contains_key(key) {
            self.asked.push(key);
            self.missing(key, example, out);
            return None;
        }
        self.text(key, out)
    }

    /// A name: no white space around it, no control characters in it, not empty.
    pub(crate) fn needed_name(&mut self, example: &str, out: &mut Findings) -> Option<Said<&'t str>> {
        let name = self.needed_text("name", example, out)?;
        check_name(name, out).then_some(name)
    }

    pub(crate) fn flag(&mut self, key: &'static str, out: &mut Findings) -> Option<Said<bool>> {
        let value = self.value(key)?;
        if let DeValue::Boolean(flag) = value.value {
            return Some(Said { value: *flag, span: value.span });
        }
        let wanted = match value.value {
            DeValue::String(text) if ["true", "yes", "on"].contains(&text.as_ref()) => Some("true"),
            DeValue::String(text) if ["false", "no", "off"].contains(&text.as_ref()) => Some("false"),
            _ => None,
        };
        wrong_type(key, "`true` or `false`", value, out)
            .hint_if(wanted.map(|word| format!("write `{key} = {word}`, without quotes")));
        None
    }

    pub(crate) fn list(&mut self, key: &'static str, out: &mut Findings) -> Option<Said<&'t DeArray<'t>>> {
        let value = self.value(key)?;
        if let DeValue::Array(list) = value.value {
            return Some(Said { value: list, span: value.span });
        }
        wrong_type(key, "a list", value, out).hint(format!("put it in brackets: `{key} = [...]`"));
        None
    }

    /// The tables of `[[key]]`, in order.
    pub(crate) fn tables(&mut self, key: &'static str, what: &'static str, out: &mut Findings) -> Vec<Keys<'t>> {
        let Some(value) = self.value(key) else { return Vec::new() };
        let DeValue::Array(list) = value.value else {
            let mistake = out.mistake(value.span, format!("`{key}` is a list of tables, not {}", type_of(value.value)));
            if value.value.is_table() {
                mistake.hint(format!("write `[[{key}]]` with two brackets on each side"));
            } else {
                mistake.hint(format!("write one `[[{key}]]` for each"));
            }
            return Vec::new();
        };
        let file = self.file;
        list.iter()
            .filter_map(|item| {
                let span = Span::new(file, item.span());
                table_of(what, Said { value: item.get_ref(), span }, out)
            })
            .collect()
    }

    pub(crate) fn number(&mut self, key: &'static str, unit: Unit, out: &mut Findings) -> Option<Said<f64>> {
        let value = self.value(key)?;
        number_of(key, unit, value, out)
    }

    pub(crate) fn length(&mut self, key: &'static str, out: &mut Findings) -> Option<Said<Length>> {
        let said = self.number(key, Unit::Millimetres, out)?;
        if said.value < SHORTEST_MM {
            out.warning(said.span, format!("`{key}` is less than a centimetre"))
                .hint("lengths are millimetres on the table");
        }
        Some(Said { value: Length::from_mm_f64(said.value), span: said.span })
    }

    /// A distance from an end: a length that may be zero.
    pub(crate) fn distance(&mut self, key: &'static str, out: &mut Findings) -> Option<Said<Length>> {
        let said = self.number(key, Unit::MillimetresFromEnd, out)?;
        Some(Said { value: Length::from_mm_f64(said.value), span: said.span })
    }

    pub(crate) fn duration(&mut self, key: &'static str, out: &mut Findings) -> Option<Said<Duration>> {
        let said = self.number(key, Unit::Seconds, out)?;
        Some(Said { value: Duration::from_secs_f64(said.value), span: said.span })
    }

    pub(crate) fn current(&mut self, key: &'static str, out: &mut Findings) -> Option<Said<Current>> {
        let said = self.number(key, Unit::Milliamperes, out)?;
        Some(Said { value: Current::from_ua((said.value * 1000.0).round() as i64), span: said.span })
    }

    pub(crate) fn resistance(&mut self, key: &'static str, out: &mut Findings) -> Option<Said<Resistance>> {
        let said = self.number(key, Unit::Ohms, out)?;
        Some(Said { value: Resistance::from_ohm(said.value.round() as i64), span: said.span })
    }

    /// The voltage of track, doubted where no decoder is made for it.
    pub(crate) fn voltage(&mut self, key: &'static str, out: &mut Findings) -> Option<Said<Voltage>> {
        let said = self.number(key, Unit::Volts, out)?;
        let voltage = Voltage::from_mv((said.value * 1000.0).round() as i64);
        if !(Voltage::DECODER_LEAST..=Voltage::DECODER_MOST).contains(&voltage) {
            out.warning(said.span, format!("`{key}` is not between 7 and 27 volts, which decoders work at"))
                .hint("measure it at the track; the bounds are those of NMRA S-9.1, table 3");
        }
        Some(Said { value: voltage, span: said.span })
    }

    /// How a way rises, doubted where nothing but a rack would climb it.
    pub(crate) fn gradient(&mut self, key: &'static str, out: &mut Findings) -> Option<Said<Gradient>> {
        let said = self.number(key, Unit::Permille, out)?;
        if said.value.abs() > STEEP_PERMILLE {
            out.warning(said.span, format!("`{key}` is more than one in ten"))
                .hint("a gradient is millimetres of rise a metre, from the first end to the second");
        }
        Some(Said { value: Gradient::from_permille_f64(said.value), span: said.span })
    }

    pub(crate) fn acceleration(&mut self, key: &'static str, out: &mut Findings) -> Option<Said<Acceleration>> {
        let said = self.number(key, Unit::MillimetresPerSecondSquared, out)?;
        Some(Said { value: Acceleration::from_mm_f64(said.value), span: said.span })
    }

    /// A speed: a number of millimetres a second on the table, or a text such as `"40 km/h"` or `"25 mph"`, which is
    /// the real train's speed at the layout's scale.
    pub(crate) fn speed(&mut self, key: &'static str, out: &mut Findings) -> Option<Said<WrittenSpeed>> {
        let value = self.value(key)?;
        let DeValue::String(text) = value.value else {
            let said = number_of(key, Unit::MillimetresPerSecond, value, out)?;
            return Some(Said { value: WrittenSpeed::OnTable(said.value), span: said.span });
        };
        let speed = read_speed(text);
        if speed.is_none() {
            out.mistake(value.span, format!("`{text}` is no speed")).hint(
                "a speed is a number of mm/s on the table, or a text such as `\"40 km/h\"` or `\"25 mph\"` at the layout's scale",
            );
        }
        Some(Said { value: speed?, span: value.span })
    }

    /// Reports every key that nobody asked for, with the nearest that exists.
    pub(crate) fn finish(self, out: &mut Findings) {
        for (key, _) in self.table {
            let written = key.get_ref().as_ref();
            if self.asked.contains(&written) || self.is_passed_over {
                continue;
            }
            let span = Span::new(self.file, key.span());
            let hint = match nearest(written, self.asked.iter().copied()) {
                Some(near) => format!("the nearest key is `{near}`"),
                None => format!("its keys are {}", list_of(&self.asked)),
            };
            out.mistake(span, format!("{} has no key `{written}`", self.what)).hint(hint);
        }
    }
}

/// Reads a value as a text.
pub(crate) fn text_of<'t>(key: &str, value: Said<&'t DeValue<'t>>, out: &mut Findings) -> Option<Said<&'t str>> {
    if let DeValue::String(text) = value.value {
        return Some(Said { value: text.as_ref(), span: value.span });
    }
    let literal = match value.value {
        DeValue::Integer(number) => Some(number.to_string()),
        DeValue::Float(number) => Some(number.to_string()),
        DeValue::Boolean(flag) => Some(flag.to_string()),
        _ => None,
    };
    wrong_type(key, "a text", value, out).hint_if(literal.map(|literal| format!("put it in quotes: `\"{literal}\"`")));
    None
}

/// Reads a value as a list of texts; one text alone is a list of one.
pub(crate) fn texts_of<'t>(key: &str, value: Said<&'t DeValue<'t>>, out: &mut Findings) -> Vec<Said<&'t str>> {
    let DeValue::Array(list) = value.value else { return text_of(key, value, out).into_iter().collect() };
    let items = list.iter().map(|item| Said { value: item.get_ref(), span: Span::new(value.span.file, item.span()) });
    items.filter_map(|item| text_of(key, item, out)).collect()
}

/// Reads a text as one of a few words; `what` is what such a word is, with its article.
pub(crate) fn word_of<T: Copy>(
    said: Said<&str>,
    what: &str,
    words: &[(&'static str, T)],
    out: &mut Findings,
) -> Option<T> {
    let found = words.iter().find(|(word, _)| *word == said.value).map(|(_, it)| *it);
    if found.is_none() {
        let all: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
        let hint = match nearest(said.value, all.iter().copied()) {
            Some(near) => format!("the nearest word is `{near}`"),
            None => format!("the words are {}", list_of(&all)),
        };
        out.mistake(said.span, format!("`{}` is not {what}", said.value)).hint(hint);
    }
    found
}

/// Reads a value as a table; `what` is what such a table describes.
pub(crate) fn table_of<'t>(what: &'static str, value: Said<&'t DeValue<'t>>, out: &mut Findings) -> Option<Keys<'t>> {
    if let DeValue::Table(table) = value.value {
        return Some(Keys::new(what, table, value.span));
    }
    out.mistake(value.span, format!("{what} is a table, not {}", type_of(value.value)))
        .hint("write it as `{ key = value, ... }`");
    None
}

/// Whether a name can be used; reports where it cannot.
pub(crate) fn check_name(name: Said<&str>, out: &mut Findings) -> bool {
    let problem = if name.value.is_empty() {
        "a name must not be empty"
    } else if name.value.trim() != name.value {
        "a name must not begin or end with white space"
    } else if name.value.chars().any(char::is_control) {
        "a name must not hold control characters"
    } else {
        return true;
    };
    out.mistake(name.span, problem);
    false
}

/// Reports a value of the wrong type.
pub(crate) fn wrong_type<'o>(
    key: &str,
    wanted: &str,
    value: Said<&DeValue<'_>>,
    out: &'o mut Findings,
) -> &'o mut crate::diagnostic::Diagnostic {
    out.mistake_unless_broken(value.span, format!("`{key}` is {wanted}, not {}", type_of(value.value)))
}

pub(crate) fn type_of(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a number with a fraction",
        DeValue::Boolean(_) => "`true` or `false`",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// `` `a`, `b` and `c` ``; of many, the first few and how many more.
pub(crate) fn list_of(words: &[&str]) -> String {
    let mut quoted: Vec<String> = words.iter().take(LISTED).map(|word| format!("`{word}`")).collect();
    if words.len() > LISTED {
        quoted.push(format!("{} more", words.len() - LISTED));
    }
    match quoted.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, before)) => format!("{} and {last}", before.join(", ")),
        None => "none".to_owned(),
    }
}
