//! Scripts on a thread of their own, and scripts that are loaded anew.

use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex};

use hooks::{Apart, FIRST_TICKET, NoticeKind, ScriptWish, Scripts, Taken};
use signaller::{Answer, Board, Fact, Output, Request, Tag, Ticket, Time};

use crate::host::{Host, layout, patient, shown};

/// Scripts on a thread of their own that gets on only when it is let: each time it rings it waits.
struct Gated {
    apart: Apart,
    rung: Receiver<()>,
    go_on: Sender<()>,
    board: Board,
}

impl Gated {
    fn new(text: &str) -> Self {
        let layout = layout();
        let files = vec![("t.lua".to_owned(), text.to_owned())];
        let (scripts, errors) = Scripts::load(Arc::clone(&layout), files, &patient(), 7);
        assert_eq!(shown(&errors), Vec::<String>::new());
        let ((ring, rung), (go_on, gate)) = (channel(), channel());
        let gate: Mutex<Receiver<()>> = Mutex::new(gate);
        let apart = Apart::new(scripts, move || {
            // Once the test is over nobody rings or waits any more.
            let _ = ring.send(());
            let _ = gate.lock().unwrap().recv();
        });
        Self { apart: apart.unwrap(), rung, go_on, board: Board::new(layout) }
    }

    fn tell(&mut self, seconds: i64, facts: Vec<Fact>) {
        let outputs: Vec<Output> = facts.into_iter().map(Output::Fact).collect();
        let now = Time::from_millis(seconds * 1000);
        self.board.hear(now, &outputs);
        self.apart.tell(now, &[], &outputs, &self.board);
    }

    /// Lets the scripts work off the next letter.
    fn next(&self) -> Taken {
        self.rung.recv().unwrap();
        let taken = self.apart.take();
        self.go_on.send(()).unwrap();
        taken
    }
}

fn lines(taken: &Taken) -> Vec<String> {
    shown(&taken.notices)
}

#[test]
fn the_railway_goes_on_while_a_script_does_not() {
    let text = r#"
        local filled = 0
        on("section_filled", function() filled += 1 end)
        on("missed", function(e) say("missed", e.count > 10000, filled, tag("quay-1")) end)
        task("t", function() say("sent", try_send("Heron", "quay-1")) end)
    "#;
    let mut gated = Gated::new(text);
    let quay = gated.board.layout().section_named("quay-1").unwrap();
    let heron = gated.board.layout().train_named("Heron").unwrap();
    gated.tell(0, vec![Fact::Tagged { section: quay, tag: Tag::Free }]);
    gated.rung.recv().unwrap();
    let [(ticket, Request::Go { .. })] = gated.apart.take().requests[..] else { panic!("no trip") };
    // The scripts stand still; the railway does not.
    for second in 1..=20_000 {
        let tag = if second % 2 == 0 { Tag::Free } else { Tag::Sure(heron) };
        let mut facts = vec![Fact::Tagged { section: quay, tag }];
        if second == 5 {
            facts.push(Fact::Answered { ticket, answer: Answer::Accepted });
        }
        if second == 7 {
            facts.push(Fact::Arrived { train: heron, at: signaller::Destination::Section(quay) });
        }
        gated.tell(second, facts);
    }
    gated.tell(20_001, vec![Fact::Tagged { section: quay, tag: Tag::Sure(heron) }]);
    gated.go_on.send(()).unwrap();
    let taken = gated.next();
    assert_eq!(lines(&taken), ["t.lua: missed true 0 nil free", "t.lua: sent true"], "the trip is not lost");
}

#[test]
fn people_ask_the_scripts_and_are_told_what_came_of_it() {
    let text = r#"
        on("button", function(e) say("pressed", e.button) end)
        on("stop", function() say("good night") end)
    "#;
    let gated = Gated::new(text);
    let now = Time::from_millis(1000);
    let press = ScriptWish::Press { button: "tea".to_owned() };
    gated.apart.ask(now, Some(Ticket(1)), press);
    let taken = gated.next();
    assert_eq!((lines(&taken), taken.answers), (vec!["t.lua: pressed tea".to_owned()], vec![(Ticket(1), Ok(()))]));
    let answer = ScriptWish::Answer { question: 4, answer: "yes".to_owned() };
    gated.apart.ask(now, Some(Ticket(2)), answer);
    assert_eq!(gated.next().answers, [(Ticket(2), Err("no question 4 stands open".to_owned()))]);
    gated.apart.ask(now, Some(Ticket(3)), ScriptWish::StartClock(Some(1000.0)));
    assert!(gated.next().answers[0].1.is_err());
    gated.apart.ask(now, Some(Ticket(4)), ScriptWish::StartClock(Some(12.0)));
    assert_eq!(gated.next().answers, [(Ticket(4), Ok(()))]);
    assert_eq!(gated.apart.shown().clock.pace(), 12.0);
    gated.apart.ask(now, None, ScriptWish::End);
    assert_eq!(lines(&gated.next()), ["t.lua: good night"]);
}

#[test]
fn a_loop_that_waits_for_the_scripts_gets_the_same_as_one_that_runs_them_itself() {
    let text = r#"task("t", function() while true do wait(3) say(now()) try_send("Heron", "quay-1", 1) end end)"#;
    let mut host = Host::new(&[("t.lua", text)]);
    host.run_until(20.0);
    let (scripts, _) = Scripts::load(layout(), vec![("t.lua".to_owned(), text.to_owned())], &patient(), 7);
    let apart = Apart::new(scripts, || {}).unwrap();
    let board = Board::new(layout());
    let (mut said, mut requests) = (Vec::new(), Vec::new());
    while let Some(wake) = apart.take().next_wake.filter(|&wake| wake <= Time::from_millis(20_000)) {
        apart.tell(wake, &[], &[], &board);
        apart.keep_up();
        let taken = apart.take();
        said.extend(taken.notices);
        requests.extend(taken.requests);
    }
    assert!(!said.is_empty());
    assert_eq!(said, host.notices);
    assert_eq!(requests, host.asked);
}

const BEFORE: &str = r#"
    task("shuttle", function()
        send("Heron", "loop-1")
        say("the old one arrived")
    end)
    task("question", function() ask("Well?", { "yes" }) end)
    task("tea", function() care("Plover") hold("Plover", "tea") end)
"#;

fn reload(host: &mut Host, files: &[(&str, &str)]) -> Result<(), String> {
    let files = files.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect();
    let done = host.scripts.reload(host.now, files);
    host.notices.clear();
    done
}

#[test]
fn scripts_that_are_loaded_anew_go_on_where_the_railway_is() {
    let mut host = Host::new(&[("a.lua", BEFORE)]);
    host.run_until(1.0);
    assert_eq!(host.wishes(), ["Heron to loop-1", "hold Plover: tea"]);
    host.accept();
    let held = Fact::HoldSet { train: host.train("Plover"), reason: "tea".to_owned() };
    host.accept();
    host.tell(vec![host.departed("Heron", "loop-1"), host.free("loop-1"), held]);
    assert_eq!(host.scripts.questions().len(), 1);
    let after = r#"
        on("start", function() say("new", bound("Heron"), held("Plover"), free("loop-1")) end)
        on("arrived", function(e) say("the new one hears of", e.train) end)
        task("t", function() care("Plover") release("Plover") say("released") send("Heron", "quay-1") end)
    "#;
    reload(&mut host, &[("a.lua", after)]).unwrap();
    host.tell(Vec::new());
    host.tell(vec![host.arrived("Heron", "loop-1")]);
    assert_eq!(host.scripts.questions(), [], "nobody waits for that answer any more");
    assert_eq!(host.wishes(), ["release Plover"], "the train under way was not stopped");
    let ticket = host.asked[0].0;
    assert!(ticket.0 > FIRST_TICKET + 1, "no ticket is used twice");
    host.accept();
    assert_eq!(
        host.said(),
        [
            "1 scripts: loaded anew, 1 of them",
            "1 a.lua: new loop-1 tea nil",
            "1 a.lua: the new one hears of Heron",
            "1 a.lua: released"
        ]
    );
    assert_eq!(host.wishes(), ["Heron to quay-1"]);
}

#[test]
fn scripts_with_an_error_are_not_loaded_anew() {
    let mut host = Host::new(&[("a.lua", BEFORE)]);
    host.run_until(1.0);
    host.accept();
    let wrong = [("a.lua", "say('hello')"), ("b.lua", "send('Heron', 'quay-9')")];
    let why = reload(&mut host, &wrong).unwrap_err();
    assert_eq!(
        why,
        "the scripts before stay in service; b.lua:1: no section or stopping point `quay-9`; hint: did you mean `quay-2`?"
    );
    host.tell(vec![host.arrived("Heron", "loop-1")]);
    let told = host.said();
    let is_told = |kind: &NoticeKind| matches!(kind, NoticeKind::NotReloaded(errors) if errors.len() == 1);
    assert!(host.notices.iter().any(|notice| is_told(&notice.kind)), "{told:?}");
    assert_eq!(told.last().unwrap(), "1 a.lua: the old one arrived");
}

#[test]
fn a_hold_of_a_script_that_is_gone_is_nobodys_among_the_scripts() {
    let mut host = Host::new(&[("a.lua", BEFORE)]);
    host.run_until(1.0);
    let held = Fact::HoldSet { train: host.train("Plover"), reason: "tea".to_owned() };
    host.tell(vec![held]);
    let text = "task('t', function() care('Plover') say(try(release, 'Plover')) end)";
    reload(&mut host, &[("b.lua", text)]).unwrap();
    host.run_until(2.0);
    host.tell(Vec::new());
    let own = "`Plover` is not held by this script; hint: who held it must release it";
    assert_eq!(host.said().last().unwrap().split_once("b.lua: ").unwrap().1, format!("false {own}"));
}
