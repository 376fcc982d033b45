//! Scripts that send trains.

use crate::host::Host;
use hooks::FIRST_TICKET;
use signaller::Fact;

const SHUTTLE: &str = r#"
task("shuttle", function()
    while true do
        send("Heron", "loop-1")
        wait(10)
        send("Heron", "quay-1.b")
        wait(20)
    end
end)
"#;

#[test]
fn a_shuttle_goes_to_and_fro() {
    let mut host = Host::new(&[("shuttle.lua", SHUTTLE)]);
    assert_eq!(host.wishes(), Vec::<String>::new(), "nothing leaves before the first word");
    host.run_until(1.0);
    assert_eq!(host.wishes(), ["Heron to loop-1"]);
    assert!(host.asked[0].0.0 >= FIRST_TICKET);
    host.accept();
    let facts = vec![host.departed("Heron", "loop-1")];
    host.tell(facts);
    host.run_until(40.0);
    assert_eq!(host.scripts.next_wake(), None, "the script waits for the train, however long it takes");
    let facts = vec![host.arrived("Heron", "loop-1")];
    host.tell(facts);
    host.run_until(49.9);
    assert_eq!(host.wishes(), Vec::<String>::new());
    host.run_until(50.0);
    assert_eq!(host.wishes(), ["Heron to quay-1.b"]);
    host.accept();
    let facts = vec![host.arrived("Heron", "quay-1.b")];
    host.tell(facts);
    host.run_until(70.0);
    assert_eq!(host.wishes(), ["Heron to loop-1"]);
    assert_eq!(host.said(), Vec::<String>::new());
}

#[test]
fn a_refused_trip_ends_the_task_and_holds_its_train() {
    let mut host = Host::new(&[("shuttle.lua", SHUTTLE)]);
    host.run_until(1.0);
    host.refuse("no way from quay-1 to loop-1");
    let why = "shuttle.lua: task `shuttle` ended: no way from quay-1 to loop-1";
    assert_eq!(host.wishes(), [format!("hold Heron: {why}")]);
    assert_eq!(
        host.said(),
        ["1 shuttle.lua:4: task `shuttle` ended: no way from quay-1 to loop-1; in its care and now held: Heron"]
    );
    host.refuse("Heron is not on the track");
    assert_eq!(host.said()[1], "1 shuttle.lua: `Heron` could not be held after a failure: Heron is not on the track");
}

#[test]
fn a_trip_that_is_only_tried_tells_why_it_was_refused() {
    let text = r#"
        task("try", function()
            local ok, why = try_send("Heron", "loop-1")
            say(ok, why)
            say(try_send("Heron", "loop-2"))
        end)
    "#;
    let mut host = Host::new(&[("try.lua", text)]);
    host.run_until(1.0);
    host.refuse("the loop is closed");
    host.accept();
    let facts = vec![host.arrived("Heron", "loop-2")];
    host.tell(facts);
    assert_eq!(host.said(), ["1 try.lua: false the loop is closed", "1 try.lua: true"]);
}

#[test]
fn a_trip_that_takes_too_long_fails_and_the_train_is_held() {
    let text = r#"task("slow", function() send("Plover", "quay-2", 90) end)"#;
    let mut host = Host::new(&[("slow.lua", text)]);
    host.run_until(0.0);
    host.accept();
    host.run_until(100.0);
    let what = "task `slow` ended: `Plover` did not reach `quay-2` within 90 seconds";
    assert_eq!(host.said(), [format!("90 slow.lua:1: {what}; in its care and now held: Plover")]);
    assert_eq!(host.wishes(), [format!("hold Plover: slow.lua: {what}")]);
}

#[test]
fn a_train_that_a_person_sends_elsewhere_never_arrives_for_the_script() {
    let text = r#"task("t", function() local ok, why = try_send("Heron", "loop-1") say(ok, why) end)"#;
    let mut host = Host::new(&[("t.lua", text)]);
    host.run_until(0.0);
    let facts = vec![host.departed("Heron", "quay-2")];
    host.tell(facts);
    assert_eq!(host.said(), Vec::<String>::new(), "that was an older order");
    host.accept();
    let facts = vec![host.departed("Heron", "loop-1"), host.departed("Heron", "quay-2")];
    host.tell(facts);
    assert_eq!(host.said(), ["t.lua: false it was sent elsewhere"]);
}

#[test]
fn the_newer_trip_of_a_train_takes_the_place_of_the_older() {
    let text = r#"
        task("first", function() say("first", try_send("Heron", "loop-1")) end)
        task("second", function() wait(5) say("second", try_send("Heron", "loop-2")) end)
    "#;
    let mut host = Host::new(&[("t.lua", text)]);
    host.run_until(10.0);
    assert_eq!(host.wishes(), ["Heron to loop-1", "Heron to loop-2"]);
    host.accept();
    host.accept();
    let facts = vec![host.arrived("Heron", "loop-2")];
    host.tell(facts);
    assert_eq!(host.said(), ["5 t.lua: first false `Heron` was sent elsewhere", "10 t.lua: second true"]);
}

#[test]
fn a_stopped_train_gives_up_its_trip() {
    let text = r#"
        task("go", function() say(try_send("Heron", "loop-1")) say(bound("Heron")) end)
        task("stop", function() wait(5) stop("Heron") say("stopped") end)
    "#;
    let mut host = Host::new(&[("t.lua", text)]);
    host.run_until(0.0);
    host.accept();
    host.run_until(5.0);
    assert_eq!(host.wishes(), ["stop Heron"]);
    host.accept();
    assert_eq!(host.said(), ["5 t.lua: stopped", "5 t.lua: false `Heron` was told to stop", "5 t.lua: nil"]);
}

#[test]
fn trains_of_a_rotation_choose_different_free_tracks() {
    let text = r#"
        local yard = { "yard-1", "yard-2" }
        for _, train in { "Plover", "Dunlin", "Heron" } do
            task(train, function()
                local track = next_free(yard)
                say(train, "to", track)
                send(train, track)
            end)
        end
    "#;
    let mut host = Host::new(&[("yard.lua", text)]);
    host.run_until(3.0);
    assert_eq!(host.wishes(), Vec::<String>::new(), "of tracks of which nothing is known none is free");
    let facts = vec![host.free("yard-2"), host.free("yard-1")];
    host.tell(facts);
    assert_eq!(host.wishes(), ["Plover to yard-1", "Dunlin to yard-2"]);
    host.accept();
    host.accept();
    let facts = vec![host.there("yard-1", "Plover"), host.arrived("Plover", "yard-1")];
    host.tell(facts);
    let facts = vec![host.free("yard-1")];
    host.tell(facts);
    assert_eq!(host.wishes(), ["Heron to yard-1"]);
}

#[test]
fn a_wait_for_a_free_track_ends_when_time_is_up() {
    let text = r#"task("t", function() say(next_free({ "yard-1" }, 30)) end)"#;
    let mut host = Host::new(&[("t.lua", text)]);
    host.run_until(60.0);
    assert_eq!(host.said(), ["30 t.lua: false"]);
}

#[test]
fn a_train_in_the_care_of_one_script_is_not_touched_by_another() {
    let text = r#"
        task("thief", function()
            wait(1)
            for _, act in { send, try_send } do say(pcall(act, "Heron", "quay-2")) end
            say(pcall(hold, "Heron", "mine"))
            say(pcall(stop, "Heron"))
            say(pcall(care, "Heron"))
            say(pcall(let_go, "Heron"))
            say(pcall(stop, "Dunlin"))
            say(pcall(release, "Dunlin"))
        end)
    "#;
    let mut host = Host::new(&[("shuttle.lua", SHUTTLE), ("thief.lua", text)]);
    host.run_until(2.0);
    assert_eq!(host.wishes(), ["Heron to loop-1"]);
    let said = host.said();
    let theft = "1 thief.lua: false `Heron` is in the care of `shuttle.lua`; hint: it must be let go of there first";
    assert_eq!(said[..6], [theft; 6]);
    assert_eq!(
        said[6..],
        [
            "1 thief.lua: false `Dunlin` is not in the care of this script; hint: take it with `care(\"Dunlin\")`",
            "1 thief.lua: false `Dunlin` is not held by this script; hint: who held it must release it",
        ]
    );
}

#[test]
fn a_script_releases_only_the_hold_that_it_set() {
    let text = r#"
        care("Heron")
        task("t", function()
            hold("Heron", "tea break")
            say("held:", held("Heron"))
            wait(10)
            release("Heron")
            say("released", held("Heron"))
            wait(10)
            release("Heron")
        end)
    "#;
    let mut host = Host::new(&[("t.lua", text)]);
    let train = host.train("Heron");
    host.run_until(0.0);
    assert_eq!(host.wishes(), ["hold Heron: tea break"]);
    host.tell(vec![Fact::HoldSet { train, reason: "tea break".to_owned() }]);
    host.accept();
    host.run_until(10.0);
    assert_eq!(host.wishes(), ["release Heron"]);
    host.tell(vec![Fact::HoldLifted { train }]);
    host.accept();
    host.tell(vec![Fact::HoldSet { train, reason: "finger on the track".to_owned() }]);
    host.run_until(20.0);
    let what = "task `t` ended: `Heron` is not held by this script; hint: who held it must release it";
    assert_eq!(
        host.said(),
        ["t.lua: held: tea break".to_owned(), "10 t.lua: released nil".to_owned(), format!("20 t.lua:10: {what}"),]
    );
    assert_eq!(host.wishes(), Vec::<String>::new(), "the train is in the care of the script, not of the task");
}
