//! What a train drags behind where no detector sees it.
//!
//! A section that a train has left reads free while its blind tail may still lie in it, and one whose detector fails reads free
//! with the whole train in it, or before its tail can have left it. It counts as left for good only when the
//! train is proved to be far enough on: by a joint, a spot or its own visible tail, never by how it was driven, for a train that
//! stalls says nothing.

use smallvec::{SmallVec, smallvec};
use track::{EndId, Length, Need, SectionId, TrainId, Vehicle};

use super::Identity;
use super::account::{Account, Stand, Who};
use super::moves::SHORTEST;
use super::odometer::detectable_length;
use super::picture::Hold;
use super::topology::length_towards;
use crate::roster::Measure;

/// Allowed for the slack of couplings and the reckoning of the last axle.
const SLACK: Length = Length::from_mm(15);

/// Sections that read free and may still be covered by a blind tail.
#[derive(Debug, Default, serde::Serialize, serde::Deserialize)]
pub(super) struct Trails {
    rows: Vec<Trail>,
}

#[derive(Debug, serde::Serialize, serde::Deserialize)]
struct Trail {
    train: TrainId,
    section: SectionId,
    beyond: Option<Beyond>,
}

/// Where a train went on from a section that it left.
#[derive(Clone, Copy, Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct Beyond {
    /// It came in by this end
    entry: EndId,
    /// which lies so far beyond the section.
    distance: Length,
}

impl Trails {
    /// The trains whose blind tail may cover the section.
    pub fn over(&self, section: SectionId) -> impl Iterator<Item = TrainId> + '_ {
        self.rows.iter().filter(move |trail| trail.section == section).map(|trail| trail.train)
    }

    /// No tail lies in the section.
    pub fn forget_in(&mut self, section: SectionId) {
        self.rows.retain(|trail| trail.section != section);
    }
}

impl Identity {
    /// Whether the train has a blind end, of which a trail must be kept, or lies perhaps where a trail is kept of it.
    pub(super) fn drags_unseen(&self, who: Who) -> bool {
        let Some(train) = who.known() else { return false };
        let is_blind =
            |measure: Measure| self.blind_end(who, measure.hidden_front + measure.hidden_rear) > Length::ZERO;
        self.roster.measure(train).is_some_and(is_blind) || self.trailing(train).next().is_some()
    }

    /// Takes note of the sections that trains of `self.joint` have left according to `self.results`.
    pub(super) fn note_tails(&mut self) {
        let mut rows = std::mem::take(&mut self.trails.rows);
        let mut fresh: SmallVec<[Trail; 4]> = SmallVec::new();
        for account in &self.joint {
            if account.weight < self.prices.sure {
                continue;
            }
            for stand in &account.stands {
                let Some(train) = stand.who.known() else { continue };
                for (place, hold) in stand.holds.iter().enumerate() {
                    // One that goes back without anybody having said so leaves the section of its nose.
                    let backs = place > 0 && place + 1 == stand.holds.len();
                    let blind = if backs { self.hidden_nose(stand) } else { self.blind_tail(stand) };
                    let Some(blind) = blind else { continue };
                    if holds(&self.results, self.prices.sure, stand.who, hold.section) {
                        continue;
                    }
                    let next = stand.holds.get(place + 1);
                    for trail in rows.iter_mut().filter(|trail| trail.train == train) {
                        trail.beyond = trail.beyond.and_then(|beyond| self.further(beyond, hold, next));
                    }
                    // What passed a section unheard lies there until it is proved out of it; what was heard to leave is out of it
                    // but for its blind tail.
                    let unheard = !hold.seen && self.reported[hold.section] == Some(false);
                    let early = hold.seen && self.scene(self.heard_at).leaves_too_early(stand, place);
                    if rows.iter().chain(&fresh).any(|trail| trail.train == train && trail.section == hold.section) {
                        continue;
                    }
                    // One that goes back takes its nose out of there, and its tail no farther out of anything.
                    if !backs && hold.seen && !early && self.was_surely_in(hold.section, stand.who) {
                        let is_long = self.is_longer_than(hold.section, blind + SLACK);
                        let is_past = |beyond: Beyond| {
                            next.and_then(|next| next.enter) == Some(beyond.entry) && beyond.distance >= blind + SLACK
                        };
                        let tags = &mut self.tags;
                        rows.retain(|trail| {
                            let through = trail.train == train && (is_long || trail.beyond.is_some_and(is_past));
                            if through {
                                tags.touch_section(trail.section);
                            }
                            !through
                        });
                    }
                    if blind == Length::ZERO && !unheard && !early {
                        continue;
                    }
                    let entry = match next {
                        Some(next) => next.enter,
                        None if backs => hold
                            .enter
                            .and_then(|enter| self.topology.leave_towards(stand.holds[place - 1].section, enter)),
                        None => None,
                    };
                    let beyond = entry.map(|entry| Beyond { entry, distance: Length::ZERO });
                    fresh.push(Trail { train, section: hold.section, beyond });
                }
            }
        }
        for trail in self.passed_unheard() {
            let is_same = |it: &Trail| it.train == trail.train && it.section == trail.section;
            fresh.retain(|it| !is_same(it));
            if !rows.iter().any(is_same) {
                fresh.push(trail);
            }
        }
        rows.extend(fresh);
        self.trails.rows = rows;
    }

    /// Whether every account that counts for anything had the train in a section that it has left.
    fn was_surely_in(&self, section: SectionId, who: Who) -> bool {
        let stands = self.joint.iter().filter(|account| account.weight >= self.prices.sure).flat_map(|it| &it.stands);
        stands.filter(|stand| stand.who == who).all(|stand| stand.position(section).is_some())
    }

    /// What lies behind trains that were lost from sight and have shown themselves again, as far back as they are long: a section
    /// there that they came through without having been heard may hold them still.
    fn passed_unheard(&self) -> SmallVec<[Trail; 4]> {
        let mut found: SmallVec<[Trail; 4]> = SmallVec::new();
        let counts = |account: &&Account| account.weight >= self.prices.sure;
        let shown =
            self.results.iter().filter(counts).flat_map(|account| &account.stands).filter(|stand| stand.is_seen());
        for stand in shown {
            let before = self.joint.iter().filter(counts).flat_map(|account| &account.stands);
            let mut before = before.filter(|other| other.who == stand.who).peekable();
            let was_lost = before.peek().is_some() && before.all(|other| !other.is_seen());
            let (Some(train), Some(entry)) = (stand.who.known(), stand.holds[0].enter) else { continue };
            if !was_lost {
                continue;
            }
            self.for_each_free_behind(train, entry, |section, distance| {
                let is_known = found.iter().any(|it| it.train == train && it.section == section)
                    || holds(&self.results, self.prices.sure, stand.who, section);
                if !is_known {
                    found.push(Trail { train, section, beyond: Some(Beyond { entry, distance }) });
                }
                !is_known
            });
        }
        found
    }

    /// Looks at the sections behind the end that a train came in by which are said to be free, each with what lies between; on
    /// beyond those at which `goes_on` says so, as far back as the train is long.
    fn for_each_free_behind(&self, train: TrainId, entry: EndId, mut goes_on: impl FnMut(SectionId, Length) -> bool) {
        let measure = self.roster.measure(train);
        let length = measure.map_or(Length::ZERO, |it| it.seen + it.hidden_front + it.hidden_rear);
        let mut behind: SmallVec<[(EndId, Length); 4]> = smallvec![(entry, Length::ZERO)];
        while let Some((back, distance)) = behind.pop() {
            for &end in self.topology.meets(back) {
                let section = self.topology.section_of[end];
                let is_free = !self.topology.is_dark(section) && self.reported[section] == Some(false);
                if !is_free || !goes_on(section, distance) {
                    continue;
                }
                for passage in self.topology.passages(end) {
                    let further = self.layout.ways[passage.way].length.map(|own| distance + own);
                    behind.extend(further.filter(|&far| far < length).map(|far| (passage.leave, far)));
                }
            }
        }
    }

    /// The same trail, where the train has left the section beyond too.
    fn further(&self, beyond: Beyond, left: &Hold, next: Option<&Hold>) -> Option<Beyond> {
        if left.enter != Some(beyond.entry) {
            return Some(beyond);
        }
        let entry = next?.enter?;
        let leave = self.topology.leave_towards(left.section, entry)?;
        let way = self.layout.way_between(beyond.entry, leave)?;
        Some(Beyond { entry, distance: beyond.distance + self.layout.ways[way].length.unwrap_or(SHORTEST) })
    }

    fn is_longer_than(&self, section: SectionId, length: Length) -> bool {
        let mut ways = self.layout.sections[section].ways.iter();
        ways.all(|&way| self.layout.ways[way].length.unwrap_or(SHORTEST) >= length)
    }

    /// What of the train trails where no detector sees it.
    fn blind_tail(&self, stand: &Stand) -> Option<Length> {
        let measure = self.roster.measure(stand.who.known()?)?;
        Some(self.blind_end(stand.who, if stand.backward { measure.hidden_front } else { measure.hidden_rear }))
    }

    /// What of the train lies ahead where no detector sees it.
    fn hidden_nose(&self, stand: &Stand) -> Option<Length> {
        let measure = self.roster.measure(stand.who.known()?)?;
        Some(self.blind_end(stand.who, if stand.backward { measure.hidden_rear } else { measure.hidden_front }))
    }

    /// The sections ahead that the blind nose of a train may reach into, and where it would go on from each if it turned back.
    pub(super) fn overhang(&self, train: TrainId, now: crate::Time) -> Vec<(SectionId, Beyond)> {
        let mut sections: Vec<(SectionId, Beyond)> = Vec::new();
        let Some(stand) = self.whereabouts(train, now) else { return sections };
        let Some(enter) = stand.footprint.last().and_then(|nose| nose.enter) else { return sections };
        let mut ahead: Vec<(EndId, Option<Length>, Option<Beyond>)> =
            vec![(enter, stand.nose.map(|nose| nose.reach - Vehicle::OVERHANG), None)];
        while let Some((enter, most, back)) = ahead.pop() {
            for passage in self.topology.passages(enter) {
                let way = &self.layout.ways[passage.way];
                let lies = |need: &Need| self.lies[need.turnout].is_none_or(|lie| lie == need.lie);
                let beyond = match (most, way.length) {
                    (Some(most), Some(length)) => most - length,
                    // It sticks out of a section that nobody measured by its blind nose at most, and one ahead may be short.
                    (most, _) => most.unwrap_or(Length::MAX).min(stand.blind_nose),
                };
                if beyond <= Length::ZERO || !way.needs.iter().all(lies) {
                    continue;
                }
                // A section farther out is left so much earlier.
                let back = match back {
                    Some(back) => Beyond { distance: back.distance + way.length.unwrap_or(Length::ZERO), ..back },
                    None => Beyond { entry: passage.leave, distance: Length::ZERO },
                };
                for &entry in self.topology.meets(passage.leave) {
                    let section = self.topology.section_of[entry];
                    if !sections.iter().any(|&(known, _)| known == section) {
                        sections.push((section, back));
                        ahead.push((entry, Some(beyond), Some(back)));
                    }
                }
            }
        }
        sections
    }

    /// A train has turned back: what its blind nose reached into, its blind tail lies in now.
    pub(super) fn note_overhang(&mut self, train: TrainId, sections: &[(SectionId, Beyond)]) {
        for &(section, beyond) in sections {
            self.trails.rows.retain(|trail| trail.train != train || trail.section != section);
            self.trails.rows.push(Trail { train, section, beyond: Some(beyond) });
            self.tags.touch_section(section);
        }
    }

    /// Sections that read free and in which the train's tail may lie.
    pub(super) fn trailing(&self, train: TrainId) -> impl Iterator<Item = SectionId> + '_ {
        self.trails.rows.iter().filter(move |trail| trail.train == train).map(|trail| trail.section)
    }

    /// Sections that read free and into which the train's ends may reach.
    pub(super) fn hidden_ends(&self, train: TrainId) -> Vec<SectionId> {
        let ahead = self.overhang(train, self.heard_at).into_iter().map(|(section, _)| section);
        let mut hidden: Vec<_> = self.trailing(train).collect();
        hidden.extend(ahead.filter(|section| !hidden.contains(section)).collect::<Vec<_>>());
        hidden
    }

    /// Nothing of the train lies where no detector sees it.
    pub(super) fn forget_trails(&mut self, train: TrainId) {
        let tags = &mut self.tags;
        self.trails.rows.retain(|trail| {
            let stays = trail.train != train;
            if !stays {
                tags.touch_section(trail.section);
            }
            stays
        });
    }

    /// A train that is remembered may reach into these sections too.
    pub(super) fn note_hidden(&mut self, train: TrainId, holds: &[Hold], sections: &[SectionId]) {
        for &section in sections {
            let next_to_it =
                |entry: &EndId| self.topology.meets(*entry).iter().any(|&end| self.topology.section_of[end] == section);
            let entry = holds.first().and_then(|tail| tail.enter).filter(next_to_it);
            let beyond = entry.map(|entry| Beyond { entry, distance: Length::ZERO });
            self.trails.rows.retain(|trail| trail.train != train || trail.section != section);
            self.trails.rows.push(Trail { train, section, beyond });
        }
    }

    /// Gives up the trails that are through, and those of trains that are back or gone.
    pub(super) fn follow_tails(&mut self) {
        if self.trails.rows.is_empty() {
            return;
        }
        let mut rows = std::mem::take(&mut self.trails.rows);
        rows.retain(|trail| {
            let who = Who::train(trail.train);
            let accounts = self.clusters.home(trail.train).map(|home| &self.clusters.cluster(home).accounts);
            let is_remembered = self.memories.pending.iter().any(|it| it.train == trail.train);
            let stays = is_remembered
                || accounts.is_some_and(|accounts| {
                    !holds(accounts, self.prices.sure, who, trail.section) && !self.is_through(trail, accounts)
                });
            if !stays {
                self.tags.touch_section(trail.section);
            }
            stays
        });
        self.trails.rows = rows;
    }

    /// Whether the blind tail is proved to be out of the section, by every account that counts.
    fn is_through(&self, trail: &Trail, accounts: &[Account]) -> bool {
        let who = Who::train(trail.train);
        let mut stands = accounts
            .iter()
            .filter(|account| account.weight >= self.prices.sure)
            .filter_map(|account| account.stands.iter().find(|stand| stand.who == who));
        stands.all(|stand| self.tail_beyond(trail, stand).is_some_and(|beyond| beyond >= SLACK))
    }

    /// How far beyond the section the last wheel of the train is at least; nothing where that is not known.
    fn tail_beyond(&self, trail: &Trail, stand: &Stand) -> Option<Length> {
        let beyond = trail.beyond?;
        let from = stand.holds.iter().position(|hold| hold.enter == Some(beyond.entry))?;
        let mut distance = beyond.distance;
        for pair in stand.holds[from..].windows(2) {
            distance += length_towards(&self.layout, &self.topology, &pair[0], pair[1].enter?)?;
        }
        let (seen, _, _) = detectable_length(&self.roster, stand.who)?;
        Some(distance + Length::from_um(stand.head.proved) - seen - self.blind_tail(stand)?)
    }
}

/// Whether some account that counts for anything has the train in the section. One that does not may be given up without a
/// report, and then nobody would take note of the tail.
fn holds(accounts: &[Account], sure: f64, who: Who, section: SectionId) -> bool {
    accounts
        .iter()
        .filter(|account| account.weight >= sure)
        .flat_map(|account| &account.stands)
        .any(|stand| stand.who == who && stand.holds.iter().any(|hold| hold.section == section))
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use track::{Builder, Scale, Speed, Train};

    use super::super::{Batch, Pace, Placement};
    use super::*;
    use crate::model;
    use crate::time::Time;

    /// Sections of this length, and a locomotive with 300 mm of wagons behind it that no detector sees, on its way out of the first.
    fn line(names: &[&str], length: Option<Length>) -> (Identity, Vec<SectionId>, TrainId) {
        let mut builder = Builder::new("line", Scale::named("H0").unwrap());
        let sections = model::line(&mut builder, names, length);
        let vehicle = |length: i64, detectable| Vehicle {
            name: String::new(),
            length: Length::from_mm(length),
            detectable,
            axles: Vec::new(),
        };
        let locomotive = vehicle(150, Some((Length::from_mm(10), Length::from_mm(140))));
        let heron = builder.train(Train { vehicles: vec![locomotive, vehicle(300, None)], ..Train::stranger("Heron") });
        let layout = Arc::new(builder.build());
        let mut identity = Identity::new(Arc::clone(&layout));
        let nose = Some(layout.sections[sections[0]].ends[1]);
        let placed = Placement::new(&layout, heron, &[sections[0]], nose).unwrap();
        identity.observe(Time::ZERO, &Batch { placed: vec![placed], ..Batch::default() });
        identity.set_pace(heron, Time::ZERO, Pace { least: Speed::from_mm(60), most: Speed::from_mm(100) });
        (identity, sections, heron)
    }

    #[test]
    fn a_section_ahead_that_fills_and_empties_again_proves_nothing_of_a_blind_tail() {
        let (mut identity, sections, heron) = line(&["a", "b", "c"], Some(Length::from_mm(500)));
        let mut hear = |millis: i64, section: usize, filled: bool| {
            identity.observe(
                Time::from_millis(millis),
                &Batch { edges: vec![(sections[section], filled)], ..Batch::default() },
            );
            identity.holders(sections[0]).contains(&heron)
        };
        hear(4000, 1, true);
        assert!(hear(6000, 0, false), "its wagons are still there");
        assert!(hear(9000, 2, true), "as power fails, the detector ahead says that something is there");
        assert!(hear(9100, 2, false), "nothing was there: the train is no farther on than before");
    }

    #[test]
    fn a_blind_tail_is_out_of_a_section_once_so_many_that_nobody_measured_are_behind_it() {
        let (mut identity, sections, heron) = line(&["a", "b", "c", "d", "e"], None);
        let drags_after = |left: usize| {
            let at = |millis| Time::from_millis(10_000 * left as i64 + millis);
            let hear =
                |section: usize, filled: bool| Batch { edges: vec![(sections[section], filled)], ..Batch::default() };
            identity.observe(at(0), &hear(left + 1, true));
            identity.observe(at(5_000), &hear(left, false));
            identity.holders(sections[0]).contains(&heron)
        };
        // Each is taken to be 120 mm long, and the tail is 300 mm.
        assert_eq!([0, 1, 2, 3].map(drags_after), [true, true, true, false]);
    }
}
