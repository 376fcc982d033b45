//! One train on the track: where it lies, how it gathers speed and brakes, and what it touches as it rolls.

use std::collections::VecDeque;
use std::time::Duration;

use signaller::Direction;
use track::{Acceleration, DetectorId, EndId, Length, SectionId, Speed, Train, Traverse, TurnoutId, Vehicle, WayId};

use crate::axles::Axles;
use crate::curve::SpeedCurve;
use crate::electrics::Load;
use crate::ground::{Ground, Onward};
use crate::random::Stream;
use crate::settings::{Momentum, Settings, TICK};
use crate::temper::Temper;

/// What a train is like where nobody described it.
const LENGTH_UNKNOWN: Length = Length::from_mm(200);
const ACCELERATION_UNKNOWN: Acceleration = Acceleration::from_mm(150);
const BRAKING_UNKNOWN: Acceleration = Acceleration::from_mm(200);

/// How decoders that nobody measured gather and lose speed, in millimetres a second squared. Common practice, no source.
const GATHERING_DRAWN: (i64, i64) = (50, 250);
const BRAKING_DRAWN: (i64, i64) = (100, 300);

/// What counts as the tip of a train: more than any train moves in a tick.
const TIP: i64 = 6_000;

/// How far the track goes beyond the layout.
const FAR: i64 = i64::MAX / 4;

/// A locomotive that stalls, or is stopped in an emergency, comes to stand so many times quicker than by braking: its motor holds it. Common practice, no source.
const STALL_BRAKES: i64 = 4;

const TICK_MS: i64 = TICK.as_millis() as i64;

/// One end of a train, in its own frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Tip {
    /// The front of its first vehicle.
    Front,
    /// The rear of its last vehicle.
    Rear,
}

/// A passage that a train lies on, or lay on a moment ago. Places are micrometres along the train's own odometer, which
/// counts towards its front; a passage keeps its places, the train moves.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Piece {
    pub(crate) on: Lying,
    pub(crate) from: i64,
    pub(crate) to: i64,
    /// What the axles that stand on it draw.
    pub(crate) load: Load,
}

impl Piece {
    fn new(on: Lying, from: i64, to: i64) -> Self {
        Self { on, from, to, load: Load::NONE }
    }

    /// Takes on what axles draw from it now.
    pub(crate) fn carry(&mut self, load: Load, changes: &mut Vec<Change>) {
        if let (Lying::Track(on), true) = (self.on, load != self.load) {
            changes.push(Change::Draws { section: on.section, before: self.load, now: load });
            self.load = load;
        }
    }
}

/// What a piece lies on.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Lying {
    /// A passage, as the train faces.
    Track(Traverse),
    /// Track beyond the layout, which it left by this end.
    OffLayout(EndId),
}

impl Lying {
    pub(crate) fn track(self) -> Option<Traverse> {
        match self {
            Self::Track(traverse) => Some(traverse),
            Self::OffLayout(_) => None,
        }
    }
}

/// What a train did to the track as it rolled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Change {
    Entered {
        section: SectionId,
    },
    Left {
        section: SectionId,
    },
    Draws {
        section: SectionId,
        before: Load,
        now: Load,
    },
    /// An axle lost contact by itself.
    ContactLost,
    SpotPassed {
        detector: DetectorId,
    },
    Derailed {
        section: SectionId,
        turnout: TurnoutId,
    },
    HitBuffer {
        at: EndId,
    },
}

/// What moves a train, or keeps it, against what it was told.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Mischief {
    /// A hand moves it: so fast, and so far yet, both towards its front.
    pub(crate) push: Option<Push>,
    /// It stands, whatever it is told.
    pub(crate) stalled: bool,
    /// It runs at this speed, whatever it is told.
    pub(crate) runaway: Option<i64>,
    /// It does not hear what it is told.
    pub(crate) deaf: bool,
    /// A person drives it.
    pub(crate) by_hand: bool,
}

/// A hand that moves a train along.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Push {
    pub(crate) speed: i64,
    pub(crate) left: i64,
}

/// A train as it really is.
#[derive(Debug)]
pub(crate) struct Rolling {
    vehicles: Vec<Vehicle>,
    pub(crate) mischief: Mischief,
    /// What it was told last, heard or not: it is told again and again.
    told: (Direction, u8),
    /// Its motor is held: it stands as quickly as it can.
    stands_dead: bool,
    /// How fast it was when it derailed or collided.
    pub(crate) speed_before: i64,
    pub(crate) length: i64,
    /// How far its ends, front and rear, stick out beyond its wheels, as far as that is of no matter.
    overhangs: (i64, i64),
    pub(crate) pieces: VecDeque<Piece>,
    /// Where its front is, on its odometer.
    pub(crate) front: i64,
    /// Micrometres a second, towards its front.
    pub(crate) speed: i64,
    pub(crate) braking: i64,
    /// Derailed or collided: it lies where it is until it is put down anew.
    pub(crate) wrecked: bool,
    /// Which tip leads, or led last.
    pub(crate) leading: Direction,
    wanted: i64,
    pub(crate) gathering: i64,
    forward: SpeedCurve,
    backward: SpeedCurve,
    pub(crate) axles: Axles,
    temper: Temper,
    /// What is left of the voltage that its motor runs on, in thousandths.
    pub(crate) power_permille: i64,
    against_buffer: Option<Tip>,
    carried: i64,
}

impl Rolling {
    /// A train that stands nowhere yet. It brakes up to a tenth better or worse than described, and gathers speed no faster
    /// than described, down to a fifth slower.
    pub(crate) fn new(train: &Train, settings: &Settings) -> Self {
        let stream = &mut Stream::labelled(settings.seed, &format!("train {}", train.name));
        let whole = Vehicle {
            name: String::new(),
            length: LENGTH_UNKNOWN,
            detectable: Some((Length::ZERO, LENGTH_UNKNOWN)),
            axles: Vec::new(),
        };
        let stranger = [whole];
        let vehicles = if train.vehicles.is_empty() { &stranger[..] } else { &train.vehicles[..] };
        let mut braking = train.braking.unwrap_or(BRAKING_UNKNOWN).scaled(stream.between(900, 1100), 1000).um();
        let mut gathering =
            train.acceleration.unwrap_or(ACCELERATION_UNKNOWN).scaled(stream.between(800, 1000), 1000).um();
        if settings.running.momentum == Momentum::Drawn {
            let momentum = &mut Stream::labelled(settings.seed, &format!("momentum of {}", train.name));
            braking = 1000 * momentum.between(BRAKING_DRAWN.0, BRAKING_DRAWN.1);
            gathering = 1000 * momentum.between(GATHERING_DRAWN.0, GATHERING_DRAWN.1);
        }
        let temper = Stream::labelled(settings.seed, &format!("temper of {}", train.name));
        Self {
            length: vehicles.iter().map(|vehicle| vehicle.length.um()).sum(),
            overhangs: (train.overhang_front().um(), train.overhang_rear().um()),
            pieces: VecDeque::new(),
            front: 0,
            speed: 0,
            braking: braking.max(1000),
            wrecked: false,
            leading: Direction::Forward,
            wanted: 0,
            gathering: gathering.max(1000),
            forward: SpeedCurve::drawn(train, stream),
            backward: SpeedCurve::drawn(train, stream),
            axles: Axles::new(train, vehicles, settings),
            temper: Temper::new(settings.running, temper),
            power_permille: 1000,
            against_buffer: None,
            carried: 0,
            vehicles: vehicles.to_vec(),
            mischief: Mischief::default(),
            told: (Direction::Forward, 0),
            stands_dead: false,
            speed_before: 0,
        }
    }

    /// How fast it runs at a step, as warm as it is, but for how it wanders.
    pub(crate) fn settled_speed(&self, direction: Direction, step: u8) -> Speed {
        let curve = if direction == Direction::Forward { &self.forward } else { &self.backward };
        curve.at(step).scaled(self.temper.settled_millionths(), 1_000_000)
    }

    /// How many vehicles it is made of.
    pub(crate) fn vehicles(&self) -> usize {
        self.vehicles.len()
    }

    pub(crate) fn is_on_table(&self) -> bool {
        !self.pieces.is_empty()
    }

    /// Whether the next tick can change anything.
    pub(crate) fn is_active(&self) -> bool {
        let wants = || self.pull() != 0 && !self.pushes_buffer();
        self.is_on_table() && !self.wrecked && (self.speed != 0 || self.mischief.push.is_some() || wants())
    }

    /// The speed that its motor strives for.
    pub(crate) fn pull(&self) -> i64 {
        match self.mischief {
            Mischief { stalled: true, .. } => 0,
            Mischief { runaway: Some(speed), .. } => speed,
            _ => self.wanted,
        }
    }

    /// The speed at a step, in one direction.
    pub(crate) fn speed_at(&self, direction: Direction, step: u8) -> Speed {
        match direction {
            Direction::Forward => self.forward.at(step),
            Direction::Backward => self.backward.at(step),
        }
    }

    /// Takes in what it is told, and does it if it hears it.
    pub(crate) fn order(&mut self, direction: Direction, step: u8) {
        self.told = (direction, step);
        self.obey();
    }

    /// Takes in that it is to stand as soon as it can, and does so if it hears it.
    pub(crate) fn order_to_stand_dead(&mut self) {
        self.told.1 = 0;
        self.obey();
        self.stands_dead = self.obeys();
    }

    fn obeys(&self) -> bool {
        !self.mischief.deaf && !self.mischief.by_hand && self.is_on_table() && !self.wrecked
    }

    /// Does what it was told last, unless it is deaf or a person drives it.
    pub(crate) fn obey(&mut self) {
        if self.obeys() {
            self.drive(self.told.0, self.told.1);
        }
    }

    /// How long the train takes until it is no faster than its throttle says.
    pub(crate) fn time_to_slow_down(&self) -> Duration {
        let goes_on = self.wanted.signum() == self.speed.signum();
        let excess = self.speed.abs() - if goes_on { self.wanted.abs() } else { 0 };
        Duration::from_millis((excess.max(0) * 1000 / self.braking) as u64)
    }

    /// Sets the throttle to a speed, backwards below zero: a person does.
    pub(crate) fn throttle(&mut self, speed: i64) {
        self.wanted = speed;
    }

    /// Sets the throttle.
    pub(crate) fn drive(&mut self, direction: Direction, step: u8) {
        let speed = self.speed_at(direction, step).um();
        self.stands_dead &= step == 0;
        self.wanted = match direction {
            Direction::Forward => speed,
            Direction::Backward => -speed,
        };
        if self.speed == 0 {
            self.leading = direction;
        }
    }

    /// Lays the train on a path, its front at a place along it, both counted from the path's first entry.
    pub(crate) fn put_down(&mut self, path: &[(Traverse, Length)], front: Length) {
        let mut from = 0;
        self.pieces.clear();
        for &(on, length) in path {
            let to = from + length.um();
            self.pieces.push_back(Piece::new(Lying::Track(on), from, to));
            from = to;
        }
        self.front = front.um();
        (self.speed, self.wanted, self.carried) = (0, 0, 0);
        (self.wrecked, self.against_buffer, self.leading) = (false, None, Direction::Forward);
        self.axles.regain_contact();
    }

    /// Stops it dead where it lies.
    pub(crate) fn wreck(&mut self) {
        self.speed_before = if self.wrecked { self.speed_before } else { self.speed };
        (self.speed, self.wanted, self.wrecked) = (0, 0, true);
        self.mischief.push = None;
    }

    /// Sets it right on the rails again where it lies. It stands.
    pub(crate) fn set_right(&mut self) {
        (self.speed, self.wanted, self.wrecked, self.against_buffer) = (0, 0, false, None);
    }

    /// Leaves everything behind its first `keep` vehicles standing, and gives it as a body of its own that lies where it lay.
    /// Nobody has seen that body yet; what detectors see of the train is to be looked at anew.
    pub(crate) fn part_behind(&mut self, keep: usize, changes: &mut Vec<Change>) -> Self {
        let left = self.vehicles.split_off(keep);
        let whole = self.length;
        self.measure();
        let mut tail = Self {
            vehicles: left,
            mischief: Mischief::default(),
            told: (Direction::Forward, 0),
            stands_dead: false,
            speed_before: 0,
            length: 0,
            pieces: VecDeque::new(),
            front: self.front - self.length,
            forward: self.forward.clone(),
            backward: self.backward.clone(),
            overhangs: (0, 0),
            axles: self.axles.parted(),
            temper: self.temper.clone(),
            speed: 0,
            wanted: 0,
            against_buffer: None,
            carried: 0,
            ..*self
        };
        tail.measure();
        let reaches = |piece: &&Piece| piece.from < tail.front && piece.to > self.front - whole;
        tail.pieces = self.pieces.iter().filter(reaches).map(|&piece| Piece { load: Load::NONE, ..piece }).collect();
        self.leave_track_behind(changes);
        tail
    }

    /// Takes the vehicles of `tail` on behind its own. The track behind it must be free for them.
    pub(crate) fn couple_up(&mut self, tail: Self, ground: &mut Ground, changes: &mut Vec<Change>) {
        self.vehicles.extend(tail.vehicles);
        self.measure();
        self.lay_track(Tip::Rear, ground, changes);
        self.look(changes);
    }

    /// The outermost few millimetres at a tip, measured from the first end of the way that they lie on.
    pub(crate) fn covered_at_tip(&self, leading: Direction, ground: &Ground) -> Option<(WayId, i64, i64)> {
        let (piece, last) = match leading {
            Direction::Forward => (self.pieces.back()?, (self.front - TIP, self.front)),
            Direction::Backward => (self.pieces.front()?, (self.front - self.length, self.front - self.length + TIP)),
        };
        let on = piece.on.track()?;
        let (from, to) = (piece.from.max(last.0) - piece.from, piece.to.min(last.1) - piece.from);
        let length = piece.to - piece.from;
        let as_declared = ground.layout.ways[on.way].ends[0] == on.enter;
        Some(if as_declared { (on.way, from, to) } else { (on.way, length - to, length - from) })
    }

    fn measure(&mut self) {
        self.length = self.vehicles.iter().map(|vehicle| vehicle.length.um()).sum();
        self.axles.measure(&self.vehicles);
        let described = Train { vehicles: self.vehicles.clone(), ..Train::stranger("") };
        self.overhangs = (described.overhang_front().um(), described.overhang_rear().um());
    }

    /// Rolls for one tick.
    pub(crate) fn tick(&mut self, ground: &mut Ground, changes: &mut Vec<Change>) {
        let distance = match &mut self.mischief.push {
            Some(push) => {
                self.speed = push.speed;
                push.speed * TICK_MS / 1000
            }
            None => {
                let before = self.speed;
                self.speed = self.next_speed();
                self.carried += (before + self.speed) * TICK_MS;
                let distance = self.carried / 2000;
                self.carried %= 2000;
                self.temper.slip(distance, self.speed.abs() - before.abs())
            }
        };
        if self.speed != 0 {
            self.leading = if self.speed > 0 { Direction::Forward } else { Direction::Backward };
        }
        if distance != 0 {
            self.against_buffer = None;
            self.front += distance;
            self.lay_track(if distance > 0 { Tip::Front } else { Tip::Rear }, ground, changes);
            let lost = self.axles.roll(self.front, distance, &self.pieces, &ground.dirty);
            changes.extend((0..lost).map(|_| Change::ContactLost));
            self.look(changes);
            self.pass_spots(distance, ground, changes);
            self.leave_track(changes);
            self.push_on(distance);
        }
    }

    /// A hand lets go when the train is where it was to be.
    fn push_on(&mut self, distance: i64) {
        let Some(push) = &mut self.mischief.push else { return };
        push.left -= distance;
        if push.left.signum() != push.speed.signum() {
            self.mischief.push = None;
            self.speed = 0;
        }
    }

    /// Looks anew what its axles draw from where.
    pub(crate) fn look(&mut self, changes: &mut Vec<Change>) {
        self.axles.look(self.front, &mut self.pieces, changes);
    }

    /// The part of a piece that the train covers, measured from the way's first end.
    pub(crate) fn covered(&self, piece: &Piece, ground: &Ground) -> Option<(WayId, i64, i64)> {
        let on = piece.on.track()?;
        let (from, to) = (piece.from.max(self.front - self.length) - piece.from, piece.to.min(self.front) - piece.from);
        let length = piece.to - piece.from;
        let as_declared = ground.layout.ways[on.way].ends[0] == on.enter;
        Some(if as_declared { (on.way, from, to) } else { (on.way, length - to, length - from) })
    }

    /// Whether it has wheels on a piece. Its ends may stick out over the next one.
    pub(crate) fn has_wheels_on(&self, piece: &Piece) -> bool {
        let (front, rear) = self.overhangs;
        piece.from < self.front - front && piece.to > self.front - self.length + rear
    }

    /// The passage at the tip that leads in a direction, the end ahead of it, and how far it is to that end.
    pub(crate) fn tip(&self, leading: Direction) -> Option<(Traverse, EndId, Length)> {
        match leading {
            Direction::Forward => {
                let piece = self.pieces.back()?;
                piece.on.track().map(|on| (on, on.leave, Length::from_um(piece.to - self.front)))
            }
            Direction::Backward => {
                let piece = self.pieces.front()?;
                piece.on.track().map(|on| (on, on.enter, Length::from_um(self.front - self.length - piece.from)))
            }
        }
    }

    fn pushes_buffer(&self) -> bool {
        match self.against_buffer {
            Some(Tip::Front) => self.pull() > 0,
            Some(Tip::Rear) => self.pull() < 0,
            None => false,
        }
    }

    fn next_speed(&mut self) -> i64 {
        let pull = self.pull() * self.power_permille / 1000;
        let wanted = if self.pushes_buffer() { 0 } else { pull * self.temper.tick() / 1_000_000 };
        let speed = self.speed;
        let stands_dead = self.stands_dead && self.pull() == 0;
        let harder = if self.mischief.stalled || stands_dead { STALL_BRAKES } else { 1 };
        let (braked, gathered) = (self.braking * harder * TICK_MS / 1000, self.gathering * TICK_MS / 1000);
        if speed > 0 && wanted < speed {
            (speed - braked).max(wanted.max(0))
        } else if speed < 0 && wanted > speed {
            (speed + braked).min(wanted.min(0))
        } else {
            wanted.clamp(speed - gathered, speed + gathered)
        }
    }

    /// Adds passages until the tip lies on one.
    fn lay_track(&mut self, tip: Tip, ground: &mut Ground, changes: &mut Vec<Change>) {
        while let Some(edge) = self.beyond_edge(tip) {
            let (leave, onward) = match edge.on {
                Lying::Track(on) => {
                    let leave = if tip == Tip::Front { on.leave } else { on.enter };
                    (leave, ground.onward(leave))
                }
                Lying::OffLayout(end) => (end, ground.entering(end)),
            };
            match onward {
                Onward::Track(traverse, wrong) => {
                    self.add_piece(tip, &edge, Lying::Track(traverse), ground.length(traverse.way).um());
                    changes.push(Change::Entered { section: traverse.section });
                    if let Some(turnout) = wrong {
                        changes.push(Change::Derailed { section: traverse.section, turnout });
                        self.wreck();
                    }
                }
                Onward::OffLayout => self.add_piece(tip, &edge, Lying::OffLayout(leave), FAR),
                Onward::Nothing => {
                    match tip {
                        Tip::Front => self.front = edge.to,
                        Tip::Rear => self.front = edge.from + self.length,
                    }
                    (self.speed, self.carried, self.against_buffer) = (0, 0, Some(tip));
                    self.mischief.push = None;
                    changes.push(Change::HitBuffer { at: leave });
                }
            }
        }
    }

    /// Where an end of the train only sticks out over track whose turnout moved meanwhile, it sticks out over the track that the
    /// turnout lies for now: no wheel held it.
    pub(crate) fn swing_over(&mut self, ground: &mut Ground, changes: &mut Vec<Change>) {
        for tip in [Tip::Front, Tip::Rear] {
            let outermost = if tip == Tip::Front { self.pieces.back() } else { self.pieces.front() };
            let Some(&piece) = outermost.filter(|piece| self.pieces.len() > 1 && !self.has_wheels_on(piece)) else {
                continue;
            };
            let Some(on) = piece.on.track().filter(|on| ground.wrong_turnout(on.way).is_some()) else { continue };
            let enter = if tip == Tip::Front { on.enter } else { on.leave };
            if let Onward::Track(_, None) = ground.entering(enter) {
                leave(if tip == Tip::Front { self.pieces.pop_back() } else { self.pieces.pop_front() }, changes);
                self.lay_track(tip, ground, changes);
            }
        }
    }

    /// The outermost piece, if the tip has passed its end.
    fn beyond_edge(&self, tip: Tip) -> Option<Piece> {
        match tip {
            Tip::Front => self.pieces.back().filter(|piece| piece.to < self.front).copied(),
            Tip::Rear => self.pieces.front().filter(|piece| piece.from > self.front - self.length).copied(),
        }
    }

    fn add_piece(&mut self, tip: Tip, edge: &Piece, on: Lying, length: i64) {
        match tip {
            Tip::Front => self.pieces.push_back(Piece::new(on, edge.to, edge.to + length)),
            Tip::Rear => {
                let turned = match on {
                    Lying::Track(on) => Lying::Track(Traverse { enter: on.leave, leave: on.enter, ..on }),
                    off => off,
                };
                self.pieces.push_front(Piece::new(turned, edge.from - length, edge.from));
            }
        }
    }

    /// Drops passages that only vehicles lay on which are no part of it any more.
    fn leave_track_behind(&mut self, changes: &mut Vec<Change>) {
        self.look(changes);
        self.leave_track(changes);
    }

    /// Drops passages that the train has left behind.
    fn leave_track(&mut self, changes: &mut Vec<Change>) {
        let rear = self.front - self.length;
        while self.pieces.len() > 1 && self.pieces[0].to <= rear {
            let piece = self.pieces.pop_front();
            leave(piece, changes);
        }
        while self.pieces.len() > 1 && self.pieces[self.pieces.len() - 1].from >= self.front {
            let piece = self.pieces.pop_back();
            leave(piece, changes);
        }
    }

    /// Tells of every axle that passed a spot detector while the front moved by `distance` to where it is.
    fn pass_spots(&self, distance: i64, ground: &Ground, changes: &mut Vec<Change>) {
        for piece in &self.pieces {
            let Lying::Track(on) = piece.on else { continue };
            for &(detector, from_first_end) in ground.spots(on.way) {
                let as_declared = ground.layout.ways[on.way].ends[0] == on.enter;
                let spot = if as_declared { piece.from + from_first_end } else { piece.to - from_first_end };
                for axle in self.axles.places() {
                    let (now, before) = (self.front - axle, self.front - axle - distance);
                    if now.min(before) < spot && spot <= now.max(before) {
                        changes.push(Change::SpotPassed { detector });
                    }
                }
            }
        }
    }
}

/// A train leaves a piece, with whatever still drew from its very edge.
pub(crate) fn leave(piece: Option<Piece>, changes: &mut Vec<Change>) {
    let Some(mut piece) = piece else { return };
    piece.carry(Load::NONE, changes);
    changes.extend(piece.on.track().map(|on| Change::Left { section: on.section }));
}
