//! A fingerprint of a run, so that two runs can be compared without keeping either.

use std::fmt::{self, Debug, Write};

/// FNV-1a, 64 bits (Fowler, Noll and Vo). The same on every machine; of different builds only as long as the names of inputs
/// and outputs stay the same, for it reads their debug text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Digest {
    value: u64,
}

impl Digest {
    /// The digest of nothing.
    pub const fn new() -> Self {
        Self { value: 0xCBF2_9CE4_8422_2325 }
    }

    /// Adds bytes.
    pub fn add_bytes(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.value = (self.value ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01B3);
        }
    }

    /// Adds a thing by its debug text, and a mark that it ends here.
    pub fn add(&mut self, thing: &impl Debug) {
        // Writing into a digest never fails, and a `Debug` that fails says so in every run alike.
        let _ = write!(self, "{thing:?}");
        self.add_bytes(&[0]);
    }

    /// The digest.
    pub const fn value(self) -> u64 {
        self.value
    }
}

impl Default for Digest {
    fn default() -> Self {
        Self::new()
    }
}

impl Write for Digest {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        self.add_bytes(text.as_bytes());
        Ok(())
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:016x}", self.value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Test vectors of the authors' reference code, `test_fnv.c`, for FNV-1a of 64 bits: "", "a" and "foobar".
    #[test]
    fn the_digest_is_the_published_one() {
        let of = |text: &str| {
            let mut digest = Digest::new();
            digest.add_bytes(text.as_bytes());
            digest.value()
        };
        assert_eq!(of(""), 0xCBF2_9CE4_8422_2325);
        assert_eq!(of("a"), 0xAF63_DC4C_8601_EC8C);
        assert_eq!(of("foobar"), 0x8594_4171_F739_67E8);
    }
}
