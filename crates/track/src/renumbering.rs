//! One layout beside another that was made of it: what goes by which number now, and what is not as it was.
//!
//! Things are known again by their names; ways and ends by the section they belong to. Every struct is taken apart in full, so that
//! a new field does not compile until somebody has said whether it matters.

use std::collections::BTreeMap;

use crate::ids::{
    AccessoryId, DetectorId, DistrictId, EndId, InputId, LinkId, SectionId, SignalId, StopId, TrainId, TurnoutId, WayId,
};
use crate::layout::{Detector, DetectorKind, End, Layout, Section, StoppingPoint, Turnout, Way};
use crate::signals::{Overlap, Signal};
use crate::table::{Id, Table};
use crate::train::Train;

/// What became of the things of one layout in another.
#[derive(Clone, Debug)]
pub struct Renumbering {
    /// For each section its number now; nothing where it is gone. The same for everything else.
    pub sections: Table<SectionId, Option<SectionId>>,
    /// Ends.
    pub ends: Table<EndId, Option<EndId>>,
    /// Ways. Those of a section that is described otherwise are gone.
    pub ways: Table<WayId, Option<WayId>>,
    /// Turnouts.
    pub turnouts: Table<TurnoutId, Option<TurnoutId>>,
    /// Signals.
    pub signals: Table<SignalId, Option<SignalId>>,
    /// Stopping points.
    pub stops: Table<StopId, Option<StopId>>,
    /// Detectors.
    pub detectors: Table<DetectorId, Option<DetectorId>>,
    /// Power districts.
    pub districts: Table<DistrictId, Option<DistrictId>>,
    /// Accessories.
    pub accessories: Table<AccessoryId, Option<AccessoryId>>,
    /// Inputs.
    pub inputs: Table<InputId, Option<InputId>>,
    /// Links.
    pub links: Table<LinkId, Option<LinkId>>,
    /// Trains, those that the layout does not describe included.
    pub trains: Table<TrainId, Option<TrainId>>,
    /// How many trains there are now, those included that the new layout does not describe.
    pub trains_now: usize,
    /// Sections that are gone, or described otherwise, or lie beside others than before.
    pub touched: Vec<SectionId>,
    /// Turnouts that are described otherwise. Their sections are touched, too.
    pub turnouts_touched: Vec<TurnoutId>,
    /// Signals that stand where they stood and are gone, or described otherwise.
    pub signals_touched: Vec<SignalId>,
    /// Trains that are described otherwise, or not any more.
    pub trains_touched: Vec<TrainId>,
    /// Nothing has another number, and nothing came.
    pub keeps_numbers: bool,
}

impl Renumbering {
    /// What became of the things of `old` in `new`. `later` names the trains that are known beside those that `old` describes, in
    /// order.
    pub fn between(old: &Layout, new: &Layout, later: &[String]) -> Self {
        let sections = by_name(&old.sections, &new.sections, |it| &it.name);
        let ends: Table<EndId, Option<EndId>> = old
            .ends
            .values()
            .map(|end| {
                let section = &new.sections[sections[end.section]?];
                section.ends.iter().copied().find(|&other| new.ends[other].name == end.name)
            })
            .collect();
        let (trains, trains_now) = trains(old, new, later);
        let mut found = Self {
            turnouts: by_name(&old.turnouts, &new.turnouts, |it| &it.name),
            signals: by_name(&old.signals, &new.signals, |it| &it.name),
            stops: by_name(&old.stops, &new.stops, |it| &it.name),
            detectors: by_name(&old.detectors, &new.detectors, |it| &it.name),
            districts: by_name(&old.districts, &new.districts, |it| &it.name),
            accessories: by_name(&old.accessories, &new.accessories, |it| &it.name),
            inputs: by_name(&old.inputs, &new.inputs, |it| &it.name),
            links: by_name(&old.links, &new.links, |it| &it.name),
            ways: Table::filled(None, old.ways.len()),
            touched: Vec::new(),
            turnouts_touched: Vec::new(),
            signals_touched: Vec::new(),
            trains_touched: Vec::new(),
            keeps_numbers: false,
            sections,
            ends,
            trains,
            trains_now,
        };
        found.find_touched(old, new);
        found.keeps_numbers = found.is_same(old, new);
        found
    }

    fn find_touched(&mut self, old: &Layout, new: &Layout) {
        for (id, section) in old.sections.iter() {
            let now = self.sections[id].filter(|&now| described(old, id) == described(new, now));
            match now {
                Some(now) => {
                    for (&way, &other) in section.ways.iter().zip(&new.sections[now].ways) {
                        self.ways[way] = Some(other);
                    }
                }
                None => self.touched.push(id),
            }
        }
        for (id, turnout) in old.turnouts.iter() {
            let is_alike = self.turnouts[id].is_some_and(|now| laid(old, turnout) == laid(new, &new.turnouts[now]));
            if !is_alike {
                self.turnouts_touched.push(id);
            }
        }
        for (id, signal) in old.signals.iter() {
            let is_alike = self.signals[id].is_some_and(|now| shown(old, signal) == shown(new, &new.signals[now]));
            if !is_alike {
                self.signals_touched.push(id);
            }
        }
        for (id, train) in old.trains.iter() {
            let now = self.trains[id].and_then(|now| new.trains.get(now));
            let is_alike = now.is_some_and(|now| without_start(train) == without_start(now));
            if !is_alike {
                self.trains_touched.push(id);
            }
        }
    }

    fn is_same(&self, old: &Layout, new: &Layout) -> bool {
        same(&self.sections, new.sections.len())
            && same(&self.ends, new.ends.len())
            && same(&self.ways, new.ways.len())
            && same(&self.turnouts, new.turnouts.len())
            && same(&self.signals, new.signals.len())
            && same(&self.stops, new.stops.len())
            && same(&self.detectors, new.detectors.len())
            && same(&self.districts, new.districts.len())
            && same(&self.accessories, new.accessories.len())
            && same(&self.inputs, new.inputs.len())
            && same(&self.links, new.links.len())
            && same(&self.trains, self.trains_now)
            && old.trains.len() == new.trains.len()
    }
}

fn same<I: Id>(numbers: &Table<I, Option<I>>, now: usize) -> bool {
    numbers.len() == now && numbers.iter().all(|(id, new)| *new == Some(id))
}

fn by_name<I: Id, T>(old: &Table<I, T>, new: &Table<I, T>, name: fn(&T) -> &str) -> Table<I, Option<I>> {
    let numbers: BTreeMap<&str, I> = new.iter().map(|(id, row)| (name(row), id)).collect();
    old.values().map(|row| numbers.get(name(row)).copied()).collect()
}

/// Trains that the new layout does not describe follow those that it does, in their order.
fn trains(old: &Layout, new: &Layout, later: &[String]) -> (Table<TrainId, Option<TrainId>>, usize) {
    let numbers: BTreeMap<&str, TrainId> = new.trains.iter().map(|(id, train)| (train.name.as_str(), id)).collect();
    let mut next = new.trains.len();
    let described = old.trains.values().map(|train| numbers.get(train.name.as_str()).copied());
    let mut trains: Table<TrainId, Option<TrainId>> = described.collect();
    for name in later {
        let number = numbers.get(name.as_str()).copied().unwrap_or_else(|| {
            next += 1;
            TrainId::from_index(next - 1)
        });
        trains.push(Some(number));
    }
    (trains, next)
}

fn without_start(train: &Train) -> Train {
    Train { start: None, ..train.clone() }
}

/// All that is said of a section, of what is joined to it and of its detectors, with names instead of numbers.
fn described(layout: &Layout, id: SectionId) -> Vec<String> {
    let Section { name, ends, ways, detector, district, stops, crosses } = &layout.sections[id];
    let section = |id: SectionId| layout.sections[id].name.as_str();
    let district = district.map(|district| {
        let district = &layout.districts[district];
        (&district.name, district.voltage)
    });
    let crosses: Vec<&str> = crosses.iter().map(|&other| section(other)).collect();
    let mut said = vec![format!("{name:?} {district:?} {crosses:?}")];
    for &end in ends {
        let End { section: _, name, meets, beyond, ways: _, signal } = &layout.ends[end];
        let meets: Vec<String> = meets.iter().map(|&met| layout.end_name(met)).collect();
        let signal = signal.map(|signal| &layout.signals[signal]);
        // Track is granted from main signal to main signal.
        let role = signal.map(|signal| layout.books[signal.book].role());
        let signal = signal.map(|signal| (&signal.name, overlap(layout, &signal.overlap)));
        said.push(format!("end {name:?} {meets:?} {beyond:?} {signal:?} {role:?}"));
    }
    let mut turnouts = Vec::new();
    for &way in ways {
        let Way { section: _, ends: [one, other], length, needs, limit, gradient, class } = &layout.ways[way];
        let (one, other) = (layout.end_name(*one), layout.end_name(*other));
        let needs: Vec<_> = needs.iter().map(|need| (&layout.turnouts[need.turnout].name, need.lie)).collect();
        said.push(format!("way {one:?} {other:?} {length:?} {needs:?} {limit:?} {gradient:?} {class:?}"));
        turnouts.extend(layout.ways[way].needs.iter().map(|need| need.turnout));
    }
    turnouts.sort_unstable();
    turnouts.dedup();
    said.extend(turnouts.into_iter().map(|turnout| laid(layout, &layout.turnouts[turnout])));
    for &stop in stops {
        let StoppingPoint { name, section: _, towards, short_of_end, platform, room: _ } = &layout.stops[stop];
        said.push(format!("stop {name:?} {:?} {short_of_end:?} {platform:?}", layout.end_name(*towards)));
    }
    for detector in detector.iter().copied().chain(others_in(layout, id)) {
        said.push(detected(layout, &layout.detectors[detector]));
    }
    said
}

fn laid(layout: &Layout, turnout: &Turnout) -> String {
    let Turnout { name, reported, worked, throw_time, normal, limit, sections, link } = turnout;
    let sections: Vec<&str> = sections.iter().map(|&section| layout.sections[section].name.as_str()).collect();
    let link = link.map(|link| &layout.links[link].name);
    format!("{name:?} {reported} {worked} {throw_time:?} {normal:?} {limit:?} {sections:?} {link:?}")
}

/// The spot detectors and readers in a section.
fn others_in(layout: &Layout, section: SectionId) -> impl Iterator<Item = DetectorId> {
    let is_there = move |detector: &Detector| match detector.kind {
        DetectorKind::Spot { way, .. } => layout.ways[way].section == section,
        DetectorKind::Reader(other) => other == section,
        DetectorKind::Area(_) => false,
    };
    layout.detectors.iter().filter(move |(_, detector)| is_there(detector)).map(|(id, _)| id)
}

fn detected(layout: &Layout, detector: &Detector) -> String {
    let Detector { name, kind, on_delay, off_delay, bridge, sensing, link } = detector;
    let kind = match kind {
        DetectorKind::Area(_) => "area".to_owned(),
        DetectorKind::Reader(_) => "reader".to_owned(),
        DetectorKind::Spot { way, from_first_end } => {
            let place = layout.sections[layout.ways[*way].section].ways.iter().position(|other| other == way);
            format!("spot {place:?} {from_first_end:?}")
        }
    };
    let link = link.map(|link| &layout.links[link].name);
    format!("{name:?} {kind} {on_delay:?} {off_delay:?} {bridge:?} {sensing:?} {link:?}")
}

fn overlap(layout: &Layout, overlap: &Overlap) -> String {
    match overlap {
        Overlap::None => "none".to_owned(),
        Overlap::Length(length) => format!("{length:?}"),
        Overlap::Sections(sections) => {
            let names: Vec<&str> = sections.iter().map(|&section| layout.sections[section].name.as_str()).collect();
            format!("{names:?}")
        }
    }
}

/// How a signal is shown. Where it stands is said of its section.
fn shown(layout: &Layout, signal: &Signal) -> String {
    let Signal { name, at: _, book, is_permissive, is_approach_lit, is_controlled, overlap: _ } = signal;
    format!("{name:?} {:?} {is_permissive} {is_approach_lit} {is_controlled}", layout.books[*book])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Builder, Length, Scale};

    /// Sections in a row, each with what it is long.
    fn line(sections: &[(&str, i64)]) -> Layout {
        let mut builder = Builder::new("line", Scale::named("H0").unwrap());
        let ids: Vec<SectionId> =
            sections.iter().map(|&(name, mm)| builder.plain_section(name, Some(Length::from_mm(mm)))).collect();
        for pair in ids.windows(2) {
            let (b, a) = (builder.layout().sections[pair[0]].ends[1], builder.layout().sections[pair[1]].ends[0]);
            builder.join(b, a);
        }
        builder.train(Train::stranger("Heron"));
        builder.build()
    }

    fn touched(old: &Layout, new: &Layout) -> Vec<String> {
        let found = Renumbering::between(old, new, &[]);
        found.touched.iter().map(|&section| old.sections[section].name.clone()).collect()
    }

    #[test]
    fn the_same_track_keeps_its_numbers_and_is_touched_nowhere() {
        let old = line(&[("a", 900), ("b", 1000), ("c", 800)]);
        let found = Renumbering::between(&old, &old, &["visitor".to_owned()]);
        assert!(found.keeps_numbers && found.touched.is_empty() && found.trains_touched.is_empty());
        assert_eq!(found.trains.len(), 2);
    }

    #[test]
    fn track_beside_a_section_that_came_or_went_is_touched_and_track_beyond_is_not() {
        let old = line(&[("a", 900), ("b", 1000), ("c", 800)]);
        let longer = line(&[("a", 900), ("b", 1000), ("c", 800), ("d", 500)]);
        assert_eq!(touched(&old, &longer), ["c"]);
        assert_eq!(touched(&longer, &old), ["c", "d"]);
        assert_eq!(touched(&old, &line(&[("a", 900), ("b", 1200), ("c", 800)])), ["b"]);
    }

    #[test]
    fn things_are_known_again_by_their_names_in_whatever_order_they_come() {
        let old = line(&[("a", 900), ("b", 1000), ("c", 800)]);
        let turned = line(&[("z", 500), ("y", 500), ("a", 900), ("b", 1000), ("c", 800)]);
        let found = Renumbering::between(&old, &turned, &["visitor".to_owned()]);
        let b = old.section_named("b").unwrap();
        assert_eq!(found.sections[b], turned.section_named("b"));
        let way = old.sections[b].ways[0];
        assert_eq!(found.ways[way], Some(turned.sections[turned.section_named("b").unwrap()].ways[0]));
        assert!(!found.keeps_numbers);
        assert_eq!(found.touched, [old.section_named("a").unwrap()]);
    }
}
