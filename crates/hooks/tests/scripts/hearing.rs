//! Everything that scripts can hear of, and read.

use signaller::{Answer, Direction, Doubt, DoubtId, Fact, Input, Output, RouteStage, Suspect, Tag, Ticket};
use track::routes::Exit;
use track::{Aspect, Id, Lie};

use crate::host::Host;

fn id<I: Id>(index: usize) -> I {
    I::from_index(index)
}

const EVERYTHING: &str = r#"
        on("section_filled", { section = "quay-*" }, function(e) say("filled", e.section, e.train) end)
        on("section_emptied", function(e) say("emptied", e.section) end)
        on("stopped", function(e) say("stopped", e.train) end)
        on("doubt_raised", function(e) say("doubt", e.doubt, e.trains[1], e.sections[1], e.may_be[1], e.settled_by) end)
        on("doubt_cleared", function(e) say("settled", e.doubt, e.reason) end)
        on("signal_changed", { signal = "S*" }, function(e) say(e.signal, "shows", e.aspect, e.danger) end)
        on("route_stage", function(e) say("route", e.signal, e.exit, e.stage) end)
        on("route_waiting", function(e) say("route waits", e.signal, e.reason) end)
        on("spot_passed", { detector = "magnet" }, function(e) say("passed", e.detector, e.section) end)
        on("reading", function(e) say("read", e.train, e.detector) end)
        on("power_lost", { district = "harbour" }, function(e) say("dark", e.district, e.reason) end)
        on("power_back", function(e) say("live", e.district) end)
        on("link_lost", function(e) say("lost", e.link) end)
        on("link_back", { link = "harbour box" }, function(e) say("back", e.link) end)
        on("out_of_service", function(e) say("out", e.section, e.reason) end)
        on("in_service", function(e) say("in", e.section) end)
        on("suspected", function(e) say("suspect", e.train, e.reason) end)
"#;

#[test]
fn whatever_happens_on_the_layout_is_told_with_what_it_is_about() {
    let mut host = Host::new(&[("h.lua", EVERYTHING)]);
    let (heron, quay, yard) = (host.train("Heron"), host.section("quay-1"), host.section("yard-1"));
    host.tell(vec![host.free("quay-1"), host.there("yard-1", "Heron")]);
    let drive = |step| Output::Drive { train: heron, direction: Direction::Forward, step };
    let because = || "a fuse blew".to_owned();
    let doubt = DoubtId(3);
    let about = Doubt {
        trains: vec![heron],
        sections: vec![yard],
        alternatives: vec!["it is there".to_owned()],
        settled_by: "look".to_owned(),
        roll_call: None,
    };
    let (entry, exit) = (id(0), Exit::Signal(id(1)));
    let facts = [
        Fact::Tagged { section: quay, tag: Tag::Sure(heron) },
        Fact::Tagged { section: yard, tag: Tag::Free },
        Fact::DoubtRaised { doubt, about },
        Fact::DoubtCleared { doubt, by: "somebody looked".to_owned() },
        Fact::RouteStage { entry, exit, stage: RouteStage::Cleared },
        Fact::RouteWaiting { entry, reason: "a turnout moves".to_owned() },
        Fact::PowerLost { district: Some(id(0)), because: because() },
        Fact::PowerBack { district: Some(id(0)) },
        Fact::LinkLost { link: id(0) },
        Fact::LinkBack { link: id(0) },
        Fact::Withdrawn { section: quay, because: "rail loose".to_owned() },
        Fact::InService { section: quay },
        Fact::Suspected { suspect: Suspect::Train(heron), because: "dirty wheels".to_owned() },
    ];
    let outputs: Vec<Output> = [drive(5), drive(0), drive(0), Output::Show { signal: entry, aspect: Aspect(1) }]
        .into_iter()
        .chain(facts.map(Output::Fact))
        .collect();
    let detector = |name| host.layout.detector_named(name).unwrap();
    let (magnet, gate) = (detector("magnet"), detector("gate"));
    let inputs = [Input::SpotPassed { detector: magnet }, Input::TrainRead { detector: gate, train: heron }];
    host.hear(&inputs, &outputs);
    let shows = host.layout.book_of(entry).name(Aspect(1)).unwrap();
    let expected = [
        "passed magnet loop-1",
        "read Heron gate",
        "stopped Heron",
        &format!("S1 shows {shows} false"),
        "filled quay-1 Heron",
        "emptied yard-1",
        "doubt 3 Heron yard-1 it is there look",
        "settled 3 somebody looked",
        "route S1 S3 cleared",
        "route waits S1 a turnout moves",
        "dark harbour a fuse blew",
        "live harbour",
        "lost harbour box",
        "back harbour box",
        "out quay-1 rail loose",
        "in quay-1",
        "suspect Heron dirty wheels",
    ];
    assert_eq!(host.said(), expected.map(|line| format!("h.lua: {line}")));
}

#[test]
fn a_turnout_that_nobody_reports_lies_where_it_was_thrown_once_it_had_time() {
    let text = r#"
        on("turnout_lies", { turnout = "W1" }, function(e) say(e.turnout, e.lies, lies("W1")) end)
        task("t", function() wait(0.5) say("meanwhile", lies("W1")) end)
    "#;
    let mut host = Host::new(&[("t.lua", text)]);
    host.hear(&[], &[Output::Throw { turnout: id(0), lie: Lie::Diverging }]);
    host.run_until(20.0);
    let takes = host.layout.turnouts[id(0)].throw_time.as_secs_f64();
    assert_eq!(host.said(), ["0.5 t.lua: meanwhile nil".to_owned(), format!("{takes} t.lua: W1 diverging diverging")]);
    let lie = Some(Lie::Straight);
    host.hear(&[Input::TurnoutReported { turnout: id(0), lie }, Input::TurnoutReported { turnout: id(0), lie }], &[]);
    assert_eq!(host.said()[2..], ["20 t.lua: W1 straight straight"], "told once");
}

#[test]
fn the_first_and_the_last_moment_are_told() {
    let text = r#"
        on("start", function() say("good morning") end)
        on("stop", function() say("good night") end)
    "#;
    let mut host = Host::new(&[("t.lua", text)]);
    host.run_until(1.0);
    host.tell(Vec::new());
    host.tell(Vec::new());
    host.scripts.end(host.now);
    host.tell(Vec::new());
    assert_eq!(host.said(), ["1 t.lua: good morning", "1 t.lua: good night"]);
}

#[test]
fn the_whole_picture_is_one_consistent_copy() {
    let text = r#"
        task("t", function()
            local before = picture()
            wait(5)
            local after = picture()
            say(before.sections["quay-1"].how, after.sections["quay-1"].how, after.sections["quay-1"].trains[1])
            say(after.sections["loop-1"].out_of_service, after.sections["loop-2"].granted)
            local heron = after.trains.Heron
            say(heron.sections[1], heron.at, heron.held, heron.step, heron.trips, heron.bound)
            say(after.signals.S1.aspect, after.signals.S1.danger, after.turnouts.W1, after.time)
            say(after.routes.S1.exit, after.routes.S1.stage, #after.doubts, after.dark.harbour, after.links_down[1])
            before.sections["quay-1"].how = "mine"
            say(tag("quay-1"))
        end)
    "#;
    let mut host = Host::new(&[("t.lua", text)]);
    let heron = host.train("Heron");
    host.tell(vec![host.free("quay-1")]);
    host.tell(vec![
        host.there("quay-1", "Heron"),
        host.arrived("Heron", "quay-1.b"),
        Fact::HoldSet { train: heron, reason: "tea".to_owned() },
        Fact::Withdrawn { section: host.section("loop-1"), because: "rail loose".to_owned() },
        Fact::RouteSet { train: heron, sections: vec![host.section("loop-2")] },
        Fact::RouteStage { entry: id(0), exit: Exit::Signal(id(1)), stage: RouteStage::Called },
        Fact::PowerLost { district: Some(id(0)), because: "a fuse blew".to_owned() },
        Fact::LinkLost { link: id(0) },
    ]);
    host.run_until(5.0);
    let stop = host.layout.book_of(id(0)).name(Aspect::STOP).unwrap();
    let expected = [
        "free sure Heron".to_owned(),
        "rail loose Heron".to_owned(),
        "quay-1 quay-1.b tea 0 1 nil".to_owned(),
        format!("{stop} true nil 5"),
        "S3 called 0 a fuse blew harbour box".to_owned(),
        "Heron sure".to_owned(),
    ];
    assert_eq!(host.said(), expected.map(|line| format!("5 t.lua: {line}")));
}

#[test]
fn names_are_found_by_pattern_in_the_order_of_the_layout() {
    let text = r#"
        say(table.concat(names("section", "*-1"), " "))
        say(table.concat(names("train"), " "))
        say(table.concat(names("place", { "loop-*.b", "quay-2" }), " "))
        say(length("quay-1"), length("Heron"))
        say(try(names, "section", "shed-*"))
        say(try(names, "shed"))
        say(try(free, "shed-*"))
        task("t", function() wait(1) say(free("yard-*"), free({ "quay-2", "yard-*.b" })) end)
    "#;
    let mut host = Host::new(&[("t.lua", text)]);
    host.tell(vec![host.free("yard-1"), host.free("yard-2")]);
    host.run_until(1.0);
    assert_eq!(
        host.said(),
        [
            "t.lua: quay-1 loop-1 yard-1",
            "t.lua: Heron Plover Dunlin",
            "t.lua: loop-1.b loop-2.b quay-2",
            "t.lua: 1500 nil",
            "t.lua: false no section fits `shed-*`",
            "t.lua: false no kind of name `shed`",
            "t.lua: false no section fits `shed-*`",
            "1 t.lua: yard-1 yard-1.b",
        ]
    );
}

#[test]
fn patterns_that_fit_nothing_are_found_before_the_script_runs() {
    let text = "on('arrived', { train = 'H*', place = 'sheds-*' }, print)\nlocal t = free{ 'yrd-*' }\nshows('S9')\nset_route('S1-S9')";
    let (_, errors) = Host::with_budget(&[("t.lua", text)], &crate::host::patient());
    assert_eq!(
        crate::host::shown(&errors),
        [
            "t.lua:1: no section fits `sheds-*`",
            "t.lua:2: no section fits `yrd-*`",
            "t.lua:3: no signal `S9`; hint: did you mean `S3`?",
            "t.lua:4: no route `S1-S9`; hint: did you mean `S1-S3`?",
        ]
    );
}

#[test]
fn routes_turnouts_sections_and_signals_are_asked_for_and_answered() {
    let text = r#"
        task("t", function()
            care("Heron")
            set_route("S1-S3")
            say("set")
            say(try(throw, "W1", "diverging"))
            limit("Heron", 5)
            limit("Heron")
            out_of_service("quay-2", "rail loose")
            keep_at_danger("S1")
            let_clear("S1")
            say(try(let_clear, "S1"))
            say(try(in_service, "quay-1"))
            in_service("quay-2")
            cancel_route("S1")
            throw("W1", "sideways")
        end)
    "#;
    let mut host = Host::new(&[("t.lua", text)]);
    host.run_until(1.0);
    let mut asked = Vec::new();
    while !host.asked.is_empty() && asked.len() < 20 {
        asked.extend(host.wishes());
        match host.wishes()[0].as_str() {
            "throw W1 Diverging" => host.refuse("`Heron` stands on it"),
            "out of service quay-2: rail loose" => {
                let fact = Fact::Withdrawn { section: host.section("quay-2"), because: "rail loose".to_owned() };
                let (ticket, _): (Ticket, _) = host.asked.remove(0);
                host.tell(vec![fact, Fact::Answered { ticket, answer: Answer::Accepted }]);
            }
            _ => host.accept(),
        }
    }
    let wishes = [
        "set S1 to S3",
        "throw W1 Diverging",
        "limit Heron Some(5)",
        "limit Heron None",
        "out of service quay-2: rail loose",
        "at danger S1: true",
        "at danger S1: false",
        "in service quay-2",
        "cancel S1",
        "hold Heron: t.lua: task `t` ended: no way for a turnout to lie `sideways`",
    ];
    assert_eq!(asked, wishes);
    assert_eq!(
        host.said(),
        [
            "1 t.lua: set",
            "1 t.lua: false `Heron` stands on it",
            "1 t.lua: false this script does not keep `S1` at danger; hint: who does must let it clear",
            "1 t.lua: false this script did not take `quay-1` out of service; hint: who did must put it back",
            "1 t.lua:16: task `t` ended: no way for a turnout to lie `sideways`; in its care and now held: Heron",
        ]
    );
}

#[test]
fn functions_of_own_trains_and_accessories_are_switched() {
    let text = r#"
        task("t", function()
            care("Heron")
            set_function("Heron", 0, true)
            say(try(set_function, "Heron", 29, true))
            say(try(set_function, "Plover", 0, true))
            say(is_on("quay lamps"))
            switch("quay lamps", true)
            say(is_on("quay lamps"))
            say(try(switch, "quay lamp", true))
        end)
    "#;
    let mut host = Host::new(&[("t.lua", text)]);
    host.run_until(1.0);
    assert_eq!(host.wishes(), ["function 0 of Heron: true"]);
    host.accept();
    assert_eq!(host.wishes(), ["quay lamps: true"]);
    let (ticket, _): (Ticket, _) = host.asked.remove(0);
    let answered = Output::Fact(Fact::Answered { ticket, answer: Answer::Accepted });
    host.hear(&[], &[Output::Accessory { accessory: id(0), on: true }, answered]);
    assert_eq!(
        host.said(),
        [
            "1 t.lua: false `set_function` wants the number of a function from 0 to 28 here",
            "1 t.lua: false `Plover` is not in the care of this script; hint: take it with `care(\"Plover\")`",
            "1 t.lua: false",
            "1 t.lua: true",
            "1 t.lua: false no accessory `quay lamp`; hint: did you mean `quay lamps`?",
        ]
    );
}

#[test]
fn levers_and_push_buttons_are_heard_when_they_come_on_and_go_off() {
    let text = r#"
        say(reads("coal stage lever"), #names("input"))
        on("input_changed", function(e) say(e.input, e.on, reads(e.input), picture().inputs[e.input]) end)
        on("input_changed", { input = "tea *" }, function(e) if e.on then say("tea") end end)
        on("link_lost", function() say("lost", reads("coal stage lever"), picture().inputs["coal stage lever"]) end)
        task("t", function()
            wait_until(function() return reads("coal stage lever") end)
            say("the lever is over")
            say(wait_for("input_changed", { input = "coal stage lever" }, 5).on)
        end)
    "#;
    let mut host = Host::new(&[("t.lua", text)]);
    let (lever, bell) = (id(0), id(1));
    let is = |input, on| Fact::InputIs { input, on };
    let mut heard = |now: f64, facts: Vec<Fact>| {
        host.run_until(now);
        host.notices.clear();
        host.tell(facts);
        host.said()
    };
    assert_eq!(heard(1.0, vec![is(lever, Some(false))]), Vec::<String>::new(), "that it is off at first is no news");
    assert_eq!(
        heard(2.0, vec![is(lever, Some(true))]),
        ["2 t.lua: coal stage lever true true true", "2 t.lua: the lever is over"]
    );
    let press = vec![is(bell, Some(true)), is(bell, Some(false))];
    let pressed = ["3 t.lua: tea bell true false false", "3 t.lua: tea", "3 t.lua: tea bell false false false"];
    assert_eq!(heard(3.0, press), pressed, "a short press is heard as both, though it is over by then");
    let lost = vec![is(lever, None), Fact::LinkLost { link: id(0) }];
    assert_eq!(heard(4.0, lost), ["4 t.lua: lost nil nil"]);
    assert_eq!(heard(5.0, vec![is(lever, Some(true))]), Vec::<String>::new(), "it is as it was");
    assert_eq!(heard(6.0, vec![is(lever, None), is(lever, Some(false))]).len(), 2, "it was let go meanwhile");
}

#[test]
fn a_train_is_sent_through_named_places_without_stopping_there() {
    let text =
        r#"task("t", function() say(send("Heron", "quay-2", { via = { "loop-2", "yard-1" }, within = 600 })) end)"#;
    let mut host = Host::new(&[("t.lua", text)]);
    let heron = host.train("Heron");
    host.run_until(1.0);
    assert_eq!(host.wishes(), ["Heron to loop-2"]);
    host.accept();
    let granted = |host: &Host, names: &[&str]| Fact::RouteSet {
        train: heron,
        sections: names.iter().map(|name| host.section(name)).collect(),
    };
    host.tell(vec![host.departed("Heron", "loop-2"), granted(&host, &["loop-1"])]);
    assert_eq!(host.wishes(), Vec::<String>::new());
    host.tell(vec![granted(&host, &["loop-2"])]);
    assert_eq!(host.wishes(), ["Heron to yard-1"], "it is sent on as soon as it has the track there");
    host.accept();
    host.tell(vec![host.departed("Heron", "yard-1")]);
    host.tell(vec![host.arrived("Heron", "yard-1")]);
    assert_eq!(host.wishes(), ["Heron to quay-2"], "one that was stopped there is sent on, too");
    assert_eq!(host.said(), Vec::<String>::new());
    host.accept();
    host.tell(vec![host.departed("Heron", "quay-2"), host.arrived("Heron", "quay-2")]);
    assert_eq!(host.said(), ["1 t.lua: true"]);
}

#[test]
fn a_train_goes_there_and_comes_back_to_where_it_stood() {
    let text = r#"
        task("t", function() wait(1) there_and_back("Heron", "loop-1", 8) say("home") end)
        task("u", function() wait(1) there_and_back("Plover", "loop-2") end)
    "#;
    let mut host = Host::new(&[("t.lua", text)]);
    host.tell(vec![host.there("quay-1", "Heron")]);
    host.run_until(1.0);
    let lost = "1 t.lua:3: task `u` ended: nobody knows where `Plover` stands";
    assert_eq!(host.said(), [lost]);
    assert_eq!(host.wishes(), ["Heron to loop-1"]);
    host.accept();
    host.tell(vec![host.arrived("Heron", "loop-1")]);
    host.run_until(8.9);
    assert_eq!(host.wishes(), Vec::<String>::new());
    host.run_until(9.0);
    assert_eq!(host.wishes(), ["Heron to quay-1"]);
    host.accept();
    host.tell(vec![host.arrived("Heron", "quay-1")]);
    assert_eq!(host.said()[1..], ["9 t.lua: home"]);
}
