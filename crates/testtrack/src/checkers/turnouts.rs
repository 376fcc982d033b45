//! N3: a turnout is thrown under a train, a lock or a doubt.
//!
//! Only an order that moves the turnout counts. *Under a train*: one lies on a way that needs the turnout. *Under a lock*: a
//! section whose ways need it is granted to a train. *Under a doubt*: such a section is said to be in doubt or unexplained.

use signaller::{Tag, Time};
use track::{Lie, TurnoutId};

use super::{Checkers, Rule, excuses};
use crate::table::Table;

pub(super) fn check(checkers: &mut Checkers, now: Time, turnout: TurnoutId, lie: Lie, table: &Table) {
    if !table.would_move(turnout, lie) {
        return;
    }
    let name = checkers.layout.turnouts[turnout].name.clone();
    let mut over = table.trains_over(turnout).into_iter();
    if let Some((train, section)) =
        over.find(|&(train, section)| !excuses::nobody_could_see(checkers, table, train, section, None, now))
    {
        let sentence = format!("{name} was thrown under {}", table.body_name(train));
        checkers.report(now, Rule::N3, Some(train), Some(section), sentence);
    }
    for section in checkers.layout.turnouts[turnout].sections.clone() {
        let place = checkers.section_name(section);
        if let Some(&train) = checkers.said.authority[section].first() {
            let sentence = format!("{name} was thrown while {place} was granted to {}", checkers.train_name(train));
            checkers.report(now, Rule::N3, Some(train), Some(section), sentence);
        } else if matches!(checkers.said.tags[section], Some(Tag::Doubt(_) | Tag::Unexplained)) {
            let sentence = format!("{name} was thrown while nobody was sure of what is in {place}");
            checkers.report(now, Rule::N3, None, Some(section), sentence);
        }
    }
}
