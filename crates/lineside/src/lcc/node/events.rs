//! Which events and nodes mean what.

use std::collections::BTreeMap;
use std::sync::Arc;

use track::wiring::{At, LccAt, Mark, Thing, WiredLink};
use track::{Address, DetectorId, Facing, Layout, SignalId, TrainId};

use crate::lcc::{EventId, NodeId, facings};
use crate::reading::Trains;

/// One that drives a train, or a part of it.
#[derive(Clone, Debug)]
pub(super) struct Engine {
    /// Its node, once that is known.
    pub(super) node: Option<NodeId>,
    /// How what it drives stands in the train.
    pub(super) facing: Facing,
    /// The event by which its node is found, where it has to be.
    pub(super) search: Option<EventId>,
}

/// Which events and nodes mean what.
#[derive(Debug)]
pub struct Events {
    pub(super) layout: Arc<Layout>,
    pub(super) hears: BTreeMap<EventId, (Thing, String, Mark)>,
    pub(super) marks: BTreeMap<(Thing, Mark), EventId>,
    pub(super) aspects: BTreeMap<SignalId, Vec<(String, EventId)>>,
    readers: BTreeMap<NodeId, (DetectorId, String)>,
    /// Who drives each train.
    pub(super) trains: BTreeMap<TrainId, Vec<Engine>>,
    addresses: Trains,
}

impl Events {
    /// Those of a link.
    pub fn new(layout: Arc<Layout>, wired: &WiredLink) -> Self {
        let mut events = Self {
            addresses: Trains::new(&layout),
            layout,
            hears: BTreeMap::new(),
            marks: BTreeMap::new(),
            aspects: BTreeMap::new(),
            readers: BTreeMap::new(),
            trains: BTreeMap::new(),
        };
        for carried in &wired.carries {
            let (thing, name) = (carried.thing, carried.name.clone());
            match (&carried.at, thing) {
                (At::Lcc(LccAt::Marks { hears, tells }), _) => {
                    events.hears.extend(hears.iter().map(|&(mark, event)| (event, (thing, name.clone(), mark))));
                    events.marks.extend(tells.iter().map(|&(mark, event)| ((thing, mark), event)));
                }
                (At::Lcc(LccAt::Aspects(aspects)), Thing::Signal(signal)) => {
                    events.aspects.insert(signal, aspects.clone());
                }
                (At::Lcc(LccAt::Train(nodes)), Thing::Train(train)) => {
                    let facings = facings(&events.layout, train, nodes.len()).into_iter().zip(nodes);
                    let engines = facings.map(|(facing, &node)| Engine { node: Some(node), facing, search: None });
                    events.trains.insert(train, engines.collect());
                }
                (At::Lcc(LccAt::Searched(searches)), Thing::Train(train)) => {
                    let facings = facings(&events.layout, train, searches.len()).into_iter().zip(searches);
                    let engines = facings.map(|(facing, &search)| Engine { node: None, facing, search: Some(search) });
                    events.trains.insert(train, engines.collect());
                }
                (At::Lcc(LccAt::Reader(node)), Thing::Reader(detector)) => {
                    events.readers.insert(*node, (detector, name));
                }
                _ => {}
            }
        }
        events
    }

    /// Everything that we may tell.
    pub(super) fn told(&self) -> impl Iterator<Item = EventId> + '_ {
        self.marks.values().copied().chain(self.aspects.values().flatten().map(|(_, event)| *event))
    }

    /// What a reader's event says, by the draft of a working note on detection: who entered, or that somebody left.
    pub(super) fn reading(&self, event: EventId) -> Option<(DetectorId, &str, Option<TrainId>)> {
        let (detector, name) = self.readers.get(&(event >> 16))?;
        let (enters, address) = (event >> 14 & 0b11 != 0, (event & 0x3FFF) as u16);
        let address = match address {
            0x3800 => None,
            0x3801..=0x38FF => Address::short(u64::from(address & 0xFF)),
            0x3900..=0x39FF => None,
            long => Address::long(u64::from(long)),
        };
        let train = address.filter(|_| enters).and_then(|address| self.addresses.at(address));
        Some((*detector, name, train))
    }
}

/// Whether an event is in a range, which is given by an event whose lowest bits are all equal (Event Transport, section 4).
pub(super) fn is_in_range(event: EventId, range: EventId) -> bool {
    let mask = if range & 1 == 1 { range.trailing_ones() } else { range.trailing_zeros() };
    let mask = 1u64.checked_shl(mask).map_or(u64::MAX, |bit| bit - 1);
    event & !mask == range & !mask
}
