//! The nearest right name to one that was mistyped.

/// Names farther away than this share of their length are no help, only noise.
const FARTHEST_SHARE: usize = 3;

/// The candidate nearest to `written`, if one is near enough to have been meant.
///
/// Near means few letters added, dropped, changed or swapped with their neighbour; upper and lower case count as a
/// small change, so that `h0` finds `H0` before `N`.
pub fn nearest<'c>(written: &str, candidates: impl Iterator<Item = &'c str>) -> Option<&'c str> {
    let letters: Vec<char> = written.chars().take(LONGEST).collect();
    let mut best: Option<(usize, &str)> = None;
    let mut rows = Rows::default();
    for candidate in candidates {
        let length = candidate.chars().count();
        let bound = best.map_or(farthest(letters.len(), length), |(distance, _)| distance.saturating_sub(1));
        if letters.len().abs_diff(length) * WHOLE > bound {
            continue;
        }
        let distance = rows.distance(&letters, candidate);
        if distance <= bound {
            best = Some((distance, candidate));
            if distance == 0 {
                break;
            }
        }
    }
    best.map(|(_, candidate)| candidate)
}

/// Names longer than this are compared by their beginning.
const LONGEST: usize = 64;
/// What one changed letter costs.
const WHOLE: usize = 4;
/// What a letter in the wrong case costs.
const CASE: usize = 1;

fn farthest(one: usize, other: usize) -> usize {
    (one.max(other) / FARTHEST_SHARE).max(1) * WHOLE
}

/// Three rows of the distance table, kept so that a hundred thousand comparisons allocate once.
#[derive(Default)]
struct Rows {
    before_last: Vec<usize>,
    last: Vec<usize>,
    this: Vec<usize>,
}

impl Rows {
    fn distance(&mut self, written: &[char], candidate: &str) -> usize {
        self.last.clear();
        self.last.extend((0..=written.len()).map(|count| count * WHOLE));
        let mut previous: Option<char> = None;
        for (row, letter) in candidate.chars().take(LONGEST).enumerate() {
            self.this.clear();
            self.this.push((row + 1) * WHOLE);
            for (column, &other) in written.iter().enumerate() {
                let change = self.last[column] + change(letter, other);
                let add_or_drop = self.last[column + 1].min(self.this[column]) + WHOLE;
                let mut cheapest = change.min(add_or_drop);
                let swapped = column > 0 && previous == Some(other) && written[column - 1] == letter && other != letter;
                if swapped {
                    cheapest = cheapest.min(self.before_last[column - 1] + WHOLE);
                }
                self.this.push(cheapest);
            }
            std::mem::swap(&mut self.before_last, &mut self.last);
            std::mem::swap(&mut self.last, &mut self.this);
            previous = Some(letter);
        }
        self.last[written.len()]
    }
}

fn change(one: char, other: char) -> usize {
    if one == other {
        0
    } else if one.to_lowercase().eq(other.to_lowercase()) {
        CASE
    } else {
        WHOLE
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mistyped_quay_is_found() {
        let names = ["quay-1", "quay-2", "west-throat"];
        let find = |written| nearest(written, names.into_iter());
        assert_eq!(find("quey-2"), Some("quay-2"));
        assert_eq!(find("west-thraot"), Some("west-throat"));
        assert_eq!(find("Quay-1"), Some("quay-1"));
        assert_eq!(find("harbour"), None);
        assert_eq!(nearest("h0", ["N", "H0"].into_iter()), Some("H0"));
        assert_eq!(nearest("", ["a-long-name"].into_iter()), None);
    }
}
