//! Running a shift again: the same inputs at the same times into a fresh signaller must give the same outputs.

use std::sync::Arc;

use signaller::{Input, Output, Signaller, Time};
use track::Layout;

use crate::codec;
use crate::names::Names;
use crate::reader::{Reader, Shift, Step};
use crate::trouble::Trouble;
use crate::writer::digest;

/// So many steps are read at once.
const AT_ONCE: usize = 500;

/// Makes a signaller of a snapshot.
pub type Restore<'r> = &'r dyn Fn(&[u8], &Arc<Layout>) -> Result<Signaller, String>;

/// What is to be run again, and how far.
#[derive(Clone, Copy, Debug)]
pub struct Span {
    /// Steps before this are run, but not compared.
    pub from: Time,
    /// No step after this is run.
    pub to: Time,
    /// How far it goes on once something differed.
    pub after_difference: After,
}

/// What is done once something differed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum After {
    /// It ends there.
    End,
    /// It goes on and counts.
    GoOn,
}

/// A step that gives something else than when it was recorded.
#[derive(Clone, Debug, PartialEq)]
pub struct Difference {
    /// The step as it was recorded.
    pub step: Step,
    /// What came out this time.
    pub got: Vec<Output>,
}

/// What running a shift again showed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Replayed {
    /// How many steps were run.
    pub run: u64,
    /// How many of them were compared.
    pub compared: u64,
    /// How many of these gave something else.
    pub differing: u64,
    /// The first of those.
    pub first: Option<Box<Difference>>,
    /// The snapshot it began with was taken after this step; nothing where it began with the shift.
    pub began_after: Option<u64>,
}

/// Why a shift cannot be run again, or not all of it.
#[derive(Debug)]
pub enum ReplayError {
    /// The register cannot be read, or not understood.
    Trouble(Trouble),
    /// The beginning is not kept any more, and no snapshot takes its place.
    NoBeginning {
        /// The first step that is kept.
        first_kept: Option<u64>,
        /// The first step of the shift.
        first: u64,
    },
    /// Steps are missing from here on: they were not taken when they were recorded.
    Missing {
        /// The first that is missing.
        number: u64,
        /// What was found up to there.
        so_far: Box<Replayed>,
    },
    /// A step tells of something that the layout has not: bytes went bad.
    Spoiled {
        /// The step.
        number: u64,
    },
    /// A snapshot cannot be used.
    Snapshot(String),
}

impl From<Trouble> for ReplayError {
    fn from(trouble: Trouble) -> Self {
        Self::Trouble(trouble)
    }
}

impl Reader {
    /// Runs a shift again on its layout.
    ///
    /// # Errors
    /// If it cannot be run, or only up to a step that is missing.
    pub fn replay(
        &self,
        shift: &Shift,
        layout: &Arc<Layout>,
        span: Span,
        restore: Option<Restore<'_>>,
    ) -> Result<Replayed, ReplayError> {
        self.replay_before(shift, layout, span, restore, &mut |_, _| {}).map(|(_, replayed)| replayed)
    }

    /// The same for somebody who looks at the signaller before each step, and once all of them are run. What they do with it must
    /// not change what it does.
    ///
    /// # Errors
    /// If it cannot be run, or only up to a step that is missing.
    pub fn replay_before(
        &self,
        shift: &Shift,
        layout: &Arc<Layout>,
        span: Span,
        restore: Option<Restore<'_>>,
        before: &mut dyn FnMut(&mut Signaller, Time),
    ) -> Result<(Signaller, Replayed), ReplayError> {
        let (mut signaller, mut replayed) = self.beginning(shift, layout, span, restore)?;
        let mut next = replayed.began_after.map_or(shift.first_step, |step| step + 1);
        loop {
            let steps = self.steps(shift, next, AT_ONCE)?;
            if steps.is_empty() {
                return Ok((signaller, replayed));
            }
            for step in steps {
                if step.at > span.to {
                    return Ok((signaller, replayed));
                }
                if step.number != next {
                    return Err(ReplayError::Missing { number: next, so_far: Box::new(replayed) });
                }
                if step.heard.iter().any(|(input, _)| !input.is_of(layout)) {
                    return Err(ReplayError::Spoiled { number: step.number });
                }
                next += 1;
                before(&mut signaller, step.at);
                replayed.step(&mut signaller, step, span);
                if replayed.first.is_some() && span.after_difference == After::End {
                    return Ok((signaller, replayed));
                }
            }
        }
    }

    /// The signaller at the last point before the span at which a replay can begin.
    fn beginning(
        &self,
        shift: &Shift,
        layout: &Arc<Layout>,
        span: Span,
        restore: Option<Restore<'_>>,
    ) -> Result<(Signaller, Replayed), ReplayError> {
        let has_beginning = shift.steps.is_some_and(|(first, _)| first == shift.first_step);
        let no_later = if has_beginning { span.from } else { span.to };
        let no_beginning =
            || ReplayError::NoBeginning { first_kept: shift.steps.map(|(first, _)| first), first: shift.first_step };
        // A shift that goes on with another layout begins with a snapshot, and with nothing else.
        let opening = self.snapshot_after(shift, shift.first_step.saturating_sub(1))?.filter(|_| has_beginning);
        if let Some(restore) = restore
            && let Some(snapshot) = self.snapshot(shift, no_later)?.or(opening.clone())
        {
            let signaller = restore(&snapshot.bytes, layout).map_err(ReplayError::Snapshot)?;
            return Ok((signaller, Replayed { began_after: Some(snapshot.step), ..Replayed::default() }));
        }
        if opening.is_some() {
            let why = "it goes on from the shift before, on another layout, and the snapshot that it begins with is of no use here";
            return Err(ReplayError::Snapshot(why.to_owned()));
        }
        if !has_beginning {
            return Err(no_beginning());
        }
        Ok((Signaller::new(Arc::clone(layout), shift.conduct), Replayed::default()))
    }

    /// The names of a shift's things, with those of trains that were named up to a step.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn names(&self, shift: &Shift, layout: &Arc<Layout>, up_to: u64) -> Result<Names, Trouble> {
        let mut names = Names::new(Arc::clone(layout));
        let mut next = shift.first_step;
        loop {
            let steps = self.steps(shift, next, AT_ONCE)?;
            let Some(last) = steps.last() else { return Ok(names) };
            next = last.number + 1;
            for step in steps.iter().take_while(|step| step.number <= up_to) {
                step.heard.iter().for_each(|(input, _)| names.hear(input));
            }
            if next > up_to {
                return Ok(names);
            }
        }
    }
}

impl Replayed {
    fn step(&mut self, signaller: &mut Signaller, step: Step, span: Span) {
        let inputs: Vec<Input> = step.heard.iter().map(|(input, _)| input.clone()).collect();
        let got = signaller.step(step.at, &inputs).outputs;
        self.run += 1;
        if step.at < span.from {
            return;
        }
        self.compared += 1;
        if digest(&codec::outputs_to_bytes(got)).cast_unsigned() != step.digest {
            self.differing += 1;
            if self.first.is_none() {
                let got = got.to_vec();
                self.first = Some(Box::new(Difference { step, got }));
            }
        }
    }
}
