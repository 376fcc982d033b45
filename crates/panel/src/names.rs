//! From the names that people use to ids, and what is said of a name that nobody bears.

use std::collections::BTreeMap;
use std::sync::Arc;

use signaller::Destination;
use track::routes::Routes;
use track::{
    AccessoryId, DistrictId, EndId, InputId, Layout, LinkId, RouteId, SectionId, SignalId, StopId, TrainId, TurnoutId,
    nearest,
};

/// Looks up names in a layout.
#[derive(Debug)]
pub struct Names {
    layout: Arc<Layout>,
    trains: BTreeMap<String, TrainId>,
    sections: BTreeMap<String, SectionId>,
    ends: BTreeMap<String, EndId>,
    stops: BTreeMap<String, StopId>,
    signals: BTreeMap<String, SignalId>,
    turnouts: BTreeMap<String, TurnoutId>,
    /// Routes, reckoned when one is named.
    routes: Routes,
}

impl Names {
    /// The names of a layout.
    pub fn new(layout: Arc<Layout>) -> Self {
        Self {
            trains: layout.trains.iter().map(|(id, train)| (train.name.clone(), id)).collect(),
            sections: layout.sections.iter().map(|(id, section)| (section.name.clone(), id)).collect(),
            ends: layout.ends.ids().map(|id| (layout.end_name(id), id)).collect(),
            stops: layout.stops.iter().map(|(id, stop)| (stop.name.clone(), id)).collect(),
            signals: layout.signals.iter().map(|(id, signal)| (signal.name.clone(), id)).collect(),
            turnouts: layout.turnouts.iter().map(|(id, turnout)| (turnout.name.clone(), id)).collect(),
            routes: Routes::new(Arc::clone(&layout)),
            layout,
        }
    }

    /// The layout.
    pub fn layout(&self) -> &Arc<Layout> {
        &self.layout
    }

    pub(crate) fn train(&self, name: &str) -> Result<TrainId, String> {
        find("train", name, &self.trains)
    }

    pub(crate) fn section(&self, name: &str) -> Result<SectionId, String> {
        find("section", name, &self.sections)
    }

    pub(crate) fn all_sections(&self, names: &[String]) -> Result<Vec<SectionId>, String> {
        names.iter().map(|name| self.section(name)).collect()
    }

    pub(crate) fn end(&self, name: &str) -> Result<EndId, String> {
        find("end", name, &self.ends)
    }

    pub(crate) fn signal(&self, name: &str) -> Result<SignalId, String> {
        find("signal", name, &self.signals)
    }

    pub(crate) fn turnout(&self, name: &str) -> Result<TurnoutId, String> {
        find("turnout", name, &self.turnouts)
    }

    pub(crate) fn district(&self, name: &str) -> Result<DistrictId, String> {
        let found = self.layout.districts.iter().find(|(_, district)| district.name == name).map(|(id, _)| id);
        found.ok_or_else(|| unknown("power district", name, self.layout.districts.values().map(|it| it.name.as_str())))
    }

    pub(crate) fn accessory(&self, name: &str) -> Result<AccessoryId, String> {
        let found = self.layout.accessory_named(name);
        found.ok_or_else(|| unknown("accessory", name, self.layout.accessories.values().map(|it| it.name.as_str())))
    }

    pub(crate) fn input(&self, name: &str) -> Result<InputId, String> {
        let found = self.layout.input_named(name);
        found.ok_or_else(|| unknown("input", name, self.layout.inputs.values().map(|it| it.name.as_str())))
    }

    pub(crate) fn link(&self, name: &str) -> Result<LinkId, String> {
        let found = self.layout.links.iter().find(|(_, link)| link.name == name).map(|(id, _)| id);
        found.ok_or_else(|| unknown("link", name, self.layout.links.values().map(|it| it.name.as_str())))
    }

    /// The stopping point of that name, else the section of that name.
    pub(crate) fn place(&self, name: &str) -> Result<Destination, String> {
        let stop = self.stops.get(name).map(|&stop| Destination::Stop(stop));
        let section = || self.sections.get(name).map(|&section| Destination::Section(section));
        let everywhere = || self.stops.keys().chain(self.sections.keys()).map(String::as_str);
        stop.or_else(section).ok_or_else(|| unknown("section or stopping point", name, everywhere()))
    }

    pub(crate) fn route(&self, name: &str) -> Result<(RouteId, &Routes), String> {
        if let Some(id) = self.routes.named(name) {
            return Ok((id, &self.routes));
        }
        let from = self.signals.iter().filter(|(signal, _)| name.starts_with(signal.as_str()));
        let known: Vec<String> = from
            .flat_map(|(_, &signal)| self.routes.from_signal(signal))
            .map(|id| self.routes.route(id).name.clone())
            .collect();
        Err(unknown("route", name, known.iter().map(String::as_str)))
    }
}

fn find<I: Copy>(what: &str, name: &str, ids: &BTreeMap<String, I>) -> Result<I, String> {
    ids.get(name).copied().ok_or_else(|| unknown(what, name, ids.keys().map(String::as_str)))
}

/// More letters of a name that nobody bears are not shown.
const LONGEST_NAME: usize = 60;

/// Says that nothing is called so, and what is nearly.
fn unknown<'a>(what: &str, name: &str, candidates: impl Iterator<Item = &'a str>) -> String {
    let shown: String = name.chars().take(LONGEST_NAME).collect();
    match nearest(name, candidates) {
        Some(near) => format!("no {what} `{shown}`; the nearest name is `{near}`"),
        None => format!("no {what} `{shown}`"),
    }
}
