//! Why a section has its tag: the accounts there are of it, and what each piece of evidence did to them, in plain words.

use track::SectionId;

use super::Signaller;
use crate::door::Tag;
use crate::identity::{self, Evidence, Note, Possible};
use crate::time::Time;

/// Why a section has its tag.
#[derive(Clone, Debug, PartialEq)]
pub struct Why {
    /// What is said of it.
    pub tag: Tag,
    /// What its detector says, and how far that is relied on.
    pub detector: String,
    /// The accounts that have a train there, and those of the same trains that have not; the likeliest first. None where nothing
    /// is there by any account.
    pub accounts: Vec<Possibility>,
    /// There were too many accounts to follow all of them.
    pub is_open_ended: bool,
    /// What was heard near a train that is there can hardly be explained at all: it is not said for sure to be there, whatever its
    /// share.
    pub is_strange: bool,
    /// What did that, the oldest first; none where nobody called a witness.
    pub findings: Vec<Finding>,
}

/// Something that may be so.
#[derive(Clone, Debug, PartialEq)]
pub struct Possibility {
    /// Its share of belief, up to 1.
    pub share: f64,
    /// In plain words.
    pub words: String,
}

/// What one piece of evidence did.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// When it was taken in.
    pub at: Time,
    /// What it was, in plain words.
    pub evidence: String,
    /// What was believed before, the likeliest first.
    pub before: Vec<Possibility>,
    /// How it can be explained, the likeliest first. None where it only tells accounts apart that there were before.
    pub explanations: Vec<Explanation>,
    /// How many more ways there are to explain it.
    pub others: usize,
    /// What is believed after it.
    pub after: Vec<Possibility>,
}

/// One way to explain a piece of evidence.
#[derive(Clone, Debug, PartialEq)]
pub struct Explanation {
    /// What is so then.
    pub then: Possibility,
    /// It was given up: it weighs too little beside the likeliest.
    pub is_given_up: bool,
    /// How likely it is beside the ordinary course of things, which is 1.
    pub likelihood: f64,
    /// What would have had to happen for it besides the ordinary course of things.
    pub because: Vec<String>,
}

impl Signaller {
    /// From now on it is noted why this section gets its tags, for [`Signaller::why`] to tell. Nothing else changes by that, but
    /// steps take longer.
    pub fn call_witness(&mut self, section: SectionId) {
        self.identity.call_witness(section);
    }

    /// Why the section has its tag.
    pub fn why(&self, section: SectionId) -> Why {
        let (accounts, is_open_ended) = self.identity.possibilities(section);
        Why {
            tag: self.identity.tag(section),
            detector: self.identity.detector_in_words(section).to_owned(),
            accounts: accounts.iter().map(|one| self.possibility(one)).collect(),
            is_open_ended,
            is_strange: self.identity.holders(section).iter().any(|&train| self.identity.is_strange(train)),
            findings: self.identity.notes().map(|note| self.finding(note)).collect(),
        }
    }

    fn finding(&self, note: &Note) -> Finding {
        let all = |told: &[Possible]| told.iter().map(|one| self.possibility(one)).collect();
        Finding {
            at: note.at,
            evidence: self.evidence(&note.evidence),
            before: all(&note.before),
            explanations: note.explanations.iter().map(|one| self.explanation(one)).collect(),
            others: note.others,
            after: all(&note.after),
        }
    }

    fn explanation(&self, explanation: &identity::Explanation) -> Explanation {
        let times = |&(what, times): &(&str, u32)| match times {
            1 => what.to_owned(),
            times => format!("{what}, {times} times"),
        };
        Explanation {
            then: self.possibility(&explanation.then),
            is_given_up: explanation.then.share <= 0.0,
            likelihood: explanation.price,
            because: explanation.because.iter().map(times).collect(),
        }
    }

    fn possibility(&self, one: &Possible) -> Possibility {
        let mut words = self.alternative(&one.places);
        if !one.unknown.is_empty() {
            let separator = if words.is_empty() { "" } else { ", and " };
            words.push_str(&format!("{separator}something unknown is in {}", self.list(&one.unknown, "and")));
        }
        if words.is_empty() {
            words.push_str("nothing is there");
        }
        Possibility { share: one.share, words }
    }

    fn evidence(&self, evidence: &Evidence) -> String {
        match evidence {
            Evidence::Reports(edges, lifted) => {
                let edge = |&(section, filled): &(SectionId, bool)| {
                    format!("{} {}", self.section(section), if filled { "filled" } else { "emptied" })
                };
                let lifted = lifted.iter().map(|&train| format!("{} was taken off", self.train(train)));
                edges.iter().map(edge).chain(lifted).collect::<Vec<_>>().join(", ")
            }
            Evidence::Read(section, train) => format!("{} was read in {}", self.train(*train), self.section(*section)),
            Evidence::Passed(section) => format!("something passed a spot in {}", self.section(*section)),
            Evidence::Said(section, train) => {
                format!("a person said that {} is in {}", self.train(*train), self.section(*section))
            }
            Evidence::FoundEmpty(section) => format!("a person said that nothing is in {}", self.section(*section)),
            Evidence::PutDown(trains) => {
                let names: Vec<String> = trains.iter().map(|&train| self.train(train)).collect();
                format!("a person said where {} stands", names.join(", "))
            }
            Evidence::MadeUp => "trains were coupled or uncoupled".to_owned(),
            Evidence::Suspicion => {
                "one train did not answer, and another moved: they may have been taken for each other".to_owned()
            }
            Evidence::Remembered => "what was remembered was held against what is reported".to_owned(),
        }
    }
}
