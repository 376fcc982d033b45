//! Aspect books as data: which aspects there are, what they mean, and the rules that choose among them.
//!
//! A book is only made by [`AspectBook::new`], which tries it in every state that can be: a book that shows two things
//! at once, nothing, or more than the track keeps is none. Read [`State`] first, then [`Rule`], then [`AspectBook`].

mod book;
mod check;
mod meaning;
mod speeds;
mod state;

pub use book::{AspectBook, AspectRow, BookParts, Role};
pub use check::Flaw;
pub use meaning::{Aspect, Expect, Pass, SpeedClass};
pub use speeds::ClassSpeeds;
pub use state::{Ahead, MOST_CLEAR, Next, Rule, State};
