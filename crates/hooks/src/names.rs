//! Names that scripts use, and what is said of a name that nobody bears.

use std::collections::BTreeMap;
use std::sync::Arc;

use signaller::Destination;
use track::routes::{Exit, Routes};
use track::{
    AccessoryId, Aspect, DetectorId, DetectorKind, DistrictId, Id, InputId, Layout, Length, LinkId, SectionId,
    SignalId, StopId, TrainId, TurnoutId,
};

use crate::vocabulary::Kind;

/// Ids by the names that bear them.
type Ids<I> = BTreeMap<String, I>;

/// Looks up names in a layout.
#[derive(Clone, Debug)]
pub(crate) struct Names {
    layout: Arc<Layout>,
    trains: Ids<TrainId>,
    sections: Ids<SectionId>,
    stops: Ids<StopId>,
    signals: Ids<SignalId>,
    turnouts: Ids<TurnoutId>,
    detectors: Ids<DetectorId>,
    districts: Ids<DistrictId>,
    accessories: Ids<AccessoryId>,
    inputs: Ids<InputId>,
    links: Ids<LinkId>,
    /// Routes, reckoned when one is named.
    routes: Arc<Routes>,
    /// Trains that the layout does not describe.
    strangers: BTreeMap<TrainId, String>,
}

impl Names {
    pub(crate) fn new(layout: Arc<Layout>) -> Self {
        Self {
            trains: layout.trains.iter().map(|(id, train)| (train.name.clone(), id)).collect(),
            sections: layout.sections.iter().map(|(id, section)| (section.name.clone(), id)).collect(),
            stops: layout.stops.iter().map(|(id, stop)| (stop.name.clone(), id)).collect(),
            signals: layout.signals.iter().map(|(id, signal)| (signal.name.clone(), id)).collect(),
            turnouts: layout.turnouts.iter().map(|(id, turnout)| (turnout.name.clone(), id)).collect(),
            detectors: layout.detectors.iter().map(|(id, detector)| (detector.name.clone(), id)).collect(),
            districts: layout.districts.iter().map(|(id, district)| (district.name.clone(), id)).collect(),
            accessories: layout.accessories.iter().map(|(id, accessory)| (accessory.name.clone(), id)).collect(),
            inputs: layout.inputs.iter().map(|(id, input)| (input.name.clone(), id)).collect(),
            links: layout.links.iter().map(|(id, link)| (link.name.clone(), id)).collect(),
            routes: Arc::new(Routes::new(Arc::clone(&layout))),
            strangers: BTreeMap::new(),
            layout,
        }
    }

    pub(crate) fn add_stranger(&mut self, train: TrainId, name: String) {
        self.trains.insert(name.clone(), train);
        self.strangers.insert(train, name);
    }

    pub(crate) fn train(&self, name: &str) -> Result<TrainId, String> {
        one(Kind::Train, name, &self.trains)
    }

    pub(crate) fn section(&self, name: &str) -> Result<SectionId, String> {
        one(Kind::Section, name, &self.sections)
    }

    pub(crate) fn signal(&self, name: &str) -> Result<SignalId, String> {
        one(Kind::Signal, name, &self.signals)
    }

    pub(crate) fn turnout(&self, name: &str) -> Result<TurnoutId, String> {
        one(Kind::Turnout, name, &self.turnouts)
    }

    pub(crate) fn district(&self, name: &str) -> Result<DistrictId, String> {
        one(Kind::District, name, &self.districts)
    }

    pub(crate) fn accessory(&self, name: &str) -> Result<AccessoryId, String> {
        one(Kind::Accessory, name, &self.accessories)
    }

    pub(crate) fn input(&self, name: &str) -> Result<InputId, String> {
        one(Kind::Input, name, &self.inputs)
    }

    /// The stopping point of that name, else the section of that name.
    pub(crate) fn place(&self, name: &str) -> Result<Destination, String> {
        let stop = self.stops.get(name).map(|&stop| Destination::Stop(stop));
        let section = || self.sections.get(name).map(|&section| Destination::Section(section));
        stop.or_else(section).ok_or_else(|| self.no_place(name))
    }

    fn no_place(&self, name: &str) -> String {
        unknown(Kind::Place.word(), name, self.stops.keys().chain(self.sections.keys()))
    }

    /// The route of that name: the signal it begins at, where it ends, and the sections it passes.
    pub(crate) fn route(&self, name: &str) -> Result<(SignalId, Exit, Vec<SectionId>), String> {
        if let Some(id) = self.routes.named(name) {
            let route = self.routes.route(id);
            return Ok((route.entry, route.exit, route.sections().collect()));
        }
        let from = self.signals.iter().filter(|(signal, _)| name.starts_with(signal.as_str()));
        let known: Vec<String> = from
            .flat_map(|(_, &signal)| self.routes.from_signal(signal))
            .map(|id| self.routes.route(id).name.clone())
            .collect();
        Err(unknown(Kind::Route.word(), name, known.iter()))
    }

    pub(crate) fn trains(&self, pattern: &str) -> Result<Vec<TrainId>, String> {
        many(Kind::Train, pattern, &self.trains)
    }

    pub(crate) fn sections(&self, pattern: &str) -> Result<Vec<SectionId>, String> {
        many(Kind::Section, pattern, &self.sections)
    }

    pub(crate) fn signals(&self, pattern: &str) -> Result<Vec<SignalId>, String> {
        many(Kind::Signal, pattern, &self.signals)
    }

    pub(crate) fn turnouts(&self, pattern: &str) -> Result<Vec<TurnoutId>, String> {
        many(Kind::Turnout, pattern, &self.turnouts)
    }

    pub(crate) fn detectors(&self, pattern: &str) -> Result<Vec<DetectorId>, String> {
        many(Kind::Detector, pattern, &self.detectors)
    }

    pub(crate) fn districts(&self, pattern: &str) -> Result<Vec<DistrictId>, String> {
        many(Kind::District, pattern, &self.districts)
    }

    pub(crate) fn inputs(&self, pattern: &str) -> Result<Vec<InputId>, String> {
        many(Kind::Input, pattern, &self.inputs)
    }

    pub(crate) fn links(&self, pattern: &str) -> Result<Vec<LinkId>, String> {
        many(Kind::Link, pattern, &self.links)
    }

    /// The place of that name, or all that fit a pattern: stopping points if it has a point in it, else sections.
    pub(crate) fn places(&self, pattern: &str) -> Result<Vec<Destination>, String> {
        if !is_pattern(pattern) {
            return Ok(vec![self.place(pattern)?]);
        }
        Ok(if pattern.contains('.') {
            many(Kind::Place, pattern, &self.stops)?.into_iter().map(Destination::Stop).collect()
        } else {
            self.sections(pattern)?.into_iter().map(Destination::Section).collect()
        })
    }

    /// All names of a kind that fit a pattern, in the order of the layout.
    pub(crate) fn all(&self, kind: Kind, pattern: &str) -> Result<Vec<String>, String> {
        Ok(match kind {
            Kind::Train => self.trains(pattern)?.into_iter().map(|id| self.of_train(id)).collect(),
            Kind::Section => texts(self.sections(pattern)?, |id| self.of_section(id)),
            Kind::Place => texts(self.places(pattern)?, |place| self.of_place(place)),
            Kind::Signal => texts(self.signals(pattern)?, |id| self.of_signal(id)),
            Kind::Turnout => texts(self.turnouts(pattern)?, |id| self.of_turnout(id)),
            Kind::Detector => texts(self.detectors(pattern)?, |id| self.of_detector(id)),
            Kind::District => texts(self.districts(pattern)?, |id| self.of_district(id)),
            Kind::Accessory => texts(many(Kind::Accessory, pattern, &self.accessories)?, |id| {
                self.layout.accessories[id].name.as_str()
            }),
            Kind::Input => texts(self.inputs(pattern)?, |id| self.of_input(id)),
            Kind::Link => texts(self.links(pattern)?, |id| self.of_link(id)),
            Kind::Route => vec![self.route(pattern).map(|_| pattern.to_owned())?],
            Kind::Event => Vec::new(),
        })
    }

    /// How long the train or section of that name is, a section on its longest way; nothing where that is not known.
    pub(crate) fn length(&self, name: &str) -> Result<Option<Length>, String> {
        if let Some(&train) = self.trains.get(name) {
            return Ok(self.layout.trains.get(train).and_then(track::Train::length));
        }
        let everybody = || self.trains.keys().chain(self.sections.keys());
        let section = self.sections.get(name).ok_or_else(|| unknown("train or section", name, everybody()))?;
        let ways = self.layout.sections[*section].ways.iter().map(|&way| self.layout.ways[way].length);
        Ok(ways.collect::<Option<Vec<Length>>>().and_then(|lengths| lengths.into_iter().max()))
    }

    pub(crate) fn of_train(&self, train: TrainId) -> String {
        let stranger = || self.strangers.get(&train).cloned();
        let described = self.layout.trains.get(train).map(|train| train.name.clone());
        described.or_else(stranger).unwrap_or_else(|| format!("train {}", train.index() + 1))
    }

    pub(crate) fn of_section(&self, section: SectionId) -> &str {
        &self.layout.sections[section].name
    }

    pub(crate) fn of_place(&self, place: Destination) -> &str {
        match place {
            Destination::Stop(stop) => &self.layout.stops[stop].name,
            Destination::Section(section) => self.of_section(section),
        }
    }

    pub(crate) fn of_signal(&self, signal: SignalId) -> &str {
        &self.layout.signals[signal].name
    }

    pub(crate) fn of_aspect(&self, signal: SignalId, aspect: Aspect) -> &str {
        self.layout.book_of(signal).name(aspect).unwrap_or_default()
    }

    pub(crate) fn of_turnout(&self, turnout: TurnoutId) -> &str {
        &self.layout.turnouts[turnout].name
    }

    pub(crate) fn of_detector(&self, detector: DetectorId) -> &str {
        &self.layout.detectors[detector].name
    }

    pub(crate) fn of_district(&self, district: DistrictId) -> &str {
        &self.layout.districts[district].name
    }

    pub(crate) fn of_input(&self, input: InputId) -> &str {
        &self.layout.inputs[input].name
    }

    pub(crate) fn of_link(&self, link: LinkId) -> &str {
        &self.layout.links[link].name
    }

    pub(crate) fn of_exit(&self, exit: Exit) -> String {
        exit.name(&self.layout)
    }

    /// The section that a place lies in.
    pub(crate) fn section_of(&self, place: Destination) -> SectionId {
        match place {
            Destination::Stop(stop) => self.layout.stops[stop].section,
            Destination::Section(section) => section,
        }
    }

    /// The section that a detector watches.
    pub(crate) fn watched_by(&self, detector: DetectorId) -> SectionId {
        match self.layout.detectors[detector].kind {
            DetectorKind::Area(section) | DetectorKind::Reader(section) => section,
            DetectorKind::Spot { way, .. } => self.layout.ways[way].section,
        }
    }
}

fn texts<'a, I>(ids: Vec<I>, name: impl Fn(I) -> &'a str) -> Vec<String> {
    ids.into_iter().map(|id| name(id).to_owned()).collect()
}

fn one<I: Copy>(kind: Kind, name: &str, ids: &Ids<I>) -> Result<I, String> {
    ids.get(name).copied().ok_or_else(|| unknown(kind.word(), name, ids.keys()))
}

/// The one of that name, or all that fit a pattern, in the order of the layout.
fn many<I: Copy + Ord>(kind: Kind, pattern: &str, ids: &Ids<I>) -> Result<Vec<I>, String> {
    if !is_pattern(pattern) {
        return Ok(vec![one(kind, pattern, ids)?]);
    }
    let mut found: Vec<I> = ids.iter().filter(|(name, _)| fits(pattern, name)).map(|(_, &id)| id).collect();
    found.sort_unstable();
    let shown: String = pattern.chars().take(LONGEST_NAME).collect();
    if found.is_empty() { Err(format!("no {} fits `{shown}`", kind.word())) } else { Ok(found) }
}

/// Whether that is a pattern, and no name.
pub(crate) fn is_pattern(written: &str) -> bool {
    written.contains(['*', '?'])
}

/// Whether a name fits a pattern, in which `*` stands for any letters, or none, and `?` for one.
pub(crate) fn fits(pattern: &str, name: &str) -> bool {
    let (pattern, name): (Vec<char>, Vec<char>) = (pattern.chars().collect(), name.chars().collect());
    let (mut at, mut read) = (0, 0);
    // After which star, and how far in the name it reaches so far.
    let mut star: Option<(usize, usize)> = None;
    while read < name.len() {
        match (pattern.get(at), star) {
            (Some('*'), _) => {
                star = Some((at + 1, read));
                at += 1;
            }
            (Some(&letter), _) if letter == '?' || letter == name[read] => {
                at += 1;
                read += 1;
            }
            // It reaches one letter farther than thought.
            (_, Some((after, reaches))) => {
                star = Some((after, reaches + 1));
                (at, read) = (after, reaches + 1);
            }
            (_, None) => return false,
        }
    }
    pattern[at..].iter().all(|letter| *letter == '*')
}

/// More letters of a name that nobody bears are not shown, and not compared.
const LONGEST_NAME: usize = 60;

/// Says that nothing is called so, and what is nearly.
pub(crate) fn unknown<'a, N>(what: &str, name: &str, candidates: impl Iterator<Item = &'a N>) -> String
where
    N: AsRef<str> + ?Sized + 'a,
{
    let name = &name.chars().take(LONGEST_NAME).collect::<String>();
    let candidates = candidates.map(AsRef::as_ref);
    match nearest(name, candidates) {
        Some(near) => format!("no {what} `{name}`; hint: did you mean `{near}`?"),
        None => format!("no {what} `{name}`"),
    }
}

/// The candidate that takes the fewest slips of the hand to become `name`, where that is few enough to be a slip.
fn nearest<'a>(name: &str, candidates: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let allowed = (name.chars().count() / 3).max(1);
    candidates
        .map(|candidate| ((slips(name, candidate), spread(name, candidate)), candidate))
        .filter(|&((slips, _), _)| slips <= allowed)
        .min_by_key(|&(distance, _)| distance)
        .map(|(_, candidate)| candidate)
}

/// How far apart letters in the same place are, so that `quay-3` is nearer to `quay-2` than to `quay-1`.
fn spread(a: &str, b: &str) -> u32 {
    a.chars().zip(b.chars()).map(|(a, b)| u32::from(a).abs_diff(u32::from(b))).sum()
}

/// Letters added, left out, mistaken or exchanged with their neighbour; upper and lower case are the same.
fn slips(a: &str, b: &str) -> usize {
    let letters = |text: &str| text.to_lowercase().chars().collect::<Vec<_>>();
    let (a, b) = (letters(a), letters(b));
    let mut rows: Vec<Vec<usize>> = vec![(0..=b.len()).collect()];
    for i in 1..=a.len() {
        let mut row = vec![i];
        for j in 1..=b.len() {
            let mistaken = rows[i - 1][j - 1] + usize::from(a[i - 1] != b[j - 1]);
            let mut fewest = mistaken.min(rows[i - 1][j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                fewest = fewest.min(rows[i - 2][j - 2] + 1);
            }
            row.push(fewest);
        }
        rows.push(row);
    }
    rows[a.len()][b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_hand_is_told_from_another_name() {
        let candidates = ["quay-1", "quay-2", "main-1"];
        let near = |name| nearest(name, candidates.into_iter());
        assert_eq!(near("quay-3"), Some("quay-2"));
        assert_eq!(near("Quay-2"), Some("quay-2"));
        assert_eq!(near("qauy2"), None, "three slips in five letters");
        assert_eq!(near("mian-1"), Some("main-1"));
        assert_eq!(near("hill"), None);
    }

    #[test]
    fn a_pattern_picks_tracks_by_their_names() {
        for (pattern, name) in [
            ("yard-*", "yard-1"),
            ("*", ""),
            ("*-1", "yard-1"),
            ("y*d-*1", "yard-11"),
            ("yard-?", "yard-1"),
            ("*-?", "yard-1"),
            ("quay-1", "quay-1"),
        ] {
            assert!(fits(pattern, name), "{pattern} {name}");
        }
        for (pattern, name) in [
            ("yard-*", "quay-1"),
            ("*-1", "yard-12"),
            ("ya*ar*", "yar"),
            ("quay-1", "quay-12"),
            ("a*a", "a"),
            ("yard-?", "yard-east"),
            ("?", ""),
        ] {
            assert!(!fits(pattern, name), "{pattern} {name}");
        }
    }

    #[test]
    fn exchanged_neighbours_are_one_slip() {
        assert_eq!(slips("Heron", "Hreon"), 1);
        assert_eq!(slips("Heron", "heron"), 0);
        assert_eq!(slips("", "abc"), 3);
        assert_eq!(slips("Plover", "lover"), 1);
    }
}
