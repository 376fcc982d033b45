//! N1: a sure tag names the wrong train.
//!
//! A sure tag is right where the named train covers any of the section, seen or unseen, or left it no longer ago than the
//! detector's off-delay, the lateness of its report, and what the signaller keeps an emptying back at most. A tag that comes before its train is wrong at once.

use signaller::{Tag, Time};

use super::{Breach, Checkers, Found, excuses};
use crate::table::Table;

pub(super) fn judge(checkers: &Checkers, now: Time, table: &Table, found: &mut Vec<Found>) {
    for (section, tag) in checkers.said.tags.iter() {
        let Some(Tag::Sure(train)) = *tag else { continue };
        if table.covers(train, section) || excuses::was_named_wrongly(checkers, train) {
            continue;
        }
        let (late, kept_back) = (checkers.emptying_takes(section), checkers.kept_back(section));
        if table.left_at(train, section).is_some_and(|left| now.since(left) <= late) {
            continue;
        }
        let there = match table.trains_in(section) {
            [] => "nothing stands".to_owned(),
            trains => {
                let stand = if trains.len() == 1 { "stands" } else { "stand" };
                let names: Vec<_> = trains.iter().map(|presence| table.body_name(presence.train)).collect();
                format!("{} {stand}", names.join(" and "))
            }
        };
        let (name, place) = (checkers.train_name(train), checkers.section_name(section));
        let sentence = format!("{name} is said for sure to be in {place}, where {there}");
        let excuse = if excuses::nobody_said_it_had_gone(table, train, section, kept_back, now) {
            Some("no report said that it had gone")
        } else if excuses::something_filled_it_just_before(checkers, table, train, section, kept_back, now) {
            Some("something filled the detector just before it")
        } else if excuses::another_came_in_unseen(checkers, table, train, section, now) {
            Some("another came in unseen")
        } else {
            None
        };
        let (breach, sentence) = match excuse {
            Some(excuse) => (Breach::EmptyTag(section, train), format!("{sentence}; {excuse}")),
            None => (Breach::Tag(section, train), sentence),
        };
        found.push(Found { breach, train: Some(train), section: Some(section), sentence });
    }
}
