//! Detectors: what they find in their sections, when they say so, and the post that carries it.
//!
//! An area detector finds what the currents of all axles in its section add up to ([`crate::electrics`]), makes up its mind
//! after its delays, and sends a report. What can be wrong with it: it is stuck, or slow, or starts anew, or moisture draws
//! current through it.

mod links;
mod post;

use std::collections::BTreeSet;
use std::time::Duration;

use signaller::{Input, Time};
use track::{
    DetectorId, DetectorKind, DistrictId, InputId, Layout, Lie, LinkId, SectionId, Table as Rows, TrainId, TurnoutId,
};

use crate::electrics::{Feed, Load, Sense, Supply};
use crate::mishaps::Mishap;
use crate::random::Stream;
use crate::settings::{Settings, Spread};
pub use links::DarkSays;
pub(crate) use links::Stuck;
pub use post::Harm;
use post::{Post, Sender};

/// All detectors, and the reports on their way.
#[derive(Debug)]
pub(crate) struct Detectors {
    detectors: Rows<DetectorId, Sender>,
    areas: Rows<SectionId, Option<Area>>,
    readers: Rows<SectionId, Vec<DetectorId>>,
    turnouts: Rows<TurnoutId, Sender>,
    /// What each turnout reported last, heard or not.
    lies: Rows<TurnoutId, Option<Lie>>,
    /// What each input reports, and whether somebody has worked it to be on.
    inputs: Rows<InputId, (Sender, bool)>,
    deciding: BTreeSet<(Time, SectionId)>,
    /// When each area detector says again what it said last.
    repeating: BTreeSet<(Time, SectionId)>,
    says_again: Option<Spread>,
    lots: Stream,
    jitter: Spread,
    post: Post,
    /// What each link that is down said last.
    stale: Rows<LinkId, Vec<Input>>,
}

/// An area detector's mind.
#[derive(Debug)]
struct Area {
    detector: DetectorId,
    district: Option<DistrictId>,
    sense: Sense,
    supply: Supply,
    /// What the axles in its section draw.
    load: Load,
    /// What else draws current there.
    leak: Load,
    /// Whether it says occupied while its district is dark.
    dark_says: bool,
    is_stuck: bool,
    is_starting: bool,
    /// How much longer than it should it takes.
    slower_by: Duration,
    says: bool,
    /// When it will say otherwise, if nothing changes until then.
    decides_at: Option<Time>,
}

impl Area {
    fn new(layout: &Layout, section: SectionId, detector: DetectorId, seed: u64) -> Self {
        let district = layout.sections[section].district;
        let said = district.and_then(|district| layout.districts[district].voltage);
        Self {
            detector,
            district,
            sense: Sense::new(&layout.detectors[detector], seed),
            supply: Supply::new(said, layout.scale),
            load: Load::NONE,
            leak: Load::NONE,
            dark_says: false,
            is_stuck: false,
            is_starting: false,
            slower_by: Duration::ZERO,
            says: false,
            decides_at: None,
        }
    }

    /// Whether it finds that something is there.
    fn finds(&self) -> bool {
        if self.is_starting {
            false
        } else if self.supply.feed == Feed::Dark {
            self.dark_says
        } else {
            let mut load = self.load;
            load += self.leak;
            self.sense.sees(self.sense.current_ua(load, self.supply))
        }
    }

    /// Whether the axles in its section draw enough for it to see.
    fn sees_trains(&self) -> bool {
        self.sense.sees(self.sense.current_ua(self.load, self.supply))
    }
}

impl Detectors {
    pub(crate) fn new(layout: &Layout, settings: &Settings) -> Self {
        let seed = settings.seed;
        let sender = |detector: &track::Detector| {
            let stream = Stream::labelled(seed, &format!("detector {}", detector.name));
            let (on_delay, off_delay) = (detector.on_delay, detector.off_delay);
            let section = match detector.kind {
                DetectorKind::Area(section) | DetectorKind::Reader(section) => section,
                DetectorKind::Spot { way, .. } => layout.ways[way].section,
            };
            Sender { on_delay, off_delay, section: Some(section), ..Sender::new(stream, detector.link) }
        };
        let turnout_sender = |(id, turnout): (TurnoutId, &track::Turnout)| {
            let stream = Stream::labelled(seed, &format!("report of {}", turnout.name));
            Sender { turnout: Some(id), ..Sender::new(stream, turnout.link) }
        };
        let input_sender = |input: &track::NamedInput| {
            Sender::new(Stream::labelled(seed, &format!("input {}", input.name)), input.link)
        };
        let area = |(id, section): (SectionId, &track::Section)| {
            section.detector.map(|detector| Area::new(layout, id, detector, seed))
        };
        let mut readers = Rows::filled(Vec::new(), layout.sections.len());
        for (id, detector) in layout.detectors.iter() {
            if let DetectorKind::Reader(section) = detector.kind {
                readers[section].push(id);
            }
        }
        let mut lots = Stream::labelled(seed, "when detectors repeat themselves");
        let mut repeating = BTreeSet::new();
        for (id, section) in layout.sections.iter() {
            if let (Some(span), Some(_)) = (settings.says_again, section.detector) {
                repeating.insert((Time::ZERO + span.draw(&mut lots), id));
            }
        }
        Self {
            repeating,
            says_again: settings.says_again,
            lots,
            detectors: layout.detectors.values().map(sender).collect(),
            areas: layout.sections.iter().map(area).collect(),
            readers,
            turnouts: layout.turnouts.iter().map(turnout_sender).collect(),
            inputs: layout.inputs.values().map(|input| (input_sender(input), false)).collect(),
            lies: Rows::filled(None, layout.turnouts.len()),
            deciding: BTreeSet::new(),
            jitter: Spread { least: Duration::ZERO, most: settings.detector_jitter },
            post: Post::new(layout.links.len(), settings),
            stale: Rows::filled(Vec::new(), layout.links.len()),
        }
    }

    /// The axles of a train draw something else from a section than they did.
    pub(crate) fn draws(&mut self, section: SectionId, before: Load, now: Load, at: Time) {
        let Some(area) = &mut self.areas[section] else { return };
        area.load -= before;
        area.load += now;
        area.sense.stir();
        self.reconsider(section, at);
    }

    /// Whether the axles that stand in a section draw enough for its detector to see. Without a detector any current is.
    pub(crate) fn sees_trains(&self, section: SectionId) -> bool {
        self.areas[section].as_ref().is_none_or(Area::sees_trains)
    }

    /// The current of all axles in a section, in microamperes; nothing where no detector watches it.
    pub(crate) fn current_ua(&self, section: SectionId) -> Option<i64> {
        self.areas[section].as_ref().map(|area| area.sense.current_ua(area.load, area.supply))
    }

    /// A train came into the sight of a section's readers.
    pub(crate) fn read(&mut self, section: SectionId, train: TrainId, now: Time) {
        for &reader in &self.readers[section] {
            let sender = &mut self.detectors[reader];
            let delay = sender.on_delay;
            self.post.send(sender, delay, now, Input::TrainRead { detector: reader, train });
        }
    }

    /// An axle passed a spot.
    pub(crate) fn spot_passed(&mut self, detector: DetectorId, now: Time) {
        let sender = &mut self.detectors[detector];
        let delay = sender.on_delay;
        self.post.send(sender, delay, now, Input::SpotPassed { detector });
    }

    /// A turnout reports that it came to lie so.
    pub(crate) fn turnout_lies(&mut self, turnout: TurnoutId, lie: Lie, now: Time) {
        self.lies[turnout] = Some(lie);
        let report = Input::TurnoutReported { turnout, lie: Some(lie) };
        self.post.send(&mut self.turnouts[turnout], Duration::ZERO, now, report);
    }

    /// Says at once what it finds, without delay: what a detector says that was there before the signaller came.
    pub(crate) fn say_at_once(&mut self, section: SectionId) -> Option<bool> {
        let area = self.areas[section].as_mut()?;
        if let Some(at) = area.decides_at.take() {
            self.deciding.remove(&(at, section));
        }
        area.says = area.finds();
        Some(area.says)
    }

    /// Somebody works an input, which the signaller knows already.
    pub(crate) fn work_input(&mut self, input: InputId, on: bool) {
        self.inputs[input].1 = on;
    }

    /// How each input is.
    pub(crate) fn inputs(&self) -> impl Iterator<Item = Input> + '_ {
        self.inputs.iter().map(|(input, &(_, on))| Input::InputReported { input, on })
    }

    /// A turnout reported how it lies before the signaller came.
    pub(crate) fn lay_at_first(&mut self, turnout: TurnoutId, lie: Option<Lie>) {
        self.lies[turnout] = lie;
    }

    /// When a detector makes up its mind, or a report arrives.
    pub(crate) fn next_due(&self) -> Option<Time> {
        let decision = self.deciding.first().map(|&(at, _)| at);
        let repeat = self.repeating.first().map(|&(at, _)| at);
        [decision, repeat, self.next_arrival()].into_iter().flatten().min()
    }

    /// When the next report arrives.
    pub(crate) fn next_arrival(&self) -> Option<Time> {
        self.post.next_arrival()
    }

    /// Lets detectors make up their minds that were to do so by `now`.
    pub(crate) fn decide(&mut self, now: Time) {
        while let Some(&(at, section)) = self.deciding.first().filter(|(at, _)| *at <= now) {
            self.deciding.remove(&(at, section));
            let Some(area) = &mut self.areas[section] else { continue };
            area.says = !area.says;
            area.decides_at = None;
            let report = Input::SectionReported { section, occupied: area.says };
            self.post.send(&mut self.detectors[area.detector], Duration::ZERO, at, report);
        }
        while let Some(&(at, section)) = self.repeating.first().filter(|(at, _)| *at <= now) {
            self.repeating.remove(&(at, section));
            let (Some(area), Some(span)) = (&self.areas[section], self.says_again) else { continue };
            let report = Input::SectionReported { section, occupied: area.says };
            self.post.send(&mut self.detectors[area.detector], Duration::ZERO, at, report);
            self.repeating.insert((at + span.draw(&mut self.lots), section));
        }
    }

    /// The next report that has arrived by `now`.
    pub(crate) fn take(&mut self, now: Time) -> Option<Input> {
        self.post.take(now)
    }

    /// What befell reports since it was last asked.
    pub(crate) fn take_struck(&mut self) -> Vec<Mishap> {
        std::mem::take(&mut self.post.struck)
    }

    fn reconsider(&mut self, section: SectionId, now: Time) {
        let Some(area) = &mut self.areas[section] else { return };
        let differs = !area.is_stuck && area.finds() != area.says;
        match (differs, area.decides_at) {
            (true, None) => {
                let sender = &mut self.detectors[area.detector];
                let delay = if area.says { sender.off_delay } else { sender.on_delay };
                let at = now + delay + area.slower_by + self.jitter.draw(&mut sender.stream);
                area.decides_at = Some(at);
                self.deciding.insert((at, section));
            }
            (false, Some(at)) => {
                area.decides_at = None;
                self.deciding.remove(&(at, section));
            }
            _ => {}
        }
    }
}
