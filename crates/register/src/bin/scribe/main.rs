//! Writes a register of traffic that a seed draws, and says on standard output how far it is durable: to be killed at any moment.
//!
//! `scribe FOLDER SEED STEPS` writes so many steps and closes the register; where it is killed it does not. Each line is the number of a
//! step up to which everything is durable. `scribe --cost STEPS` tells how much recording adds to the time that steps take.

#![allow(clippy::print_stdout, clippy::print_stderr, reason = "it is a program of a few lines")]

mod scene;

use std::io::Write;
use std::path::Path;
use std::process::ExitCode;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use register::{Health, Opened, Origin, Progress, Register, Settings};
use scene::{Traffic, beginning};

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let number = |at: usize| arguments.get(at).and_then(|text| text.parse::<u64>().ok());
    let done = match arguments.first().map(String::as_str) {
        Some("--cost") => number(1).map(cost),
        Some(folder) => number(1).zip(number(2)).map(|(seed, steps)| write(Path::new(folder), seed, steps)),
        None => None,
    };
    match done {
        Some(Ok(())) => ExitCode::SUCCESS,
        Some(Err(words)) => {
            eprintln!("error: {words}");
            ExitCode::FAILURE
        }
        None => {
            eprintln!("usage: scribe FOLDER SEED STEPS, or scribe --cost STEPS");
            ExitCode::from(2)
        }
    }
}

fn write(folder: &Path, seed: u64, steps: u64) -> Result<(), String> {
    let told = Mutex::new(0);
    let listener = move |progress: &Progress| {
        let Ok(mut told) = told.lock() else { return };
        if progress.durable_up_to > *told {
            *told = progress.durable_up_to;
            let mut output = std::io::stdout();
            // Whoever started it may be gone.
            let _ = writeln!(output, "{told}").and_then(|()| output.flush());
        }
    };
    let settings =
        Settings { commit_every: Duration::from_millis(5), listener: Some(Arc::new(listener)), ..Settings::default() };
    let Opened { mut register, .. } = Register::open(folder, settings).map_err(|error| error.to_string())?;
    let mut traffic = Traffic::new(seed);
    register.begin_shift(beginning(&traffic.layout, Origin::Afresh));
    for _ in 0..steps {
        let entry = traffic.step();
        register.wait_for_room();
        register.record(entry).map_err(|refused| format!("step {} was not taken", refused.number))?;
        register.keep_up(traffic.now(), &traffic.signaller);
    }
    register.keep_all(&traffic.signaller);
    match register.close().health {
        Health::Good => Ok(()),
        Health::Failing(trouble) | Health::Ended(trouble) => Err(trouble.to_string()),
    }
}

/// The time of steps alone, and with recording, as a ratio: only what the caller does counts, not what the writer does meanwhile.
fn cost(steps: u64) -> Result<(), String> {
    let folder = std::env::temp_dir().join(format!("lineclear-scribe-{}", std::process::id()));
    let mut alone = Duration::ZERO;
    let mut recording = Duration::ZERO;
    let settings = Settings { most_waiting: usize::MAX, ..Settings::default() };
    let Opened { mut register, .. } = Register::open(&folder, settings).map_err(|error| error.to_string())?;
    let mut traffic = Traffic::new(1);
    register.begin_shift(beginning(&traffic.layout, Origin::Afresh));
    for _ in 0..steps {
        let began = Instant::now();
        let entry = traffic.step();
        let stepped = Instant::now();
        register.record(entry).map_err(|refused| format!("step {} was not taken", refused.number))?;
        register.keep_up(traffic.now(), &traffic.signaller);
        alone += stepped - began;
        recording += stepped.elapsed();
    }
    let ratio = recording.as_secs_f64() / alone.as_secs_f64();
    println!("{steps} steps: recording takes {ratio:.3} of what the steps take");
    let began = Instant::now();
    register.close();
    println!(
        "written {:.1} times as long after the last step as the steps took",
        began.elapsed().as_secs_f64() / alone.as_secs_f64()
    );
    std::fs::remove_dir_all(&folder).map_err(|error| error.to_string())
}
