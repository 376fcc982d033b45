//! What people ask of the past, as tables.

use rusqlite::params_from_iter;
use rusqlite::types::{Value, ValueRef};

use crate::reader::Reader;
use crate::trouble::Trouble;

/// What is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum About {
    /// Who stood where at a moment.
    Places,
    /// Who stood in which section, from when to when.
    Stands,
    /// Trips of trains.
    Trips,
    /// Where trains came to stand, and how far from the stopping point.
    Stops,
    /// Doubts.
    Doubts,
    /// How many doubts, and how long they lasted, by what was heard when they were raised.
    DoubtsByCause,
    /// What was suspected to be at fault.
    Faults,
    /// How often each detector, train and turnout was suspected.
    FaultsByThing,
    /// Holds of trains.
    Holds,
    /// What people and scripts asked for, and the answers.
    Wishes,
    /// Runs of the signaller.
    Shifts,
}

/// Which part of the past.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Part {
    /// One shift.
    pub shift: Option<i64>,
    /// One train.
    pub train: Option<String>,
    /// One section, or place.
    pub section: Option<String>,
    /// From this time on the wall on, in milliseconds since 1970. The moment, where one is asked for.
    pub from: Option<i64>,
    /// Up to this time on the wall.
    pub to: Option<i64>,
}

/// One value of a table.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Nothing.
    None,
    /// Words.
    Words(String),
    /// A count, or another whole number.
    Count(i64),
    /// Seconds of layout time.
    Seconds(f64),
    /// Millimetres.
    Millimetres(f64),
    /// A time on the wall, in milliseconds since 1970.
    Wall(i64),
}

/// An answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Answers {
    /// What the columns are called.
    pub columns: Vec<String>,
    /// The rows, the earliest first.
    pub rows: Vec<Vec<Cell>>,
}

/// How a question is put to the file. What a column is says the end of its name: `_wall` a time on the wall, `_s` nanoseconds, to
/// be shown as seconds, `_mm` micrometres, to be shown as millimetres.
struct Question {
    select: &'static str,
    from: &'static str,
    /// What is true of rows about one train, and about one section or place.
    train: Option<&'static str>,
    section: Option<&'static str>,
    /// When it was.
    wall: &'static str,
    end: &'static str,
}

impl About {
    #[rustfmt::skip]
    fn question(self) -> Question {
        let (of_train, of_name) = (Some("train = ?"), Some("name = ?"));
        let (select, from, train, section, wall, end) = match self {
            Self::Places => (
                "section, train, said, since_wall, shift", "stand", of_train, Some("section = ?"), "since_wall",
                "ORDER BY section, id",
            ),
            Self::Stands => (
                "section, train, said, since AS since_s, until AS until_s, since_wall, until_wall, shift", "stand", of_train,
                Some("section = ?"), "ifnull(until_wall, since_wall)", "ORDER BY id",
            ),
            Self::Trips => (
                "train, origin AS 'from', destination AS 'to', departed_wall, arrived_wall, arrived - departed AS took_s, shift",
                "trip", of_train, Some("destination = ?"), "departed_wall", "ORDER BY id",
            ),
            Self::Stops => (
                "train, place, wall AS stood_wall, at AS at_s, short_um AS short_mm, shift",
                "stop", of_train, Some("place = ?"), "wall", "ORDER BY id",
            ),
            Self::Doubts => (
                "number, trains, sections, alternatives, cause, cause_at, raised_wall, cleared - raised AS lasted_s, cleared_by, shift",
                "doubt", Some("instr(trains, ?) > 0"), Some("instr(sections, ?) > 0"), "raised_wall", "ORDER BY id",
            ),
            Self::DoubtsByCause => (
                "cause, cause_at, count(*) AS doubts, sum(cleared IS NULL) AS open, sum(cleared - raised) AS lasted_s",
                "doubt", Some("instr(trains, ?) > 0"), Some("instr(sections, ?) > 0"), "raised_wall",
                "GROUP BY cause, cause_at ORDER BY doubts DESC, cause, cause_at",
            ),
            Self::Faults => (
                "kind, name, because, wall AS noticed_wall, shift",
                "fault", of_name, of_name, "wall", "ORDER BY id",
            ),
            Self::FaultsByThing => (
                "kind, name, count(*) AS times, max(wall) AS last_wall",
                "fault", of_name, of_name, "wall", "GROUP BY kind, name ORDER BY times DESC, kind, name",
            ),
            Self::Holds => (
                "train, reason, since_wall, until - since AS lasted_s, shift",
                "hold", of_train, None, "since_wall", "ORDER BY id",
            ),
            Self::Wishes => (
                "what, asked_by, asked_wall, \
                 CASE accepted WHEN 1 THEN 'accepted' WHEN 0 THEN 'refused' ELSE 'open' END AS answer, reason, shift",
                "wish", Some("instr(what, ?) > 0"), Some("instr(what, ?) > 0"), "asked_wall", "ORDER BY id",
            ),
            Self::Shifts => (
                "id AS shift, began_wall, ended_wall, ending, pace, version, origin",
                "shift", None, None, "began_wall", "ORDER BY id",
            ),
        };
        Question { select, from, train, section, wall, end }
    }

    /// Whether it can be asked about one train only.
    pub fn is_of_trains(self) -> bool {
        self.question().train.is_some()
    }

    /// Whether it can be asked about one section or place only.
    pub fn is_of_sections(self) -> bool {
        self.question().section.is_some()
    }
}

/// What rows must be like, with the values that stand for the question marks.
#[derive(Default)]
struct Conditions {
    texts: Vec<String>,
    values: Vec<Value>,
}

impl Conditions {
    fn add(&mut self, text: impl Into<String>, values: impl IntoIterator<Item = Value>) {
        self.texts.push(text.into());
        self.values.extend(values);
    }
}

impl Reader {
    /// What is known of the past.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn history(&self, about: About, part: &Part) -> Result<Answers, Trouble> {
        let question = about.question();
        let mut wanted = Conditions::default();
        if let Some(shift) = part.shift {
            let column = if about == About::Shifts { "id" } else { "shift" };
            wanted.add(format!("{column} = ?"), [Value::from(shift)]);
        }
        for (name, condition) in [(&part.train, question.train), (&part.section, question.section)] {
            if let (Some(name), Some(condition)) = (name, condition) {
                wanted.add(condition, [Value::from(name.clone())]);
            }
        }
        if about == About::Places {
            let moment = Value::from(part.from.unwrap_or(i64::MAX));
            wanted.add("since_wall <= ?", [moment.clone()]);
            wanted.add("(until_wall IS NULL OR until_wall > ?)", [moment.clone()]);
            // Of the time between two shifts nobody knows anything.
            let shift = "shift = (SELECT max(id) FROM shift WHERE began_wall <= ? AND ifnull(ended_wall, ?) >= ?)";
            wanted.add(shift, [moment.clone(), moment.clone(), moment]);
        } else {
            for (bound, sign) in [(part.from, ">="), (part.to, "<=")] {
                if let Some(bound) = bound {
                    wanted.add(format!("{} {sign} ?", question.wall), [Value::from(bound)]);
                }
            }
        }
        let Question { select, from, end, .. } = question;
        let wanted_text = match wanted.texts.is_empty() {
            true => String::new(),
            false => format!("WHERE {}", wanted.texts.join(" AND ")),
        };
        self.table(&format!("SELECT {select} FROM {from} {wanted_text} {end}"), wanted.values)
    }

    fn table(&self, sql: &str, values: Vec<Value>) -> Result<Answers, Trouble> {
        let mut statement = self.db().prepare(sql)?;
        let columns: Vec<String> = statement.column_names().map(str::to_owned).collect();
        let mut rows = statement.query(params_from_iter(values))?;
        let mut answers = Answers { columns, rows: Vec::new() };
        while let Some(row) = rows.next()? {
            let cells = answers.columns.iter().enumerate().map(|(at, column)| Ok(cell(column, row.get_ref(at)?)));
            let cells: Result<Vec<Cell>, rusqlite::Error> = cells.collect();
            answers.rows.push(cells?);
        }
        Ok(answers)
    }
}

fn cell(column: &str, value: ValueRef<'_>) -> Cell {
    match value {
        ValueRef::Integer(number) if column.ends_with("_wall") => Cell::Wall(number),
        ValueRef::Integer(number) if column.ends_with("_s") => Cell::Seconds(number as f64 / 1e9),
        ValueRef::Integer(number) if column.ends_with("_mm") => Cell::Millimetres(number as f64 / 1e3),
        ValueRef::Integer(number) => Cell::Count(number),
        ValueRef::Text(text) => Cell::Words(String::from_utf8_lossy(text).into_owned()),
        ValueRef::Null | ValueRef::Real(_) | ValueRef::Blob(_) => Cell::None,
    }
}
