//! What happens to trains by itself and by people's hands: when, to whom, and what comes of it later.
//!
//! [`Hands`] is an agenda: deeds with the time they are due. A fault that happens by the hour has one deed on it that draws
//! whom it befalls, does it, and puts down when it happens next. What people say of it to the signaller is a *word*: a request
//! that is put into words only when it is said, so that it is true then; one that is refused is said again a few times.
//!
//! Where no fault is asked for the agenda is empty, and nothing of this costs anything.

mod deeds;
mod draw;
mod heal;
mod misthrow;
mod people;
mod shunting;
mod sight;
mod throttle;

use std::collections::btree_map::OccupiedEntry;
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use signaller::{Answer, Fact, Input, Output, Request, Ticket, Time};
use track::{Id, TrainId, TurnoutId};

use crate::faults::{Fault, Faults};
use crate::random::Stream;
use crate::settings::Settings;
use crate::table::Table;

pub use misthrow::Misthrow;
use people::Parked;
pub use people::{Return, Talk};
use throttle::Driver;

/// Tickets of what people at the table say count up from here, clear of those that a desk gives out.
const FIRST_TICKET: u64 = 1 << 40;

/// How often something is said anew that was refused, and how long people wait before they do.
const TRIES: u32 = 12;
const SAID_ANEW_AFTER: Duration = Duration::from_secs(5);
/// Whoever is refused time and again tries it once more so much later.
const INSISTS_AFTER: Duration = Duration::from_secs(30);

/// Something that is to be done on the table.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Deed {
    /// A fault happens, and is due again.
    Strike(Fault),
    /// A locomotive that stalled runs again.
    StallEnds(TrainId),
    /// A locomotive that ran away is itself again.
    RunawayEnds(TrainId),
    /// A locomotive hears what it is told again.
    Hears(TrainId),
    /// A train that was taken off is put down again.
    PutBack(TrainId),
    /// A wagon that nobody knows of is taken off.
    TakeOff(TrainId),
    /// Vehicles that parted are put together with their train again.
    Mend(TrainId),
    /// A train that derailed or collided is set right again.
    SetRight(TrainId),
    /// A train that stands in a section with another one is moved out of it by hand.
    Part(TrainId),
    /// A person at a throttle looks at the track ahead.
    Look(TrainId),
}

/// Something that a person says to the signaller.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Word {
    /// This train is not on the track.
    Lifted(TrainId),
    /// This train stands where it stands.
    Stands(TrainId),
    /// Somebody drives this train.
    TakenOver(TrainId),
    /// Nobody drives this train any more.
    GivenBack(TrainId),
}

/// The agenda, and who is about.
#[derive(Debug)]
pub(crate) struct Hands {
    rates: Faults,
    /// What bodies are like that are no trains: nothing else befalls them.
    settings: Settings,
    streams: Vec<Stream>,
    agenda: BTreeMap<(Time, u64), Deed>,
    words: BTreeMap<(Time, u64), (Word, u32)>,
    said: BTreeMap<Ticket, (Word, u32)>,
    counted: u64,
    parked: BTreeMap<TrainId, Parked>,
    drivers: BTreeMap<TrainId, Driver>,
    /// Trains of which was said that somebody took them over.
    told_of: BTreeSet<TrainId>,
    /// What goes wrong the next time that a turnout is thrown, whatever chance has in mind.
    misthrows: BTreeMap<TurnoutId, Misthrow>,
    /// Trains that a hand moves.
    pushed: BTreeSet<TrainId>,
    are_about: bool,
}

impl Hands {
    pub(crate) fn new(settings: &Settings) -> Self {
        let stream = |fault: Fault| Stream::labelled(settings.seed, &format!("hands {}", fault.name()));
        let mut hands = Self {
            rates: settings.faults.clone(),
            settings: Settings { faults: Faults::NONE, ..settings.clone() },
            streams: Fault::ALL.into_iter().map(stream).collect(),
            agenda: BTreeMap::new(),
            words: BTreeMap::new(),
            said: BTreeMap::new(),
            counted: 0,
            parked: BTreeMap::new(),
            drivers: BTreeMap::new(),
            told_of: BTreeSet::new(),
            misthrows: BTreeMap::new(),
            pushed: BTreeSet::new(),
            are_about: settings.faults != Faults::NONE,
        };
        for fault in [Fault::Pushed, Fault::Lifted, Fault::PutDown, Fault::Parted, Fault::Stall, Fault::Runaway] {
            hands.plan_next(fault, Time::ZERO);
        }
        hands
    }

    /// Whether people are about who set wrecks right.
    pub(crate) fn are_about(&self) -> bool {
        self.are_about
    }

    pub(crate) fn stream(&mut self, fault: Fault) -> &mut Stream {
        &mut self.streams[fault as usize]
    }

    pub(crate) fn draw_ms(&mut self, fault: Fault, least: i64, most: i64) -> Duration {
        Duration::from_millis(self.stream(fault).between(least, most) as u64)
    }

    /// Whether a fault that strikes by chances does so this time. Draws nothing where it never does.
    pub(crate) fn strikes(&mut self, fault: Fault) -> bool {
        let rate = self.rates.rate(fault);
        rate.strikes(self.stream(fault))
    }

    pub(crate) fn plan(&mut self, at: Time, deed: Deed) {
        self.counted += 1;
        self.agenda.insert((at, self.counted), deed);
    }

    fn plan_next(&mut self, fault: Fault, now: Time) {
        let rate = self.rates.rate(fault);
        if let Some(ms) = rate.next_in_ms(self.stream(fault)) {
            self.plan(now + Duration::from_millis(ms as u64), Deed::Strike(fault));
        }
    }

    /// Has something said, some time later.
    pub(crate) fn say(&mut self, at: Time, word: Word) {
        self.counted += 1;
        self.words.insert((at, self.counted), (word, TRIES));
    }

    pub(crate) fn next_due(&self) -> Option<Time> {
        let deed = self.agenda.first_key_value().map(|(&(at, _), _)| at);
        deed.into_iter().chain(self.next_word()).min()
    }

    /// When somebody says something next.
    pub(crate) fn next_word(&self) -> Option<Time> {
        self.words.first_key_value().map(|(&(at, _), _)| at)
    }

    fn take_deed(&mut self, now: Time) -> Option<Deed> {
        self.agenda.first_entry().filter(|entry| entry.key().0 <= now).map(OccupiedEntry::remove)
    }

    fn take_word(&mut self, now: Time) -> Option<(Word, u32)> {
        self.words.first_entry().filter(|entry| entry.key().0 <= now).map(OccupiedEntry::remove)
    }

    /// Hears whether what was said is believed; says it again if not.
    pub(crate) fn hear(&mut self, now: Time, output: &Output) {
        let Output::Fact(Fact::Answered { ticket, answer }) = output else { return };
        let Some((word, tries)) = self.said.remove(ticket) else { return };
        // Nobody else can give back a train that this person drove.
        let insists = matches!(word, Word::GivenBack(_));
        if matches!(answer, Answer::Refused(_)) && (tries > 1 || insists) {
            // Whoever wants to give a train back says first where it stands: that is what the refusal advises.
            if let Word::GivenBack(train) = word {
                self.say(now, Word::Stands(train));
            }
            self.counted += 1;
            let (after, left) = if tries > 1 { (SAID_ANEW_AFTER, tries - 1) } else { (INSISTS_AFTER, tries) };
            self.words.insert((now + after, self.counted), (word, left));
        }
    }
}

impl Table {
    /// Does what is due.
    pub(crate) fn do_deeds(&mut self) {
        while let Some(deed) = self.hands.take_deed(self.now()) {
            self.do_deed(deed);
        }
    }

    fn do_deed(&mut self, deed: Deed) {
        match deed {
            Deed::Strike(fault) => {
                self.hands.plan_next(fault, self.now());
                self.befall(fault);
            }
            Deed::StallEnds(train) => self.end_stall(train),
            Deed::RunawayEnds(train) => self.end_runaway(train),
            Deed::Hears(train) => self.end_deafness(train),
            Deed::PutBack(train) => self.put_back(train),
            Deed::TakeOff(wagon) => self.take_wagon_off(wagon),
            Deed::Mend(tail) => self.mend(tail),
            Deed::SetRight(train) => self.set_right(train),
            Deed::Part(train) => self.part_from_others(train),
            Deed::Look(train) => self.look_ahead(train),
        }
    }

    /// Hands over what people say now. What is no longer true is not said.
    pub(crate) fn take_words(&mut self, into: &mut Vec<Input>) {
        while let Some((word, tries)) = self.hands.take_word(self.now()) {
            let Some(request) = self.in_words(word) else { continue };
            if let Word::Stands(train) = word {
                self.is_found(train);
            }
            self.hands.counted += 1;
            let ticket = Ticket(FIRST_TICKET + self.hands.counted);
            self.hands.said.insert(ticket, (word, tries));
            into.push(Input::Requested { ticket, request });
        }
    }

    fn in_words(&self, word: Word) -> Option<Request> {
        match word {
            Word::Lifted(train) => (!self.is_on_table(train)).then_some(Request::Lift { train }),
            Word::Stands(train) => self.place_in_words(train),
            Word::TakenOver(train) => Some(Request::TakeOver { train }),
            Word::GivenBack(train) => Some(Request::HandBack { train }),
        }
    }

    /// Every train of the layout that a fault of motion can befall now: it is on the track and nobody handles it already.
    fn at_large(&self) -> Vec<TrainId> {
        let ids = (0..self.layout().trains.len()).map(TrainId::from_index);
        ids.filter(|&train| {
            let rolling = &self.trains[train];
            let handled = rolling.mischief.push.is_some() || rolling.mischief.by_hand;
            rolling.is_on_table() && !rolling.wrecked && !handled
        })
        .collect()
    }
}
