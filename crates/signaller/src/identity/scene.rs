//! Trains on a row of sections, for tests of what is made of what is heard of them.

use std::sync::Arc;

use track::{Id, Layout, SectionId, Speed, Train, TrainId};

use super::{Batch, Identity, Pace, Placement};
use crate::door::Tag;
use crate::model;
use crate::time::Time;

pub(super) struct Scene {
    pub(super) layout: Arc<Layout>,
    pub(super) sections: Vec<SectionId>,
    pub(super) identity: Identity,
    now: i64,
}

impl Scene {
    /// Sections in a row that nobody measured, and trains that stand nowhere yet.
    pub(super) fn new(sections: &[&str], trains: &[&str]) -> Self {
        let mut builder = model::builder();
        let sections = model::line(&mut builder, sections, None);
        for name in trains {
            builder.train(Train::stranger(*name));
        }
        let layout = Arc::new(builder.build());
        let identity = Identity::new(Arc::clone(&layout));
        Self { layout, sections, identity, now: 0 }
    }

    /// Somebody says that the train stands there, tail first, and points on along the row.
    pub(super) fn place(&mut self, number: u32, on: &[usize]) {
        let on: Vec<SectionId> = on.iter().map(|&at| self.sections[at]).collect();
        let nose = self.layout.sections[*on.last().unwrap()].ends[1];
        let placed = vec![Placement::new(&self.layout, train(number), &on, Some(nose)).unwrap()];
        self.observe(1, &Batch { placed, ..Batch::default() });
    }

    /// The train is driven at so many millimetres a second from now on.
    pub(super) fn drive(&mut self, number: u32, mm: i64) {
        let speed = Speed::from_mm(mm);
        self.identity.set_pace(train(number), Time::from_millis(self.now), Pace { least: speed, most: speed });
    }

    /// A person drives the train from now on, and nobody says how.
    pub(super) fn take_over(&mut self, number: u32) {
        self.identity.forget_pace(train(number));
    }

    /// So many milliseconds later that is heard.
    pub(super) fn observe(&mut self, later: i64, batch: &Batch) {
        self.now += later;
        self.identity.observe(Time::from_millis(self.now), batch);
    }

    /// The same of one section that fills or empties.
    pub(super) fn hear(&mut self, later: i64, at: usize, filled: bool) {
        let edges = vec![(self.sections[at], filled)];
        self.observe(later, &Batch { edges, ..Batch::default() });
    }

    pub(super) fn tag(&self, at: usize) -> Tag {
        self.identity.tag(self.sections[at])
    }
}

pub(super) fn train(number: u32) -> TrainId {
    TrainId::from_index(number as usize)
}

pub(super) fn doubted(number: u32) -> Tag {
    Tag::Doubt(smallvec::smallvec![train(number)])
}
