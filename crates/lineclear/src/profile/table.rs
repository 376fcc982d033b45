//! Profiles as tables.

use std::io::{self, Write};

use signaller::{Direction, SpeedProfile, StepSpeed};
use track::{Layout, Speed, Train};

/// So many lines a table has at most in the terminal, or little more.
const LINES: usize = 28;

pub(super) const CSV_HEAD: &str = "train,direction,step,likely_mm_s,least_mm_s,most_mm_s,likely_km_h,runs\r\n";

/// Writes a profile for a terminal: not every step of many.
pub(crate) fn write_table(
    output: &mut impl Write,
    layout: &Layout,
    train: &Train,
    profile: &SpeedProfile,
) -> io::Result<()> {
    writeln!(output, "{}: speed at each step, and what it is between in 95 runs of 100\n", train.name)?;
    writeln!(output, "        {:^40}   {:^40}", "forwards", "backwards")?;
    let heads = format!("{:>7} {:>15} {:>7} {:>8}", "mm/s", "between", "km/h", "runs");
    writeln!(output, "  step  {heads}   {heads}")?;
    let count = profile.forward.len();
    let every = count.div_ceil(LINES);
    for (forward, backward) in profile.forward.iter().zip(&profile.backward) {
        if usize::from(forward.step).is_multiple_of(every) || usize::from(forward.step) == count {
            writeln!(output, "  {:>4}  {}   {}", forward.step, cells(layout, forward), cells(layout, backward))?;
        }
    }
    let rate = |rate: signaller::drive::Rate| {
        format!("{:.1} mm/s², give or take {:.1}", rate.likely.mm(), 1.96 * rate.deviation.mm())
    };
    writeln!(output, "\n  gathers speed at {}", rate(profile.gathers))?;
    writeln!(output, "  loses speed at {}\n", rate(profile.loses))
}

fn cells(layout: &Layout, speed: &StepSpeed) -> String {
    let between = format!("{:.1} to {:.1}", speed.least.mm(), speed.most.mm());
    let km_h = km_h(layout, speed.likely);
    format!("{:>7.1} {between:>15} {km_h:>7.1} {:>8}", speed.likely.mm(), speed.runs)
}

/// Writes every step of a profile as comma-separated values.
pub(super) fn write_csv(
    output: &mut impl Write,
    layout: &Layout,
    train: &Train,
    profile: &SpeedProfile,
) -> io::Result<()> {
    let name = if train.name.contains(['"', ',', '\n', '\r']) {
        format!("\"{}\"", train.name.replace('"', "\"\""))
    } else {
        train.name.clone()
    };
    for (direction, word) in [(Direction::Forward, "forward"), (Direction::Backward, "backward")] {
        for speed in profile.side(direction) {
            let km_h = km_h(layout, speed.likely);
            let [likely, least, most] = [speed.likely, speed.least, speed.most].map(Speed::mm);
            let (step, runs) = (speed.step, speed.runs);
            write!(output, "{name},{word},{step},{likely:.3},{least:.3},{most:.3},{km_h:.2},{runs}\r\n")?;
        }
    }
    Ok(())
}

pub(super) fn km_h(layout: &Layout, speed: Speed) -> f64 {
    speed.mm() / 1000.0 * layout.scale.km_h_per_model_m_s()
}
