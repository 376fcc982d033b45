//! Whatever is heard and asked, in whatever order: what is said stays consistent.

#![allow(clippy::unwrap_used, clippy::panic, clippy::expect_used)]

mod scene;

use std::collections::BTreeMap;
use std::sync::Arc;

use scene::{TRAINS, line};
use signaller::interlock::HoldKind;
use signaller::{
    Answer, Conduct, Direction, DoubtId, Fact, Input, Memory, Output, Request, Signaller, Tag, Ticket, Time,
};
use track::{Id, Layout, Length, SectionId, TrainId, Vehicle};

/// A small generator (xorshift), so that a seed tells everything.
struct Dice(u64);

impl Dice {
    fn below(&mut self, bound: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % bound as u64) as usize
    }

    fn one_of<T: Copy>(&mut self, all: &[T]) -> T {
        all[self.below(all.len())]
    }
}

fn layout(dice: &mut Dice) -> Layout {
    let text = dice.one_of(&["a b c d e", "a b (n s) y z", "a *d b c", "a b (m n) c (p q) x y"]);
    let mut layout = line(text).build();
    for name in TRAINS {
        let id = layout.train_named(name).unwrap();
        let blind = dice.below(3) == 0;
        layout.trains[id].vehicles = (0..3)
            .map(|at| Vehicle {
                name: format!("{name} {at}"),
                length: Length::from_mm(100),
                detectable: (!blind || at == 0).then_some((Length::from_mm(10), Length::from_mm(90))),
                axles: Vec::new(),
            })
            .collect();
    }
    layout
}

fn request(dice: &mut Dice, layout: &Layout) -> Request {
    let trains: Vec<TrainId> = layout.trains.ids().collect();
    let sections: Vec<SectionId> = layout.sections.ids().collect();
    let (train, other, section) = (dice.one_of(&trains), dice.one_of(&trains), dice.one_of(&sections));
    match dice.below(8) {
        0..=2 => {
            let ends = &layout.sections[section].ends;
            let nose = (dice.below(3) > 0).then(|| dice.one_of(ends));
            Request::Place { train, on: vec![section], nose }
        }
        3 => Request::Lift { train },
        4 | 5 => Request::Identify { section, train },
        6 => Request::Couple { train, with: other },
        _ => Request::Uncouple { train, keep: dice.below(4), rest: other },
    }
}

#[derive(Default)]
struct Listener {
    /// Some doubt is about more possibilities than are followed: then it says something of every section near it.
    has_too_many_to_follow: bool,
    open: BTreeMap<DoubtId, Vec<TrainId>>,
    sections: BTreeMap<DoubtId, Vec<SectionId>>,
}

impl Listener {
    /// Whether some doubt is about another train in a section beside this one.
    fn tells_of_another_beside(&self, layout: &Layout, section: SectionId, train: TrainId) -> bool {
        let met = layout.sections[section].ends.iter().flat_map(|&end| &layout.ends[end].meets);
        let beside: Vec<SectionId> = met.map(|&end| layout.ends[end].section).collect();
        self.open.iter().any(|(doubt, named)| {
            named.iter().any(|&other| other != train) && self.sections[doubt].iter().any(|it| beside.contains(it))
        })
    }

    fn hear(&mut self, outputs: &[Output]) {
        for output in outputs {
            match output {
                Output::Fact(Fact::DoubtRaised { doubt, about }) => {
                    assert!(!about.alternatives.is_empty() && !about.settled_by.is_empty(), "{about:?}");
                    assert!(about.alternatives.len() <= 6, "{about:?}");
                    self.has_too_many_to_follow |=
                        about.alternatives.iter().any(|it| it.starts_with("something else: there was too much"));
                    self.open.insert(*doubt, about.trains.clone());
                    self.sections.insert(*doubt, about.sections.clone());
                }
                Output::Fact(Fact::DoubtCleared { doubt, by }) => {
                    assert!(self.open.remove(doubt).is_some(), "{doubt:?} was not open");
                    self.sections.remove(doubt);
                    assert!(!by.is_empty());
                }
                _ => {}
            }
        }
    }
}

/// What must hold after every step.
fn look(signaller: &Signaller, listener: &Listener) {
    let layout = signaller.layout();
    for section in layout.sections.ids() {
        match signaller.identity().tag(section) {
            // In a dark section several trains may be at once, each of them for sure.
            Tag::Doubt(trains) if !layout.is_dark(section) => {
                let told = listener.has_too_many_to_follow
                    || listener.open.values().any(|named| named.iter().any(|train| trains.contains(train)));
                let is_pending =
                    |train: &TrainId| signaller.interlock().hold_kinds(*train).any(|kind| kind == HoldKind::Remembered);
                let pending = trains.iter().any(is_pending);
                // One train alone, and only not sure that it is still there: people were told that the power is off, that a train near by
                // does not answer, or that one beside it may be lost from sight.
                let is_stale = trains.len() == 1
                    && (signaller.identity().is_frozen(section)
                        || listener.tells_of_another_beside(layout, section, trains[0])
                        || layout.trains.ids().any(|train| {
                            signaller.interlock().hold_kinds(train).any(|kind| kind == HoldKind::NoAnswer)
                        }));
                assert!(told || pending || is_stale, "nobody says that {trains:?} are in doubt in {section:?}");
            }
            Tag::Unexplained if signaller.identity().is_reported(section) == Some(true) => {
                let told = listener.sections.values().any(|named| named.contains(&section));
                assert!(told, "nobody says that {section:?} is unexplained");
            }
            _ => {}
        }
    }
    let sections = listener.sections.iter().filter(|(doubt, _)| listener.open[doubt].is_empty());
    for (_, section) in sections {
        assert_eq!(signaller.identity().tag(section[0]), Tag::Unexplained);
    }
}

fn run(seed: u64) {
    let mut dice = Dice(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1);
    let layout = Arc::new(layout(&mut dice));
    let detected: Vec<SectionId> = layout.sections.ids().filter(|&section| !layout.is_dark(section)).collect();
    let conduct = dice.one_of(&[Conduct::Observe, Conduct::Control]);
    let mut signaller = Signaller::new(Arc::clone(&layout), conduct);
    // Hears the same, and is taken down in a snapshot and restored again and again.
    let mut twin = Signaller::new(Arc::clone(&layout), conduct);
    let mut listener = Listener::default();
    let mut now = Time::ZERO;
    let mut inputs: Vec<Input> = Vec::new();
    for train in layout.trains.ids() {
        let on = vec![SectionId::from_index(dice.below(layout.sections.len()))];
        let sure = dice.below(4) > 0;
        let memory = Memory { on, nose: None, leading: Direction::Forward, hidden: Vec::new(), sure, stood: None };
        // Where people drive nothing tells which trains are held because they were remembered.
        if conduct == Conduct::Control && dice.below(3) == 0 {
            inputs.push(Input::TrainRemembered { train, memory });
        }
    }
    for at in 0..80 {
        for _ in 0..1 + dice.below(3) {
            let section = dice.one_of(&detected);
            match dice.below(6) {
                0 => {
                    let request = request(&mut dice, &layout);
                    inputs.push(Input::Requested { ticket: Ticket(at), request });
                }
                _ => inputs.push(Input::SectionReported { section, occupied: dice.below(2) == 0 }),
            }
        }
        if (at + seed).is_multiple_of(6) {
            let snapshot = twin.snapshot();
            twin = Signaller::restore(Arc::clone(&layout), &snapshot).unwrap();
            assert!(twin.snapshot() == snapshot, "it is taken down otherwise once it is restored");
        }
        let step = signaller.step(now, &inputs);
        let again = twin.step(now, &inputs);
        assert_eq!((again.outputs, again.wake_at), (step.outputs, step.wake_at), "a restored one says something else");
        let accepted = Output::Fact(Fact::Answered { ticket: Ticket(at), answer: Answer::Accepted });
        let is_accepted = step.outputs.contains(&accepted);
        listener.hear(step.outputs);
        look(&signaller, &listener);
        if let ([Input::Requested { request: Request::Identify { section, train }, .. }], true) =
            (&inputs[..], is_accepted)
        {
            let holds = signaller.identity().holders(*section);
            assert!(holds.contains(train), "{train:?} was said to be in {section:?}, where {holds:?} are");
        }
        inputs.clear();
        now = now + std::time::Duration::from_millis(200 + dice.below(4000) as u64);
    }
    let memories = signaller.memories();
    let mut next = Signaller::new(Arc::clone(&layout), conduct);
    let told = memories.iter().map(|(train, memory)| Input::TrainRemembered { train: *train, memory: memory.clone() });
    next.step(Time::ZERO, &told.collect::<Vec<_>>());
    assert_eq!(next.memories().len(), memories.len(), "a memory was refused");
}

#[test]
fn whatever_is_heard_and_asked_what_is_said_of_trains_and_doubts_fits_together() {
    for seed in 1..=40 {
        let done = std::panic::catch_unwind(|| run(seed));
        assert!(done.is_ok(), "seed {seed}");
    }
}
