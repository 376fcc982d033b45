//! How turnouts lie, as far as that is known: reported, or thrown and given time where nothing reports.

use std::sync::Arc;
use std::time::Duration;

use smallvec::SmallVec;
use track::{Layout, Lie, Table, TrainId, TurnoutId, WayId};

use crate::door::Output;
use crate::snapshot::kept;
use crate::time::Time;

/// So often a turnout is thrown before people are told that it does not move.
const TRIES_BEFORE_STUCK: u8 = 3;
/// A turnout that does not move is tried again this often.
const RETRY_STUCK: Duration = Duration::from_secs(5);

/// A report that a turnout has moved may come so much later than it does. Common practice, no source.
const REPORT_LATE: Duration = Duration::from_millis(500);

/// All turnouts.
#[derive(Clone, Debug)]
pub(crate) struct Turnouts {
    layout: Arc<Layout>,
    rows: Table<TurnoutId, Row>,
    moving: Vec<TurnoutId>,
    /// Those thrown since somebody asked last.
    thrown: Vec<TurnoutId>,
}

kept!(Turnouts { kept: [rows, moving, thrown], parts: [], made_anew: [layout] });

#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
struct Row {
    /// How it lies, unless it moves or nobody knows.
    lies: Option<Lie>,
    /// Whether its reports are to be waited for.
    reports: bool,
    movement: Option<Movement>,
    /// It was thrown, or found to lie otherwise than was thought.
    was_used: bool,
    /// A train was led another way than it was thought to lie: it is not thrown, and what it reports is not believed, until somebody
    /// who saw to it has it thrown.
    is_doubtful: bool,
    /// One entry for every passage over it that was granted.
    locks: SmallVec<[TrainId; 2]>,
}

#[derive(Clone, Copy, Debug, serde::Serialize, serde::Deserialize)]
struct Movement {
    to: Lie,
    due: Time,
    tries: u8,
}

impl Turnouts {
    pub(crate) fn new(layout: Arc<Layout>) -> Self {
        let row = |reports| Row {
            lies: None,
            reports,
            movement: None,
            was_used: false,
            is_doubtful: false,
            locks: SmallVec::new(),
        };
        let rows = layout.turnouts.values().map(|turnout| row(turnout.reported)).collect();
        Self { rows, layout, moving: Vec::new(), thrown: Vec::new() }
    }

    /// How it lies; nothing while it moves and where nobody knows.
    pub(crate) fn lie(&self, turnout: TurnoutId) -> Option<Lie> {
        let row = &self.rows[turnout];
        if row.movement.is_some() { None } else { row.lies }
    }

    /// A train was led by it as if it lay so; nothing where nobody saw how it came to where it is. Tells whether it was believed until
    /// now.
    pub(crate) fn led(&mut self, turnout: TurnoutId, lie: Option<Lie>) -> bool {
        let row = &mut self.rows[turnout];
        if std::mem::replace(&mut row.is_doubtful, true) {
            return false;
        }
        row.was_used = true;
        // One that reports otherwise may lie in any way.
        row.lies = lie.filter(|_| !row.reports);
        row.movement = None;
        self.moving.retain(|&other| other != turnout);
        true
    }

    /// Somebody said that a train lies over it so. That is believed where nothing reports it and it was never thrown, so that nobody
    /// knew how it lies; tells whether it was.
    pub(crate) fn is_told(&mut self, turnout: TurnoutId, lie: Lie) -> bool {
        let row = &mut self.rows[turnout];
        let is_unknown = !row.reports && !row.was_used && row.lies.is_none();
        if is_unknown {
            row.lies = Some(lie);
        }
        is_unknown
    }

    /// Somebody saw to it.
    pub(crate) fn believe(&mut self, turnout: TurnoutId) {
        self.rows[turnout].is_doubtful = false;
    }

    /// Whether it led a train another way than it was thought to lie, and nobody has seen to it since.
    pub(crate) fn is_doubtful(&self, turnout: TurnoutId) -> bool {
        self.rows[turnout].is_doubtful
    }

    /// Whether every turnout is known to lie as the way needs it.
    pub(crate) fn way_lies(&self, way: WayId) -> bool {
        self.layout.ways[way].needs.iter().all(|need| self.lie(need.turnout) == Some(need.lie))
    }

    /// Whether it was thrown several times and never got there.
    pub(crate) fn is_stuck(&self, turnout: TurnoutId) -> bool {
        let row = &self.rows[turnout];
        row.is_doubtful || row.movement.is_some_and(|movement| movement.tries >= TRIES_BEFORE_STUCK)
    }

    pub(crate) fn locked_by(&self, turnout: TurnoutId) -> &[TrainId] {
        &self.rows[turnout].locks
    }

    pub(crate) fn lock(&mut self, way: WayId, train: TrainId) {
        for need in &self.layout.ways[way].needs {
            self.rows[need.turnout].locks.push(train);
        }
    }

    pub(crate) fn unlock(&mut self, way: WayId, train: TrainId) {
        for place in 0..self.layout.ways[way].needs.len() {
            self.unlock_one(self.layout.ways[way].needs[place].turnout, train);
        }
    }

    pub(crate) fn lock_one(&mut self, turnout: TurnoutId, train: TrainId) {
        self.rows[turnout].locks.push(train);
    }

    pub(crate) fn unlock_one(&mut self, turnout: TurnoutId, train: TrainId) {
        let locks = &mut self.rows[turnout].locks;
        let place = locks.iter().position(|&holder| holder == train);
        debug_assert!(place.is_some(), "{turnout:?} was not locked for {train:?}");
        if let Some(place) = place {
            locks.swap_remove(place);
        }
    }

    /// Whether it is on its way.
    pub(crate) fn moves(&self, turnout: TurnoutId) -> bool {
        self.rows[turnout].movement.is_some()
    }

    /// Takes note of a report. A turnout on its way has arrived only when it reports the side it was thrown to.
    pub(crate) fn report(&mut self, turnout: TurnoutId, lie: Option<Lie>) {
        let row = &mut self.rows[turnout];
        row.reports = true;
        if row.is_doubtful {
            return;
        }
        row.lies = lie;
        if row.movement.is_some_and(|movement| Some(movement.to) == lie) {
            row.movement = None;
            self.moving.retain(|&other| other != turnout);
        }
    }

    /// Throws it, unless it lies so, is on its way there, or is not to be thrown. Whether that is allowed is for the caller to know.
    pub(crate) fn throw(&mut self, turnout: TurnoutId, lie: Lie, now: Time, outputs: &mut Vec<Output>) {
        let row = &mut self.rows[turnout];
        if row.is_doubtful {
            return;
        }
        let (lies_so, on_its_way) = (row.lies == Some(lie), row.movement.map(|movement| movement.to));
        if on_its_way == Some(lie) || (on_its_way.is_none() && lies_so) {
            return;
        }
        let late = if row.reports { REPORT_LATE } else { Duration::ZERO };
        let due = now + self.layout.turnouts[turnout].throw_time + late;
        row.movement = Some(Movement { to: lie, due, tries: 1 });
        row.was_used = true;
        if on_its_way.is_none() {
            self.moving.push(turnout);
        }
        self.thrown.push(turnout);
        outputs.push(Output::Throw { turnout, lie });
    }

    /// Works through the turnouts whose time to move is over: those that do not report lie as thrown, the others are tried
    /// again where `may_move` allows it.
    pub(crate) fn settle(
        &mut self,
        now: Time,
        may_move: impl Fn(&Self, TurnoutId) -> bool,
        outputs: &mut Vec<Output>,
        changed: &mut Vec<TurnoutId>,
    ) {
        let mut place = 0;
        while let Some(&turnout) = self.moving.get(place) {
            let Some(movement) = self.rows[turnout].movement.filter(|movement| movement.due <= now) else {
                place += 1;
                continue;
            };
            changed.push(turnout);
            if !self.rows[turnout].reports {
                self.rows[turnout].lies = Some(movement.to);
                self.rows[turnout].movement = None;
                self.moving.swap_remove(place);
                continue;
            }
            let stuck = movement.tries >= TRIES_BEFORE_STUCK;
            let pause = if stuck { RETRY_STUCK } else { self.layout.turnouts[turnout].throw_time + REPORT_LATE };
            if may_move(self, turnout) {
                outputs.push(Output::Throw { turnout, lie: movement.to });
            }
            let tries = movement.tries.saturating_add(1);
            self.rows[turnout].movement = Some(Movement { due: now + pause, tries, ..movement });
            place += 1;
        }
    }

    /// A turnout that was thrown since this was asked last: until it settles nobody knows how it lies.
    pub(crate) fn next_thrown(&mut self) -> Option<TurnoutId> {
        self.thrown.pop()
    }

    /// Whereto it is on its way, and how often it was thrown for that.
    #[cfg(test)]
    pub(super) fn on_its_way(&self, turnout: TurnoutId) -> Option<(Lie, u8)> {
        self.rows[turnout].movement.map(|movement| (movement.to, movement.tries.min(TRIES_BEFORE_STUCK)))
    }

    /// The turnouts that are on their way.
    pub(super) fn moving(&self) -> impl Iterator<Item = TurnoutId> + '_ {
        self.moving.iter().copied()
    }

    /// Whether any turnout is on its way.
    pub(crate) fn any_moves(&self) -> bool {
        !self.moving.is_empty()
    }

    pub(crate) fn wake_at(&self) -> Option<Time> {
        self.moving.iter().filter_map(|&turnout| self.rows[turnout].movement.map(|movement| movement.due)).min()
    }
}
