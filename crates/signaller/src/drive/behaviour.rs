//! What a train does besides running: it takes a moment to set out, and switches functions of its decoders by rule.

use std::time::Duration;

use smallvec::SmallVec;
use track::{On, Train, TrainId};

use super::{Drive, Wish};
use crate::door::{Direction, Output};
use crate::time::Time;

/// What is kept of that.
#[derive(Clone, Debug, Default, serde::Serialize, serde::Deserialize)]
pub(super) struct Behaviour {
    /// It could set out since then, and does so when it has taken its time.
    sets_out_since: Option<Time>,
    /// It was told to stand then.
    stopped_at: Option<Time>,
    /// The functions that are on.
    on: SmallVec<[u8; 4]>,
}

impl Behaviour {
    /// The train was told a step.
    pub(super) fn note_step(&mut self, step: u8, now: Time) {
        if step == 0 {
            (self.stopped_at, self.sets_out_since) = (Some(now), None);
        }
    }
}

impl Drive {
    /// A train that stands, and that now may go, takes its time before it does.
    pub(super) fn take_time(&mut self, train: TrainId, wish: Wish, described: Option<&Train>, now: Time) -> Wish {
        let delay = described.map_or(Duration::ZERO, |described| described.start_delay);
        let row = self.row(train);
        if row.motion.step > 0 {
            return wish;
        }
        if wish.step == 0 {
            row.behaviour.sets_out_since = None;
            return wish;
        }
        let at = *row.behaviour.sets_out_since.get_or_insert(now) + delay;
        if at <= now {
            return wish;
        }
        self.look_again(train, at);
        Wish { step: 0, is_at_its_end: false, waits: false, ..wish }
    }

    /// Switches what is to be on now, and looks at the train again when that ends.
    pub(super) fn switch(
        &mut self,
        train: TrainId,
        described: Option<&Train>,
        leading: Direction,
        now: Time,
        outputs: &mut Vec<Output>,
    ) {
        let Some(described) = described.filter(|described| !described.functions.is_empty()) else { return };
        let row = self.row(train);
        let (moves, behaviour) = (row.motion.step > 0, row.behaviour.clone());
        let mut again: Option<Time> = None;
        let mut lasts = |since: Option<Time>, lasts| {
            let until = since.map(|since| since + lasts).filter(|&until| until > now);
            again = again.into_iter().chain(until).min();
            until.is_some()
        };
        let mut on: SmallVec<[u8; 4]> = SmallVec::new();
        for function in &described.functions {
            let is_on = match function.on {
                On::Moving => moves,
                On::Standing => !moves,
                On::Forward => leading == Direction::Forward,
                On::Backward => leading == Direction::Backward,
                On::AtStart(so_long) => lasts(behaviour.sets_out_since, so_long),
                On::AtStop(so_long) => lasts(behaviour.stopped_at, so_long),
            };
            if is_on && !on.contains(&function.number) {
                on.push(function.number);
            }
        }
        let off = behaviour.on.iter().filter(|number| !on.contains(number));
        outputs.extend(off.map(|&number| Output::Function { train, number, on: false }));
        let new = on.iter().filter(|number| !behaviour.on.contains(number));
        outputs.extend(new.map(|&number| Output::Function { train, number, on: true }));
        self.row(train).behaviour.on = on;
        if let Some(at) = again {
            self.look_again(train, at);
        }
    }
}
