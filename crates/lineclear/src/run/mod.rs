//! `lineclear run`: a layout at work, with its scripts: over its links, or on a pretend table.
//!
//! One task owns the closed loop and everything that hangs on it ([`house`]); [`shell`] lets time pass in it, as fast as it was
//! asked to, and listens for the signals that end it. What is shown is made of what the loop tells its listener, never of
//! anything else: plain lines ([`words`]), or on a terminal the live view ([`view`]).

mod beyond;
mod booked;
mod front;
mod handed_on;
pub(crate) mod house;
mod interrupts;
mod line;
mod outside;
pub(crate) mod pace;
mod pairing;
mod reading;
mod recorded;
mod service;
pub(crate) mod shell;
mod summary;
pub(crate) mod view;
mod watched;
pub(crate) mod words;

use std::collections::BTreeMap;
use std::io::{self, IsTerminal, Write};
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use hooks::{ClockTime, LayoutClock, ScriptError};
use panel::{Beside, Certificates};
use register::{KeptClock, Origin, Recovered};
use signaller::{Request, Time};
use testtrack::swarm::FaultSet;
use tracing_subscriber::filter::LevelFilter;
use track::Layout;
use track::wiring::Wiring;

use crate::state::Kept;
use crate::table::wire;
use crate::{Exit, folder};

use booked::{Asker, Book};
use house::{Fresh, House};
use line::Line;
use outside::{Hardware, Outside};
use pace::Pace;
use pairing::{Invitation, Pictured};
use shell::{Doorway, Failed, Others, Plan, ReadAnew, Unkept};

/// What everybody should know before trains move.
const CAUTIONS: &str = "\
take care: this program is no safety device. Keep an emergency stop that cuts track power within reach of your hand. Work on
mains wiring is for a licensed electrician, under the code that holds where you are. Never use this for trains that carry
people, or for full-size railways.";

/// Where the control door is if nothing else was said.
pub(crate) const USUAL_DOOR: SocketAddr = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), 4460);

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
    /// Run this script instead of those in the folder; may be said more than once
    #[arg(long = "script", value_name = "FILE")]
    scripts: Vec<PathBuf>,
    /// What decides everything that is left to chance on the pretend table
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Trains are on a table elsewhere, `lineclear table` at this address; what a register holds of where they stood is gone on from
    #[arg(long, value_name = "ADDRESS", conflicts_with_all = ["pace", "faults"])]
    table: Option<SocketAddr>,
    /// Trains are on a pretend table, though `links.toml` says how real ones are reached
    #[arg(long, conflicts_with = "table")]
    pretend: bool,
    /// What goes wrong on the pretend table: `none`, `mild`, `harsh`, or names of faults with commas between them
    #[arg(long, value_name = "WHICH", default_value = "none", value_parser = FaultSet::read)]
    faults: FaultSet,
    /// A folder to keep in what is learned of trains, and to begin with what is kept there; and the register of the run. Without
    /// it nothing is kept
    #[arg(long, value_name = "FOLDER")]
    state: Option<PathBuf>,
    /// Begin without what is kept; that is moved aside
    #[arg(long, requires = "state")]
    fresh: bool,
    /// What to do when the register can no longer be written: `stop` every train, or `run-on` without it
    #[arg(long, value_name = "WHAT", value_enum, default_value = "stop", requires = "state")]
    unkept: Unkept,
    /// The address of the control door, through which `lineclear tell` and `lineclear watch` come in, or `off`; without it
    /// 127.0.0.1:4460 if that is free, and none at pace `fast`
    #[arg(long, value_name = "ADDRESS", value_parser = door)]
    door: Option<Wanted>,
    /// Lets other machines in by the control door, each once it gives a code that is shown here; `--door` must name an address
    /// that they can reach
    #[arg(long, requires = "door")]
    pair: bool,
    /// Shows one of the codes as a picture for the camera of a phone or tablet: the code to `look`, to `drive`, to `dispatch`, or
    /// `none`; without it the one to drive, on a terminal
    #[arg(long, value_name = "WHICH", value_enum, requires = "pair")]
    pair_picture: Option<Pictured>,
    /// What other machines call this one, for that picture; without it this machine's address on the network
    #[arg(long, value_name = "NAME", requires = "pair")]
    pair_host: Option<String>,
    /// The certificate by which the control door proves who it is to other machines, with those that lead up to its authority, in PEM;
    /// what they say is encrypted then
    #[arg(long, value_name = "FILE", requires = "pair", requires = "key")]
    certificate: Option<PathBuf>,
    /// The private key of the certificate, in PEM
    #[arg(long, value_name = "FILE", requires = "certificate")]
    key: Option<PathBuf>,
    /// Plain lines, on a terminal too
    #[arg(long)]
    plain: bool,
    /// Say more on standard error; twice for more still
    #[arg(short, long, action = clap::ArgAction::Count)]
    verbose: u8,
    /// How much to say on standard error: `off`, `error`, `warn`, `info`, `debug` or `trace`
    #[arg(long, value_name = "LEVEL", conflicts_with = "verbose")]
    log: Option<LevelFilter>,
    /// How it is said there: for people, or as an object of JSON a line
    #[arg(long, value_name = "FORM", value_enum, default_value = "human")]
    log_form: LogForm,
}

/// How the program says things about itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum LogForm {
    /// For people.
    Human,
    /// One object of JSON a line.
    Json,
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
    let (layout, wiring, hints, files) = match folder::load_with_files(&args.layout) {
        Ok((loaded, files)) => (Arc::new(loaded.layout), loaded.wiring, loaded.hints, files),
        Err(refused) => return bad_input(&refused),
    };
    let ground = match args.ground(wiring) {
        Ok(ground) => ground,
        Err(why) => return bad_input(&format_args!("error: {why}")),
    };
    let scripts = match chosen_scripts(&args.layout.join("scripts"), &args.scripts) {
        Ok(scripts) => scripts,
        Err(error) => return bad_input(&format_args!("error: {error}")),
    };
    let book = match args.book(&layout, &files, &ground) {
        Ok(book) => book,
        Err(why) => return bad_input(&format_args!("error: {why}")),
    };
    let (mut house, script_errors) = match args.house(&layout, &files, scripts, book, &ground) {
        Ok(made) => made,
        Err(why) => return bad_input(&format_args!("error: {why}")),
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
    let scripts = (args.layout.join("scripts"), args.scripts.clone());
    let read_anew = read_anew(args.layout.clone(), args.scripts.clone());
    let (pace, span, door, others, unkept) = (args.pace, args.span, args.doorway(), args.others(), args.unkept);
    let beside = Beside { files, hints };
    let plan = Plan { pace, span, door, others, unkept, beside, scripts, read_anew };
    let ending = if is_live { shell::live(house, plan) } else { shell::plain(house, plan) };
    let ending = ending.map(|mut house| {
        if let Some(told) = house.close_book() {
            bad_input(&format_args!("warning: {told}"));
        }
        house
    });
    match ending {
        Ok(house) => {
            let exit = match kept.as_mut().map(|kept| house.keep(kept)).transpose() {
                Ok(_) => house.verdict(),
                Err(error) => bad_input(&format_args!("error: what was learned cannot be kept: {error}")),
            };
            house.close();
            exit
        }
        Err(Failed::Output(error)) if error.kind() == io::ErrorKind::BrokenPipe => Exit::Fine,
        Err(Failed::Output(error)) => bad_input(&format_args!("error: the output cannot be written: {error}")),
        Err(Failed::Door(why)) => bad_input(&format_args!("error: {why}")),
    }
}

/// Where the trains of a run are.
enum Ground {
    /// On a pretend table of our own.
    Pretend,
    /// On a pretend table elsewhere.
    Elsewhere(SocketAddr),
    /// On the layout itself.
    Real(Wiring),
}

impl Args {
    /// Where the trains are: where `links.toml` says so, on the layout itself.
    fn ground(&self, wiring: Option<Wiring>) -> Result<Ground, String> {
        match (self.table, wiring) {
            (Some(address), _) => Ok(Ground::Elsewhere(address)),
            (None, Some(wiring)) if !self.pretend => {
                let is_usual = self.pace == Pace::Times(1.0) && matches!(self.faults, FaultSet::None);
                is_usual.then_some(Ground::Real(wiring)).ok_or_else(|| {
                    "`links.toml` says that the trains are real: they know no `--pace` and no `--faults`\n\
                     hint: `--pretend` lets them run on a pretend table"
                        .to_owned()
                })
            }
            _ => Ok(Ground::Pretend),
        }
    }

    /// The register of the run, and what it holds of the one before.
    fn book(
        &self,
        layout: &Arc<Layout>,
        files: &BTreeMap<String, String>,
        ground: &Ground,
    ) -> Result<Option<(Book, Recovered)>, String> {
        let Some(state) = &self.state else { return Ok(None) };
        let goes_on = !matches!(ground, Ground::Pretend) && !self.fresh;
        let from = if goes_on { Origin::Before } else { Origin::Afresh };
        let opened = Book::open(state, self.pace, layout, files.clone(), from).map_err(|error| error.to_string())?;
        for told in &opened.1.told {
            // Where nobody listens on standard error there is nobody left to tell.
            let _ = writeln!(io::stderr(), "warning: {told}");
        }
        Ok(Some(opened))
    }

    /// The house: its trains on a pretend table of our own, or on one elsewhere, where they stand as they stood.
    fn house(
        &self,
        layout: &Arc<Layout>,
        files: &BTreeMap<String, String>,
        scripts: Vec<(String, String)>,
        book: Option<(Book, Recovered)>,
        ground: &Ground,
    ) -> Result<(House, Vec<ScriptError>), String> {
        let (book, recovered) = book.map_or_else(Default::default, |(book, recovered)| (Some(book), recovered));
        let clock = recovered.clock.map_or_else(LayoutClock::default, going_on);
        let (mut house, errors) = match ground {
            Ground::Pretend => House::new(Arc::clone(layout), scripts, self.seed, &self.faults)?,
            Ground::Elsewhere(address) => {
                let line = Line::open(*address, wire::digest(files)).map_err(|error| error.to_string())?;
                House::beyond(Arc::clone(layout), scripts, self.seed, Outside::Table(line), recovered.inputs(), clock)?
            }
            Ground::Real(wiring) => {
                let hardware = Hardware::open(layout, wiring, &self.layout).map_err(|error| error.to_string())?;
                let outside = Outside::Links(Box::new(hardware));
                House::beyond(Arc::clone(layout), scripts, self.seed, outside, recovered.inputs(), clock)?
            }
        };
        if let Some(book) = book {
            house.keep_book(book);
        }
        if !matches!(ground, Ground::Pretend) {
            // Where nothing is known of any train, all stand as the layout says.
            let starts = layout.trains.iter().filter(|_| recovered.trains.is_empty());
            for (train, start) in starts.filter_map(|(train, described)| Some((train, described.start.clone()?))) {
                let asker = Asker { by: "the layout".to_owned(), key: None };
                house.ask(Request::Place { train, on: start.on, nose: start.nose }, asker);
            }
            let was_stopped = recovered.wishes.iter().any(|(wish, _)| *wish == Request::StopAll);
            for (wish, by) in recovered.wishes {
                house.ask(wish, Asker { by, key: None });
            }
            if !recovered.trains.is_empty() && !was_stopped {
                house.let_trains_settle();
            }
        }
        Ok((house, errors))
    }

    fn others(&self) -> Others {
        let files = self.certificate.clone().zip(self.key.clone());
        let certificates = files.map(|(certificate, key)| Certificates { certificate, key });
        if self.pair { Others::Paired(certificates, self.invitation()) } else { Others::TurnedAway }
    }

    /// Whose code is shown as a picture. What is written to a file or a service's log needs none, unless it is asked for.
    fn invitation(&self) -> Option<Invitation> {
        let usual = || if io::stdout().is_terminal() { Pictured::Drive } else { Pictured::None };
        let role = self.pair_picture.unwrap_or_else(usual).role()?;
        Some(Invitation { role, host: self.pair_host.clone() })
    }

    /// Where the control door is to be. A run as fast as the machine can is over before anybody comes in.
    fn doorway(&self) -> Doorway {
        match self.door {
            Some(Wanted::At(address)) => Doorway::Needed(address),
            Some(Wanted::Nowhere) => Doorway::None,
            None if self.pace == Pace::Fast => Doorway::None,
            None => Doorway::IfFree(USUAL_DOOR),
        }
    }
}

/// The layout clock as it was kept.
fn going_on(kept: KeptClock) -> LayoutClock {
    let mut clock = LayoutClock::going_on(ClockTime::from_nanos(kept.shows_ns), kept.pace);
    if kept.is_running {
        clock.start(Time::ZERO, clock.pace());
    }
    clock
}

/// What was said of the control door on the command line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Wanted {
    At(SocketAddr),
    Nowhere,
}

/// Reads an address, or `off`.
fn door(written: &str) -> Result<Wanted, String> {
    match written {
        "off" => Ok(Wanted::Nowhere),
        address => address
            .parse()
            .map(Wanted::At)
            .map_err(|_| format!("write an address and a port, such as `{USUAL_DOOR}`, or `off`")),
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
    let subscriber = tracing_subscriber::fmt().with_max_level(level).with_writer(io::stderr).with_ansi(false);
    match args.log_form {
        LogForm::Human => subscriber.init(),
        LogForm::Json => subscriber.json().init(),
    }
}

/// Reads the layout in a folder anew, as often as it is asked to.
fn read_anew(folder: PathBuf, chosen: Vec<PathBuf>) -> ReadAnew {
    Arc::new(move || {
        let (loaded, files) = folder::load_with_files(&folder).map_err(|refused| refused.to_string())?;
        let scripts = chosen_scripts(&folder.join("scripts"), &chosen).map_err(|error| error.to_string())?;
        let (layout, wiring, hints) = (Arc::new(loaded.layout), loaded.wiring, loaded.hints);
        Ok(Fresh { layout, files, wiring, hints, scripts })
    })
}

/// The scripts to run: these, or if there are none those of a folder.
///
/// # Errors
/// When one of them cannot be read.
pub(crate) fn chosen_scripts(folder: &Path, chosen: &[PathBuf]) -> io::Result<Vec<(String, String)>> {
    if chosen.is_empty() { scripts(folder) } else { chosen.iter().map(|path| script(path)).collect() }
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
        scripts.push(script(&path)?);
    }
    Ok(scripts)
}

/// A script: the name of its file, and its text.
fn script(path: &Path) -> io::Result<(String, String)> {
    let read = || {
        if std::fs::metadata(path)?.len() > LARGEST_SCRIPT {
            return Err(io::Error::other(format!("more than {LARGEST_SCRIPT} bytes long")));
        }
        std::fs::read_to_string(path)
    };
    let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    Ok((name, read().map_err(|error| about(path, &error.to_string()))?))
}

fn about(path: &Path, what: &str) -> io::Error {
    io::Error::other(format!("`{}`: {}", path.display(), what.to_lowercase()))
}
