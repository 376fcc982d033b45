//! The track as it really is: true lengths, true turnouts, and where a wheel rolls next.

use std::sync::Arc;

use track::{
    Beyond, DetectorId, DetectorKind, EndId, Layout, Length, Lie, Renumbering, SectionId, Table as Rows, Train,
    Traverse, TurnoutId, WayId,
};

use crate::random::Stream;
use crate::settings::{FirstLie, Settings};

use signaller::Time;

/// What an unmeasured way may be long.
const UNMEASURED_MM: (i64, i64) = (600, 1400);

/// An unmeasured way is longer by so much than a train that stands on it first.
const ROOM_TO_STAND: Length = Length::from_mm(150);

/// The track and how its turnouts lie.
#[derive(Debug)]
pub(crate) struct Ground {
    pub(crate) layout: Arc<Layout>,
    lengths: Rows<WayId, Length>,
    turnouts: Rows<TurnoutId, Points>,
    next_lying: Option<Time>,
    spots: Rows<WayId, Vec<(DetectorId, i64)>>,
    junctions: Stream,
    /// The sections whose rails are dirty.
    pub(crate) dirty: Vec<SectionId>,
}

/// A turnout's blades.
#[derive(Clone, Debug)]
struct Points {
    lies: Option<Lie>,
    moving: Option<Movement>,
    stream: Stream,
}

/// A turnout on its way.
#[derive(Clone, Copy, Debug)]
struct Movement {
    to: Lie,
    done_at: Time,
    reports: Reports,
}

/// What a turnout reports when it has moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Reports {
    Truly,
    TheOpposite,
    Nothing,
}

/// What comes of throwing a turnout.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Fate {
    /// It moves as it should.
    Moves,
    /// It takes so many times as long.
    Slow(u32),
    /// It does not move, and reports nothing.
    Fails,
    /// It does not move, and reports that it did.
    FailsUnnoticed,
    /// It moves, and reports that it did not.
    MovesBelied,
    /// It moves, and reports nothing.
    MovesUnheard,
}

/// What lies beyond an end for a wheel that leaves by it.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Onward {
    /// Track; with the turnout that lies wrong for it, where one does.
    Track(Traverse, Option<TurnoutId>),
    /// Nothing: the track ends.
    Nothing,
    /// Track that is not part of the layout.
    OffLayout,
}

impl Ground {
    pub(crate) fn new(layout: Arc<Layout>, settings: &Settings) -> Self {
        let lengths = true_lengths(&layout, settings.seed);
        let points = layout.turnouts.values().map(|turnout| {
            let mut stream = Stream::labelled(settings.seed, &format!("turnout {}", turnout.name));
            let drawn = if stream.below(2) == 0 { Lie::Straight } else { Lie::Diverging };
            let lies = Some(match settings.turnouts_at_first {
                FirstLie::Straight => Lie::Straight,
                FirstLie::Drawn => drawn,
            });
            Points { lies, moving: None, stream }
        });
        let turnouts = points.collect();
        let spots = place_spots(&layout, &lengths, settings.seed);
        Self {
            junctions: Stream::labelled(settings.seed, "junctions"),
            layout,
            lengths,
            turnouts,
            next_lying: None,
            spots,
            dirty: Vec::new(),
        }
    }

    /// Takes over what is as it was: lengths, and how turnouts lie and move.
    pub(crate) fn take_from(&mut self, old: &mut Self, settings: &Settings, numbers: &Renumbering) {
        for (way, length) in old.lengths.iter() {
            if let Some(new) = numbers.ways[way] {
                self.lengths[new] = *length;
            }
        }
        self.spots = place_spots(&self.layout, &self.lengths, settings.seed);
        for (turnout, points) in old.turnouts.iter() {
            if let Some(new) = numbers.turnouts[turnout].filter(|_| !numbers.turnouts_touched.contains(&turnout)) {
                self.turnouts[new] = points.clone();
            }
        }
        self.find_next_lying();
    }

    /// The true length of a way.
    pub(crate) fn length(&self, way: WayId) -> Length {
        self.lengths[way]
    }

    /// The spot detectors on a way, each with its distance from the way's first end.
    pub(crate) fn spots(&self, way: WayId) -> &[(DetectorId, i64)] {
        &self.spots[way]
    }

    /// How a turnout lies; nothing while it moves.
    pub(crate) fn lie(&self, turnout: TurnoutId) -> Option<Lie> {
        self.turnouts[turnout].lies
    }

    /// The first turnout that lies wrong for a way, or moves.
    pub(crate) fn wrong_turnout(&self, way: WayId) -> Option<TurnoutId> {
        let needs = &self.layout.ways[way].needs;
        needs.iter().find(|need| self.turnouts[need.turnout].lies != Some(need.lie)).map(|need| need.turnout)
    }

    /// The way that the turnouts lie for, entering a section by `enter`; else the one against which the fewest lie, and of several
    /// the one towards which those move that do.
    pub(crate) fn way_set(&self, enter: EndId) -> Option<(Traverse, Option<TurnoutId>)> {
        let wrongs = |way: WayId| {
            let (mut against, mut moving_away, mut moving) = (0, 0, 0);
            for need in &self.layout.ways[way].needs {
                let points = &self.turnouts[need.turnout];
                match points.lies {
                    Some(lie) => against += usize::from(lie != need.lie),
                    None => {
                        moving += 1;
                        moving_away += usize::from(points.moving.is_some_and(|movement| movement.to != need.lie));
                    }
                }
            }
            (against, moving_away, moving)
        };
        let (way, leave) = self.layout.ways_from(enter).min_by_key(|&(way, _)| wrongs(way))?;
        let traverse = Traverse { section: self.layout.ends[enter].section, enter, way, leave };
        Some((traverse, self.wrong_turnout(way)))
    }

    /// Where a wheel rolls that leaves a section by `leave`. At a junction that nobody works and nobody reports, chance throws.
    pub(crate) fn onward(&mut self, leave: EndId) -> Onward {
        let end = &self.layout.ends[leave];
        let next = match end.meets[..] {
            [] if end.beyond == Beyond::OffLayout => return Onward::OffLayout,
            [] => return Onward::Nothing,
            [only] => only,
            ref several => several[self.junctions.below(several.len() as u64) as usize],
        };
        self.entering(next)
    }

    /// Where a wheel rolls that enters a section by `enter`.
    pub(crate) fn entering(&self, enter: EndId) -> Onward {
        match self.way_set(enter) {
            Some((traverse, wrong)) => Onward::Track(traverse, wrong),
            None => Onward::Nothing,
        }
    }

    /// Whether ordering a turnout so would move it now.
    pub(crate) fn would_move(&self, turnout: TurnoutId, lie: Lie) -> bool {
        let points = &self.turnouts[turnout];
        let heading = points.moving.map(|movement| movement.to).or(points.lies);
        self.layout.turnouts[turnout].worked && heading != Some(lie)
    }

    /// Starts to move a turnout. It takes its throw time or a little less.
    pub(crate) fn throw(&mut self, turnout: TurnoutId, lie: Lie, now: Time, fate: Fate) {
        let points = &mut self.turnouts[turnout];
        let share = points.stream.between(700, 1000) as u32;
        let takes = self.layout.turnouts[turnout].throw_time / 1000 * share;
        let moves = Movement { to: lie, done_at: now + takes, reports: Reports::Truly };
        points.moving = match fate {
            Fate::Moves => Some(moves),
            Fate::Slow(times) => Some(Movement { done_at: now + takes * times, ..moves }),
            Fate::MovesUnheard => Some(Movement { reports: Reports::Nothing, ..moves }),
            Fate::MovesBelied => Some(Movement { reports: Reports::TheOpposite, ..moves }),
            Fate::Fails => return,
            Fate::FailsUnnoticed => {
                let stays = points.lies.unwrap_or(lie.other());
                Some(Movement { to: stays, reports: Reports::TheOpposite, ..moves })
            }
        };
        if fate != Fate::FailsUnnoticed {
            points.lies = None;
        }
        self.find_next_lying();
    }

    /// When the next turnout comes to lie.
    pub(crate) fn next_due(&self) -> Option<Time> {
        self.next_lying
    }

    fn find_next_lying(&mut self) {
        self.next_lying =
            self.turnouts.values().filter_map(|points| points.moving).map(|movement| movement.done_at).min();
    }

    /// Whether a turnout is on its way.
    pub(crate) fn is_moving(&self, turnout: TurnoutId) -> bool {
        self.turnouts[turnout].moving.is_some()
    }

    /// Finishes the movements that are over by `now`, and tells which turnouts say how they lie, and what they say.
    pub(crate) fn settle(&mut self, now: Time) -> Vec<(TurnoutId, Lie)> {
        let mut done = Vec::new();
        for turnout in self.turnouts.ids() {
            let points = &mut self.turnouts[turnout];
            if let Some(movement) = points.moving.filter(|movement| movement.done_at <= now) {
                points.lies = Some(movement.to);
                points.moving = None;
                match movement.reports {
                    Reports::Truly => done.push((turnout, movement.to)),
                    Reports::TheOpposite => done.push((turnout, movement.to.other())),
                    Reports::Nothing => {}
                }
            }
        }
        self.find_next_lying();
        done
    }

    /// Lays turnouts for a way by hand, at once.
    pub(crate) fn lay_for(&mut self, way: WayId) {
        let layout = Arc::clone(&self.layout);
        for need in &layout.ways[way].needs {
            self.turnouts[need.turnout].lies = Some(need.lie);
            self.turnouts[need.turnout].moving = None;
        }
        self.find_next_lying();
    }
}

/// The measured lengths, and drawn ones where nobody measured: long enough for the train that stands there first.
fn true_lengths(layout: &Layout, seed: u64) -> Rows<WayId, Length> {
    let mut stream = Stream::labelled(seed, "unmeasured ways");
    let needed = |section| {
        let stands = |train: &&Train| train.start.as_ref().is_some_and(|start| start.on.contains(&section));
        let longest = layout.trains.values().filter(stands).filter_map(Train::length).max();
        longest.map_or(Length::ZERO, |longest| longest + ROOM_TO_STAND)
    };
    let mut drawn = |section| {
        let (least, most) = UNMEASURED_MM;
        Length::from_mm(stream.between(least, most)).max(needed(section))
    };
    layout.ways.values().map(|way| way.length.unwrap_or_else(|| drawn(way.section))).collect()
}

/// Where the spot detectors really are; one that nobody measured, somewhere on its way.
fn place_spots(layout: &Layout, lengths: &Rows<WayId, Length>, seed: u64) -> Rows<WayId, Vec<(DetectorId, i64)>> {
    let mut spots = Rows::filled(Vec::new(), layout.ways.len());
    for (id, detector) in layout.detectors.iter() {
        if let DetectorKind::Spot { way, from_first_end } = detector.kind {
            let mut stream = Stream::labelled(seed, &format!("place of {}", detector.name));
            let drawn = lengths[way].scaled(stream.between(100, 900), 1000);
            spots[way].push((id, from_first_end.unwrap_or(drawn).um()));
        }
    }
    spots
}
