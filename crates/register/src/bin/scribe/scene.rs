//! Traffic that nobody planned: reports and wishes drawn by a seed, on a line with a loop, into a real signaller.

use std::sync::Arc;
use std::time::{Duration, SystemTime};

use register::{Beginning, Cause, Entry, Origin};
use signaller::{Conduct, Destination, Input, Request, Signaller, Ticket, Time};
use track::{Builder, Layout, Length, Lie, Scale, SectionId, Train, TrainId};

/// A small generator (xorshift), so that a seed tells everything.
#[derive(Clone, Debug)]
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    pub fn below(&mut self, bound: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % bound as u64) as usize
    }
}

/// A station at either end, a loop between them, two trains.
pub fn layout() -> Layout {
    let mut builder = Builder::new("a line with a loop", Scale::UNKNOWN);
    let length = Some(Length::from_mm(1200));
    let [west, east] = ["west", "east"].map(|name| builder.plain_section(name, length));
    let [one, two] = ["one", "two"].map(|name| builder.plain_section(name, length));
    let throats = ["west-throat", "east-throat"].map(|name| {
        let section = builder.section(name);
        let ends = ["toe", "one", "two"].map(|end| builder.end(section, end));
        let turnout = builder.turnout(format!("{name}-turnout"));
        let straight = builder.way(ends[0], ends[1], Some(Length::from_mm(240)));
        let diverging = builder.way(ends[0], ends[2], Some(Length::from_mm(245)));
        builder.need(straight, turnout, Lie::Straight);
        builder.need(diverging, turnout, Lie::Diverging);
        builder.area_detector(section);
        ends
    });
    let end = |builder: &Builder, section: SectionId, at: usize| builder.layout().sections[section].ends[at];
    for (track, place) in [(one, 1), (two, 2)] {
        let (a, b) = (end(&builder, track, 0), end(&builder, track, 1));
        builder.join(a, throats[0][place]);
        builder.join(b, throats[1][place]);
    }
    let (from_west, from_east) = (end(&builder, west, 1), end(&builder, east, 0));
    builder.join(from_west, throats[0][0]);
    builder.join(throats[1][0], from_east);
    let (far_west, far_east) = (end(&builder, west, 0), end(&builder, east, 1));
    builder.stop("west end", far_west, Length::from_mm(80));
    builder.stop("east end", far_east, Length::from_mm(80));
    for name in ["Heron", "Plover"] {
        builder.train(Train::stranger(name));
    }
    builder.build()
}

/// A shift on that layout.
pub fn beginning(layout: &Arc<Layout>, from: Origin) -> Beginning {
    Beginning {
        wall: SystemTime::now(),
        pace: "as fast as it goes".to_owned(),
        version: "0.0.0".to_owned(),
        conduct: Conduct::Control,
        layout: Arc::clone(layout),
        files: vec![("layout.toml".to_owned(), "a line with a loop".to_owned())],
        from,
    }
}

/// A signaller, and what it hears.
#[derive(Debug)]
pub struct Traffic {
    pub layout: Arc<Layout>,
    pub signaller: Signaller,
    /// When it began on the wall.
    pub began: SystemTime,
    dice: Dice,
    now: Time,
    wake_at: Option<Time>,
    tickets: u64,
    has_begun: bool,
}

impl Traffic {
    pub fn new(seed: u64) -> Self {
        let layout = Arc::new(layout());
        let signaller = Signaller::new(Arc::clone(&layout), Conduct::Control);
        let dice = Dice::new(seed);
        Self {
            layout,
            signaller,
            began: SystemTime::now(),
            dice,
            now: Time::ZERO,
            wake_at: None,
            tickets: 0,
            has_begun: false,
        }
    }

    /// The signaller's time.
    pub fn now(&self) -> Time {
        self.now
    }

    /// One more step.
    pub fn step(&mut self) -> Entry {
        let heard = if self.has_begun { self.something() } else { self.first() };
        self.has_begun = true;
        let inputs: Vec<Input> = heard.iter().map(|(input, _)| input.clone()).collect();
        let step = self.signaller.step(self.now, &inputs);
        self.wake_at = step.wake_at;
        let wall = self.began + self.now.since(Time::ZERO);
        Entry { at: self.now, wall, heard, outputs: step.outputs.to_vec() }
    }

    fn first(&mut self) -> Vec<(Input, Cause)> {
        let layout = Arc::clone(&self.layout);
        let mut heard: Vec<(Input, Cause)> = layout
            .sections
            .ids()
            .map(|section| Input::SectionReported { section, occupied: section.index_is_below(2) })
            .map(|input| (input, Cause::Start))
            .collect();
        for (train, section) in layout.trains.ids().zip(layout.sections.ids()) {
            heard.push((self.wish(Request::Place { train, on: vec![section], nose: None }), Cause::Start));
        }
        heard
    }

    fn wish(&mut self, request: Request) -> Input {
        self.tickets += 1;
        Input::Requested { ticket: Ticket(self.tickets), request }
    }

    fn something(&mut self) -> Vec<(Input, Cause)> {
        let passes = Duration::from_millis(1 + self.dice.below(3_000) as u64);
        let due = self.now + passes;
        if let Some(wake_at) = self.wake_at.filter(|&at| at <= due) {
            self.now = wake_at.max(self.now + Duration::from_millis(1));
            return vec![(Input::Woke, Cause::Wake)];
        }
        self.now = due;
        let sections: Vec<SectionId> = self.layout.sections.ids().collect();
        let trains: Vec<TrainId> = self.layout.trains.ids().collect();
        let (section, train) = (sections[self.dice.below(sections.len())], trains[self.dice.below(trains.len())]);
        let asked = Cause::Asked { by: "a person".to_owned(), key: Some(format!("wish-{}", self.tickets + 1)) };
        match self.dice.below(12) {
            0 => vec![(self.wish(Request::Place { train, on: vec![section], nose: None }), asked)],
            1 => vec![(self.wish(Request::Go { train, to: Destination::Section(section) }), asked)],
            2 => vec![(self.wish(Request::Hold { train, reason: "tea time".to_owned() }), asked)],
            3 => vec![(self.wish(Request::Release { train }), asked)],
            4 => vec![(self.wish(Request::TakeOutOfService { section, reason: "works".to_owned() }), asked)],
            5 => vec![(self.wish(Request::PutInService { section }), asked)],
            6 => {
                let turnouts: Vec<_> = self.layout.turnouts.ids().collect();
                let turnout = turnouts[self.dice.below(turnouts.len())];
                let lie = [None, Some(Lie::Straight), Some(Lie::Diverging)][self.dice.below(3)];
                vec![(Input::TurnoutReported { turnout, lie }, Cause::Link(None))]
            }
            _ => {
                let occupied = self.dice.below(2) == 0;
                vec![(Input::SectionReported { section, occupied }, Cause::Link(None))]
            }
        }
    }
}

trait Place {
    fn index_is_below(self, bound: usize) -> bool;
}

impl Place for SectionId {
    fn index_is_below(self, bound: usize) -> bool {
        track::Id::index(self) < bound
    }
}
