//! Calling a train on into occupied track: only when a person asks, for one train, and only where the book has an
//! aspect for it.

use track::SignalId;

use super::Signals;
use crate::picture::Picture;
use crate::signaller::Conduct;

impl Signals {
    /// Calls a train on past a signal, or takes that back.
    ///
    /// # Errors
    ///
    /// Why not, in plain words.
    pub(crate) fn call_on(&mut self, signal: SignalId, wanted: bool) -> Result<(), String> {
        let Some(row) = self.layout.signals.get(signal) else {
            return Err("there is no such signal".to_owned());
        };
        let book = self.layout.book_of(signal);
        if wanted && self.conduct == Conduct::Control {
            return Err("trains are driven here: none is sent into occupied track by a signal".to_owned());
        }
        if wanted && !book.can_call_on() {
            return Err(format!("`{}` has no aspect in `{}` to call a train on by", row.name, book.title()));
        }
        if wanted && self.states[signal].kept_at_danger {
            return Err(format!("`{}` is kept at danger", row.name));
        }
        let state = &mut self.states[signal];
        (state.called_on, state.was_approached) = (wanted, false);
        self.look_at(signal);
        Ok(())
    }

    /// Whether a train is called on past the signal.
    pub fn calls_on(&self, signal: SignalId) -> bool {
        self.states[signal].called_on
    }

    /// A train is called on once: when the section right before the signal has emptied, it has passed, or has gone
    /// away.
    pub(super) fn follow_call(&mut self, signal: SignalId, picture: &impl Picture) {
        if !self.states[signal].called_on {
            return;
        }
        let is_there = picture.is_occupied(self.section_before(signal));
        let state = &mut self.states[signal];
        if is_there {
            state.was_approached = true;
        } else if state.was_approached {
            state.called_on = false;
        }
    }
}
