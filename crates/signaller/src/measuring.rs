//! A measuring run: one train to and fro between two places, with rising speed steps, so that what it learns covers them all.
//!
//! It is a customer of the signaller like any person or script: outputs in, requests out. So the train keeps to what it is
//! granted, and the signaller may refuse. All it adds is a limit to the step, which only ever makes the train slower.

use std::time::Duration;

use track::{Layout, SpeedSteps, StopId, TrainId};

use crate::door::{Answer, Destination, Fact, Output, Request, Ticket};
use crate::time::Time;

/// What turning back takes beside running, on average: coming to stand, being granted track, gathering speed. Common practice, no
/// source.
const TURN: Duration = Duration::from_secs(6);
/// A train that does not come to the other end within so many times what it should take is given up.
const PATIENCE: u32 = 8;

/// Where a measuring run has come to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Stage {
    /// The train is on its way to where the stretch begins.
    Coming,
    /// It runs over the stretch: passes that are done, and at which step it runs now.
    Passing {
        /// How many passes are done.
        done: usize,
        /// At which step at most it runs now.
        step: u8,
    },
    /// All passes are done.
    Done,
    /// It cannot go on.
    Failed(String),
}

/// A measuring run of one train.
#[derive(Clone, Debug)]
pub struct Measuring {
    train: TrainId,
    /// Places that the stretch may end at; the first that is accepted counts.
    candidates: Vec<StopId>,
    /// The ends of the stretch, as far as they are settled.
    ends: Vec<StopId>,
    /// The step of each pass.
    plan: Vec<u8>,
    done: usize,
    stage: Stage,
    /// The order that is under way: where to, and its ticket.
    order: Option<(StopId, Ticket)>,
    since: Time,
    /// How long a pass may take.
    patience: Duration,
    highest: u8,
    /// How long the train would take over the stretch at its highest step, as the first pass showed.
    stretch: Option<Duration>,
}

impl Measuring {
    /// A run of a train that passes a stretch twice, to and fro, at each of so many steps. The stretch is between two of the
    /// candidates, the first two that the train can go to and fro between.
    pub fn new(layout: &Layout, train: TrainId, candidates: Vec<StopId>, steps: usize) -> Self {
        let highest = layout.trains.get(train).map_or(SpeedSteps::Steps126, |train| train.speed_steps).highest();
        let steps = steps.clamp(1, usize::from(highest));
        let plan = (1..=steps).flat_map(|place| [(place * usize::from(highest) / steps) as u8; 2]).collect();
        let patience = Duration::from_secs(600);
        let (ends, stage) = (Vec::new(), Stage::Coming);
        Self {
            train,
            candidates,
            ends,
            plan,
            done: 0,
            stage,
            order: None,
            since: Time::ZERO,
            patience,
            highest,
            stretch: None,
        }
    }

    /// Where it has come to.
    pub fn stage(&self) -> &Stage {
        &self.stage
    }

    /// How many passes there are in all.
    pub fn passes(&self) -> usize {
        self.plan.len()
    }

    /// The ends of the stretch, as far as they are settled.
    pub fn ends(&self) -> &[StopId] {
        &self.ends
    }

    /// About how long the passes take that are not done. Until the first is done nobody knows how long the stretch is: then as
    /// long as one that the train runs through in half a minute at its highest step.
    pub fn takes(&self) -> Duration {
        let stretch = self.stretch.unwrap_or(Duration::from_secs(30));
        let pass = |&step: &u8| TURN + stretch * u32::from(self.highest) / u32::from(step.max(1));
        self.plan[self.done.min(self.plan.len())..].iter().map(pass).sum()
    }

    /// Begins, and goes on whenever something came out of the signaller. `ask` hands a request in, and tells its ticket.
    pub fn hear(&mut self, now: Time, outputs: &[Output], ask: &mut dyn FnMut(Request) -> Ticket) {
        if matches!(self.stage, Stage::Done | Stage::Failed(_)) {
            return;
        }
        let Some((bound_for, ticket)) = self.order else {
            self.send(now, ask);
            return;
        };
        for output in outputs {
            match output {
                Output::Fact(Fact::Answered { ticket: of, answer: Answer::Refused(refusal) }) if *of == ticket => {
                    self.refused(now, bound_for, &refusal.reason, ask);
                    return;
                }
                Output::Fact(Fact::Arrived { train, at })
                    if (*train, *at) == (self.train, Destination::Stop(bound_for)) =>
                {
                    self.arrived(now, bound_for, ask);
                    return;
                }
                _ => {}
            }
        }
        if now.since(self.since) > self.patience {
            self.fail("it does not come to the other end of the stretch".to_owned(), ask);
        }
    }

    /// Ends the run before its time: the train stops where it safely can.
    pub fn stop(&mut self, ask: &mut dyn FnMut(Request) -> Ticket) {
        if !matches!(self.stage, Stage::Done | Stage::Failed(_)) {
            ask(Request::Stop { train: self.train });
            self.fail("it was ended before its time".to_owned(), ask);
        }
    }

    fn fail(&mut self, why: String, ask: &mut dyn FnMut(Request) -> Ticket) {
        ask(Request::LimitStep { train: self.train, step: None });
        self.stage = Stage::Failed(why);
    }

    /// Sends the train to the next place.
    fn send(&mut self, now: Time, ask: &mut dyn FnMut(Request) -> Ticket) {
        let to = match self.ends[..] {
            [near, far] => Some(if self.done.is_multiple_of(2) { far } else { near }),
            _ => self.candidates.first().copied(),
        };
        let Some(to) = to else {
            self.fail("there are no two stopping points that it can run to and fro between".to_owned(), ask);
            return;
        };
        let step = self.plan[self.done.min(self.plan.len() - 1)];
        // On its way to where the stretch begins it runs as it may.
        let is_passing = !self.ends.is_empty();
        ask(Request::LimitStep { train: self.train, step: is_passing.then_some(step) });
        self.stage = if is_passing { Stage::Passing { done: self.done, step } } else { Stage::Coming };
        self.since = now;
        self.order = Some((to, ask(Request::Go { train: self.train, to: Destination::Stop(to) })));
    }

    fn refused(&mut self, now: Time, to: StopId, why: &str, ask: &mut dyn FnMut(Request) -> Ticket) {
        if self.ends.len() == 2 && self.done == 1 {
            // It came there, and cannot come back: the stretch begins where it is now.
            self.ends.remove(0);
            self.done = 0;
        } else if self.ends.len() == 2 {
            self.fail(format!("the way back was refused: {why}"), ask);
            return;
        } else {
            self.candidates.retain(|&candidate| candidate != to);
        }
        self.order = None;
        self.send(now, ask);
    }

    fn arrived(&mut self, now: Time, at: StopId, ask: &mut dyn FnMut(Request) -> Ticket) {
        self.order = None;
        match self.ends.len() {
            0 => self.ends.push(at),
            1 => {
                self.ends.push(at);
                self.done = 1;
            }
            _ => self.done += 1,
        }
        self.candidates.retain(|&candidate| candidate != at);
        if self.ends.len() == 2 {
            let pass = now.since(self.since);
            let step = u32::from(self.plan[self.done.saturating_sub(1)]);
            self.stretch.get_or_insert(pass.saturating_sub(TURN) * step / u32::from(self.highest));
            self.patience = (pass * PATIENCE).max(Duration::from_secs(120));
        }
        if self.done >= self.plan.len() {
            ask(Request::LimitStep { train: self.train, step: None });
            self.stage = Stage::Done;
            return;
        }
        self.send(now, ask);
    }
}
