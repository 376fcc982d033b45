//! State as a tree that says what each part of it is, so that numbers in it can be changed. It is written as bytes again exactly
//! as what it was made of would be.

use std::fmt;

use serde::ser::{self, Serialize, Serializer};

/// A part of the state.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Node {
    Unit,
    Bool(bool),
    I8(i8),
    I16(i16),
    I32(i32),
    I64(i64),
    U8(u8),
    U16(u16),
    U32(u32),
    U64(u64),
    F32(f32),
    F64(f64),
    Char(char),
    Text(String),
    Bytes(Vec<u8>),
    None,
    Some(Box<Node>),
    /// One value with a name: an id, or a table.
    Named(&'static str, Box<Node>),
    /// As many as there are.
    List(Vec<Node>),
    Map(Vec<(Node, Node)>),
    /// The fields of a struct or a tuple.
    Fields(Vec<Node>),
    /// A variant by its place, with what it holds.
    Variant(u32, Holds),
}

/// What a variant holds.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Holds {
    Nothing,
    One(Box<Node>),
    Fields(Vec<Node>),
}

impl Node {
    /// The tree of a value; nothing where it cannot be taken down.
    pub(super) fn of(value: &impl Serialize) -> Option<Self> {
        value.serialize(Maker).ok()
    }
}

impl Serialize for Node {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        use serde::ser::SerializeTuple;
        match self {
            Self::Unit => serializer.serialize_unit(),
            Self::Bool(value) => serializer.serialize_bool(*value),
            Self::I8(value) => serializer.serialize_i8(*value),
            Self::I16(value) => serializer.serialize_i16(*value),
            Self::I32(value) => serializer.serialize_i32(*value),
            Self::I64(value) => serializer.serialize_i64(*value),
            Self::U8(value) => serializer.serialize_u8(*value),
            Self::U16(value) => serializer.serialize_u16(*value),
            Self::U32(value) => serializer.serialize_u32(*value),
            Self::U64(value) => serializer.serialize_u64(*value),
            Self::F32(value) => serializer.serialize_f32(*value),
            Self::F64(value) => serializer.serialize_f64(*value),
            Self::Char(value) => serializer.serialize_char(*value),
            Self::Text(value) => serializer.serialize_str(value),
            Self::Bytes(value) => serializer.serialize_bytes(value),
            Self::None => serializer.serialize_none(),
            Self::Some(value) => serializer.serialize_some(value),
            Self::Named(name, value) => serializer.serialize_newtype_struct(name, value),
            Self::List(values) => serializer.collect_seq(values),
            Self::Map(pairs) => serializer.collect_map(pairs.iter().map(|(key, value)| (key, value))),
            Self::Fields(fields) => {
                let mut tuple = serializer.serialize_tuple(fields.len())?;
                fields.iter().try_for_each(|field| tuple.serialize_element(field))?;
                tuple.end()
            }
            Self::Variant(place, Holds::Nothing) => serializer.serialize_unit_variant("", *place, ""),
            Self::Variant(place, Holds::One(value)) => serializer.serialize_newtype_variant("", *place, "", value),
            Self::Variant(place, Holds::Fields(fields)) => {
                use serde::ser::SerializeTupleVariant;
                let mut tuple = serializer.serialize_tuple_variant("", *place, "", fields.len())?;
                fields.iter().try_for_each(|field| tuple.serialize_field(field))?;
                tuple.end()
            }
        }
    }
}

/// Makes the tree of a value.
#[derive(Clone, Copy, Debug)]
struct Maker;

/// A value that has no place in a tree.
#[derive(Debug)]
struct NoPlace;

impl fmt::Display for NoPlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "a value has no place in a tree")
    }
}

impl std::error::Error for NoPlace {}

impl ser::Error for NoPlace {
    fn custom<T: fmt::Display>(_: T) -> Self {
        Self
    }
}

/// What is gathered, and what is made of it.
struct Gather {
    rows: Vec<Node>,
    of: Of,
}

enum Of {
    List,
    Fields,
    Variant(u32),
}

impl Gather {
    fn new(of: Of) -> Self {
        Self { rows: Vec::new(), of }
    }

    fn add<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), NoPlace> {
        self.rows.push(value.serialize(Maker)?);
        Ok(())
    }

    fn node(self) -> Node {
        match self.of {
            Of::List => Node::List(self.rows),
            Of::Fields => Node::Fields(self.rows),
            Of::Variant(place) => Node::Variant(place, Holds::Fields(self.rows)),
        }
    }
}

macro_rules! leaves {
    ($($method:ident($type:ty) => $node:ident),* $(,)?) => {
        $(fn $method(self, value: $type) -> Result<Node, NoPlace> {
            Ok(Node::$node(value.into()))
        })*
    };
}

impl Serializer for Maker {
    type Ok = Node;
    type Error = NoPlace;
    type SerializeSeq = Gather;
    type SerializeTuple = Gather;
    type SerializeTupleStruct = Gather;
    type SerializeTupleVariant = Gather;
    type SerializeMap = Pairs;
    type SerializeStruct = Gather;
    type SerializeStructVariant = Gather;

    leaves! {
        serialize_bool(bool) => Bool,
        serialize_i8(i8) => I8,
        serialize_i16(i16) => I16,
        serialize_i32(i32) => I32,
        serialize_i64(i64) => I64,
        serialize_u8(u8) => U8,
        serialize_u16(u16) => U16,
        serialize_u32(u32) => U32,
        serialize_u64(u64) => U64,
        serialize_f32(f32) => F32,
        serialize_f64(f64) => F64,
        serialize_char(char) => Char,
        serialize_str(&str) => Text,
        serialize_bytes(&[u8]) => Bytes,
    }

    fn serialize_none(self) -> Result<Node, NoPlace> {
        Ok(Node::None)
    }

    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> Result<Node, NoPlace> {
        Ok(Node::Some(Box::new(value.serialize(self)?)))
    }

    fn serialize_unit(self) -> Result<Node, NoPlace> {
        Ok(Node::Unit)
    }

    fn serialize_unit_struct(self, _: &'static str) -> Result<Node, NoPlace> {
        Ok(Node::Unit)
    }

    fn serialize_unit_variant(self, _: &'static str, place: u32, _: &'static str) -> Result<Node, NoPlace> {
        Ok(Node::Variant(place, Holds::Nothing))
    }

    fn serialize_newtype_struct<T: Serialize + ?Sized>(self, name: &'static str, value: &T) -> Result<Node, NoPlace> {
        Ok(Node::Named(name, Box::new(value.serialize(self)?)))
    }

    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        place: u32,
        _: &'static str,
        value: &T,
    ) -> Result<Node, NoPlace> {
        Ok(Node::Variant(place, Holds::One(Box::new(value.serialize(self)?))))
    }

    fn serialize_seq(self, _: Option<usize>) -> Result<Gather, NoPlace> {
        Ok(Gather::new(Of::List))
    }

    fn serialize_tuple(self, _: usize) -> Result<Gather, NoPlace> {
        Ok(Gather::new(Of::Fields))
    }

    fn serialize_tuple_struct(self, _: &'static str, _: usize) -> Result<Gather, NoPlace> {
        Ok(Gather::new(Of::Fields))
    }

    fn serialize_tuple_variant(
        self,
        _: &'static str,
        place: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Gather, NoPlace> {
        Ok(Gather::new(Of::Variant(place)))
    }

    fn serialize_map(self, _: Option<usize>) -> Result<Pairs, NoPlace> {
        Ok(Pairs { rows: Vec::new(), key: Node::Unit })
    }

    fn serialize_struct(self, _: &'static str, _: usize) -> Result<Gather, NoPlace> {
        Ok(Gather::new(Of::Fields))
    }

    fn serialize_struct_variant(
        self,
        _: &'static str,
        place: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Gather, NoPlace> {
        Ok(Gather::new(Of::Variant(place)))
    }

    fn is_human_readable(&self) -> bool {
        false
    }
}

macro_rules! gathers {
    ($($trait:ident $method:ident($($key:ident: $type:ty)?)),* $(,)?) => {
        $(impl ser::$trait for Gather {
            type Ok = Node;
            type Error = NoPlace;

            fn $method<T: Serialize + ?Sized>(&mut self, $($key: $type,)? value: &T) -> Result<(), NoPlace> {
                self.add(value)
            }

            fn end(self) -> Result<Node, NoPlace> {
                Ok(self.node())
            }
        })*
    };
}

gathers! {
    SerializeSeq serialize_element(),
    SerializeTuple serialize_element(),
    SerializeTupleStruct serialize_field(),
    SerializeTupleVariant serialize_field(),
    SerializeStruct serialize_field(_name: &'static str),
    SerializeStructVariant serialize_field(_name: &'static str),
}

/// Pairs of a map.
struct Pairs {
    rows: Vec<(Node, Node)>,
    /// The key whose value comes next.
    key: Node,
}

impl ser::SerializeMap for Pairs {
    type Ok = Node;
    type Error = NoPlace;

    fn serialize_key<T: Serialize + ?Sized>(&mut self, key: &T) -> Result<(), NoPlace> {
        self.key = key.serialize(Maker)?;
        Ok(())
    }

    fn serialize_value<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), NoPlace> {
        let key = std::mem::replace(&mut self.key, Node::Unit);
        self.rows.push((key, value.serialize(Maker)?));
        Ok(())
    }

    fn end(self) -> Result<Node, NoPlace> {
        Ok(Node::Map(self.rows))
    }
}
