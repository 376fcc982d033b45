//! `lineclear history`: questions about what was recorded.

use std::io::Write;
use std::path::PathBuf;

use jiff::Zoned;
use jiff::tz::TimeZone;
use register::{About, Answers, Cell, Part};
use serde_json::{Map, Value, json};

use super::{Failed, answered, open, shift, when};
use crate::Exit;

/// What was asked for on the command line.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The register: its file, its folder, or a layout's folder with a folder `state` in it
    #[arg(value_name = "DIR|FILE")]
    register: PathBuf,
    /// What to tell of
    #[arg(value_enum)]
    what: What,
    /// Only of this train
    #[arg(long, value_name = "TRAIN")]
    train: Option<String>,
    /// Only of this section, stopping point or place
    #[arg(long, value_name = "NAME")]
    place: Option<String>,
    /// Only of this run; `places` without a time tells how it ended
    #[arg(long, value_name = "N")]
    shift: Option<i64>,
    /// For `places`: the moment on the wall clock, such as `20:14`, the last one there was, or `"2026-11-29 20:14"`
    #[arg(long, value_name = "TIME", conflicts_with_all = ["from", "to"])]
    at: Option<String>,
    /// From this time on the wall clock on
    #[arg(long, value_name = "TIME")]
    from: Option<String>,
    /// Up to this time on the wall clock
    #[arg(long, value_name = "TIME")]
    to: Option<String>,
    /// Comma-separated values
    #[arg(long, conflicts_with = "json")]
    csv: bool,
    /// A list of objects as JSON
    #[arg(long)]
    json: bool,
}

/// What can be told of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum What {
    /// Who stood where at a moment
    Places,
    /// Trips, and how long they took
    Trips,
    /// Where trains came to stand, and how far short of the stopping point
    Stops,
    /// Doubts, and what settled them
    Doubts,
    /// How many doubts by what was heard when they were raised
    Causes,
    /// What was suspected to be at fault
    Faults,
    /// How often each detector, train and turnout was suspected
    Suspects,
    /// Holds, and why
    Holds,
    /// What was asked for, and the answers
    Wishes,
    /// Runs of the signaller
    Shifts,
}

impl What {
    fn about(self) -> About {
        match self {
            Self::Places => About::Places,
            Self::Trips => About::Trips,
            Self::Stops => About::Stops,
            Self::Doubts => About::Doubts,
            Self::Causes => About::DoubtsByCause,
            Self::Faults => About::Faults,
            Self::Suspects => About::FaultsByThing,
            Self::Holds => About::Holds,
            Self::Wishes => About::Wishes,
            Self::Shifts => About::Shifts,
        }
    }
}

/// Answers a question about the past.
pub(crate) fn run(args: &Args) -> Exit {
    answered(|output| {
        let reader = open(&args.register)?;
        let about = args.what.about();
        let mut part = part(args, about)?;
        if args.shift.is_some() || about == About::Places {
            let shift = shift(&reader, args.shift)?;
            if about == About::Places && part.from.is_none() {
                // How it ended; or how it is, where it goes on.
                part.from = shift.ended_wall.map(|ended| ended - 1);
                part.shift = Some(shift.id);
            }
        }
        let answers = reader.history(about, &part)?;
        if args.csv {
            write_csv(output, &answers)?;
        } else if args.json {
            write_json(output, &answers)?;
        } else if answers.rows.is_empty() {
            writeln!(output, "nothing was recorded that answers this")?;
        } else {
            write_table(output, &answers)?;
        }
        Ok(Exit::Fine)
    })
}

fn part(args: &Args, about: About) -> Result<Part, Failed> {
    let told = |words: &str| Err(Failed::Told(words.to_owned()));
    if args.at.is_some() && about != About::Places {
        return told("`--at` is for `places`; say `--from` and `--to`");
    }
    if about == About::Places && (args.from.is_some() || args.to.is_some()) {
        return told("`places` tells of one moment; say `--at`");
    }
    if args.train.is_some() && !about.is_of_trains() {
        return told("this cannot be told of one train");
    }
    if args.place.is_some() && !about.is_of_sections() {
        return told("this cannot be told of one place");
    }
    let now = Zoned::now();
    let wall = |written: &Option<String>| {
        written.as_deref().map(|written| when::wall(written, &now)).transpose().map_err(Failed::Told)
    };
    let from = if about == About::Places { wall(&args.at)? } else { wall(&args.from)? };
    Ok(Part { shift: args.shift, train: args.train.clone(), section: args.place.clone(), from, to: wall(&args.to)? })
}

fn write_csv(output: &mut dyn Write, answers: &Answers) -> Result<(), Failed> {
    let quoted = |text: &str| match text.contains(['"', ',', '\n', '\r']) {
        true => format!("\"{}\"", text.replace('"', "\"\"")),
        false => text.to_owned(),
    };
    let mut line = |cells: Vec<String>| write!(output, "{}\r\n", cells.join(","));
    line(answers.columns.iter().map(|column| quoted(column)).collect())?;
    for row in &answers.rows {
        line(row.iter().map(|cell| quoted(&in_words(cell))).collect())?;
    }
    Ok(())
}

fn write_json(output: &mut dyn Write, answers: &Answers) -> Result<(), Failed> {
    let value = |cell: &Cell| match cell {
        Cell::None => Value::Null,
        Cell::Words(_) | Cell::Wall(_) => json!(in_words(cell)),
        Cell::Count(count) => json!(count),
        Cell::Seconds(number) | Cell::Millimetres(number) => json!(number),
    };
    let objects: Vec<Value> = answers
        .rows
        .iter()
        .map(|row| Value::Object(Map::from_iter(answers.columns.iter().cloned().zip(row.iter().map(value)))))
        .collect();
    let text = serde_json::to_string_pretty(&objects).map_err(|error| Failed::Told(error.to_string()))?;
    writeln!(output, "{text}")?;
    Ok(())
}

/// A longer cell is cut off in a table.
const WIDEST: usize = 60;

fn write_table(output: &mut dyn Write, answers: &Answers) -> Result<(), Failed> {
    let heads = answers.columns.iter().map(|column| head(column));
    let mut lines: Vec<Vec<String>> = vec![heads.collect()];
    for row in &answers.rows {
        lines.push(row.iter().map(|cell| shortened(&in_words(cell))).collect());
    }
    let count = answers.columns.len();
    let width = |column: usize| lines.iter().map(|line| line[column].chars().count()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..count).map(width).collect();
    let is_number =
        |column: usize| answers.rows.iter().all(|row| !matches!(row[column], Cell::Words(_) | Cell::Wall(_)));
    for line in &lines {
        let cells = line.iter().enumerate().map(|(column, text)| {
            let width = widths[column];
            if is_number(column) { format!("{text:>width$}") } else { format!("{text:<width$}") }
        });
        writeln!(output, "{}", cells.collect::<Vec<_>>().join("  ").trim_end())?;
    }
    Ok(())
}

/// A column's name for people.
fn head(column: &str) -> String {
    let plain = column.strip_suffix("_wall").unwrap_or(column);
    match (plain.strip_suffix("_s"), plain.strip_suffix("_mm")) {
        (Some(plain), _) => format!("{plain} (s)"),
        (None, Some(plain)) => format!("{plain} (mm)"),
        (None, None) => plain.replace('_', " "),
    }
}

fn in_words(cell: &Cell) -> String {
    match cell {
        Cell::None => String::new(),
        Cell::Words(words) => words.clone(),
        Cell::Count(count) => count.to_string(),
        Cell::Seconds(number) | Cell::Millimetres(number) => format!("{number:.1}"),
        Cell::Wall(wall) => when::in_words(*wall, &TimeZone::system()),
    }
}

fn shortened(text: &str) -> String {
    let text = text.replace('\n', "; ");
    if text.chars().count() <= WIDEST {
        return text;
    }
    text.chars().take(WIDEST - 1).chain(['…']).collect()
}
