//! What happened, as scripts see it.

use mlua::{Lua, Table, Value};
use signaller::{Destination, Fact, Tag, Time};
use track::{SectionId, TrainId};

use crate::names::Names;

/// A fact, taken apart into what scripts can ask about.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Event {
    /// Its name, one of [`crate::vocabulary::EVENTS`].
    pub(crate) what: &'static str,
    at: Time,
    /// The trains it is about. Several only where it is not known which.
    trains: Vec<TrainId>,
    sections: Vec<SectionId>,
    place: Option<Destination>,
    reason: Option<String>,
    /// How sure a tag is.
    how: Option<&'static str>,
}

impl Event {
    /// The event that a fact is; an answer is none.
    pub(crate) fn new(at: Time, fact: &Fact, names: &Names) -> Option<Self> {
        let about = |what, train: &TrainId| Self {
            what,
            at,
            trains: vec![*train],
            sections: Vec::new(),
            place: None,
            reason: None,
            how: None,
        };
        let towards = |what, train, place: &Destination| Self {
            sections: vec![names.section_of(*place)],
            place: Some(*place),
            ..about(what, train)
        };
        Some(match fact {
            Fact::Tagged { section, tag } => {
                let (how, trains) = describe(tag);
                let (sections, how) = (vec![*section], Some(how));
                Self { what: "tagged", at, trains: trains.to_vec(), sections, place: None, reason: None, how }
            }
            Fact::RouteSet { train, sections } => Self { sections: sections.clone(), ..about("route_set", train) },
            Fact::SectionReleased { train, section } => {
                Self { sections: vec![*section], ..about("section_released", train) }
            }
            Fact::Departed { train, to } => towards("departed", train, to),
            Fact::Arrived { train, at } => towards("arrived", train, at),
            Fact::Waiting { train, reason } => Self { reason: Some(reason.clone()), ..about("waiting", train) },
            Fact::HoldSet { train, reason } => Self { reason: Some(reason.clone()), ..about("held", train) },
            Fact::HoldLifted { train } => about("hold_lifted", train),
            Fact::DoubtRaised { .. }
            | Fact::DoubtCleared { .. }
            | Fact::PowerLost { .. }
            | Fact::PowerBack { .. }
            | Fact::LinkLost { .. }
            | Fact::LinkBack { .. }
            | Fact::Suspected { .. }
            | Fact::RollCallBegan { .. }
            | Fact::RollCallEnded { .. }
            | Fact::Coupled { .. }
            | Fact::Uncoupled { .. }
            | Fact::RouteStage { .. }
            | Fact::RouteWaiting { .. }
            | Fact::Withdrawn { .. }
            | Fact::InService { .. }
            | Fact::Answered { .. } => return None,
        })
    }

    /// The event as a table: `what`, `time`, and as far as they apply `train`, `trains`, `section`, `sections`, `place`,
    /// `reason` and `how`.
    pub(crate) fn to_table(&self, lua: &Lua, names: &Names) -> mlua::Result<Table> {
        let table = lua.create_table()?;
        table.raw_set("what", self.what)?;
        table.raw_set("time", self.at.secs_f64())?;
        if let [train] = self.trains.as_slice() {
            table.raw_set("train", names.of_train(*train))?;
        } else {
            let trains = self.trains.iter().map(|&train| names.of_train(train));
            table.raw_set("trains", lua.create_sequence_from(trains)?)?;
        }
        if self.what == "route_set" {
            let sections = self.sections.iter().map(|&section| names.of_section(section));
            table.raw_set("sections", lua.create_sequence_from(sections)?)?;
        } else if let [section] = self.sections.as_slice() {
            table.raw_set("section", names.of_section(*section))?;
        }
        if let Some(place) = self.place {
            table.raw_set("place", names.of_place(place))?;
        }
        if let Some(reason) = &self.reason {
            table.raw_set("reason", reason.as_str())?;
        }
        if let Some(how) = self.how {
            table.raw_set("how", how)?;
        }
        Ok(table)
    }
}

/// A tag in one word, and the trains it names.
pub(crate) fn describe(tag: &Tag) -> (&'static str, &[TrainId]) {
    match tag {
        Tag::Free => ("free", &[]),
        Tag::Sure(train) => ("sure", std::slice::from_ref(train)),
        Tag::Doubt(trains) => ("doubt", trains),
        Tag::Unexplained => ("unexplained", &[]),
    }
}

/// Which events a script wants to hear of. An empty list lets everything through.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Pattern {
    pub(crate) what: &'static str,
    pub(crate) trains: Vec<TrainId>,
    pub(crate) sections: Vec<SectionId>,
    pub(crate) places: Vec<Destination>,
}

impl Pattern {
    pub(crate) fn matches(&self, event: &Event) -> bool {
        let is_place = |wanted: &Destination| match wanted {
            Destination::Stop(_) => event.place == Some(*wanted),
            Destination::Section(section) => event.place.is_some() && event.sections.contains(section),
        };
        let any = |wanted: bool, found: bool| !wanted || found;
        self.what == event.what
            && any(!self.trains.is_empty(), self.trains.iter().any(|train| event.trains.contains(train)))
            && any(!self.sections.is_empty(), self.sections.iter().any(|section| event.sections.contains(section)))
            && any(!self.places.is_empty(), self.places.iter().any(is_place))
    }
}

/// Reads `{train = ..., section = ..., place = ...}`; each one name or a list of names.
pub(crate) fn read_pattern(what: &'static str, which: Option<&Table>, names: &Names) -> Result<Pattern, String> {
    let mut pattern = Pattern { what, ..Pattern::default() };
    let Some(which) = which else { return Ok(pattern) };
    for pair in which.pairs::<Value, Value>() {
        let (key, value) = pair.map_err(|error| error.to_string())?;
        let key = key.as_string().map(mlua::LuaString::to_string_lossy).unwrap_or_default();
        let wanted = read_names(&value).ok_or_else(|| format!("filter `{key}` must be a name or a list of names"))?;
        for name in &wanted {
            match key.as_str() {
                "train" => pattern.trains.push(names.train(name)?),
                "section" => pattern.sections.push(names.section(name)?),
                "place" => pattern.places.push(names.place(name)?),
                other => {
                    let known = crate::vocabulary::WHICH.iter().map(|(known, _)| *known);
                    return Err(crate::names::unknown("filter", other, known));
                }
            }
        }
    }
    Ok(pattern)
}

/// More names than this in one list are no list of names.
const LONGEST_LIST: usize = 1000;

/// A name, or a list of names.
pub(crate) fn read_names(value: &Value) -> Option<Vec<String>> {
    match value {
        Value::String(name) => Some(vec![name.to_string_lossy()]),
        Value::Table(list) => {
            let names: mlua::Result<Vec<String>> = list.sequence_values::<String>().take(LONGEST_LIST + 1).collect();
            names.ok().filter(|names| (1..=LONGEST_LIST).contains(&names.len()))
        }
        _ => None,
    }
}
