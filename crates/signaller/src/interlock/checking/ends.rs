//! Whether the end can still be reached from everywhere.
//!
//! The moves between states are noted while they are explored; then, from the states in which every errand is done, everything
//! from which one of them can be reached is found backwards. What is left over are dead ends: from there somebody never arrives,
//! whatever happens next. Moves that only somebody's wish or a failure makes do not count as a way out.

/// The moves that were made, by the keys of states.
#[derive(Debug, Default)]
pub(super) struct Moves {
    states: Vec<u64>,
    over: Vec<u64>,
    /// To where, and from where.
    back: Vec<(u64, u64)>,
}

impl Moves {
    pub(super) fn start(&mut self, state: u64) {
        self.states.push(state);
    }

    /// Takes note of a move. `helps` says whether it counts as a way out, `is_over` whether everybody has arrived then.
    pub(super) fn add(&mut self, from: u64, to: u64, helps: bool, is_over: bool) {
        self.states.push(to);
        if helps {
            self.back.push((to, from));
        }
        if is_over {
            self.over.push(to);
        }
    }

    /// The states from which the end cannot be reached, in order.
    pub(super) fn dead_ends(&mut self) -> Vec<u64> {
        for list in [&mut self.states, &mut self.over] {
            list.sort_unstable();
            list.dedup();
        }
        self.back.sort_unstable();
        self.back.dedup();
        let place = |state: u64| self.states.binary_search(&state).ok();
        let mut alive = vec![false; self.states.len()];
        let mut open = self.over.clone();
        while let Some(state) = open.pop() {
            let Some(place) = place(state) else { continue };
            if std::mem::replace(&mut alive[place], true) {
                continue;
            }
            let first = self.back.partition_point(|&(to, _)| to < state);
            open.extend(self.back[first..].iter().take_while(|&&(to, _)| to == state).map(|&(_, from)| from));
        }
        let dead = self.states.iter().zip(alive).filter(|(_, alive)| !alive);
        dead.map(|(&state, _)| state).collect()
    }
}

#[test]
fn a_state_that_only_leads_on_to_itself_or_by_a_wish_is_a_dead_end() {
    let mut moves = Moves::default();
    moves.start(1);
    for (from, to, helps, is_over) in [
        (1, 2, true, false),
        (2, 9, true, true),
        (1, 3, true, false),
        (3, 4, true, false),
        (4, 3, true, false),
        (4, 1, false, false),
    ] {
        moves.add(from, to, helps, is_over);
    }
    assert_eq!(moves.dead_ends(), [3, 4]);
}
