//! Which reports and which clusters must be looked at together.
//!
//! Everything is found from the reports outwards, so that an instant in which a thousand sections report costs a thousand
//! times what one report costs, and no more.

use smallvec::SmallVec;
use track::SectionId;

use super::Identity;
use super::account::Who;
use super::batch::Batch;
use super::clusters::ClusterId;
use super::moves::Scene;
use super::search::Line;
use crate::time::Time;

/// Reports and clusters that concern each other, and nothing else.
#[derive(Debug, Default)]
pub(super) struct Component {
    pub lines: Vec<Line>,
    pub clusters: SmallVec<[ClusterId; 4]>,
    pub lifted: SmallVec<[Who; 2]>,
}

/// Room for the work, kept from one instant to the next.
#[derive(Debug, Default)]
pub(super) struct Gather {
    lines: Vec<Line>,
    /// For every section, the line of this round, if any.
    line_of: Marks,
    clusters: Vec<ClusterId>,
    /// For every cluster, its number in `clusters` this round.
    number_of: Marks,
    /// Lines, then clusters: what each is joined to.
    leader: Vec<u32>,
    /// For every leader, its component.
    slot: Vec<u32>,
    components: Vec<Component>,
    count: usize,
    /// Placements that were taken in before the search.
    pub settled: Vec<usize>,
}

/// Numbers that are forgotten all at once.
#[derive(Debug, Default)]
struct Marks {
    round: u32,
    rows: Vec<(u32, u32)>,
}

impl Marks {
    fn begin(&mut self) {
        self.round = self.round.wrapping_add(1);
        if self.round == 0 {
            self.rows.clear();
            self.round = 1;
        }
    }

    fn of(&self, index: usize) -> Option<usize> {
        self.rows.get(index).filter(|(round, _)| *round == self.round).map(|&(_, number)| number as usize)
    }

    fn set(&mut self, index: usize, number: usize) {
        if self.rows.len() <= index {
            self.rows.resize(index + 1, (0, 0));
        }
        self.rows[index] = (self.round, number as u32);
    }
}

impl Gather {
    pub fn component(&self, at: usize) -> Option<&Component> {
        self.components[..self.count].get(at)
    }

    pub fn all_lines(&self) -> impl Iterator<Item = &Line> {
        self.components[..self.count].iter().flat_map(|component| &component.lines)
    }

    /// One line for every section that reported.
    pub fn lines(&mut self, identity: &mut Identity, now: Time, batch: &Batch) {
        self.lines.clear();
        self.line_of.begin();
        for &(section, value) in &batch.edges {
            if identity.memories.takes_quietly(section) {
                continue;
            }
            if let Some(at) = self.line_of.of(index(section)) {
                self.lines[at].values.push(value);
                continue;
            }
            identity.strangers = identity.strangers.wrapping_add(1);
            self.line_of.set(index(section), self.lines.len());
            self.lines.push(Line {
                section,
                values: SmallVec::from_slice(&[value]),
                was: identity.reported[section] == Some(true),
                just_filled: identity.filled_at[section] == now,
                placed: SmallVec::new(),
                stranger: Who::stranger(identity.strangers),
            });
        }
        for (at, placement) in batch.placed.iter().enumerate() {
            let hold = placement.holds[0];
            if let Some(line) = self.line_of.of(index(hold.section)).filter(|_| !self.settled.contains(&at)) {
                self.lines[line].placed.push((Who::train(placement.train), hold.enter));
            }
        }
    }

    /// Groups lines and clusters by what concerns each other.
    pub fn components(&mut self, identity: &Identity, now: Time, batch: &Batch) {
        self.clusters.clear();
        self.number_of.begin();
        self.leader.clear();
        self.leader.extend(0..self.lines.len() as u32);
        let scene = identity.scene(now);
        for at in 0..self.lines.len() {
            self.join_clusters(identity, &scene, at);
            self.join_lines(identity, at);
        }
        for &train in &batch.lifted {
            if let Some(cluster) = identity.clusters.home(train) {
                self.number(cluster);
            }
        }
        self.collect(identity, batch);
    }

    /// Joins a line to the clusters that it concerns.
    fn join_clusters(&mut self, identity: &Identity, scene: &Scene<'_>, at: usize) {
        let section = self.lines[at].section;
        let topology = &identity.topology;
        let fills = self.lines[at].values.contains(&true);
        let around = match (fills, identity.clusters.lost > 0) {
            (false, _) => std::slice::from_ref(&section),
            (true, false) => topology.near(section),
            (true, true) => topology.far(section),
        };
        for &other in around {
            for &cluster in identity.clusters.at(other) {
                let known = self.number_of.of(cluster as usize);
                let joined =
                    known.is_some_and(|number| find(&self.leader, self.lines.len() + number) == find(&self.leader, at));
                if !joined && concerns(identity, scene, cluster, section) {
                    let node = self.lines.len() + self.number(cluster);
                    join(&mut self.leader, at, node);
                }
            }
        }
    }

    /// Joins fillings near each other: a train may have run over both.
    fn join_lines(&mut self, identity: &Identity, at: usize) {
        if self.lines.len() == 1 || !self.lines[at].values.contains(&true) {
            return;
        }
        for &other in identity.topology.near(self.lines[at].section) {
            if let Some(other) = self.line_of.of(index(other)).filter(|&other| self.lines[other].values.contains(&true))
            {
                join(&mut self.leader, at, other);
            }
        }
    }

    /// The cluster's number in this round.
    fn number(&mut self, cluster: ClusterId) -> usize {
        self.number_of.of(cluster as usize).unwrap_or_else(|| {
            let number = self.clusters.len();
            self.number_of.set(cluster as usize, number);
            self.clusters.push(cluster);
            self.leader.push((self.lines.len() + number) as u32);
            number
        })
    }

    fn collect(&mut self, identity: &Identity, batch: &Batch) {
        let lines = self.lines.len();
        self.count = 0;
        self.slot.clear();
        self.slot.resize(self.leader.len(), u32::MAX);
        for node in 0..self.leader.len() {
            let leader = find(&self.leader, node);
            if self.slot[leader] == u32::MAX {
                self.slot[leader] = self.count as u32;
                if self.components.len() == self.count {
                    self.components.push(Component::default());
                }
                let component = &mut self.components[self.count];
                component.lines.clear();
                component.clusters.clear();
                component.lifted.clear();
                self.count += 1;
            }
        }
        let slot = |node: usize| self.slot[find(&self.leader, node)] as usize;
        for &train in &batch.lifted {
            let who = Who::train(train);
            let home = identity.clusters.home(train).and_then(|home| self.number_of.of(home as usize));
            let placed = self.lines.iter().position(|line| line.placed.iter().any(|(placed, _)| *placed == who));
            for node in home.map(|number| lines + number).into_iter().chain(placed) {
                let lifted = &mut self.components[slot(node)].lifted;
                if !lifted.contains(&who) {
                    lifted.push(who);
                }
            }
        }
        for (number, &cluster) in self.clusters.iter().enumerate() {
            self.components[slot(lines + number)].clusters.push(cluster);
        }
        for (node, line) in self.lines.drain(..).enumerate() {
            self.components[slot(node)].lines.push(line);
        }
    }
}

fn index(section: SectionId) -> usize {
    track::Id::index(section)
}

fn find(leader: &[u32], node: usize) -> usize {
    let mut at = node;
    while leader[at] as usize != at {
        at = leader[at] as usize;
    }
    at
}

fn join(leader: &mut [u32], a: usize, b: usize) {
    let (a, b) = (find(leader, a), find(leader, b));
    leader[a.max(b)] = a.min(b) as u32;
}

/// Whether some account of the cluster holds the section, or could come to fill it.
fn concerns(identity: &Identity, scene: &Scene<'_>, cluster: ClusterId, section: SectionId) -> bool {
    if identity.clusters.at(section).contains(&cluster) {
        return true;
    }
    let accounts = &identity.clusters.cluster(cluster).accounts;
    accounts.iter().flat_map(|account| &account.stands).any(|stand| scene.may_reach(stand, section))
}
