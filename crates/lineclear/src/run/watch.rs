//! What is known, gathered from what the signaller says: tags, aspects, grants, what each train is about.

use std::collections::BTreeMap;
use std::sync::Arc;

use signaller::{Aspect, Destination, Fact, Output, Tag, Time};
use testtrack::Moment;
use track::{Layout, SectionId, SignalId, Table, TrainId};

/// What a train is about.
#[derive(Clone, Debug, Default)]
pub(super) struct Errand {
    /// Where it is going.
    pub(super) to: Option<Destination>,
    /// Where it last arrived.
    pub(super) at: Option<Destination>,
    /// What it waits for.
    pub(super) waits: Option<String>,
    /// Why it is held.
    pub(super) held: Option<String>,
    /// How often it arrived.
    pub(super) trips: u64,
    /// How fast it is driven: step 0 stands.
    pub(super) step: u8,
}

/// The picture as the signaller has it.
#[derive(Debug)]
pub(super) struct Watch {
    layout: Arc<Layout>,
    /// How late it is.
    pub(super) now: Time,
    /// What is said of each section; nothing before the first word.
    pub(super) tags: Table<SectionId, Option<Tag>>,
    /// Whom each section is granted to.
    pub(super) granted: Table<SectionId, Option<TrainId>>,
    /// What each signal shows.
    pub(super) aspects: Table<SignalId, Aspect>,
    /// What each train is about.
    pub(super) errands: BTreeMap<TrainId, Errand>,
}

impl Watch {
    /// Nothing is known yet.
    pub(super) fn new(layout: Arc<Layout>) -> Self {
        Self {
            now: Time::ZERO,
            tags: Table::filled(None, layout.sections.len()),
            granted: Table::filled(None, layout.sections.len()),
            aspects: Table::filled(Aspect::STOP, layout.signals.len()),
            errands: layout.trains.ids().map(|train| (train, Errand::default())).collect(),
            layout,
        }
    }

    /// The layout.
    pub(super) fn layout(&self) -> &Layout {
        &self.layout
    }

    /// Takes in what was said.
    pub(super) fn hear(&mut self, moment: &Moment<'_>) {
        self.now = moment.now;
        for output in moment.outputs {
            match output {
                Output::Drive { train, step, .. } => self.errand(*train).step = *step,
                Output::Throw { .. } | Output::Light { .. } => {}
                Output::Show { signal, aspect } => self.aspects[*signal] = *aspect,
                Output::Fact(fact) => self.learn(fact),
            }
        }
    }

    fn learn(&mut self, fact: &Fact) {
        match fact {
            Fact::Tagged { section, tag } => self.tags[*section] = Some(tag.clone()),
            Fact::RouteSet { train, sections } => {
                for &section in sections {
                    self.granted[section] = Some(*train);
                }
                self.errand(*train).waits = None;
            }
            Fact::SectionReleased { section, .. } => self.granted[*section] = None,
            Fact::Departed { train, to } => {
                let errand = self.errand(*train);
                (errand.to, errand.at, errand.waits) = (Some(*to), None, None);
            }
            Fact::Arrived { train, at } => {
                let errand = self.errand(*train);
                (errand.to, errand.at, errand.waits) = (None, Some(*at), None);
                errand.trips += 1;
            }
            Fact::Waiting { train, reason } => self.errand(*train).waits = Some(reason.clone()),
            Fact::HoldSet { train, reason } => self.errand(*train).held = Some(reason.clone()),
            Fact::HoldLifted { train } => self.errand(*train).held = None,
            _ => {}
        }
    }

    fn errand(&mut self, train: TrainId) -> &mut Errand {
        self.errands.entry(train).or_default()
    }
}
