//! Names that were given to things, and finding a thing by its name.

use std::cell::Cell;
use std::collections::BTreeMap;

use crate::diagnostic::Findings;
use crate::source::{Said, Span};
use track::nearest;

/// So many names are compared in search of nearest ones; a file with so many unknown names has another problem.
const COMPARISONS: usize = 3_000_000;

/// The names of one kind of thing.
pub(crate) struct Names<'t, I> {
    /// What it is, without article: `section`.
    what: &'static str,
    ids: BTreeMap<&'t str, (I, Span)>,
    comparisons_left: Cell<usize>,
}

impl<'t, I: Copy> Names<'t, I> {
    pub(crate) fn new(what: &'static str) -> Self {
        Self { what, ids: BTreeMap::new(), comparisons_left: Cell::new(COMPARISONS) }
    }

    /// Whether the name is still free; reports where it is not.
    pub(crate) fn is_free(&self, name: Said<&str>, out: &mut Findings) -> bool {
        let Some((_, first)) = self.ids.get(name.value) else { return true };
        out.mistake(name.span, format!("a second {} is named `{}`", self.what, name.value))
            .see(*first, "the first")
            .hint("give each its own name");
        false
    }

    pub(crate) fn add(&mut self, name: Said<&'t str>, id: I) {
        self.ids.insert(name.value, (id, name.span));
    }

    /// The thing of that name; reports where there is none.
    pub(crate) fn find(&self, name: Said<&str>, out: &mut Findings) -> Option<I> {
        let found = self.find_quietly(name.value);
        if found.is_none() {
            let hint = self.hint(name.value);
            out.mistake(name.span, format!("no {} is named `{}`", self.what, name.value)).hint_if(hint);
        }
        found
    }

    pub(crate) fn find_quietly(&self, name: &str) -> Option<I> {
        self.ids.get(name).map(|(id, _)| *id)
    }

    /// The thing whose name is nearest to a mistyped one.
    pub(crate) fn meant(&self, name: &str) -> Option<(&'t str, I)> {
        let left = self.comparisons_left.get().checked_sub(self.ids.len())?;
        self.comparisons_left.set(left);
        let near = nearest(name, self.ids.keys().copied())?;
        self.find_quietly(near).map(|id| (near, id))
    }

    /// The table that declares such things.
    fn table(&self) -> &'static str {
        self.what.rsplit(' ').next().unwrap_or(self.what)
    }

    /// Advice for a name that was not found.
    pub(crate) fn hint(&self, name: &str) -> Option<String> {
        match self.meant(name) {
            Some((near, _)) => Some(format!("the nearest name is `{near}`")),
            None if self.ids.is_empty() => {
                Some(format!("there is no {} at all: add `[[{}]]`", self.what, self.table()))
            }
            None => None,
        }
    }
}
