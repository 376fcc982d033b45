//! How fast a train most likely is at each step, in relation to the straight line of its description, and how sure that is.
//!
//! What runs have taught is smoothed over the steps by a Gaussian process (C. E. Rasmussen and C. K. I. Williams, "Gaussian
//! Processes for Machine Learning", MIT Press 2006, algorithm 2.1): half of what a train may be off is so at every step, half of it
//! bends from step to step. Where nothing was learned the stated tolerance remains. A curve never falls from one step to the next
//! (pool adjacent violators; R. E. Barlow and others, "Statistical Inference under Order Restrictions", Wiley 1972).
//!
//! Old runs fade: temperature, load and lubrication change. As in `estimate.rs`, floats are only added, multiplied, divided and
//! rooted; the one exponential is a table.

use super::lessons::TaughtNear;

/// So many nodes carry the curve; steps between them are interpolated.
pub(super) const NODES: usize = 16;
/// What a run taught keeps so much of its weight when a later one nearby has taught all that one can.
const FADES: f64 = 0.88;
/// How much a train's speed is off its own curve from one run to the next. Common practice, no source.
const FROM_RUN_TO_RUN: f64 = 0.012;
/// Half of what is uncertain is so throughout, half bends.
const THROUGHOUT: f64 = 0.5;
/// How alike two steps are that are so many nodes apart, in what bends: exp(-d²/2), with d counting in 0.35 of the whole range.
const ALIKE: [f64; NODES] = [
    1.0, 0.982_023, 0.930_008, 0.849_366, 0.748_077, 0.635_391, 0.520_450, 0.411_112, 0.313_174, 0.230_066, 0.162_991,
    0.111_357, 0.073_370, 0.046_618, 0.028_566, 0.016_880,
];

/// One direction of one train.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub(super) struct Curve {
    /// The standard deviation of what it may be off before anything is learned.
    prior: f64,
    taught: [Taught; NODES],
    mean: [f64; NODES],
    deviation: [f64; NODES],
}

/// What runs near one node have taught. Kept to whole billionths and millionths, so that what is stored is just what is used.
#[derive(Clone, Copy, Debug, Default, serde::Serialize, serde::Deserialize)]
struct Taught {
    mean: f64,
    weight: f64,
    runs: u32,
}

const BILLION: f64 = 1e9;
/// No run is taken to show a train to be slower or faster than that in relation to the straight line.
pub(super) const RATIOS_BILLIONTHS: std::ops::RangeInclusive<i64> = 100_000_000..=10_000_000_000;
const MILLION: f64 = 1e6;

impl Curve {
    /// The speed may be off by such a deviation, as a share.
    pub(super) fn new(prior: f64) -> Self {
        let (mean, deviation) = ([1.0; NODES], [prior; NODES]);
        Self { prior, taught: [Taught::default(); NODES], mean, deviation }
    }

    /// The likeliest speed in relation to the straight line, a share of the way from standstill to the highest step.
    pub(super) fn ratio(&self, share: f64) -> f64 {
        // Speeds are interpolated, not ratios: else they could fall between two nodes.
        let share = share.clamp(1e-3, 1.0);
        let place = share * (NODES - 1) as f64;
        let below = (place as usize).min(NODES - 2);
        let speed = |node: usize| node as f64 * self.mean[node];
        (speed(below) + (speed(below + 1) - speed(below)) * (place - below as f64)) / place
    }

    /// The standard deviation of that; how a train differs from run to run is not part of it.
    pub(super) fn deviation(&self, share: f64) -> f64 {
        between(&self.deviation, share)
    }

    /// How far a run may be off, all in all.
    pub(super) fn deviation_of_run(&self, share: f64) -> f64 {
        let curve = self.deviation(share);
        (curve * curve + FROM_RUN_TO_RUN * FROM_RUN_TO_RUN).sqrt()
    }

    /// A run at such a share showed this ratio, as well as it is known.
    pub(super) fn learn(&mut self, share: f64, ratio: f64, variance: f64) {
        let weight = 1.0 / (variance + FROM_RUN_TO_RUN * FROM_RUN_TO_RUN);
        let node = node_of(share);
        for (place, taught) in self.taught.iter_mut().enumerate() {
            let alike = ALIKE[place.abs_diff(node)];
            taught.weight *= 1.0 - (1.0 - FADES) * alike * alike * weight * FROM_RUN_TO_RUN * FROM_RUN_TO_RUN;
            taught.weight = (taught.weight * MILLION).round() / MILLION;
        }
        let taught = &mut self.taught[node];
        let total = taught.weight + weight;
        taught.mean += (ratio - taught.mean) * weight / total;
        let (least, most) = (*RATIOS_BILLIONTHS.start() as f64, *RATIOS_BILLIONTHS.end() as f64);
        taught.mean = (taught.mean * BILLION).round().clamp(least, most) / BILLION;
        taught.weight = (total * MILLION).round() / MILLION;
        taught.runs = taught.runs.saturating_add(1);
        self.solve();
    }

    /// How many times runs near such a share have taught something.
    pub(super) fn runs(&self, share: f64) -> u32 {
        self.taught[node_of(share)].runs
    }

    /// What runs have taught, node by node.
    pub(super) fn taught(&self) -> Vec<TaughtNear> {
        let whole = |value: f64| value.round() as i64;
        let node = |taught: &Taught| TaughtNear {
            ratio_billionths: whole(taught.mean * BILLION),
            weight_millionths: whole(taught.weight * MILLION),
            runs: taught.runs,
        };
        self.taught.iter().map(node).collect()
    }

    /// The same curve once more, from what [`Curve::taught`] said.
    pub(super) fn remember(&mut self, taught: &[TaughtNear]) {
        for (node, said) in self.taught.iter_mut().zip(taught) {
            let (mean, weight) = (said.ratio_billionths as f64 / BILLION, said.weight_millionths as f64 / MILLION);
            *node = Taught { mean, weight, runs: said.runs };
        }
        if self.taught.iter().any(|taught| taught.runs > 0) {
            self.solve();
        }
    }

    /// Rasmussen and Williams, algorithm 2.1, at every node.
    fn solve(&mut self) {
        let nodes: Vec<usize> = (0..NODES).filter(|&node| self.taught[node].weight > 0.0).collect();
        let variance = self.prior * self.prior;
        let kernel =
            |one: usize, other: usize| variance * (THROUGHOUT + (1.0 - THROUGHOUT) * ALIKE[one.abs_diff(other)]);
        let noise = |node: usize| 1.0 / self.taught[node].weight;
        let lower = cholesky(nodes.len(), |row, column| {
            let (one, other) = (nodes[row], nodes[column]);
            kernel(one, other) + if row == column { noise(one) } else { 0.0 }
        });
        let off: Vec<f64> = nodes.iter().map(|&node| self.taught[node].mean - 1.0).collect();
        let halfway = forward(&lower, &off);
        for node in 0..NODES {
            let alike: Vec<f64> = nodes.iter().map(|&other| kernel(node, other)).collect();
            let explained = forward(&lower, &alike);
            self.mean[node] = 1.0 + dot(&explained, &halfway);
            self.deviation[node] = (variance - dot(&explained, &explained)).max(0.0).sqrt();
        }
        self.never_fall();
    }

    /// Makes the speeds themselves rise from node to node.
    fn never_fall(&mut self) {
        let share = |node: usize| node as f64 / (NODES - 1) as f64;
        // Each pool: the sum of weights, the weighted sum of speeds, and how many nodes it is made of.
        let mut pools: Vec<(f64, f64, usize)> = Vec::with_capacity(NODES);
        for node in 1..NODES {
            let speed = share(node) * self.mean[node];
            let weight = 1.0 / (share(node) * self.deviation[node].max(1e-4)).max(1e-6);
            pools.push((weight, weight * speed, 1));
            while let [.., before, last] = pools[..]
                && before.1 / before.0 > last.1 / last.0
            {
                pools.pop();
                pools.pop();
                pools.push((before.0 + last.0, before.1 + last.1, before.2 + last.2));
            }
        }
        let mut node = 1;
        for (weight, sum, count) in pools {
            for _ in 0..count {
                self.mean[node] = sum / weight / share(node);
                node += 1;
            }
        }
    }
}

fn node_of(share: f64) -> usize {
    ((share.clamp(0.0, 1.0) * (NODES - 1) as f64) + 0.5) as usize
}

fn between(nodes: &[f64; NODES], share: f64) -> f64 {
    let place = share.clamp(0.0, 1.0) * (NODES - 1) as f64;
    let below = (place as usize).min(NODES - 2);
    nodes[below] + (nodes[below + 1] - nodes[below]) * (place - below as f64)
}

/// The lower triangle whose product with its mirror image is the matrix.
fn cholesky(size: usize, matrix: impl Fn(usize, usize) -> f64) -> Vec<Vec<f64>> {
    let mut lower: Vec<Vec<f64>> = Vec::with_capacity(size);
    for row in 0..size {
        let mut line = vec![0.0; row + 1];
        for column in 0..row {
            line[column] =
                (matrix(row, column) - dot(&line[..column], &lower[column][..column])) / lower[column][column];
        }
        line[row] = (matrix(row, row) - dot(&line[..row], &line[..row])).max(1e-12).sqrt();
        lower.push(line);
    }
    lower
}

/// Solves `lower` times the result equals `right`.
fn forward(lower: &[Vec<f64>], right: &[f64]) -> Vec<f64> {
    let mut result = Vec::with_capacity(right.len());
    for (line, value) in lower.iter().zip(right) {
        let known = dot(&line[..result.len()], &result);
        result.push((value - known) / line[line.len() - 1]);
    }
    result
}

fn dot(one: &[f64], other: &[f64]) -> f64 {
    one.iter().zip(other).map(|(one, other)| one * other).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_train_showed_at_one_step_is_believed_there_and_less_so_far_from_it() {
        let mut curve = Curve::new(0.087);
        for _ in 0..12 {
            curve.learn(0.5, 1.08, 0.0001);
        }
        assert!((curve.ratio(0.5) - 1.08).abs() < 0.005, "{}", curve.ratio(0.5));
        assert!(curve.deviation(0.5) < 0.01, "{}", curve.deviation(0.5));
        assert!(curve.ratio(1.0) > 1.0 && curve.ratio(1.0) < 1.08, "{}", curve.ratio(1.0));
        assert!(curve.deviation(1.0) > 0.03, "{}", curve.deviation(1.0));
    }

    #[test]
    fn a_train_that_has_become_slower_is_believed_to_be_after_some_runs() {
        let mut curve = Curve::new(0.087);
        for _ in 0..20 {
            curve.learn(0.5, 1.06, 0.0001);
        }
        for _ in 0..20 {
            curve.learn(0.5, 1.00, 0.0001);
        }
        assert!((curve.ratio(0.5) - 1.0).abs() < 0.015, "{}", curve.ratio(0.5));
    }

    #[test]
    fn no_step_is_believed_to_be_slower_than_the_one_below() {
        let mut curve = Curve::new(0.2);
        for _ in 0..10 {
            curve.learn(0.6, 1.5, 0.0001);
            curve.learn(0.8, 0.9, 0.0001);
        }
        let speeds: Vec<f64> =
            (0..=100).map(|share| f64::from(share) * curve.ratio(f64::from(share) / 100.0)).collect();
        assert!(speeds.windows(2).all(|pair| pair[0] <= pair[1] + 1e-9), "{speeds:?}");
    }
}
