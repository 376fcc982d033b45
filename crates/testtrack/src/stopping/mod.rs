//! How well trains stop: one train on a line with four stations, sent to one after the other
//! by lot, on a table that is like a real one ([`Settings::lifelike`]): speeds that wander, a motor that warms up, wheels that
//! slip, a decoder that nobody measured, detectors that take 20 to 200 ms and up to 10 ms more, reports and orders that take up
//! to 100 ms. Until it has stopped some times the train is taken to be learning, and nothing counts but that it keeps to its
//! authority.
//!
//! What a detector takes the layout says; nothing else of all that is known to the signaller.

pub mod chart;
pub(crate) mod course;
mod figures;

use std::sync::Arc;
use std::time::Duration;

use signaller::{Answer, Destination, Fact, Output, Request, Time};
use track::{Id, StopId, TrainId};

use crate::checkers::Violation;
use crate::random::Stream;
use crate::session::{Desk, Moment, Session};
use crate::settings::Settings;

pub use figures::Figures;

/// What trains are found by on the course.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fitted {
    /// Section detectors, and two spots before every stopping point.
    Spots,
    /// Section detectors only, with a short section around every stopping point.
    Sections,
}

/// One stop.
#[derive(Clone, Copy, Debug)]
pub struct Stop {
    /// How far the nose stands short of the stopping point, in millimetres; below zero beyond it.
    pub short_mm: f64,
    /// From when the train was told to go slower, and ran on steadily until then, to when it stands.
    pub took: Duration,
    /// How fast it ran at that moment, in millimetres a second.
    pub from_mm_s: f64,
}

/// What came of a seed.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// The stops after the train has learned.
    pub stops: Vec<Stop>,
    /// What was broken, learning or not.
    pub violations: Vec<Violation>,
}

/// What a train of which nobody said how it brakes is taken to brake with, in millimetres a second squared: the signaller's own
/// default, a fifth of it kept in reserve.
pub const SERVICE_BRAKING_MM_S2: f64 = 96.0;

/// So many stops a train is taken to be learning.
pub const LEARNING: usize = 40;
/// A seed that does not come to its stops within so long for each has failed.
const PATIENCE: Duration = Duration::from_secs(120);
/// A step that is held for so long is one that the train ran at before it braked.
const STEADY: Duration = Duration::from_millis(700);
/// How closely it is seen when the train comes to stand.
const LOOK: Duration = Duration::from_millis(10);

/// Runs the course of a seed until the train has stopped so often after learning.
///
/// # Errors
/// In plain words, why nothing can be said of it.
pub fn try_out(seed: u64, fitted: Fitted, stops: usize) -> Result<Outcome, String> {
    let settings = Settings::lifelike(seed);
    let layout = Arc::new(course::drawn(seed, fitted));
    let mut session = Session::new(Arc::clone(&layout), &settings).map_err(|wrong| wrong.to_string())?;
    let mut dispatcher = Dispatcher::new(layout.stops.ids().collect(), seed);
    let wanted = LEARNING + stops;
    let until = Time::ZERO + PATIENCE * wanted as u32;
    while dispatcher.stops.len() < wanted && session.now() < until && session.violations().is_empty() {
        let next = session.now() + Duration::from_secs(60);
        session.run_until(next, &mut |moment, desk| dispatcher.hear(moment, desk));
    }
    let violations = session.violations().to_vec();
    if violations.is_empty() && dispatcher.stops.len() < wanted {
        return Err(format!("seed {seed}: the train stopped only {} times", dispatcher.stops.len()));
    }
    let stops = dispatcher.stops.into_iter().skip(LEARNING).take(stops).collect();
    Ok(Outcome { stops, violations })
}

/// Sends the train about, and measures how it stands.
struct Dispatcher {
    train: TrainId,
    stream: Stream,
    places: Vec<StopId>,
    bound_for: Option<StopId>,
    has_arrived: bool,
    /// Since when it stands, after it was told to.
    stands_since: Option<Time>,
    /// What it was told since it was last sent off, and how fast it was then.
    told: Vec<(Time, u8, f64)>,
    stops: Vec<Stop>,
}

impl Dispatcher {
    fn new(places: Vec<StopId>, seed: u64) -> Self {
        let stream = Stream::labelled(seed, "stopping dispatcher");
        let train = TrainId::from_index(0);
        let (bound_for, has_arrived, stands_since) = (None, false, None);
        Self { train, stream, places, bound_for, has_arrived, stands_since, told: Vec::new(), stops: Vec::new() }
    }

    fn hear(&mut self, moment: &Moment<'_>, desk: &mut Desk) {
        let speed = moment.table.speed(self.train).mm().abs();
        for output in moment.outputs {
            match output {
                Output::Drive { step, .. } if self.told.last().is_none_or(|&(_, before, _)| before != *step) => {
                    if speed == 0.0 && self.told.last().is_some_and(|&(_, before, _)| before == 0) {
                        // It has turned back on its way: only the run that ends at its stopping point counts.
                        self.told.clear();
                    }
                    self.told.push((moment.now, *step, speed));
                }
                Output::Fact(Fact::Arrived { at: Destination::Stop(stop), .. }) => {
                    self.has_arrived = self.bound_for == Some(*stop);
                }
                // Where it would have to turn on its way: elsewhere, then.
                Output::Fact(Fact::Answered { answer: Answer::Refused(_), .. }) => self.send(desk),
                _ => {}
            }
        }
        let told_to_stand = self.told.last().is_some_and(|&(_, step, _)| step == 0);
        self.stands_since = self.stands_since.or(Some(moment.now)).filter(|_| told_to_stand && speed == 0.0);
        if told_to_stand && self.stands_since.is_none() {
            desk.call_at(moment.now + LOOK);
        }
        match (self.bound_for, self.stands_since) {
            (None, _) => self.send(desk),
            // It stood there already.
            (Some(_), _) if self.has_arrived && self.told.is_empty() => self.send(desk),
            (Some(stop), Some(since)) if self.has_arrived => {
                self.stops.extend(self.measured(moment, stop, since));
                self.send(desk);
            }
            _ => {}
        }
    }

    fn send(&mut self, desk: &mut Desk) {
        let elsewhere: Vec<_> = self.places.iter().copied().filter(|&stop| Some(stop) != self.bound_for).collect();
        let Some(&stop) = self.stream.one_of(&elsewhere) else { return };
        (self.bound_for, self.has_arrived, self.stands_since) = (Some(stop), false, None);
        self.told.clear();
        desk.request(Request::Go { train: self.train, to: Destination::Stop(stop) });
    }

    fn measured(&self, moment: &Moment<'_>, stop: StopId, stands_since: Time) -> Option<Stop> {
        let layout = moment.table.layout();
        let wanted = layout.stands_short(stop, layout.trains[self.train].length());
        let stop = &layout.stops[stop];
        let short_of_end = moment.table.short_of(self.train, stop.towards)?;
        let (began, from_mm_s) = self.braking_began()?;
        let short_mm = (short_of_end - wanted).mm();
        Some(Stop { short_mm, took: stands_since.since(began), from_mm_s })
    }

    /// When the train was told to go slower for the last time after it had run at one step for a while, or at the highest that it
    /// came to; and how fast it was.
    fn braking_began(&self) -> Option<(Time, f64)> {
        let top = self.told.iter().map(|&(_, step, _)| step).max()?;
        let pairs = self.told.windows(2);
        let falls = pairs.filter(|pair| pair[1].1 < pair[0].1);
        let mut steady = falls.filter(|pair| {
            let is_fast = 3 * u32::from(pair[0].1) >= u32::from(top);
            is_fast && (pair[1].0.since(pair[0].0) >= STEADY || pair[0].1 == top)
        });
        steady.next_back().map(|pair| (pair[1].0, pair[1].2))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn figures(fitted: Fitted, seeds: std::ops::RangeInclusive<u64>) -> Figures {
        let mut stops = Vec::new();
        for seed in seeds {
            let outcome = try_out(seed, fitted, 40).unwrap_or_else(|wrong| panic!("{wrong}"));
            assert!(outcome.violations.is_empty(), "seed {seed}: {:?}", outcome.violations);
            stops.extend(outcome.stops);
        }
        Figures::of(&stops, SERVICE_BRAKING_MM_S2)
    }

    #[test]
    fn a_train_that_has_learned_stands_within_a_centimetre_before_its_stopping_point() {
        let figures = figures(Fitted::Spots, 101..=112);
        assert!(figures.share_within(10.0) >= 0.98, "{figures}");
        assert!(figures.quantile_ratio(500) <= 1.25, "{figures}");
    }

    #[test]
    fn without_spots_a_train_that_has_learned_stands_within_four_centimetres() {
        let figures = figures(Fitted::Sections, 101..=112);
        assert!(figures.share_within(40.0) >= 0.97, "{figures}");
    }
}
