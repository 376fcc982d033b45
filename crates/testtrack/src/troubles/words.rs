//! What is wrong, or was, in plain words.

use track::{SectionId, TrainId};

use super::Trouble;
use crate::detectors::DarkSays;
use crate::faults::Fault;
use crate::mishaps::Mishap;
use crate::table::Table;

impl Table {
    pub(super) fn train_called(&self, train: TrainId) -> &str {
        self.layout().trains.get(train).map_or("something that nobody knows of", |train| &train.name)
    }

    fn section_called(&self, section: SectionId) -> &str {
        &self.layout().sections[section].name
    }

    pub(super) fn trouble_in_words(&self, trouble: Trouble) -> String {
        let layout = self.layout();
        match trouble {
            Trouble::Dirty(section) => format!("the rails of {} are dirty", self.section_called(section)),
            Trouble::Filled(section) => format!("something lies across the rails of {}", self.section_called(section)),
            Trouble::Stuck(section) => format!("the detector of {} is stuck", self.section_called(section)),
            Trouble::Slow(section) => format!("the detector of {} is slow", self.section_called(section)),
            Trouble::Down(link) => format!("the link {} is down", layout.links[link].name),
            Trouble::Starting(node) => format!("the node that watches {} starts anew", self.node_called(node)),
            Trouble::Dark(district, DarkSays::Free) => {
                format!("the power district {} is dark, and its detectors say free", layout.districts[district].name)
            }
            Trouble::Dark(district, DarkSays::Occupied) => {
                format!(
                    "the power district {} is dark, and its detectors say occupied",
                    layout.districts[district].name
                )
            }
            Trouble::Brown(district) => {
                format!("the voltage of the power district {} sags", layout.districts[district].name)
            }
        }
    }

    fn node_called(&self, node: usize) -> String {
        match self.troubles.nodes.get(node).map(Vec::as_slice) {
            None | Some([]) => "nothing".to_owned(),
            Some([only]) => self.section_called(*only).to_owned(),
            Some([first, .., last]) => format!("{} to {}", self.section_called(*first), self.section_called(*last)),
        }
    }

    /// Something that went wrong, in a plain sentence without a full stop.
    pub fn mishap_in_words(&self, mishap: &Mishap) -> String {
        let layout = self.layout();
        let what = match mishap.fault {
            Fault::ContactLoss => "an axle lost contact",
            Fault::DirtySection => "the rails got dirty",
            Fault::FalseFill => "something came to lie across the rails",
            Fault::StuckDetector => "the detector got stuck",
            Fault::SlowDetector => "the detector got slow",
            Fault::MessageLate => "a report was late",
            Fault::MessageLost => "a report was lost",
            Fault::MessageDoubled => "a report arrived twice",
            Fault::MessageReordered => "a report was held up for later ones to overtake it",
            Fault::LinkDown => "the link went down",
            Fault::NodeRestart => "a node of detectors started anew",
            Fault::DarkSaysFree => "the power went, and detectors said free",
            Fault::DarkSaysOccupied => "the power went, and detectors said occupied",
            Fault::BrownOut => "the voltage sagged",
            Fault::TurnoutFails => "it did not move when thrown",
            Fault::TurnoutSlow => "it moved slowly",
            Fault::TurnoutReportsWrongly => "it reported the opposite of how it lay",
            Fault::TurnoutMute => "it moved and reported nothing",
            Fault::Pushed => "it was pushed by hand",
            Fault::Lifted => "it was lifted",
            Fault::PutDown => "a wagon was put down",
            Fault::Parted => "a coupling parted",
            Fault::Stall => "it stalled",
            Fault::Runaway => "it ran away",
            Fault::OrderIgnored => "it did not hear an order",
            Fault::HandDriven => "a person drove it",
        };
        let places = [
            mishap.train.map(|train| self.train_called(train).to_owned()),
            mishap.turnout.map(|turnout| layout.turnouts[turnout].name.clone()),
            mishap.section.map(|section| self.section_called(section).to_owned()),
            mishap.district.map(|district| layout.districts[district].name.clone()),
            mishap.link.map(|link| layout.links[link].name.clone()),
            mishap.node.map(|node| self.node_called(node)),
        ];
        let places: Vec<_> = places.into_iter().flatten().collect();
        if places.is_empty() { what.to_owned() } else { format!("{}: {what}", places.join(", ")) }
    }
}
