//! Signals: each shows what its book says of the track it vouches for, and its most restrictive aspect wherever something
//! there is not known good.
//!
//! A signal vouches for the stretch from the end it stands at, over turnouts that are known to lie right, to the next signal
//! that faces the same way. What changes in a stretch makes only the signals look again that look into it, and those whose
//! stretch ends at a signal that changed.

mod book;
mod sight;
#[cfg(test)]
mod tests;

use std::sync::Arc;

use track::{Beyond, EndId, Layout, SectionId, SignalId, Table, TurnoutId};

pub use book::{Ahead, Aspect, AspectBook, Rule};
use sight::Sight;

use crate::door::Output;
use crate::interlock::Interlock;
use crate::picture::Picture;
use crate::signaller::Conduct;

/// All signals.
#[derive(Debug)]
pub struct Signals {
    layout: Arc<Layout>,
    conduct: Conduct,
    book: AspectBook,
    sight: Sight,
    states: Table<SignalId, State>,
    doubtful: Vec<SignalId>,
    shown_anew: Vec<SignalId>,
}

#[derive(Clone, Copy, Debug)]
struct State {
    shows: Aspect,
    /// What was last told; nothing before the first time.
    told: Option<Aspect>,
    /// What a border signal was reported to show.
    reported: Option<Aspect>,
    kept_at_danger: bool,
    must_look: bool,
    to_be_told: bool,
}

impl Signals {
    /// All signals at danger, by the three-aspect book.
    pub fn new(layout: Arc<Layout>, conduct: Conduct) -> Self {
        let state = State {
            shows: Aspect::STOP,
            told: None,
            reported: None,
            kept_at_danger: false,
            must_look: true,
            to_be_told: true,
        };
        Self {
            sight: Sight::new(&layout),
            states: Table::filled(state, layout.signals.len()),
            doubtful: layout.signals.ids().collect(),
            shown_anew: layout.signals.ids().collect(),
            book: AspectBook::three_aspect(),
            layout,
            conduct,
        }
    }

    /// The book by which they are shown.
    pub fn book(&self) -> &AspectBook {
        &self.book
    }

    /// What a signal shows.
    pub fn shows(&self, signal: SignalId) -> Aspect {
        self.states[signal].shows
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
        let known = self.book.name(shows).is_some();
        self.states[signal].reported = Some(if known { shows } else { Aspect::STOP });
        self.look_at(signal);
    }

    pub(crate) fn look_at(&mut self, signal: SignalId) {
        if !std::mem::replace(&mut self.states[signal].must_look, true) {
            self.doubtful.push(signal);
        }
    }

    pub(crate) fn section_changed(&mut self, section: SectionId) {
        for place in 0..self.sight.into[section].len() {
            self.look_at(self.sight.into[section][place]);
        }
    }

    pub(crate) fn turnout_changed(&mut self, turnout: TurnoutId) {
        for place in 0..self.layout.turnouts[turnout].sections.len() {
            self.section_changed(self.layout.turnouts[turnout].sections[place]);
        }
    }

    /// Looks again wherever something changed, and tells what is shown differently.
    pub(crate) fn work(&mut self, picture: &impl Picture, interlock: &Interlock, outputs: &mut Vec<Output>) {
        // A signal looks again at most once for every aspect that the next one can have; the bound only guards against a book
        // whose rules chase each other round a ring.
        let mut looks_left = self.states.len() * (self.book.aspects().count() + 1);
        while let Some(signal) = self.doubtful.pop() {
            self.states[signal].must_look = false;
            let shows = if looks_left == 0 { Aspect::STOP } else { self.aspect_of(signal, picture, interlock) };
            looks_left = looks_left.saturating_sub(1);
            if shows == self.states[signal].shows {
                continue;
            }
            let state = &mut self.states[signal];
            state.shows = shows;
            if !std::mem::replace(&mut state.to_be_told, true) {
                self.shown_anew.push(signal);
            }
            if looks_left > 0 {
                for place in 0..self.sight.onto[signal].len() {
                    self.look_at(self.sight.onto[signal][place]);
                }
            }
        }
        self.shown_anew.sort_unstable();
        for signal in self.shown_anew.drain(..) {
            let state = &mut self.states[signal];
            state.to_be_told = false;
            if state.told != Some(state.shows) {
                state.told = Some(state.shows);
                outputs.push(Output::Show { signal, aspect: state.shows });
            }
        }
    }

    /// A report decides alone only at the border: within the layout nothing better is shown than what is known here allows.
    fn aspect_of(&self, signal: SignalId, picture: &impl Picture, interlock: &Interlock) -> Aspect {
        let state = &self.states[signal];
        if state.kept_at_danger {
            return Aspect::STOP;
        }
        let at_border = self.layout.ends[self.layout.signals[signal].at].meets.is_empty();
        match state.reported {
            Some(reported) if at_border => reported,
            Some(reported) => reported.min(self.aspect_known(signal, picture, interlock)),
            None => self.aspect_known(signal, picture, interlock),
        }
    }

    fn aspect_known(&self, signal: SignalId, picture: &impl Picture, interlock: &Interlock) -> Aspect {
        if self.conduct == Conduct::Control && !interlock.is_cleared(signal) {
            return Aspect::STOP;
        }
        if interlock.kept_for_flank(signal).is_some() {
            return Aspect::STOP;
        }
        let up_to = interlock.cleared_up_to(signal);
        let ahead = self.look_ahead(self.layout.signals[signal].at, up_to, picture, interlock);
        ahead.map_or(Aspect::STOP, |ahead| self.book.shows(ahead))
    }

    /// What lies at the far end of the stretch beyond `at`; nothing unless the whole stretch is known good.
    /// A route that is set may be over before the next signal: then that is where the stretch ends.
    fn look_ahead(
        &self,
        at: EndId,
        up_to: Option<EndId>,
        picture: &impl Picture,
        interlock: &Interlock,
    ) -> Option<Ahead> {
        let (mut leave, mut train) = (at, None);
        // A train can enter a section by each of its ends once before it has been everywhere.
        for passed in 0..=self.layout.ends.len() {
            let enter = match self.layout.ends[leave].meets[..] {
                [enter] => enter,
                // Nothing is known of what a signal right at the edge vouches for, unless its aspect is reported.
                [] if passed == 0 => return None,
                [] if self.layout.ends[leave].beyond == Beyond::BufferStop => return Some(Ahead::TrackEnds),
                [] => return Some(Ahead::BeyondUnknown),
                _ => return None,
            };
            let section = self.layout.ends[enter].section;
            if !self.is_free(section, picture) || interlock.withdrawal(section).is_some() {
                return None;
            }
            // All of the stretch is granted to the train that the signal clears for, or another may run into it unannounced.
            if self.conduct == Conduct::Control
                && interlock.granted_to(section) != *train.get_or_insert(interlock.granted_to(section))
            {
                return None;
            }
            let way = interlock.way_that_lies(enter)?;
            leave = self.layout.far_end(way, enter);
            if let Some(next) = self.layout.ends[leave].signal {
                let at_stop = self.states[next].shows == Aspect::STOP;
                return Some(if at_stop { Ahead::NextAtStop } else { Ahead::NextBetter });
            }
            if up_to == Some(leave) && !self.layout.ends[leave].meets.is_empty() {
                return Some(Ahead::NextAtStop);
            }
        }
        None
    }

    /// Whether nothing is in the section, as far as its conduct asks: where people drive, detectors decide, and accounts only
    /// where there is no detector; where the signaller drives, no account may put a train there either.
    fn is_free(&self, section: SectionId, picture: &impl Picture) -> bool {
        let believed = self.conduct == Conduct::Control || self.layout.is_dark(section);
        !picture.is_occupied(section) && (!believed || picture.holders(section).is_empty())
    }
}
