//! What a signal can know of the track ahead, and the conditions of rules.

use super::meaning::{Aspect, SpeedClass};
use crate::layout::Lie;

/// So many stretches ahead are told apart; more count as these.
pub const MOST_CLEAR: u8 = 3;

/// What lies at the far end of a stretch.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Next {
    /// A signal that shows this, as the book reads it.
    Shows(Aspect),
    /// A buffer stop.
    BufferStop,
    /// The layout's edge: nobody says what is beyond.
    Edge,
}

/// The track up to the next signal, every turnout on it proved to lie right. Where that is not so, or not known to be
/// so, no book is asked: the signal shows its most restrictive aspect.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Ahead {
    /// A detector says that something is there, or in the overlap behind the next signal.
    Occupied {
        /// Trains may pass this signal on sight, after they have stopped.
        permissive: bool,
        /// A person asked for a train to be called on.
        called_on: bool,
    },
    /// It is known to be clear, and so is the overlap behind the next signal.
    Clear {
        /// How many signals in a row a train can pass, this one first: 1 to [`MOST_CLEAR`].
        stretches: u8,
        /// What lies at its far end.
        next: Next,
    },
}

/// All that a book goes by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct State {
    /// The track up to the next signal.
    pub ahead: Ahead,
    /// Whether some turnout on it lies diverging.
    pub path: Lie,
    /// The lowest class of speed on it.
    pub speed: SpeedClass,
    /// Whether a detector says that a train stands, or comes, right before the signal.
    pub approached: bool,
}

impl State {
    /// Where it stands among all states of a book that reads so many aspects: one after the other, without gaps.
    pub(super) fn place(&self, read: usize) -> usize {
        let ahead = match self.ahead {
            Ahead::Occupied { permissive, called_on } => usize::from(permissive) + 2 * usize::from(called_on),
            Ahead::Clear { stretches, next } => {
                4 + match next {
                    Next::Shows(aspect) => 2 * usize::from(aspect.0) + usize::from(stretches >= MOST_CLEAR),
                    Next::BufferStop => 2 * read,
                    Next::Edge => 2 * read + 1,
                }
            }
        };
        let path = usize::from(self.path == Lie::Diverging);
        ((2 * ahead + path) * SpeedClass::ALL.len() + self.speed as usize) * 2 + usize::from(self.approached)
    }
}

/// How many places there are.
pub(super) fn places(read: usize) -> usize {
    (4 + 2 * read + 2) * 2 * SpeedClass::ALL.len() * 2
}

/// One row of a book: an aspect, and when it is shown. What a rule says nothing of may be anyhow.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rule {
    /// What is shown.
    pub show: Aspect,
    /// Whether the rule is about occupied track, not clear track.
    pub occupied: bool,
    /// How many stretches are clear.
    pub clear: Option<Vec<u8>>,
    /// What lies at the far end of the stretch.
    pub next: Option<Vec<Next>>,
    /// How the path lies.
    pub path: Option<Lie>,
    /// Its class of speed.
    pub speed: Option<Vec<SpeedClass>>,
    /// Whether a train is right before the signal.
    pub approached: Option<bool>,
    /// Whether trains may pass this signal on sight.
    pub permissive: Option<bool>,
    /// Whether a train is called on.
    pub called_on: Option<bool>,
}

impl Rule {
    /// A rule about clear track that always holds.
    pub fn always(show: Aspect) -> Self {
        Self {
            show,
            occupied: false,
            clear: None,
            next: None,
            path: None,
            speed: None,
            approached: None,
            permissive: None,
            called_on: None,
        }
    }

    /// Whether it holds in a state.
    pub fn holds(&self, state: &State) -> bool {
        let ahead = match state.ahead {
            Ahead::Occupied { permissive, called_on } => {
                self.occupied && is_one(self.permissive, permissive) && is_one(self.called_on, called_on)
            }
            Ahead::Clear { stretches, next } => {
                !self.occupied && is_among(self.clear.as_deref(), stretches) && is_among(self.next.as_deref(), next)
            }
        };
        ahead
            && is_one(self.path, state.path)
            && is_among(self.speed.as_deref(), state.speed)
            && is_one(self.approached, state.approached)
    }
}

fn is_one<T: PartialEq + Copy>(wanted: Option<T>, it: T) -> bool {
    wanted.is_none_or(|wanted| wanted == it)
}

fn is_among<T: PartialEq + Copy>(wanted: Option<&[T]>, it: T) -> bool {
    wanted.is_none_or(|wanted| wanted.contains(&it))
}

/// Every state there is for a book that reads so many aspects, of which those from `passable` on let trains pass.
pub(super) fn all(passable: &[bool]) -> Vec<State> {
    let mut aheads = Vec::new();
    for (permissive, called_on) in [(false, false), (true, false), (false, true), (true, true)] {
        aheads.push(Ahead::Occupied { permissive, called_on });
    }
    for (row, &passable) in passable.iter().enumerate() {
        let next = Next::Shows(Aspect(row as u8));
        if passable {
            aheads.extend((2..=MOST_CLEAR).map(|stretches| Ahead::Clear { stretches, next }));
        } else {
            aheads.push(Ahead::Clear { stretches: 1, next });
        }
    }
    aheads.extend([Next::BufferStop, Next::Edge].map(|next| Ahead::Clear { stretches: 1, next }));
    let mut states = Vec::new();
    for ahead in aheads {
        for path in [Lie::Straight, Lie::Diverging] {
            for (_, speed) in SpeedClass::ALL {
                states.extend([false, true].map(|approached| State { ahead, path, speed, approached }));
            }
        }
    }
    states
}
