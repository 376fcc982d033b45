//! Scenes in which the power goes and nobody says so.

use track::{Builder, Length, Scale, Train};

use super::Scene;
use crate::identity::Standing;
use crate::{Conduct, Fact, Request, model};

/// Seven sections in one district, and trains in the first, third, fifth and seventh.
fn four_trains_in_one_district() -> Scene {
    let mut builder = Builder::new("Low Staithe", Scale::named("H0").unwrap());
    let district = builder.district("harbour");
    for section in model::line(&mut builder, &["quay", "main", "lower", "upper", "top", "shed", "coal"], None) {
        builder.feed(section, district);
    }
    for name in ["Heron", "Plover", "Dunlin", "Ruff"] {
        builder.train(Train::stranger(name));
    }
    let mut scene = Scene::new(builder.build(), Conduct::Observe);
    for (train, section) in [("Heron", "quay"), ("Plover", "lower"), ("Dunlin", "top"), ("Ruff", "coal")] {
        scene.put(train, section);
    }
    scene.wait(5_000);
    scene
}

const FOUR_AS_PUT: [&str; 7] = ["Heron", "free", "Plover", "free", "Dunlin", "free", "Ruff"];

#[test]
fn power_fails_and_one_report_of_it_is_lost() {
    let mut scene = four_trains_in_one_district();
    scene.report_apart(30, &[("quay", false), ("top", false), ("lower", false)]);
    scene.wait(10_000);
    assert!(scene.is_dark("harbour"));
    let because = "3 of 4 occupied sections emptied in one moment".to_owned();
    assert_eq!(scene.count(|fact| matches!(fact, Fact::PowerLost { because: it, .. } if *it == because)), 1);
    scene.report(&[("coal", false)]);
    scene.wait(10_000);
    assert!(scene.is_dark("harbour"), "said again, it is heard");
    scene.report_apart(60, &[("quay", true), ("lower", true), ("top", true), ("coal", true)]);
    scene.wait(3_000);
    assert!(!scene.is_dark("harbour"));
    assert_eq!(scene.tags(), FOUR_AS_PUT);
}

#[test]
fn two_trains_taken_off_while_others_are_seen_do_not_put_out_the_light() {
    let mut scene = four_trains_in_one_district();
    scene.report_apart(30, &[("quay", false), ("lower", false)]);
    scene.wait(10_000);
    assert!(!scene.is_dark("harbour"));
}

#[test]
fn power_fails_all_but_one_read_occupied_and_the_last_says_so_late() {
    let mut builder = Builder::new("Low Staithe", Scale::named("H0").unwrap());
    let district = builder.district("harbour");
    let names = ["quay", "main", "lower", "upper", "top", "shed", "coal"];
    for section in model::line(&mut builder, &names, None) {
        builder.feed(section, district);
    }
    builder.train(Train::stranger("Heron"));
    let mut scene = Scene::new(builder.build(), Conduct::Observe);
    scene.put("Heron", "quay");
    scene.wait(5_000);
    let as_put = scene.tags();
    scene.report_apart(10, &[("main", true), ("lower", true), ("upper", true), ("top", true), ("coal", true)]);
    scene.wait(3_000);
    assert!(scene.is_dark("harbour"));
    scene.report(&[("shed", true)]);
    scene.wait(10_000);
    assert!(scene.is_dark("harbour"), "that is what all of them say without power");
    let back: Vec<(&str, bool)> = names[1..].iter().map(|&name| (name, false)).collect();
    scene.report_apart(10, &back);
    scene.wait(10_000);
    assert!(!scene.is_dark("harbour"));
    assert_eq!(scene.tags(), as_put);
}

#[test]
fn a_tail_leaves_no_two_long_sections_in_one_moment() {
    for (millimetres, is_dark) in [(600, true), (200, false)] {
        let mut builder = Builder::new("Low Staithe", Scale::named("H0").unwrap());
        let (harbour, hill) = (builder.district("harbour"), builder.district("hill"));
        let length = Some(Length::from_mm(millimetres));
        for (place, section) in
            model::line(&mut builder, &["quay", "main", "lower", "upper"], length).into_iter().enumerate()
        {
            builder.feed(section, if place < 3 { harbour } else { hill });
        }
        builder.train(Train::stranger("Heron"));
        let mut scene = Scene::new(builder.build(), Conduct::Observe);
        scene.put("Heron", "main");
        scene.wait(5_000);
        scene.report_apart(3_000, &[("lower", true), ("upper", true)]);
        scene.report_apart(30, &[("main", false), ("lower", false)]);
        scene.wait(5_000);
        assert_eq!(scene.is_dark("harbour"), is_dark, "{millimetres} mm");
    }
}

/// Heron stands over the joint between `main` and `lower`, and nothing else in the harbour.
fn heron_over_a_joint() -> Scene {
    let mut scene = Scene::with_two_trains();
    scene.run("quay", "main");
    scene.report(&[("lower", true)]);
    scene.wait(3_000);
    scene
}

#[test]
fn a_train_that_somebody_says_they_take_off_does_not_put_out_the_light() {
    for is_said in [true, false] {
        let mut scene = heron_over_a_joint();
        if is_said {
            scene.ask(Request::Lift { train: scene.layout.train_named("Heron").unwrap() });
            scene.wait(1_000);
        }
        scene.report_apart(30, &[("lower", false), ("main", false)]);
        scene.wait(3_000);
        assert_eq!(scene.is_dark("harbour"), !is_said, "{is_said}");
    }
}

#[test]
fn a_train_put_down_where_a_detector_comes_to_see_it_shows_that_there_is_power() {
    for is_seen in [true, false] {
        let mut scene = heron_over_a_joint();
        scene.report_apart(30, &[("lower", false), ("main", false)]);
        scene.wait(3_000);
        assert!(scene.is_dark("harbour"));
        let (train, on) = (scene.layout.train_named("Dunlin").unwrap(), scene.section("quay"));
        if is_seen {
            scene.report(&[("quay", true)]);
        }
        scene.ask(Request::Place { train, on: vec![on], nose: None });
        assert_eq!(scene.is_dark("harbour"), !is_seen, "{is_seen}");
    }
}

#[test]
fn that_it_is_dark_is_a_guess_where_one_train_may_have_stood_on_all_of_it() {
    let mut scene = heron_over_a_joint();
    scene
        .ask(Request::Identify { section: scene.section("lower"), train: scene.layout.train_named("Dunlin").unwrap() });
    scene.report_apart(30, &[("lower", false), ("main", false)]);
    scene.wait(3_000);
    assert!(scene.is_dark("harbour"));
    assert_eq!(scene.signaller.detect().standing(scene.section("main")), Standing::DarkPerhaps);
}
