//! The signaller's door: everything that goes in and everything that comes out.
//!
//! Inputs are in the past tense: they happened, and the signaller cannot refuse to have heard them. A wish is a
//! [`Request`], and is answered. Outputs are either desired states of hardware, so that repeating one is harmless, or
//! [`Fact`]s for people and scripts.

use smallvec::SmallVec;
use track::routes::Exit;
use track::{
    AccessoryId, Aspect, DetectorId, DistrictId, EndId, InputId, Layout, Length, Lie, LinkId, SectionId, SignalId,
    StopId, TrainId, TurnoutId,
};

use crate::drive::Lessons;
use crate::time::Time;

/// Something that was heard.
#[derive(Clone, Debug, PartialEq)]
pub enum Input {
    /// An area detector reported.
    SectionReported {
        /// Its section.
        section: SectionId,
        /// Whether it says that something is there.
        occupied: bool,
    },
    /// Something passed a spot detector.
    SpotPassed {
        /// The detector.
        detector: DetectorId,
    },
    /// A reader read a train.
    TrainRead {
        /// The reader.
        detector: DetectorId,
        /// The train it read.
        train: TrainId,
    },
    /// A turnout reported how it lies; nothing while it moves or where the report makes no sense.
    TurnoutReported {
        /// The turnout.
        turnout: TurnoutId,
        /// How it lies.
        lie: Option<Lie>,
    },
    /// A power district was reported live or dark.
    PowerReported {
        /// The district.
        district: DistrictId,
        /// Whether it is live.
        live: bool,
    },
    /// An input was reported on or off.
    InputReported {
        /// The input.
        input: InputId,
        /// Whether it is on.
        on: bool,
    },
    /// A link came up or went down. While it is down nothing is known of what it carries; when it comes up again, what
    /// was heard before is old news until it is reported anew.
    LinkReported {
        /// The link.
        link: LinkId,
        /// Whether it is up.
        up: bool,
    },
    /// Where a train stood when the signaller was last in charge. To be told before anything else is heard; what
    /// detectors say then decides what of it is still so, and until then the train is held.
    TrainRemembered {
        /// The train.
        train: TrainId,
        /// Where it stood.
        memory: Memory,
    },
    /// What was learned of how a train runs when the signaller was last in charge. To be told before the train moves;
    /// what does not fit the train as it is described now ([`Lessons::fits`]) is not taken.
    ProfileRemembered {
        /// The train.
        train: TrainId,
        /// What was learned.
        lessons: Box<Lessons>,
    },
    /// A border signal, beyond the layout, was reported to show this.
    SignalReported {
        /// The signal.
        signal: SignalId,
        /// What it shows.
        shows: Aspect,
    },
    /// A train that the layout does not describe got the next free id.
    TrainNamed {
        /// Its id: one more than the highest so far.
        train: TrainId,
        /// Its name.
        name: String,
    },
    /// Somebody wishes something.
    Requested {
        /// Comes back in the answer.
        ticket: Ticket,
        /// What is wished.
        request: Request,
    },
    /// The time asked for by [`Step::wake_at`] came.
    Woke,
}

impl Input {
    /// Whether what reports is a part of the layout. What people ask for is answered whatever it is about.
    pub fn is_of(&self, layout: &Layout) -> bool {
        match self {
            Self::SectionReported { section, .. } => layout.sections.get(*section).is_some(),
            Self::SpotPassed { detector } | Self::TrainRead { detector, .. } => {
                layout.detectors.get(*detector).is_some()
            }
            Self::TurnoutReported { turnout, .. } => layout.turnouts.get(*turnout).is_some(),
            Self::PowerReported { district, .. } => layout.districts.get(*district).is_some(),
            Self::InputReported { input, .. } => layout.inputs.get(*input).is_some(),
            Self::LinkReported { link, .. } => layout.links.get(*link).is_some(),
            Self::SignalReported { signal, .. } => layout.signals.get(*signal).is_some(),
            Self::TrainRemembered { .. }
            | Self::ProfileRemembered { .. }
            | Self::TrainNamed { .. }
            | Self::Requested { .. }
            | Self::Woke => true,
        }
    }
}

/// Where a train stood, kept from one run of the signaller to the next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Memory {
    /// The sections it covered, tail first.
    pub on: Vec<SectionId>,
    /// Sections beside these that read free and into which its ends may have reached all the same: no detector sees
    /// them.
    pub hidden: Vec<SectionId>,
    /// The end that its nose pointed at, where that was known.
    pub nose: Option<EndId>,
    /// Which way its nose points, as the train sees it.
    pub leading: Direction,
    /// Whether all accounts agreed on that.
    pub sure: bool,
    /// Where along its section the nose was; nothing where the train may have been moving, or nobody knew.
    pub stood: Option<StoodWithin>,
}

/// How far beyond the entry of its section the nose of a train was that stood.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct StoodWithin {
    /// At least.
    pub least: Length,
    /// At most.
    pub most: Length,
}

/// Joins a request to its answer. The shell makes them unique.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Ticket(pub u64);

/// A wish of a person or a script.
#[derive(Clone, Debug, PartialEq)]
pub enum Request {
    /// A train was put down, or is said to stand, here.
    Place {
        /// The train.
        train: TrainId,
        /// The sections it stands on, tail first.
        on: Vec<SectionId>,
        /// The end that its front points at, where that was said.
        nose: Option<EndId>,
    },
    /// A train was taken off the track.
    Lift {
        /// The train.
        train: TrainId,
    },
    /// A person, or a script that saw it, says which train is in a section.
    Identify {
        /// The section.
        section: SectionId,
        /// The train that is there.
        train: TrainId,
    },
    /// A person looked, and nothing stands in a section.
    FoundEmpty {
        /// The section.
        section: SectionId,
    },
    /// Two trains that stand next to each other were coupled: from now on they are one.
    Couple {
        /// The train whose name is kept.
        train: TrainId,
        /// The train that is part of it from now on.
        with: TrainId,
    },
    /// A train that stands was uncoupled: from now on it is two.
    Uncouple {
        /// The train. It keeps its foremost vehicles.
        train: TrainId,
        /// How many.
        keep: usize,
        /// The train that the others are from now on: one that stands nowhere.
        rest: TrainId,
    },
    /// It is to be found out who is where, by moving one train a little and seeing which section answers.
    RollCall {
        /// The train to move; nothing where the signaller is to choose.
        train: Option<TrainId>,
    },
    /// A person takes a train over and drives it at a throttle of their own.
    TakeOver {
        /// The train.
        train: TrainId,
    },
    /// A person gives a train back that they drove.
    HandBack {
        /// The train. It must stand, unless it is driven at a throttle through the signaller.
        train: TrainId,
    },
    /// A person drives a train at a throttle through the signaller from now on. The throttle is closed at first.
    TakeThrottle {
        /// The train.
        train: TrainId,
        /// Whether they let it be kept back.
        protection: Protection,
    },
    /// A person who drives a train through the signaller sets the throttle.
    SetThrottle {
        /// The train.
        train: TrainId,
        /// Which way, as the train sees it.
        direction: Direction,
        /// Speed step; 0 stands.
        step: u8,
    },
    /// A train is to go somewhere by any free path.
    Go {
        /// The train.
        train: TrainId,
        /// Where to.
        to: Destination,
    },
    /// A train is to stop where it safely can, and give up its destination.
    Stop {
        /// The train.
        train: TrainId,
    },
    /// Trains are to stop as quickly as they can, whatever that does to couplings, and to be held: one or those of a region until
    /// they are released, all of them until [`Request::ResumeAll`].
    EmergencyStop {
        /// Which.
        of: Extent,
    },
    /// The power is to be cut.
    CutPower {
        /// The district.
        district: DistrictId,
    },
    /// Power that was cut is to be switched on again.
    RestorePower {
        /// The district.
        district: DistrictId,
    },
    /// A function of a train's decoders is to be on or off, until a rule of the train says otherwise.
    SwitchFunction {
        /// The train.
        train: TrainId,
        /// Its number.
        number: u8,
        /// Whether it is to be on.
        on: bool,
    },
    /// An accessory is to be on or off.
    SwitchAccessory {
        /// The accessory.
        accessory: AccessoryId,
        /// Whether it is to be on.
        on: bool,
    },
    /// A person works an input by hand: on a pretend table, or where nothing else reports it.
    WorkInput {
        /// The input.
        input: InputId,
        /// Whether it is on from now on.
        on: bool,
    },
    /// Every train is to stop at once and be held.
    StopAll,
    /// The hold that [`Request::StopAll`] set on every train is lifted.
    ResumeAll,
    /// A train is held until released.
    Hold {
        /// The train.
        train: TrainId,
        /// Why, in plain words.
        reason: String,
    },
    /// A hold set by [`Request::Hold`] is lifted.
    Release {
        /// The train.
        train: TrainId,
    },
    /// A train is to run no faster than at a speed step, whatever else would allow; or no longer.
    LimitStep {
        /// The train.
        train: TrainId,
        /// The step, at least 1; nothing where that ends.
        step: Option<u8>,
    },
    /// What was learned of how a train runs is to be forgotten. It must stand.
    ForgetProfile {
        /// The train.
        train: TrainId,
    },
    /// A turnout is to be thrown.
    Throw {
        /// The turnout.
        turnout: TurnoutId,
        /// How it shall lie.
        lie: Lie,
    },
    /// A route is to be set for whoever comes, and its signal cleared.
    SetRoute {
        /// The signal it begins at.
        entry: SignalId,
        /// Where it ends.
        exit: Exit,
        /// Sections it shall pass, where several routes lead there.
        via: Vec<SectionId>,
    },
    /// The route that is set from a signal is to be cancelled.
    CancelRoute {
        /// The signal.
        entry: SignalId,
    },
    /// No trains are to be worked over a section until it is put in service again.
    TakeOutOfService {
        /// The section.
        section: SectionId,
        /// Why, in plain words.
        reason: String,
    },
    /// Trains are to be worked again over a section that was out of service.
    PutInService {
        /// The section.
        section: SectionId,
    },
    /// A person takes over sections, with their turnouts and the trains that stand there.
    HandRegionOver {
        /// The sections.
        sections: Vec<SectionId>,
        /// Who takes them over, in words.
        to: String,
    },
    /// Sections that a person took over are the signaller's again.
    TakeRegionBack {
        /// The sections.
        sections: Vec<SectionId>,
    },
    /// A person keeps a signal at danger, or lets it go.
    KeepAtDanger {
        /// The signal.
        signal: SignalId,
        /// Whether it is kept.
        held: bool,
    },
    /// A train is to be called on past a signal at danger into occupied track, on sight; or no longer. It holds for one
    /// train.
    CallOn {
        /// The signal.
        signal: SignalId,
        /// Whether it is called on.
        wanted: bool,
    },
}

/// Whether a train that a person drives is braked when it would pass the end of its authority, or be too fast.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub enum Protection {
    /// It is not: the person is only told.
    Off,
    /// It is.
    On,
}

/// Which trains an emergency stop is for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Extent {
    /// This one.
    Train(TrainId),
    /// Every one that is, may be or is about to be in one of these sections.
    Region(Vec<SectionId>),
    /// All.
    Everything,
}

/// Where a train is to go.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub enum Destination {
    /// A stopping point.
    Stop(StopId),
    /// Anywhere in a section: as far in as it may go.
    Section(SectionId),
}

/// The complete result of one step.
#[derive(Debug)]
pub struct Step<'a> {
    /// What came of it, in order.
    pub outputs: &'a [Output],
    /// When the signaller wants to be woken if nothing is heard before.
    pub wake_at: Option<Time>,
}

/// What comes out.
#[derive(Clone, Debug, PartialEq)]
pub enum Output {
    /// A train shall be driven so.
    Drive {
        /// The train.
        train: TrainId,
        /// Which way, as the train sees it.
        direction: Direction,
        /// Speed step; 0 stands.
        step: u8,
    },
    /// A train shall stand as soon as it can, and not along its braking curve: in digital command control, the emergency stop.
    EmergencyStop {
        /// The train.
        train: TrainId,
    },
    /// A function of a train's decoder shall be on, or off.
    Function {
        /// The train.
        train: TrainId,
        /// Its number.
        number: u8,
        /// Whether it shall be on.
        on: bool,
    },
    /// A power district shall be live, or dark.
    Power {
        /// The district.
        district: DistrictId,
        /// Whether it shall be live.
        live: bool,
    },
    /// An accessory shall be on, or off.
    Accessory {
        /// The accessory.
        accessory: AccessoryId,
        /// Whether it shall be on.
        on: bool,
    },
    /// A turnout shall lie so.
    Throw {
        /// The turnout.
        turnout: TurnoutId,
        /// How it shall lie.
        lie: Lie,
    },
    /// A signal shall show this.
    Show {
        /// The signal.
        signal: SignalId,
        /// The aspect.
        aspect: Aspect,
    },
    /// A signal's lamps shall be lit, or dark because no train is near: said of signals that are lit on approach only.
    /// What it would show is said as of any other.
    Light {
        /// The signal.
        signal: SignalId,
        /// Whether its lamps are lit.
        lit: bool,
    },
    /// Something is so now.
    Fact(Fact),
}

/// Which way a train moves, as it sees it itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
pub enum Direction {
    /// Its first vehicle leads.
    Forward,
    /// Its last vehicle leads.
    Backward,
}

impl Direction {
    /// The other one.
    pub fn other(self) -> Self {
        match self {
            Self::Forward => Self::Backward,
            Self::Backward => Self::Forward,
        }
    }
}

/// How far a route has come that was set for whoever comes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
pub enum RouteStage {
    /// All of it is locked, and its turnouts are on their way.
    Called,
    /// Its turnouts are proved, and its signal may clear.
    Cleared,
    /// The same, and somebody may have seen that.
    ApproachLocked,
    /// A train came in: its signal is at stop again, and it is released behind the train.
    Used,
    /// It was cancelled: its signal is at stop, and it is released at once, or in some time if somebody may have seen it cleared.
    Cancelled,
    /// Nothing of it is locked any more.
    Released,
}

impl RouteStage {
    /// Whether its signal may show more than stop.
    pub fn is_cleared(self) -> bool {
        matches!(self, Self::Cleared | Self::ApproachLocked)
    }
}

/// Something for people and scripts to know.
#[derive(Clone, Debug, PartialEq)]
pub enum Fact {
    /// What is said of a section changed.
    Tagged {
        /// The section.
        section: SectionId,
        /// What is said of it now.
        tag: Tag,
    },
    /// A train was granted the track up to a place.
    RouteSet {
        /// The train.
        train: TrainId,
        /// The sections granted, in order.
        sections: Vec<SectionId>,
    },
    /// A section was given back behind a train, or because its grant was cancelled.
    SectionReleased {
        /// The train.
        train: TrainId,
        /// The section.
        section: SectionId,
    },
    /// A route that was set for whoever comes has come so far.
    RouteStage {
        /// The signal it begins at.
        entry: SignalId,
        /// Where it ends.
        exit: Exit,
        /// How far.
        stage: RouteStage,
    },
    /// A route that was called cannot be cleared yet.
    RouteWaiting {
        /// The signal it begins at.
        entry: SignalId,
        /// For what it waits, in plain words.
        reason: String,
    },
    /// No trains are worked over a section from now on.
    Withdrawn {
        /// The section.
        section: SectionId,
        /// Why, in plain words.
        because: String,
    },
    /// Trains are worked again over a section.
    InService {
        /// The section.
        section: SectionId,
    },
    /// A train began to move towards its destination.
    Departed {
        /// The train.
        train: TrainId,
        /// Where to.
        to: Destination,
    },
    /// A train came to stand at its destination.
    Arrived {
        /// The train.
        train: TrainId,
        /// Where.
        at: Destination,
    },
    /// A train that a person drives is kept back: the throttle asks for more than it may do.
    KeptBack {
        /// The train.
        train: TrainId,
        /// Why, in plain words.
        reason: String,
    },
    /// A train waits for track that it cannot have yet.
    Waiting {
        /// The train.
        train: TrainId,
        /// For what, in plain words.
        reason: String,
    },
    /// A train is held.
    HoldSet {
        /// The train.
        train: TrainId,
        /// Why, in plain words.
        reason: String,
    },
    /// A train is held no more.
    HoldLifted {
        /// The train.
        train: TrainId,
    },
    /// It is not known who is where. Said anew, under the same number, when the alternatives change.
    DoubtRaised {
        /// Its number.
        doubt: DoubtId,
        /// What is not known, and what would settle it.
        about: Doubt,
    },
    /// A doubt is settled.
    DoubtCleared {
        /// Its number.
        doubt: DoubtId,
        /// By what, in plain words.
        by: String,
    },
    /// A power district went dark: trains in it do not move, and what its detectors say means nothing.
    PowerLost {
        /// The district; nothing where the layout describes none, and everything on it goes dark together.
        district: Option<DistrictId>,
        /// How that is known, in plain words.
        because: String,
    },
    /// A power district is live again.
    PowerBack {
        /// The district; nothing where the layout describes none.
        district: Option<DistrictId>,
    },
    /// A link went down: nothing is known of what it carries.
    LinkLost {
        /// The link.
        link: LinkId,
    },
    /// A link is up again, and everything it carries was reported anew.
    LinkBack {
        /// The link.
        link: LinkId,
    },
    /// A detector or a train gives cause to look at it.
    Suspected {
        /// What should be looked at.
        suspect: Suspect,
        /// Why, in plain words.
        because: String,
    },
    /// A train is moved a little to find out where it is.
    RollCallBegan {
        /// The train.
        train: TrainId,
    },
    /// A roll call is over.
    RollCallEnded {
        /// The train that was moved.
        train: TrainId,
        /// The section in which it was found; nothing where it did not show itself.
        found: Option<SectionId>,
    },
    /// Of an input something else is known.
    InputIs {
        /// The input.
        input: InputId,
        /// Whether it is on; nothing where that is not known, because its link is down.
        on: Option<bool>,
    },
    /// Two trains became one.
    Coupled {
        /// The train that goes on.
        train: TrainId,
        /// The train that is part of it.
        with: TrainId,
    },
    /// One train became two.
    Uncoupled {
        /// The train that keeps its name.
        train: TrainId,
        /// The train that the others are.
        rest: TrainId,
    },
    /// A request was answered.
    Answered {
        /// The request's ticket.
        ticket: Ticket,
        /// The answer.
        answer: Answer,
    },
}

/// The answer to a request.
#[derive(Clone, Debug, PartialEq)]
pub enum Answer {
    /// It is done, or will be.
    Accepted,
    /// It will not be done.
    Refused(Refusal),
}

/// Why a request was refused. A value, not an error.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// In plain words: lower case, no full stop.
    pub reason: String,
}

/// Tells doubts apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
pub struct DoubtId(pub u64);

/// A doubt, for people.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Doubt {
    /// The trains of which it is not known where they are.
    pub trains: Vec<TrainId>,
    /// The sections of which it is not known who is there.
    pub sections: Vec<SectionId>,
    /// What may be so, the likeliest first, in plain words.
    pub alternatives: Vec<String>,
    /// What would settle it, in plain words.
    pub settled_by: String,
    /// Whether a roll call would settle it, and of which train.
    pub roll_call: Option<TrainId>,
}

/// What may be at fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Suspect {
    /// The detector of a section, its feed or its track.
    Section(SectionId),
    /// A train's wheels or couplings.
    Train(TrainId),
    /// A turnout or its report.
    Turnout(TurnoutId),
}

/// What is said of a section.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub enum Tag {
    /// Nothing is said to be there. The blind end of a train may be, or what comes after its nose out of a dark
    /// section: no detector tells when that has left, and until it is proved the section is given to nobody else.
    Free,
    /// This train is there, under every surviving account.
    Sure(TrainId),
    /// One of these is there, the likeliest first; the accounts differ.
    Doubt(SmallVec<[TrainId; 4]>),
    /// Something is there, and no account puts a known train there.
    Unexplained,
}
