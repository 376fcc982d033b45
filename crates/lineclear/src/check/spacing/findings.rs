//! Warnings where trains need more track than there is.

use std::collections::BTreeMap;

use layout::{Loaded, Written};
use track::spacing::{Approach, Overtaken, Runner, Squeeze, Tail, Target, overtaken, squeezes};
use track::{Layout, Length, SectionId, SignalId, Speed, SpeedClass, StopId, TrainId};

use super::{Needed, Spacing, km_h};

/// A caution, what it foretells, and how slowly that is to be passed.
type Pair = (SignalId, Target, Option<SpeedClass>);

/// The worst case of one kind, and the trains that fare badly.
struct Worst<T> {
    case: T,
    short: Length,
    trains: Vec<TrainId>,
}

impl<T> Worst<T> {
    fn add<K: Ord>(all: &mut BTreeMap<K, Self>, key: K, (train, short, case): (TrainId, Length, T)) {
        let Some(known) = all.get_mut(&key) else {
            all.insert(key, Self { case, short, trains: vec![train] });
            return;
        };
        if !known.trains.contains(&train) {
            known.trains.push(train);
        }
        if short > known.short {
            known.case = case;
            known.short = short;
        }
    }

    /// `; so it is with 2 other trains`.
    fn others(&self) -> String {
        match self.trains.len() {
            1 => String::new(),
            2 => "; so it is with another train".to_owned(),
            many => format!("; so it is with {} other trains", many - 1),
        }
    }
}

/// Whole millimetres, rather more than too few.
fn mm(length: Length) -> i64 {
    length.um().div_euclid(1000) + i64::from(length.um().rem_euclid(1000) > 0)
}

/// `88 mm/s (27 km/h)`, rather too slow than too fast.
fn at_most(speed: Speed, layout: &Layout) -> String {
    let slower = Speed::from_mm(speed.um() / 1000);
    format!("{} mm/s ({:.0} km/h)", slower.um() / 1000, km_h(slower, layout).floor())
}

fn at(speed: Speed, layout: &Layout) -> String {
    format!("{:.0} mm/s ({:.0} km/h)", speed.mm(), km_h(speed, layout))
}

pub(super) fn warn_of_approaches(loaded: &mut Loaded, spacing: &Spacing) {
    let mut all: BTreeMap<Pair, Worst<(&Approach, Needed)>> = BTreeMap::new();
    for (approach, needed) in &spacing.approaches {
        for it in needed.iter().filter(|it| it.is_too_much()) {
            let short = it.margin.map_or(Length::ZERO, |margin| -margin);
            Worst::add(
                &mut all,
                (approach.caution, approach.target, approach.class),
                (it.train, short, (approach, *it)),
            );
        }
    }
    for worst in all.into_values() {
        let (approach, needed) = worst.case;
        let (message, hint) = in_words(&loaded.layout, approach, &needed);
        loaded.warn(Written::Signal(approach.caution), message + &worst.others(), hint);
    }
}

fn in_words(layout: &Layout, approach: &Approach, needed: &Needed) -> (String, String) {
    let (train, caution) = (&layout.trains[needed.train].name, &layout.signals[approach.caution].name);
    let target = match approach.target {
        Target::Signal(signal) => format!("`{}`", layout.signals[signal].name),
        Target::Buffers(end) => format!("the buffers at `{}`", layout.end_name(end)),
    };
    if needed.never_stops() {
        let fall = -approach.fall.permille();
        return (
            format!("`{train}` cannot brake from `{caution}` to {target}: the track falls {fall} mm a metre"),
            "gravity outdoes its brakes: give it better `braking`, or the track a gentler `gradient`".to_owned(),
        );
    }
    let aim = match approach.class {
        None => format!("to stop before {target}"),
        Some(class) => format!("to come down to {class} speed, {}, at {target}", at(approach.then, layout)),
    };
    let distance = approach.distance.unwrap_or(Length::ZERO);
    let short = mm(needed.needs - distance);
    let message = format!(
        "`{train}` passes `{caution}` at {} and needs {} mm {aim}, but there are {}: {short} mm too few",
        at(needed.speed, layout),
        mm(needed.needs),
        distance.um() / 1000,
    );
    let mut cures = Vec::new();
    if let Some(speed) = needed.cured_at.filter(|speed| *speed > approach.then) {
        cures.push(format!("a `limit` of {} before `{caution}`", at_most(speed, layout)));
    }
    cures.push(format!("{short} mm more track between them"));
    if let Some((before, _)) = approach.before.filter(|(_, room)| *room >= needed.needs) {
        let before = &layout.signals[before].name;
        cures.push(format!("one more caution: an aspect by which `{before}` foretells {target} too"));
    }
    (message, one_of(&cures))
}

/// `a, b, or c`.
fn one_of(cures: &[String]) -> String {
    match cures.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, before)) => format!("{}, or {last}", before.join(", ")),
        None => String::new(),
    }
}

pub(super) fn warn_of_sections(loaded: &mut Loaded, layout: &Layout, runners: &[Runner<'_>]) {
    let mut all: BTreeMap<SectionId, Worst<(Overtaken, TrainId)>> = BTreeMap::new();
    for runner in runners {
        for case in overtaken(layout, runner) {
            Worst::add(&mut all, case.section, (runner.train, case.short, (case, runner.train)));
        }
    }
    for (section, worst) in all {
        let (case, train) = worst.case;
        let (train, name) = (&layout.trains[train].name, &layout.sections[section].name);
        let delay =
            layout.sections[section].detector.map_or(0.0, |detector| layout.detectors[detector].on_delay.as_secs_f64());
        let what = if case.unseen {
            format!("the whole of `{train}` can pass `{name}`")
        } else {
            format!("the nose of `{train}` can have left `{name}`")
        };
        let mut cures = Vec::new();
        if let Some(speed) = case.cured_at {
            cures.push(format!("a `limit` of {}", at_most(speed, layout)));
        }
        cures.push(format!("{} mm more track", mm(case.short)));
        cures.push("a detector with less `on-delay`".to_owned());
        loaded.warn(
            Written::Section(section),
            format!(
                "{what} before its detector speaks, after {delay} s, at {}: it is {} mm too short{}",
                at(case.speed, layout),
                mm(case.short),
                worst.others()
            ),
            one_of(&cures),
        );
    }
}

pub(super) fn warn_of_stops(loaded: &mut Loaded, layout: &Layout, runners: &[Runner<'_>]) {
    let mut all: BTreeMap<(StopId, Tail), Worst<(Squeeze, TrainId)>> = BTreeMap::new();
    for runner in runners {
        for case in squeezes(layout, runner) {
            Worst::add(&mut all, (case.stop, case.tail), (runner.train, case.short, (case, runner.train)));
        }
    }
    for ((stop, tail), worst) in all {
        let (case, train) = worst.case;
        let (described, name) = (&layout.trains[train], &layout.stops[stop].name);
        let length = described.length().map_or(0, mm);
        let (room, short) = (case.room.um().max(0) / 1000, mm(case.short));
        let what = match tail {
            Tail::Fouls(section) => format!(
                "behind the stopping point `{name}` there are {room} mm up to the turnouts of `{}`, {short} too few for `{}`, \
                 which is {length} mm long",
                layout.sections[section].name, described.name
            ),
            Tail::NoTrack(end) => format!(
                "behind the stopping point `{name}` there are {room} mm up to the buffers at `{}`, {short} too few for `{}`, \
                 which is {length} mm long",
                layout.end_name(end),
                described.name
            ),
        };
        loaded.warn(
            Written::Stop(stop),
            what + &worst.others(),
            format!("less `short-of-end`, {short} mm more track, or no train of more than {room} mm there"),
        );
    }
}
