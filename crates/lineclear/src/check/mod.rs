//! `lineclear check`: what is wrong with a layout, what it is made of, and its control table.

mod control_table;
mod hints;
mod spacing;
mod table_forms;

use std::io::{self, Write};
use std::path::PathBuf;
use std::sync::Arc;

use layout::{Diagnostics, Loaded, Refused, Severity, Unreadable};
use serde_json::{Value, json};
use track::{Layout, Length, Routes};

use crate::{Exit, aspects, folder};
use control_table::ControlTable;
use spacing::Spacing;

/// What was asked for on the command line.
#[derive(Debug, clap::Args)]
#[command(after_long_help = HELP)]
pub(crate) struct Args {
    /// The folder of the layout: `layout.toml`, and where there are any `trains.toml` and `links.toml`
    #[arg(value_name = "DIR")]
    layout: PathBuf,
    /// Write one JSON object a line, for editors
    #[arg(long, conflicts_with = "table")]
    json: bool,
    /// Write what must hold before each route is cleared, for people who read such tables
    #[arg(long, group = "table")]
    control_table: bool,
    /// Write how much track every train needs from each caution, and how much there is
    #[arg(long, group = "table")]
    spacing: bool,
    /// Write the control table, or the spacing, as CSV
    #[arg(long, requires = "table", conflicts_with = "markdown")]
    csv: bool,
    /// Write the control table as Markdown
    #[arg(long, requires = "control_table", conflicts_with = "spacing")]
    markdown: bool,
    /// Say what the layout's signals can show, when, and with which lamps, instead of the summary
    #[arg(long, conflicts_with_all = ["json", "table"])]
    aspects: bool,
}

const HELP: &str = "\
Every mistake of all files is shown in one run: what is wrong, the file, line and column, the text underlined, and what
would be right. Warnings are shown too, but do not make a layout unusable. Where there is no mistake a short summary
follows. Nothing is ever written to the folder.

Exit status: 0 the layout can be used; 1 it has mistakes; 2 there is nothing to check (no such folder, no `layout.toml`,
a file that is no text), which is said on standard error.

With --json each line of standard output is one object:
  {\"severity\": \"mistake\" or \"warning\", \"file\": \"layout.toml\", \"from\": {\"line\": 31, \"column\": 9},
   \"to\": {\"line\": 31, \"column\": 19}, \"message\": \"...\", \"hint\": \"...\" or null,
   \"see\": [{\"file\", \"from\", \"to\", \"message\"}]}
Lines and columns count from 1, columns in characters; `to` is the first place behind the text meant. Where the layout can
be used, a last line holds {\"summary\": {...}}, lengths in metres. Of more than a thousand a line {\"unlisted\": 17} counts
the rest. With status 2 the only line is
  {\"severity\": \"unreadable\", \"file\": \"...\", \"message\": \"...\", \"hint\": \"...\" or null}

With --control-table the summary gives way to one row a route: from a signal to each next one that faces the same way, to
stopping points before it, to buffers (with a fixed signal there, or without) and to the edge of the layout.
  turnouts         normal is straight, unless `layout.toml` says otherwise of the turnout
  flank            what keeps others from running into the side of the route; NONE where nothing does, with the end that is open
                   and where somebody could come from
  sections clear   the path, in order
  overlap          sections beyond the exit signal, and how turnouts in them lie
  conflicts        routes that cannot be set at the same time; CSV has a further column that says why, with three
                   reasons of a kind at most
  aspects          what the entry signal shows at best, for each aspect of the exit signal

Among the warnings are those of track that is too short for a train, each told once, with the train that fits least:
  signals          from where a caution is seen, as far as trains need to obey it at the speed they may have there. A train
                   counts as being at a signal when a detector can have said so: its blind nose and the detector's `on-delay`
                   come on top of its braking. It answers within 0.25 s and brakes with four fifths of its `braking`, less
                   what falling track takes of it
  sections         whose detector speaks only when the train can have left them
  stopping points  at which the tail stays among turnouts, or finds no track

Hints of `[diagram]` that the drawing cannot keep to, or that contradict each other, are warned of, too: it is drawn as without
them.

With --spacing the summary gives way to one row for each caution and train: the signal that gives the caution, what for, whether
to stop or for which class of speed, how much track there is, how fast the train may come, how much track it needs, and how
much more there is than that. Two approaches by different paths stand beneath each other.

With --csv or --markdown warnings go to standard error, and so do the notes that belong to a CSV
table.";

/// In which form the outcome is wanted.
#[derive(Clone, Copy)]
enum Form {
    Text,
    Json,
    ControlTable(TableForm),
    Spacing(TableForm),
}

#[derive(Clone, Copy)]
enum TableForm {
    Text,
    Csv,
    Markdown,
}

impl Args {
    fn form(&self) -> Form {
        match self {
            Self { json: true, .. } => Form::Json,
            Self { spacing: true, csv: true, .. } => Form::Spacing(TableForm::Csv),
            Self { spacing: true, .. } => Form::Spacing(TableForm::Text),
            Self { control_table: false, .. } => Form::Text,
            Self { csv: true, .. } => Form::ControlTable(TableForm::Csv),
            Self { markdown: true, .. } => Form::ControlTable(TableForm::Markdown),
            _ => Form::ControlTable(TableForm::Text),
        }
    }
}

/// Checks the layout and says so on standard output.
pub(crate) fn run(args: &Args) -> Exit {
    let mut outcome = folder::load(&args.layout);
    let spacing = outcome.as_mut().ok().map(spacing::judge);
    if let Ok(loaded) = &mut outcome {
        hints::judge(loaded);
    }
    let exit = match &outcome {
        Ok(_) => Exit::Fine,
        Err(Refused::Mistakes(_)) => Exit::Wrong,
        Err(Refused::Unreadable(_)) => Exit::BadInput,
    };
    let mut output = io::BufWriter::new(io::stdout().lock());
    let written = match (&outcome, args.form()) {
        (Ok(loaded), Form::ControlTable(form)) => write_control_table(&mut output, loaded, form),
        (Ok(loaded), Form::Spacing(form)) => write_spacing(&mut output, loaded, spacing.as_ref(), form),
        (_, Form::Json) => write_json(&mut output, &outcome),
        (_, Form::Text | Form::ControlTable(_) | Form::Spacing(_)) => write_text(&mut output, args, &outcome),
    };
    // Whoever closed the pipe has read enough; the exit status still tells.
    let _ = written.and_then(|()| output.flush());
    exit
}

fn write_text(output: &mut impl Write, args: &Args, outcome: &Result<Loaded, Refused>) -> io::Result<()> {
    match outcome {
        Ok(loaded) => {
            if !loaded.warnings.is_empty() {
                writeln!(output, "{}", loaded.warnings)?;
            }
            if args.aspects { aspects::write(output, &loaded.layout) } else { write_summary(output, loaded) }
        }
        Err(Refused::Mistakes(diagnostics)) => {
            writeln!(output, "{diagnostics}")?;
            writeln!(output, "{}", tally(diagnostics))
        }
        Err(Refused::Unreadable(unreadable)) => writeln!(io::stderr().lock(), "{unreadable}"),
    }
}

/// Warnings stand above a table for people, and beside one for machines.
fn write_warnings(output: &mut impl Write, loaded: &Loaded, form: TableForm) -> io::Result<()> {
    match form {
        _ if loaded.warnings.is_empty() => Ok(()),
        TableForm::Text => writeln!(output, "{}", loaded.warnings),
        TableForm::Csv | TableForm::Markdown => writeln!(io::stderr().lock(), "{}", loaded.warnings),
    }
}

fn write_spacing(
    output: &mut impl Write,
    loaded: &Loaded,
    spacing: Option<&Spacing>,
    form: TableForm,
) -> io::Result<()> {
    write_warnings(output, loaded, form)?;
    let Some(spacing) = spacing else { return Ok(()) };
    match form {
        TableForm::Csv => {
            spacing.notes(&loaded.layout).iter().try_for_each(|note| writeln!(io::stderr().lock(), "note: {note}"))?;
            spacing.write_csv(output, &loaded.layout)
        }
        TableForm::Text | TableForm::Markdown => spacing.write_text(output, &loaded.layout),
    }
}

fn write_control_table(output: &mut impl Write, loaded: &Loaded, form: TableForm) -> io::Result<()> {
    let routes = Routes::new(Arc::new(loaded.layout.clone()));
    let table = ControlTable::of(&routes);
    write_warnings(output, loaded, form)?;
    let mut aside = io::stderr().lock();
    match form {
        TableForm::Text => table_forms::write_text(output, &table),
        TableForm::Markdown => table_forms::write_markdown(output, &table),
        TableForm::Csv => {
            table.notes.iter().try_for_each(|note| writeln!(aside, "note: {note}"))?;
            table_forms::write_csv(output, &table)
        }
    }
}

fn write_json(output: &mut impl Write, outcome: &Result<Loaded, Refused>) -> io::Result<()> {
    let mut lines = |diagnostics: &Diagnostics| {
        diagnostics.json().try_for_each(|line| writeln!(output, "{line}"))?;
        match diagnostics.unlisted() {
            0 => Ok(()),
            more => writeln!(output, "{}", json!({ "unlisted": more })),
        }
    };
    match outcome {
        Ok(loaded) => {
            lines(&loaded.warnings)?;
            writeln!(output, "{}", json!({ "summary": Summary::of(&loaded.layout).json(&loaded.layout) }))
        }
        Err(Refused::Mistakes(diagnostics)) => lines(diagnostics),
        Err(Refused::Unreadable(Unreadable { file, reason, hint })) => {
            let line = json!({ "severity": "unreadable", "file": file, "message": reason, "hint": hint });
            writeln!(output, "{line}")
        }
    }
}

fn tally(diagnostics: &Diagnostics) -> String {
    let (mistakes, warnings) = (diagnostics.count(Severity::Mistake), diagnostics.count(Severity::Warning));
    let mut text = format!("{mistakes} {}", counted(mistakes, "mistake"));
    if warnings > 0 {
        text += &format!(", {warnings} {}", counted(warnings, "warning"));
    }
    text
}

/// The word for so many of a thing.
fn counted(count: usize, word: &str) -> String {
    if count == 1 { word.to_owned() } else { format!("{word}s") }
}

/// The figures of a layout.
struct Summary {
    dark: usize,
    unmeasured: usize,
    on_table: Length,
    reported: usize,
    unlinked: usize,
    longest_train: Option<Length>,
}

impl Summary {
    fn of(layout: &Layout) -> Self {
        Self {
            dark: layout.sections.ids().filter(|&section| layout.is_dark(section)).count(),
            unmeasured: layout.ways.values().filter(|way| way.length.is_none()).count(),
            on_table: layout.track_length(),
            reported: layout.turnouts.values().filter(|turnout| turnout.reported).count(),
            unlinked: layout.detectors.values().filter(|detector| detector.link.is_none()).count(),
            longest_train: layout.trains.values().filter_map(track::Train::length).max(),
        }
    }

    fn json(&self, layout: &Layout) -> Value {
        let metres = self.on_table.mm() / 1000.0;
        json!({
            "name": layout.name,
            "scale": layout.scale.name,
            "sections": layout.sections.len(),
            "dark": self.dark,
            "track": metres,
            "real-track": metres * layout.scale.ratio,
            "unmeasured-ways": self.unmeasured,
            "turnouts": layout.turnouts.len(),
            "reported-turnouts": self.reported,
            "detectors": layout.detectors.len(),
            "power-districts": layout.districts.len(),
            "links": layout.links.len(),
            "unlinked-detectors": self.unlinked,
            "signals": layout.signals.len(),
            "stopping-points": layout.stops.len(),
            "trains": layout.trains.len(),
        })
    }
}

fn write_summary(output: &mut impl Write, loaded: &Loaded) -> io::Result<()> {
    let layout = &loaded.layout;
    let summary = Summary::of(layout);
    let of_which = |count: usize, what: &str| if count == 0 { String::new() } else { format!(", {count} {what}") };
    let row = |output: &mut dyn Write, count: usize, word: &str, more: &str| {
        writeln!(output, "  {count:>6} {}{more}", counted(count, word))
    };
    writeln!(output, "{}, scale {}", layout.name, layout.scale.name)?;
    row(output, layout.sections.len(), "section", &of_which(summary.dark, "of them dark"))?;
    let metres = summary.on_table.mm() / 1000.0;
    if summary.on_table == Length::ZERO {
        writeln!(output, "         track: no length was given")?;
    } else {
        let real = metres * layout.scale.ratio;
        let real = if real < 1000.0 { format!("{real:.0} m") } else { format!("{:.2} km", real / 1000.0) };
        let unmeasured =
            of_which(summary.unmeasured, &format!("{} without a length", counted(summary.unmeasured, "way")));
        writeln!(output, "  {metres:>6.2} m of track on the table, {real} at scale{unmeasured}")?;
    }
    row(output, layout.turnouts.len(), "turnout", &of_which(summary.reported, "of them reported"))?;
    if !layout.links.is_empty() {
        let unlinked =
            of_which(summary.unlinked, &format!("{} on none of them", counted(summary.unlinked, "detector")));
        row(output, layout.links.len(), "link", &unlinked)?;
    }
    row(output, layout.signals.len(), "signal", "")?;
    row(output, layout.stops.len(), "stopping point", "")?;
    let longest =
        summary.longest_train.map_or_else(String::new, |length| format!(", the longest {:.0} mm", length.mm()));
    row(output, layout.trains.len(), "train", &longest)?;
    for wired in loaded.wiring.iter().flat_map(|wiring| &wiring.links) {
        writeln!(output, "         link `{}` carries {} things", wired.name, wired.carries.len())?;
    }
    Ok(())
}
