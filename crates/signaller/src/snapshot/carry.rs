//! The state of one signaller for another layout that was made of its own: everything goes by its new number.
//!
//! Both states are taken down as trees. Rows of tables go to their new places, and where there is no row for something its row of a
//! signaller that knows nothing yet is taken. What speaks of something that is gone is left out; where trains, and what is kept for
//! them, would be different by that, nothing is carried over at all.

use std::sync::Arc;

use track::{Id, Layout, Renumbering, SectionId, Table, TrainId, TurnoutId};

use super::kept::{Kept, Misread, Part, Reader, Writer};
use super::node::{Holds, Node};
use crate::Signaller;

/// What is worked out anew from the rest.
const ANEW: &[&str] = &["traffic", "supplies", "order_of_running", "doubtful", "shown_anew"];

/// Where nothing may be left out: what trains are, where they stand, and what is kept for them.
const IN_FULL: &[&str] = &["clusters", "trails", "memories", "shares", "runs", "set_routes", "roll_call", "granted_to"];

/// Something that is gone, and that the state speaks of: in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Gone(pub(crate) String);

impl Signaller {
    /// A signaller that goes on where this one is, on a layout whose things go by these numbers.
    pub(crate) fn carried(&self, layout: &Arc<Layout>, numbers: &Renumbering) -> Result<Self, Gone> {
        let cannot = || Gone("something".to_owned());
        let fresh = Self::new(Arc::clone(layout), self.conduct());
        let (old_tree, fresh_tree) = (Writer::tree_of(self), Writer::tree_of(&fresh));
        let carrier = Carrier { numbers, old: self.layout() };
        let bytes = carrier.carry(&old_tree.ok_or_else(cannot)?, &fresh_tree.ok_or_else(cannot)?)?;
        let mut carried = fresh;
        let mut reader = Reader::new(&bytes);
        carried.take_back(&mut reader).map_err(|Misread| cannot())?;
        debug_assert!(reader.is_at_the_end(), "more was carried over than there is");
        carried.share_roster();
        Ok(carried)
    }
}

/// Carries one state over.
struct Carrier<'a> {
    numbers: &'a Renumbering,
    old: &'a Layout,
}

impl Carrier<'_> {
    /// The state `old` by its new numbers; `fresh` is that of a signaller for the new layout that knows nothing yet.
    fn carry(&self, old: &Part, fresh: &Part) -> Result<Vec<u8>, Gone> {
        let mut writer = Writer::default();
        self.part("", old, fresh)?.write(&mut writer);
        Ok(writer.into_bytes())
    }

    fn part(&self, name: &str, old: &Part, fresh: &Part) -> Result<Part, Gone> {
        if ANEW.contains(&name) {
            return Ok(fresh.clone());
        }
        match (old, fresh) {
            (Part::Value(old), Part::Value(fresh)) => {
                let in_full = IN_FULL.contains(&name);
                match self.node(old, Some(fresh), in_full) {
                    Err(_) if !in_full => Ok(Part::Value(fresh.clone())),
                    carried => Ok(Part::Value(carried?)),
                }
            }
            (Part::Fields(old), Part::Fields(fresh)) => {
                let fields = old.iter().zip(fresh);
                let fields = fields.map(|((name, old), (_, fresh))| Ok((*name, self.part(name, old, fresh)?)));
                Ok(Part::Fields(fields.collect::<Result<_, Gone>>()?))
            }
            (Part::Rows(Some(table), old), Part::Rows(_, fresh)) => {
                let mut rows = fresh.clone();
                for (at, row) in old.iter().enumerate() {
                    if let Some(new) = self.place(table, at).filter(|_| self.is_as_it_was(table, at))
                        && let Some(place) = rows.get_mut(new)
                    {
                        *place = self.part("", row, place)?;
                    }
                }
                Ok(Part::Rows(Some(table), rows))
            }
            _ => Ok(fresh.clone()),
        }
    }

    fn node(&self, old: &Node, fresh: Option<&Node>, in_full: bool) -> Result<Node, Gone> {
        let all = |list: &[Node]| list.iter().map(|one| self.node(one, None, in_full)).collect::<Result<Vec<_>, _>>();
        Ok(match old {
            Node::Named(table, rows) if table.starts_with("table of ") => {
                let (Node::List(rows), fresh) = (&**rows, fresh.and_then(rows_of)) else { return Ok(old.clone()) };
                Node::Named(table, Box::new(Node::List(self.rows(table, rows, fresh, in_full)?)))
            }
            Node::Named(kind, number) => Node::Named(kind, Box::new(self.number(kind, number, in_full)?)),
            Node::Some(value) => Node::Some(Box::new(self.node(value, None, in_full)?)),
            Node::List(list) if in_full => Node::List(all(list)?),
            Node::List(list) => Node::List(list.iter().filter_map(|one| self.node(one, None, in_full).ok()).collect()),
            Node::Map(pairs) => {
                let pair = |(key, value): &(Node, Node)| {
                    Ok((self.node(key, None, in_full)?, self.node(value, None, in_full)?))
                };
                let pairs: Vec<Result<_, Gone>> = pairs.iter().map(pair).collect();
                match in_full {
                    true => Node::Map(pairs.into_iter().collect::<Result<_, _>>()?),
                    false => Node::Map(pairs.into_iter().flatten().collect()),
                }
            }
            Node::Fields(fields) => {
                let fresh = match fresh {
                    Some(Node::Fields(fresh)) if fresh.len() == fields.len() => Some(fresh),
                    _ => None,
                };
                let field = |(at, field)| self.node(field, fresh.map(|fresh| &fresh[at]), in_full);
                Node::Fields(fields.iter().enumerate().map(field).collect::<Result<_, _>>()?)
            }
            Node::Variant(place, Holds::One(value)) => {
                Node::Variant(*place, Holds::One(Box::new(self.node(value, None, in_full)?)))
            }
            Node::Variant(place, Holds::Fields(fields)) => Node::Variant(*place, Holds::Fields(all(fields)?)),
            leaf => leaf.clone(),
        })
    }

    /// The rows of a table at their new places.
    fn rows(&self, table: &str, old: &[Node], fresh: Option<&[Node]>, in_full: bool) -> Result<Vec<Node>, Gone> {
        let mut rows = fresh.unwrap_or_default().to_vec();
        for (at, row) in old.iter().enumerate() {
            let Some(new) = self.place(table, at) else { continue };
            while rows.len() <= new {
                rows.push(nothing_of(row));
            }
            match self.node(row, fresh.and_then(|fresh| fresh.get(new)), in_full) {
                Ok(row) if self.is_as_it_was(table, at) => rows[new] = row,
                Err(gone) if in_full => return Err(gone),
                _ => {}
            }
        }
        Ok(rows)
    }

    /// Whether a thing is described as it was. Of what is not, nothing is known yet.
    fn is_as_it_was(&self, table: &str, at: usize) -> bool {
        match table.trim_start_matches("table of ") {
            "SectionId" => !self.numbers.touched.contains(&SectionId::from_index(at)),
            "TurnoutId" => !self.numbers.turnouts_touched.contains(&TurnoutId::from_index(at)),
            "TrainId" => !self.numbers.trains_touched.contains(&TrainId::from_index(at)),
            _ => true,
        }
    }

    /// Where a row of a table goes; nothing where its thing is gone.
    fn place(&self, table: &str, at: usize) -> Option<usize> {
        fn place<I: Id>(numbers: &Table<I, Option<I>>, at: usize) -> Option<usize> {
            Some(numbers.get(I::from_index(at)).copied()??.index())
        }
        let numbers = self.numbers;
        match table.trim_start_matches("table of ") {
            "SectionId" => place(&numbers.sections, at),
            "EndId" => place(&numbers.ends, at),
            "WayId" => place(&numbers.ways, at),
            "TurnoutId" => place(&numbers.turnouts, at),
            "SignalId" => place(&numbers.signals, at),
            "StopId" => place(&numbers.stops, at),
            "DetectorId" => place(&numbers.detectors, at),
            "DistrictId" => place(&numbers.districts, at),
            "AccessoryId" => place(&numbers.accessories, at),
            "InputId" => place(&numbers.inputs, at),
            "LinkId" => place(&numbers.links, at),
            "TrainId" => place(&numbers.trains, at),
            _ => None,
        }
    }

    /// A number of this kind, as it is now.
    fn number(&self, kind: &str, number: &Node, in_full: bool) -> Result<Node, Gone> {
        match (kind, number) {
            // Ids are kept as one more than their place.
            (kind, Node::U32(number)) if kind.ends_with("Id") => {
                let at = *number as usize - 1;
                let new = self.place(kind, at).ok_or_else(|| Gone(self.name(kind, at)))?;
                Ok(Node::U32(new as u32 + 1))
            }
            ("Who", Node::U32(who)) => crate::identity::renumbered_who(*who, &|kind, at| self.place(kind, at))
                .map(Node::U32)
                .ok_or_else(|| Gone("a train".to_owned())),
            _ => self.node(number, None, in_full),
        }
    }

    fn name(&self, kind: &str, at: usize) -> String {
        let old = self.old;
        let name = match kind {
            "SectionId" => old.sections.values().nth(at).map(|it| it.name.clone()),
            "EndId" => old.ends.ids().nth(at).map(|end| old.end_name(end)),
            "WayId" => old.ways.values().nth(at).map(|way| old.sections[way.section].name.clone()),
            "TurnoutId" => old.turnouts.values().nth(at).map(|it| it.name.clone()),
            "SignalId" => old.signals.values().nth(at).map(|it| it.name.clone()),
            "StopId" => old.stops.values().nth(at).map(|it| it.name.clone()),
            "DetectorId" => old.detectors.values().nth(at).map(|it| it.name.clone()),
            "TrainId" => old.trains.values().nth(at).map(|it| it.name.clone()),
            _ => None,
        };
        name.unwrap_or_else(|| "something".to_owned())
    }
}

fn rows_of(table: &Node) -> Option<&[Node]> {
    match table {
        Node::Named(_, rows) => match &**rows {
            Node::List(rows) => Some(rows),
            _ => None,
        },
        _ => None,
    }
}

/// A row of the same kind that says nothing: of a table that has rows only as far as somebody asked for one.
fn nothing_of(row: &Node) -> Node {
    match row {
        Node::None | Node::Some(_) => Node::None,
        Node::Bool(_) => Node::Bool(false),
        Node::U32(_) => Node::U32(0),
        Node::U64(_) => Node::U64(0),
        Node::I64(_) => Node::I64(0),
        Node::List(_) => Node::List(Vec::new()),
        Node::Fields(fields) => Node::Fields(fields.iter().map(nothing_of).collect()),
        other => other.clone(),
    }
}
