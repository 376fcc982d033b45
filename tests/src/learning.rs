//! What trains learn of their speed, beside a fit that a general library makes of the same passes.

use std::collections::BTreeSet;
use std::io::Write;
use std::process::Command;

use serde_json::{Value, json};
use signaller::{Direction, StepSpeed};
use testtrack::learning::{Learned, Pass, measure_beside_a_stopwatch};

use crate::program;

/// So many trains make a measuring run each.
const TRAINS: u64 = 80;

/// One direction of a train: what it learned, what is true, and what was timed.
struct Case {
    learned: Vec<StepSpeed>,
    truth: Vec<f64>,
    passes: Vec<Pass>,
    /// Steps at which it was timed.
    steps: BTreeSet<u8>,
}

fn cases(learned: &Learned, passes: &[Pass]) -> Vec<Case> {
    let sides =
        [(Direction::Forward, &learned.profile.forward, 0), (Direction::Backward, &learned.profile.backward, 1)];
    let cases = sides.map(|(direction, speeds, side)| {
        let passes: Vec<Pass> = passes.iter().filter(|pass| pass.direction == direction).copied().collect();
        let truth = learned.truth[side].iter().map(|speed| speed.mm()).collect();
        Case { learned: speeds.clone(), truth, steps: passes.iter().map(|pass| pass.step).collect(), passes }
    });
    cases.into_iter().filter(|case| case.steps.len() >= 3).collect()
}

/// What scikit-learn makes of the same passes; nothing where it is not there and need not be.
fn isotonic(cases: &[Case]) -> Option<Vec<Vec<f64>>> {
    let python = program::python("scikit-learn", "sklearn")?;
    let lists = cases.iter().map(|case| {
        let passes: Vec<Value> = case.passes.iter().map(|pass| json!([pass.step, pass.mm_s])).collect();
        json!({ "passes": passes, "steps": case.steps })
    });
    let lists = Value::from(lists.collect::<Vec<_>>()).to_string();
    let script = program::root().join("tests/peers/isotonic.py");
    let ran = program::finish(program::start(Command::new(python).arg(script)), |mut pipe| {
        pipe.write_all(lists.as_bytes()).unwrap();
    });
    assert_eq!(ran.status, Some(0), "{}", ran.complaints);
    Some(serde_json::from_str(&ran.output).unwrap())
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

#[test]
fn trains_learn_what_an_independent_monotone_fit_of_the_same_passes_says() {
    let mut all = Vec::new();
    for seed in 1..=TRAINS {
        let (learned, passes) = measure_beside_a_stopwatch(seed, 12).unwrap();
        all.extend(cases(&learned, &passes));
    }
    let Some(fits) = isotonic(&all) else { return };
    let (mut apart, mut ours_off, mut theirs_off) = (Vec::new(), Vec::new(), Vec::new());
    let (mut within, mut count) = (0, 0);
    for (case, fit) in all.iter().zip(&fits) {
        for (&step, &theirs) in case.steps.iter().zip(fit) {
            let (ours, truth) = (case.learned[usize::from(step) - 1], case.truth[usize::from(step) - 1]);
            apart.push((ours.likely.mm() / theirs - 1.0).abs());
            ours_off.push((ours.likely.mm() / truth - 1.0).abs());
            theirs_off.push((theirs / truth - 1.0).abs());
            within += usize::from(ours.least.mm() <= theirs && theirs <= ours.most.mm());
            count += 1;
        }
    }
    let share = within as f64 / count as f64;
    let [apart, ours, theirs] = [apart, ours_off, theirs_off].map(|values| 100.0 * median(values));
    println!(
        "{count} steps: ours and scikit-learn's are {apart:.2} % apart in the median, off the truth by {ours:.2} and {theirs:.2} %; \
         {:.1} % of theirs lie within our bounds",
        100.0 * share
    );
    assert!(count >= 200, "{count} steps prove little");
    assert!(apart <= 3.0 && ours <= theirs + 1.0, "{apart} % apart, {ours} % and {theirs} % off");
    assert!(share >= 0.8, "{share} of the fits within our bounds");
}
