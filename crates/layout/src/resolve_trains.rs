//! Trains: their addresses, and whether they can stand where they are said to stand.

use std::collections::BTreeMap;

use track::{Address, EndId, Id as _, Layout, Length, SectionId, SpeedSteps, Start, Train, TrainId, Vehicle};

use crate::behaviour::engines_of;
use crate::diagnostic::Findings;
use crate::keys::list_of;
use crate::names::Names;
use crate::resolved::Resolved;
use crate::sight::{Sight, axles_of, detectable_of};
use crate::source::{Said, Span};
use crate::written::{WrittenStart, WrittenTrain};

type Text<'t> = Said<&'t str>;

/// How far a train's real speed may differ from its speed curve where nobody said: a fifth (common practice, no source).
const SPEED_TOLERANCE: f64 = 0.2;

/// Adds the trains to the layout.
pub(crate) fn resolve_trains<'t>(resolved: &mut Resolved<'t>, trains: &[WrittenTrain<'t>], out: &mut Findings) {
    let mut names: Names<'t, TrainId> = Names::new("train");
    let mut addresses: BTreeMap<Address, Text<'t>> = BTreeMap::new();
    let mut sight = if resolved.excused.electrics { Sight::Excused } else { Sight::of(&resolved.layout) };
    let mut standing: BTreeMap<SectionId, Text<'t>> = BTreeMap::new();
    for written in trains {
        let own = written.address.map(|said| (said.value, said.span));
        let engines = written.vehicles.iter().filter_map(|it| it.engine).map(|said| (said.value.0, said.span));
        for (value, span) in own.into_iter().chain(engines) {
            let address = Said { value, span };
            if let Some(first) = addresses.get(&address.value) {
                let (one, other) = (first.value, written.name.value);
                let (whose, hint) = match one == other {
                    true => (
                        format!("two engines of `{one}` have the same address"),
                        "where they run alike say it once, as the `address` of the train",
                    ),
                    false => (
                        format!("`{one}` and `{other}` have the same address"),
                        "both would answer: give one decoder another address",
                    ),
                };
                out.mistake(address.span, whose).see(first.span, "the first").hint(hint);
            } else {
                addresses.insert(address.value, written.name);
            }
        }
        let mut train = described(written, resolved.layout.scale.ratio, &mut sight, out);
        train.link = written.link.and_then(|link| resolved.links.find(link, out));
        warn_of_blindness(&train, written, out);
        train.start = written.stands.as_ref().and_then(|start| {
            let place = Placement { resolved, train: &train, name: written.name, start };
            let start = place.resolve(out)?;
            for (&section, said) in start.on.iter().zip(&written.stands.as_ref()?.on) {
                if let Some(other) = standing.get(&section) {
                    out.mistake(
                        said.span,
                        format!("`{}` stands on `{}`, where `{}` stands", written.name.value, said.value, other.value),
                    )
                    .see(other.span, "the other train")
                    .hint("a section holds one train at first");
                }
                standing.entry(section).or_insert(written.name);
            }
            Some(start)
        });
        if names.is_free(written.name, out) {
            names.add(written.name, resolved.layout.trains.push(train));
        }
    }
}

fn described(written: &WrittenTrain<'_>, ratio: f64, sight: &mut Sight, out: &mut Findings) -> Train {
    let vehicles = written.vehicles.iter().map(|vehicle| Vehicle {
        name: vehicle.name.map_or("", |name| name.value).to_owned(),
        length: vehicle.length,
        detectable: detectable_of(vehicle, sight, out),
        axles: axles_of(vehicle),
    });
    let tolerance = written.speed_tolerance.map_or(SPEED_TOLERANCE, |said| said.value);
    Train {
        name: written.name.value.to_owned(),
        vehicles: vehicles.collect(),
        address: written.address.map(|said| said.value),
        link: None,
        speed_steps: written.speed_steps.unwrap_or(SpeedSteps::Steps126),
        top_speed: written.top_speed.map(|said| said.value.on_table(ratio)),
        acceleration: written.acceleration.map(|said| said.value),
        braking: written.braking.map(|said| said.value),
        gradient_share_permille: written
            .gradient_share
            .map_or(Train::GRADIENT_SHARE_PERMILLE, |said| (said.value * 1000.0).round() as i64),
        speed_tolerance_permille: (tolerance * 1000.0).round() as i64,
        dwell: written.dwell.unwrap_or_default(),
        start_delay: written.start_delay.unwrap_or_default(),
        functions: written.functions.clone(),
        engines: engines_of(&written.vehicles, written.address, out),
        start: None,
    }
}

fn warn_of_blindness(train: &Train, written: &WrittenTrain<'_>, out: &mut Findings) {
    // Of axles that are listed, and yet not seen, that has been reported.
    let is_dark = |vehicle: &Vehicle| vehicle.detectable.is_none() && vehicle.axles.is_empty();
    if !train.vehicles.is_empty() && train.vehicles.iter().all(is_dark) {
        out.warning(written.name.span, format!("no detector will ever see `{}`", train.name))
            .hint("say `detectable = true` for the vehicles that draw current: engines, lit or resistor-fitted cars");
    }
}

/// A train and where it is said to stand.
struct Placement<'a, 't> {
    resolved: &'a Resolved<'t>,
    train: &'a Train,
    name: Text<'t>,
    start: &'a WrittenStart<'t>,
}

/// How much track lies between a train's far limit in its first section and the end it enters a later one by. Nothing: some
/// of it was not measured.
#[derive(Clone, Copy)]
struct Reach {
    /// With the first section, by the longest ways.
    longest: Option<Length>,
    /// Without the first section, by the shortest ways.
    shortest_between: Option<Length>,
}

impl Placement<'_, '_> {
    fn layout(&self) -> &Layout {
        &self.resolved.layout
    }

    fn resolve(&self, out: &mut Findings) -> Option<Start> {
        let mut sections = Vec::new();
        let mut complete = true;
        for said in &self.start.on {
            match self.resolved.sections.find(*said, out) {
                Some(section) if sections.contains(&section) => {
                    out.mistake(said.span, format!("`{}` is listed twice", said.value));
                    complete = false;
                }
                Some(section) => sections.push(section),
                None => complete = false,
            }
        }
        let nose = match self.start.nose {
            Some(nose) => {
                let end = self.find_nose(nose, out);
                complete &= end.is_some();
                end
            }
            None => None,
        };
        if complete {
            self.check_place(&sections, nose, out);
        }
        complete.then_some(Start { on: sections, nose })
    }

    fn find_nose(&self, nose: Text<'_>, out: &mut Findings) -> Option<EndId> {
        let layout = self.layout();
        let Some((section_name, end_name)) = nose.value.rsplit_once('.') else {
            out.mistake(nose.span, format!("`{}` names no end", nose.value)).hint("an end is written `section.end`");
            return None;
        };
        let said = Said { value: section_name, span: nose.span };
        let section = self.resolved.sections.find(said, out)?;
        let ends = &layout.sections[section].ends;
        let found = ends.iter().copied().find(|&end| layout.ends[end].name == end_name);
        if found.is_none() {
            let names: Vec<_> = ends.iter().map(|&end| layout.ends[end].name.as_str()).collect();
            out.mistake(nose.span, format!("section `{section_name}` has no end `{end_name}`"))
                .hint(format!("its ends are {}", list_of(&names)));
        }
        found
    }

    /// Whether the sections follow each other, the nose is at the far end, and the train fits.
    fn check_place(&self, sections: &[SectionId], nose: Option<EndId>, out: &mut Findings) {
        let layout = self.layout();
        let (Some(&last), Some(last_said)) = (sections.last(), self.start.on.last()) else { return };
        if let (Some(nose), Some(said)) = (nose, self.start.nose)
            && layout.ends[nose].section != last
        {
            let hint = if sections.first() == Some(&layout.ends[nose].section) {
                "`on` lists the sections tail first: turn the list round".to_owned()
            } else {
                format!("the nose is in the last section of `on`, which is `{}`", last_said.value)
            };
            out.mistake(
                said.span,
                format!("the nose of `{}` is not in the last section it stands on", self.name.value),
            )
            .hint(hint);
            return;
        }
        let Some(reach) = self.reach(sections, out) else { return };
        let onward = |enter: Option<EndId>| -> Vec<(Option<Length>, EndId)> { ways_out(layout, last, enter) };
        let mut fits = Fit::default();
        let mut can_point = false;
        for (enter, so_far) in reach {
            for (length, leave) in onward(enter) {
                if nose.is_none_or(|nose| nose == leave) {
                    can_point = true;
                    fits.add(so_far, length);
                }
            }
        }
        if let (false, Some(said)) = (can_point, self.start.nose) {
            out.mistake(said.span, format!("`{}` cannot point at `{}`", self.name.value, said.value))
                .hint("no way leads there from where its tail stands");
            return;
        }
        self.check_length(&fits, out);
    }

    /// The ends by which the train may have entered its last section, with the track behind them. Reports sections that do
    /// not follow each other.
    fn reach(&self, sections: &[SectionId], out: &mut Findings) -> Option<BTreeMap<Option<EndId>, Reach>> {
        let layout = self.layout();
        let nothing = Reach { longest: Some(Length::ZERO), shortest_between: Some(Length::ZERO) };
        let mut here = BTreeMap::from([(None, nothing)]);
        for (index, pair) in sections.windows(2).enumerate() {
            let [section, next] = [pair[0], pair[1]];
            let mut there: BTreeMap<Option<EndId>, Reach> = BTreeMap::new();
            for (&enter, &so_far) in &here {
                for (length, leave) in ways_out(layout, section, enter) {
                    for &met in layout.ends[leave].meets.iter().filter(|&&met| layout.ends[met].section == next) {
                        let reach = so_far.along(length, index == 0);
                        there.entry(Some(met)).and_modify(|known| *known = known.or(reach)).or_insert(reach);
                    }
                }
            }
            if there.is_empty() {
                self.report_gap(section, index, out);
                return None;
            }
            here = there;
        }
        Some(here)
    }

    fn report_gap(&self, section: SectionId, index: usize, out: &mut Findings) {
        let layout = self.layout();
        let (one, other) = (self.start.on[index], self.start.on[index + 1]);
        let ends = layout.sections[section].ends.iter();
        let mut around: Vec<&str> = ends
            .flat_map(|&end| &layout.ends[end].meets)
            .map(|&met| layout.sections[layout.ends[met].section].name.as_str())
            .collect();
        around.sort_unstable();
        around.dedup();
        let touches = around.contains(&other.value);
        let mistake =
            out.mistake(other.span, format!("no train can stand on `{}` and go on into `{}`", one.value, other.value));
        if touches {
            mistake.hint("they touch, but no way leads through: list the sections in order, tail first");
        } else {
            mistake.hint(format!("`{}` touches {}", one.value, list_of(&around)));
        }
    }

    fn check_length(&self, fits: &Fit, out: &mut Findings) {
        let Some(length) = self.train.length() else { return };
        let span: Span = self.start.on_span;
        if let Some(room) = fits.room.filter(|room| length > *room) {
            out.mistake(
                span,
                format!("`{}` is {} mm long, but stands on {} mm of track", self.name.value, length.mm(), room.mm()),
            )
            .hint("list every section that some part of it stands on, tail first");
        }
        if let Some(between) = fits.between.filter(|between| length < *between) {
            out.mistake(
                span,
                format!(
                    "`{}` is {} mm long, too short to reach over the {} mm between",
                    self.name.value,
                    length.mm(),
                    between.mm()
                ),
            )
            .hint("list only the sections that some part of it stands on");
        }
    }
}

/// The most room, and the least track between the outermost sections, over all ways the train may stand. Nothing: unknown.
#[derive(Default)]
struct Fit {
    any: bool,
    room: Option<Length>,
    between: Option<Length>,
}

impl Fit {
    fn add(&mut self, so_far: Reach, last: Option<Length>) {
        let room = so_far.longest.zip(last).map(|(before, last)| before + last);
        let between = so_far.shortest_between;
        if self.any {
            self.room = self.room.zip(room).map(|(one, other)| one.max(other));
            self.between = self.between.zip(between).map(|(one, other)| one.min(other));
        } else {
            (self.any, self.room, self.between) = (true, room, between);
        }
    }
}

impl Reach {
    fn along(self, length: Option<Length>, is_first: bool) -> Self {
        let add = |so_far: Option<Length>| so_far.zip(length).map(|(so_far, length)| so_far + length);
        Self {
            longest: add(self.longest),
            shortest_between: if is_first { self.shortest_between } else { add(self.shortest_between) },
        }
    }

    fn or(self, other: Self) -> Self {
        Self {
            longest: self.longest.zip(other.longest).map(|(one, other)| one.max(other)),
            shortest_between: self.shortest_between.zip(other.shortest_between).map(|(one, other)| one.min(other)),
        }
    }
}

/// The ways out of a section for a train that entered it by `enter`; by any end where that is not known.
fn ways_out(layout: &Layout, section: SectionId, enter: Option<EndId>) -> Vec<(Option<Length>, EndId)> {
    let entries: Vec<EndId> = enter.map_or_else(|| layout.sections[section].ends.clone(), |enter| vec![enter]);
    debug_assert!(section.index() < layout.sections.len());
    entries
        .into_iter()
        .flat_map(|enter| layout.ways_from(enter))
        .map(|(way, leave)| (layout.ways[way].length, leave))
        .collect()
}
