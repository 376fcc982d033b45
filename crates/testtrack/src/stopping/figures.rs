//! What many stops were like, as a table and a histogram.

use std::fmt;

use super::Stop;

/// Bounds of the histogram's rows, in millimetres short of the stopping point.
const ROWS: [f64; 14] = [-5.0, -2.0, 0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 15.0, 25.0, 40.0];

/// What many stops were like.
#[derive(Clone, Debug)]
pub struct Figures {
    short_mm: Vec<f64>,
    /// How much longer braking took than it had to.
    ratios: Vec<f64>,
    rows: Vec<usize>,
}

impl Figures {
    /// The figures of these stops, against braking at so many millimetres a second squared from the first moment to the last.
    pub fn of(stops: &[Stop], braking_mm_s2: f64) -> Self {
        let mut short_mm: Vec<f64> = stops.iter().map(|stop| stop.short_mm).collect();
        let ratio = |stop: &Stop| stop.took.as_secs_f64() * braking_mm_s2 / stop.from_mm_s;
        let mut ratios: Vec<f64> = stops.iter().filter(|stop| stop.from_mm_s > 0.0).map(ratio).collect();
        short_mm.sort_by(f64::total_cmp);
        ratios.sort_by(f64::total_cmp);
        let mut rows = vec![0; ROWS.len() + 1];
        for short in &short_mm {
            rows[ROWS.partition_point(|bound| bound <= short)] += 1;
        }
        Self { short_mm, ratios, rows }
    }

    /// How many stops.
    pub fn count(&self) -> usize {
        self.short_mm.len()
    }

    /// Which share stands no more than so far short of its stopping point, and not beyond it.
    pub fn share_within(&self, mm: f64) -> f64 {
        let within = self.short_mm.iter().filter(|short| (0.0..=mm).contains(*short)).count();
        within as f64 / self.count().max(1) as f64
    }

    /// How many stand beyond their stopping point.
    pub fn beyond(&self) -> usize {
        self.short_mm.iter().filter(|short| **short < 0.0).count()
    }

    /// The distance that so many thousandths of the stops are no more short than.
    pub fn quantile_mm(&self, permille: usize) -> f64 {
        quantile(&self.short_mm, permille)
    }

    /// How much longer braking took than it had to, for so many thousandths of the stops at most.
    pub fn quantile_ratio(&self, permille: usize) -> f64 {
        quantile(&self.ratios, permille)
    }
}

fn quantile(sorted: &[f64], permille: usize) -> f64 {
    let place = (sorted.len() * permille / 1000).min(sorted.len().saturating_sub(1));
    sorted.get(place).copied().unwrap_or(f64::NAN)
}

impl fmt::Display for Figures {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "  mm short of the stopping point")?;
        let most = self.rows.iter().copied().max().unwrap_or(0).max(1);
        for (place, &count) in self.rows.iter().enumerate() {
            let range = match (place.checked_sub(1).map(|below| ROWS[below]), ROWS.get(place)) {
                (None, Some(to)) => format!("below {to}"),
                (Some(from), Some(to)) => format!("{from} to {to}"),
                (Some(from), None) => format!("from {from}"),
                (None, None) => String::new(),
            };
            let bar = "#".repeat((count * 50).div_ceil(most));
            writeln!(f, "  {range:>10}  {count:>6}  {bar}")?;
        }
        writeln!(f, "  stops {}, beyond their stopping point {}", self.count(), self.beyond())?;
        for (label, permille) in [("0.1 %", 1), ("1 %", 10), ("median", 500), ("99 %", 990), ("99.9 %", 999)] {
            writeln!(f, "  {label:>10}  {:>7.1} mm short", self.quantile_mm(permille))?;
        }
        for mm in [10.0, 25.0, 40.0] {
            writeln!(f, "  within {mm:>2} mm short  {:.3} %", 100.0 * self.share_within(mm))?;
        }
        write!(
            f,
            "  braking took, against the least at the same deceleration: median {:.3}, 90 % {:.3}",
            self.quantile_ratio(500),
            self.quantile_ratio(900)
        )
    }
}
