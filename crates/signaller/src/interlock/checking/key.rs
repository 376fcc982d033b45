//! What makes two states the same.
//!
//! Left out is what only counts: the time, how often something was freed, the numbers of orders beyond which is older. Times
//! that something is due at count only as due or not yet.

use std::fmt::{Debug, Write};
use std::hash::{DefaultHasher, Hash, Hasher};

use super::state::State;
use crate::interlock::rehearsal::PATIENCE;
use crate::interlock::safe::COURTESY;
use crate::interlock::{Interlock, Run};
use crate::time::Time;

struct Digest(DefaultHasher);

impl Digest {
    /// Takes in what knows no hash of its own, as it is written.
    fn written(&mut self, thing: &impl Debug) {
        let _ = write!(self, "{thing:?};");
    }
}

impl Write for Digest {
    fn write_str(&mut self, text: &str) -> std::fmt::Result {
        self.0.write(text.as_bytes());
        Ok(())
    }
}

/// A number for everything that matters of a state.
pub(super) fn of(state: &State) -> u64 {
    let mut digest = Digest(DefaultHasher::new());
    for (_, truth) in state.rails.trains.iter() {
        truth.hash(&mut digest.0);
    }
    for (turnout, blades) in state.rails.turnouts.iter() {
        blades.hash(&mut digest.0);
        let turnouts = &state.interlock.turnouts;
        let mut locks = turnouts.locked_by(turnout).to_vec();
        locks.sort_unstable();
        (turnouts.lie(turnout), turnouts.on_its_way(turnout), locks).hash(&mut digest.0);
    }
    for known in state.board.stands.values() {
        known.hash(&mut digest.0);
    }
    for (signal, _) in state.interlock.layout.signals.iter() {
        (state.signals.shows(signal), state.signals.is_kept_at_danger(signal)).hash(&mut digest.0);
    }
    digest.written(&state.spent);
    digest.written(&state.broken);
    interlock(&mut digest, &state.interlock, state.now);
    digest.0.finish()
}

fn interlock(digest: &mut Digest, interlock: &Interlock, now: Time) {
    interlock.granted_to.values().for_each(|holder| holder.hash(&mut digest.0));
    interlock.cleared.values().for_each(|cleared| cleared.hash(&mut digest.0));
    interlock.wanting.hash(&mut digest.0);
    (interlock.is_stirred, interlock.may_admit).hash(&mut digest.0);
    digest.written(&interlock.order_of_running);
    digest.written(&interlock.routes_in_essence(now));
    digest.written(&interlock.withdrawn);
    let looked_aside = interlock.looked_aside_at_turn == interlock.turns_of_events();
    (looked_aside, interlock.look_aside_at <= now).hash(&mut digest.0);
    let mut by_age: Vec<_> = interlock.runs.iter().filter(|(_, run)| run.to.is_some()).collect();
    by_age.sort_by_key(|(_, run)| run.age);
    by_age.iter().for_each(|(train, _)| train.hash(&mut digest.0));
    let looks = interlock.looks.iter().map(|&(at, train)| (at <= now, train));
    digest.written(&looks.collect::<Vec<_>>());
    for run in interlock.runs.values() {
        one_run(digest, run, interlock.freed, now);
        (run.stands, run.drew_aside_at == Some(interlock.homecomings)).hash(&mut digest.0);
        digest.written(&(&run.aside, &run.then));
    }
}

fn one_run(digest: &mut Digest, run: &Run, freed: u64, now: Time) {
    (&run.granted, run.nose, run.proved, &run.lent, &run.guards, &run.plan).hash(&mut digest.0);
    (run.is_planned, run.is_admitted, run.lacks_track, run.must_stand, run.has_departed).hash(&mut digest.0);
    let waited = run.waits_for.map(|_| now.since(run.waits_since));
    let has_waited = (waited.map(|waited| (waited > PATIENCE, waited >= COURTESY)), run.waited_before);
    let has_looked_round = run.looked_round_at_freed == freed;
    (run.look_round_at <= now, has_looked_round, has_waited).hash(&mut digest.0);
    digest.written(&(run.to, run.turns_first, &run.turned_in, &run.holds, run.waits_for, &run.no_answer));
}
