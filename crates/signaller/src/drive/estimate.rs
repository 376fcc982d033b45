//! Where a train's nose most likely is and how fast it runs: an estimate beside the bounds.
//!
//! Whether a train keeps to its authority is reckoned with bounds that hold whatever happens. To stand close to a stopping point
//! takes more than bounds: the likeliest place, and how far that may be off. This is an extended Kalman filter over the nose's
//! place and speed, how fast the train is today in relation to its speed curve, and how its decoder gathers and loses speed; it
//! is corrected by every joint and every spot that the train is heard to pass (R. E. Kalman, "A New Approach to Linear Filtering
//! and Prediction Problems", 1960; the ramps of the decoder make it an extended one).
//!
//! It never leaves its bounds: whoever uses it keeps to those as well. Its numbers are floats, of which it only takes sums,
//! products, quotients and square roots: these are rounded alike everywhere (IEEE 754), so equal inputs give equal outputs.

use std::collections::VecDeque;
use std::time::Duration;

use smallvec::SmallVec;

use super::report::Heard;
use crate::time::Time;

/// What is estimated: place and speed of the nose, the speed in relation to the curve on average over the run, and how it wanders about
/// that, gathering and losing of speed, and how fast the train was on the run before: where that was mistaken, the run began elsewhere
/// than was thought.
const STATES: usize = 7;
const PLACE: usize = 0;
const SPEED: usize = 1;
const RATIO: usize = 2;
const GATHERS: usize = 3;
const LOSES: usize = 4;
const BEFORE: usize = 5;
const WANDER: usize = 6;

type Row = [f64; STATES];
type Square = [Row; STATES];

/// How long an order takes on average until the train acts on it, in seconds, and how much that varies. Common practice, no
/// source.
const ORDER_TAKES: f64 = 0.050;
const ORDER_VARIES: f64 = 0.028;
/// How long a report takes on average beside its detector's own delay, in seconds, and how much that varies. Common practice, no
/// source.
pub(super) const REPORT_TAKES: Duration = Duration::from_millis(55);
const REPORT_VARIES: f64 = 0.030;
/// How sharp the bounds of that are, in seconds.
const SHARP: f64 = 0.005;
/// How far the speed of a run wanders about what it is on average, and within how many seconds it forgets that. Common practice, no
/// source.
const WANDERS: f64 = 0.011;
const FORGETS: f64 = 5.0;
/// How much the average itself drifts within a second, as a motor warms up.
const DRIFTS: f64 = 0.0005;
/// It is not known better than this when a run begins.
const RUN_WITHIN: f64 = 0.004;
/// How much the place strays beside that, in millimetres, within a second of running.
const PLACE_STRAYS: f64 = 0.6;
/// A report that is farther off than so many deviations tells of something else.
const FARTHEST: f64 = 6.0;
/// A train that would be so many millimetres farther if reports came in time may well be there. Common practice, no source.
const OVERDUE: f64 = 70.0;
/// What was heard does not fit: then how the decoder gathers and loses speed is known no better than within this part.
const RAMPS_DOUBTED: f64 = 0.3;
/// A run teaches something if it made the ratio known better by this part.
const LEAST_GAIN: f64 = 0.02;
/// Places are remembered for so long, to know where the train was when something happened that is reported now.
const REMEMBERED: usize = 24;

/// The estimate of one train.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct Estimate {
    x: Row,
    p: Square,
    /// As of when; nothing where the place is not known.
    as_of: Option<Time>,
    /// The speed by the curve that the train strives for, in millimetres a second.
    strives_for: f64,
    /// What share of its highest step that is.
    share: f64,
    /// Orders that it does not act on yet: when it will, the speed, and the share.
    orders: SmallVec<[(Time, f64, f64); 4]>,
    /// How far it has run since it stood, and the same with each stretch multiplied by its share.
    ran: (f64, f64),
    /// How well the ratio was known when it started.
    ratio_variance: f64,
    /// The run before: its share, and what was known of its ratio when this one started.
    before: Option<Run>,
    /// The place was never heard of since it was put somewhere: the next report tells nothing of how the train ran up to there.
    is_vague: bool,
    /// What was heard last does not fit.
    is_contradicted: bool,
    /// It has turned, and was not heard of since.
    has_turned: bool,
    /// How much farther it would be if it had not been kept within what reports say since it was last heard of, and the variance
    /// that this brought with it.
    kept_back: (f64, f64),
    /// Where it was, and when.
    been: VecDeque<(Time, f64)>,
    at_least: [f64; 2],
}

/// Where the nose most likely is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Likely {
    /// Millimetres beyond the entry of its section.
    pub(super) place: f64,
    /// The standard deviation of that.
    pub(super) deviation: f64,
    /// Millimetres a second.
    pub(super) speed: f64,
    /// The speed in relation to the curve.
    pub(super) ratio: f64,
    /// The standard deviation of that.
    pub(super) ratio_deviation: f64,
    /// What was heard last does not fit.
    pub(super) is_contradicted: bool,
    /// It has turned, and was not heard of since: had it stalled before that, it would be farther on than this.
    pub(super) has_turned: bool,
}

/// What a run has taught of how fast the train is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Taught {
    /// At what share of the highest step, on average.
    pub(super) share: f64,
    /// The speed in relation to what it was taken to be before.
    pub(super) ratio: f64,
    /// How well that is known.
    pub(super) variance: f64,
}

/// What a run has taught that has ended: at what share it was, and what was learned of it and of the one before, if anything.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Lesson {
    pub(super) share: f64,
    pub(super) now: Option<Taught>,
    pub(super) before: Option<Taught>,
}

/// A run: at what share of the highest step it was on average, and what was known of its ratio at some time.
#[derive(Clone, Copy, Debug, serde::Serialize, serde::Deserialize)]
struct Run {
    share: f64,
    ratio: f64,
    variance: f64,
}

impl Run {
    /// What was learned of it since, if anything.
    fn learned(self, ratio: f64, variance: f64) -> Option<Taught> {
        let (before, after) = (1.0 / self.variance, 1.0 / variance);
        let gained = after - before;
        (gained > LEAST_GAIN * before).then(|| Taught {
            share: self.share,
            ratio: (ratio * after - self.ratio * before) / gained,
            variance: 1.0 / gained,
        })
    }
}

/// What is known of a decoder before anything is learned, in millimetres a second squared: how it gathers and loses speed most
/// likely, and at least.
#[derive(Clone, Copy, Debug)]
pub(super) struct Momentum {
    pub(super) gathers: f64,
    pub(super) gathers_at_least: f64,
    pub(super) loses: f64,
    pub(super) loses_at_least: f64,
}

/// What is known of a decoder now: how it gathers and loses speed most likely, and the variances of both and of them together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Ramps {
    pub(super) gathers: f64,
    pub(super) loses: f64,
    pub(super) variances: [f64; 3],
}

impl Estimate {
    pub(super) fn new(momentum: Momentum) -> Self {
        let mut p = [[0.0; STATES]; STATES];
        p[GATHERS][GATHERS] = square(0.5 * momentum.gathers);
        p[LOSES][LOSES] = square(0.5 * momentum.loses);
        let x = [0.0, 0.0, 1.0, momentum.gathers, momentum.loses, 1.0, 0.0];
        Self {
            x,
            p,
            as_of: None,
            strives_for: 0.0,
            share: 0.0,
            orders: SmallVec::new(),
            ran: (0.0, 0.0),
            ratio_variance: 0.0,
            before: None,
            is_vague: true,
            is_contradicted: false,
            has_turned: false,
            kept_back: (0.0, 0.0),
            been: VecDeque::new(),
            at_least: [momentum.gathers_at_least, momentum.loses_at_least],
        }
    }

    /// How the decoder gathers and loses speed, in millimetres a second squared, and how far that may be off: both variances, and
    /// what they have in common.
    pub(super) fn ramps(&self) -> Ramps {
        let (gathers, loses) = (self.x[GATHERS], self.x[LOSES]);
        let variances = [self.p[GATHERS][GATHERS], self.p[LOSES][LOSES], self.p[GATHERS][LOSES]];
        Ramps { gathers, loses, variances }
    }

    /// The same once more, from what [`Estimate::ramps`] said. The train must stand.
    pub(super) fn remember(&mut self, ramps: &Ramps) {
        for state in 0..STATES {
            for ramp in [GATHERS, LOSES] {
                (self.p[state][ramp], self.p[ramp][state]) = (0.0, 0.0);
            }
        }
        (self.x[GATHERS], self.x[LOSES]) = (ramps.gathers, ramps.loses);
        let [gathers, loses, shared] = ramps.variances;
        (self.p[GATHERS][GATHERS], self.p[LOSES][LOSES]) = (gathers, loses);
        (self.p[GATHERS][LOSES], self.p[LOSES][GATHERS]) = (shared, shared);
        self.keep_sane();
    }

    /// Nobody knows any more where the nose is.
    pub(super) fn lose(&mut self) {
        self.as_of = None;
        self.been.clear();
        self.orders.clear();
    }

    /// Whether the place was heard of since it was put somewhere.
    pub(super) fn is_heard_of(&self) -> bool {
        self.as_of.is_some() && !self.is_vague
    }

    /// Whether the place is known.
    pub(super) fn is_placed(&self) -> bool {
        self.as_of.is_some()
    }

    /// The train stands between these places, in millimetres beyond the entry of its nose's section. Its speed in relation to the
    /// curve is known no better than that deviation.
    pub(super) fn put(&mut self, now: Time, (least, most): (f64, f64), ratio_deviation: f64) {
        for state in [PLACE, SPEED, RATIO, BEFORE, WANDER] {
            for other in 0..STATES {
                (self.p[state][other], self.p[other][state]) = (0.0, 0.0);
            }
        }
        (self.x[PLACE], self.x[SPEED], self.x[RATIO], self.x[WANDER]) = ((least + most) / 2.0, 0.0, 1.0, 0.0);
        let ratio_variance = (square(ratio_deviation) - square(WANDERS)).max(square(RUN_WITHIN));
        self.p[PLACE][PLACE] = square((most - least) / 12.0_f64.sqrt()).max(1.0);
        self.p[RATIO][RATIO] = ratio_variance;
        self.p[WANDER][WANDER] = square(WANDERS);
        (self.is_vague, self.is_contradicted, self.has_turned, self.before) = (true, false, false, None);
        self.kept_back = (0.0, 0.0);
        (self.as_of, self.strives_for, self.share) = (Some(now), 0.0, 0.0);
        (self.ran, self.ratio_variance) = ((0.0, 0.0), ratio_variance);
        self.orders.clear();
        self.been.clear();
    }

    /// What the run that ends now has taught; nothing where none ends.
    pub(super) fn taught(&self) -> Option<Lesson> {
        if self.as_of.is_none() || self.ran.0 <= 0.0 {
            return None;
        }
        let share = self.ran.1 / self.ran.0;
        let run = Run { share, ratio: 1.0, variance: self.ratio_variance };
        let learned = |run: Run, state: usize| run.learned(self.x[state], self.p[state][state]);
        let before = self.before.and_then(|run| learned(run, BEFORE));
        Some(Lesson { share, now: learned(run, RATIO), before })
    }

    /// The train stands where it was last estimated to be.
    pub(super) fn stand(&mut self, now: Time, ratio_deviation: f64) {
        self.advance(now);
        self.stand_at(now, self.x[PLACE], 1.0, ratio_deviation);
    }

    /// The train stands there, as well as its place was known before; it may be counted from elsewhere now, and the other way: then
    /// `sense` is -1.
    pub(super) fn stand_at(&mut self, now: Time, place: f64, sense: f64, ratio_deviation: f64) {
        let (known, is_vague, is_contradicted) = (self.p, self.is_vague, self.is_contradicted);
        let has_turned = self.has_turned || sense < 0.0;
        let state = if self.ran.0 > 0.0 { RATIO } else { BEFORE };
        let ratio = self.x[state];
        let share = if self.ran.0 > 0.0 { Some(self.ran.1 / self.ran.0) } else { self.before.map(|run| run.share) };
        self.put(now, (place, place), ratio_deviation);
        (self.is_vague, self.is_contradicted, self.has_turned) = (is_vague, is_contradicted, has_turned);
        // What it stands farther than it should tells of how it braked, when that is heard of.
        let stay = [(PLACE, PLACE, sense), (GATHERS, GATHERS, 1.0), (LOSES, LOSES, 1.0), (BEFORE, state, 1.0)];
        let stay = if share.is_some() { &stay[..] } else { &stay[..3] };
        for &(row, row_was, row_sense) in stay {
            for &(column, column_was, column_sense) in stay {
                self.p[row][column] = row_sense * column_sense * known[row_was][column_was];
            }
        }
        if let Some(share) = share {
            self.x[BEFORE] = ratio;
            self.before = Some(Run { share, ratio, variance: known[state][state] });
        }
    }

    /// The train is told to run at a speed by its curve, at such a share of its highest step.
    pub(super) fn order(&mut self, now: Time, by_curve: f64, share: f64) {
        let takes = self.takes(now, by_curve);
        let due = now + seconds(takes);
        let due = self.orders.last().map_or(due, |&(before, ..)| due.max(before));
        self.orders.push((due, by_curve, share));
    }

    /// How long it takes on average until a train acts on an order that it is given now, in seconds.
    ///
    /// One that still changes its speed because of the order before goes on doing so: if it hears this one before it is done, it loses no
    /// time, and never gains what it loses if it hears it afterwards.
    fn takes(&self, now: Time, by_curve: f64) -> f64 {
        let ratio = self.x[RATIO] + self.x[WANDER];
        let (target, next) = (self.strives_for * ratio, by_curve * ratio);
        let goes_on = (next > target) == (target > self.x[SPEED]);
        let (_, ramp) = self.ramp(self.x[SPEED], target);
        let busy = ramp - self.as_of.map_or(0.0, |at| now.since(at).as_secs_f64());
        let spare = 2.0 * ORDER_TAKES - busy;
        if !goes_on || busy <= 0.0 || spare <= 0.0 {
            return ORDER_TAKES;
        }
        busy + spare * spare / (4.0 * ORDER_TAKES)
    }

    /// Time passes.
    pub(super) fn advance(&mut self, now: Time) {
        let Some(mut at) = self.as_of else { return };
        while let Some(&(due, by_curve, share)) = self.orders.first().filter(|(due, ..)| *due <= now) {
            self.run(due.since(at).as_secs_f64());
            at = at.max(due);
            self.orders.remove(0);
            // When exactly it obeyed is not known.
            let change = (by_curve - self.strives_for) * (self.x[RATIO] + self.x[WANDER]);
            self.p[PLACE][PLACE] += square(change * ORDER_VARIES);
            (self.strives_for, self.share) = (by_curve, share);
        }
        self.run(now.since(at).as_secs_f64());
        self.as_of = Some(at.max(now));
        if self.been.len() == REMEMBERED {
            self.been.pop_front();
        }
        self.been.push_back((now, self.x[PLACE]));
    }

    /// The nose passed a joint: its place counts from there, so many millimetres on.
    pub(super) fn pass_joint(&mut self, length: f64) {
        self.x[PLACE] -= length;
        self.been.iter_mut().for_each(|(_, place)| *place -= length);
    }

    /// How far off its estimate the nose was when it `was` at a place, in deviations.
    pub(super) fn surprise(&self, was: Time, place: f64) -> f64 {
        let off = place - self.place_at(was);
        (off * off / (self.p[PLACE][PLACE] + self.doubt_of_report(1.0))).sqrt()
    }

    /// The nose was at a place, known to within so many millimetres, when something happened that was reported only now.
    pub(super) fn fix(&mut self, was: Time, place: f64, within: f64) {
        if self.as_of.is_none() {
            return;
        }
        self.has_turned = false;
        let mut off = place - self.place_at(was);
        let doubt = self.doubt_of_report(within);
        // A train that must have come to a joint long ago was kept short of it: that it comes there only now is not so.
        let kept_back = std::mem::take(&mut self.kept_back);
        let (freely, variance) = (off - kept_back.0, self.p[PLACE][PLACE] - kept_back.1 + doubt);
        if !self.is_vague && kept_back.0 > OVERDUE && freely * freely > square(FARTHEST) * variance {
            (self.x[PLACE], off) = (self.x[PLACE] + kept_back.0, freely);
            self.p[PLACE][PLACE] -= kept_back.1;
        }
        let was_vague = std::mem::take(&mut self.is_vague);
        if was_vague {
            // Nobody knew where it was: that teaches nothing of how it runs.
            self.forget_how_it_got_there();
        } else if off * off > square(FARTHEST) * (self.p[PLACE][PLACE] + doubt) {
            // It is somewhere else than it was believed to be, or this was reported late, or it was something else. Until it is
            // heard again either may be so.
            self.forget_how_it_got_there();
            self.doubt_ramps();
            self.x[PLACE] += off / 2.0;
            self.p[PLACE][PLACE] += off * off / 4.0;
            self.been.clear();
            self.is_contradicted = true;
            return;
        }
        self.is_contradicted = false;
        let variance = self.p[PLACE][PLACE];
        let soft = square(within) + square(self.x[SPEED] * SHARP);
        let heard = Heard {
            at_once: place - self.place_at(was + REPORT_TAKES),
            at_last: place - self.place_at(was - REPORT_TAKES),
            within: soft.sqrt(),
        };
        let (off, left) = if was_vague { heard.tells_by_itself() } else { heard.tells(variance) };
        let gain = self.p.map(|row| row[PLACE] / variance);
        let before = self.p[PLACE];
        let learned = 1.0 - left / variance;
        for (state, gain) in gain.into_iter().enumerate() {
            self.x[state] += gain * off;
            for (other, before) in before.into_iter().enumerate() {
                self.p[state][other] -= gain * before * learned;
            }
        }
        self.been.iter_mut().for_each(|(_, place)| *place += off);
        self.keep_sane();
    }

    /// The nose is between these places, if reports come in time.
    pub(super) fn keep_within(&mut self, (least, most): (f64, f64)) {
        if least <= most {
            let off = self.x[PLACE] - self.x[PLACE].clamp(least, most);
            self.is_contradicted |= off * off > square(FARTHEST) * self.p[PLACE][PLACE];
            self.x[PLACE] -= off;
            self.p[PLACE][PLACE] += off * off;
            if off > 0.0 {
                self.kept_back = (self.kept_back.0 + off, self.kept_back.1 + off * off);
            }
        }
    }

    fn forget_how_it_got_there(&mut self) {
        for state in [SPEED, RATIO, GATHERS, LOSES, BEFORE, WANDER] {
            (self.p[PLACE][state], self.p[state][PLACE]) = (0.0, 0.0);
        }
    }

    /// How the decoder gathers and loses speed may have been learned from an axle that was taken for another one: then what was
    /// learned since would never be doubted by itself.
    fn doubt_ramps(&mut self) {
        for state in [GATHERS, LOSES] {
            self.p[state][state] = self.p[state][state].max(square(RAMPS_DOUBTED * self.x[state]));
        }
    }

    /// Where the nose most likely is, as of the last [`Estimate::advance`].
    pub(super) fn likely(&self) -> Option<Likely> {
        self.as_of?;
        let (place, speed, ratio) = (self.x[PLACE], self.x[SPEED], self.x[RATIO] + self.x[WANDER]);
        let (is_contradicted, has_turned) = (self.is_contradicted, self.has_turned);
        let deviation = self.p[PLACE][PLACE].max(0.0).sqrt();
        let of_ratio = self.p[RATIO][RATIO] + 2.0 * self.p[RATIO][WANDER] + self.p[WANDER][WANDER];
        let ratio_deviation = of_ratio.max(0.0).sqrt();
        Some(Likely { place, deviation, speed, ratio, ratio_deviation, is_contradicted, has_turned })
    }

    /// How far the train still runs if it is told to stand now, in millimetres.
    pub(super) fn room_to_stand(&self) -> f64 {
        let Some(mut at) = self.as_of else { return 0.0 };
        let (mut speed, mut strives_for, mut room) = (self.x[SPEED], self.strives_for, 0.0);
        let stand = (at + seconds(ORDER_TAKES), 0.0, 0.0);
        for &(due, by_curve, _) in self.orders.iter().filter(|(due, ..)| *due <= stand.0).chain([&stand]) {
            let step = self.stretch(speed, strives_for, due.since(at).as_secs_f64());
            room += step.0;
            (speed, strives_for, at) = (step.1, by_curve, at.max(due));
        }
        room + speed * speed / (2.0 * self.x[LOSES])
    }

    /// How far it runs within a time, and how fast it is then.
    fn stretch(&self, speed: f64, strives_for: f64, time: f64) -> (f64, f64) {
        let target = strives_for * (self.x[RATIO] + self.x[WANDER]);
        let (rate, ramp) = self.ramp(speed, target);
        let ramping = ramp.min(time);
        let reached = if ramp < time { target } else { speed + rate * ramping };
        ((speed + reached) / 2.0 * ramping + reached * (time - ramping), reached)
    }

    /// How the speed changes on its way to a target, and for how long.
    fn ramp(&self, speed: f64, target: f64) -> (f64, f64) {
        let rate = if target > speed { self.x[GATHERS] } else { -self.x[LOSES] };
        (rate, (target - speed) / rate)
    }

    fn run(&mut self, time: f64) {
        if time <= 0.0 {
            return;
        }
        let from = self.x[PLACE];
        let target = self.strives_for * (self.x[RATIO] + self.x[WANDER]);
        let (rate, ramp) = self.ramp(self.x[SPEED], target);
        let ramping = ramp.min(time);
        if ramping > 0.0 {
            let state = if rate > 0.0 { GATHERS } else { LOSES };
            let sign = if rate > 0.0 { 1.0 } else { -1.0 };
            let mut change = identity();
            change[PLACE][SPEED] = ramping;
            change[PLACE][state] += sign * ramping * ramping / 2.0;
            change[SPEED][state] += sign * ramping;
            self.x[PLACE] += self.x[SPEED] * ramping + rate * ramping * ramping / 2.0;
            self.x[SPEED] += rate * ramping;
            self.spread(&change);
        }
        if ramp <= time {
            let steady = time - ramping;
            let mut change = identity();
            change[SPEED] = [0.0; STATES];
            for state in [RATIO, WANDER] {
                change[PLACE][state] = self.strives_for * steady;
                change[SPEED][state] = self.strives_for;
            }
            self.x[SPEED] = target;
            self.x[PLACE] += target * steady;
            self.spread(&change);
        }
        if self.x[SPEED] > 0.0 {
            self.p[RATIO][RATIO] += square(DRIFTS) * time;
            self.wander(time);
            self.p[PLACE][PLACE] += square(PLACE_STRAYS) * time;
        }
        let ran = self.x[PLACE] - from;
        self.ran = (self.ran.0 + ran, self.ran.1 + ran * self.share);
    }

    /// How it wandered is forgotten, and it wanders anew.
    fn wander(&mut self, time: f64) {
        let stays = 1.0 / (1.0 + time / FORGETS);
        self.x[WANDER] *= stays;
        for state in 0..STATES {
            self.p[WANDER][state] *= stays;
            self.p[state][WANDER] *= stays;
        }
        self.p[WANDER][WANDER] += square(WANDERS) * (1.0 - stays * stays);
    }

    /// What is uncertain becomes so in another way as the train runs.
    fn spread(&mut self, change: &Square) {
        let half = product(change, &self.p);
        for (row, half) in self.p.iter_mut().zip(&half) {
            for (cell, change) in row.iter_mut().zip(change) {
                *cell = half.iter().zip(change).map(|(half, change)| half * change).sum();
            }
        }
    }

    fn place_at(&self, was: Time) -> f64 {
        let mut later = (self.as_of.unwrap_or(was), self.x[PLACE]);
        for &(at, place) in self.been.iter().rev() {
            if at <= was {
                let span = later.0.since(at).as_secs_f64();
                let share = if span > 0.0 { was.since(at).as_secs_f64() / span } else { 0.0 };
                return place + (later.1 - place) * share.min(1.0);
            }
            later = (at, place);
        }
        later.1 - self.x[SPEED] * later.0.since(was).as_secs_f64()
    }

    fn doubt_of_report(&self, within: f64) -> f64 {
        square(self.x[SPEED] * REPORT_VARIES) + square(within)
    }

    /// Keeps what is physical: no decoder is slower than it was said to be, or takes no time.
    fn keep_sane(&mut self) {
        self.x[SPEED] = self.x[SPEED].max(0.0);
        self.x[RATIO] = self.x[RATIO].clamp(0.3, 3.0);
        for (state, at_least) in [GATHERS, LOSES].into_iter().zip(self.at_least) {
            self.x[state] = self.x[state].clamp(at_least, 20.0 * at_least);
        }
    }
}

fn square(value: f64) -> f64 {
    value * value
}

fn seconds(seconds: f64) -> Duration {
    Duration::from_nanos((seconds * 1e9) as u64)
}

fn identity() -> Square {
    let mut square = [[0.0; STATES]; STATES];
    for (state, row) in square.iter_mut().enumerate() {
        row[state] = 1.0;
    }
    square
}

fn product(one: &Square, other: &Square) -> Square {
    let mut product = [[0.0; STATES]; STATES];
    for (row, from) in product.iter_mut().zip(one) {
        for (column, value) in row.iter_mut().enumerate() {
            *value = (0..STATES).map(|inner| from[inner] * other[inner][column]).sum();
        }
    }
    product
}

#[cfg(test)]
mod tests {
    use super::*;

    const MOMENTUM: Momentum = Momentum { gathers: 100.0, gathers_at_least: 50.0, loses: 120.0, loses_at_least: 96.0 };

    fn at(seconds: f64) -> Time {
        Time::from_secs_f64(seconds)
    }

    /// A train that runs at 100 mm/s by its curve since long ago, and is heard to pass a joint after ten seconds.
    fn running() -> Estimate {
        let mut estimate = Estimate::new(MOMENTUM);
        estimate.put(at(0.0), (0.0, 400.0), 0.05);
        estimate.order(at(0.0), 100.0, 0.5);
        estimate.advance(at(10.0));
        let report = at(10.0) - REPORT_TAKES;
        estimate.fix(report, 0.0, 2.0);
        estimate
    }

    #[test]
    fn a_train_is_where_it_has_run_to_since_it_was_heard() {
        let estimate = running();
        let likely = estimate.likely().unwrap();
        assert!((likely.place - 5.5).abs() < 1.0, "it ran on while the report was under way: {likely:?}");
        assert!(likely.deviation > 2.0 && likely.deviation < 5.0, "{likely:?}");
    }

    #[test]
    fn a_train_that_comes_early_to_the_next_joint_is_faster_than_was_thought() {
        let mut estimate = running();
        estimate.advance(at(19.0));
        estimate.fix(at(19.0) - REPORT_TAKES, 950.0, 2.0);
        let likely = estimate.likely().unwrap();
        assert!(likely.ratio > 1.02 && likely.ratio < 1.06, "{likely:?}");
        let taught = estimate.taught().and_then(|lesson| lesson.now).unwrap();
        assert!((taught.ratio - 1.055).abs() < 0.01, "{taught:?}");
    }

    #[test]
    fn a_train_that_has_turned_may_have_stalled_before_until_it_is_heard_of() {
        let mut estimate = running();
        estimate.order(at(11.0), 0.0, 0.0);
        estimate.stand(at(20.0), 0.05);
        assert!(!estimate.likely().unwrap().has_turned);
        estimate.stand_at(at(21.0), 300.0, -1.0, 0.05);
        estimate.stand(at(22.0), 0.05);
        assert!(estimate.likely().unwrap().has_turned);
        estimate.order(at(22.0), 100.0, 0.5);
        estimate.advance(at(24.0));
        estimate.fix(at(24.0) - REPORT_TAKES, 420.0, 2.0);
        assert!(!estimate.likely().unwrap().has_turned);
    }

    #[test]
    fn a_report_that_does_not_fit_leaves_open_which_of_the_two_is_right() {
        let mut estimate = running();
        estimate.advance(at(15.0));
        // Two seconds late: the train is at 500 mm, and the report tells of 300.
        estimate.fix(at(15.0) - REPORT_TAKES, 300.0, 2.0);
        let likely = estimate.likely().unwrap();
        assert!(likely.is_contradicted && likely.place + likely.deviation > 490.0, "{likely:?}");
        assert!(likely.place - likely.deviation < 320.0, "{likely:?}");
    }

    #[test]
    fn what_does_not_fit_is_not_settled_by_coming_to_a_stand() {
        let mut estimate = running();
        estimate.advance(at(15.0));
        estimate.fix(at(15.0) - REPORT_TAKES, 300.0, 2.0);
        estimate.order(at(15.0), 0.0, 0.0);
        estimate.stand(at(20.0), 0.05);
        estimate.stand_at(at(21.0), 300.0, -1.0, 0.05);
        assert!(estimate.likely().unwrap().is_contradicted);
        estimate.order(at(22.0), 100.0, 0.5);
        estimate.advance(at(24.0));
        estimate.fix(at(24.0) - REPORT_TAKES, 420.0, 2.0);
        assert!(!estimate.likely().unwrap().is_contradicted);
    }

    #[test]
    fn a_train_that_was_kept_short_of_a_joint_for_long_is_not_taken_to_come_there_only_when_it_is_reported() {
        let mut estimate = running();
        // The joint at 900 mm is passed after 19 s, and reported 3 s later: until then the train is kept short of it.
        for place in 1..=4 {
            estimate.advance(at(f64::from(10 + place)));
            estimate.fix(at(f64::from(10 + place)) - REPORT_TAKES, f64::from(100 * place), 1.0);
        }
        for tenth in 141..=220 {
            estimate.advance(at(f64::from(tenth) / 10.0));
            estimate.keep_within((0.0, 915.0));
        }
        estimate.fix(at(22.0) - REPORT_TAKES, 900.0, 2.0);
        let likely = estimate.likely().unwrap();
        assert!(likely.is_contradicted && likely.place + likely.deviation > 1190.0, "{likely:?}");
    }

    #[test]
    fn a_decoder_that_was_learned_wrongly_is_learned_anew_where_reports_do_not_fit() {
        let mut estimate = Estimate::new(MOMENTUM);
        let wrong = Ramps { gathers: 52.0, loses: 120.0, variances: [1.0, 1.0, 0.0] };
        estimate.remember(&wrong);
        // It gathers speed at 200 mm/s² up to 100 mm/s, and passes something every 60 mm; ten runs of 300 mm.
        let when = |mm: f64| if mm < 25.0 { (mm / 100.0).sqrt() } else { 0.5 + (mm - 25.0) / 100.0 };
        for run in 0..10 {
            let start = 100.0 * f64::from(run);
            estimate.put(at(start), (0.0, 0.0), 0.02);
            estimate.is_vague = false;
            estimate.order(at(start), 100.0, 0.5);
            for place in [20.0, 60.0, 120.0, 180.0, 240.0, 300.0] {
                let was = at(start + ORDER_TAKES + when(place));
                estimate.advance(was + REPORT_TAKES);
                estimate.fix(was, place, 1.0);
            }
        }
        let ramps = estimate.ramps();
        assert!((140.0..250.0).contains(&ramps.gathers), "{ramps:?}");
    }

    #[test]
    fn a_train_told_to_stand_runs_on_until_it_hears_it_and_then_as_long_as_its_brakes_take() {
        let estimate = running();
        let room = estimate.room_to_stand();
        // 50 ms at 100 mm/s, and 100² / (2 · 120).
        assert!((room - (5.0 + 41.7)).abs() < 1.0, "{room}");
    }
}
