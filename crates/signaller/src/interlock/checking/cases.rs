//! The layouts, the trains on them, and what else may happen there.

use std::fmt;
use std::sync::Arc;

use track::routes::{RouteId, Routes};
use track::{Beyond, Builder, EndId, Layout, Length, Lie, Overlap, SectionId, SignalId, TrainId, Traverse};

use crate::door::Destination;
use crate::model::{builder, end, passing_loop, railcar, row, throat};

/// What is explored.
#[derive(Clone, Debug)]
pub(super) struct Case {
    pub(super) name: &'static str,
    pub(super) layout: Arc<Layout>,
    pub(super) trains: Vec<Start>,
    pub(super) liberties: Liberties,
    /// The one signal that people keep at danger, if not any.
    pub(super) kept: Option<SignalId>,
    /// The routes that people set, and the sections that they take out of service.
    pub(super) routes: Vec<RouteId>,
    pub(super) withdrawable: Vec<SectionId>,
}

/// A train, where it stands at first, and where it is to go, one after the other.
#[derive(Clone, Debug)]
pub(super) struct Start {
    pub(super) train: TrainId,
    pub(super) on: Traverse,
    pub(super) errands: Vec<Destination>,
}

/// What may happen beside trains running and turnouts moving, and how often.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Liberties {
    /// Reports come when other things have happened meanwhile.
    pub(super) reports_come_late: bool,
    /// Where a train stops on its way its nose may be beyond the next joint, for all that is known.
    pub(super) reaches_farther: bool,
    /// Turnouts do not move when they are thrown.
    pub(super) failures: usize,
    /// Trains are told to stop.
    pub(super) stops: usize,
    /// People throw turnouts.
    pub(super) throws: usize,
    /// People keep a signal at danger for a while.
    pub(super) keeps: usize,
    /// People set a route, and cancel it some time.
    pub(super) routes: usize,
    /// People take a section out of service for a while.
    pub(super) withdrawals: usize,
}

impl fmt::Display for Liberties {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let late = if self.reports_come_late { "reports late" } else { "reports at once" };
        let reach = if self.reaches_farther { ", noses that may be farther" } else { "" };
        let Self { failures, stops, throws, keeps, routes, withdrawals, .. } = self;
        write!(out, "{late}{reach}, {failures} failures, {stops} stops, {throws} throws, {keeps} signals kept, ")?;
        write!(out, "{routes} routes set, {withdrawals} sections withdrawn")
    }
}

impl Case {
    pub(super) fn start(&self, train: TrainId) -> Option<&Start> {
        self.trains.iter().find(|start| start.train == train)
    }

    /// Where the train is to go once so many of its errands are done.
    pub(super) fn errand(&self, train: TrainId, done: usize) -> Option<Destination> {
        self.start(train)?.errands.get(done).copied()
    }

    pub(super) fn length(&self, train: TrainId) -> Length {
        self.layout.trains[train].length().unwrap_or(Length::ZERO)
    }

    pub(super) fn may_be_kept(&self, signal: SignalId) -> bool {
        self.kept.is_none_or(|kept| kept == signal)
    }

    /// The same, in which people keep no other signal at danger.
    pub(super) fn keeping(mut self, signal: &str) -> Self {
        self.kept = self.layout.signal_named(signal);
        self
    }

    /// The same, in which people set these routes.
    pub(super) fn setting(mut self, routes: &[&str]) -> Self {
        let all = Routes::new(self.layout.clone());
        self.routes = routes.iter().map(|name| all.named(name).unwrap()).collect();
        self
    }

    /// The same, in which people take these sections out of service.
    pub(super) fn withdrawing(mut self, sections: &[&str]) -> Self {
        self.withdrawable = sections.iter().map(|name| self.layout.section_named(name).unwrap()).collect();
        self
    }

    /// The same, with the section behind a signal as its overlap.
    pub(super) fn with_overlap(mut self, signal: &str, section: &str) -> Self {
        let mut layout = Layout::clone(&self.layout);
        let (signal, section) = (layout.signal_named(signal).unwrap(), layout.section_named(section).unwrap());
        layout.signals[signal].overlap = Overlap::Sections(vec![section]);
        self.layout = Arc::new(layout);
        self
    }

    /// The same, in which more may happen.
    pub(super) fn with(mut self, liberties: Liberties) -> Self {
        self.liberties = liberties;
        self
    }
}

/// Puts trains on a layout: name, the end its nose points at, and its errands.
fn case(name: &'static str, layout: Layout, trains: &[(&str, &str, &[&str])]) -> Case {
    let destination = |name: &str| match layout.stop_named(name) {
        Some(stop) => Destination::Stop(stop),
        None => Destination::Section(layout.section_named(name).unwrap()),
    };
    let start = |&(train, nose, errands): &(&str, &str, &[&str])| {
        let leave = layout.end_named(nose).unwrap();
        let [way] = layout.ends[leave].ways[..] else { panic!("trains start on plain track") };
        let on = Traverse { section: layout.ends[leave].section, enter: layout.far_end(way, leave), way, leave };
        let errands = errands.iter().map(|name| destination(name)).collect();
        Start { train: layout.train_named(train).unwrap(), on, errands }
    };
    let trains = trains.iter().map(start).collect();
    Case {
        name,
        trains,
        liberties: Liberties::default(),
        kept: None,
        routes: Vec::new(),
        withdrawable: Vec::new(),
        layout: Arc::new(layout),
    }
}

fn join(builder: &mut Builder, (one, a): (SectionId, &str), (other, b): (SectionId, &str)) {
    let (one, other) = (end(builder, one, a), end(builder, other, b));
    builder.join(one, other);
}

fn signals(builder: &mut Builder, at: &[(&str, SectionId, &str)]) {
    for &(name, section, at) in at {
        let at = end(builder, section, at);
        builder.signal(name, at);
    }
}

fn stops(builder: &mut Builder, at: &[(&str, SectionId, &str)]) {
    for &(name, section, at) in at {
        let at: EndId = end(builder, section, at);
        builder.stop(name, at, Length::from_mm(60));
    }
}

fn finish(mut builder: Builder) -> Layout {
    let open = |builder: &Builder| builder.layout().ends.iter().find(|(_, row)| is_open(row)).map(|(end, _)| end);
    while let Some(end) = open(&builder) {
        builder.close(end, Beyond::BufferStop);
    }
    builder.train(railcar("Heron"));
    builder.train(railcar("Plover"));
    builder.build()
}

fn is_open(row: &track::End) -> bool {
    row.meets.is_empty() && row.beyond != Beyond::BufferStop
}

/// A single line with a passing loop, and two trains that have to pass each other in it.
pub(super) fn single_line() -> Case {
    let trains: [(&str, &str, &[&str]); 2] = [("Heron", "w0.b", &["far east"]), ("Plover", "e0.a", &["far west"])];
    case("single line with a passing loop", passing_loop(), &trains)
}

/// The same with a signal at every joint, both ways, and one train in the loop already: if they do not mind each other they meet
/// nose to nose on the line.
pub(super) fn single_line_in_blocks() -> Case {
    let mut builder = Builder::from(passing_loop());
    for (name, at) in [("S7", "w0.b"), ("S8", "w1.a"), ("S9", "e0.a"), ("S10", "e1.b")] {
        let at = builder.layout().end_named(at).unwrap();
        builder.signal(name, at);
    }
    let trains: [(&str, &str, &[&str]); 2] = [("Heron", "w0.b", &["far east"]), ("Plover", "north.a", &["far west"])];
    case("single line with a signal at every joint", builder.build(), &trains)
}

/// The single line with a passing loop, there and back.
pub(super) fn single_line_there_and_back() -> Case {
    let trains: [(&str, &str, &[&str]); 2] =
        [("Heron", "w0.b", &["far east", "far west"]), ("Plover", "e0.a", &["far west", "far east"])];
    case("single line with a passing loop, there and back", passing_loop(), &trains)
}

/// Two lines `n0 (nt) n1` and `s0 (st) s1`, and a crossover from `n0` to `s1`. One train has to cross to where the other stands,
/// which has to leave over the turnout that the first needs otherwise.
pub(super) fn crossover() -> Case {
    let mut builder = builder();
    let plain = |builder: &mut Builder, name: &str| builder.plain_section(name, Some(Length::from_mm(1000)));
    let [n0, n1, s0, s1] = ["n0", "n1", "s0", "s1"].map(|name| plain(&mut builder, name));
    let (nt, _) = throat(&mut builder, "nt", "W1");
    let (st, _) = throat(&mut builder, "st", "W2");
    for (one, other) in [
        ((n0, "b"), (nt, "toe")),
        ((nt, "one"), (n1, "a")),
        ((s0, "b"), (st, "one")),
        ((st, "toe"), (s1, "a")),
        ((nt, "two"), (st, "two")),
    ] {
        join(&mut builder, one, other);
    }
    signals(&mut builder, &[("S1", n0, "b"), ("S2", n1, "a"), ("S3", s0, "b"), ("S4", s1, "a")]);
    let ends = [("north west", n0, "a"), ("north east", n1, "b"), ("south west", s0, "a"), ("south east", s1, "b")];
    stops(&mut builder, &ends);
    let trains: [(&str, &str, &[&str]); 2] =
        [("Heron", "n0.b", &["south east", "north west"]), ("Plover", "s1.a", &["south west"])];
    case("crossover", finish(builder), &trains)
}

/// A lead `l0 l1` and a ladder in one section to three tracks. One train comes out of a track while the other goes in.
pub(super) fn ladder() -> Case {
    let mut builder = builder();
    let lead = row(&mut builder, &["l0", "l1"], 800);
    let tracks = ["t1", "t2", "t3"].map(|name| builder.plain_section(name, Some(Length::from_mm(800))));
    let section = builder.section("ladder");
    let [toe, one, two, three] = ["toe", "one", "two", "three"].map(|name| builder.end(section, name));
    let turnouts = ["W1", "W2"].map(|name| builder.turnout(name));
    for turnout in turnouts {
        builder.turnout_mut(turnout).reported = true;
    }
    let (straight, diverging) = (Lie::Straight, Lie::Diverging);
    for (far, needs) in
        [(one, [Some(straight), None]), (two, [Some(diverging), Some(straight)]), (three, [Some(diverging); 2])]
    {
        let way = builder.way(toe, far, Some(Length::from_mm(400)));
        for (turnout, lie) in turnouts.into_iter().zip(needs) {
            if let Some(lie) = lie {
                builder.need(way, turnout, lie);
            }
        }
    }
    builder.area_detector(section);
    join(&mut builder, (lead[1], "b"), (section, "toe"));
    for (track, leg) in tracks.into_iter().zip(["one", "two", "three"]) {
        join(&mut builder, (section, leg), (track, "a"));
    }
    let at_tracks = [("S2", tracks[0], "a"), ("S3", tracks[1], "a"), ("S4", tracks[2], "a")];
    signals(&mut builder, &[("S1", lead[1], "b")]);
    signals(&mut builder, &at_tracks);
    let ends =
        [("lead end", lead[0], "a"), ("first", tracks[0], "b"), ("second", tracks[1], "b"), ("third", tracks[2], "b")];
    stops(&mut builder, &ends);
    let trains: [(&str, &str, &[&str]); 2] =
        [("Heron", "t1.a", &["lead end", "second"]), ("Plover", "l0.b", &["third"])];
    case("ladder", finish(builder), &trains)
}

/// Two lines `x0 x1 x2` and `y0 y1 y2` that cross between `x1` and `y1`, each with its own detector, and a train on each that
/// runs over the crossing and back.
pub(super) fn crossing() -> Case {
    let mut builder = builder();
    let x = row(&mut builder, &["x0", "x1", "x2"], 800);
    let y = row(&mut builder, &["y0", "y1", "y2"], 800);
    builder.cross(x[1], y[1]);
    signals(&mut builder, &[("S1", x[0], "b"), ("S2", x[2], "a"), ("S3", y[0], "b"), ("S4", y[2], "a")]);
    stops(&mut builder, &[("west", x[0], "a"), ("east", x[2], "b"), ("north", y[0], "a"), ("south", y[2], "b")]);
    let trains: [(&str, &str, &[&str]); 2] =
        [("Heron", "x0.b", &["east", "west"]), ("Plover", "y0.b", &["south", "north"])];
    case("crossing", finish(builder), &trains)
}

fn balloon() -> Layout {
    let mut builder = builder();
    let stem = row(&mut builder, &["s0", "s1"], 700);
    let round = row(&mut builder, &["l1", "l2"], 700);
    let (throat, _) = throat(&mut builder, "throat", "W1");
    join(&mut builder, (stem[1], "b"), (throat, "toe"));
    join(&mut builder, (throat, "one"), (round[0], "a"));
    join(&mut builder, (round[1], "b"), (throat, "two"));
    let facing = [("S1", stem[1], "b"), ("S2", round[0], "a"), ("S3", round[1], "b")];
    signals(&mut builder, &facing);
    signals(&mut builder, &[("S4", round[0], "b"), ("S5", round[1], "a")]);
    stops(&mut builder, &[("out", stem[0], "a")]);
    finish(builder)
}

/// A stem `s0 s1` and a reversing loop `l1 l2`. One train has to come out to where the other stands, which has to go in.
pub(super) fn reversing_loop() -> Case {
    let trains: [(&str, &str, &[&str]); 2] = [("Heron", "s1.b", &["l2"]), ("Plover", "l1.a", &["out", "l1"])];
    case("reversing loop", balloon(), &trains)
}

/// One train that goes all the way round, and comes out over the turnout by which it went in.
pub(super) fn once_round() -> Case {
    let trains: [(&str, &str, &[&str]); 1] = [("Heron", "s1.b", &["out", "l1", "out"])];
    case("once round a reversing loop", balloon(), &trains)
}
