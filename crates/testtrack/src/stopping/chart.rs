//! One stop as a drawing: what the train was told, how fast it was, and where the signaller took its nose to be, over the distance.

use std::fmt::Write;
use std::sync::Arc;
use std::time::Duration;

use signaller::Time;
use track::{Id, StopId, TrainId};

use super::{Dispatcher, Fitted, LEARNING, PATIENCE, course};
use crate::session::{Moment, Session};
use crate::settings::Settings;

/// How often the train is looked at.
const LOOK: Duration = Duration::from_millis(20);
/// A stop is drawn that begins so fast, in millimetres a second, and so far before its point, in millimetres.
const FAST: f64 = 90.0;
const FAR: f64 = 450.0;

/// A train on its way to its stopping point. Distances are millimetres beyond that point, before it below zero.
#[derive(Clone, Copy, Debug)]
pub struct Sample {
    /// Where its nose is.
    pub at: f64,
    /// Where the signaller takes it to be at least, and at most.
    pub bounds: Option<(f64, f64)>,
    /// How fast the step that it was told makes it most likely, in millimetres a second.
    pub told: f64,
    /// How fast it is.
    pub speed: f64,
}

/// One stop from the joint before its section on.
#[derive(Clone, Debug)]
pub struct Story {
    /// What was seen, in order.
    pub samples: Vec<Sample>,
    /// Where the authority of the train ends.
    pub authority: f64,
}

/// The first stop of a seed after learning that begins fast and far enough from its point to be looked at.
///
/// # Errors
/// In plain words, why there is none.
pub fn one_stop(seed: u64, fitted: Fitted) -> Result<Story, String> {
    let layout = Arc::new(course::drawn(seed, fitted));
    let mut session =
        Session::new(Arc::clone(&layout), &Settings::lifelike(seed)).map_err(|wrong| wrong.to_string())?;
    let mut dispatcher = Dispatcher::new(layout.stops.ids().collect(), seed);
    let until = Time::ZERO + PATIENCE * 2 * LEARNING as u32;
    let (mut samples, mut drawn, mut stops): (Vec<Sample>, Option<Story>, usize) = (Vec::new(), None, 0);
    let mut look_at = Time::ZERO;
    while drawn.is_none() && session.now() < until {
        let next = session.now() + Duration::from_secs(1);
        session.run_until(next, &mut |moment, desk| {
            let bound_for = dispatcher.bound_for;
            dispatcher.hear(moment, desk);
            if dispatcher.stops.len() < LEARNING {
                return;
            }
            desk.call_at(moment.now + LOOK);
            if dispatcher.stops.len() > stops && drawn.is_none() {
                stops = dispatcher.stops.len();
                let seen = std::mem::take(&mut samples);
                let is_worth_it = seen.first().is_some_and(|first| first.speed >= FAST && first.at <= -FAR);
                let authority = bound_for.map_or(0.0, |stop| short_of_end(moment, stop));
                drawn = (stops > LEARNING && is_worth_it).then_some(Story { samples: seen, authority });
            }
            if moment.now < look_at {
                return;
            }
            look_at = moment.now + LOOK;
            match bound_for.and_then(|stop| sample(moment, stop)) {
                Some(seen) => samples.push(seen),
                None => samples.clear(),
            }
        });
    }
    drawn.ok_or_else(|| format!("seed {seed}: no stop began fast and far enough from its point"))
}

fn train() -> TrainId {
    TrainId::from_index(0)
}

fn short_of_end(moment: &Moment<'_>, stop: StopId) -> f64 {
    let layout = moment.table.layout();
    layout.stands_short(stop, layout.trains[train()].length()).mm()
}

/// What is seen of the train while its nose is in the section of its stopping point.
fn sample(moment: &Moment<'_>, stop: StopId) -> Option<Sample> {
    let (layout, train) = (moment.table.layout(), train());
    let nose = moment.table.nose(train).filter(|nose| nose.towards == layout.stops[stop].towards)?;
    let length = layout.ways[nose.way].length?.mm();
    let point = length - short_of_end(moment, stop);
    let drive = moment.signaller.drive();
    let step = drive.step_of(train);
    let speeds = drive.profile(train)?;
    let told = usize::from(step).checked_sub(1).and_then(|place| speeds.side(moment.table.leading(train)).get(place));
    let stand = moment.signaller.identity().whereabouts(train, moment.now);
    let is_there = |hold: &signaller::identity::Hold| hold.section == nose.section;
    let stand = stand.filter(|stand| stand.footprint.last().is_some_and(is_there));
    let bounds = stand.and_then(|stand| stand.nose).map(|nose| (nose.least.mm() - point, nose.most.mm() - point));
    Some(Sample {
        at: length - nose.short_of_end.mm() - point,
        bounds,
        told: told.map_or(0.0, |speed| speed.likely.mm()),
        speed: moment.table.speed(train).mm().abs(),
    })
}

/// The frame of each half, in pixels.
const WIDE: f64 = 620.0;
const HIGH: f64 = 220.0;
const LEFT: f64 = 80.0;
const TOP: f64 = 60.0;
const BELOW: f64 = 70.0;

const STYLE: &str = "text{font:13px sans-serif;fill:#1d2733}.title{font-size:16px;font-weight:600}.small{font-size:12px;\
                     fill:#4d5b6a}.grid{stroke:#dde3ea}.frame{fill:none;stroke:#7d8a98}.told{fill:none;stroke:#b3541e;\
                     stroke-width:1.5}.true{fill:none;stroke:#1c5a8a;stroke-width:2}.band{fill:#2f6f9f;fill-opacity:.25}\
                     .point{stroke:#1d2733;stroke-dasharray:4 3}.end{stroke:#a01c1c;stroke-width:2}";

impl Story {
    fn x(&self, at: f64) -> f64 {
        let first = self.samples.first().map_or(-1.0, |first| first.at);
        let last = self.authority + 20.0;
        (at - first) / (last - first) * WIDE
    }

    /// The drawing.
    pub fn svg(&self) -> String {
        let (width, height) = (LEFT + WIDE + 40.0, TOP + 2.0 * HIGH + BELOW + 110.0);
        let fastest = self.samples.iter().map(|it| it.told.max(it.speed)).fold(1.0, f64::max) * 1.05;
        let offs = self.samples.iter().filter_map(|it| Some(it.bounds?.1 - it.at)).fold(20.0, f64::max);
        let under = self.samples.iter().filter_map(|it| Some(it.at - it.bounds?.0)).fold(20.0, f64::max);
        let speed = |mm_s: f64| HIGH - mm_s / fastest * HIGH;
        let off = |mm: f64| HIGH - (mm + under) / (offs + under) * HIGH;
        let line = |of: &dyn Fn(&Sample) -> f64| -> String {
            self.samples.iter().map(|it| format!("{:.1},{:.1} ", self.x(it.at), of(it))).collect()
        };
        let known = || self.samples.iter().filter_map(|it| Some((it.at, it.bounds?)));
        let upper: String =
            known().map(|(at, (_, most))| format!("{:.1},{:.1} ", self.x(at), off(most - at))).collect();
        let lower = known().map(|(at, (least, _))| format!("{:.1},{:.1} ", self.x(at), off(least - at)));
        let lower: String = lower.collect::<Vec<_>>().into_iter().rev().collect();
        let second = TOP + HIGH + BELOW;
        let mut svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {width} {height}\" \
             role=\"img\"><title>One stop</title><style>{STYLE}</style><rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\
             <text class=\"title\" x=\"{LEFT}\" y=\"28\">One stop: speed, and where the nose is taken to be</text>\n"
        );
        // Writing to a text cannot fail.
        let _ = writeln!(
            svg,
            "<g transform=\"translate({LEFT} {TOP})\">{}<polyline class=\"told\" points=\"{}\"/>\
             <polyline class=\"true\" points=\"{}\"/></g>",
            self.frame("mm/s", &ticks(0.0, fastest), &speed),
            line(&|it| speed(it.told)),
            line(&|it| speed(it.speed))
        );
        let _ = writeln!(
            svg,
            "<g transform=\"translate({LEFT} {second})\">{}<polygon class=\"band\" points=\"{upper}{lower}\"/>\
             <line class=\"true\" x1=\"0\" x2=\"{WIDE}\" y1=\"{zero:.1}\" y2=\"{zero:.1}\"/></g>",
            self.frame("mm off the true place", &ticks(-under, offs), &off),
            zero = off(0.0)
        );
        let below = second + HIGH + 60.0;
        let _ = writeln!(
            svg,
            "<text class=\"small\" x=\"{LEFT}\" y=\"{below}\">Above: speed that the train was told (brown) and had (blue). Below: the \
             nose is sure to be within the band.</text><text class=\"small\" x=\"{LEFT}\" y=\"{}\">Dashed: the stopping point. Red: \
             the end of the authority. Distances in millimetres beyond the stopping point.</text></svg>",
            below + 18.0
        );
        svg
    }

    /// Frame, grid, stopping point and end of the authority.
    fn frame(&self, unit: &str, rows: &[f64], y: &dyn Fn(f64) -> f64) -> String {
        let mut svg = String::new();
        for &row in rows {
            let at = y(row);
            let _ = write!(
                svg,
                "<line class=\"grid\" x1=\"0\" x2=\"{WIDE}\" y1=\"{at:.1}\" y2=\"{at:.1}\"/>\
                 <text x=\"-8\" y=\"{:.1}\" text-anchor=\"end\">{row}</text>",
                at + 4.0
            );
        }
        let first = self.samples.first().map_or(-1.0, |first| first.at);
        for column in ticks(first, self.authority + 20.0) {
            let x = self.x(column);
            let _ = write!(
                svg,
                "<line class=\"grid\" x1=\"{x:.1}\" x2=\"{x:.1}\" y1=\"0\" y2=\"{HIGH}\"/>\
                 <text x=\"{x:.1}\" y=\"{}\" text-anchor=\"middle\">{column}</text>",
                HIGH + 18.0
            );
        }
        for (class, at) in [("point", 0.0), ("end", self.authority)] {
            let x = self.x(at);
            let _ = write!(svg, "<line class=\"{class}\" x1=\"{x:.1}\" x2=\"{x:.1}\" y1=\"0\" y2=\"{HIGH}\"/>");
        }
        let _ = write!(
            svg,
            "<rect class=\"frame\" width=\"{WIDE}\" height=\"{HIGH}\"/><text class=\"small\" x=\"0\" y=\"-8\">{unit}</text>"
        );
        svg
    }
}

/// Round numbers between two bounds, some six of them.
fn ticks(least: f64, most: f64) -> Vec<f64> {
    let mut every = 1.0;
    for factor in [2.0, 2.5, 2.0].into_iter().cycle().take(20) {
        if (most - least) / every <= 8.0 {
            break;
        }
        every *= factor;
    }
    let first = (least / every).ceil() as i64;
    (first..).map(|count| count as f64 * every).take_while(|&tick| tick <= most).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stop_that_is_drawn_ends_before_the_point_and_the_nose_is_always_within_the_band() {
        let story = one_stop(1, Fitted::Spots).unwrap();
        let last = story.samples.last().unwrap();
        assert!(last.speed == 0.0 && last.at <= 2.0 && last.at > -25.0, "{last:?}");
        for sample in &story.samples {
            let (least, most) = sample.bounds.unwrap_or((sample.at, sample.at));
            assert!(least <= sample.at + 0.1 && sample.at <= most + 0.1, "{sample:?}");
            assert!(sample.at < story.authority);
        }
        let svg = story.svg();
        assert!(svg.starts_with("<svg") && svg.trim_end().ends_with("</svg>") && !svg.contains("NaN"));
    }
}
