//! Ready patterns: on the pretend table, and by themselves.

use hooks::{ClockTime, LayoutClock, NoticeKind, ScriptError, Scripts};
use signaller::Time;

use crate::demo::{Afternoon, low_staithe, on_the_table};
use crate::host::{Host, patient, shown};

/// A pattern at Low Staithe. Nothing goes wrong.
fn runs(script: &str, seed: u64, minutes: i64) -> Afternoon {
    let afternoon = on_the_table(vec![("p.lua".to_owned(), script.to_owned())], seed, minutes);
    let failures: Vec<String> = afternoon
        .notices
        .iter()
        .filter(|notice| !matches!(notice.kind, NoticeKind::Said(_) | NoticeKind::Logged(_)))
        .map(ToString::to_string)
        .collect();
    assert_eq!(failures, Vec::<String>::new(), "seed {seed}");
    afternoon
}

fn errors(script: &str) -> Vec<String> {
    let (layout, _) = low_staithe();
    let (_, errors): (Scripts, Vec<ScriptError>) =
        Scripts::load(layout, vec![("p.lua".to_owned(), script.to_owned())], &patient(), 1);
    shown(&errors)
}

#[test]
fn a_shuttle_calls_at_every_station_and_comes_back() {
    let text = r#"shuttle { trains = "Heron", calls = { "quay-1.a", "harbour-2.b", "loop-1.b" }, back = { "shore-1.a", "quay-1.a" } }"#;
    let heron = runs(text, 1, 20).of("Heron");
    assert!(heron.len() >= 8, "{heron:?}");
    let round = ["harbour-2.b", "loop-1.b", "shore-1.a", "quay-1.a"];
    assert!(heron.chunks(4).all(|trips| trips.iter().zip(round).all(|(place, wanted)| place == wanted)), "{heron:?}");
}

#[test]
fn two_trains_share_a_single_line() {
    let text = r#"
        shuttle {
            trains = { "Heron", "Plover" },
            calls = { { "quay-1", "quay-2" }, { "loop-1", "loop-2" } },
            dwell = 10,
        }
    "#;
    for seed in [1, 2] {
        let afternoon = runs(text, seed, 40);
        for train in ["Heron", "Plover"] {
            let trips = afternoon.of(train);
            assert!(trips.len() >= 4, "seed {seed}: {train} {trips:?}");
            let is_loop = |place: &String| place.starts_with("loop");
            assert!(trips.windows(2).all(|two| is_loop(&two[0]) != is_loop(&two[1])), "seed {seed}: {train} {trips:?}");
        }
    }
}

#[test]
fn trains_of_a_staging_yard_take_turns() {
    let text = r#"
        local yard = staging { tracks = "yard-?", keep_free = 1 }
        task("turns", function()
            while true do
                local train = yard.next()
                say("out", train)
                send(train, "loop-2.a")
                send(train, "quay-2.a")
                yard.enter(train)
            end
        end)
    "#;
    let afternoon = runs(text, 1, 45);
    let out: Vec<String> = afternoon
        .notices
        .iter()
        .filter_map(|notice| notice.to_string().strip_prefix("p.lua: out ").map(str::to_owned))
        .collect();
    assert!(out.len() >= 4, "{out:?}");
    assert_eq!(out[..4], ["Plover", "Dunlin", "Curlew", "Plover"], "first in, first out");
}

#[test]
fn a_staging_yard_chooses_the_shortest_track_by_class_and_keeps_one_free() {
    let text = |rest: &str| {
        format!(
            r#"
            local yard = staging {{
                tracks = {{ "quay-1", "loop-1", "loop-2", "yard-1" }},
                class = {{ Dunlin = "mail" }},
                only = {{ mail = "loop-2" }},
            }}
            task("t", function() wait(1) {rest} end)
            "#
        )
    };
    let said = |rest: &str, free: &[&str]| {
        let mut host = Host::new(&[("t.lua", &text(rest))]);
        let facts = free.iter().map(|name| host.free(name)).collect();
        host.tell(facts);
        host.run_until(2.0);
        host.said().concat()
    };
    let all = ["quay-1", "loop-1", "loop-2", "yard-1"];
    let choose = "say(yard.choose('Plover'), yard.choose('Dunlin'))";
    assert_eq!(said(choose, &all), "1 t.lua: quay-1 loop-2");
    assert_eq!(said(choose, &["quay-1", "loop-2"]), "1 t.lua: quay-1 loop-2");
    assert_eq!(said(choose, &["quay-1"]), "1 t.lua: nil nil", "never the last one");
    assert_eq!(
        said(choose, &["loop-1", "loop-2"]),
        "1 t.lua: nil loop-2",
        "one is too short, one is kept for the mail"
    );
}

#[test]
fn trains_on_a_round_trip_pass_each_other_at_the_loop() {
    let text = r#"
        round_trip {
            trains = { "Plover", "Dunlin", "Curlew" },
            calls = { { "loop-1", "loop-2" }, { "quay-2" }, "yard-?" },
            dwell = 10,
        }
    "#;
    let afternoon = runs(text, 1, 60);
    for train in ["Plover", "Dunlin", "Curlew"] {
        let trips = afternoon.of(train);
        assert!(trips.len() >= 3, "{train}: {trips:?}");
        let kind = |place: &String| place.split('-').next().unwrap().to_owned();
        let kinds: Vec<String> = trips.iter().map(kind).collect();
        assert!(
            kinds.chunks(3).all(
                |round| ["loop", "quay", "yard"].starts_with(&round.iter().map(String::as_str).collect::<Vec<_>>())
            ),
            "{kinds:?}"
        );
    }
}

#[test]
fn an_evening_goes_by_its_timetable() {
    let text = r#"
        timetable {
            begins = "18:00",
            pace = 12,
            pauses = { ["18:12"] = 60 },
            trips = {
                { at = "18:20", train = "Heron", to = "quay-1.a" },
                { at = "18:05", train = "Heron", to = "loop-1.b" },
                { at = "18:10", train = "Plover", to = "loop-2.a" },
            },
        }
        on("departed", function(e) say("leaves", e.train, clock().shows) end)
    "#;
    let afternoon = runs(text, 1, 8);
    let said: Vec<String> = afternoon.notices.iter().map(ToString::to_string).collect();
    let expected = [
        "p.lua: leaves Heron 18:05",
        "p.lua: leaves Plover 18:10",
        "p.lua: the clock stands at 18:12",
        "p.lua: leaves Heron 18:20",
    ];
    assert_eq!(said, expected);
    // Twenty minutes at twelve times life, and the pause.
    let left = afternoon.notices[3].at.secs_f64();
    assert!((left - 160.0).abs() < 1.0, "{left}");
}

#[test]
fn a_timetable_goes_on_where_the_clock_stood_with_the_trips_that_were_still_to_come() {
    let text = r#"
        timetable {
            begins = "18:00",
            pauses = { ["18:12"] = 60 },
            trips = {
                { at = "18:05", train = "Heron", to = "loop-1" },
                { at = "18:20", train = "Heron", to = "quay-1" },
            },
        }
    "#;
    let stands = LayoutClock::going_on(ClockTime::read("18:12").unwrap(), 12.0);
    let mut at_work = stands.clone();
    at_work.start(Time::ZERO, 12.0);
    // Eight minutes at twelve times life are forty seconds; one that stood in a pause stands for all of that pause again.
    for (clock, leaves) in [(&at_work, 40.0), (&stands, 100.0)] {
        let (mut host, errors) = Host::going_on(&[("p.lua", text)], &patient(), clock.clone());
        assert_eq!(errors, []);
        host.run_until(leaves - 1.0);
        assert_eq!(host.wishes(), Vec::<String>::new());
        host.run_until(leaves + 0.1);
        assert_eq!(host.wishes(), ["Heron to quay-1"], "at {leaves} s; {:?}", host.said());
        assert_eq!(host.said(), Vec::<String>::new());
    }
}

#[test]
fn trains_run_here_and_there_as_chance_has_it() {
    let text = r#"
        random_runs {
            trains = { "Plover", "Dunlin", "Curlew" },
            places = { "yard-?", "quay-2", "loop-2" },
            dwell = { 5, 20 },
        }
    "#;
    let trips = |seed| runs(text, seed, 40).arrivals;
    let first = trips(1);
    assert!(first.len() >= 6, "{first:?}");
    assert!(first != trips(2), "another seed, other trips");
}

#[test]
fn a_train_follows_its_leader() {
    let text = r#"follow { trains = { "Plover", "Dunlin" }, calls = { "loop-2.a", "quay-2.a", "yard-4" }, dwell = 5 }"#;
    let afternoon = runs(text, 1, 40);
    let (plover, dunlin) = (afternoon.of("Plover"), afternoon.of("Dunlin"));
    assert!(plover.len() >= 3 && dunlin.len() >= 2, "{:?}", afternoon.arrivals);
    let round = ["loop-2.a", "quay-2.a", "yard-4"];
    for trips in [&plover, &dunlin] {
        assert!(trips.iter().enumerate().all(|(at, place)| place == round[at % 3]), "{trips:?}");
    }
    // Nobody arrives where the leader has not been before.
    let mut ahead = 0_i64;
    for arrival in &afternoon.arrivals {
        ahead += if arrival.starts_with("Plover") { 1 } else { -1 };
        assert!(ahead >= 0, "{:?}", afternoon.arrivals);
    }
}

#[test]
fn wrong_names_in_a_pattern_are_found_when_it_is_loaded() {
    let hint = "hint: did you mean";
    assert_eq!(
        errors(r#"shuttle { trains = "Hron", calls = { "quay-1" } }"#),
        [format!("p.lua:1: no train `Hron`; {hint} `Heron`?")]
    );
    assert_eq!(
        errors(r#"shuttle { trains = "Heron", calls = { "quay-1", { "loop-1", "lop-2" } } }"#),
        [format!("p.lua:1: no section or stopping point `lop-2`; {hint} `loop-2`?")]
    );
    assert_eq!(errors(r#"follow { train = "Heron" }"#), [format!("p.lua:1: no field `train`; {hint} `trains`?")]);
    assert_eq!(
        errors("local plan = { trains = \"Hron\", calls = { \"quay-1\", \"loop-1\" } }\nshuttle(plan)"),
        [format!("p.lua:2: no train `Hron`; {hint} `Heron`?")],
        "where it is known only when it is called, the line of the script is told"
    );
    assert_eq!(
        errors("local plan = {}\n\nshuttle(plan)"),
        ["p.lua:3: say which trains: `trains = { ... }`"],
        "no train is taken that nobody named"
    );
    assert_eq!(
        errors(r#"timetable { trips = { { at = "18:05", train = "Heron", to = "quy-1" } } }"#),
        [format!("p.lua:1: no section or stopping point `quy-1`; {hint} `quay-1`?")]
    );
}
