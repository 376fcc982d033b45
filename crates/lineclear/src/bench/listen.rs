//! `lineclear listen`: what comes over the links, raw and understood.

use std::collections::BTreeSet;
use std::io::{self, Write};
use std::path::PathBuf;
use std::time::{Duration, Instant};

use lineside::health::Health;
use lineside::{Lineside, Meaning, News, Overheard, Role, What};
use track::wiring::{Thing, Wiring};
use track::{Layout, nearest};

use super::{complain, open};
use crate::Exit;
use crate::run::pace;

/// What was asked for on the command line.
#[derive(Debug, clap::Args)]
#[command(after_long_help = HELP)]
pub(crate) struct Args {
    /// The folder of the layout
    #[arg(value_name = "DIR")]
    layout: PathBuf,
    /// Only this link
    #[arg(value_name = "LINK")]
    link: Option<String>,
    /// How long to listen; without it until Ctrl-C
    #[arg(long = "for", value_name = "TIME", value_parser = pace::span)]
    span: Option<Duration>,
}

const HELP: &str = "\
Nothing is ordered. One line for each thing that comes: seconds since the beginning, the link, what came, and what it means. What comes
from an address that `links.toml` does not know stands out with the line that would make it known, once for each. With `--for` it is
said in the end how each link is, and of which sections, spots, readers, turnouts and inputs nothing was heard.

A broker, a bus or a server may be listened to while a daemon runs. An adapter that is a process, a serial line and pins can be
had by one program at a time: end the daemon first.";

/// So many addresses that are not known are remembered; of a bus with more, not all are told only once.
const MOST_NEW: usize = 10_000;

/// Listens until the time is over.
pub(crate) fn run(args: &Args) -> Exit {
    let (layout, wiring) = match open(&args.layout) {
        Ok(opened) => opened,
        Err(exit) => return exit,
    };
    let only = match &args.link {
        None => None,
        Some(name) => match wiring.links.iter().find(|wired| wired.name == *name) {
            Some(wired) => Some(wired.link),
            None => {
                let near = nearest(name, wiring.links.iter().map(|wired| wired.name.as_str()));
                let hint = near.map(|near| format!("\nhint: the nearest name is `{near}`")).unwrap_or_default();
                return complain(&format_args!("error: no link of `links.toml` is named `{name}`{hint}"));
            }
        },
    };
    let mut lineside = match Lineside::open(&layout, &wiring, &args.layout, Role::Listens, only) {
        Ok(lineside) => lineside,
        Err(error) => return complain(&format_args!("error: {error}")),
    };
    let began = Instant::now();
    let mut told = BTreeSet::new();
    let mut output = io::stdout();
    while args.span.is_none_or(|span| began.elapsed() < span) {
        let Some(news) = lineside.next_within(Duration::from_millis(200)) else { continue };
        let name = &layout.links[news.link].name;
        let line = line(&news, &mut told);
        if let Some(line) = line
            && writeln!(output, "{:9.3}  {name}  {line}", began.elapsed().as_secs_f64()).is_err()
        {
            // Whoever closed the pipe has read enough.
            return Exit::Fine;
        }
    }
    for line in lineside.health().iter().flat_map(|health| summary(health, &wiring, &layout)) {
        if writeln!(output, "{line}").is_err() {
            break;
        }
    }
    Exit::Fine
}

/// How a link is in the end, and of which things on it nothing was heard.
fn summary(health: &Health, wiring: &Wiring, layout: &Layout) -> Vec<String> {
    let how = if health.is_up { "is up".to_owned() } else { format!("is down: {}", health.why) };
    let mut lines = vec![format!("{} {how}; it reported {} times", health.name, health.reports)];
    let reports = |thing: Thing| match thing {
        Thing::Section(_) | Thing::Spot(_) | Thing::Reader(_) | Thing::Input(_) => true,
        Thing::Turnout(turnout) => layout.turnouts[turnout].reported,
        _ => false,
    };
    let carried = wiring.links.iter().filter(|wired| wired.name == health.name).flat_map(|wired| &wired.carries);
    let silent = carried.filter(|carried| reports(carried.thing) && !health.heard.contains_key(&carried.thing));
    let silent: Vec<&str> = silent.map(|carried| carried.name.as_str()).collect();
    if !silent.is_empty() {
        lines.push(format!("   nothing was heard of {}", silent.join(", ")));
    }
    lines
}

/// What to say of news; nothing where it was said.
fn line(news: &News, told: &mut BTreeSet<String>) -> Option<String> {
    Some(match &news.what {
        What::Up(inputs) => format!("is up, and {} things were reported", inputs.len()),
        What::Down(why) => format!("is down: {why}"),
        What::Said(text) => format!("says: {text}"),
        What::Stop(why) => format!("wants every train to stand: {why}"),
        // What is reported was heard before, and shown.
        What::Reported(_) | What::Rewired => return None,
        What::Heard(Overheard { raw, meaning }) => match meaning {
            Meaning::Known { name, says } => format!("{raw}   = {name}: {says}"),
            Meaning::Housekeeping => raw.clone(),
            Meaning::Unclear { name, why } => format!("{raw}   ? {name}: {why}"),
            Meaning::New { hint } => {
                if told.len() < MOST_NEW && !told.insert(hint.clone()) {
                    return Some(format!("{raw}   ? something new"));
                }
                let lines = hint.replace('\n', "\n             ");
                format!(
                    "{raw}\n   >>> something new spoke; to make it known, write into `links.toml`:\n             {lines}"
                )
            }
        },
    })
}
