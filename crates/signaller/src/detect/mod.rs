//! Raw reports to conditioned occupancy.
//!
//! A detector says what it senses, and that is not always what is there: without power nothing draws current, a wheel loses
//! contact for a moment, a link goes down and what was heard before is old news. So between a report and identity stands this
//! stage. It may keep a report back for a short while, swallow one, or say that nothing is known. What it may never do is say
//! that a section is free before its detector did: *unknown counts as occupied* (the closed-circuit principle, 49 CFR 236.5).
//!
//! * [`keep`] keeps back an emptying until it is clear that trains moved, and bridges flickers.
//! * [`power`] knows what is dark, and [`infer`] finds it out where nobody says so.
//! * [`links`] knows what is old news.
//! * [`record`] counts what went wrong, and says whose fault it may be.
//!
//! Where people drive and the layout declares no power district, no link and no bridging, reports pass as they come: what was
//! recorded elsewhere is told as it was recorded.

mod infer;
mod keep;
mod links;
mod power;
mod record;
mod rules;
mod suspicion;
#[cfg(test)]
mod tests;

use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;

use smallvec::SmallVec;
use track::{DistrictId, Layout, Lie, LinkId, SectionId, Table, TrainId, TurnoutId};

pub use record::Record;
pub use rules::KEPT_BACK_AT_MOST;

use crate::door::Fact;
use crate::identity::{Identity, Standing, Trust};
use crate::roster::Roster;
use crate::signaller::Conduct;
use crate::snapshot::kept;
use crate::time::Time;
use keep::Channel;
use links::Connection;
use power::Supply;
use record::Records;
use rules::Rules;

/// Conditions what detectors say.
#[derive(Debug)]
pub struct Detect {
    layout: Arc<Layout>,
    rules: Table<SectionId, Rules>,
    channels: Table<SectionId, Channel>,
    supplies: Vec<Supply>,
    links: Table<LinkId, Connection>,
    lies: Table<TurnoutId, Option<Lie>>,
    records: Records,
    timers: BTreeSet<(Time, Timer)>,
    /// What filled a moment ago, and no movement explains it.
    unexplained: SmallVec<[(Time, SectionId); 8]>,
    heard: Heard,
}

kept!(Detect {
    kept: [channels, lies, records, timers, unexplained],
    parts: [supplies, links],
    made_anew: [layout, rules, heard],
});

/// What is to come into a section.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Expected {
    /// People drive: nobody knows.
    Anything,
    /// A train that was granted the section.
    Train,
    /// It was granted to none.
    Nothing,
}

/// What wants to be looked at again later.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
enum Timer {
    /// A report that is kept back.
    Section(SectionId),
    /// A power district, by its place in `supplies`.
    Supply(usize),
    /// A link that came up and is not yet settled.
    Link(LinkId),
}

/// What came of the reports of one step.
#[derive(Debug, Default)]
pub(crate) struct Heard {
    /// What identity is to be told, with how long it was kept back.
    pub(crate) edges: Vec<(SectionId, bool, Duration)>,
    /// Sections whose standing may be different now.
    pub(crate) standings: Vec<SectionId>,
    /// Sections whose power went, or is known to be back.
    pub(crate) power: Vec<SectionId>,
    /// Turnouts of which something else is known now.
    pub(crate) lies: Vec<(TurnoutId, Option<Lie>)>,
    pub(crate) facts: Vec<Fact>,
    /// Sections that filled again after they had emptied under a train, with what there is to be looked at once identity has
    /// explained the filling.
    returned: Vec<record::Returned>,
    /// Power districts in which something filled, or may have emptied long enough ago.
    stirred: Vec<usize>,
}

impl Detect {
    /// Nothing has been heard; every district is taken to be live, every link to be up.
    pub fn new(layout: Arc<Layout>, conduct: Conduct) -> Self {
        let supplies = Supply::all(&layout, conduct);
        Self {
            rules: Rules::all(&layout, &supplies),
            channels: Table::filled(Channel::default(), layout.sections.len()),
            links: layout.links.ids().map(|link| Connection::new(&layout, link)).collect(),
            lies: Table::filled(None, layout.turnouts.len()),
            records: Records::new(layout.sections.len()),
            timers: BTreeSet::new(),
            unexplained: SmallVec::new(),
            heard: Heard::default(),
            supplies,
            layout,
        }
    }

    /// Whether some district is dark, or not yet known to be live again.
    pub(crate) fn is_anything_dark(&self) -> bool {
        self.supplies.iter().any(Supply::is_dark)
    }

    /// Counts anew what detectors say, once the state of another was taken over.
    pub(crate) fn count_anew(&mut self) {
        for supply in &mut self.supplies {
            for at in 0..supply.sections.len() {
                let section = supply.sections[at];
                if self.rules[section].supply.is_some() {
                    supply.count(None, self.channels[section].raw);
                }
            }
        }
    }

    /// Whether a power district is dark: trains in it do not move, and what its detectors say means nothing. Also while it
    /// comes back, until its detectors have settled.
    pub fn is_dark(&self, district: DistrictId) -> bool {
        self.supplies.iter().any(|supply| supply.district == Some(district) && supply.is_dark())
    }

    /// Whether what the section's detector said last is so now. Not so in the dark, while its link is down, and until it has
    /// reported anew.
    pub fn is_current(&self, section: SectionId) -> bool {
        self.channels[section].raw.is_some() && self.standing(section) == Standing::Current
    }

    /// What is on record of a section.
    pub fn record(&self, section: SectionId) -> Record {
        self.records.section(section)
    }

    /// How far the section's detector is to be trusted, by its kind and its record.
    pub fn trust(&self, section: SectionId) -> Trust {
        let record = self.records.section(section);
        let misses = self.records.misses(section);
        Trust::of_detector(&self.layout, section).with_record(misses, record.false_fills, record.passages)
    }

    /// A section whose record has changed since this was asked last.
    pub(crate) fn next_changed_record(&mut self) -> Option<SectionId> {
        self.records.changed.pop()
    }

    /// What is on record of a train.
    pub fn record_of_train(&self, train: TrainId) -> Record {
        self.records.train(train)
    }

    /// How far what the section's detector said last can be relied on.
    pub(crate) fn standing(&self, section: SectionId) -> Standing {
        let (rules, channel) = (&self.rules[section], &self.channels[section]);
        if rules.supply.is_some_and(|supply| self.supplies[supply].is_dark()) {
            let is_guess = |supply: usize| self.supplies[supply].perhaps_only.is_some();
            match channel.filled_as_power_went || rules.supply.is_some_and(is_guess) {
                true => Standing::DarkPerhaps,
                false => Standing::Dark,
            }
        } else if channel.is_old || channel.is_filling_kept() {
            Standing::Old
        } else {
            Standing::Current
        }
    }

    /// When a report is to be looked at again.
    pub(crate) fn wake_at(&self) -> Option<Time> {
        self.timers.first().map(|&(at, _)| at)
    }

    /// A step begins.
    pub(crate) fn begin(&mut self) {
        let heard = &mut self.heard;
        heard.edges.clear();
        heard.standings.clear();
        heard.power.clear();
        heard.lies.clear();
        heard.facts.clear();
        heard.returned.clear();
        heard.stirred.clear();
    }

    /// A section reported.
    pub(crate) fn section(
        &mut self,
        now: Time,
        section: SectionId,
        occupied: bool,
        expected: Expected,
        identity: &Identity,
    ) {
        if self.rules[section].is_plain {
            let is_new = self.change_raw(now, section, occupied);
            // Many nodes say now and then what they said before. Who only watches tells it as it was recorded.
            if !is_new && expected != Expected::Anything {
                return;
            }
            self.tell(now, section, occupied, Duration::ZERO, identity);
        } else {
            self.condition(now, section, occupied, expected, identity);
        }
    }

    /// Works through whatever is due, after everything that was heard.
    pub(crate) fn work(&mut self, now: Time, identity: &Identity) {
        while let Some(&(at, timer)) = self.timers.first().filter(|&&(at, _)| at <= now) {
            self.timers.remove(&(at, timer));
            match timer {
                Timer::Section(section) => self.reconsider(now, section, identity),
                Timer::Supply(supply) => self.look_at_supply(now, supply, identity),
                Timer::Link(link) => self.settle_link(now, link, identity),
            }
        }
        while let Some(supply) = self.heard.stirred.pop() {
            self.infer_all_filled(now, supply, identity);
        }
    }

    /// What came of everything heard in this step.
    pub(crate) fn heard(&self) -> &Heard {
        &self.heard
    }

    /// Counts what identity made of the fillings of this step, and says whom that makes suspect.
    pub(crate) fn take_stock(&mut self, identity: &Identity, roster: &Roster) {
        while let Some(returned) = self.heard.returned.pop() {
            self.records.count_return(&returned, &identity.tag(returned.section));
        }
        self.records.say_suspects(&self.layout, roster, &mut self.heard.facts);
    }

    fn set_timer(&mut self, timer: Timer, before: Option<Time>, at: Option<Time>) {
        if before != at {
            if let Some(before) = before {
                self.timers.remove(&(before, timer));
            }
            if let Some(at) = at {
                self.timers.insert((at, timer));
            }
        }
    }
}
