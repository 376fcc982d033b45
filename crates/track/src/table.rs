//! A vector that only its own kind of id can index.

use std::fmt;
use std::marker::PhantomData;
use std::ops::{Index, IndexMut};

use serde::de::Visitor;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A typed position in a [`Table`].
pub trait Id: Copy + Ord {
    /// What a table of these is called where its rows are taken down.
    const TABLE: &'static str;
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

    /// All rows, in order, taken out.
    pub fn into_values(self) -> std::vec::IntoIter<T> {
        self.rows.into_iter()
    }

    /// All ids with their rows, in order.
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = (I, &T)> + ExactSizeIterator {
        self.rows.iter().enumerate().map(|(index, row)| (I::from_index(index), row))
    }
}

/// A table is written as its rows; whose table it is goes with them, where the form has room for it.
impl<I: Id, T: Serialize> Serialize for Table<I, T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_newtype_struct(I::TABLE, &self.rows)
    }
}

impl<'de, I: Id, T: Deserialize<'de>> Deserialize<'de> for Table<I, T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Rows<T>(PhantomData<T>);

        impl<'de, T: Deserialize<'de>> Visitor<'de> for Rows<T> {
            type Value = Vec<T>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "the rows of a table")
            }

            fn visit_newtype_struct<D: Deserializer<'de>>(self, deserializer: D) -> Result<Vec<T>, D::Error> {
                Vec::deserialize(deserializer)
            }
        }

        Ok(Self { rows: deserializer.deserialize_newtype_struct(I::TABLE, Rows(PhantomData))?, id: PhantomData })
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
