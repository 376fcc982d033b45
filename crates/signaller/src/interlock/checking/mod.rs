//! Model checking: everything that can happen to two trains on a small layout, tried.
//!
//! Two trains suffice to find what goes wrong between any number of them, where what a train does depends on the track near it
//! (James, Moller, Nguyen, Roggenbach, Schneider and Treharne, Science of Computer Programming, 2014). What runs here is the
//! real interlock with the real signals. Around it is a world that keeps only what matters to them (`rails.rs`): which sections
//! each train covers, how turnouts lie, and which report is still under way; and a picture that is sure, and as late as the
//! reports (`board.rs`). Identity, detect and drive do not take part. In the place of drive, a train sets out for whatever its
//! authority leaves it, comes to stand at the end of it, and, if that was cut short, anywhere before where it ended.
//!
//! **What time means here.** Whatever can happen next may happen next, however long anything else has taken: a nose comes to a
//! joint, a tail leaves one, a train has come to stand, a turnout arrives or fails, a report comes, somebody gives an order.
//! Between two of these no time passes that anything waits for; and at every point nothing else may happen for so long that
//! everything that waits for a time is due. So clocks and counters are no part of what makes two states the same (`key.rs`).
//!
//! **What is left out.** A report comes late, but before its train has another, and before it has come to stand. Nothing is ever
//! reported that is not so, and no train is in doubt. Several things heard in one instant are heard one after the other. A train
//! that is told to stop stops within what it was allowed. Routes that people set are locked, cleared and cancelled, and nobody runs
//! over them: no train here is driven by a person.
//!
//! **What is held** (`laws.rs`) after everything that happens; and of the whole space of states, that from each of them every
//! train can still do all its errands (`ends.rs`). That the former can fail is shown by bugs made on purpose.
//!
//! The spaces of the tests are small. With `LINECLEAR_DEEP` set, larger ones are explored too.

#![expect(
    clippy::disallowed_types,
    reason = "the checker runs a model on a thread of its own, and this one takes notes"
)]

mod actions;
mod board;
mod cases;
mod ends;
mod key;
mod laws;
mod rails;
mod state;
mod tests;
mod wishes;
mod words;

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Mutex, Once, PoisonError};

use stateright::{Checker, HasDiscoveries, Model, Property};

use actions::Action;
use cases::Case;
use ends::Moves;
use laws::Law;
use state::State;

/// A mistake made on purpose.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Bug {
    /// Only the section of the nose counts as occupied: what lies under a tail is given back.
    LosesTheTail,
    /// Track is granted whoever has it.
    GrantsWhatIsTaken,
    /// Track is granted though a route is set over it, or it is out of service.
    OverlooksWishes,
    /// One of the trains is never seen.
    OverlooksATrain,
    /// Turnouts are thrown whatever locks them.
    ThrowsWhatIsLocked,
    /// Nobody draws aside where trains stand in each other's way. No bug by itself: grants see to it that they never do.
    LetsNobodyDrawAside,
    /// Nothing is rehearsed and nobody draws aside: trains are let in against each other.
    LetsTrainsMeet,
    /// Trains run on what they were granted before its turnouts are proved.
    RunsBeforeTurnoutsAreProved,
    /// A train that is told to stop counts as standing at once.
    BelievesThatTrainsStopAtOnce,
    /// Signals do not look again when a section fills or empties.
    SignalsLookAway,
}

/// A case to be explored, and what was seen of it so far.
struct Exploration {
    case: Case,
    bug: Option<Bug>,
    moves: Arc<Mutex<Moves>>,
    /// States from which somebody cannot get where they are going any more, if that is known.
    dead_ends: Vec<u64>,
}

impl Model for Exploration {
    type State = State;
    type Action = Action;

    fn init_states(&self) -> Vec<State> {
        let state = State::first(&self.case, self.bug);
        self.note(|moves| moves.start(state.key));
        vec![state]
    }

    fn actions(&self, state: &State, actions: &mut Vec<Action>) {
        state.actions(&self.case, actions);
    }

    fn next_state(&self, state: &State, action: Action) -> Option<State> {
        let after = try_quietly(|| state.after(&self.case, action));
        let next = after.unwrap_or_else(|| Some(state.after_failed_assertion()))?;
        self.note(|moves| moves.add(state.key, next.key, action.helps(), next.is_over(&self.case)));
        Some(next)
    }

    fn properties(&self) -> Vec<Property<Self>> {
        vec![
            Property::always("no section is shared", |_: &Self, state: &State| state.keeps(Law::SharedSection)),
            Property::always("nothing is given back under a train", |_: &Self, state: &State| {
                state.keeps(Law::GivenBackUnderTrain)
            }),
            Property::always("no turnout is thrown under a train or a lock", |_: &Self, state: &State| {
                state.keeps(Law::ThrownUnderTrainOrLock)
            }),
            Property::always("authority leads over proved turnouts only", |_: &Self, state: &State| {
                state.keeps(Law::AuthorityOverUnprovedTurnout)
            }),
            Property::always("no train enters without leave", |_: &Self, state: &State| {
                state.keeps(Law::EnteredWithoutLeave)
            }),
            Property::always("no signal is falsely clear", |_: &Self, state: &State| state.keeps(Law::FalseClear)),
            Property::always("authority leads over no track that is out of service", |_: &Self, state: &State| {
                state.keeps(Law::AuthorityOverWithdrawnTrack)
            }),
            Property::always("no train is held for nothing", |_: &Self, state: &State| {
                state.keeps(Law::HeldForNothing)
            }),
            Property::always("no train turns while it moves", |_: &Self, state: &State| {
                state.keeps(Law::TurnedWhileMoving)
            }),
            Property::always("our own assertions hold", |_: &Self, state: &State| state.keeps(Law::OwnAssertion)),
            Property::always("everybody can still get where they are going", |model: &Self, state: &State| {
                model.dead_ends.binary_search(&state.key).is_err()
            }),
        ]
    }
}

impl Exploration {
    fn note(&self, note: impl FnOnce(&mut Moves)) {
        note(&mut self.moves.lock().unwrap_or_else(PoisonError::into_inner));
    }
}

impl State {
    fn keeps(&self, law: Law) -> bool {
        !self.broken.contains(&law)
    }
}

/// What came of an exploration.
#[derive(Debug)]
struct Found {
    states: usize,
    steps: usize,
    depth: usize,
    /// The properties that do not hold, each with a way to where it does not, in words; the shortest way first.
    failures: Vec<(&'static str, String)>,
}

/// Explores all states, of which there must be no more than `limit`.
fn explore(case: &Case, bug: Option<Bug>, limit: usize) -> Found {
    let moves = Arc::new(Mutex::new(Moves::default()));
    let found =
        search(Exploration { case: case.clone(), bug, moves: Arc::clone(&moves), dead_ends: Vec::new() }, limit);
    if !found.failures.is_empty() {
        return found;
    }
    let dead_ends = moves.lock().unwrap_or_else(PoisonError::into_inner).dead_ends();
    if dead_ends.is_empty() {
        return found;
    }
    search(Exploration { case: case.clone(), bug, moves, dead_ends }, limit)
}

fn search(exploration: Exploration, limit: usize) -> Found {
    let case = exploration.case.clone();
    let checker = exploration.checker().finish_when(HasDiscoveries::Any).target_state_count(limit * 8);
    let checker = checker.spawn_bfs().join();
    let discoveries = checker.discoveries().into_iter().map(|(name, path)| (name, path.into_vec()));
    let mut discoveries: Vec<_> = discoveries.collect();
    discoveries.sort_by_key(|(name, path)| (path.len(), *name));
    let step = |(state, action): &(State, Option<Action>)| state.in_words(&case, *action);
    let in_words = |(name, path): (_, Vec<_>)| (name, path.iter().map(step).collect());
    let failures: Vec<(&str, String)> = discoveries.into_iter().map(in_words).collect();
    let (states, steps) = (checker.unique_state_count(), checker.state_count());
    assert!(
        !failures.is_empty() || states <= limit && steps < limit * 8,
        "{states} states, {steps} steps, and more to come"
    );
    Found { states, steps, depth: checker.max_depth(), failures }
}

thread_local! {
    /// Whether this thread tries what may fail.
    static TRIES: Cell<bool> = const { Cell::new(false) };
}

/// What comes of something in which an assertion may fail; nothing if one did. That it failed is not said: it is part of what
/// is found.
fn try_quietly<T>(what: impl FnOnce() -> T) -> Option<T> {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            if !TRIES.get() {
                before(panic);
            }
        }));
    });
    TRIES.set(true);
    let result = catch_unwind(AssertUnwindSafe(what));
    TRIES.set(false);
    result.ok()
}

/// Explores a case to its end and expects nothing to be wrong there.
#[track_caller]
fn check(case: &Case, limit: usize) {
    let found = explore(case, None, limit);
    println!("{}, {}: {} states, {} steps, {} deep", case.name, case.liberties, found.states, found.steps, found.depth);
    if let Some((property, way)) = found.failures.first() {
        panic!("{}: not so: {property}\n{way}", case.name);
    }
}

/// Explores a case with a bug in it and expects it to be found by that property.
#[track_caller]
fn check_that_found(case: &Case, bug: Bug, property: &str) {
    let found = explore(case, Some(bug), 100_000);
    let failed: Vec<&str> = found.failures.iter().map(|(name, _)| *name).collect();
    println!("{bug:?} is found after {} states: {failed:?}", found.states);
    assert!(failed.contains(&property), "{bug:?} in {} states: {failed:?}", found.states);
}
