//! Runs many seeds on the pretend table, each with a layout, traffic and faults of its own, and tells what did not hold.
//!
//! Each seed is one call of [`testtrack::swarm::Plan::try_out`], on one of two threads or more: nothing is shared between seeds,
//! so a seed does the same on whichever it runs. What is printed comes in the order of seeds.

mod arguments;
mod folder;
mod regression;
mod work;

use std::io::{IsTerminal, Write};
use std::process::ExitCode;

use arguments::{Arguments, USAGE};
use testtrack::swarm::Tally;
use work::{Clock, Done, Task};

fn main() -> ExitCode {
    match Arguments::read(std::env::args().skip(1)) {
        Ok(None) => {
            say(USAGE);
            ExitCode::SUCCESS
        }
        Ok(Some(arguments)) => run(&arguments),
        Err(wrong) => {
            complain(&format!("error: {wrong}\n\n{USAGE}"));
            ExitCode::from(2)
        }
    }
}

fn run(arguments: &Arguments) -> ExitCode {
    let tasks = match tasks(arguments) {
        Ok(tasks) => tasks,
        Err(wrong) => {
            complain(&format!("error: {wrong}"));
            return ExitCode::from(2);
        }
    };
    let clock = Clock::start();
    let mut tally = Tally::default();
    let mut failed = 0;
    let shows_progress = std::io::stderr().is_terminal();
    work::all(&tasks, &mut |task, done, count| {
        if let Some(text) = done.failure(task) {
            failed += 1;
            say(&text);
        }
        if let Some(most) = arguments.tell {
            task.last_lines(most).iter().for_each(|line| say(line));
        }
        match done {
            Done::Tried(outcome) => tally.add(&task.plan, &outcome),
            Done::Panicked { .. } => tally.add_broken(testtrack::swarm::Law::Panic),
            Done::DoesNotFit { .. } => {}
        }
        if shows_progress {
            let _ = write!(std::io::stderr(), "\r{count} of {} seeds, {failed} failed ", tasks.len());
        }
    });
    if shows_progress {
        complain("");
    }
    say(&tally.json(arguments.hours, clock.passed()));
    if failed > arguments.allow { ExitCode::FAILURE } else { ExitCode::SUCCESS }
}

/// Everything that is to be run: the seeds asked for, or those of a file.
fn tasks(arguments: &Arguments) -> Result<Vec<Task>, String> {
    let given = arguments.layout.as_deref().map(folder::place).transpose()?;
    let mut tasks = Vec::new();
    if let Some(path) = &arguments.regression {
        for line in regression::read(path)? {
            let place = line.layout.as_deref().map(folder::place).transpose()?;
            tasks.push(Task::new(line.seed, line.hours, line.faults, place)?);
        }
    }
    if let Some((first, last)) = arguments.seeds {
        for seed in first..=last {
            tasks.push(Task::new(seed, arguments.hours, arguments.faults.clone(), given.clone())?);
        }
    }
    Ok(tasks)
}

/// Writes to standard output. Whoever reads it may have gone away.
fn say(text: &str) {
    let _ = writeln!(std::io::stdout(), "{text}");
}

/// Writes to standard error.
fn complain(text: &str) {
    let _ = writeln!(std::io::stderr(), "{text}");
}
