//! Which reports and which clusters must be looked at together.

use smallvec::SmallVec;

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
    clusters: Vec<ClusterId>,
    /// For every line, then every cluster: what it is joined to.
    leader: Vec<u32>,
    components: Vec<Component>,
    count: usize,
    /// Placements that were taken in before the search.
    pub settled: Vec<usize>,
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
        for &(section, value) in &batch.edges {
            if let Some(line) = self.lines.iter_mut().find(|line| line.section == section) {
                line.values.push(value);
                continue;
            }
            identity.strangers = identity.strangers.wrapping_add(1);
            let reported = identity.reported[section];
            self.lines.push(Line {
                section,
                values: SmallVec::from_slice(&[value]),
                was: reported == Some(true),
                just_filled: identity.filled_at[section] == now,
                placed: SmallVec::new(),
                stranger: Who::stranger(identity.strangers & (u32::MAX >> 1)),
            });
        }
        for (at, placement) in batch.placed.iter().enumerate() {
            if self.settled.contains(&at) {
                continue;
            }
            let hold = placement.holds[0];
            if let Some(line) = self.lines.iter_mut().find(|line| line.section == hold.section) {
                line.placed.push((Who::train(placement.train), hold.enter));
            }
        }
    }

    /// Groups lines and clusters by what concerns each other.
    pub fn components(&mut self, identity: &Identity, now: Time, batch: &Batch) {
        self.find_clusters(identity, batch);
        let lines = self.lines.len();
        if lines == 1 && batch.lifted.is_empty() {
            return self.single(identity, now);
        }
        self.leader.clear();
        self.leader.extend(0..(lines + self.clusters.len()) as u32);
        let scene = identity.scene(now);
        if lines > 1 {
            for (at, line) in self.lines.iter().enumerate() {
                let filled = line.values.contains(&true);
                for (other, later) in self.lines.iter().enumerate().skip(at + 1) {
                    if filled
                        && later.values.contains(&true)
                        && identity.topology.near(line.section).contains(&later.section)
                    {
                        join(&mut self.leader, at, other);
                    }
                }
            }
        }
        for (number, &cluster) in self.clusters.iter().enumerate() {
            for (at, line) in self.lines.iter().enumerate() {
                if find(&self.leader, at) != find(&self.leader, lines + number)
                    && concerns(identity, &scene, cluster, line)
                {
                    join(&mut self.leader, at, lines + number);
                }
            }
        }
        self.collect(identity, batch);
    }

    /// The most frequent case: one line.
    fn single(&mut self, identity: &Identity, now: Time) {
        if self.components.is_empty() {
            self.components.push(Component::default());
        }
        let scene = identity.scene(now);
        let component = &mut self.components[0];
        component.lines.clear();
        component.clusters.clear();
        component.lifted.clear();
        component.lines.append(&mut self.lines);
        let line = &component.lines[0];
        let concerned = self.clusters.iter().copied().filter(|&cluster| concerns(identity, &scene, cluster, line));
        component.clusters.extend(concerned);
        self.count = 1;
    }

    fn find_clusters(&mut self, identity: &Identity, batch: &Batch) {
        self.clusters.clear();
        for line in &self.lines {
            let topology = &identity.topology;
            let around =
                if identity.clusters.lost > 0 { topology.far(line.section) } else { topology.near(line.section) };
            for &section in around {
                for &cluster in identity.clusters.at(section) {
                    if !self.clusters.contains(&cluster) {
                        self.clusters.push(cluster);
                    }
                }
            }
        }
        for &train in &batch.lifted {
            if let Some(cluster) = identity.clusters.home(train)
                && !self.clusters.contains(&cluster)
            {
                self.clusters.push(cluster);
            }
        }
    }

    fn collect(&mut self, identity: &Identity, batch: &Batch) {
        let lines = self.lines.len();
        self.count = 0;
        let mut leaders: SmallVec<[u32; 8]> = SmallVec::new();
        for node in 0..self.leader.len() {
            let leader = find(&self.leader, node) as u32;
            let at = leaders.iter().position(|&known| known == leader).unwrap_or_else(|| {
                leaders.push(leader);
                leaders.len() - 1
            });
            if at == self.count {
                if self.components.len() == at {
                    self.components.push(Component::default());
                }
                let component = &mut self.components[at];
                component.lines.clear();
                component.clusters.clear();
                component.lifted.clear();
                self.count += 1;
            }
            let component = &mut self.components[at];
            match self.lines.get(node) {
                Some(line) => component.lines.push(line.clone()),
                None => component.clusters.push(self.clusters[node - lines]),
            }
        }
        for &train in &batch.lifted {
            let who = Who::train(train);
            let home = identity.clusters.home(train);
            for component in &mut self.components[..self.count] {
                let placed = component.lines.iter().any(|line| line.placed.iter().any(|(placed, _)| *placed == who));
                if placed || home.is_some_and(|home| component.clusters.contains(&home)) {
                    component.lifted.push(who);
                }
            }
        }
        // A cluster that nothing concerns stays as it is.
        let mut at = 0;
        while at < self.count {
            if self.components[at].lines.is_empty() && self.components[at].lifted.is_empty() {
                self.count -= 1;
                self.components.swap(at, self.count);
            } else {
                at += 1;
            }
        }
    }
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

/// Whether some account of the cluster holds the line's section, or could come to fill it.
fn concerns(identity: &Identity, scene: &Scene<'_>, cluster: ClusterId, line: &Line) -> bool {
    if identity.clusters.at(line.section).contains(&cluster) {
        return true;
    }
    if !line.values.contains(&true) {
        return false;
    }
    let accounts = &identity.clusters.cluster(cluster).accounts;
    accounts.iter().flat_map(|account| &account.stands).any(|stand| scene.may_reach(stand, line.section))
}
