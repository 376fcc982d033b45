//! What a person at the table can see: how far the track ahead of a train is free, and where something fits.

use signaller::Direction;
use smallvec::SmallVec;
use track::{EndId, Id, Length, SectionId, TrainId, WayId};

use crate::place::{Place, place};
use crate::random::Stream;
use crate::table::Table;

/// How many sections a train may lie across where a person puts it down.
const SECTIONS_MOST: usize = 4;

/// How often a person looks for another place before giving up.
const LOOKS: usize = 24;

impl Table {
    /// How far a tip of the train can move before it meets another body, the end of the track, a turnout that lies wrong or a
    /// section that it may not enter, in micrometres; `up_to` where that is further.
    pub(crate) fn clear_ahead(
        &self,
        train: TrainId,
        leading: Direction,
        up_to: i64,
        may_enter: &dyn Fn(SectionId) -> bool,
    ) -> i64 {
        self.look_along(train, leading, up_to, may_enter, &mut false)
    }

    /// As [`Table::clear_ahead`]; tells too whether it was a body that the track is free up to.
    fn look_along(
        &self,
        train: TrainId,
        leading: Direction,
        up_to: i64,
        may_enter: &dyn Fn(SectionId) -> bool,
        met: &mut bool,
    ) -> i64 {
        let Some((on, towards, short)) = self.trains[train].tip(leading) else { return 0 };
        let mut free = short.um();
        if let Some(gap) = self.gap_on(train, on.way, towards, free) {
            *met = gap < up_to;
            return gap.min(up_to);
        }
        let (mut leave, layout) = (towards, self.layout());
        while free < up_to {
            let [enter] = layout.ends[leave].meets[..] else { return free };
            let section = layout.ends[enter].section;
            let Some((way, beyond)) = self.way_through(enter).filter(|_| may_enter(section)) else { return free };
            if let Some(gap) = self.gap_from(way, enter) {
                *met = free + gap < up_to;
                return (free + gap).min(up_to);
            }
            free += self.ground.length(way).um();
            leave = beyond;
        }
        up_to
    }

    /// How far it is to the nearest body ahead of a tip, if that is less than `up_to`.
    pub(crate) fn gap_ahead(&self, train: TrainId, leading: Direction, up_to: i64) -> Option<i64> {
        let mut met = false;
        let clear = self.look_along(train, leading, up_to, &|_| true, &mut met);
        met.then_some(clear)
    }

    /// The gap to the nearest other body ahead of a tip on the way that it lies on.
    fn gap_on(&self, train: TrainId, way: WayId, towards: EndId, short: i64) -> Option<i64> {
        let others = self.stretches(way).into_iter().filter(|&(body, ..)| body != train);
        let edges =
            others.map(|(_, from, to)| if self.counts_from(way, towards) { to } else { self.counted_back(way, from) });
        edges.filter(|&edge| edge <= short).max().map(|edge| short - edge)
    }

    /// The gap from an end to the nearest body on a way, or in the way of it.
    fn gap_from(&self, way: WayId, enter: EndId) -> Option<i64> {
        let section = self.layout().ways[way].section;
        let on_way = self.stretches(way);
        if self.trains_in(section).len() > on_way.iter().map(|&(body, ..)| body).collect::<SmallVec<[_; 2]>>().len() {
            return Some(0);
        }
        let edges = on_way
            .into_iter()
            .map(|(_, from, to)| if self.counts_from(way, enter) { from } else { self.counted_back(way, to) });
        edges.min()
    }

    /// Every stretch of a way that a body covers, from the way's first end.
    fn stretches(&self, way: WayId) -> SmallVec<[(TrainId, i64, i64); 2]> {
        let mut stretches = SmallVec::new();
        for presence in self.trains_in(self.layout().ways[way].section) {
            let rolling = &self.trains[presence.train];
            for (on, from, to) in rolling.pieces.iter().filter_map(|piece| rolling.covered(piece, &self.ground)) {
                if on == way {
                    stretches.push((presence.train, from, to));
                }
            }
        }
        stretches
    }

    fn counts_from(&self, way: WayId, end: EndId) -> bool {
        self.layout().ways[way].ends[0] == end
    }

    fn counted_back(&self, way: WayId, from: i64) -> i64 {
        self.ground.length(way).um() - from
    }

    /// Whether a person would call a section free: nothing stands there, and no turnout lies in it that would have to be laid.
    fn is_open(&self, section: SectionId, granted: Granted) -> bool {
        let plain = self.layout().sections[section].ways.iter().all(|&way| self.layout().ways[way].needs.is_empty());
        let given = granted == Granted::Avoid && !self.holders(section).is_empty();
        plain && self.trains_in(section).is_empty() && !given
    }

    /// Finds somewhere for something of that length, by lot.
    pub(crate) fn find_room(&self, name: &str, length: Length, granted: Granted, stream: &mut Stream) -> Option<Place> {
        let layout = self.layout();
        for _ in 0..LOOKS {
            let nose = EndId::from_index(stream.below(layout.ends.len() as u64) as usize);
            let mut on: SmallVec<[SectionId; SECTIONS_MOST]> = SmallVec::new();
            let mut end = nose;
            while on.len() < SECTIONS_MOST {
                let section = layout.ends[end].section;
                if !self.is_open(section, granted) || on.contains(&section) {
                    break;
                }
                on.insert(0, section);
                if let Ok(found) = place(&self.ground, name, length, &on, Some(nose)) {
                    return Some(found);
                }
                let [way] = layout.ends[end].ways[..] else { break };
                let [behind] = layout.ends[layout.far_end(way, end)].meets[..] else { break };
                end = behind;
                if layout.ends[end].ways.len() != 1 {
                    break;
                }
            }
        }
        None
    }
}

/// Whether a person puts things down where a train is about to run.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Granted {
    /// Not where a train may run.
    Avoid,
    /// Anywhere.
    Ignore,
}
