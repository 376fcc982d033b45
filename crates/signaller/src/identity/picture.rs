//! What the rest of the signaller is told of a train.

use smallvec::SmallVec;
use track::{EndId, Length, SectionId, Speed, TrainId};

use super::Identity;
use super::account::{Stand, Who};
use crate::door::Direction;
use crate::time::Time;

/// A section that a train covers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
pub struct Hold {
    /// The section.
    pub section: SectionId,
    /// The end it was entered by, where that is known.
    pub enter: Option<EndId>,
    /// Whether its detector sees the train there. Not so in a dark section, or while a report is believed to be wrong.
    pub seen: bool,
}

/// Where a train stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Whereabouts {
    /// Whether all surviving accounts agree on the footprint and the direction.
    pub sure: bool,
    /// The sections it covers, tail first, nose last. The blind ends are not part of it.
    pub footprint: SmallVec<[Hold; 4]>,
    /// Which way the nose points, as the train sees it: forward where its first vehicle is the nose.
    pub leading: Direction,
    /// How far its nose stands beyond the entry of the last section, where lengths and speeds say so. The blind nose is
    /// included, so this may reach beyond the section's far end.
    pub nose: Option<NoseInterval>,
    /// How far its nose reaches beyond the first axle that a detector can see: so far at most it sticks out of the section
    /// in which it is seen last.
    pub blind_nose: Length,
}

/// Bounds of a nose's place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoseInterval {
    /// At least so far.
    pub least: Length,
    /// At most so far.
    pub most: Length,
    /// At most so far even if one report came late.
    pub far: Length,
    /// The same even if it has left its section, and nothing ever says so.
    pub unheard: Length,
    /// As far as `far` even if a spot missed the train's first axle.
    pub reach: Length,
    /// By how it was driven it must have left its section by now, and was not heard in the next: it has stalled, or reports fail.
    pub overdue: bool,
}

/// Bounds of a train's speed, in the direction of its nose.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Pace {
    /// At least so fast.
    pub least: Speed,
    /// At most so fast.
    pub most: Speed,
}

/// What weighs this much less than it takes to be in doubt counts for something all the same, for much of it makes a doubt.
const COUNTS: f64 = 0.1;

impl Identity {
    /// Where the train stands, by the likeliest account. Nothing where no account has it on the layout.
    pub fn whereabouts(&self, train: TrainId, now: Time) -> Option<Whereabouts> {
        let who = Who::train(train);
        let Some(home) = self.clusters.home(train) else { return self.remembered_whereabouts(train) };
        let cluster = self.clusters.cluster(home);
        let stands = cluster.accounts.iter().filter_map(|account| {
            account.stands.iter().find(|stand| stand.who == who).map(|stand| (stand, account.weight))
        });
        // Accounts come with the likeliest first.
        let (likeliest, _) = stands.clone().next()?;
        let agree: f64 = stands.clone().filter(|(stand, _)| *stand == likeliest).map(|(_, weight)| weight).sum();
        let mut nose: Option<NoseInterval> = None;
        let mut known = true;
        for (stand, weight) in stands {
            if stand.nose() == likeliest.nose() && stand.backward == likeliest.backward && weight >= self.prices.sure {
                match self.nose(stand, now) {
                    Some(one) => nose = Some(nose.map_or(one, |hull| hull.with(one))),
                    None => known = false,
                }
            }
        }
        Some(Whereabouts {
            sure: 1.0 - agree + cluster.given_up < self.prices.sure
                && likeliest.holds.iter().any(|hold| self.shows(hold)),
            footprint: likeliest.holds.clone(),
            leading: if likeliest.backward { Direction::Backward } else { Direction::Forward },
            nose: nose.filter(|_| known),
            blind_nose: self.blind_nose(likeliest),
        })
    }

    /// Every place where the train may stand under an account that counts for anything, the likeliest first, with the nose
    /// where that one has it. Nothing where no account has it on the layout, or there is too much that might be so to follow
    /// all of it.
    pub fn possible_whereabouts(&self, train: TrainId, now: Time) -> Vec<Whereabouts> {
        let who = Who::train(train);
        let Some(home) = self.clusters.home(train) else { return Vec::new() };
        let cluster = self.clusters.cluster(home);
        let mut shares: Vec<(&Stand, f64)> = Vec::new();
        for account in &cluster.accounts {
            let Some(stand) = account.stands.iter().find(|stand| stand.who == who) else { continue };
            match shares.iter_mut().find(|(other, _)| *other == stand) {
                Some((_, share)) => *share += account.weight,
                None => shares.push((stand, account.weight)),
            }
        }
        let total: f64 = shares.iter().map(|(_, share)| share).sum();
        // Too much was given up, or the train may not be on the layout at all.
        if cluster.given_up >= self.prices.sure || 1.0 - total >= self.prices.sure {
            return Vec::new();
        }
        let sure = self.whereabouts(train, now).is_some_and(|stand| stand.sure);
        let (counts, left_out): (Vec<_>, Vec<_>) =
            shares.into_iter().partition(|(_, share)| *share >= self.prices.sure * COUNTS);
        if left_out.iter().map(|(_, share)| share).sum::<f64>() >= self.prices.sure {
            return Vec::new();
        }
        counts
            .iter()
            .map(|(stand, _)| Whereabouts {
                sure,
                footprint: stand.holds.clone(),
                leading: if stand.backward { Direction::Backward } else { Direction::Forward },
                nose: self.nose(stand, now),
                blind_nose: self.blind_nose(stand),
            })
            .collect()
    }

    /// Whether something speaks for the train being there: its detector, or that there is none.
    fn shows(&self, hold: &Hold) -> bool {
        hold.seen || self.topology.is_dark(hold.section)
    }
}

impl NoseInterval {
    fn with(self, other: Self) -> Self {
        Self {
            least: self.least.min(other.least),
            most: self.most.max(other.most),
            far: self.far.max(other.far),
            unheard: self.unheard.max(other.unheard),
            reach: self.reach.max(other.reach),
            overdue: self.overdue || other.overdue,
        }
    }
}
