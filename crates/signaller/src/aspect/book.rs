//! Aspect books: which aspect is shown for which state of the track ahead.

/// What a signal shows: a row of the aspect book, the most restrictive first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Aspect(pub u8);

impl Aspect {
    /// The most restrictive aspect of every book.
    pub const STOP: Self = Self(0);
}

/// What lies at the far end of the stretch that a signal vouches for. The stretch itself is known good: where it is not, every
/// book shows [`Aspect::STOP`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ahead {
    /// A signal at danger.
    NextAtStop,
    /// A signal that shows anything better.
    NextBetter,
    /// A buffer stop.
    TrackEnds,
    /// The layout's edge: nobody says what is beyond.
    BeyondUnknown,
}

/// One row of a book.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rule {
    /// When this lies ahead,
    pub ahead: Ahead,
    /// this is shown.
    pub shows: Aspect,
}

/// The aspects that signals can show, and the rules that choose among them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AspectBook {
    names: Vec<&'static str>,
    rules: Vec<Rule>,
}

impl AspectBook {
    /// Red, yellow, green: danger, the next signal may be at danger, the next signal is not. Common practice, no source.
    pub fn three_aspect() -> Self {
        let (yellow, green) = (Aspect(1), Aspect(2));
        Self {
            names: vec!["red", "yellow", "green"],
            rules: vec![
                Rule { ahead: Ahead::NextAtStop, shows: yellow },
                Rule { ahead: Ahead::NextBetter, shows: green },
                Rule { ahead: Ahead::TrackEnds, shows: yellow },
                Rule { ahead: Ahead::BeyondUnknown, shows: yellow },
            ],
        }
    }

    /// The aspect's name; nothing where the book has no such aspect.
    pub fn name(&self, aspect: Aspect) -> Option<&'static str> {
        self.names.get(usize::from(aspect.0)).copied()
    }

    /// The aspect of that name.
    pub fn named(&self, name: &str) -> Option<Aspect> {
        self.names.iter().position(|known| *known == name).map(|row| Aspect(row as u8))
    }

    /// All aspects with their names, the most restrictive first.
    pub fn aspects(&self) -> impl Iterator<Item = (Aspect, &'static str)> + '_ {
        self.names.iter().enumerate().map(|(row, &name)| (Aspect(row as u8), name))
    }

    /// What is shown for a stretch that is known good with this at its far end. What the book does not provide for is danger.
    pub fn shows(&self, ahead: Ahead) -> Aspect {
        self.rules.iter().find(|rule| rule.ahead == ahead).map_or(Aspect::STOP, |rule| rule.shows)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_state_of_the_track_ahead_has_exactly_one_aspect_that_the_book_names() {
        let book = AspectBook::three_aspect();
        for ahead in [Ahead::NextAtStop, Ahead::NextBetter, Ahead::TrackEnds, Ahead::BeyondUnknown] {
            assert_eq!(book.rules.iter().filter(|rule| rule.ahead == ahead).count(), 1, "{ahead:?}");
            assert!(book.name(book.shows(ahead)).is_some_and(|name| name != "red"), "{ahead:?}");
        }
        assert_eq!(book.named("red"), Some(Aspect::STOP));
        assert_eq!(book.name(Aspect(3)), None);
    }
}
