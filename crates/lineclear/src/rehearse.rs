//! `lineclear rehearse`: scripts against a pretend table at full pace, to find out what gets stuck before the trains do.

use std::collections::BTreeMap;
use std::io::{self, Write};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use hooks::{FIRST_TICKET, NoticeKind};
use signaller::{Answer, Board, Fact, Output, Request, Time};
use testtrack::swarm::FaultSet;
use track::{Layout, TrainId, nearest};

use crate::run::house::{Audience, Heard, House};
use crate::run::pace;
use crate::run::words::clock;
use crate::{Exit, folder};

/// A train that is on an errand and for which nothing happened for so long is stuck.
const STUCK: Duration = Duration::from_secs(15 * 60);

/// More kinds of refusals, and more errors, are only counted.
const MOST_TOLD: usize = 20;

/// What was asked for on the command line.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The folder of the layout
    #[arg(value_name = "DIR")]
    layout: PathBuf,
    /// The scripts to rehearse; without them those of the folder `scripts` of the layout
    #[arg(value_name = "SCRIPT")]
    scripts: Vec<PathBuf>,
    /// How many hours of layout time
    #[arg(long, value_name = "N", default_value_t = 8.0, value_parser = hours)]
    hours: f64,
    /// What decides everything that is left to chance
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// What goes wrong on the pretend table: `none`, `mild`, `harsh`, or names of faults with commas between them
    #[arg(long, value_name = "WHICH", default_value = "none", value_parser = FaultSet::read)]
    faults: FaultSet,
    /// Works an input by hand at a time of the rehearsal, such as `horn button=on@10m`; may be said more than once
    #[arg(long = "input", value_name = "NAME=on|off@TIME", value_parser = Deed::read)]
    inputs: Vec<Deed>,
}

/// An input that is worked in a rehearsal.
#[derive(Clone, Debug, PartialEq)]
struct Deed {
    input: String,
    on: bool,
    at: Time,
}

impl Deed {
    fn read(written: &str) -> Result<Self, String> {
        let wrong = || "write `NAME=on@TIME` or `NAME=off@TIME`, such as `horn button=on@10m`".to_owned();
        let (input, rest) = written.rsplit_once('=').ok_or_else(wrong)?;
        let (word, time) = rest.split_once('@').ok_or_else(wrong)?;
        let on = match word {
            "on" => true,
            "off" => false,
            _ => return Err(wrong()),
        };
        Ok(Self { input: input.to_owned(), on, at: Time::ZERO + pace::span(time)? })
    }

    fn request(&self, layout: &Layout) -> Result<Request, String> {
        let input = layout.input_named(&self.input).ok_or_else(|| {
            let names = layout.inputs.values().map(|input| input.name.as_str());
            match nearest(&self.input, names) {
                Some(near) => format!("no input is named `{}`\nhint: the nearest name is `{near}`", self.input),
                None => format!("no input is named `{}`", self.input),
            }
        })?;
        Ok(Request::WorkInput { input, on: self.on })
    }
}

fn hours(written: &str) -> Result<f64, String> {
    let hours: f64 = written.parse().map_err(|_| "write a number of hours".to_owned())?;
    if (0.01..=1000.0).contains(&hours) { Ok(hours) } else { Err("write 0.01 to 1000 hours".to_owned()) }
}

/// Rehearses, and tells what came of it.
pub(crate) fn run(args: &Args) -> Exit {
    let failed = |words: &str| {
        // Where nobody listens there is nobody left to tell.
        let _ = writeln!(io::stderr(), "{words}");
        Exit::BadInput
    };
    let layout = match folder::load(&args.layout) {
        Ok(loaded) => Arc::new(loaded.layout),
        Err(refused) => return failed(&refused.to_string()),
    };
    let scripts = match crate::run::chosen_scripts(&args.layout.join("scripts"), &args.scripts) {
        Ok(scripts) if scripts.is_empty() => return failed("error: there are no scripts to rehearse"),
        Ok(scripts) => scripts,
        Err(error) => return failed(&format!("error: {error}")),
    };
    let names: Vec<String> = scripts.iter().map(|(name, _)| name.clone()).collect();
    let (mut house, errors) = match House::new(Arc::clone(&layout), scripts, args.seed, &args.faults) {
        Ok(made) => made,
        Err(why) => return failed(&format!("error: {why}")),
    };
    if !errors.is_empty() {
        let told: Vec<String> = errors.iter().map(|error| format!("error: {error}")).collect();
        return failed(&told.join("\n"));
    }
    let deeds: Result<Vec<(Time, Request)>, String> =
        args.inputs.iter().map(|deed| Ok((deed.at, deed.request(&layout)?))).collect();
    let mut deeds = match deeds {
        Ok(deeds) => deeds,
        Err(why) => return failed(&format!("error: {why}")),
    };
    deeds.sort_by_key(|(at, _)| std::cmp::Reverse(*at));
    let mut watch = Watch::new(&layout);
    let end = Time::from_secs_f64(args.hours * 3600.0);
    while house.now() < end && !watch.nothing_moves(house.now()) {
        while let Some((_, request)) = deeds.pop_if(|(at, _)| *at <= house.now()) {
            house.ask_in_rehearsal(request);
        }
        let due = deeds.last().map_or(end, |(at, _)| *at).min(end);
        house.pass(due.min(house.now() + Duration::from_secs(60)), &mut watch);
    }
    watch.broken = house.violations().iter().map(|violation| violation.sentence.clone()).collect();
    let text = watch.report(&layout, house.board(), house.now(), &names);
    let _ = write!(io::stdout(), "{text}");
    watch.verdict(house.now())
}

/// What is known of one train.
#[derive(Clone, Debug, Default)]
struct Watched {
    trips: u64,
    /// Since when it waits for track, and for how long it did so far.
    waits_since: Option<Time>,
    waited: Duration,
    longest: Duration,
    /// Since when it is on an errand without anything having happened for it.
    quiet_since: Option<Time>,
    held: Option<String>,
}

/// Everything that happens, as far as it is reported.
struct Watch {
    trains: BTreeMap<TrainId, Watched>,
    refusals: BTreeMap<String, u64>,
    errors: Vec<String>,
    broken: Vec<String>,
}

impl Watch {
    fn new(layout: &Layout) -> Self {
        let trains = layout.trains.ids().map(|train| (train, Watched::default())).collect();
        Self { trains, refusals: BTreeMap::new(), errors: Vec::new(), broken: Vec::new() }
    }

    fn learn(&mut self, now: Time, fact: &Fact) {
        match fact {
            Fact::Departed { train, .. } => self.moved(now, *train, Errand::On),
            Fact::RouteSet { train, .. } | Fact::SectionReleased { train, .. } => {
                let is_on = self.trains.get(train).is_some_and(|watched| watched.quiet_since.is_some());
                self.moved(now, *train, if is_on { Errand::On } else { Errand::Over });
            }
            Fact::Arrived { train, .. } => {
                self.moved(now, *train, Errand::Over);
                self.train(*train).trips += 1;
            }
            Fact::Waiting { train, .. } => {
                let watched = self.train(*train);
                watched.waits_since = watched.waits_since.or(Some(now));
                watched.quiet_since = watched.quiet_since.or(Some(now));
            }
            Fact::HoldSet { train, reason } => self.train(*train).held = Some(reason.clone()),
            Fact::HoldLifted { train } => {
                self.train(*train).held = None;
                let is_on = self.train(*train).quiet_since.is_some();
                self.moved(now, *train, if is_on { Errand::On } else { Errand::Over });
            }
            Fact::Answered { ticket, answer: Answer::Refused(refusal) } if ticket.0 >= FIRST_TICKET => {
                *self.refusals.entry(refusal.reason.clone()).or_default() += 1;
            }
            _ => {}
        }
    }

    fn train(&mut self, train: TrainId) -> &mut Watched {
        self.trains.entry(train).or_default()
    }

    /// Something happened for a train.
    fn moved(&mut self, now: Time, train: TrainId, errand: Errand) {
        let watched = self.train(train);
        if let Some(since) = watched.waits_since.take() {
            watched.waited += now.since(since);
            watched.longest = watched.longest.max(now.since(since));
        }
        watched.quiet_since = (errand == Errand::On).then_some(now);
    }

    /// Trains for which nothing happened for long, since when.
    fn stuck(&self, now: Time) -> Vec<(TrainId, Time)> {
        let quiet = self.trains.iter().filter_map(|(&train, watched)| Some((train, watched.quiet_since?)));
        quiet.filter(|(_, since)| now.since(*since) >= STUCK).collect()
    }

    /// Every train with an errand is stuck, and there is one.
    fn nothing_moves(&self, now: Time) -> bool {
        let on_errand = self.trains.values().filter(|watched| watched.quiet_since.is_some()).count();
        on_errand > 0 && self.stuck(now).len() == on_errand
    }

    fn verdict(&self, now: Time) -> Exit {
        let is_fine = self.stuck(now).is_empty() && self.errors.is_empty() && self.broken.is_empty();
        if is_fine { Exit::Fine } else { Exit::Wrong }
    }

    fn report(&self, layout: &Layout, board: &Board, now: Time, scripts: &[String]) -> String {
        let name = |train: TrainId| layout.trains.get(train).map_or("a stranger", |train| train.name.as_str());
        let mut text = format!("{}, {} of layout time with {}\n\n", layout.name, clock(now), scripts.join(", "));
        let hours = (now.secs_f64() / 3600.0).max(f64::EPSILON);
        text.push_str(&format!(
            "  {:<16} {:>6} {:>9} {:>12} {:>13}\n",
            "train", "trips", "an hour", "waited", "longest wait"
        ));
        for (&train, watched) in &self.trains {
            // Whoever waits still does so up to now.
            let still = watched.waits_since.map_or(Duration::ZERO, |since| now.since(since));
            let (waited, longest) = (watched.waited + still, watched.longest.max(still));
            let an_hour = watched.trips as f64 / hours;
            text.push_str(&format!(
                "  {:<16} {:>6} {an_hour:>9.1} {:>12} {:>13}\n",
                name(train),
                watched.trips,
                span(waited),
                span(longest)
            ));
        }
        let stuck: Vec<String> = self
            .stuck(now)
            .iter()
            .map(|&(train, since)| {
                let errand = board.errands.get(&train);
                let held = self
                    .trains
                    .get(&train)
                    .and_then(|watched| watched.held.clone())
                    .map(|why| format!("it is held: {why}"));
                let why = held.or_else(|| errand.and_then(|errand| errand.waits.clone()));
                format!(
                    "{} since {}: {}",
                    name(train),
                    clock(since),
                    why.unwrap_or_else(|| "nobody knows why".to_owned())
                )
            })
            .collect();
        let refusals: Vec<String> =
            self.refusals.iter().map(|(reason, count)| format!("{count} times: {reason}")).collect();
        for (title, list) in
            [("stuck", &stuck), ("refused", &refusals), ("errors", &self.errors), ("broken rules", &self.broken)]
        {
            section(&mut text, title, list);
        }
        text
    }
}

/// Whether a train is on an errand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Errand {
    On,
    Over,
}

/// A titled list; of a long one the first.
fn section(text: &mut String, title: &str, list: &[String]) {
    if list.is_empty() {
        text.push_str(&format!("\n  {title}: none\n"));
        return;
    }
    text.push_str(&format!("\n  {title}:\n"));
    for entry in list.iter().take(MOST_TOLD) {
        text.push_str(&format!("    {entry}\n"));
    }
    if list.len() > MOST_TOLD {
        text.push_str(&format!("    and {} more\n", list.len() - MOST_TOLD));
    }
}

/// A span of time in minutes and seconds.
fn span(span: Duration) -> String {
    let seconds = span.as_secs();
    match (seconds / 3600, seconds / 60 % 60) {
        (0, 0) => format!("{seconds} s"),
        (0, minutes) => format!("{minutes} min {:02} s", seconds % 60),
        (hours, minutes) => format!("{hours} h {minutes:02} min"),
    }
}

impl Audience for Watch {
    fn hear(&mut self, heard: &Heard<'_>) {
        for output in heard.outputs {
            if let Output::Fact(fact) = output {
                self.learn(heard.now, fact);
            }
        }
        for notice in heard.notices {
            if let NoticeKind::Failed(_) | NoticeKind::HoldRefused { .. } = notice.kind {
                self.errors.push(format!("{}  {notice}", clock(heard.now)));
            }
        }
    }
}
