//! Scenarios about who may have which track.

mod aside;
mod by_hand;
mod calls;
mod distant;
mod flank;
mod overlaps;
mod refusals;
mod segments;
mod set_route;
mod throttle;
mod withdrawn;
mod words;

use std::sync::Arc;

use smallvec::{SmallVec, smallvec};
use track::{Layout, Length, Lie, SectionId, TrainId, TurnoutId};

use super::{HoldKind, Interlock};
use crate::aspect::Signals;
use crate::drive::Drive;
use crate::identity::{Hold, Pace, Whereabouts};
use crate::model::{World, builder, end, passing_loop, railcar, refusal, row, throat};
use crate::picture::Picture;
use crate::signaller::Changes;
use crate::{Answer, Conduct, Destination, Direction, Fact, Input, Output, Request, Tag, Time};

#[test]
fn two_trains_that_change_places_pass_in_the_loop() {
    let mut world = World::with_two_trains();
    assert_eq!(world.go("Heron", "far east"), Answer::Accepted);
    assert_eq!(world.go("Plover", "far west"), Answer::Accepted);
    assert!(world.run(180.0, |world| world.has_arrived("Heron") && world.has_arrived("Plover")));
    assert_eq!((world.nose("Heron").0, world.nose("Plover").0), ("e0", "w0"));
    assert_eq!((world.granted("Heron"), world.granted("Plover")), (vec!["e0"], vec!["w0"]));
}

#[test]
fn a_train_with_nowhere_to_pass_waits_as_a_whole_and_not_halfway() {
    let mut builder = builder();
    let line = row(&mut builder, &["a", "b", "c", "d", "e"], 1200);
    for (name, section, at) in [("S1", 0, "b"), ("S3", 1, "b"), ("S5", 2, "b"), ("S2", 4, "a"), ("S4", 3, "a")] {
        let at = end(&builder, line[section], at);
        builder.signal(name, at);
    }
    builder.train(railcar("Heron"));
    builder.train(railcar("Plover"));
    let mut world = World::new(builder.build());
    world.put("Heron", "a", "a.b");
    world.put("Plover", "e", "e.a");
    assert_eq!(world.go_to_section("Heron", "d"), Answer::Accepted);
    assert_eq!(world.go_to_section("Plover", "b"), Answer::Accepted);
    assert!(world.run(120.0, |world| world.has_arrived("Heron")));
    assert!(!world.has_arrived("Plover"));
    assert_eq!(world.granted("Plover"), ["e"], "it stays where it is no obstacle");
    assert_eq!(world.waits("Plover"), ["`c` is taken by `Heron`", "`d` is taken by `Heron`"]);
}

#[test]
fn a_train_that_stands_in_the_way_without_an_order_is_waited_for() {
    let mut world = World::with_two_trains();
    assert_eq!(world.go("Heron", "far east"), Answer::Accepted);
    assert!(!world.run(60.0, |world| world.speed("Heron") > 0.0), "it sets out for a place that is taken");
    assert_eq!(world.waits("Heron"), ["`e0` is taken by `Plover`"]);
    let section = world.section("e0");
    let lift = Request::Lift { train: world.train("Plover") };
    assert_eq!(world.ask(lift), Answer::Accepted);
    let plover = world.train("Plover");
    world.trains[plover] = None;
    world.step(&[Input::SectionReported { section, occupied: false }]);
    assert!(world.run(120.0, |world| world.has_arrived("Heron")));
}

#[test]
fn a_train_whose_destination_lies_behind_turns_back_first() {
    let mut world = World::with_two_trains();
    world.put("Heron", "w1", "w1.a");
    assert_eq!(world.go("Heron", "halt"), Answer::Accepted);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    assert_eq!(world.nose("Heron").0, "north");
    let backward =
        |output: &Output| matches!(output, Output::Drive { direction: Direction::Backward, step, .. } if *step > 0);
    assert!(world.said.iter().any(|(_, output)| backward(output)));
}

#[test]
fn a_turnout_under_a_train_or_a_lock_is_not_thrown_and_says_why() {
    let mut world = World::with_two_trains();
    world.go("Heron", "halt");
    let throw = |world: &World, name: &str| Request::Throw {
        turnout: world.layout.turnout_named(name).unwrap(),
        lie: Lie::Diverging,
    };
    let (locked, free) = (throw(&world, "W1"), throw(&world, "W2"));
    assert_eq!(refusal(world.ask(locked.clone())), "turnout `W1` is locked for `Heron`");
    assert!(world.run(60.0, |world| world.nose("Heron").0 == "north"));
    assert_eq!(refusal(world.ask(locked.clone())), "turnout `W1` is locked for `Heron`");
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    assert_eq!(world.ask(locked), Answer::Accepted);
    assert_eq!(world.ask(free), Answer::Accepted);
}

#[test]
fn a_turnout_that_does_not_move_keeps_the_train_before_its_signal() {
    let mut world = World::with_two_trains();
    let west = world.layout.turnout_named("W1").unwrap();
    world.stuck.push(west);
    world.put("Plover", "north", "north.a");
    world.go_to_section("Heron", "south");
    assert!(
        world.run(30.0, |world| world.waits("Heron").last().is_some_and(|reason| reason.contains("does not report")))
    );
    world.run(30.0, |_| false);
    assert_eq!((world.nose("Heron").0, world.speed("Heron"), world.shows("S1")), ("w1", 0.0, "red"));
    world.stuck.clear();
    assert!(world.run(60.0, |world| world.has_arrived("Heron")), "it is thrown again until it moves");
}

#[test]
fn orders_that_nobody_could_carry_out_are_refused_with_the_reason() {
    let mut builder = builder();
    let line = row(&mut builder, &["a", "b"], 400);
    let (fork, _) = throat(&mut builder, "fork", "W1");
    let (b, toe) = (end(&builder, line[1], "b"), end(&builder, fork, "toe"));
    builder.join(b, toe);
    let island = builder.plain_section("island", Some(Length::from_mm(900)));
    let long = builder.stop("long", b, Length::from_mm(50));
    let _ = (island, long);
    builder.train(railcar("Heron"));
    builder.train(railcar("Plover"));
    let signal = end(&builder, line[0], "b");
    builder.signal("S1", signal);
    let mut world = World::new(builder.build());
    world.put("Heron", "a", "a.b");
    assert_eq!(
        refusal(world.go_to_section("Plover", "b")),
        "nobody knows where `Plover` stands; hint: say where it was put down first"
    );
    assert_eq!(refusal(world.go_to_section("Heron", "island")), "no path leads from where `Heron` stands to `island`");
    assert_eq!(refusal(world.go("Heron", "long")), "`Heron` is 500 mm long, and `long` has room for 350 mm");
}

#[test]
fn a_train_told_to_stop_gives_back_what_it_had_ahead() {
    let mut world = World::with_two_trains();
    world.go("Heron", "halt");
    assert!(world.run(20.0, |world| world.nose("Heron").0 == "w1"));
    let train = world.train("Heron");
    assert_eq!(world.ask(Request::Stop { train }), Answer::Accepted);
    assert!(world.run(10.0, |world| world.speed("Heron") == 0.0));
    world.run(5.0, |_| false);
    assert!(
        world.granted("Heron").iter().all(|section| ["w0", "w1"].contains(section)),
        "{:?}",
        world.granted("Heron")
    );
    assert_eq!(world.shows("S1"), "red");
    assert_eq!(world.signaller.interlock().destination(train), None);
}

#[test]
fn everything_that_was_stopped_goes_on_when_it_is_resumed() {
    let mut world = World::with_two_trains();
    world.go("Heron", "halt");
    assert!(world.run(20.0, |world| world.speed("Heron") > 50.0));
    assert_eq!(world.ask(Request::StopAll), Answer::Accepted);
    assert!(world.run(3.0, |world| world.speed("Heron") == 0.0));
    assert!(!world.run(30.0, |world| world.speed("Heron") > 0.0));
    assert_eq!(world.ask(Request::ResumeAll), Answer::Accepted);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    assert_eq!(refusal(world.ask(Request::ResumeAll)), "nothing was stopped");
}

#[test]
fn a_held_train_stands_until_it_is_released_however_often_it_is_sent() {
    let mut world = World::with_two_trains();
    let train = world.train("Heron");
    assert_eq!(refusal(world.ask(Request::Release { train })), "nobody holds `Heron`");
    world.ask(Request::Hold { train, reason: "passengers on the track".into() });
    assert_eq!(world.go("Heron", "halt"), Answer::Accepted);
    assert!(!world.run(30.0, |world| world.speed("Heron") > 0.0));
    assert_eq!(world.ask(Request::Release { train }), Answer::Accepted);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
}

#[test]
fn something_unknown_on_the_granted_track_stops_the_train_before_it() {
    let mut world = World::with_two_trains();
    world.go("Heron", "halt");
    assert!(world.run(20.0, |world| world.nose("Heron").0 == "w1"));
    let north = world.section("north");
    world.falsely_filled.push(north);
    world.run(30.0, |_| false);
    assert_eq!((world.nose("Heron").0, world.speed("Heron")), ("w1", 0.0));
    assert_eq!(world.shows("S1"), "red");
    assert_eq!(world.signaller.identity().tag(north), Tag::Unexplained);
    world.falsely_filled.clear();
    assert!(world.run(60.0, |world| world.has_arrived("Heron")), "it goes on when the obstacle is gone");
}

/// Why the train was held last.
fn hold(world: &World) -> &str {
    let reasons = world.facts().filter_map(|fact| match fact {
        Fact::HoldSet { reason, .. } => Some(reason.as_str()),
        _ => None,
    });
    reasons.last().unwrap_or("it never was")
}

#[test]
fn a_standing_train_that_may_have_been_pushed_is_held() {
    let mut world = World::with_two_trains();
    world.go_to_section("Heron", "w1");
    assert!(world.run(40.0, |world| world.has_arrived("Heron")));
    world.run(2.0, |_| false);
    let (train, west) = (world.train("Heron"), world.section("west"));
    world.falsely_filled.push(west);
    world.run(0.5, |_| false);
    assert!(world.signaller.interlock().is_held(train));
    assert_eq!(hold(&world), "it is not sure where it stands");
    world.falsely_filled.clear();
    world.run(1.5, |_| false);
    assert!(!world.signaller.interlock().is_held(train), "it was only a finger on the track");
}

/// A picture as the test paints it: one train, surely where it is said to be.
struct Painted {
    train: TrainId,
    stand: Whereabouts,
    /// Whether all it stands on is said to be free, which is not believed yet.
    empties: bool,
    /// Whether something strange happened there.
    is_strange: bool,
}

impl Painted {
    fn new(layout: &Layout, enter: &str) -> Self {
        let (train, enter) = (layout.train_named("Heron").unwrap(), layout.end_named(enter).unwrap());
        let hold = Hold { section: layout.ends[enter].section, enter: Some(enter), seen: true };
        let leading = Direction::Forward;
        Self {
            train,
            empties: false,
            is_strange: false,
            stand: Whereabouts {
                sure: true,
                footprint: smallvec![hold],
                leading,
                nose: None,
                blind_nose: Length::ZERO,
            },
        }
    }
}

impl Picture for Painted {
    fn is_occupied(&self, section: SectionId) -> bool {
        self.stand.footprint.iter().any(|hold| hold.section == section)
    }
    fn is_emptying(&self, section: SectionId) -> bool {
        self.empties && self.is_occupied(section)
    }
    fn tag(&self, section: SectionId) -> Tag {
        if self.is_occupied(section) { Tag::Sure(self.train) } else { Tag::Free }
    }
    fn holders(&self, section: SectionId) -> SmallVec<[TrainId; 4]> {
        if self.is_occupied(section) { smallvec![self.train] } else { SmallVec::new() }
    }
    fn whereabouts(&self, train: TrainId, _now: Time) -> Option<Whereabouts> {
        (train == self.train).then(|| self.stand.clone())
    }
    fn is_strange(&self, _train: TrainId) -> bool {
        self.is_strange
    }
    fn turn_back(&mut self, _train: TrainId, _now: Time, _was_allowed: impl Fn(SectionId) -> bool) {}
    fn set_pace(&mut self, _train: TrainId, _now: Time, _pace: Pace) {}
    fn forget_pace(&mut self, _train: TrainId) {}
    fn set_lie(&mut self, _turnout: TurnoutId, _lie: Option<Lie>) {}
}

/// A signaller's locks with a painted picture of one train.
struct Bench {
    interlock: Interlock,
    drive: Drive,
    signals: Signals,
    picture: Painted,
}

impl Bench {
    fn new(enter: &str) -> Self {
        Self::on(passing_loop(), enter)
    }

    fn on(layout: Layout, enter: &str) -> Self {
        let layout = Arc::new(layout);
        Self {
            interlock: Interlock::new(Arc::clone(&layout)),
            drive: Drive::new(Arc::clone(&layout)),
            signals: Signals::new(Arc::clone(&layout), Conduct::Control),
            picture: Painted::new(&layout, enter),
        }
    }

    /// Heron was sent from the west to the halt, and is found in the other track of the loop.
    fn found_astray() -> Self {
        let layout = passing_loop();
        let mut bench = Self::new("w0.a");
        let to = Destination::Stop(layout.stop_named("halt").unwrap());
        bench.interlock.go(bench.picture.train, to, Time::ZERO, &bench.picture, &bench.drive).unwrap();
        bench.work(0.0);
        bench.picture = Painted::new(&layout, "south.a");
        bench.work(1.0);
        bench
    }

    fn work(&mut self, seconds: f64) -> Vec<Output> {
        let (mut changes, mut outputs) = (Changes::default(), Vec::new());
        changes.trains.push(self.picture.train);
        self.interlock.begin_step();
        let now = Time::from_secs_f64(seconds);
        self.interlock.work(now, &mut self.picture, &self.drive, &self.signals, &mut changes, &mut outputs);
        outputs
    }
}

#[test]
fn a_train_found_outside_its_authority_is_held_until_it_has_stood_for_a_moment_on_free_track() {
    let layout = passing_loop();
    let mut bench = Bench::new("w0.a");
    let train = bench.picture.train;
    let to = Destination::Stop(layout.stop_named("halt").unwrap());
    bench.interlock.go(train, to, Time::ZERO, &bench.picture, &bench.drive).unwrap();
    bench.work(0.0);
    let section = |name: &str| layout.section_named(name).unwrap();
    assert!(bench.interlock.granted_sections(train).all(|it| it != section("south")));
    bench.picture = Painted::new(&layout, "south.a");
    let outputs = bench.work(1.0);
    let reason = "it was found in `south`, where it was not allowed to be".to_owned();
    assert_eq!(outputs, [Output::Fact(Fact::HoldSet { train, reason })]);
    assert_eq!(bench.interlock.hold_kinds(train).collect::<Vec<_>>(), [HoldKind::Astray]);
    bench.picture = Painted::new(&layout, "w1.a");
    bench.work(2.5);
    bench.work(3.5);
    assert!(bench.interlock.is_held(train), "it was still moving a second ago");
    let outputs = bench.work(4.5);
    assert!(outputs.contains(&Output::Fact(Fact::HoldLifted { train })));
    assert_eq!(bench.interlock.granted_sections(train).next(), Some(section("w1")));
}

#[test]
fn a_train_found_outside_its_authority_is_let_go_at_once_by_whoever_vouches_for_it() {
    let mut bench = Bench::found_astray();
    let train = bench.picture.train;
    let mut outputs = Vec::new();
    bench.interlock.release(train, &bench.picture, &mut outputs).unwrap();
    assert!(outputs.contains(&Output::Fact(Fact::HoldLifted { train })));
    assert_eq!(bench.interlock.granted_sections(train).count(), 0, "what it had before means nothing now");
}

#[test]
fn how_a_turnout_lies_that_led_a_train_astray_is_known_only_if_it_is_sure_where_the_train_stands() {
    for is_sure in [true, false] {
        let mut layout = passing_loop();
        let turnout = layout.turnout_named("W1").unwrap();
        layout.turnouts[turnout].reported = false;
        let mut bench = Bench::on(layout.clone(), "w1.a");
        let to = Destination::Stop(layout.stop_named("halt").unwrap());
        bench.interlock.go(bench.picture.train, to, Time::ZERO, &bench.picture, &bench.drive).unwrap();
        bench.work(0.0);
        bench.work(5.0);
        assert_eq!(bench.interlock.turnouts.lie(turnout), Some(Lie::Straight));
        let hold = |end: &str| {
            let enter = layout.end_named(end).unwrap();
            Hold { section: layout.ends[enter].section, enter: Some(enter), seen: true }
        };
        bench.picture.stand.footprint = smallvec![hold("west.toe"), hold("south.a")];
        bench.picture.stand.sure = is_sure;
        bench.work(6.0);
        assert!(bench.interlock.turnouts.is_doubtful(turnout));
        assert_eq!(bench.interlock.turnouts.lie(turnout), is_sure.then_some(Lie::Diverging));
    }
}

#[test]
fn a_train_found_astray_by_something_strange_is_held_until_it_is_named_whoever_vouches_for_it() {
    let mut bench = Bench::found_astray();
    let train = bench.picture.train;
    bench.picture.is_strange = true;
    bench.work(9.0);
    let mut outputs = Vec::new();
    let refused = bench.interlock.release(train, &bench.picture, &mut outputs).unwrap_err();
    assert!(refused.starts_with("it is not sure that `Heron` is where it was found; hint: "), "{refused}");
    assert!(bench.interlock.is_held(train) && outputs.is_empty(), "{outputs:?}");
    bench.picture.is_strange = false;
    bench.interlock.release(train, &bench.picture, &mut outputs).unwrap();
    assert!(!bench.interlock.is_held(train));
}

#[test]
fn a_train_does_not_turn_back_before_it_is_certain_what_it_has_just_left() {
    let layout = passing_loop();
    let mut bench = Bench::new("w1.b");
    let train = bench.picture.train;
    bench.picture.empties = true;
    let to = Destination::Section(layout.section_named("south").unwrap());
    bench.interlock.go(train, to, Time::ZERO, &bench.picture, &bench.drive).unwrap();
    let outputs = bench.work(0.0);
    let reason = "it is not certain yet what it has just left".to_owned();
    assert_eq!(outputs, [Output::Fact(Fact::Waiting { train, reason })]);
    assert_eq!(bench.interlock.granted_sections(train).count(), 0);
    bench.picture.empties = false;
    bench.work(1.0);
    assert_ne!(bench.interlock.granted_sections(train).count(), 0);
}

#[test]
fn a_train_goes_round_what_stands_in_its_way() {
    let mut world = World::with_two_trains();
    let plover = world.train("Plover");
    world.ask(Request::Lift { train: plover });
    world.trains[plover] = None;
    let e0 = world.section("e0");
    world.step(&[Input::SectionReported { section: e0, occupied: false }]);
    world.put("Plover", "north", "north.a");
    world.go("Heron", "far east");
    assert!(world.run(90.0, |world| world.has_arrived("Heron")));
    assert!(world.facts().any(|fact| matches!(fact, Fact::RouteSet { sections, .. }
        if sections.contains(&world.section("south")))));
}

#[test]
fn a_train_put_down_before_its_stopping_point_is_not_said_to_have_arrived_there_unmoved() {
    let mut world = World::new(passing_loop());
    world.put("Heron", "north", "north.b");
    let Answer::Refused(refusal) = world.go("Heron", "halt") else { panic!("accepted") };
    assert!(refusal.reason.contains("nobody knows"), "{}", refusal.reason);
    assert_eq!(world.go("Heron", "far east"), Answer::Accepted, "and may go anywhere else");
}

#[test]
fn a_train_in_a_district_without_power_is_held_and_starts_again_when_the_power_is_back() {
    let mut layout = passing_loop();
    let hill = layout.districts.push(track::District { name: "hill".into(), voltage: None, is_switched: false });
    let w1 = layout.section_named("w1").unwrap();
    layout.sections[w1].district = Some(hill);
    let mut world = World::new(layout);
    world.put("Heron", "w0", "w0.b");
    world.put("Plover", "e0", "e0.a");
    world.go("Heron", "halt");
    world.go("Plover", "far east");
    assert!(world.run(20.0, |world| world.nose("Heron").0 == "w1"));
    let (heron, plover) = (world.train("Heron"), world.train("Plover"));
    world.step(&[Input::PowerReported { district: hill, live: false }]);
    assert_eq!(hold(&world), "the power is off in `hill`");
    assert!(world.signaller.interlock().hold_kinds(heron).eq([HoldKind::Dark]));
    assert!(!world.signaller.interlock().is_held(plover), "it does not concern the other train");
    assert!(world.run(3.0, |world| world.speed("Heron") == 0.0));
    assert!(!world.run(10.0, |world| world.speed("Heron") > 0.0));
    world.step(&[Input::PowerReported { district: hill, live: true }]);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
}

/// Two trains that have to pass each other in a loop whose tracks are so long; tells where they are in the end.
fn pass_in_a_loop_of(mm: i64) -> (String, String) {
    let mut layout = passing_loop();
    for name in ["north", "south"] {
        let track = layout.section_named(name).unwrap();
        let way = layout.sections[track].ways[0];
        layout.ways[way].length = Some(Length::from_mm(mm));
    }
    let mut world = World::new(layout);
    world.put("Heron", "w0", "w0.b");
    world.put("Plover", "e0", "e0.a");
    world.go("Heron", "far east");
    world.go("Plover", "far west");
    world.run(180.0, |world| world.has_arrived("Heron") && world.has_arrived("Plover"));
    (world.nose("Heron").0.to_owned(), world.nose("Plover").0.to_owned())
}

#[test]
fn trains_that_would_not_clear_the_throat_do_not_try_to_pass_in_a_loop_barely_longer_than_they_are() {
    let at = |one: &str, other: &str| (one.to_owned(), other.to_owned());
    assert_eq!(pass_in_a_loop_of(780), at("e0", "w0"));
    // They are 500 mm long, and no train stops within 30 mm of where it should.
    assert_eq!(pass_in_a_loop_of(530), at("w0", "e0"), "they do not even set out");
}
