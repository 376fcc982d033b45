//! What people are shown, handed on from one layout to another.

use std::sync::Arc;

use signaller::{Board, Destination, Suspect};
use track::{Layout, Renumbering};

/// A board for another layout, with what is not said again.
pub(super) fn board_for(before: &Board, layout: Arc<Layout>, numbers: &Renumbering) -> Board {
    let mut board = Board::new(layout);
    board.now = before.now;
    for (&suspect, because) in &before.suspects {
        let suspect = match suspect {
            Suspect::Section(section) => numbers.sections[section].map(Suspect::Section),
            Suspect::Train(train) => numbers.trains[train].map(Suspect::Train),
            Suspect::Turnout(turnout) => numbers.turnouts[turnout].map(Suspect::Turnout),
        };
        board.suspects.extend(suspect.map(|suspect| (suspect, because.clone())));
    }
    for (&train, errand) in &before.errands {
        if let Some(now) = numbers.trains.get(train).copied().flatten() {
            let at = match errand.at {
                Some(Destination::Stop(stop)) => numbers.stops[stop].map(Destination::Stop),
                Some(Destination::Section(section)) => numbers.sections[section].map(Destination::Section),
                None => None,
            };
            let going_on = board.errands.entry(now).or_default();
            (going_on.trips, going_on.at) = (errand.trips, at);
            going_on.functions.clone_from(&errand.functions);
        }
    }
    for (id, accessory) in before.accessories.iter() {
        if let Some(now) = numbers.accessories[id] {
            board.accessories[now] = *accessory;
        }
    }
    board
}
