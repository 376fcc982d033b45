//! Chance, all of it from one seed: labelled streams, so that drawing more of one thing never shifts another.

use signaller::Digest;

/// A stream of numbers: SplitMix64, after Steele, Lea and Flood, "Fast splittable pseudorandom number generators" (2014).
///
/// Ours, because the numbers of a seed must be the same in ten years: a failing seed is kept as a test.
#[derive(Clone, Debug)]
pub struct Stream {
    state: u64,
}

impl Stream {
    /// The stream that starts from this seed.
    pub const fn new(seed: u64) -> Self {
        Self { state: seed }
    }

    /// The stream of that label under a seed. Streams of different labels have nothing to do with each other.
    pub fn labelled(seed: u64, label: &str) -> Self {
        let mut digest = Digest::new();
        digest.add_bytes(label.as_bytes());
        Self::new(Self::new(seed).draw() ^ digest.value())
    }

    /// The next number.
    pub const fn draw(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number from 0 to `count - 1`; 0 where there is nothing to choose from.
    pub fn below(&mut self, count: u64) -> u64 {
        ((u128::from(self.draw()) * u128::from(count)) >> 64) as u64
    }

    /// A number from `least` to `most`, both included. `most` must not be less than `least`.
    pub fn between(&mut self, least: i64, most: i64) -> i64 {
        debug_assert!(least <= most, "{least} to {most}");
        least + self.below((most - least) as u64 + 1) as i64
    }

    /// One of the choices; nothing where there is none.
    pub fn one_of<'a, T>(&mut self, choices: &'a [T]) -> Option<&'a T> {
        choices.get(self.below(choices.len() as u64) as usize)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first numbers of seed 1234567, as computed by the reference implementation in C (Vigna, `splitmix64.c`, public
    /// domain) and printed with the task "Pseudo-random numbers/Splitmix64" on Rosetta Code.
    #[test]
    fn the_numbers_are_those_of_the_reference() {
        let mut stream = Stream::new(1_234_567);
        let drawn: Vec<u64> = (0..5).map(|_| stream.draw()).collect();
        let published = [
            6_457_827_717_110_365_317,
            3_203_168_211_198_807_973,
            9_817_491_932_198_370_423,
            4_593_380_528_125_082_431,
            16_408_922_859_458_223_821,
        ];
        assert_eq!(drawn, published);
    }

    #[test]
    fn every_number_of_a_range_is_drawn_and_no_other() {
        let mut stream = Stream::labelled(7, "range");
        let mut seen = [0; 6];
        for _ in 0..600 {
            seen[(stream.between(-2, 3) + 2) as usize] += 1;
        }
        assert!(seen.iter().all(|&count| count > 50), "{seen:?}");
    }

    #[test]
    fn a_label_makes_a_stream_of_its_own() {
        let first = |label| Stream::labelled(1, label).draw();
        assert_ne!(first("detector quay-1"), first("detector quay-2"));
        assert_eq!(first("detector quay-1"), first("detector quay-1"));
        assert_ne!(Stream::labelled(1, "x").draw(), Stream::labelled(2, "x").draw());
    }
}
