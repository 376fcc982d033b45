//! The demo railway with the signaller in charge, somebody to ask it for things, and an ear for all that it says.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use signaller::{Answer, Destination, Direction, Doubt, DoubtId, Fact, Output, Request, Tag, Ticket, Time};
use testtrack::{Fault, Faults, FirstLie, Recording, Session, Settings, Table, Traffic, Violation};
use track::{Layout, SectionId, TrainId, TurnoutId};

pub(crate) struct Railway {
    pub(crate) session: Session,
    pub(crate) layout: Arc<Layout>,
    heard: Heard,
    /// What the signaller heard, up to its first restart.
    recording: Option<Recording>,
    traffic: Option<Traffic>,
    /// Sentences about broken rules that a story forgives.
    forgiven: Vec<&'static str>,
}

/// What the signaller said.
#[derive(Default)]
struct Heard {
    /// What it said last of each section.
    tags: BTreeMap<SectionId, Tag>,
    /// Why trains are held, the last reason of each.
    holds: BTreeMap<TrainId, String>,
    /// The doubts that are open.
    doubts: BTreeMap<DoubtId, Doubt>,
    facts: Vec<(Time, Fact)>,
}

impl Heard {
    fn hear(&mut self, now: Time, fact: &Fact) {
        self.facts.push((now, fact.clone()));
        match fact.clone() {
            Fact::Tagged { section, tag } => drop(self.tags.insert(section, tag)),
            Fact::HoldSet { train, reason } => drop(self.holds.insert(train, reason)),
            Fact::HoldLifted { train } => drop(self.holds.remove(&train)),
            Fact::DoubtRaised { doubt, about } => drop(self.doubts.insert(doubt, about)),
            Fact::DoubtCleared { doubt, .. } => drop(self.doubts.remove(&doubt)),
            _ => {}
        }
    }
}

/// Low Staithe, with more trains than it has, in the words of `trains.toml`.
pub(crate) fn low_staithe_with(more_trains: &str) -> Arc<Layout> {
    let loaded = layout::load(|name| {
        let text = match name {
            layout::TRACK_FILE => include_str!("../../../../demo-layout/layout.toml").to_owned(),
            layout::TRAINS_FILE => include_str!("../../../../demo-layout/trains.toml").to_owned() + more_trains,
            _ => return Ok(None),
        };
        Ok(Some(text.into_bytes()))
    });
    Arc::new(loaded.unwrap_or_else(|refused| panic!("{refused}")).layout)
}

impl Railway {
    /// Every train where the layout says it stands, every turnout straight, and nothing goes wrong by itself.
    pub(crate) fn new(seed: u64) -> Self {
        Self::with(low_staithe_with(""), seed, Faults::NONE, |_, _| {})
    }

    /// The same, and one thing goes wrong now and then.
    pub(crate) fn under(seed: u64, faults: Faults) -> Self {
        Self::with(low_staithe_with(""), seed, faults, |_, _| {})
    }

    /// Some layout; and something happens on the table before anybody looks.
    pub(crate) fn with(
        layout: Arc<Layout>,
        seed: u64,
        faults: Faults,
        at_first: impl FnOnce(&Layout, &mut Table),
    ) -> Self {
        let settings = Settings { faults, turnouts_at_first: FirstLie::Straight, ..Settings::seeded(seed) };
        let mut session = Session::new(Arc::clone(&layout), &settings).unwrap();
        at_first(&layout, session.table_mut());
        let recording = Some(Recording::default());
        let heard = Heard::default();
        let mut railway = Self { session, layout, heard, recording, traffic: None, forgiven: Vec::new() };
        railway.run(1.0);
        railway
    }

    /// What people said was wrong, or is not yet said: this cannot but be so, and is no fault of the signaller's.
    pub(crate) fn forgive(&mut self, sentence: &'static str) {
        self.forgiven.push(sentence);
    }

    /// From now on every train is sent about by lot.
    pub(crate) fn let_traffic_begin(&mut self, seed: u64) {
        self.traffic = Some(Traffic::new(&self.layout, seed));
        self.session.desk().call_at(Time::ZERO);
    }

    /// Traffic, until so many trains are out on the line at once. They are given in order.
    pub(crate) fn trains_are_out(&mut self, count: usize, seed: u64) -> Vec<TrainId> {
        self.let_traffic_begin(seed);
        self.until("trains were out", 3600, |railway| railway.moving().len() >= count);
        self.moving()
    }

    /// Nobody is sent anywhere any more.
    pub(crate) fn let_traffic_end(&mut self) {
        self.traffic = None;
    }

    /// Lets time pass. Panics at the first rule that breaks.
    pub(crate) fn run(&mut self, seconds: f64) {
        let until = self.session.now() + Duration::from_secs_f64(seconds);
        let (heard, traffic, forgiven) = (&mut self.heard, &mut self.traffic, &self.forgiven);
        let recording = &mut self.recording;
        self.session.run_until(until, &mut |moment, desk| {
            if let Some(violation) = moment.violations.iter().find(|it| !is_forgiven(it, forgiven)) {
                panic!("{violation}");
            }
            if let Some(recording) = recording {
                recording.hear(moment.now, moment.inputs);
            }
            for output in moment.outputs {
                if let Output::Fact(fact) = output {
                    heard.hear(moment.now, fact);
                }
            }
            if let Some(traffic) = traffic {
                traffic.hear(moment, desk);
            }
        });
    }

    /// Runs until it is so, looking ten times a second. Panics if it is not within so many seconds.
    pub(crate) fn until(&mut self, what: &str, seconds: u32, is_so: impl Fn(&Self) -> bool) {
        for _ in 0..seconds * 10 {
            if is_so(self) {
                return;
            }
            self.run(0.1);
        }
        let holds: Vec<_> = self.heard.holds.values().collect();
        let doubts: Vec<_> = self.heard.doubts.values().map(|doubt| &doubt.alternatives).collect();
        panic!("within {seconds} s it never came so far that {what}; held: {holds:?}; doubts: {doubts:?}");
    }

    /// The signaller is switched off, and on again after so many seconds.
    pub(crate) fn restart(&mut self, off_for: u64, meanwhile: impl FnOnce(&mut Table)) {
        self.traffic = None;
        self.recording = None;
        self.heard = Heard::default();
        let heard = &mut self.heard;
        let mut listener = |moment: &testtrack::Moment<'_>, _: &mut testtrack::Desk| {
            for output in moment.outputs {
                if let Output::Fact(fact) = output {
                    heard.hear(moment.now, fact);
                }
            }
        };
        self.session.restart_while(Duration::from_secs(off_for), &mut listener, meanwhile);
    }

    pub(crate) fn table(&mut self) -> &mut Table {
        self.session.table_mut()
    }

    pub(crate) fn train(&self, name: &str) -> TrainId {
        self.layout.train_named(name).unwrap()
    }

    pub(crate) fn section(&self, name: &str) -> SectionId {
        self.layout.section_named(name).unwrap()
    }

    pub(crate) fn turnout(&self, name: &str) -> TurnoutId {
        self.layout.turnout_named(name).unwrap()
    }

    pub(crate) fn trains(&self) -> Vec<TrainId> {
        self.layout.trains.ids().collect()
    }

    pub(crate) fn send(&mut self, train: &str, section: &str) -> Ticket {
        let (train, to) = (self.train(train), Destination::Section(self.section(section)));
        self.ask(Request::Go { train, to })
    }

    pub(crate) fn ask(&mut self, request: Request) -> Ticket {
        self.session.desk().request(request)
    }

    /// Why a request was refused; nothing where it was not.
    pub(crate) fn refusal(&self, ticket: Ticket) -> Option<&str> {
        self.heard.facts.iter().find_map(|(_, fact)| match fact {
            Fact::Answered { ticket: answered, answer: Answer::Refused(refusal) } if *answered == ticket => {
                Some(refusal.reason.as_str())
            }
            _ => None,
        })
    }

    pub(crate) fn lies_in(&self, train: &str, section: &str) -> bool {
        self.session.table().covers(self.train(train), self.section(section))
    }

    /// Whether all of a train is in one section.
    pub(crate) fn is_all_in(&self, train: &str, section: &str) -> bool {
        self.session.table().footprint(self.train(train)).iter().all(|&on| on == self.section(section))
    }

    pub(crate) fn is_moving(&self, train: &str) -> bool {
        self.moving().contains(&self.train(train))
    }

    pub(crate) fn moving(&self) -> Vec<TrainId> {
        let table = self.session.table();
        self.layout.trains.ids().filter(|&train| table.speed(train).um() != 0).collect()
    }

    /// The way that a train moves, or moved last.
    pub(crate) fn leading(&self, train: &str) -> Direction {
        self.session.table().leading(self.train(train))
    }

    pub(crate) fn tag(&self, section: &str) -> &Tag {
        self.heard.tags.get(&self.section(section)).unwrap_or(&Tag::Free)
    }

    pub(crate) fn tags(&self) -> BTreeMap<SectionId, Tag> {
        self.heard.tags.clone()
    }

    /// Whether a section is said to be free, or another train's.
    pub(crate) fn is_given_away(&self, section: &str, train: &str) -> bool {
        match self.tag(section) {
            Tag::Free => true,
            Tag::Sure(named) => *named != self.train(train),
            Tag::Doubt(_) | Tag::Unexplained => false,
        }
    }

    /// Whether everywhere that a train lies, or somewhere at least, its own name is said for sure.
    pub(crate) fn is_known(&self, train: TrainId) -> bool {
        let on = self.session.table().footprint(train);
        on.iter().any(|section| self.heard.tags.get(section) == Some(&Tag::Sure(train)))
    }

    /// Why a train is held, in the signaller's words; empty where it is not.
    pub(crate) fn hold(&self, train: &str) -> &str {
        self.heard.holds.get(&self.train(train)).map_or("", String::as_str)
    }

    pub(crate) fn doubts(&self) -> Vec<&Doubt> {
        self.heard.doubts.values().collect()
    }

    /// The trains that arrived since then.
    pub(crate) fn arrivals(&self, since: Time) -> Vec<TrainId> {
        let arrived = |(at, fact): &(Time, Fact)| match fact {
            Fact::Arrived { train, .. } if *at >= since => Some(*train),
            _ => None,
        };
        self.heard.facts.iter().filter_map(arrived).collect()
    }

    /// How many facts of some kind were told since then.
    pub(crate) fn told(&self, since: Time, what: impl Fn(&Fact) -> bool) -> usize {
        self.heard.facts.iter().filter(|(at, fact)| *at >= since && what(fact)).count()
    }

    /// A person looks where a train stands, says so, and releases it.
    pub(crate) fn a_person_sees_to(&mut self, train: TrainId) {
        let on = self.session.table().footprint(train).to_vec();
        let nose = self.session.table().points_at(train, Direction::Forward);
        self.ask(Request::Place { train, on, nose });
        self.ask(Request::Release { train });
        self.run(2.0);
    }

    /// Every one of these trains arrives somewhere within so many seconds.
    pub(crate) fn all_arrive(&mut self, trains: &[TrainId], seconds: u32) {
        let since = self.session.now();
        let layout = Arc::clone(&self.layout);
        let names: Vec<_> = trains.iter().map(|&train| layout.trains[train].name.as_str()).collect();
        self.until(&format!("{} arrived", names.join(", ")), seconds, |railway| {
            let arrived = railway.arrivals(since);
            trains.iter().all(|train| arrived.contains(train))
        });
    }

    /// A train is sent somewhere, and arrives within so many seconds.
    pub(crate) fn goes(&mut self, train: &str, section: &str, seconds: u32) {
        self.send(train, section);
        self.all_arrive(&[self.train(train)], seconds);
    }

    /// The same; and wherever it is held, or in doubt, a person looks where it stands, says so, and sends it on.
    pub(crate) fn goes_with_help(&mut self, train: &str, section: &str, seconds: u32) {
        let (id, since) = (self.train(train), self.session.now());
        self.send(train, section);
        for _ in 0..seconds / 10 {
            self.run(10.0);
            if self.arrivals(since).contains(&id) {
                return;
            }
            let in_doubt = self.doubts().iter().any(|doubt| doubt.trains.contains(&id));
            if (in_doubt || !self.hold(train).is_empty()) && !self.is_moving(train) {
                self.a_person_sees_to(id);
                self.send(train, section);
            }
        }
        panic!("{train} did not arrive within {seconds} s, with all the help it had: {}", self.hold(train));
    }

    /// Traffic, until each train has arrived somewhere; a person answers what is asked.
    pub(crate) fn all_run_on(&mut self, seed: u64, seconds: u32) {
        let since = self.session.now();
        self.let_traffic_begin(seed);
        let trains = self.trains();
        for _ in 0..seconds / 10 {
            self.run(10.0);
            let arrived = self.arrivals(since);
            if trains.iter().all(|train| arrived.contains(train)) {
                return;
            }
            let asked: Vec<_> = self.doubts().iter().flat_map(|doubt| doubt.trains.clone()).collect();
            for train in asked {
                let is_still = !self.moving().contains(&train);
                if is_still && self.session.table().is_on_table(train) {
                    self.a_person_sees_to(train);
                }
            }
        }
        panic!("not everybody ran on within {seconds} s: {:?}", self.heard.holds);
    }

    /// Those faults happened, and nothing that must never happen, nor any accident; and a signaller that is restored from a
    /// snapshot now and then does all the same.
    pub(crate) fn in_order(&self, faults: &[Fault]) {
        for &fault in faults {
            let happened = self.session.table().mishaps().iter().any(|mishap| mishap.fault == fault);
            assert!(happened, "{} never happened", fault.name());
        }
        let all = |list: &[Violation]| list.iter().map(ToString::to_string).collect::<Vec<_>>();
        let broken = self.session.violations().iter().filter(|it| !is_forgiven(it, &self.forgiven));
        assert_eq!(broken.map(ToString::to_string).collect::<Vec<_>>(), [] as [String; 0]);
        let mut excused = all(self.session.excused());
        excused.retain(|it| !it.contains("where nothing stands"));
        assert_eq!(excused, [] as [String; 0], "accidents that nobody could know of");
        if let Some(recording) = &self.recording {
            let again = recording.replay_over_snapshots(&self.layout, recording.len().div_ceil(30));
            assert_eq!(again, Ok(self.session.digest()), "a replay over snapshots");
        }
    }
}

fn is_forgiven(violation: &Violation, forgiven: &[&str]) -> bool {
    let sentence = violation.to_string();
    forgiven.iter().any(|it| sentence.contains(it))
}

pub(crate) fn is_doubt(fact: &Fact) -> bool {
    matches!(fact, Fact::DoubtRaised { .. })
}
