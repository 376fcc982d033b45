//! A vector that only its own kind of id can index.

use std::marker::PhantomData;
use std::ops::{Index, IndexMut};

/// A typed position in a [`Table`].
pub trait Id: Copy + Ord {
    /// The id of the thing at `index`.
    fn from_index(index: usize) -> Self;
    /// Where the thing stands in its table.
    fn index(self) -> usize;
}

/// A vector indexed by one kind of id. Nothing is ever removed, so an id stays good.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Table<I, T> {
    rows: Vec<T>,
    id: PhantomData<fn(I)>,
}

impl<I: Id, T> Table<I, T> {
    /// An empty table.
    pub const fn new() -> Self {
        Self { rows: Vec::new(), id: PhantomData }
    }

    /// A table of `count` equal rows.
    pub fn filled(row: T, count: usize) -> Self
    where
        T: Clone,
    {
        Self { rows: vec![row; count], id: PhantomData }
    }

    /// Adds a row and tells its id.
    pub fn push(&mut self, row: T) -> I {
        self.rows.push(row);
        I::from_index(self.rows.len() - 1)
    }

    /// The row of `id`, where there is one.
    pub fn get(&self, id: I) -> Option<&T> {
        self.rows.get(id.index())
    }

    /// How many rows there are.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether there is no row.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// All ids, in order.
    pub fn ids(&self) -> impl DoubleEndedIterator<Item = I> + ExactSizeIterator + use<I, T> {
        (0..self.rows.len()).map(I::from_index)
    }

    /// All rows, in order.
    pub fn values(&self) -> std::slice::Iter<'_, T> {
        self.rows.iter()
    }

    /// All rows, in order, to be changed.
    pub fn values_mut(&mut self) -> std::slice::IterMut<'_, T> {
        self.rows.iter_mut()
    }

    /// All ids with their rows, in order.
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = (I, &T)> + ExactSizeIterator {
        self.rows.iter().enumerate().map(|(index, row)| (I::from_index(index), row))
    }
}

impl<I: Id, T> Default for Table<I, T> {
    fn default() -> Self {
        Self::new()
    }
}

impl<I: Id, T> FromIterator<T> for Table<I, T> {
    fn from_iter<R: IntoIterator<Item = T>>(rows: R) -> Self {
        Self { rows: rows.into_iter().collect(), id: PhantomData }
    }
}

impl<I: Id, T> Index<I> for Table<I, T> {
    type Output = T;
    fn index(&self, id: I) -> &T {
        &self.rows[id.index()]
    }
}

impl<I: Id, T> IndexMut<I> for Table<I, T> {
    fn index_mut(&mut self, id: I) -> &mut T {
        &mut self.rows[id.index()]
    }
}
