//! Signals: each shows what its book says of the track it vouches for, and its most restrictive aspect wherever
//! something there is not known good.
//!
//! A main signal vouches for the stretch from the end it stands at, over turnouts that are known to lie right, to the
//! next main signal that faces the same way, and for the overlap behind that. A distant signal only foretells. What
//! changes in a stretch makes only the signals look again that look into it, and those that look at a signal that
//! changed.
//!
//! `look` finds out what is ahead, the layout's aspect books ([`track::AspectBook`]) say what is shown then. Nothing
//! better than the most restrictive aspect is left to a book where anything is unknown, unproved, reported by nobody,
//! or not granted.

mod call_on;
mod look;
mod sight;
#[cfg(test)]
mod tests;
mod traffic;
mod understand;

use std::sync::Arc;

use track::{Ahead, Aspect, AspectBook, EndId, Layout, Next, Role, SectionId, SignalId, Table, TurnoutId};

use look::View;
use sight::Sight;
use traffic::Traffic;
use understand::Understanding;

use crate::door::Output;
use crate::interlock::Interlock;
use crate::picture::Picture;
use crate::signaller::Conduct;
use crate::snapshot::kept;
use crate::time::Time;

/// All signals.
#[derive(Clone, Debug)]
pub struct Signals {
    layout: Arc<Layout>,
    conduct: Conduct,
    sight: Sight,
    traffic: Traffic,
    understanding: Understanding,
    /// Whether some book counts stretches: then a signal that shows the same as before may yet matter to the one before
    /// it.
    counts_stretches: bool,
    states: Table<SignalId, State>,
    doubtful: Vec<SignalId>,
    shown_anew: Vec<SignalId>,
}

kept!(Signals {
    kept: [states, doubtful, shown_anew],
    parts: [traffic],
    made_anew: [layout, conduct, sight, understanding, counts_stretches],
});

#[derive(Clone, Copy, Debug, serde::Serialize, serde::Deserialize)]
struct State {
    shows: Aspect,
    /// How many signals in a row a train can pass, this one first.
    clear: u8,
    /// Whether its lamps are dark, because it is lit only while a train is near and none is.
    is_dark: bool,
    /// Whether a person asked for a train to be called on.
    called_on: bool,
    /// Whether a train stood right before it since then.
    was_approached: bool,
    /// What was last told; nothing before the first time.
    told: Option<Aspect>,
    told_dark: Option<bool>,
    /// What a border signal was reported to show.
    reported: Option<Aspect>,
    kept_at_danger: bool,
    must_look: bool,
    to_be_told: bool,
}

/// A signal of which nothing was told yet.
const AT_DANGER: State = State {
    shows: Aspect::STOP,
    clear: 0,
    is_dark: false,
    called_on: false,
    was_approached: false,
    told: None,
    told_dark: None,
    reported: None,
    kept_at_danger: false,
    must_look: true,
    to_be_told: true,
};

impl Signals {
    /// All signals at danger.
    pub fn new(layout: Arc<Layout>, conduct: Conduct) -> Self {
        Self {
            sight: Sight::new(&layout),
            traffic: Traffic::new(&layout),
            states: Table::filled(AT_DANGER, layout.signals.len()),
            doubtful: layout.signals.ids().collect(),
            shown_anew: layout.signals.ids().collect(),
            understanding: Understanding::new(&layout),
            counts_stretches: layout.books.values().any(AspectBook::counts_stretches),
            layout,
            conduct,
        }
    }

    /// Everything is looked at and told anew. Those that are shown otherwise than before begin at danger, kept there where they were.
    pub(crate) fn tell_anew(&mut self, touched: &[SignalId]) {
        for &signal in touched {
            let State { called_on, was_approached, kept_at_danger, .. } = self.states[signal];
            self.states[signal] = State { called_on, was_approached, kept_at_danger, ..AT_DANGER };
        }
        for state in self.states.values_mut() {
            (state.must_look, state.to_be_told, state.told, state.told_dark) = (true, true, None, None);
        }
    }

    /// The book by which a signal is shown.
    pub fn book_of(&self, signal: SignalId) -> &AspectBook {
        self.layout.book_of(signal)
    }

    /// What a signal shows.
    pub fn shows(&self, signal: SignalId) -> Aspect {
        self.states[signal].shows
    }

    /// Whether its lamps are dark now, because it is lit only while a train is near.
    pub fn is_dark(&self, signal: SignalId) -> bool {
        self.states[signal].is_dark
    }

    /// Whether a person keeps the signal at danger.
    pub fn is_kept_at_danger(&self, signal: SignalId) -> bool {
        self.states[signal].kept_at_danger
    }

    pub(crate) fn keep_at_danger(&mut self, signal: SignalId, held: bool) {
        self.states[signal].kept_at_danger = held;
        self.look_at(signal);
    }

    /// A signal was reported to show this; at the border it does. An aspect that the book does not have is danger.
    pub(crate) fn report(&mut self, signal: SignalId, shows: Aspect) {
        let known = self.book_of(signal).row(shows).is_some();
        self.states[signal].reported = Some(if known { shows } else { Aspect::STOP });
        self.look_at(signal);
    }

    pub(crate) fn look_at(&mut self, signal: SignalId) {
        if !std::mem::replace(&mut self.states[signal].must_look, true) {
            self.doubtful.push(signal);
        }
    }

    /// Whether whoever enters a section by this end runs towards a train on the same plain line, or what may be one.
    pub(crate) fn leads_against_traffic(&self, enter: EndId) -> bool {
        self.traffic.leads_against(&self.layout, enter)
    }

    pub(crate) fn section_changed(&mut self, section: SectionId) {
        self.traffic.section_changed(section);
        for place in 0..self.sight.into[section].len() {
            self.look_at(self.sight.into[section][place]);
        }
        for place in 0..self.sight.before[section].len() {
            self.look_at(self.sight.before[section][place]);
        }
    }

    pub(crate) fn turnout_changed(&mut self, turnout: TurnoutId) {
        for place in 0..self.layout.turnouts[turnout].sections.len() {
            self.section_changed(self.layout.turnouts[turnout].sections[place]);
        }
    }

    /// Looks again wherever something changed, and tells what is shown differently.
    pub(crate) fn work(&mut self, now: Time, picture: &impl Picture, interlock: &Interlock, outputs: &mut Vec<Output>) {
        for signal in self.traffic.work(&self.layout, picture, now) {
            self.look_at(signal);
        }
        // A signal looks again at most once for every aspect that the next one can have; the bound only guards against
        // a book whose rules chase each other round a ring.
        let mut looks_left = self.states.len() * (usize::from(u8::MAX) + 1);
        while let Some(signal) = self.doubtful.pop() {
            self.states[signal].must_look = false;
            self.follow_call(signal, picture);
            let (shows, clear) =
                if looks_left == 0 { (Aspect::STOP, 0) } else { self.decide(signal, picture, interlock) };
            looks_left = looks_left.saturating_sub(1);
            let is_dark = self.may_be_dark(signal, picture);
            let state = &mut self.states[signal];
            let counts_otherwise = self.counts_stretches && clear != state.clear;
            let shows_otherwise = shows != state.shows;
            if shows_otherwise || is_dark != state.is_dark {
                (state.shows, state.is_dark) = (shows, is_dark);
                if !std::mem::replace(&mut state.to_be_told, true) {
                    self.shown_anew.push(signal);
                }
            }
            state.clear = clear;
            if (shows_otherwise || counts_otherwise) && looks_left > 0 {
                for place in 0..self.sight.onto[signal].len() {
                    self.look_at(self.sight.onto[signal][place]);
                }
            }
        }
        self.tell(outputs);
    }

    fn tell(&mut self, outputs: &mut Vec<Output>) {
        self.shown_anew.sort_unstable();
        for signal in self.shown_anew.drain(..) {
            let state = &mut self.states[signal];
            state.to_be_told = false;
            if state.told != Some(state.shows) {
                state.told = Some(state.shows);
                outputs.push(Output::Show { signal, aspect: state.shows });
            }
            // Of signals that are always lit nothing is said.
            if self.layout.signals[signal].is_approach_lit && state.told_dark != Some(state.is_dark) {
                state.told_dark = Some(state.is_dark);
                outputs.push(Output::Light { signal, lit: !state.is_dark });
            }
        }
    }

    /// What a signal shows, and how many signals in a row a train can pass, this one first. A report decides alone only
    /// of what lies beyond the border: nothing better is shown than what is known here allows.
    fn decide(&self, signal: SignalId, picture: &impl Picture, interlock: &Interlock) -> (Aspect, u8) {
        let state = &self.states[signal];
        if state.kept_at_danger || self.layout.is_fixed(signal) {
            return (Aspect::STOP, 0);
        }
        let at_border = self.layout.ends[self.layout.signals[signal].at].meets.is_empty();
        let (known, clear) = match state.reported {
            Some(reported) if at_border => return (reported, self.clear_by(signal, reported)),
            _ => self.decide_by_track(signal, picture, interlock),
        };
        match state.reported {
            Some(reported) if reported < known => (reported, clear.min(self.clear_by(signal, reported))),
            _ => (known, clear),
        }
    }

    fn decide_by_track(&self, signal: SignalId, picture: &impl Picture, interlock: &Interlock) -> (Aspect, u8) {
        let book = self.layout.book_of(signal);
        // A distant signal lets no train into any track: what it foretells is cleared, or not, at the main signal.
        let is_controlled = self.conduct == Conduct::Control || self.layout.signals[signal].is_controlled;
        if is_controlled && book.role() == Role::Main && !interlock.is_cleared(signal) {
            return (Aspect::STOP, 0);
        }
        if interlock.kept_for_flank(signal).is_some() {
            return (Aspect::STOP, 0);
        }
        match self.view(signal, picture, interlock) {
            View::Unproved => (Aspect::STOP, 0),
            View::Seen(state, clear) => {
                // Where the stretch is clear and leads off the layout, what is reported of the signal is what is known
                // of the track beyond.
                if let (Ahead::Clear { next: Next::Edge, .. }, Some(reported)) =
                    (state.ahead, self.states[signal].reported)
                {
                    return (reported, self.clear_by(signal, reported));
                }
                let shows = book.shows(&state);
                (shows, if book.pass(shows).is_proceed() { clear } else { 0 })
            }
        }
    }
}
