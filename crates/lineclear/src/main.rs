//! The daemon: the command line and what it starts. No train logic.
//!
//! One module a command; `main` only picks one. [`folder`] is how every command opens a layout.

mod aspects;
mod check;
mod folder;
mod measure;
mod profile;
mod run;
mod state;
mod trace;

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
    /// Measure how fast a train is, on a pretend table
    Measure(measure::Args),
    /// Show how fast trains are, as far as it was learned and kept
    Profile(profile::Args),
    /// Run a layout on a pretend table, with its scripts
    Run(run::Args),
    /// Say which train is where in a recording: lines of JSON in on standard input, out on standard output
    Trace(trace::Args),
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
        Command::Measure(args) => measure::run(&args).into(),
        Command::Profile(args) => profile::run(&args).into(),
        Command::Run(args) => run::run(&args).into(),
        Command::Trace(args) => trace::run(&args).into(),
    }
}
