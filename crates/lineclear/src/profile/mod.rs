//! `lineclear profile`: how fast trains are, as far as it was learned and kept.

mod plot;
mod table;

use std::io::{self, Write};
use std::path::PathBuf;

use signaller::SpeedProfile;
use track::{Layout, Train};

use crate::state::{Kept, Unusable};
use crate::{Exit, folder};

pub(crate) use table::write_table;

/// What was asked for on the command line.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The folder of the layout
    #[arg(value_name = "DIR")]
    layout: PathBuf,
    /// The train to show; without it all that something is kept of
    #[arg(value_name = "TRAIN")]
    train: Option<String>,
    /// The folder where profiles are kept; without it the folder `state` of the layout
    #[arg(long, value_name = "FOLDER")]
    state: Option<PathBuf>,
    /// Comma-separated values, all steps
    #[arg(long)]
    csv: bool,
    /// Draw the profile of one train into this file
    #[arg(long, value_name = "FILE", requires = "train")]
    svg: Option<PathBuf>,
    /// Forget what is kept of this train
    #[arg(long, value_name = "TRAIN", conflicts_with_all = ["train", "csv", "svg"])]
    reset: Option<String>,
}

/// Shows, draws or forgets profiles.
pub(crate) fn run(args: &Args) -> Exit {
    let mut output = io::BufWriter::new(io::stdout());
    let shown = show(args, &mut output).and_then(|()| output.flush().map_err(Failed::Output));
    match shown {
        Ok(()) => Exit::Fine,
        Err(Failed::Output(error)) if error.kind() == io::ErrorKind::BrokenPipe => Exit::Fine,
        Err(failed) => {
            // Where nobody listens on standard error there is nobody left to tell.
            let _ = match failed {
                Failed::Output(error) => writeln!(io::stderr(), "error: the output cannot be written: {error}"),
                Failed::Told(words) => writeln!(io::stderr(), "{words}"),
            };
            Exit::BadInput
        }
    }
}

enum Failed {
    Output(io::Error),
    Told(String),
}

fn show(args: &Args, output: &mut impl Write) -> Result<(), Failed> {
    let told = |words: String| Failed::Told(format!("error: {words}"));
    let layout = folder::load(&args.layout).map_err(|refused| Failed::Told(refused.to_string()))?.layout;
    let state = args.state.clone().unwrap_or_else(|| args.layout.join("state"));
    let mut kept = Kept::read(&state).map_err(|Unusable(why)| told(why))?;
    if let Some(train) = &args.reset {
        kept.forget(train).ok_or_else(|| told(nothing_kept(&kept, train)))?;
        kept.save().map_err(|error| told(format!("what is kept cannot be written: {error}")))?;
        return writeln!(output, "nothing is kept of `{train}` any more").map_err(Failed::Output);
    }
    let names: Vec<String> = match &args.train {
        Some(train) => vec![train.clone()],
        None => kept.names().map(str::to_owned).collect(),
    };
    if names.is_empty() {
        return Err(told(format!(
            "nothing is kept in `{0}`\nhint: `lineclear run DIR --state {0}` keeps what it learns there, and `lineclear \
             measure` what it measures",
            state.display()
        )));
    }
    if args.csv {
        write!(output, "{}", table::CSV_HEAD).map_err(Failed::Output)?;
    }
    for name in &names {
        let lessons = kept.lessons(name).ok_or_else(|| told(nothing_kept(&kept, name)))?;
        let Some(train) = layout.trains.values().find(|train| train.name == *name) else {
            if args.train.is_none() {
                writeln!(output, "{name}: no train of the layout is called so").map_err(Failed::Output)?;
                continue;
            }
            return Err(told(format!("no train of the layout is called `{name}`")));
        };
        let profile = SpeedProfile::of(train, &lessons).map_err(|why| told(format!("`{name}` {why}")))?;
        let written = if args.csv {
            table::write_csv(output, &layout, train, &profile)
        } else {
            write_table(output, &layout, train, &profile)
        };
        written.map_err(Failed::Output)?;
        if let Some(file) = &args.svg {
            write_svg(file, &layout, train, &profile)
                .map_err(|error| told(format!("`{}` cannot be written: {error}", file.display())))?;
        }
    }
    Ok(())
}

fn write_svg(file: &PathBuf, layout: &Layout, train: &Train, profile: &SpeedProfile) -> io::Result<()> {
    std::fs::write(file, plot::plot(layout, train, profile))
}

fn nothing_kept(kept: &Kept, train: &str) -> String {
    let names: Vec<String> = kept.names().map(|name| format!("`{name}`")).collect();
    let hint = if names.is_empty() { "of no train".to_owned() } else { format!("of {}", names.join(", ")) };
    format!("nothing is kept of `{train}`\nhint: something is kept {hint}")
}
