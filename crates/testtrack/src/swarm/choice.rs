//! What a seed chooses where nobody else does: the layout, and what goes wrong on it.

use std::fmt;

use crate::faults::{Fault, Faults};
use crate::network::Fixture;
use crate::random::Stream;

/// What goes wrong in a trial.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum FaultSet {
    /// Nothing.
    None,
    /// Everything, now and then, on a layout that is kept well: somebody is there and answers what the signaller asks.
    Mild,
    /// Everything, often.
    Harsh,
    /// Only these, often.
    Only(Vec<Fault>),
    /// That, and a dispatcher who sets routes and takes track out of service.
    Dispatched(Box<Self>),
    /// That, and people who drive trains through the signaller.
    Driven(Box<Self>),
    /// That, and nobody answers what the signaller asks until the faults are over.
    Alone(Box<Self>),
}

impl FaultSet {
    /// The set that a seed chooses: half of them single faults.
    pub fn of_seed(seed: u64) -> Self {
        let mut stream = Stream::labelled(seed, "fault set");
        match stream.below(10) {
            0 => Self::None,
            1 | 2 => Self::Mild,
            3 | 4 => Self::Harsh,
            _ => Self::Only(stream.one_of(&Fault::ALL).copied().into_iter().collect()),
        }
    }

    /// Whether there is a dispatcher.
    pub fn has_dispatcher(&self) -> bool {
        match self {
            Self::Dispatched(_) => true,
            Self::Driven(faults) | Self::Alone(faults) => faults.has_dispatcher(),
            _ => false,
        }
    }

    /// Whether there are people who drive.
    pub fn has_drivers(&self) -> bool {
        match self {
            Self::Driven(_) => true,
            Self::Dispatched(faults) | Self::Alone(faults) => faults.has_drivers(),
            _ => false,
        }
    }

    /// Whether somebody answers what the signaller asks while things go wrong, and not only afterwards.
    pub fn is_attended(&self) -> bool {
        match self {
            Self::Mild => true,
            Self::Dispatched(faults) | Self::Driven(faults) => faults.is_attended(),
            Self::None | Self::Harsh | Self::Only(_) | Self::Alone(_) => false,
        }
    }

    /// Reads `none`, `mild`, `harsh` or names of faults with commas between them; behind it `+dispatcher`, `+drivers` and `+alone` may
    /// stand.
    ///
    /// # Errors
    /// In plain words, which name means nothing.
    pub fn read(text: &str) -> Result<Self, String> {
        let named = |name: &str| {
            Fault::named(name).ok_or_else(|| {
                let known: Vec<_> = Fault::ALL.iter().map(|fault| fault.name()).collect();
                format!("there is no fault `{name}`\nhint: none, mild, harsh, or one or more of {}", known.join(", "))
            })
        };
        if let Some(faults) = text.strip_suffix("+dispatcher") {
            return Self::read(faults).map(|faults| Self::Dispatched(Box::new(faults)));
        }
        if let Some(faults) = text.strip_suffix("+drivers") {
            return Self::read(faults).map(|faults| Self::Driven(Box::new(faults)));
        }
        if let Some(faults) = text.strip_suffix("+alone") {
            return Self::read(faults).map(|faults| Self::Alone(Box::new(faults)));
        }
        match text {
            "none" => Ok(Self::None),
            "mild" => Ok(Self::Mild),
            "harsh" => Ok(Self::Harsh),
            names => names.split(',').map(named).collect::<Result<_, _>>().map(Self::Only),
        }
    }

    /// How often each fault happens.
    pub fn faults(&self) -> Faults {
        match self {
            Self::None => Faults::NONE,
            Self::Mild => Faults::mild(),
            Self::Harsh => Faults::harsh(),
            Self::Only(faults) => Faults::only(faults),
            Self::Dispatched(faults) | Self::Driven(faults) | Self::Alone(faults) => faults.faults(),
        }
    }

    /// What kind of set it is, for figures that are kept apart.
    pub fn kind(&self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Mild => "mild",
            Self::Harsh => "harsh",
            Self::Only(_) => "single",
            Self::Dispatched(faults) | Self::Driven(faults) | Self::Alone(faults) => faults.kind(),
        }
    }
}

impl fmt::Display for FaultSet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Only(faults) => {
                let names: Vec<_> = faults.iter().map(|fault| fault.name()).collect();
                f.write_str(&names.join(","))
            }
            Self::Dispatched(faults) => write!(f, "{faults}+dispatcher"),
            Self::Driven(faults) => write!(f, "{faults}+drivers"),
            Self::Alone(faults) => write!(f, "{faults}+alone"),
            set => f.write_str(set.kind()),
        }
    }
}

/// Which layout a trial is on, of those that come with the swarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// The demo layout.
    Demo,
    /// A small network that is always the same.
    Fixture(Fixture),
    /// The network of the seed.
    Network,
    /// The network of the seed in which tracks cross.
    Crossed,
}

impl Place {
    /// The layout that a seed chooses: more than half of them networks of their own.
    pub fn of_seed(seed: u64) -> Self {
        let mut stream = Stream::labelled(seed, "place");
        match stream.below(10) {
            0 | 1 => Self::Demo,
            2 | 3 => stream.one_of(&Fixture::ALL).map_or(Self::Network, |&fixture| Self::Fixture(fixture)),
            _ => Self::Network,
        }
    }

    /// The place of that name: `demo`, `network`, `crossed` or a fixture's.
    pub fn named(name: &str) -> Option<Self> {
        match name {
            "demo" => Some(Self::Demo),
            "network" => Some(Self::Network),
            "crossed" => Some(Self::Crossed),
            fixture => Fixture::named(fixture).map(Self::Fixture),
        }
    }

    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Demo => "demo",
            Self::Network => "network",
            Self::Crossed => "crossed",
            Self::Fixture(fixture) => fixture.name(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_seed_chose_can_be_typed_again() {
        for seed in 0..200 {
            let set = FaultSet::of_seed(seed);
            assert_eq!(FaultSet::read(&set.to_string()), Ok(set.clone()), "seed {seed}");
            let dispatched = FaultSet::Dispatched(Box::new(set));
            assert_eq!(FaultSet::read(&dispatched.to_string()), Ok(dispatched.clone()), "seed {seed}");
            let driven = FaultSet::Driven(Box::new(dispatched));
            assert_eq!(FaultSet::read(&driven.to_string()), Ok(driven), "seed {seed}");
            let place = Place::of_seed(seed);
            assert_eq!(Place::named(place.name()), Some(place), "seed {seed}");
        }
    }

    #[test]
    fn a_fault_that_does_not_exist_is_refused_with_the_names_of_those_that_do() {
        let refused = FaultSet::read("stall,derailment").unwrap_err();
        assert!(refused.starts_with("there is no fault `derailment`"), "{refused}");
        assert!(refused.contains("contact-loss"), "{refused}");
    }
}
