//! What others recorded, or planned: the program must name the trains as the truth has them.
//!
//! The recordings are no part of the project. The environment variable `LINECLEAR_OUTSIDE` names the folder that holds
//! them; where it is not set these tests say so and test nothing, except that continuous integration (`CI=true`) must
//! not pass without them.

mod disturb;
mod lamps;
mod naive;
mod recording;
mod score;
mod signals;
mod tracking;

use std::fmt::Write;
use std::path::PathBuf;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use disturb::Disturbance;
use recording::Recording;
use score::{Moment, Score, Verdict};

/// A recording, and the least share of sure and right claims, in per cent, at the first and at the last moment.
///
/// The floors lie below what is reached, so that an honest change of a likelihood does not break them; sure and wrong
/// has no tolerance.
const FLOORS: &[(&str, f64, f64)] =
    &[("real-line", 99.9, 99.9), ("planned-line", 93.0, 93.0), ("planned-line-overlap", 81.0, 92.0)];

const SEEDS: u64 = 20;

/// What share of claims may be sure and wrong where lines are missing or exchanged, in per cent: the evidence itself is
/// false.
const FALSE_EVIDENCE: f64 = 0.05;

/// The folder of recordings; nothing where there is none and none is needed.
fn folder() -> Option<PathBuf> {
    let folder = std::env::var_os("LINECLEAR_OUTSIDE").map(PathBuf::from);
    let must = std::env::var("CI").is_ok_and(|value| value == "true");
    match folder {
        Some(folder) if folder.is_absolute() => Some(folder),
        Some(folder) => Some(crate::program::root().join(folder)),
        None if must => panic!("`LINECLEAR_OUTSIDE` is not set, and continuous integration must test outside truth"),
        None => {
            println!("skipped: `LINECLEAR_OUTSIDE` is not set, so there are no recordings to compare with");
            None
        }
    }
}

fn recordings(purpose: &str) -> Vec<Recording> {
    folder().map_or_else(Vec::new, |folder| {
        FLOORS.iter().map(|(name, _, _)| Recording::open(&folder.join(name), name, purpose)).collect()
    })
}

#[test]
fn recorded_trains_are_named_as_the_truth_has_them() {
    let mut failures = Vec::new();
    for (recording, &(name, first, last)) in recordings("named").iter().zip(FLOORS) {
        let claims = recording.trace(recording.lines());
        let score = Score::of(&recording.truth, &claims);
        let naive = Score::of(&recording.truth, &naive::claims(recording));
        println!(
            "{name}, {} occupations\n{score}the naive rule: a neighbour's tag that has waited longest\n{naive}",
            score.count()
        );
        recording.compare_with_their_score(&claims, &score);
        for (moment, floor) in [(Moment::First, first), (Moment::Last, last)] {
            let reached = score.share(moment, Verdict::SureRight);
            if reached < floor {
                failures
                    .push(format!("{name}: {moment:?} is sure and right in {reached:.2} %, the floor is {floor} %"));
            }
        }
        if score.wrong() > 0 {
            failures.push(format!("{name}: {} claims are sure and wrong", score.wrong()));
        }
        if naive.share(Moment::First, Verdict::SureRight) >= score.share(Moment::First, Verdict::SureRight) {
            failures.push(format!("{name}: the naive rule does as well"));
        }
    }
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}

#[test]
fn lines_doubled_lost_or_exchanged_do_not_make_false_certainty() {
    let recordings = recordings("disturbed");
    let mut table =
        format!("{:<22}{:<12}{:>9}{:>10}{:>12}{:>12}{:>8}\n", "", "", "first", "last", "sure-wrong", "share", "worst");
    let mut failures = Vec::new();
    for recording in &recordings {
        for disturbance in Disturbance::ALL {
            let scores = scores(recording, disturbance);
            let mean =
                |moment| scores.iter().map(|score| score.share(moment, Verdict::SureRight)).sum::<f64>() / SEEDS as f64;
            let wrong: usize = scores.iter().map(Score::wrong).sum();
            let judged: usize = scores.iter().map(|score| 3 * score.count()).sum();
            let share = 100.0 * wrong as f64 / judged as f64;
            let (seed, worst) = scores.iter().map(Score::wrong).enumerate().max_by_key(|&(_, wrong)| wrong).unwrap();
            let (first, last) = (mean(Moment::First), mean(Moment::Last));
            let name = disturbance.name();
            writeln!(
                table,
                "{:<22}{name:<12}{first:>8.2}%{last:>9.2}%{wrong:>12}{share:>11.4}%{worst:>8}",
                recording.name
            )
            .unwrap();
            let allowed = if disturbance == Disturbance::Doubled { 0.0 } else { FALSE_EVIDENCE };
            if share > allowed {
                let words = format!(
                    "{}, {name}: {share:.4} % of claims are sure and wrong, worst with seed {seed}",
                    recording.name
                );
                failures.push(format!("{words}\n{}", scores[seed].first_wrong()));
            }
        }
    }
    if !recordings.is_empty() {
        println!(
            "1 % of the section lines disturbed, {SEEDS} seeds each: sure and right on average, sure and wrong in all\n{table}"
        );
    }
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}

/// One score a seed, in order.
fn scores(recording: &Recording, disturbance: Disturbance) -> Vec<Score> {
    let next = AtomicUsize::new(0);
    let scores: Mutex<Vec<Option<Score>>> = Mutex::new(vec![None; SEEDS as usize]);
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(|| {
                while let Some(seed) = Some(next.fetch_add(1, Ordering::Relaxed)).filter(|&seed| seed < SEEDS as usize)
                {
                    let lines = disturb::disturbed(recording.lines(), disturbance, seed as u64);
                    let score = Score::of(&recording.truth, &recording.trace(&lines));
                    scores.lock().unwrap()[seed] = Some(score);
                }
            });
        }
    });
    scores.into_inner().unwrap().into_iter().flatten().collect()
}
