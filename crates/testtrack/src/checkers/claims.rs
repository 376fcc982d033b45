//! How often the signaller is sure, how often it is sure and wrong, and which faults explain that.

use std::time::Duration;

use signaller::Time;
use track::{SectionId, TrainId};

use super::Checkers;
use crate::faults::Fault;
use crate::table::Table;

/// A fault explains a wrong claim if it befell that train or that section no longer ago than this.
const EXPLAINS_FOR: Duration = Duration::from_secs(600);

/// Sure claims.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Claims {
    /// How many were made: each time a section is said to hold a train for sure.
    pub made: u64,
    /// Those that were wrong, in order.
    pub wrong: Vec<WrongClaim>,
}

/// A sure claim that was wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WrongClaim {
    /// When it was found wrong.
    pub at: Time,
    /// The train that was named.
    pub train: TrainId,
    /// The section it was said to be in.
    pub section: SectionId,
    /// The faults that befell the train or the section within the last ten minutes.
    pub explained_by: Vec<Fault>,
}

pub(super) fn wrong(checkers: &mut Checkers, at: Time, train: TrainId, section: SectionId, table: &Table) {
    let explained_by = table.mishaps.explaining(train, section, at, EXPLAINS_FOR);
    checkers.claims.wrong.push(WrongClaim { at, train, section, explained_by });
}
