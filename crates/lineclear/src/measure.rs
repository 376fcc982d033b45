//! `lineclear measure`: a measuring run of one train on the pretend table, while all others stand.

use std::io::{self, Write};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

use signaller::measuring::{Measuring, Stage};
use signaller::{Input, Time};
use testtrack::{Running, Session, Settings};
use track::{Layout, StopId, TrainId};

use crate::profile::write_table;
use crate::state::Kept;
use crate::{Exit, folder};

/// How often progress may be told, in layout time.
const BEAT: Duration = Duration::from_secs(1);
/// How long a train may take to stand after it was told to stop.
const STOPPING: Duration = Duration::from_secs(60);

/// What was asked for on the command line.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The folder of the layout
    #[arg(value_name = "DIR")]
    layout: PathBuf,
    /// The train
    #[arg(value_name = "TRAIN")]
    train: String,
    /// Two stopping points to run to and fro between; without them the first two that the train can go between
    #[arg(long, value_name = "STOP", num_args = 2)]
    between: Vec<String>,
    /// At how many speed steps, evenly up to the highest
    #[arg(long, value_name = "N", default_value_t = 6, value_parser = clap::value_parser!(u8).range(1..=126))]
    steps: u8,
    /// A folder to keep in what is learned, and to begin with what is kept there; without it nothing is kept
    #[arg(long, value_name = "FOLDER")]
    state: Option<PathBuf>,
    /// What decides everything that is left to chance on the pretend table
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// How many times faster than life; without it as fast as the machine can
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=10_000))]
    pace: Option<u32>,
}

/// Measures, and shows what was learned.
pub(crate) fn run(args: &Args) -> Exit {
    match measure(args) {
        Ok(exit) => exit,
        Err(words) => {
            // Where nobody listens on standard error there is nobody left to tell.
            let _ = writeln!(io::stderr(), "{words}");
            Exit::BadInput
        }
    }
}

fn measure(args: &Args) -> Result<Exit, String> {
    let layout = Arc::new(folder::load(&args.layout).map_err(|refused| refused.to_string())?.layout);
    let train = layout
        .train_named(&args.train)
        .ok_or_else(|| format!("error: no train of the layout is called `{}`", args.train))?;
    let candidates = candidates(&layout, train, &args.between)?;
    let settings = Settings { running: Running::LIFELIKE, ..Settings::seeded(args.seed) };
    let mut session = Session::new(Arc::clone(&layout), &settings).map_err(|error| format!("error: {error}"))?;
    let mut kept = None;
    if let Some(state) = &args.state {
        let (opened, told) = Kept::open(state).map_err(|error| format!("error: {error}"))?;
        if let Some(told) = told {
            let _ = writeln!(io::stderr(), "warning: {told}");
        }
        let lessons = opened.lessons(&args.train).filter(|lessons| lessons.fits(&layout.trains[train]).is_ok());
        session.begin_with(
            lessons.map(|lessons| Input::ProfileRemembered { train, lessons: Box::new(lessons) }).into_iter().collect(),
        );
        kept = Some(opened);
    }
    let mut measuring = Measuring::new(&layout, train, candidates, usize::from(args.steps));
    let mut output = io::stdout();
    pass(&mut session, &mut measuring, &layout, args.pace, &mut output)?;
    let ended = finish(args, &session, &measuring, train, kept, &mut output);
    ended.map_err(|error| format!("error: {error}"))
}

/// Where the stretch may end. Where nobody said, first where the train stands, towards its tail: there it comes back the other way
/// round, so that it is measured both ways.
fn candidates(layout: &Layout, train: TrainId, between: &[String]) -> Result<Vec<StopId>, String> {
    if between.is_empty() {
        let start = layout.trains[train].start.as_ref();
        let mut stops: Vec<StopId> = layout.stops.ids().collect();
        stops.sort_by_key(|&stop| {
            let towards = layout.stops[stop].towards;
            let is_here = start.is_some_and(|start| start.on.contains(&layout.ends[towards].section));
            (!is_here, start.is_some_and(|start| start.nose == Some(towards)))
        });
        // No stretch lies within one section.
        let section = |stop: StopId| layout.ends[layout.stops[stop].towards].section;
        let first = stops.first().copied();
        stops.retain(|&stop| Some(stop) == first || first.is_none_or(|first| section(stop) != section(first)));
        return Ok(stops);
    }
    let stop = |name: &String| {
        layout.stop_named(name).ok_or_else(|| format!("error: no stopping point of the layout is called `{name}`"))
    };
    between.iter().map(stop).collect()
}

/// Lets time pass until the run is over, or somebody ends it: then until the train stands.
fn pass(
    session: &mut Session,
    measuring: &mut Measuring,
    layout: &Layout,
    pace: Option<u32>,
    output: &mut impl Write,
) -> Result<(), String> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    let runtime = runtime.map_err(|error| format!("error: {error}"))?;
    let interrupted = runtime.block_on(async {
        let mut interrupt = std::pin::pin!(tokio::signal::ctrl_c());
        let started = Instant::now();
        let mut told = None;
        loop {
            let next = session.now() + BEAT;
            let wait = pace.map(|pace| {
                let due = next.since(Time::ZERO) / pace;
                due.saturating_sub(started.elapsed())
            });
            tokio::select! {
                biased;
                _ = &mut interrupt => return true,
                () = tokio::time::sleep(wait.unwrap_or_default()) => {}
            }
            session.run_until(next, &mut |moment, desk| {
                measuring.hear(moment.now, moment.outputs, &mut |request| desk.request(request));
            });
            tell(measuring, session.now(), &mut told, output);
            if matches!(measuring.stage(), Stage::Done | Stage::Failed(_)) {
                return false;
            }
        }
    });
    if interrupted {
        measuring.stop(&mut |request| session.desk().request(request));
        let until = session.now() + STOPPING;
        let stands = |session: &Session| {
            let table = session.table();
            layout.trains.ids().all(|train| table.speed(train).um() == 0)
        };
        session.run_until(session.now() + BEAT, &mut |_, _| {});
        while session.now() < until && !stands(session) {
            session.run_until(session.now() + BEAT, &mut |_, _| {});
        }
    }
    Ok(())
}

/// Tells how far the run has come, once a pass.
fn tell(measuring: &Measuring, now: Time, told: &mut Option<Stage>, output: &mut impl Write) {
    if told.as_ref() == Some(measuring.stage()) {
        return;
    }
    *told = Some(measuring.stage().clone());
    let words = match measuring.stage() {
        Stage::Coming => "runs to where the stretch begins".to_owned(),
        Stage::Passing { done, step } => {
            let (left, count) = (measuring.takes().as_secs(), measuring.passes());
            format!("pass {} of {count}, at step {step}; about {}:{:02} min left", done + 1, left / 60, left % 60)
        }
        Stage::Done => "all passes are done".to_owned(),
        Stage::Failed(why) => format!("not all passes are done: {why}"),
    };
    // Where nobody reads it the run goes on all the same.
    let _ = writeln!(output, "{:>7.1} s  {words}", now.secs_f64());
}

/// Shows what was learned, and keeps it.
fn finish(
    args: &Args,
    session: &Session,
    measuring: &Measuring,
    train: TrainId,
    kept: Option<Kept>,
    output: &mut impl Write,
) -> io::Result<Exit> {
    let layout = session.table().layout();
    let drive = session.signaller().drive();
    if let [near, far] = *measuring.ends() {
        let (near, far) = (&layout.stops[near].name, &layout.stops[far].name);
        writeln!(output, "\nmeasured between `{near}` and `{far}`")?;
    }
    writeln!(output)?;
    if let Some(profile) = drive.profile(train) {
        write_table(output, layout, &layout.trains[train], &profile)?;
    }
    if let (Some(mut kept), Some(lessons)) = (kept, drive.lessons(train)) {
        kept.set(&args.train, &lessons);
        kept.save()?;
    }
    for violation in session.violations() {
        writeln!(output, "{:?} at {:.1} s: {}", violation.rule, violation.at.secs_f64(), violation.sentence)?;
    }
    if let Stage::Failed(why) = measuring.stage() {
        writeln!(output, "not all passes are done: {why}")?;
    }
    let is_well = *measuring.stage() == Stage::Done && session.violations().is_empty();
    Ok(if is_well { Exit::Fine } else { Exit::Wrong })
}
