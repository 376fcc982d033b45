//! The sum of many trials, as one line of JSON.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::time::Duration;

use track::Layout;

use super::trial::{Law, Outcome, Plan};
use super::watch::Settled;

/// Figures of many trials.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    seeds: u64,
    layout_time: Duration,
    steps: u64,
    trips: u64,
    broken: BTreeMap<Law, u64>,
    sure_claims: u64,
    sure_wrong: u64,
    excused: BTreeMap<String, u64>,
    doubts_raised: u64,
    doubts_open: u64,
    doubts_settled: BTreeMap<Settled, u64>,
    all: Shares,
    by_kind: BTreeMap<(&'static str, &'static str), (u64, Shares)>,
}

/// Train-time.
#[derive(Clone, Copy, Debug, Default)]
struct Shares {
    sure: Duration,
    in_doubt: Duration,
    untagged: Duration,
    held: Duration,
    held_by_doubt: Duration,
}

impl Tally {
    /// Adds a trial.
    pub fn add(&mut self, plan: &Plan, outcome: &Outcome) {
        let session = &outcome.figures.session;
        self.seeds += 1;
        self.layout_time += session.layout_time;
        self.steps += session.steps;
        self.trips += session.trips;
        self.sure_claims += outcome.figures.claims_made;
        self.sure_wrong += outcome.figures.claims_wrong;
        self.doubts_raised += outcome.figures.doubts_raised;
        self.doubts_open += outcome.figures.doubts_open;
        for (&settled, count) in &outcome.figures.doubts_settled {
            *self.doubts_settled.entry(settled).or_default() += count;
        }
        for (excuse, count) in &outcome.figures.excused {
            *self.excused.entry(excuse.clone()).or_default() += count;
        }
        for broken in &outcome.broken {
            self.add_broken(broken.law);
        }
        let shares = Shares {
            sure: session.time_sure,
            in_doubt: session.time_in_doubt,
            untagged: session.time_untagged,
            held: session.time_held,
            held_by_doubt: session.time_held_by_doubt,
        };
        self.all.add(&shares);
        let (seeds, of_kind) = self.by_kind.entry((plan.faults.kind(), kind_of(&plan.layout))).or_default();
        *seeds += 1;
        of_kind.add(&shares);
    }

    /// Adds something that did not hold, in a trial that came to nothing else.
    pub fn add_broken(&mut self, law: Law) {
        *self.broken.entry(law).or_default() += 1;
    }

    /// How many things did not hold.
    pub fn broken(&self) -> u64 {
        self.broken.values().sum()
    }

    /// Everything in one line of JSON. `took` is the time by the clock on the wall.
    pub fn json(&self, hours: f64, took: Duration) -> String {
        let count = |counts: &mut dyn Iterator<Item = (&str, u64)>| {
            let pairs: Vec<_> = counts.map(|(name, count)| format!("\"{name}\":{count}")).collect();
            pairs.join(",")
        };
        let of_law = |law: &Law| self.broken.get(law).copied().unwrap_or(0);
        let broken = count(&mut Law::ALL.iter().map(|law| (law.name(), of_law(law))));
        let of_settled = |by: Settled| self.doubts_settled.get(&by).copied().unwrap_or(0);
        let settled = count(&mut Settled::ALL.iter().map(|&by| (by.name(), of_settled(by))));
        let excused = count(&mut self.excused.iter().map(|(excuse, &count)| (excuse.as_str(), count)));
        let speed = self.layout_time.as_secs_f64() / took.as_secs_f64().max(1e-9);
        let mut line = format!(
            "{{\"seeds\":{},\"hours\":{hours},\"layout_hours\":{:.2},\"steps\":{},\"violations\":{{{broken}}},\
             \"excused\":{{{excused}}},\"sure_claims\":{},\"sure_wrong\":{},\"train_time\":{},\"trips\":{},\
             \"doubts\":{{\"raised\":{},{settled},\"open\":{}}},\"by_faults\":{{",
            self.seeds,
            self.layout_time.as_secs_f64() / 3600.0,
            self.steps,
            self.sure_claims,
            self.sure_wrong,
            self.all.json(),
            self.trips,
            self.doubts_raised,
            self.doubts_open,
        );
        for (index, ((faults, layout), (seeds, shares))) in self.by_kind.iter().enumerate() {
            let comma = if index == 0 { "" } else { "," };
            // Writing into a string does not fail.
            let _ = write!(line, "{comma}\"{faults} {layout}\":{{\"seeds\":{seeds},\"train_time\":{}}}", shares.json());
        }
        let _ = write!(line, "}},\"layout_seconds_per_second\":{speed:.0}}}");
        line
    }
}

/// What of a layout decides how much can be known on it.
fn kind_of(layout: &Layout) -> &'static str {
    if layout.ways.values().any(|way| way.length.is_none()) {
        "unmeasured"
    } else if layout.sections.ids().any(|section| layout.is_dark(section)) {
        "dark in part"
    } else {
        "measured"
    }
}

impl Shares {
    fn add(&mut self, other: &Self) {
        self.sure += other.sure;
        self.in_doubt += other.in_doubt;
        self.untagged += other.untagged;
        self.held += other.held;
        self.held_by_doubt += other.held_by_doubt;
    }

    fn json(&self) -> String {
        let total = (self.sure + self.in_doubt + self.untagged).as_secs_f64().max(1e-9);
        let share = |time: Duration| time.as_secs_f64() / total;
        format!(
            "{{\"sure\":{:.6},\"in_doubt\":{:.6},\"untagged\":{:.6},\"held\":{:.6},\"held_by_doubt\":{:.6}}}",
            share(self.sure),
            share(self.in_doubt),
            share(self.untagged),
            share(self.held),
            share(self.held_by_doubt)
        )
    }
}
