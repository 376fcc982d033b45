//! The daemon: the command line and what it starts. No train logic.
//!
//! One module a command; `main` only picks one. [`folder`] is how every command opens a layout.

mod aspects;
mod bench;
mod caller;
mod check;
mod folder;
mod measure;
mod past;
mod profile;
mod rehearse;
mod run;
mod state;
mod table;
mod trace;
mod types;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// Runs a model railway from what its section detectors say.
#[derive(Debug, Parser)]
#[command(version)]
struct CommandLine {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Check a layout and say what is wrong with it, or what it is made of
    Check(check::Args),
    /// Answer questions about what was recorded: who stood where, trips, stops, doubts, faults
    History(past::history::Args),
    /// Show what the hardware of a layout says, raw and understood
    Listen(bench::listen::Args),
    /// Measure how fast a train is, on a pretend table
    Measure(measure::Args),
    /// Show how fast trains are, as far as it was learned and kept
    Profile(profile::Args),
    /// Run scripts against a pretend table at full pace, and tell what gets stuck
    Rehearse(rehearse::Args),
    /// Run what was recorded again, and tell whether it gives the same
    Replay(past::replay::Args),
    /// Run a layout with its scripts: over its links, or on a pretend table
    Run(run::Args),
    /// Run a pretend table by itself, for a daemon that comes and goes: `lineclear run DIR --table ADDRESS`
    Table(table::Args),
    /// Ask something of a running daemon: send a train, stop all, place, hold, throw, and so on
    Tell(caller::tell::Args),
    /// Say which train is where in a recording: lines of JSON in on standard input, out on standard output
    Trace(trace::Args),
    /// Work one turnout, signal or train by hand
    Try(bench::try_one::Args),
    /// Write down for editors what scripts can use, with the names of the layout
    Types(types::Args),
    /// Look at a running daemon
    Watch(caller::watch::Args),
}

/// How a command ended, as the shell hears it. A wrong command line ends with 2, too.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Exit {
    /// All is well.
    Fine,
    /// What was looked at is not as it should be: a layout with mistakes, a run in which a rule was broken or a script
    /// failed.
    Wrong,
    /// There was nothing to look at: no such folder, a file that is no text, a line that cannot be read.
    BadInput,
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        match exit {
            Exit::Fine => Self::SUCCESS,
            Exit::Wrong => Self::from(1),
            Exit::BadInput => Self::from(2),
        }
    }
}

fn main() -> ExitCode {
    match CommandLine::parse().command {
        Command::Check(args) => check::run(&args).into(),
        Command::History(args) => past::history::run(&args).into(),
        Command::Listen(args) => bench::listen::run(&args).into(),
        Command::Measure(args) => measure::run(&args).into(),
        Command::Profile(args) => profile::run(&args).into(),
        Command::Rehearse(args) => rehearse::run(&args).into(),
        Command::Replay(args) => past::replay::run(&args).into(),
        Command::Run(args) => run::run(&args).into(),
        Command::Table(args) => table::run(&args).into(),
        Command::Tell(args) => caller::tell::run(args).into(),
        Command::Trace(args) => trace::run(&args).into(),
        Command::Try(args) => bench::try_one::run(&args).into(),
        Command::Types(args) => types::run(&args).into(),
        Command::Watch(args) => caller::watch::run(&args).into(),
    }
}
