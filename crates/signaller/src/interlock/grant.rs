//! Granting track, from signal to signal, each piece as a whole or not at all.

use std::time::Duration;

use track::{Lie, SectionId, TrainId, Traverse, TurnoutId};

use super::{Interlock, Wait};
use crate::aspect::Signals;
use crate::door::{Fact, Output, Tag};
use crate::picture::Picture;
use crate::time::Time;

/// A train is granted so many pieces beyond the one that its nose is in, and no more: enough that it need not slow down for a
/// signal that is about to clear, and little enough that others get by.
const PIECES_AHEAD: usize = 2;

/// A waiting train looks for a way round this often.
const LOOK_ROUND: Duration = Duration::from_secs(4);

impl Interlock {
    /// Lets every train that wants more track try to get it, the oldest order first.
    pub(super) fn serve_waiting(
        &mut self,
        now: Time,
        picture: &impl Picture,
        signals: &Signals,
        outputs: &mut Vec<Output>,
    ) {
        let mut place = 0;
        while let Some(&train) = self.wanting.get(place) {
            if self.may_have_changed(train, now, picture) {
                self.extend(train, now, picture, signals, outputs);
            }
            if self.wanting.get(place) == Some(&train) {
                place += 1;
            }
        }
    }

    /// Whether it is worth trying to grant the train more: it may lack track, and what it waited for last may be gone.
    fn may_have_changed(&self, train: TrainId, now: Time, picture: &impl Picture) -> bool {
        let run = &self.runs[train];
        match run.waits_for {
            None => run.lacks_track,
            Some(Wait::Taken { section, by }) => {
                let is_gone = self.granted_to[section] != Some(by) && !picture.holders(section).contains(&by);
                is_gone || (run.look_round_at <= now && run.looked_round_at_freed != self.freed)
            }
            Some(_) => true,
        }
    }

    /// Grants the train as many pieces as it should have ahead of it and can have.
    fn extend(
        &mut self,
        train: TrainId,
        now: Time,
        picture: &impl Picture,
        signals: &Signals,
        outputs: &mut Vec<Output>,
    ) {
        while !self.runs[train].plan.is_empty() {
            if self.pieces_ahead(train) >= PIECES_AHEAD {
                let freed = self.freed;
                let run = &mut self.runs[train];
                (run.lacks_track, run.looked_round_at_freed) = (false, freed);
                return;
            }
            let run = &self.runs[train];
            if self.is_called(train) || run.must_stand || self.everything_stopped || run.holds.any() {
                return;
            }
            if !self.runs[train].is_admitted {
                let obstacle = self.first_obstacle(train, picture);
                self.wait(train, obstacle, outputs);
                return;
            }
            let mut grantable = self.grantable(train, picture, signals);
            if let Err(wait) = grantable
                && self.should_look_round(train, wait, now)
                && self.find_way_round(train, picture)
            {
                grantable = self.grantable(train, picture, signals);
            }
            match grantable {
                Ok(count) => self.grant(train, count, now, picture, outputs),
                Err(wait) => {
                    self.wait(train, wait, outputs);
                    return;
                }
            }
        }
    }

    /// What stands in the way of an order that is not admitted: the first thing on its path, or that others have to pass.
    fn first_obstacle(&self, train: TrainId, picture: &impl Picture) -> Wait {
        let plan = &self.runs[train].plan;
        let on_its_path = (0..plan.len()).map(|place| self.is_available(train, place, picture)).find_map(Result::err);
        let beyond = || plan.back().and_then(|last| self.overlap_is_free_for(train, last.leave, picture).err());
        on_its_path.or_else(beyond).unwrap_or(Wait::OthersFirst)
    }

    fn pieces_ahead(&self, train: TrainId) -> usize {
        let run = &self.runs[train];
        let ends_of_pieces = run.granted.iter().skip(run.nose).filter(|passage| self.ends_a_piece(passage)).count();
        // The last one granted ends a piece too, which has nothing granted beyond it.
        ends_of_pieces.saturating_sub(1)
    }

    fn ends_a_piece(&self, passage: &Traverse) -> bool {
        self.layout.main_signal(passage.leave).is_some()
    }

    /// How many passages of its plan the train can be granted now: the fewest pieces after which it blocks nobody for ever.
    fn grantable(&mut self, train: TrainId, picture: &impl Picture, signals: &Signals) -> Result<usize, Wait> {
        let mut count = 0;
        while count < self.runs[train].plan.len() {
            if let Some(signal) = self.signal_before(train, count).filter(|&signal| signals.is_kept_at_danger(signal)) {
                return Err(Wait::Kept { signal });
            }
            if let Some(signal) = self.signal_before(train, count)
                && let Some(by) = self.kept_for_flank(signal)
            {
                return Err(Wait::FlankSignal { signal, by });
            }
            loop {
                self.is_available(train, count, picture)?;
                count += 1;
                let plan = &self.runs[train].plan;
                if count == plan.len() || self.ends_a_piece(&plan[count - 1]) {
                    break;
                }
            }
            let end = self.runs[train].plan[count - 1].leave;
            self.overlap_is_free_for(train, end, picture)?;
            self.overlap_can_be_had(train, end, picture)?;
            if self.is_safe(train, count, picture) {
                return Ok(count);
            }
        }
        Err(Wait::OthersFirst)
    }

    fn signal_before(&self, train: TrainId, place: usize) -> Option<track::SignalId> {
        let run = &self.runs[train];
        let before = if place == 0 { run.granted.back() } else { run.plan.get(place - 1) };
        before.and_then(|passage| self.layout.main_signal(passage.leave))
    }

    /// Whether a planned passage is free, and its turnouts lie right or may be thrown.
    fn is_available(&self, train: TrainId, place: usize, picture: &impl Picture) -> Result<(), Wait> {
        let run = &self.runs[train];
        let passage = run.plan[place];
        self.is_free_for(train, passage.section, picture)?;
        for need in &self.layout.ways[passage.way].needs {
            // The plan itself may need the turnout otherwise before this.
            let earlier = run.plan.iter().take(place).flat_map(|passage| &self.layout.ways[passage.way].needs);
            if earlier.into_iter().any(|other| other.turnout == need.turnout && other.lie != need.lie) {
                return Err(Wait::Locked { turnout: need.turnout, by: train });
            }
            if self.turnouts.lie(need.turnout) != Some(need.lie) {
                if self.turnouts.is_doubtful(need.turnout) {
                    return Err(Wait::Doubtful { turnout: need.turnout });
                }
                self.may_throw_for(Some(train), need.turnout, picture)?;
                if !self.layout.turnouts[need.turnout].worked {
                    return Err(Wait::ByHand { turnout: need.turnout, lie: need.lie });
                }
            }
        }
        Ok(())
    }

    pub(super) fn is_free_for(&self, train: TrainId, section: SectionId, picture: &impl Picture) -> Result<(), Wait> {
        #[cfg(test)]
        if self.planted == Some(super::checking::Bug::GrantsWhatIsTaken) {
            return Ok(());
        }
        self.is_nobodys_overlap(Some(train), section)?;
        self.in_service(section)?;
        self.not_routed(section)?;
        self.crossing_is_clear(section, picture)?;
        if let Some(by) = self.granted_to[section].filter(|&by| by != train) {
            return Err(Wait::Taken { section, by });
        }
        let holders = picture.holders(section);
        if let Some(&by) = holders.iter().find(|&&holder| holder != train) {
            return Err(Wait::Taken { section, by });
        }
        if picture.is_occupied(section) && picture.tag(section) != Tag::Sure(train) {
            return Err(Wait::Occupied { section });
        }
        Ok(())
    }

    /// Whether whatever crosses a section is in service, nobody's, and clear. A train that crosses its own path is in its own
    /// way, too, until its tail has left.
    pub(super) fn crossing_is_clear(&self, section: SectionId, picture: &impl Picture) -> Result<(), Wait> {
        self.layout.sections[section].crosses.iter().try_for_each(|&crossed| {
            self.not_routed(crossed)?;
            self.is_clear_for_all(crossed, picture)
        })
    }

    /// Whether the signaller may throw a turnout.
    pub(super) fn may_throw(&self, turnout: TurnoutId, picture: &impl Picture) -> Result<(), Wait> {
        self.may_throw_for(None, turnout, picture)
    }

    /// Whether the signaller may throw a turnout for the way of a train.
    pub(super) fn may_throw_for(
        &self,
        train: Option<TrainId>,
        turnout: TurnoutId,
        picture: &impl Picture,
    ) -> Result<(), Wait> {
        self.turnout_in_service(turnout)?;
        self.turnout_is_in_nobodys_overlap(train, turnout)?;
        self.may_move(turnout, picture)
    }

    /// Whether a turnout may move: not under a lock, not under a train or what may be one, not under a grant.
    pub(super) fn may_move(&self, turnout: TurnoutId, picture: &impl Picture) -> Result<(), Wait> {
        #[cfg(test)]
        if self.planted == Some(super::checking::Bug::ThrowsWhatIsLocked) {
            return Ok(());
        }
        self.turnout_not_routed(turnout)?;
        self.may_move_but_for_routes(turnout, picture)
    }

    /// The same, whatever set routes have locked.
    pub(super) fn may_move_but_for_routes(&self, turnout: TurnoutId, picture: &impl Picture) -> Result<(), Wait> {
        if let Some(&by) = self.turnouts.locked_by(turnout).first() {
            return Err(Wait::Locked { turnout, by });
        }
        for &section in &self.layout.turnouts[turnout].sections {
            if let Some(by) = self.granted_to[section] {
                return Err(Wait::Taken { section, by });
            }
            if picture.is_occupied(section) || !picture.holders(section).is_empty() {
                return Err(Wait::Covered { turnout, section });
            }
        }
        Ok(())
    }

    /// Grants the first `count` passages of the plan: all of them are free, so they are taken together.
    fn grant(&mut self, train: TrainId, count: usize, now: Time, picture: &impl Picture, outputs: &mut Vec<Output>) {
        for _ in 0..count {
            let Some(passage) = self.next_of_plan(train) else { break };
            for need in &self.layout.ways[passage.way].needs {
                self.turnouts.throw(need.turnout, need.lie, now, outputs);
            }
            self.take(train, passage);
        }
        self.guard(train, count, now, picture, outputs);
        self.throw_overlap(train, now, outputs);
        if self.runs[train].plan.is_empty() {
            self.wanting.retain(|&other| other != train);
        }
        (self.runs[train].waits_for, self.runs[train].waited_before) = (None, false);
        self.touch(train);
        self.prove(train, picture, outputs);
    }

    /// Extends the train's authority over what it was granted, once every turnout there is known to lie right, and if all of it is
    /// still free.
    pub(super) fn prove(&mut self, train: TrainId, picture: &impl Picture, outputs: &mut Vec<Output>) {
        let run = &self.runs[train];
        if run.proved == run.granted.len() {
            return;
        }
        // What its nose reaches into without a plan, or part of a piece, is no authority.
        let ends_a_piece = run.granted.back().is_some_and(|last| self.ends_a_piece(last));
        let is_whole = run.is_planned && (run.plan.is_empty() || ends_a_piece);
        if !is_whole && run.granted.len() > run.nose + 1 {
            return;
        }
        // What the train stands on cannot be proved, and need not be.
        let unproved = run.granted.iter().enumerate().skip(run.proved.max(run.nose + 1));
        let mut needs = unproved.flat_map(|(_, passage)| &self.layout.ways[passage.way].needs);
        if let Some(need) = needs.find(|need| self.turnouts.lie(need.turnout) != Some(need.lie)) {
            if self.turnouts.is_stuck(need.turnout) {
                self.wait(train, self.why_stuck(need.turnout), outputs);
            }
            return;
        }
        // Nor need what is beside that, or before it.
        let goes_on = self.runs[train].granted.len() > self.runs[train].nose + 1;
        if let Some(turnout) = self.unproved_beside(train).filter(|_| goes_on) {
            if self.turnouts.is_stuck(turnout) {
                self.wait(train, self.why_stuck(turnout), outputs);
            }
            return;
        }
        let run = &self.runs[train];
        let places = run.proved.max(run.nose + 1)..run.granted.len();
        let passages = places.map(|place| run.granted[place].section);
        if let Some(wait) = passages.map(|section| self.is_free_for(train, section, picture)).find_map(Result::err) {
            self.wait(train, wait, outputs);
            return;
        }
        let run = &self.runs[train];
        let before = run.proved;
        let sections = run.granted.iter().skip(before).map(|passage| passage.section).collect();
        outputs.push(Output::Fact(Fact::RouteSet { train, sections }));
        let run = &mut self.runs[train];
        run.waits_for = run.waits_for.filter(|_| !run.plan.is_empty());
        run.proved = run.granted.len();
        let (first, last) = (before.max(run.nose + 1) - 1, run.proved - 1);
        for place in first..last {
            self.clear_signal(self.runs[train].granted[place], true);
        }
    }

    fn why_stuck(&self, turnout: TurnoutId) -> Wait {
        if self.turnouts.is_doubtful(turnout) { Wait::Doubtful { turnout } } else { Wait::Stuck { turnout } }
    }

    /// The first turnout beside the path that does not lie yet as it protects the train, or as its overlap needs it.
    fn unproved_beside(&self, train: TrainId) -> Option<TurnoutId> {
        let overlap = || {
            let end = self.runs[train].granted.back()?.leave;
            let is_settled = |(turnout, lie): (TurnoutId, Option<Lie>)| match lie {
                Some(lie) => self.turnouts.lie(turnout) == Some(lie),
                None => !self.turnouts.moves(turnout),
            };
            self.overlap_turnouts(train, end).find(|&it| !is_settled(it)).map(|(turnout, _)| turnout)
        };
        self.unproved_guard(train).map(|need| need.turnout).or_else(overlap)
    }

    /// Whether to look for a way round: at once when the train has to wait for something else than before, and then every few
    /// seconds, if anything was freed meanwhile.
    fn should_look_round(&mut self, train: TrainId, wait: Wait, now: Time) -> bool {
        let (freed, run) = (self.freed, &mut self.runs[train]);
        let is_due = run.look_round_at <= now && run.looked_round_at_freed != freed;
        if run.waits_for == Some(wait) && !is_due {
            return false;
        }
        run.look_round_at = now + LOOK_ROUND;
        run.looked_round_at_freed = freed;
        true
    }

    /// Plans anew from the end of what was granted, if that leads another way than before.
    fn find_way_round(&mut self, train: TrainId, picture: &impl Picture) -> bool {
        let Some(to) = self.runs[train].leg().filter(|_| self.runs[train].aside.is_none()) else { return false };
        let Some(path) = self.path_onward(train, to, picture) else { return false };
        if path.is_empty() || self.runs[train].plan.iter().eq(path.iter()) {
            return false;
        }
        // Another path to the same place: whoever was admitted stays so, or nothing would be gained.
        self.adopt_if_safe(train, &path, picture)
    }

    /// Takes note of what the train was told to have, before it gives that back to be granted some of it anew. What it was granted
    /// beyond that it has not heard of yet.
    pub(super) fn note_what_it_has(&mut self, train: TrainId) {
        let run = &self.runs[train];
        let had = run.granted.iter().take(run.proved).map(|passage| (train, passage.section));
        self.had.extend(had);
    }

    /// Leaves out what a train gave back and was granted again in this step: it never was anybody else's.
    pub(super) fn leave_out_what_stays(&mut self, outputs: &mut Vec<Output>) {
        for (train, section) in std::mem::take(&mut self.had) {
            let gives_back = |output: &Output| match output {
                Output::Fact(Fact::SectionReleased { train: by, section: it }) => (*by, *it) == (train, section),
                _ => false,
            };
            let grants = |output: &Output| match output {
                Output::Fact(Fact::RouteSet { train: to, sections }) => *to == train && sections.contains(&section),
                _ => false,
            };
            // It may have had it twice over, and given back both.
            let (mut given_back, mut again) = (None, None);
            for (place, output) in outputs.iter().enumerate() {
                if gives_back(output) {
                    given_back.get_or_insert(place);
                } else if grants(output)
                    && let Some(from) = given_back.take()
                {
                    again = Some(from..place);
                }
            }
            let Some(again) = again else { continue };
            if let Output::Fact(Fact::RouteSet { sections, .. }) = &mut outputs[again.end] {
                sections.retain(|it| *it != section);
                if sections.is_empty() {
                    outputs.remove(again.end);
                }
            }
            for place in again.rev() {
                if gives_back(&outputs[place]) {
                    outputs.remove(place);
                }
            }
        }
    }
}
