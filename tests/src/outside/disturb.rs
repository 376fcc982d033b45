//! Lines that arrive twice, not at all, or in the wrong order.

/// What is done to one section line in a hundred.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Disturbance {
    /// It comes twice.
    Doubled,
    /// It is lost.
    Dropped,
    /// It changes places with the next section line of a later instant: each keeps the other's time.
    Swapped,
}

impl Disturbance {
    pub(super) const ALL: [Self; 3] = [Self::Doubled, Self::Dropped, Self::Swapped];

    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Doubled => "doubled",
            Self::Dropped => "dropped",
            Self::Swapped => "swapped",
        }
    }
}

const ONE_IN: u64 = 100;

/// The lines with about one section line in a hundred disturbed, always the same ones for a seed.
pub(super) fn disturbed(lines: &[String], disturbance: Disturbance, seed: u64) -> Vec<String> {
    let mut random = Random(seed);
    let mut disturbed: Vec<String> = Vec::with_capacity(lines.len() + lines.len() / 50);
    let chosen: Vec<bool> =
        lines.iter().map(|line| line.contains("\"section\"") && random.next().is_multiple_of(ONE_IN)).collect();
    if disturbance == Disturbance::Swapped {
        disturbed.extend(lines.iter().cloned());
        for place in (0..lines.len()).filter(|&place| chosen[place]) {
            let later = |&other: &usize| {
                lines[other].contains("\"section\"") && parts(&lines[other]).0 != parts(&lines[place]).0
            };
            if let Some(other) = (place + 1..lines.len()).find(later) {
                let ((early, one), (late, two)) = (parts(&disturbed[place]), parts(&disturbed[other]));
                let swapped = (format!("{early}{two}"), format!("{late}{one}"));
                (disturbed[place], disturbed[other]) = swapped;
            }
        }
        return disturbed;
    }
    for (line, &chosen) in lines.iter().zip(&chosen) {
        let times = match (disturbance, chosen) {
            (Disturbance::Doubled, true) => 2,
            (Disturbance::Dropped, true) => 0,
            _ => 1,
        };
        disturbed.extend(std::iter::repeat_n(line, times).cloned());
    }
    disturbed
}

/// A line's time, with what stands before it, and the rest. The recordings write the time first.
fn parts(line: &str) -> (&str, &str) {
    assert!(line.starts_with("{\"at\": "), "the time does not come first: {line}");
    line.split_at(line.find(',').unwrap())
}

/// The generator SplitMix64 (Steele, Lea and Flood, Fast Splittable Pseudorandom Number Generators, 2014, figure 17).
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut word = self.0;
        word = (word ^ (word >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        word = (word ^ (word >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        word ^ (word >> 31)
    }
}

#[test]
fn a_swap_exchanges_two_lines_and_keeps_time_in_order() {
    let line = |at: usize| format!("{{\"at\": {at}.0, \"section\": \"s{at}\", \"occupied\": true}}");
    let lines: Vec<String> = (0..1000).map(line).collect();
    let swapped = disturbed(&lines, Disturbance::Swapped, 3);
    let moved = (0..1000).filter(|&at| swapped[at] != lines[at]).count();
    assert!((6..40).contains(&moved), "{moved} lines moved");
    assert!((0..1000).all(|at| parts(&swapped[at]).0 == parts(&lines[at]).0), "a time moved");
    assert_eq!(
        disturbed(&lines, Disturbance::Dropped, 3).len(),
        2000 - disturbed(&lines, Disturbance::Doubled, 3).len()
    );
}
