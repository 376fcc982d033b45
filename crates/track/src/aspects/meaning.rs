//! What an aspect means to whoever passes it, in words that all books share.

use std::fmt;

/// What a signal shows: a row of its aspect book, the most restrictive first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
pub struct Aspect(pub u8);

impl Aspect {
    /// The most restrictive aspect of every book.
    pub const STOP: Self = Self(0);
}

/// A class of speed, the slowest first. What it comes to in miles or kilometres an hour is the railway's affair.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SpeedClass {
    /// Not above 20 mph (49 CFR 236.813); what a signal for slow running allows.
    Slow,
    /// Not above 40 mph (49 CFR 236.811).
    Medium,
    /// Between medium and normal.
    Limited,
    /// As fast as the line allows.
    Normal,
}

impl SpeedClass {
    /// All of them, with the words by which files name them.
    pub const ALL: [(&'static str, Self); 4] =
        [("slow", Self::Slow), ("medium", Self::Medium), ("limited", Self::Limited), ("normal", Self::Normal)];
}

/// How a train may pass a signal, the most restrictive first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Pass {
    /// Not at all: absolute.
    Stop,
    /// On sight, after it has stopped: permissive.
    StopThenOnSight,
    /// On sight: ready to stop short of anything that stands ahead.
    OnSight,
    /// At such a speed, over track that is clear up to the next signal.
    At(SpeedClass),
}

impl Pass {
    /// All of them, with the words by which files name them.
    pub const ALL: [(&'static str, Self); 7] = [
        ("stop", Self::Stop),
        ("stop-then-on-sight", Self::StopThenOnSight),
        ("on-sight", Self::OnSight),
        ("slow", Self::At(SpeedClass::Slow)),
        ("medium", Self::At(SpeedClass::Medium)),
        ("limited", Self::At(SpeedClass::Limited)),
        ("normal", Self::At(SpeedClass::Normal)),
    ];

    /// Whether it says that the track up to the next signal is clear.
    pub fn is_proceed(self) -> bool {
        matches!(self, Self::At(_))
    }
}

/// What a signal foretells of the next one, the most restrictive first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Expect {
    /// It may be at danger.
    Stop,
    /// The one behind it may be at danger.
    StopAtSecond,
    /// It may be passed at such a speed.
    At(SpeedClass),
}

impl Expect {
    /// All of them, with the words by which files name them.
    pub const ALL: [(&'static str, Self); 6] = [
        ("stop", Self::Stop),
        ("stop-at-second", Self::StopAtSecond),
        ("slow", Self::At(SpeedClass::Slow)),
        ("medium", Self::At(SpeedClass::Medium)),
        ("limited", Self::At(SpeedClass::Limited)),
        ("normal", Self::At(SpeedClass::Normal)),
    ];

    /// Whether the next signal keeps what this promises by letting trains pass so.
    pub fn is_kept_by(self, next: Pass) -> bool {
        match self {
            Self::Stop => true,
            Self::StopAtSecond => next.is_proceed(),
            Self::At(class) => next >= Pass::At(class),
        }
    }
}

fn word<T: Copy + PartialEq>(all: &'static [(&'static str, T)], it: T) -> &'static str {
    all.iter().find(|(_, other)| *other == it).map_or("", |(word, _)| word)
}

impl fmt::Display for SpeedClass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(word(&Self::ALL, *self))
    }
}

impl fmt::Display for Pass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(word(&Self::ALL, *self))
    }
}

impl fmt::Display for Expect {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(word(&Self::ALL, *self))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_promise_is_kept_only_by_a_signal_that_lets_a_train_pass_as_promised() {
        let (slow, normal) = (Pass::At(SpeedClass::Slow), Pass::At(SpeedClass::Normal));
        for (expect, kept_by) in [
            (Expect::Stop, &[Pass::Stop, Pass::OnSight, slow, normal][..]),
            (Expect::StopAtSecond, &[slow, normal]),
            (Expect::At(SpeedClass::Slow), &[slow, normal]),
            (Expect::At(SpeedClass::Normal), &[normal]),
        ] {
            for next in [Pass::Stop, Pass::StopThenOnSight, Pass::OnSight, slow, normal] {
                let kept = expect == Expect::Stop || kept_by.contains(&next);
                assert_eq!(expect.is_kept_by(next), kept, "{expect} before {next}");
            }
        }
    }

    #[test]
    fn words_lead_back_to_what_they_mean() {
        for (word, pass) in Pass::ALL {
            assert_eq!(pass.to_string(), word);
        }
        assert!(Pass::ALL.is_sorted_by_key(|(_, pass)| *pass) && Expect::ALL.is_sorted_by_key(|(_, expect)| *expect));
    }
}
