//! Every rule is broken once on purpose, and seen to be; and what comes close without breaking it is let pass.

use signaller::{Aspect, Direction, Fact, Output, Tag};
use testtrack::{Checkers, Rule, Violation};
use track::Lie;

use crate::fixture::{Corner, corner_with};

const RED: Aspect = Aspect(0);
const YELLOW: Aspect = Aspect(1);
const GREEN: Aspect = Aspect(2);

/// A corner with checkers that hear whatever a test says the signaller said.
pub(crate) struct Watched {
    pub(crate) corner: Corner,
    pub(crate) checkers: Checkers,
}

impl Watched {
    pub(crate) fn new() -> Self {
        Self::of(Corner::new())
    }

    pub(crate) fn of(corner: Corner) -> Self {
        let checkers = Checkers::new(corner.layout.clone(), &corner.settings);
        Self { corner, checkers }
    }

    pub(crate) fn say(&mut self, output: &Output) {
        let now = self.corner.table.now();
        self.checkers.hear(now, output, &self.corner.table);
        self.corner.table.act(output);
        self.judge();
    }

    pub(crate) fn judge(&mut self) {
        for (at, happening) in self.corner.table.take_happenings() {
            self.checkers.see(at, happening, &self.corner.table);
        }
        self.checkers.judge(self.corner.table.now(), &self.corner.table);
    }

    pub(crate) fn run(&mut self, seconds: f64) {
        for _ in 0..(seconds * 100.0) as u32 {
            self.corner.run(0.01);
            self.judge();
        }
    }

    /// Runs a train until the whole of it has left the section.
    pub(crate) fn run_out_of(&mut self, train: &str, section: &str) {
        let (train, section) = (self.corner.train(train), self.corner.section(section));
        for _ in 0..6000 {
            self.run(0.01);
            if !self.corner.table.covers(train, section) {
                return;
            }
        }
        panic!("the train never left");
    }

    pub(crate) fn tag(&mut self, section: &str, tag: Tag) {
        let section = self.corner.section(section);
        self.say(&Output::Fact(Fact::Tagged { section, tag }));
    }

    pub(crate) fn show(&mut self, signal: &str, aspect: Aspect) {
        let signal = self.corner.signal(signal);
        self.say(&Output::Show { signal, aspect });
    }

    pub(crate) fn throw(&mut self, turnout: &str, lie: Lie) {
        let turnout = self.corner.turnout(turnout);
        self.say(&Output::Throw { turnout, lie });
    }

    pub(crate) fn grant(&mut self, train: &str, sections: &[&str]) {
        let granted = self.corner.granted(train, sections);
        self.say(&granted);
    }

    pub(crate) fn release(&mut self, train: &str, section: &str) {
        let (train, section) = (self.corner.train(train), self.corner.section(section));
        self.say(&Output::Fact(Fact::SectionReleased { train, section }));
    }

    pub(crate) fn drive(&mut self, train: &str, direction: Direction, step: u8) {
        let train = self.corner.train(train);
        self.say(&Output::Drive { train, direction, step });
    }

    pub(crate) fn hold(&mut self, train: &str) {
        let (train, reason) = (self.corner.train(train), "a test".to_owned());
        self.say(&Output::Fact(Fact::HoldSet { train, reason }));
    }

    pub(crate) fn broken(&self) -> Vec<(Rule, &str)> {
        self.checkers.violations().iter().map(|it| (it.rule, it.sentence.as_str())).collect()
    }
}

#[test]
fn n0_two_trains_that_touch_are_reported_with_time_and_place() {
    let mut watched = Watched::new();
    watched.corner.put("Heron", &["line-1"], "line-1.b");
    watched.corner.put("Plover", &["line-2"], "line-2.a");
    watched.grant("Heron", &["line-1"]);
    watched.grant("Plover", &["line-2"]);
    watched.drive("Plover", Direction::Forward, 80);
    watched.run(20.0);
    let [Violation { rule: Rule::N4, .. }, violation] = watched.checkers.violations() else {
        panic!("{:?}", watched.broken())
    };
    assert_eq!((violation.rule, violation.sentence.as_str()), (Rule::N0, "Plover touched Heron in line-1"));
    assert_eq!(violation.section, Some(watched.corner.section("line-1")));
    assert!(violation.at.secs_f64() > 1.0);
}

#[test]
fn n0_and_n3_a_turnout_thrown_under_a_standing_train_is_both() {
    let mut watched = Watched::new();
    watched.corner.put("Heron", &["quay-1", "throat"], "throat.toe");
    watched.throw("W1", Lie::Diverging);
    assert_eq!(
        watched.broken(),
        [(Rule::N3, "W1 was thrown under Heron"), (Rule::N0, "Heron derailed on W1, which lay wrong or moved")]
    );
}

#[test]
fn n1_a_sure_tag_with_the_wrong_name_is_reported_once_until_it_is_right() {
    let mut watched = Watched::new();
    watched.corner.put("Heron", &["quay-1"], "quay-1.b");
    watched.tag("quay-1", Tag::Sure(watched.corner.train("Plover")));
    watched.run(1.0);
    let wrong = (Rule::N1, "Plover is said for sure to be in quay-1, where Heron stands");
    assert_eq!(watched.broken(), [wrong]);
    watched.tag("quay-1", Tag::Sure(watched.corner.train("Heron")));
    watched.tag("quay-1", Tag::Sure(watched.corner.train("Plover")));
    assert_eq!(watched.broken(), [wrong, wrong]);
}

#[test]
fn n1_a_doubt_that_names_the_wrong_train_is_no_wrong_tag() {
    let mut watched = Watched::new();
    watched.corner.put("Heron", &["quay-1"], "quay-1.b");
    watched.tag("quay-1", Tag::Doubt([watched.corner.train("Plover")].into_iter().collect()));
    watched.run(1.0);
    assert_eq!(watched.broken(), []);
}

#[test]
fn n1_a_tag_may_outlast_its_train_by_the_lateness_of_the_report_and_no_longer() {
    let mut watched = Watched::new();
    watched.corner.put("Plover", &["quay-1"], "quay-1.b");
    watched.grant("Plover", &["throat", "line-1", "line-2"]);
    watched.tag("quay-1", Tag::Sure(watched.corner.train("Plover")));
    watched.drive("Plover", Direction::Forward, 60);
    watched.run_out_of("Plover", "quay-1");
    // Off-delay 300 ms, detector up to 10 ms, message up to 80 ms, two ticks; the signaller keeps it back for 1 s at most.
    watched.run(1.40);
    assert_eq!(watched.broken(), []);
    watched.run(0.03);
    assert_eq!(watched.broken(), [(Rule::N1, "Plover is said for sure to be in quay-1, where nothing stands")]);
}

#[test]
fn n1_a_tag_that_comes_before_its_train_is_wrong_at_once() {
    let mut watched = Watched::new();
    watched.corner.put("Plover", &["quay-1"], "quay-1.b");
    watched.tag("throat", Tag::Sure(watched.corner.train("Plover")));
    assert_eq!(watched.broken(), [(Rule::N1, "Plover is said for sure to be in throat, where nothing stands")]);
}

#[test]
fn n2_a_section_granted_to_two_trains_is_reported() {
    let mut watched = Watched::new();
    watched.corner.put("Heron", &["quay-1"], "quay-1.b");
    watched.corner.put("Plover", &["quay-2"], "quay-2.b");
    watched.grant("Heron", &["throat", "line-1"]);
    watched.grant("Heron", &["line-1"]);
    assert_eq!(watched.broken(), [], "the same train may hear it again");
    watched.grant("Plover", &["line-1"]);
    assert_eq!(watched.broken(), [(Rule::N2, "Plover was granted line-1, but Heron holds it")]);
}

#[test]
fn n2_a_section_in_which_another_train_lies_unseen_is_nobodys_to_give() {
    let mut watched = Watched::new();
    watched.corner.put("Heron", &["quay-1", "throat"], "throat.toe");
    watched.corner.put("Plover", &["line-1"], "line-1.a");
    watched.grant("Heron", &["throat"]);
    watched.release("Heron", "throat");
    watched.grant("Plover", &["throat"]);
    assert_eq!(watched.broken(), [(Rule::N2, "Plover was granted throat, but Heron lies there")]);
}

#[test]
fn n2_a_section_that_crosses_one_in_which_another_train_lies_is_nobodys_to_give() {
    let crossed = corner_with(|builder| {
        let [one, other] = ["line-2", "quay-2"].map(|name| builder.layout().section_named(name).unwrap());
        builder.cross(one, other);
    });
    let mut watched = Watched::of(Corner::of(crossed));
    watched.grant("Heron", &["line-2"]);
    watched.release("Heron", "line-2");
    assert_eq!(watched.broken(), []);
    watched.corner.put("Plover", &["quay-2"], "quay-2.b");
    watched.grant("Heron", &["line-2"]);
    let sentence = "Heron was granted line-2, which crosses quay-2, but Plover lies there";
    assert_eq!(watched.broken(), [(Rule::N2, sentence)]);
}

#[test]
fn n2_a_section_given_back_may_be_granted_again() {
    let mut watched = Watched::new();
    watched.corner.put("Plover", &["quay-1"], "quay-1.b");
    watched.grant("Plover", &["throat"]);
    watched.release("Plover", "throat");
    watched.grant("Heron", &["throat"]);
    assert_eq!(watched.broken(), []);
}

#[test]
fn n3_a_turnout_thrown_under_a_lock_or_a_doubt_is_reported_and_a_repeated_order_is_not() {
    let mut watched = Watched::new();
    watched.grant("Heron", &["throat"]);
    watched.throw("W1", Lie::Straight);
    assert_eq!(watched.broken(), [], "it lies so already");
    watched.throw("W1", Lie::Diverging);
    let locked = (Rule::N3, "W1 was thrown while throat was granted to Heron");
    assert_eq!(watched.broken(), [locked]);
    watched.release("Heron", "throat");
    watched.tag("throat", Tag::Unexplained);
    watched.throw("W1", Lie::Straight);
    let doubted = (Rule::N3, "W1 was thrown while nobody was sure of what is in throat");
    assert_eq!(watched.broken(), [locked, doubted]);
    watched.tag("throat", Tag::Free);
    watched.run(2.0);
    watched.throw("W1", Lie::Diverging);
    assert_eq!(watched.broken().len(), 2);
}

#[test]
fn n4_a_nose_that_rolls_into_a_section_not_granted_is_reported() {
    let mut watched = Watched::new();
    watched.corner.put("Heron", &["quay-1"], "quay-1.b");
    watched.grant("Heron", &["throat"]);
    watched.drive("Heron", Direction::Forward, 60);
    watched.run_out_of("Heron", "quay-1");
    assert_eq!(watched.broken(), [(Rule::N4, "Heron ran into line-1, which it had not been granted")]);
}

#[test]
fn n4_a_section_given_back_too_early_is_not_granted_any_more() {
    let mut watched = Watched::new();
    watched.corner.put("Heron", &["quay-1"], "quay-1.b");
    watched.grant("Heron", &["throat", "line-1"]);
    watched.release("Heron", "throat");
    watched.drive("Heron", Direction::Forward, 60);
    watched.run(5.0);
    assert_eq!(watched.broken(), [(Rule::N4, "Heron ran into throat, which it had not been granted")]);
}

#[test]
fn n4_running_against_a_buffer_stop_passes_the_end_of_every_authority() {
    let mut watched = Watched::new();
    watched.corner.put("Heron", &["line-2"], "line-2.b");
    watched.grant("Heron", &["line-2"]);
    watched.drive("Heron", Direction::Forward, 40);
    watched.run(10.0);
    assert_eq!(watched.broken(), [(Rule::N4, "Heron ran against the end of the track at line-2.b")]);
}

#[test]
fn n5_a_signal_that_clears_into_an_occupied_section_is_reported() {
    let mut watched = Watched::new();
    watched.corner.put("Heron", &["line-2"], "line-2.b");
    watched.run(1.0);
    watched.show("L2", RED);
    assert_eq!(watched.broken(), []);
    watched.show("L2", YELLOW);
    assert_eq!(watched.broken(), [(Rule::N5, "L2 shows yellow, but Heron is in line-2")]);
}

#[test]
fn n5_a_signal_vouches_for_the_whole_way_to_the_next_signal() {
    let mut watched = Watched::new();
    watched.corner.put("Heron", &["line-1"], "line-1.b");
    watched.run(1.0);
    watched.show("Q1", YELLOW);
    assert_eq!(
        watched.broken(),
        [(Rule::N5, "Q1 shows yellow, but Heron is in line-1")],
        "line-1 lies behind the throat"
    );
}

#[test]
fn n5_an_unseen_tail_is_as_good_as_a_train() {
    let mut watched = Watched::new();
    watched.corner.put("Heron", &["throat", "line-1"], "line-1.b");
    watched.grant("Heron", &["line-1", "line-2"]);
    watched.drive("Heron", Direction::Forward, 40);
    for _ in 0..4000 {
        watched.run(0.01);
        let (heron, throat) = (watched.corner.train("Heron"), watched.corner.section("throat"));
        if watched.corner.table.nose(heron).is_some_and(|nose| nose.short_of_end.mm() < 750.0) {
            assert!(watched.corner.table.covers(heron, throat), "the blind tail should still be in the throat");
            break;
        }
    }
    watched.show("Q1", YELLOW);
    assert_eq!(watched.broken(), [(Rule::N5, "Q1 shows yellow, but Heron is in throat")]);
}

#[test]
fn n5_a_turnout_that_lies_wrong_or_moves_wants_red() {
    let mut watched = Watched::new();
    watched.show("Q2", YELLOW);
    let wrong = (Rule::N5, "Q2 shows yellow, but W1 lies wrong in throat, or moves");
    assert_eq!(watched.broken(), [wrong]);
    watched.show("Q2", RED);
    watched.throw("W1", Lie::Diverging);
    watched.show("Q2", YELLOW);
    assert_eq!(watched.broken(), [wrong, wrong], "it still moves");
    watched.show("Q2", RED);
    watched.run(1.5);
    watched.show("Q2", YELLOW);
    assert_eq!(watched.broken().len(), 2);
}

#[test]
fn n5_green_needs_a_next_signal_better_than_red_and_more_track() {
    let mut watched = Watched::new();
    watched.show("Q1", GREEN);
    let before_red = (Rule::N5, "Q1 shows green, but L2 shows red");
    assert_eq!(watched.broken(), [before_red]);
    watched.show("Q1", RED);
    watched.show("L2", YELLOW);
    watched.show("Q1", GREEN);
    assert_eq!(watched.broken(), [before_red], "the next signal shows yellow now");
    watched.show("L2", GREEN);
    assert_eq!(watched.broken(), [before_red, (Rule::N5, "L2 shows green, but nothing is known beyond line-2.b")]);
}

#[test]
fn n5_a_signal_may_stay_clear_until_the_train_that_runs_past_it_is_reported() {
    let mut watched = Watched::new();
    watched.corner.put("Plover", &["line-1"], "line-1.b");
    watched.grant("Plover", &["line-2"]);
    watched.show("L2", YELLOW);
    watched.drive("Plover", Direction::Forward, 30);
    let (plover, line_2) = (watched.corner.train("Plover"), watched.corner.section("line-2"));
    for _ in 0..1000 {
        watched.run(0.01);
        if watched.corner.table.trains_in(line_2).iter().any(|it| it.train == plover && it.seen_since.is_some()) {
            break;
        }
    }
    // On-delay 40 ms, detector up to 10 ms, message up to 80 ms, two ticks.
    watched.run(0.14);
    assert_eq!(watched.broken(), []);
    watched.run(0.03);
    assert_eq!(watched.broken(), [(Rule::N5, "L2 shows yellow, but Plover is in line-2")]);
}

#[test]
fn n5_a_train_that_turned_back_may_have_its_unseen_end_beyond_the_signal_that_clears_for_it() {
    let mut watched = Watched::new();
    watched.corner.put("Heron", &["throat", "line-1"], "line-1.b");
    watched.drive("Heron", Direction::Forward, 30);
    for _ in 0..4000 {
        watched.run(0.01);
        if watched.corner.nose("Heron").1 < 740.0 {
            break;
        }
    }
    watched.drive("Heron", Direction::Forward, 0);
    watched.run(2.0);
    let (heron, throat) = (watched.corner.train("Heron"), watched.corner.section("throat"));
    let presences = watched.corner.table.trains_in(throat);
    assert!(
        presences.iter().any(|it| it.train == heron && it.seen_since.is_none()),
        "its blind end lies in the throat"
    );
    watched.show("L1", YELLOW);
    assert_eq!(watched.broken(), [(Rule::N5, "L1 shows yellow, but Heron is in throat")], "as long as it is its tail");
    watched.show("L1", RED);
    watched.grant("Heron", &["throat", "quay-1"]);
    watched.drive("Heron", Direction::Backward, 30);
    watched.run(0.1);
    watched.show("L1", YELLOW);
    watched.run(0.3);
    assert_eq!(watched.broken().len(), 1, "its nose is past L1, and nobody can see it: {:?}", watched.broken());
}

#[test]
fn n6_a_held_train_that_starts_is_reported() {
    let mut watched = Watched::new();
    watched.corner.put("Heron", &["quay-1"], "quay-1.a");
    watched.hold("Heron");
    watched.run(1.0);
    watched.drive("Heron", Direction::Forward, 40);
    watched.run(0.5);
    assert_eq!(watched.broken(), [(Rule::N6, "Heron moved while it was held")]);
}

#[test]
fn n6_a_train_held_as_it_runs_may_brake_and_must() {
    for (step, broken) in [(0, vec![]), (20, vec![(Rule::N6, "Heron moved while it was held")])] {
        let mut watched = Watched::new();
        watched.corner.put("Heron", &["quay-1"], "quay-1.b");
        watched.grant("Heron", &["throat", "line-1", "line-2"]);
        watched.drive("Heron", Direction::Forward, 80);
        watched.run(3.0);
        watched.hold("Heron");
        watched.drive("Heron", Direction::Forward, step);
        watched.run(3.0);
        assert_eq!(watched.broken(), broken);
    }
}

#[test]
fn n6_a_train_may_move_again_when_its_hold_is_lifted() {
    let mut watched = Watched::new();
    watched.corner.put("Plover", &["quay-1"], "quay-1.a");
    watched.hold("Plover");
    let train = watched.corner.train("Plover");
    watched.say(&Output::Fact(Fact::HoldLifted { train }));
    watched.run(1.0);
    watched.drive("Plover", Direction::Forward, 10);
    watched.run(0.5);
    assert!(watched.broken().iter().all(|(rule, _)| *rule != Rule::N6), "{:?}", watched.broken());
}
