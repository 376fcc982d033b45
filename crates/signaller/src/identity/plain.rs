//! The plain course of things: one train, all of it seen, runs on into the next section or draws its tail out of the last.
//!
//! Nearly everything that is ever heard is of this kind, so it is worked out in place. The search comes to the same result in
//! a more costly way; builds with debug assertions run both and compare.

use super::account::Stand;
use super::moves::Scene;
use super::picture::Hold;
use super::search::Line;

impl Scene<'_> {
    /// Moves the stand on if that is the only explanation of all lines worth keeping. Otherwise the stand is left in
    /// whatever state, and tells so.
    pub fn runs_on(&self, stand: &mut Stand, lines: &[Line]) -> bool {
        let plain = |line: &Line| line.values.len() == 1 && line.placed.is_empty() && line.was != line.values[0];
        if lines.len() > 8 || !lines.iter().all(plain) || !stand.holds.iter().all(|hold| hold.seen) {
            return false;
        }
        let mut fillings = lines.iter().filter(|line| line.values[0]).count();
        while fillings > 0 {
            if !self.nose_fills_one(stand, lines) {
                return false;
            }
            fillings -= 1;
        }
        let mut emptyings = lines.iter().filter(|line| !line.values[0]).count();
        while emptyings > 0 {
            let tail = stand.tail().section;
            if stand.holds.len() == 1
                || !lines.iter().any(|line| line.section == tail && !line.values[0])
                || self.leaves_too_early(stand, 0)
            {
                return false;
            }
            stand.holds.remove(0);
            stand.head = self.head_as_tail_passes(stand, tail);
            emptyings -= 1;
        }
        true
    }

    /// Extends the stand into the one section of the lines that lies ahead of its nose, if nothing else comes into question.
    fn nose_fills_one(&self, stand: &mut Stand, lines: &[Line]) -> bool {
        let (Some(enter), tail) = (stand.nose().enter, stand.tail()) else { return false };
        let mut ahead = None;
        for passage in self.topology.passages(enter) {
            for &entry in self.topology.meets(passage.leave) {
                let section = self.topology.section_of[entry];
                if lines.iter().any(|line| line.values[0] && line.section == section) {
                    if ahead.is_some() {
                        return false;
                    }
                    ahead = Some((passage.way, entry, section));
                }
            }
        }
        let Some((way, entry, section)) = ahead else { return false };
        let behind_too = tail.enter.is_some_and(|back| {
            self.topology.meets(back).iter().any(|&entry| self.topology.section_of[entry] == section)
        });
        if behind_too
            || stand.position(section).is_some()
            || self.topology.is_border(section)
            || self.stranger(section) >= self.prices.given_up
            || self.ahead_into(stand, Some(way), section) * self.entered(entry) < 1.0
        {
            return false;
        }
        stand.head = self.head_beyond(stand, Some(way), section);
        stand.holds.push(Hold { section, enter: Some(entry), seen: true });
        true
    }
}
