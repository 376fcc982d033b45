//! How signals of one book understand those of another, worked out once.

use track::{Aspect, BookId, Layout, Table};

/// For each book, and each book of the signal behind it, what its aspects are to the rules of the first.
#[derive(Clone, Debug)]
pub(super) struct Understanding {
    of: Table<BookId, Table<BookId, Vec<Aspect>>>,
}

impl Understanding {
    pub(super) fn new(layout: &Layout) -> Self {
        let books = &layout.books;
        let of = books.values().map(|reader| {
            let others = books
                .values()
                .map(|other| other.aspects().map(|(aspect, _)| reader.understands(other, aspect)).collect());
            others.collect()
        });
        Self { of: of.collect() }
    }

    /// What an aspect of `shown_by` is to the rules of `reader`.
    pub(super) fn read(&self, reader: BookId, shown_by: BookId, aspect: Aspect) -> Aspect {
        self.of[reader][shown_by].get(usize::from(aspect.0)).copied().unwrap_or(Aspect::STOP)
    }
}
