//! How inputs, outputs and causes become bytes, and come back.
//!
//! Whole numbers are written in as few bytes as they need, seven bits a byte, the lowest first; signed ones zigzag; ids by their
//! place; texts and lists with their length ahead. A kind of thing is a number that is never given to another kind. Every
//! list of inputs, outputs or causes begins with the number of this format, [`FORMAT`]: bytes of another are refused, not
//! guessed at. A kind that is new takes a number that is free, and needs no other format.
//!
//! It is done by hand, not derived, so that a field that is moved or renamed never changes what was written years ago.

mod door;
mod lessons;
#[cfg(test)]
mod tests;

use std::fmt;

use signaller::{Input, Output};

use crate::entry::Cause;

/// The number of this format.
pub(crate) const FORMAT: u8 = 1;

/// Nothing holds more things than this: what says so is no list.
const LONGEST: u64 = 1 << 24;

/// Bytes that are not what they should be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Garbled;

impl fmt::Display for Garbled {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "what is kept there cannot be understood")
    }
}

impl std::error::Error for Garbled {}

/// Something that becomes bytes, and comes back.
pub(crate) trait Coded: Sized {
    /// Adds its bytes.
    fn put(&self, out: &mut Vec<u8>);
    /// Takes it off the beginning of the bytes.
    fn take(from: &mut &[u8]) -> Result<Self, Garbled>;
}

/// What was heard in one step, as bytes.
pub fn inputs_to_bytes<'i>(inputs: impl ExactSizeIterator<Item = &'i Input>) -> Vec<u8> {
    let mut out = vec![FORMAT];
    (inputs.len() as u64).put(&mut out);
    inputs.for_each(|input| input.put(&mut out));
    out
}

/// Undoes [`inputs_to_bytes`].
///
/// # Errors
/// Bytes that are something else.
pub fn inputs_from_bytes(bytes: &[u8]) -> Result<Vec<Input>, Garbled> {
    whole(bytes)
}

/// What came out of one step, as bytes.
pub fn outputs_to_bytes(outputs: &[Output]) -> Vec<u8> {
    let mut out = vec![FORMAT];
    put_list(outputs, &mut out);
    out
}

/// Undoes [`outputs_to_bytes`].
///
/// # Errors
/// Bytes that are something else.
pub fn outputs_from_bytes(bytes: &[u8]) -> Result<Vec<Output>, Garbled> {
    whole(bytes)
}

/// The causes of inputs, in their order: as a rule many in a row are the same, and are written once.
pub(crate) fn causes_to_bytes<'c>(causes: impl Iterator<Item = &'c Cause>) -> Vec<u8> {
    let mut runs: Vec<(u64, &Cause)> = Vec::new();
    for cause in causes {
        match runs.last_mut() {
            Some((count, last)) if *last == cause => *count += 1,
            _ => runs.push((1, cause)),
        }
    }
    let mut out = vec![FORMAT];
    for (count, cause) in runs {
        count.put(&mut out);
        cause.put(&mut out);
    }
    out
}

/// Undoes [`causes_to_bytes`], of so many inputs.
pub(crate) fn causes_from_bytes(bytes: &[u8], inputs: usize) -> Result<Vec<Cause>, Garbled> {
    let mut from = without_format(bytes)?;
    let mut causes = Vec::new();
    while !from.is_empty() {
        let count = usize::take(&mut from)?;
        let cause = Cause::take(&mut from)?;
        if count > inputs - causes.len() {
            return Err(Garbled);
        }
        causes.extend((0..count).map(|_| cause.clone()));
    }
    if causes.len() == inputs { Ok(causes) } else { Err(Garbled) }
}

/// Anything, with the number of the format ahead.
pub(crate) fn to_bytes(thing: &impl Coded) -> Vec<u8> {
    let mut out = vec![FORMAT];
    thing.put(&mut out);
    out
}

/// One thing of all of the bytes, with the number of the format ahead.
pub(crate) fn whole<T: Coded>(bytes: &[u8]) -> Result<T, Garbled> {
    let mut from = without_format(bytes)?;
    let thing = T::take(&mut from)?;
    if from.is_empty() { Ok(thing) } else { Err(Garbled) }
}

fn without_format(bytes: &[u8]) -> Result<&[u8], Garbled> {
    match bytes.split_first() {
        Some((&FORMAT, rest)) => Ok(rest),
        _ => Err(Garbled),
    }
}

fn put_list<T: Coded>(list: &[T], out: &mut Vec<u8>) {
    (list.len() as u64).put(out);
    list.iter().for_each(|thing| thing.put(out));
}

impl Coded for u64 {
    fn put(&self, out: &mut Vec<u8>) {
        let mut left = *self;
        while left >= 0x80 {
            out.push(left as u8 | 0x80);
            left >>= 7;
        }
        out.push(left as u8);
    }

    fn take(from: &mut &[u8]) -> Result<Self, Garbled> {
        let mut value = 0;
        for shift in (0..64).step_by(7) {
            let byte = u8::take(from)?;
            let bits = u64::from(byte & 0x7F);
            if shift == 63 && bits > 1 {
                return Err(Garbled);
            }
            value |= bits << shift;
            if byte < 0x80 {
                return Ok(value);
            }
        }
        Err(Garbled)
    }
}

impl Coded for i64 {
    fn put(&self, out: &mut Vec<u8>) {
        ((self << 1) ^ (self >> 63)).cast_unsigned().put(out);
    }

    fn take(from: &mut &[u8]) -> Result<Self, Garbled> {
        let zigzag = u64::take(from)?;
        Ok((zigzag >> 1).cast_signed() ^ -(zigzag & 1).cast_signed())
    }
}

impl Coded for u8 {
    fn put(&self, out: &mut Vec<u8>) {
        out.push(*self);
    }

    fn take(from: &mut &[u8]) -> Result<Self, Garbled> {
        let (&first, rest) = from.split_first().ok_or(Garbled)?;
        *from = rest;
        Ok(first)
    }
}

macro_rules! narrower {
    ($($narrow:ty),*) => {$(
        impl Coded for $narrow {
            fn put(&self, out: &mut Vec<u8>) {
                (*self as u64).put(out);
            }

            fn take(from: &mut &[u8]) -> Result<Self, Garbled> {
                <$narrow>::try_from(u64::take(from)?).map_err(|_| Garbled)
            }
        }
    )*};
}

narrower!(u32, usize);

impl Coded for bool {
    fn put(&self, out: &mut Vec<u8>) {
        out.push(u8::from(*self));
    }

    fn take(from: &mut &[u8]) -> Result<Self, Garbled> {
        match u8::take(from)? {
            0 => Ok(false),
            1 => Ok(true),
            _ => Err(Garbled),
        }
    }
}

impl Coded for String {
    fn put(&self, out: &mut Vec<u8>) {
        (self.len() as u64).put(out);
        out.extend_from_slice(self.as_bytes());
    }

    fn take(from: &mut &[u8]) -> Result<Self, Garbled> {
        let length = usize::take(from)?;
        let (text, rest) = from.split_at_checked(length).ok_or(Garbled)?;
        *from = rest;
        Self::from_utf8(text.to_vec()).map_err(|_| Garbled)
    }
}

impl<T: Coded> Coded for Option<T> {
    fn put(&self, out: &mut Vec<u8>) {
        self.is_some().put(out);
        if let Some(thing) = self {
            thing.put(out);
        }
    }

    fn take(from: &mut &[u8]) -> Result<Self, Garbled> {
        Ok(if bool::take(from)? { Some(T::take(from)?) } else { None })
    }
}

impl<T: Coded> Coded for Box<T> {
    fn put(&self, out: &mut Vec<u8>) {
        (**self).put(out);
    }

    fn take(from: &mut &[u8]) -> Result<Self, Garbled> {
        T::take(from).map(Self::new)
    }
}

impl<T: Coded> Coded for Vec<T> {
    fn put(&self, out: &mut Vec<u8>) {
        put_list(self, out);
    }

    fn take(from: &mut &[u8]) -> Result<Self, Garbled> {
        let count = u64::take(from)?;
        // Everything takes at least a byte: a list that is longer than what is left is none, and no memory is spent on it.
        if count > LONGEST || count > from.len() as u64 {
            return Err(Garbled);
        }
        (0..count).map(|_| T::take(from)).collect()
    }
}

/// A thing of several fields, in this order.
macro_rules! fields {
    ($($name:ident { $($field:ident),* $(,)? })*) => {$(
        impl $crate::codec::Coded for $name {
            fn put(&self, out: &mut Vec<u8>) {
                let Self { $($field),* } = self;
                $( $crate::codec::Coded::put($field, out); )*
            }

            fn take(from: &mut &[u8]) -> Result<Self, $crate::codec::Garbled> {
                $( let $field = $crate::codec::Coded::take(from)?; )*
                Ok(Self { $($field),* })
            }
        }
    )*};
}

/// One of several kinds of things, each with its number and its fields.
macro_rules! kinds {
    ($($name:ident { $($tag:literal $kind:ident $({ $($field:ident),* })? $(( $($place:ident),* ))?),* $(,)? })*) => {$(
        impl $crate::codec::Coded for $name {
            fn put(&self, out: &mut Vec<u8>) {
                match self {
                    $( Self::$kind $({ $($field),* })? $(( $($place),* ))? => {
                        out.push($tag);
                        $( $( $crate::codec::Coded::put($field, out); )* )?
                        $( $( $crate::codec::Coded::put($place, out); )* )?
                    } )*
                }
            }

            fn take(from: &mut &[u8]) -> Result<Self, $crate::codec::Garbled> {
                match u8::take(from)? {
                    $( $tag => {
                        $( $( let $field = $crate::codec::Coded::take(from)?; )* )?
                        $( $( let $place = $crate::codec::Coded::take(from)?; )* )?
                        Ok(Self::$kind $({ $($field),* })? $(( $($place),* ))?)
                    } )*
                    _ => Err($crate::codec::Garbled),
                }
            }
        }
    )*};
}

pub(crate) use door::Certainty;
pub(crate) use fields;
use kinds;
