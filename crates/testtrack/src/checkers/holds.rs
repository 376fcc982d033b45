//! N6: a train moves while held.
//!
//! A train that is held while it runs may brake: it must stand when the time is over that an order takes at most to reach it,
//! that its own brakes need from the speed it has then at most, and two ticks. From then on it must not move until the hold is
//! lifted. An order that was under way may still set a train in motion within that time.

use signaller::Time;
use track::{Speed, TrainId};

use super::{Breach, Checkers, Found};
use crate::settings::TICK;
use crate::table::Table;

pub(super) fn set(checkers: &mut Checkers, now: Time, train: TrainId, table: &Table) {
    if table.is_on_table(train) {
        let stand_by = now + checkers.order_delay + table.time_to_stand(train, checkers.order_delay) + 2 * TICK;
        checkers.said.stand_by.entry(train).or_insert(stand_by);
    }
}

pub(super) fn judge(checkers: &Checkers, now: Time, table: &Table, found: &mut Vec<Found>) {
    for (&train, &stand_by) in &checkers.said.stand_by {
        if now > stand_by && table.speed(train) != Speed::ZERO && !table.is_out_of_hand(train, now) {
            let section = table.nose(train).map(|nose| nose.section);
            let sentence = format!("{} moved while it was held", checkers.train_name(train));
            found.push(Found { breach: Breach::Hold(train), train: Some(train), section, sentence });
        }
    }
}
