//! Small scenes of trains, told as text.
//!
//! A line an instant, everything in it at once. `+x` fills section `x`, `-x` empties it, `Name@x` or `Name@x>x.b` puts a train
//! down, `Name!` takes it off, `W1=straight` is a report of a turnout, `Name?x` a reading, `x:Name` a person's word that this
//! train is in `x`, `x:-` that nothing is, `Name+Other` couples two trains, `Name/2/Other` uncouples one behind its second vehicle. `expect` gives the tags that differ from free after the last instant: `x: Heron`, `x: Heron|Plover` (doubt),
//! `x: Heron|?` (Heron or something unknown), `x: ?`.

#![allow(dead_code, reason = "no test needs all of it")]

use std::sync::Arc;

use signaller::{Conduct, Fact, Input, Output, Request, Signaller, Tag, Ticket, Time};
use track::{Builder, Detector, DetectorKind, Layout, Lie, Scale, Train, TrainId};

pub const TRAINS: [&str; 4] = ["Heron", "Plover", "Dunlin", "Curlew"];

/// Sections in a row, `a` to `b`. `*name` is dark; `(x y)` are tracks side by side between their neighbours.
pub fn line(text: &str) -> Builder {
    let mut builder = Builder::new("line", Scale::named("H0").unwrap());
    let mut before: Vec<track::SectionId> = Vec::new();
    let mut group: Option<Vec<track::SectionId>> = None;
    for word in text.split_whitespace() {
        let name = word.trim_matches(['(', ')', '*']);
        let section = builder.plain_section(name, None);
        builder = if word.contains('*') { darkened(builder, section) } else { builder };
        if word.starts_with('(') {
            group = Some(Vec::new());
        }
        let here = match &mut group {
            Some(group) => {
                group.push(section);
                if word.ends_with(')') { std::mem::take(group) } else { continue }
            }
            None => vec![section],
        };
        group = None;
        for &west in &before {
            for &east in &here {
                let (b, a) = (builder.layout().sections[west].ends[1], builder.layout().sections[east].ends[0]);
                builder.join(b, a);
            }
        }
        before = here;
    }
    for name in TRAINS {
        builder.train(Train::stranger(name));
    }
    builder
}

pub fn darkened(builder: Builder, section: track::SectionId) -> Builder {
    let mut layout = builder.build();
    layout.sections[section].detector = None;
    Builder::from(layout)
}

pub fn input(layout: &Layout, ticket: u64, word: &str) -> Input {
    let section = |name: &str| layout.section_named(name).unwrap_or_else(|| panic!("no section {name}"));
    let train = |name: &str| layout.train_named(name).unwrap_or_else(|| panic!("no train {name}"));
    let request = |request| Input::Requested { ticket: Ticket(ticket), request };
    if let Some(name) = word.strip_prefix('+') {
        return Input::SectionReported { section: section(name), occupied: true };
    }
    if let Some(name) = word.strip_prefix('-') {
        return Input::SectionReported { section: section(name), occupied: false };
    }
    if let Some(name) = word.strip_suffix('!') {
        return request(Request::Lift { train: train(name) });
    }
    if let Some((name, with)) = word.split_once('+') {
        return request(Request::Couple { train: train(name), with: train(with) });
    }
    if let Some((name, (keep, rest))) = word.split_once('/').and_then(|(a, b)| Some((a, b.split_once('/')?))) {
        let keep = keep.parse().unwrap();
        return request(Request::Uncouple { train: train(name), keep, rest: train(rest) });
    }
    if let Some((name, place)) = word.split_once('@') {
        let (on, nose) = place.split_once('>').map_or((place, None), |(on, nose)| (on, Some(nose)));
        let on = on.split(',').map(section).collect();
        let nose = nose.map(|nose| layout.end_named(nose).unwrap());
        return request(Request::Place { train: train(name), on, nose });
    }
    if let Some(name) = word.strip_suffix(":-") {
        return request(Request::FoundEmpty { section: section(name) });
    }
    if let Some((section_name, name)) = word.split_once(':') {
        return request(Request::Identify { section: section(section_name), train: train(name) });
    }
    if let Some((name, place)) = word.split_once('?') {
        let at = section(place);
        let reader = layout.detectors.iter().find(|(_, row)| row.kind == DetectorKind::Reader(at)).expect("a reader").0;
        return Input::TrainRead { detector: reader, train: train(name) };
    }
    let (turnout, lie) = word.split_once('=').unwrap();
    let lie = match lie {
        "straight" => Some(Lie::Straight),
        "diverging" => Some(Lie::Diverging),
        _ => None,
    };
    Input::TurnoutReported { turnout: layout.turnout_named(turnout).unwrap(), lie }
}

/// Plays a scene in which nothing is refused.
pub fn play(layout: Layout, scene: &str) -> Signaller {
    let (signaller, facts) = play_and_listen(layout, scene);
    for (at, fact) in facts {
        if let Fact::Answered { answer, .. } = fact {
            assert_eq!(answer, signaller::Answer::Accepted, "in the instant {at} of `{scene}`");
        }
    }
    signaller
}

/// Plays a scene and keeps what was said, each fact with the number of its instant.
pub fn play_and_listen(layout: Layout, scene: &str) -> (Signaller, Vec<(usize, Fact)>) {
    let layout = Arc::new(layout);
    let mut signaller = Signaller::new(Arc::clone(&layout), Conduct::Observe);
    let all_free: Vec<_> = layout
        .sections
        .ids()
        .filter(|&section| !layout.is_dark(section))
        .map(|section| Input::SectionReported { section, occupied: false })
        .collect();
    signaller.step(Time::ZERO, &all_free);
    let mut facts = Vec::new();
    for (at, instant) in scene.lines().map(str::trim).filter(|line| !line.is_empty()).enumerate() {
        let inputs: Vec<_> = instant.split_whitespace().map(|word| input(&layout, at as u64, word)).collect();
        let now = Time::from_millis(10_000 * (at as i64 + 1));
        let mut twin = Signaller::restore(Arc::clone(&layout), &signaller.snapshot()).unwrap();
        let again = twin.step(now, &inputs).outputs.to_vec();
        let step = signaller.step(now, &inputs);
        assert_eq!(again, step.outputs, "a signaller restored from a snapshot says something else");
        facts.extend(step.outputs.iter().filter_map(|output| match output {
            Output::Fact(fact) => Some((at + 1, fact.clone())),
            _ => None,
        }));
    }
    (signaller, facts)
}

/// What was said of doubts in a scene, a line each.
pub fn doubts(layout: Layout, scene: &str) -> String {
    let (_, facts) = play_and_listen(layout, scene);
    doubts_of(&facts)
}

/// The facts about doubts, a line each.
pub fn doubts_of(facts: &[(usize, Fact)]) -> String {
    let lines = facts.iter().filter_map(|(at, fact)| match fact {
        Fact::DoubtRaised { doubt, about } => Some(format!(
            "{at}: doubt {}: {}\n   settled by: {}\n",
            doubt.0,
            about.alternatives.join(" | "),
            about.settled_by
        )),
        Fact::DoubtCleared { doubt, by } => Some(format!("{at}: doubt {} settled: {by}\n", doubt.0)),
        _ => None,
    });
    lines.collect()
}

/// Why a request of the last instant was refused.
#[track_caller]
pub fn refused(layout: Layout, scene: &str) -> String {
    let (_, facts) = play_and_listen(layout, scene);
    match facts.iter().rev().find_map(|(_, fact)| match fact {
        Fact::Answered { answer, .. } => Some(answer),
        _ => None,
    }) {
        Some(signaller::Answer::Refused(refusal)) => refusal.reason.clone(),
        other => panic!("{other:?} in `{scene}`"),
    }
}

pub fn tags(signaller: &Signaller) -> String {
    let layout = signaller.layout();
    let name = |train: &TrainId| layout.trains[*train].name.clone();
    let mut said: Vec<String> = Vec::new();
    for (section, row) in layout.sections.iter() {
        let tag = match signaller.identity().tag(section) {
            Tag::Free => continue,
            Tag::Sure(train) => name(&train),
            Tag::Doubt(trains) if trains.len() == 1 => format!("{}|?", name(&trains[0])),
            Tag::Doubt(trains) => trains.iter().map(name).collect::<Vec<_>>().join("|"),
            Tag::Unexplained => "?".to_owned(),
        };
        said.push(format!("{}: {tag}", row.name));
    }
    said.join(", ")
}

#[track_caller]
pub fn check(track: &str, scene: &str, expect: &str) {
    assert_eq!(tags(&play(line(track).build(), scene)), expect);
}

/// Tracks `x` and `y` meet over a turnout in `w`; `u` lies beyond.
pub fn junction() -> Builder {
    // Two tracks, x and y, run into the toe section `t`, over turnout W1 whose position is reported.
    let mut builder = line("u t v");
    builder.plain_section("x", None);
    builder.plain_section("y", None);
    let throat = builder.section("w");
    let (toe, one, two) = (builder.end(throat, "toe"), builder.end(throat, "one"), builder.end(throat, "two"));
    let turnout = builder.turnout("W1");
    for (end, lie) in [(one, Lie::Straight), (two, Lie::Diverging)] {
        let way = builder.way(toe, end, None);
        builder.need(way, turnout, lie);
    }
    builder.area_detector(throat);
    let end = |builder: &Builder, name: &str| builder.layout().end_named(name).unwrap();
    for (a, b) in [("x.b", one), ("y.b", two)] {
        let a = end(&builder, a);
        builder.join(a, b);
    }
    let u = end(&builder, "u.a");
    builder.join(toe, u);
    let reader = DetectorKind::Reader(builder.layout().section_named("u").unwrap());
    builder.detector(Detector::new("gate", reader));
    builder
}
