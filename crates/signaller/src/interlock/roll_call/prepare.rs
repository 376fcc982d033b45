//! Whether a train may be called: what it would come into, under every account, and how far it may go for that.

use smallvec::SmallVec;
use track::{EndId, Length, Need, SectionId, TrainId, Traverse};

use super::super::exchange::AT_REST;
use super::super::orders::Reason;
use super::super::{HoldKind, Interlock};
use crate::aspect::Signals;
use crate::door::Direction;
use crate::drive::Drive;
use crate::identity::{NEXT_AXLE, Whereabouts};
use crate::picture::Picture;
use crate::time::Time;

/// A section that nobody measured is taken to be so long, and no shorter. Common practice, no source.
const SHORTEST: Length = Length::from_mm(300);
/// The nose keeps so far from the far end of what it was granted, beside [`NEXT_AXLE`].
const SHORT_OF_END: Length = Length::from_mm(20);
/// With so much room a call need not reach into another section. Common practice, no source.
const ENOUGH: Length = Length::from_mm(300);
/// A call reaches into so many sections at most.
const AT_MOST: usize = 3;
/// A call that leaves less room than this finds out nothing.
const WORTH_IT: Length = Length::from_mm(60);

/// What a train needs for a call.
#[derive(Debug, Default)]
pub(super) struct Preparation {
    pub(super) ahead: SmallVec<[Traverse; 4]>,
    pub(super) room: Option<Length>,
}

impl Interlock {
    /// Which way a train can be called, and what it needs for that: the way it points by the likeliest account, if that can be.
    pub(super) fn prepare_either_way(
        &self,
        train: TrainId,
        now: Time,
        picture: &impl Picture,
        signals: &Signals,
    ) -> Result<(Direction, Preparation), Reason> {
        let name = self.name(train);
        self.not_by_hand(train)?;
        if let Some(call) = &self.roll_call {
            return Err(format!("`{}` is being called", self.name(call.train)));
        }
        if self.hold_kinds(train).any(|kind| !kind.is_doubt()) {
            return Err(format!("`{name}` is held"));
        }
        if self.hold_kinds(train).any(|kind| kind == HoldKind::NoAnswer) && self.may_have_gone_elsewhere(train) {
            return Err(format!("a turnout may have led `{name}` another way; hint: see where it is"));
        }
        let stands = picture.possible_whereabouts(train, now);
        self.may_answer(train, &stands, picture)?;
        let Some(likeliest) = stands.first() else {
            return Err(format!("nobody knows where `{name}` may stand; hint: say where it is"));
        };
        if likeliest.sure && !self.hold_kinds(train).any(HoldKind::is_doubt) {
            return Err(format!("it is sure where `{name}` stands"));
        }
        let ahead = likeliest.leading;
        let prepared = self.prepare(train, ahead, &stands, picture, signals);
        match prepared {
            Ok(preparation) => Ok((ahead, preparation)),
            Err(reason) => match self.prepare(train, ahead.other(), &stands, picture, signals) {
                Ok(preparation) => Ok((ahead.other(), preparation)),
                Err(other) if other == reason => Err(reason),
                Err(other) => Err(format!("{reason}; and the other way {other}")),
            },
        }
    }

    fn prepare(
        &self,
        train: TrainId,
        direction: Direction,
        stands: &[Whereabouts],
        picture: &impl Picture,
        signals: &Signals,
    ) -> Result<Preparation, Reason> {
        let mut preparation = Preparation::default();
        if !stands.iter().any(|stand| stand.footprint.iter().any(|hold| self.shows(hold))) {
            return Err(format!("`{}` is out of sight", self.name(train)));
        }
        let mut holds = stands.iter().flat_map(|stand| &stand.footprint);
        if let Some(hold) = holds.find(|hold| picture.hides_unknown(hold.section)) {
            let section = &self.layout.sections[hold.section].name;
            return Err(format!("something unknown may stand in `{section}`, too; hint: see what is there"));
        }
        for stand in stands {
            let (ahead, room) = self.ahead_of(train, direction, stand, picture, signals)?;
            for next in ahead {
                self.add_passage(train, next, &mut preparation)?;
            }
            preparation.room = Some(preparation.room.map_or(room, |least| least.min(room)));
        }
        if preparation.room.is_none_or(|room| room < WORTH_IT) {
            return Err(format!("there is too little room before `{}`", self.name(train)));
        }
        Ok(preparation)
    }

    fn add_passage(&self, train: TrainId, next: Traverse, preparation: &mut Preparation) -> Result<(), Reason> {
        let known = preparation.ahead.iter().find(|other| other.section == next.section);
        let asks = |need: &Need| {
            let mut needs = preparation.ahead.iter().flat_map(|passage| &self.layout.ways[passage.way].needs);
            needs.any(|other| other.turnout == need.turnout && other.lie != need.lie)
        };
        if known.is_some_and(|other| *other != next) || self.layout.ways[next.way].needs.iter().any(asks) {
            let section = &self.layout.sections[next.section].name;
            return Err(format!("`{}` might come into `{section}` from either side", self.name(train)));
        }
        if known.is_none() {
            preparation.ahead.push(next);
        }
        Ok(())
    }

    /// Another train that runs towards one of the sections in which a train is to show itself, or is driven beside it by a person: if it
    /// does not stop where it should, it is taken for the one that is called.
    pub(super) fn another_comes(
        &self,
        called: TrainId,
        asked: &[SectionId],
        now: Time,
        picture: &impl Picture,
        drive: &Drive,
    ) -> Option<TrainId> {
        self.runs.ids().find(|&other| {
            let is_by_hand = self.is_driven_by_hand(other);
            let stands = !is_by_hand && drive.rests_since(other).is_some_and(|since| since + AT_REST <= now);
            let leads_there = |stand: &Whereabouts| self.leads_into(stand, is_by_hand, asked);
            other != called && !stands && picture.possible_whereabouts(other, now).iter().any(leads_there)
        })
    }

    /// Whether a train that stands so comes into one of those sections next; whichever way it runs if it may turn.
    fn leads_into(&self, stand: &Whereabouts, may_turn: bool, asked: &[SectionId]) -> bool {
        let is_asked = |end: EndId| {
            let mut meets = self.layout.ends[end].meets.iter();
            meets.any(|&entry| asked.contains(&self.layout.ends[entry].section))
        };
        let mut holds = stand.footprint.iter().rev().take(if may_turn { stand.footprint.len() } else { 1 });
        holds.any(|hold| match hold.enter.filter(|_| !may_turn) {
            Some(enter) => self.layout.ends[enter].ways.iter().any(|&way| is_asked(self.layout.far_end(way, enter))),
            None => self.layout.sections[hold.section].ends.iter().any(|&end| is_asked(end)),
        })
    }

    /// The passages into which a train would come if it stood so and went that way, and how far its nose may go for that: more
    /// than one where the first is short.
    fn ahead_of(
        &self,
        train: TrainId,
        direction: Direction,
        stand: &Whereabouts,
        picture: &impl Picture,
        signals: &Signals,
    ) -> Result<(SmallVec<[Traverse; 4]>, Length), Reason> {
        let name = self.name(train);
        let (enter, nose) = if stand.leading == direction {
            (stand.footprint.last().and_then(|hold| hold.enter), stand.nose)
        } else {
            (self.enter_after_turning(stand), None)
        };
        let enter = enter.ok_or_else(|| format!("it is not known which way `{name}` points"))?;
        let here = &self.layout.sections[self.layout.ends[enter].section].name;
        let way = self.way_that_lies(enter).ok_or_else(|| format!("it is not known how turnouts lie in `{here}`"))?;
        let leave = self.layout.far_end(way, enter);
        if self.layout.main_signal(leave).is_some_and(|signal| signals.is_kept_at_danger(signal)) {
            return Err(format!("the signal before `{name}` in `{here}` is kept at danger"));
        }
        let [entry] = self.layout.ends[leave].meets[..] else {
            return Err(format!("no track leads on for `{name}` from `{here}`"));
        };
        let next = self.passage_to_call_into(train, entry, picture)?;
        let left = match (nose, self.layout.ways[way].length) {
            (Some(nose), Some(length)) => length - nose.unheard,
            // It may stand with its nose at the joint.
            _ => -self.blind(train),
        };
        let mut room = left + self.layout.ways[next.way].length.unwrap_or(SHORTEST) - SHORT_OF_END - NEXT_AXLE;
        let mut ahead: SmallVec<[Traverse; 4]> = SmallVec::from_slice(&[next]);
        while room < ENOUGH
            && ahead.len() < AT_MOST
            && let Some(further) = self.passage_beyond(train, &ahead, picture, signals)
        {
            room += self.layout.ways[further.way].length.unwrap_or(SHORTEST);
            ahead.push(further);
        }
        Ok((ahead, room))
    }

    /// The passage that follows on those, if it can be granted too and needs no turnout thrown.
    fn passage_beyond(
        &self,
        train: TrainId,
        ahead: &[Traverse],
        picture: &impl Picture,
        signals: &Signals,
    ) -> Option<Traverse> {
        let leave = ahead.last()?.leave;
        let kept = self.layout.main_signal(leave).is_some_and(|signal| signals.is_kept_at_danger(signal));
        let [entry] = self.layout.ends[leave].meets[..] else { return None };
        self.way_that_lies(entry)?;
        let next = self.passage_to_call_into(train, entry, picture).ok()?;
        (!kept && ahead.iter().all(|passage| passage.section != next.section)).then_some(next)
    }

    pub(super) fn blind(&self, train: TrainId) -> Length {
        self.roster.train(train).map_or(Length::ZERO, |train| train.blind_front().max(train.blind_rear()))
    }

    /// The passage by which a train would come through a section, if it may be granted that.
    fn passage_to_call_into(&self, train: TrainId, entry: EndId, picture: &impl Picture) -> Result<Traverse, Reason> {
        let section = self.layout.ends[entry].section;
        let name = &self.layout.sections[section].name;
        if self.layout.is_dark(section) || picture.is_frozen(section) {
            return Err(format!("`{name}` cannot answer"));
        }
        self.is_free_for(train, section, picture).map_err(|wait| self.in_words(wait))?;
        if picture.is_occupied(section) {
            return Err(format!("`{name}` is occupied"));
        }
        let lies_or_may = |need: &Need| {
            let turnout = &self.layout.turnouts[need.turnout];
            let may = || turnout.worked && self.may_throw(need.turnout, picture).is_ok();
            self.turnouts.lie(need.turnout) == Some(need.lie) || may()
        };
        let lies = self.way_that_lies(entry);
        let mut ways = self.layout.ends[entry].ways.iter().copied();
        let way = lies.or_else(|| ways.find(|&way| self.layout.ways[way].needs.iter().all(lies_or_may)));
        let way = way.ok_or_else(|| format!("turnouts in `{name}` lie wrong and cannot be thrown"))?;
        Ok(Traverse { section, enter: entry, way, leave: self.layout.far_end(way, entry) })
    }
}
