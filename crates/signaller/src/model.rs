//! A table for tests, no larger than they need: trains on tracks, detectors without delay, turnouts that report.
//!
//! The pretend table of its own crate is the thorough one; this one keeps the signaller's own scenarios short.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;

use track::{
    Acceleration, Beyond, Builder, EndId, Layout, Length, Lie, Scale, SectionId, Speed, StopId, Table, Train, TrainId,
    Traverse, TurnoutId, Vehicle, WayId,
};

use crate::{Answer, Conduct, Destination, Direction, Fact, Input, Output, Request, Signaller, Ticket, Time};

const TICK: Duration = Duration::from_millis(20);

/// Sections in a row, each as long as said in millimetres, between two buffer stops.
pub(crate) fn row(builder: &mut Builder, names: &[&str], mm: i64) -> Vec<SectionId> {
    line(builder, names, Some(Length::from_mm(mm)))
}

/// The same, each as long as said, or measured by nobody.
pub(crate) fn line(builder: &mut Builder, names: &[&str], length: Option<Length>) -> Vec<SectionId> {
    let sections: Vec<_> = names.iter().map(|name| builder.plain_section(*name, length)).collect();
    for pair in sections.windows(2) {
        let (b, a) = (end(builder, pair[0], "b"), end(builder, pair[1], "a"));
        builder.join(b, a);
    }
    sections
}

pub(crate) fn builder() -> Builder {
    Builder::new("table", Scale::named("H0").unwrap())
}

pub(crate) fn end(builder: &Builder, section: SectionId, name: &str) -> EndId {
    let layout = builder.layout();
    *layout.sections[section].ends.iter().find(|&&end| layout.ends[end].name == name).unwrap()
}

/// A section with a turnout: from `toe` to `one` when it lies straight, to `two` when it diverges.
pub(crate) fn throat(builder: &mut Builder, name: &str, turnout: &str) -> (SectionId, TurnoutId) {
    let section = builder.section(name);
    let [toe, one, two] = ["toe", "one", "two"].map(|end| builder.end(section, end));
    let id = builder.turnout(turnout);
    builder.turnout_mut(id).reported = true;
    for (far, lie) in [(one, Lie::Straight), (two, Lie::Diverging)] {
        let way = builder.way(toe, far, Some(Length::from_mm(240)));
        builder.need(way, id, lie);
    }
    builder.area_detector(section);
    (section, id)
}

/// A single line with a passing loop: `w0 w1 (west) north|south (east) e1 e0`, signals at both ends of the loop's
/// tracks and on the line before them, stopping points at the outer ends, and two trains, Heron in `w0` and Plover in
/// `e0`, nose to nose.
pub(crate) fn passing_loop() -> Layout {
    let mut builder = builder();
    let west = row(&mut builder, &["w0", "w1"], 1200);
    let east = row(&mut builder, &["e1", "e0"], 1200);
    let (west_throat, _) = throat(&mut builder, "west", "W1");
    let (east_throat, _) = throat(&mut builder, "east", "W2");
    let tracks = ["north", "south"].map(|name| builder.plain_section(name, Some(Length::from_mm(1500))));
    let join = |builder: &mut Builder, one: (SectionId, &str), other: (SectionId, &str)| {
        let (one, other) = (end(builder, one.0, one.1), end(builder, other.0, other.1));
        builder.join(one, other);
    };
    join(&mut builder, (west[1], "b"), (west_throat, "toe"));
    join(&mut builder, (east_throat, "toe"), (east[0], "a"));
    for (track, leg) in tracks.into_iter().zip(["one", "two"]) {
        join(&mut builder, (west_throat, leg), (track, "a"));
        join(&mut builder, (track, "b"), (east_throat, leg));
    }
    for (name, section, at) in [
        ("S1", west[1], "b"),
        ("S3", tracks[0], "b"),
        ("S5", tracks[1], "b"),
        ("S2", east[0], "a"),
        ("S4", tracks[0], "a"),
        ("S6", tracks[1], "a"),
    ] {
        let at = end(&builder, section, at);
        builder.signal(name, at);
    }
    for (name, section, at) in [("far west", west[0], "a"), ("far east", east[1], "b"), ("halt", tracks[0], "b")] {
        let at = end(&builder, section, at);
        builder.stop(name, at, Length::from_mm(60));
    }
    let (left, right) = (end(&builder, west[0], "a"), end(&builder, east[1], "b"));
    builder.close(left, Beyond::BufferStop);
    builder.close(right, Beyond::BufferStop);
    builder.train(railcar("Heron"));
    builder.train(railcar("Plover"));
    builder.build()
}

pub(crate) fn railcar(name: &str) -> Train {
    let vehicle = |name: &str| Vehicle {
        name: name.into(),
        length: Length::from_mm(250),
        detectable: Some((Length::from_mm(10), Length::from_mm(240))),
        axles: Vec::new(),
    };
    Train {
        vehicles: vec![vehicle("motor car"), vehicle("driving car")],
        top_speed: Some(Speed::from_mm(200)),
        acceleration: Some(Acceleration::from_mm(100)),
        braking: Some(Acceleration::from_mm(150)),
        ..Train::stranger(name)
    }
}

/// A train as it truly is.
#[derive(Debug)]
pub(crate) struct Truth {
    path: Vec<Traverse>,
    /// How far the front is into the last of `path`, in millimetres.
    front: f64,
    length: f64,
    pub(crate) speed: f64,
    wanted: f64,
    direction: Direction,
    leading: Direction,
    /// How fast it is, beside what its curve says.
    pub(crate) factor: f64,
}

/// The table and its signaller.
pub(crate) struct World {
    pub(crate) layout: Arc<Layout>,
    pub(crate) signaller: Signaller,
    pub(crate) now: Time,
    pub(crate) trains: Table<TrainId, Option<Truth>>,
    pub(crate) lies: Table<TurnoutId, Lie>,
    /// Turnouts that do not move when they are thrown.
    pub(crate) stuck: Vec<TurnoutId>,
    /// Sections whose detectors say occupied whatever is there.
    pub(crate) falsely_filled: Vec<SectionId>,
    /// Trains driven by hand, which may go where they like.
    pub(crate) by_hand: Vec<String>,
    /// Sections whose detectors say nothing.
    pub(crate) mute: Vec<SectionId>,
    /// So many orders to stand are not heard by the train they are for.
    pub(crate) lost_stops: usize,
    moving: Vec<(Time, TurnoutId, Lie)>,
    occupied: Table<SectionId, bool>,
    pub(crate) wake_at: Option<Time>,
    pub(crate) said: Vec<(Time, Output)>,
    tickets: u64,
}

impl World {
    pub(crate) fn new(layout: Layout) -> Self {
        let layout = Arc::new(layout);
        let mut world = Self {
            signaller: Signaller::new(Arc::clone(&layout), Conduct::Control),
            now: Time::ZERO,
            trains: layout.trains.values().map(|_| None).collect(),
            lies: Table::filled(Lie::Straight, layout.turnouts.len()),
            stuck: Vec::new(),
            falsely_filled: Vec::new(),
            by_hand: Vec::new(),
            mute: Vec::new(),
            lost_stops: 0,
            moving: Vec::new(),
            occupied: Table::filled(false, layout.sections.len()),
            wake_at: None,
            said: Vec::new(),
            tickets: 0,
            layout,
        };
        let mut first: Vec<Input> = Vec::new();
        first.extend(
            world
                .layout
                .sections
                .ids()
                .filter(|&section| !world.layout.is_dark(section))
                .map(|section| Input::SectionReported { section, occupied: false }),
        );
        let reported = world.layout.turnouts.iter().filter(|(_, turnout)| turnout.reported);
        first.extend(reported.map(|(turnout, _)| Input::TurnoutReported { turnout, lie: Some(Lie::Straight) }));
        world.step(&first);
        world
    }

    /// Another signaller takes over: it is told what is remembered, and how everything stands.
    pub(crate) fn restart(&mut self) {
        let memories = self.signaller.memories();
        let remembered = |(train, memory)| Input::TrainRemembered { train, memory };
        let mut first: Vec<Input> = memories.into_iter().map(remembered).collect();
        let seen = self.layout.sections.ids().filter(|&section| !self.layout.is_dark(section));
        first.extend(seen.map(|section| Input::SectionReported { section, occupied: self.occupied[section] }));
        let reported = self.layout.turnouts.iter().filter(|(_, turnout)| turnout.reported);
        first.extend(reported.map(|(turnout, _)| Input::TurnoutReported { turnout, lie: Some(self.lies[turnout]) }));
        self.signaller = Signaller::new(Arc::clone(&self.layout), Conduct::Control);
        for train in self.layout.trains.ids() {
            self.drive(train, Direction::Forward, 0);
        }
        self.said.clear();
        self.step(&first);
    }

    /// A world of the passing loop with Heron in `w0` and Plover in `e0`, facing each other.
    pub(crate) fn with_two_trains() -> Self {
        let mut world = Self::new(passing_loop());
        world.put("Heron", "w0", "w0.b");
        world.put("Plover", "e0", "e0.a");
        world
    }

    pub(crate) fn train(&self, name: &str) -> TrainId {
        self.layout.train_named(name).unwrap()
    }

    pub(crate) fn section(&self, name: &str) -> SectionId {
        self.layout.section_named(name).unwrap()
    }

    pub(crate) fn stop(&self, name: &str) -> StopId {
        self.layout.stop_named(name).unwrap()
    }

    /// Puts a train down in the middle of a section and tells the signaller.
    pub(crate) fn put(&mut self, train: &str, on: &str, nose: &str) {
        let (id, on, nose) = (self.train(train), self.section(on), self.layout.end_named(nose).unwrap());
        let way = self.layout.ends[nose].ways[0];
        let enter = self.layout.far_end(way, nose);
        let length = self.layout.trains[id].length().map_or(300.0, Length::mm);
        let room = self.length(way);
        self.trains[id] = Some(Truth {
            path: vec![Traverse { section: on, enter, way, leave: nose }],
            front: (room + length) / 2.0,
            length,
            speed: 0.0,
            wanted: 0.0,
            direction: Direction::Forward,
            leading: Direction::Forward,
            factor: 1.0,
        });
        self.occupied[on] = true;
        let request = Request::Place { train: id, on: vec![on], nose: Some(nose) };
        self.tickets += 1;
        let placed = Input::Requested { ticket: Ticket(self.tickets), request };
        self.step(&[placed, Input::SectionReported { section: on, occupied: true }]);
    }

    fn length(&self, way: WayId) -> f64 {
        self.layout.ways[way].length.map_or(1000.0, Length::mm)
    }

    pub(crate) fn ask(&mut self, request: Request) -> Answer {
        self.tickets += 1;
        let (ticket, said) = (Ticket(self.tickets), self.said.len());
        self.step(&[Input::Requested { ticket, request }]);
        let answers = self.said[said..].iter().filter_map(|(_, output)| match output {
            Output::Fact(Fact::Answered { ticket: of, answer }) if *of == ticket => Some(answer.clone()),
            _ => None,
        });
        let answers: Vec<_> = answers.collect();
        assert_eq!(answers.len(), 1, "a request is answered once, in its step");
        answers[0].clone()
    }

    pub(crate) fn go(&mut self, train: &str, stop: &str) -> Answer {
        let request = Request::Go { train: self.train(train), to: Destination::Stop(self.stop(stop)) };
        self.ask(request)
    }

    pub(crate) fn go_to_section(&mut self, train: &str, section: &str) -> Answer {
        let request = Request::Go { train: self.train(train), to: Destination::Section(self.section(section)) };
        self.ask(request)
    }

    pub(crate) fn step(&mut self, inputs: &[Input]) {
        let step = self.signaller.step(self.now, inputs);
        self.wake_at = step.wake_at;
        let outputs = step.outputs.to_vec();
        for output in outputs {
            match output {
                Output::Drive { step: 0, .. } if self.lost_stops > 0 => self.lost_stops -= 1,
                Output::Drive { train, direction, step } => self.drive(train, direction, step),
                Output::EmergencyStop { train } => self.stand_dead(train),
                Output::Throw { turnout, lie } => self.throw(turnout, lie),
                _ => {}
            }
            self.said.push((self.now, output));
        }
        self.check_that_no_section_is_shared();
    }

    /// A person turns a throttle of their own.
    pub(crate) fn by_hand(&mut self, train: &str, direction: Direction, step: u8) {
        self.by_hand.retain(|other| other != train);
        self.drive(self.train(train), direction, step);
        self.by_hand.push(train.to_owned());
    }

    fn drive(&mut self, train: TrainId, direction: Direction, step: u8) {
        let described = &self.layout.trains[train];
        let top = described.top_speed.map_or(250.0, Speed::mm);
        let Some(truth) = &self.trains[train] else { return };
        let lengths: Vec<f64> = truth.path.iter().map(|passage| self.length(passage.way)).collect();
        let Some(truth) = &mut self.trains[train] else { return };
        truth.wanted = top * f64::from(step) / f64::from(described.speed_steps.highest()) * truth.factor;
        assert!(step == 0 || truth.speed == 0.0 || truth.direction == direction, "turned back while moving");
        truth.direction = direction;
        if step > 0 && truth.leading != direction {
            truth.turn_back(&lengths);
        }
    }

    fn stand_dead(&mut self, train: TrainId) {
        if let Some(truth) = &mut self.trains[train] {
            (truth.wanted, truth.speed) = (0.0, 0.0);
        }
    }

    fn throw(&mut self, turnout: TurnoutId, lie: Lie) {
        for truth in self.trains.values().flatten() {
            let over = truth.path.iter().any(|passage| {
                let needs = &self.layout.ways[passage.way].needs;
                needs.iter().any(|need| need.turnout == turnout && need.lie != lie)
            });
            assert!(!over, "{turnout:?} is thrown under a train");
        }
        if !self.stuck.contains(&turnout) {
            self.moving.push((self.now + self.layout.turnouts[turnout].throw_time, turnout, lie));
        }
    }

    fn check_that_no_section_is_shared(&self) {
        let mut granted = BTreeSet::new();
        for train in self.layout.trains.ids() {
            let own: BTreeSet<_> = self.signaller.interlock().granted_sections(train).collect();
            for section in own {
                assert!(granted.insert(section), "{section:?} is granted twice");
            }
        }
    }

    /// Lets time pass until `done` says so. Tells whether it did, within `seconds`.
    pub(crate) fn run(&mut self, seconds: f64, done: impl Fn(&Self) -> bool) -> bool {
        let until = self.now + Duration::from_secs_f64(seconds);
        while self.now < until {
            if done(self) {
                return true;
            }
            self.now = self.now + TICK;
            let mut inputs = self.move_everything();
            if self.wake_at.is_some_and(|at| at <= self.now) {
                inputs.push(Input::Woke);
            }
            if !inputs.is_empty() {
                self.step(&inputs);
            }
        }
        done(self)
    }

    fn move_everything(&mut self) -> Vec<Input> {
        let mut inputs = Vec::new();
        for (at, turnout, lie) in std::mem::take(&mut self.moving) {
            if at > self.now {
                self.moving.push((at, turnout, lie));
                continue;
            }
            self.lies[turnout] = lie;
            if self.layout.turnouts[turnout].reported {
                inputs.push(Input::TurnoutReported { turnout, lie: Some(lie) });
            }
        }
        for train in self.layout.trains.ids() {
            if let Some(mut truth) = self.trains[train].take() {
                self.advance(train, &mut truth);
                self.trains[train] = Some(truth);
            }
        }
        for section in self.layout.sections.ids() {
            let covers = |truth: &Truth| truth.path.iter().any(|passage| passage.section == section);
            let covered = self.trains.values().flatten().filter(|truth| covers(truth)).count();
            assert!(covered <= 1, "trains meet in {section:?}");
            if self.mute.contains(&section) {
                continue;
            }
            let occupied = covered > 0 || self.falsely_filled.contains(&section);
            if std::mem::replace(&mut self.occupied[section], occupied) != occupied && !self.layout.is_dark(section) {
                inputs.push(Input::SectionReported { section, occupied });
            }
        }
        inputs
    }

    fn advance(&self, train: TrainId, truth: &mut Truth) {
        let described = &self.layout.trains[train];
        let tick = TICK.as_secs_f64();
        let up = described.acceleration.map_or(80.0, Acceleration::mm) * tick;
        let gravity = truth.path.last().map_or(0.0, |last| {
            let rise = self.layout.gradient_from(last.way, last.enter);
            rise.pull(described.gradient_share_permille).mm()
        });
        let down = (described.braking.map_or(120.0, Acceleration::mm) + gravity) * tick;
        truth.speed = truth.wanted.clamp(truth.speed - down, truth.speed + up).max(0.0);
        truth.front += truth.speed * tick;
        while let Some(&last) = truth.path.last().filter(|last| truth.front > self.length(last.way)) {
            let [enter] = self.layout.ends[last.leave].meets[..] else { panic!("{train:?} ran off the track") };
            let lies = |way: &WayId| self.layout.ways[*way].needs.iter().all(|it| self.lies[it.turnout] == it.lie);
            let way = self.layout.ends[enter].ways.iter().copied().find(lies).expect("a way that lies");
            let passage = Traverse {
                section: self.layout.ends[enter].section,
                enter,
                way,
                leave: self.layout.far_end(way, enter),
            };
            let granted = self.signaller.interlock().granted_to(passage.section);
            let may = granted == Some(train) || self.by_hand.contains(&described.name);
            assert!(may, "{} entered without leave", self.layout.sections[passage.section].name);
            truth.front -= self.length(last.way);
            truth.path.push(passage);
        }
        let mut behind: f64 = truth.path.iter().rev().skip(1).map(|passage| self.length(passage.way)).sum();
        while let Some(&first) = truth.path.first().filter(|_| truth.path.len() > 1) {
            behind -= self.length(first.way);
            if truth.front + behind < truth.length {
                break;
            }
            truth.path.remove(0);
        }
    }

    /// The section of a train's nose, and how far short of its far end the nose is, in millimetres.
    pub(crate) fn nose(&self, train: &str) -> (&str, f64) {
        let truth = self.trains[self.train(train)].as_ref().unwrap();
        let last = truth.path.last().unwrap();
        (&self.layout.sections[last.section].name, self.length(last.way) - truth.front)
    }

    pub(crate) fn speed(&self, train: &str) -> f64 {
        self.trains[self.train(train)].as_ref().unwrap().speed
    }

    pub(crate) fn facts(&self) -> impl Iterator<Item = &Fact> {
        self.said.iter().filter_map(|(_, output)| match output {
            Output::Fact(fact) => Some(fact),
            _ => None,
        })
    }

    pub(crate) fn has_arrived(&self, train: &str) -> bool {
        let id = self.train(train);
        self.facts().any(|fact| matches!(fact, Fact::Arrived { train, .. } if *train == id))
    }

    /// What the train was said to wait for, in order.
    pub(crate) fn waits(&self, train: &str) -> Vec<&str> {
        let id = self.train(train);
        let waits = self.facts().filter_map(|fact| match fact {
            Fact::Waiting { train, reason } if *train == id => Some(reason.as_str()),
            _ => None,
        });
        waits.collect()
    }

    pub(crate) fn granted(&self, train: &str) -> Vec<&str> {
        let sections = self.signaller.interlock().granted_sections(self.train(train));
        sections.map(|section| self.layout.sections[section].name.as_str()).collect()
    }

    pub(crate) fn shows(&self, signal: &str) -> &str {
        let (signals, signal) = (self.signaller.signals(), self.layout.signal_named(signal).unwrap());
        self.layout.book_of(signal).name(signals.shows(signal)).unwrap()
    }
}

impl Truth {
    /// What was the rear is the front; `lengths` are those of the passages it lies on.
    fn turn_back(&mut self, lengths: &[f64]) {
        let before_last: f64 = lengths.iter().rev().skip(1).sum();
        let rear = before_last + self.front - self.length;
        self.front = lengths[0] - rear;
        self.leading = self.leading.other();
        self.path.reverse();
        for passage in &mut self.path {
            *passage = Traverse { enter: passage.leave, leave: passage.enter, ..*passage };
        }
    }
}

/// The reason of a refusal.
pub(crate) fn refusal(answer: Answer) -> String {
    match answer {
        Answer::Refused(refusal) => refusal.reason,
        Answer::Accepted => panic!("accepted"),
    }
}
