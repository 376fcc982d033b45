//! What is said of each section.

use smallvec::{SmallVec, smallvec};
use track::{EndId, Length, SectionId, Table, TrainId};

use super::account::{Account, Stand, Who};
use super::odometer::detectable_length;
use super::picture::Hold;
use super::topology::{length_towards, way_length};
use super::{Identity, Standing};
use crate::door::Tag;

/// What was said of each section, and what may have changed.
#[derive(Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct Tags {
    pub(super) said: Table<SectionId, Option<Tag>>,
    touched: Vec<SectionId>,
    stamp: Table<SectionId, u32>,
    round: u32,
    changed: Vec<SectionId>,
    /// Sections that were filled when something unknown appeared or vanished beside them: it may have come in unheard.
    pub(super) hides_unknown: Table<SectionId, bool>,
    /// Sections into which something unknown came by itself: it was not left behind there by a train.
    has_come: Table<SectionId, bool>,
    /// Whether some train was lost from sight when this was looked at last.
    any_lost: bool,
}

impl Tags {
    pub fn new(sections: usize) -> Self {
        Self {
            said: Table::filled(None, sections),
            touched: Vec::new(),
            stamp: Table::filled(0, sections),
            round: 0,
            changed: Vec::new(),
            hides_unknown: Table::filled(false, sections),
            has_come: Table::filled(false, sections),
            any_lost: false,
        }
    }

    pub fn begin(&mut self) {
        self.round = self.round.wrapping_add(1);
        self.touched.clear();
        self.changed.clear();
    }

    pub fn touch_section(&mut self, section: SectionId) {
        if self.stamp[section] != self.round {
            self.stamp[section] = self.round;
            self.touched.push(section);
        }
    }

    pub fn touch(&mut self, accounts: &[Account]) {
        for stand in accounts.iter().flat_map(|account| &account.stands) {
            for hold in &stand.holds {
                self.touch_section(hold.section);
            }
        }
    }

    /// Somebody said what is in the section: nothing hides there.
    pub fn is_told_of(&mut self, section: SectionId) {
        self.hides_unknown[section] = false;
        self.touch_section(section);
    }

    pub fn changed(&self) -> &[SectionId] {
        &self.changed
    }

    pub fn touched(&self) -> &[SectionId] {
        &self.touched
    }
}

impl Identity {
    /// What is said of the section.
    pub fn tag(&self, section: SectionId) -> Tag {
        self.tags.said[section].clone().unwrap_or_else(|| self.belief(section))
    }

    /// Whether anything was said of the section yet.
    pub(crate) fn was_tagged(&self, section: SectionId) -> bool {
        self.tags.said[section].is_some()
    }

    pub(super) fn retag(&mut self) {
        let any_lost = self.clusters.lost > 0;
        if std::mem::replace(&mut self.tags.any_lost, any_lost) || any_lost {
            for at in 0..self.tags.touched.len() {
                for beside in self.topology.beside(self.tags.touched[at]) {
                    self.tags.touch_section(beside);
                }
            }
        }
        let mut again: SmallVec<[SectionId; 8]> = SmallVec::new();
        for at in 0..self.tags.touched.len() {
            let section = self.tags.touched[at];
            let was_free = matches!(self.tags.said[section], None | Some(Tag::Free));
            let tag = self.say(section);
            self.ask_where_unknown_hides(section, &tag);
            if tag == Tag::Unexplained {
                self.doubts.unexplained.push(section);
            }
            if tag == Tag::Free {
                self.tags.hides_unknown[section] = false;
            }
            let was_told = self.reported[section] == Some(true) || self.topology.is_dark(section);
            let has_come = tag == Tag::Unexplained && was_free && was_told && !self.was_left_behind(section);
            let has_gone = tag == Tag::Free && self.tags.has_come[section];
            if matches!(tag, Tag::Sure(_)) && self.tags.has_come[section] {
                self.forget_unknown_beside(section);
            }
            self.tags.has_come[section] = has_come || tag == Tag::Unexplained && self.tags.has_come[section];
            if has_come || has_gone && self.reported[section] == Some(false) {
                again.extend(self.note_unknown_beside(section));
            }
        }
        for section in again {
            let tag = self.say(section);
            self.ask_where_unknown_hides(section, &tag);
        }
    }

    /// Says what is believed of the section.
    fn say(&mut self, section: SectionId) -> Tag {
        let tag = self.belief(section);
        if self.tags.said[section].as_ref() != Some(&tag) {
            self.tags.said[section] = Some(tag.clone());
            if !self.tags.changed.contains(&section) {
                self.tags.changed.push(section);
            }
        }
        tag
    }

    pub(super) fn belief(&self, section: SectionId) -> Tag {
        let dark = self.topology.is_dark(section);
        if !dark && self.reported[section] == Some(false) {
            return Tag::Free;
        }
        let mut shares: SmallVec<[(Who, f64); 8]> = SmallVec::new();
        let (mut total, mut given_up) = (0.0, 0.0_f64);
        for &cluster in self.clusters.at(section) {
            let cluster = self.clusters.cluster(cluster);
            given_up = given_up.max(cluster.given_up);
            for account in &cluster.accounts {
                for stand in &account.stands {
                    let there = match dark {
                        true => self.is_surely_in_the_dark(stand, section),
                        false => stand.sees(section),
                    };
                    if there && !self.is_called_after_other(section, stand.who) {
                        total += account.weight;
                        match shares.iter_mut().find(|(who, _)| *who == stand.who) {
                            Some((_, share)) => *share += account.weight,
                            None => shares.push((stand.who, account.weight)),
                        }
                    }
                }
            }
        }
        shares.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        let known = || shares.iter().filter_map(|&(who, share)| who.known().map(|train| (train, share)));
        match known().next() {
            Some((train, share)) if share >= self.prices.sure => {
                let against = (total - share).max(1.0 - share) + given_up;
                let is_stale = self.may_hide_another(section, train)
                    || dark && self.may_be_out_of(section, train)
                    || match self.standings[section] {
                        Standing::Current => false,
                        Standing::Old | Standing::DarkPerhaps => true,
                        Standing::Dark => self.run_out[section] || self.is_drawn_out(section, train),
                    };
                if against < self.prices.sure && (is_stale || self.is_strange(train)) {
                    Tag::Doubt(smallvec![train])
                } else if against < self.prices.sure {
                    Tag::Sure(train)
                } else {
                    let named = known().filter(|&(_, share)| share >= self.prices.sure / 10.0);
                    Tag::Doubt(named.map(|(train, _)| train).collect())
                }
            }
            _ => {
                let remembered: SmallVec<[TrainId; 4]> = self.memories.over(section).collect();
                match (remembered.is_empty(), dark) {
                    (false, _) => Tag::Doubt(remembered),
                    (true, true) if self.hides_strangers(section) => Tag::Unexplained,
                    (true, true) => Tag::Free,
                    (true, false) => Tag::Unexplained,
                }
            }
        }
    }

    /// Whether something unknown may have come into a dark section and stand there still.
    fn hides_strangers(&self, section: SectionId) -> bool {
        let clusters = self.clusters.at(section).iter().map(|&cluster| self.clusters.cluster(cluster));
        let is_there = |account: &&Account| {
            account.stands.iter().any(|stand| stand.who.known().is_none() && stand.position(section).is_some())
        };
        let weight: f64 =
            clusters.flat_map(|it| it.accounts.iter().filter(is_there)).map(|account| account.weight).sum();
        weight >= self.prices.sure
    }

    /// Whether all of a train may have come out of a dark section by now, by how it was driven, and was not heard beyond.
    fn may_be_out_of(&self, section: SectionId, train: TrainId) -> bool {
        let who = Who::train(train);
        let clusters = self.clusters.at(section).iter().flat_map(|&cluster| &self.clusters.cluster(cluster).accounts);
        let mut stands = clusters.flat_map(|account| &account.stands).filter(|stand| stand.who == who);
        stands.any(|stand| {
            let far = || {
                let length = way_length(&self.layout, stand.nose().enter?, None)?;
                let (seen, ..) = detectable_length(&self.roster, who)?;
                let (least, most) = self.odometers.head(stand, self.heard_at)?;
                // Its nose is more likely out than not, and its last wheel may be.
                Some(Length::from_um((least.um() + most.um()) / 2 - length.um()).min(most - seen - length))
            };
            match stand.position(section) {
                Some(at) if at + 1 == stand.holds.len() => far().is_some_and(|beyond| beyond > Length::ZERO),
                Some(at) => self.tail_may_be_past(stand, at),
                None => false,
            }
        })
    }

    /// Whether the last wheel of a train that reaches beyond a section may be out of it: that it is still seen behind may be a report
    /// that was lost.
    fn tail_may_be_past(&self, stand: &Stand, at: usize) -> bool {
        let past = || {
            let (seen, ..) = detectable_length(&self.roster, stand.who)?;
            let (least, most) = self.odometers.head(stand, self.heard_at)?;
            let mut head = Length::from_um((least.um() + most.um()) / 2);
            for pair in stand.holds[at + 1..].windows(2) {
                head += length_towards(&self.layout, &self.topology, &pair[0], pair[1].enter?)?;
            }
            Some(head - seen)
        };
        past().is_some_and(|past| past > Length::ZERO)
    }

    /// What is said of a dark section may change as time passes and nothing is heard.
    pub(super) fn touch_dark(&mut self) {
        for at in 0..self.topology.dark.len() {
            let section = self.topology.dark[at];
            if matches!(self.tags.said[section], Some(Tag::Sure(train)) if self.may_be_out_of(section, train)) {
                self.tags.touch_section(section);
            }
        }
    }

    /// Whether some of the train stands where there is power, so that it may have drawn out of this section, which has none.
    fn is_drawn_out(&self, section: SectionId, train: TrainId) -> bool {
        let who = Who::train(train);
        let clusters = self.clusters.at(section).iter().flat_map(|&cluster| &self.clusters.cluster(cluster).accounts);
        let mut stands = clusters.flat_map(|account| &account.stands).filter(|stand| stand.who == who);
        stands.any(|stand| stand.holds.iter().any(|hold| !self.is_frozen(hold.section)))
    }

    /// Whether a train that stands so must still be in this dark section. It need not where only its tail may be left there, or
    /// where it can have gone on into the next dark section: nothing tells when it does.
    fn is_surely_in_the_dark(&self, stand: &Stand, section: SectionId) -> bool {
        let Some(at) = stand.position(section) else { return false };
        let is_seen_ahead = stand.holds[at + 1..].iter().any(|hold| hold.seen);
        let is_seen_behind = stand.holds[..at].iter().any(|hold| hold.seen);
        let mut others = stand.holds.iter().filter(|hold| hold.section != section);
        match (is_seen_behind, is_seen_ahead) {
            (true, true) => true,
            (true, false) | (false, true) => false,
            (false, false) if stand.is_said => true,
            // It came out, and was lost from sight there.
            (false, false) if stand.holds[at + 1..].iter().any(|hold| !self.topology.is_dark(hold.section)) => false,
            (false, false) => {
                !others.any(|hold| self.topology.is_dark(hold.section)) && !self.is_dark_beyond(stand.holds[at])
            }
        }
    }

    /// Whether a dark section lies next to one, on the side that a train goes to.
    pub(super) fn is_dark_beyond(&self, hold: Hold) -> bool {
        let is_dark = |&end: &EndId| self.topology.is_dark(self.topology.section_of[end]);
        let is_dark_past = |end: EndId| self.topology.meets(end).iter().any(is_dark);
        match hold.enter {
            Some(enter) => self.topology.passages(enter).iter().any(|passage| is_dark_past(passage.leave)),
            None => self.topology.ends(hold.section).iter().any(|&end| is_dark_past(end)),
        }
    }

    /// Every train that some surviving account puts into the section, seen or unseen, the blind ends included.
    pub fn holders(&self, section: SectionId) -> SmallVec<[TrainId; 4]> {
        let mut shares: SmallVec<[(TrainId, f64); 4]> = SmallVec::new();
        for &cluster in self.clusters.at(section) {
            for account in &self.clusters.cluster(cluster).accounts {
                for stand in account.stands.iter().filter(|stand| stand.position(section).is_some()) {
                    let Some(train) = stand.who.known() else { continue };
                    match shares.iter_mut().find(|(other, _)| *other == train) {
                        Some((_, share)) => *share += account.weight,
                        None => shares.push((train, account.weight)),
                    }
                }
            }
        }
        let mut holders: SmallVec<[TrainId; 4]> =
            shares.iter().filter(|(_, share)| *share >= self.prices.sure).map(|(train, _)| *train).collect();
        for train in self.trails.over(section).chain(self.memories.over(section)) {
            if !holders.contains(&train) {
                holders.push(train);
            }
        }
        holders
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use track::{Builder, Id, Scale, Speed, Train, Vehicle};

    use super::super::{Batch, Pace, Placement};
    use super::*;
    use crate::model;
    use crate::time::Time;

    /// Heron, 200 mm long, stands in `a` of a row of sections, `a b c`, each 500 mm long, and is about to leave it at 100 mm/s.
    fn sets_out(b_is_dark: bool) -> (Identity, TrainId, Vec<SectionId>) {
        let mut builder = Builder::new("line", Scale::named("H0").unwrap());
        let sections = model::row(&mut builder, &["a", "b", "c"], 500);
        let detectable = Some((Length::from_mm(10), Length::from_mm(190)));
        let vehicle = Vehicle { name: String::new(), length: Length::from_mm(200), detectable, axles: Vec::new() };
        let heron = builder.train(Train { vehicles: vec![vehicle], ..Train::stranger("Heron") });
        let mut layout = builder.build();
        if b_is_dark {
            layout.sections[sections[1]].detector = None;
        }
        let layout = Arc::new(layout);
        let mut identity = Identity::new(Arc::clone(&layout));
        let nose = Some(layout.sections[sections[0]].ends[1]);
        let placed = Placement::new(&layout, heron, &[sections[0]], nose).unwrap();
        identity.observe(Time::ZERO, &Batch { placed: vec![placed], ..Batch::default() });
        identity.set_pace(heron, Time::ZERO, Pace { least: Speed::from_mm(95), most: Speed::from_mm(105) });
        (identity, heron, sections)
    }

    #[test]
    fn a_train_that_must_be_out_of_the_dark_by_now_and_was_not_heard_is_not_said_to_be_there_for_sure() {
        let (mut identity, heron, sections) = sets_out(true);
        // All of it has gone into the tunnel, which it takes five seconds to run through, and two to leave.
        identity.observe(Time::from_millis(4_000), &Batch { edges: vec![(sections[0], false)], ..Batch::default() });
        let mut is_sure_at = |millis| {
            identity.observe(Time::from_millis(millis), &Batch::default());
            identity.tag(sections[1]) == Tag::Sure(heron)
        };
        assert!(is_sure_at(6_000));
        assert!(!is_sure_at(12_000));
    }

    /// It ran into `b`, which is not dark, and runs on.
    fn on_its_way() -> (Identity, TrainId, SectionId) {
        let (mut identity, heron, sections) = sets_out(false);
        identity.observe(Time::from_millis(3_000), &Batch { edges: vec![(sections[1], true)], ..Batch::default() });
        identity.observe(Time::from_millis(5_000), &Batch { edges: vec![(sections[0], false)], ..Batch::default() });
        assert_eq!(identity.tag(sections[1]), Tag::Sure(heron));
        (identity, heron, sections[1])
    }

    /// What is said of its section once the power has gone at that time.
    fn tag_when_power_goes(millis: i64, before: impl Fn(&mut Identity, TrainId)) -> Tag {
        let (mut identity, heron, section) = on_its_way();
        before(&mut identity, heron);
        identity.set_standing(section, Standing::Dark);
        identity.observe(Time::from_millis(millis), &Batch::default());
        identity.tag(section)
    }

    #[test]
    fn a_train_that_may_be_past_its_section_as_the_power_goes_is_not_said_to_be_there_for_sure() {
        let heron = TrainId::from_index(0);
        assert_eq!(tag_when_power_goes(5_100, |_, _| ()), Tag::Sure(heron));
        assert_eq!(tag_when_power_goes(10_500, |_, _| ()), Tag::Doubt(smallvec![heron]));
        let stands = |identity: &mut Identity, train| {
            identity.set_pace(train, Time::from_millis(5_100), Pace { least: Speed::ZERO, most: Speed::ZERO });
        };
        assert_eq!(tag_when_power_goes(10_500, stands), Tag::Sure(heron), "it stood by then");
    }

    #[test]
    fn a_train_whose_front_is_on_power_may_draw_its_tail_out_of_the_dark() {
        for all_is_dark in [false, true] {
            let (mut identity, heron, section) = on_its_way();
            identity.set_standing(section, Standing::Dark);
            if all_is_dark {
                identity.set_standing(SectionId::from_index(2), Standing::Dark);
            }
            identity.observe(Time::from_millis(9_300), &Batch::default());
            let expected = if all_is_dark { Tag::Sure(heron) } else { Tag::Doubt(smallvec![heron]) };
            assert_eq!(identity.tag(section), expected);
        }
    }

    #[test]
    fn a_train_that_runs_away_is_not_said_for_sure_to_be_where_power_is_cut_for_that() {
        let runs_away = |identity: &mut Identity, train| {
            identity.set_pace(train, Time::from_millis(5_100), Pace { least: Speed::ZERO, most: Speed::ZERO });
            identity.note_runaway(train);
        };
        let heron = TrainId::from_index(0);
        assert_eq!(tag_when_power_goes(10_500, runs_away), Tag::Doubt(smallvec![heron]));
    }

    #[test]
    fn who_is_lost_from_sight_beside_a_filled_section_may_have_run_into_it() {
        for is_driven in [true, false] {
            let mut builder = Builder::new("line", Scale::named("H0").unwrap());
            let [a, b] = ["a", "b"].map(|name| builder.plain_section(name, Some(Length::from_mm(500))));
            let (leave, enter) = (builder.layout().sections[a].ends[1], builder.layout().sections[b].ends[0]);
            builder.join(leave, enter);
            let [heron, plover] = ["Heron", "Plover"].map(|name| builder.train(Train::stranger(name)));
            let layout = Arc::new(builder.build());
            let mut identity = Identity::new(Arc::clone(&layout));
            let placed = [(heron, a), (plover, b)].map(|(train, on)| {
                let nose = Some(layout.sections[on].ends[1]);
                Placement::new(&layout, train, &[on], nose).unwrap()
            });
            identity.observe(Time::ZERO, &Batch { placed: placed.to_vec(), ..Batch::default() });
            if is_driven {
                for train in [heron, plover] {
                    identity.set_pace(train, Time::ZERO, Pace { least: Speed::ZERO, most: Speed::ZERO });
                }
            }
            assert_eq!(identity.tag(b), Tag::Sure(plover));
            identity.observe(Time::from_millis(9_000), &Batch { edges: vec![(a, false)], ..Batch::default() });
            let expected = if is_driven { Tag::Doubt(smallvec![plover]) } else { Tag::Sure(plover) };
            assert_eq!(identity.tag(b), expected);
        }
    }
}
