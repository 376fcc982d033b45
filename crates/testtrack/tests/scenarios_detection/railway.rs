//! Low Staithe with its signaller in charge and trains on errands by lot.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use signaller::{Fact, Output, Tag, Time};
use testtrack::{Faults, Session, Settings, Table, Traffic};
use track::{Layout, SectionId, TrainId};

pub(crate) struct Railway {
    pub(crate) layout: Arc<Layout>,
    pub(crate) session: Session,
    traffic: Traffic,
    /// What the signaller said last of each section.
    pub(crate) tags: BTreeMap<SectionId, Tag>,
    /// Everything that it told.
    pub(crate) facts: Vec<(Time, Fact)>,
}

impl Railway {
    pub(crate) fn new(seed: u64) -> Self {
        Self::with(seed, Faults::NONE)
    }

    pub(crate) fn with(seed: u64, faults: Faults) -> Self {
        let loaded = layout::load(|name| {
            let text = match name {
                layout::TRACK_FILE => include_str!("../../../../demo-layout/layout.toml"),
                layout::TRAINS_FILE => include_str!("../../../../demo-layout/trains.toml"),
                _ => return Ok(None),
            };
            Ok(Some(text.as_bytes().to_vec()))
        });
        let layout = Arc::new(loaded.unwrap_or_else(|refused| panic!("{refused}")).layout);
        let session = Session::new(Arc::clone(&layout), &Settings { faults, ..Settings::seeded(seed) }).unwrap();
        let traffic = Traffic::new(&layout, seed);
        Self { layout, session, traffic, tags: BTreeMap::new(), facts: Vec::new() }
    }

    pub(crate) fn table(&mut self) -> &mut Table {
        self.session.table_mut()
    }

    /// Lets time pass. Panics at the first rule that breaks.
    pub(crate) fn run(&mut self, seconds: f64) {
        let until = self.session.now() + Duration::from_secs_f64(seconds);
        let Self { session, traffic, tags, facts, .. } = self;
        session.run_until(until, &mut |moment, desk| {
            if let Some(violation) = moment.violations.first() {
                panic!("{violation}");
            }
            for output in moment.outputs {
                if let Output::Fact(fact) = output {
                    facts.push((moment.now, fact.clone()));
                    if let Fact::Tagged { section, tag } = fact {
                        tags.insert(*section, tag.clone());
                    }
                }
            }
            traffic.hear(moment, desk);
        });
    }

    /// Runs until that is so, looking ten times a second.
    pub(crate) fn run_until(&mut self, what: &str, minutes: u32, is_so: impl Fn(&Self) -> bool) {
        for _ in 0..minutes * 600 {
            if is_so(self) {
                return;
            }
            self.run(0.1);
        }
        panic!("within {minutes} minutes it never came so far that {what}");
    }

    pub(crate) fn moving(&self) -> Vec<TrainId> {
        let table = self.session.table();
        self.layout.trains.ids().filter(|&train| table.speed(train).um() != 0).collect()
    }

    pub(crate) fn section(&self, name: &str) -> SectionId {
        self.layout.section_named(name).unwrap()
    }

    pub(crate) fn arrivals(&self, since: Time) -> Vec<TrainId> {
        let arrived = |(at, fact): &(Time, Fact)| match fact {
            Fact::Arrived { train, .. } if *at >= since => Some(*train),
            _ => None,
        };
        self.facts.iter().filter_map(arrived).collect()
    }

    /// How many facts of some kind were told since then.
    pub(crate) fn told(&self, since: Time, what: impl Fn(&Fact) -> bool) -> usize {
        self.facts.iter().filter(|(at, fact)| *at >= since && what(fact)).count()
    }

    /// Every one of these trains arrives somewhere before so much time has passed.
    pub(crate) fn all_arrive(&mut self, trains: &[TrainId], minutes: u32) {
        let since = self.session.now();
        let layout = Arc::clone(&self.layout);
        for &train in trains {
            let name = format!("{} arrived", layout.trains[train].name);
            self.run_until(&name, minutes, |railway| railway.arrivals(since).contains(&train));
        }
    }
}

pub(crate) fn is_doubt(fact: &Fact) -> bool {
    matches!(fact, Fact::DoubtRaised { .. })
}
