//! The pretend table: it obeys orders, lets time pass, and reports what its detectors make of it.

use std::sync::Arc;
use std::time::Duration;

use signaller::{Fact, Input, Output, Request, Ticket, Time};
use smallvec::SmallVec;
pub(crate) use track::Table as Rows;
use track::{EndId, Id, Layout, Length, Lie, SectionId, TrainId, TurnoutId};

use crate::astray::{Astray, Loose};
use crate::detectors::Detectors;
use crate::electrics::Load;
use crate::ground::{Fate, Ground};
use crate::hands::Hands;
use crate::mishaps::Log;
use crate::orders::{Asked, Order, Orders};
use crate::place::{PlaceError, place};
use crate::rolling::{Change, Rolling, leave};
use crate::settings::{Settings, TICK};
use crate::told::Told;
use crate::troubles::Troubles;
use crate::truth::{Departure, Happening, Presence};

/// A table with trains on it. It has no clock: [`Table::advance`] says how far time goes.
#[derive(Debug)]
pub struct Table {
    pub(crate) ground: Ground,
    pub(crate) trains: Rows<TrainId, Rolling>,
    pub(crate) presences: Rows<SectionId, SmallVec<[Presence; 2]>>,
    pub(crate) departures: Rows<SectionId, SmallVec<[Departure; 2]>>,
    pub(crate) detectors: Detectors,
    pub(crate) orders: Orders,
    pub(crate) troubles: Troubles,
    pub(crate) happenings: Vec<(Time, Happening)>,
    now: Time,
    /// The tick that physics has been reckoned up to.
    ticked: Time,
    active: usize,
    changes: Vec<Change>,
    pub(crate) hands: Hands,
    pub(crate) told: Told,
    pub(crate) mishaps: Log,
    pub(crate) astray: Rows<TrainId, Option<Astray>>,
    /// What the bodies are that are no trains of the layout; their ids follow those of the trains.
    pub(crate) loose: Vec<Loose>,
    /// How long an order takes at most to reach a train.
    pub(crate) order_delay: Duration,
}

impl Table {
    /// Builds the table and puts every train down that the layout says stands somewhere.
    ///
    /// # Errors
    /// A train that does not fit where it is said to stand.
    pub fn new(layout: Arc<Layout>, settings: &Settings) -> Result<Self, PlaceError> {
        let trains = layout.trains.values().map(|train| Rolling::new(train, settings));
        let mut table = Self {
            trains: trains.collect(),
            presences: Rows::filled(SmallVec::new(), layout.sections.len()),
            departures: Rows::filled(SmallVec::new(), layout.sections.len()),
            detectors: Detectors::new(&layout, settings),
            orders: Orders::new(&layout, settings),
            hands: Hands::new(settings),
            told: Told::new(&layout),
            mishaps: Log::default(),
            astray: Rows::filled(None, layout.trains.len()),
            loose: Vec::new(),
            order_delay: settings.order_delay.most,
            troubles: Troubles::new(&layout, settings),
            ground: Ground::new(layout, settings),
            happenings: Vec::new(),
            now: Time::ZERO,
            ticked: Time::ZERO,
            active: 0,
            changes: Vec::new(),
        };
        let layout = Arc::clone(table.layout());
        for (id, train) in layout.trains.iter() {
            if let Some(start) = &train.start {
                table.put_down(id, &start.on, start.nose)?;
            }
        }
        table.draw_drivers();
        Ok(table)
    }

    /// The layout.
    pub fn layout(&self) -> &Arc<Layout> {
        &self.ground.layout
    }

    /// The time on the table.
    pub fn now(&self) -> Time {
        self.now
    }

    /// Whether a train moves or is about to.
    pub fn is_active(&self) -> bool {
        self.active > 0
    }

    /// Puts a train down by hand, tail in the first section and front in the last, and lays the turnouts under it.
    ///
    /// # Errors
    /// A train that does not fit.
    pub fn put_down(&mut self, train: TrainId, on: &[SectionId], nose: Option<EndId>) -> Result<(), PlaceError> {
        let name = &self.ground.layout.trains[train].name;
        let place = place(&self.ground, name, Length::from_um(self.trains[train].length), on, nose)?;
        self.lift(train);
        for &(on, _) in &place.path {
            self.ground.lay_for(on.way);
        }
        self.trains[train].put_down(&place.path, place.front);
        let mut changes = std::mem::take(&mut self.changes);
        changes.extend(place.path.iter().map(|&(on, _)| Change::Entered { section: on.section }));
        self.trains[train].look(&mut changes);
        self.apply(train, &mut changes, Reached::ByHand);
        self.changes = changes;
        self.count_active();
        Ok(())
    }

    /// Takes a train off the track by hand.
    pub fn lift(&mut self, train: TrainId) {
        self.let_go(train);
        let rolling = &mut self.trains[train];
        let mut changes = std::mem::take(&mut self.changes);
        for piece in rolling.pieces.drain(..) {
            leave(Some(piece), &mut changes);
        }
        rolling.wreck();
        self.apply(train, &mut changes, Reached::ByHand);
        self.changes = changes;
        self.count_active();
    }

    /// What a signaller hears first: where people say the trains stand, and what every detector and turnout reports.
    pub fn first_inputs(&mut self, mut ticket: impl FnMut() -> Ticket) -> Vec<Input> {
        let layout = Arc::clone(&self.ground.layout);
        let mut inputs: Vec<Input> = Vec::new();
        for (train, described) in layout.trains.iter() {
            if let Some(start) = described.start.clone().filter(|_| self.trains[train].is_on_table()) {
                let request = Request::Place { train, on: start.on, nose: start.nose };
                inputs.push(Input::Requested { ticket: ticket(), request });
            }
        }
        inputs.extend(self.what_is_reported());
        inputs
    }

    /// What every detector and turnout reports, without delay: what is asked for by somebody who takes over.
    pub(crate) fn what_is_reported(&mut self) -> Vec<Input> {
        let layout = Arc::clone(&self.ground.layout);
        let mut inputs: Vec<Input> = Vec::new();
        for section in layout.sections.ids() {
            let says = self.detectors.say_at_once(section);
            inputs.extend(says.map(|occupied| Input::SectionReported { section, occupied }));
        }
        for (turnout, described) in layout.turnouts.iter() {
            if described.reported {
                let lie = self.ground.lie(turnout);
                self.detectors.lay_at_first(turnout, lie);
                inputs.push(Input::TurnoutReported { turnout, lie });
            }
        }
        inputs.extend(self.detectors.inputs());
        for input in &inputs {
            self.told.deliver(&layout, self.now, input);
        }
        inputs
    }

    /// Nothing that was granted or ordered counts any more.
    pub(crate) fn forget_what_was_granted(&mut self) {
        self.told.forget_grants();
    }

    /// Does what an output says, as far as it is an order to the table. Repeating it changes nothing.
    pub fn act(&mut self, output: &Output) {
        self.hands.hear(self.now, output);
        self.told.hear(&self.ground.layout, self.now, output);
        match *output {
            Output::Drive { train, direction, step } => {
                if self.layout().trains.get(train).is_some() {
                    self.orders.give(Order { train, asked: Asked::Run(direction, step) }, self.now);
                }
            }
            Output::EmergencyStop { train } => {
                if self.layout().trains.get(train).is_some() {
                    self.orders.give(Order { train, asked: Asked::StandDead }, self.now);
                }
            }
            Output::Power { district, live } => self.switch_power(district, live),
            Output::Throw { turnout, lie } => {
                if self.ground.would_move(turnout, lie) && !self.detectors.is_cut_off(turnout) {
                    self.throw(turnout, lie);
                }
            }
            Output::Fact(Fact::InputIs { input, on: Some(on) }) => self.detectors.work_input(input, on),
            Output::Show { .. }
            | Output::Light { .. }
            | Output::Function { .. }
            | Output::Accessory { .. }
            | Output::Fact(_) => {}
        }
    }

    /// Lets time pass up to `to`, or only until the next report arrives. Tells how far it got.
    pub fn advance(&mut self, to: Time) -> Time {
        debug_assert!(to >= self.now, "time goes back from {:?} to {to:?}", self.now);
        loop {
            let reports = earliest(self.detectors.next_due(), self.ground.next_due());
            let due = earliest(reports, earliest(self.orders.next_due(), self.hands.next_due()));
            let due = earliest(due, self.troubles.next_due());
            let reach = due.map_or(to, |due| due.min(to)).max(self.now);
            if self.active == 0 {
                let tick = TICK.as_nanos() as i64;
                self.ticked = Time::from_nanos(reach.nanos() / tick * tick).max(self.ticked);
            } else if self.ticked + TICK <= reach {
                self.ticked = self.ticked + TICK;
                self.now = self.ticked.max(self.now);
                self.tick();
                continue;
            }
            self.now = reach;
            self.settle();
            let arrival = earliest(self.detectors.next_arrival(), self.hands.next_word());
            let arrived = arrival.is_some_and(|at| at <= self.now);
            if arrived || self.now >= to {
                self.note_struck();
                return self.now;
            }
        }
    }

    /// Hands over the reports that have arrived.
    pub fn take_heard(&mut self, into: &mut Vec<Input>) {
        while let Some(input) = self.detectors.take(self.now) {
            self.told.deliver(&self.ground.layout, self.now, &input);
            self.may_be_found(&input);
            into.push(input);
        }
        self.take_words(into);
    }

    /// Hands over what happened since it was last asked.
    pub fn take_happenings(&mut self) -> Vec<(Time, Happening)> {
        std::mem::take(&mut self.happenings)
    }

    fn settle(&mut self) {
        self.trouble();
        self.do_deeds();
        self.detectors.decide(self.now);
        while let Some(Order { train, asked }) = self.orders.take_due(self.now) {
            self.may_ignore_orders(train);
            match asked {
                Asked::Run(direction, step) => self.trains[train].order(direction, step),
                Asked::StandDead => self.trains[train].order_to_stand_dead(),
            }
            self.count_active();
        }
        if self.ground.next_due().is_some_and(|at| at <= self.now) {
            let said = self.ground.settle(self.now);
            self.swing_over();
            for (turnout, lie) in said {
                if self.ground.layout.turnouts[turnout].reported {
                    self.detectors.turnout_lies(turnout, lie, self.now);
                }
            }
        }
    }

    /// A turnout came to lie: ends of trains that only stick out over it follow it.
    fn swing_over(&mut self) {
        let mut changes = std::mem::take(&mut self.changes);
        for train in self.trains.ids() {
            if self.trains[train].is_on_table() && !self.trains[train].wrecked {
                self.trains[train].swing_over(&mut self.ground, &mut changes);
                self.apply(train, &mut changes, Reached::ByHand);
            }
        }
        self.changes = changes;
    }

    fn throw(&mut self, turnout: TurnoutId, lie: Lie) {
        let fate = self.draw_fate(turnout);
        let under = self.trains_over(turnout);
        self.ground.throw(turnout, lie, self.now, fate);
        for (train, section) in under {
            if !self.trains[train].wrecked && self.ground.lie(turnout).is_none() {
                self.wreck(train);
                self.happenings.push((self.now, Happening::Derailed { train, turnout, section }));
            }
        }
        self.count_active();
    }

    /// Moves a turnout that nothing stands on to where it was ordered, and lets every turnout that reports say how it
    /// lies.
    pub(crate) fn heal_turnouts(&mut self) {
        let layout = Arc::clone(&self.ground.layout);
        for (turnout, described) in layout.turnouts.iter() {
            if self.ground.is_moving(turnout) {
                continue;
            }
            let ordered = self.ordered_lie(turnout).map(|(lie, _)| lie);
            // What the signaller has found out by itself, and nobody could tell it of, stays as it is.
            let stays = self.is_found_out(turnout) && !described.reported;
            let wrong = ordered.filter(|&lie| !stays && self.ground.lie(turnout) != Some(lie));
            match wrong.filter(|_| self.trains_over(turnout).is_empty()) {
                Some(lie) => self.ground.throw(turnout, lie, self.now, Fate::Moves),
                None if described.reported => {
                    if let Some(lie) = self.ground.lie(turnout) {
                        self.detectors.turnout_lies(turnout, lie, self.now);
                    }
                }
                None => {}
            }
        }
    }

    /// Stops a train dead that derailed or collided.
    fn wreck(&mut self, train: TrainId) {
        self.let_go(train);
        self.trains[train].wreck();
        self.somebody_comes(train);
    }

    /// A hand that moves a train lets go of it.
    fn let_go(&mut self, train: TrainId) {
        if self.trains[train].mischief.push.take().is_some() {
            self.hand_follows(train);
        }
    }

    /// Nothing goes wrong from now on, and what did is set right, one thing after the other.
    pub fn heal(&mut self) {
        self.heal_detection();
        self.heal_hands();
    }

    fn tick(&mut self) {
        if !self.is_all_live() {
            self.power_trains();
        }
        let mut changes = std::mem::take(&mut self.changes);
        for index in 0..self.trains.len() {
            let train = TrainId::from_index(index);
            if self.trains[train].is_active() {
                let is_pushed = self.trains[train].mischief.push.is_some();
                self.trains[train].tick(&mut self.ground, &mut changes);
                self.apply(train, &mut changes, Reached::ByRolling);
                self.find_collisions(train);
                if is_pushed {
                    self.hand_follows(train);
                }
            }
        }
        self.changes = changes;
        self.count_active();
    }

    pub(crate) fn count_active(&mut self) {
        self.active = self.trains.values().filter(|rolling| rolling.is_active()).count();
    }

    fn find_collisions(&mut self, train: TrainId) {
        for other in self.touching(train) {
            if self.belongs_to(other.train) == Some(train) && !self.runs_into_its_tail(train, other.train) {
                continue;
            }
            if !(self.trains[train].wrecked && self.trains[other.train].wrecked) {
                self.wreck(train);
                self.wreck(other.train);
                let happening = Happening::Collided { train, with: other.train, section: other.section };
                self.happenings.push((self.now, happening));
            }
        }
    }

    pub(crate) fn apply(&mut self, train: TrainId, changes: &mut Vec<Change>, reached: Reached) {
        let now = self.now;
        for change in changes.drain(..) {
            match change {
                Change::Entered { section } => {
                    self.enter(section, train);
                    if reached == Reached::ByRolling {
                        self.may_be_led_astray(train, section);
                        self.happenings.push((now, Happening::Entered { train, section }));
                    }
                }
                Change::Left { section } => self.leave(section, train),
                Change::Draws { section, before, now: load } => self.draw(section, train, before, load),
                Change::ContactLost => self.contact_lost(train),
                Change::SpotPassed { detector } => self.detectors.spot_passed(detector, now),
                Change::Derailed { section, turnout } => {
                    self.somebody_comes(train);
                    self.happenings.push((now, Happening::Derailed { train, turnout, section }));
                }
                Change::HitBuffer { at } => self.happenings.push((now, Happening::HitBuffer { train, at })),
            }
        }
    }

    /// The axles of a train draw something else from a section.
    fn draw(&mut self, section: SectionId, train: TrainId, before: Load, load: Load) {
        let now = self.now;
        if let Some(presence) = self.presence_mut(section, train) {
            let drew = presence.load.draws();
            presence.load -= before;
            presence.load += load;
            if !drew && presence.load.draws() && self.loose_kind(train).is_none() {
                self.detectors.read(section, train, now);
            }
        }
        self.detectors.draws(section, before, load, now);
        self.look_into(section);
    }

    /// Finds anew which trains a section's detector has enough of to see.
    pub(crate) fn look_into(&mut self, section: SectionId) {
        let sees = self.detectors.sees_trains(section);
        for presence in &mut self.presences[section] {
            if sees && presence.load.draws() {
                presence.seen_since.get_or_insert(self.now);
            } else {
                presence.seen_since = None;
            }
        }
    }

    fn enter(&mut self, section: SectionId, train: TrainId) {
        let since = self.now;
        match self.presence_mut(section, train) {
            Some(presence) => presence.pieces += 1,
            None => {
                self.presences[section].push(Presence { train, since, seen_since: None, pieces: 1, load: Load::NONE });
            }
        }
    }

    fn leave(&mut self, section: SectionId, train: TrainId) {
        let of = self.belongs_to(train).unwrap_or(train);
        let Some(presence) = self.presence_mut(section, train) else { return };
        presence.pieces -= 1;
        let (pieces, came) = (presence.pieces, presence.since);
        if pieces == 0 {
            self.presences[section].retain(|presence| presence.train != train);
            let departures = &mut self.departures[section];
            departures.retain(|departure| departure.train != of);
            departures.push(Departure { train: of, came, left: self.now });
        }
    }

    fn presence_mut(&mut self, section: SectionId, train: TrainId) -> Option<&mut Presence> {
        self.presences[section].iter_mut().find(|presence| presence.train == train)
    }
}

/// How a train came to where it is.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Reached {
    ByRolling,
    ByHand,
}

fn earliest(one: Option<Time>, other: Option<Time>) -> Option<Time> {
    match (one, other) {
        (Some(one), Some(other)) => Some(one.min(other)),
        (one, other) => one.or(other),
    }
}
