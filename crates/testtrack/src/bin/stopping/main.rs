//! Prints how well trains stop on the stopping course, over many seeds.

use std::process::ExitCode;

use testtrack::stopping::chart::one_stop;
use testtrack::stopping::{Figures, Fitted, try_out};

const USAGE: &str = "\
usage: stopping [--seeds FIRST..LAST] [--stops N] [--sections-only]
       stopping --chart [--seeds SEED] [--sections-only]

  --seeds FIRST..LAST  the seeds to run, both included; 1..50 where left out
  --stops N            stops to measure of each seed, after it has learned; 200 where left out
  --sections-only      without spots before the stopping points
  --chart              draws one stop of the first seed, as SVG on standard output, and does nothing else

Prints the stops as a histogram and a table. The exit status is 1 if a law was broken.";

#[derive(Debug)]
struct Arguments {
    seeds: (u64, u64),
    stops: usize,
    fitted: Fitted,
    draws: bool,
}

fn arguments(mut typed: impl Iterator<Item = String>) -> Result<Option<Arguments>, String> {
    let mut read = Arguments { seeds: (1, 50), stops: 200, fitted: Fitted::Spots, draws: false };
    while let Some(flag) = typed.next() {
        let mut value = || typed.next().ok_or_else(|| format!("`{flag}` needs a value"));
        match flag.as_str() {
            "--help" | "-h" => return Ok(None),
            "--seeds" => read.seeds = seeds(&value()?)?,
            "--stops" => {
                let text = value()?;
                read.stops = text.parse().map_err(|_| format!("`{text}` is no number of stops"))?;
            }
            "--chart" => read.draws = true,
            "--sections-only" => read.fitted = Fitted::Sections,
            other => return Err(format!("`{other}` means nothing here")),
        }
    }
    Ok(Some(read))
}

fn seeds(text: &str) -> Result<(u64, u64), String> {
    let wrong = || format!("`{text}` is no range of seeds\nhint: two numbers, as in `1..50`, the first not the larger");
    let (first, last) = text.split_once("..").unwrap_or((text, text));
    let number = |text: &str| text.parse::<u64>().map_err(|_| wrong());
    let (first, last) = (number(first)?, number(last)?);
    if first <= last { Ok((first, last)) } else { Err(wrong()) }
}

#[expect(clippy::print_stdout, clippy::print_stderr, reason = "this is what the program is for")]
fn main() -> ExitCode {
    let arguments = match arguments(std::env::args().skip(1)) {
        Ok(Some(arguments)) => arguments,
        Ok(None) => {
            println!("{USAGE}");
            return ExitCode::SUCCESS;
        }
        Err(wrong) => {
            eprintln!("error: {wrong}\n\n{USAGE}");
            return ExitCode::from(2);
        }
    };
    if arguments.draws {
        return match one_stop(arguments.seeds.0, arguments.fitted) {
            Ok(story) => {
                print!("{}", story.svg());
                ExitCode::SUCCESS
            }
            Err(wrong) => {
                eprintln!("error: {wrong}");
                ExitCode::FAILURE
            }
        };
    }
    let (mut stops, mut broken) = (Vec::new(), 0);
    for seed in arguments.seeds.0..=arguments.seeds.1 {
        match try_out(seed, arguments.fitted, arguments.stops) {
            Ok(outcome) => {
                for violation in &outcome.violations {
                    broken += 1;
                    println!("seed {seed}: {violation}");
                }
                stops.extend(outcome.stops);
            }
            Err(wrong) => {
                broken += 1;
                println!("{wrong}");
            }
        }
    }
    println!("{}", Figures::of(&stops, testtrack::stopping::SERVICE_BRAKING_MM_S2));
    if broken > 0 { ExitCode::FAILURE } else { ExitCode::SUCCESS }
}
