//! What happened, as scripts see it.

use mlua::{Lua, Table};
use signaller::{Destination, Doubt, DoubtId, Fact, Input, Output, RouteStage, Suspect, Tag, Time};
use track::routes::Exit;
use track::{Aspect, DetectorId, DistrictId, InputId, Lie, LinkId, SectionId, SignalId, TrainId, TurnoutId};

pub(crate) use crate::event_pattern::{Pattern, read_names, read_pattern};
use crate::functions::{lie_in_words, stage_in_words};
use crate::names::Names;
use crate::picture::Picture;

/// Something that happened, taken apart into what scripts can ask about.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Event {
    /// Its name, one of [`crate::vocabulary::EVENTS`].
    pub(crate) what: &'static str,
    pub(crate) at: Time,
    /// The trains it is about. Several only where it is not known which.
    pub(crate) trains: Vec<TrainId>,
    pub(crate) sections: Vec<SectionId>,
    pub(crate) place: Option<Destination>,
    pub(crate) signal: Option<SignalId>,
    pub(crate) turnout: Option<TurnoutId>,
    pub(crate) detector: Option<DetectorId>,
    pub(crate) district: Option<DistrictId>,
    pub(crate) link: Option<LinkId>,
    pub(crate) input: Option<InputId>,
    /// What the clock shows, or which button it is.
    pub(crate) text: Option<String>,
    pub(crate) reason: Option<String>,
    more: Option<More>,
}

/// What only one kind of event has.
#[derive(Clone, Debug, PartialEq)]
enum More {
    /// How sure a tag is.
    How(&'static str),
    Aspect(Aspect),
    Route {
        exit: Exit,
        stage: RouteStage,
    },
    Lies(Option<Lie>),
    On(bool),
    Doubt(DoubtId, Option<Box<Doubt>>),
    Count(u64),
}

impl Event {
    /// An event about nothing in particular.
    pub(crate) fn new(what: &'static str, at: Time) -> Self {
        Self { what, at, ..Self::default() }
    }

    /// So many things happened that are not told.
    pub(crate) fn missed(at: Time, count: u64) -> Self {
        Self { more: Some(More::Count(count)), ..Self::new("missed", at) }
    }

    /// The clock shows a new minute, or somebody pressed a button.
    pub(crate) fn named(what: &'static str, at: Time, name: String) -> Self {
        Self { text: Some(name), ..Self::new(what, at) }
    }

    /// How a turnout lies now.
    pub(crate) fn turnout_lies(at: Time, turnout: TurnoutId, lie: Option<Lie>) -> Self {
        Self { turnout: Some(turnout), more: Some(More::Lies(lie)), ..Self::new("turnout_lies", at) }
    }

    fn about(what: &'static str, at: Time, train: TrainId) -> Self {
        Self { trains: vec![train], ..Self::new(what, at) }
    }

    fn in_section(what: &'static str, at: Time, section: SectionId) -> Self {
        Self { sections: vec![section], ..Self::new(what, at) }
    }

    fn because(self, reason: &str) -> Self {
        Self { reason: Some(reason.to_owned()), ..self }
    }

    /// The event that something heard is, if any. `before`: the picture before it.
    pub(crate) fn of_input(at: Time, input: &Input, before: &Picture, names: &Names) -> Option<Self> {
        let at_detector = |what, detector: DetectorId| Self {
            detector: Some(detector),
            ..Self::in_section(what, at, names.watched_by(detector))
        };
        match input {
            Input::SpotPassed { detector } => Some(at_detector("spot_passed", *detector)),
            Input::TrainRead { detector, train } => {
                Some(Self { trains: vec![*train], ..at_detector("reading", *detector) })
            }
            Input::TurnoutReported { turnout, lie } if before.board.lies[*turnout] != *lie => {
                Some(Self::turnout_lies(at, *turnout, *lie))
            }
            _ => None,
        }
    }

    /// The events that an output is: none, one, or of a tag two. `before`: the picture before it.
    pub(crate) fn of_output(at: Time, output: &Output, before: &Picture, names: &Names) -> [Option<Self>; 2] {
        match output {
            Output::Drive { train, step: 0, .. } => {
                let was_driven = before.board.errands.get(train).is_some_and(|errand| errand.step > 0);
                [was_driven.then(|| Self::about("stopped", at, *train)), None]
            }
            Output::Show { signal, aspect } if before.board.aspects[*signal] != *aspect => {
                let more = Some(More::Aspect(*aspect));
                [Some(Self { signal: Some(*signal), more, ..Self::new("signal_changed", at) }), None]
            }
            Output::Fact(Fact::Tagged { section, tag }) => {
                let (how, trains) = describe(tag);
                let tagged = |what| Self {
                    trains: trains.to_vec(),
                    more: Some(More::How(how)),
                    ..Self::in_section(what, at, *section)
                };
                let crossed = match (before.tag(*section), tag) {
                    (None, _) => None,
                    (Some(Tag::Free), Tag::Free) => None,
                    (Some(Tag::Free), _) => Some(tagged("section_filled")),
                    (Some(_), Tag::Free) => Some(Self::in_section("section_emptied", at, *section)),
                    _ => None,
                };
                [crossed, Some(tagged("tagged"))]
            }
            // What was said before its link went down, and is said again now that it is back, is no news.
            Output::Fact(Fact::InputIs { input, on: Some(on) }) if before.was_on(*input) != *on => {
                let more = Some(More::On(*on));
                [Some(Self { input: Some(*input), more, ..Self::new("input_changed", at) }), None]
            }
            Output::Fact(fact) => [Self::of_fact(at, fact, names), None],
            // An emergency stop is ordered as standing, too.
            Output::EmergencyStop { .. } => [None, None],
            Output::Function { .. } | Output::Accessory { .. } | Output::Power { .. } => [None, None],
            Output::Drive { .. } | Output::Throw { .. } | Output::Show { .. } | Output::Light { .. } => [None, None],
        }
    }

    fn of_fact(at: Time, fact: &Fact, names: &Names) -> Option<Self> {
        let about = |what, train: &TrainId| Self::about(what, at, *train);
        let in_section = |what, section: &SectionId| Self::in_section(what, at, *section);
        let towards = |what, train, place: &Destination| Self {
            sections: vec![names.section_of(*place)],
            place: Some(*place),
            ..about(what, train)
        };
        Some(match fact {
            Fact::RouteSet { train, sections } => Self { sections: sections.clone(), ..about("route_set", train) },
            Fact::SectionReleased { train, section } => {
                Self { sections: vec![*section], ..about("section_released", train) }
            }
            Fact::Departed { train, to } => towards("departed", train, to),
            Fact::Arrived { train, at } => towards("arrived", train, at),
            Fact::Waiting { train, reason } => about("waiting", train).because(reason),
            Fact::HoldSet { train, reason } => about("held", train).because(reason),
            Fact::HoldLifted { train } => about("hold_lifted", train),
            Fact::DoubtRaised { doubt, about } => Self {
                trains: about.trains.clone(),
                sections: about.sections.clone(),
                more: Some(More::Doubt(*doubt, Some(Box::new(about.clone())))),
                ..Self::new("doubt_raised", at)
            },
            Fact::DoubtCleared { doubt, by } => {
                Self { more: Some(More::Doubt(*doubt, None)), ..Self::new("doubt_cleared", at).because(by) }
            }
            Fact::PowerLost { district, because } => {
                Self { district: *district, ..Self::new("power_lost", at).because(because) }
            }
            Fact::PowerBack { district } => Self { district: *district, ..Self::new("power_back", at) },
            Fact::LinkLost { link } => Self { link: Some(*link), ..Self::new("link_lost", at) },
            Fact::LinkBack { link } => Self { link: Some(*link), ..Self::new("link_back", at) },
            Fact::RouteStage { entry, exit, stage } => Self {
                signal: Some(*entry),
                more: Some(More::Route { exit: *exit, stage: *stage }),
                ..Self::new("route_stage", at)
            },
            Fact::RouteWaiting { entry, reason } => {
                Self { signal: Some(*entry), ..Self::new("route_waiting", at).because(reason) }
            }
            Fact::Withdrawn { section, because } => in_section("out_of_service", section).because(because),
            Fact::InService { section } => in_section("in_service", section),
            Fact::Suspected { suspect, because } => match *suspect {
                Suspect::Section(section) => in_section("suspected", &section),
                Suspect::Train(train) => about("suspected", &train),
                Suspect::Turnout(turnout) => Self { turnout: Some(turnout), ..Self::new("suspected", at) },
            }
            .because(because),
            Fact::KeptBack { train, reason } => about("kept_back", train).because(reason),
            Fact::Tagged { .. }
            | Fact::InputIs { .. }
            | Fact::RollCallBegan { .. }
            | Fact::RollCallEnded { .. }
            | Fact::Coupled { .. }
            | Fact::Uncoupled { .. }
            | Fact::Answered { .. } => return None,
        })
    }

    /// The event as a table, the record `Event`.
    pub(crate) fn to_table(&self, lua: &Lua, names: &Names) -> mlua::Result<Table> {
        let table = lua.create_table()?;
        table.raw_set("what", self.what)?;
        table.raw_set("time", self.at.secs_f64())?;
        let is_of_several = matches!(self.more, Some(More::How("doubt") | More::Doubt(..)));
        match self.trains.as_slice() {
            [train] if !is_of_several => table.raw_set("train", names.of_train(*train))?,
            trains if is_of_several => {
                let trains = trains.iter().map(|&train| names.of_train(train));
                table.raw_set("trains", lua.create_sequence_from(trains)?)?;
            }
            _ => {}
        }
        match self.sections.as_slice() {
            [section] if self.what != "route_set" && self.what != "doubt_raised" => {
                table.raw_set("section", names.of_section(*section))?;
            }
            [] => {}
            sections => {
                let sections = sections.iter().map(|&section| names.of_section(section));
                table.raw_set("sections", lua.create_sequence_from(sections)?)?;
            }
        }
        let texts = [
            ("place", self.place.map(|place| names.of_place(place))),
            ("signal", self.signal.map(|signal| names.of_signal(signal))),
            ("turnout", self.turnout.map(|turnout| names.of_turnout(turnout))),
            ("detector", self.detector.map(|detector| names.of_detector(detector))),
            ("district", self.district.map(|district| names.of_district(district))),
            ("link", self.link.map(|link| names.of_link(link))),
            ("input", self.input.map(|input| names.of_input(input))),
            ("reason", self.reason.as_deref()),
            (self.what, self.text.as_deref()),
        ];
        for (field, text) in texts {
            if let Some(text) = text {
                table.raw_set(field, text)?;
            }
        }
        self.more.as_ref().map_or(Ok(()), |more| more.set(lua, &table, self, names))?;
        Ok(table)
    }
}

impl More {
    fn set(&self, lua: &Lua, table: &Table, event: &Event, names: &Names) -> mlua::Result<()> {
        match self {
            Self::How(how) => table.raw_set("how", *how),
            Self::Aspect(aspect) => {
                table.raw_set("danger", *aspect == Aspect::STOP)?;
                let name = event.signal.map(|signal| names.of_aspect(signal, *aspect));
                table.raw_set("aspect", name)
            }
            Self::Route { exit, stage } => {
                table.raw_set("exit", names.of_exit(*exit))?;
                table.raw_set("stage", stage_in_words(*stage))
            }
            Self::On(on) => table.raw_set("on", *on),
            Self::Lies(lie) => table.raw_set("lies", lie.map(lie_in_words)),
            Self::Doubt(number, about) => {
                table.raw_set("doubt", number.0 as f64)?;
                if let Some(about) = about {
                    let may_be = about.alternatives.iter().map(String::as_str);
                    table.raw_set("may_be", lua.create_sequence_from(may_be)?)?;
                    table.raw_set("settled_by", about.settled_by.as_str())?;
                }
                Ok(())
            }
            Self::Count(count) => table.raw_set("count", *count as f64),
        }
    }
}

/// A tag in one word, and the trains it names.
pub(crate) fn describe(tag: &Tag) -> (&'static str, &[TrainId]) {
    match tag {
        Tag::Free => ("free", &[]),
        Tag::Sure(train) => ("sure", std::slice::from_ref(train)),
        Tag::Doubt(trains) => ("doubt", trains),
        Tag::Unexplained => ("unexplained", &[]),
    }
}
