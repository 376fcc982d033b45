//! What a run was like.

use std::fmt::Write;
use std::time::Duration;

use testtrack::Statistics;

use super::house::House;
use super::words;

/// What a run was like, in a few lines.
pub(super) fn summary(house: &House, real_time: Duration) -> String {
    let layout = house.board().layout();
    let trips = house
        .board()
        .errands
        .iter()
        .map(|(&train, errand)| format!("{} {}", words::train(layout, train), errand.trips))
        .collect::<Vec<_>>()
        .join(", ");
    let mut text = format!("\n{} after {} of layout time\n", layout.name, words::clock(house.now()));
    let mut row = |label: &str, value: &str| {
        // Writing to a text cannot fail.
        let _ = writeln!(text, "  {label:<11} {value}");
    };
    row("trips", if trips.is_empty() { "no train" } else { &trips });
    for (label, value) in house.statistics().map(on_table).unwrap_or_default() {
        row(label, &value);
    }
    row(
        "scripts",
        &match (house.script_failures(), house.scripts_left_out()) {
            (0, 0) => "none failed".to_owned(),
            (failed, 0) => format!("{failed} failed"),
            (failed, left_out) => format!("{failed} failed, {left_out} left out because of errors"),
        },
    );
    if house.statistics().is_some() {
        row("violations", &violations(house));
    }
    row("real time", &format!("{:.1} s", real_time.as_secs_f64()));
    text
}

/// What only a pretend table of our own can tell.
fn on_table(figures: &Statistics) -> Vec<(&'static str, String)> {
    let mut rows = Vec::new();
    let stops = &figures.stops;
    if stops.count + stops.elsewhere > 0 {
        let (short, beyond) = (stops.short_um_most as f64 / 1000.0, stops.beyond_um_most as f64 / 1000.0);
        let elsewhere = if stops.elsewhere > 0 { format!(", {} elsewhere", stops.elsewhere) } else { String::new() };
        let (count, mean) = (stops.count, stops.error_mm_mean());
        rows.push((
            "stops",
            format!(
                "{count} measured, {mean:.1} mm off on average, at most {short:.1} short and {beyond:.1} beyond{elsewhere}"
            ),
        ));
    }
    let (doubts, unexplained, sure) = (figures.doubts, figures.unexplained, 100.0 * figures.share_sure());
    rows.push((
        "doubts",
        format!("{doubts} sections, {unexplained} unexplained; trains surely known {sure:.1} % of the time"),
    ));
    rows.push(("holds", format!("{}, {:.0} s of train time", figures.holds, figures.time_held.as_secs_f64())));
    rows
}

fn violations(house: &House) -> String {
    let violations = house.violations();
    match violations.first() {
        None => "none".to_owned(),
        Some(first) => format!(
            "{}; the first, {:?} at {}: {}",
            violations.len(),
            first.rule,
            words::clock(first.at),
            first.sentence
        ),
    }
}
