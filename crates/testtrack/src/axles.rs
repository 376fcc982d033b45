//! The axles of a train: where each is, what it draws, and whether it has contact.
//!
//! What an axle draws it draws from the piece of track that it stands on. Nothing of that changes while no axle comes to a
//! joint and none loses contact or gains it, so between such moments a tick costs two comparisons.

use std::collections::VecDeque;

use track::{Draw, Length, SectionId, Train, Vehicle};

use crate::electrics::Load;
use crate::faults::{Fault, exponential};
use crate::random::Stream;
use crate::rolling::{Change, Piece};
use crate::settings::{Settings, TICK};

/// Between the outer axles of a vehicle, one is never further away than this. Common practice, no source.
const AXLE_SPACING: i64 = 60_000;

/// How long an axle is without contact while it rolls, in milliseconds. Where the train comes to stand meanwhile, it stays
/// without until it rolls on: it stands on a dead spot. Common practice, no source.
const GAP_MS: (i64, i64) = (20, 400);

/// On dirty rails an axle loses contact about once in so many micrometres. Common practice, no source.
const DIRT_SPACING: i64 = 60_000;

const TICK_MS: i64 = TICK.as_millis() as i64;
const METRE: i64 = 1_000_000;

/// The axles of a train that draw current, front first.
#[derive(Debug)]
pub(crate) struct Axles {
    rows: Vec<Axle>,
    /// While the front is from the first to before the second of these, every axle stays on its piece.
    calm: (i64, i64),
    /// How many axles are without contact.
    without_contact: usize,
    loss: Option<Loss>,
    dirt: Stream,
    /// How far the train rolls on dirty rails until the next axle loses contact.
    until_dirt: i64,
}

#[derive(Clone, Copy, Debug)]
struct Axle {
    /// Its distance behind the front.
    behind: i64,
    load: Load,
    /// For so many more milliseconds of rolling it has no contact.
    gap_ms: i64,
}

/// Loss of contact without dirty rails.
#[derive(Debug)]
struct Loss {
    stream: Stream,
    /// The mean distance that an axle rolls between two losses.
    mean: i64,
    /// How far axles roll until the next one, all of them together.
    until: i64,
}

impl Axles {
    /// The axles of a train made of these vehicles.
    pub(crate) fn new(train: &Train, vehicles: &[Vehicle], settings: &Settings) -> Self {
        let stream =
            |fault: Fault| Stream::labelled(settings.seed, &format!("fault {} of {}", fault.name(), train.name));
        let chances = settings.faults.rate(Fault::ContactLoss).per_million();
        let loss = (chances > 0).then(|| {
            let mean = METRE * 1_000_000 / chances as i64;
            let mut stream = stream(Fault::ContactLoss);
            let until = exponential(mean, &mut stream);
            Loss { stream, mean, until }
        });
        let dirt = stream(Fault::DirtySection);
        let mut axles = Self { rows: Vec::new(), calm: (0, 0), without_contact: 0, loss, dirt, until_dirt: 0 };
        axles.measure(vehicles);
        axles
    }

    /// How far behind the front each is.
    pub(crate) fn places(&self) -> impl Iterator<Item = i64> + '_ {
        self.rows.iter().map(|axle| axle.behind)
    }

    /// The train is made of these vehicles now. Every axle has contact.
    pub(crate) fn measure(&mut self, vehicles: &[Vehicle]) {
        self.rows = axles_of(vehicles);
        self.regain_contact();
    }

    /// Every axle has contact, and is to be looked at anew.
    pub(crate) fn regain_contact(&mut self) {
        self.rows.iter_mut().for_each(|axle| axle.gap_ms = 0);
        self.without_contact = 0;
        self.calm = (0, 0);
    }

    /// Axles for vehicles that parted from the train: none of them moves again, so none loses contact.
    pub(crate) fn parted(&self) -> Self {
        let dirt = self.dirt.clone();
        Self { rows: Vec::new(), calm: (0, 0), without_contact: 0, loss: None, dirt, until_dirt: 0 }
    }

    /// No axle loses contact any more, and every one has it.
    pub(crate) fn heal(&mut self) {
        self.loss = None;
        self.regain_contact();
    }

    /// How many axles are without contact.
    pub(crate) fn without_contact(&self) -> usize {
        self.without_contact
    }

    /// Every axle loses contact for so many milliseconds of rolling. Tells how many had it.
    pub(crate) fn lose_all(&mut self, gap_ms: i64) -> usize {
        (0..self.rows.len()).map(|index| self.lose(index, gap_ms)).sum()
    }

    /// Lets axles lose contact, and gain it again, as the train rolls for one tick. Tells how many lost it on clean rails.
    pub(crate) fn roll(&mut self, front: i64, distance: i64, pieces: &VecDeque<Piece>, dirty: &[SectionId]) -> usize {
        if self.without_contact > 0 {
            self.bridge_gaps();
        }
        let mut lost = 0;
        if let Some(loss) = &mut self.loss {
            loss.until -= distance.abs() * self.rows.len() as i64;
            if loss.until <= 0 {
                loss.until = exponential(loss.mean, &mut loss.stream);
                let index = loss.stream.below(self.rows.len() as u64) as usize;
                let gap = loss.stream.between(GAP_MS.0, GAP_MS.1);
                lost += self.lose(index, gap);
            }
        }
        if !dirty.is_empty() && !self.rows.is_empty() {
            self.roll_on_dirt(front, distance, pieces, dirty);
        }
        lost
    }

    fn roll_on_dirt(&mut self, front: i64, distance: i64, pieces: &VecDeque<Piece>, dirty: &[SectionId]) {
        self.until_dirt -= distance.abs() * self.rows.len() as i64;
        while self.until_dirt <= 0 {
            self.until_dirt += exponential(DIRT_SPACING, &mut self.dirt);
            let index = self.dirt.below(self.rows.len() as u64) as usize;
            let gap = self.dirt.between(GAP_MS.0, GAP_MS.1);
            let place = front - self.rows[index].behind;
            let on = pieces.iter().find(|piece| piece.from <= place && place < piece.to);
            if on.and_then(|piece| piece.on.track()).is_some_and(|on| dirty.contains(&on.section)) {
                self.lose(index, gap);
            }
        }
    }

    fn lose(&mut self, index: usize, gap_ms: i64) -> usize {
        let axle = &mut self.rows[index];
        let had_contact = axle.gap_ms == 0;
        axle.gap_ms = axle.gap_ms.max(gap_ms);
        if had_contact {
            self.without_contact += 1;
            self.calm = (0, 0);
        }
        usize::from(had_contact)
    }

    fn bridge_gaps(&mut self) {
        for axle in self.rows.iter_mut().filter(|axle| axle.gap_ms > 0) {
            axle.gap_ms = (axle.gap_ms - TICK_MS).max(0);
            if axle.gap_ms == 0 {
                self.without_contact -= 1;
                self.calm = (0, 0);
            }
        }
    }

    /// Finds anew what each piece carries, where an axle came to another piece, lost contact or gained it.
    pub(crate) fn look(&mut self, front: i64, pieces: &mut VecDeque<Piece>, changes: &mut Vec<Change>) {
        if self.calm.0 <= front && front < self.calm.1 {
            return;
        }
        self.calm = (i64::MIN, i64::MAX);
        for piece in pieces {
            let mut load = Load::NONE;
            for axle in &self.rows {
                let place = front - axle.behind;
                for joint in [piece.from, piece.to] {
                    if place >= joint {
                        self.calm.0 = self.calm.0.max(joint + axle.behind);
                    } else {
                        self.calm.1 = self.calm.1.min(joint + axle.behind);
                    }
                }
                if piece.from <= place && place < piece.to && axle.gap_ms == 0 {
                    load += axle.load;
                }
            }
            piece.carry(load, changes);
        }
    }
}

/// The axles of vehicles, front first. A vehicle of which only was said from where to where it can be detected has axles
/// there that draw more than any detector misses.
fn axles_of(vehicles: &[Vehicle]) -> Vec<Axle> {
    let (mut rows, mut start) = (Vec::new(), 0);
    for vehicle in vehicles {
        for axle in &vehicle.axles {
            let load = match axle.draw {
                Draw::Resistor(resistance) => Load::resistor(resistance.ohm()),
                Draw::Share(current) => Load::share(current.ua()),
            };
            rows.push(Axle { behind: start + axle.at.um(), load, gap_ms: 0 });
        }
        if let (true, Some((first, last))) = (vehicle.axles.is_empty(), vehicle.detectable) {
            rows.extend(spread(first, last).map(|at| Axle { behind: start + at, load: Load::ample(), gap_ms: 0 }));
        }
        start += vehicle.length.um();
    }
    rows
}

/// Axles from a vehicle's first to its last, as many as a train of today has.
fn spread(first: Length, last: Length) -> impl Iterator<Item = i64> {
    let (first, last) = (first.um(), last.um());
    let gaps = ((last - first) + AXLE_SPACING - 1) / AXLE_SPACING;
    (0..=gaps).map(move |index| first + (last - first) * index / gaps.max(1))
}
