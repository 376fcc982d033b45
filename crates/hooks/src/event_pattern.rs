//! Which events a script wants to hear of.

use mlua::{Table, Value};
use signaller::Destination;
use track::{DetectorId, DistrictId, InputId, LinkId, SectionId, SignalId, TrainId, TurnoutId};

use crate::clock::ClockTime;
use crate::event::Event;
use crate::names::{Names, fits, is_pattern, unknown};
use crate::vocabulary::WHICH;

/// Which events a script wants to hear of. An empty list lets everything through.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Pattern {
    pub(crate) what: &'static str,
    trains: Vec<TrainId>,
    sections: Vec<SectionId>,
    places: Vec<Destination>,
    signals: Vec<SignalId>,
    turnouts: Vec<TurnoutId>,
    detectors: Vec<DetectorId>,
    districts: Vec<DistrictId>,
    links: Vec<LinkId>,
    inputs: Vec<InputId>,
    texts: Vec<String>,
}

impl Pattern {
    pub(crate) fn matches(&self, event: &Event) -> bool {
        let is_place = |wanted: &Destination| match wanted {
            Destination::Stop(_) => event.place == Some(*wanted),
            Destination::Section(section) => event.place.is_some() && event.sections.contains(section),
        };
        self.what == event.what
            && any(&self.trains, |train| event.trains.contains(train))
            && any(&self.sections, |section| event.sections.contains(section))
            && any(&self.places, is_place)
            && any(&self.signals, |signal| event.signal == Some(*signal))
            && any(&self.turnouts, |turnout| event.turnout == Some(*turnout))
            && any(&self.detectors, |detector| event.detector == Some(*detector))
            // Where there are no districts everything goes dark together.
            && any(&self.districts, |district| event.district.is_none_or(|dark| dark == *district))
            && any(&self.links, |link| event.link == Some(*link))
            && any(&self.inputs, |input| event.input == Some(*input))
            && any(&self.texts, |text| event.text.as_ref().is_some_and(|found| fits(text, found)))
    }
}

/// Whether one of those wanted is found, or all are wanted.
fn any<T>(wanted: &[T], is_found: impl Fn(&T) -> bool) -> bool {
    wanted.is_empty() || wanted.iter().any(is_found)
}

/// Reads `{train = ..., section = ..., ...}`; each one name, a pattern, or a list of these.
pub(crate) fn read_pattern(what: &'static str, which: Option<&Table>, names: &Names) -> Result<Pattern, String> {
    let mut pattern = Pattern { what, ..Pattern::default() };
    let Some(which) = which else { return Ok(pattern) };
    for pair in which.pairs::<Value, Value>() {
        let (key, value) = pair.map_err(|error| error.to_string())?;
        let key = key.as_string().map(mlua::LuaString::to_string_lossy).unwrap_or_default();
        let wanted = read_names(&value).ok_or_else(|| format!("filter `{key}` must be a name or a list of names"))?;
        for name in &wanted {
            match key.as_str() {
                "train" => pattern.trains.extend(names.trains(name)?),
                "section" => pattern.sections.extend(names.sections(name)?),
                "place" => pattern.places.extend(names.places(name)?),
                "signal" => pattern.signals.extend(names.signals(name)?),
                "turnout" => pattern.turnouts.extend(names.turnouts(name)?),
                "detector" => pattern.detectors.extend(names.detectors(name)?),
                "district" => pattern.districts.extend(names.districts(name)?),
                "link" => pattern.links.extend(names.links(name)?),
                "input" => pattern.inputs.extend(names.inputs(name)?),
                "button" => pattern.texts.push(name.clone()),
                "clock" if is_pattern(name) => pattern.texts.push(name.clone()),
                "clock" => pattern.texts.push(ClockTime::read(name)?.to_string()),
                other => return Err(unknown("filter", other, WHICH.iter().map(|(known, _)| *known))),
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
