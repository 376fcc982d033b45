//! What may have happened while nobody looked: trains that were remembered, and sections that filled or emptied meanwhile.
//!
//! There is an account for every way in which the trains can be matched with what shows now. None is believed so much more than
//! the others that a train becomes sure by it: that takes a word, a reading, or what the trains do next.

use smallvec::SmallVec;
use track::SectionId;

use super::Identity;
use super::account::{Account, Stand, Stands, Who, put};
use super::batch::Placement;
use super::clusters::ClusterId;
use super::memory::Remembered;
use super::picture::Hold;
use super::search::settle;

/// A train stands where it stood, though something changed near it.
const STAYED: f64 = 1.0;
/// Part of where it stood shows nothing any more.
const STAYED_IN_PART: f64 = 0.3;
/// It stands where it stood, and nothing shows it there.
const STAYED_UNSEEN: f64 = 0.05;
/// It is where something shows now that did not when its own sections emptied.
const MOVED: f64 = 0.3;
/// It was moved though something shows where it stood.
const MOVED_AND_REPLACED: f64 = 0.02;
/// It was in doubt even when it was remembered: it is somewhere else altogether.
const WAS_NOT_THERE: f64 = 0.3;
/// Something fills a section, and it is none of them.
const SOMETHING_ELSE: f64 = 0.1;

/// So many matchings are followed.
const MATCHINGS: usize = 200;
/// So many sections in a row a train is looked for in.
const IN_A_ROW: usize = 4;

struct Matching {
    weight: f64,
    stands: Stands,
}

impl Identity {
    /// Adds accounts of trains of which it is known that something changed where they stood, or near by.
    pub(super) fn weigh_what_changed(&mut self, trains: &[Remembered]) {
        let filled: Vec<SectionId> = self.layout.sections.ids().filter(|&it| self.is_filled_anew(it, trains)).collect();
        let places = trains.iter().flat_map(|it| self.as_seen(it)).filter(|hold| hold.seen).map(|hold| hold.section);
        let mut shown: Vec<SectionId> = filled.iter().copied().chain(places).collect();
        shown.sort_unstable();
        shown.dedup();
        let rows = self.rows_of(&filled);
        let (mut matchings, given_up) = self.without_strangers(&shown);
        let mut left_out = 0.0_f64;
        for remembered in trains {
            let options = self.options(remembered, trains, &rows);
            let mut more = Vec::new();
            for matching in &matchings {
                for (stand, weight) in &options {
                    let mut stands = matching.stands.clone();
                    if let Some(stand) = stand {
                        if stand.holds.iter().any(|hold| hold.seen && stands.iter().any(|it| it.sees(hold.section))) {
                            continue;
                        }
                        put(&mut stands, stand.clone());
                    }
                    more.push(Matching { weight: matching.weight * weight, stands });
                }
            }
            more.sort_by(|one, other| other.weight.total_cmp(&one.weight));
            left_out = left_out.max(if more.len() > MATCHINGS { 1.0 } else { 0.0 });
            more.truncate(MATCHINGS);
            matchings = more;
        }
        let mut accounts = self.with_strangers(matchings, &shown);
        settle(&mut accounts, 0.0);
        self.tags.touch(&accounts);
        shown.iter().for_each(|&section| self.tags.touch_section(section));
        self.clusters.add_split(&mut accounts, given_up + left_out);
    }

    fn is_filled_anew(&self, section: SectionId, trains: &[Remembered]) -> bool {
        self.is_unaccounted_for(section) && !trains.iter().any(|it| it.covers(section))
    }

    /// What was believed so far of the sections that show something, but for what is unknown there: that may be one of the trains.
    fn without_strangers(&mut self, shown: &[SectionId]) -> (Vec<Matching>, f64) {
        let mut clusters: Vec<ClusterId> = Vec::new();
        for &section in shown {
            for &cluster in self.clusters.at(section) {
                if !clusters.contains(&cluster) {
                    clusters.push(cluster);
                }
            }
        }
        let given_up = self.take_joint(&clusters);
        self.tags.touch(&self.joint);
        let matching = |account: &Account| {
            let is_known = |stand: &&Stand| {
                stand.who.known().is_some() || !stand.holds.iter().any(|hold| shown.contains(&hold.section))
            };
            Matching { weight: account.weight, stands: account.stands.iter().filter(is_known).cloned().collect() }
        };
        (self.joint.iter().map(matching).collect(), given_up)
    }

    /// Every row of the sections in which a train can lie.
    fn rows_of(&self, filled: &[SectionId]) -> Vec<SmallVec<[Hold; 4]>> {
        let mut rows: Vec<Vec<SectionId>> = filled.iter().map(|&section| vec![section]).collect();
        let mut from = 0;
        for _ in 1..IN_A_ROW {
            let upto = rows.len();
            for at in from..upto {
                for &next in filled.iter().filter(|next| !rows[at].contains(next)).collect::<Vec<_>>() {
                    let mut longer = rows[at].clone();
                    longer.push(next);
                    // The same row from its other end is the same place.
                    let mirrored: Vec<SectionId> = longer.iter().rev().copied().collect();
                    if rows.len() < MATCHINGS && !rows.contains(&mirrored) && self.lies(&longer).is_some() {
                        rows.push(longer);
                    }
                }
            }
            from = upto;
        }
        rows.iter().filter_map(|row| self.lies(row)).collect()
    }

    fn lies(&self, row: &[SectionId]) -> Option<SmallVec<[Hold; 4]>> {
        // Whose row it is makes no difference.
        let nobody = track::Id::from_index(0);
        let placement = Placement::new(&self.layout, nobody, row, None).ok()?;
        let mut holds = placement.holds;
        if let [only] = holds.as_mut_slice() {
            only.enter = None;
        }
        Some(holds)
    }

    /// Where a train may be now, with the weight of each possibility; nothing where it is none of what shows.
    fn options(
        &self,
        remembered: &Remembered,
        trains: &[Remembered],
        rows: &[SmallVec<[Hold; 4]>],
    ) -> Vec<(Option<Stand>, f64)> {
        let stays = self.as_seen(remembered);
        let is_shown = |hold: &Hold| hold.seen || self.topology.is_dark(hold.section);
        let shown = stays.iter().filter(|hold| is_shown(hold)).count();
        let stayed = match shown {
            0 => STAYED_UNSEEN,
            some if some < stays.len() => STAYED_IN_PART,
            _ => STAYED,
        };
        let moved = if shown == 0 { MOVED } else { MOVED_AND_REPLACED };
        let mut options = vec![(Some(remembered.as_stand(stays)), stayed)];
        if shown > 0 {
            // Something else may have been put in its place.
            let unseen = remembered.holds.iter().map(|hold| Hold { seen: false, ..*hold }).collect();
            options.push((Some(remembered.as_stand(unseen)), MOVED_AND_REPLACED));
        }
        for row in rows {
            options.extend(self.either_way_round(remembered, row).into_iter().map(|stand| (Some(stand), moved)));
        }
        for other in trains.iter().filter(|other| other.train != remembered.train) {
            let theirs: SmallVec<[Hold; 4]> = self.as_seen(other).into_iter().filter(|hold| hold.seen).collect();
            if !theirs.is_empty() {
                let ways = self.either_way_round(remembered, &theirs);
                options.extend(ways.into_iter().map(|stand| (Some(stand), moved.min(MOVED_AND_REPLACED))));
            }
        }
        if !remembered.sure {
            options.push((None, WAS_NOT_THERE));
        }
        options
    }

    /// A train that was put down anew may point either way.
    fn either_way_round(&self, remembered: &Remembered, row: &SmallVec<[Hold; 4]>) -> SmallVec<[Stand; 2]> {
        let mut stand = remembered.as_stand(row.clone());
        stand.backward = false;
        if let [only] = stand.holds.as_mut_slice() {
            only.enter = None;
            return SmallVec::from_iter([stand]);
        }
        let mut turned = self.scene(crate::time::Time::ZERO).turned(&stand);
        turned.backward = false;
        SmallVec::from_iter([stand, turned])
    }

    /// What shows and is none of the trains is something unknown.
    fn with_strangers(&mut self, matchings: Vec<Matching>, shown: &[SectionId]) -> Vec<Account> {
        let strangers: Vec<Who> = shown
            .iter()
            .map(|_| {
                self.strangers = self.strangers.wrapping_add(1);
                Who::stranger(self.strangers & (u32::MAX >> 1))
            })
            .collect();
        let mut accounts: Vec<Account> = matchings
            .into_iter()
            .map(|Matching { mut weight, mut stands }| {
                for (&section, &who) in shown.iter().zip(&strangers) {
                    if !stands.iter().any(|stand| stand.sees(section)) {
                        weight *= SOMETHING_ELSE;
                        put(&mut stands, Stand::new(who, Hold { section, enter: None, seen: true }));
                    }
                }
                Account { weight, stands }
            })
            .collect();
        let total: f64 = accounts.iter().map(|account| account.weight).sum();
        for account in &mut accounts {
            account.weight /= total;
        }
        accounts
    }
}
