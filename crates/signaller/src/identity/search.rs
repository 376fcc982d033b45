//! Explaining everything heard in one instant: a best-first search over the orders in which it can have happened.
//!
//! Reports of one instant have no order among them, but those of one section keep theirs. So a state of the search is an
//! account and how many reports of each section it has explained; the cheapest way to each result counts.

use std::cell::Cell;

use smallvec::{SmallVec, smallvec};
use track::{EndId, SectionId};

use super::account::{Account, Stand, Stands, Who, drop, fingerprint, put};
use super::moves::Scene;
use super::picture::Hold;

/// All that one section reported in this instant, in order.
#[derive(Clone, Debug)]
pub(super) struct Line {
    pub section: SectionId,
    pub values: SmallVec<[bool; 4]>,
    /// Whether the section counted as occupied before.
    pub was: bool,
    /// Whether its last filling was heard in this very instant.
    pub just_filled: bool,
    /// The trains put down there in this instant, with the end they came in by, where their nose was told.
    pub placed: SmallVec<[(Who, Option<EndId>); 1]>,
    /// What an unknown train is called that fills the section now.
    pub stranger: Who,
}

/// A train that was lost should soon show itself. If it has not after so many instants in which something happened near it, it
/// stands, and further ones say nothing more.
const LOST_FOR_A_WHILE: u8 = 16;

/// A train that is still lost after so many instants in which something happened near it may not be there at all.
const LOST_FOR_LONG: u8 = 24;

/// After so many states the search gives up; what it has not seen is doubt.
const STATES: usize = 4000;

/// So many accounts are kept of one cluster; what is beyond is doubt.
pub(super) const ACCOUNTS: usize = 300;

#[derive(Clone, Debug)]
struct State {
    weight: f64,
    stands: Stands,
    /// How many values of each line are explained.
    upto: SmallVec<[u16; 8]>,
    /// The line explained last, tails' emptyings aside.
    last: usize,
}

/// Everything the search needs again and again.
#[derive(Debug, Default)]
pub(super) struct Search {
    frontier: Vec<State>,
    seen: Vec<u64>,
    options: Vec<(Stands, f64)>,
    /// How likely what was heard last was, by all accounts together.
    pub likelihood: f64,
}

/// What is to be explained, and with what.
pub(super) struct Question<'a, F> {
    pub scene: Scene<'a>,
    pub lines: &'a [Line],
    /// Trains taken off in this instant.
    pub lifted: &'a [Who],
    /// Whether a section that is in none of the lines is filled.
    pub filled: F,
}

impl Search {
    /// All accounts that answer the question, from each account of `joint`. Weights come out adding up to 1.
    ///
    /// Tells the share of belief that was given up because there were too many accounts.
    pub fn explain<F: Fn(SectionId) -> bool>(
        &mut self,
        question: &Question<'_, F>,
        joint: &[Account],
        accounts: &mut Vec<Account>,
    ) -> f64 {
        accounts.clear();
        let given_up = question.scene.prices.given_up;
        let single = question.lines.len() == 1 && question.lines[0].values.len() == 1;
        let mut best = 0.0_f64;
        let mut cut = false;
        for account in joint {
            if account.weight < best * given_up {
                continue;
            }
            if single {
                self.explain_single(question, account, &mut best, accounts);
            } else {
                cut |= self.explain_one(question, account, &mut best, accounts);
            }
        }
        self.likelihood = accounts.iter().map(|account| account.weight).sum();
        let dropped = settle(accounts, given_up);
        if cut { 1.0 } else { dropped }
    }

    /// All that may follow from one account, with the weights as they are.
    pub fn explain_from<F: Fn(SectionId) -> bool>(
        &mut self,
        question: &Question<'_, F>,
        account: &Account,
        results: &mut Vec<Account>,
    ) {
        let mut best = 0.0;
        if question.lines.len() == 1 && question.lines[0].values.len() == 1 {
            self.explain_single(question, account, &mut best, results);
        } else {
            self.explain_one(question, account, &mut best, results);
        }
    }

    /// The most frequent case: one report, nothing to put in order.
    fn explain_single<F: Fn(SectionId) -> bool>(
        &mut self,
        question: &Question<'_, F>,
        account: &Account,
        best: &mut f64,
        results: &mut Vec<Account>,
    ) {
        let given_up = question.scene.prices.given_up;
        let worth = Cell::new(*best * given_up / account.weight);
        let line = &question.lines[0];
        question.options(&account.stands, (0, 0), line.was, &worth, &question.filled, &mut self.options);
        for (stands, price) in self.options.drain(..) {
            let weight = account.weight * price;
            if price > 0.0 && weight >= *best * given_up {
                question.finish(weight, stands, best, results);
            }
        }
    }

    /// All that may follow from one account. Tells whether the search was given up.
    fn explain_one<F: Fn(SectionId) -> bool>(
        &mut self,
        question: &Question<'_, F>,
        account: &Account,
        best: &mut f64,
        results: &mut Vec<Account>,
    ) -> bool {
        let given_up = question.scene.prices.given_up;
        self.frontier.clear();
        self.seen.clear();
        self.frontier.push(State {
            weight: account.weight,
            stands: account.stands.clone(),
            upto: smallvec![0; question.lines.len()],
            last: 0,
        });
        while let Some(mut state) = pop_best(&mut self.frontier) {
            question.draw_tails(&mut state);
            if state.weight < *best * given_up {
                return false;
            }
            let mix = |hash: u64, &upto: &_| hash.wrapping_mul(31).wrapping_add(u64::from(upto));
            let print = fingerprint(&state.stands, state.upto.iter().fold(7, mix));
            if self.seen.contains(&print) {
                continue;
            }
            if self.seen.len() == STATES {
                return true;
            }
            self.seen.push(print);
            if question.next_values(&state).all(|value| value.is_none()) {
                question.finish(state.weight, state.stands, best, results);
                continue;
            }
            self.expand(question, &state, *best * given_up);
        }
        false
    }

    /// Pushes what may come after `state`.
    fn expand<F: Fn(SectionId) -> bool>(&mut self, question: &Question<'_, F>, state: &State, floor: f64) {
        let lines = question.lines;
        if question.next_values(state).all(|value| value != Some(true)) {
            // Only emptyings are left: their order tells nothing.
            if let Some(at) = question.next_values(state).position(|value| value.is_some()) {
                self.advance(question, state, (at, state.last), floor);
            }
            return;
        }
        for (at, value) in question.next_values(state).enumerate() {
            match value {
                // Two fillings far apart need not be tried both ways round.
                Some(true) if at >= state.last || question.are_near(at, state.last) => {
                    self.advance(question, state, (at, at), floor);
                }
                // An emptying that is not the tail's waits until the fillings are explained, unless one of them waits for it.
                Some(false) if usize::from(state.upto[at]) + 1 < lines[at].values.len() => {
                    self.advance(question, state, (at, state.last), floor);
                }
                _ => {}
            }
        }
    }

    /// Explains the next value of the line `at` in every way.
    fn advance<F: Fn(SectionId) -> bool>(
        &mut self,
        question: &Question<'_, F>,
        state: &State,
        (at, last): (usize, usize),
        floor: f64,
    ) {
        let filled = |section: SectionId| match question.lines.iter().position(|line| line.section == section) {
            Some(at) => match state.upto[at] {
                0 => question.lines[at].was,
                upto => question.lines[at].values[usize::from(upto) - 1],
            },
            None => (question.filled)(section),
        };
        let worth = Cell::new(floor / state.weight);
        let was = filled(question.lines[at].section);
        question.options(&state.stands, (at, state.upto[at].into()), was, &worth, &filled, &mut self.options);
        for (stands, price) in self.options.drain(..) {
            let weight = state.weight * price;
            if price > 0.0 && weight >= floor {
                let mut upto = state.upto.clone();
                upto[at] += 1;
                self.frontier.push(State { weight, stands, upto, last });
            }
        }
    }
}

impl<F: Fn(SectionId) -> bool> Question<'_, F> {
    /// For every line, the value to be explained next.
    fn next_values(&self, state: &State) -> impl Iterator<Item = Option<bool>> {
        self.lines.iter().zip(&state.upto).map(|(line, &upto)| line.values.get(usize::from(upto)).copied())
    }

    /// Explains every emptying that is the tail leaving a section behind: free of charge, and nothing waits for anything else.
    fn draw_tails(&self, state: &mut State) {
        let mut at = 0;
        while at < self.lines.len() {
            let line = &self.lines[at];
            if line.values.get(usize::from(state.upto[at])) == Some(&false)
                && !self.scene.is_shared(line.section)
                && let Some(stand) = state.stands.iter_mut().find(|stand| stand.sees(line.section))
                && !self.lifted.contains(&stand.who)
                && let Some(first) = stand.holds.iter().position(|hold| hold.seen)
                && stand.holds[first].section == line.section
                && stand.holds[first + 1..].iter().any(|hold| hold.seen)
                && !self.scene.may_come_out_of_the_dark(stand, first)
            {
                self.scene.clear_tail(stand, first);
                state.upto[at] += 1;
                at = 0;
            } else {
                at += 1;
            }
        }
    }

    fn are_near(&self, one: usize, other: usize) -> bool {
        self.scene.topology.near(self.lines[one].section).contains(&self.lines[other].section)
    }

    /// Every way to explain the value `upto` of the line `at`, where its section was filled before or not.
    fn options(
        &self,
        stands: &Stands,
        (at, upto): (usize, usize),
        was: bool,
        worth: &Cell<f64>,
        filled: &impl Fn(SectionId) -> bool,
        options: &mut Vec<(Stands, f64)>,
    ) {
        options.clear();
        let line = &self.lines[at];
        let mut sink = |stands: Stands, price: f64| options.push((stands, price));
        match (was, line.values[upto]) {
            (false, true) => {
                let fillings = line.values.iter().filter(|&&value| value).count();
                let only_placed = !line.placed.is_empty() && fillings <= line.placed.len();
                fill(&self.scene, stands, line, only_placed, worth, filled, &mut sink);
            }
            (true, true) => {
                let this_instant = upto > 0 || line.just_filled;
                fill_again(&self.scene, stands, line, this_instant, worth, filled, &mut sink);
            }
            (true, false) => self.scene.empties(stands, line.section, self.lifted, &mut sink),
            (false, false) => sink(stands.clone(), 1.0),
        }
    }

    /// Checks what a complete explanation must hold, charges what lasts, and adds it to the results.
    fn finish(&self, mut weight: f64, mut stands: Stands, best: &mut f64, results: &mut Vec<Account>) {
        let placed = self.lines.iter().flat_map(|line| &line.placed).map(|&(who, _)| who);
        for who in placed {
            if !self.lifted.contains(&who) && stands.iter().all(|stand| stand.who != who) {
                return;
            }
        }
        for &who in self.lifted {
            let Some(stand) = stands.iter().find(|stand| stand.who == who) else { continue };
            if stand.holds.iter().any(|hold| hold.seen && self.stays_filled(hold.section)) {
                weight *= self.scene.prices.lifted_but_filled;
            }
            drop(&mut stands, who);
        }
        for at in 0..stands.len() {
            if self.is_lost(&stands[at]) {
                // A train that people drive may have been taken off without a word. One of ours is never given up like that.
                if stands[at].lost_for > LOST_FOR_LONG && !self.scene.odometers.is_driven(stands[at].who) {
                    let mut without = stands.clone();
                    without.remove(at);
                    results.push(Account { weight: weight * self.scene.prices.taken_off_unheard, stands: without });
                }
                if (1..=LOST_FOR_A_WHILE).contains(&stands[at].lost_for) {
                    weight *= self.scene.prices.stays_lost;
                }
                stands[at].lost_for = stands[at].lost_for.saturating_add(1);
            }
        }
        *best = best.max(weight);
        results.push(Account { weight, stands });
    }

    fn is_lost(&self, stand: &Stand) -> bool {
        stand.is_lost() && !stand.holds.iter().any(|hold| self.scene.topology.is_dark(hold.section))
    }

    fn stays_filled(&self, section: SectionId) -> bool {
        match self.lines.iter().find(|line| line.section == section) {
            Some(line) => line.values.last() == Some(&true),
            None => (self.filled)(section),
        }
    }
}

/// Adds up equal accounts, drops the ones that weigh too little, and makes the rest weigh 1 together. Tells what share was
/// dropped because there were too many.
pub(super) fn settle(accounts: &mut Vec<Account>, given_up: f64) -> f64 {
    if accounts.len() > 1 {
        accounts.sort_by(|a, b| a.stands.cmp(&b.stands));
        accounts.dedup_by(|later, first| {
            let equal = later.stands == first.stands;
            if equal {
                first.weight += later.weight;
                for (one, other) in first.stands.iter_mut().zip(&later.stands) {
                    one.head = one.head.hull(other.head);
                }
            }
            equal
        });
        accounts.sort_by(|a, b| b.weight.total_cmp(&a.weight).then_with(|| a.stands.cmp(&b.stands)));
        let floor = accounts.first().map_or(0.0, |account| account.weight * given_up);
        accounts.retain(|account| account.weight >= floor);
    }
    let dropped: f64 = accounts.iter().skip(ACCOUNTS).map(|account| account.weight).sum();
    accounts.truncate(ACCOUNTS);
    let total: f64 = accounts.iter().map(|account| account.weight).sum();
    for account in accounts.iter_mut() {
        account.weight /= total;
    }
    if total > 0.0 { dropped / total } else { 0.0 }
}

fn pop_best(frontier: &mut Vec<State>) -> Option<State> {
    let mut best = 0;
    for at in 1..frontier.len() {
        if frontier[at].weight > frontier[best].weight {
            best = at;
        }
    }
    (!frontier.is_empty()).then(|| frontier.swap_remove(best))
}

/// Somebody has come to fill a section that was free.
fn fill(
    scene: &Scene<'_>,
    stands: &Stands,
    line: &Line,
    only_placed: bool,
    worth: &Cell<f64>,
    filled: &impl Fn(SectionId) -> bool,
    sink: &mut impl FnMut(Stands, f64),
) {
    for &(who, enter) in &line.placed {
        if stands.iter().all(|stand| stand.who != who) {
            sink(with_new(stands, who, line.section, enter), 1.0);
        }
    }
    if only_placed {
        return;
    }
    for stand in stands {
        scene.reaches(stand, line.section, worth, filled, &mut |stand, price| {
            worth.set(worth.get().max(price * scene.prices.given_up));
            let mut stands = stands.clone();
            put(&mut stands, stand);
            sink(stands, price);
        });
    }
    let price = scene.stranger(line.section);
    if price >= worth.get() && stands.iter().all(|stand| stand.who != line.stranger) {
        sink(with_new(stands, line.stranger, line.section, None), price);
    }
}

/// A section that was filled is reported filled again.
fn fill_again(
    scene: &Scene<'_>,
    stands: &Stands,
    line: &Line,
    this_instant: bool,
    worth: &Cell<f64>,
    filled: &impl Fn(SectionId) -> bool,
    sink: &mut impl FnMut(Stands, f64),
) {
    let section = line.section;
    let Some(holder) = stands.iter().find(|stand| stand.sees(section)) else {
        if line.placed.is_empty() {
            sink(stands.clone(), if this_instant { 1.0 } else { scene.prices.repeat });
        }
        if !this_instant || !line.placed.is_empty() {
            fill(scene, stands, line, !line.placed.is_empty(), worth, filled, sink);
        }
        return;
    };
    // What is left of the holder if the section emptied unheard meanwhile.
    let mut without = stands.clone();
    let mut rest = holder.clone();
    rest.forget_in(section);
    if rest.holds.is_empty() {
        rest = holder.clone();
        for hold in &mut rest.holds {
            hold.seen = false;
        }
    }
    put(&mut without, rest);
    if let Some(&(who, enter)) = line.placed.last() {
        drop(&mut without, who);
        return sink(with_new(&without, who, section, enter), 1.0);
    }
    sink(stands.clone(), if this_instant { 1.0 } else { scene.prices.repeat });
    if !this_instant {
        let unheard = scene.prices.emptying_unheard;
        let worth = Cell::new(worth.get() / unheard);
        fill(scene, &without, line, false, &worth, filled, &mut |stands, price| sink(stands, price * unheard));
    }
}

fn with_new(stands: &Stands, who: Who, section: SectionId, enter: Option<EndId>) -> Stands {
    let mut stands = stands.clone();
    put(&mut stands, Stand::new(who, Hold { section, enter, seen: true }));
    stands
}
