//! What of a stage is kept, and what is made anew.

use std::sync::Arc;

use serde::Serialize;
use serde::de::DeserializeOwned;
use track::Table;

use super::node::Node;

/// Bytes that do not say what they should.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Misread;

/// Takes down values one after another: as bytes, or as a tree of what they are.
#[derive(Debug)]
pub(crate) struct Writer {
    form: Form,
    /// Something could not be taken down.
    failed: bool,
}

#[derive(Debug)]
enum Form {
    Bytes(Vec<u8>),
    Tree(Vec<(&'static str, Part)>),
}

/// A part of what a stage takes down.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Part {
    /// One field.
    Value(Node),
    /// All of a struct, field by field.
    Fields(Vec<(&'static str, Part)>),
    /// Many of the same kind, and whose table it is, if it is one.
    Rows(Option<&'static str>, Vec<Part>),
}

impl Default for Writer {
    fn default() -> Self {
        Self { form: Form::Bytes(Vec::new()), failed: false }
    }
}

impl Writer {
    fn tree() -> Self {
        Self { form: Form::Tree(Vec::new()), failed: false }
    }

    /// The tree of a whole; nothing where some of it could not be taken down.
    pub(super) fn tree_of(whole: &impl Kept) -> Option<Part> {
        let mut writer = Self::tree();
        whole.keep(&mut writer);
        let Form::Tree(fields) = writer.form else { return None };
        (!writer.failed).then_some(Part::Fields(fields))
    }

    pub(crate) fn put(&mut self, name: &'static str, value: &impl Serialize) {
        let is_written = match &mut self.form {
            Form::Bytes(bytes) => match postcard::to_extend(value, std::mem::take(bytes)) {
                Ok(longer) => {
                    *bytes = longer;
                    true
                }
                Err(_) => false,
            },
            Form::Tree(fields) => {
                let node = Node::of(value);
                let is_written = node.is_some();
                fields.extend(node.map(|node| (name, Part::Value(node))));
                is_written
            }
        };
        debug_assert!(is_written, "the state cannot be taken down: `{name}`");
        self.failed |= !is_written;
    }

    /// Takes down a part.
    pub(crate) fn part(&mut self, name: &'static str, part: &impl Kept) {
        if matches!(self.form, Form::Bytes(_)) {
            return part.keep(self);
        }
        let mut inner = Self::tree();
        part.keep(&mut inner);
        self.failed |= inner.failed;
        if let (Form::Tree(fields), Form::Tree(of_part)) = (&mut self.form, inner.form) {
            fields.push((name, Part::Fields(of_part)));
        }
    }

    fn rows<'r, T: Kept + 'r>(&mut self, table: Option<&'static str>, rows: impl Iterator<Item = &'r T>) {
        if matches!(self.form, Form::Bytes(_)) {
            return rows.for_each(|row| row.keep(self));
        }
        let mut parts = Vec::new();
        for row in rows {
            let mut inner = Self::tree();
            row.keep(&mut inner);
            self.failed |= inner.failed;
            if let Form::Tree(fields) = inner.form {
                parts.push(Part::Fields(fields));
            }
        }
        if let Form::Tree(fields) = &mut self.form {
            fields.push(("rows", Part::Rows(table, parts)));
        }
    }

    /// Everything that was taken down; nothing where some of it could not be, so that it is never read back.
    pub(crate) fn into_bytes(self) -> Vec<u8> {
        match self.form {
            Form::Bytes(bytes) if !self.failed => bytes,
            _ => Vec::new(),
        }
    }
}

impl Part {
    /// The bytes that what it was made of is taken down in.
    pub(super) fn write(&self, writer: &mut Writer) {
        match self {
            Self::Value(node) => writer.put("", node),
            Self::Fields(fields) => fields.iter().for_each(|(_, part)| part.write(writer)),
            Self::Rows(_, rows) => rows.iter().for_each(|row| row.write(writer)),
        }
    }
}

/// Reads values back in the same order.
#[derive(Debug)]
pub(crate) struct Reader<'a> {
    rest: &'a [u8],
}

impl<'a> Reader<'a> {
    pub(crate) fn new(bytes: &'a [u8]) -> Self {
        Self { rest: bytes }
    }

    pub(crate) fn take<T: DeserializeOwned>(&mut self) -> Result<T, Misread> {
        let (value, rest) = postcard::take_from_bytes(self.rest).map_err(|_| Misread)?;
        self.rest = rest;
        Ok(value)
    }

    pub(crate) fn is_at_the_end(&self) -> bool {
        self.rest.is_empty()
    }
}

/// A thing some of which is worked out from the layout: that is made anew with the thing itself, the rest is kept.
pub(crate) trait Kept {
    /// Takes down what is kept.
    fn keep(&self, writer: &mut Writer);

    /// Reads back what was kept, into a thing made anew for the same layout.
    fn take_back(&mut self, reader: &mut Reader<'_>) -> Result<(), Misread>;
}

/// Says of every field of a struct whether it is kept, holds parts that are kept and others that are not, or is made anew. A
/// field that is not named does not compile.
macro_rules! kept {
    ($type:ty {
        kept: [$($kept:ident),* $(,)?],
        parts: [$($part:ident),* $(,)?],
        made_anew: [$($(#[$attribute:meta])* $anew:ident),* $(,)?] $(,)?
    }) => {
        impl $crate::snapshot::Kept for $type {
            fn keep(&self, writer: &mut $crate::snapshot::Writer) {
                let Self { $($kept,)* $($part,)* $($(#[$attribute])* $anew: _,)* } = self;
                $(writer.put(stringify!($kept), $kept);)*
                $(writer.part(stringify!($part), $part);)*
            }

            fn take_back(
                &mut self,
                reader: &mut $crate::snapshot::Reader<'_>,
            ) -> Result<(), $crate::snapshot::Misread> {
                $(self.$kept = reader.take()?;)*
                $($crate::snapshot::Kept::take_back(&mut self.$part, reader)?;)*
                Ok(())
            }
        }
    };
}
pub(crate) use kept;

/// What is shared is kept once, by whoever hands it out.
impl<T: Serialize + DeserializeOwned> Kept for Arc<T> {
    fn keep(&self, writer: &mut Writer) {
        writer.put("shared", &**self);
    }

    fn take_back(&mut self, reader: &mut Reader<'_>) -> Result<(), Misread> {
        *self = Self::new(reader.take()?);
        Ok(())
    }
}

impl<T: Kept> Kept for Vec<T> {
    fn keep(&self, writer: &mut Writer) {
        writer.rows(None, self.iter());
    }

    fn take_back(&mut self, reader: &mut Reader<'_>) -> Result<(), Misread> {
        self.iter_mut().try_for_each(|row| row.take_back(reader))
    }
}

impl<I: track::Id, T: Kept> Kept for Table<I, T> {
    fn keep(&self, writer: &mut Writer) {
        writer.rows(Some(I::TABLE), self.values());
    }

    fn take_back(&mut self, reader: &mut Reader<'_>) -> Result<(), Misread> {
        self.values_mut().try_for_each(|row| row.take_back(reader))
    }
}
