//! How the accounts of one section came about, for whoever wants to be told why it got its tag.
//!
//! A witness is called by a replay. It changes nothing: it looks at the accounts before and after each piece of evidence, and asks
//! the search once more which explanations there were. What the price of one is made of is found by asking again with one price
//! raised at a time, so that nothing has to be kept up beside the search. While no witness is called all of this costs one look
//! at an empty place for each piece of evidence.

use std::collections::VecDeque;

use smallvec::SmallVec;
use track::{SectionId, TrainId};

use super::account::{Account, Stand, Who};
use super::clusters::{self, ClusterId};
use super::matter::Alternative;
use super::prices::Prices;
use super::search::{Line, Question, Search};
use super::{Batch, Identity, Standing};
use crate::time::Time;

/// So many of the latest notes are kept.
const NOTES: usize = 64;
/// From so many accounts, the likeliest first, explanations are sought.
const STARTS: usize = 8;
/// So many accounts, and so many explanations of one piece of evidence, are told; the others are counted.
const TOLD: usize = 6;
/// An explanation that weighs less than this beside the likeliest is not even spoken of.
const UNSPEAKABLE: f64 = 1e-12;
/// By so much one price is raised to see which explanations become dearer.
const RAISED: f64 = 1.01;
/// Shares that differ by less are the same.
const ALIKE: f64 = 1e-6;

/// Takes note of what concerns one section.
#[derive(Clone, Debug)]
pub(super) struct Witness {
    section: SectionId,
    notes: VecDeque<Note>,
}

/// A piece of evidence.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Evidence {
    /// Sections filled or emptied, and trains were taken off, in one instant.
    Reports(Vec<(SectionId, bool)>, Vec<TrainId>),
    /// A train was read in a section.
    Read(SectionId, TrainId),
    /// Something passed a spot in a section.
    Passed(SectionId),
    /// A person said that a train is in a section.
    Said(SectionId, TrainId),
    /// A person said that nothing is in a section.
    FoundEmpty(SectionId),
    /// Trains were put down, or said to stand somewhere.
    PutDown(Vec<TrainId>),
    /// Trains were coupled or uncoupled.
    MadeUp,
    /// Two trains may have been taken for each other.
    Suspicion,
    /// What was remembered was held against what is reported.
    Remembered,
}

/// One complete explanation, as far as it concerns a section.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Possible {
    /// Its share of belief; of an explanation of evidence, what it weighs.
    pub(crate) share: f64,
    /// Where known trains stand in it.
    pub(crate) places: Alternative,
    /// Where something stands that no known train explains.
    pub(crate) unknown: Vec<SectionId>,
}

/// One way in which evidence can be explained.
#[derive(Clone, Debug)]
pub(crate) struct Explanation {
    /// What is so if it is right. Its share is what is believed of it after the evidence; zero where it was given up.
    pub(crate) then: Possible,
    /// How often it happens beside the ordinary course of things; 1 where it is the ordinary course.
    pub(crate) price: f64,
    /// What makes it dear: which prices ([`Prices::NAMED`]), and how often.
    pub(crate) because: Vec<(&'static str, u32)>,
}

/// What one piece of evidence did to the accounts of the section.
#[derive(Clone, Debug)]
pub(crate) struct Note {
    pub(crate) at: Time,
    pub(crate) evidence: Evidence,
    pub(crate) before: Vec<Possible>,
    pub(crate) after: Vec<Possible>,
    /// The likeliest first. None where evidence does not say what happened, but only which accounts fit it.
    pub(crate) explanations: Vec<Explanation>,
    /// How many more there were.
    pub(crate) others: usize,
}

/// What is looked at before a piece of evidence is taken in.
#[derive(Debug)]
pub(super) struct Before {
    evidence: Evidence,
    accounts: Vec<Vec<Account>>,
    ways: Vec<Way>,
}

/// An account that explains what was heard, with its weight.
#[derive(Clone, Debug)]
struct Way {
    account: Account,
    price: f64,
    because: Vec<(&'static str, u32)>,
}

impl Identity {
    /// From now on it is noted how the accounts of this section change.
    pub(crate) fn call_witness(&mut self, section: SectionId) {
        self.witness = Some(Box::new(Witness { section, notes: VecDeque::new() }));
    }

    /// What was noted, the oldest first.
    pub(crate) fn notes(&self) -> impl Iterator<Item = &Note> {
        self.witness.iter().flat_map(|witness| &witness.notes)
    }

    /// The accounts that there are of a section, the likeliest first, and whether there were too many to follow all of them.
    pub(crate) fn possibilities(&self, section: SectionId) -> (Vec<Possible>, bool) {
        let accounts: Vec<Vec<Account>> = self.accounts_at(section).map(<[Account]>::to_vec).collect();
        let there = trains_at(section, &accounts);
        let given_up = self.clusters.at(section).iter().map(|&at| self.clusters.cluster(at).given_up);
        let is_cut = given_up.fold(0.0, f64::max) >= self.prices.sure;
        (self.told_of(&joint(&accounts, &there), &there), is_cut)
    }

    /// What the section's detector says, and how far that is relied on.
    pub(crate) fn detector_in_words(&self, section: SectionId) -> &'static str {
        if self.topology.is_dark(section) {
            return "it has no detector";
        }
        match (self.standings[section], self.reported[section]) {
            (Standing::Dark | Standing::DarkPerhaps, _) => "it has no power: its detector tells nothing",
            (_, None) => "its detector was never heard",
            (Standing::Old, _) => "what its detector said last is old news: its link is down, or was",
            (Standing::Current, Some(true)) => "its detector says that something is there",
            (Standing::Current, Some(false)) => "its detector says that nothing is there",
        }
    }

    /// The accounts of every cluster in which some train may be in the section.
    pub(super) fn accounts_at(&self, section: SectionId) -> impl Iterator<Item = &[Account]> {
        self.clusters.at(section).iter().map(|&cluster| self.clusters.cluster(cluster).accounts.as_slice())
    }

    /// Looks at what is believed before evidence is taken in; nothing while no witness was called.
    pub(super) fn before(&self, evidence: impl FnOnce() -> Evidence) -> Option<Box<Before>> {
        self.witness.as_ref()?;
        let accounts = self.clusters.all().map(<[Account]>::to_vec).collect();
        Some(Box::new(Before { evidence: evidence(), accounts, ways: Vec::new() }))
    }

    /// The same before reports, with every explanation of them.
    pub(super) fn before_reports(
        &self,
        now: Time,
        lines: &[Line],
        clusters: &[ClusterId],
        lifted: &[Who],
    ) -> Option<Box<Before>> {
        let said = || {
            let values = lines.iter().flat_map(|line| line.values.iter().map(|&value| (line.section, value)));
            Evidence::Reports(values.collect(), lifted.iter().filter_map(|who| who.known()).collect())
        };
        let mut before = self.before(said)?;
        let mut starts = vec![Account { weight: 1.0, stands: SmallVec::new() }];
        for &cluster in clusters {
            starts = clusters::product(&starts, &self.clusters.cluster(cluster).accounts);
        }
        for start in starts.iter().take(STARTS) {
            before.ways.extend(self.ways(now, lines, lifted, start));
        }
        Some(before)
    }

    /// Every explanation of some reports from one account.
    fn ways(&self, now: Time, lines: &[Line], lifted: &[Who], start: &Account) -> Vec<Way> {
        let with = |prices: &Prices| {
            let mut question = self.question(now, lines, lifted);
            question.scene.prices = prices;
            Search::default().weigh_all(&question, start)
        };
        let prices = Prices { given_up: UNSPEAKABLE, ..self.prices.clone() };
        let mut ways: Vec<Way> = Vec::new();
        for account in with(&prices) {
            let price = account.weight / start.weight;
            ways.push(Way { account, price, because: Vec::new() });
        }
        for &(name, of) in Prices::NAMED {
            let mut raised = prices.clone();
            *of(&mut raised) *= RAISED;
            for dearer in with(&raised) {
                let Some(way) = ways.iter_mut().find(|way| way.account.stands == dearer.stands) else { continue };
                let times = (dearer.weight / way.account.weight).ln() / RAISED.ln();
                if times > 0.5 {
                    way.because.push((name, times.round() as u32));
                }
            }
        }
        ways
    }

    /// Notes what the evidence did, where it concerns the section.
    pub(super) fn note(&mut self, now: Time, before: Option<Box<Before>>) {
        let (Some(before), Some(section)) = (before, self.witness.as_ref().map(|witness| witness.section)) else {
            return;
        };
        let Before { evidence, accounts, ways } = *before;
        let after: Vec<Vec<Account>> = self.clusters.all().map(<[Account]>::to_vec).collect();
        let mut there = trains_at(section, &accounts);
        let possible: Vec<Vec<Account>> = ways.iter().map(|way| vec![way.account.clone()]).collect();
        for who in trains_at(section, &after).into_iter().chain(trains_at(section, &possible)) {
            if !there.contains(&who) {
                there.push(who);
            }
        }
        let of_section = |all: &[Vec<Account>]| shares_at(section, &joint(all, &there));
        let speaks_of_it = match &evidence {
            Evidence::Reports(edges, _) => edges.iter().any(|&(other, _)| other == section),
            Evidence::Read(other, _) | Evidence::Said(other, _) | Evidence::FoundEmpty(other) => *other == section,
            _ => false,
        };
        if !speaks_of_it && are_alike(&of_section(&accounts), &of_section(&after)) {
            return;
        }
        let (explanations, others) = self.explanations(&ways, &there);
        let before = self.told_of(&joint(&accounts, &there), &there);
        let after = self.told_of(&joint(&after, &there), &there);
        let Some(witness) = &mut self.witness else { return };
        if witness.notes.len() == NOTES {
            witness.notes.pop_front();
        }
        witness.notes.push_back(Note { at: now, evidence, before, after, explanations, others });
    }

    fn explanations(&self, ways: &[Way], there: &[Who]) -> (Vec<Explanation>, usize) {
        let best = ways.iter().map(|way| way.account.weight).fold(0.0, f64::max);
        let is_kept = |way: &Way| way.account.weight >= best * self.prices.given_up;
        let total: f64 = ways.iter().filter(|way| is_kept(way)).map(|way| way.account.weight).sum();
        let mut found: Vec<(Explanation, f64)> = Vec::new();
        for way in ways {
            let kept = if is_kept(way) { way.account.weight / total } else { 0.0 };
            let then = Possible { share: kept, ..self.possible(&way.account, there) };
            let same = found.iter_mut().find(|(it, _)| {
                it.then.places == then.places && it.then.unknown == then.unknown && it.because == way.because
            });
            match same {
                Some((explanation, weight)) => {
                    explanation.then.share += kept;
                    *weight += way.account.weight;
                }
                None => {
                    let because = way.because.clone();
                    found.push((Explanation { then, price: way.price, because }, way.account.weight));
                }
            }
        }
        found.sort_by(|one, other| other.1.total_cmp(&one.1));
        let others = found.len().saturating_sub(TOLD);
        (found.into_iter().take(TOLD).map(|(explanation, _)| explanation).collect(), others)
    }

    /// Some accounts as far as they concern these trains, the likeliest first, equal ones as one.
    fn told_of(&self, accounts: &[Account], there: &[Who]) -> Vec<Possible> {
        let mut told: Vec<Possible> = Vec::new();
        for account in accounts {
            let one = self.possible(account, there);
            match told.iter_mut().find(|it| it.places == one.places && it.unknown == one.unknown) {
                Some(same) => same.share += one.share,
                None => told.push(one),
            }
        }
        told.retain(|one| !one.places.is_empty() || !one.unknown.is_empty());
        told.sort_by(|one, other| other.share.total_cmp(&one.share));
        told
    }

    fn possible(&self, account: &Account, there: &[Who]) -> Possible {
        let known = there.iter().filter_map(|who| who.known());
        let unknown = account.stands.iter().filter(|stand| stand.who.known().is_none() && there.contains(&stand.who));
        Possible {
            share: account.weight,
            places: known.map(|train| self.place_of(account, train, false)).collect(),
            unknown: unknown.flat_map(|stand| stand.holds.iter().map(|hold| hold.section)).collect(),
        }
    }
}

impl Search {
    /// Everything that may follow from one account, with its weight as it is, however little it is.
    fn weigh_all<F: Fn(SectionId) -> bool>(&mut self, question: &Question<'_, F>, start: &Account) -> Vec<Account> {
        let mut found = Vec::new();
        self.explain_from(question, start, &mut found);
        let mut all: Vec<Account> = Vec::new();
        for account in found {
            match all.iter_mut().find(|it| it.stands == account.stands) {
                // The likeliest way to it is what it is called by.
                Some(same) => same.weight = same.weight.max(account.weight),
                None => all.push(account),
            }
        }
        all
    }
}

/// What a batch says beside reports and words.
pub(super) fn put_down(batch: &Batch) -> Evidence {
    Evidence::PutDown(batch.placed.iter().map(|placed| placed.train).collect())
}

/// Every train, known or not, that some account has in the section.
fn trains_at(section: SectionId, clusters: &[Vec<Account>]) -> Vec<Who> {
    let mut there = Vec::new();
    for stand in clusters.iter().flatten().flat_map(|account| &account.stands) {
        if is_at(stand, section) && !there.contains(&stand.who) {
            there.push(stand.who);
        }
    }
    there.sort_unstable();
    there
}

fn is_at(stand: &Stand, section: SectionId) -> bool {
    stand.position(section).is_some()
}

/// The accounts of all clusters in which these trains are, joined.
fn joint(clusters: &[Vec<Account>], there: &[Who]) -> Vec<Account> {
    let is_of_them = |accounts: &&Vec<Account>| {
        accounts.iter().flat_map(|account| &account.stands).any(|stand| there.contains(&stand.who))
    };
    let mut joint = vec![Account { weight: 1.0, stands: SmallVec::new() }];
    for accounts in clusters.iter().filter(is_of_them) {
        joint = clusters::product(&joint, accounts);
    }
    joint
}

/// Who is in the section, with the share of belief in that.
fn shares_at(section: SectionId, accounts: &[Account]) -> Vec<(Who, f64)> {
    let mut shares: Vec<(Who, f64)> = Vec::new();
    for account in accounts {
        for stand in account.stands.iter().filter(|stand| is_at(stand, section)) {
            match shares.iter_mut().find(|(who, _)| *who == stand.who) {
                Some((_, share)) => *share += account.weight,
                None => shares.push((stand.who, account.weight)),
            }
        }
    }
    shares.sort_by_key(|&(who, _)| who);
    shares
}

fn are_alike(one: &[(Who, f64)], other: &[(Who, f64)]) -> bool {
    one.len() == other.len()
        && one.iter().zip(other).all(|(one, other)| one.0 == other.0 && (one.1 - other.1).abs() < ALIKE)
}
