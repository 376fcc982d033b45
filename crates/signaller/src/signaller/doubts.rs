//! Doubts in plain words: what may be so, what would settle it, and what did.

use track::{DetectorKind, EndId, SectionId, TrainId};

use super::{Conduct, Signaller};
use crate::door::{Direction, Doubt, Fact, Input, Output, Request};
use crate::identity::{Alternative, Doubted, End, Matter, News, Place};
use crate::time::Time;

impl Signaller {
    /// Says which doubts came, changed or went in this step.
    pub(super) fn tell_doubts(&mut self, now: Time, inputs: &[Input]) {
        for news in self.identity.news_of_doubts() {
            let fact = match news {
                News::Raised(doubt, matter) => Fact::DoubtRaised { doubt: *doubt, about: self.in_words(now, matter) },
                News::Cleared(doubt, matter, end) => {
                    Fact::DoubtCleared { doubt: *doubt, by: self.settled_in_words(matter, *end, inputs) }
                }
            };
            self.outputs.push(Output::Fact(fact));
        }
    }

    pub(super) fn in_words(&self, now: Time, matter: &Matter) -> Doubt {
        let mut alternatives: Vec<String> = matter.alternatives.iter().map(|it| self.alternative(it)).collect();
        match matter.doubted() {
            Doubted::Section(section) => {
                alternatives.push(format!("something unknown is in {}", self.section(section)));
                alternatives.push(format!("the detector of {} is wrong", self.section(section)));
            }
            Doubted::OutOfSight(place) => {
                alternatives.push(format!("{} is not there any more", self.train(place.train)));
            }
            Doubted::Trains => {}
        }
        if matter.others > 0 {
            alternatives.push(match matter.others {
                1 => "1 other".to_owned(),
                others => format!("{others} others"),
            });
        }
        if matter.is_strange {
            alternatives.push("something else: what was heard near by can hardly be explained at all".to_owned());
        }
        if matter.is_open_ended {
            alternatives.push("something else: there was too much that might be so to follow all of it".to_owned());
        }
        Doubt {
            trains: matter.trains.to_vec(),
            sections: matter.sections.clone(),
            alternatives,
            settled_by: self.would_settle(matter),
            roll_call: self.would_answer(now, &matter.trains),
        }
    }

    /// The first of some trains that a roll call could find; nothing where people drive.
    fn would_answer(&self, now: Time, trains: &[TrainId]) -> Option<TrainId> {
        let may_move = self.conduct == Conduct::Control;
        may_move.then(|| self.interlock.roll_call_candidate(trains, now, &self.identity, &self.signals)).flatten()
    }

    /// `Heron` stands in `quay-1`, and `Plover` in `shore-2`.
    pub(super) fn alternative(&self, places: &Alternative) -> String {
        let mut words = String::new();
        for (at, place) in places.iter().enumerate() {
            let separator = match at {
                0 => "",
                _ if at + 1 == places.len() => " and ",
                _ => ", ",
            };
            words.push_str(separator);
            words.push_str(&self.place(place));
        }
        words
    }

    fn place(&self, place: &Place) -> String {
        let train = self.train(place.train);
        if place.sections.is_empty() {
            return format!("{train} stands nowhere");
        }
        let sections = self.list(&place.sections, "and");
        let unseen = if place.is_shown { "" } else { " though nothing shows it there" };
        let facing = place.facing.map(|facing| self.facing(facing, &place.sections)).unwrap_or_default();
        format!("{train} stands in {sections}{unseen}{facing}")
    }

    fn facing(&self, (enter, leading): (Option<EndId>, Direction), sections: &[SectionId]) -> String {
        let foremost = match leading {
            Direction::Forward => "its front",
            Direction::Backward => "its rear",
        };
        let leaves = enter.map(|enter| self.layout.ways_from(enter).map(|(_, leave)| leave).collect::<Vec<_>>());
        match leaves.as_deref() {
            Some([leave]) => format!(", {foremost} towards `{}`", self.layout.end_name(*leave)),
            _ => match sections.last() {
                Some(_) => format!(", {foremost} ahead, and which way that points is not known"),
                None => String::new(),
            },
        }
    }

    fn would_settle(&self, matter: &Matter) -> String {
        let mut ways: Vec<String> = Vec::new();
        match matter.doubted() {
            Doubted::Section(section) => {
                ways.push(format!("a person's word which train is in {}, or that nothing is", self.section(section)));
            }
            Doubted::OutOfSight(place) => {
                let train = self.train(place.train);
                ways.push(format!("{train} showing itself in a section near by"));
                ways.push("a person's word where it stands, or that it was taken off".to_owned());
            }
            Doubted::Trains => {
                let telling = matter.told_by_emptying();
                if !telling.is_empty() {
                    ways.push(format!("{} emptying next", self.list(&telling, "or")));
                }
                match matter.told_by_word() {
                    Some(section) => ways.push(format!("a person's word which train is in {}", self.section(section))),
                    None => {
                        let trains: Vec<String> = matter.trains.iter().map(|&train| self.train(train)).collect();
                        ways.push(format!(
                            "a person's word where {} stands and which way it points",
                            trains.join(" or ")
                        ));
                    }
                }
                if matter.is_strange {
                    let trains: Vec<String> = matter.trains.iter().map(|&train| self.train(train)).collect();
                    ways.push(format!("{} doing a few times what it is told", trains.join(" or ")));
                }
                if telling.is_empty() && matter.trains.len() > 1 {
                    ways.push("perhaps the next section that one of them fills".to_owned());
                }
            }
        }
        let readers = self.layout.detectors.values().filter_map(|detector| match detector.kind {
            DetectorKind::Reader(section) if matter.sections.contains(&section) => Some(&detector.name),
            _ => None,
        });
        ways.extend(readers.map(|reader| format!("a reading at `{reader}`")));
        ways.join("; ")
    }

    /// What in this step settled a doubt.
    fn settled_in_words(&self, matter: &Matter, end: End, inputs: &[Input]) -> String {
        match end {
            End::PartOf(older) => return format!("it is part of doubt {} now", older.0),
            End::TakenToBeGone(train) if !inputs.iter().any(is_word) => {
                return format!("{} was not seen for so long that it is taken to be gone", self.train(train));
            }
            _ => {}
        }
        if inputs.iter().any(|input| is_word(input) && self.speaks_of(input, matter)) {
            return "a person said so".to_owned();
        }
        for input in inputs {
            if let Input::TrainRead { detector, train } = input
                && self.speaks_of(input, matter)
            {
                return format!("`{}` read {}", self.layout.detectors[*detector].name, self.train(*train));
            }
        }
        if inputs.iter().any(|input| matches!(input, Input::PowerReported { live: true, .. })) {
            return "power came back".to_owned();
        }
        let edges = &self.batch.edges;
        let near = edges.iter().find(|(section, _)| matter.sections.contains(section)).or_else(|| edges.first());
        match near {
            Some(&(section, true)) => format!("{} filled", self.section(section)),
            Some(&(section, false)) => format!("{} emptied", self.section(section)),
            None if inputs.iter().any(is_word) => "a person said so".to_owned(),
            None => "nothing else fits what was heard".to_owned(),
        }
    }

    /// Whether a word or a reading is of a train or a section in doubt.
    fn speaks_of(&self, input: &Input, matter: &Matter) -> bool {
        let (train, sections): (_, &[SectionId]) = match input {
            Input::Requested { request: Request::Place { train, on, .. }, .. } => (train, on),
            Input::Requested { request: Request::Identify { train, section }, .. } => {
                (train, std::slice::from_ref(section))
            }
            Input::Requested { request: Request::FoundEmpty { section }, .. } => {
                return matter.sections.contains(section);
            }
            Input::Requested { request: Request::Lift { train }, .. } => (train, &[]),
            Input::TrainRead { train, .. } => (train, &[]),
            _ => return false,
        };
        matter.trains.contains(train) || sections.iter().any(|section| matter.sections.contains(section))
    }

    pub(super) fn train(&self, train: TrainId) -> String {
        format!("`{}`", self.roster.name(train))
    }

    pub(super) fn section(&self, section: SectionId) -> String {
        format!("`{}`", self.layout.sections[section].name)
    }

    pub(super) fn list(&self, sections: &[SectionId], joined_by: &str) -> String {
        let names: Vec<String> = sections.iter().map(|&section| self.section(section)).collect();
        match names.split_last() {
            Some((last, others)) if !others.is_empty() => format!("{} {joined_by} {last}", others.join(", ")),
            _ => names.concat(),
        }
    }
}

fn is_word(input: &Input) -> bool {
    let Input::Requested { request, .. } = input else { return false };
    matches!(
        request,
        Request::Place { .. } | Request::Lift { .. } | Request::Identify { .. } | Request::FoundEmpty { .. }
    )
}
