//! Any line, read with care: what is wrong is told in words, with what would be right.

use std::borrow::Cow;
use std::fmt;

use serde::de::{Deserializer, MapAccess, Visitor};
use serde_json::value::RawValue;
use signaller::{Direction, Input, Memory, Request, Ticket, Time};
use track::{EndId, Layout, SectionId, TrainId};

use super::names::{self, Directory, Names};
use super::problem::{Problem, shortened};
use super::seconds;

/// The keys that say what a line is about, each with those that may stand beside it.
const KINDS: &[(&str, &[&str])] = &[
    ("place", &["on", "nose"]),
    ("section", &["occupied"]),
    ("turnout", &["lies"]),
    ("reader", &["train"]),
    ("lift", &[]),
    ("signal", &["shows", "held", "called-on"]),
    ("spot", &[]),
    ("district", &["live"]),
    ("link", &["up"]),
    ("remember", &["on", "nose"]),
    ("identify", &["in"]),
    ("throw", &["to"]),
    ("set", &[]),
    ("cancel", &[]),
    ("out-of-service", &["because"]),
    ("in-service", &[]),
    ("found-empty", &[]),
];

/// What a line said.
pub(super) struct Heard {
    /// When.
    pub(super) at: Time,
    /// What.
    pub(super) input: Input,
    /// The train that the line named and nobody described, with the id it got.
    pub(super) stranger: Option<(TrainId, String)>,
}

/// Reads one line.
///
/// # Errors
/// The first thing that is wrong with it.
pub(super) fn read(line: &[u8], number: u64, layout: &Layout, names: &Names) -> Result<Heard, Problem> {
    let text = str::from_utf8(line).map_err(|error| {
        Problem::new(number, format!("byte {} is not UTF-8 text", error.valid_up_to() + 1))
            .hint("the input must be lines of JSON, not a binary file")
    })?;
    let object = Object::parse(text, number)?;
    let at = object.at()?;
    let kind = object.kind()?;
    let mut stranger = None;
    let input = match kind {
        "section" => Input::SectionReported {
            section: object.find(kind, "section", &names.sections)?,
            occupied: object.truth("occupied")?,
        },
        "turnout" => {
            Input::TurnoutReported { turnout: object.find(kind, "turnout", &names.turnouts)?, lie: object.lie()? }
        }
        "reader" => Input::TrainRead {
            detector: object.find(kind, "reader", &names.readers)?,
            train: train(object.name_of_train("train")?, names, &mut stranger),
        },
        "lift" => {
            let known = object.find(kind, "train", &names.trains);
            // A recording may begin after the train was put down: nothing is wrong with the rest of it.
            let train = known.map_err(|problem| problem.of_no_consequence("it was never put down here"))?;
            let request = Request::Lift { train };
            Input::Requested { ticket: Ticket(number), request }
        }
        "signal" => object.signal(names)?,
        "spot" => Input::SpotPassed { detector: object.find(kind, "spot", &names.spots)? },
        "district" => Input::PowerReported {
            district: object.find(kind, "power district", &names.districts)?,
            live: object.truth("live")?,
        },
        "link" => Input::LinkReported { link: object.find(kind, "link", &names.links)?, up: object.truth("up")? },
        "identify" => {
            let section = object.find("in", "section", &names.sections)?;
            let train = train(object.name_of_train(kind)?, names, &mut stranger);
            Input::Requested { ticket: Ticket(number), request: Request::Identify { section, train } }
        }
        "throw" | "set" | "cancel" | "out-of-service" | "in-service" | "found-empty" => {
            Input::Requested { ticket: Ticket(number), request: object.wish(kind, names)? }
        }
        _ => {
            let on = object.on(layout, names)?;
            let nose = object.nose(layout, names, &on)?;
            let train = train(object.name_of_train(kind)?, names, &mut stranger);
            if kind == "remember" {
                let memory =
                    Memory { on, hidden: Vec::new(), nose, leading: Direction::Forward, sure: true, stood: None };
                Input::TrainRemembered { train, memory }
            } else {
                Input::Requested { ticket: Ticket(number), request: Request::Place { train, on, nose } }
            }
        }
    };
    Ok(Heard { at, input, stranger })
}

fn train(name: String, names: &Names, stranger: &mut Option<(TrainId, String)>) -> TrainId {
    names.trains.find(name.as_bytes()).unwrap_or_else(|| {
        *stranger = Some((names.next_train(), name));
        names.next_train()
    })
}

/// One line: its keys in order, the values as they were written.
struct Object<'a> {
    line: u64,
    fields: Vec<(Cow<'a, str>, &'a RawValue)>,
}

impl<'a> Object<'a> {
    fn parse(text: &'a str, line: u64) -> Result<Self, Problem> {
        let mut reader = serde_json::Deserializer::from_str(text);
        let fields = reader.deserialize_map(Fields).and_then(|fields| reader.end().map(|()| fields));
        let fields = fields.map_err(|error| not_json(line, text, &error))?;
        for (index, (key, _)) in fields.iter().enumerate() {
            if fields[..index].iter().any(|(earlier, _)| earlier == key) {
                return Err(Problem::new(line, format!("the key `{}` stands there twice", shortened(key))));
            }
        }
        Ok(Self { line, fields })
    }

    fn problem(&self, reason: impl Into<String>) -> Problem {
        Problem::new(self.line, reason)
    }

    fn value(&self, key: &str) -> Option<&'a str> {
        self.fields.iter().find(|(name, _)| name == key).map(|(_, value)| value.get())
    }

    fn needed(&self, key: &str) -> Result<&'a str, Problem> {
        self.value(key).ok_or_else(|| self.problem(format!("`{key}` is missing")))
    }

    /// A value that was written, if it can be read as what it should be.
    fn read<T: serde::Deserialize<'a>>(&self, key: &str, wanted: &str) -> Result<T, Problem> {
        let value = self.needed(key)?;
        serde_json::from_str(value)
            .map_err(|_| self.problem(format!("`{key}` is `{}`, which is not {wanted}", shortened(value))))
    }

    fn text(&self, key: &str) -> Result<String, Problem> {
        self.read(key, "a text")
    }

    fn truth(&self, key: &str) -> Result<bool, Problem> {
        self.read(key, "`true` or `false`")
    }

    fn at(&self) -> Result<Time, Problem> {
        let value = self.needed("at")?;
        if !value.starts_with(|first: char| first == '-' || first.is_ascii_digit()) {
            return Err(self
                .problem(format!("`at` is `{}`, which is not a number", shortened(value)))
                .hint("write seconds since the record began, such as `12.5`"));
        }
        seconds::read(value).map_err(|reason| self.problem(format!("`at` is `{}`, which {reason}", shortened(value))))
    }

    /// What the line is about. Every key must belong to that.
    fn kind(&self) -> Result<&'static str, Problem> {
        let all = || KINDS.iter().flat_map(|(kind, beside)| std::iter::once(kind).chain(beside.iter())).copied();
        for (key, _) in &self.fields {
            if key != "at" && !all().any(|known| known == key) {
                return Err(Problem::unknown(self.line, "key", key, all().chain(["at"])));
            }
        }
        let mut about = KINDS.iter().filter(|(kind, _)| self.value(kind).is_some());
        let Some((kind, beside)) = about.next() else {
            let kinds: Vec<String> = KINDS.iter().map(|(kind, _)| format!("`{kind}`")).collect();
            return Err(self
                .problem("the line does not say what it is about")
                .hint(format!("give it one of {}", kinds.join(", "))));
        };
        if let Some((other, _)) = about.next() {
            return Err(self.problem(format!("the line is about `{kind}` and `{other}`")).hint("write two lines"));
        }
        for (key, _) in &self.fields {
            if key != "at" && key != kind && !beside.contains(&key.as_ref()) {
                return Err(self.problem(format!("`{key}` does not belong beside `{kind}`")));
            }
        }
        Ok(kind)
    }

    /// What the value of `key` names.
    fn find<I: Copy + Ord>(&self, key: &str, what: &str, directory: &Directory<I>) -> Result<I, Problem> {
        let name = self.text(key)?;
        directory.find(name.as_bytes()).ok_or_else(|| Problem::unknown(self.line, what, &name, directory.names()))
    }

    fn name_of_train(&self, key: &str) -> Result<String, Problem> {
        let name = self.text(key)?;
        if name.trim().is_empty() {
            return Err(self.problem(format!("`{key}` names no train")));
        }
        Ok(name)
    }

    fn lie(&self) -> Result<Option<track::Lie>, Problem> {
        let word = self.text("lies")?;
        names::lie(word.as_bytes()).ok_or_else(|| {
            self.problem(format!("`lies` is `{}`", shortened(&word))).hint("write `straight`, `diverging` or `unknown`")
        })
    }

    /// What a person wishes of turnouts, routes and sections.
    fn wish(&self, kind: &str, names: &Names) -> Result<Request, Problem> {
        Ok(match kind {
            "throw" => {
                let turnout = self.find(kind, "turnout", &names.turnouts)?;
                let word = self.text("to")?;
                let lie = names::lie(word.as_bytes()).flatten().ok_or_else(|| {
                    self.problem(format!("`to` is `{}`", shortened(&word))).hint("write `straight` or `diverging`")
                })?;
                Request::Throw { turnout, lie }
            }
            "set" => {
                let name = self.text(kind)?;
                let id = names.routes.named(&name).ok_or_else(|| {
                    let known = names.routes_like(&name);
                    Problem::unknown(self.line, "route", &name, known.iter().map(String::as_str))
                })?;
                let route = names.routes.route(id);
                Request::SetRoute { entry: route.entry, exit: route.exit, via: route.sections().collect() }
            }
            "cancel" => Request::CancelRoute { entry: self.find(kind, "signal", &names.signals)? },
            "out-of-service" => {
                let section = self.find(kind, "section", &names.sections)?;
                let reason = if self.value("because").is_some() { self.text("because")? } else { String::new() };
                Request::TakeOutOfService { section, reason }
            }
            "found-empty" => Request::FoundEmpty { section: self.find(kind, "section", &names.sections)? },
            _ => Request::PutInService { section: self.find(kind, "section", &names.sections)? },
        })
    }

    fn signal(&self, names: &Names) -> Result<Input, Problem> {
        let signal = self.find("signal", "signal", &names.signals)?;
        let request = match (self.value("shows"), self.value("held"), self.value("called-on")) {
            (Some(_), None, None) => {
                let shows = self.find("shows", "aspect", names.aspects(signal))?;
                return Ok(Input::SignalReported { signal, shows });
            }
            (None, Some(_), None) => Request::KeepAtDanger { signal, held: self.truth("held")? },
            (None, None, Some(_)) => Request::CallOn { signal, wanted: self.truth("called-on")? },
            _ => return Err(self.problem("a line about a `signal` needs one of `shows`, `held` and `called-on`")),
        };
        Ok(Input::Requested { ticket: Ticket(self.line), request })
    }

    fn on(&self, layout: &Layout, names: &Names) -> Result<Vec<SectionId>, Problem> {
        let written: Vec<String> = self.read("on", "a list of names of sections")?;
        if written.is_empty() {
            return Err(self.problem("`on` is empty: the train must stand on some section"));
        }
        let mut on: Vec<SectionId> = Vec::with_capacity(written.len());
        // The ends by which the train can have come into the section before.
        let mut entered: Vec<EndId> = Vec::new();
        for name in &written {
            let Some(section) = names.sections.find(name.as_bytes()) else {
                return Err(Problem::unknown(self.line, "section", name, names.sections.names()));
            };
            if on.contains(&section) {
                return Err(self.problem(format!("`on` names `{}` twice", shortened(name))));
            }
            entered = match on.last() {
                None => layout.sections[section].ends.clone(),
                Some(&before) => self.onward(layout, before, section, &entered)?,
            };
            on.push(section);
        }
        Ok(on)
    }

    /// The ends by which a train comes into the next section that came into the one before by one of those.
    fn onward(
        &self,
        layout: &Layout,
        from: SectionId,
        to: SectionId,
        entered: &[EndId],
    ) -> Result<Vec<EndId>, Problem> {
        let into =
            |leave: EndId| layout.ends[leave].meets.iter().copied().filter(|&met| layout.ends[met].section == to);
        let leaves = entered.iter().flat_map(|&end| layout.ways_from(end)).map(|(_, leave)| leave);
        let found: Vec<EndId> = leaves.flat_map(into).collect();
        if !found.is_empty() {
            return Ok(found);
        }
        let (from, to) = (&layout.sections[from], &layout.sections[to].name);
        let why = if from.ends.iter().any(|&leave| into(leave).next().is_some()) {
            format!("no way through `{}` leads there", from.name)
        } else {
            "they do not meet".to_owned()
        };
        Err(self
            .problem(format!("no train stands on `{}` and `{to}` like this: {why}", from.name))
            .hint("list the sections in order, from the tail of the train to its nose"))
    }

    fn nose(&self, layout: &Layout, names: &Names, on: &[SectionId]) -> Result<Option<EndId>, Problem> {
        if self.value("nose").is_none() {
            return Ok(None);
        }
        let name = self.text("nose")?;
        let Some(end) = names.end(layout, &name) else {
            let ends: Vec<String> = layout.ends.ids().map(|end| layout.end_name(end)).collect();
            return Err(Problem::unknown(self.line, "end", &name, ends.iter().map(String::as_str)));
        };
        if on.last() != Some(&layout.ends[end].section) {
            return Err(self
                .problem(format!("the nose points at `{name}`, which is no end of the last section in `on`"))
                .hint("list the sections in order, from the tail of the train to its nose"));
        }
        Ok(Some(end))
    }
}

fn not_json(line: u64, text: &str, error: &serde_json::Error) -> Problem {
    let words = error.to_string();
    let reason = words.split(" at line ").next().unwrap_or(&words);
    let reason = reason.replace("EOF while parsing", "the line ends within");
    // What is wrong with the line as a whole has no column.
    let place = if error.column() == 0 { String::new() } else { format!("column {} of ", error.column()) };
    let problem = Problem::new(line, format!("{place}`{}`: {reason}", shortened(text)));
    problem.hint("a line is one JSON object, such as `{\"at\": 12.5, \"section\": \"quay-1\", \"occupied\": true}`")
}

/// Collects the keys and values of one object.
struct Fields;

impl<'de> Visitor<'de> for Fields {
    type Value = Vec<(Cow<'de, str>, &'de RawValue)>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("an object")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
        let mut fields = Vec::new();
        while let Some(field) = map.next_entry::<String, &RawValue>()? {
            fields.push((Cow::Owned(field.0), field.1));
        }
        Ok(fields)
    }
}
