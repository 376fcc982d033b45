//! What things are called: by the layout, and trains that it does not describe by what they were named.

use std::collections::BTreeMap;
use std::sync::Arc;

use signaller::{Destination, Input, Suspect};
use track::{Layout, LinkId, SectionId, SignalId, TrainId, TurnoutId};

/// What things are called in one shift.
#[derive(Clone, Debug)]
pub struct Names {
    layout: Arc<Layout>,
    later: BTreeMap<TrainId, String>,
}

impl Names {
    /// The names of a layout.
    pub fn new(layout: Arc<Layout>) -> Self {
        Self { layout, later: BTreeMap::new() }
    }

    /// The layout.
    pub fn layout(&self) -> &Arc<Layout> {
        &self.layout
    }

    /// Takes note of trains that are named only now.
    pub fn hear(&mut self, input: &Input) {
        if let Input::TrainNamed { train, name } = input
            && self.layout.trains.get(*train).is_none()
        {
            self.later.insert(*train, name.clone());
        }
    }

    /// A train.
    pub fn train(&self, train: TrainId) -> String {
        let known = self.layout.trains.get(train).map(|train| &train.name).or_else(|| self.later.get(&train));
        known.cloned().unwrap_or_else(|| format!("{train:?}"))
    }

    /// A section.
    pub fn section(&self, section: SectionId) -> String {
        self.layout.sections.get(section).map_or_else(|| format!("{section:?}"), |section| section.name.clone())
    }

    /// A turnout.
    pub fn turnout(&self, turnout: TurnoutId) -> String {
        self.layout.turnouts.get(turnout).map_or_else(|| format!("{turnout:?}"), |turnout| turnout.name.clone())
    }

    /// A signal.
    pub fn signal(&self, signal: SignalId) -> String {
        self.layout.signals.get(signal).map_or_else(|| format!("{signal:?}"), |signal| signal.name.clone())
    }

    /// A link.
    pub fn link(&self, link: LinkId) -> String {
        self.layout.links.get(link).map_or_else(|| format!("{link:?}"), |link| link.name.clone())
    }

    /// Where a train is to go.
    pub fn place(&self, place: Destination) -> String {
        match place {
            Destination::Stop(stop) => {
                self.layout.stops.get(stop).map_or_else(|| format!("{stop:?}"), |stop| stop.name.clone())
            }
            Destination::Section(section) => self.section(section),
        }
    }

    /// What may be at fault: its kind, and what it is called.
    pub fn suspect(&self, suspect: Suspect) -> (&'static str, String) {
        match suspect {
            Suspect::Section(section) => ("detector", self.section(section)),
            Suspect::Train(train) => ("train", self.train(train)),
            Suspect::Turnout(turnout) => ("turnout", self.turnout(turnout)),
        }
    }

    /// Several trains, with commas between them.
    pub fn trains(&self, trains: &[TrainId]) -> String {
        trains.iter().map(|&train| self.train(train)).collect::<Vec<_>>().join(", ")
    }

    /// Several sections, with commas between them.
    pub fn sections(&self, sections: &[SectionId]) -> String {
        sections.iter().map(|&section| self.section(section)).collect::<Vec<_>>().join(", ")
    }
}
