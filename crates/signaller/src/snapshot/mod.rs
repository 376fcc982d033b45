//! The whole state of a signaller in bytes: what a restored one needs to go on as if nothing had happened.
//!
//! What is worked out from the layout alone is made anew. A snapshot belongs to the layout it was made on and to the form of
//! state that the program had then; another is refused, and whoever keeps what was heard begins to hear it again from further
//! back.
//!
//! The bytes are: a mark; the version that made it, and the form of its state; a digest of the layout; a digest of everything;
//! and the state. Numbers are little-endian. The digest finds damage; it does not keep out somebody who means harm.

mod carry;
mod kept;
mod node;
#[cfg(test)]
mod tests;

use std::fmt;
use std::sync::Arc;

use track::Layout;

pub(crate) use carry::Gone;
pub(crate) use kept::{Kept, Misread, Reader, Writer, kept};

use crate::digest::Digest;
use crate::signaller::{Conduct, Signaller};

/// What every snapshot begins with.
const MARK: [u8; 8] = *b"LclState";

/// The version of the program.
const VERSION: &str = env!("CARGO_PKG_VERSION");

/// The form of its state; see `build.rs`.
const FORM: &str = env!("FORM_OF_STATE");

/// Why a snapshot cannot be restored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum RestoreError {
    /// It is something else.
    NoSnapshot,
    /// Another version of the program made it: this one.
    OtherVersion(String),
    /// It was made on another layout, or before this one was changed.
    OtherLayout,
    /// Some of it is missing, or is not what was written.
    Damaged,
}

impl fmt::Display for RestoreError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSnapshot => write!(f, "this is no snapshot of a signaller"),
            Self::OtherVersion(version) => {
                write!(f, "the snapshot was made by version `{version}`, and this is `{}`", version_of_state())
            }
            Self::OtherLayout => write!(f, "the snapshot was made on another layout, or before this one was changed"),
            Self::Damaged => write!(f, "the snapshot is damaged: some of it is missing or not as it was written"),
        }
    }
}

impl std::error::Error for RestoreError {}

/// Which snapshots this program can restore: the version, and the form of the state, which changes with every change of the
/// signaller.
pub fn version_of_state() -> String {
    format!("{VERSION}+{FORM}")
}

/// A digest of everything that a layout says. Equal layouts have equal digests; with every use of it the whole layout is read.
pub fn digest_of_layout(layout: &Layout) -> Digest {
    let mut digest = Digest::new();
    digest.add(layout);
    digest
}

impl Signaller {
    /// The whole state. [`Signaller::restore`] makes another signaller of it that goes on exactly as this one does.
    ///
    /// To be taken between steps. The first time the whole layout is read for its digest.
    pub fn snapshot(&self) -> Vec<u8> {
        let mut writer = Writer::default();
        writer.put("conduct", &self.conduct());
        self.keep(&mut writer);
        let state = writer.into_bytes();
        let mut bytes = Vec::with_capacity(state.len() + 128);
        bytes.extend(MARK);
        let version = version_of_state();
        bytes.extend((version.len() as u16).to_le_bytes());
        bytes.extend(version.bytes());
        bytes.extend(self.digest_of_layout().value().to_le_bytes());
        let sum = sum(&bytes, &state);
        bytes.extend(sum.to_le_bytes());
        bytes.extend(state);
        bytes
    }

    /// A signaller that goes on as the one did of which this is a snapshot, on the same layout.
    ///
    /// # Errors
    /// Tells why that cannot be: the bytes are no snapshot, or one of another version, of another layout, or damaged.
    pub fn restore(layout: Arc<Layout>, bytes: &[u8]) -> Result<Self, RestoreError> {
        let mut rest = bytes;
        let mark = take(&mut rest, MARK.len()).ok_or(RestoreError::NoSnapshot)?;
        if mark != MARK {
            return Err(RestoreError::NoSnapshot);
        }
        let [length, high] = *take(&mut rest, 2).ok_or(RestoreError::Damaged)? else {
            return Err(RestoreError::Damaged);
        };
        let version = take(&mut rest, usize::from(u16::from_le_bytes([length, high]))).ok_or(RestoreError::Damaged)?;
        let made_on = number(&mut rest)?;
        let head = bytes.len() - rest.len();
        // Damage is told first: of damaged bytes nobody can say who made them.
        if number(&mut rest)? != sum(&bytes[..head], rest) {
            return Err(RestoreError::Damaged);
        }
        if version != version_of_state().as_bytes() {
            return Err(RestoreError::OtherVersion(String::from_utf8_lossy(version).into_owned()));
        }
        let digest = digest_of_layout(&layout);
        if made_on != digest.value() {
            return Err(RestoreError::OtherLayout);
        }
        let signaller = Self::from_state(layout, rest).map_err(|Misread| RestoreError::Damaged)?;
        Ok(signaller.with_digest_of_layout(digest))
    }

    fn from_state(layout: Arc<Layout>, state: &[u8]) -> Result<Self, Misread> {
        let mut reader = Reader::new(state);
        let conduct: Conduct = reader.take()?;
        let mut signaller = Self::new(layout, conduct);
        signaller.take_back(&mut reader)?;
        signaller.share_roster();
        if reader.is_at_the_end() { Ok(signaller) } else { Err(Misread) }
    }
}

/// The digest of a head and of the state behind it.
fn sum(head: &[u8], state: &[u8]) -> u64 {
    let mut digest = Digest::new();
    digest.add_bytes(head);
    digest.add_bytes(state);
    digest.value()
}

fn take<'a>(rest: &mut &'a [u8], count: usize) -> Option<&'a [u8]> {
    let (taken, left) = rest.split_at_checked(count)?;
    *rest = left;
    Some(taken)
}

fn number(rest: &mut &[u8]) -> Result<u64, RestoreError> {
    let (taken, left) = rest.split_first_chunk().ok_or(RestoreError::Damaged)?;
    *rest = left;
    Ok(u64::from_le_bytes(*taken))
}
