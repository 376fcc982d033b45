//! What was heard, wished and said, in words.

use signaller::{Answer, Direction, Extent, Fact, Input, Output, Protection, Request, Tag};
use track::routes::Exit;
use track::{AccessoryId, DetectorId, DistrictId, EndId, Id, InputId, Lie};

use crate::entry::Cause;
use crate::names::Names;

impl Names {
    /// What was heard.
    pub fn input(&self, input: &Input) -> String {
        match input {
            Input::SectionReported { section, occupied: true } => format!("`{}` filled", self.section(*section)),
            Input::SectionReported { section, occupied: false } => format!("`{}` emptied", self.section(*section)),
            Input::SpotPassed { detector } => format!("something passed `{}`", self.detector(*detector)),
            Input::TrainRead { detector, train } => {
                format!("`{}` read {}", self.detector(*detector), self.train(*train))
            }
            Input::TurnoutReported { turnout, lie } => {
                format!("turnout `{}` was reported {}", self.turnout(*turnout), lie.map_or("unknown", lies))
            }
            Input::PowerReported { district, live } => {
                format!("power of `{}` was reported {}", self.district(*district), if *live { "live" } else { "dark" })
            }
            Input::InputReported { input, on } => {
                format!("input `{}` was reported {}", self.input_name(*input), on_or_off(*on))
            }
            Input::LinkReported { link, up } => {
                format!("link `{}` was reported {}", self.link(*link), if *up { "up" } else { "down" })
            }
            Input::TrainRemembered { train, memory } => {
                format!("{} was remembered on {}", self.train(*train), self.sections(&memory.on))
            }
            Input::ProfileRemembered { train, .. } => format!("what {} had learned was remembered", self.train(*train)),
            Input::SignalReported { signal, shows } => {
                format!("signal `{}` was reported to show aspect {}", self.signal(*signal), shows.0)
            }
            Input::TrainNamed { train, name } => format!("{train:?} was named {name}"),
            Input::Requested { ticket, request } => format!("request {}: {}", ticket.0, self.request(request)),
            Input::Woke => "the time came that was asked for".to_owned(),
        }
    }

    /// What is wished.
    pub fn request(&self, request: &Request) -> String {
        match request {
            Request::Place { train, on, nose } => {
                let nose = nose.map(|end| format!(", nose at {}", self.end(end))).unwrap_or_default();
                format!("place {} on {}{nose}", self.train(*train), self.sections(on))
            }
            Request::Lift { train } => format!("lift {}", self.train(*train)),
            Request::Identify { section, train } => {
                format!("identify {} in {}", self.train(*train), self.section(*section))
            }
            Request::FoundEmpty { section } => format!("nothing is in {}", self.section(*section)),
            Request::Couple { train, with } => format!("couple {} to {}", self.train(*with), self.train(*train)),
            Request::Uncouple { train, keep, rest } => {
                format!("uncouple {} behind vehicle {keep}; the rest is {}", self.train(*train), self.train(*rest))
            }
            Request::RollCall { train: Some(train) } => format!("roll call with {}", self.train(*train)),
            Request::RollCall { train: None } => "roll call".to_owned(),
            Request::TakeOver { train } => format!("take {} over", self.train(*train)),
            Request::HandBack { train } => format!("hand {} back", self.train(*train)),
            Request::TakeThrottle { train, protection } => {
                let how = if *protection == Protection::On { ", protected" } else { "" };
                format!("take the throttle of {}{how}", self.train(*train))
            }
            Request::SetThrottle { train, direction, step } => {
                format!("set the throttle of {} {} to step {step}", self.train(*train), way(*direction))
            }
            Request::Go { train, to } => format!("{} to {}", self.train(*train), self.place(*to)),
            Request::Stop { train } => format!("stop {}", self.train(*train)),
            Request::EmergencyStop { of: Extent::Train(train) } => format!("emergency stop of {}", self.train(*train)),
            Request::EmergencyStop { of: Extent::Region(sections) } => {
                format!("emergency stop in {}", self.sections(sections))
            }
            Request::EmergencyStop { of: Extent::Everything } => "emergency stop".to_owned(),
            Request::CutPower { district } => format!("cut the power of `{}`", self.district(*district)),
            Request::RestorePower { district } => format!("restore the power of `{}`", self.district(*district)),
            Request::SwitchFunction { train, number, on } => {
                format!("switch function {number} of {} {}", self.train(*train), on_or_off(*on))
            }
            Request::SwitchAccessory { accessory, on } => {
                format!("switch `{}` {}", self.accessory(*accessory), on_or_off(*on))
            }
            Request::WorkInput { input, on } => format!("work `{}` {}", self.input_name(*input), on_or_off(*on)),
            Request::StopAll => "stop all trains".to_owned(),
            Request::ResumeAll => "let all trains go on".to_owned(),
            Request::Hold { train, reason } => format!("hold {}: {reason}", self.train(*train)),
            Request::Release { train } => format!("release {}", self.train(*train)),
            Request::LimitStep { train, step: Some(step) } => format!("limit {} to step {step}", self.train(*train)),
            Request::LimitStep { train, step: None } => format!("limit {} no longer", self.train(*train)),
            Request::ForgetProfile { train } => format!("forget the profile of {}", self.train(*train)),
            _ => self.request_about_track(request),
        }
    }

    fn request_about_track(&self, request: &Request) -> String {
        match request {
            Request::Throw { turnout, lie } => format!("throw {} {}", self.turnout(*turnout), lies(*lie)),
            Request::SetRoute { entry, exit, .. } => {
                format!("set the route from {} to {}", self.signal(*entry), self.exit(*exit))
            }
            Request::CancelRoute { entry } => format!("cancel the route from {}", self.signal(*entry)),
            Request::TakeOutOfService { section, reason } => {
                format!("take {} out of service: {reason}", self.section(*section))
            }
            Request::PutInService { section } => format!("put {} in service", self.section(*section)),
            Request::HandRegionOver { sections, to } => format!("hand {} over to {to}", self.sections(sections)),
            Request::TakeRegionBack { sections } => format!("take {} back", self.sections(sections)),
            Request::KeepAtDanger { signal, held: true } => format!("keep {} at danger", self.signal(*signal)),
            Request::KeepAtDanger { signal, held: false } => format!("let {} go", self.signal(*signal)),
            Request::CallOn { signal, wanted: true } => format!("call on at {}", self.signal(*signal)),
            Request::CallOn { signal, wanted: false } => format!("call on at {} no longer", self.signal(*signal)),
            other => format!("{other:?}"),
        }
    }

    /// Why something was heard.
    pub fn cause(&self, cause: &Cause) -> String {
        match cause {
            Cause::Start => "at the start".to_owned(),
            Cause::Link(Some(link)) => format!("over link `{}`", self.link(*link)),
            Cause::Link(None) => "reported".to_owned(),
            Cause::Asked { by, key: None } => format!("asked by {by}"),
            Cause::Asked { by, key: Some(key) } => format!("asked by {by}, key `{key}`"),
            Cause::Wake => "woken".to_owned(),
        }
    }

    /// What came out.
    pub fn output(&self, output: &Output) -> String {
        match output {
            Output::Drive { train, direction, step } => {
                format!("{} {} at step {step}", self.train(*train), way(*direction))
            }
            Output::EmergencyStop { train } => format!("{} stands at once", self.train(*train)),
            Output::Function { train, number, on } => {
                format!("function {number} of {} {}", self.train(*train), on_or_off(*on))
            }
            Output::Accessory { accessory, on } => format!("`{}` {}", self.accessory(*accessory), on_or_off(*on)),
            Output::Power { district, live } => {
                format!("power of `{}` {}", self.district(*district), on_or_off(*live))
            }
            Output::Throw { turnout, lie } => format!("turnout `{}` {}", self.turnout(*turnout), lies(*lie)),
            Output::Show { signal, aspect } => format!("signal `{}` shows aspect {}", self.signal(*signal), aspect.0),
            Output::Light { signal, lit } => {
                format!("signal `{}` is {}", self.signal(*signal), if *lit { "lit" } else { "dark" })
            }
            Output::Fact(fact) => self.fact(fact),
        }
    }

    fn fact(&self, fact: &Fact) -> String {
        match fact {
            Fact::Tagged { section, tag } => format!("`{}`: {}", self.section(*section), self.tag(tag)),
            Fact::RouteSet { train, sections } => {
                format!("{} is granted {}", self.train(*train), self.sections(sections))
            }
            Fact::SectionReleased { train, section } => {
                format!("{} gives `{}` back", self.train(*train), self.section(*section))
            }
            Fact::RouteStage { entry, exit, stage } => {
                format!("route from `{}` to `{}`: {stage:?}", self.signal(*entry), self.exit(*exit))
            }
            Fact::RouteWaiting { entry, reason } => format!("route from `{}` waits: {reason}", self.signal(*entry)),
            Fact::Withdrawn { section, because } => format!("`{}` is withdrawn: {because}", self.section(*section)),
            Fact::InService { section } => format!("`{}` is in service", self.section(*section)),
            Fact::Departed { train, to } => format!("{} departs for {}", self.train(*train), self.place(*to)),
            Fact::Arrived { train, at } => format!("{} arrives at {}", self.train(*train), self.place(*at)),
            Fact::Waiting { train, reason } => format!("{} waits: {reason}", self.train(*train)),
            Fact::KeptBack { train, reason } => format!("{} is kept back: {reason}", self.train(*train)),
            Fact::HoldSet { train, reason } => format!("{} is held: {reason}", self.train(*train)),
            Fact::HoldLifted { train } => format!("{} is held no more", self.train(*train)),
            Fact::DoubtRaised { doubt, about } => {
                format!("doubt {}: {}; {}", doubt.0, about.alternatives.join("; or "), about.settled_by)
            }
            Fact::DoubtCleared { doubt, by } => format!("doubt {} is settled: {by}", doubt.0),
            Fact::PowerLost { because, .. } => format!("the power is off: {because}"),
            Fact::PowerBack { .. } => "the power is back".to_owned(),
            Fact::LinkLost { link } => format!("link `{}` is down", self.link(*link)),
            Fact::LinkBack { link } => format!("link `{}` is up again", self.link(*link)),
            Fact::InputIs { input, on } => {
                format!("input `{}` {}", self.input_name(*input), on.map_or("is not known", on_or_off))
            }
            Fact::Suspected { because, .. } => because.clone(),
            Fact::RollCallBegan { train } => format!("roll call with {}", self.train(*train)),
            Fact::RollCallEnded { train, found } => {
                let found = found.map_or_else(|| "nowhere".to_owned(), |section| self.section(section));
                format!("roll call with {}: found {found}", self.train(*train))
            }
            Fact::Coupled { train, with } => format!("{} is coupled to {}", self.train(*with), self.train(*train)),
            Fact::Uncoupled { train, rest } => {
                format!("{} is uncoupled from {}", self.train(*rest), self.train(*train))
            }
            Fact::Answered { ticket, answer: Answer::Accepted } => format!("request {} is accepted", ticket.0),
            Fact::Answered { ticket, answer: Answer::Refused(refusal) } => {
                format!("request {} is refused: {}", ticket.0, refusal.reason)
            }
        }
    }

    fn tag(&self, tag: &Tag) -> String {
        match tag {
            Tag::Free => "free".to_owned(),
            Tag::Sure(train) => self.train(*train),
            Tag::Doubt(trains) => format!("in doubt: {}", self.trains(trains)),
            Tag::Unexplained => "unexplained".to_owned(),
        }
    }

    fn detector(&self, detector: DetectorId) -> String {
        let found = self.layout().detectors.get(detector);
        found.map_or_else(|| format!("{detector:?}"), |detector| detector.name.clone())
    }

    fn district(&self, district: DistrictId) -> String {
        let found = self.layout().districts.get(district);
        found.map_or_else(|| format!("{district:?}"), |district| district.name.clone())
    }

    fn input_name(&self, input: InputId) -> String {
        let found = self.layout().inputs.get(input);
        found.map_or_else(|| format!("{input:?}"), |input| input.name.clone())
    }

    pub(crate) fn accessory(&self, accessory: AccessoryId) -> String {
        let found = self.layout().accessories.get(accessory);
        found.map_or_else(|| format!("{accessory:?}"), |accessory| accessory.name.clone())
    }

    fn end(&self, end: EndId) -> String {
        if self.layout().ends.get(end).is_some() { self.layout().end_name(end) } else { format!("{end:?}") }
    }

    fn exit(&self, exit: Exit) -> String {
        let layout = self.layout();
        let is_known = match exit {
            Exit::Signal(signal) => signal.index() < layout.signals.len(),
            Exit::Stop(stop) => stop.index() < layout.stops.len(),
            Exit::BufferStop(end) | Exit::Edge(end) => end.index() < layout.ends.len(),
        };
        if is_known { exit.name(layout) } else { format!("{exit:?}") }
    }
}

fn way(direction: Direction) -> &'static str {
    match direction {
        Direction::Forward => "forward",
        Direction::Backward => "backward",
    }
}

fn on_or_off(on: bool) -> &'static str {
    if on { "on" } else { "off" }
}

fn lies(lie: Lie) -> &'static str {
    match lie {
        Lie::Straight => "straight",
        Lie::Diverging => "diverging",
    }
}
