//! Addresses on a broker: topics, and what payloads mean.

mod trains;

use toml::de::DeValue;
use track::wiring::{Mark, Mqtt, MqttAt, MqttHears, MqttTells, Reads, Says, Thing};
use track::{AspectBook, nearest};

use super::{Asked, Kind, who};
use crate::diagnostic::Findings;
use crate::keys::{Keys, list_of, table_of, text_of, texts_of, wrong_type};
use crate::numbers::Unit;
use crate::source::{Said, Span};

/// A name as part of a topic: white space and what has a meaning in topics become hyphens.
pub(super) fn topic_safe(name: &str) -> String {
    name.chars().map(|letter| if letter.is_whitespace() || "/+#".contains(letter) { '-' } else { letter }).collect()
}

/// Whether something is a topic (MQTT 3.1.1, section 4.7); reports where it is not.
pub(super) fn check_topic(said: Said<&str>, out: &mut Findings) -> bool {
    let problem = if said.value.is_empty() {
        "a topic must not be empty"
    } else if said.value.contains(['+', '#']) {
        "a topic of one thing holds no `+` and no `#`"
    } else if said.value.contains('\0') || said.value.len() > 65_535 {
        "this is no topic"
    } else {
        return true;
    };
    out.mistake(said.span, problem);
    false
}

/// `quality`, 0 to 2.
pub(super) fn quality(keys: &mut Keys<'_>, usual: u8, out: &mut Findings) -> u8 {
    let Some(said) = keys.number("quality", Unit::Count, out) else { return usual };
    if said.value > 2.0 {
        out.mistake(said.span, "`quality` is 0, 1 or 2")
            .hint("0: at most once, 1: at least once, 2: exactly once (MQTT 3.1.1, section 4.3)");
        return usual;
    }
    said.value as u8
}

/// A word or a number that stands in a payload, as text.
pub(super) fn payload_of(key: &str, value: Said<&DeValue<'_>>, out: &mut Findings) -> Option<String> {
    match value.value {
        DeValue::String(text) => Some(text.to_string()),
        DeValue::Integer(number) => Some(number.to_string()),
        DeValue::Float(number) => Some(number.to_string()),
        DeValue::Boolean(flag) => Some(flag.to_string()),
        _ => {
            wrong_type(key, "a word or a number", value, out);
            None
        }
    }
}

/// Reads the topics of one thing.
pub(super) fn address(mqtt: &Mqtt, asked: &Asked<'_, '_>, out: &mut Findings) -> Option<MqttAt> {
    let usual = format!("{}/{}/{}", asked.base, asked.kind.word(), topic_safe(asked.name));
    let mut reader = Reader { asked, mqtt, keys: None, topic: usual };
    match asked.value {
        None => {}
        Some(Said { value: DeValue::String(topic), span }) => {
            reader.take_topic(Said { value: topic.as_ref(), span }, out)?;
        }
        Some(value) => {
            let mut keys = table_of(what(asked.kind), value, out)?;
            if let Some(topic) = keys.text("topic", out) {
                reader.take_topic(topic, out)?;
            }
            reader.keys = Some(keys);
        }
    }
    let at = match asked.kind {
        Kind::Section => reader.section(out),
        Kind::Spot => reader.hears_marks(&[Mark::Passed], out),
        Kind::Input => reader.hears_marks(&[Mark::On, Mark::Off], out),
        Kind::District => reader.district(out),
        Kind::Accessory => reader.accessory(out),
        Kind::Reader => reader.hears(Reads::Train, out),
        Kind::Turnout => reader.turnout(out),
        Kind::Signal => reader.signal(out),
        Kind::Train => reader.train(out),
    };
    if let Some(mut keys) = reader.keys.take() {
        if at.is_none() {
            keys.pass_over();
        }
        keys.finish(out);
    }
    at
}

fn what(kind: Kind) -> &'static str {
    match kind {
        Kind::Section => "the address of a section",
        Kind::Spot => "the address of a spot",
        Kind::Reader => "the address of a reader",
        Kind::Turnout => "the address of a turnout",
        Kind::Signal => "the address of a signal",
        Kind::Train => "the address of a train",
        Kind::District => "the address of a district",
        Kind::Accessory => "the address of an accessory",
        Kind::Input => "the address of an input",
    }
}

struct Reader<'a, 't> {
    asked: &'a Asked<'a, 't>,
    mqtt: &'a Mqtt,
    keys: Option<Keys<'t>>,
    topic: String,
}

impl<'t> Reader<'_, 't> {
    fn take_topic(&mut self, said: Said<&str>, out: &mut Findings) -> Option<()> {
        if !check_topic(said, out) {
            return None;
        }
        self.topic = said.value.replace("{name}", &topic_safe(self.asked.name));
        Some(())
    }

    fn text(&mut self, key: &'static str, out: &mut Findings) -> Option<Said<&'t str>> {
        self.keys.as_mut()?.text(key, out)
    }

    fn word(&mut self, key: &'static str, out: &mut Findings) -> Option<String> {
        let value = self.keys.as_mut()?.value(key)?;
        payload_of(key, value, out)
    }

    fn hears(&mut self, reads: Reads, out: &mut Findings) -> Option<MqttAt> {
        let pointer = self.text("at", out);
        if let Some(said) = pointer
            && !said.value.is_empty()
            && !said.value.starts_with('/')
        {
            out.mistake(said.span, "a pointer into JSON begins with a slash")
                .hint(format!("write `at = \"/{}\"` (RFC 6901)", said.value));
            return None;
        }
        let pointer = pointer.map(|said| said.value.to_owned());
        Some(MqttAt { hears: Some(MqttHears { topic: self.topic.clone(), pointer, reads }), tells: None })
    }

    fn marks(&mut self, marks: &[Mark], out: &mut Findings) -> Vec<(Mark, String)> {
        marks
            .iter()
            .map(|&mark| (mark, self.word(mark.word(), out).unwrap_or_else(|| mark.word().to_owned())))
            .collect()
    }

    fn hears_marks(&mut self, marks: &[Mark], out: &mut Findings) -> Option<MqttAt> {
        let marks = self.marks(marks, out);
        self.check_words(&marks, out)?;
        self.hears(Reads::Marks(marks), out)
    }

    /// Two meanings of one word.
    fn check_words(&self, marks: &[(Mark, String)], out: &mut Findings) -> Option<()> {
        for (place, (mark, word)) in marks.iter().enumerate() {
            if let Some((other, _)) = marks[..place].iter().find(|(_, other)| other == word) {
                out.mistake(self.span(), format!("`{word}` means both {} and {}", other.word(), mark.word()))
                    .hint("give each its own word");
                return None;
            }
        }
        Some(())
    }

    fn span(&self) -> Span {
        self.asked.value.map_or(self.asked.span, |value| value.span)
    }

    fn section(&mut self, out: &mut Findings) -> Option<MqttAt> {
        let above = self.keys.as_mut().and_then(|keys| keys.value("above"));
        let Some(above) = above else { return self.hears_marks(&[Mark::Occupied, Mark::Free], out) };
        let number = match above.value {
            DeValue::Integer(number) => number.to_string().parse().ok(),
            DeValue::Float(number) => number.to_string().parse::<f64>().ok().filter(|number| number.is_finite()),
            _ => None,
        };
        let Some(number) = number else {
            wrong_type("above", "a number", above, out);
            return None;
        };
        self.hears(Reads::Above(number), out)
    }

    fn tells(&mut self, topic: String, says: Says, out: &mut Findings) -> MqttTells {
        let (mut level, mut is_retained) = (self.mqtt.quality, false);
        if let Some(keys) = &mut self.keys {
            level = quality(keys, level, out);
            is_retained = keys.flag("retain", out).is_some_and(|said| said.value);
        }
        MqttTells { topic, says, quality: level, is_retained }
    }

    fn turnout(&mut self, out: &mut Findings) -> Option<MqttAt> {
        let Thing::Turnout(turnout) = self.asked.thing else { return None };
        let turnout = &self.asked.layout.turnouts[turnout];
        let (is_reported, is_worked) = (turnout.reported, turnout.worked);
        let reports = self.marks(&[Mark::Straight, Mark::Diverging, Mark::Moving], out);
        self.check_words(&reports, out)?;
        let tells = self.orders(&reports, ["set-straight", "set-diverging"], out)?;
        let hears = self.hears(Reads::Marks(reports), out)?.hears;
        Some(MqttAt { hears: hears.filter(|_| is_reported), tells: Some(tells).filter(|_| is_worked) })
    }

    /// Orders to be so, or otherwise: in the words of reports where no others are written.
    fn orders(&mut self, reports: &[(Mark, String)], keys: [&'static str; 2], out: &mut Findings) -> Option<MqttTells> {
        let set = match self.text("set-topic", out) {
            Some(said) => {
                check_topic(said, out).then_some(())?;
                said.value.replace("{name}", &topic_safe(self.asked.name))
            }
            None => format!("{}/set", self.topic),
        };
        let words = reports.iter().zip(keys);
        let orders: Vec<(Mark, String)> =
            words.map(|((mark, usual), key)| (*mark, self.word(key, out).unwrap_or_else(|| usual.clone()))).collect();
        self.check_words(&orders, out)?;
        Some(self.tells(set, Says::Marks(orders), out))
    }

    fn district(&mut self, out: &mut Findings) -> Option<MqttAt> {
        let reports = self.marks(&[Mark::Live, Mark::Dark], out);
        self.check_words(&reports, out)?;
        let is_switched = who::is_switched(self.asked, self.keys.as_ref(), out);
        let tells = self.orders(&reports, ["set-live", "set-dark"], out)?;
        let hears = self.hears(Reads::Marks(reports), out)?.hears;
        Some(MqttAt { hears, tells: Some(tells).filter(|_| is_switched) })
    }

    fn accessory(&mut self, out: &mut Findings) -> Option<MqttAt> {
        let words = self.marks(&[Mark::On, Mark::Off], out);
        self.check_words(&words, out)?;
        let topic = if self.topic_is_written() { self.topic.clone() } else { format!("{}/set", self.topic) };
        Some(MqttAt { hears: None, tells: Some(self.tells(topic, Says::Marks(words), out)) })
    }

    fn signal(&mut self, out: &mut Findings) -> Option<MqttAt> {
        let Thing::Signal(signal) = self.asked.thing else { return None };
        let book = self.asked.layout.book_of(signal);
        let unlit = self.word("unlit", out).unwrap_or_else(|| "unlit".to_owned());
        let template = self.word("says", out).unwrap_or_else(|| "{aspect}".to_owned());
        let (on, off, flash) = (self.word("on", out), self.word("off", out), self.word("flash", out));
        let aspects = self.keys.as_mut().and_then(|keys| keys.value("aspects"));
        let lamps = self.keys.as_mut().and_then(|keys| keys.value("lamps"));
        let words = aspects.map_or(Some(Vec::new()), |value| aspect_words(value, book, out))?;
        let set = format!("{}/set", self.topic);
        let says = match lamps {
            None => Says::Aspects { words, template, unlit },
            Some(value) => Says::Lamps {
                topics: lamp_topics(value, book, &self.topic, out)?,
                on: on.unwrap_or_else(|| "on".to_owned()),
                off: off.unwrap_or_else(|| "off".to_owned()),
                flash: flash.unwrap_or_else(|| "flash".to_owned()),
            },
        };
        let topic = if self.topic_is_written() { self.topic.clone() } else { set };
        Some(MqttAt { hears: None, tells: Some(self.tells(topic, says, out)) })
    }

    /// Whether the topic was written, and not made of the name.
    fn topic_is_written(&self) -> bool {
        self.keys.as_ref().map_or(self.asked.value.is_some(), |keys| keys.has("topic"))
    }
}

/// `{ red = "0", green = "1" }`: aspects with their words.
pub(super) fn aspect_words(
    value: Said<&DeValue<'_>>,
    book: &AspectBook,
    out: &mut Findings,
) -> Option<Vec<(String, String)>> {
    let lines = table_of("the words for aspects", value, out)?;
    let mut words = Vec::new();
    for (name, value) in lines.entries() {
        check_aspect(name, book, out)?;
        words.push((name.value.to_owned(), payload_of(name.value, value, out)?));
    }
    Some(words)
}

/// Whether signals of the book have such an aspect; reports where they have not.
pub(super) fn check_aspect(name: Said<&str>, book: &AspectBook, out: &mut Findings) -> Option<()> {
    if book.aspects().any(|(_, row)| row.name == name.value) {
        return Some(());
    }
    let all: Vec<&str> = book.aspects().map(|(_, row)| row.name.as_str()).collect();
    let hint = match nearest(name.value, all.iter().copied()) {
        Some(near) => format!("the nearest aspect is `{near}`"),
        None => format!("its aspects are {}", list_of(&all)),
    };
    out.mistake(name.span, format!("book `{}` has no aspect `{}`", book.title(), name.value)).hint(hint);
    None
}

/// Whether signals of the book have such a lamp; reports where they have not.
pub(super) fn check_lamp(name: Said<&str>, book: &AspectBook, out: &mut Findings) -> Option<()> {
    let mut all: Vec<&str> =
        book.aspects().flat_map(|(_, row)| row.lamps.iter().chain(&row.flashing)).map(String::as_str).collect();
    all.sort_unstable();
    all.dedup();
    if all.contains(&name.value) {
        return Some(());
    }
    let hint = match nearest(name.value, all.iter().copied()) {
        Some(near) => format!("the nearest lamp is `{near}`"),
        None => format!("its lamps are {}", list_of(&all)),
    };
    out.mistake(name.span, format!("signals of book `{}` have no lamp `{}`", book.title(), name.value)).hint(hint);
    None
}

/// `lamps = ["red", "green"]`, or each with its topic.
fn lamp_topics(
    value: Said<&DeValue<'_>>,
    book: &AspectBook,
    topic: &str,
    out: &mut Findings,
) -> Option<Vec<(String, String)>> {
    let own = |lamp: &str| format!("{topic}/{}/set", topic_safe(lamp));
    if value.value.is_array() {
        let lamps = texts_of("lamps", value, out);
        lamps.iter().try_for_each(|&lamp| check_lamp(lamp, book, out))?;
        return Some(lamps.iter().map(|lamp| (lamp.value.to_owned(), own(lamp.value))).collect());
    }
    let lines = table_of("the topics of lamps", value, out)?;
    let mut topics = Vec::new();
    for (lamp, value) in lines.entries() {
        check_lamp(lamp, book, out)?;
        let said = text_of(lamp.value, value, out)?;
        check_topic(said, out).then_some(())?;
        topics.push((lamp.value.to_owned(), said.value.to_owned()));
    }
    Some(topics)
}

/// What an address takes up, and in words: topics that are heard, with the part that is read, and topics that are told.
pub(super) fn taken(at: &MqttAt) -> Vec<(String, String)> {
    let mut taken = Vec::new();
    if let Some(MqttHears { topic, pointer, .. }) = &at.hears {
        let part = pointer.as_ref().map_or(String::new(), |pointer| format!(" at `{pointer}`"));
        taken.push((format!("hears {topic} {}", pointer.as_deref().unwrap_or_default()), format!("`{topic}`{part}")));
    }
    if let Some(tells) = &at.tells {
        let topics: Vec<&String> = match &tells.says {
            Says::Lamps { topics, .. } => topics.iter().map(|(_, topic)| topic).collect(),
            Says::Train(says) => trains::topics_of_its_own(says),
            _ => vec![&tells.topic],
        };
        // What is said to one topic is not heard as if somebody reported it.
        taken.extend(topics.into_iter().map(|topic| (format!("tells {topic}"), format!("`{topic}`"))));
    }
    taken
}
