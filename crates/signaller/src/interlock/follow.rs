//! Following a train through what it was granted: where its nose is, what lies behind its tail, and whether it is where it
//! may be.

use std::time::Duration;

use track::{Length, Path, SectionId, TrainId, Traverse};

use super::astray::reaches_beyond;
use super::by_hand::Driver;
use super::plan::Course;
use super::{HoldKind, Interlock, Run, Wait};
use crate::door::{Destination, Fact, Output, Tag};
use crate::drive::Drive;
use crate::identity::Whereabouts;
use crate::picture::Picture;
use crate::time::Time;

/// A train that turns back on its way stands so long first: until it surely stands, as nobody sees. Common practice, no source.
const TURNS_AFTER: Duration = Duration::from_secs(4);

/// A train that waits to turn back until it is clear what it has left looks again this often.
const SETTLES: Duration = Duration::from_millis(500);

impl Interlock {
    /// Brings what is kept of a train up to date with where it stands.
    pub(super) fn follow(&mut self, train: TrainId, now: Time, picture: &impl Picture, outputs: &mut Vec<Output>) {
        if self.is_called(train) {
            return;
        }
        self.give_back_lent(train, now, picture, outputs);
        if self.is_driven_by_hand(train) {
            self.follow_by_hand(train, picture, outputs);
            return;
        }
        let run = &self.runs[train];
        if run.granted.is_empty() && run.to.is_none() && !run.holds.any() {
            return;
        }
        let stand = picture.whereabouts(train, now);
        if let Some(stand) = &stand {
            self.hold_while_dark(train, stand, picture, outputs);
        }
        if self.runs[train].granted.is_empty() {
            if stand.is_none_or(|stand| stand.sure) {
                self.lift_hold(train, HoldKind::Doubt, outputs);
            }
            return;
        }
        if let Some(stand) = &stand {
            self.note_misled(train, stand, outputs);
        }
        self.note_sight(train, now, stand.as_ref(), picture);
        match stand {
            None => self.hold_in_doubt(train, "nobody knows where it stands", outputs),
            Some(stand) if self.may_be_unknown_beside(train, &stand, picture) => {
                self.hold_in_doubt(train, "it is not sure where it stands", outputs);
            }
            Some(stand) if !stand.sure => self.follow_in_doubt(train, now, picture, outputs),
            Some(stand) => {
                let run = &mut self.runs[train];
                run.is_stuck_in_doubt = false;
                run.was_called_in_vain &= picture.is_strange(train);
                self.lift_no_answer(train, &stand, outputs);
                if self.runs[train].holds.has(HoldKind::Astray) {
                    self.note_found(train, &stand, outputs);
                }
                match self.nose_among_granted(train, &stand) {
                    Some(nose) => {
                        self.lift_hold(train, HoldKind::Doubt, outputs);
                        self.advance(train, nose);
                        self.release_behind(train, picture, outputs);
                    }
                    None => self.hold_astray(train, &stand, outputs),
                }
            }
        }
    }

    /// Which granted passage the nose is in; nothing unless the whole train stands within its authority.
    pub(super) fn nose_among_granted(&self, train: TrainId, stand: &Whereabouts) -> Option<usize> {
        let run = &self.runs[train];
        let last = stand.footprint.last()?;
        let fits = |passage: &Traverse| {
            passage.section == last.section && last.enter.is_none_or(|enter| enter == passage.enter)
        };
        let nose = (run.nose..run.proved).find(|&place| fits(&run.granted[place]))?;
        let within = |section| run.granted.iter().take(nose + 1).any(|passage| passage.section == section);
        stand.footprint.iter().all(|hold| within(hold.section)).then_some(nose)
    }

    pub(super) fn advance(&mut self, train: TrainId, nose: usize) {
        for place in self.runs[train].nose..nose {
            self.clear_signal(self.runs[train].granted[place], false);
        }
        if std::mem::replace(&mut self.runs[train].nose, nose) != nose {
            (self.runs[train].lacks_track, self.runs[train].drawn_up_to) = (true, None);
            self.is_stirred = true;
        }
    }

    /// Sets or takes back the route past the signal at the far end of a passage, if there is one.
    pub(super) fn clear_signal(&mut self, passage: Traverse, cleared: bool) {
        let Some(signal) = self.layout.main_signal(passage.leave) else { return };
        // One that is cleared for a route that somebody set is none of the train's.
        if !cleared && self.cleared_up_to(signal).is_some() {
            return;
        }
        if std::mem::replace(&mut self.cleared[signal], cleared) != cleared {
            self.cleared_anew.push(signal);
        }
    }

    /// Gives back, from the tail on, every section in which no account has the train any more.
    pub(super) fn release_behind(&mut self, train: TrainId, picture: &impl Picture, outputs: &mut Vec<Output>) {
        while self.runs[train].nose > 0 {
            let section = self.runs[train].granted[0].section;
            if picture.holders(section).contains(&train) {
                break;
            }
            let Some(passage) = self.runs[train].granted.pop_front() else { break };
            self.runs[train].nose -= 1;
            self.runs[train].proved -= 1;
            self.give_back(train, passage, outputs);
        }
    }

    /// Undoes the grant of a passage that was taken out of the train's list.
    pub(super) fn give_back(&mut self, train: TrainId, passage: Traverse, outputs: &mut Vec<Output>) {
        self.turnouts.unlock(passage.way, train);
        self.is_stirred = true;
        self.freed += 1;
        if !self.runs[train].guards.is_empty() {
            self.release_guards(train);
        }
        // A path may lead through a section twice, and one beside it into it.
        let run = &self.runs[train];
        if run.granted.iter().chain(&run.lent).any(|other| other.section == passage.section) {
            return;
        }
        debug_assert_eq!(self.granted_to[passage.section], Some(train));
        self.granted_to[passage.section] = None;
        self.regranted.push(passage.section);
        outputs.push(Output::Fact(Fact::SectionReleased { train, section: passage.section }));
    }

    /// Gives back everything ahead of a train that surely stands, but for what its nose may reach into, and forgets its plan.
    pub(super) fn give_back_ahead(
        &mut self,
        train: TrainId,
        now: Time,
        picture: &impl Picture,
        outputs: &mut Vec<Output>,
    ) {
        let keep = self.reaches(train, picture.whereabouts(train, now).as_ref(), picture);
        self.give_back_from(train, keep, outputs);
        self.forget_plan(train);
        // Part of a piece is no authority: it is proved again, and its signal cleared, when the piece is whole again.
        for place in self.runs[train].nose..self.runs[train].granted.len() {
            self.clear_signal(self.runs[train].granted[place], false);
        }
        let run = &mut self.runs[train];
        run.proved = run.proved.min(run.nose + 1);
    }

    /// So many of what it was granted the train stands on, has behind it or may reach into with its nose.
    pub(super) fn reaches(&self, train: TrainId, stand: Option<&Whereabouts>, picture: &impl Picture) -> usize {
        let run = &self.runs[train];
        let mut keep = (run.nose + 1).min(run.granted.len());
        // How far the nose reaches, whatever of it detectors see, beyond the far end of the last passage kept.
        let mut beyond = None;
        while keep > 0
            && let Some(passage) = run.granted.get(keep)
        {
            let length = self.layout.ways[run.granted[keep - 1].way].length;
            let further = reaches_beyond(stand, beyond, length);
            beyond = Some(further);
            if further <= Length::ZERO && !picture.holders(passage.section).contains(&train) {
                break;
            }
            keep += 1;
        }
        keep
    }

    /// Gives back everything a train was granted.
    pub(super) fn give_back_all(&mut self, train: TrainId, outputs: &mut Vec<Output>) {
        self.give_back_from(train, 0, outputs);
        self.forget_plan(train);
        self.runs[train].nose = 0;
    }

    fn give_back_from(&mut self, train: TrainId, keep: usize, outputs: &mut Vec<Output>) {
        for place in keep.saturating_sub(1)..self.runs[train].granted.len() {
            self.clear_signal(self.runs[train].granted[place], false);
        }
        while self.runs[train].granted.len() > keep {
            let Some(passage) = self.runs[train].granted.pop_back() else { break };
            self.give_back(train, passage, outputs);
        }
        let run = &mut self.runs[train];
        run.proved = run.proved.min(run.granted.len());
    }

    /// What is to happen with the train next, now that it is known where it stands.
    pub(super) fn decide<P: Picture>(
        &mut self,
        train: TrainId,
        now: Time,
        picture: &mut P,
        drive: &Drive,
        outputs: &mut Vec<Output>,
    ) {
        let stands = drive.is_at_rest(train);
        self.is_stirred |= !std::mem::replace(&mut self.runs[train].stands, stands) && stands;
        if stands && !self.runs[train].guards.is_empty() {
            self.release_guards(train);
        }
        if self.is_driven_by_hand(train) || self.is_called(train) {
            return;
        }
        if stands && self.runs[train].driver == Driver::HandingOver {
            let was_held = self.is_held(train);
            self.hand_over(train, now, picture, outputs);
            if was_held && self.everything_stopped {
                outputs.push(Output::Fact(Fact::HoldLifted { train }));
            }
            return;
        }
        self.try_again(train, now, drive, outputs);
        if stands {
            self.settle_astray(train, now, picture, outputs);
            self.settle_facing(train, now, picture);
        }
        let is_sure = picture.whereabouts(train, now).is_none_or(|stand| stand.sure);
        let in_doubt = |run: &Run| run.holds.has(HoldKind::Doubt) || run.holds.has(HoldKind::Astray) || !is_sure;
        if self.runs[train].must_stand && stands && !in_doubt(&self.runs[train]) {
            self.runs[train].must_stand = false;
            self.give_back_ahead(train, now, picture, outputs);
        }
        let run = &self.runs[train];
        let lacks_plan = run.to.is_some() && !run.is_planned || run.must_stand;
        if !is_sure && stands && lacks_plan && !run.granted.is_empty() {
            self.stick_in_doubt(train, outputs);
        }
        let run = &self.runs[train];
        if run.to.is_some() && !run.is_planned && !run.must_stand && !in_doubt(run) {
            let dwells_until = run.dwells_until;
            if stands && now < dwells_until {
                self.look_again(train, dwells_until);
                self.wait(train, Wait::Dwells, outputs);
            } else {
                self.plan(train, now, picture, stands, outputs);
            }
        }
        self.prove(train, picture, outputs);
    }

    /// The train stands at the end of its authority: if that is its destination, it has arrived.
    pub(super) fn arrive_if_there(&mut self, train: TrainId, outputs: &mut Vec<Output>) {
        let run = &self.runs[train];
        let has_all = run.is_planned && run.plan.is_empty() && run.proved == run.granted.len();
        // Aside it may stand short of the last section, if it cannot tell how far it is: that is as good as it gets.
        if has_all && !self.has_drawn_aside(train) && self.runs[train].nose + 1 == self.runs[train].granted.len() {
            self.arrive(train, outputs);
        }
    }

    fn arrive(&mut self, train: TrainId, outputs: &mut Vec<Output>) {
        let run = &mut self.runs[train];
        run.waits_for = None;
        let turns = run.turns_first.take();
        let to = if turns.is_some() { None } else { run.to.take() };
        self.forget_plan(train);
        self.homecomings += 1;
        if let Some(at) = turns {
            let section = self.section_of(at);
            let run = &mut self.runs[train];
            run.turned_in.push(section);
            run.dwells_until = self.now + TURNS_AFTER;
            self.look_again(train, self.now);
        }
        if let Some(at) = to {
            let dwell = self.roster.train(train).map_or(Duration::ZERO, |described| described.dwell);
            if let Destination::Stop(_) = at {
                self.runs[train].dwells_until = self.now + dwell;
            }
            outputs.push(Output::Fact(Fact::Arrived { train, at }));
        }
        // Orders that could not be admitted beside this one may be now.
        self.is_stirred = true;
    }

    /// Says once that a train began to move towards its destination.
    pub(crate) fn departed(&mut self, train: TrainId, outputs: &mut Vec<Output>) {
        let run = &mut self.runs[train];
        run.stopped_dead_at = None;
        if let Some(to) = run.to.filter(|_| !run.has_departed && run.aside.is_none()) {
            run.has_departed = true;
            outputs.push(Output::Fact(Fact::Departed { train, to }));
        }
    }

    pub(super) fn hold_in_doubt(&mut self, train: TrainId, why: &str, outputs: &mut Vec<Output>) {
        self.set_hold(train, HoldKind::Doubt, why.to_owned(), outputs);
    }

    /// Finds a path to the train's destination from where it is, and remembers it as its plan.
    fn plan<P: Picture>(
        &mut self,
        train: TrainId,
        now: Time,
        picture: &mut P,
        stands: bool,
        outputs: &mut Vec<Output>,
    ) {
        let Some(to) = self.runs[train].leg() else { return };
        if !stands {
            let path = self.path_onward(train, to, picture).or_else(|| self.path_to_turn(train, now, picture, outputs));
            match path {
                Some(path) => self.adopt_plan(train, &path, 0),
                None => self.runs[train].must_stand = true,
            }
            return;
        }
        self.give_back_ahead(train, now, picture, outputs);
        let planned = match self.plan_from_standing(train, to, now, picture, outputs) {
            Err(Wait::NoPath) => self.plan_by_turning(train, now, picture, outputs),
            planned => planned,
        };
        match planned {
            Ok(()) => {}
            Err(wait) => {
                self.wait(train, wait, outputs);
                if wait == Wait::NoPath {
                    self.look_for_place(train, now, picture, outputs);
                }
            }
        }
    }

    /// A moving train may have to turn back on its way, and go on until then.
    fn path_to_turn(
        &mut self,
        train: TrainId,
        now: Time,
        picture: &impl Picture,
        outputs: &mut Vec<Output>,
    ) -> Option<Path> {
        let stand = picture.whereabouts(train, now).filter(|stand| stand.sure)?;
        let to = self.runs[train].to.filter(|&to| !self.can_ever_come(&stand, to))?;
        let at = self.turning_ahead(train, to, picture)?.at;
        let path = self.path_onward(train, at, picture)?;
        self.runs[train].turns_first = Some(at);
        self.wait(train, Wait::TurnsFirst { at }, outputs);
        Some(path)
    }

    /// No path leads there from where a train stands, but one may that turns back on its way.
    fn plan_by_turning<P: Picture>(
        &mut self,
        train: TrainId,
        now: Time,
        picture: &mut P,
        outputs: &mut Vec<Output>,
    ) -> Result<(), Wait> {
        let stand = picture.whereabouts(train, now).filter(|stand| stand.sure).ok_or(Wait::NotSure)?;
        let to = self.runs[train].to.ok_or(Wait::NoPath)?;
        self.runs[train].turns_first = None;
        if self.could_draw_clear(train, &stand, to, picture) {
            return Err(Wait::NoPath);
        }
        let at = self.turning(train, &stand, to, picture).ok_or(Wait::NoPath)?.at;
        self.runs[train].turns_first = Some(at);
        self.plan_from_standing(train, at, now, picture, outputs)?;
        self.wait(train, Wait::TurnsFirst { at }, outputs);
        Ok(())
    }

    /// No path leads there from where a train stands: it waits for a place that it could draw aside to.
    fn look_for_place(&mut self, train: TrainId, now: Time, picture: &impl Picture, outputs: &mut Vec<Output>) {
        if self.runs[train].granted.is_empty()
            && let Some(stand) = picture.whereabouts(train, now)
        {
            // What its nose may reach into may be another's, and turnouts there may lie for that one.
            let grounds = [self.ground(&stand), self.stands_on(&stand)].into_iter().flatten();
            let free = grounds.into_iter().find(|ground| self.can_take_ground(train, ground, picture).is_ok());
            if let Some(ground) = free {
                self.take_ground(train, &ground, outputs);
            }
        }
        self.wanting.push(train);
    }

    fn plan_from_standing<P: Picture>(
        &mut self,
        train: TrainId,
        to: Destination,
        now: Time,
        picture: &mut P,
        outputs: &mut Vec<Output>,
    ) -> Result<(), Wait> {
        let stand = picture.whereabouts(train, now).filter(|stand| stand.sure).ok_or(Wait::NotSure)?;
        // What its nose reaches into unseen: it cannot take another way there, only go on or turn back.
        let overhang = self.overhang(train);
        if !overhang.is_empty()
            && let Some(path) = self.path_onward(train, to, picture)
        {
            self.adopt_plan(train, &path, 0);
            return Ok(());
        }
        let course = match overhang[..] {
            [] => self.course(train, &stand, to, picture),
            _ => self.course_back(train, &stand, to, picture),
        };
        let course = self.course_from_aside(train, &stand, &overhang).or(course).ok_or(Wait::NoPath)?;
        self.set_out(train, &course, &overhang, now, picture, outputs)
    }

    /// What its nose reaches into unseen.
    pub(super) fn overhang(&self, train: TrainId) -> Vec<Traverse> {
        let run = &self.runs[train];
        run.granted.iter().skip(run.nose + 1).copied().collect()
    }

    /// How a train that has drawn aside was to go on, if it stands as it was thought it would.
    fn course_from_aside(&mut self, train: TrainId, stand: &Whereabouts, overhang: &[Traverse]) -> Option<Course> {
        let course = self.runs[train].then.take().filter(|_| overhang.is_empty())?;
        let enter = match course.turns_back {
            true => self.enter_after_turning(stand),
            false => stand.footprint.last().and_then(|hold| hold.enter),
        };
        (enter.is_some() && course.path.first().map(|first| first.enter) == enter).then_some(course)
    }

    /// Lets a train that stands take the footing it needs for a course, and makes that its plan.
    pub(super) fn set_out<P: Picture>(
        &mut self,
        train: TrainId,
        course: &Course,
        overhang: &[Traverse],
        now: Time,
        picture: &mut P,
        outputs: &mut Vec<Output>,
    ) -> Result<(), Wait> {
        // Somebody may have pushed another train into what it only reaches into.
        for passage in overhang.iter().filter(|_| course.turns_back) {
            let section = passage.section;
            if let Tag::Sure(by) = picture.tag(section)
                && by != train
            {
                return Err(Wait::Taken { section, by });
            }
        }
        let stand = picture.whereabouts(train, now).filter(|stand| stand.sure).ok_or(Wait::NotSure)?;
        if course.turns_back && stand.footprint.iter().any(|hold| picture.is_emptying(hold.section)) {
            // Its tail has only just left that: told once it has turned back, it would be taken for its nose.
            self.look_again(train, now + SETTLES);
            return Err(Wait::Settling);
        }
        let stand = if course.turns_back {
            picture.turn_back(train, now, |section| self.granted_to[section] == Some(train));
            picture.whereabouts(train, now).filter(|stand| stand.sure).ok_or(Wait::NotSure)?
        } else {
            stand
        };
        let first = *course.path.first().ok_or(Wait::NoPath)?;
        let mut footing = self.footing(&stand, first).ok_or(Wait::NoPath)?;
        let turned = |passage: &Traverse| Traverse { enter: passage.leave, leave: passage.enter, ..*passage };
        footing.insert_many(0, overhang.iter().rev().map(turned));
        if let Some((section, by)) = footing.iter().find_map(|passage| {
            let by = self.granted_to[passage.section].filter(|&by| by != train)?;
            Some((passage.section, by))
        }) {
            return Err(Wait::Taken { section, by });
        }
        // What its nose reached into stays under it as it turns back, unless another has come there.
        for &Traverse { section, .. } in overhang {
            if let Some(&by) = picture.holders(section).iter().find(|&&by| by != train) {
                return Err(Wait::Taken { section, by });
            }
        }
        for passage in &footing {
            self.is_its_own(train, passage.section, picture)?;
            self.nobody_else_crosses(train, passage.section, picture)?;
            self.nobody_else_hides(train, passage.section, now, picture)?;
        }
        self.note_what_it_has(train);
        self.give_back_all(train, outputs);
        for &passage in &footing {
            self.take(train, passage);
        }
        self.runs[train].nose = footing.len() - 1;
        self.adopt_plan(train, &course.path, 1);
        Ok(())
    }

    /// Fails where a train is found on track that it does not have, and something strange happened near it: it may be another.
    pub(super) fn is_its_own(&self, train: TrainId, section: SectionId, picture: &impl Picture) -> Result<(), Wait> {
        match self.granted_to[section] == Some(train) || !picture.may_be_another(train, section) {
            true => Ok(()),
            false => Err(Wait::NotSure),
        }
    }

    /// Fails where something else than this train is in what crosses a section, or may come there.
    fn nobody_else_crosses(&self, train: TrainId, section: SectionId, picture: &impl Picture) -> Result<(), Wait> {
        for &crossed in &self.layout.sections[section].crosses {
            let holders = picture.holders(crossed);
            let mut there = self.granted_to[crossed].into_iter().chain(holders.iter().copied());
            if let Some(by) = there.find(|&by| by != train) {
                return Err(Wait::Taken { section: crossed, by });
            }
            if picture.is_occupied(crossed) && picture.tag(crossed) != Tag::Sure(train) {
                return Err(Wait::Occupied { section: crossed });
            }
        }
        Ok(())
    }

    /// Fails where another train may be in a section that this one stands in, and nothing shows it anywhere: two trains were said to
    /// be there, or one ran into the other's section unheard.
    fn nobody_else_hides(
        &self,
        train: TrainId,
        section: SectionId,
        now: Time,
        picture: &impl Picture,
    ) -> Result<(), Wait> {
        if self.layout.is_dark(section) {
            return Ok(());
        }
        let hides = |other: TrainId| {
            let stand = picture.whereabouts(other, now);
            stand.is_some_and(|stand| {
                stand.footprint.iter().all(|hold| !hold.seen && !self.layout.is_dark(hold.section))
            })
        };
        match picture.holders(section).iter().find(|&&other| other != train && hides(other)) {
            Some(&by) => Err(Wait::Taken { section, by }),
            None => Ok(()),
        }
    }

    /// Marks a passage as granted and its turnouts as locked.
    pub(super) fn take(&mut self, train: TrainId, passage: Traverse) {
        debug_assert!(self.granted_to[passage.section].is_none_or(|holder| holder == train), "granted twice");
        self.granted_to[passage.section] = Some(train);
        self.regranted.push(passage.section);
        self.turnouts.lock(passage.way, train);
        self.runs[train].granted.push_back(passage);
    }

    /// Makes `path`, without its first `skip` passages, the train's plan.
    pub(super) fn adopt_plan(&mut self, train: TrainId, path: &[Traverse], skip: usize) {
        self.forget_plan(train);
        self.replace_plan(train, &path[skip.min(path.len())..]);
        self.runs[train].is_planned = true;
        self.want_more(train);
        self.is_stirred = true;
    }

    /// Makes `path` what is still to be granted to the train.
    pub(super) fn replace_plan(&mut self, train: TrainId, path: &[Traverse]) {
        while self.next_of_plan(train).is_some() {}
        for passage in path {
            self.planned_by[passage.section].push(train);
        }
        let run = &mut self.runs[train];
        run.plan.extend(path);
        run.lacks_track = true;
    }

    /// Takes the first passage off the train's plan.
    pub(super) fn next_of_plan(&mut self, train: TrainId) -> Option<Traverse> {
        let passage = self.runs[train].plan.pop_front()?;
        let planners = &mut self.planned_by[passage.section];
        if let Some(place) = planners.iter().position(|&other| other == train) {
            planners.swap_remove(place);
        }
        Some(passage)
    }

    pub(super) fn forget_plan(&mut self, train: TrainId) {
        self.replace_plan(train, &[]);
        let run = &mut self.runs[train];
        (run.is_planned, run.is_admitted) = (false, false);
        (run.aside, run.then) = (None, None);
        self.may_admit = true;
        self.order_of_running.retain(|leg| !leg.is_of(train));
        self.wanting.retain(|&other| other != train);
    }

    /// Puts the train into the queue for more track, by the age of its order.
    fn want_more(&mut self, train: TrainId) {
        self.wanting.retain(|&other| other != train);
        if !self.runs[train].plan.is_empty() {
            let age = self.runs[train].age;
            let place = self.wanting.partition_point(|&other| self.runs[other].age <= age);
            self.wanting.insert(place, train);
        }
    }
}
