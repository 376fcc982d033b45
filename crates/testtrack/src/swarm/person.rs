//! A helpful person: answers what the signaller asks, truthfully, by looking at the table.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use signaller::{Answer, Direction, Fact, Output, Request, Tag, Ticket, Time};
use track::{SectionId, TrainId};

use super::watch::Watch;
use crate::random::Stream;
use crate::session::{Desk, Moment};
use crate::table::Table;

/// How long a question must have been open before somebody helps, and how long until they do again.
const PATIENCE: Duration = Duration::from_secs(60);

/// How often somebody looks.
const LOOKS_EVERY: Duration = Duration::from_secs(10);

/// Somebody who helps.
#[derive(Debug)]
pub(super) struct Person {
    stream: Stream,
    looks_at: Time,
    /// Since when a section, or a train, wants help.
    sections: BTreeMap<SectionId, Time>,
    trains: BTreeMap<TrainId, Time>,
    /// The trains that the signaller was told somebody drives by hand.
    taken_over: BTreeSet<TrainId>,
    /// What was asked for about that and not answered yet.
    asked: BTreeMap<Ticket, Request>,
    calls_at: Time,
}

impl Person {
    pub(super) fn new(seed: u64) -> Self {
        Self {
            stream: Stream::labelled(seed, "person"),
            looks_at: Time::ZERO,
            sections: BTreeMap::new(),
            trains: BTreeMap::new(),
            taken_over: BTreeSet::new(),
            asked: BTreeMap::new(),
            calls_at: Time::ZERO,
        }
    }

    pub(super) fn hear(&mut self, moment: &Moment<'_>, watch: &Watch, desk: &mut Desk) {
        for output in moment.outputs {
            if let Output::Fact(Fact::Answered { ticket, answer }) = output {
                self.hear_answer(*ticket, answer);
            }
        }
        if self.looks_at <= moment.now {
            self.looks_at = moment.now + LOOKS_EVERY;
            self.give_back(moment.table, desk);
            self.look(moment.now, moment.table, watch, desk);
        }
        desk.call_at(self.looks_at);
    }

    fn look(&mut self, now: Time, table: &Table, watch: &Watch, desk: &mut Desk) {
        let unsure = |tag: &Option<Tag>| matches!(tag, Some(Tag::Doubt(_) | Tag::Unexplained));
        let mut sections: Vec<_> =
            watch.tags.iter().filter(|(_, tag)| unsure(tag)).map(|(section, _)| section).collect();
        let mut trains: Vec<_> = watch.holds.keys().copied().collect();
        for open in watch.doubts.values() {
            sections.extend(&open.about.sections);
            trains.extend(&open.about.trains);
        }
        trains.extend(&watch.nose_unknown);
        self.sections.retain(|section, _| sections.contains(section));
        self.trains.retain(|train, _| trains.contains(train));
        for section in sections {
            if now.since(*self.sections.entry(section).or_insert(now)) >= PATIENCE {
                self.sections.insert(section, now);
                self.answer_section(section, table, desk);
            }
        }
        for train in trains {
            if now.since(*self.trains.entry(train).or_insert(now)) >= PATIENCE {
                self.trains.insert(train, now);
                if watch.nose_unknown.contains(&train) && !table.is_driven_by_hand(train) {
                    place(train, table, desk);
                } else {
                    self.answer_train(train, table, watch, desk);
                }
            }
        }
        let roll_call = watch.doubts.values().find(|open| now.since(open.since) >= PATIENCE);
        if let Some(open) = roll_call.filter(|_| now.since(self.calls_at) >= PATIENCE) {
            self.calls_at = now;
            if self.stream.below(3) == 0 {
                let _: Ticket = desk.request(Request::RollCall { train: open.about.roll_call });
            }
        }
    }

    /// Says which train stands in a section, or where it really stands, or that nothing does. Of two one is taken out of it: nobody
    /// could tell them apart.
    fn answer_section(&mut self, section: SectionId, table: &Table, desk: &mut Desk) {
        let present = table.trains_in(section);
        if present.iter().any(|presence| table.is_wrecked(presence.train)) {
            // That is cleared first.
            return;
        }
        if present.is_empty() {
            let _: Ticket = desk.request(Request::FoundEmpty { section });
            return;
        }
        let present = present.iter().map(|presence| presence.train);
        let standing: Vec<_> = present.filter(|&train| table.layout().trains.get(train).is_some()).collect();
        if let [train, _, ..] = standing[..] {
            return desk.take_from_others(train);
        }
        if let Some(&train) = self.stream.one_of(&standing) {
            if self.stream.below(2) == 0 {
                let _: Ticket = desk.request(Request::Identify { section, train });
            } else {
                place(train, table, desk);
            }
        }
    }

    fn hear_answer(&mut self, ticket: Ticket, answer: &Answer) {
        match (self.asked.remove(&ticket), answer) {
            (Some(Request::TakeOver { train }), Answer::Accepted) => self.taken_over.insert(train),
            (Some(Request::HandBack { train }), Answer::Accepted) => self.taken_over.remove(&train),
            _ => false,
        };
    }

    /// Gives back every train that nobody drives by hand any more, and says where it stands.
    fn give_back(&mut self, table: &Table, desk: &mut Desk) {
        for &train in &self.taken_over {
            if !table.is_driven_by_hand(train) && table.speed(train).um() == 0 {
                place(train, table, desk);
                let request = Request::HandBack { train };
                self.asked.insert(desk.request(request.clone()), request);
            }
        }
    }

    /// Says where a train stands, or that it is gone, or that somebody drives it by hand; or, where the signaller is right about it,
    /// lets it go. Takes it out of a section in which another one is.
    fn answer_train(&mut self, train: TrainId, table: &Table, watch: &Watch, desk: &mut Desk) {
        if table.is_wrecked(train) {
            // That is cleared first.
            return;
        }
        if table.is_driven_by_hand(train) {
            let request = Request::TakeOver { train };
            self.asked.insert(desk.request(request.clone()), request);
            return;
        }
        let mut tagged =
            watch.tags.iter().filter(|(_, tag)| **tag == Some(Tag::Sure(train))).map(|(section, _)| section).peekable();
        let is_right = tagged.peek().is_some() && tagged.all(|section| table.covers(train, section));
        if table.stands_with_another(train) {
            desk.take_from_others(train);
        } else if !table.is_on_table(train) {
            let _: Ticket = desk.request(Request::Lift { train });
        } else if is_right && watch.holds.contains_key(&train) && self.stream.below(2) == 0 {
            let _: Ticket = desk.request(Request::Release { train });
        } else {
            place(train, table, desk);
        }
    }
}

/// Says where a train stands. Nobody can say that of one that moves.
fn place(train: TrainId, table: &Table, desk: &mut Desk) {
    if table.speed(train).um() == 0 {
        let on = table.footprint(train).to_vec();
        let _: Ticket = desk.request(Request::Place { train, on, nose: table.points_at(train, Direction::Forward) });
    }
}
