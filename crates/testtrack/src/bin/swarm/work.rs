//! Seeds over threads, and what came of them in the order of seeds.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;
use std::time::Duration;

use testtrack::swarm::{FaultSet, Law, Log, Outcome, Place, Plan};

use crate::folder::{Given, build};

thread_local! {
    /// What a panic on this thread said, and where.
    static LAST_WORDS: RefCell<String> = const { RefCell::new(String::new()) };
}

/// So many lines are told of a seed that failed.
const LINES: usize = 40;

/// One seed to be run.
#[derive(Clone, Debug)]
pub(crate) struct Task {
    pub(crate) plan: Plan,
    hours: f64,
    layout: String,
}

/// What came of it.
#[derive(Debug)]
pub(crate) enum Done {
    /// It ran.
    Tried(Box<Outcome>),
    /// The program found itself in a state that it holds for impossible.
    Panicked { sentence: String, lines: Vec<String> },
    /// A train does not fit where it shall stand.
    DoesNotFit { sentence: String },
}

/// The time by the clock on the wall.
#[expect(clippy::disallowed_types, reason = "how fast trials are is no part of any trial")]
pub(crate) struct Clock(std::time::Instant);

#[expect(clippy::disallowed_types, reason = "how fast trials are is no part of any trial")]
impl Clock {
    pub(crate) fn start() -> Self {
        Self(std::time::Instant::now())
    }

    pub(crate) fn passed(&self) -> Duration {
        self.0.elapsed()
    }
}

impl Task {
    /// A seed, with what it chooses where nobody else does.
    ///
    /// # Errors
    /// What is wrong with the layout.
    pub(crate) fn new(seed: u64, hours: f64, faults: Option<FaultSet>, given: Option<Given>) -> Result<Self, String> {
        let given = given.unwrap_or_else(|| Given::Ours(Place::of_seed(seed)));
        let (layout, name) = match given {
            Given::Ours(place) => (Arc::new(build(place, seed)?), place.name().to_owned()),
            Given::Folder(name, layout) => (layout, name),
        };
        let faults = faults.unwrap_or_else(|| FaultSet::of_seed(seed));
        let span = Duration::from_secs_f64(hours * 3600.0);
        Ok(Self { plan: Plan { seed, layout, faults, span }, hours, layout: name })
    }

    /// The command that runs it again.
    fn command(&self) -> String {
        let Self { plan, hours, layout } = self;
        let flags = format!("--seeds {} --hours {hours} --layout {layout} --faults {}", plan.seed, plan.faults);
        format!("cargo run --profile checked -p testtrack --bin swarm -- {flags}")
    }

    fn run(&self) -> Done {
        match catch_unwind(AssertUnwindSafe(|| self.plan.try_out())) {
            Ok(Ok(outcome)) => Done::Tried(Box::new(outcome)),
            Ok(Err(wrong)) => Done::DoesNotFit { sentence: wrong.to_string() },
            Err(_) => {
                let sentence = LAST_WORDS.with_borrow(String::clone);
                Done::Panicked { sentence, lines: self.last_lines(LINES) }
            }
        }
    }

    /// Runs it once more, to tell what happened last.
    pub(crate) fn last_lines(&self, most: usize) -> Vec<String> {
        let mut log = Log::of_the_last(most);
        // It fails again as it did before: that is known already.
        let _ = catch_unwind(AssertUnwindSafe(|| self.plan.explain(&mut log).is_ok()));
        log.lines().map(str::to_owned).collect()
    }
}

impl Done {
    /// What did not hold, in words; nothing where everything did.
    pub(crate) fn failure(&self, task: &Task) -> Option<String> {
        let (law, at, sentence, lines) = match self {
            Self::DoesNotFit { sentence } => ("a train does not fit", String::new(), sentence.clone(), Vec::new()),
            Self::Panicked { sentence, lines } => (Law::Panic.name(), String::new(), sentence.clone(), lines.clone()),
            Self::Tried(outcome) => {
                let first = outcome.broken.first()?;
                (first.law.name(), format!(" at {:?}", first.at), first.sentence.clone(), task.last_lines(LINES))
            }
        };
        let lines: String = lines.iter().map(|line| format!("  {line}\n")).collect();
        let seed = task.plan.seed;
        Some(format!("seed {seed}: {law}{at}: {sentence}\n{lines}again: {}\n", task.command()))
    }
}

/// Runs all tasks on as many threads as the machine has, and hands over what came of each, in their order.
pub(crate) fn all(tasks: &[Task], tell: &mut dyn FnMut(&Task, Done, usize)) {
    std::panic::set_hook(Box::new(|info| LAST_WORDS.with_borrow_mut(|words| *words = in_one_line(&info.to_string()))));
    let threads = std::thread::available_parallelism().map_or(1, usize::from).min(tasks.len().max(1));
    let next = AtomicUsize::new(0);
    let (sender, receiver) = mpsc::channel();
    std::thread::scope(|scope| {
        for _ in 0..threads {
            let (sender, next) = (sender.clone(), &next);
            scope.spawn(move || {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    let Some(task) = tasks.get(index) else { return };
                    if sender.send((index, task.run())).is_err() {
                        return;
                    }
                }
            });
        }
        drop(sender);
        let (mut waiting, mut told) = (BTreeMap::new(), 0);
        for (index, done) in receiver {
            waiting.insert(index, done);
            while let Some(done) = waiting.remove(&told) {
                told += 1;
                tell(&tasks[told - 1], done, told);
            }
        }
    });
}

fn in_one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
