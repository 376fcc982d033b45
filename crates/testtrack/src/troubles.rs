//! What is wrong with detection, links and power: when it begins and where, by lot; how long it lasts; and the end of it.
//!
//! What happens by chances instead of by the hour is drawn where it happens: contact in [`crate::axles`], reports in the post.

mod draw;
mod electric;
mod hardware;
mod words;

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use signaller::Time;
use track::{DistrictId, Id, Layout, LinkId, SectionId, Table as Rows, TrainId};

use crate::detectors::DarkSays;
use crate::electrics::Feed;
use crate::faults::{Fault, Faults};
use crate::mishaps::Mishap;
use crate::random::Stream;
use crate::settings::Settings;
use crate::table::{Reached, Table};
use crate::truth::Happening;

pub use electric::PowerReports;

/// The faults of which this module says when they begin.
const BY_THE_HOUR: [Fault; 9] = [
    Fault::DirtySection,
    Fault::FalseFill,
    Fault::StuckDetector,
    Fault::SlowDetector,
    Fault::LinkDown,
    Fault::NodeRestart,
    Fault::DarkSaysFree,
    Fault::DarkSaysOccupied,
    Fault::BrownOut,
];

/// Something that is wrong for a while.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Trouble {
    Dirty(SectionId),
    Filled(SectionId),
    Stuck(SectionId),
    Slow(SectionId),
    Down(LinkId),
    /// The node of that number starts anew.
    Starting(usize),
    Dark(DistrictId, DarkSays),
    Brown(DistrictId),
}

/// Something that is due.
#[derive(Clone, Copy, Debug)]
enum Due {
    /// A fault strikes, and is due again.
    Strike(Fault),
    /// Something is right again.
    End(Trouble),
}

/// What is wrong, and what is due.
#[derive(Debug)]
pub(crate) struct Troubles {
    rates: Faults,
    streams: Vec<Stream>,
    agenda: BTreeMap<(Time, u64), Due>,
    counted: u64,
    active: BTreeSet<Trouble>,
    /// How each power district is fed.
    feeds: Rows<DistrictId, Feed>,
    /// Which of them the signaller has had cut.
    cut: Rows<DistrictId, bool>,
    /// Whether somebody reports that a power district is dark or live.
    reports_power: Rows<DistrictId, bool>,
    /// The sections that each node watches: a link's, or, where the layout has no links, a power district's.
    nodes: Vec<Vec<SectionId>>,
}

impl Troubles {
    pub(crate) fn new(layout: &Layout, settings: &Settings) -> Self {
        let stream = |fault: Fault| Stream::labelled(settings.seed, &format!("fault {}", fault.name()));
        let reports_power = |district: &track::District| {
            Stream::labelled(settings.seed, &format!("power report of {}", district.name)).below(2) == 0
        };
        let mut troubles = Self {
            rates: settings.faults.clone(),
            streams: Fault::ALL.into_iter().map(stream).collect(),
            agenda: BTreeMap::new(),
            counted: 0,
            active: BTreeSet::new(),
            feeds: Rows::filled(Feed::Live, layout.districts.len()),
            cut: Rows::filled(false, layout.districts.len()),
            reports_power: layout.districts.values().map(reports_power).collect(),
            nodes: nodes(layout),
        };
        for fault in BY_THE_HOUR {
            troubles.plan_next(fault, Time::ZERO);
        }
        troubles
    }

    /// When something is due.
    pub(crate) fn next_due(&self) -> Option<Time> {
        self.agenda.first_key_value().map(|(&(at, _), _)| at)
    }

    fn take_due(&mut self, now: Time) -> Option<Due> {
        self.agenda
            .first_entry()
            .filter(|entry| entry.key().0 <= now)
            .map(std::collections::btree_map::OccupiedEntry::remove)
    }

    fn plan(&mut self, at: Time, due: Due) {
        self.counted += 1;
        self.agenda.insert((at, self.counted), due);
    }

    fn plan_next(&mut self, fault: Fault, now: Time) {
        let rate = self.rates.rate(fault);
        if let Some(ms) = rate.next_in_ms(&mut self.streams[fault as usize]) {
            self.plan(now + Duration::from_millis(ms as u64), Due::Strike(fault));
        }
    }

    fn stream(&mut self, fault: Fault) -> &mut Stream {
        &mut self.streams[fault as usize]
    }
}

impl Table {
    /// Begins and ends what is due.
    pub(crate) fn trouble(&mut self) {
        while let Some(due) = self.troubles.take_due(self.now()) {
            match due {
                Due::Strike(fault) => {
                    self.troubles.plan_next(fault, self.now());
                    self.draw_trouble(fault);
                }
                Due::End(trouble) => self.end_trouble(trouble),
            }
        }
    }

    /// Puts down in the log that something went wrong, and tells whoever listens.
    pub(crate) fn note(&mut self, mishap: Mishap) {
        self.mishaps.note(mishap);
        self.happenings.push((mishap.at, Happening::Faulted { mishap }));
    }

    /// Everything that went wrong so far, in order.
    pub fn mishaps(&self) -> &[Mishap] {
        self.mishaps.all()
    }

    /// What is wrong with detection, links and power right now, in plain words.
    pub fn active_faults(&self) -> Vec<String> {
        let troubles = self.troubles.active.iter().map(|&trouble| self.trouble_in_words(trouble));
        let trains = self.trains.iter().filter(|(_, rolling)| rolling.is_on_table());
        let lost = trains.filter(|(_, rolling)| rolling.axles.without_contact() > 0);
        let contact = lost.map(|(train, rolling)| {
            format!("{} axles of {} have no contact", rolling.axles.without_contact(), self.train_called(train))
        });
        troubles.chain(contact).collect()
    }

    /// Detection, links and power are all right from now on: whatever is wrong with them ends, and nothing more goes wrong.
    /// Within 0.3 s everything that reports says what it finds.
    pub(crate) fn heal_detection(&mut self) {
        self.troubles.rates = Faults::NONE;
        self.troubles.agenda.clear();
        while let Some(&trouble) = self.troubles.active.first() {
            self.end_trouble(trouble);
        }
        let now = self.now();
        let mut changes = Vec::new();
        for train in (0..self.trains.len()).map(TrainId::from_index) {
            self.trains[train].axles.heal();
            self.trains[train].look(&mut changes);
            self.apply(train, &mut changes, Reached::ByHand);
        }
        self.detectors.heal(now, &mut self.troubles.streams[Fault::LinkDown as usize]);
    }

    /// Something goes wrong, for so long, or until everything is healed. What is wrong so already only stays so.
    fn begin(&mut self, trouble: Trouble, lasts: Option<Duration>) -> Begun {
        if !self.troubles.active.insert(trouble) {
            return Begun::Already;
        }
        let now = self.now();
        if let Some(lasts) = lasts {
            self.troubles.plan(now + lasts, Due::End(trouble));
        }
        self.note(self.mishap(trouble));
        Begun::Now
    }

    fn end_trouble(&mut self, trouble: Trouble) {
        if !self.troubles.active.remove(&trouble) {
            return;
        }
        let now = self.now();
        self.mishaps.end(self.mishap(trouble), now);
        match trouble {
            Trouble::Dirty(section) => self.ground.dirty.retain(|&dirty| dirty != section),
            Trouble::Filled(section) => self.dry(section),
            Trouble::Stuck(section) => self.unstick(section),
            Trouble::Slow(section) => self.detectors.slow_down(section, Duration::ZERO),
            Trouble::Down(link) => self.raise_link(link),
            Trouble::Starting(node) => self.node_started(node),
            Trouble::Dark(district, says) => self.power_back(district, says),
            Trouble::Brown(district) => self.feed(district, Feed::Live, DarkSays::Free),
        }
    }

    fn mishap(&self, trouble: Trouble) -> Mishap {
        let new = |fault| Mishap::new(fault, self.now());
        match trouble {
            Trouble::Dirty(section) => new(Fault::DirtySection).to_section(section),
            Trouble::Filled(section) => new(Fault::FalseFill).to_section(section),
            Trouble::Stuck(section) => new(Fault::StuckDetector).to_section(section),
            Trouble::Slow(section) => new(Fault::SlowDetector).to_section(section),
            Trouble::Down(link) => new(Fault::LinkDown).to_link(link),
            Trouble::Starting(node) => Mishap { node: Some(node), ..new(Fault::NodeRestart) },
            Trouble::Dark(district, DarkSays::Free) => new(Fault::DarkSaysFree).to_district(district),
            Trouble::Dark(district, DarkSays::Occupied) => new(Fault::DarkSaysOccupied).to_district(district),
            Trouble::Brown(district) => new(Fault::BrownOut).to_district(district),
        }
    }

    /// Axles lost contact by themselves.
    pub(crate) fn contact_lost(&mut self, train: TrainId) {
        let now = self.now();
        self.note(Mishap::new(Fault::ContactLoss, now).to_train(train).until(now));
    }

    /// Puts down what befell reports.
    pub(crate) fn note_struck(&mut self) {
        for mishap in self.detectors.take_struck() {
            self.note(mishap);
        }
    }
}

/// Whether something went wrong now, or was so already.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Begun {
    Now,
    Already,
}

fn nodes(layout: &Layout) -> Vec<Vec<SectionId>> {
    let watched = || layout.sections.iter().filter_map(|(id, section)| Some((id, section, section.detector?)));
    let mut nodes: BTreeMap<_, Vec<SectionId>> = BTreeMap::new();
    for (id, section, detector) in watched() {
        let key = if layout.links.is_empty() {
            section.district.map(Id::index)
        } else {
            layout.detectors[detector].link.map(Id::index)
        };
        nodes.entry(key).or_default().push(id);
    }
    if !layout.links.is_empty() {
        nodes.remove(&None);
    }
    nodes.into_values().collect()
}
