//! What is said of trains after the signaller was started again.

#![allow(clippy::unwrap_used, clippy::panic, clippy::expect_used)]

mod scene;

use std::sync::Arc;

use scene::{doubts_of, input, line, play, tags};
use signaller::{Conduct, Direction, Fact, Input, Memory, Output, Signaller, Time};
use track::{Id, Layout, SectionId, TrainId};

/// A signaller that remembers what the scene `before` left, and then hears `after`: as in other scenes, and `..` stands for
/// all sections not spoken of so far, which are free.
struct Restarted {
    signaller: Signaller,
    facts: Vec<(usize, Fact)>,
    heard: Vec<SectionId>,
    instants: usize,
}

impl Restarted {
    fn with(layout: Layout, memories: &[(TrainId, Memory)]) -> Self {
        Self::under(Conduct::Control, layout, memories)
    }

    fn under(conduct: Conduct, layout: Layout, memories: &[(TrainId, Memory)]) -> Self {
        let signaller = Signaller::new(Arc::new(layout), conduct);
        let mut restarted = Self { signaller, facts: Vec::new(), heard: Vec::new(), instants: 0 };
        let told =
            |(train, memory): &(TrainId, Memory)| Input::TrainRemembered { train: *train, memory: memory.clone() };
        restarted.step(&memories.iter().map(told).collect::<Vec<_>>());
        restarted
    }

    fn after(track: &str, before: &str) -> Self {
        let memories = play(line(track).build(), before).memories();
        Self::with(line(track).build(), &memories)
    }

    fn hear(mut self, after: &str) -> Self {
        for instant in after.lines().map(str::trim).filter(|line| !line.is_empty()) {
            let layout = Arc::clone(self.signaller.layout());
            let mut inputs = Vec::new();
            for word in instant.split_whitespace().filter(|word| *word != "..") {
                inputs.push(input(&layout, 1, word));
                if let Some(Input::SectionReported { section, .. }) = inputs.last() {
                    self.heard.push(*section);
                }
            }
            if instant.ends_with("..") {
                for section in layout.sections.ids().filter(|it| !layout.is_dark(*it) && !self.heard.contains(it)) {
                    inputs.push(Input::SectionReported { section, occupied: false });
                }
            }
            self.step(&inputs);
        }
        self
    }

    /// Says something, and lets the signaller make up its mind until the next instant.
    fn step(&mut self, inputs: &[Input]) {
        let (mut now, end) = (self.time(), Time::from_millis(10_000 * (self.instants as i64 + 1)));
        let mut inputs = inputs;
        loop {
            let step = self.signaller.step(now, inputs);
            let at = self.instants;
            self.facts.extend(step.outputs.iter().filter_map(|output| match output {
                Output::Fact(fact) => Some((at, fact.clone())),
                _ => None,
            }));
            let Some(next) = step.wake_at.filter(|&next| next > now && next < end) else { break };
            (now, inputs) = (next, &[Input::Woke]);
        }
        self.instants += 1;
    }

    fn time(&self) -> Time {
        Time::from_millis(10_000 * self.instants as i64)
    }

    fn tags(&self) -> String {
        tags(&self.signaller)
    }

    fn held(&self) -> Vec<&str> {
        let layout = self.signaller.layout();
        let held = layout.trains.iter().filter(|(train, _)| self.signaller.interlock().is_held(*train));
        held.map(|(_, train)| train.name.as_str()).collect()
    }
}

const TWO: &str = "Heron@a>a.b +a Plover@e>e.a +e \n +d \n -e";

#[test]
fn trains_that_nobody_touched_are_known_again_when_their_sections_are_heard() {
    let restarted = Restarted::after("a b c d e f g h", TWO);
    assert_eq!(restarted.held(), ["Heron", "Plover"]);
    let restarted = restarted.hear("+a +d ..");
    assert_eq!(restarted.tags(), "a: Heron, d: Plover");
    assert_eq!(restarted.held(), Vec::<&str>::new());
    assert_eq!(doubts_of(&restarted.facts), "");
}

#[test]
fn a_train_that_is_known_again_goes_on_the_way_it_went() {
    // People drive: where the signaller does, a train that it did not order to go is not taken to have gone by itself.
    let layout = || line("a b c d e f g h").build();
    let memories = play(layout(), "Heron@c>c.b +c \n +d -c").memories();
    let restarted = Restarted::under(Conduct::Observe, layout(), &memories).hear("+d .. \n +e \n -d");
    assert_eq!(restarted.tags(), "e: Heron");
    let memories = restarted.signaller.memories();
    assert_eq!(memories[0].1.nose, restarted.signaller.layout().end_named("e.b"));
}

#[test]
fn a_train_is_held_until_everything_around_it_was_heard() {
    let restarted = Restarted::after("a b c d e f g h", TWO).hear("+a +d -b");
    assert_eq!(restarted.held(), ["Heron", "Plover"]);
    assert!(restarted.tags().starts_with("a: Heron|?, "), "{}", restarted.tags());
    // Beyond `c` nothing matters to Heron.
    let restarted = restarted.hear("-c");
    assert_eq!(restarted.held(), ["Plover"]);
    let restarted = restarted.hear("-e -f");
    assert_eq!(restarted.held(), Vec::<&str>::new());
}

#[test]
fn nothing_moves_while_reports_of_how_things_stand_come_in_one_by_one() {
    let restarted = Restarted::after("a b c d e f g h", TWO).hear("-h \n -g \n +d \n -f \n +a \n -c \n -b \n -e");
    assert_eq!(restarted.tags(), "a: Heron, d: Plover");
    assert_eq!(doubts_of(&restarted.facts), "");
}

#[test]
fn a_train_that_was_moved_meanwhile_is_in_doubt_wherever_it_was_put() {
    let restarted = Restarted::after("a b c d e f g h", "Heron@a>a.b +a").hear("+h ..");
    assert_eq!(restarted.tags(), "h: Heron|?");
    assert_eq!(restarted.held(), ["Heron"]);
    let said = doubts_of(&restarted.facts);
    assert!(said.contains("`Heron` stands in `h` | `Heron` stands in `a` though nothing shows it there"), "{said}");
    assert!(said.contains("a person's word which train is in `h`"), "{said}");
    let restarted = restarted.hear("h:Heron");
    assert_eq!((restarted.tags().as_str(), restarted.held()), ("h: Heron", vec![]));
}

#[test]
fn trains_that_may_have_been_exchanged_are_in_doubt_together() {
    let restarted = Restarted::after("a b c d e f g h", TWO).hear("+b +g ..");
    assert_eq!(restarted.tags(), "b: Heron|Plover, g: Heron|Plover");
    assert_eq!(restarted.held(), ["Heron", "Plover"]);
    let restarted = restarted.hear("g:Heron");
    assert!(restarted.tags().contains("g: Heron"), "{}", restarted.tags());
    assert!(!restarted.tags().contains("b: Heron"), "{}", restarted.tags());
}

#[test]
fn a_train_near_which_something_changed_is_in_doubt_and_one_far_away_is_not() {
    let scene = "Heron@a>a.b +a Plover@c>c.a +c Dunlin@m>m.a +m";
    let track = "a b c d e f g h i j k l m n";
    let restarted = Restarted::after(track, scene).hear("+a +d +m ..");
    assert!(restarted.tags().ends_with("m: Dunlin"), "{}", restarted.tags());
    assert_eq!(restarted.held(), ["Heron", "Plover"]);
    assert!(restarted.tags().contains("a: Heron|") && restarted.tags().contains("d: Plover|"), "{}", restarted.tags());
}

#[test]
fn a_train_taken_off_meanwhile_is_lost_and_not_found_by_guessing() {
    let restarted = Restarted::after("a b c d e f g h", "Heron@a>a.b +a").hear("..");
    assert_eq!((restarted.tags().as_str(), restarted.held()), ("", vec!["Heron"]));
    let said = doubts_of(&restarted.facts);
    assert!(said.contains("`Heron` stands in `a` though nothing shows it there"), "{said}");
    let restarted = restarted.hear("Heron!");
    let said = doubts_of(&restarted.facts);
    assert!(said.ends_with("settled: a person said so\n"), "{said}");
    assert_eq!(restarted.held(), Vec::<&str>::new());
}

#[test]
fn a_train_at_a_joint_that_shows_in_one_of_its_sections_only_is_still_known() {
    let scene = "Heron@a>a.b +a \n +b";
    for (after, expect) in [("+a ..", "a: Heron"), ("+b ..", "b: Heron")] {
        let restarted = Restarted::after("a b c d e", scene).hear(after);
        assert_eq!((restarted.tags().as_str(), restarted.held()), (expect, vec![]), "{after}");
    }
}

#[test]
fn what_was_doubt_before_is_doubt_after() {
    let swap = "Heron@a>a.b +a Plover@z>z.a +z \n +b -a +y -z \n +n +s -b -y";
    let restarted = Restarted::after("a b (n s) y z", swap).hear("+n +s ..");
    assert!(restarted.tags().contains("n: ") && restarted.tags().contains("|"), "{}", restarted.tags());
    assert_eq!(restarted.held(), ["Heron", "Plover"]);
}

#[test]
fn a_train_that_was_put_down_after_the_start_counts_for_more_than_its_memory() {
    let restarted = Restarted::after("a b c d e f g h", TWO).hear("Heron@g>g.b +g \n -a +d ..");
    assert_eq!((restarted.tags().as_str(), restarted.held()), ("d: Plover, g: Heron", vec![]));
}

#[test]
fn a_train_is_remembered_as_it_was_remembered_until_it_is_known_again() {
    let layout = || line("a b c d e f g h").build();
    let memories = play(layout(), TWO).memories();
    let again = Restarted::with(layout(), &memories).signaller.memories();
    assert_eq!(memories, again);
}

#[test]
fn a_train_that_backs_is_remembered_backing() {
    let signaller = play(line("a b c d e").build(), "Heron@b>b.b +b \n +c -b \n +b -c \n +a -b");
    let [(_, memory)] = &signaller.memories()[..] else { panic!("one train") };
    assert_eq!((memory.leading, memory.sure), (Direction::Backward, true));
    let restarted = Restarted::with(line("a b c d e").build(), &signaller.memories());
    assert_eq!(restarted.signaller.memories(), signaller.memories());
}

#[test]
fn memories_that_make_no_sense_do_no_harm() {
    let layout = || line("a b c d e").build();
    let section = |name: &str| layout().section_named(name).unwrap();
    let heron = layout().train_named("Heron").unwrap();
    let on = |on: &[SectionId]| Memory {
        on: on.to_vec(),
        hidden: vec![],
        nose: None,
        leading: Direction::Forward,
        sure: true,
        stood: None,
    };
    let gone = on(&[SectionId::from_index(99)]);
    let apart = on(&[section("a"), section("c")]);
    for memory in [gone, on(&[])] {
        let restarted = Restarted::with(layout(), &[(heron, memory)]).hear("+a ..");
        assert_eq!((restarted.tags().as_str(), restarted.held()), ("a: ?", vec!["Heron"]));
        let restarted = restarted.hear("a:Heron");
        assert_eq!((restarted.tags().as_str(), restarted.held()), ("a: Heron", vec![]));
    }
    let apart = Restarted::with(layout(), &[(heron, apart)]).hear("+a ..");
    assert_eq!((apart.tags().as_str(), apart.held()), ("a: Heron|?", vec!["Heron"]));
    let nobody = TrainId::from_index(50);
    assert_eq!(Restarted::with(layout(), &[(nobody, on(&[section("a")]))]).hear("+a ..").tags(), "a: ?");
}

#[test]
fn a_train_remembered_in_two_places_is_in_doubt() {
    let layout = || line("a b c d e").build();
    let section = |name: &str| layout().section_named(name).unwrap();
    let heron = layout().train_named("Heron").unwrap();
    let on = |name| Memory {
        on: vec![section(name)],
        hidden: vec![],
        nose: None,
        leading: Direction::Forward,
        sure: true,
        stood: None,
    };
    let restarted = Restarted::with(layout(), &[(heron, on("a")), (heron, on("d"))]).hear("+d ..");
    assert_eq!((restarted.tags().as_str(), restarted.held()), ("d: Heron|?", vec!["Heron"]));
}

#[test]
fn two_trains_remembered_in_one_section_are_in_doubt() {
    let layout = || line("a b c d e").build();
    let section = |name: &str| layout().section_named(name).unwrap();
    let train = |name: &str| layout().train_named(name).unwrap();
    let on = |name| Memory {
        on: vec![section(name)],
        hidden: vec![],
        nose: None,
        leading: Direction::Forward,
        sure: true,
        stood: None,
    };
    let restarted = Restarted::with(layout(), &[(train("Heron"), on("a")), (train("Plover"), on("a"))]).hear("+a ..");
    assert_eq!((restarted.tags().as_str(), restarted.held()), ("a: Heron|Plover", vec!["Heron", "Plover"]));
}
