//! What is really so on the table: for the checkers and for people who watch. The signaller never sees any of it.

use std::time::Duration;

use signaller::{Direction, Time};
use smallvec::SmallVec;
use track::{Acceleration, Current, EndId, Length, Lie, SectionId, Speed, TrainId, Traverse, TurnoutId, WayId};

use crate::electrics::Load;
use crate::mishaps::Mishap;
use crate::rolling::{Lying, Piece};
use crate::table::Table;

/// A train in a section, seen or unseen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Presence {
    /// The body: a train, or what [`Table::belongs_to`] tells of.
    pub train: TrainId,
    /// Since when.
    pub since: Time,
    /// Since when axles of it draw current there, and all axles there together draw enough for the section's detector to see;
    /// nothing while that is not so. What else draws current there does not count.
    pub seen_since: Option<Time>,
    pub(crate) pieces: u32,
    /// What its axles draw there.
    pub(crate) load: Load,
}

/// A train was in a section, and left it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Departure {
    pub(crate) train: TrainId,
    pub(crate) came: Time,
    pub(crate) left: Time,
}

/// Where the leading end of a train is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Nose {
    /// The section.
    pub section: SectionId,
    /// The way.
    pub way: WayId,
    /// The end ahead.
    pub towards: EndId,
    /// How far it is to that end.
    pub short_of_end: Length,
}

/// Something that happened on the table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Happening {
    /// A train rolled into a section.
    Entered {
        /// The train.
        train: TrainId,
        /// The section.
        section: SectionId,
    },
    /// A train ran over a turnout that lay wrong or moved.
    Derailed {
        /// The train.
        train: TrainId,
        /// The turnout.
        turnout: TurnoutId,
        /// The section.
        section: SectionId,
    },
    /// Two trains touched.
    Collided {
        /// The one that moved.
        train: TrainId,
        /// The other.
        with: TrainId,
        /// Where.
        section: SectionId,
    },
    /// A train ran against the end of the track.
    HitBuffer {
        /// The train.
        train: TrainId,
        /// The end.
        at: EndId,
    },
    /// Something went wrong.
    Faulted {
        /// What, when, and with what.
        mishap: Mishap,
    },
}

/// A train that another one touches, and where.
pub(crate) struct Touched {
    pub(crate) train: TrainId,
    pub(crate) section: SectionId,
}

impl Table {
    /// The trains in a section, whatever a detector sees of them.
    pub fn trains_in(&self, section: SectionId) -> &[Presence] {
        &self.presences[section]
    }

    /// Whether any of the train is in the section.
    pub fn covers(&self, train: TrainId, section: SectionId) -> bool {
        let is_of = |body| body == train || self.belongs_to(body) == Some(train);
        self.presences[section].iter().any(|presence| is_of(presence.train))
    }

    /// Whether a train runs into vehicles that parted from it, with the tip that leads. If it backs up to them it couples up to
    /// them again, as real couplings do, and runs into nothing.
    pub(crate) fn runs_into_its_tail(&mut self, train: TrainId, tail: TrainId) -> bool {
        let backs = self.trains[train].speed < 0;
        let leading = if backs { Direction::Backward } else { Direction::Forward };
        let Some(tip) = self.trains[train].covered_at_tip(leading, &self.ground) else { return false };
        let lying = &self.trains[tail];
        let mut stretches = lying.pieces.iter().filter_map(|piece| lying.covered(piece, &self.ground));
        if !stretches.any(|(way, from, to)| way == tip.0 && from <= tip.2 && tip.1 <= to) {
            return false;
        }
        if backs {
            self.join(train, tail);
            self.end(crate::faults::Fault::Parted, train);
        }
        !backs
    }

    /// Since when any of the body is in the section.
    pub(crate) fn present_since(&self, body: TrainId, section: SectionId) -> Option<Time> {
        self.presence(section, body).map(|presence| presence.since)
    }

    /// How the train needs a turnout to lie in a section where it stands.
    pub(crate) fn needed_lies(&self, train: TrainId, section: SectionId, turnout: TurnoutId) -> Vec<Lie> {
        let on = self.trains[train].pieces.iter().filter_map(|piece| piece.on.track());
        let needs = on.filter(|on| on.section == section).flat_map(|on| &self.layout().ways[on.way].needs);
        needs.filter(|need| need.turnout == turnout).map(|need| need.lie).collect()
    }

    /// Whether a turnout lies otherwise than it was ordered, and nobody can know: what was reported since says that it lies so;
    /// or it reports nothing, and the time is over that it may take to move.
    pub fn lies_unknown(&self, turnout: TurnoutId, at: Time) -> bool {
        let Some((ordered, since)) = self.ordered_lie(turnout) else { return false };
        let described = &self.layout().turnouts[turnout];
        let is_believed = if described.reported {
            self.told_lie(turnout).is_some_and(|(told, told_at)| told == ordered && told_at >= since)
        } else {
            at >= since + described.throw_time
        };
        is_believed && self.lie(turnout) != Some(ordered)
    }

    /// Whether a turnout of a section lies otherwise than anybody knows for somebody who enters by `enter`.
    pub(crate) fn unknown_way(&self, enter: EndId, at: Time) -> bool {
        let layout = self.layout();
        let mut needs = layout.ways_from(enter).flat_map(|(way, _)| &layout.ways[way].needs);
        needs.any(|need| self.lies_unknown(need.turnout, at))
    }

    /// How long the train needs to stand from that speed, or any that it can have within `delay` from then.
    pub(crate) fn braking_time(&self, train: TrainId, speed: i64, delay: Duration) -> Duration {
        let rolling = &self.trains[train];
        let gathered = rolling.gathering * delay.as_millis() as i64 / 1000;
        Duration::from_millis(((speed.abs() + gathered) * 1000 / rolling.braking) as u64)
    }

    /// How fast the train was when it derailed or collided, backwards below zero.
    pub(crate) fn speed_before(&self, train: TrainId) -> i64 {
        self.trains[train].speed_before
    }

    /// Whether the train has wheels in the section. What sticks out into it beyond them does not count.
    pub fn stands_in(&self, train: TrainId, section: SectionId) -> bool {
        let rolling = &self.trains[train];
        let mut pieces = rolling.pieces.iter();
        pieces.any(|piece| piece.on.track().is_some_and(|on| on.section == section) && rolling.has_wheels_on(piece))
    }

    /// The current that all axles in a section draw through its detector; nothing where no detector watches it.
    pub fn current_in(&self, section: SectionId) -> Option<Current> {
        self.detectors.current_ua(section).map(Current::from_ua)
    }

    /// The last stay of the train in the section that is over.
    pub(crate) fn departure(&self, train: TrainId, section: SectionId) -> Option<&Departure> {
        self.departures[section].iter().find(|departure| departure.train == train)
    }

    /// When the train last left the section for good.
    pub fn left_at(&self, train: TrainId, section: SectionId) -> Option<Time> {
        self.departure(train, section).map(|departure| departure.left)
    }

    /// Whether the train stands on the table. Trains that the table does not know do not.
    pub fn is_on_table(&self, train: TrainId) -> bool {
        self.trains.get(train).is_some_and(crate::rolling::Rolling::is_on_table)
    }

    /// The train that left the section last; nothing where none ever did.
    pub(crate) fn last_to_leave(&self, section: SectionId) -> Option<TrainId> {
        self.departures[section].iter().max_by_key(|departure| departure.left).map(|departure| departure.train)
    }

    /// All trains on the table.
    pub fn trains_on_table(&self) -> impl Iterator<Item = TrainId> + '_ {
        self.trains.iter().filter(|(_, rolling)| rolling.is_on_table()).map(|(train, _)| train)
    }

    /// The sections that the train covers, rear first as it faces.
    pub fn footprint(&self, train: TrainId) -> SmallVec<[SectionId; 4]> {
        self.trains[train].pieces.iter().filter_map(|piece| piece.on.track()).map(|on| on.section).collect()
    }

    /// How far the train has come since it was put down, towards its front.
    pub fn travelled(&self, train: TrainId) -> Length {
        Length::from_um(self.trains[train].front)
    }

    /// The train's speed, backwards below zero.
    pub fn speed(&self, train: TrainId) -> Speed {
        self.trains.get(train).map_or(Speed::ZERO, |rolling| Speed::from_um(rolling.speed))
    }

    /// How fast the train runs at a step, as warm as it is, once it has settled.
    pub fn settled_speed(&self, train: TrainId, direction: Direction, step: u8) -> Speed {
        self.trains.get(train).map_or(Speed::ZERO, |rolling| rolling.settled_speed(direction, step))
    }

    /// How the train's decoder gathers and loses speed.
    pub fn momentum(&self, train: TrainId) -> Option<[Acceleration; 2]> {
        let rolling = self.trains.get(train)?;
        Some([rolling.gathering, rolling.braking].map(Acceleration::from_um))
    }

    /// How long the train needs to stand, once it brakes, from any speed that it can have within `delay` from now.
    pub fn time_to_stand(&self, train: TrainId, delay: Duration) -> Duration {
        let rolling = &self.trains[train];
        let gathered = rolling.gathering * delay.as_millis() as i64 / 1000;
        Duration::from_millis(((rolling.speed.abs() + gathered) * 1000 / rolling.braking) as u64)
    }

    /// Which way the train moves, or moved last.
    pub fn leading(&self, train: TrainId) -> Direction {
        self.trains[train].leading
    }

    /// The leading end of the train; nothing off the layout.
    pub fn nose(&self, train: TrainId) -> Option<Nose> {
        let rolling = self.trains.get(train)?;
        let (on, towards, short_of_end) = rolling.tip(rolling.leading)?;
        Some(Nose { section: on.section, way: on.way, towards, short_of_end })
    }

    /// The end of a section that the train's front or its rear points at, whichever leads in that direction; nothing off the
    /// layout.
    pub fn points_at(&self, train: TrainId, leading: Direction) -> Option<EndId> {
        self.trains.get(train)?.tip(leading).map(|(_, towards, _)| towards)
    }

    /// How far the train's nearer end is from an end of a section; nothing where neither of its ends lies on a way to it.
    pub fn short_of(&self, train: TrainId, end: EndId) -> Option<Length> {
        let rolling = self.trains.get(train)?;
        let tips = [rolling.tip(Direction::Forward), rolling.tip(Direction::Backward)];
        tips.into_iter().flatten().find(|&(_, towards, _)| towards == end).map(|(_, _, short)| short)
    }

    /// Whether the train derailed or collided.
    pub fn is_wrecked(&self, train: TrainId) -> bool {
        self.trains.get(train).is_some_and(|rolling| rolling.wrecked && rolling.is_on_table())
    }

    /// How a turnout lies; nothing while it moves.
    pub fn lie(&self, turnout: TurnoutId) -> Option<Lie> {
        self.ground.lie(turnout)
    }

    /// Whether ordering a turnout so would move it now.
    pub fn would_move(&self, turnout: TurnoutId, lie: Lie) -> bool {
        self.ground.would_move(turnout, lie)
    }

    /// The end by which a train that entered a section by `enter` would leave it; nothing where a turnout lies wrong or moves.
    pub fn way_through(&self, enter: EndId) -> Option<(WayId, EndId)> {
        match self.ground.way_set(enter)? {
            (on, None) => Some((on.way, on.leave)),
            (_, Some(_)) => None,
        }
    }

    /// The first turnout that lies wrong for somebody who enters by `enter`.
    pub fn wrong_turnout(&self, enter: EndId) -> Option<TurnoutId> {
        self.ground.way_set(enter)?.1
    }

    /// Whether the train lies across the joint at `end` with its nose beyond it: it is running past whatever stands there. If
    /// so, when the first detector beyond had something of it to see for as long as that detector takes to say so.
    pub fn running_past(&self, train: TrainId, end: EndId) -> Option<Option<Time>> {
        let rolling = &self.trains[train];
        let facing = |piece: &Piece| match (piece.on, rolling.leading) {
            (Lying::Track(on), Direction::Forward) => Some(on.leave),
            (Lying::Track(on), Direction::Backward) => Some(on.enter),
            (Lying::OffLayout(_), _) => None,
        };
        let mut pieces: SmallVec<[&Piece; 8]> = rolling.pieces.iter().collect();
        if rolling.leading == Direction::Backward {
            pieces.reverse();
        }
        let at = pieces.iter().position(|piece| facing(piece) == Some(end)).filter(|at| at + 1 < pieces.len())?;
        let beyond = pieces[at + 1..].iter().filter(|piece| piece.load.draws()).filter_map(|piece| piece.on.track());
        let said_at = |on: Traverse| {
            let detector = self.layout().sections[on.section].detector?;
            let seen_since = self.presence(on.section, train)?.seen_since?;
            Some(seen_since + self.layout().detectors[detector].on_delay)
        };
        Some(beyond.filter_map(said_at).min())
    }

    fn presence(&self, section: SectionId, train: TrainId) -> Option<&Presence> {
        self.presences[section].iter().find(|presence| presence.train == train)
    }

    /// Trains with wheels on a way which needs the turnout, each with the section.
    pub fn trains_over(&self, turnout: TurnoutId) -> Vec<(TrainId, SectionId)> {
        let layout = self.layout();
        let mut over = Vec::new();
        for &section in &layout.turnouts[turnout].sections {
            for presence in &self.presences[section] {
                let rolling = &self.trains[presence.train];
                let pieces = rolling.pieces.iter().filter(|piece| rolling.has_wheels_on(piece));
                let on = pieces.filter_map(|piece| piece.on.track());
                let mut ways = on.filter(|on| on.section == section).map(|on| &layout.ways[on.way]);
                if ways.any(|way| way.needs.iter().any(|need| need.turnout == turnout)) {
                    over.push((presence.train, section));
                }
            }
        }
        over
    }

    /// Trains that the train overlaps or touches.
    ///
    /// Where two ways of a section meet at an end, or need one turnout to lie both ways, nobody said where they are clear of
    /// each other, so trains with wheels on both count as touching, however far in they are.
    pub(crate) fn touching(&self, train: TrainId) -> SmallVec<[Touched; 1]> {
        let rolling = &self.trains[train];
        let mut touched = SmallVec::new();
        for piece in &rolling.pieces {
            let Some(on) = piece.on.track() else { continue };
            let presences = &self.presences[on.section];
            if presences.len() < 2 {
                continue;
            }
            for presence in presences.iter().filter(|presence| presence.train != train) {
                let other = &self.trains[presence.train];
                let covered = rolling.covered(piece, &self.ground);
                let others =
                    other.pieces.iter().filter(|piece| piece.on.track().is_some_and(|it| it.section == on.section));
                let stand_here = |theirs| rolling.has_wheels_on(piece) && other.has_wheels_on(theirs);
                let touches = |theirs| match (covered, other.covered(theirs, &self.ground)) {
                    (Some(ours), Some(its)) if ours.0 == its.0 => ours.1 <= its.2 && its.1 <= ours.2,
                    (Some(ours), Some(its)) => stand_here(theirs) && self.are_too_near(ours.0, its.0),
                    _ => false,
                };
                if others.into_iter().any(touches) {
                    touched.push(Touched { train: presence.train, section: on.section });
                }
            }
        }
        touched
    }

    fn are_too_near(&self, way: WayId, other: WayId) -> bool {
        let (way, other) = (&self.layout().ways[way], &self.layout().ways[other]);
        let shares_end = way.ends.iter().any(|end| other.ends.contains(end));
        let conflicts =
            |need: &track::Need| other.needs.iter().any(|it| it.turnout == need.turnout && it.lie != need.lie);
        shares_end || way.needs.iter().any(conflicts)
    }
}
