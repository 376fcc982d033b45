//! A train found where it was not allowed to be: pushed by hand, or run on too far.
//!
//! It is held, and comes to stand. Once it has surely stood for a moment on track that it can be granted, it takes that and
//! goes on by itself. Whoever has that track gives it back, if that is safe; else both stay where they are, and people are told
//! what to do.

use std::time::Duration;

use smallvec::SmallVec;
use track::{EndId, Length, Lie, SectionId, TrainId, Traverse, TurnoutId, WayId};

use super::{HoldKind, Interlock, Wait};
use crate::door::{Fact, Output, Suspect};
use crate::identity::Whereabouts;
use crate::picture::Picture;
use crate::time::Time;

/// So long a train found astray must be seen to stand before it is believed that nobody moves it any more. Common practice, no
/// source.
const SETTLED: Duration = Duration::from_secs(2);

/// The passages that a train stands on, and those that its nose may reach into.
#[derive(Debug)]
pub(super) struct Ground {
    /// From the tail on.
    pub(super) passages: SmallVec<[Traverse; 4]>,
    /// Which of them the nose is in.
    pub(super) nose: usize,
}

impl Ground {
    /// Whether it holds more than the train is seen to stand on.
    pub(super) fn reaches_further(&self) -> bool {
        self.passages.len() > self.nose + 1
    }
}

/// How far a nose may reach beyond the far end of a passage of this length, if it may reach so far `beyond` the one before;
/// nothing where this is the passage that it is seen in.
pub(super) fn reaches_beyond(stand: Option<&Whereabouts>, beyond: Option<Length>, length: Option<Length>) -> Length {
    let reach = stand.and_then(|stand| stand.nose).map(|nose| nose.reach);
    match (beyond, reach, length) {
        (None, Some(reach), Some(length)) => reach - length,
        (None, ..) => stand.map_or(Length::ZERO, |stand| stand.blind_nose),
        // A passage that nobody measured may be short.
        (Some(beyond), ..) => beyond - length.unwrap_or(Length::ZERO),
    }
}

impl Interlock {
    pub(super) fn hold_astray(&mut self, train: TrainId, stand: &Whereabouts, outputs: &mut Vec<Output>) {
        self.note_found(train, stand, outputs);
        if self.runs[train].holds.has(HoldKind::Astray) {
            self.lift_hold(train, HoldKind::Doubt, outputs);
            return;
        }
        let mut standing = stand.footprint.iter().map(|hold| hold.section);
        let outside = standing.rfind(|&section| self.granted_to[section] != Some(train));
        let taken = outside.and_then(|section| self.granted_to[section]);
        let place = outside.map_or_else(String::new, |section| format!("in `{}`", self.layout.sections[section].name));
        let reason = match (outside, taken) {
            (Some(_), Some(by)) => format!("it was found {place}, which `{}` has", self.name(by)),
            (Some(_), None) => format!("it was found {place}, where it was not allowed to be"),
            (None, _) => "it was found to stand otherwise than it was allowed to".to_owned(),
        };
        self.hold_where_found(train, reason, outputs);
        self.lift_hold(train, HoldKind::Doubt, outputs);
    }

    /// Takes note of the turnouts that most likely led a train another way than it was granted.
    pub(super) fn note_misled(&mut self, train: TrainId, stand: &Whereabouts, outputs: &mut Vec<Output>) {
        let mut led: SmallVec<[(TurnoutId, Option<Lie>); 2]> = SmallVec::new();
        for pair in stand.footprint.windows(2) {
            let (Some(enter), Some(next)) = (pair[0].enter, pair[1].enter) else { continue };
            let granted = self.runs[train].granted.iter().find(|passage| passage.enter == enter);
            let mut ends = self.layout.sections[pair[0].section].ends.iter();
            let leave = ends.find(|&&end| self.layout.ends[end].meets.contains(&next));
            let way = leave.and_then(|&leave| self.layout.way_between(enter, leave));
            if let (Some(granted), Some(way)) = (granted, way) {
                // Where it may stand elsewhere, so may the turnout lie.
                let led_by = |(turnout, lie)| (turnout, Some(lie).filter(|_| stand.sure));
                led.extend(self.told_apart(granted.way, way).map(led_by));
            }
        }
        self.suspect_turnouts(train, &led, outputs);
    }

    /// Somebody says that a train that did not answer stands elsewhere than it was granted. Most likely a turnout led it there, and
    /// will lead the next one there too; or it was taken off and put down there, and nobody said so.
    pub(super) fn note_misled_by_word(&mut self, train: TrainId, on: &[SectionId], outputs: &mut Vec<Output>) {
        if !self.is_missing(train) {
            return;
        }
        let granted = &self.runs[train].granted;
        let mut led: SmallVec<[(TurnoutId, Option<Lie>); 2]> = SmallVec::new();
        for passage in granted {
            let elsewhere = self.layout.ways_from(passage.enter).filter(|&(_, leave)| {
                leave != passage.leave
                    && self.layout.ends[leave].meets.iter().any(|&enter| {
                        let section = self.layout.ends[enter].section;
                        on.contains(&section) && granted.iter().all(|other| other.section != section)
                    })
            });
            for (way, _) in elsewhere {
                led.extend(self.told_apart(passage.way, way).map(|(turnout, _)| (turnout, None)));
            }
        }
        self.suspect_turnouts(train, &led, outputs);
    }

    /// The turnouts that would have to lie otherwise for `taken` than for `wanted`, and how.
    fn told_apart(&self, wanted: WayId, taken: WayId) -> impl Iterator<Item = (TurnoutId, Lie)> + '_ {
        let wanted = &self.layout.ways[wanted].needs;
        let taken = self.layout.ways[taken].needs.iter();
        taken
            .filter(|need| wanted.iter().any(|it| it.turnout == need.turnout && it.lie != need.lie))
            .map(|need| (need.turnout, need.lie))
    }

    fn suspect_turnouts(&mut self, train: TrainId, led: &[(TurnoutId, Option<Lie>)], outputs: &mut Vec<Output>) {
        for &(turnout, lie) in led {
            if self.turnouts.led(turnout, lie) {
                let because = format!("it led `{}` another way than it was thought to lie", self.name(train));
                outputs.push(Output::Fact(Fact::Suspected { suspect: Suspect::Turnout(turnout), because }));
                self.is_stirred = true;
            }
        }
    }

    /// Holds a train where it was found, and lets it stop as quickly as it can.
    fn hold_where_found(&mut self, train: TrainId, reason: String, outputs: &mut Vec<Output>) {
        self.forget_plan(train);
        self.disobeyed.push(train);
        self.set_hold(train, HoldKind::Astray, reason, outputs);
        self.stop_dead(train);
    }

    /// Holds a train that moved on, within what it was granted, though it had been told to stand and stood.
    pub(crate) fn hold_for_moving(&mut self, train: TrainId, stand: &Whereabouts, outputs: &mut Vec<Output>) {
        self.note_found(train, stand, outputs);
        let Some(nose) = stand.footprint.last().filter(|_| !self.runs[train].holds.has(HoldKind::Astray)) else {
            return;
        };
        let nose = &self.layout.sections[nose.section].name;
        let reason =
            format!("it moved to `{nose}` though it was told to stand; see to it, or take it over if you drive it");
        self.hold_where_found(train, reason, outputs);
    }

    /// Takes note of where a train is that is or was astray: it has not settled while that changes.
    pub(super) fn note_found(&mut self, train: TrainId, stand: &Whereabouts, outputs: &mut Vec<Output>) {
        let on: SmallVec<[SectionId; 4]> = stand.footprint.iter().map(|hold| hold.section).collect();
        if self.runs[train].found_on != on {
            if stand.sure && self.runs[train].found_on.last() != on.last() && self.runs_away(train) {
                self.cut_off(train, stand, outputs);
            }
            self.runs[train].found_on = on;
            self.runs[train].settled_at = self.now + SETTLED;
            self.look_again(train, self.now + SETTLED);
        }
    }

    /// Lets a train that stands astray take the track it stands on, if nobody else may be there.
    pub(super) fn settle_astray(
        &mut self,
        train: TrainId,
        now: Time,
        picture: &impl Picture,
        outputs: &mut Vec<Output>,
    ) {
        if !self.runs[train].holds.has(HoldKind::Astray) || self.runs[train].settled_at > now {
            return;
        }
        if picture.is_strange(train) {
            // It may be another train that was found there: this one keeps what it has, and is held, until it is named or called.
            return;
        }
        let Some(stand) = picture.whereabouts(train, now).filter(|stand| stand.sure) else { return };
        let Some(ground) = self.ground(&stand) else { return };
        if let Err(wait) = self.can_take_ground(train, &ground, picture) {
            self.keep_only(train, &ground, outputs);
            self.ask_for_way(train, wait, picture);
            self.look_again(train, now + SETTLED);
            return;
        }
        self.take_ground(train, &ground, outputs);
        self.lift_hold(train, HoldKind::Astray, outputs);
    }

    /// Where a train stands, as far as turnouts say what lies ahead of it; nothing where that is not known.
    pub(super) fn ground(&self, stand: &Whereabouts) -> Option<Ground> {
        let Ground { mut passages, nose } = self.stands_on(stand)?;
        let mut beyond = None;
        while let Some(&last) = passages.last() {
            let further = reaches_beyond(Some(stand), beyond, self.layout.ways[last.way].length);
            beyond = Some(further);
            match self.layout.ends[last.leave].meets[..] {
                _ if further <= Length::ZERO => break,
                [] => break,
                [enter] => {
                    let next = self.through(enter)?;
                    // On track that nobody measured it may reach round a whole circle, and no farther.
                    if passages.iter().any(|passage| passage.section == next.section) {
                        break;
                    }
                    passages.push(next);
                }
                _ => return None,
            }
        }
        Some(Ground { passages, nose })
    }

    /// The same without what lies ahead.
    pub(super) fn stands_on(&self, stand: &Whereabouts) -> Option<Ground> {
        let passages = self.footing(stand, self.through(stand.footprint.last()?.enter?)?)?;
        let nose = passages.len() - 1;
        Some(Ground { passages, nose })
    }

    pub(super) fn through(&self, enter: EndId) -> Option<Traverse> {
        let way = self.way_that_lies(enter)?;
        let section = self.layout.ends[enter].section;
        Some(Traverse { section, enter, way, leave: self.layout.far_end(way, enter) })
    }

    /// Whether nobody else has, or may be in, any of that.
    pub(super) fn can_take_ground(&self, train: TrainId, ground: &Ground, picture: &impl Picture) -> Result<(), Wait> {
        for (place, passage) in ground.passages.iter().enumerate() {
            self.is_free_for(train, passage.section, picture)?;
            self.is_its_own(train, passage.section, picture)?;
            let again = ground.passages[..place].iter().any(|other| other.section == passage.section);
            if again || picture.is_frozen(passage.section) {
                return Err(Wait::NotSure);
            }
        }
        Ok(())
    }

    /// Gives a train what it stands on, instead of what it had.
    pub(super) fn take_ground(&mut self, train: TrainId, ground: &Ground, outputs: &mut Vec<Output>) {
        self.note_what_it_has(train);
        self.give_back_all(train, outputs);
        for &passage in &ground.passages {
            self.take(train, passage);
        }
        let sections = ground.passages[..=ground.nose].iter().map(|passage| passage.section).collect();
        let run = &mut self.runs[train];
        (run.nose, run.proved) = (ground.nose, ground.nose + 1);
        outputs.push(Output::Fact(Fact::RouteSet { train, sections }));
    }

    /// Gives back all that a train surely does not stand on, nor reach into.
    fn keep_only(&mut self, train: TrainId, ground: &Ground, outputs: &mut Vec<Output>) {
        for &passage in &ground.passages {
            let is_its_own = self.granted_to[passage.section] == Some(train);
            if is_its_own && self.runs[train].lent.iter().all(|other| other.section != passage.section) {
                self.turnouts.lock(passage.way, train);
                self.runs[train].lent.push(passage);
            }
        }
        self.give_back_all(train, outputs);
    }

    /// Lets the train that has what this one stands on come to stand and give back what it does not need.
    fn ask_for_way(&mut self, train: TrainId, wait: Wait, picture: &impl Picture) {
        let Wait::Taken { section, by } = wait else { return };
        if self.granted_to[section] == Some(by) && by != train && !picture.holders(section).contains(&by) {
            self.runs[by].must_stand = true;
            self.touch(by);
        }
    }

    /// Looks at a train again at that time, whatever is heard until then.
    pub(super) fn look_again(&mut self, train: TrainId, at: Time) {
        if !self.looks.contains(&(at, train)) {
            self.looks.push((at, train));
        }
    }

    /// Looks at a train again at that time at the latest.
    pub(super) fn look_within(&mut self, train: TrainId, at: Time) {
        if !self.looks.iter().any(|&(due, other)| other == train && due <= at) {
            self.looks.push((at, train));
        }
    }

    /// Touches the trains that are due to be looked at again.
    pub(super) fn touch_due(&mut self, now: Time) {
        let mut place = 0;
        while let Some(&(at, train)) = self.looks.get(place) {
            if at <= now {
                self.looks.swap_remove(place);
                self.touch(train);
                if !self.runs[train].is_admitted {
                    (self.may_admit, self.is_stirred) = (true, true);
                }
            } else {
                place += 1;
            }
        }
    }
}
