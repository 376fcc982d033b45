//! Scenarios about what signals show.

use track::{
    AspectRow, Beyond, BookParts, Builder, Layout, Length, Lie, Next, Overlap, Pass, Rule, SectionId, SignalId,
};

use crate::model::{World, builder, end, row, throat};
use crate::{Answer, Aspect, AspectBook, Conduct, Fact, Input, Output, Request, Signaller, Ticket, Time};

/// Signals that work by themselves, from what detectors say.
struct Watched {
    signaller: Signaller,
    shown: Vec<(SignalId, Aspect)>,
    tickets: u64,
}

impl Watched {
    /// Everything is reported free, every turnout that reports lies straight.
    fn new(layout: Layout) -> Self {
        let signaller = Signaller::new(layout.into(), Conduct::Observe);
        let layout = signaller.layout().clone();
        let mut watched = Self { signaller, shown: Vec::new(), tickets: 0 };
        let detected = layout.sections.ids().filter(|&section| !layout.is_dark(section));
        let mut inputs: Vec<_> = detected.map(|section| Input::SectionReported { section, occupied: false }).collect();
        let reported = layout.turnouts.iter().filter(|(_, turnout)| turnout.reported);
        inputs.extend(reported.map(|(turnout, _)| Input::TurnoutReported { turnout, lie: Some(Lie::Straight) }));
        watched.hear(&inputs);
        watched
    }

    fn hear(&mut self, inputs: &[Input]) {
        let step = self.signaller.step(Time::ZERO, inputs);
        self.shown.clear();
        self.shown.extend(step.outputs.iter().filter_map(|output| match output {
            Output::Show { signal, aspect } => Some((*signal, *aspect)),
            _ => None,
        }));
    }

    fn section(&mut self, name: &str, occupied: bool) {
        let section = self.signaller.layout().section_named(name).unwrap();
        self.hear(&[Input::SectionReported { section, occupied }]);
    }

    fn turnout(&mut self, name: &str, lie: Option<Lie>) {
        let turnout = self.signaller.layout().turnout_named(name).unwrap();
        self.hear(&[Input::TurnoutReported { turnout, lie }]);
    }

    fn keep(&mut self, signal: &str, held: bool) {
        let signal = self.signaller.layout().signal_named(signal).unwrap();
        self.tickets += 1;
        let request = Request::KeepAtDanger { signal, held };
        self.hear(&[Input::Requested { ticket: Ticket(self.tickets), request }]);
    }

    fn all(&self) -> Vec<&str> {
        let signals = self.signaller.signals();
        let shows = |signal| signals.book_of(signal).name(signals.shows(signal)).unwrap();
        self.signaller.layout().signals.ids().map(shows).collect()
    }
}

/// Five sections in a row, signals S1, S3, S5 at the far ends of the first three; what is beyond the last is said by
/// `beyond`.
fn plain_line(beyond: Beyond) -> (Builder, Vec<SectionId>) {
    let mut builder = builder();
    let line = row(&mut builder, &["a", "b", "c", "d", "e"], 1000);
    for (name, section) in [("S1", 0), ("S3", 1), ("S5", 2)] {
        let at = end(&builder, line[section], "b");
        builder.signal(name, at);
    }
    let far = end(&builder, line[4], "b");
    builder.close(far, beyond);
    (builder, line)
}

#[test]
fn signals_behind_a_train_show_danger_then_caution_then_clear() {
    let (builder, _) = plain_line(Beyond::BufferStop);
    let mut line = Watched::new(builder.build());
    assert_eq!(line.all(), ["green", "green", "yellow"], "at the end of the track yellow is the best");
    line.section("d", true);
    assert_eq!(line.all(), ["green", "yellow", "red"]);
    line.section("c", true);
    assert_eq!(line.all(), ["yellow", "red", "red"]);
    line.section("d", false);
    assert_eq!(line.all(), ["yellow", "red", "yellow"]);
}

#[test]
fn only_signals_that_change_are_told_and_all_of_them_at_first() {
    let (builder, _) = plain_line(Beyond::BufferStop);
    let layout = builder.build();
    let mut line = Watched::new(layout);
    assert_eq!(line.shown.len(), 3);
    line.section("c", true);
    assert_eq!(line.shown.len(), 2, "{:?}", line.shown);
    line.section("c", true);
    assert!(line.shown.is_empty());
    line.section("a", true);
    assert!(line.shown.is_empty(), "nothing vouches for the first section");
}

#[test]
fn a_section_that_was_never_reported_counts_as_occupied() {
    let (builder, _) = plain_line(Beyond::BufferStop);
    let mut signaller = Signaller::new(builder.build().into(), Conduct::Observe);
    signaller.step(Time::ZERO, &[]);
    let signals = signaller.signals();
    assert!(signaller.layout().signals.ids().all(|signal| signals.shows(signal) == Aspect::STOP));
}

#[test]
fn a_dark_section_counts_as_free_until_a_train_is_said_to_be_there() {
    let mut builder = builder();
    let line = row(&mut builder, &["a"], 1000);
    let (dark, stub) = (builder.section("tunnel"), builder.plain_section("stub", None));
    let [into, out] = ["a", "b"].map(|name| builder.end(dark, name));
    builder.way(into, out, None);
    let (from, to) = (end(&builder, line[0], "b"), end(&builder, stub, "a"));
    builder.join(from, into);
    builder.join(out, to);
    builder.signal("S1", from);
    builder.train(crate::model::railcar("Dunlin"));
    let mut line = Watched::new(builder.build());
    assert_eq!(line.all(), ["yellow"]);
    let train = line.signaller.layout().train_named("Dunlin").unwrap();
    let request = Request::Place { train, on: vec![dark], nose: None };
    line.hear(&[Input::Requested { ticket: Ticket(1), request }]);
    assert_eq!(line.all(), ["red"]);
}

#[test]
fn what_is_beyond_the_layout_is_unknown_until_the_border_signal_is_reported() {
    let (mut builder, line) = plain_line(Beyond::OffLayout);
    let border = end(&builder, line[4], "b");
    let s9 = builder.signal("S9", border);
    let mut line = Watched::new(builder.build());
    assert_eq!(line.all(), ["green", "green", "yellow", "red"]);
    let book = line.signaller.signals().book_of(s9);
    let (yellow, green) = (book.named("yellow").unwrap(), book.named("green").unwrap());
    line.hear(&[Input::SignalReported { signal: s9, shows: yellow }]);
    assert_eq!(line.all(), ["green", "green", "green", "yellow"]);
    line.hear(&[Input::SignalReported { signal: s9, shows: green }]);
    assert_eq!(line.all(), ["green", "green", "green", "green"]);
    line.hear(&[Input::SignalReported { signal: s9, shows: Aspect(7) }]);
    assert_eq!(line.all(), ["green", "green", "yellow", "red"], "an aspect that nobody knows is danger");
}

#[test]
fn a_fixed_signal_at_the_buffers_shows_danger_whatever_is_reported_and_the_one_before_it_caution() {
    let (mut builder, line) = plain_line(Beyond::BufferStop);
    let buffers = end(&builder, line[4], "b");
    let s9 = builder.signal("S9", buffers);
    let mut line = Watched::new(builder.build());
    assert_eq!(line.all(), ["green", "green", "yellow", "red"]);
    let green = line.signaller.signals().book_of(s9).named("green").unwrap();
    line.hear(&[Input::SignalReported { signal: s9, shows: green }]);
    assert_eq!(line.all(), ["green", "green", "yellow", "red"], "nothing leaves there");
    line.section("e", true);
    assert_eq!(line.all(), ["green", "yellow", "red", "red"]);
}

#[test]
fn a_signal_within_the_layout_shows_nothing_better_than_the_track_allows_whatever_is_reported_of_it() {
    let (builder, sections) = plain_line(Beyond::OffLayout);
    let mut line = Watched::new(builder.build());
    let (signal, _) = line.signaller.layout().signals.iter().next().unwrap();
    let green = line.signaller.signals().book_of(signal).named("green").unwrap();
    line.hear(&[Input::SectionReported { section: sections[1], occupied: true }]);
    assert_eq!(line.all()[0], "red");
    line.hear(&[Input::SignalReported { signal, shows: green }]);
    assert_eq!(line.all()[0], "red", "a train stands behind it");
    line.hear(&[Input::SectionReported { section: sections[1], occupied: false }]);
    assert_eq!(line.all()[0], "green");
    line.hear(&[Input::SignalReported { signal, shows: Aspect::STOP }]);
    assert_eq!(line.all()[0], "red", "worse than it could is taken for true");
}

#[test]
fn a_line_that_leads_off_the_layout_without_a_signal_is_caution_at_best() {
    let (builder, _) = plain_line(Beyond::OffLayout);
    assert_eq!(Watched::new(builder.build()).all(), ["green", "green", "yellow"]);
}

#[test]
fn a_signal_kept_at_danger_shows_danger_and_the_one_before_it_caution() {
    let (builder, _) = plain_line(Beyond::BufferStop);
    let mut line = Watched::new(builder.build());
    line.keep("S3", true);
    assert_eq!(line.all(), ["yellow", "red", "yellow"]);
    line.keep("S3", false);
    assert_eq!(line.all(), ["green", "green", "yellow"]);
}

/// A signal before a turnout with a track on each leg, the left one shorter by a section.
fn fork() -> Watched {
    let mut builder = builder();
    let line = row(&mut builder, &["line"], 1000);
    let (fork, _) = throat(&mut builder, "fork", "W1");
    let [left, right] = ["left", "right"].map(|name| builder.plain_section(name, None));
    for (one, other) in [
        (end(&builder, line[0], "b"), end(&builder, fork, "toe")),
        (end(&builder, fork, "one"), end(&builder, left, "a")),
        (end(&builder, fork, "two"), end(&builder, right, "a")),
    ] {
        builder.join(one, other);
    }
    let at = end(&builder, line[0], "b");
    builder.signal("S1", at);
    Watched::new(builder.build())
}

#[test]
fn a_signal_vouches_only_for_the_leg_to_which_the_turnout_lies() {
    let mut fork = fork();
    assert_eq!(fork.all(), ["yellow"]);
    fork.section("right", true);
    assert_eq!(fork.all(), ["yellow"]);
    fork.turnout("W1", Some(Lie::Diverging));
    assert_eq!(fork.all(), ["red"]);
    fork.section("right", false);
    assert_eq!(fork.all(), ["yellow"]);
}

#[test]
fn a_signal_before_a_turnout_that_moves_or_does_not_report_shows_danger() {
    let mut fork = fork();
    fork.turnout("W1", None);
    assert_eq!(fork.all(), ["red"]);
    fork.turnout("W1", Some(Lie::Straight));
    assert_eq!(fork.all(), ["yellow"]);
}

#[test]
fn a_signal_before_a_junction_whose_turnout_nobody_reports_shows_danger() {
    let mut builder = builder();
    let line = row(&mut builder, &["line"], 1000);
    let at = end(&builder, line[0], "b");
    for name in ["left", "right"] {
        let track = builder.plain_section(name, None);
        let a = end(&builder, track, "a");
        builder.join(at, a);
    }
    builder.signal("S1", at);
    assert_eq!(Watched::new(builder.build()).all(), ["red"]);
}

#[test]
fn round_a_ring_every_signal_comes_to_show_what_it_should() {
    let mut builder = builder();
    let ring = row(&mut builder, &["a", "b", "c", "d"], 1000);
    let (last, first) = (end(&builder, ring[3], "b"), end(&builder, ring[0], "a"));
    builder.join(last, first);
    for (name, section) in ["S1", "S3", "S5", "S7"].iter().zip(&ring) {
        let at = end(&builder, *section, "b");
        builder.signal(*name, at);
    }
    let mut ring = Watched::new(builder.build());
    assert_eq!(ring.all(), ["green"; 4]);
    ring.section("a", true);
    assert_eq!(ring.all(), ["green", "green", "yellow", "red"]);
}

#[test]
fn under_control_a_signal_clears_only_for_the_train_whose_route_is_set() {
    let mut world = World::with_two_trains();
    let red = |world: &World| ["S1", "S3", "S5", "S2", "S4", "S6"].iter().all(|signal| world.shows(signal) == "red");
    assert!(red(&world), "no route, no proceed, however free the track is");
    world.go("Heron", "halt");
    assert_eq!(world.shows("S1"), "yellow");
    assert_eq!(world.shows("S4"), "red", "not for the other direction");
    assert!(world.run(60.0, |world| world.nose("Heron").0 == "west"));
    assert!(world.run(1.0, red), "behind the train it is at danger again");
}

/// A plain line whose second signal has an overlap.
fn line_with_overlap(overlap: impl FnOnce(&[SectionId]) -> Overlap) -> Watched {
    let (mut builder, line) = plain_line(Beyond::BufferStop);
    let s3 = builder.layout().signal_named("S3").unwrap();
    builder.signal_mut(s3).overlap = overlap(&line);
    Watched::new(builder.build())
}

#[test]
fn a_signal_stays_at_danger_until_the_overlap_behind_the_next_one_is_clear() {
    let mut line = line_with_overlap(|line| Overlap::Sections(vec![line[2], line[3]]));
    assert_eq!(line.all(), ["green", "green", "yellow"]);
    line.section("c", true);
    assert_eq!(line.all(), ["red", "red", "yellow"], "the overlap is covered from its first section on");
    line.section("d", true);
    line.section("c", false);
    assert_eq!(line.all(), ["red", "yellow", "red"], "to its last");
    line.section("e", true);
    line.section("d", false);
    assert_eq!(line.all(), ["green", "yellow", "red"], "but no further");
}

#[test]
fn an_overlap_of_a_length_covers_every_section_it_reaches_into() {
    for (mm, red_while_in) in [(600, &["c"][..]), (1000, &["c"]), (1001, &["c", "d"]), (9000, &["c", "d", "e"])] {
        let mut line = line_with_overlap(|_| Overlap::Length(Length::from_mm(mm)));
        for section in ["c", "d", "e"] {
            line.section(section, true);
            let shows = line.all()[0] == "red";
            assert_eq!(shows, red_while_in.contains(&section), "{mm} mm, a train in {section}");
            line.section(section, false);
        }
    }
}

#[test]
fn an_overlap_with_a_turnout_that_moves_is_not_clear() {
    let mut builder = builder();
    let line = row(&mut builder, &["line", "next"], 1000);
    let (fork, _) = throat(&mut builder, "fork", "W1");
    let (from, to) = (end(&builder, line[1], "b"), end(&builder, fork, "toe"));
    builder.join(from, to);
    for (name, section) in [("S1", line[0]), ("S3", line[1])] {
        let at = end(&builder, section, "b");
        let signal = builder.signal(name, at);
        builder.signal_mut(signal).overlap = Overlap::Sections(vec![fork]);
    }
    // The first signal's own overlap is of no use to anybody: nothing leads up to it.
    let mut line = Watched::new(builder.build());
    assert_eq!(line.all()[0], "green");
    line.turnout("W1", None);
    assert_eq!(line.all(), ["red", "red"]);
    line.turnout("W1", Some(Lie::Diverging));
    assert_eq!(line.all()[0], "green");
}

#[test]
fn a_signal_whose_stretch_leads_off_the_layout_shows_what_it_is_reported_to_show_while_that_is_clear() {
    let (builder, sections) = plain_line(Beyond::OffLayout);
    let mut line = Watched::new(builder.build());
    let s5 = line.signaller.layout().signal_named("S5").unwrap();
    let green = line.signaller.signals().book_of(s5).named("green").unwrap();
    line.hear(&[Input::SignalReported { signal: s5, shows: green }]);
    assert_eq!(line.all(), ["green", "green", "green"]);
    line.hear(&[Input::SectionReported { section: sections[4], occupied: true }]);
    assert_eq!(line.all(), ["green", "yellow", "red"], "a train stands where it vouches for");
    line.hear(&[Input::SectionReported { section: sections[4], occupied: false }]);
    line.hear(&[Input::SignalReported { signal: s5, shows: Aspect::STOP }]);
    assert_eq!(line.all(), ["green", "yellow", "red"]);
}

/// Danger, stop and go on by sight, called on, caution, clear.
fn book_with_everything() -> AspectBook {
    let plain = AspectBook::three_aspect().parts().clone();
    let row = |name: &str, pass| AspectRow::new(name, pass, None);
    let occupied = |show, permissive, called_on| Rule {
        occupied: true,
        permissive,
        called_on: Some(called_on),
        ..Rule::always(Aspect(show))
    };
    let [stop, go_on, call, yellow, green] = [0, 1, 2, 3, 4].map(|row| Next::Shows(Aspect(row)));
    let ends = vec![stop, go_on, call, Next::BufferStop, Next::Edge];
    let mut aspects = plain.aspects;
    aspects.insert(1, row("stop, go on", Pass::StopThenOnSight));
    aspects.insert(2, row("called on", Pass::OnSight));
    let rules = vec![
        occupied(1, Some(true), false),
        occupied(2, None, true),
        Rule { next: Some(ends), ..Rule::always(Aspect(3)) },
        Rule { next: Some(vec![yellow, green]), ..Rule::always(Aspect(4)) },
    ];
    AspectBook::new(BookParts { title: "everything".into(), aspects, rules, ..plain }).unwrap()
}

fn line_with_everything() -> Watched {
    let (mut builder, _) = plain_line(Beyond::BufferStop);
    builder.replace_default_book(book_with_everything());
    let s5 = builder.layout().signal_named("S5").unwrap();
    builder.signal_mut(s5).is_permissive = true;
    Watched::new(builder.build())
}

#[test]
fn a_permissive_signal_lets_trains_on_by_sight_only_where_a_detector_says_that_something_is_there() {
    let mut line = line_with_everything();
    line.section("d", true);
    assert_eq!(line.all(), ["green", "yellow", "stop, go on"]);
    line.keep("S5", true);
    assert_eq!(line.all(), ["green", "yellow", "red"], "not where a person keeps it at danger");
    line.keep("S5", false);
    line.section("d", false);
    line.section("b", true);
    assert_eq!(line.all(), ["red", "green", "yellow"], "the others are absolute");

    let (mut builder, _) = plain_line(Beyond::BufferStop);
    builder.replace_default_book(book_with_everything());
    let s5 = builder.layout().signal_named("S5").unwrap();
    builder.signal_mut(s5).is_permissive = true;
    let mut unheard = Signaller::new(builder.build().into(), Conduct::Observe);
    unheard.step(Time::ZERO, &[]);
    assert_eq!(unheard.signals().shows(s5), Aspect::STOP, "nor where nothing was ever heard");
}

impl Watched {
    fn call_on(&mut self, signal: &str, wanted: bool) -> Answer {
        let signal = self.signaller.layout().signal_named(signal).unwrap();
        let request = Request::CallOn { signal, wanted };
        let ticket = Ticket(99);
        let step = self.signaller.step(Time::ZERO, &[Input::Requested { ticket, request }]);
        let mut answers = step.outputs.iter().filter_map(|output| match output {
            Output::Fact(Fact::Answered { answer, .. }) => Some(answer.clone()),
            _ => None,
        });
        answers.next().unwrap()
    }
}

#[test]
fn a_train_is_called_on_into_occupied_track_by_request_only_and_only_once() {
    let mut line = line_with_everything();
    line.section("b", true);
    line.section("d", true);
    assert_eq!(line.all()[1], "yellow");
    line.section("c", true);
    assert_eq!(line.all()[1], "red");
    assert_eq!(line.call_on("S3", true), Answer::Accepted);
    assert_eq!(line.all()[1], "called on");
    line.section("b", false);
    assert_eq!(line.all()[1], "red", "it has passed");
    line.section("b", true);
    assert_eq!(line.all()[1], "red", "the next one is not called");
    line.call_on("S3", true);
    assert_eq!(line.all()[1], "called on");
    line.call_on("S3", false);
    assert_eq!(line.all()[1], "red");
}

#[test]
fn no_train_is_called_on_where_that_cannot_be_shown_or_where_the_signaller_drives() {
    let refused = |answer: Answer| match answer {
        Answer::Refused(refusal) => refusal.reason,
        Answer::Accepted => panic!("accepted"),
    };
    let (builder, _) = plain_line(Beyond::BufferStop);
    let mut line = Watched::new(builder.build());
    assert!(refused(line.call_on("S3", true)).contains("no aspect"));
    let mut line = line_with_everything();
    line.keep("S3", true);
    assert!(refused(line.call_on("S3", true)).contains("kept at danger"));
    let (mut builder, _) = plain_line(Beyond::BufferStop);
    builder.replace_default_book(book_with_everything());
    let mut line = Watched::new(builder.build());
    line.signaller = Signaller::new(line.signaller.layout().clone(), Conduct::Control);
    assert!(refused(line.call_on("S3", true)).contains("driven here"));
}

#[test]
fn a_signal_lit_on_approach_is_dark_only_while_the_section_before_it_is_known_to_be_free() {
    let (mut builder, _) = plain_line(Beyond::BufferStop);
    let s3 = builder.layout().signal_named("S3").unwrap();
    builder.signal_mut(s3).is_approach_lit = true;
    let layout: std::sync::Arc<Layout> = builder.build().into();
    let mut signaller = Signaller::new(layout.clone(), Conduct::Observe);
    let lit = |step: crate::Step<'_>| {
        let lights = step.outputs.iter().filter_map(|output| match output {
            Output::Light { signal, lit } => Some((*signal, *lit)),
            _ => None,
        });
        lights.collect::<Vec<_>>()
    };
    assert_eq!(lit(signaller.step(Time::ZERO, &[])), [(s3, true)], "nothing was heard yet");
    let free = |name: &str, occupied| {
        let section = layout.section_named(name).unwrap();
        Input::SectionReported { section, occupied }
    };
    let all: Vec<Input> = ["a", "b", "c", "d", "e"].map(|name| free(name, false)).to_vec();
    assert_eq!(lit(signaller.step(Time::ZERO, &all)), [(s3, false)]);
    assert!(signaller.signals().is_dark(s3));
    assert_eq!(layout.book_of(s3).name(signaller.signals().shows(s3)), Some("green"), "it shows it all the same");
    assert_eq!(lit(signaller.step(Time::ZERO, &[free("a", true)])), []);
    assert_eq!(lit(signaller.step(Time::ZERO, &[free("b", true)])), [(s3, true)]);
    assert_eq!(lit(signaller.step(Time::ZERO, &[free("b", false)])), [(s3, false)]);
}

#[test]
fn signals_of_different_books_in_a_row_understand_each_other_as_nothing_better_than_is_shown() {
    let (mut builder, _) = plain_line(Beyond::BufferStop);
    let everything = builder.book(book_with_everything());
    let s3 = builder.layout().signal_named("S3").unwrap();
    let s5 = builder.layout().signal_named("S5").unwrap();
    builder.signal_mut(s3).book = everything;
    builder.signal_mut(s5).is_permissive = true;
    let mut line = Watched::new(builder.build());
    assert_eq!(line.all(), ["green", "green", "yellow"]);
    line.section("d", true);
    assert_eq!(line.all(), ["green", "yellow", "red"]);
    line.section("c", true);
    line.call_on("S3", true);
    assert_eq!(line.all(), ["yellow", "called on", "red"], "a train that is called on is told of as a stop");
}

/// A single line of six sections between two tracks of stations, with a signal before every section both ways: `a0 .. a5`, from
/// `west` to `east`.
fn single_line() -> Layout {
    let mut builder = builder();
    let line = row(&mut builder, &["west", "a0", "a1", "a2", "a3", "a4", "a5", "east"], 1200);
    for (place, pair) in line.windows(2).enumerate() {
        for (section, at, name) in [(pair[0], "b", format!("U{place}")), (pair[1], "a", format!("D{}", place + 1))] {
            let at = end(&builder, section, at);
            builder.signal(&name, at);
        }
    }
    let (first, last) = (end(&builder, line[0], "a"), end(&builder, line[7], "b"));
    builder.close(first, Beyond::BufferStop);
    builder.close(last, Beyond::BufferStop);
    for name in ["Heron", "Plover"] {
        builder.train(track::Train::stranger(name));
    }
    builder.build()
}

impl Watched {
    fn put(&mut self, train: &str, on: &str, nose: &str) {
        let layout = self.signaller.layout().clone();
        let (train, section) = (layout.train_named(train).unwrap(), layout.section_named(on).unwrap());
        self.tickets += 1;
        let request = Request::Place { train, on: vec![section], nose: layout.end_named(nose) };
        let ticket = Ticket(self.tickets);
        self.hear(&[Input::SectionReported { section, occupied: true }, Input::Requested { ticket, request }]);
    }

    fn of(&self, signal: &str) -> &str {
        let id = self.signaller.layout().signal_named(signal).unwrap();
        self.signaller.signals().book_of(id).name(self.signaller.signals().shows(id)).unwrap()
    }
}

#[test]
fn on_single_line_no_signal_lets_a_train_in_against_one_that_comes() {
    let mut watched = Watched::new(single_line());
    assert_eq!((watched.of("D7"), watched.of("U0")), ("green", "green"));
    watched.put("Heron", "a0", "a0.b");
    assert_eq!(watched.of("D7"), "red", "Heron comes, though five sections are free");
    assert_eq!((watched.of("D3"), watched.of("D1")), ("red", "yellow"), "behind Heron the way back is free");
    assert_eq!((watched.of("U1"), watched.of("U5")), ("green", "green"), "ahead of Heron all is clear");
    watched.section("a1", true);
    watched.section("a0", false);
    assert_eq!((watched.of("U0"), watched.of("U1")), ("yellow", "red"), "another may follow it");
    assert_eq!(watched.of("D7"), "red");
    for (on, left) in [("a2", "a1"), ("a3", "a2"), ("a4", "a3"), ("a5", "a4")] {
        watched.section(on, true);
        watched.section(left, false);
        assert_eq!(watched.of("D7"), "red");
    }
}

/// A line `a b c` between two stations of two tracks each, `w1 w2` and `e1 e2`, with signals out of the stations and between the
/// sections of the line.
fn between_stations() -> Layout {
    let mut builder = builder();
    let line = row(&mut builder, &["a", "b", "c"], 1200);
    let mut station = |throat_name: &str, turnout: &str, line_end: (track::SectionId, &str), tracks: [&str; 2]| {
        let (throat, _) = throat(&mut builder, throat_name, turnout);
        let (toe, line_end) = (end(&builder, throat, "toe"), end(&builder, line_end.0, line_end.1));
        builder.join(line_end, toe);
        for (track, leg) in tracks.into_iter().zip(["one", "two"]) {
            let section = builder.plain_section(track, Some(Length::from_mm(1200)));
            let (near, far, leg) =
                (end(&builder, section, "a"), end(&builder, section, "b"), end(&builder, throat, leg));
            builder.join(near, leg);
            builder.close(far, Beyond::BufferStop);
            builder.signal(format!("from {track}"), near);
        }
    };
    station("west", "W1", (line[0], "a"), ["w1", "w2"]);
    station("east", "W2", (line[2], "b"), ["e1", "e2"]);
    for (name, section, at) in [("U", line[2], "b"), ("D", line[0], "a")] {
        let at = end(&builder, section, at);
        builder.signal(name, at);
    }
    for name in ["Heron", "Plover"] {
        builder.train(track::Train::stranger(name));
    }
    builder.build()
}

#[test]
fn a_train_that_has_passed_the_signal_at_the_head_of_a_single_line_is_met_by_nobody() {
    let mut watched = Watched::new(between_stations());
    let open = |watched: &Watched| ["from w1", "from e1"].map(|signal| watched.of(signal) != "red");
    assert_eq!(open(&watched), [true, true]);
    // Nobody knows which way it goes.
    watched.section("west", true);
    assert_eq!(open(&watched), [false, false]);
    watched.section("west", false);
    assert_eq!(open(&watched), [true, true]);
    watched.put("Heron", "w1", "w1.a");
    assert_eq!(open(&watched), [true, true], "it has not passed its signal yet");
    watched.section("west", true);
    assert_eq!(open(&watched), [false, false], "it is among the turnouts, and comes");
    watched.section("w1", false);
    watched.section("a", true);
    watched.section("west", false);
    assert_eq!(watched.of("from e1"), "red");
    // The other way round: one that comes out of the line may be followed, and left behind.
    let mut watched = Watched::new(between_stations());
    watched.put("Plover", "a", "a.a");
    assert_eq!(watched.of("from w1"), "red");
    watched.section("west", true);
    watched.section("a", false);
    assert_eq!(open(&watched), [false, true], "it has left the line");
}

#[test]
fn nobody_is_let_in_against_something_unknown_from_either_end() {
    let mut watched = Watched::new(single_line());
    watched.section("a3", true);
    assert_eq!((watched.of("U0"), watched.of("D7")), ("red", "red"));
    assert_eq!((watched.of("U5"), watched.of("D3")), ("green", "green"), "away from it trains may go");
    watched.section("a3", false);
    assert_eq!((watched.of("U0"), watched.of("D7")), ("green", "green"));
}

#[test]
fn where_tracks_cross_a_signal_clears_for_a_route_only_and_not_while_something_is_on_the_other_track() {
    let mut builder = builder();
    let across = row(&mut builder, &["a0", "a1", "a2"], 800);
    let along = row(&mut builder, &["b0", "b1", "b2"], 800);
    builder.cross(across[1], along[1]);
    for (name, section) in [("S1", across[0]), ("S2", across[1]), ("S3", along[0])] {
        let at = end(&builder, section, "b");
        builder.signal(name, at);
    }
    let mut crossing = Watched::new(builder.build());
    assert_eq!(crossing.all(), ["red", "yellow", "red"], "either may come");
    let signal = |name: &str, crossing: &Watched| crossing.signaller.layout().signal_named(name).unwrap();
    let set = |crossing: &mut Watched, from: &str, exit: track::routes::Exit| {
        let (entry, via) = (signal(from, crossing), Vec::new());
        crossing.tickets += 1;
        let request = Request::SetRoute { entry, exit, via };
        let ticket = Ticket(crossing.tickets);
        let step = crossing.signaller.step(Time::ZERO, &[Input::Requested { ticket, request }]);
        step.outputs
            .iter()
            .any(|output| matches!(output, Output::Fact(Fact::Answered { answer: Answer::Accepted, .. })))
    };
    let s2 = track::routes::Exit::Signal(signal("S2", &crossing));
    let edge = track::routes::Exit::Edge(end_of(&crossing, "b2.b"));
    crossing.section("b1", true);
    assert!(!set(&mut crossing, "S1", s2), "something is on the crossing");
    crossing.section("b1", false);
    assert!(set(&mut crossing, "S1", s2));
    assert_eq!(crossing.all(), ["green", "yellow", "red"]);
    assert!(!set(&mut crossing, "S3", edge), "the other track has a route");
    crossing.section("b1", true);
    assert_eq!(crossing.all(), ["red", "yellow", "red"], "something rolled onto the crossing");
}

fn end_of(watched: &Watched, name: &str) -> track::EndId {
    watched.signaller.layout().end_named(name).unwrap()
}

#[test]
fn a_controlled_signal_is_at_stop_until_a_route_is_set_from_it() {
    let mut layout = single_line();
    let signal = layout.signal_named("U2").unwrap();
    layout.signals[signal].is_controlled = true;
    let mut watched = Watched::new(layout);
    assert_eq!((watched.of("U2"), watched.of("U1")), ("red", "yellow"));
    let exit = track::routes::Exit::Signal(watched.signaller.layout().signal_named("U3").unwrap());
    watched.tickets += 1;
    let request = Request::SetRoute { entry: signal, exit, via: Vec::new() };
    watched.hear(&[Input::Requested { ticket: Ticket(watched.tickets), request }]);
    assert_eq!((watched.of("U2"), watched.of("U1")), ("green", "green"));
    watched.section("a2", true);
    watched.section("a2", false);
    assert_eq!(watched.of("U2"), "red", "a route is used once");
}
