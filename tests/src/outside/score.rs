//! How often the claims agree with the truth.
//!
//! Every occupation, a section filled and emptied again by one train, is judged at three moments. The first occupation of a
//! train is not judged: its name was given. Neither is one that nobody could see, because it ended in its own instant.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use super::recording::Truth;

/// Times that differ by less are the same.
const SAME: f64 = 1e-9;
/// How long after the filling a claim should have settled.
const SETTLED_AFTER: f64 = 15.0;

/// What was said of a section from some time on.
#[derive(Clone, Debug)]
pub(super) struct Claim {
    pub(super) at: f64,
    pub(super) section: String,
    pub(super) said: Said,
}

#[derive(Clone, Debug)]
pub(super) enum Said {
    Free,
    Unexplained,
    Sure(String),
    Doubt(Vec<String>),
}

impl Claim {
    /// As a line of JSON.
    pub(super) fn line(&self) -> String {
        let mut line = serde_json::json!({ "at": self.at, "section": self.section });
        match &self.said {
            Said::Free => line["free"] = true.into(),
            Said::Unexplained => (line["trains"], line["unexplained"]) = (Vec::<String>::new().into(), true.into()),
            Said::Sure(train) => (line["train"], line["sure"]) = (train.as_str().into(), true.into()),
            Said::Doubt(trains) => (line["trains"], line["sure"]) = (trains.clone().into(), false.into()),
        }
        format!("{line}\n")
    }
}

/// When an occupation is judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Moment {
    /// As soon as the section was filled: what a signal would act on.
    First,
    /// A little later.
    Settled,
    /// Just before it emptied.
    Last,
}

impl Moment {
    const ALL: [Self; 3] = [Self::First, Self::Settled, Self::Last];
}

/// How a claim compares with the truth.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Verdict {
    SureRight,
    DoubtWith,
    Unexplained,
    Nothing,
    DoubtWithout,
    SureWrong,
}

impl Verdict {
    const ALL: [Self; 6] =
        [Self::SureRight, Self::DoubtWith, Self::Unexplained, Self::Nothing, Self::DoubtWithout, Self::SureWrong];

    fn of(said: Option<&Said>, train: &str) -> Self {
        match said {
            None | Some(Said::Free) => Self::Nothing,
            Some(Said::Unexplained) => Self::Unexplained,
            Some(Said::Sure(claimed)) if claimed == train => Self::SureRight,
            Some(Said::Sure(_)) => Self::SureWrong,
            Some(Said::Doubt(trains)) if trains.iter().any(|claimed| claimed == train) => Self::DoubtWith,
            Some(Said::Doubt(_)) => Self::DoubtWithout,
        }
    }

    fn name(self) -> &'static str {
        match self {
            Self::SureRight => "sure-right",
            Self::DoubtWith => "doubt-with",
            Self::Unexplained => "unexplained",
            Self::Nothing => "nothing",
            Self::DoubtWithout => "doubt-without",
            Self::SureWrong => "sure-wrong",
        }
    }
}

/// How many verdicts of each kind were given at each moment.
#[derive(Clone, Debug, Default)]
pub(super) struct Score {
    counts: BTreeMap<(Moment, Verdict), usize>,
    occupations: usize,
    first_wrong: Option<String>,
}

impl Score {
    /// Judges every occupation.
    pub(super) fn of(truth: &[Truth], claims: &[Claim]) -> Self {
        let mut by_section: BTreeMap<&str, Vec<&Claim>> = BTreeMap::new();
        for claim in claims {
            by_section.entry(&claim.section).or_default().push(claim);
        }
        for claims in by_section.values_mut() {
            // Keeps the order of claims of one instant.
            claims.sort_by(|one, other| one.at.total_cmp(&other.at));
        }
        let (mut score, mut seen, mut filled) = (Self::default(), BTreeSet::new(), BTreeMap::new());
        for row in truth {
            if row.occupied {
                filled.insert(&row.section, (row.at, &row.train));
            } else if let Some((from, train)) = filled.remove(&row.section) {
                let was_given = !train.is_empty() && seen.insert(train);
                if !train.is_empty() && !was_given && row.at > from {
                    let claims = by_section.get(row.section.as_str()).map_or(&[][..], Vec::as_slice);
                    score.judge(claims, from, row, train);
                }
            }
        }
        score
    }

    fn judge(&mut self, claims: &[&Claim], from: f64, emptied: &Truth, train: &str) {
        let upto = |time: f64| claims[..claims.partition_point(|claim| claim.at <= time + SAME)].last().copied();
        let before = claims[..claims.partition_point(|claim| claim.at < emptied.at - SAME)].last().copied();
        let settled = from + SETTLED_AFTER;
        let settled = if settled < emptied.at { upto(settled) } else { before.or_else(|| upto(from)) };
        self.occupations += 1;
        for (moment, claim) in Moment::ALL.into_iter().zip([upto(from), settled, before]) {
            let verdict = Verdict::of(claim.map(|claim| &claim.said), train);
            *self.counts.entry((moment, verdict)).or_default() += 1;
            if verdict == Verdict::SureWrong && self.first_wrong.is_none() {
                let (section, said) = (&emptied.section, claim.map(|claim| &claim.said));
                self.first_wrong = Some(format!("at {from}, {section} is {train}, but {said:?} ({moment:?})"));
            }
        }
    }

    /// How many occupations were judged.
    pub(super) fn count(&self) -> usize {
        self.occupations
    }

    /// How many claims were sure and wrong.
    pub(super) fn wrong(&self) -> usize {
        Moment::ALL.iter().map(|&moment| self.verdicts(moment, Verdict::SureWrong)).sum()
    }

    /// The first claim that was sure and wrong, in words.
    pub(super) fn first_wrong(&self) -> &str {
        self.first_wrong.as_deref().unwrap_or("none")
    }

    /// The share of a verdict at a moment, in per cent.
    pub(super) fn share(&self, moment: Moment, verdict: Verdict) -> f64 {
        100.0 * self.verdicts(moment, verdict) as f64 / self.occupations.max(1) as f64
    }

    fn verdicts(&self, moment: Moment, verdict: Verdict) -> usize {
        self.counts.get(&(moment, verdict)).copied().unwrap_or(0)
    }
}

impl fmt::Display for Score {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:<8}", "")?;
        for verdict in Verdict::ALL {
            write!(f, "{:>16}", verdict.name())?;
        }
        writeln!(f)?;
        for moment in Moment::ALL {
            write!(f, "{:<8}", format!("{moment:?}").to_lowercase())?;
            for verdict in Verdict::ALL {
                write!(f, "{:>7} {:>6.2} %", self.verdicts(moment, verdict), self.share(moment, verdict))?;
            }
            writeln!(f)?;
        }
        Ok(())
    }
}
