//! A profile as a drawing: both directions side by side, the likeliest speed over the steps within the band of its bounds.

use std::fmt::Write;

use signaller::{Direction, SpeedProfile, StepSpeed};
use track::{Layout, Train};

use super::table::km_h;

/// One panel's frame, in pixels.
const WIDE: f64 = 380.0;
const HIGH: f64 = 300.0;
/// Where the first panel's upper left corner lies, and how far the second is from it.
const LEFT: f64 = 70.0;
const TOP: f64 = 84.0;
const APART: f64 = 84.0;

const STYLE: &str = "text{font:13px sans-serif;fill:#1d2733}.title{font-size:18px;font-weight:600}.side{font-size:14px;\
                     font-weight:600}.small{font-size:12px;fill:#4d5b6a}.grid{stroke:#dde3ea}.frame{fill:none;stroke:#7d8a98}\
                     .band{fill:#2f6f9f;fill-opacity:.2}.likely{fill:none;stroke:#1c5a8a;stroke-width:2}\
                     .run{fill:#1c5a8a}";

/// The drawing.
pub(super) fn plot(layout: &Layout, train: &Train, profile: &SpeedProfile) -> String {
    let (width, height) = (LEFT + 2.0 * WIDE + APART + 70.0, TOP + HIGH + 110.0);
    let mut svg = String::new();
    let mut put = |text: std::fmt::Arguments<'_>| {
        // Writing to a text cannot fail.
        let _ = svg.write_fmt(text);
    };
    put(format_args!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {width} {height}\" \
         role=\"img\"><title>Speed profile of {name}</title><style>{STYLE}</style>\
         <rect width=\"100%\" height=\"100%\" fill=\"#fff\"/><text class=\"title\" x=\"{LEFT}\" y=\"32\">{name}: speed by \
         step</text>\n",
        name = escaped(&train.name)
    ));
    let fastest = profile.forward.iter().chain(&profile.backward).map(|speed| speed.most.mm()).fold(1.0, f64::max);
    let axes = Axes { fastest: fastest * 1.04, steps: profile.forward.len() as f64 };
    for (place, (direction, word)) in
        [(Direction::Forward, "forwards"), (Direction::Backward, "backwards")].into_iter().enumerate()
    {
        let left = LEFT + place as f64 * (WIDE + APART);
        put(format_args!("<g transform=\"translate({left} {TOP})\">"));
        put(format_args!("<text class=\"side\" x=\"0\" y=\"-14\">{word}</text>"));
        put(format_args!("{}{}</g>\n", axes.drawn(layout), axes.curve(profile.side(direction))));
    }
    let below = TOP + HIGH + 70.0;
    put(format_args!(
        "<text class=\"small\" x=\"{LEFT}\" y=\"{below}\">Line: likeliest speed. Band: in 95 runs of 100 it is within. Dots: steps \
         near which runs have taught something.</text>\n<text class=\"small\" x=\"{LEFT}\" y=\"{}\">Gathers speed at {:.0} \
         mm/s², loses it at {:.0} mm/s².</text></svg>\n",
        below + 18.0,
        profile.gathers.likely.mm(),
        profile.loses.likely.mm()
    ));
    svg
}

struct Axes {
    /// The speed at the upper edge, in millimetres a second.
    fastest: f64,
    steps: f64,
}

impl Axes {
    fn x(&self, step: f64) -> f64 {
        step / self.steps * WIDE
    }

    fn y(&self, mm_s: f64) -> f64 {
        HIGH - mm_s / self.fastest * HIGH
    }

    /// Grid, frame and labels: steps below, millimetres a second on the left, kilometres an hour to scale on the right.
    fn drawn(&self, layout: &Layout) -> String {
        let mut svg = String::new();
        let per_mm = km_h(layout, track::Speed::from_mm(1));
        for mm in ticks(self.fastest) {
            let y = self.y(mm);
            let _ = write!(
                svg,
                "<line class=\"grid\" x1=\"0\" x2=\"{WIDE}\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>\
                 <text x=\"-8\" y=\"{:.1}\" text-anchor=\"end\">{mm}</text>",
                y + 4.0
            );
        }
        for km in ticks(self.fastest * per_mm).into_iter().filter(|_| per_mm > 0.0) {
            let y = self.y(km / per_mm);
            let _ = write!(
                svg,
                "<line class=\"frame\" x1=\"{WIDE}\" x2=\"{}\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>\
                 <text x=\"{}\" y=\"{:.1}\">{km}</text>",
                WIDE + 4.0,
                WIDE + 8.0,
                y + 4.0
            );
        }
        for step in ticks(self.steps) {
            let x = self.x(step);
            let _ = write!(
                svg,
                "<line class=\"grid\" x1=\"{x:.1}\" x2=\"{x:.1}\" y1=\"0\" y2=\"{HIGH}\"/>\
                 <text x=\"{x:.1}\" y=\"{}\" text-anchor=\"middle\">{step}</text>",
                HIGH + 18.0
            );
        }
        let _ = write!(
            svg,
            "<rect class=\"frame\" width=\"{WIDE}\" height=\"{HIGH}\"/>\
             <text class=\"small\" x=\"{}\" y=\"{}\" text-anchor=\"middle\">speed step</text>\
             <text class=\"small\" x=\"-8\" y=\"-14\" text-anchor=\"end\">mm/s</text>\
             <text class=\"small\" x=\"{WIDE}\" y=\"-14\">km/h</text>",
            WIDE / 2.0,
            HIGH + 40.0
        );
        svg
    }

    fn curve(&self, speeds: &[StepSpeed]) -> String {
        let at = |speed: &StepSpeed, mm: f64| format!("{:.1},{:.1} ", self.x(f64::from(speed.step)), self.y(mm));
        let origin = format!("0,{HIGH} ");
        let upper: String = speeds.iter().map(|speed| at(speed, speed.most.mm())).collect();
        let lower: String = speeds.iter().rev().map(|speed| at(speed, speed.least.mm())).collect();
        let likely: String = speeds.iter().map(|speed| at(speed, speed.likely.mm())).collect();
        let mut svg = format!(
            "<polygon class=\"band\" points=\"{origin}{upper}{lower}\"/><polyline class=\"likely\" points=\"{origin}{likely}\"/>"
        );
        for speed in speeds.iter().filter(|speed| speed.runs > 0) {
            let (x, y) = (self.x(f64::from(speed.step)), self.y(speed.likely.mm()));
            let _ = write!(svg, "<circle class=\"run\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"2\"/>");
        }
        svg
    }
}

/// Round numbers from 0 up to a last one, some five of them.
fn ticks(last: f64) -> Vec<f64> {
    let mut every = 1.0;
    for factor in [2.0, 2.5, 2.0].into_iter().cycle().take(20) {
        if last / every <= 7.0 {
            break;
        }
        // Steps and speeds are told in whole numbers: 1, 2, 5, 10, 20, 50.
        every *= factor;
    }
    (0..).map(|count| f64::from(count) * every).take_while(|&tick| tick <= last).collect()
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

#[cfg(test)]
mod tests {
    use super::ticks;

    #[test]
    fn an_axis_is_told_in_round_numbers() {
        assert_eq!(ticks(28.0), [0.0, 5.0, 10.0, 15.0, 20.0, 25.0]);
        assert_eq!(ticks(126.0), [0.0, 20.0, 40.0, 60.0, 80.0, 100.0, 120.0]);
        assert_eq!(ticks(260.0), [0.0, 50.0, 100.0, 150.0, 200.0, 250.0]);
    }
}
