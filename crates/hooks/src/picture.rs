//! What scripts can read: a copy of what the signaller said so far.

use std::collections::BTreeMap;

use signaller::{Destination, Fact, Tag};
use track::{SectionId, TrainId};

/// The whole picture, put together from facts.
///
/// A section of which nothing was said yet has no tag, and counts as not free.
#[derive(Clone, Debug, Default)]
pub(crate) struct Picture {
    tags: BTreeMap<SectionId, Tag>,
    /// To which train a section is granted.
    granted: BTreeMap<SectionId, TrainId>,
    bound: BTreeMap<TrainId, Destination>,
    /// Where a train last arrived, until it departs.
    arrived: BTreeMap<TrainId, Destination>,
    held: BTreeMap<TrainId, String>,
    waiting: BTreeMap<TrainId, String>,
}

impl Picture {
    /// Takes in what became so.
    pub(crate) fn apply(&mut self, fact: &Fact) {
        match fact {
            Fact::Tagged { section, tag } => {
                self.tags.insert(*section, tag.clone());
            }
            Fact::RouteSet { train, sections } => {
                self.granted.extend(sections.iter().map(|&section| (section, *train)));
                self.waiting.remove(train);
            }
            Fact::SectionReleased { train, section } if self.granted.get(section) == Some(train) => {
                self.granted.remove(section);
            }
            Fact::Departed { train, to } => {
                self.bound.insert(*train, *to);
                self.arrived.remove(train);
                self.waiting.remove(train);
            }
            Fact::Arrived { train, at } => {
                self.bound.remove(train);
                self.waiting.remove(train);
                self.arrived.insert(*train, *at);
            }
            Fact::Waiting { train, reason } => {
                self.waiting.insert(*train, reason.clone());
            }
            Fact::HoldSet { train, reason } => {
                self.held.insert(*train, reason.clone());
            }
            Fact::HoldLifted { train } => {
                self.held.remove(train);
            }
            _ => {}
        }
    }

    /// A script sent a train somewhere: nobody else should choose that place now.
    pub(crate) fn bind(&mut self, train: TrainId, to: Destination) {
        self.bound.insert(train, to);
    }

    /// A train is bound for `to` no more; something else it may be bound for stays.
    pub(crate) fn unbind(&mut self, train: TrainId, to: Destination) {
        if self.bound.get(&train) == Some(&to) {
            self.bound.remove(&train);
        }
    }

    /// A train is not bound for anywhere any more.
    pub(crate) fn give_up(&mut self, train: TrainId) {
        self.bound.remove(&train);
    }

    pub(crate) fn tag(&self, section: SectionId) -> Option<&Tag> {
        self.tags.get(&section)
    }

    pub(crate) fn bound(&self, train: TrainId) -> Option<Destination> {
        self.bound.get(&train).copied()
    }

    pub(crate) fn held(&self, train: TrainId) -> Option<&str> {
        self.held.get(&train).map(String::as_str)
    }

    pub(crate) fn waiting(&self, train: TrainId) -> Option<&str> {
        self.waiting.get(&train).map(String::as_str)
    }

    /// Sections that are surely this train's, in the order of the layout.
    pub(crate) fn sections_of(&self, train: TrainId) -> impl Iterator<Item = SectionId> + '_ {
        self.tags.iter().filter(move |(_, tag)| **tag == Tag::Sure(train)).map(|(&section, _)| section)
    }

    /// Whether nothing stands in a section, nobody was granted it and nobody is on the way to it.
    pub(crate) fn is_free(&self, section: SectionId, section_of: impl Fn(Destination) -> SectionId) -> bool {
        self.tags.get(&section) == Some(&Tag::Free)
            && !self.granted.contains_key(&section)
            && !self.bound.values().any(|&place| section_of(place) == section)
    }

    /// Whether a train surely stands in a place: in its section, and not on the way to anywhere. Of a stopping point, only a
    /// train that arrived there, or of which no arrival is known, is said to stand at it.
    pub(crate) fn is_at(&self, train: TrainId, place: Destination, section: SectionId) -> bool {
        let elsewhere = match (place, self.arrived.get(&train)) {
            (Destination::Stop(stop), Some(&Destination::Stop(other))) => stop != other,
            _ => false,
        };
        self.tags.get(&section) == Some(&Tag::Sure(train)) && !self.bound.contains_key(&train) && !elsewhere
    }
}

#[cfg(test)]
mod tests {
    use track::Id;

    use super::*;

    #[test]
    fn a_track_is_not_free_while_somebody_is_on_the_way_to_it() {
        let (section, train) = (SectionId::from_index(3), TrainId::from_index(1));
        let place = Destination::Section(section);
        let section_of = |_| section;
        let mut picture = Picture::default();
        assert!(!picture.is_free(section, section_of), "nothing is known of it yet");
        picture.apply(&Fact::Tagged { section, tag: Tag::Free });
        assert!(picture.is_free(section, section_of));
        picture.bind(train, place);
        assert!(!picture.is_free(section, section_of));
        picture.unbind(train, place);
        picture.apply(&Fact::RouteSet { train, sections: vec![section] });
        assert!(!picture.is_free(section, section_of));
        picture.apply(&Fact::SectionReleased { train, section });
        assert!(picture.is_free(section, section_of));
    }
}
