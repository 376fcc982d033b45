//! Coming to stand close before a stopping point: which step, and when to look again. Arithmetic only.
//!
//! The train brakes along a curve that its decoder can follow. Where a spot lies just before the point it comes down early to a
//! speed at which that places it well: the earlier, the less it knows where it is. It is told to stand at the very moment from which
//! it runs as far as is left. It aims short of the point by as much as its place may be off: better short than long.

use std::time::Duration;

use super::estimate::Likely;
use super::profile::Profile;
use super::reach::LOOK;

/// It brakes along a curve that takes no more than this part of how it can brake: it makes good for orders that came late, and where
/// a report says that it is farther than was thought it can brake harder.
const FOLLOWS: f64 = 0.85;
/// How fast a train comes up to a stopping point at last, in millimetres a second.
const LAST_SPEED: f64 = 18.0;
/// So many times that speed is slow enough to be told to stand.
const SLOW: f64 = 1.3;
/// It runs at that speed for so many deviations of its place, within these bounds, in millimetres; no longer than the least where
/// no spot will tell it better.
const LAST_DEVIATIONS: f64 = 2.7;
const LAST_RUN: (f64, f64) = (2.0, 60.0);
/// How well a report places a train that runs up to it, in millimetres.
const REPORT_WITHIN: f64 = 4.0;
/// A spot so near to the point, in millimetres, tells it better.
const NEAR: f64 = 80.0;
/// How late an order and the next look are on average together, in seconds.
const LATE: f64 = 0.100;
/// How much it varies when the order to stand takes effect, in seconds, and how well the run to a stand is known beside that, in
/// millimetres.
const ORDER_VARIES: f64 = 0.030;
const STAND_WITHIN: f64 = 0.6;
/// It aims so many deviations short of the point, less so many millimetres where it knows well where it is; and no less than the
/// last, in millimetres, but for somewhat less where it knows that very well.
const AIM_DEVIATIONS: (f64, f64) = (3.6, 5.5);
const AIM_LESS: f64 = 3.0;
const AIM_AT_LEAST: f64 = 6.4;

/// What a train should do that comes up to a stopping point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Approach {
    /// The step.
    pub(super) step: u8,
    /// When to look again, if that is before the usual time.
    pub(super) look_in: Option<Duration>,
}

/// Where a train is on its way to a stopping point, in millimetres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Way {
    /// How far short of the point its nose most likely is.
    pub(super) to_point: f64,
    /// How far its nose runs until the train passes the next spot, or the last joint, before the point; nothing where there is
    /// none any more.
    pub(super) to_report: Option<f64>,
    /// How far it runs before it stands if it is told to stand now.
    pub(super) room: f64,
    /// How much later than it is looked at it may be told to run slower, in seconds.
    pub(super) late: f64,
    /// How its decoder most likely brakes, in millimetres a second squared.
    pub(super) brakes: f64,
}

/// The step for a train that comes up to its stopping point.
pub(super) fn approach(likely: &Likely, way: Way, profile: &Profile) -> Approach {
    let Way { to_point, to_report, room, late, brakes } = way;
    let left = to_point - aim(likely, to_report.map(|to_report| to_point - to_report));
    let braking = profile.braking.mm().min(FOLLOWS * brakes);
    let last = LAST_SPEED.max(profile.likely(1) * likely.ratio);
    // From a higher speed it is not told to stand: how its decoder brakes is known less well than how it follows a curve.
    let may_stand = likely.speed <= SLOW * last || left <= 0.0;
    if room >= left && may_stand {
        return Approach { step: 0, look_in: None };
    }
    let is_told_better = to_report.is_some_and(|to_report| to_point - to_report < NEAR);
    let wary = (LAST_DEVIATIONS * likely.deviation).clamp(LAST_RUN.0, LAST_RUN.1);
    let run = if is_told_better { wary } else { LAST_RUN.0 };
    let to_brake = left - likely.speed * (LATE + late) - run - last * last / (2.0 * braking);
    let wanted = (last * last + 2.0 * braking * to_brake.max(0.0)).sqrt();
    let step = profile.step_at(wanted / likely.ratio).max(1);
    let until_stand = (left - room) / likely.speed.max(1.0);
    let look_in =
        (may_stand && until_stand < LOOK.as_secs_f64()).then(|| Duration::from_nanos((until_stand * 1e9) as u64));
    Approach { step, look_in }
}

/// How far short of the point to aim, of a train that will be told where it is so far before the point.
fn aim(likely: &Likely, report_before: Option<f64>) -> f64 {
    let last = likely.speed.min(LAST_SPEED);
    let place = report_before.map_or(likely.deviation, |before| {
        let told = before * likely.ratio_deviation;
        likely.deviation.min((told * told + REPORT_WITHIN * REPORT_WITHIN).sqrt())
    });
    let variance = place * place + last * ORDER_VARIES * last * ORDER_VARIES + STAND_WITHIN * STAND_WITHIN;
    let deviation = variance.sqrt();
    let aim = (AIM_DEVIATIONS.0 * deviation - AIM_LESS).max(AIM_AT_LEAST);
    (AIM_DEVIATIONS.1 * deviation).min(aim).max(AIM_AT_LEAST * 0.8)
}
