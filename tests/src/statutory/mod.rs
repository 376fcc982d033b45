//! Statutory tables and rules as scenarios: what a published rule says of signals, tried on a layout with a shipped
//! book.
//!
//! The tables are facts of the sources named beside each test. Scenarios are about what detectors and turnouts report;
//! people drive, unless a test says that the signaller does.

mod de;
mod uk;
mod us;
mod us_levers;
mod us_locking;
mod us_release;

use std::sync::Arc;

use layout::Loaded;
use signaller::{Answer, Aspect, Conduct, Fact, Input, Output, Request, Signaller, Ticket, Time};
use track::{Layout, Lie, SignalId};

/// A layout that is worked by reports.
struct Scene {
    layout: Arc<Layout>,
    signaller: Signaller,
    now: Time,
    /// All that was said so far and is no aspect.
    facts: Vec<Fact>,
    throws: Vec<String>,
}

impl Scene {
    /// Everything is reported free and every turnout that reports straight.
    fn new(text: &str, conduct: Conduct) -> Self {
        let mut scene = Self::unheard(text, conduct);
        let layout = Arc::clone(&scene.layout);
        let detected = layout.sections.ids().filter(|&section| !layout.is_dark(section));
        let mut inputs: Vec<Input> =
            detected.map(|section| Input::SectionReported { section, occupied: false }).collect();
        let reported = layout.turnouts.iter().filter(|(_, turnout)| turnout.reported);
        inputs.extend(reported.map(|(turnout, _)| Input::TurnoutReported { turnout, lie: Some(Lie::Straight) }));
        scene.hear(&inputs);
        // Where reports are conditioned, some are believed a little later only.
        scene.hear(&[Input::Woke]);
        scene.hear(&[Input::Woke]);
        scene
    }

    /// Nothing was reported yet.
    fn unheard(text: &str, conduct: Conduct) -> Self {
        let (track, trains) = text.split_once("--- trains.toml\n").unwrap_or((text, ""));
        let Loaded { layout, .. } = layout::load(|name| match name {
            "layout.toml" => Ok(Some(track.as_bytes().to_vec())),
            "trains.toml" if !trains.is_empty() => Ok(Some(trains.as_bytes().to_vec())),
            _ => Ok(None),
        })
        .unwrap_or_else(|refused| panic!("{refused}"));
        let layout = Arc::new(layout);
        let signaller = Signaller::new(Arc::clone(&layout), conduct);
        Self { layout, signaller, now: Time::ZERO, facts: Vec::new(), throws: Vec::new() }
    }

    /// Takes in what was heard a second later.
    fn hear(&mut self, inputs: &[Input]) {
        self.now = self.now + std::time::Duration::from_secs(1);
        let step = self.signaller.step(self.now, inputs);
        for output in step.outputs {
            match output {
                Output::Fact(fact) => self.facts.push(fact.clone()),
                Output::Throw { turnout, lie } => {
                    self.throws.push(format!("{} {lie:?}", self.layout.turnouts[*turnout].name));
                }
                _ => {}
            }
        }
    }

    fn section(&mut self, name: &str, occupied: bool) {
        let section = self.layout.section_named(name).unwrap();
        self.hear(&[Input::SectionReported { section, occupied }]);
    }

    fn turnout(&mut self, name: &str, lie: Option<Lie>) {
        let turnout = self.layout.turnout_named(name).unwrap();
        self.hear(&[Input::TurnoutReported { turnout, lie }]);
    }

    /// Asks for something; what was answered.
    fn ask(&mut self, request: Request) -> Answer {
        let ticket = Ticket(self.facts.len() as u64 + 1);
        self.hear(&[Input::Requested { ticket, request }]);
        let mut answers = self.facts.iter().rev().filter_map(|fact| match fact {
            Fact::Answered { ticket: of, answer } if *of == ticket => Some(answer.clone()),
            _ => None,
        });
        answers.next().expect("an answer")
    }

    fn signal(&self, name: &str) -> SignalId {
        self.layout.signal_named(name).unwrap()
    }

    fn shows(&self, signal: &str) -> &str {
        let signal = self.signal(signal);
        self.layout.book_of(signal).name(self.signaller.signals().shows(signal)).unwrap()
    }

    fn is_at_stop(&self, signal: &str) -> bool {
        self.signaller.signals().shows(self.signal(signal)) == Aspect::STOP
    }

    /// Whether it lets trains run otherwise than by sight.
    fn is_proceed(&self, signal: &str) -> bool {
        let signal = self.signal(signal);
        self.layout.book_of(signal).pass(self.signaller.signals().shows(signal)).is_proceed()
    }
}

/// Plain track `a b c ..` between buffer stops, with signals `S1 S2 ..` where a train leaves each section but the last
/// towards the next.
fn line(book: &str, sections: usize) -> String {
    let names: Vec<char> = ('a'..='z').take(sections).collect();
    let mut text = head(book);
    for name in &names {
        text += &format!("[[section]]\nname = \"{name}\"\n");
    }
    for (place, pair) in names.windows(2).enumerate() {
        text += &format!("[[joint]]\nends = [\"{}.b\", \"{}.a\"]\n", pair[0], pair[1]);
        text += &format!("[[signal]]\nname = \"S{}\"\nat = \"{}.b\"\n", place + 1, pair[0]);
    }
    text + &format!("[[buffer-stop]]\nat = [\"a.a\", \"{}.b\"]\n", names[sections - 1])
}

fn head(book: &str) -> String {
    format!("[layout]\nname = \"statutory\"\nscale = \"H0\"\naspects = \"{book}\"\n")
}

/// A section with a turnout that reports: from `toe` to `one` when it lies straight, to `two` when it diverges.
fn throat(name: &str, turnout: &str) -> String {
    format!(
        "[[turnout]]\nname = \"{turnout}\"\nreported = true\n[[section]]\nname = \"{name}\"\nways = [\
         {{ from = \"toe\", to = \"one\", length = 240, needs = {{ {turnout} = \"straight\" }} }}, \
         {{ from = \"toe\", to = \"two\", length = 240, needs = {{ {turnout} = \"diverging\" }} }}]\n"
    )
}

fn sections(names: &[&str]) -> String {
    names.iter().map(|name| format!("[[section]]\nname = \"{name}\"\nlength = 1000\n")).collect()
}

fn joints(pairs: &[(&str, &str)]) -> String {
    pairs.iter().map(|(one, other)| format!("[[joint]]\nends = [\"{one}\", \"{other}\"]\n")).collect()
}

fn buffer_stops(ends: &[&str]) -> String {
    format!("[[buffer-stop]]\nat = {ends:?}\n")
}

fn signals(signals: &[(&str, &str)]) -> String {
    signals.iter().map(|(name, at)| format!("[[signal]]\nname = \"{name}\"\nat = \"{at}\"\n")).collect()
}

/// The rows of a table, without its heading.
fn table(text: &str) -> Vec<Vec<&str>> {
    text.lines().skip(1).map(|row| row.split(',').collect()).collect()
}
