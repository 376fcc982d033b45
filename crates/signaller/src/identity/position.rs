//! Where along its section a train is: joints, tails and spots, each with how late it may have been heard.
//!
//! What is kept is where the first axle is that a detector can see, the head; the nose is so far ahead of it as it is blind. A
//! report narrows the bounds of the head and never moves them: what contradicts them is not believed here.

use std::time::Duration;

use track::{Layout, Length, SectionId, WayId};

use super::Identity;
use super::account::{Head, Stand};
use super::moves::Scene;
use super::odometer::{LATE, LATEST, MEASURED_WITHIN, detectable_length};
use super::picture::NoseInterval;
use super::topology::{length_towards, way_length};
use crate::time::Time;

/// A spot that misses the first axle answers to one so far behind at most, and the nose is then so much farther than it is
/// taken to be. Common practice, no source: the axles of a bogie are nearer to each other than this in the common scales. Whoever
/// relies on a nose being short of some place keeps so much more from it.
pub(crate) const NEXT_AXLE: Length = Length::from_mm(30);

/// Something passed a spot: on this way, so far from its first end, so long ago at least as the detector takes.
#[derive(Clone, Copy, Debug)]
pub struct SpotPassage {
    /// The way.
    pub way: WayId,
    /// Measured from the way's first end; nothing where nobody measured.
    pub from_first_end: Option<Length>,
    /// What the detector takes at least before it says so.
    pub on_delay: Duration,
}

/// A train that is reckoned to be so far beyond a joint where it was not heard is not where it is reckoned to be. Common practice,
/// no source.
const OVERDUE: Length = Length::from_mm(70);

/// A tail must be so far short of a joint that it is not believed to have passed it. Common practice, no source: more than lengths
/// of sections and trains are off together.
const TOO_EARLY: Length = Length::from_mm(30);

pub(super) fn delays(layout: &Layout, section: SectionId) -> (Duration, Duration) {
    let detector = layout.sections[section].detector.map(|detector| &layout.detectors[detector]);
    detector.map_or_else(Default::default, |detector| (detector.on_delay, detector.off_delay))
}

/// The length of the longest way through a section; nothing where one of them was not measured.
fn longest_way(layout: &Layout, section: SectionId) -> Option<Length> {
    let lengths = layout.sections[section].ways.iter().map(|&way| layout.ways[way].length);
    lengths.reduce(|one, other| Some(one?.max(other?))).flatten()
}

impl Identity {
    /// The nose, from where the first detectable axle can be.
    pub(super) fn nose(&self, stand: &Stand, now: Time) -> Option<NoseInterval> {
        let (mut least, mut most) = self.odometers.head(stand, now)?;
        let enter = stand.nose().enter?;
        let length = way_length(&self.layout, enter, None)?;
        let mut latest = Some(Duration::ZERO);
        for passage in self.topology.passages(enter) {
            for &entry in self.topology.meets(passage.leave) {
                let section = self.topology.section_of[entry];
                let on_delay = delays(&self.layout, section).0;
                latest = latest.filter(|_| !self.topology.is_dark(section)).map(|latest| latest.max(on_delay));
            }
        }
        // One that must be beyond by now and was not heard there: reports fail it, and it may be anywhere up to where it can be.
        let mut overdue = false;
        if let Some(on_delay) = latest {
            let untold = self.odometers.lately(stand.who, now, on_delay + LATE);
            overdue = least > length + OVERDUE + untold;
            if !overdue {
                // Beyond the joint it would have been seen, but for what the detector has not said yet.
                most = most.min(length + untold);
            }
        }
        least = least.min(length);
        let unheard = self.odometers.far(stand, now)?.max(most);
        // What came into the next section is told late now and then, too.
        let told = latest
            .filter(|_| !overdue)
            .map(|on_delay| length + self.odometers.lately(stand.who, now, on_delay + LATEST));
        let far = unheard.min(told.unwrap_or(unheard)).max(most);
        detectable_length(&self.roster, stand.who)?;
        let blind = self.blind_nose(stand);
        // Where only what detectors do not see has come into the section, the head is short of it.
        let beyond = |head: Length| (head + blind).max(Length::ZERO);
        let (least, most) = (beyond(least), beyond(most));
        let (far, unheard) = (beyond(far), beyond(unheard));
        let reach = far + Length::from_um(stand.head.slack);
        Some(NoseInterval { least, most, far, unheard, reach, overdue })
    }

    /// How far the nose reaches beyond the first axle that a detector can see.
    pub(super) fn blind_nose(&self, stand: &Stand) -> Length {
        let blind = detectable_length(&self.roster, stand.who);
        let whole = blind.map_or(Length::ZERO, |(_, front, rear)| if stand.backward { rear } else { front });
        self.blind_end(stand.who, whole)
    }

    /// Narrows where the one train is that can have passed a spot.
    ///
    /// Nothing is learned where another train might have done it, or where the accounts differ.
    ///
    /// Some axle passed, and the first is no farther back: that raises the least. The most is lowered only if
    ///
    /// * the train ran over the entry of this section since it last turned: then its first axle comes to the spot before any
    ///   other does, and
    /// * the head may have been short of the spot until now, and no report from here was left unused since it came in: else
    ///   this may be a later axle.
    ///
    /// So this is the report of the first axle, or of the next behind it if the spot missed that one. In that case the nose is
    /// farther by their distance, and still short of the end of its authority: no train stops nearer to that than
    /// [`NEXT_AXLE`] and a margin, and what the nose reaches over a joint is reckoned with it.
    pub(super) fn pass_spot(&mut self, now: Time, spot: &SpotPassage) {
        let section = self.layout.ways[spot.way].section;
        let narrowed = self.head_at_spot(now, spot);
        for place in 0..self.clusters.at(section).len() {
            let cluster = self.clusters.at(section)[place];
            for stand in self.clusters.accounts_mut(cluster).iter_mut().flat_map(|account| &mut account.stands) {
                if stand.nose().section == section {
                    // A report that taught nothing may have been that of the first axle: the next one is not.
                    let missed = Head { came_in: false, ..stand.head };
                    stand.head = narrowed.unwrap_or(missed);
                }
            }
        }
    }

    fn head_at_spot(&self, now: Time, spot: &SpotPassage) -> Option<Head> {
        let section = self.layout.ways[spot.way].section;
        let &[cluster] = self.clusters.at(section) else { return None };
        let stand = self.clusters.only_stand(cluster)?;
        let (nose, way) = (stand.nose(), &self.layout.ways[spot.way]);
        if nose.section != section || !nose.seen || self.clusters.cluster(cluster).given_up > 0.0 {
            return None;
        }
        let (place, length, enter) = (spot.from_first_end?, way.length?, nose.enter?);
        let at = if enter == way.ends[0] { place } else { length - place };
        let (least, most) = self.odometers.head(stand, now)?;
        if !way.ends.contains(&enter)
            || at < self.odometers.lately(stand.who, now, self.scene(now).on_delay(section) + LATE)
        {
            // So near to the joint the spot may have been heard before the train was heard to come in.
            return None;
        }
        let narrow_least = least.max(at + self.odometers.least_within(stand.who, spot.on_delay));
        let is_first = stand.head.came_in && least < at;
        let ran_on = self.odometers.lately(stand.who, now, spot.on_delay + LATE);
        let narrow_most = if is_first { most.min(at + ran_on) } else { most };
        if narrow_least > narrow_most {
            return None;
        }
        let proved = at.max(Length::from_um(stand.head.proved));
        let head = self.odometers.head_between(stand.who, now, (narrow_least, narrow_most), proved);
        let slack = if narrow_most < most { NEXT_AXLE.um() } else { stand.head.slack };
        // That the spot was passed no earlier is one report: what was known before holds too.
        let far = if is_first { stand.head.beside(head.most) } else { stand.head.far };
        Some(Head { came_in: stand.head.came_in, slack, far: far.max(head.most), ..head })
    }
}

impl Scene<'_> {
    /// How long the section's detector takes to say that something is there, and what it said last was kept back.
    pub fn on_delay(&self, section: SectionId) -> Duration {
        delays(self.layout, section).0 + self.kept_back[section]
    }

    /// The head of a train that has just been reported to have come into a section out of the one that its nose was in.
    ///
    /// A report that comes so late that the train must be farther on by how it was driven tells only that it came in: then the
    /// bounds are those reckoned from where it was before. One that was not told to move came in by other means, and may be
    /// anywhere in the section.
    pub fn head_beyond(&self, before: &Stand, way: Option<WayId>, section: SectionId) -> Head {
        let (on_delay, kept) = (delays(self.layout, section).0, self.kept_back[section]);
        if self.odometers.has_stood(before.who, self.now, on_delay + kept + LATEST) {
            return match longest_way(self.layout, section) {
                Some(length) => self.odometers.head_between(before.who, self.now, (Length::ZERO, length), Length::ZERO),
                None => Head::UNKNOWN,
            };
        }
        let fresh = self.odometers.head_at_joint(before.who, self.now, on_delay, kept);
        let before_joint = before.head.beyond(way.and_then(|way| self.layout.ways[way].length));
        let reckoned = || {
            let length = self.layout.ways[way?].length?;
            let (least, most) = self.odometers.head(before, self.now)?;
            let farthest = self.odometers.lately(before.who, self.now, on_delay + kept + LATE);
            // All of one that was lost from sight was beyond by then.
            let is_late = before.is_lost() || least - length - MEASURED_WITHIN > farthest;
            is_late.then_some((least - length, (most - length + MEASURED_WITHIN).max(farthest)))
        };
        match reckoned() {
            Some((_, most)) => {
                let head = self.odometers.head_between(before.who, self.now, (Length::ZERO, most), Length::ZERO);
                // This one came late, so the one before did not.
                Head { came_in: true, ..head }
            }
            None => {
                // Either this report came in time, or the one before it did.
                let far = fresh.far.min(before_joint.most).max(fresh.most);
                Head { far, ..fresh }
            }
        }
    }

    /// Whether the train cannot have run so far yet that its last detectable axle is out of a section that it covers, or stands since
    /// long and need not have: if that reads free, its detector has lost it.
    pub fn leaves_too_early(&self, stand: &Stand, place: usize) -> bool {
        let ahead = || {
            let (seen, _, _) = detectable_length(self.roster, stand.who)?;
            let mut ahead = -seen;
            for pair in stand.holds.get(place + 1..)?.windows(2) {
                ahead += length_towards(self.layout, self.topology, &pair[0], pair[1].enter?)?;
            }
            Some(ahead)
        };
        let is_short_of_it = |ahead: Length| {
            // It was reported when what was kept back began.
            let kept = self.kept_back[stand.holds[place].section];
            let since = self.odometers.lately(stand.who, self.now, kept);
            let cannot = self.odometers.far(stand, self.now).is_some_and(|far| far - since + ahead < -TOO_EARLY);
            let need_not = || {
                let head = self.odometers.head(stand, self.now);
                head.is_none_or(|(least, _)| least + ahead < MEASURED_WITHIN)
            };
            cannot || self.odometers.has_stood(stand.who, self.now, LATEST) && need_not()
        };
        place + 1 < stand.holds.len() && ahead().is_some_and(is_short_of_it)
    }

    /// Where the head of a train is whose last detectable axle has just been reported to have left `section`: as far ahead of
    /// the joint as the train is long, within what was known of it before.
    pub fn head_as_tail_passes(&self, rest: &Stand, section: SectionId) -> Head {
        let beyond_joint = || {
            let (seen, _, _) = detectable_length(self.roster, rest.who)?;
            let first = rest.holds.first()?.enter?;
            self.topology.leave_towards(section, first)?;
            let mut ahead = seen;
            for pair in rest.holds.windows(2) {
                let (enter, leave) = (pair[0].enter?, self.topology.leave_towards(pair[0].section, pair[1].enter?)?);
                ahead -= self.layout.ways[self.layout.way_between(enter, leave)?].length?;
            }
            Some(ahead)
        };
        let before = self.odometers.head(rest, self.now);
        let (Some(ahead), Some((least, most))) = (beyond_joint(), before) else { return rest.head };
        let kept = self.kept_back[section];
        let takes = LATE + delays(self.layout, section).1 + kept;
        let since = self.odometers.lately(rest.who, self.now, takes);
        let (at_least, at_most) = (ahead - MEASURED_WITHIN, ahead + MEASURED_WITHIN + since);
        let proved = at_least.max(Length::from_um(rest.head.proved));
        if self.odometers.has_stood(rest.who, self.now, takes) {
            // It left before it came to stand, and that was told late: how far it was by then nobody knows.
            let head =
                self.odometers.head_between(rest.who, self.now, (least.max(at_least), most.max(at_least)), proved);
            let far = rest.head.far.max(head.most);
            return Head { came_in: rest.head.came_in, slack: rest.head.slack, far, ..head };
        }
        if at_least > most {
            // It is farther on than it was reckoned to be from when it was heard to come in: that was heard late.
            let head = self.odometers.head_between(rest.who, self.now, (least, at_most), Length::ZERO);
            return Head { most: head.most, far: rest.head.far.max(head.most), ..rest.head };
        }
        let (least, most) = (least.max(at_least), most.min(at_most));
        // What contradicts the way it came says that something is wrong, not where the train is.
        if least > most {
            return rest.head;
        }
        let head = self.odometers.head_between(rest.who, self.now, (least, most), proved);
        let told = self.odometers.head_between(rest.who, self.now, (least, at_most), proved);
        let far = rest.head.beside(told.most).max(head.most);
        Head { came_in: rest.head.came_in, slack: rest.head.slack, far, ..head }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use track::{Builder, Id, Scale, Speed, Train, TrainId, Vehicle};

    use super::super::odometer::Leaving;
    use super::super::{Batch, Pace, Placement};
    use super::*;
    use crate::door::{Direction, Tag};
    use crate::model;

    /// Five sections of half a metre in a row, and a train of 300 mm in the first that runs at 60 to 100 mm/s.
    struct Line {
        sections: Vec<SectionId>,
        identity: Identity,
        heron: TrainId,
    }

    impl Line {
        fn new() -> Self {
            let mut builder = Builder::new("line", Scale::named("H0").unwrap());
            let sections = model::row(&mut builder, &["a", "b", "c", "d", "e"], 500);
            let whole = Some((Length::from_mm(10), Length::from_mm(140)));
            let wagon =
                || Vehicle { name: String::new(), length: Length::from_mm(150), detectable: whole, axles: Vec::new() };
            builder.train(Train { vehicles: vec![wagon(), wagon()], ..Train::stranger("Heron") });
            let layout = Arc::new(builder.build());
            let heron = TrainId::from_index(0);
            let mut identity = Identity::new(Arc::clone(&layout));
            let nose = Some(layout.sections[sections[0]].ends[1]);
            let placed = Placement::new(&layout, heron, &[sections[0]], nose).unwrap();
            identity.observe(Time::ZERO, &Batch { placed: vec![placed], ..Batch::default() });
            let pace = Pace { least: Speed::from_mm(60), most: Speed::from_mm(100) };
            identity.set_pace(heron, Time::ZERO, pace);
            Self { sections, identity, heron }
        }

        fn hear(&mut self, millis: i64, section: usize, filled: bool) {
            let batch = Batch { edges: vec![(self.sections[section], filled)], ..Batch::default() };
            self.identity.observe(Time::from_millis(millis), &batch);
        }

        fn nose(&self, millis: i64) -> NoseInterval {
            self.identity.whereabouts(self.heron, Time::from_millis(millis)).and_then(|stand| stand.nose).unwrap()
        }
    }

    #[test]
    fn a_train_that_has_stood_for_long_may_have_filled_a_section_before_that_if_a_link_was_down_since() {
        let mut line = Line::new();
        let standing = Pace { least: Speed::ZERO, most: Speed::ZERO };
        line.identity.set_pace(line.heron, Time::from_millis(2_500), standing);
        let home = line.identity.clusters.home(line.heron).unwrap();
        let stand = line.identity.clusters.only_stand(home).unwrap();
        let leaving = |kept| {
            let length = Some(Length::from_mm(500));
            line.identity.odometers.leaving(stand, length, Time::from_millis(44_000), kept)
        };
        assert_eq!(leaving(Duration::from_secs(43)), Leaving::Possible);
        assert_eq!(leaving(Duration::ZERO), Leaving::Impossible);
    }

    #[test]
    fn a_train_that_has_disobeyed_may_do_so_again() {
        let mut line = Line::new();
        line.identity.set_pace(line.heron, Time::from_millis(2_500), Pace { least: Speed::ZERO, most: Speed::ZERO });
        line.identity.has_disobeyed(line.heron, Time::from_millis(9_000));
        let home = line.identity.clusters.home(line.heron).unwrap();
        let stand = line.identity.clusters.only_stand(home).unwrap();
        let leaving = |seconds: i64| {
            let length = Some(Length::from_mm(500));
            line.identity.odometers.leaving(stand, length, Time::from_millis(1_000 * seconds), Duration::ZERO)
        };
        assert_eq!(leaving(1_800), Leaving::Disobeying);
        assert_eq!(leaving(1_810), Leaving::Impossible);
    }

    #[test]
    fn a_train_that_has_run_past_its_authority_may_run_on_though_it_was_told_to_stand() {
        let mut line = Line::new();
        for place in [0, 1] {
            line.identity.set_granted(line.sections[place], Some(line.heron));
        }
        line.hear(4_000, 1, true);
        line.hear(7_000, 0, false);
        line.identity.set_pace(line.heron, Time::from_millis(8_500), Pace { least: Speed::ZERO, most: Speed::ZERO });
        line.hear(9_000, 2, true);
        line.hear(12_000, 1, false);
        // By how it was driven it cannot have come so far.
        line.hear(13_000, 3, true);
        let tag = line.identity.tag(line.sections[3]);
        assert!(matches!(&tag, Tag::Doubt(trains) if trains.contains(&line.heron)), "{tag:?}");
    }

    #[test]
    fn a_train_that_is_heard_late_may_be_as_far_on_as_it_can_have_run_since_it_was_heard_before() {
        let mut line = Line::new();
        line.hear(4000, 1, true);
        line.hear(7500, 0, false);
        // Its tail passed the joint before 4 s ago, at up to 100 mm/s; the next one lay 200 mm ahead then.
        line.hear(11_500, 2, true);
        let nose = line.nose(11_500);
        assert!(nose.most < Length::from_mm(60), "the report alone: {nose:?}");
        assert!(nose.far > Length::from_mm(200) && nose.far < Length::from_mm(300), "{nose:?}");
        // The next joint sets that right: one report in two comes in time.
        line.hear(14_600, 1, false);
        line.hear(16_500, 3, true);
        let nose = line.nose(16_500);
        assert!(nose.far < Length::from_mm(60), "{nose:?}");
    }

    #[test]
    fn a_train_that_was_lost_from_sight_before_it_was_heard_to_come_in_may_be_as_far_as_it_can_have_run() {
        let mut line = Line::new();
        line.hear(4_000, 1, true);
        line.hear(7_500, 0, false);
        // All of its 300 mm have left the second section when that empties; that it came into the third is told long after.
        line.hear(13_500, 1, false);
        line.hear(16_500, 2, true);
        let nose = line.nose(16_500);
        assert!(nose.most > Length::from_mm(400) && nose.far > Length::from_mm(400), "{nose:?}");
    }

    #[test]
    fn a_section_that_reads_free_before_the_tail_can_have_left_it_is_still_the_trains() {
        for (millis, stays) in [(9500, true), (13_000, false)] {
            let mut line = Line::new();
            line.hear(4000, 1, true);
            line.hear(7500, 0, false);
            line.hear(9000, 2, true);
            line.hear(millis, 1, false);
            let holders = line.identity.holders(line.sections[1]);
            assert_eq!(holders.contains(&line.heron), stays, "{millis}: {holders:?}");
        }
    }

    #[test]
    fn a_train_that_may_have_left_its_section_unheard_may_be_as_far_once_it_has_turned_twice() {
        let mut line = Line::new();
        line.hear(4_000, 1, true);
        line.hear(7_500, 0, false);
        let pace = |mm| Pace { least: Speed::ZERO, most: Speed::from_mm(mm) };
        line.identity.set_pace(line.heron, Time::from_millis(7_500), pace(100));
        line.identity.set_pace(line.heron, Time::from_millis(20_000), pace(0));
        let before = line.nose(30_000);
        assert!(before.unheard > Length::from_mm(1_500) && before.most <= Length::from_mm(510), "{before:?}");
        for _ in 0..2 {
            line.identity.turn_back(line.heron, Time::from_millis(30_000), |_| true);
        }
        let after = line.nose(30_000);
        assert!(after.unheard >= before.unheard && after.most <= Length::from_mm(510), "{after:?}");
    }

    #[test]
    fn a_train_that_has_just_run_in_is_not_out_again_already_though_it_has_disobeyed() {
        for (millis, leading) in [(4_400, Direction::Forward), (6_400, Direction::Backward)] {
            let mut line = Line::new();
            line.identity.has_disobeyed(line.heron, Time::ZERO);
            line.hear(4_000, 1, true);
            line.hear(millis, 1, false);
            let stand = line.identity.whereabouts(line.heron, Time::from_millis(millis)).unwrap();
            assert_eq!(stand.leading, leading, "{stand:?}");
        }
    }

    #[test]
    fn a_train_that_has_disobeyed_and_runs_to_the_end_of_its_track_need_not_be_what_fills_the_section_behind_it() {
        let mut line = Line::new();
        for &section in &line.sections {
            line.identity.set_granted(section, Some(line.heron));
        }
        for at in 1..5 {
            line.hear(6_000 * at as i64, at, true);
            line.hear(6_000 * at as i64 + 4_000, at - 1, false);
        }
        line.identity.has_disobeyed(line.heron, Time::from_millis(28_500));
        assert_eq!(line.identity.tag(line.sections[4]), Tag::Sure(line.heron));
        line.hear(30_000, 3, true);
        let tag = line.identity.tag(line.sections[3]);
        assert!(!matches!(tag, Tag::Sure(_)), "it may be something else: {tag:?}");
    }

    #[test]
    fn a_train_that_somebody_vouches_for_may_still_only_reach_into_the_section_of_its_nose() {
        let mut line = Line::new();
        let on = [line.sections[0], line.sections[1]];
        let nose = Some(line.identity.layout.sections[on[1]].ends[1]);
        let placed = Placement::new(&line.identity.layout, line.heron, &on, nose).unwrap();
        line.hear(500, 0, true);
        line.hear(500, 1, false);
        line.identity.set_pace(line.heron, Time::from_millis(500), Pace { least: Speed::ZERO, most: Speed::ZERO });
        line.identity.observe(Time::from_millis(900), &Batch { placed: vec![placed], ..Batch::default() });
        line.identity.vouch_for_nose(line.heron, Time::from_millis(1_000));
        assert!(line.nose(1_000).least <= Length::ZERO, "{:?}", line.nose(1_000));
        line.identity.turn_back(line.heron, Time::from_millis(1_000), |_| true);
        // All of its 300 mm may lie in the section behind.
        assert!(line.nose(1_000).most >= Length::from_mm(300), "{:?}", line.nose(1_000));
    }

    #[test]
    fn a_section_that_reads_free_while_its_train_stands_is_still_the_trains_where_its_tail_may_lie_there() {
        // It came to stand with its nose 300 mm, or nearly the whole of itself, beyond the joint; then the other section reads free.
        for (stands_at, stays) in [(6_000, true), (8_900, false)] {
            let mut line = Line::new();
            line.hear(4_000, 1, true);
            let standing = Pace { least: Speed::ZERO, most: Speed::ZERO };
            line.identity.set_pace(line.heron, Time::from_millis(stands_at), standing);
            line.hear(40_000, 0, false);
            let holders = line.identity.holders(line.sections[0]);
            assert_eq!(holders.contains(&line.heron), stays, "{stands_at}: {holders:?}");
        }
    }

    #[test]
    fn that_the_tail_has_left_and_is_told_long_after_the_train_stands_does_not_say_how_far_it_is() {
        for (heard, is_far) in [(9_100, false), (40_000, true)] {
            let mut line = Line::new();
            line.hear(4_000, 1, true);
            let pace = |mm| Pace { least: Speed::ZERO, most: Speed::from_mm(mm) };
            line.identity.set_pace(line.heron, Time::from_millis(4_000), pace(100));
            line.identity.set_pace(line.heron, Time::from_millis(9_000), pace(0));
            let before = line.nose(heard);
            assert!(before.most > Length::from_mm(450), "{before:?}");
            line.hear(heard, 0, false);
            let after = line.nose(heard);
            assert!(after.least >= Length::from_mm(250), "it is as far on as it is long: {after:?}");
            assert_eq!(after.most > Length::from_mm(450), is_far, "{heard}: {after:?}");
        }
    }

    #[test]
    fn a_tail_is_judged_by_where_the_train_was_when_it_was_first_said_to_have_left() {
        for (kept, stays) in [(Duration::ZERO, false), (Duration::from_secs(1), true)] {
            let mut line = Line::new();
            line.hear(4_000, 1, true);
            line.hear(7_500, 0, false);
            line.hear(9_000, 2, true);
            // Up to 290 mm beyond the joint by now, and 100 mm less a second ago.
            line.identity.set_kept_back(line.sections[1], kept);
            line.hear(11_900, 1, false);
            let holders = line.identity.holders(line.sections[1]);
            assert_eq!(holders.contains(&line.heron), stays, "{kept:?}: {holders:?}");
        }
    }
}
