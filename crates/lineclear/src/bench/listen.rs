//! `lineclear listen`: what comes over the links, raw and understood.

use std::collections::BTreeSet;
use std::io::{self, Write};
use std::path::PathBuf;
use std::time::{Duration, Instant};

use lineside::{Lineside, Meaning, News, Overheard, Role, What};
use track::nearest;

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
from an address that `links.toml` does not know stands out with the line that would make it known, once for each.

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
            break;
        }
    }
    Exit::Fine
}

/// What to say of news; nothing where it was said.
fn line(news: &News, told: &mut BTreeSet<String>) -> Option<String> {
    Some(match &news.what {
        What::Up(inputs) => format!("is up, and {} things were reported", inputs.len()),
        What::Down(why) => format!("is down: {why}"),
        What::Said(text) => format!("says: {text}"),
        // What is reported was heard before, and shown.
        What::Reported(_) => return None,
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
