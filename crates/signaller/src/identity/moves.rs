//! What one report may mean: every way in which one account can explain it, each with its price.

use std::cell::Cell;

use std::time::Duration;

use smallvec::{SmallVec, smallvec};
use track::{EndId, Layout, Length, Lie, Need, SectionId, Table, TrainId, TurnoutId, WayId};

use super::account::{Head, Holds, Stand, Stands, Who, drop, put};
use super::odometer::{LATEST, Leaving, MEASURED_WITHIN, Odometers, detectable_length};
use super::picture::Hold;
use super::prices::Prices;
use super::shares::Share;
use super::topology::{Topology, length_towards};
use super::trust::Trust;
use crate::roster::Roster;
use crate::time::Time;

/// No section that nobody measured is taken to be shorter. Common practice, no source.
pub(super) const SHORTEST: Length = Length::from_mm(120);

/// How many sections a train lost from sight may have moved on unseen.
const UNSEEN_SECTIONS: usize = 3;

/// How many dark sections in a row are looked through.
const DARK_SECTIONS: usize = 6;

/// The last axle that a detector sees is reckoned within so much. Common practice, no source.
const TAIL_SLACK: Length = Length::from_mm(15);

/// A train is pushed on for so long after it came into its section. Common practice, no source.
const PUSHED_FOR: Duration = Duration::from_secs(20);

/// So long it takes a train at least to come to stand where it has run in, and to be out again. Common practice, no source.
const BACKS_OUT: Duration = Duration::from_secs(1);

/// What an explanation may rest on besides the account itself.
pub(super) struct Scene<'a> {
    pub layout: &'a Layout,
    pub roster: &'a Roster,
    pub shares: &'a [Share],
    pub topology: &'a Topology,
    pub prices: &'a Prices,
    pub trust: &'a Table<SectionId, Trust>,
    pub lies: &'a Table<TurnoutId, Option<Lie>>,
    pub odometers: &'a Odometers,
    pub filled_at: &'a Table<SectionId, Time>,
    /// What each section's detector said before this instant.
    pub reported: &'a Table<SectionId, Option<bool>>,
    pub granted: &'a Table<SectionId, Option<TrainId>>,
    pub turned_in: &'a Table<SectionId, bool>,
    /// How long what was last heard of each section had been kept back.
    pub kept_back: &'a Table<SectionId, Duration>,
    pub now: Time,
}

/// What passes between two sections of a footprint.
struct Step {
    way: Option<WayId>,
    leave: EndId,
    /// The entry of the section left, where taking this way shows it.
    enter: Option<EndId>,
}

impl Scene<'_> {
    /// Every way in which a train can have come to fill `section`: its new stand, and the price. What costs more than is
    /// `worth` looking at may be left out.
    pub fn reaches(
        &self,
        stand: &Stand,
        section: SectionId,
        worth: &Cell<f64>,
        occupied: &impl Fn(SectionId) -> bool,
        sink: &mut impl FnMut(Stand, f64),
    ) {
        if let Some(at) = stand.position(section) {
            if !stand.holds[at].seen {
                let mut again = stand.clone();
                again.holds[at].seen = true;
                again.is_said = false;
                again.lost_for = 0;
                sink(again, if stand.is_lost() { 0.5 } else { 1.0 });
            }
            return;
        }
        let mut next_to_it = false;
        self.for_each_step(stand.nose(), |step| {
            for &entry in self.topology.meets(step.leave) {
                if self.topology.section_of[entry] == section {
                    next_to_it = true;
                    let price = self.ahead_into(stand, step.way, section)
                        * self.entered(entry)
                        * self.past_partner(stand.who, stand.nose().section, step.leave);
                    if price >= worth.get() {
                        sink(self.extended(stand, &step, &[], entry), price);
                    }
                }
            }
        });
        if let Some(back) = stand.tail().enter {
            for &entry in self.topology.meets(back) {
                if self.topology.section_of[entry] == section {
                    next_to_it = true;
                    let into = self.entered(entry) * self.past_partner(stand.who, stand.tail().section, back);
                    let step = Step { way: None, leave: back, enter: None };
                    let price = self.reversing(stand) * into;
                    if price >= worth.get() {
                        sink(self.extended(&self.turned(stand), &step, &[], entry), price);
                    }
                    let price = self.prices.points_otherwise * into;
                    if price >= worth.get() && self.may_point_otherwise(stand) {
                        let pointed = Stand { backward: stand.backward, ..self.turned(stand) };
                        sink(self.extended(&pointed, &step, &[], entry), price);
                    }
                }
            }
        }
        let silent = !stand.is_seen() || !self.topology.dark.is_empty() || worth.get() <= self.prices.passed_unheard;
        if !next_to_it && silent {
            self.reaches_over(stand, section, occupied, sink);
        }
    }

    /// Whether [`Scene::reaches`] may find anything, whatever is occupied.
    pub fn may_reach(&self, stand: &Stand, section: SectionId) -> bool {
        if let Some(at) = stand.position(section) {
            return !stand.holds[at].seen;
        }
        if !stand.is_seen() || !self.topology.dark.is_empty() {
            let mut found = false;
            self.reaches(stand, section, &Cell::new(0.0), &|_| false, &mut |_, _| found = true);
            return found;
        }
        let enters =
            |end: EndId| self.topology.meets(end).iter().any(|&entry| self.topology.section_of[entry] == section);
        let mut found = stand.tail().enter.is_some_and(enters);
        self.for_each_step(stand.nose(), |step| {
            found = found
                || self.topology.meets(step.leave).iter().any(|&entry| {
                    self.topology.section_of[entry] == section
                        || self.topology.passages(entry).iter().any(|passage| enters(passage.leave))
                });
        });
        found
    }

    /// Over sections that did not report: dark ones, or ones whose filling was not heard.
    fn reaches_over(
        &self,
        stand: &Stand,
        section: SectionId,
        occupied: &impl Fn(SectionId) -> bool,
        sink: &mut impl FnMut(Stand, f64),
    ) {
        let lost = stand.is_lost();
        let mut found = false;
        self.for_each_step(stand.nose(), |step| {
            let mut passed: SmallVec<[Hold; 8]> = SmallVec::new();
            let price = self.ahead(stand, step.way, section);
            self.look_over(
                &mut passed,
                step.leave,
                price,
                (0, lost),
                section,
                occupied,
                &mut |passed, entry, price| {
                    found = true;
                    let far = match self.can_have_passed(stand, &step, passed, section) {
                        true => self.authorised(stand, section),
                        false => self.prices.by_hand,
                    };
                    sink(self.extended(stand, &step, passed, entry), price * far);
                },
            );
        });
        // Out of a dark section a train may also come back the way it went in.
        if !found && self.topology.is_dark(stand.tail().section) {
            let Some(back) = stand.tail().enter else { return };
            let mut passed: SmallVec<[Hold; 8]> = SmallVec::new();
            let step = Step { way: None, leave: back, enter: None };
            let price = self.reversing(stand);
            self.look_over(&mut passed, back, price, (0, lost), section, occupied, &mut |passed, entry, price| {
                sink(self.extended(&self.turned(stand), &step, passed, entry), price);
            });
        }
    }

    /// Whether a train can have got through the section of its nose and all those beyond and into `section`, as far as lengths are
    /// known: the shortest way through each.
    fn can_have_passed(&self, stand: &Stand, step: &Step, passed: &[Hold], section: SectionId) -> bool {
        let Some(nose) = step.way.and_then(|way| self.layout.ways[way].length) else { return true };
        let ways = |hold: &Hold| hold.enter.map(|enter| self.topology.passages(enter)).unwrap_or_default();
        let length = |hold: &Hold| {
            ways(hold).iter().map(|passage| self.layout.ways[passage.way].length.unwrap_or(Length::ZERO)).min()
        };
        let beyond: Length = passed.iter().filter_map(length).sum();
        let kept = self.kept_back[section];
        self.odometers.leaving(stand, Some(nose + beyond), self.now, kept) != Leaving::Impossible
    }

    #[allow(clippy::too_many_arguments, reason = "a recursion that carries its place in the search")]
    fn look_over(
        &self,
        passed: &mut SmallVec<[Hold; 8]>,
        leave: EndId,
        price: f64,
        (unheard, lost): (usize, bool),
        section: SectionId,
        occupied: &impl Fn(SectionId) -> bool,
        sink: &mut dyn FnMut(&[Hold], EndId, f64),
    ) {
        for &entry in self.topology.meets(leave) {
            let here = self.topology.section_of[entry];
            if here == section {
                if !passed.is_empty() {
                    sink(passed, entry, price);
                }
                continue;
            }
            if passed.iter().any(|hold| hold.section == here) {
                continue;
            }
            let dark = self.topology.is_dark(here);
            let (price, unheard) = match (dark, lost) {
                (true, _) if passed.len() - unheard < DARK_SECTIONS => (price, unheard),
                (false, true) if unheard < UNSEEN_SECTIONS && !occupied(here) => {
                    (price * self.prices.moved_unseen, unheard + 1)
                }
                (false, false) if unheard == 0 && !occupied(here) => {
                    (price * self.missed(here, self.prices.passed_unheard), 1)
                }
                _ => continue,
            };
            if !dark && unheard > 0 && !lost && price < self.prices.given_up {
                continue;
            }
            passed.push(Hold { section: here, enter: Some(entry), seen: false });
            for passage in self.topology.passages(entry) {
                let turnouts = self.turnouts(passage.way);
                self.look_over(passed, passage.leave, price * turnouts, (unheard, lost), section, occupied, sink);
            }
            passed.pop();
        }
    }

    /// What may follow from `section` having emptied, for the first train that was seen there.
    pub fn empties_of_one(
        &self,
        stands: &Stands,
        section: SectionId,
        lifted: &[Who],
        sink: &mut impl FnMut(Stands, f64),
    ) {
        let Some(stand) = stands.iter().find(|stand| stand.sees(section)) else {
            sink(stands.clone(), 1.0);
            return;
        };
        let with = |changed: Stand| {
            let mut stands = stands.clone();
            put(&mut stands, changed);
            stands
        };
        let Some(at) = stand.position(section) else { return };
        let unseen = || {
            let mut stand = stand.clone();
            stand.holds[at].seen = false;
            stand
        };
        let seen_behind = stand.holds[..at].iter().any(|hold| hold.seen);
        let seen_ahead = stand.holds[at + 1..].iter().any(|hold| hold.seen);
        if lifted.contains(&stand.who) {
            if stand.holds.len() == 1 {
                let mut stands = stands.clone();
                drop(&mut stands, stand.who);
                sink(stands, 1.0);
            } else {
                let mut rest = stand.clone();
                rest.forget_in(section);
                sink(with(rest), 1.0);
            }
        } else if seen_ahead && !seen_behind && self.may_come_out_of_the_dark(stand, at) {
            sink(with(unseen()), 1.0);
        } else if seen_ahead && !seen_behind {
            let mut rest = self.cleared(stand, at);
            rest.head = self.head_as_tail_passes(&rest, section);
            sink(with(rest), 1.0);
        } else if seen_ahead {
            // A train known to have nothing there that a detector sees must show this gap; then a lost report is far-fetched.
            let (hidden, stuck) = match self.may_hide_in_the_middle(stand, section) {
                true => (1.0, self.prices.stuck_behind * self.prices.emptying_unheard),
                false => (self.missed(section, self.prices.contact_in_middle), self.prices.stuck_behind),
            };
            sink(with(unseen()), hidden);
            sink(with(self.cleared(stand, at)), stuck);
        } else if seen_behind {
            self.nose_empties(stand, at, &mut |changed, price| sink(with(changed), price));
        } else {
            self.lost(stands, stand, section, unseen(), sink);
        }
    }

    /// What may follow from a section at the nose of a train having emptied, while those behind show it.
    fn nose_empties(&self, stand: &Stand, at: usize, sink: &mut impl FnMut(Stand, f64)) {
        let section = stand.holds[at].section;
        let mut unseen = stand.clone();
        unseen.holds[at].seen = false;
        let mut back = stand.clone();
        back.holds.truncate(at);
        let is_too_soon = self.odometers.is_driven(stand.who) && self.has_just_run_into(section);
        let reversing = if is_too_soon { self.prices.by_hand } else { self.reversing(stand) };
        sink(self.turned(&back), reversing);
        let mut hidden = 1.0;
        if at + 1 == stand.holds.len() && self.may_hide_in_the_middle(stand, section) {
            self.for_each_dark(stand, |step, entry| {
                // What must show itself here does: that it is something else is far-fetched.
                hidden = self.prices.emptying_unheard;
                let mut gone = unseen.clone();
                gone.head = stand.head.beyond(step.way.and_then(|way| self.layout.ways[way].length));
                let dark = self.topology.section_of[entry];
                gone.holds.push(Hold { section: dark, enter: Some(entry), seen: false });
                sink(gone, self.ahead_into(stand, step.way, dark));
            });
        }
        let is_in_the_dark = stand.holds[at + 1..].iter().any(|hold| self.topology.is_dark(hold.section));
        let lost = match is_in_the_dark && self.may_hide_in_the_middle(stand, section) {
            true => 1.0,
            false => hidden * self.missed(section, self.prices.contact_at_nose),
        };
        sink(unseen, lost);
    }

    /// Whether the longest part inside a train that no detector sees covers a whole section: then the section may empty while
    /// the train stands on both sides of it.
    fn may_hide_in_the_middle(&self, stand: &Stand, section: SectionId) -> bool {
        let measure = stand.who.known().and_then(|train| self.roster.measure(train));
        let gap = measure.map_or(Length::ZERO, |measure| measure.blind_gap);
        let mut lengths = self.layout.sections[section].ways.iter().map(|&way| self.layout.ways[way].length);
        gap > Length::ZERO && lengths.any(|length| length.unwrap_or(SHORTEST) <= gap)
    }

    /// The last section that showed a train has emptied.
    fn lost(
        &self,
        stands: &Stands,
        stand: &Stand,
        section: SectionId,
        unseen: Stand,
        sink: &mut impl FnMut(Stands, f64),
    ) {
        let with = |changed: Stand| {
            let mut stands = stands.clone();
            put(&mut stands, changed);
            stands
        };
        let Some(at) = stand.position(section) else { return };
        if stand.holds[at + 1..].iter().any(|hold| self.topology.is_dark(hold.section)) {
            // It went on into the dark ahead, where its nose was already.
            let mut rest = self.cleared(stand, at);
            rest.head = self.head_as_tail_passes(&rest, section);
            sink(with(rest), 1.0);
            return;
        }
        let mut into_the_dark = false;
        self.for_each_dark(stand, |step, entry| {
            into_the_dark = true;
            let gone = self.gone_into_the_dark(stand, step, entry, section);
            sink(with(gone), self.all_of_it_into(stand, step.way, self.topology.section_of[entry]));
        });
        let mut leads_off = false;
        self.for_each_step(stand.nose(), |step| leads_off |= self.topology.leads_off(step.leave));
        if stand.who.known().is_none() {
            let mut stands = stands.clone();
            drop(&mut stands, stand.who);
            sink(stands, if leads_off { 1.0 } else { self.prices.stranger_vanishes });
            return;
        }
        if at > 0 && self.topology.is_dark(stand.holds[at - 1].section) && !into_the_dark {
            // It is still in the dark section behind: nothing strange.
            sink(with(unseen), 1.0);
            return;
        }
        sink(with(unseen), self.missed(section, self.prices.lost_from_sight));
    }

    /// The stand of a train that is now where no detector sees it: all of it has left `section`, where its nose was seen last.
    fn gone_into_the_dark(&self, stand: &Stand, step: &Step, entry: EndId, section: SectionId) -> Stand {
        let length = step.way.and_then(|way| self.layout.ways[way].length);
        let hold = Hold { section: self.topology.section_of[entry], enter: Some(entry), seen: false };
        let head = stand.head.beyond(length);
        let mut gone = Stand { holds: smallvec![hold], is_said: false, lost_for: 0, head, ..*stand };
        gone.head = self.head_as_tail_passes(&gone, section);
        gone
    }

    /// The dark sections ahead of the nose.
    fn for_each_dark(&self, stand: &Stand, mut visit: impl FnMut(&Step, EndId)) {
        self.for_each_step(stand.nose(), |step| {
            for &entry in self.topology.meets(step.leave) {
                if self.topology.is_dark(self.topology.section_of[entry]) {
                    visit(&step, entry);
                }
            }
        });
    }

    /// The price of going ahead by this way with all of the train, into a section to which it was told to go, or not.
    fn all_of_it_into(&self, stand: &Stand, way: Option<WayId>, section: SectionId) -> f64 {
        let (seen, _, _) = detectable_length(self.roster, stand.who).unwrap_or_default();
        let price = self.ahead_by(stand, way, (seen - MEASURED_WITHIN).max(Length::ZERO), section);
        if price > self.prices.by_hand { price * self.authorised(stand, section) } else { price }
    }

    /// Whether what a detector sees of the train may still lie in a dark section behind the one at `at`, and nothing of that kind
    /// in between.
    pub fn may_come_out_of_the_dark(&self, stand: &Stand, at: usize) -> bool {
        stand.holds[..at].iter().any(|hold| self.topology.is_dark(hold.section))
            && self.may_hide_in_the_middle(stand, stand.holds[at].section)
    }

    /// The stand without the section at `at`, which its tail has left, and what lies behind.
    fn cleared(&self, stand: &Stand, at: usize) -> Stand {
        let mut rest = stand.clone();
        self.clear_tail(&mut rest, at);
        rest
    }

    /// Takes away the section at `at`, which the tail has left, and what lies behind.
    pub fn clear_tail(&self, stand: &mut Stand, at: usize) {
        let keep = stand.holds[at + 1..].iter().position(|hold| hold.seen || self.topology.is_dark(hold.section));
        stand.holds.drain(..at + 1 + keep.unwrap_or(0));
    }

    /// The stand with the section entered by `entry` as its new nose.
    fn extended(&self, stand: &Stand, step: &Step, passed: &[Hold], entry: EndId) -> Stand {
        let mut further = stand.clone();
        further.is_said = false;
        further.lost_for = 0;
        if stand.is_seen() {
            if let Some(nose) = further.holds.last_mut() {
                nose.enter = nose.enter.or(step.enter);
            }
            further.holds.extend(passed.iter().copied());
        } else {
            // Lost from sight until now: where it was is behind it, but for what no detector could show.
            further.holds.retain(|hold| self.topology.is_dark(hold.section));
            further.holds.extend(passed.iter().filter(|hold| self.topology.is_dark(hold.section)).copied());
        }
        further.holds.push(Hold { section: self.topology.section_of[entry], enter: Some(entry), seen: true });
        let section = self.topology.section_of[entry];
        further.head = self.head_beyond(stand, step.way.filter(|_| passed.is_empty()), section);
        self.draw_out_of_the_dark(&mut further);
        further
    }

    /// Takes away what lies unseen behind a train whose nose has just come into its section, as far as it is not that long.
    fn draw_out_of_the_dark(&self, stand: &mut Stand) {
        if stand.holds[0].seen || !self.topology.is_dark(stand.holds[0].section) {
            return;
        }
        let Some((seen, _, _)) = detectable_length(self.roster, stand.who) else { return };
        let mut covered = Length::ZERO;
        for at in (0..stand.holds.len() - 1).rev() {
            if covered >= seen + TAIL_SLACK && stand.holds[..=at].iter().all(|hold| !hold.seen) {
                stand.holds.drain(..=at);
                return;
            }
            let next = stand.holds[at + 1].enter;
            let length = next.and_then(|next| length_towards(self.layout, self.topology, &stand.holds[at], next));
            let Some(length) = length else { return };
            covered += length - MEASURED_WITHIN;
        }
    }

    /// The stand with nose and tail exchanged. Where several ways lead on from the section of its nose, it lies over the one for
    /// which the turnouts lie: they do not move under it.
    pub fn turned(&self, stand: &Stand) -> Stand {
        let mut holds: Holds = smallvec![];
        for (at, hold) in stand.holds.iter().enumerate().rev() {
            let enter = match stand.holds.get(at + 1).and_then(|next| next.enter) {
                Some(next) => self.topology.leave_towards(hold.section, next),
                None => hold.enter.and_then(|enter| self.topology.only_entry(enter).or_else(|| self.way_out(enter))),
            };
            holds.push(Hold { enter, ..*hold });
        }
        Stand { backward: !stand.backward, holds, head: Head::UNKNOWN, ..*stand }
    }

    /// The end by which a train leaves a section that it has entered by `enter`, as turnouts are known to lie.
    fn way_out(&self, enter: EndId) -> Option<EndId> {
        let lies = |need: &Need| self.lies[need.turnout] == Some(need.lie);
        let mut passages = self.topology.passages(enter).iter();
        passages.find(|passage| self.layout.ways[passage.way].needs.iter().all(lies)).map(|passage| passage.leave)
    }

    /// The ways on from the section of a train's nose.
    fn for_each_step(&self, nose: Hold, mut visit: impl FnMut(Step)) {
        match nose.enter {
            Some(enter) => {
                for passage in self.topology.passages(enter) {
                    visit(Step { way: Some(passage.way), leave: passage.leave, enter: Some(enter) });
                }
            }
            None => {
                for &leave in self.topology.ends(nose.section) {
                    visit(Step { way: None, leave, enter: self.topology.only_entry(leave) });
                }
            }
        }
    }

    /// The price of going ahead out of the nose's section by this way, and into `section`.
    pub fn ahead(&self, stand: &Stand, way: Option<WayId>, section: SectionId) -> f64 {
        self.ahead_by(stand, way, Length::ZERO, section)
    }

    /// The same, and so far beyond.
    fn ahead_by(&self, stand: &Stand, way: Option<WayId>, beyond: Length, section: SectionId) -> f64 {
        let turnouts = way.map_or(1.0, |way| self.turnouts(way));
        let length = way.and_then(|way| self.layout.ways[way].length).map(|length| length + beyond);
        turnouts
            * match self.odometers.leaving(stand, length, self.now, self.kept_back[section]) {
                Leaving::Possible if self.never_moved(stand) => self.prices.stranger_moves,
                Leaving::Possible => 1.0,
                Leaving::ToldLate | Leaving::Disobeying => self.prices.told_late,
                Leaving::Impossible if self.has_run_past(stand) => self.prices.told_late,
                Leaving::Impossible if self.was_just_pushed(stand) => self.prices.pushed_on,
                Leaving::Impossible => self.prices.by_hand,
            }
    }

    /// The same, into a section to which it was told to go, or not.
    pub fn ahead_into(&self, stand: &Stand, way: Option<WayId>, section: SectionId) -> f64 {
        let price = self.ahead(stand, way, section);
        // A train that somebody pushes goes where it likes, and one that a turnout leads another way where that leads.
        let is_led = way.is_some_and(|way| self.turnouts(way) < 1.0);
        if price > self.prices.by_hand && !is_led { price * self.authorised(stand, section) } else { price }
    }

    /// Whether a section has filled so short a while ago that what ran into it cannot be out of it again by itself: it would have to
    /// come to stand first.
    fn has_just_run_into(&self, section: SectionId) -> bool {
        self.now.since(self.filled_at[section]) < self.kept_back[section] + BACKS_OUT
    }

    fn reversing(&self, stand: &Stand) -> f64 {
        let is_mistrusted = self.odometers.is_mistrusted(stand.who, self.now);
        if self.odometers.is_driven(stand.who) && !is_mistrusted {
            return self.prices.by_hand;
        }
        let mut goes_on = false;
        self.for_each_step(stand.nose(), |step| {
            let is_open = !self.topology.meets(step.leave).is_empty() || self.topology.leads_off(step.leave);
            goes_on |= is_open && self.past_partner(stand.who, stand.nose().section, step.leave) >= 1.0;
        });
        match (goes_on, self.turned_in[stand.nose().section]) {
            // One that is told where to go need not turn back at the end of its track, for it is stopped there.
            _ if is_mistrusted => self.prices.reverse_in_hand,
            (false, _) => self.prices.reverse_at_the_end,
            (true, _) if self.odometers.is_in_hand(stand.who) => self.prices.reverse_in_hand,
            (true, true) => self.prices.reverse_where_others_did,
            (true, false) => self.prices.reverse,
        }
    }

    /// Whether a train was told to go, and so goes the other way if it points otherwise than was thought.
    fn may_point_otherwise(&self, stand: &Stand) -> bool {
        self.odometers.is_driven(stand.who) && self.odometers.has_moved(stand.who, self.now)
    }

    /// Whether a train that was driven a moment ago has its nose in a section that it was not granted: it does not do as it is told.
    fn has_run_past(&self, stand: &Stand) -> bool {
        let is_beyond = stand.who.known().is_some_and(|train| self.granted[stand.nose().section] != Some(train));
        is_beyond && self.odometers.lately(stand.who, self.now, LATEST) > Length::ZERO
    }

    /// Whether something unknown is there that was never seen to come from anywhere, though trains are driven.
    fn never_moved(&self, stand: &Stand) -> bool {
        let nose = stand.nose();
        stand.who.known().is_none()
            && nose.enter.is_none()
            && !self.topology.is_border(nose.section)
            && self.odometers.is_any_driven()
    }

    /// Whether a train came a moment ago into the section of its nose, which it was not granted: a hand that pushes it, or whatever else
    /// makes it run, does not end at the joint.
    fn was_just_pushed(&self, stand: &Stand) -> bool {
        let [.., behind, nose] = &stand.holds[..] else { return false };
        let came_in = self.filled_at[nose.section];
        stand.who.known().is_some_and(|train| self.granted[nose.section] != Some(train))
            && nose.seen
            && self.filled_at[behind.section] < came_in
            && self.now.since(came_in) < PUSHED_FOR
    }

    /// The price of a train being where it was not told to go: one that is driven ran past the end of its authority. One that has
    /// done so already goes on.
    fn authorised(&self, stand: &Stand, section: SectionId) -> f64 {
        match stand.who.known() {
            Some(_) if self.odometers.is_mistrusted(stand.who, self.now) => 1.0,
            Some(train) if self.granted[section] != Some(train) && self.odometers.is_driven(stand.who) => {
                let goes_on = self.has_run_past(stand) || self.was_just_pushed(stand);
                if goes_on { 1.0 } else { self.prices.beyond_authority }
            }
            _ => 1.0,
        }
    }

    /// The price of coming in by an end from which every way is known to lie wrong.
    pub fn entered(&self, entry: EndId) -> f64 {
        let passages = self.topology.passages(entry);
        passages.iter().map(|passage| self.turnouts(passage.way)).reduce(f64::max).unwrap_or(1.0)
    }

    fn turnouts(&self, way: WayId) -> f64 {
        let needs = self.layout.ways[way].needs.iter();
        let against = needs.filter(|need| self.lies[need.turnout].is_some_and(|lie| lie != need.lie));
        let price = |need: &Need| match self.layout.turnouts[need.turnout].reported {
            true => self.prices.against_turnout,
            false => self.prices.against_unreported,
        };
        against.map(price).reduce(f64::min).unwrap_or(1.0)
    }
}
