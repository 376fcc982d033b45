//! Whether every train can stop in time: the table of all approaches, and warnings where it cannot.
//!
//! [`judge`] reckons both. Warnings are told once for each pair of signals, section or stopping point, with the train that fits
//! least and how many others do not fit either, so that a large layout with many trains stays legible.

mod findings;
mod table;

use std::collections::BTreeSet;
use std::sync::Arc;

use layout::Loaded;
use signaller::drive::Handling;
use track::spacing::{Approach, Runner, Target, approaches};
use track::{Layout, Length, SignalId, Speed, TrainId};

/// What was reckoned.
pub(super) struct Spacing {
    approaches: Vec<(Approach, Vec<Needed>)>,
}

/// What one train needs of an approach.
#[derive(Clone, Copy)]
struct Needed {
    train: TrainId,
    /// How fast it may come to the caution.
    speed: Speed,
    /// How much track it needs; more than there ever is where it does not brake at all.
    needs: Length,
    /// How much more there is than that; less than nothing where there is not enough.
    margin: Option<Length>,
    /// The fastest it may come for the track there is.
    cured_at: Option<Speed>,
}

impl Needed {
    fn is_too_much(&self) -> bool {
        self.margin.is_some_and(|margin| margin < Length::ZERO)
    }

    fn never_stops(&self) -> bool {
        self.needs >= Length::MAX
    }
}

/// Reckons the spacing of a layout, and adds warnings where it is too narrow.
pub(super) fn judge(loaded: &mut Loaded) -> Spacing {
    let layout = Arc::new(loaded.layout.clone());
    let runners: Vec<Runner<'_>> = layout
        .trains
        .iter()
        .map(|(train, described)| {
            let Handling { top, braking } = Handling::of(described);
            Runner { train, described, top, braking }
        })
        .collect();
    let needed = |approach: &Approach, runner: &Runner<'_>| {
        let needs = runner.needs(approach);
        Needed {
            train: runner.train,
            speed: runner.speed_at(approach),
            needs,
            margin: approach.distance.map(|distance| distance - needs),
            cured_at: approach.distance.map(|distance| runner.speed_for(approach, distance)),
        }
    };
    let all = if runners.is_empty() { Vec::new() } else { approaches(&layout) };
    let all = all.into_iter().map(|approach| {
        let needed = runners.iter().map(|runner| needed(&approach, runner)).collect();
        (approach, needed)
    });
    let spacing = Spacing { approaches: all.collect() };
    findings::warn_of_approaches(loaded, &spacing);
    findings::warn_of_sections(loaded, &layout, &runners);
    findings::warn_of_stops(loaded, &layout, &runners);
    spacing
}

impl Spacing {
    /// What the table cannot show.
    pub(super) fn notes(&self, layout: &Layout) -> Vec<String> {
        let mut notes = Vec::new();
        if layout.trains.is_empty() {
            notes.push("there is no train whose needs could be reckoned".to_owned());
            return notes;
        }
        match self.approaches.iter().filter(|(approach, _)| approach.distance.is_none()).count() {
            0 => {}
            1 => notes.push("1 approach has track without a length: it is not judged".to_owned()),
            many => notes.push(format!("{many} approaches have track without a length: they are not judged")),
        }
        let foretold: BTreeSet<Target> = self.approaches.iter().map(|(approach, _)| approach.target).collect();
        let main = |signal: &SignalId| layout.book_of(*signal).role() == track::Role::Main;
        let untold: Vec<&str> = layout
            .signals
            .ids()
            .filter(main)
            .filter(|&signal| !foretold.contains(&Target::Signal(signal)))
            .map(|signal| layout.signals[signal].name.as_str())
            .collect();
        if !untold.is_empty() {
            notes.push(format!("no signal foretells {}", untold.join(", ")));
        }
        notes
    }
}

/// `S3`, or `the buffers at quay.a`.
fn name_of(target: Target, layout: &Layout) -> String {
    match target {
        Target::Signal(signal) => layout.signals[signal].name.clone(),
        Target::Buffers(end) => format!("buffers at {}", layout.end_name(end)),
    }
}

/// What a speed on the table is at the layout's scale, in kilometres an hour.
fn km_h(speed: Speed, layout: &Layout) -> f64 {
    speed.mm() / 1000.0 * layout.scale.km_h_per_model_m_s()
}
