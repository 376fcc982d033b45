//! `lineclear run`: a layout at work on the pretend table, with its scripts.
//!
//! One task owns the closed loop and everything that hangs on it ([`house`]); [`shell`] lets time pass in it, as fast as it was
//! asked to, and listens for the signals that end it. What is shown is made of what the loop tells its listener, never of
//! anything else: plain lines ([`words`]), or on a terminal the live view ([`view`]).

mod house;
mod pace;
mod shell;
mod summary;
mod view;
mod watch;
mod words;

use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use testtrack::swarm::FaultSet;
use tracing_subscriber::filter::LevelFilter;

use crate::state::Kept;
use crate::{Exit, folder};

use house::House;
use pace::Pace;

/// What everybody should know before trains move.
const CAUTIONS: &str = "\
take care: this program is no safety device. Keep an emergency stop that cuts track power within reach of your hand. Work on
mains wiring is for a licensed electrician, under the code that holds where you are. Never use this for trains that carry
people, or for full-size railways.";

/// A longer script is not worth reading.
const LARGEST_SCRIPT: u64 = 1 << 20;

/// What was asked for on the command line.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The folder of the layout; its scripts are in the folder `scripts` within
    #[arg(value_name = "DIR")]
    layout: PathBuf,
    /// How many times faster than life, or `fast` for as fast as the machine can
    #[arg(long, value_name = "N", default_value = "1")]
    pace: Pace,
    /// How much layout time to run for, such as `90s`, `10m` or `2h`; without it until Ctrl-C
    #[arg(long = "for", value_name = "TIME", value_parser = pace::span)]
    span: Option<Duration>,
    /// What decides everything that is left to chance on the pretend table
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// What goes wrong on the pretend table: `none`, `mild`, `harsh`, or names of faults with commas between them
    #[arg(long, value_name = "WHICH", default_value = "none", value_parser = FaultSet::read)]
    faults: FaultSet,
    /// A folder to keep in what is learned of trains, and to begin with what is kept there; without it nothing is kept
    #[arg(long, value_name = "FOLDER")]
    state: Option<PathBuf>,
    /// Begin without what is kept; that is moved aside
    #[arg(long, requires = "state")]
    fresh: bool,
    /// Plain lines, on a terminal too
    #[arg(long)]
    plain: bool,
    /// Say more on standard error; twice for more still
    #[arg(short, long, action = clap::ArgAction::Count)]
    verbose: u8,
    /// How much to say on standard error: `off`, `error`, `warn`, `info`, `debug` or `trace`
    #[arg(long, value_name = "LEVEL", conflicts_with = "verbose")]
    log: Option<LevelFilter>,
}

/// Runs the layout until its time is over, or somebody ends it.
pub(crate) fn run(args: &Args) -> Exit {
    let is_live = !args.plain && io::stdout().is_terminal();
    speak_up(args, is_live);
    let bad_input = |words: &dyn std::fmt::Display| {
        // Where nobody listens on standard error there is nobody left to tell.
        let _ = writeln!(io::stderr(), "{words}");
        Exit::BadInput
    };
    let layout = match folder::load(&args.layout) {
        Ok(loaded) => Arc::new(loaded.layout),
        Err(refused) => return bad_input(&refused),
    };
    let scripts = match scripts(&args.layout.join("scripts")) {
        Ok(scripts) => scripts,
        Err(error) => return bad_input(&format_args!("error: {error}")),
    };
    let (mut house, script_errors) = match House::new(layout, scripts, args.seed, &args.faults) {
        Ok(made) => made,
        Err(error) => return bad_input(&format_args!("error: {error}")),
    };
    let mut kept = match args.state.as_deref().map(|state| open_state(state, args.fresh)).transpose() {
        Ok(kept) => kept,
        Err(error) => return bad_input(&format_args!("error: what is kept cannot be moved aside: {error}")),
    };
    if let Some(kept) = &kept {
        for why in house.remember(kept) {
            bad_input(&format_args!("warning: {why}"));
        }
    }
    for error in &script_errors {
        bad_input(&format_args!("error: scripts/{error}"));
    }
    bad_input(&CAUTIONS);
    let ending =
        if is_live { shell::live(house, args.pace, args.span) } else { shell::plain(house, args.pace, args.span) };
    match ending {
        Ok(house) => match kept.as_mut().map(|kept| house.keep(kept)).transpose() {
            Ok(_) => house.verdict(),
            Err(error) => bad_input(&format_args!("error: what was learned cannot be kept: {error}")),
        },
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Exit::Fine,
        Err(error) => bad_input(&format_args!("error: the output cannot be written: {error}")),
    }
}

/// What is kept in a folder. What cannot be used there, or shall not, is moved aside and told.
fn open_state(folder: &Path, fresh: bool) -> io::Result<Kept> {
    let (kept, told) = if fresh {
        let (kept, aside) = Kept::begin_anew(folder)?;
        (kept, aside.map(|aside| format!("what was kept before is in `{}`", aside.display())))
    } else {
        Kept::open(folder)?
    };
    if let Some(told) = told {
        // Where nobody listens on standard error there is nobody left to tell.
        let _ = writeln!(io::stderr(), "warning: {told}");
    }
    Ok(kept)
}

/// Sends what the program says about itself to standard error; not onto the picture of the live view.
fn speak_up(args: &Args, is_live: bool) {
    let level = args.log.unwrap_or(match args.verbose {
        0 => LevelFilter::WARN,
        1 => LevelFilter::INFO,
        2 => LevelFilter::DEBUG,
        _ => LevelFilter::TRACE,
    });
    let level = if is_live && io::stderr().is_terminal() { LevelFilter::OFF } else { level };
    tracing_subscriber::fmt().with_max_level(level).with_writer(io::stderr).with_ansi(false).init();
}

/// The scripts of a folder, as pairs of file name and text. No folder, no scripts.
fn scripts(folder: &Path) -> io::Result<Vec<(String, String)>> {
    let entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(about(folder, &error.to_string())),
    };
    let mut scripts = Vec::new();
    for entry in entries {
        let path = entry?.path();
        if path.extension().is_none_or(|extension| extension != "lua") {
            continue;
        }
        let is_too_long = std::fs::metadata(&path)?.len() > LARGEST_SCRIPT;
        let text = if is_too_long {
            Err(io::Error::other(format!("more than {LARGEST_SCRIPT} bytes long")))
        } else {
            std::fs::read_to_string(&path)
        };
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        scripts.push((name, text.map_err(|error| about(&path, &error.to_string()))?));
    }
    Ok(scripts)
}

fn about(path: &Path, what: &str) -> io::Error {
    io::Error::other(format!("`{}`: {}", path.display(), what.to_lowercase()))
}
