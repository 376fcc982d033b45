//! Which aliases a node tries, one after the other (CAN Frame Transfer, technical note, section 6.1).

use super::NodeId;

/// 48 bits.
const MASK: u64 = 0xFFFF_FFFF_FFFF;
/// What is added in each step.
const ADDED: u64 = 0x1B0C_A37A_4BA9;

/// The aliases that a node tries.
#[derive(Clone, Copy, Debug)]
pub struct Aliases {
    state: u64,
}

impl Aliases {
    /// Those of a node: they begin with its id.
    pub fn of(node: NodeId) -> Self {
        Self { state: node & MASK }
    }

    /// Where the sequence is.
    pub fn state(&self) -> u64 {
        self.state
    }

    /// The alias at this place; it may be 0, which nobody may have.
    pub fn here(&self) -> u16 {
        let parts = [36, 24, 12, 0].map(|shift| (self.state >> shift & 0xFFF) as u16);
        parts[0] ^ parts[1] ^ parts[2] ^ parts[3]
    }

    /// Goes on by one.
    pub fn step(&mut self) {
        self.state = (self.state.wrapping_mul((1 << 9) + 1).wrapping_add(ADDED)) & MASK;
    }

    /// The alias to try now: that of this place, or of the next where that is not 0. Goes on.
    pub fn next_alias(&mut self) -> u16 {
        loop {
            let alias = self.here();
            self.step();
            if alias != 0 {
                return alias;
            }
        }
    }
}
