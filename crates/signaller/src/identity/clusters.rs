//! Clusters: trains whose places depend on each other share accounts, all others do not.
//!
//! So what an event costs depends on what is near, never on the size of the layout.

use smallvec::SmallVec;
use track::{Id, SectionId, Table, TrainId};

use super::account::{Account, Stand, Stands, Who, put};
use super::search::{ACCOUNTS, settle};

/// A cluster's place in the store.
pub(super) type ClusterId = u32;

/// How far joint beliefs may differ from independent ones for two trains to be taken apart. Trains that may hold the same
/// section are never taken apart.
const INDEPENDENT: f64 = 2e-3;

/// Trains that share accounts. Weights add up to 1.
#[derive(Debug, Default, serde::Serialize, serde::Deserialize)]
pub(super) struct Cluster {
    pub accounts: Vec<Account>,
    /// The share of belief given up because there were too many accounts. It fades as evidence fits.
    pub given_up: f64,
    live: bool,
    /// Which cluster this is of all that were ever made.
    made: u64,
}

/// All clusters, with the ways to find them.
#[derive(Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct Clusters {
    store: Vec<Cluster>,
    free: Vec<ClusterId>,
    /// For every section, the clusters of which some account holds it.
    at: Table<SectionId, SmallVec<[ClusterId; 2]>>,
    /// For every train, its cluster.
    home: Table<TrainId, Option<ClusterId>>,
    /// How many trains are lost from sight in some account.
    pub lost: usize,
    made_so_far: u64,
    /// Clusters made in this instant in which there may be doubt: each with the number of its making.
    pub fresh: Vec<(ClusterId, u64)>,
}

impl Clusters {
    pub fn new(sections: usize) -> Self {
        Self {
            store: Vec::new(),
            free: Vec::new(),
            at: Table::filled(SmallVec::new(), sections),
            home: Table::new(),
            lost: 0,
            made_so_far: 0,
            fresh: Vec::new(),
        }
    }

    pub fn at(&self, section: SectionId) -> &[ClusterId] {
        &self.at[section]
    }

    pub fn home(&self, train: TrainId) -> Option<ClusterId> {
        self.home.get(train).copied().flatten()
    }

    pub fn cluster(&self, id: ClusterId) -> &Cluster {
        &self.store[id as usize]
    }

    /// The accounts of every cluster.
    pub fn all(&self) -> impl Iterator<Item = &[Account]> {
        self.store.iter().filter(|cluster| cluster.live).map(|cluster| cluster.accounts.as_slice())
    }

    /// Whether that cluster is still what it was when it was made.
    pub fn is_still(&self, (id, made): (ClusterId, u64)) -> bool {
        let cluster = &self.store[id as usize];
        cluster.live && cluster.made == made
    }

    /// A cluster, and which making of it.
    pub fn key(&self, id: ClusterId) -> (ClusterId, u64) {
        (id, self.store[id as usize].made)
    }

    /// The one stand of a cluster that has only one train and one account of it.
    pub fn only_stand(&self, id: ClusterId) -> Option<&Stand> {
        match self.store[id as usize].accounts.as_slice() {
            [account] if account.stands.len() == 1 => account.stands.first(),
            _ => None,
        }
    }

    /// The train of such a cluster has moved.
    pub fn replace_only_stand(&mut self, id: ClusterId, stand: Stand) {
        let old = &mut self.store[id as usize].accounts[0].stands[0];
        for hold in &old.holds {
            if !stand.holds.iter().any(|kept| kept.section == hold.section) {
                self.at[hold.section].retain(|other| *other != id);
            }
        }
        for hold in &stand.holds {
            let clusters = &mut self.at[hold.section];
            if !clusters.contains(&id) {
                clusters.push(id);
            }
        }
        *old = stand;
    }

    /// Accounts to be changed without any section being held or given up: only heads.
    pub fn accounts_mut(&mut self, id: ClusterId) -> &mut [Account] {
        &mut self.store[id as usize].accounts
    }

    /// Takes a cluster out, leaving its accounts in `into`.
    pub fn take(&mut self, id: ClusterId, into: &mut Vec<Account>) -> f64 {
        let cluster = &mut self.store[id as usize];
        debug_assert!(cluster.live, "a cluster is taken once");
        cluster.live = false;
        std::mem::swap(&mut cluster.accounts, into);
        let given_up = cluster.given_up;
        for stand in into.iter().flat_map(|account| &account.stands) {
            for hold in &stand.holds {
                self.at[hold.section].retain(|other| *other != id);
            }
            if !stand.is_seen() {
                self.lost = self.lost.saturating_sub(1);
            }
            if let Some(train) = stand.who.known() {
                self.home[train] = None;
            }
        }
        self.free.push(id);
        given_up
    }

    /// Adds a cluster. Nothing is added where the accounts hold no train.
    pub fn add(&mut self, accounts: &mut Vec<Account>, given_up: f64) {
        if accounts.iter().all(|account| account.stands.is_empty()) {
            accounts.clear();
            return;
        }
        let id = self.free.pop().unwrap_or_else(|| {
            self.store.push(Cluster::default());
            (self.store.len() - 1) as ClusterId
        });
        let lost_before = self.lost;
        for stand in accounts.iter().flat_map(|account| &account.stands) {
            for hold in &stand.holds {
                let clusters = &mut self.at[hold.section];
                if !clusters.contains(&id) {
                    clusters.push(id);
                }
            }
            if !stand.is_seen() {
                self.lost += 1;
            }
            if let Some(train) = stand.who.known() {
                while self.home.len() <= train.index() {
                    self.home.push(None);
                }
                self.home[train] = Some(id);
            }
        }
        self.made_so_far += 1;
        if accounts.len() > 1 || given_up > 0.0 || self.lost > lost_before {
            self.fresh.push((id, self.made_so_far));
        }
        let cluster = &mut self.store[id as usize];
        cluster.live = true;
        cluster.made = self.made_so_far;
        cluster.given_up = given_up;
        cluster.accounts.clear();
        cluster.accounts.append(accounts);
    }

    /// Adds accounts as as many clusters as they fall apart into.
    pub fn add_split(&mut self, accounts: &mut Vec<Account>, given_up: f64) {
        let first = accounts.first().and_then(|account| account.stands.first()).map(|stand| stand.who);
        let is_alone = |account: &Account| account.stands.iter().all(|stand| Some(stand.who) == first);
        // What was given up may have bound any of them.
        if given_up > 0.0 || accounts.iter().all(is_alone) {
            return self.add(accounts, given_up);
        }
        let groups = groups(accounts);
        if groups.len() <= 1 {
            return self.add(accounts, given_up);
        }
        let mut part = Vec::new();
        for group in groups {
            part.extend(accounts.iter().map(|account| Account {
                weight: account.weight,
                stands: account.stands.iter().filter(|stand| group.contains(&stand.who)).cloned().collect(),
            }));
            settle(&mut part, 0.0);
            self.add(&mut part, given_up);
        }
        accounts.clear();
    }
}

/// All combinations of the accounts of independent clusters, but for those that put two trains into one section.
pub(super) fn product(one: &[Account], other: &[Account]) -> Vec<Account> {
    let combine = |strict: bool| {
        let mut joint = Vec::with_capacity(one.len() * other.len());
        for a in one {
            for b in other {
                if strict && collide(&a.stands, &b.stands) {
                    continue;
                }
                let mut stands = a.stands.clone();
                for stand in &b.stands {
                    put(&mut stands, stand.clone());
                }
                joint.push(Account { weight: a.weight * b.weight, stands });
            }
        }
        joint
    };
    let mut joint = combine(true);
    if joint.is_empty() {
        joint = combine(false);
    }
    joint.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    joint.truncate(4 * ACCOUNTS);
    let total: f64 = joint.iter().map(|account| account.weight).sum();
    for account in &mut joint {
        account.weight /= total;
    }
    joint
}

fn collide(one: &Stands, other: &Stands) -> bool {
    one.iter()
        .flat_map(|stand| &stand.holds)
        .any(|hold| hold.seen && other.iter().any(|stand| stand.sees(hold.section)))
}

/// Which trains belong together.
fn groups(accounts: &[Account]) -> Vec<SmallVec<[Who; 4]>> {
    let mut trains: SmallVec<[Who; 8]> = SmallVec::new();
    for stand in accounts.iter().flat_map(|account| &account.stands) {
        if !trains.contains(&stand.who) {
            trains.push(stand.who);
        }
    }
    if trains.len() <= 1 {
        return vec![trains.into_iter().collect()];
    }
    trains.sort_unstable();
    // A train that stands alike in every account says nothing of any other.
    let settled = |who: Who| {
        let first = stand_of(&accounts[0], who);
        first.is_some() && accounts[1..].iter().all(|account| stand_of(account, who) == first)
    };
    let mut groups: Vec<SmallVec<[Who; 4]>> = Vec::new();
    let mut open: SmallVec<[Who; 8]> = SmallVec::new();
    for &who in &trains {
        if accounts.len() == 1 || settled(who) {
            groups.push(SmallVec::from_slice(&[who]));
        } else {
            open.push(who);
        }
    }
    let mut leader: SmallVec<[usize; 8]> = (0..open.len()).collect();
    for a in 0..open.len() {
        for b in a + 1..open.len() {
            if leader[a] != leader[b] && (may_share(accounts, open[a], open[b]) || depend(accounts, open[a], open[b])) {
                let (from, to) = (leader[b], leader[a]);
                for one in &mut leader {
                    if *one == from {
                        *one = to;
                    }
                }
            }
        }
    }
    for lead in 0..open.len() {
        let group: SmallVec<[Who; 4]> = (0..open.len()).filter(|&at| leader[at] == lead).map(|at| open[at]).collect();
        if !group.is_empty() {
            groups.push(group);
        }
    }
    groups
}

fn stand_of(account: &Account, who: Who) -> Option<&Stand> {
    account.stands.iter().find(|stand| stand.who == who)
}

/// Whether two trains hold the same section, in whichever accounts.
fn may_share(accounts: &[Account], a: Who, b: Who) -> bool {
    accounts.iter().filter_map(|account| stand_of(account, a)).flat_map(|stand| &stand.holds).any(|hold| {
        hold.seen && accounts.iter().filter_map(|account| stand_of(account, b)).any(|stand| stand.sees(hold.section))
    })
}

/// Whether the place of one says something of the place of the other.
fn depend(accounts: &[Account], a: Who, b: Who) -> bool {
    let mut joint: Vec<(Option<&Stand>, Option<&Stand>, f64)> = Vec::new();
    for account in accounts {
        let pair = (stand_of(account, a), stand_of(account, b));
        match joint.iter_mut().find(|(one, other, _)| (*one, *other) == pair) {
            Some((_, _, weight)) => *weight += account.weight,
            None => joint.push((pair.0, pair.1, account.weight)),
        }
    }
    let mut ones: Vec<(Option<&Stand>, f64)> = Vec::new();
    let mut others: Vec<(Option<&Stand>, f64)> = Vec::new();
    for (one, other, weight) in &joint {
        for (list, stand) in [(&mut ones, one), (&mut others, other)] {
            match list.iter_mut().find(|(known, _)| known == stand) {
                Some((_, sum)) => *sum += weight,
                None => list.push((*stand, *weight)),
            }
        }
    }
    let mut difference = 0.0;
    for (one, p) in &ones {
        for (other, q) in &others {
            let together = joint.iter().find(|(a, b, _)| a == one && b == other).map_or(0.0, |(_, _, weight)| *weight);
            difference += (together - p * q).abs();
        }
    }
    difference > INDEPENDENT
}
