//! Finding a path, and whether the train has to turn back for it.

use smallvec::SmallVec;
use track::{EndId, Layout, Length, Path, SectionId, TrainId, Traverse, distance_cost};

use super::Interlock;
use crate::door::{Destination, Direction, Tag};
use crate::identity::Whereabouts;
use crate::picture::Picture;

/// Turning back costs as much as going so far: a train does not change direction to save a few millimetres.
pub(super) const TURNING_BACK: i64 = Length::from_mm(3000).um();
/// A section that another train will leave again costs as much as going so much farther round.
const TAKEN: i64 = Length::from_mm(4000).um();
/// Likewise for what may stay there for ever: a train without an order, or something unknown.
const OBSTRUCTED: i64 = Length::from_mm(40_000).um();

/// How to get to a destination.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub(crate) struct Course {
    /// From the section of the nose (as it will be) to the destination, both included.
    pub(super) path: Path,
    pub(super) turns_back: bool,
}

impl Interlock {
    /// The better of the ways there: ahead, or after turning back.
    pub(super) fn course(
        &self,
        train: TrainId,
        stand: &Whereabouts,
        to: Destination,
        picture: &impl Picture,
    ) -> Option<Course> {
        let ahead = stand.footprint.last()?.enter.and_then(|enter| self.path_from(enter, train, to, picture));
        let ahead = ahead
            .filter(|(path, _)| !self.sticks_out(train, path, picture) && !self.gropes(train, stand.leading, path));
        let behind = self.path_back(train, stand, to, picture);
        match (ahead, behind) {
            (Some((path, cost)), Some((_, back))) if cost <= back.saturating_add(TURNING_BACK) => {
                Some(Course { path, turns_back: false })
            }
            (Some((path, _)), None) => Some(Course { path, turns_back: false }),
            (_, Some((path, _))) => Some(Course { path, turns_back: true }),
            (None, None) => None,
        }
    }

    /// The way there after turning back.
    pub(super) fn course_back(
        &self,
        train: TrainId,
        stand: &Whereabouts,
        to: Destination,
        picture: &impl Picture,
    ) -> Option<Course> {
        self.path_back(train, stand, to, picture).map(|(path, _)| Course { path, turns_back: true })
    }

    fn path_back(
        &self,
        train: TrainId,
        stand: &Whereabouts,
        to: Destination,
        picture: &impl Picture,
    ) -> Option<(Path, i64)> {
        let back = self.enter_after_turning(stand).and_then(|enter| self.path_from(enter, train, to, picture));
        back.filter(|(path, _)| {
            !self.sticks_out(train, path, picture) && !self.gropes(train, stand.leading.other(), path)
        })
    }

    /// Whether the train would lead with an end that no detector sees over track that nobody measured: nothing tells how far its
    /// nose is, so it could not stop before the end of its authority.
    pub(super) fn gropes(&self, train: TrainId, leading: Direction, path: &[Traverse]) -> bool {
        self.leads_blind(train, leading) && path.iter().any(|passage| self.layout.ways[passage.way].length.is_none())
    }

    /// Whether no detector watches a section, and lengths are missing that would tell where in it a train is: nobody would know that
    /// it has come there, and it would not stop before the far end.
    pub(super) fn hides_trains(&self, section: SectionId) -> bool {
        let row = &self.layout.sections[section];
        let beside =
            row.ends.iter().flat_map(|&end| &self.layout.ends[end].meets).map(|&end| self.layout.ends[end].section);
        let mut ways = std::iter::once(section).chain(beside).flat_map(|it| &self.layout.sections[it].ways);
        self.layout.is_dark(section) && ways.any(|&way| self.layout.ways[way].length.is_none())
    }

    /// Whether no detector sees the end of the train that leads this way, beyond what sticks out of any.
    pub(super) fn leads_blind(&self, train: TrainId, leading: Direction) -> bool {
        self.roster.measure(train).is_some_and(|measure| match leading {
            Direction::Forward => measure.hidden_front > Length::ZERO,
            Direction::Backward => measure.hidden_rear > Length::ZERO,
        })
    }

    /// Whether a path ends in the section where it begins, at an end beyond which some of the train may lie unseen. It cannot
    /// come to stand before that end without going the other way first.
    pub(super) fn sticks_out(&self, train: TrainId, path: &[Traverse], picture: &impl Picture) -> bool {
        let [only] = path else { return false };
        let mut beyond = self.layout.ends[only.leave].meets.iter().map(|&end| self.layout.ends[end].section);
        beyond.any(|section| picture.holders(section).contains(&train))
    }

    /// A path from the end of what the train was granted; it does not include anything granted. Nothing where the destination
    /// lies before that end: what was granted to a moving train is not taken back.
    pub(super) fn path_onward(&self, train: TrainId, to: Destination, picture: &impl Picture) -> Option<Path> {
        let run = &self.runs[train];
        let last = run.granted.back()?;
        if self.stops_at(to, *last) {
            return Some(Path::new());
        }
        if run.granted.iter().skip(run.nose).any(|&passage| self.stops_at(to, passage)) {
            return None;
        }
        let [enter] = self.layout.ends[last.leave].meets[..] else { return None };
        let leading = picture.whereabouts(train, self.now)?.leading;
        let path = self.path_from(enter, train, to, picture).map(|(path, _)| path);
        path.filter(|path| !self.gropes(train, leading, path))
    }

    /// Whether a passage is one that the destination asks for.
    pub(super) fn stops_at(&self, to: Destination, passage: Traverse) -> bool {
        match to {
            Destination::Stop(stop) => self.layout.stops[stop].towards == passage.leave,
            Destination::Section(section) => section == passage.section,
        }
    }

    /// The cheapest path for somebody who entered a section by `enter`, with its cost.
    pub(super) fn path_from(
        &self,
        enter: EndId,
        train: TrainId,
        to: Destination,
        picture: &impl Picture,
    ) -> Option<(Path, i64)> {
        let is_under = |section: SectionId| picture.holders(section).contains(&train);
        self.path_clear_of(&is_under, enter, train, to, picture)
    }

    /// The same for a train that lies in those sections, and has left all others where it is now.
    pub(super) fn path_clear_of(
        &self,
        is_under: &impl Fn(SectionId) -> bool,
        enter: EndId,
        train: TrainId,
        to: Destination,
        picture: &impl Picture,
    ) -> Option<(Path, i64)> {
        let may_start = |passage: &Traverse| {
            let has_left = !is_under(passage.section) && self.is_nobody_elses(train, passage.section, picture);
            passage.enter != enter || has_left || self.may_start_by(passage, train, picture)
        };
        let cost = |passage: &Traverse| {
            // A turnout does not move under the train itself, not even under an end of it that no detector sees.
            let may_lie = self.lies_under(passage, train, picture) || !is_under(passage.section);
            if may_lie && may_start(passage) { self.cost(passage, train, picture) } else { None }
        };
        let last_passage = |here| self.last_passage(here, to, &may_start);
        let is_goal = |here: EndId| last_passage(here).is_some();
        let (mut path, goal) = self.graph.path(enter, is_goal, cost)?;
        path.push(last_passage(goal)?);
        if self.crosses_itself(&path) {
            return None;
        }
        let total = path.iter().filter_map(cost).sum();
        Some((path, total))
    }

    /// Whether a path crosses itself with no signal in between, where the train could wait until its tail is out of the way.
    fn crosses_itself(&self, path: &[Traverse]) -> bool {
        let mut pieces = path.split_inclusive(|passage| self.layout.main_signal(passage.leave).is_some());
        pieces.any(|piece| {
            let sections = || piece.iter().map(|passage| passage.section);
            sections().any(|section| {
                let crosses = &self.layout.sections[section].crosses;
                !crosses.is_empty() && sections().any(|other| crosses.contains(&other))
            })
        })
    }

    /// The passage by which a train that entered by `here` comes to stand at the destination.
    fn last_passage(&self, here: EndId, to: Destination, may_start: &impl Fn(&Traverse) -> bool) -> Option<Traverse> {
        let layout = &self.layout;
        let passage = |way, leave| Traverse { section: layout.ends[here].section, enter: here, way, leave };
        layout
            .ways_from(here)
            .map(|(way, leave)| passage(way, leave))
            .filter(may_start)
            .find(|&found| self.stops_at(to, found))
    }

    /// Whether nothing is in a section, or may be, but this train.
    fn is_nobody_elses(&self, train: TrainId, section: SectionId, picture: &impl Picture) -> bool {
        picture.holders(section).iter().all(|&holder| holder == train)
            && (!picture.is_occupied(section) || picture.tag(section) == Tag::Sure(train))
    }

    /// Whether a train can start by this passage from where it stands.
    pub(super) fn may_start_by(&self, passage: &Traverse, train: TrainId, picture: &impl Picture) -> bool {
        self.may_lie_under(passage, train, picture) && !picture.is_barred(train, passage.section, passage.leave)
    }

    /// Whether turnouts lie, or can be brought to lie, as a passage from where the train stands needs it.
    fn may_lie_under(&self, passage: &Traverse, train: TrainId, picture: &impl Picture) -> bool {
        self.lies_under(passage, train, picture)
            || !picture.is_occupied(passage.section) && picture.holders(passage.section).is_empty()
    }

    /// Whether every turnout is known to lie as the passage needs it, or the train stands on it, came over it, and nobody knows
    /// otherwise: it was not thrown under the train.
    fn lies_under(&self, passage: &Traverse, train: TrainId, picture: &impl Picture) -> bool {
        let came_over = |stand: &Whereabouts| {
            stand.footprint.windows(2).any(|pair| {
                let leave = pair[1].enter.and_then(|next| self.end_towards(pair[0].section, next));
                let way = pair[0].enter.zip(leave).and_then(|(enter, leave)| self.layout.way_between(enter, leave));
                way == Some(passage.way)
            })
        };
        let may_lie = |need: &track::Need| self.turnouts.lie(need.turnout).is_none_or(|lie| lie == need.lie);
        self.turnouts.way_lies(passage.way)
            || self.layout.ways[passage.way].needs.iter().all(may_lie)
                && !picture.is_strange(train)
                && picture.whereabouts(train, self.now).is_some_and(|stand| stand.sure && came_over(&stand))
    }

    pub(super) fn cost(&self, passage: &Traverse, train: TrainId, picture: &impl Picture) -> Option<i64> {
        // Where an end meets several, nobody can say where the train would go.
        if self.layout.ends[passage.leave].meets.len() > 1 {
            return None;
        }
        let by_hand = |need: &track::Need| {
            let is_worked = self.layout.turnouts[need.turnout].worked && !self.turnouts.is_doubtful(need.turnout);
            !is_worked && self.turnouts.lie(need.turnout) != Some(need.lie)
        };
        let by_hand = if self.layout.ways[passage.way].needs.iter().any(by_hand) { OBSTRUCTED } else { 0 };
        Some(distance_cost(&self.layout, passage) + by_hand + self.obstruction(passage.section, train, picture))
    }

    fn obstruction(&self, section: SectionId, train: TrainId, picture: &impl Picture) -> i64 {
        if self.withdrawal(section).is_some() {
            return OBSTRUCTED;
        }
        if self.routed_from(section).is_some() {
            return TAKEN;
        }
        let crosses = self.layout.sections[section].crosses.iter().map(|&crossed| self.taken(crossed, train, picture));
        crosses.fold(self.taken(section, train, picture), i64::max)
    }

    fn taken(&self, section: SectionId, train: TrainId, picture: &impl Picture) -> i64 {
        let holders = picture.holders(section);
        let other = self.granted_to[section].filter(|&holder| holder != train);
        match other.or_else(|| holders.iter().copied().find(|&holder| holder != train)) {
            Some(other) if self.runs.get(other).is_some_and(|run| run.to.is_some()) => TAKEN,
            Some(_) => OBSTRUCTED,
            None if holders.is_empty() && picture.is_occupied(section) => OBSTRUCTED,
            None => 0,
        }
    }

    /// The end by which the train would have entered the section of its tail, had it come the other way.
    pub(super) fn enter_after_turning(&self, stand: &Whereabouts) -> Option<EndId> {
        let tail = stand.footprint.first()?;
        match stand.footprint.get(1) {
            Some(next) => self.end_towards(tail.section, next.enter?),
            None => {
                let enter = tail.enter?;
                let way = self.way_that_lies(enter).or_else(|| match self.layout.ends[enter].ways[..] {
                    [way] => Some(way),
                    _ => None,
                })?;
                Some(self.layout.far_end(way, enter))
            }
        }
    }

    /// The end of `section` that meets `enter`.
    fn end_towards(&self, section: SectionId, enter: EndId) -> Option<EndId> {
        self.layout.ends[enter].meets.iter().copied().find(|&end| self.layout.ends[end].section == section)
    }

    /// The passages on which the train stands, tail first; `first` is the one its nose is in.
    pub(super) fn footing(&self, stand: &Whereabouts, first: Traverse) -> Option<SmallVec<[Traverse; 4]>> {
        let (last, behind) = stand.footprint.split_last()?;
        if last.section != first.section {
            return None;
        }
        let mut footing = SmallVec::new();
        for (place, hold) in behind.iter().enumerate() {
            let leave = self.end_towards(hold.section, stand.footprint[place + 1].enter?)?;
            let way = match hold.enter {
                Some(enter) => self.layout.way_between(enter, leave)?,
                None => self.way_that_may_lie(leave)?,
            };
            let enter = self.layout.far_end(way, leave);
            footing.push(Traverse { section: hold.section, enter, way, leave });
        }
        footing.push(first);
        Some(footing)
    }

    /// How much room a train has at the end of a path before its tail reaches back over a turnout or a signal that it passed;
    /// nothing where lengths are unknown or the path is too short to say.
    pub(super) fn room_at_the_end(&self, train: TrainId, path: &[Traverse], to: Destination) -> Option<Length> {
        let layout: &Layout = &self.layout;
        let (last, before) = path.split_last()?;
        let short = match to {
            Destination::Stop(stop) => layout.stands_short(stop, self.train_length(train)),
            Destination::Section(_) => Length::ZERO,
        };
        let mut room = layout.ways[last.way].length? - short;
        if !layout.ways[last.way].needs.is_empty() {
            return None;
        }
        for passage in before.iter().rev() {
            if layout.main_signal(passage.leave).is_some() || !layout.ways[passage.way].needs.is_empty() {
                return Some(room);
            }
            room += layout.ways[passage.way].length?;
        }
        None
    }
}
