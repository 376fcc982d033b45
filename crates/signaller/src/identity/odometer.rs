//! How far trains can have moved: bounds from how they are driven.

use std::collections::VecDeque;
use std::time::Duration;

use track::{Id, Length, Speed, Table, TrainId};

use super::account::{Head, Stand, Who};
use super::picture::Pace;
use crate::roster::Roster;
use crate::time::Time;

/// How late a report may be beside what its detector is said to take. Common practice, no source.
pub(crate) const LATE: Duration = Duration::from_millis(150);

/// Now and then a report takes so long. Common practice, no source.
const VERY_LATE: Duration = Duration::from_secs(3);

/// No report that arrives takes longer: of a slow detector, by a busy bus. Common practice, no source.
pub(crate) const LATEST: Duration = Duration::from_secs(5);

/// How far the measured length of a section may be off. Common practice, no source: a tape along the track does better.
pub(crate) const MEASURED_WITHIN: Length = Length::from_mm(10);

/// Whether a train can have left the section of its nose.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Leaving {
    Possible,
    /// It did so before it came to stand, and the report took very long.
    ToldLate,
    /// It may do otherwise than it is told.
    Disobeying,
    Impossible,
}

/// Distances travelled by every train that is driven.
#[derive(Debug, Default, serde::Serialize, serde::Deserialize)]
pub(super) struct Odometers {
    rows: Table<TrainId, Option<Odometer>>,
    /// Trains that people have taken over.
    in_hand: Vec<TrainId>,
}

#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
struct Odometer {
    since: Time,
    pace: Pace,
    /// Travelled until `since`, in micrometres.
    least: i64,
    most: i64,
    recent: Recent,
    /// Until then it may do otherwise than it is told.
    mistrusted_until: Option<Time>,
}

/// How fast a train may have been of late: stretches of time, each with the highest speed in it, the newest last.
#[derive(Clone, Debug, Default, serde::Serialize, serde::Deserialize)]
struct Recent {
    stretches: VecDeque<(Time, Speed)>,
    /// The highest speed there ever was.
    top: Speed,
}

/// So many stretches are kept. A train that brakes makes ten a second.
const STRETCHES: usize = 64;

impl Recent {
    /// From now on it may be so fast.
    fn note(&mut self, now: Time, most: Speed) {
        let most = most.max(Speed::ZERO);
        self.top = self.top.max(most);
        match self.stretches.back_mut() {
            Some((since, speed)) if *since == now => *speed = (*speed).max(most),
            Some((_, speed)) if *speed == most => {}
            _ => {
                if self.stretches.len() == STRETCHES {
                    self.stretches.pop_front();
                }
                self.stretches.push_back((now, most));
            }
        }
    }

    /// How far it may have run within the last `span`.
    fn within(&self, now: Time, span: Duration) -> i64 {
        let (mut distance, mut end, from) = (0, now, now - span);
        for &(since, speed) in self.stretches.iter().rev() {
            let start = since.max(from);
            distance += speed.distance_in(end.since(start)).um();
            end = start;
            if start == from {
                return distance;
            }
        }
        // Before anything was said of it, it was not driven; what is forgotten was no faster than it ever was.
        if self.stretches.len() < STRETCHES { distance } else { distance + self.top.distance_in(end.since(from)).um() }
    }
}

impl Odometer {
    fn at(&self, now: Time) -> (i64, i64) {
        let time = now.since(self.since);
        (self.least + self.pace.least.distance_in(time).um(), self.most + self.pace.most.distance_in(time).um())
    }

    /// How far it may have run within the last `span`.
    fn lately(&self, now: Time, span: Duration) -> i64 {
        self.recent.within(now, span)
    }
}

impl Odometers {
    /// From now on the train moves between these speeds.
    pub fn set_pace(&mut self, train: TrainId, now: Time, pace: Pace) {
        self.in_hand.retain(|&other| other != train);
        while self.rows.len() <= train.index() {
            self.rows.push(None);
        }
        match &mut self.rows[train] {
            Some(odometer) => {
                (odometer.least, odometer.most) = odometer.at(now);
                (odometer.since, odometer.pace) = (now, pace);
                odometer.recent.note(now, pace.most);
            }
            none => {
                let mut recent = Recent::default();
                recent.note(now, pace.most);
                *none = Some(Odometer { since: now, pace, least: 0, most: 0, recent, mistrusted_until: None });
            }
        }
    }

    /// Nobody says any more how the train is driven: a person has taken it over.
    pub fn forget(&mut self, train: TrainId) {
        if !self.in_hand.contains(&train) {
            self.in_hand.push(train);
        }
        if self.rows.get(train).is_some() {
            self.rows[train] = None;
        }
    }

    /// Whether the train does as it is told is in question until then.
    pub fn mistrust(&mut self, train: TrainId, until: Time) {
        let is_there = self.rows.get(train).is_some();
        if let Some(odometer) = is_there.then(|| self.rows[train].as_mut()).flatten() {
            odometer.mistrusted_until = odometer.mistrusted_until.max(Some(until));
        }
    }

    /// Whether it may do otherwise than it is told.
    pub fn is_mistrusted(&self, who: Who, now: Time) -> bool {
        self.row(who).and_then(|odometer| odometer.mistrusted_until).is_some_and(|until| now < until)
    }

    /// Whether somebody says how the train is driven.
    pub fn is_driven(&self, who: Who) -> bool {
        self.row(who).is_some()
    }

    /// Whether somebody says how any train is driven.
    pub fn is_any_driven(&self) -> bool {
        self.rows.iter().any(|(_, row)| row.is_some()) || !self.in_hand.is_empty()
    }

    /// Whether a person has taken the train over, and drives it as they like.
    pub fn is_in_hand(&self, who: Who) -> bool {
        who.known().is_some_and(|train| self.in_hand.contains(&train))
    }

    /// Whether the train moves, or came to stand a moment ago, as far as anybody says.
    pub fn has_moved(&self, who: Who, now: Time) -> bool {
        self.row(who).is_none_or(|odometer| odometer.lately(now, LATE + LATE) > 0 || odometer.pace.most > Speed::ZERO)
    }

    /// Whether the train surely stood for so long by what it was told; not of one of which nobody says how it is driven.
    pub fn has_stood(&self, who: Who, now: Time, span: Duration) -> bool {
        self.row(who).is_some_and(|odometer| odometer.pace.most == Speed::ZERO && odometer.lately(now, span) == 0)
    }

    fn row(&self, who: Who) -> Option<&Odometer> {
        if self.rows.is_empty() {
            return None;
        }
        who.known().and_then(|train| self.rows.get(train)).and_then(Option::as_ref)
    }

    /// Bounds of the train's first detectable axle, as a distance beyond the entry of its nose's section.
    pub fn head(&self, stand: &Stand, now: Time) -> Option<(Length, Length)> {
        if !stand.head.is_known() {
            return None;
        }
        let (least, most) = self.row(stand.who)?.at(now);
        Some((Length::from_um(stand.head.least + least), Length::from_um(stand.head.most + most)))
    }

    /// The same of a train that surely stands, whenever that is; nothing of any other.
    pub fn head_standing(&self, stand: &Stand) -> Option<(Length, Length)> {
        let odometer = self.row(stand.who)?;
        let stands = odometer.pace.most == Speed::ZERO;
        self.head(stand, odometer.since).filter(|_| stands)
    }

    /// How far beyond the entry of its nose's section the train's first detectable axle is at most, even if one report came late.
    pub fn far(&self, stand: &Stand, now: Time) -> Option<Length> {
        let odometer = self.row(stand.who)?;
        stand.head.is_known().then(|| Length::from_um(stand.head.far + odometer.at(now).1))
    }

    /// The head of a train whose first detectable axle has just been reported beyond a joint, by a detector that takes so long
    /// to say so, and whose report was kept back so long.
    pub fn head_at_joint(&self, who: Who, now: Time, on_delay: Duration, kept_back: Duration) -> Head {
        let Some(odometer) = self.row(who) else { return Head::UNKNOWN };
        let (least, most) = odometer.at(now);
        // When what was kept back was first said nobody knows.
        let surely = if kept_back.is_zero() { odometer.pace.least.distance_in(on_delay).um() } else { 0 };
        let beyond = (surely, odometer.lately(now, on_delay + kept_back + LATE));
        let far = odometer.lately(now, on_delay + kept_back + LATEST) - most;
        Head { least: beyond.0 - least, most: beyond.1 - most, far, came_in: true, slack: 0, proved: 0, near: 0 }
    }

    /// A head between two places, and proved to be beyond a third.
    pub fn head_between(&self, who: Who, now: Time, (least, most): (Length, Length), proved: Length) -> Head {
        let Some(odometer) = self.row(who) else { return Head::UNKNOWN };
        let travelled = odometer.at(now);
        Head {
            least: least.um() - travelled.0,
            most: most.um() - travelled.1,
            far: most.um() - travelled.1,
            came_in: false,
            slack: 0,
            proved: proved.um(),
            near: proved.um(),
        }
    }

    /// Whether the train can have reached the far end of a way of this length in the section of its nose, before what was kept back
    /// so long was heard.
    pub fn leaving(&self, stand: &Stand, length: Option<Length>, now: Time, kept_back: Duration) -> Leaving {
        let Some(odometer) = self.row(stand.who) else { return Leaving::Possible };
        let reach = stand.head.most + odometer.at(now).1 + MEASURED_WITHIN.um() + odometer.lately(now, LATE);
        if stand.head.is_known() && length.is_some_and(|length| reach < length.um()) {
            return if self.is_mistrusted(stand.who, now) { Leaving::Disobeying } else { Leaving::Impossible };
        }
        let surely_at = stand.head.least + odometer.at(now).0;
        let surely_left = stand.head.is_known() && length.is_some_and(|length| surely_at >= length.um());
        match now.since(odometer.since) {
            _ if odometer.pace.most > Speed::ZERO => Leaving::Possible,
            stood_for if stood_for < LATE + kept_back => Leaving::Possible,
            // It must have left, and a report is missing.
            _ if surely_left => Leaving::Possible,
            _ if self.is_mistrusted(stand.who, now) => Leaving::Disobeying,
            stood_for if stood_for < VERY_LATE => Leaving::ToldLate,
            _ => Leaving::Impossible,
        }
    }

    /// How far the train may have run within the last `span`.
    pub fn lately(&self, who: Who, now: Time, span: Duration) -> Length {
        self.row(who).map_or(Length::ZERO, |odometer| Length::from_um(odometer.lately(now, span)))
    }

    /// How far the train has run at least within the last `span`.
    pub fn least_within(&self, who: Who, span: Duration) -> Length {
        self.row(who).map_or(Length::ZERO, |odometer| odometer.pace.least.max(Speed::ZERO).distance_in(span))
    }
}

/// The length of a train from its first to its last axle that a detector can see, and its blind ends, front and rear.
pub(super) fn detectable_length(roster: &Roster, who: Who) -> Option<(Length, Length, Length)> {
    let measure = roster.measure(who.known()?)?;
    Some((measure.seen, measure.blind_front, measure.blind_rear))
}
