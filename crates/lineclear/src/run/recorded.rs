//! The register as the control door tells of it.

use std::path::PathBuf;

use panel::past::{MOST_ROWS, Part, Past, PastTable, Topic};
use register::{About, Cell, Reader};
use serde_json::Value;

/// A register that is being written: each question opens it anew, and reads what is there by then.
#[derive(Debug)]
pub(super) struct OpenRegister {
    pub(super) path: PathBuf,
}

impl Past for OpenRegister {
    fn tell(&self, topic: Topic, part: &Part) -> Result<PastTable, String> {
        let unreadable = |error: &dyn std::fmt::Display| format!("the register cannot be read: {error}");
        let reader = Reader::open(&self.path).map_err(|error| unreadable(&error))?;
        let Part { train, place, shift, from, to } = part.clone();
        let part = register::Part { shift, train, section: place, from, to };
        let answers = reader.history(about(topic), &part).map_err(|error| unreadable(&error))?;
        let left_out = answers.rows.len().saturating_sub(MOST_ROWS);
        let rows = answers.rows.into_iter().skip(left_out);
        let rows = rows.map(|row| row.into_iter().map(value).collect()).collect();
        Ok(PastTable { columns: answers.columns, rows, more: left_out > 0, kept: true })
    }
}

fn about(topic: Topic) -> About {
    match topic {
        Topic::Trips => About::Trips,
        Topic::Stops => About::Stops,
        Topic::Stands => About::Stands,
        Topic::Doubts => About::Doubts,
        Topic::Causes => About::DoubtsByCause,
        Topic::Faults => About::Faults,
        Topic::Suspects => About::FaultsByThing,
        Topic::Holds => About::Holds,
        Topic::Wishes => About::Wishes,
        Topic::Shifts => About::Shifts,
    }
}

fn value(cell: Cell) -> Value {
    match cell {
        Cell::None => Value::Null,
        Cell::Words(words) => words.into(),
        Cell::Count(number) | Cell::Wall(number) => number.into(),
        Cell::Seconds(number) | Cell::Millimetres(number) => number.into(),
    }
}
