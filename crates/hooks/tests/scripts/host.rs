//! A small harbour and a host that answers for the signaller.

use std::sync::Arc;
use std::time::Duration;

use hooks::{Budget, LayoutClock, Notice, ScriptError, Scripts};
use signaller::{Answer, Destination, Fact, Input, Output, Refusal, Request, Tag, Ticket, Time};
use track::{Builder, Detector, DetectorKind, Layout, Length, Scale, SectionId, Train, TrainId, Vehicle};

/// Quays, a loop and a yard, in no particular order; scripts do not know the track.
pub(crate) fn layout() -> Arc<Layout> {
    let mut builder = Builder::new("Low Staithe", Scale::named("H0").unwrap());
    for name in ["quay-1", "quay-2", "loop-1", "loop-2", "yard-1", "yard-2"] {
        let section = builder.plain_section(name, Some(Length::from_mm(if name == "loop-1" { 900 } else { 1500 })));
        let end = builder.layout().sections[section].ends[1];
        builder.stop(format!("{name}.b"), end, Length::from_mm(80));
    }
    // A signal leads from quay 1 to the loop; a turnout, a spot, a reader, a district and a link are there to be heard of.
    let ends = |builder: &Builder, name: &str| {
        let section = builder.layout().section_named(name).unwrap();
        builder.layout().sections[section].ends.clone()
    };
    let (quay, loop_1) = (ends(&builder, "quay-1"), ends(&builder, "loop-1"));
    builder.join(quay[1], loop_1[0]);
    builder.signal("S1", quay[1]);
    builder.signal("S3", loop_1[1]);
    let turnout = builder.turnout("W1");
    builder.turnout_mut(turnout).reported = false;
    let way = builder.layout().sections[builder.layout().section_named("loop-1").unwrap()].ways[0];
    let section = builder.layout().section_named("loop-1").unwrap();
    builder.detector(Detector::new("magnet", DetectorKind::Spot { way, from_first_end: None }));
    builder.detector(Detector::new("gate", DetectorKind::Reader(section)));
    let district = builder.district("harbour");
    builder.feed(section, district);
    let link = builder.link("harbour box");
    builder.accessory("quay lamps", None);
    builder.input("coal stage lever", Some(link));
    builder.input("tea bell", None);
    for name in ["Heron", "Plover", "Dunlin"] {
        let mut train = Train::stranger(name);
        if name == "Plover" {
            let (name, length) = ("six vans".to_owned(), Length::from_mm(690));
            train.vehicles = vec![Vehicle { name, length, detectable: None, axles: Vec::new() }];
        }
        builder.train(train);
    }
    Arc::new(builder.build())
}

/// So long that the clock decides nothing, however busy the machine is.
pub(crate) const PATIENCE: Duration = Duration::from_secs(60);

/// A budget that only counts.
pub(crate) fn patient() -> Budget {
    Budget { time: PATIENCE, ..Budget::default() }
}

/// Scripts, and what a signaller would say to them.
pub(crate) struct Host {
    pub(crate) layout: Arc<Layout>,
    pub(crate) scripts: Scripts,
    pub(crate) now: Time,
    /// Requests taken from the scripts and not answered yet.
    pub(crate) asked: Vec<(Ticket, Request)>,
    pub(crate) notices: Vec<Notice>,
}

impl Host {
    /// A host of scripts that must load without an error.
    pub(crate) fn new(files: &[(&str, &str)]) -> Self {
        let (host, errors) = Self::with_budget(files, &patient());
        assert_eq!(shown(&errors), Vec::<String>::new());
        host
    }

    pub(crate) fn with_budget(files: &[(&str, &str)], budget: &Budget) -> (Self, Vec<ScriptError>) {
        Self::going_on(files, budget, LayoutClock::default())
    }

    /// The same, with the layout clock as it is at first.
    pub(crate) fn going_on(files: &[(&str, &str)], budget: &Budget, clock: LayoutClock) -> (Self, Vec<ScriptError>) {
        let files = files.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect();
        let layout = layout();
        let (scripts, errors) = Scripts::load_going_on(Arc::clone(&layout), files, budget, 7, clock);
        let mut host = Self { layout, scripts, now: Time::ZERO, asked: Vec::new(), notices: Vec::new() };
        host.take();
        (host, errors)
    }

    fn take(&mut self) {
        self.asked.extend(self.scripts.take_requests());
        self.notices.extend(self.scripts.take_notices());
    }

    /// Tells the scripts facts, now.
    pub(crate) fn tell(&mut self, facts: Vec<Fact>) {
        let outputs: Vec<Output> = facts.into_iter().map(Output::Fact).collect();
        self.scripts.hear(self.now, &[], &outputs);
        self.take();
        self.nobody_asks_for_this_instant_again();
    }

    /// Tells the scripts what was heard and what came of it, now.
    pub(crate) fn hear(&mut self, inputs: &[Input], outputs: &[Output]) {
        self.scripts.hear(self.now, inputs, outputs);
        self.take();
        self.nobody_asks_for_this_instant_again();
    }

    /// Lets time pass up to `seconds` since the beginning, waking the scripts when they want to be.
    pub(crate) fn run_until(&mut self, seconds: f64) {
        let end = Time::from_secs_f64(seconds);
        while let Some(wake) = self.scripts.next_wake().filter(|&wake| wake <= end) {
            self.now = self.now.max(wake);
            self.scripts.wake(self.now);
            self.take();
            self.nobody_asks_for_this_instant_again();
        }
        self.now = end;
    }

    fn nobody_asks_for_this_instant_again(&self) {
        let next = self.scripts.next_wake();
        assert!(next.is_none_or(|next| next > self.now), "at {:?} wants to be woken at {next:?}", self.now);
    }

    pub(crate) fn train(&self, name: &str) -> TrainId {
        self.layout.train_named(name).unwrap()
    }

    pub(crate) fn section(&self, name: &str) -> SectionId {
        self.layout.section_named(name).unwrap()
    }

    pub(crate) fn place(&self, name: &str) -> Destination {
        let stop = self.layout.stop_named(name).map(Destination::Stop);
        stop.unwrap_or_else(|| Destination::Section(self.section(name)))
    }

    pub(crate) fn free(&self, section: &str) -> Fact {
        Fact::Tagged { section: self.section(section), tag: Tag::Free }
    }

    pub(crate) fn there(&self, section: &str, train: &str) -> Fact {
        Fact::Tagged { section: self.section(section), tag: Tag::Sure(self.train(train)) }
    }

    pub(crate) fn arrived(&self, train: &str, place: &str) -> Fact {
        Fact::Arrived { train: self.train(train), at: self.place(place) }
    }

    pub(crate) fn departed(&self, train: &str, place: &str) -> Fact {
        Fact::Departed { train: self.train(train), to: self.place(place) }
    }

    /// Answers the oldest request with yes.
    pub(crate) fn accept(&mut self) {
        let (ticket, _) = self.asked.remove(0);
        self.tell(vec![Fact::Answered { ticket, answer: Answer::Accepted }]);
    }

    /// Answers the oldest request with no.
    pub(crate) fn refuse(&mut self, reason: &str) {
        let (ticket, _) = self.asked.remove(0);
        let answer = Answer::Refused(Refusal { reason: reason.to_owned() });
        self.tell(vec![Fact::Answered { ticket, answer }]);
    }

    /// The requests not answered yet, in words.
    pub(crate) fn wishes(&self) -> Vec<String> {
        self.asked.iter().map(|(_, request)| self.wish(request)).collect()
    }

    fn wish(&self, request: &Request) -> String {
        let train = |id: &TrainId| self.layout.trains[*id].name.clone();
        match request {
            Request::Go { train: id, to: Destination::Section(section) } => {
                format!("{} to {}", train(id), self.layout.sections[*section].name)
            }
            Request::Go { train: id, to: Destination::Stop(stop) } => {
                format!("{} to {}", train(id), self.layout.stops[*stop].name)
            }
            Request::Stop { train: id } => format!("stop {}", train(id)),
            Request::Hold { train: id, reason } => format!("hold {}: {reason}", train(id)),
            Request::Release { train: id } => format!("release {}", train(id)),
            Request::LimitStep { train: id, step } => format!("limit {} {step:?}", train(id)),
            Request::Throw { turnout, lie } => format!("throw {} {lie:?}", self.layout.turnouts[*turnout].name),
            Request::TakeOutOfService { section, reason } => {
                format!("out of service {}: {reason}", self.layout.sections[*section].name)
            }
            Request::PutInService { section } => format!("in service {}", self.layout.sections[*section].name),
            Request::KeepAtDanger { signal, held } => {
                format!("at danger {}: {held}", self.layout.signals[*signal].name)
            }
            Request::SwitchFunction { train: id, number, on } => format!("function {number} of {}: {on}", train(id)),
            Request::SwitchAccessory { accessory, on } => {
                format!("{}: {on}", self.layout.accessories[*accessory].name)
            }
            Request::SetRoute { entry, exit, .. } => {
                format!("set {} to {}", self.layout.signals[*entry].name, exit.name(&self.layout))
            }
            Request::CancelRoute { entry } => format!("cancel {}", self.layout.signals[*entry].name),
            other => format!("{other:?}"),
        }
    }

    /// Everything said so far, with its time where it is not the beginning.
    pub(crate) fn said(&self) -> Vec<String> {
        let show = |notice: &Notice| match notice.at {
            Time::ZERO => notice.to_string(),
            at => format!("{} {notice}", at.secs_f64()),
        };
        self.notices.iter().map(show).collect()
    }
}

pub(crate) fn shown<T: ToString>(things: &[T]) -> Vec<String> {
    things.iter().map(ToString::to_string).collect()
}
