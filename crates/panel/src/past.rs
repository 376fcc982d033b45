//! What was: questions about the past. The door keeps no record; whoever does answers them, on a thread where waiting for the
//! disk keeps nobody waiting.

use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

/// More rows are not told: the latest are.
pub const MOST_ROWS: usize = 20_000;

/// What can be told of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Topic {
    /// Trips, and how long they took.
    Trips,
    /// Where trains came to stand, and how far short of the stopping point.
    Stops,
    /// Who stood in which section, from when to when.
    Stands,
    /// Doubts, and what settled them.
    Doubts,
    /// How many doubts by what was heard when they were raised.
    Causes,
    /// What was suspected to be at fault.
    Faults,
    /// How often each detector, train and turnout was suspected.
    Suspects,
    /// Holds, and why.
    Holds,
    /// What was asked for, and the answers.
    Wishes,
    /// Runs of the signaller.
    Shifts,
}

/// Which part of the past.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize, IntoParams)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Part {
    /// Only of this train.
    pub train: Option<String>,
    /// Only of this section, or stopping point.
    pub place: Option<String>,
    /// Only of this run of the signaller.
    pub shift: Option<i64>,
    /// From this time on the wall on, in milliseconds since 1970.
    pub from: Option<i64>,
    /// Up to this time on the wall.
    pub to: Option<i64>,
}

/// An answer. What a column is says the end of its name: `_wall` milliseconds since 1970, `_s` seconds of layout time, `_mm`
/// millimetres.
#[derive(Clone, Debug, Default, PartialEq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct PastTable {
    /// What the columns are called.
    pub columns: Vec<String>,
    /// The rows, the earliest first: texts, numbers and nothing. The latest 20,000.
    pub rows: Vec<Vec<serde_json::Value>>,
    /// Whether earlier ones were left out.
    pub more: bool,
    /// Whether a record is kept at all; where none is there are no rows.
    pub kept: bool,
}

/// Somebody who keeps a record.
pub trait Past: Send + Sync + std::fmt::Debug {
    /// What is known of the past.
    ///
    /// # Errors
    /// Why nothing can be told, in words.
    fn tell(&self, topic: Topic, part: &Part) -> Result<PastTable, String>;
}
