//! Which doubts there are: one for all trains whose places depend on each other and are not known, and one for every section
//! that nothing explains.
//!
//! A doubt keeps its number while it lasts, however its trains are driven on; where doubts run together the oldest goes on, and
//! where one falls apart its number stays with the part that has most of its trains. Nothing here is worked out while
//! nothing is in doubt: only clusters that were made in this instant, and whose accounts differ, are looked at.

use smallvec::SmallVec;
use track::{SectionId, TrainId};

use super::Identity;
use super::clusters::ClusterId;
use super::matter::Matter;
use crate::door::{DoubtId, Tag};

/// How a doubt came to its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub(crate) enum End {
    /// What was heard settled it.
    Settled,
    /// It depends on an older doubt now.
    PartOf(DoubtId),
    /// The train was not seen for so long that it is taken to be gone.
    TakenToBeGone(TrainId),
}

/// What is new of a doubt.
#[derive(Debug, serde::Serialize, serde::Deserialize)]
pub(crate) enum News {
    Raised(DoubtId, Matter),
    Cleared(DoubtId, Matter, End),
}

#[derive(Debug, serde::Serialize, serde::Deserialize)]
struct Open {
    id: DoubtId,
    /// The cluster it is about, and which making of it; nothing where it is about a section.
    cluster: Option<(ClusterId, u64)>,
    matter: Matter,
}

/// All doubts that there are now.
#[derive(Debug, Default, serde::Serialize, serde::Deserialize)]
pub(super) struct Doubts {
    open: Vec<Open>,
    so_far: u64,
    /// Sections found unexplained when they were looked at in this instant.
    pub unexplained: Vec<SectionId>,
    news: Vec<News>,
    /// Nobody listens: nothing is worked out.
    is_silent: bool,
}

impl Doubts {
    fn raise(&mut self, cluster: Option<(ClusterId, u64)>, matter: Matter) {
        self.so_far += 1;
        let id = DoubtId(self.so_far);
        self.news.push(News::Raised(id, matter.clone()));
        self.open.push(Open { id, cluster, matter });
    }

    pub fn news(&self) -> &[News] {
        &self.news
    }
}

impl Identity {
    /// The doubts that there are, the oldest first.
    pub(crate) fn open_doubts(&self) -> impl Iterator<Item = (DoubtId, &Matter)> {
        self.doubts.open.iter().map(|open| (open.id, &open.matter))
    }

    /// From now on nothing is said of doubts, and no work is done for that.
    pub(crate) fn keep_silent_of_doubts(&mut self) {
        self.doubts.is_silent = true;
    }

    /// Finds what is new of doubts in this instant.
    pub(super) fn review_doubts(&mut self) {
        self.doubts.news.clear();
        if self.doubts.is_silent {
            self.clusters.fresh.clear();
            self.doubts.unexplained.clear();
            return;
        }
        if !self.doubts.unexplained.is_empty() || !self.doubts.open.is_empty() {
            self.review_sections();
        }
        self.look_at_strange();
        if !self.clusters.fresh.is_empty() || !self.doubts.open.is_empty() {
            self.review_clusters();
        }
    }

    /// Clusters whose accounts agree are looked at too, where something strange happened near their trains.
    fn look_at_strange(&mut self) {
        for at in 0..self.strange.len() {
            let Some(key) = self.clusters.home(self.strange[at].train).map(|home| self.clusters.key(home)) else {
                continue;
            };
            let is_known = self.doubts.open.iter().any(|open| open.cluster == Some(key));
            if !is_known && !self.clusters.fresh.contains(&key) {
                self.clusters.fresh.push(key);
            }
        }
    }

    fn review_sections(&mut self) {
        let mut doubts = std::mem::take(&mut self.doubts);
        let news = &mut doubts.news;
        doubts.open.retain_mut(|open| {
            let stays = open.cluster.is_some() || self.is_unexplained(open.matter.sections[0]);
            if !stays {
                news.push(News::Cleared(open.id, open.matter.clone(), End::Settled));
            }
            stays
        });
        for section in std::mem::take(&mut doubts.unexplained) {
            let known = |open: &Open| open.cluster.is_none() && open.matter.sections[0] == section;
            if self.is_unexplained(section) && !doubts.open.iter().any(known) {
                let matter = Matter {
                    trains: SmallVec::new(),
                    sections: vec![section],
                    alternatives: Vec::new(),
                    others: 0,
                    is_open_ended: false,
                    is_strange: false,
                };
                doubts.raise(None, matter);
            }
        }
        self.doubts = doubts;
    }

    fn is_unexplained(&self, section: SectionId) -> bool {
        let may_be_asked = self.topology.is_dark(section) || self.reported[section] == Some(true);
        may_be_asked && !self.found_empty[section] && self.tag(section) == Tag::Unexplained
    }

    fn review_clusters(&mut self) {
        let mut found: Vec<((ClusterId, u64), Matter)> = Vec::new();
        for at in 0..self.clusters.fresh.len() {
            let key = self.clusters.fresh[at];
            if self.clusters.is_still(key)
                && found.iter().all(|(known, _)| *known != key)
                && let Some(matter) = self.matter(self.clusters.cluster(key.0))
            {
                found.push((key, matter));
            }
        }
        self.clusters.fresh.clear();
        let mut doubts = std::mem::take(&mut self.doubts);
        let news = &mut doubts.news;
        let mut taken: SmallVec<[Option<DoubtId>; 4]> = found.iter().map(|_| None).collect();
        // The open ones are in order of age.
        doubts.open.retain_mut(|open| {
            let Some(key) = open.cluster else { return true };
            if self.clusters.is_still(key) {
                return true;
            }
            let shared = |at: &usize| found[*at].1.trains.iter().filter(|it| open.matter.trains.contains(it)).count();
            let free = (0..found.len()).filter(|&at| taken[at].is_none() && shared(&at) > 0);
            let Some(at) = free.max_by_key(|at| (shared(at), usize::MAX - at)) else {
                let part_of = (0..found.len()).find(|at| shared(at) > 0).and_then(|at| taken[at]);
                let gone = open.matter.trains.iter().find(|&&train| self.clusters.home(train).is_none());
                let end = match (part_of, gone) {
                    (Some(id), _) => End::PartOf(id),
                    (None, Some(&train)) => End::TakenToBeGone(train),
                    (None, None) => End::Settled,
                };
                news.push(News::Cleared(open.id, open.matter.clone(), end));
                return false;
            };
            taken[at] = Some(open.id);
            open.cluster = Some(found[at].0);
            if !open.matter.says_as_much_as(&found[at].1) {
                open.matter = found[at].1.clone();
                news.push(News::Raised(open.id, open.matter.clone()));
            }
            true
        });
        for (at, (key, matter)) in found.into_iter().enumerate() {
            if taken[at].is_none() {
                doubts.raise(Some(key), matter);
            }
        }
        self.doubts = doubts;
    }
}
