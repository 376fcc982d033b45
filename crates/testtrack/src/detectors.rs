//! Detectors that are late, and the post that carries their reports.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use signaller::{Input, Time};
use track::{DetectorId, DetectorKind, Layout, Lie, SectionId, Table as Rows, TrainId, TurnoutId};

use crate::random::Stream;
use crate::settings::{Settings, Spread};

/// All detectors, and the reports on their way.
#[derive(Debug)]
pub(crate) struct Detectors {
    detectors: Rows<DetectorId, Sender>,
    areas: Rows<SectionId, Option<Area>>,
    readers: Rows<SectionId, Vec<DetectorId>>,
    turnouts: Rows<TurnoutId, Sender>,
    deciding: BTreeSet<(Time, SectionId)>,
    post: Post,
}

/// An area detector's mind.
#[derive(Debug)]
struct Area {
    detector: DetectorId,
    /// How many pieces of trains it sees.
    sees: u32,
    says: bool,
    /// When it will say otherwise, if nothing changes until then.
    decides_at: Option<Time>,
}

/// Something that sends reports.
#[derive(Debug)]
struct Sender {
    on_delay: Duration,
    off_delay: Duration,
    stream: Stream,
    last_arrival: Time,
}

/// Reports on their way, by when they arrive.
#[derive(Debug)]
struct Post {
    delay: Spread,
    jitter: Spread,
    letters: BTreeMap<(Time, u64), Input>,
    posted: u64,
}

impl Detectors {
    pub(crate) fn new(layout: &Layout, settings: &Settings) -> Self {
        let sender = |kind: &str, name: &str, on_delay, off_delay| Sender {
            on_delay,
            off_delay,
            stream: Stream::labelled(settings.seed, &format!("{kind} {name}")),
            last_arrival: Time::ZERO,
        };
        let area = |detector| Area { detector, sees: 0, says: false, decides_at: None };
        let mut readers = Rows::filled(Vec::new(), layout.sections.len());
        for (id, detector) in layout.detectors.iter() {
            if let DetectorKind::Reader(section) = detector.kind {
                readers[section].push(id);
            }
        }
        let detectors = layout.detectors.values();
        let turnouts = layout.turnouts.values();
        Self {
            detectors: detectors.map(|it| sender("detector", &it.name, it.on_delay, it.off_delay)).collect(),
            areas: layout.sections.values().map(|section| section.detector.map(area)).collect(),
            readers,
            turnouts: turnouts.map(|it| sender("report of", &it.name, Duration::ZERO, Duration::ZERO)).collect(),
            deciding: BTreeSet::new(),
            post: Post {
                delay: settings.message_delay,
                jitter: Spread { least: Duration::ZERO, most: settings.detector_jitter },
                letters: BTreeMap::new(),
                posted: 0,
            },
        }
    }

    /// Something of a train came into a section's sight.
    pub(crate) fn seen(&mut self, section: SectionId, train: TrainId, now: Time) {
        for &reader in &self.readers[section] {
            let sender = &mut self.detectors[reader];
            let delay = sender.on_delay;
            self.post.send(sender, delay, now, Input::TrainRead { detector: reader, train });
        }
        if let Some(area) = &mut self.areas[section] {
            area.sees += 1;
        }
        self.reconsider(section, now);
    }

    /// Something of a train went out of a section's sight.
    pub(crate) fn unseen(&mut self, section: SectionId, now: Time) {
        if let Some(area) = &mut self.areas[section] {
            debug_assert!(area.sees > 0, "nothing to go out of sight in {section:?}");
            area.sees = area.sees.saturating_sub(1);
        }
        self.reconsider(section, now);
    }

    /// An axle passed a spot.
    pub(crate) fn spot_passed(&mut self, detector: DetectorId, now: Time) {
        let sender = &mut self.detectors[detector];
        let delay = sender.on_delay;
        self.post.send(sender, delay, now, Input::SpotPassed { detector });
    }

    /// A turnout came to lie.
    pub(crate) fn turnout_lies(&mut self, turnout: TurnoutId, lie: Lie, now: Time) {
        self.post.send(
            &mut self.turnouts[turnout],
            Duration::ZERO,
            now,
            Input::TurnoutReported { turnout, lie: Some(lie) },
        );
    }

    /// Says at once what it sees, without delay: what a detector says that was there before the signaller came.
    pub(crate) fn say_at_once(&mut self, section: SectionId) -> Option<bool> {
        let area = self.areas[section].as_mut()?;
        if let Some(at) = area.decides_at.take() {
            self.deciding.remove(&(at, section));
        }
        area.says = area.sees > 0;
        Some(area.says)
    }

    /// When a detector makes up its mind, or a report arrives.
    pub(crate) fn next_due(&self) -> Option<Time> {
        let decision = self.deciding.first().map(|&(at, _)| at);
        match (decision, self.next_arrival()) {
            (Some(one), Some(other)) => Some(one.min(other)),
            (one, other) => one.or(other),
        }
    }

    /// When the next report arrives.
    pub(crate) fn next_arrival(&self) -> Option<Time> {
        self.post.letters.first_key_value().map(|(&(at, _), _)| at)
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
    }

    /// Hands over the reports that have arrived by `now`.
    pub(crate) fn hand_over(&mut self, now: Time, into: &mut Vec<Input>) {
        while let Some(entry) = self.post.letters.first_entry().filter(|entry| entry.key().0 <= now) {
            into.push(entry.remove());
        }
    }

    fn reconsider(&mut self, section: SectionId, now: Time) {
        let Some(area) = &mut self.areas[section] else { return };
        let differs = (area.sees > 0) != area.says;
        match (differs, area.decides_at) {
            (true, None) => {
                let sender = &mut self.detectors[area.detector];
                let delay = if area.says { sender.off_delay } else { sender.on_delay };
                let at = now + delay + self.post.jitter.draw(&mut sender.stream);
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

impl Post {
    fn send(&mut self, sender: &mut Sender, after: Duration, now: Time, report: Input) {
        let arrival = now + after + self.delay.draw(&mut sender.stream);
        let arrival = arrival.max(sender.last_arrival + Duration::from_nanos(1));
        sender.last_arrival = arrival;
        self.posted += 1;
        self.letters.insert((arrival, self.posted), report);
    }
}
