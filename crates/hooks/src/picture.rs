//! What scripts can read: a copy of what the signaller said so far.

use std::collections::BTreeMap;
use std::sync::Arc;

use signaller::{Board, Destination, Fact, Input, Output, Tag, Time};
use track::{InputId, Layout, Lie, SectionId, Table, TrainId, TurnoutId};

/// The whole picture: the board, and what only scripts know.
///
/// A section of which nothing was said yet has no tag, and counts as not free.
#[derive(Clone, Debug)]
pub(crate) struct Picture {
    pub(crate) board: Board,
    /// Where scripts sent trains, or the signaller said they are going.
    bound: BTreeMap<TrainId, Destination>,
    /// Turnouts that nobody reports, on their way: when they will have arrived, and how they lie then.
    moving: BTreeMap<TurnoutId, (Time, Lie)>,
    /// Whether each input was on when that was known last.
    was_on: Table<InputId, bool>,
}

impl Picture {
    pub(crate) fn new(layout: Arc<Layout>) -> Self {
        Self {
            was_on: Table::filled(false, layout.inputs.len()),
            board: Board::new(layout),
            bound: BTreeMap::new(),
            moving: BTreeMap::new(),
        }
    }

    /// Takes in what was heard.
    pub(crate) fn hear(&mut self, input: &Input) {
        if let Input::TurnoutReported { turnout, lie } = input {
            self.board.lies[*turnout] = *lie;
        }
    }

    /// Takes in what came of it.
    pub(crate) fn apply(&mut self, now: Time, output: &Output) {
        self.board.hear(now, std::slice::from_ref(output));
        match output {
            Output::Throw { turnout, lie } => {
                let described = &self.board.layout().turnouts[*turnout];
                if !described.reported && self.board.lies[*turnout] != Some(*lie) {
                    self.moving.insert(*turnout, (now + described.throw_time, *lie));
                    self.board.lies[*turnout] = None;
                }
            }
            Output::Fact(Fact::Departed { train, to }) => {
                self.bound.insert(*train, *to);
            }
            Output::Fact(Fact::InputIs { input, on: Some(on) }) => self.was_on[*input] = *on,
            Output::Fact(Fact::Arrived { train, .. }) => {
                self.bound.remove(train);
            }
            _ => {}
        }
    }

    /// What is known now, where much of what happened was not told.
    pub(crate) fn catch_up(&mut self, board: Board) {
        self.bound.retain(|train, _| board.errands.get(train).is_some_and(|errand| errand.to.is_some()));
        let lies = std::mem::replace(&mut self.board, board).lies;
        for (input, on) in self.board.inputs.iter() {
            self.was_on[input] = on.unwrap_or(self.was_on[input]);
        }
        // How turnouts lie is nobody's news, so the board may not know.
        for (turnout, lie) in lies.iter() {
            self.board.lies[turnout] = self.board.lies[turnout].or(*lie);
        }
    }

    /// Turnouts that nobody reports and that have arrived by now.
    pub(crate) fn arrive(&mut self, now: Time) -> Vec<TurnoutId> {
        let arrived: Vec<TurnoutId> =
            self.moving.iter().filter(|(_, (due, _))| *due <= now).map(|(&turnout, _)| turnout).collect();
        for turnout in &arrived {
            let lie = self.moving.remove(turnout).map(|(_, lie)| lie);
            self.board.lies[*turnout] = lie;
        }
        arrived
    }

    /// When the next turnout will have arrived that nobody reports.
    pub(crate) fn next_arrival(&self) -> Option<Time> {
        self.moving.values().map(|(due, _)| *due).min()
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

    /// Whether an input was on when that was known last; off before anything was known of it.
    pub(crate) fn was_on(&self, input: InputId) -> bool {
        self.was_on[input]
    }

    pub(crate) fn tag(&self, section: SectionId) -> Option<&Tag> {
        self.board.tags[section].as_ref()
    }

    pub(crate) fn bound(&self, train: TrainId) -> Option<Destination> {
        self.bound.get(&train).copied()
    }

    pub(crate) fn held(&self, train: TrainId) -> Option<&str> {
        self.board.errands.get(&train)?.held.as_deref()
    }

    pub(crate) fn waiting(&self, train: TrainId) -> Option<&str> {
        self.board.errands.get(&train)?.waits.as_deref()
    }

    /// Sections that are surely this train's, in the order of the layout.
    pub(crate) fn sections_of(&self, train: TrainId) -> impl Iterator<Item = SectionId> + '_ {
        self.board.tags.iter().filter(move |(_, tag)| **tag == Some(Tag::Sure(train))).map(|(section, _)| section)
    }

    /// Whether nothing stands in a section, nobody was granted it and nobody is on the way to it.
    pub(crate) fn is_free(&self, section: SectionId, section_of: impl Fn(Destination) -> SectionId) -> bool {
        self.tag(section) == Some(&Tag::Free)
            && self.board.granted[section].is_none()
            && !self.bound.values().any(|&place| section_of(place) == section)
    }

    /// Where a train stands: the place at which it last arrived, else the section that it is surely in; nothing while it is on
    /// the way, and where it is not known.
    pub(crate) fn at(&self, train: TrainId) -> Option<Destination> {
        if self.bound.contains_key(&train) {
            return None;
        }
        let arrived = self.board.errands.get(&train).and_then(|errand| errand.at);
        arrived.or_else(|| self.sections_of(train).next().map(Destination::Section))
    }

    /// Whether a train surely stands in a place: in its section, and not on the way to anywhere. Of a stopping point, only a
    /// train that arrived there, or of which no arrival is known, is said to stand at it.
    pub(crate) fn is_at(&self, train: TrainId, place: Destination, section: SectionId) -> bool {
        let elsewhere = match (place, self.board.errands.get(&train).and_then(|errand| errand.at)) {
            (Destination::Stop(stop), Some(Destination::Stop(other))) => stop != other,
            _ => false,
        };
        self.tag(section) == Some(&Tag::Sure(train)) && !self.bound.contains_key(&train) && !elsewhere
    }
}

#[cfg(test)]
mod tests {
    use track::{Builder, Id, Scale};

    use super::*;

    #[test]
    fn a_track_is_not_free_while_somebody_is_on_the_way_to_it() {
        let mut builder = Builder::new("Low Staithe", Scale::UNKNOWN);
        let section = builder.plain_section("quay-1", None);
        builder.train(track::Train::stranger("Heron"));
        let train = TrainId::from_index(0);
        let place = Destination::Section(section);
        let section_of = |_| section;
        let mut picture = Picture::new(Arc::new(builder.build()));
        let tell = |picture: &mut Picture, fact| picture.apply(Time::ZERO, &Output::Fact(fact));
        assert!(!picture.is_free(section, section_of), "nothing is known of it yet");
        tell(&mut picture, Fact::Tagged { section, tag: Tag::Free });
        assert!(picture.is_free(section, section_of));
        picture.bind(train, place);
        assert!(!picture.is_free(section, section_of));
        picture.unbind(train, place);
        tell(&mut picture, Fact::RouteSet { train, sections: vec![section] });
        assert!(!picture.is_free(section, section_of));
        tell(&mut picture, Fact::SectionReleased { train, section });
        assert!(picture.is_free(section, section_of));
    }
}
