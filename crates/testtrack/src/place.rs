//! Putting a train down: which passages it lies on, and how far along them.

use std::fmt;

use track::{EndId, Layout, Length, SectionId, Traverse};

use crate::ground::Ground;

/// How far short of the end ahead a train is put down where nothing says otherwise.
const SHORT_OF_END: Length = Length::from_mm(60);

/// Why a train cannot be put down.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PlaceError {
    /// The sections do not follow each other, or nothing leads to the end that the train shall point at.
    NoPath {
        /// The train's name.
        train: String,
        /// The sections' names.
        on: String,
    },
    /// It is longer, or shorter, than the sections it shall stand on.
    DoesNotFit {
        /// The train's name.
        train: String,
        /// The sections' names.
        on: String,
    },
}

impl fmt::Display for PlaceError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoPath { train, on } => write!(f, "no track leads through {on} for `{train}` to stand on"),
            Self::DoesNotFit { train, on } => {
                write!(f, "`{train}` does not fit on {on}, reaching from the first to the last")
            }
        }
    }
}

impl std::error::Error for PlaceError {}

/// Passages with their lengths, and where the front is along them.
pub(crate) struct Place {
    pub(crate) path: Vec<(Traverse, Length)>,
    pub(crate) front: Length,
}

/// Finds where a train of that length stands whose front is in the last section and whose rear is in the first: at a stopping
/// point that it points at; else close to the end ahead, or, on several sections, well across them.
pub(crate) fn place(
    ground: &Ground,
    train: &str,
    length: Length,
    on: &[SectionId],
    nose: Option<EndId>,
) -> Result<Place, PlaceError> {
    let layout = &ground.layout;
    let names = || on.iter().map(|&id| format!("`{}`", layout.sections[id].name)).collect::<Vec<_>>().join(", ");
    let paths = paths_through(layout, on, nose);
    if paths.is_empty() {
        return Err(PlaceError::NoPath { train: train.into(), on: names() });
    }
    let fitting = paths.into_iter().find_map(|path| fit(ground, path, length));
    fitting.ok_or_else(|| PlaceError::DoesNotFit { train: train.into(), on: names() })
}

fn fit(ground: &Ground, path: Vec<Traverse>, train: Length) -> Option<Place> {
    let path: Vec<_> = path.into_iter().map(|on| (on, ground.length(on.way))).collect();
    let total: Length = path.iter().map(|&(_, length)| length).sum();
    let (&(_, first), &(last, last_length)) = (path.first()?, path.last()?);
    let a_little = Length::from_um(1);
    let least = train.max(total - last_length + a_little);
    let most = total.min(train + first - a_little);
    if least > most {
        return None;
    }
    let layout = &ground.layout;
    let stops = layout.sections[last.section].stops.iter().map(|&stop| &layout.stops[stop]);
    let short = stops.filter(|stop| stop.towards == last.leave).map(|stop| stop.short_of_end).min();
    let at_stop = short.map(|short| total - short).filter(|front| (least..=most).contains(front));
    // Across joints, the middle of what is possible leaves the most of it on either side.
    let elsewhere = if path.len() == 1 { total - SHORT_OF_END } else { least + (most - least).scaled(1, 2) };
    let front = at_stop.unwrap_or(elsewhere).clamp(least, most);
    Some(Place { path, front })
}

/// Every row of passages through these sections in turn that leaves the last one towards `nose`.
fn paths_through(layout: &Layout, on: &[SectionId], nose: Option<EndId>) -> Vec<Vec<Traverse>> {
    let Some((&first, others)) = on.split_first() else { return Vec::new() };
    let starts = layout.sections[first].ends.iter();
    let mut paths: Vec<Vec<Traverse>> = starts.flat_map(|&end| passages(layout, end)).map(|on| vec![on]).collect();
    for &section in others {
        let mut longer = Vec::new();
        for path in paths {
            let Some(last) = path.last() else { continue };
            let next = layout.ends[last.leave].meets.iter().filter(|&&end| layout.ends[end].section == section);
            for on in next.flat_map(|&end| passages(layout, end)) {
                longer.push(path.iter().copied().chain([on]).collect());
            }
        }
        paths = longer;
    }
    paths.retain(|path| nose.is_none() || path.last().map(|on| on.leave) == nose);
    paths
}

fn passages(layout: &Layout, enter: EndId) -> impl Iterator<Item = Traverse> + '_ {
    let section = layout.ends[enter].section;
    layout.ways_from(enter).map(move |(way, leave)| Traverse { section, enter, way, leave })
}
