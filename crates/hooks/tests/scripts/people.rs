//! Scripts and people: questions, buttons, the layout clock.

use hooks::{ClockTime, NoticeKind};

use crate::host::Host;

#[test]
fn a_question_waits_for_one_of_its_answers() {
    let text = r#"
        task("t", function()
            local answer = ask("Is the coal loaded?", { "yes", "no" })
            say("they say", answer)
            say(ask("And now?", { "yes" }, 30))
        end)
    "#;
    let mut host = Host::new(&[("t.lua", text)]);
    host.run_until(1.0);
    let [question] = &host.scripts.questions()[..] else { panic!("no question") };
    assert_eq!((question.text.as_str(), question.file.as_str()), ("Is the coal loaded?", "t.lua"));
    assert_eq!(question.answers, ["yes", "no"]);
    let number = question.number;
    let now = host.now;
    let wrong = host.scripts.answer(now, number, "perhaps").unwrap_err();
    assert_eq!(wrong, "no answer `perhaps`; hint: choose one of `yes`, `no`");
    assert_eq!(host.scripts.answer(now, 77, "yes").unwrap_err(), "no question 77 stands open");
    host.scripts.answer(now, number, "no").unwrap();
    host.tell(Vec::new());
    let asks = "t.lua asks: Is the coal loaded? Answer it by `lineclear tell answer 1 \"yes\"` or `lineclear tell answer 1 \"no\"`";
    assert_eq!(host.said()[..2], [asks, "1 t.lua: they say no"]);
    assert!(host.scripts.answer(now, number, "no").is_err(), "it is answered already");
    host.run_until(40.0);
    assert_eq!(host.said()[3..], ["31 t.lua: nil"]);
    assert_eq!(host.scripts.questions(), []);
}

#[test]
fn a_task_that_ends_takes_its_question_along() {
    let text = r#"
        task("t", function() ask("Well?", { "yes" }) end)
        task("end", function() wait(5) local t = {} while true do t[#t + 1] = string.rep("x", 100000) .. #t end end)
    "#;
    let mut host = Host::new(&[("t.lua", text)]);
    host.run_until(1.0);
    assert_eq!(host.scripts.questions().len(), 1);
    host.run_until(5.0);
    assert_eq!(host.scripts.questions(), []);
}

#[test]
fn a_button_calls_its_hook() {
    let mut host = Host::new(&[("t.lua", r#"on("button", { button = "tea" }, function(e) say(e.button) end)"#)]);
    host.run_until(2.0);
    host.scripts.press(host.now, "coffee");
    host.scripts.press(host.now, "tea");
    host.tell(Vec::new());
    assert_eq!(host.said(), ["2 t.lua: tea"]);
}

#[test]
fn what_is_logged_is_no_line_for_everybody() {
    let mut host = Host::new(&[("t.lua", "log('quiet', 1) say('loud')")]);
    host.tell(Vec::new());
    let kinds: Vec<&NoticeKind> = host.notices.iter().map(|notice| &notice.kind).collect();
    assert_eq!(kinds, [&NoticeKind::Logged("quiet 1".to_owned()), &NoticeKind::Said("loud".to_owned())]);
}

#[test]
fn an_evening_by_the_layout_clock() {
    let text = r#"
        set_clock("18:00")
        start_clock(12)
        on("clock", { clock = "*:15" }, function(e) say("quarter past", e.clock) end)
        on("clock", { clock = "18:20" }, function(e) say("the hook at", e.clock) end)
        task("mail", function()
            wait_clock("18:10")
            say("it is", clock().shows, now())
            pause_clock()
            wait(30)
            start_clock()
            wait_clock("18:30")
            say("it is", clock().shows, clock().pace, clock().running)
        end)
    "#;
    let mut host = Host::new(&[("t.lua", text)]);
    host.run_until(300.0);
    // Ten minutes at twelve times life are fifty seconds.
    let said = host.said();
    let lines: Vec<(f64, &str)> =
        said.iter().map(|line| line.split_once(' ').map(|(at, rest)| (at.parse().unwrap(), rest)).unwrap()).collect();
    let expected = [
        (50.0, "t.lua: it is 18:10 50"),
        (105.0, "t.lua: quarter past 18:15"),
        (130.0, "t.lua: the hook at 18:20"),
        (180.0, "t.lua: it is 18:30 12 true"),
    ];
    assert_eq!(lines.len(), expected.len(), "{lines:?}");
    for ((at, line), (due, text)) in lines.iter().zip(expected) {
        assert!((at - due).abs() < 0.001, "{line} at {at}");
        assert!(line.starts_with(text.trim_end_matches("50")), "{line}");
    }
}

#[test]
fn a_person_turns_the_clock_and_who_waits_for_a_time_hears_of_it() {
    let text = r#"task("t", function() wait_clock("12:00") say("noon", clock().day) end)"#;
    let mut host = Host::new(&[("t.lua", text)]);
    host.run_until(10.0);
    assert_eq!(host.said(), Vec::<String>::new(), "it stands");
    host.scripts.turn_clock(host.now, |clock| {
        clock.set(signaller::Time::from_millis(10_000), ClockTime::read("12:30").unwrap());
    });
    host.tell(Vec::new());
    assert_eq!(host.said().len(), 1);
    assert!(host.said()[0].ends_with("t.lua: noon 0"), "{:?}", host.said());
}
