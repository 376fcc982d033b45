//! Turning back on the way: where a train can come to a destination only by turning back somewhere, it goes there first.
//!
//! It turns at a stopping point or at the end of a track, in a section that has room for all of it and is no throat, and of those
//! where the way there and on is the cheapest. It goes there as if it had been sent there, and plans anew then: what was free when
//! this was looked for need not be so any more, and it may have to turn once more.

use std::collections::{BTreeMap, BTreeSet};

use smallvec::SmallVec;
use track::{EndId, Length, Path, SectionId, StopId, TrainId, Traverse};

use super::Interlock;
use super::plan::TURNING_BACK;
use super::rehearsal::STOPPING_ERROR;
use crate::door::{Destination, Direction};
use crate::identity::{NEXT_AXLE, Whereabouts};
use crate::picture::Picture;

/// So many places to turn are tried, the best first.
const PLACES: usize = 8;

/// Where a train turns back first, and how it gets home from where it turns last.
#[derive(Clone, Debug)]
pub(super) struct Turning {
    pub(super) at: Destination,
    pub(super) home: Path,
}

/// From where places to turn are looked for.
#[derive(Debug)]
struct From<'a> {
    /// By these ends sections are entered.
    ends: &'a [EndId],
    /// Or it turns at the end of this passage.
    last: Option<Traverse>,
    /// In this section it gains nothing by turning.
    but: Option<SectionId>,
}

/// An end by which a section is entered, and whether the train has turned before.
type Place = (EndId, bool);

/// The cheapest way to a place.
#[derive(Clone, Copy, Debug)]
struct Reached {
    cost: i64,
    /// Where it turned first.
    first: Option<Destination>,
    /// The passage that led there from another place; nothing where it starts there, or turned.
    by: Option<(Place, Traverse)>,
}

/// All places reached so far, and those to go on from.
#[derive(Debug, Default)]
struct Search {
    reached: BTreeMap<Place, Reached>,
    open: BTreeSet<(i64, Place)>,
}

impl Search {
    fn reach(&mut self, place: Place, found: Reached) {
        if self.reached.get(&place).is_some_and(|known| known.cost <= found.cost) {
            return;
        }
        if let Some(known) = self.reached.insert(place, found) {
            self.open.remove(&(known.cost, place));
        }
        self.open.insert((found.cost, place));
    }

    /// The passages since the train turned last.
    fn since_it_turned(&self, mut place: Place) -> Path {
        let mut path = Path::new();
        while let Some((before, passage)) = self.reached.get(&place).and_then(|reached| reached.by) {
            path.push(passage);
            place = before;
        }
        path.reverse();
        path
    }
}

impl Interlock {
    /// Where a train that stands turns back first on its way to a destination; nothing where that gets it nowhere.
    pub(super) fn turning(
        &self,
        train: TrainId,
        stand: &Whereabouts,
        to: Destination,
        picture: &impl Picture,
    ) -> Option<Turning> {
        // Where it stands it can turn at any time: that gets it nowhere, or it had a path.
        let here = stand.footprint.last()?;
        let starts: SmallVec<[EndId; 2]> = here.enter.into_iter().chain(self.enter_after_turning(stand)).collect();
        let gets_to = |at| self.course(train, stand, at, picture).is_some();
        let from = From { ends: &starts, last: None, but: Some(here.section) };
        self.first_turning(train, to, &from, gets_to, picture)
    }

    /// The same for a train that moves: it does not come to stand before that, or change what it was granted.
    pub(super) fn turning_ahead(&self, train: TrainId, to: Destination, picture: &impl Picture) -> Option<Turning> {
        let last = self.runs[train].granted.back()?;
        let gets_to = |at| self.path_onward(train, at, picture).is_some();
        let from = From { ends: &self.layout.ends[last.leave].meets, last: Some(*last), but: None };
        self.first_turning(train, to, &from, gets_to, picture)
    }

    fn first_turning(
        &self,
        train: TrainId,
        to: Destination,
        from: &From<'_>,
        gets_to: impl Fn(Destination) -> bool,
        picture: &impl Picture,
    ) -> Option<Turning> {
        let mut tried: Vec<SectionId> = self.runs[train].turned_in.iter().copied().chain(from.but).collect();
        for _ in 0..PLACES {
            let found = self.cheapest_turning(train, from, to, &tried, picture)?;
            // Which end leads then depends on how often it turns.
            let gropes =
                || [Direction::Forward, Direction::Backward].iter().any(|&it| self.gropes(train, it, &found.home));
            if gets_to(found.at) && !gropes() {
                return Some(found);
            }
            tried.push(self.section_of(found.at));
        }
        None
    }

    fn cheapest_turning(
        &self,
        train: TrainId,
        from: &From<'_>,
        to: Destination,
        tried: &[SectionId],
        picture: &impl Picture,
    ) -> Option<Turning> {
        let stops: BTreeMap<EndId, StopId> =
            self.layout.stops.iter().rev().map(|(stop, described)| (described.towards, stop)).collect();
        let mut search = Search::default();
        for &start in from.ends {
            search.reach((start, false), Reached { cost: 0, first: None, by: None });
        }
        if let Some(last) = from.last.filter(|last| !tried.contains(&last.section)) {
            let first = self.where_to_turn(train, &last, stops.get(&last.leave).copied());
            if first.is_some() {
                search.reach((last.leave, true), Reached { cost: TURNING_BACK, first, by: None });
            }
        }
        while let Some((cost, place)) = search.open.pop_first() {
            let Some(&Reached { first, by, .. }) = search.reached.get(&place) else { continue };
            // Not in the very section it turned in: nobody sees there how far back it has run, and whether its tail is clear.
            let may_end = first.filter(|_| by.is_some());
            for (way, leave) in self.layout.ways_from(place.0) {
                let passage = Traverse { section: self.layout.ends[place.0].section, enter: place.0, way, leave };
                if let Some(at) = may_end.filter(|_| self.stops_at(to, passage)) {
                    let mut home = search.since_it_turned(place);
                    home.push(passage);
                    return Some(Turning { at, home });
                }
                self.pass(train, &mut search, (cost, place, first), passage, picture);
                if let Some(turns) = self.where_to_turn(train, &passage, stops.get(&leave).copied())
                    && (first.is_some() || !tried.contains(&passage.section))
                {
                    let first = first.or(Some(turns));
                    search.reach((leave, true), Reached { cost: cost + TURNING_BACK, first, by: None });
                }
            }
        }
        None
    }

    /// Goes on by a passage to the section beyond.
    fn pass(
        &self,
        train: TrainId,
        search: &mut Search,
        (cost, place, first): (i64, Place, Option<Destination>),
        passage: Traverse,
        picture: &impl Picture,
    ) {
        let [next] = self.layout.ends[passage.leave].meets[..] else { return };
        // Before it turns, turnouts under it stay as they lie.
        let may_go = first.is_some()
            || self.turnouts.way_lies(passage.way)
            || !picture.holders(passage.section).contains(&train);
        if let Some(price) = self.cost(&passage, train, picture).filter(|_| may_go) {
            search.reach((next, first.is_some()), Reached { cost: cost + price, first, by: Some((place, passage)) });
        }
    }

    /// Where a train would turn back at the end of a passage, at which a stopping point may be; nothing where it cannot.
    fn where_to_turn(&self, train: TrainId, passage: &Traverse, stop: Option<StopId>) -> Option<Destination> {
        let layout = &self.layout;
        let is_end = layout.ends[passage.leave].meets.is_empty();
        let at = stop.map(Destination::Stop).or(is_end.then_some(Destination::Section(passage.section)))?;
        let way = &layout.ways[passage.way];
        let is_plain = layout.sections[passage.section].ways.len() == 1 && way.needs.is_empty();
        // Of what was not measured nobody knows whether its ends are clear then, and others could not pass.
        let takes = self.train_length(train).map(|length| {
            let short = stop.map_or(Length::ZERO, |stop| layout.stands_short(stop, Some(length)));
            short.max(NEXT_AXLE) + length + STOPPING_ERROR
        });
        let has_room = way.length.zip(takes).is_some_and(|(room, takes)| takes <= room);
        (is_plain && has_room && self.withdrawal(passage.section).is_none()).then_some(at)
    }

    /// The section of a destination.
    pub(super) fn section_of(&self, to: Destination) -> SectionId {
        match to {
            Destination::Stop(stop) => self.layout.stops[stop].section,
            Destination::Section(section) => section,
        }
    }
}
