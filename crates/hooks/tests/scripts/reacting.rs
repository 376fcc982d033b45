//! Scripts that wait for things and react to them, and the order in which they do.

use crate::host::Host;
use signaller::{Fact, Tag};

#[test]
fn hooks_hear_of_what_they_asked_for() {
    let text = r#"
        on("arrived", { train = "Heron" }, function(event) say(event.what, event.train, event.place, event.section) end)
        on("departed", { section = { "quay-2", "loop-1" } }, function(event) say(event.train, "leaves for", event.place) end)
        on("tagged", function(event) say(event.section, event.how, event.train) end)
        on("tagged", { train = "Dunlin" }, function(event) say("perhaps Dunlin in", event.section) end)
        on("waiting", function(event) say(event.train, "waits:", event.reason) end)
        on("held", function(event) say(event.train, "held:", event.reason) end)
        on("hold_lifted", function(event) say(event.train, "free again at", event.time) end)
        on("route_set", { section = "loop-2" }, function(event) say(table.concat(event.sections, " ")) end)
        on("section_released", function(event) say(event.train, "cleared", event.section) end)
    "#;
    let mut host = Host::new(&[("h.lua", text)]);
    let (heron, plover, dunlin) = (host.train("Heron"), host.train("Plover"), host.train("Dunlin"));
    let (quay, loop_2) = (host.section("quay-1"), host.section("loop-2"));
    host.run_until(2.5);
    let facts = vec![
        host.arrived("Heron", "quay-1.b"),
        host.arrived("Plover", "quay-1.b"),
        host.departed("Heron", "loop-1"),
        host.departed("Heron", "loop-2"),
        Fact::Tagged { section: quay, tag: Tag::Doubt([plover, dunlin].into_iter().collect()) },
        Fact::Tagged { section: loop_2, tag: Tag::Unexplained },
        Fact::Waiting { train: heron, reason: "the loop is taken".to_owned() },
        Fact::HoldSet { train: heron, reason: "derailed".to_owned() },
        Fact::HoldLifted { train: heron },
        Fact::RouteSet { train: heron, sections: vec![quay, loop_2] },
        Fact::RouteSet { train: heron, sections: vec![quay] },
        Fact::SectionReleased { train: heron, section: quay },
    ];
    host.tell(facts);
    assert_eq!(
        host.said(),
        [
            "arrived Heron quay-1.b quay-1",
            "Heron leaves for loop-1",
            "quay-1 doubt nil",
            "perhaps Dunlin in quay-1",
            "loop-2 unexplained nil",
            "Heron waits: the loop is taken",
            "Heron held: derailed",
            "Heron free again at 2.5",
            "quay-1 loop-2",
            "Heron cleared quay-1",
        ]
        .map(|line| format!("2.5 h.lua: {line}"))
    );
}

#[test]
fn a_hook_can_wait_and_send() {
    let text = r#"
        on("arrived", { train = "Plover", place = "yard-1" }, function()
            wait(5)
            send("Dunlin", "quay-2")
            say("Dunlin is there")
        end)
    "#;
    let mut host = Host::new(&[("h.lua", text)]);
    let facts = vec![host.arrived("Plover", "yard-1")];
    host.tell(facts);
    host.run_until(5.0);
    assert_eq!(host.wishes(), ["Dunlin to quay-2"]);
    host.accept();
    let facts = vec![host.arrived("Dunlin", "quay-2")];
    host.tell(facts);
    assert_eq!(host.said(), ["5 h.lua: Dunlin is there"]);
}

#[test]
fn a_task_waits_for_an_event_but_not_for_ever() {
    let text = r#"
        task("t", function()
            local event = wait_for("arrived", { train = { "Heron", "Plover" } })
            say(event.train, "at", event.place)
            say(wait_for("arrived", 30))
            say(wait_for("departed", { train = "Heron" }, 30))
        end)
    "#;
    let mut host = Host::new(&[("t.lua", text)]);
    host.run_until(1.0);
    let facts = vec![host.arrived("Dunlin", "quay-1"), host.arrived("Plover", "quay-2")];
    host.tell(facts);
    host.run_until(100.0);
    assert_eq!(host.said(), ["1 t.lua: Plover at quay-2", "31 t.lua: nil", "61 t.lua: nil"]);
}

#[test]
fn a_condition_is_looked_at_when_something_happens_and_as_time_passes() {
    let text = r#"
        task("a", function()
            say(wait_until(function() return free("quay-1") end))
            say(wait_until(function() return now() >= 20 end))
            say(wait_until(function() return false end, 7))
        end)
    "#;
    let mut host = Host::new(&[("t.lua", text)]);
    host.run_until(10.25);
    let facts = vec![host.free("quay-1")];
    host.tell(facts);
    host.run_until(60.0);
    assert_eq!(host.said(), ["10.25 t.lua: quay-1", "20.25 t.lua: true", "27.25 t.lua: false"]);
}

#[test]
fn the_picture_can_be_read() {
    let text = r#"
        task("t", function()
            wait(1)
            say(tag("quay-1")) say(tag("quay-2")) say(tag("loop-1")) say(tag("yard-1"))
            say(#where("Heron"), where("Heron")[1], where("Heron")[2])
            say(is_at("Heron", "quay-1"), is_at("Heron", "quay-1.b"), is_at("Heron", "loop-1.b"))
            say(free("quay-1"), free("loop-1"), free({ "quay-1", "loop-1.b" }))
            say(held("Heron"), waiting("Heron"), bound("Heron"), now())
        end)
    "#;
    let mut host = Host::new(&[("t.lua", text)]);
    let doubt = Tag::Doubt([host.train("Dunlin"), host.train("Plover")].into_iter().collect());
    let facts = vec![
        host.there("quay-1", "Heron"),
        host.there("yard-2", "Heron"),
        host.free("loop-1"),
        Fact::Tagged { section: host.section("quay-2"), tag: doubt },
        Fact::HoldSet { train: host.train("Heron"), reason: "tea".to_owned() },
    ];
    host.tell(facts);
    host.run_until(1.0);
    assert_eq!(
        host.said(),
        [
            "Heron sure",
            "Dunlin doubt",
            "nil free",
            "nil unknown",
            "2 quay-1 yard-2",
            "true true false",
            "nil loop-1 loop-1.b",
            "tea nil nil 1",
        ]
        .map(|line| format!("1 t.lua: {line}"))
    );
}

#[test]
fn everybody_has_their_turn_in_the_same_order_in_every_run() {
    let text = |name: &str| {
        format!(
            r#"
            on("arrived", function() say("{name} hook one") end)
            on("arrived", function() say("{name} hook two") end)
            task("a", function()
                task("c", function() wait(1) say("{name} c") end)
                wait(1)
                say("{name} a")
                wait_for("arrived")
                say("{name} a heard")
            end)
            task("b", function() wait(0.5) wait(0.5) say("{name} b") wait_for("arrived") say("{name} b heard") end)
            "#
        )
    };
    let run = || {
        // The files come in another order than their names'.
        let mut host = Host::new(&[("second.lua", &text("second")), ("first.lua", &text("first"))]);
        host.run_until(2.0);
        let facts = vec![host.arrived("Heron", "quay-1")];
        host.tell(facts);
        host.said()
    };
    let said = run();
    let expected = ["a", "b", "c"].map(|task| (1, task.to_owned()));
    let heard = ["hook one", "hook two", "a heard", "b heard"].map(|task| (2, task.to_owned()));
    let lines = |of: &[(u32, String)]| -> Vec<String> {
        let line = |name: &str, (at, what): &(u32, String)| format!("{at} {name}.lua: {name} {what}");
        ["first", "second"].iter().flat_map(|name| of.iter().map(move |each| line(name, each))).collect()
    };
    assert_eq!(said, [lines(&expected), lines(&heard)].concat());
    assert!((0..5).all(|_| run() == said));
}

#[test]
fn a_train_that_the_layout_does_not_describe_gets_a_name() {
    let text = r#"
        on("tagged", function(event) say(event.train) end)
        task("t", function() wait(1) send(next({ Wherry = true }), "quay-1") end)
    "#;
    let mut host = Host::new(&[("t.lua", text)]);
    let stranger = track::Id::from_index(host.layout.trains.len());
    host.scripts.name_train(stranger, "Wherry");
    host.tell(vec![Fact::Tagged { section: host.section("quay-1"), tag: Tag::Sure(stranger) }]);
    host.run_until(1.0);
    assert_eq!(host.said(), ["t.lua: Wherry"]);
    assert_eq!(host.asked.len(), 1);
}
