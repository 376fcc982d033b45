//! Scenes in which detectors lie, told as a modeller would tell them.

use std::sync::Arc;
use std::time::Duration;

use track::{Beyond, Builder, Detector, Layout, Scale, SectionId, Train};

use super::Record;
use crate::identity::Trust;
use crate::model;
use crate::{Conduct, Fact, Input, Request, Signaller, Suspect, Tag, Ticket, Time};

mod inferred;

/// The line from the harbour up the hill, `quay main lower | upper top shed`, the first three in the district `harbour`, the
/// others in `hill`; each with a detector on the link `west`.
fn branch() -> Builder {
    let mut builder = Builder::new("Low Staithe", Scale::named("H0").unwrap());
    let harbour = builder.district("harbour");
    let hill = builder.district("hill");
    let sections = model::line(&mut builder, &["quay", "main", "lower", "upper", "top", "shed"], None);
    for (place, &section) in sections.iter().enumerate() {
        builder.feed(section, if place < 3 { harbour } else { hill });
    }
    let (first, last) =
        (builder.layout().sections[sections[0]].ends[0], builder.layout().sections[sections[5]].ends[1]);
    builder.close(first, Beyond::BufferStop);
    builder.close(last, Beyond::BufferStop);
    for name in ["Heron", "Plover", "Dunlin"] {
        builder.train(Train::stranger(name));
    }
    builder
}

/// Somebody at the table.
struct Scene {
    layout: Arc<Layout>,
    signaller: Signaller,
    now: Time,
    wake_at: Option<Time>,
    facts: Vec<Fact>,
    tickets: u64,
}

impl Scene {
    fn new(layout: Layout, conduct: Conduct) -> Self {
        let layout = Arc::new(layout);
        let signaller = Signaller::new(Arc::clone(&layout), conduct);
        let mut scene = Self { layout, signaller, now: Time::ZERO, wake_at: None, facts: Vec::new(), tickets: 0 };
        let free = |section| Input::SectionReported { section, occupied: false };
        let first: Vec<Input> = scene.layout.sections.ids().map(free).collect();
        scene.step(&first);
        scene
    }

    /// Heron at the quay, Plover on the hill.
    fn with_two_trains() -> Self {
        let mut scene = Self::new(branch().build(), Conduct::Observe);
        scene.put("Heron", "quay");
        scene.put("Plover", "top");
        scene.wait(5_000);
        scene
    }

    /// The same, but that Heron came to lie over the joint to `main`, and somebody lifted it and said nothing: the district looks
    /// as if its power were off.
    fn with_one_lifted_off_a_joint() -> Self {
        let mut scene = Self::with_two_trains();
        scene.report(&[("main", true)]);
        scene.wait(3_000);
        scene.report_apart(30, &[("main", false), ("quay", false)]);
        scene.wait(3_000);
        assert!(scene.is_dark("harbour"));
        scene
    }

    fn step(&mut self, inputs: &[Input]) {
        let step = self.signaller.step(self.now, inputs);
        self.wake_at = step.wake_at;
        let facts = step.outputs.iter().filter_map(|output| match output {
            crate::Output::Fact(fact) => Some(fact.clone()),
            _ => None,
        });
        self.facts.extend(facts);
    }

    fn wait(&mut self, ms: i64) {
        let until = self.now + Duration::from_millis(ms as u64);
        while let Some(at) = self.wake_at.filter(|&at| at <= until) {
            self.now = at.max(self.now);
            self.step(&[Input::Woke]);
        }
        self.now = until;
    }

    fn section(&self, name: &str) -> SectionId {
        self.layout.section_named(name).unwrap()
    }

    /// All in one instant.
    fn report(&mut self, reports: &[(&str, bool)]) {
        let input = |&(name, occupied): &(&str, bool)| {
            let section = self.section(name);
            Input::SectionReported { section, occupied }
        };
        let inputs: Vec<Input> = reports.iter().map(input).collect();
        self.step(&inputs);
    }

    /// One after the other, so far apart.
    fn report_apart(&mut self, ms: i64, reports: &[(&str, bool)]) {
        for &report in reports {
            self.report(&[report]);
            self.wait(ms);
        }
    }

    fn power(&mut self, district: &str, live: bool) {
        let district = self.layout.district_named(district).unwrap();
        self.step(&[Input::PowerReported { district, live }]);
    }

    fn link(&mut self, up: bool) {
        let link = self.layout.link_named("west").unwrap();
        self.step(&[Input::LinkReported { link, up }]);
    }

    fn ask(&mut self, request: Request) {
        self.tickets += 1;
        self.step(&[Input::Requested { ticket: Ticket(self.tickets), request }]);
    }

    fn put(&mut self, train: &str, section: &str) {
        let (train, on) = (self.layout.train_named(train).unwrap(), self.section(section));
        let request = Request::Place { train, on: vec![on], nose: Some(self.layout.sections[on].ends[1]) };
        self.tickets += 1;
        let placed = Input::Requested { ticket: Ticket(self.tickets), request };
        self.step(&[placed, Input::SectionReported { section: on, occupied: true }]);
    }

    /// A train runs from one section into the next.
    fn run(&mut self, from: &str, to: &str) {
        self.report(&[(to, true)]);
        self.wait(1_500);
        self.report(&[(from, false)]);
        self.wait(1_500);
    }

    fn tag(&self, section: &str) -> String {
        match self.signaller.identity().tag(self.section(section)) {
            Tag::Free => "free".to_owned(),
            Tag::Sure(train) => self.layout.trains[train].name.clone(),
            Tag::Doubt(_) => "in doubt".to_owned(),
            Tag::Unexplained => "unexplained".to_owned(),
        }
    }

    fn tags(&self) -> Vec<String> {
        self.layout.sections.values().map(|section| self.tag(&section.name)).collect()
    }

    fn is_occupied(&self, section: &str) -> bool {
        self.signaller.identity().is_occupied(self.section(section))
    }

    fn is_dark(&self, district: &str) -> bool {
        self.signaller.detect().is_dark(self.layout.district_named(district).unwrap())
    }

    fn count(&self, wanted: impl Fn(&Fact) -> bool) -> usize {
        self.facts.iter().filter(|fact| wanted(fact)).count()
    }

    fn suspicions(&self) -> Vec<(Suspect, &str)> {
        let suspected = |fact: &'_ Fact| match fact {
            Fact::Suspected { suspect, .. } => Some(*suspect),
            _ => None,
        };
        let words = self.facts.iter().filter_map(|fact| match fact {
            Fact::Suspected { because, .. } => Some(because.as_str()),
            _ => None,
        });
        self.facts.iter().filter_map(suspected).zip(words).collect()
    }
}

const AS_PUT: [&str; 6] = ["Heron", "free", "free", "free", "Plover", "free"];

#[test]
fn power_fails_all_read_free_power_returns_and_no_tag_has_moved() {
    let mut scene = Scene::with_two_trains();
    scene.put("Dunlin", "lower");
    scene.wait(3_000);
    let before = scene.tags();
    let retagged = scene.count(|fact| matches!(fact, Fact::Tagged { .. }));
    scene.report_apart(60, &[("quay", false), ("lower", false)]);
    scene.wait(2_000);
    assert!(scene.is_dark("harbour") && !scene.is_dark("hill"));
    assert!(["quay", "main", "lower"].iter().all(|section| scene.is_occupied(section)), "unknown counts as occupied");
    assert!(!scene.is_occupied("upper"));
    assert_eq!(scene.tags(), before);
    scene.wait(60_000);
    scene.report_apart(60, &[("lower", true), ("quay", true)]);
    scene.wait(2_000);
    assert!(!scene.is_dark("harbour"));
    assert!(!scene.is_occupied("main"));
    assert_eq!(scene.tags(), before);
    assert_eq!(scene.count(|fact| matches!(fact, Fact::Tagged { .. })), retagged, "not even for a moment");
    assert_eq!(scene.count(|fact| matches!(fact, Fact::PowerLost { .. })), 1);
    assert_eq!(scene.count(|fact| matches!(fact, Fact::PowerBack { .. })), 1);
    scene.run("quay", "main");
    assert_eq!((scene.tag("quay"), scene.tag("main")), ("free".into(), "Heron".into()), "and it runs on");
}

#[test]
fn power_fails_all_read_occupied_power_returns_and_no_tag_has_moved() {
    let mut scene = Scene::with_two_trains();
    let before = scene.tags();
    scene.report_apart(40, &[("main", true), ("lower", true)]);
    scene.wait(2_000);
    assert!(scene.is_dark("harbour"), "one train cannot fill two sections at once");
    assert!(scene.is_occupied("main") && scene.is_occupied("lower"));
    assert_eq!(scene.tags(), before);
    scene.wait(60_000);
    scene.report_apart(40, &[("lower", false), ("main", false)]);
    scene.wait(2_000);
    assert!(!scene.is_dark("harbour"));
    assert_eq!(scene.tags(), before);
}

#[test]
fn one_train_over_a_joint_in_the_dark_may_have_been_taken_off_until_it_shows_itself_again() {
    let mut scene = Scene::with_two_trains();
    scene.report(&[("main", true)]);
    scene.wait(3_000);
    assert_eq!((scene.tag("quay"), scene.tag("main")), ("Heron".into(), "Heron".into()));
    scene.report_apart(30, &[("main", false), ("quay", false)]);
    scene.wait(3_000);
    assert!(scene.is_dark("harbour"));
    assert_eq!((scene.tag("quay"), scene.tag("main")), ("in doubt".into(), "in doubt".into()));
    scene.report_apart(30, &[("main", true), ("quay", true)]);
    scene.wait(3_000);
    assert!(!scene.is_dark("harbour"));
    assert_eq!((scene.tag("quay"), scene.tag("main")), ("Heron".into(), "Heron".into()));
}

#[test]
fn a_train_that_coasts_over_a_joint_in_the_dark_is_found_beyond_it() {
    let mut scene = Scene::with_two_trains();
    scene.power("harbour", false);
    scene.report(&[("quay", false)]);
    scene.wait(20_000);
    assert_eq!(scene.tag("quay"), "Heron");
    scene.power("harbour", true);
    scene.wait(60);
    scene.report(&[("main", true)]);
    scene.wait(3_000);
    assert!(!scene.is_dark("harbour"));
    assert_eq!((scene.tag("quay"), scene.tag("main")), ("free".into(), "Heron".into()));
}

#[test]
fn a_report_that_the_power_is_off_comes_half_a_second_late() {
    let mut scene = Scene::with_two_trains();
    let retagged = scene.count(|fact| matches!(fact, Fact::Tagged { .. }));
    scene.report(&[("quay", false)]);
    scene.wait(500);
    scene.power("harbour", false);
    scene.wait(20_000);
    scene.power("harbour", true);
    scene.wait(100);
    scene.report(&[("quay", true)]);
    scene.wait(3_000);
    assert!(!scene.is_dark("harbour"));
    assert_eq!(scene.tags(), AS_PUT);
    assert_eq!(scene.count(|fact| matches!(fact, Fact::Tagged { .. })), retagged);
}

#[test]
fn a_report_that_the_power_is_back_is_missing_and_a_train_that_shows_itself_makes_up_for_it() {
    let mut scene = Scene::with_two_trains();
    scene.power("harbour", false);
    scene.report(&[("quay", false)]);
    scene.wait(20_000);
    scene.report(&[("quay", true)]);
    scene.wait(2_000);
    assert!(!scene.is_dark("harbour"));
    assert_eq!(scene.tags(), AS_PUT);
}

#[test]
fn a_report_that_the_power_is_off_is_wrong_and_trains_that_run_prove_it() {
    let mut scene = Scene::with_two_trains();
    scene.power("harbour", false);
    scene.wait(5_000);
    assert!(scene.is_dark("harbour"));
    scene.report(&[("main", true)]);
    scene.wait(1_500);
    scene.report(&[("quay", false)]);
    scene.wait(5_000);
    assert!(!scene.is_dark("harbour"));
    assert_eq!((scene.tag("quay"), scene.tag("main")), ("free".into(), "Heron".into()));
}

#[test]
fn a_report_that_the_power_is_back_is_not_believed_while_no_train_shows_itself() {
    let mut scene = Scene::with_two_trains();
    scene.put("Dunlin", "lower");
    scene.wait(3_000);
    let before = scene.tags();
    scene.report_apart(30, &[("quay", false), ("lower", false)]);
    scene.power("harbour", true);
    scene.wait(5_000);
    assert!(scene.is_dark("harbour"));
    scene.report_apart(30, &[("quay", true), ("lower", true)]);
    scene.wait(3_000);
    assert!(!scene.is_dark("harbour"));
    assert_eq!(scene.tags(), before);
}

#[test]
fn a_finger_on_the_rails_of_a_dark_district_does_not_make_it_live() {
    let mut scene = Scene::with_two_trains();
    scene.put("Dunlin", "lower");
    scene.wait(3_000);
    scene.report_apart(30, &[("quay", false), ("lower", false)]);
    scene.wait(10_000);
    scene.report(&[("main", true)]);
    scene.wait(5_000);
    assert!(scene.is_dark("harbour"), "neither of its trains shows itself");
    scene.report(&[("main", false)]);
    scene.wait(5_000);
    assert!(scene.is_dark("harbour"));
    assert_eq!((scene.tag("quay"), scene.tag("lower")), ("Heron".into(), "Dunlin".into()));
}

#[test]
fn trains_that_leave_their_sections_in_one_moment_do_not_put_out_the_light() {
    let mut scene = Scene::with_two_trains();
    scene.run("quay", "main");
    scene.run("main", "lower");
    scene.run("lower", "upper");
    assert!(!scene.is_dark("harbour"), "the last train of a district left it");
    assert_eq!((scene.tag("lower"), scene.tag("upper")), ("free".into(), "Heron".into()));
    scene.report(&[("top", true)]);
    assert_eq!(scene.count(|fact| matches!(fact, Fact::PowerLost { .. })), 0);
}

#[test]
fn districts_with_one_train_each_that_read_free_in_one_moment_are_dark_and_no_tag_moves() {
    let mut scene = Scene::with_two_trains();
    scene.report_apart(60, &[("quay", false), ("top", false)]);
    scene.wait(3_000);
    assert!(scene.is_dark("harbour") && scene.is_dark("hill"));
    assert_eq!(scene.tags(), AS_PUT);
    scene.wait(60_000);
    scene.report_apart(60, &[("top", true), ("quay", true)]);
    scene.wait(2_000);
    assert!(!scene.is_dark("harbour") && !scene.is_dark("hill"));
    assert_eq!(scene.tags(), AS_PUT);
}

#[test]
fn a_train_that_reads_free_long_after_another_district_went_dark_has_no_part_in_that() {
    let mut scene = Scene::with_two_trains();
    scene.power("hill", false);
    scene.wait(5_000);
    scene.report(&[("quay", false)]);
    scene.wait(3_000);
    assert!(scene.is_dark("hill") && !scene.is_dark("harbour"));
}

#[test]
fn a_district_whose_detectors_read_occupied_in_the_dark_is_live_when_all_of_them_read_free() {
    let mut scene = Scene::with_two_trains();
    scene.report_apart(40, &[("main", true), ("lower", true)]);
    scene.wait(2_000);
    assert!(scene.is_dark("harbour"));
    // Somebody took the only train away meanwhile.
    scene.report_apart(40, &[("lower", false), ("main", false), ("quay", false)]);
    scene.wait(2_000);
    assert!(!scene.is_dark("harbour"));
}

#[test]
fn the_only_train_of_a_dark_district_is_taken_off_and_it_is_not_dark_for_ever() {
    let mut scene = Scene::with_one_lifted_off_a_joint();
    let train = scene.layout.train_named("Heron").unwrap();
    scene.ask(Request::Lift { train });
    scene.wait(100);
    assert!(!scene.is_dark("harbour"));
    assert_eq!(scene.tags(), ["free", "free", "free", "free", "Plover", "free"]);
    assert!(!scene.is_occupied("quay"));
}

#[test]
fn a_layout_that_declares_no_district_goes_dark_as_a_whole() {
    let mut layout = branch().build();
    for section in layout.sections.ids() {
        layout.sections[section].district = None;
    }
    layout.districts = track::Table::new();
    let mut scene = Scene::new(layout, Conduct::Control);
    scene.put("Heron", "quay");
    scene.put("Plover", "top");
    scene.wait(3_000);
    scene.report_apart(30, &[("top", false), ("quay", false)]);
    scene.wait(3_000);
    assert!(scene.signaller.identity().is_frozen(scene.section("main")));
    let lost = |fact: &Fact| {
        let because = "all 2 occupied sections emptied in one moment".to_owned();
        *fact == Fact::PowerLost { district: None, because }
    };
    assert_eq!(scene.count(lost), 1);
    assert_eq!(scene.tags(), AS_PUT);
    scene.report_apart(30, &[("top", true), ("quay", true)]);
    scene.wait(3_000);
    assert!(!scene.signaller.identity().is_frozen(scene.section("main")));
    assert_eq!(scene.tags(), AS_PUT);
}

/// The branch whose detectors report over the link `west`.
fn linked() -> Scene {
    let mut builder = branch();
    let link = builder.link("west");
    let mut layout = builder.build();
    for detector in layout.detectors.ids() {
        layout.detectors[detector].link = Some(link);
    }
    let mut scene = Scene::new(layout, Conduct::Observe);
    scene.put("Heron", "quay");
    scene.put("Plover", "top");
    scene.wait(5_000);
    scene
}

#[test]
fn a_link_goes_down_and_everything_it_carries_counts_as_occupied() {
    let mut scene = linked();
    scene.link(false);
    let frozen = ["in doubt", "free", "free", "free", "in doubt", "free"];
    assert_eq!(scene.tags(), frozen, "trains may move unheard");
    assert!(scene.is_occupied("main") && scene.is_occupied("upper"));
    assert!(!scene.signaller.detect().is_current(scene.section("main")));
    scene.report(&[("quay", false)]);
    scene.wait(3_000);
    assert_eq!(scene.tags(), frozen, "it was on its way when the link went down");
    assert_eq!(scene.count(|fact| matches!(fact, Fact::LinkLost { .. })), 1);
}

#[test]
fn a_link_is_back_with_old_news_and_the_truth_soon_after() {
    let mut scene = linked();
    // The train runs on while nobody hears.
    scene.link(false);
    scene.wait(10_000);
    scene.link(true);
    scene.wait(100);
    let old = [("quay", true), ("main", false), ("lower", false), ("upper", false), ("top", true), ("shed", false)];
    scene.report(&old);
    assert!(scene.is_occupied("main"), "that may be old news");
    scene.wait(300);
    scene.report(&[("quay", false), ("main", true)]);
    assert_eq!(scene.count(|fact| matches!(fact, Fact::LinkBack { .. })), 0);
    scene.wait(600);
    assert_eq!(scene.count(|fact| matches!(fact, Fact::LinkBack { .. })), 1);
    assert_eq!(scene.tags(), ["free", "Heron", "free", "free", "Plover", "free"]);
    assert!(!scene.is_occupied("quay") && !scene.is_occupied("lower"));
}

#[test]
fn a_section_that_is_not_reported_anew_stays_occupied() {
    let mut scene = linked();
    scene.link(false);
    scene.link(true);
    let anew = [("quay", true), ("main", false), ("upper", false), ("top", true), ("shed", false)];
    scene.report(&anew);
    scene.wait(3_000);
    assert!(!scene.is_occupied("main") && scene.is_occupied("lower"));
    assert_eq!(scene.count(|fact| matches!(fact, Fact::LinkBack { .. })), 0);
    scene.report(&[("lower", false)]);
    scene.wait(1_000);
    assert!(!scene.is_occupied("lower"));
    assert_eq!(scene.count(|fact| matches!(fact, Fact::LinkBack { .. })), 1);
}

#[test]
fn a_turnout_whose_link_is_down_lies_nobody_knows_how() {
    let mut builder = branch();
    let link = builder.link("west");
    let turnout = builder.turnout("W1");
    builder.turnout_mut(turnout).reported = true;
    builder.turnout_mut(turnout).link = Some(link);
    let mut scene = Scene::new(builder.build(), Conduct::Observe);
    let lies = |lie| Input::TurnoutReported { turnout, lie: Some(lie) };
    scene.step(&[lies(track::Lie::Straight)]);
    assert_eq!(scene.signaller.interlock().lie(turnout), Some(track::Lie::Straight));
    scene.link(false);
    assert_eq!(scene.signaller.interlock().lie(turnout), None);
    scene.link(true);
    scene.step(&[lies(track::Lie::Straight)]);
    scene.wait(300);
    assert_eq!(scene.signaller.interlock().lie(turnout), None, "that may be old news");
    scene.step(&[lies(track::Lie::Diverging)]);
    scene.wait(600);
    assert_eq!(scene.signaller.interlock().lie(turnout), Some(track::Lie::Diverging));
}

#[test]
fn a_wheel_that_loses_contact_for_a_moment_is_nobodys_business() {
    let mut scene = Scene::with_two_trains();
    let said = scene.facts.len();
    scene.report(&[("quay", false)]);
    scene.wait(150);
    assert!(scene.is_occupied("quay"));
    scene.report(&[("quay", true)]);
    scene.report(&[("quay", true)]);
    scene.wait(3_000);
    assert_eq!(scene.facts.len(), said, "the signaller says nothing, and a doubled message does no harm");
    let quay = scene.section("quay");
    assert_eq!(scene.signaller.detect().record(quay), Record { flickers: 1, ..Record::default() });
}

#[test]
fn a_detector_bridges_as_long_as_the_layout_says() {
    let mut builder = Builder::new("Low Staithe", Scale::named("H0").unwrap());
    let quay = builder.plain_section("quay", None);
    builder.train(Train::stranger("Heron"));
    let mut layout = builder.build();
    let detector = layout.sections[quay].detector.unwrap();
    layout.detectors[detector] = Detector { bridge: Duration::from_millis(400), ..layout.detectors[detector].clone() };
    let mut scene = Scene::new(layout, Conduct::Observe);
    scene.put("Heron", "quay");
    scene.wait(1_000);
    scene.report(&[("quay", false)]);
    scene.wait(399);
    assert_eq!(scene.tag("quay"), "Heron");
    scene.wait(2);
    assert_eq!(scene.tag("quay"), "free");
}

#[test]
fn a_detector_that_flickers_again_and_again_is_bridged_longer_by_itself() {
    let mut scene = Scene::with_two_trains();
    scene.run("quay", "main");
    let passes = |scene: &mut Scene| {
        // The tail leaves `main` while the nose is in `lower`.
        scene.report(&[("lower", true)]);
        scene.wait(1_500);
        scene.report(&[("main", false)]);
        scene.wait(350);
        let believed = scene.tag("main") == "free";
        scene.wait(2_000);
        scene.run("lower", "main");
        believed
    };
    assert!(passes(&mut scene));
    for _ in 0..4 {
        scene.report(&[("main", false)]);
        scene.wait(190);
        scene.report(&[("main", true)]);
        scene.wait(2_000);
    }
    assert!(!passes(&mut scene), "what is known for gaps of 0.19 s is given twice that");
}

#[test]
fn a_section_that_flickers_under_a_train_is_bridged_for_a_second() {
    let mut scene = Scene::with_two_trains();
    scene.run("quay", "main");
    scene.report(&[("lower", true)]);
    scene.wait(1_500);
    scene.report(&[("main", false)]);
    scene.wait(60);
    scene.report(&[("main", true)]);
    scene.wait(1_500);
    scene.report(&[("main", false)]);
    scene.wait(950);
    assert_eq!(scene.tag("main"), "Heron", "it may flicker once more");
    scene.wait(100);
    assert_eq!(scene.tag("main"), "free");
}

#[test]
fn what_empties_with_nobody_in_it_just_after_the_power_was_reported_to_be_back_does_not_make_it_dark_again() {
    for is_reported in [true, false] {
        let mut scene = Scene::new(branch().build(), Conduct::Observe);
        scene.put("Plover", "shed");
        for name in ["quay", "main"] {
            scene.report(&[(name, true)]);
            scene.wait(3_000);
            assert_eq!(scene.tag(name), "unexplained");
        }
        if is_reported {
            scene.power("harbour", false);
            scene.wait(200);
            scene.power("harbour", true);
            scene.wait(1_500);
            assert!(!scene.is_dark("harbour"));
        }
        scene.report_apart(30, &[("main", false), ("quay", false)]);
        scene.wait(3_000);
        assert_eq!(scene.is_dark("harbour"), !is_reported);
    }
}

#[test]
fn dirty_wheels_are_told_from_dirty_track() {
    let mut scene = Scene::with_two_trains();
    let flicker = |scene: &mut Scene, section: &str| {
        scene.report(&[(section, false)]);
        scene.wait(100);
        scene.report(&[(section, true)]);
        scene.wait(2_000);
    };
    // Heron flickers wherever it goes; Plover does not.
    for (from, to) in [("quay", "main"), ("main", "lower"), ("lower", "main"), ("main", "quay")] {
        flicker(&mut scene, from);
        flicker(&mut scene, from);
        scene.run(from, to);
    }
    let heron = scene.layout.train_named("Heron").unwrap();
    let [(suspect, because)] = scene.suspicions()[..] else { panic!("{:?}", scene.suspicions()) };
    assert_eq!(suspect, Suspect::Train(heron));
    assert_eq!(because, "`Heron` lost contact 6 times in 3 sections, in 2 passages: dirty wheels");
    for name in ["quay", "main", "lower"] {
        let section = scene.section(name);
        assert_eq!(scene.signaller.identity().trust(section), Trust::ORDINARY, "the fault is not that of `{name}`");
    }
}

#[test]
fn dirty_track_is_told_from_dirty_wheels() {
    let mut scene = Scene::with_two_trains();
    let mut at = "top";
    for _ in 0..3 {
        for place in ["top", "upper", "lower"] {
            if at != place {
                scene.run(at, place);
                at = place;
            }
        }
        for _ in 0..2 {
            // Only in `lower` does it lose contact.
            scene.report(&[("lower", false)]);
            scene.wait(100);
            scene.report(&[("lower", true)]);
            scene.wait(2_000);
        }
        scene.run("lower", "upper");
        scene.run("upper", "top");
        at = "top";
        scene.run("quay", "main");
        scene.run("main", "lower");
        scene.report(&[("lower", false)]);
        scene.wait(100);
        scene.report(&[("lower", true)]);
        scene.wait(2_000);
        scene.run("lower", "main");
        scene.run("main", "quay");
    }
    let lower = scene.section("lower");
    let [(suspect, because)] = scene.suspicions()[..] else { panic!("{:?}", scene.suspicions()) };
    assert_eq!(suspect, Suspect::Section(lower));
    assert!(
        because.starts_with("`lower` lost contact 6 times under 2 trains, in ")
            && because.ends_with(" passages: dirty track or a loose feeder"),
        "{because}"
    );
    assert!(scene.signaller.identity().trust(lower).misses > 2.0, "its detector is trusted less");
    let top = scene.section("top");
    assert_eq!(scene.signaller.identity().trust(top), Trust::ORDINARY);
}

#[test]
fn a_section_that_fills_with_nothing_there_is_suspected_once() {
    let mut scene = Scene::new(branch().build(), Conduct::Observe);
    scene.put("Plover", "shed");
    for _ in 0..5 {
        scene.report(&[("quay", true)]);
        assert!(scene.is_occupied("quay"), "whatever it is");
        scene.wait(20_000);
        scene.report(&[("quay", false)]);
        scene.wait(20_000);
    }
    let quay = scene.section("quay");
    let [(suspect, because)] = scene.suspicions()[..] else { panic!("{:?}", scene.suspicions()) };
    assert_eq!(suspect, Suspect::Section(quay));
    assert_eq!(
        because,
        "`quay` filled 3 times with nothing there, in 0 passages: moisture, or something across the rails"
    );
}

#[test]
fn where_a_section_fills_falsely_again_and_again_a_train_beside_it_need_not_have_come() {
    let comes = |false_fills: usize| {
        let mut scene = Scene::new(branch().build(), Conduct::Observe);
        for _ in 0..false_fills {
            scene.report(&[("lower", true)]);
            scene.wait(20_000);
            scene.report(&[("lower", false)]);
            scene.wait(20_000);
        }
        scene.put("Heron", "quay");
        scene.run("quay", "main");
        scene.report(&[("lower", true)]);
        scene.wait(2_000);
        scene.tag("lower")
    };
    assert_eq!(comes(0), "Heron");
    assert_ne!(comes(40), "Heron", "that may be moisture again");
}

#[test]
fn whoever_finds_a_dark_section_empty_is_heard_and_what_is_taken_to_be_dark_is_live_again() {
    let mut scene = Scene::with_one_lifted_off_a_joint();
    scene.ask(Request::FoundEmpty { section: scene.section("main") });
    scene.wait(100);
    assert_eq!((scene.tag("main"), scene.tag("quay")), ("free".to_owned(), "in doubt".to_owned()));
    scene.ask(Request::FoundEmpty { section: scene.section("quay") });
    scene.wait(100);
    assert!(!scene.is_dark("harbour"));
    assert_eq!(scene.tags(), ["free", "free", "free", "free", "Plover", "free"]);
}

#[test]
fn a_train_said_to_stand_elsewhere_leaves_nothing_behind_in_the_dark() {
    let mut scene = Scene::with_one_lifted_off_a_joint();
    scene.put("Heron", "shed");
    scene.wait(100);
    assert!(!scene.is_dark("harbour"));
    assert_eq!(scene.tags(), ["free", "free", "free", "free", "Plover", "Heron"]);
}

#[test]
fn a_train_lifted_from_a_joint_between_two_districts_leaves_doubt_and_not_its_name() {
    let mut scene = Scene::new(branch().build(), Conduct::Observe);
    scene.put("Heron", "lower");
    scene.wait(3_000);
    scene.report(&[("upper", true)]);
    scene.wait(3_000);
    assert_eq!((scene.tag("lower"), scene.tag("upper")), ("Heron".to_owned(), "Heron".to_owned()));
    scene.report_apart(60, &[("lower", false), ("upper", false)]);
    scene.wait(3_000);
    assert!(scene.is_dark("harbour") && scene.is_dark("hill"), "it looks as if the power went");
    assert_eq!((scene.tag("lower"), scene.tag("upper")), ("in doubt".to_owned(), "in doubt".to_owned()));
}
