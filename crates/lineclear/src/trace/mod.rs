//! `lineclear trace`: recorded reports in, who is where out. No clock, no network.
//!
//! Lines of JSON come in on standard input and go out on standard output. All lines of one instant are one unordered
//! batch, so an instant is worked through when a line of a later instant, or the end of the input, shows that it is
//! complete: what comes out never depends on how the input was cut into pieces on its way.
//!
//! One thread reads ([`reader`]: bytes to inputs), the other steps the signaller and writes ([`writer`]). What they
//! share is a short channel of batches, so memory stays bounded however long the input is. Read [`stepper`] for the
//! order of things.

mod careful;
mod facts;
mod names;
mod problem;
mod quick;
mod reader;
mod seconds;
mod stepper;
mod writer;

#[cfg(test)]
mod tests;

use std::io::{self, Read, Write};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, TryRecvError, sync_channel};

use signaller::{Conduct, Signaller};
use track::Layout;

use crate::{Exit, folder};
use reader::{Item, Reader};
use stepper::Stepper;

/// How many batches the reading thread may be ahead.
const BATCHES_AHEAD: usize = 4;

/// What was asked for on the command line.
#[derive(Debug, clap::Args)]
#[command(after_long_help = HELP)]
pub(crate) struct Args {
    /// The folder of the layout
    #[arg(value_name = "DIR")]
    layout: PathBuf,
    /// Also say what every signal shows
    #[arg(long)]
    signals: bool,
    /// Also say what every signal shows, with the lamps that are lit and those that flash
    #[arg(long)]
    lamps: bool,
    /// Also tell of doubts and what would settle them, of power, of links, and of what should be looked at
    #[arg(long)]
    facts: bool,
    /// Report a bad line and go on with the next; without this the first one ends the run
    #[arg(long)]
    keep_going: bool,
}

const HELP: &str = "\
One JSON object a line, in order of time; `at` is seconds since the record began. What can be said:
  {\"at\": 0.0, \"place\": \"Heron\", \"on\": [\"quay-1\"]}     put down, tail first; \"nose\": \"quay-1.b\" may be added
  {\"at\": 12.5, \"section\": \"main-1\", \"occupied\": true}
  {\"at\": 13.0, \"turnout\": \"W1\", \"lies\": \"straight\"}   or diverging, or unknown
  {\"at\": 14.2, \"reader\": \"gate\", \"train\": \"Heron\"}
  {\"at\": 90.0, \"lift\": \"Heron\"}                       taken off the track
  {\"at\": 91.0, \"signal\": \"S9\", \"shows\": \"yellow\"}     reported from beyond the layout
  {\"at\": 92.0, \"signal\": \"S2\", \"held\": true}          kept at danger by a person
  {\"at\": 92.5, \"signal\": \"S2\", \"called-on\": true}     a train is called on past it into occupied track
  {\"at\": 92.6, \"throw\": \"W1\", \"to\": \"diverging\"}      a person throws a turnout; refused where that is not safe
  {\"at\": 92.7, \"set\": \"S2-S4\"}                       a route is set, by its name in the control table
  {\"at\": 92.8, \"cancel\": \"S2\"}                       the route that is set from this signal is cancelled
  {\"at\": 92.9, \"out-of-service\": \"quay-2\"}           signals let nobody in; \"because\": \"rail loose\" may be added
  {\"at\": 92.9, \"in-service\": \"quay-2\"}               they do again
  {\"at\": 93.0, \"spot\": \"magnet\"}                      something passed a spot detector
  {\"at\": 94.0, \"district\": \"hill\", \"live\": false}     its power went; true: it is back
  {\"at\": 95.0, \"link\": \"west\", \"up\": false}           what it carries is not known; true: it is up again
  {\"at\": 96.0, \"identify\": \"Heron\", \"in\": \"quay-1\"}   a person says which train is there
  {\"at\": 96.5, \"found-empty\": \"quay-2\"}              a person says that nothing is there
  {\"at\": 0.0, \"remember\": \"Heron\", \"on\": [\"quay-1\"]}  stood there when the record before ended; nose as above
Where trains stand at first is taken from the record alone, not from `trains.toml`. Lines of one time are one instant, told
of when a later one begins. What is refused is told on standard error with the line it was asked in, and counts as a bad line;
--facts tells how a route that is set fares: called, cleared, approach-locked, used, cancelled, released, and what it waits for.

Exit status: 0 all of it was read, or whoever read the output had enough; 2 the layout or a line cannot be used.";

/// Whether to write what signals show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Signals {
    /// Only tags.
    Silent,
    /// Tags and aspects.
    Spoken,
    /// And the lamps of each.
    WithLamps,
}

/// Whether to tell of doubts, power, links and suspicions.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Facts {
    /// Only what is said of sections.
    Silent,
    /// These, too.
    Told,
}

/// What is to be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Wanted {
    signals: Signals,
    facts: Facts,
}

/// What to do about a bad line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum BadLine {
    /// It ends the run.
    Stops,
    /// It is reported and left out.
    IsSkipped,
}

/// How the run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Ending {
    /// All input was worked through.
    Complete,
    /// A bad line ended it.
    Stopped,
    /// Nobody reads the output any more.
    Unread,
}

/// Runs from standard input to standard output.
pub(crate) fn run(args: &Args) -> Exit {
    // Where nobody listens on standard error there is nobody left to tell.
    let bad_input = |words: &dyn std::fmt::Display| {
        let _ = writeln!(io::stderr(), "{words}");
        Exit::BadInput
    };
    let layout = match folder::load(&args.layout) {
        Ok(loaded) => Arc::new(loaded.layout),
        Err(refused) => return bad_input(&refused),
    };
    let signals = match (args.lamps, args.signals) {
        (true, _) => Signals::WithLamps,
        (false, true) => Signals::Spoken,
        (false, false) => Signals::Silent,
    };
    let facts = if args.facts { Facts::Told } else { Facts::Silent };
    let bad_line = if args.keep_going { BadLine::IsSkipped } else { BadLine::Stops };
    match trace(layout, io::stdin(), io::stdout().lock(), io::stderr(), Wanted { signals, facts }, bad_line) {
        Ok(Ending::Complete | Ending::Unread) => Exit::Fine,
        Ok(Ending::Stopped) => Exit::BadInput,
        Err(error) => bad_input(&format_args!("error: the output cannot be written: {error}")),
    }
}

/// Works through `input`, writes claims to `output` and what is wrong with the input to `complaints`.
fn trace(
    layout: Arc<Layout>,
    input: impl Read + Send + 'static,
    output: impl Write,
    mut complaints: impl Write,
    wanted: Wanted,
    bad_line: BadLine,
) -> io::Result<Ending> {
    let (sender, batches) = sync_channel(BATCHES_AHEAD);
    let signaller = Signaller::new(Arc::clone(&layout), Conduct::Observe);
    let signaller = if wanted.facts == Facts::Told { signaller } else { signaller.silent_of_doubts() };
    let mut reader = Reader::new(layout, input);
    // The thread is not joined: where the run ends early it may be waiting for input that never comes.
    std::thread::spawn(move || {
        while let Some(batch) = reader.next_batch() {
            if sender.send(batch).is_err() {
                return;
            }
        }
    });
    let mut stepper = Stepper::new(signaller, output, wanted);
    match work(&batches, &mut stepper, &mut complaints, bad_line) {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(Ending::Unread),
        ending => ending,
    }
}

fn work(
    batches: &Receiver<Vec<Item>>,
    stepper: &mut Stepper<impl Write>,
    complaints: &mut impl Write,
    bad_line: BadLine,
) -> io::Result<Ending> {
    let mut skipped = 0_u64;
    loop {
        let batch = match batches.try_recv() {
            Ok(batch) => batch,
            Err(TryRecvError::Disconnected) => break,
            Err(TryRecvError::Empty) => {
                stepper.flush()?;
                let Ok(batch) = batches.recv() else { break };
                batch
            }
        };
        for item in batch {
            if let Err(problems) = stepper.take(item)? {
                skipped += problems.iter().filter(|problem| !problem.is_warning).count() as u64;
                if report(stepper, complaints, &problems, bad_line)? == Ending::Stopped {
                    return Ok(Ending::Stopped);
                }
            }
        }
    }
    if let Err(problems) = stepper.finish()? {
        skipped += problems.iter().filter(|problem| !problem.is_warning).count() as u64;
        if report(stepper, complaints, &problems, bad_line)? == Ending::Stopped {
            return Ok(Ending::Stopped);
        }
    }
    stepper.flush()?;
    if skipped > 0 {
        writeln!(complaints, "lines left out because of errors: {skipped}")?;
    }
    Ok(Ending::Complete)
}

/// Tells what is wrong, after everything that was said before it. The run goes on where that was asked for.
fn report(
    stepper: &mut Stepper<impl Write>,
    complaints: &mut impl Write,
    problems: &[problem::Problem],
    bad_line: BadLine,
) -> io::Result<Ending> {
    stepper.flush()?;
    for problem in problems {
        writeln!(complaints, "{problem}")?;
        if bad_line == BadLine::Stops && !problem.is_warning {
            return Ok(Ending::Stopped);
        }
    }
    Ok(Ending::Complete)
}
