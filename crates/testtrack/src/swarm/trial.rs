//! One seed: run, run again, replayed.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use signaller::{Digest, Time};
use track::Layout;

use super::caller::Caller;
use super::choice::FaultSet;
use super::log::Log;
use super::person::Person;
use super::watch::{Settled, Watch};
use super::{FINISH, words};
use crate::checkers::{Rule, Violation};
use crate::dispatch::Dispatcher;
use crate::drivers::Drivers;
use crate::meddling::Meddling;
use crate::place::PlaceError;
use crate::random::Stream;
use crate::recording::Recording;
use crate::session::{Desk, Moment, Session};
use crate::settings::Settings;
use crate::statistics::Statistics;
use crate::traffic::Traffic;

/// Layout time passes in pieces of this, so that a trial can end early.
const PIECE: Duration = Duration::from_secs(10);

/// How often in a replay the signaller is restored from a snapshot.
const SNAPSHOTS: usize = 20;

/// What a trial is.
#[derive(Clone, Debug)]
pub struct Plan {
    /// Where all chance comes from.
    pub seed: u64,
    /// The layout with its trains.
    pub layout: Arc<Layout>,
    /// What goes wrong.
    pub faults: FaultSet,
    /// How long it goes wrong.
    pub span: Duration,
}

/// What must hold in a trial.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Law {
    /// What must never happen.
    Never(Rule),
    /// N9: a replay, or a second run, differs from the run.
    Replay,
    /// Faults over, every train that is not held moves on, and every doubt is settled or put to people in words.
    MovesOn,
    /// The program found itself in a state that it holds for impossible.
    Panic,
}

impl Law {
    /// All of them.
    pub const ALL: [Self; 10] = [
        Self::Never(Rule::N0),
        Self::Never(Rule::N1),
        Self::Never(Rule::N2),
        Self::Never(Rule::N3),
        Self::Never(Rule::N4),
        Self::Never(Rule::N5),
        Self::Never(Rule::N6),
        Self::Replay,
        Self::MovesOn,
        Self::Panic,
    ];

    /// How figures call it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Never(Rule::N0) => "N0",
            Self::Never(Rule::N1) => "N1",
            Self::Never(Rule::N2) => "N2",
            Self::Never(Rule::N3) => "N3",
            Self::Never(Rule::N4) => "N4",
            Self::Never(Rule::N5) => "N5",
            Self::Never(Rule::N6) => "N6",
            Self::Replay => "N9",
            Self::MovesOn => "moves_on",
            Self::Panic => "panic",
        }
    }
}

/// Something that did not hold.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Broken {
    /// When, in layout time.
    pub at: Time,
    /// What.
    pub law: Law,
    /// In one sentence without a full stop.
    pub sentence: String,
}

/// What came of a trial.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// Everything that did not hold, in order.
    pub broken: Vec<Broken>,
    /// The figures of the first run.
    pub figures: Figures,
}

/// Figures of a run.
#[derive(Clone, Debug, Default)]
pub struct Figures {
    /// Of the session.
    pub session: Statistics,
    /// How many sure claims were made.
    pub claims_made: u64,
    /// The wrong ones among them.
    pub claims_wrong: u64,
    /// Accidents that nobody could know of, by what excuses them.
    pub excused: BTreeMap<String, u64>,
    /// How many doubts were raised.
    pub doubts_raised: u64,
    /// How many were settled, by what.
    pub doubts_settled: BTreeMap<Settled, u64>,
    /// How many were still open at the end.
    pub doubts_open: u64,
}

/// One run of a trial.
struct Run {
    digest: Digest,
    broken: Vec<Broken>,
    figures: Figures,
}

impl Plan {
    /// Runs it twice and replays it.
    ///
    /// # Errors
    /// A train that does not fit where it is said to stand.
    pub fn try_out(&self) -> Result<Outcome, PlaceError> {
        let mut heard = Recording::default();
        let first = self.run(&mut Log::off(), Some(&mut heard))?;
        let second = self.run(&mut Log::off(), None)?;
        let Run { mut broken, figures, digest } = first;
        let at = Time::ZERO + figures.session.layout_time;
        let sentence = |what: &str, other: Digest| format!("{what} differs from the run: {other} instead of {digest}");
        let mut differs = Vec::new();
        if digest != second.digest {
            differs.push(sentence("a second run", second.digest));
        }
        match heard.replay_over_snapshots(&self.layout, heard.len().div_ceil(SNAPSHOTS)) {
            Ok(other) if other == digest => {}
            Ok(other) => {
                let plain = heard.replay(&self.layout);
                differs.push(match plain == digest {
                    true => sentence("a replay over snapshots", other),
                    false => sentence("the replay", plain),
                });
            }
            Err(why) => differs.push(why),
        }
        broken.extend(differs.into_iter().map(|sentence| Broken { at, law: Law::Replay, sentence }));
        Ok(Outcome { broken, figures })
    }

    /// Runs it once and writes down what happens, up to the first thing that does not hold.
    ///
    /// # Errors
    /// A train that does not fit where it is said to stand.
    pub fn explain(&self, log: &mut Log) -> Result<(), PlaceError> {
        self.run(log, None).map(|_| ())
    }

    fn run(&self, log: &mut Log, heard: Option<&mut Recording>) -> Result<Run, PlaceError> {
        let settings = Settings { faults: self.faults.faults(), ..Settings::seeded(self.seed).repeating() };
        let mut session = Session::new(Arc::clone(&self.layout), &settings)?;
        let mut crew = Crew::new(self, log, heard);
        pass(&mut session, self.span, &mut crew, |_, _| false);
        if !crew.is_over() {
            crew.heal();
            session.heal();
            let end = self.span + FINISH;
            pass(&mut session, end, &mut crew, |crew, session| crew.watch.is_done(session.table()));
            if !crew.is_over() {
                crew.broken.extend(crew.watch.judge(session.now(), session.table()));
            }
        }
        let figures = Figures {
            session: session.statistics().clone(),
            claims_made: session.claims().made,
            claims_wrong: session.claims().wrong.len() as u64,
            excused: by_excuse(session.excused()),
            doubts_raised: crew.watch.raised,
            doubts_open: crew.watch.doubts.len() as u64,
            doubts_settled: crew.watch.settled,
        };
        Ok(Run { digest: session.digest(), broken: crew.broken, figures })
    }
}

/// How often each excuse was needed: what stands behind the last semicolon of an excused accident.
fn by_excuse(excused: &[Violation]) -> BTreeMap<String, u64> {
    let mut by_excuse = BTreeMap::new();
    for accident in excused {
        let excuse = accident.sentence.rsplit("; ").next().unwrap_or_default();
        *by_excuse.entry(excuse.to_owned()).or_default() += 1;
    }
    by_excuse
}

/// Lets time pass up to `until`, or until the trial is over or done.
fn pass(session: &mut Session, until: Duration, crew: &mut Crew<'_>, is_done: impl Fn(&Crew<'_>, &Session) -> bool) {
    let until = Time::ZERO + until;
    while session.now() < until && !crew.is_over() && !is_done(crew, session) {
        let next = (session.now() + PIECE).min(until);
        session.run_until(next, &mut |moment, desk| crew.hear(moment, desk));
    }
}

/// Everybody who takes part in a run.
struct Crew<'a> {
    traffic: Traffic,
    meddling: Option<Meddling>,
    dispatcher: Option<Dispatcher>,
    drivers: Option<Drivers>,
    person: Option<Person>,
    caller: Caller,
    seed: u64,
    watch: Watch,
    broken: Vec<Broken>,
    log: &'a mut Log,
    heard: Option<&'a mut Recording>,
}

impl<'a> Crew<'a> {
    fn new(plan: &Plan, log: &'a mut Log, heard: Option<&'a mut Recording>) -> Self {
        let meddles = Stream::labelled(plan.seed, "whether somebody meddles").below(2) == 0;
        Self {
            traffic: Traffic::new(&plan.layout, plan.seed),
            meddling: meddles.then(|| Meddling::new(&plan.layout, plan.seed)),
            dispatcher: plan.faults.has_dispatcher().then(|| Dispatcher::new(&plan.layout, plan.seed)),
            drivers: plan.faults.has_drivers().then(|| Drivers::new(&plan.layout, plan.seed)),
            person: plan.faults.is_attended().then(|| Person::new(plan.seed)),
            caller: Caller::default(),
            seed: plan.seed,
            watch: Watch::new(&plan.layout),
            broken: Vec::new(),
            log,
            heard,
        }
    }

    /// Whether there is no point in going on: something happened after which trains are not where anybody wants them. After a
    /// wrong tag there is: whether it becomes a wrong move is what one wants to know.
    fn is_over(&self) -> bool {
        self.broken.iter().any(|broken| broken.law != Law::Never(Rule::N1))
            || (self.log.is_on() && !self.broken.is_empty())
    }

    /// The faults are over: nobody meddles any more, and somebody helps.
    fn heal(&mut self) {
        self.watch.heal();
        self.traffic.watch();
        self.meddling = None;
        if let Some(dispatcher) = &mut self.dispatcher {
            dispatcher.go_home();
        }
        if let Some(drivers) = &mut self.drivers {
            drivers.go_home();
        }
        self.person.get_or_insert_with(|| Person::new(self.seed));
    }

    fn hear(&mut self, moment: &Moment<'_>, desk: &mut Desk) {
        if self.log.is_on() && self.broken.is_empty() {
            words::write(self.log, moment);
        }
        if let Some(heard) = &mut self.heard {
            heard.hear(moment.now, moment.inputs);
        }
        self.watch.hear(moment);
        let broken = |it: &Violation| Broken { at: it.at, law: Law::Never(it.rule), sentence: it.sentence.clone() };
        self.broken.extend(moment.violations.iter().map(broken));
        self.traffic.hear(moment, desk);
        if let Some(meddling) = &mut self.meddling {
            meddling.hear(moment, desk);
        }
        if let Some(dispatcher) = &mut self.dispatcher {
            dispatcher.hear(moment, desk);
        }
        if let Some(drivers) = &mut self.drivers {
            drivers.hear(moment, desk);
        }
        self.caller.hear(moment, &self.watch, desk);
        if let Some(person) = &mut self.person {
            person.hear(moment, &self.watch, desk);
        }
    }
}
