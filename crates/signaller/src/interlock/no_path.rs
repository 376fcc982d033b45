//! Why no path leads where a train is sent, as exactly as can be said.
//!
//! An order is refused only for what no waiting changes: no track leads there, or only over a junction that nobody reports; the
//! train would have to turn back on its way where it does not by itself; it is too long to turn there, or to stand at its
//! destination; it would come there the wrong way round; a turnout under the train itself would have to move, and there is no
//! place near by that is clear of it. Whatever people or time may change is waited for, and said: sections that are out of service
//! or in a person's hands, turnouts that are locked, thrown by hand only, or do not move, signals that are kept at danger. Signals
//! that face the other way keep nobody out: track against them is granted as one piece.

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, VecDeque};

use smallvec::SmallVec;
use track::{EndId, Length, Path, SectionId, TrainId, Traverse, distance_cost};

use super::Interlock;
use super::orders::Reason;
use crate::door::Destination;
use crate::identity::Whereabouts;
use crate::picture::Picture;

/// The ends by which a train came into the section of its nose, and would have come into that of its tail the other way.
type Starts = SmallVec<[EndId; 2]>;

impl Interlock {
    /// Whether a path leads there whatever turnouts lie under the train now.
    pub(super) fn can_ever_come(&self, stand: &Whereabouts, to: Destination) -> bool {
        self.any_path(&self.starts(stand), to, Self::is_plain_joint).is_some()
    }

    /// Why none of the paths there will do.
    pub(super) fn why_no_path(
        &self,
        train: TrainId,
        stand: &Whereabouts,
        to: Destination,
        picture: &impl Picture,
    ) -> Reason {
        let (name, place, starts) = (self.name(train), self.place_name(to), self.starts(stand));
        let no_path = format!("no path leads from where `{name}` stands to {place}");
        let ahead = stand.footprint.last().and_then(|hold| hold.enter).map(|enter| (enter, stand.leading));
        let behind = self.enter_after_turning(stand).map(|enter| (enter, stand.leading.other()));
        let mut paths = ahead.into_iter().chain(behind).filter_map(|(enter, leading)| {
            self.path_from(enter, train, to, picture).map(|(path, _)| self.gropes(train, leading, &path))
        });
        if let Some(gropes) = paths.next() {
            if gropes && paths.all(|gropes| gropes) {
                return format!(
                    "{no_path} over measured track, and over other track it cannot lead with an end that no detector sees; hint: \
                     give the sections lengths"
                );
            }
            return format!("some of `{name}` may lie beyond {place} already; hint: send it the other way first");
        }
        if let Some(path) = self.any_path(&starts, to, Self::is_plain_joint) {
            return match self.turnout_under(train, &path, picture) {
                Some(turnout) => format!(
                    "turnout `{turnout}` would have to move under `{name}`; hint: send it ahead first, until all of it is past \
                     the turnout"
                ),
                None => no_path,
            };
        }
        if let Some(path) = self.any_path(&starts, to, |_, _| true) {
            let joints = path.iter().flat_map(|passage| [passage.leave, passage.enter]);
            let several = joints.into_iter().find(|&end| self.layout.ends[end].meets.len() > 1);
            let at = several.map_or_else(String::new, |end| format!(" at `{}`", self.layout.end_name(end)));
            return format!("{no_path} but over tracks that meet{at}, and nobody reports which way a train goes there");
        }
        self.why_not_by_turning(train, &starts, to).unwrap_or(no_path)
    }

    /// What is in the way of a train that would have to turn back on its way.
    fn why_not_by_turning(&self, train: TrainId, starts: &Starts, to: Destination) -> Option<Reason> {
        let (name, place, length) = (self.name(train), self.place_name(to), self.train_length(train));
        let fits = |room: Option<Length>| length.is_none() || room.is_none() || length <= room;
        if let Some((section, _)) = self.first_turn(starts, to, fits) {
            let section = &self.layout.sections[section].name;
            return Some(format!(
                "`{name}` would have to turn back in `{section}` on its way to {place}, and does so by itself only at stopping \
                 points and ends of tracks that have room for it; hint: send it to `{section}` first"
            ));
        }
        if let Destination::Stop(stop) = to
            && self
                .any_path(starts, Destination::Section(self.layout.stops[stop].section), Self::is_plain_joint)
                .is_some()
        {
            let end = self.layout.end_name(self.layout.stops[stop].towards);
            return Some(format!(
                "`{name}` comes to {place} only the wrong way round: whoever stops there points at `{end}`"
            ));
        }
        let (section, room) = self.first_turn(starts, to, |_| true)?;
        let section = &self.layout.sections[section].name;
        let (length, room) = (length.unwrap_or_default().mm(), room.unwrap_or_default().mm());
        Some(format!(
            "`{name}` would have to turn back in `{section}` on its way to {place}, and is too long for that: {length:.0} mm, \
             where there is room for {room:.0} mm"
        ))
    }

    fn starts(&self, stand: &Whereabouts) -> Starts {
        let ahead = stand.footprint.last().and_then(|hold| hold.enter);
        ahead.into_iter().chain(self.enter_after_turning(stand)).collect()
    }

    /// Whether it is known where the joint behind a passage leads.
    fn is_plain_joint(&self, passage: &Traverse) -> bool {
        self.layout.ends[passage.leave].meets.len() == 1
    }

    /// A path to the destination over passages that will do, whatever else is in the way of it.
    fn any_path(&self, starts: &Starts, to: Destination, will_do: impl Fn(&Self, &Traverse) -> bool) -> Option<Path> {
        let last = |here: EndId| self.passages_from(here).find(|&passage| self.stops_at(to, passage));
        let cost = |passage: &Traverse| will_do(self, passage).then(|| distance_cost(&self.layout, passage));
        starts.iter().find_map(|&start| {
            let (mut path, goal) = self.graph.path(start, |here| last(here).is_some(), cost)?;
            path.extend(last(goal));
            Some(path)
        })
    }

    fn passages_from(&self, enter: EndId) -> impl Iterator<Item = Traverse> + '_ {
        let section = self.layout.ends[enter].section;
        self.layout.ways_from(enter).map(move |(way, leave)| Traverse { section, enter, way, leave })
    }

    /// The name of the first turnout that would have to move under the train itself, or under what lies there.
    fn turnout_under(&self, train: TrainId, path: &Path, picture: &impl Picture) -> Option<&str> {
        let is_under = |passage: &&Traverse| {
            picture.holders(passage.section).contains(&train) || picture.is_occupied(passage.section)
        };
        let mut needs = path.iter().filter(is_under).flat_map(|passage| &self.layout.ways[passage.way].needs);
        let need = needs.find(|need| self.turnouts.lie(need.turnout) != Some(need.lie))?;
        Some(&self.layout.turnouts[need.turnout].name)
    }

    /// Where a train would turn back first if it could turn wherever there is room enough; and how much there is.
    fn first_turn(
        &self,
        starts: &Starts,
        to: Destination,
        fits: impl Fn(Option<Length>) -> bool,
    ) -> Option<(SectionId, Option<Length>)> {
        // For every end by which a section is entered, where the train turned first on its way there.
        let mut turned: BTreeMap<EndId, Option<(SectionId, Option<Length>)>> = BTreeMap::new();
        let mut open: VecDeque<EndId> = VecDeque::new();
        for &start in starts {
            turned.insert(start, None);
            open.push_back(start);
        }
        while let Some(enter) = open.pop_front() {
            let before = turned[&enter];
            for passage in self.passages_from(enter) {
                if before.is_some() && self.stops_at(to, passage) {
                    return before;
                }
                let way = &self.layout.ways[passage.way];
                let may_turn = way.needs.is_empty() && fits(way.length);
                let here = before.or(Some((passage.section, way.length)));
                let back = may_turn.then_some((passage.leave, here));
                let on = match self.layout.ends[passage.leave].meets[..] {
                    [next] => Some((next, before)),
                    _ => None,
                };
                for (next, turn) in on.into_iter().chain(back) {
                    if let Entry::Vacant(place) = turned.entry(next) {
                        place.insert(turn);
                        open.push_back(next);
                    }
                }
            }
        }
        None
    }
}
