//! Hints of somebody who would rather have it drawn otherwise, and what is said of those that cannot be kept to.

use std::collections::{BTreeMap, BTreeSet};

use track::{EndId, Hint, Id, Layout, SectionId, WayId};

use super::columns::Columns;
use super::lanes::Lanes;
use super::order::NotAbove;
use super::sides::Side;

/// A hint that the drawing does not keep to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unheeded {
    /// Its place among the hints.
    pub hint: usize,
    /// Why not, in plain words.
    pub why: String,
    /// What would be right.
    pub instead: &'static str,
}

/// Hints by what they are about.
pub(super) struct Wanted {
    pub(super) left: Vec<EndId>,
    pub(super) above: Vec<(SectionId, SectionId)>,
    pub(super) backwards: Vec<WayId>,
}

impl Wanted {
    pub(super) fn of(layout: &Layout, hints: &[Hint]) -> Self {
        let mut wanted = Self { left: Vec::new(), above: Vec::new(), backwards: Vec::new() };
        for hint in hints {
            match *hint {
                Hint::Left(end) => wanted.left.push(end),
                Hint::Above { upper, lower } => wanted.above.push((upper, lower)),
                Hint::Backwards(section) => wanted.backwards.extend(layout.sections[section].ways.first()),
            }
        }
        wanted
    }
}

/// What is not as it was wished once everything is laid out.
pub(super) fn unheeded(
    layout: &Layout,
    hints: &[Hint],
    facing: &[Side],
    columns: &Columns,
    lanes: &Lanes,
) -> Vec<Unheeded> {
    let mut not_above = lanes.not_above.iter();
    let mut found = Vec::new();
    for (number, hint) in hints.iter().enumerate() {
        let said = match *hint {
            Hint::Left(end) => not_left(layout, end, facing[end.index()]),
            Hint::Above { upper, lower } => {
                not_above.next().copied().flatten().map(|why| in_words(layout, upper, lower, why))
            }
            Hint::Backwards(section) => {
                let ways = &layout.sections[section].ways;
                let is_drawn_so =
                    columns.returns.iter().flat_map(|found| &found.ways).any(|(way, ..)| ways.contains(way));
                (!is_drawn_so).then(|| not_backwards(layout, section))
            }
        };
        found.extend(said.map(|(why, instead)| Unheeded { hint: number, why, instead }));
    }
    found
}

/// The parts of the layout that are turned round, for the first end of each that is wanted on the left.
pub(super) fn mirrored(wanted: &[EndId], facing: &[Side], lanes: &Lanes) -> BTreeSet<usize> {
    let mut decided = BTreeMap::new();
    for end in wanted {
        decided.entry(lanes.part[end.index()]).or_insert(facing[end.index()]);
    }
    decided.into_iter().filter(|&(_, side)| side == Side::Right).map(|(part, _)| part).collect()
}

fn not_left(layout: &Layout, end: EndId, side: Side) -> Option<(String, &'static str)> {
    let name = layout.end_name(end);
    let why = format!("`{name}` comes to lie on the right if the ends named before it are on the left");
    (side == Side::Right).then_some((why, "one end is enough for all track that hangs together"))
}

fn in_words(layout: &Layout, upper: SectionId, lower: SectionId, why: NotAbove) -> (String, &'static str) {
    let [upper, lower] = [upper, lower].map(|section| &layout.sections[section].name);
    match why {
        NotAbove::Turns => (
            format!("`{upper}` or `{lower}` turns trains round, and is drawn in two rows"),
            "name sections through which trains run straight on",
        ),
        NotAbove::InOneRow => (
            format!("`{upper}` and `{lower}` are drawn in one row: the track runs straight from one to the other"),
            "name sections that lie beside each other",
        ),
        NotAbove::Apart => (
            format!("no track leads from `{upper}` to `{lower}`: each part is drawn by itself"),
            "name sections of one part",
        ),
        NotAbove::Contradicts => (
            format!("`{upper}` cannot be above `{lower}`: by what is written before, it is below"),
            "keep to one of the two",
        ),
    }
}

fn not_backwards(layout: &Layout, section: SectionId) -> (String, &'static str) {
    let name = &layout.sections[section].name;
    let why = format!("`{name}` is not drawn backwards: no ring would be open by that");
    (why, "name one section of each ring, one that every train that goes round it must pass")
}
