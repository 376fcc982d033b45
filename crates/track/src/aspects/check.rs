//! What must be true of a book: every state has exactly one aspect, none promises what the track does not keep, none is
//! never shown, and whoever sees one can tell which it is.

use std::collections::{BTreeMap, BTreeSet};

use super::book::{AspectRow, BookParts, Role};
use super::meaning::{Aspect, Expect, Pass, SpeedClass};
use super::state::{Ahead, MOST_CLEAR, Next, Rule, State, all};
use crate::layout::Lie;

/// Something wrong with a book. Rules and aspects are counted from 0 in the order they were given in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Flaw {
    /// It has no aspect, or more than can be told apart.
    Count,
    /// Its first aspect is not its most restrictive: stop, or for a distant signal the warning of a stop.
    FirstNotStop,
    /// An aspect stands behind one that is better.
    OutOfOrder(Aspect),
    /// Two rules hold in one state and show different aspects.
    Ambiguous {
        /// The one.
        one: usize,
        /// The other.
        other: usize,
        /// The state, in words.
        state: String,
    },
    /// No rule holds in a state.
    Missing {
        /// The state, in words.
        state: String,
        /// In how many other states the same is so.
        more: usize,
    },
    /// No state shows the aspect.
    NeverShown(Aspect),
    /// No state is such that the rule would hold.
    NeverHolds(usize),
    /// A rule shows an aspect that the next signal, or the path, does not keep.
    Promises {
        /// The rule.
        rule: usize,
        /// The state, in words.
        state: String,
        /// What is promised and not kept, in words.
        what: String,
    },
    /// A rule lets trains into occupied track by a signal that is absolute and at which nobody called a train on: there nothing
    /// but a stop is safe.
    LetsIntoOccupied(usize),
    /// Two aspects look alike.
    LooksAlike(Aspect, Aspect),
    /// Some aspects have lamps, and this one none.
    NoLamps(Aspect),
    /// The aspect shown while no train is near is better than the one shown when it has come.
    BetterFromAfar {
        /// The rule.
        rule: usize,
        /// The state, in words.
        state: String,
    },
}

/// More aspects nobody tells apart.
const MOST_ASPECTS: usize = 64;

/// What is shown in every state, and all that is wrong.
pub(super) fn decide(parts: &BookParts) -> (BTreeMap<State, Aspect>, Vec<Flaw>) {
    let read = parts.reads.as_ref().map_or(&parts.aspects, |(_, rows)| rows);
    if parts.aspects.is_empty() || parts.aspects.len().max(read.len()) > MOST_ASPECTS {
        return (BTreeMap::new(), vec![Flaw::Count]);
    }
    let mut flaws = Vec::new();
    let checker = Checker { parts, read, words: Words::of(parts) };
    checker.check_rows(&mut flaws);
    let passable: Vec<bool> = read.iter().map(|row| row.pass.is_proceed()).collect();
    let mut decisions = BTreeMap::new();
    let mut held: BTreeSet<usize> = BTreeSet::new();
    let (mut missing, mut clashes, mut broken) = (Vec::new(), BTreeSet::new(), BTreeSet::new());
    for state in all(&passable) {
        let holding: Vec<usize> =
            parts.rules.iter().enumerate().filter(|(_, rule)| rule.holds(&state)).map(|(place, _)| place).collect();
        held.extend(&holding);
        let Some(&first) = holding.first() else {
            if matches!(state.ahead, Ahead::Occupied { .. }) {
                decisions.insert(state, Aspect::STOP);
            } else {
                missing.push(state);
            }
            continue;
        };
        let show = parts.rules[first].show;
        if let Some(&other) = holding.iter().find(|&&other| parts.rules[other].show != show) {
            if clashes.insert((first, other)) {
                flaws.push(Flaw::Ambiguous { one: first, other, state: checker.in_words(&state) });
            }
            continue;
        }
        if checker.lets_anybody_into_occupied(show, &state) {
            if broken.insert(first) {
                flaws.push(Flaw::LetsIntoOccupied(first));
            }
        } else if let Some(what) = checker.broken_promise(show, &state)
            && broken.insert(first)
        {
            flaws.push(Flaw::Promises { rule: first, state: checker.in_words(&state), what });
        }
        decisions.insert(state, show);
    }
    if let Some(first) = missing.first() {
        let words: BTreeSet<String> = missing.iter().map(|state| checker.in_words(state)).collect();
        flaws.push(Flaw::Missing { state: checker.in_words(first), more: words.len() - 1 });
    }
    checker.check_use(&decisions, &held, &mut flaws);
    checker.check_approach(&decisions, &mut flaws);
    (decisions, flaws)
}

struct Checker<'a> {
    parts: &'a BookParts,
    read: &'a [AspectRow],
    words: Words,
}

/// Which conditions the rules use at all: a state is told by those.
struct Words {
    clear: bool,
    path: bool,
    speed: bool,
    approached: bool,
}

impl Words {
    fn of(parts: &BookParts) -> Self {
        let any = |uses: fn(&Rule) -> bool| parts.rules.iter().any(uses);
        Self {
            clear: any(|rule| rule.clear.is_some()),
            path: any(|rule| rule.path.is_some()),
            speed: any(|rule| rule.speed.is_some()),
            approached: any(|rule| rule.approached.is_some()),
        }
    }
}

impl Checker<'_> {
    fn check_rows(&self, flaws: &mut Vec<Flaw>) {
        let rows = &self.parts.aspects;
        let first_is_good = match self.parts.role {
            Role::Main => matches!(rows[0].pass, Pass::Stop | Pass::StopThenOnSight),
            Role::Distant => rows[0].expect == Some(Expect::Stop),
        };
        if !first_is_good {
            flaws.push(Flaw::FirstNotStop);
        }
        for (place, pair) in rows.windows(2).enumerate() {
            // To foretell more does not make up for passing slower, nor the other way round: only what is worse in one,
            // and no better in the other, is out of order.
            let [before, row] = [&pair[0], &pair[1]].map(|row| (row.pass, row.expect));
            let foretells_no_more = match (row.1, before.1) {
                (Some(this), Some(other)) => this <= other,
                (None, None) => true,
                _ => row.0 < before.0,
            };
            if row.0 <= before.0 && foretells_no_more && row != before {
                flaws.push(Flaw::OutOfOrder(Aspect(place as u8 + 1)));
            }
        }
        let looks = |row: &AspectRow| {
            let sorted = |lamps: &[String]| lamps.iter().cloned().collect::<BTreeSet<_>>();
            (sorted(&row.lamps), sorted(&row.flashing))
        };
        let any_lamps = rows.iter().any(|row| !row.lamps.is_empty() || !row.flashing.is_empty());
        for (place, row) in rows.iter().enumerate().filter(|_| any_lamps) {
            if row.lamps.is_empty() && row.flashing.is_empty() {
                flaws.push(Flaw::NoLamps(Aspect(place as u8)));
            } else if let Some(twin) = rows[..place].iter().position(|other| looks(other) == looks(row)) {
                flaws.push(Flaw::LooksAlike(Aspect(twin as u8), Aspect(place as u8)));
            }
        }
    }

    /// Whether a signal may be passed that has to stand at stop: track behind it is occupied, it is absolute, nobody is called on.
    fn lets_anybody_into_occupied(&self, show: Aspect, state: &State) -> bool {
        let must_stop = state.ahead == Ahead::Occupied { permissive: false, called_on: false };
        let lets_in = |row: &AspectRow| matches!(row.pass, Pass::OnSight | Pass::StopThenOnSight);
        must_stop && show != Aspect::STOP && self.parts.aspects.get(usize::from(show.0)).is_some_and(lets_in)
    }

    /// What an aspect says and the state does not keep.
    fn broken_promise(&self, show: Aspect, state: &State) -> Option<String> {
        let row = self.parts.aspects.get(usize::from(show.0))?;
        let (next, expect) = match state.ahead {
            Ahead::Occupied { .. } => {
                return row.pass.is_proceed().then(|| "it lets trains run into occupied track".to_owned());
            }
            Ahead::Clear { next, .. } => (self.passing(next), row.expect.filter(|_| row.pass > Pass::OnSight)),
        };
        // Where no aspect tells of a speed, drivers know it otherwise.
        let slow = |row: &AspectRow| row.pass.is_proceed() && row.pass < Pass::At(SpeedClass::Normal);
        if self.parts.aspects.iter().any(slow) && row.pass > Pass::At(state.speed) {
            return Some(format!("it lets trains pass at {} speed", row.pass));
        }
        let expect = expect.filter(|expect| !expect.is_kept_by(next))?;
        Some(match expect {
            Expect::Stop => "it foretells a stop".to_owned(),
            Expect::StopAtSecond => "it foretells a stop at the second signal only".to_owned(),
            Expect::At(class) => format!("it foretells {class} speed"),
        })
    }

    fn passing(&self, next: Next) -> Pass {
        match next {
            Next::Shows(aspect) => self.read.get(usize::from(aspect.0)).map_or(Pass::Stop, |row| row.pass),
            Next::BufferStop | Next::Edge => Pass::Stop,
        }
    }

    fn check_use(&self, decisions: &BTreeMap<State, Aspect>, held: &BTreeSet<usize>, flaws: &mut Vec<Flaw>) {
        for place in (0..self.parts.rules.len()).filter(|place| !held.contains(place)) {
            flaws.push(Flaw::NeverHolds(place));
        }
        // What clashes or lacks has been told; what is shown then is not known yet.
        if flaws.is_empty() {
            let shown: BTreeSet<Aspect> = decisions.values().copied().collect();
            let rows = (1..self.parts.aspects.len()).map(|row| Aspect(row as u8));
            flaws.extend(rows.filter(|aspect| !shown.contains(aspect)).map(Flaw::NeverShown));
        }
    }

    /// A train that is not seen yet may be there all the same.
    fn check_approach(&self, decisions: &BTreeMap<State, Aspect>, flaws: &mut Vec<Flaw>) {
        for (state, &near) in decisions.iter().filter(|(state, _)| state.approached && self.words.approached) {
            let afar = State { approached: false, ..*state };
            let Some(&far) = decisions.get(&afar) else { continue };
            if far > near {
                let rule = self.parts.rules.iter().position(|rule| rule.holds(&afar)).unwrap_or_default();
                flaws.push(Flaw::BetterFromAfar { rule, state: self.in_words(&afar) });
                return;
            }
        }
    }

    /// A state, told by what the rules go by.
    fn in_words(&self, state: &State) -> String {
        let mut words = Vec::new();
        match state.ahead {
            Ahead::Occupied { permissive, called_on } => {
                words.push("occupied track".to_owned());
                words.extend(permissive.then(|| "a permissive signal".to_owned()));
                words.extend(called_on.then(|| "a train called on".to_owned()));
            }
            Ahead::Clear { stretches, next } => {
                if self.words.clear {
                    let more = if stretches == MOST_CLEAR { " or more" } else { "" };
                    words.push(format!("{stretches}{more} clear"));
                }
                words.push(match next {
                    Next::Shows(aspect) => format!("`{}` next", self.read[usize::from(aspect.0)].name),
                    Next::BufferStop => "a buffer stop next".to_owned(),
                    Next::Edge => "the layout's edge next".to_owned(),
                });
            }
        }
        if self.words.path {
            words.push(if state.path == Lie::Straight { "path straight" } else { "path diverging" }.to_owned());
        }
        if self.words.speed {
            words.push(format!("{} speed", state.speed));
        }
        if self.words.approached {
            words.push(if state.approached { "a train before it" } else { "no train before it" }.to_owned());
        }
        words.join(", ")
    }
}

#[cfg(test)]
mod tests {
    use super::super::AspectBook;
    use super::*;

    fn flaws_of(change: impl FnOnce(&mut BookParts)) -> Vec<Flaw> {
        let mut parts = AspectBook::three_aspect().parts().clone();
        change(&mut parts);
        AspectBook::new(parts).err().unwrap_or_default()
    }

    #[test]
    fn in_every_state_of_the_track_ahead_the_plain_book_shows_exactly_one_aspect() {
        assert_eq!(flaws_of(|_| {}), []);
        let book = AspectBook::three_aspect();
        assert_eq!(book.decisions().count(), 4 * 16 + (1 + 2 + 2 + 2) * 16);
        let in_a_hurry = |(state, shows)| book.shows(state) == shows;
        assert!(book.decisions().all(in_a_hurry), "the two tables agree");
        for (state, shows) in book.decisions() {
            let expect = match state.ahead {
                Ahead::Occupied { .. } => "red",
                Ahead::Clear { stretches: 1, .. } => "yellow",
                Ahead::Clear { .. } => "green",
            };
            assert_eq!(book.name(shows), Some(expect), "{state:?}");
        }
    }

    #[test]
    fn a_signal_may_not_show_two_things_at_once_nor_none() {
        let both = flaws_of(|parts| parts.rules[1].next.as_mut().unwrap().push(Next::BufferStop));
        assert!(
            both.contains(&Flaw::Ambiguous { one: 0, other: 1, state: "a buffer stop next".to_owned() }),
            "{both:?}"
        );
        let none = flaws_of(|parts| parts.rules[0].next = Some(vec![Next::Shows(Aspect(0))]));
        assert!(none.contains(&Flaw::Missing { state: "a buffer stop next".to_owned(), more: 1 }), "{none:?}");
    }

    #[test]
    fn a_signal_may_not_promise_what_the_next_one_does_not_keep() {
        let green = flaws_of(|parts| parts.rules = vec![Rule::always(Aspect(2))]);
        let state = "`red` next".to_owned();
        let what = "it foretells normal speed".to_owned();
        assert!(green.contains(&Flaw::Promises { rule: 0, state, what }), "{green:?}");
        let into_a_train = flaws_of(|parts| {
            parts.rules.push(Rule { occupied: true, permissive: Some(true), ..Rule::always(Aspect(1)) });
        });
        assert!(matches!(into_a_train[..], [Flaw::Promises { rule: 2, .. }]), "{into_a_train:?}");
        let too_fast = flaws_of(|parts| parts.aspects[1].pass = Pass::At(SpeedClass::Slow));
        let what = "it lets trains pass at normal speed".to_owned();
        let state = "`yellow` next".to_owned();
        assert!(too_fast.contains(&Flaw::Promises { rule: 1, state, what }), "{too_fast:?}");
    }

    #[test]
    fn a_train_that_nobody_called_on_is_stopped_before_occupied_track_by_an_absolute_signal() {
        let on_sight = |permissive, called_on| {
            move |parts: &mut BookParts| {
                let green = AspectRow::new("green", Pass::At(SpeedClass::Normal), None);
                parts.aspects.truncate(1);
                parts.aspects.extend([AspectRow::new("caution", Pass::OnSight, None), green]);
                let into_occupied = Rule { occupied: true, permissive, called_on, ..Rule::always(Aspect(1)) };
                parts.rules = vec![Rule::always(Aspect(2)), into_occupied];
            }
        };
        assert_eq!(flaws_of(on_sight(None, None)), [Flaw::LetsIntoOccupied(1)]);
        assert_eq!(flaws_of(on_sight(Some(false), None)), [Flaw::LetsIntoOccupied(1)]);
        assert_eq!(flaws_of(on_sight(Some(true), None)), []);
        assert_eq!(flaws_of(on_sight(None, Some(true))), []);
    }

    #[test]
    fn an_aspect_that_is_never_shown_or_cannot_be_told_from_another_is_a_flaw() {
        let purple = |parts: &mut BookParts| {
            parts.aspects.push(AspectRow::new("purple", Pass::At(SpeedClass::Normal), parts.aspects[2].expect));
            parts.rules[1].next.as_mut().unwrap().push(Next::Shows(Aspect(3)));
        };
        assert_eq!(flaws_of(purple), [Flaw::NeverShown(Aspect(3))]);
        assert_eq!(
            flaws_of(|parts| parts.aspects[2].lamps = vec!["yellow".to_owned()]),
            [Flaw::LooksAlike(Aspect(1), Aspect(2))]
        );
        assert_eq!(flaws_of(|parts| parts.aspects[1].lamps.clear()), [Flaw::NoLamps(Aspect(1))]);
    }

    #[test]
    fn the_first_aspect_is_danger() {
        let flaws = flaws_of(|parts| parts.aspects[0].pass = Pass::At(SpeedClass::Slow));
        assert!(flaws.contains(&Flaw::FirstNotStop), "{flaws:?}");
        let distant = flaws_of(|parts| {
            parts.role = Role::Distant;
            parts.aspects[0].expect = Some(Expect::Stop);
        });
        assert!(!distant.contains(&Flaw::FirstNotStop), "{distant:?}");
    }

    #[test]
    fn a_train_that_is_not_seen_yet_is_shown_nothing_better() {
        let flaws = flaws_of(|parts| {
            parts.rules[1].approached = Some(false);
            let near = Rule { approached: Some(true), ..Rule::always(Aspect(1)) };
            parts.rules.push(Rule { next: parts.rules[1].next.clone(), ..near });
        });
        assert!(matches!(flaws[..], [Flaw::BetterFromAfar { rule: 1, .. }]), "{flaws:?}");
    }

    #[test]
    fn an_aspect_of_another_book_is_understood_as_nothing_better_than_it_says() {
        let plain = AspectBook::three_aspect();
        let mut parts = plain.parts().clone();
        parts.title = "other".to_owned();
        parts.aspects[2].expect = None;
        let other = AspectBook::new(parts).unwrap();
        let understood = |row| plain.understands(&other, Aspect(row));
        assert_eq!([0, 1, 2].map(understood), [Aspect(0), Aspect(1), Aspect(1)], "nothing foretold may be a stop");
        assert_eq!([0, 1, 2].map(|row| plain.understands(&plain, Aspect(row))), [0, 1, 2].map(Aspect));
        assert_eq!(plain.understands(&other, Aspect(9)), Aspect::STOP);
    }
}
