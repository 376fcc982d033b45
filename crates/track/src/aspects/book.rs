//! A checked aspect book.

use std::collections::BTreeMap;

use super::check::{Flaw, decide};
use super::meaning::{Aspect, Expect, Pass, SpeedClass};
use super::speeds::ClassSpeeds;
use super::state::{Next, Rule, State, places};
use crate::layout::Lie;

/// One aspect of a book.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AspectRow {
    /// Its name.
    pub name: String,
    /// Other names under which it is understood when it is reported.
    pub also_called: Vec<String>,
    /// How a train may pass it.
    pub pass: Pass,
    /// What it foretells of the next signal; nothing where it does not speak of that.
    pub expect: Option<Expect>,
    /// What it says, in plain words; may be empty.
    pub says: String,
    /// The lamps that are lit.
    pub lamps: Vec<String>,
    /// The lamps that flash.
    pub flashing: Vec<String>,
}

impl AspectRow {
    /// An aspect that lets trains pass so, and foretells that. One lamp, named like it.
    pub fn new(name: impl Into<String>, pass: Pass, expect: Option<Expect>) -> Self {
        let name = name.into();
        let lamps = vec![name.clone()];
        Self { name, also_called: Vec::new(), pass, expect, says: String::new(), lamps, flashing: Vec::new() }
    }
}

/// What signals of a book are for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// They say whether the track up to the next main signal may be entered.
    Main,
    /// They stand before a main signal and only foretell what it shows. They vouch for no track and end no stretch.
    Distant,
}

/// What is said of a book before it is checked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BookParts {
    /// Its name.
    pub title: String,
    /// The published rule it follows; may be empty.
    pub source: String,
    /// What its signals are for.
    pub role: Role,
    /// The book in whose words its rules speak of the next signal; its own where nothing.
    pub reads: Option<(String, Vec<AspectRow>)>,
    /// The class of speed of a diverging path of which nothing else is said.
    pub diverging: SpeedClass,
    /// What its classes of speed come to on the real railway, as far as it says that.
    pub speeds: ClassSpeeds,
    /// The aspects, the most restrictive first.
    pub aspects: Vec<AspectRow>,
    /// The rules, in no order.
    pub rules: Vec<Rule>,
}

/// The aspects that signals can show, and the rules that choose among them: for every state of the track ahead exactly
/// one.
///
/// What no book decides: where anything is not known good (a turnout that moves or does not report, a detector that was
/// never heard, a route that is not set) the signal shows [`Aspect::STOP`]. What a book's rules do not mention of
/// occupied track is [`Aspect::STOP`], too.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AspectBook {
    parts: BookParts,
    /// What is shown in every state.
    decisions: BTreeMap<State, Aspect>,
    /// The same by the states' places, for whoever is in a hurry.
    table: Vec<Aspect>,
}

impl AspectBook {
    /// Checks a book.
    ///
    /// # Errors
    ///
    /// All that is wrong with it.
    pub fn new(parts: BookParts) -> Result<Self, Vec<Flaw>> {
        let (decisions, flaws) = decide(&parts);
        if flaws.is_empty() { Ok(Self::of(parts, decisions)) } else { Err(flaws) }
    }

    fn of(parts: BookParts, decisions: BTreeMap<State, Aspect>) -> Self {
        let read = parts.reads.as_ref().map_or(&parts.aspects, |(_, rows)| rows).len();
        let mut table = vec![Aspect::STOP; places(read)];
        for (state, &shows) in &decisions {
            table[state.place(read)] = shows;
        }
        Self { parts, decisions, table }
    }

    /// Red, yellow, green: danger, the next signal may be at danger, the next signal is not. Common practice, no
    /// source.
    pub fn three_aspect() -> Self {
        let normal = Pass::At(SpeedClass::Normal);
        let (stop, clear) = (Some(Expect::Stop), Some(Expect::At(SpeedClass::Normal)));
        let [red, yellow, green] = [Aspect(0), Aspect(1), Aspect(2)];
        let ends = vec![Next::Shows(red), Next::BufferStop, Next::Edge];
        let better = vec![Next::Shows(yellow), Next::Shows(green)];
        let parts = BookParts {
            title: "three-aspect".to_owned(),
            source: "common practice, no source".to_owned(),
            role: Role::Main,
            reads: None,
            diverging: SpeedClass::Slow,
            speeds: ClassSpeeds::default(),
            aspects: vec![
                AspectRow { says: "stop".into(), ..AspectRow::new("red", Pass::Stop, None) },
                AspectRow { says: "the next signal may be at danger".into(), ..AspectRow::new("yellow", normal, stop) },
                AspectRow { says: "proceed".into(), ..AspectRow::new("green", normal, clear) },
            ],
            rules: vec![
                Rule { next: Some(ends), ..Rule::always(yellow) },
                Rule { next: Some(better), ..Rule::always(green) },
            ],
        };
        let (decisions, flaws) = decide(&parts);
        debug_assert!(flaws.is_empty(), "{flaws:?}");
        Self::of(parts, decisions)
    }

    /// What was said of it.
    pub fn parts(&self) -> &BookParts {
        &self.parts
    }

    /// The same with other words on what its classes of speed come to.
    pub fn with_speeds(mut self, speeds: ClassSpeeds) -> Self {
        self.parts.speeds = speeds;
        self
    }

    /// Its own name.
    pub fn title(&self) -> &str {
        &self.parts.title
    }

    /// What its signals are for.
    pub fn role(&self) -> Role {
        self.parts.role
    }

    /// An aspect; nothing where the book has no such.
    pub fn row(&self, aspect: Aspect) -> Option<&AspectRow> {
        self.parts.aspects.get(usize::from(aspect.0))
    }

    /// The aspect's name; nothing where the book has no such aspect.
    pub fn name(&self, aspect: Aspect) -> Option<&str> {
        self.row(aspect).map(|row| row.name.as_str())
    }

    /// How a train may pass it; not at all where the book has no such aspect.
    pub fn pass(&self, aspect: Aspect) -> Pass {
        self.row(aspect).map_or(Pass::Stop, |row| row.pass)
    }

    /// The aspect of that name, or that is also called so.
    pub fn named(&self, name: &str) -> Option<Aspect> {
        let mut rows = self.aspects();
        rows.find(|(_, row)| row.name == name || row.also_called.iter().any(|other| other == name)).map(|(it, _)| it)
    }

    /// All aspects, the most restrictive first.
    pub fn aspects(&self) -> impl Iterator<Item = (Aspect, &AspectRow)> + '_ {
        self.parts.aspects.iter().enumerate().map(|(row, it)| (Aspect(row as u8), it))
    }

    /// What is shown in a state. What cannot be is danger.
    pub fn shows(&self, state: &State) -> Aspect {
        self.table.get(state.place(self.read_rows().len())).copied().unwrap_or(Aspect::STOP)
    }

    /// Every state with what is shown in it.
    pub fn decisions(&self) -> impl Iterator<Item = (&State, Aspect)> + '_ {
        self.decisions.iter().map(|(state, &aspect)| (state, aspect))
    }

    /// The class of speed of a path: the lowest that was said of it, else by how it lies.
    pub fn speed_of(&self, path: Lie, said: Option<SpeedClass>) -> SpeedClass {
        said.unwrap_or(match path {
            Lie::Straight => SpeedClass::Normal,
            Lie::Diverging => self.parts.diverging,
        })
    }

    /// Whether a rule calls trains on.
    pub fn can_call_on(&self) -> bool {
        self.parts.rules.iter().any(|rule| rule.occupied && rule.called_on == Some(true))
    }

    /// Whether any rule asks if a train is right before the signal.
    pub fn asks_for_approach(&self) -> bool {
        self.parts.rules.iter().any(|rule| rule.approached.is_some())
    }

    /// Whether any rule counts stretches.
    pub fn counts_stretches(&self) -> bool {
        self.parts.rules.iter().any(|rule| rule.clear.is_some())
    }

    /// The aspects in whose words the rules speak of the next signal.
    pub fn read_rows(&self) -> &[AspectRow] {
        self.parts.reads.as_ref().map_or(&self.parts.aspects, |(_, rows)| rows)
    }

    /// What an aspect of another book is to this one's rules: the same where that is the book it reads, else the least
    /// restrictive aspect it knows that neither lets a train pass faster nor foretells more.
    pub fn understands(&self, other: &Self, aspect: Aspect) -> Aspect {
        let read = self.parts.reads.as_ref().map_or(&self.parts.title, |(title, _)| title);
        let Some(shown) = other.row(aspect) else { return Aspect::STOP };
        if *read == other.parts.title {
            return aspect;
        }
        let expects = shown.expect.unwrap_or(Expect::Stop);
        let is_no_better =
            |row: &AspectRow| row.pass <= shown.pass && row.expect.is_none_or(|expect| expect <= expects);
        self.read_rows().iter().rposition(is_no_better).map_or(Aspect::STOP, |row| Aspect(row as u8))
    }
}
