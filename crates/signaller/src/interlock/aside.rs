//! Giving way: when trains stand in each other's way, one of them draws aside.
//!
//! Trains whose orders cannot be carried out as things stand wait where they are (`safe.rs`). If that lasts, each that stands
//! is tried on paper in every free place that it can get to, ahead or after turning back: where that gets somebody home who
//! does not get there now, and keeps nobody from it who does, it draws aside to there. Then it plans anew for where it was
//! sent. A train without an order is never moved, and nobody is while it is not sure where each that has one stands: nothing
//! depends on this move being made now.
//!
//! Likewise a train that lies over a turnout and was sent to where only its other leg leads: it draws clear of the turnout, and
//! goes from there, if there is such a place near by.
//!
//! It does not go on for ever: each move gets somebody home, and who has drawn aside does not do so again until somebody was.
//!
//! One train is moved at a time. Where two would have to draw aside before anybody gets home, and neither helps without the
//! other, they stay where they are.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::time::Duration;

use smallvec::SmallVec;
use track::{EndId, Length, Path, TrainId, Traverse, distance_cost};

use super::by_hand::Driver;
use super::plan::Course;
use super::rehearsal::{STOPPING_ERROR, Scene};
use super::{HoldKind, Interlock, Wait};
use crate::aspect::Signals;
use crate::door::{Destination, Direction, Output};
use crate::drive::Drive;
use crate::identity::{NEXT_AXLE, Whereabouts};
use crate::picture::Picture;
use crate::time::Time;

/// So long a train waits before anybody draws aside for it, and so long until it is looked again. Common practice, no source.
const PATIENCE: Duration = Duration::from_secs(10);

/// A train that has drawn up so soon did not move.
const AT_ONCE: Duration = Duration::from_millis(500);

/// So many places are tried for each direction of a train, the nearest first.
const PLACES: usize = 24;

/// A train that draws aside before it goes where it was sent.
#[derive(Clone, Debug, Default, serde::Serialize, serde::Deserialize)]
pub(crate) struct Aside {
    /// How it gets home from there, if that is why it goes.
    then: Option<Course>,
    /// When it was told to draw up to the end of the section it stands in already, if that is all.
    draws_up_from: Option<Time>,
}

/// Trains that play a part, and what they achieve as things stand.
struct Cast {
    company: SmallVec<[TrainId; 16]>,
    newcomers: SmallVec<[TrainId; 16]>,
    home: Vec<TrainId>,
}

/// A train drawing aside.
struct Move {
    train: TrainId,
    turns_back: bool,
    /// From the end of what it was granted; after turning back, from the section of its tail on, that included.
    path: Path,
    then: Option<Course>,
    /// So many trains get home then.
    gets_home: usize,
}

impl Interlock {
    /// When to look for a train that could draw aside, if anything has changed since it was looked last.
    pub(super) fn next_look_aside(&self) -> Option<Time> {
        #[cfg(test)]
        if matches!(
            self.planted,
            Some(super::checking::Bug::LetsNobodyDrawAside | super::checking::Bug::LetsTrainsMeet)
        ) {
            return None;
        }
        if self.turns_of_events() == self.looked_aside_at_turn {
            return None;
        }
        let waits = |train: &&TrainId| self.runs[**train].waits_for.is_some() && !self.is_held(**train);
        let since = self.wanting.iter().filter(waits).map(|&train| self.runs[train].waits_since).min()?;
        Some((since + PATIENCE).max(self.look_aside_at))
    }

    /// Counts whatever may let a train draw aside that could not before.
    pub(super) fn turns_of_events(&self) -> u64 {
        self.freed + self.orders_so_far + self.homecomings + self.lifted
    }

    /// Lets one train draw aside, if that gets somebody home.
    pub(super) fn draw_aside<P: Picture>(
        &mut self,
        now: Time,
        picture: &mut P,
        drive: &Drive,
        signals: &Signals,
        outputs: &mut Vec<Output>,
    ) {
        // What they waited for may be gone without a section having emptied: a doubt was settled, say.
        self.admit(picture);
        self.is_stirred = true;
        self.look_aside_at = now + PATIENCE;
        if self.is_anybody_in_doubt(now, picture) {
            return;
        }
        let cast = self.cast(picture);
        let stuck: SmallVec<[TrainId; 16]> =
            cast.company.iter().copied().filter(|train| !cast.home.contains(train)).collect();
        if stuck.iter().all(|&train| self.is_held(train) || self.has_waited(train, now) && drive.is_at_rest(train)) {
            self.looked_aside_at_turn = self.turns_of_events();
        }
        let mut best: Option<Move> = None;
        for train in stuck {
            let Some(stand) = self.who_may_draw_aside(train, now, picture, drive) else { continue };
            for found in self.moves_aside(train, &stand, picture, signals) {
                let Some(found) = self.rehearse_aside(found, &stand, &cast, picture) else { continue };
                if best.as_ref().is_none_or(|best| found.gets_home > best.gets_home) {
                    best = Some(found);
                }
            }
        }
        if let Some(found) = best {
            self.set_aside(found, now, picture, outputs);
            self.admit(picture);
        }
    }

    fn has_waited(&self, train: TrainId, now: Time) -> bool {
        self.runs[train].waits_for.is_some() && self.runs[train].waits_since + PATIENCE <= now
    }

    /// Whether it is not sure where each train that has an order stands.
    fn is_anybody_in_doubt(&self, now: Time, picture: &impl Picture) -> bool {
        let mut ordered = self.runs.iter().filter(|(_, run)| run.to.is_some()).map(|(train, _)| train);
        ordered.any(|train| {
            let is_unsure = picture.whereabouts(train, now).is_some_and(|stand| !stand.sure);
            is_unsure || self.hold_kinds(train).any(HoldKind::is_doubt)
        })
    }

    fn cast(&self, picture: &impl Picture) -> Cast {
        let planned = || self.runs.iter().filter(|(_, run)| run.is_planned || run.waits_for == Some(Wait::NoPath));
        let company: SmallVec<[TrainId; 16]> = planned().map(|(train, _)| train).collect();
        let newcomers: SmallVec<[TrainId; 16]> =
            planned().filter(|(_, run)| !run.is_admitted).map(|(train, _)| train).collect();
        let (with, without) =
            (self.rehearse(&company, &newcomers, None, picture), self.rehearse(&company, &[], None, picture));
        let home = company.iter().copied().filter(|&train| with.is_home(train) || without.is_home(train)).collect();
        Cast { company, newcomers, home }
    }

    /// Where the train stands, if it may draw aside.
    fn who_may_draw_aside(
        &self,
        train: TrainId,
        now: Time,
        picture: &impl Picture,
        drive: &Drive,
    ) -> Option<Whereabouts> {
        let run = &self.runs[train];
        let is_free = run.driver == Driver::Signaller && !self.is_held(train) && !self.is_called(train);
        let is_idle = drive.is_at_rest(train) && !run.must_stand && !self.is_tried_again(train);
        let stand = picture.whereabouts(train, now).filter(|stand| stand.sure)?;
        // Its tail may lie unseen right behind its ground, in what it was lent to be called.
        let is_right_behind = |passage: &Traverse| {
            let meets =
                |end: EndId| run.granted.front().is_some_and(|own| self.layout.ends[end].meets.contains(&own.enter));
            meets(passage.leave) || meets(passage.enter)
        };
        let has_its_ground_only = !run.granted.is_empty()
            && run.lent.iter().all(is_right_behind)
            && run.granted.len() == self.reaches(train, Some(&stand), picture);
        // What it waits for may only have to come in.
        let waits_for_one_that_runs =
            matches!(run.waits_for, Some(Wait::Taken { by, .. }) if self.runs.get(by).is_some_and(|by| !by.stands));
        let has_done_so = run.aside.is_some() || run.drew_aside_at == Some(self.homecomings);
        (is_free
            && is_idle
            && !waits_for_one_that_runs
            && has_its_ground_only
            && self.has_waited(train, now)
            && !has_done_so)
            .then_some(stand)
    }

    /// Every free place near by that the train can get to.
    fn moves_aside(&self, train: TrainId, stand: &Whereabouts, picture: &impl Picture, signals: &Signals) -> Vec<Move> {
        let run = &self.runs[train];
        let to = |turns_back, path| Move { train, turns_back, path, then: None, gets_home: 0 };
        let mut moves = Vec::new();
        if let Some(last) = run.granted.back() {
            if self.is_plain(last) && run.drawn_up_to != Some(last.leave) {
                moves.push(to(false, Path::new()));
            }
            if let [enter] = self.layout.ends[last.leave].meets[..] {
                let paths = self.free_paths(train, enter, picture, signals);
                moves.extend(paths.into_iter().map(|path| to(false, path)));
            }
        }
        if let Some(enter) = self.enter_after_turning(stand) {
            let paths = self.free_paths(train, enter, picture, signals);
            moves.extend(paths.into_iter().map(|path| to(true, path)));
        }
        moves.retain(|found| {
            let leading = if found.turns_back { stand.leading.other() } else { stand.leading };
            !self.gropes(train, leading, &found.path)
                && (!found.turns_back || !self.sticks_out(train, &found.path, picture))
        });
        moves
    }

    /// Paths to the far end of every plain section near by, over track that the train could be granted now.
    fn free_paths(&self, train: TrainId, start: EndId, picture: &impl Picture, signals: &Signals) -> Vec<Path> {
        let is_kept = |end: EndId| self.layout.main_signal(end).is_some_and(|signal| signals.is_kept_at_danger(signal));
        self.paths_near(start, |passage| self.is_clear(train, passage, start, picture), |end| !is_kept(end))
    }

    /// Paths to the far end of every plain section near by, by passages and over ends that may be passed.
    fn paths_near(
        &self,
        start: EndId,
        may_go: impl Fn(Traverse) -> bool,
        may_leave_by: impl Fn(EndId) -> bool,
    ) -> Vec<Path> {
        let mut reached: BTreeMap<EndId, (i64, Path)> = BTreeMap::from([(start, (0, Path::new()))]);
        let mut queue = BTreeSet::from([(0_i64, start)]);
        let mut paths = Vec::new();
        while let Some((so_far, here)) = queue.pop_first() {
            let (_, to_here) = reached[&here].clone();
            for (way, leave) in self.layout.ways_from(here) {
                let passage = Traverse { section: self.layout.ends[here].section, enter: here, way, leave };
                let again = to_here.iter().any(|before| before.section == passage.section);
                if again || !may_go(passage) {
                    continue;
                }
                let path: Path = to_here.iter().copied().chain([passage]).collect();
                if self.is_plain(&passage) {
                    paths.push(path.clone());
                    if paths.len() >= PLACES {
                        return paths;
                    }
                }
                let [next] = self.layout.ends[leave].meets[..] else { continue };
                let total = so_far + distance_cost(&self.layout, &passage);
                if !may_leave_by(leave) || reached.get(&next).is_some_and(|&(known, _)| known <= total) {
                    continue;
                }
                if let Some((known, _)) = reached.insert(next, (total, path)) {
                    queue.remove(&(known, next));
                }
                queue.insert((total, next));
            }
        }
        paths
    }

    /// Whether a train can stand there and not be in a throat.
    fn is_plain(&self, passage: &Traverse) -> bool {
        self.layout.sections[passage.section].ways.len() == 1 && !self.hides_trains(passage.section)
    }

    /// Whether the train could be granted a passage now.
    fn is_clear(&self, train: TrainId, passage: Traverse, start: EndId, picture: &impl Picture) -> bool {
        let starts = passage.enter == start;
        let can_lie = |need: &track::Need| {
            let lies = self.turnouts.lie(need.turnout) == Some(need.lie);
            lies || self.layout.turnouts[need.turnout].worked && self.may_throw(need.turnout, picture).is_ok()
        };
        self.is_free_for(train, passage.section, picture).is_ok()
            && !picture.is_frozen(passage.section)
            && (!starts || self.may_start_by(&passage, train, picture))
            && self.layout.ways[passage.way].needs.iter().all(can_lie)
    }

    /// What comes of a move; nothing where it is no gain.
    fn rehearse_aside(
        &mut self,
        found: Move,
        stand: &Whereabouts,
        cast: &Cast,
        picture: &impl Picture,
    ) -> Option<Move> {
        let train = found.train;
        let ground = self.ground_aside(&found);
        // It may stay there for ever, and lets others pass, or go home from there.
        let stays = self.rehearse_from(train, ground.clone(), Path::new(), cast, picture);
        let by_staying = (gain(&stays, cast, Some(train)), None);
        let leading = if found.turns_back { stand.leading.other() } else { stand.leading };
        let homeward = self.runs[train].leg().map(|to| self.home_from(train, to, &ground, leading, picture));
        let goes = homeward.unwrap_or_default().into_iter().map(|(ground, course)| {
            let plan = course.path.iter().skip(1).copied().collect();
            let goes = self.rehearse_from(train, ground, plan, cast, picture);
            (gain(&goes, cast, None).filter(|_| goes.is_home(train)), Some(course))
        });
        let best = goes.chain([by_staying]).max_by_key(|(gets_home, _)| *gets_home)?;
        Some(Move { gets_home: best.0?, then: best.1, ..found })
    }

    /// What the train would stand on, or have behind it, from the tail on.
    fn ground_aside(&self, found: &Move) -> VecDeque<Traverse> {
        let granted = self.runs[found.train].granted.iter();
        if !found.turns_back {
            return granted.chain(&found.path).copied().collect();
        }
        let first = found.path.first().map(|passage| passage.section);
        let mut ground: VecDeque<Traverse> = granted.rev().map(turned).collect();
        while ground.back().is_some_and(|last| Some(last.section) == first) {
            ground.pop_back();
        }
        ground.extend(&found.path);
        ground
    }

    /// Ways home from where it would stand aside, each with what it would stand on then: ahead, and after turning back.
    fn home_from(
        &self,
        train: TrainId,
        to: Destination,
        ground: &VecDeque<Traverse>,
        leading: Direction,
        picture: &impl Picture,
    ) -> Vec<(VecDeque<Traverse>, Course)> {
        let covered = self.covered(train, ground);
        let is_under =
            |section| ground.iter().skip(ground.len() - covered).any(|passage: &Traverse| passage.section == section);
        let back: VecDeque<Traverse> = ground.iter().skip(ground.len() - covered).rev().map(turned).collect();
        let mut ways = Vec::new();
        for (ground, turns_back) in [(ground, false), (&back, true)] {
            let leading = if turns_back { leading.other() } else { leading };
            let Some(&last) = ground.back() else { continue };
            let [enter] = self.layout.ends[last.leave].meets[..] else { continue };
            if let Some((onward, _)) = self.path_clear_of(&is_under, enter, train, to, picture)
                && !self.gropes(train, leading, &onward)
            {
                let path = [last].into_iter().chain(onward).collect();
                ways.push((ground.clone(), Course { path, turns_back }));
            }
        }
        ways
    }

    /// So many of the last passages the train covers, standing at the end of them.
    fn covered(&self, train: TrainId, ground: &VecDeque<Traverse>) -> usize {
        let mut to_cover = self.train_length(train).unwrap_or(Length::from_um(1)) + NEXT_AXLE + STOPPING_ERROR;
        let mut count = 0;
        for passage in ground.iter().rev() {
            if to_cover <= Length::ZERO {
                break;
            }
            to_cover -= self.layout.ways[passage.way].length.unwrap_or(to_cover);
            count += 1;
        }
        count
    }

    /// Rehearses everybody, with one train on other ground and with another plan.
    fn rehearse_from(
        &mut self,
        train: TrainId,
        ground: VecDeque<Traverse>,
        plan: Path,
        cast: &Cast,
        picture: &impl Picture,
    ) -> Scene {
        let run = &mut self.runs[train];
        let granted = std::mem::replace(&mut run.granted, ground);
        let planned = std::mem::replace(&mut run.plan, plan.into());
        let is_planned = std::mem::replace(&mut run.is_planned, true);
        // Whatever is behind the first of its ground it has left.
        let nose = std::mem::take(&mut run.nose);
        let scene = self.rehearse(&cast.company, &cast.newcomers, None, picture);
        let run = &mut self.runs[train];
        (run.granted, run.plan, run.is_planned, run.nose) = (granted, planned, is_planned, nose);
        scene
    }

    /// Whether a train that lies over a turnout, so that no path leads there, would find one having drawn clear of it.
    pub(super) fn could_draw_clear(
        &self,
        train: TrainId,
        stand: &Whereabouts,
        to: Destination,
        picture: &impl Picture,
    ) -> bool {
        if stand.footprint.iter().all(|hold| self.layout.sections[hold.section].ways.len() == 1) {
            return false;
        }
        let ahead = stand.footprint.last().and_then(|hold| hold.enter).map(|enter| (enter, stand.leading));
        let behind = self.enter_after_turning(stand).map(|enter| (enter, stand.leading.other()));
        ahead.into_iter().chain(behind).any(|(start, leading)| {
            let may_go = |passage: Traverse| {
                let worked = |need: &track::Need| {
                    self.layout.turnouts[need.turnout].worked || self.turnouts.lie(need.turnout) == Some(need.lie)
                };
                (passage.enter != start || self.may_start_by(&passage, train, picture))
                    && self.withdrawal(passage.section).is_none()
                    && self.layout.ways[passage.way].needs.iter().all(worked)
            };
            self.paths_near(start, may_go, |_| true).into_iter().any(|path| {
                let ground: VecDeque<Traverse> = path.into_iter().collect();
                let has_room = self.train_length(train).is_none_or(|length| {
                    let lengths = ground.iter().map(|passage| self.layout.ways[passage.way].length.unwrap_or(length));
                    lengths.fold(Length::ZERO, |sum, length| sum + length) >= length + NEXT_AXLE + STOPPING_ERROR
                });
                has_room && !self.home_from(train, to, &ground, leading, picture).is_empty()
            })
        })
    }

    fn set_aside<P: Picture>(&mut self, found: Move, now: Time, picture: &mut P, outputs: &mut Vec<Output>) {
        let Move { train, turns_back, path, then, .. } = found;
        let last = path.last().or(self.runs[train].granted.back()).map(|passage| passage.section);
        let is_drawing_up = path.is_empty() && !turns_back;
        if turns_back {
            let overhang = self.overhang(train);
            let course = Course { path, turns_back };
            if self.set_out(train, &course, &overhang, now, picture, outputs).is_err() {
                return;
            }
            // Before anything is granted ahead: where it stands needs no proof.
            self.prove(train, picture, outputs);
        } else {
            self.adopt_plan(train, &path, 0);
        }
        let homecomings = self.homecomings;
        let run = &mut self.runs[train];
        let aside = Aside { then, draws_up_from: is_drawing_up.then_some(now) };
        (run.aside, run.drew_aside_at, run.is_admitted) = (Some(aside), Some(homecomings), true);
        if let Some(section) = last {
            self.wait(train, Wait::DrawsAside { section }, outputs);
        }
        self.touch(train);
    }

    /// A train has drawn aside: it plans anew.
    pub(super) fn has_drawn_aside(&mut self, train: TrainId) -> bool {
        let Some(aside) = self.runs[train].aside.take() else { return false };
        self.forget_plan(train);
        let run = &mut self.runs[train];
        run.then = aside.then;
        if aside.draws_up_from.is_some_and(|since| self.now.since(since) < AT_ONCE) {
            // It was as close as it can tell already.
            run.drawn_up_to = run.granted.back().map(|last| last.leave);
        }
        self.is_stirred = true;
        self.look_again(train, self.now);
        true
    }
}

/// So many of the others get home, and of all if nobody is left out; nothing unless it is more than now, and all who do now.
fn gain(scene: &Scene, cast: &Cast, but: Option<TrainId>) -> Option<usize> {
    let others = |train: &&TrainId| Some(**train) != but;
    let home = cast.company.iter().filter(others).filter(|&&train| scene.is_home(train)).count();
    let keeps_all = cast.home.iter().all(|&train| scene.is_home(train));
    (keeps_all && home > cast.home.len()).then_some(home)
}

fn turned(passage: &Traverse) -> Traverse {
    Traverse { enter: passage.leave, leave: passage.enter, ..*passage }
}
