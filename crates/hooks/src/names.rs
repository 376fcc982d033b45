//! Names that scripts use, and what is said of a name that nobody bears.

use std::collections::BTreeMap;
use std::sync::Arc;

use signaller::Destination;
use track::{Id, Layout, SectionId, StopId, TrainId};

/// Looks up names in a layout.
#[derive(Clone, Debug)]
pub(crate) struct Names {
    layout: Arc<Layout>,
    trains: BTreeMap<String, TrainId>,
    sections: BTreeMap<String, SectionId>,
    stops: BTreeMap<String, StopId>,
    /// Trains that the layout does not describe.
    strangers: BTreeMap<TrainId, String>,
}

impl Names {
    pub(crate) fn new(layout: Arc<Layout>) -> Self {
        Self {
            trains: layout.trains.iter().map(|(id, train)| (train.name.clone(), id)).collect(),
            sections: layout.sections.iter().map(|(id, section)| (section.name.clone(), id)).collect(),
            stops: layout.stops.iter().map(|(id, stop)| (stop.name.clone(), id)).collect(),
            strangers: BTreeMap::new(),
            layout,
        }
    }

    pub(crate) fn add_stranger(&mut self, train: TrainId, name: String) {
        self.trains.insert(name.clone(), train);
        self.strangers.insert(train, name);
    }

    pub(crate) fn train(&self, name: &str) -> Result<TrainId, String> {
        self.trains.get(name).copied().ok_or_else(|| unknown("train", name, self.trains.keys()))
    }

    pub(crate) fn section(&self, name: &str) -> Result<SectionId, String> {
        self.sections.get(name).copied().ok_or_else(|| unknown("section", name, self.sections.keys()))
    }

    /// The stopping point of that name, else the section of that name.
    pub(crate) fn place(&self, name: &str) -> Result<Destination, String> {
        let stop = self.stops.get(name).map(|&stop| Destination::Stop(stop));
        let section = || self.sections.get(name).map(|&section| Destination::Section(section));
        let everywhere = || self.stops.keys().chain(self.sections.keys());
        stop.or_else(section).ok_or_else(|| unknown("section or stopping point", name, everywhere()))
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

    /// The section that a place lies in.
    pub(crate) fn section_of(&self, place: Destination) -> SectionId {
        match place {
            Destination::Stop(stop) => self.layout.stops[stop].section,
            Destination::Section(section) => section,
        }
    }
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
    fn exchanged_neighbours_are_one_slip() {
        assert_eq!(slips("Heron", "Hreon"), 1);
        assert_eq!(slips("Heron", "heron"), 0);
        assert_eq!(slips("", "abc"), 3);
        assert_eq!(slips("Plover", "lover"), 1);
    }
}
