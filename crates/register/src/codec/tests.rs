//! What becomes bytes comes back as it was, whatever it is; what is no such bytes is refused.

use signaller::drive::{Described, Lessons, SideLessons, TaughtNear, TimedBand};
use signaller::{
    Answer, Destination, Direction, Doubt, DoubtId, Extent, Fact, Input, Memory, Output, Protection, Refusal, Request,
    RouteStage, StoodWithin, Suspect, Tag, Ticket,
};
use track::routes::Exit;
use track::{Aspect, Id, Length, Lie, LinkId, Speed};

use super::*;

/// A small generator (xorshift), so that a seed tells everything.
struct Dice(u64);

impl Dice {
    fn number(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        // As often small as large.
        self.0 >> (self.0 % 64)
    }

    fn below(&mut self, bound: u64) -> u64 {
        self.number() % bound
    }

    fn signed(&mut self) -> i64 {
        self.number().cast_signed().wrapping_mul(if self.yes() { -1 } else { 1 })
    }

    fn yes(&mut self) -> bool {
        self.number() % 2 == 1
    }

    fn id<I: Id>(&mut self) -> I {
        I::from_index(self.below(u64::from(u32::MAX)) as usize)
    }

    fn ids<I: Id>(&mut self) -> Vec<I> {
        (0..self.below(5)).map(|_| self.id()).collect()
    }

    fn maybe<T>(&mut self, thing: impl FnOnce(&mut Self) -> T) -> Option<T> {
        self.yes().then(|| thing(self))
    }

    fn text(&mut self) -> String {
        const LETTERS: [char; 6] = ['a', ' ', '"', '\0', 'ü', '鉄'];
        (0..self.below(20)).map(|_| LETTERS[self.below(6) as usize]).collect()
    }

    fn lie(&mut self) -> Lie {
        if self.yes() { Lie::Straight } else { Lie::Diverging }
    }

    fn direction(&mut self) -> Direction {
        if self.yes() { Direction::Forward } else { Direction::Backward }
    }

    fn protection(&mut self) -> Protection {
        if self.yes() { Protection::On } else { Protection::Off }
    }

    fn exit(&mut self) -> Exit {
        match self.below(4) {
            0 => Exit::Signal(self.id()),
            1 => Exit::Stop(self.id()),
            2 => Exit::BufferStop(self.id()),
            _ => Exit::Edge(self.id()),
        }
    }

    fn destination(&mut self) -> Destination {
        if self.yes() { Destination::Stop(self.id()) } else { Destination::Section(self.id()) }
    }

    fn side(&mut self) -> SideLessons {
        let taught = (0..self.below(17)).map(|_| TaughtNear {
            ratio_billionths: self.signed(),
            weight_millionths: self.signed(),
            runs: self.number() as u32,
        });
        let taught = taught.collect();
        let timed = (0..self.below(25)).map(|_| TimedBand {
            passages: self.number(),
            recent: (0..self.below(6)).map(|_| (self.signed(), self.signed())).collect(),
        });
        SideLessons { taught, timed: timed.collect() }
    }

    fn lessons(&mut self) -> Lessons {
        Lessons {
            described: Described {
                top: Speed::from_um(self.signed()),
                steps: self.number() as u8,
                tolerance_permille: self.signed(),
            },
            forward: self.side(),
            backward: self.side(),
            gathers_um: self.signed(),
            loses_um: self.signed(),
            variances_um: [self.signed(), self.signed(), self.signed()],
            usual_share_billionths: self.signed(),
        }
    }

    fn memory(&mut self) -> Memory {
        Memory {
            on: self.ids(),
            hidden: self.ids(),
            nose: self.maybe(Self::id),
            leading: self.direction(),
            sure: self.yes(),
            stood: None,
        }
    }

    /// An input of the kind with that number.
    fn input(&mut self, kind: u64) -> Input {
        match kind {
            0 => Input::SectionReported { section: self.id(), occupied: self.yes() },
            1 => Input::SpotPassed { detector: self.id() },
            2 => Input::TrainRead { detector: self.id(), train: self.id() },
            3 => Input::TurnoutReported { turnout: self.id(), lie: self.maybe(Self::lie) },
            4 => Input::PowerReported { district: self.id(), live: self.yes() },
            5 => Input::LinkReported { link: self.id(), up: self.yes() },
            6 => Input::TrainRemembered { train: self.id(), memory: self.memory() },
            7 => Input::ProfileRemembered { train: self.id(), lessons: Box::new(self.lessons()) },
            8 => Input::SignalReported { signal: self.id(), shows: Aspect(self.number() as u8) },
            9 => Input::TrainNamed { train: self.id(), name: self.text() },
            10 => Input::Woke,
            46 => Input::InputReported { input: self.id(), on: self.yes() },
            47 => {
                let request = Request::FoundEmpty { section: self.id() };
                Input::Requested { ticket: Ticket(self.number()), request }
            }
            kind => Input::Requested { ticket: Ticket(self.number()), request: self.request(kind - 11) },
        }
    }

    fn request(&mut self, kind: u64) -> Request {
        match kind {
            0 => Request::Place { train: self.id(), on: self.ids(), nose: self.maybe(Self::id) },
            1 => Request::Lift { train: self.id() },
            2 => Request::Identify { section: self.id(), train: self.id() },
            3 => Request::Couple { train: self.id(), with: self.id() },
            4 => Request::Uncouple { train: self.id(), keep: self.number() as usize, rest: self.id() },
            5 => Request::RollCall { train: self.maybe(Self::id) },
            6 => Request::TakeOver { train: self.id() },
            7 => Request::HandBack { train: self.id() },
            8 => Request::Go { train: self.id(), to: self.destination() },
            9 => Request::Stop { train: self.id() },
            10 => Request::StopAll,
            11 => Request::ResumeAll,
            12 => Request::Hold { train: self.id(), reason: self.text() },
            13 => Request::Release { train: self.id() },
            14 => Request::LimitStep { train: self.id(), step: self.maybe(|dice| dice.number() as u8) },
            15 => Request::ForgetProfile { train: self.id() },
            16 => Request::Throw { turnout: self.id(), lie: self.lie() },
            17 => Request::SetRoute { entry: self.id(), exit: self.exit(), via: self.ids() },
            18 => Request::CancelRoute { entry: self.id() },
            19 => Request::TakeOutOfService { section: self.id(), reason: self.text() },
            20 => Request::PutInService { section: self.id() },
            21 => Request::HandRegionOver { sections: self.ids(), to: self.text() },
            22 => Request::TakeRegionBack { sections: self.ids() },
            23 => Request::KeepAtDanger { signal: self.id(), held: self.yes() },
            24 => Request::CallOn { signal: self.id(), wanted: self.yes() },
            25 => Request::TakeThrottle { train: self.id(), protection: self.protection() },
            26 => Request::SetThrottle { train: self.id(), direction: self.direction(), step: self.number() as u8 },
            27 => Request::EmergencyStop { of: Extent::Train(self.id()) },
            28 => Request::EmergencyStop { of: Extent::Region(self.ids()) },
            29 => Request::EmergencyStop { of: Extent::Everything },
            30 => Request::CutPower { district: self.id() },
            31 => Request::RestorePower { district: self.id() },
            32 => Request::SwitchFunction { train: self.id(), number: self.number() as u8, on: self.yes() },
            33 => Request::SwitchAccessory { accessory: self.id(), on: self.yes() },
            _ => Request::WorkInput { input: self.id(), on: self.yes() },
        }
    }

    fn output(&mut self, kind: u64) -> Output {
        match kind {
            0 => Output::Drive { train: self.id(), direction: self.direction(), step: self.number() as u8 },
            1 => Output::Throw { turnout: self.id(), lie: self.lie() },
            2 => Output::Show { signal: self.id(), aspect: Aspect(self.number() as u8) },
            3 => Output::Light { signal: self.id(), lit: self.yes() },
            33 => Output::EmergencyStop { train: self.id() },
            34 => Output::Power { district: self.id(), live: self.yes() },
            36 => Output::Accessory { accessory: self.id(), on: self.yes() },
            37 => Output::Fact(Fact::InputIs { input: self.id(), on: self.maybe(Self::yes) }),
            35 => Output::Function { train: self.id(), number: self.number() as u8, on: self.yes() },
            kind => Output::Fact(self.fact(kind - 4)),
        }
    }

    fn fact(&mut self, kind: u64) -> Fact {
        const STAGES: [RouteStage; 6] = [
            RouteStage::Called,
            RouteStage::Cleared,
            RouteStage::ApproachLocked,
            RouteStage::Used,
            RouteStage::Cancelled,
            RouteStage::Released,
        ];
        match kind {
            0 => Fact::Tagged { section: self.id(), tag: Tag::Free },
            1 => Fact::Tagged { section: self.id(), tag: Tag::Sure(self.id()) },
            2 => Fact::Tagged { section: self.id(), tag: Tag::Doubt(self.ids().into_iter().collect()) },
            3 => Fact::Tagged { section: self.id(), tag: Tag::Unexplained },
            4 => Fact::RouteSet { train: self.id(), sections: self.ids() },
            5 => Fact::SectionReleased { train: self.id(), section: self.id() },
            6 => Fact::RouteStage { entry: self.id(), exit: self.exit(), stage: STAGES[self.below(6) as usize] },
            7 => Fact::RouteWaiting { entry: self.id(), reason: self.text() },
            8 => Fact::Withdrawn { section: self.id(), because: self.text() },
            9 => Fact::InService { section: self.id() },
            10 => Fact::Departed { train: self.id(), to: self.destination() },
            11 => Fact::Arrived { train: self.id(), at: self.destination() },
            12 => Fact::Waiting { train: self.id(), reason: self.text() },
            13 => Fact::HoldSet { train: self.id(), reason: self.text() },
            14 => Fact::HoldLifted { train: self.id() },
            15 => Fact::DoubtRaised { doubt: DoubtId(self.number()), about: self.doubt() },
            16 => Fact::DoubtCleared { doubt: DoubtId(self.number()), by: self.text() },
            17 => Fact::PowerLost { district: self.maybe(Self::id), because: self.text() },
            18 => Fact::PowerBack { district: self.maybe(Self::id) },
            19 => Fact::LinkLost { link: self.id() },
            20 => Fact::LinkBack { link: self.id() },
            21 => Fact::Suspected { suspect: self.suspect(), because: self.text() },
            22 => Fact::RollCallBegan { train: self.id() },
            23 => Fact::RollCallEnded { train: self.id(), found: self.maybe(Self::id) },
            24 => Fact::Coupled { train: self.id(), with: self.id() },
            25 => Fact::Uncoupled { train: self.id(), rest: self.id() },
            26 => Fact::Answered { ticket: Ticket(self.number()), answer: Answer::Accepted },
            27 => {
                let answer = Answer::Refused(Refusal { reason: self.text() });
                Fact::Answered { ticket: Ticket(self.number()), answer }
            }
            _ => Fact::KeptBack { train: self.id(), reason: self.text() },
        }
    }

    fn doubt(&mut self) -> Doubt {
        Doubt {
            trains: self.ids(),
            sections: self.ids(),
            alternatives: (0..self.below(4)).map(|_| self.text()).collect(),
            settled_by: self.text(),
            roll_call: self.maybe(Self::id),
        }
    }

    fn suspect(&mut self) -> Suspect {
        match self.below(3) {
            0 => Suspect::Section(self.id()),
            1 => Suspect::Train(self.id()),
            _ => Suspect::Turnout(self.id()),
        }
    }

    fn cause(&mut self) -> Cause {
        match self.below(4) {
            0 => Cause::Start,
            1 => Cause::Link(self.maybe(Self::id::<LinkId>)),
            2 => Cause::Asked { by: self.text(), key: self.maybe(Self::text) },
            _ => Cause::Wake,
        }
    }

    fn inputs(&mut self) -> Vec<Input> {
        let kinds: Vec<u64> = (0..self.below(6)).map(|_| self.below(NOW.0)).collect();
        kinds.into_iter().map(|kind| self.input(kind)).collect()
    }
}

/// How many kinds of inputs and outputs there were when the format was made, and there are now: later ones are last.
const FIRST: (u64, u64) = (36, 32);
const NOW: (u64, u64) = (48, 38);

/// One of every kind.
fn one_of_each(dice: &mut Dice, (inputs, outputs): (u64, u64)) -> (Vec<Input>, Vec<Output>) {
    ((0..inputs).map(|kind| dice.input(kind)).collect(), (0..outputs).map(|kind| dice.output(kind)).collect())
}

#[test]
fn whatever_is_heard_of_trains_comes_back_as_it_was() {
    for seed in 1..=150 {
        let mut dice = Dice(seed);
        let (inputs, outputs) = one_of_each(&mut dice, NOW);
        assert_eq!(inputs_from_bytes(&inputs_to_bytes(inputs.iter())), Ok(inputs.clone()), "seed {seed}");
        assert_eq!(outputs_from_bytes(&outputs_to_bytes(&outputs)), Ok(outputs), "seed {seed}");
        for _ in 0..20 {
            let inputs = dice.inputs();
            assert_eq!(inputs_from_bytes(&inputs_to_bytes(inputs.iter())), Ok(inputs), "seed {seed}");
            let causes: Vec<Cause> = (0..dice.below(9)).map(|_| dice.cause()).collect();
            let doubled: Vec<Cause> = causes.iter().flat_map(|cause| [cause.clone(), cause.clone()]).collect();
            for causes in [causes, doubled] {
                assert_eq!(causes_from_bytes(&causes_to_bytes(causes.iter()), causes.len()), Ok(causes), "seed {seed}");
            }
        }
    }
}

#[test]
fn bytes_that_are_cut_off_or_changed_are_refused_or_mean_something_else() {
    for seed in 1..=30 {
        let mut dice = Dice(seed);
        let (inputs, outputs) = one_of_each(&mut dice, NOW);
        let (inputs, outputs) = (inputs_to_bytes(inputs.iter()), outputs_to_bytes(&outputs));
        for end in 0..inputs.len() {
            assert_eq!(inputs_from_bytes(&inputs[..end]), Err(Garbled), "seed {seed}, the first {end} bytes");
        }
        let (as_inputs, as_outputs) = (inputs_from_bytes(&inputs).unwrap(), outputs_from_bytes(&outputs).unwrap());
        for bytes in [inputs, outputs] {
            for _ in 0..200 {
                let mut changed = bytes.clone();
                let place = dice.below(bytes.len() as u64) as usize;
                changed[place] ^= 1 << dice.below(8);
                // A text or a number may have become another; nothing else may come of it than an answer.
                let (one, other) = (inputs_from_bytes(&changed), outputs_from_bytes(&changed));
                assert!(one.as_ref() != Ok(&as_inputs) && other.as_ref() != Ok(&as_outputs), "seed {seed}");
            }
        }
    }
    assert_eq!(inputs_from_bytes(&[FORMAT + 1, 0]), Err(Garbled), "a format that nobody knows");
    assert_eq!(inputs_from_bytes(&[FORMAT, 0xFF, 0xFF, 0xFF, 0xFF, 0x0F, 0]), Err(Garbled), "a list without end");
    assert_eq!(causes_from_bytes(&[FORMAT, 0xFF, 0x7F, 0], 3), Err(Garbled), "more causes than inputs");
}

#[test]
fn where_a_train_stood_comes_back_and_is_written_as_before_where_nobody_knows() {
    for seed in 1..=50 {
        let mut dice = Dice(seed);
        let unknown = dice.memory();
        let (least, most) = (Length::from_um(dice.signed()), Length::from_um(dice.signed()));
        let known = Memory { stood: Some(StoodWithin { least, most }), ..unknown.clone() };
        for memory in [&unknown, &known] {
            assert_eq!(whole::<Memory>(&to_bytes(memory)).as_ref(), Ok(memory), "seed {seed}");
        }
        assert_eq!(to_bytes(&unknown).last(), Some(&u8::from(unknown.sure)), "seed {seed}");
    }
    assert_eq!(whole::<Memory>(&[0, 0, 0, 0, 4]), Err(Garbled));
}

/// What was written must be understood for years: these bytes were written when the format was made.
#[test]
fn a_train_that_was_recorded_long_ago_is_still_understood() {
    let section = Id::from_index(300);
    let train = Id::from_index(2);
    let inputs = [
        Input::SectionReported { section, occupied: true },
        Input::Requested { ticket: Ticket(7), request: Request::Hold { train, reason: "tea".to_owned() } },
        Input::Woke,
    ];
    let bytes = [FORMAT, 3, 0, 0xAC, 0x02, 1, 10, 7, 12, 2, 3, b't', b'e', b'a', 11];
    assert_eq!(inputs_to_bytes(inputs.iter()), bytes);
    let mut digest = signaller::Digest::new();
    let (inputs, outputs) = one_of_each(&mut Dice(1), FIRST);
    digest.add_bytes(&inputs_to_bytes(inputs.iter()));
    digest.add_bytes(&outputs_to_bytes(&outputs));
    assert_eq!(digest.to_string(), "914443c086571966", "one of each kind is written otherwise now");
}

#[test]
fn numbers_at_their_limits_come_back() {
    for number in [0, 1, 127, 128, u64::MAX, u64::MAX - 1, 1 << 63] {
        assert_eq!(whole::<u64>(&to_bytes(&number)), Ok(number));
        assert_eq!(whole::<i64>(&to_bytes(&number.cast_signed())), Ok(number.cast_signed()));
    }
    assert_eq!(whole::<u64>(&[FORMAT, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 2]), Err(Garbled));
}
