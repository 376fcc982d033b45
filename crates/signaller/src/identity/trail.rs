//! What a train drags behind where no detector sees it.

use track::{EndId, Length, Need, SectionId, TrainId};

use super::Identity;
use super::account::{Account, Who};
use super::odometer::detectable_length;
use crate::time::Time;

/// Allowed for the slack of couplings and the reckoning of the last axle.
const SLACK: Length = Length::from_mm(15);

/// Sections that read free and may still be covered by a blind tail.
#[derive(Debug, Default)]
pub(super) struct Trails {
    rows: Vec<Trail>,
}

#[derive(Debug)]
struct Trail {
    train: TrainId,
    section: SectionId,
    /// The least distance on the train's odometer at which the blind tail is through; nothing where only the next emptying
    /// behind it can tell.
    until: Option<Length>,
    /// While the blind end leads: how far it still was from being through, and the most on the odometer, when it turned.
    turned: Option<(Length, Length)>,
}

impl Trails {
    /// The trains whose blind tail may cover the section.
    pub fn over(&self, section: SectionId) -> impl Iterator<Item = TrainId> + '_ {
        self.rows.iter().filter(move |trail| trail.section == section).map(|trail| trail.train)
    }

    /// The train turns back, having travelled between these bounds. Where its blind tail leads from now on, distance alone says
    /// no more that it is through; where one trails again, it has to make good what it went in meanwhile.
    pub fn turn_back(&mut self, train: TrainId, travelled: Option<(Length, Length)>) {
        for trail in self.rows.iter_mut().filter(|trail| trail.train == train) {
            (trail.until, trail.turned) = match (trail.until, trail.turned, travelled) {
                (Some(until), _, Some((least, most))) => (None, Some((until - least, most))),
                (None, Some((left, since)), Some((least, most))) => (Some(least + left + (most - since)), None),
                _ => (None, None),
            };
        }
    }
}

impl Identity {
    /// Whether the train has a blind end, of which a trail must be kept.
    pub(super) fn drags_unseen(&self, who: Who) -> bool {
        detectable_length(&self.roster, who).is_some_and(|(_, front, rear)| front + rear > Length::ZERO)
    }

    /// Takes note of the sections that trains of `self.joint` have left according to `self.results`.
    pub(super) fn note_tails(&mut self, now: Time) {
        for account in &self.joint {
            if account.weight < self.prices.sure {
                continue;
            }
            for stand in &account.stands {
                let Some(train) = stand.who.known() else { continue };
                let Some((_, front, rear)) = detectable_length(&self.roster, stand.who) else { continue };
                let blind = if stand.backward { front } else { rear };
                if blind == Length::ZERO {
                    continue;
                }
                for hold in &stand.holds {
                    if holds(&self.results, self.prices.sure, stand.who, hold.section) {
                        continue;
                    }
                    let until = self.odometers.least(train, now).map(|least| least + blind + SLACK);
                    let long = self.layout.sections[hold.section]
                        .ways
                        .iter()
                        .all(|&way| self.layout.ways[way].length.is_none_or(|length| length >= blind + SLACK));
                    let known = |trail: &Trail| trail.train == train && trail.section == hold.section;
                    if !self.trails.rows.iter().any(known) {
                        if long {
                            let tags = &mut self.tags;
                            self.trails.rows.retain(|trail| {
                                let through = trail.train == train;
                                if through {
                                    tags.touch_section(trail.section);
                                }
                                !through
                            });
                        }
                        self.trails.rows.push(Trail { train, section: hold.section, until, turned: None });
                    }
                }
            }
        }
    }

    /// The sections ahead that the blind nose of a train may reach into.
    pub(super) fn overhang(&self, train: TrainId, now: Time) -> Vec<SectionId> {
        let mut sections = Vec::new();
        let Some(stand) = self.whereabouts(train, now) else { return sections };
        let Some(enter) = stand.footprint.last().and_then(|nose| nose.enter) else { return sections };
        let mut ahead: Vec<(EndId, Option<Length>)> = vec![(enter, stand.nose.map(|nose| nose.reach))];
        while let Some((enter, most)) = ahead.pop() {
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
                for &entry in self.topology.meets(passage.leave) {
                    let section = self.topology.section_of[entry];
                    if !sections.contains(&section) {
                        sections.push(section);
                        ahead.push((entry, Some(beyond)));
                    }
                }
            }
        }
        sections
    }

    /// A train has turned back: what its blind nose reached into, its blind tail lies in now.
    pub(super) fn note_overhang(&mut self, train: TrainId, sections: &[SectionId], now: Time) {
        let blind = self.roster.measure(train).map_or(Length::ZERO, |it| it.blind_front.max(it.blind_rear));
        let until = self.odometers.least(train, now).map(|least| least + blind + SLACK);
        for &section in sections {
            self.trails.rows.retain(|trail| trail.train != train || trail.section != section);
            self.trails.rows.push(Trail { train, section, until, turned: None });
            self.tags.touch_section(section);
        }
    }

    /// Gives up the trails that are through, and those of trains that are back or gone.
    pub(super) fn follow_tails(&mut self, now: Time) {
        if self.trails.rows.is_empty() {
            return;
        }
        let (clusters, odometers, tags) = (&self.clusters, &self.odometers, &mut self.tags);
        let sure = self.prices.sure;
        self.trails.rows.retain(|trail| {
            let home = clusters.home(trail.train);
            let back = home.is_some_and(|home| {
                holds(&clusters.cluster(home).accounts, sure, Who::train(trail.train), trail.section)
            });
            let through =
                trail.until.is_some_and(|until| odometers.least(trail.train, now).is_some_and(|least| least >= until));
            let stays = home.is_some() && !back && !through;
            if !stays {
                tags.touch_section(trail.section);
            }
            stays
        });
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
