//! What is known, gathered from what the signaller says: for whoever shows it, or asks about it later.
//!
//! A [`Board`] hears every output. What is nobody's news (where a nose is by now, how turnouts lie) it looks up when it is
//! asked to. It holds no knowledge of its own: a board that heard everything from the first step on says what the signaller
//! says.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use smallvec::SmallVec;
use track::routes::Exit;
use track::{
    AccessoryId, Aspect, DistrictId, EndId, InputId, Layout, Length, Lie, LinkId, SectionId, SignalId, Speed, Table,
    TrainId, TurnoutId,
};

use crate::door::{Destination, Direction, Doubt, DoubtId, Fact, Output, RouteStage, Suspect, Tag};
use crate::drive::Advice;
use crate::interlock::Ahead;
use crate::signaller::Signaller;
use crate::time::Time;

/// What a train is about.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Errand {
    /// Where it is going.
    pub to: Option<Destination>,
    /// Where it last arrived.
    pub at: Option<Destination>,
    /// What it waits for.
    pub waits: Option<String>,
    /// Why it is held.
    pub held: Option<String>,
    /// How often it arrived.
    pub trips: u64,
    /// The functions of its decoders that are on.
    pub functions: BTreeSet<u8>,
    /// How fast it is driven: step 0 stands.
    pub step: u8,
    /// Which way it is driven, once it was.
    pub direction: Option<Direction>,
    /// The sections it covers by the likeliest account, tail first, each with the end it was entered by where that is known.
    pub covers: SmallVec<[(SectionId, Option<EndId>); 4]>,
    /// Whether all accounts agree on that.
    pub is_sure: bool,
    /// How far its nose is beyond where it entered the last of them, at least and at most, where lengths say so.
    pub nose: Option<(Length, Length)>,
    /// How fast it is, at least and at most, in the direction of its nose.
    pub speed: Option<(Speed, Speed)>,
    /// How far it may go.
    pub ahead: Option<Ahead>,
    /// Whether a person drives it.
    pub is_by_hand: bool,
    /// How to drive it, where a person does through the signaller.
    pub advice: Option<Advice>,
}

/// A route that was set for whoever comes.
#[derive(Clone, Debug, PartialEq)]
pub struct SetRoute {
    /// Where it ends.
    pub exit: Exit,
    /// How far it has come.
    pub stage: RouteStage,
    /// What it waits for.
    pub waits: Option<String>,
}

/// The picture as the signaller has it.
#[derive(Clone, Debug)]
pub struct Board {
    layout: Arc<Layout>,
    /// How late it is.
    pub now: Time,
    /// What is said of each section; nothing before the first word.
    pub tags: Table<SectionId, Option<Tag>>,
    /// Whom each section is granted to.
    pub granted: Table<SectionId, Option<TrainId>>,
    /// Sections over which no trains are worked, and why.
    pub withdrawn: BTreeMap<SectionId, String>,
    /// What each signal shows.
    pub aspects: Table<SignalId, Aspect>,
    /// Whether the lamps of each signal are lit.
    pub lit: Table<SignalId, bool>,
    /// How each turnout lies; nothing while it moves and where nobody knows.
    pub lies: Table<TurnoutId, Option<Lie>>,
    /// Whether each turnout is locked.
    pub locked: Table<TurnoutId, bool>,
    /// Whether each accessory is on; nothing where that was never said.
    pub accessories: Table<AccessoryId, Option<bool>>,
    /// Whether each input is on; nothing where that is not known.
    pub inputs: Table<InputId, Option<bool>>,
    /// What each train is about.
    pub errands: BTreeMap<TrainId, Errand>,
    /// What is not known, and what would settle it.
    pub doubts: BTreeMap<DoubtId, Doubt>,
    /// Where the power is off, and how that is known.
    pub dark: BTreeMap<Option<DistrictId>, String>,
    /// Links that are down.
    pub down: Vec<LinkId>,
    /// What should be looked at, and why.
    pub suspects: BTreeMap<Suspect, String>,
    /// Routes that are set for whoever comes, by the signal they begin at.
    pub routes: BTreeMap<SignalId, SetRoute>,
}

impl Board {
    /// Nothing is known yet.
    pub fn new(layout: Arc<Layout>) -> Self {
        Self {
            now: Time::ZERO,
            tags: Table::filled(None, layout.sections.len()),
            granted: Table::filled(None, layout.sections.len()),
            withdrawn: BTreeMap::new(),
            aspects: Table::filled(Aspect::STOP, layout.signals.len()),
            lit: Table::filled(true, layout.signals.len()),
            lies: Table::filled(None, layout.turnouts.len()),
            locked: Table::filled(false, layout.turnouts.len()),
            accessories: Table::filled(None, layout.accessories.len()),
            inputs: Table::filled(None, layout.inputs.len()),
            errands: layout.trains.ids().map(|train| (train, Errand::default())).collect(),
            doubts: BTreeMap::new(),
            dark: BTreeMap::new(),
            down: Vec::new(),
            suspects: BTreeMap::new(),
            routes: BTreeMap::new(),
            layout,
        }
    }

    /// The layout.
    pub fn layout(&self) -> &Arc<Layout> {
        &self.layout
    }

    /// Takes in what was said.
    pub fn hear(&mut self, now: Time, outputs: &[Output]) {
        self.now = now;
        for output in outputs {
            match output {
                Output::Drive { train, direction, step } => {
                    let errand = self.errand(*train);
                    (errand.step, errand.direction) = (*step, Some(*direction));
                }
                Output::EmergencyStop { train } => self.errand(*train).step = 0,
                Output::Function { train, number, on } => {
                    let functions = &mut self.errand(*train).functions;
                    let _ = if *on { functions.insert(*number) } else { functions.remove(number) };
                }
                Output::Accessory { accessory, on } => self.accessories[*accessory] = Some(*on),
                Output::Throw { .. } | Output::Power { .. } => {}
                Output::Show { signal, aspect } => self.aspects[*signal] = *aspect,
                Output::Light { signal, lit } => self.lit[*signal] = *lit,
                Output::Fact(fact) => self.learn(fact),
            }
        }
    }

    /// Looks up what is nobody's news: how turnouts lie, and where trains are by now.
    pub fn look(&mut self, now: Time, signaller: &Signaller) {
        self.now = now;
        for turnout in self.layout.turnouts.ids() {
            self.lies[turnout] = signaller.interlock().lie(turnout);
            self.locked[turnout] = signaller.interlock().is_locked(turnout);
        }
        let (interlock, identity) = (signaller.interlock(), signaller.identity());
        for (&train, errand) in &mut self.errands {
            let whereabouts = identity.whereabouts(train, now);
            let holds = whereabouts.iter().flat_map(|whereabouts| &whereabouts.footprint);
            errand.covers = holds.map(|hold| (hold.section, hold.enter)).collect();
            errand.is_sure = whereabouts.as_ref().is_some_and(|whereabouts| whereabouts.sure);
            errand.nose = whereabouts.and_then(|whereabouts| whereabouts.nose).map(|nose| (nose.least, nose.most));
            let pace = signaller.drive().pace(train);
            errand.speed = (!errand.covers.is_empty()).then_some((pace.least, pace.most));
            errand.ahead = interlock.ahead(train, identity, signaller.signals());
            errand.is_by_hand = interlock.is_driven_by_hand(train);
            errand.advice = signaller.advice(train, now);
        }
    }

    /// The section in which the nose of a train is, and the end it was entered by where that is known.
    pub fn nose(&self, train: TrainId) -> Option<(SectionId, Option<EndId>)> {
        self.errands.get(&train)?.covers.last().copied()
    }

    fn learn(&mut self, fact: &Fact) {
        match fact {
            Fact::Tagged { section, tag } => self.tags[*section] = Some(tag.clone()),
            Fact::RouteSet { train, sections } => {
                for &section in sections {
                    self.granted[section] = Some(*train);
                }
                self.errand(*train).waits = None;
            }
            Fact::SectionReleased { section, .. } => self.granted[*section] = None,
            Fact::Withdrawn { section, because } => {
                self.withdrawn.insert(*section, because.clone());
            }
            Fact::InService { section } => {
                self.withdrawn.remove(section);
            }
            Fact::RouteStage { entry, stage: RouteStage::Released, .. } => {
                self.routes.remove(entry);
            }
            Fact::RouteStage { entry, exit, stage } => {
                self.routes.insert(*entry, SetRoute { exit: *exit, stage: *stage, waits: None });
            }
            Fact::RouteWaiting { entry, reason } => {
                if let Some(route) = self.routes.get_mut(entry) {
                    route.waits = Some(reason.clone());
                }
            }
            Fact::DoubtRaised { doubt, about } => {
                self.doubts.insert(*doubt, about.clone());
            }
            Fact::DoubtCleared { doubt, .. } => {
                self.doubts.remove(doubt);
            }
            Fact::PowerLost { district, because } => {
                self.dark.insert(*district, because.clone());
            }
            Fact::PowerBack { district } => {
                self.dark.remove(district);
            }
            Fact::LinkLost { link } if !self.down.contains(link) => self.down.push(*link),
            Fact::LinkBack { link } => self.down.retain(|other| other != link),
            Fact::InputIs { input, on } => self.inputs[*input] = *on,
            Fact::Suspected { suspect, because } => {
                self.suspects.insert(*suspect, because.clone());
            }
            _ => self.learn_of_train(fact),
        }
    }

    fn learn_of_train(&mut self, fact: &Fact) {
        match fact {
            Fact::Departed { train, to } => {
                let errand = self.errand(*train);
                (errand.to, errand.at, errand.waits) = (Some(*to), None, None);
            }
            Fact::Arrived { train, at } => {
                let errand = self.errand(*train);
                (errand.to, errand.at, errand.waits) = (None, Some(*at), None);
                errand.trips += 1;
            }
            Fact::Waiting { train, reason } => self.errand(*train).waits = Some(reason.clone()),
            Fact::HoldSet { train, reason } => self.errand(*train).held = Some(reason.clone()),
            Fact::HoldLifted { train } => self.errand(*train).held = None,
            _ => {}
        }
    }

    fn errand(&mut self, train: TrainId) -> &mut Errand {
        self.errands.entry(train).or_default()
    }
}

#[cfg(test)]
mod tests {
    use track::{Builder, Id, Scale};

    use super::*;

    fn board() -> Board {
        let mut line = Builder::new("Siding", Scale::UNKNOWN);
        line.plain_section("quay-1", None);
        line.train(track::Train::stranger("Heron"));
        Board::new(Arc::new(line.build()))
    }

    #[test]
    fn a_doubt_stands_on_the_board_until_it_is_settled() {
        let mut board = board();
        let section = SectionId::from_index(0);
        let doubt = DoubtId(3);
        let about = Doubt {
            trains: vec![TrainId::from_index(0)],
            sections: vec![section],
            alternatives: vec!["it is not there".to_owned()],
            settled_by: "look".to_owned(),
            roll_call: None,
        };
        board.hear(Time::from_millis(5), &[Output::Fact(Fact::DoubtRaised { doubt, about: about.clone() })]);
        assert_eq!(board.doubts.get(&doubt), Some(&about));
        let by = "somebody looked".to_owned();
        board.hear(Time::from_millis(9), &[Output::Fact(Fact::DoubtCleared { doubt, by })]);
        assert!(board.doubts.is_empty());
        assert_eq!(board.now, Time::from_millis(9));
    }

    #[test]
    fn a_train_that_arrived_is_on_the_way_no_more() {
        let mut board = board();
        let (train, place) = (TrainId::from_index(0), Destination::Section(SectionId::from_index(0)));
        board.hear(Time::ZERO, &[Output::Fact(Fact::Departed { train, to: place })]);
        assert_eq!(board.errands[&train].to, Some(place));
        board.hear(Time::ZERO, &[Output::Fact(Fact::Arrived { train, at: place })]);
        let errand = &board.errands[&train];
        assert_eq!((errand.to, errand.at, errand.trips), (None, Some(place), 1));
    }
}
