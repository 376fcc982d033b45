//! Instant by instant through the signaller.

use std::io::{self, Write};
use std::sync::Arc;
use std::time::Duration;

use signaller::{Answer, Fact, Input, Output, Signaller, Step, Time};
use track::Layout;

use super::problem::Problem;
use super::reader::Item;
use super::writer::Writer;
use super::{Facts, Signals, Wanted};

/// How long after the last line the signaller may still make up its mind.
const SETTLING: Duration = Duration::from_secs(60);

/// What was wrong, if anything; outside it, what the world did to the output.
pub(super) type Worked = io::Result<Result<(), Vec<Problem>>>;

/// Collects the lines of an instant, and steps the signaller when it is complete.
pub(super) struct Stepper<W> {
    layout: Arc<Layout>,
    signaller: Signaller,
    writer: Writer<W>,
    wanted: Wanted,
    /// The instant that is being collected.
    at: Time,
    heard: Vec<Input>,
    wake_at: Option<Time>,
}

impl<W: Write> Stepper<W> {
    pub(super) fn new(signaller: Signaller, output: W, wanted: Wanted) -> Self {
        Self {
            writer: Writer::new(signaller.layout(), wanted.signals, output),
            layout: Arc::clone(signaller.layout()),
            signaller,
            wanted,
            at: Time::ZERO,
            heard: Vec::new(),
            wake_at: None,
        }
    }

    /// Takes what one line said. A later instant completes the one before.
    pub(super) fn take(&mut self, item: Item) -> Worked {
        let (at, input) = match item {
            Item::Heard(at, input) => (at, input),
            Item::Bad(problem) => return Ok(Err(vec![problem])),
        };
        let mut worked = Ok(());
        if at > self.at && !self.heard.is_empty() {
            worked = self.complete()?;
        }
        self.at = at;
        if let Input::TrainNamed { train, name } = &input {
            self.writer.name(*train, name);
        }
        self.heard.push(input);
        Ok(worked)
    }

    /// Completes the last instant, and lets the signaller make up its mind.
    pub(super) fn finish(&mut self) -> Worked {
        let worked = if self.heard.is_empty() { Ok(()) } else { self.complete()? };
        if worked.is_ok() {
            self.wake_until(self.at + SETTLING)?;
        }
        Ok(worked)
    }

    /// Hands everything written so far to the outside.
    pub(super) fn flush(&mut self) -> io::Result<()> {
        self.writer.flush()
    }

    fn complete(&mut self) -> Worked {
        self.wake_until(self.at)?;
        let step = self.signaller.step(self.at, &self.heard);
        let refused = refusals(&step);
        self.wake_at = say(&mut self.writer, self.wanted, &self.layout, self.at, &step)?;
        self.heard.clear();
        Ok(if refused.is_empty() { Ok(()) } else { Err(refused) })
    }

    /// Wakes the signaller whenever it asked for that before `end`.
    fn wake_until(&mut self, end: Time) -> io::Result<()> {
        while let Some(now) = self.wake_at.filter(|&now| now < end) {
            let step = self.signaller.step(now, &[Input::Woke]);
            let next = say(&mut self.writer, self.wanted, &self.layout, now, &step)?;
            // Being woken again at the same time would never end.
            self.wake_at = next.filter(|&next| next > now);
        }
        Ok(())
    }
}

/// Requests carry their line as a ticket, so that a refusal leads back to it.
fn refusals(step: &Step<'_>) -> Vec<Problem> {
    let refused = |output: &Output| match output {
        Output::Fact(Fact::Answered { ticket, answer: Answer::Refused(refusal) }) => {
            Some(Problem::new(ticket.0, refusal.reason.clone()))
        }
        _ => None,
    };
    step.outputs.iter().filter_map(refused).collect()
}

fn say<W: Write>(
    writer: &mut Writer<W>,
    wanted: Wanted,
    layout: &Layout,
    now: Time,
    step: &Step<'_>,
) -> io::Result<Option<Time>> {
    writer.begin(now);
    for output in step.outputs {
        match output {
            Output::Fact(Fact::Tagged { section, tag }) => writer.tag(*section, tag),
            Output::Show { signal, aspect } if wanted.signals != Signals::Silent => {
                writer.aspect(*signal, *aspect);
            }
            Output::Light { signal, lit } if wanted.signals != Signals::Silent => writer.light(*signal, *lit),
            Output::Fact(fact) if wanted.facts == Facts::Told => writer.fact(layout, fact),
            _ => {}
        }
    }
    writer.flush_if_full()?;
    Ok(step.wake_at)
}
