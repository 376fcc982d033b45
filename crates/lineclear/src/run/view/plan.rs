//! Where each section is drawn: rows and columns that fit the width there is.
//!
//! The first strand is folded into rows like text, between sections that nothing else runs beside. A strand that begins or
//! ends at a section of such a row hangs below it: a loop between its throats, a second quay beside the first.

use std::collections::BTreeMap;
use std::ops::Range;

use track::{EndId, Layout, SectionId};

use super::strand::{Piece, strands};

/// A section on the screen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Place {
    /// The section and its ends.
    pub(super) piece: Piece,
    /// The line of its track. Its name stands one line above.
    pub(super) line: usize,
    /// Its columns.
    pub(super) columns: Range<usize>,
}

/// Track that leads from one row down to another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Bend {
    /// The column.
    pub(super) column: usize,
    /// The line it leaves.
    pub(super) from_line: usize,
    /// The line it leads to.
    pub(super) to_line: usize,
    /// Which way the lower track goes on.
    pub(super) towards: Side,
}

/// A side of a section as it is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Side {
    /// Left.
    Left,
    /// Right.
    Right,
}

/// The whole picture of the track.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Plan {
    /// Every section.
    pub(super) places: Vec<Place>,
    /// Where hanging strands branch off.
    pub(super) bends: Vec<Bend>,
    /// Rows that go on in the next one, by line of their track.
    pub(super) folds: Vec<usize>,
    /// How many lines there are.
    pub(super) height: usize,
}

/// Columns kept free on either side for the marks of folds.
const MARGIN: usize = 2;
/// Each row has its names and its track.
const ROW: usize = 2;

/// Plans the picture.
pub(super) fn plan(layout: &Layout, width: usize) -> Plan {
    let strands = strands(layout);
    let mut planner = Planner { layout, width: width.max(24), cell: cell_width(layout), plan: Plan::default() };
    let mut waiting: Vec<&[Piece]> = strands.iter().map(Vec::as_slice).collect();
    while !waiting.is_empty() {
        let main = waiting.remove(0);
        for row in planner.fold(main, &waiting) {
            let is_last = row.end == main.len();
            let line = planner.plan.height + 1;
            planner.lay(&main[row], line, MARGIN..planner.width - MARGIN);
            if !is_last {
                planner.plan.folds.push(line);
            }
            let below = planner.hang(&mut waiting, line);
            planner.plan.height = below;
        }
    }
    planner.plan
}

/// How wide a section should be at least: its train, an arrow and a signal at either end must fit.
fn cell_width(layout: &Layout) -> usize {
    let longest = layout.trains.values().map(|train| train.name.chars().count()).max().unwrap_or(0);
    (longest + 4).clamp(9, 14)
}

struct Planner<'a> {
    layout: &'a Layout,
    width: usize,
    cell: usize,
    plan: Plan,
}

impl Planner<'_> {
    /// Cuts a strand into rows. Where there is a choice, not beside a strand that will hang there.
    fn fold(&self, main: &[Piece], others: &[&[Piece]]) -> Vec<Range<usize>> {
        let capacity = ((self.width - 2 * MARGIN) / self.cell).max(1);
        let place: BTreeMap<SectionId, usize> =
            main.iter().enumerate().map(|(place, piece)| (piece.section, place)).collect();
        let spans: Vec<(usize, usize)> = others
            .iter()
            .filter_map(|strand| {
                let (left, right) = (self.beyond(strand, Side::Left)?, self.beyond(strand, Side::Right)?);
                let (one, other) = (*place.get(&self.section(left))?, *place.get(&self.section(right))?);
                Some((one.min(other), one.max(other)))
            })
            .collect();
        let cost = |cut: usize| spans.iter().filter(|&&(from, to)| from < cut && cut <= to).count();
        let mut rows = Vec::new();
        let mut from = 0;
        while from < main.len() {
            let furthest = from + capacity;
            let to = if furthest >= main.len() {
                main.len()
            } else {
                let candidates = from + capacity.div_ceil(2)..=furthest;
                candidates.rev().min_by_key(|&cut| cost(cut)).unwrap_or(furthest)
            };
            rows.push(from..to);
            from = to;
        }
        rows
    }

    /// Lays pieces side by side. Sections with several ways need no name of a halt, and get less.
    fn lay(&mut self, pieces: &[Piece], line: usize, columns: Range<usize>) {
        let weight = |piece: &Piece| if self.layout.sections[piece.section].ways.len() > 1 { 4 } else { 6 };
        let total: usize = pieces.iter().map(weight).sum();
        let mut before = 0;
        let places: Vec<Place> = pieces
            .iter()
            .map(|piece| {
                let from = columns.start + columns.len() * before / total;
                before += weight(piece);
                let to = columns.start + columns.len() * before / total;
                Place { piece: *piece, line, columns: from..to }
            })
            .collect();
        self.plan.places.extend(places);
    }

    /// Hangs every waiting strand that can hang below the row whose track is on `line`, and tells the first line below all.
    fn hang(&mut self, waiting: &mut Vec<&[Piece]>, line: usize) -> usize {
        let mut levels: Vec<Vec<Range<usize>>> = Vec::new();
        waiting.retain(|strand| {
            let Some(hanging) = self.hanging(strand, line) else { return true };
            let is_free = |level: &Vec<Range<usize>>| level.iter().all(|taken| !overlap(taken, &hanging.reach));
            let level = levels.iter().position(is_free).unwrap_or_else(|| {
                levels.push(Vec::new());
                levels.len() - 1
            });
            levels[level].push(hanging.reach.clone());
            let to_line = line + ROW * (level + 1);
            self.lay(&hanging.pieces, to_line, hanging.columns);
            for (column, towards) in hanging.bends {
                self.plan.bends.push(Bend { column, from_line: line, to_line, towards });
            }
            false
        });
        line + 1 + ROW * levels.len()
    }

    /// How a strand hangs below a row, if it does and there is room.
    fn hanging(&self, strand: &[Piece], line: usize) -> Option<Hanging> {
        let place_of = |end: Option<EndId>| {
            let section = self.section(end?);
            self.plan.places.iter().find(|place| place.line == line && place.piece.section == section)
        };
        let (left, right) = (self.beyond(strand, Side::Left), self.beyond(strand, Side::Right));
        let mut pieces = strand.to_vec();
        let (columns, bends) = match (place_of(left), place_of(right)) {
            (Some(one), Some(other)) if one.piece.section != other.piece.section => {
                let (first, last) = if one.columns.start < other.columns.start { (one, other) } else { (other, one) };
                if first.piece.section != one.piece.section {
                    turn(&mut pieces);
                }
                let columns = first.columns.end..last.columns.start;
                (columns, vec![(first.columns.end - 1, Side::Right), (last.columns.start, Side::Left)])
            }
            (Some(_), Some(_)) | (None, None) => return None,
            (Some(place), None) => self.beside(&mut pieces, place, left?, Side::Left),
            (None, Some(place)) => self.beside(&mut pieces, place, right?, Side::Right),
        };
        if columns.len() < pieces.len() * self.cell.min(9) {
            return None;
        }
        let reach = bends
            .iter()
            .fold(columns.clone(), |reach, &(column, _)| reach.start.min(column)..reach.end.max(column + 1));
        Some(Hanging { pieces, columns, bends, reach })
    }

    /// A strand of which one end, on its side `at`, meets `met` of a section that is drawn at `place`.
    fn beside(&self, pieces: &mut [Piece], place: &Place, met: EndId, at: Side) -> (Range<usize>, Vec<(usize, Side)>) {
        let is_left = place.piece.left == met
            || place.piece.right.is_some_and(|right| right != met && self.layout.way_between(met, right).is_some());
        let wanted = pieces.len() * self.cell.max(place.columns.len());
        let lies = if is_left { Side::Left } else { Side::Right };
        if lies == at {
            turn(pieces);
        }
        if is_left {
            let to = place.columns.start;
            (to.saturating_sub(wanted).max(MARGIN.min(to))..to, vec![(to, Side::Left)])
        } else {
            let from = place.columns.end;
            (from..(from + wanted).min(self.width - MARGIN).max(from), vec![(from - 1, Side::Right)])
        }
    }

    /// The end that the strand meets on one of its sides.
    fn beyond(&self, strand: &[Piece], side: Side) -> Option<EndId> {
        let end = match side {
            Side::Left => strand.first()?.left,
            Side::Right => strand.last()?.right?,
        };
        self.layout.ends[end].meets.first().copied()
    }

    fn section(&self, end: EndId) -> SectionId {
        self.layout.ends[end].section
    }
}

struct Hanging {
    pieces: Vec<Piece>,
    columns: Range<usize>,
    bends: Vec<(usize, Side)>,
    /// All columns that are taken, bends included.
    reach: Range<usize>,
}

fn turn(pieces: &mut [Piece]) {
    pieces.reverse();
    for piece in pieces {
        *piece = piece.turned();
    }
}

fn overlap(one: &Range<usize>, other: &Range<usize>) -> bool {
    one.start < other.end && other.start < one.end
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    fn low_staithe() -> Layout {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-layout");
        crate::folder::load(&folder).unwrap().layout
    }

    #[test]
    fn every_section_is_drawn_once_in_whatever_width_there_is() {
        let layout = low_staithe();
        for width in 24..250 {
            let plan = plan(&layout, width);
            let mut drawn: Vec<SectionId> = plan.places.iter().map(|place| place.piece.section).collect();
            drawn.sort();
            assert_eq!(drawn, layout.sections.ids().collect::<Vec<_>>(), "at {width} columns");
            for (index, place) in plan.places.iter().enumerate() {
                assert!(place.columns.end <= width && !place.columns.is_empty(), "{place:?} at {width} columns");
                assert!(place.line < plan.height, "{place:?} at {width} columns");
                let others = &plan.places[index + 1..];
                assert!(
                    !others.iter().any(|other| other.line == place.line && overlap(&other.columns, &place.columns)),
                    "{place:?} is drawn over at {width} columns"
                );
            }
        }
    }

    #[test]
    fn the_loop_and_the_yard_hang_between_their_throats() {
        let layout = low_staithe();
        let plan = plan(&layout, 100);
        let place = |name: &str| {
            let section = layout.section_named(name).unwrap();
            plan.places.iter().find(|place| place.piece.section == section).unwrap()
        };
        assert_eq!(place("loop-1").columns, place("loop-2").columns);
        assert_ne!(place("loop-1").line, place("loop-2").line);
        for name in ["yard-1", "yard-2", "yard-3", "yard-4", "yard-5"] {
            assert_eq!(place(name).columns, place("yard-1").columns, "{name}");
        }
        assert_eq!(place("quay-1").columns.end, place("quay-2").columns.end);
    }
}
