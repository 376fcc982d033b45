//! Everything that goes through the signaller's door, as bytes. Numbers of kinds are never used again for another.

use signaller::{
    Answer, Destination, Direction, Doubt, DoubtId, Extent, Fact, Input, Memory, Output, Protection, Refusal, Request,
    RouteStage, StoodWithin, Suspect, Tag, Ticket,
};
use track::routes::Exit;
use track::{
    AccessoryId, Aspect, DetectorId, DistrictId, EndId, Id, InputId, Lie, LinkId, SectionId, SignalId, StopId, TrainId,
    TurnoutId,
};

use super::{Coded, Garbled, fields, kinds};
use crate::entry::Cause;

macro_rules! ids {
    ($($name:ident),*) => {$(
        impl Coded for $name {
            fn put(&self, out: &mut Vec<u8>) {
                (self.index() as u64).put(out);
            }

            fn take(from: &mut &[u8]) -> Result<Self, Garbled> {
                // An id is one more than its place, in 32 bits.
                u32::take(from).ok().filter(|&place| place < u32::MAX).map(|place| Self::from_index(place as usize)).ok_or(Garbled)
            }
        }
    )*};
}

ids!(AccessoryId, DetectorId, DistrictId, EndId, InputId, LinkId, SectionId, SignalId, StopId, TrainId, TurnoutId);

macro_rules! wrapped {
    ($($name:ident),*) => {$(
        impl Coded for $name {
            fn put(&self, out: &mut Vec<u8>) {
                self.0.put(out);
            }

            fn take(from: &mut &[u8]) -> Result<Self, Garbled> {
                Coded::take(from).map(Self)
            }
        }
    )*};
}

wrapped!(Aspect, DoubtId, Ticket);

kinds! {
    Cause {
        0 Start,
        1 Link(link),
        2 Asked { by, key },
        3 Wake,
    }
    Input {
        0 SectionReported { section, occupied },
        1 SpotPassed { detector },
        2 TrainRead { detector, train },
        3 TurnoutReported { turnout, lie },
        4 PowerReported { district, live },
        5 LinkReported { link, up },
        6 TrainRemembered { train, memory },
        7 ProfileRemembered { train, lessons },
        8 SignalReported { signal, shows },
        9 TrainNamed { train, name },
        10 Requested { ticket, request },
        11 Woke,
        12 InputReported { input, on },
    }
    Request {
        0 Place { train, on, nose },
        1 Lift { train },
        2 Identify { section, train },
        3 Couple { train, with },
        4 Uncouple { train, keep, rest },
        5 RollCall { train },
        6 TakeOver { train },
        7 HandBack { train },
        8 Go { train, to },
        9 Stop { train },
        10 StopAll,
        11 ResumeAll,
        12 Hold { train, reason },
        13 Release { train },
        14 LimitStep { train, step },
        15 ForgetProfile { train },
        16 Throw { turnout, lie },
        17 SetRoute { entry, exit, via },
        18 CancelRoute { entry },
        19 TakeOutOfService { section, reason },
        20 PutInService { section },
        21 HandRegionOver { sections, to },
        22 TakeRegionBack { sections },
        23 KeepAtDanger { signal, held },
        24 CallOn { signal, wanted },
        25 TakeThrottle { train, protection },
        26 SetThrottle { train, direction, step },
        27 EmergencyStop { of },
        28 CutPower { district },
        29 RestorePower { district },
        30 SwitchFunction { train, number, on },
        31 SwitchAccessory { accessory, on },
        32 WorkInput { input, on },
        33 FoundEmpty { section },
    }
    Output {
        0 Drive { train, direction, step },
        1 Throw { turnout, lie },
        2 Show { signal, aspect },
        3 Light { signal, lit },
        4 Fact(fact),
        5 EmergencyStop { train },
        6 Power { district, live },
        7 Function { train, number, on },
        8 Accessory { accessory, on },
    }
    Fact {
        0 Tagged { section, tag },
        1 RouteSet { train, sections },
        2 SectionReleased { train, section },
        3 RouteStage { entry, exit, stage },
        4 RouteWaiting { entry, reason },
        5 Withdrawn { section, because },
        6 InService { section },
        7 Departed { train, to },
        8 Arrived { train, at },
        9 Waiting { train, reason },
        10 HoldSet { train, reason },
        11 HoldLifted { train },
        12 DoubtRaised { doubt, about },
        13 DoubtCleared { doubt, by },
        14 PowerLost { district, because },
        15 PowerBack { district },
        16 LinkLost { link },
        17 LinkBack { link },
        18 Suspected { suspect, because },
        19 RollCallBegan { train },
        20 RollCallEnded { train, found },
        21 Coupled { train, with },
        22 Uncoupled { train, rest },
        23 Answered { ticket, answer },
        24 KeptBack { train, reason },
        25 InputIs { input, on },
    }
    Answer { 0 Accepted, 1 Refused(refusal) }
    Destination { 0 Stop(stop), 1 Section(section) }
    Direction { 0 Forward, 1 Backward }
    Extent { 0 Train(train), 1 Region(sections), 2 Everything }
    Exit { 0 Signal(signal), 1 Stop(stop), 2 BufferStop(end), 3 Edge(end) }
    Lie { 0 Straight, 1 Diverging }
    Protection { 0 Off, 1 On }
    RouteStage { 0 Called, 1 Cleared, 2 ApproachLocked, 3 Used, 4 Cancelled, 5 Released }
    Suspect { 0 Section(section), 1 Train(train), 2 Turnout(turnout) }
}

fields! {
    Doubt { trains, sections, alternatives, settled_by, roll_call }
    Refusal { reason }
    StoodWithin { least, most }
}

impl Coded for Memory {
    fn put(&self, out: &mut Vec<u8>) {
        let Self { on, hidden, nose, leading, sure, stood } = self;
        on.put(out);
        hidden.put(out);
        nose.put(out);
        leading.put(out);
        Certainty { sure: *sure, stood: *stood }.put(out);
    }

    fn take(from: &mut &[u8]) -> Result<Self, Garbled> {
        let (on, hidden) = (Coded::take(from)?, Coded::take(from)?);
        let (nose, leading) = (Coded::take(from)?, Coded::take(from)?);
        let Certainty { sure, stood } = Coded::take(from)?;
        Ok(Self { on, hidden, nose, leading, sure, stood })
    }
}

/// Whether a memory is sure, and where the nose stood if that is known: as the first version wrote it where it is not.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Certainty {
    pub(crate) sure: bool,
    pub(crate) stood: Option<StoodWithin>,
}

impl Coded for Certainty {
    fn put(&self, out: &mut Vec<u8>) {
        out.push(u8::from(self.sure) | if self.stood.is_some() { STOOD } else { 0 });
        if let Some(stood) = self.stood {
            stood.put(out);
        }
    }

    fn take(from: &mut &[u8]) -> Result<Self, Garbled> {
        let flags = u8::take(from)?;
        if flags > STOOD | 1 {
            return Err(Garbled);
        }
        let stood = if flags & STOOD == 0 { None } else { Some(Coded::take(from)?) };
        Ok(Self { sure: flags & 1 == 1, stood })
    }
}

/// Where the nose stood comes behind.
const STOOD: u8 = 2;

impl Coded for Tag {
    fn put(&self, out: &mut Vec<u8>) {
        match self {
            Self::Free => out.push(0),
            Self::Sure(train) => {
                out.push(1);
                train.put(out);
            }
            Self::Doubt(trains) => {
                out.push(2);
                super::put_list(trains, out);
            }
            Self::Unexplained => out.push(3),
        }
    }

    fn take(from: &mut &[u8]) -> Result<Self, Garbled> {
        Ok(match u8::take(from)? {
            0 => Self::Free,
            1 => Self::Sure(Coded::take(from)?),
            2 => Self::Doubt(Vec::<TrainId>::take(from)?.into_iter().collect()),
            3 => Self::Unexplained,
            _ => return Err(Garbled),
        })
    }
}
