//! The post: reports on their way, and what befalls them there.

use std::collections::BTreeMap;
use std::time::Duration;

use signaller::{Input, Time};
use track::{LinkId, SectionId, Table as Rows, TurnoutId};

use crate::faults::{Fault, Faults, Rate};
use crate::mishaps::Mishap;
use crate::random::Stream;
use crate::settings::{Settings, Spread};

/// How long a report takes that takes too long, in milliseconds. Later reports of the same thing wait for it.
const LATE_MS: (i64, i64) = (200, 2_000);

/// How long after a report it arrives again, in milliseconds.
const AGAIN_MS: (i64, i64) = (1, 300);

/// How long a report is held up that later ones overtake, in milliseconds.
const OVERTAKEN_MS: (i64, i64) = (100, 1_000);

/// Something that sends reports.
#[derive(Debug)]
pub(super) struct Sender {
    pub(super) on_delay: Duration,
    pub(super) off_delay: Duration,
    pub(super) stream: Stream,
    pub(super) link: Option<LinkId>,
    /// What it reports of.
    pub(super) section: Option<SectionId>,
    pub(super) turnout: Option<TurnoutId>,
    pub(super) last_arrival: Time,
}

impl Sender {
    pub(super) fn new(stream: Stream, link: Option<LinkId>) -> Self {
        let (on_delay, off_delay, last_arrival) = (Duration::ZERO, Duration::ZERO, Time::ZERO);
        Self { on_delay, off_delay, stream, link, section: None, turnout: None, last_arrival }
    }
}

/// Reports on their way, by when they arrive.
#[derive(Debug)]
pub(super) struct Post {
    delay: Spread,
    letters: BTreeMap<(Time, u64), Input>,
    posted: u64,
    pub(super) down: Rows<LinkId, bool>,
    perils: Vec<Peril>,
    /// What befalls the next report of a section, whatever chance has in mind.
    doomed: BTreeMap<SectionId, Harm>,
    pub(super) struck: Vec<Mishap>,
}

/// What befalls a report on its way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Harm {
    /// It never arrives.
    Lost,
    /// It takes so much longer. Later reports of the same section wait for it.
    Late(Duration),
    /// It arrives again, so long afterwards, and later reports of the same section wait for that.
    Doubled(Duration),
    /// It is held up for so long, and later reports of the same section overtake it.
    Overtaken(Duration),
}

impl Harm {
    const fn fault(self) -> Fault {
        match self {
            Self::Lost => Fault::MessageLost,
            Self::Late(_) => Fault::MessageLate,
            Self::Doubled(_) => Fault::MessageDoubled,
            Self::Overtaken(_) => Fault::MessageReordered,
        }
    }
}

/// One way in which a report can come to harm.
#[derive(Debug)]
struct Peril {
    fault: Fault,
    rate: Rate,
    stream: Stream,
}

impl Post {
    pub(super) fn new(links: usize, settings: &Settings) -> Self {
        Self {
            delay: settings.message_delay,
            letters: BTreeMap::new(),
            posted: 0,
            down: Rows::filled(false, links),
            perils: perils(&settings.faults, settings.seed),
            doomed: BTreeMap::new(),
            struck: Vec::new(),
        }
    }

    /// Sends a report that somebody decided on at `now` and that leaves so long afterwards.
    pub(super) fn send(&mut self, sender: &mut Sender, after: Duration, now: Time, report: Input) {
        let mut arrival = now + after + self.delay.draw(&mut sender.stream);
        if sender.link.is_some_and(|link| self.down[link]) {
            return;
        }
        let doomed = match report {
            Input::SectionReported { section, .. } => self.doomed.remove(&section),
            _ => None,
        };
        match self.fate(doomed, sender, now) {
            None => {}
            Some(Harm::Lost) => return,
            Some(Harm::Late(by)) => arrival = arrival + by,
            Some(Harm::Overtaken(by)) => {
                self.put(arrival.max(sender.last_arrival) + by, report);
                return;
            }
            Some(Harm::Doubled(after)) => {
                self.deliver(sender, arrival, report.clone());
                arrival = arrival + after;
            }
        }
        self.deliver(sender, arrival, report);
    }

    /// Has a report arrive then, behind what its sender sent before, whatever befalls others.
    pub(super) fn deliver(&mut self, sender: &mut Sender, arrival: Time, report: Input) {
        let arrival = arrival.max(sender.last_arrival + Duration::from_nanos(1));
        sender.last_arrival = arrival;
        self.put(arrival, report);
    }

    /// Has something arrive then that nobody sent: what is known at the signaller's own end.
    pub(super) fn put(&mut self, arrival: Time, report: Input) {
        self.posted += 1;
        self.letters.insert((arrival, self.posted), report);
    }

    /// When the next report arrives.
    pub(super) fn next_arrival(&self) -> Option<Time> {
        self.letters.first_key_value().map(|(&(at, _), _)| at)
    }

    /// The next report that has arrived by `now`.
    pub(super) fn take(&mut self, now: Time) -> Option<Input> {
        let entry = self.letters.first_entry().filter(|entry| entry.key().0 <= now)?;
        Some(entry.remove())
    }

    /// From now on every report arrives as it should.
    pub(super) fn heal(&mut self) {
        self.perils.clear();
    }

    /// Does harm to the next report of a section.
    pub(super) fn doom(&mut self, section: SectionId, harm: Harm) {
        self.doomed.insert(section, harm);
    }

    /// Every peril draws for every report, so that none shifts the others; the first that strikes counts.
    fn fate(&mut self, doomed: Option<Harm>, sender: &Sender, now: Time) -> Option<Harm> {
        let mut fate = doomed;
        for peril in &mut self.perils {
            if peril.rate.strikes(&mut peril.stream) {
                let strikes = peril.strike();
                fate = fate.or(Some(strikes));
            }
        }
        if let Some(harm) = fate {
            let (section, turnout) = (sender.section, sender.turnout);
            self.struck.push(Mishap { section, turnout, ..Mishap::new(harm.fault(), now).until(now) });
        }
        fate
    }
}

impl Peril {
    fn strike(&mut self) -> Harm {
        let mut span = |(least, most)| Duration::from_millis(self.stream.between(least, most) as u64);
        match self.fault {
            Fault::MessageLate => Harm::Late(span(LATE_MS)),
            Fault::MessageDoubled => Harm::Doubled(span(AGAIN_MS)),
            Fault::MessageReordered => Harm::Overtaken(span(OVERTAKEN_MS)),
            _ => Harm::Lost,
        }
    }
}

fn perils(faults: &Faults, seed: u64) -> Vec<Peril> {
    let kinds = [Fault::MessageLost, Fault::MessageLate, Fault::MessageDoubled, Fault::MessageReordered];
    let peril = |fault: Fault| {
        let stream = Stream::labelled(seed, &format!("fault {}", fault.name()));
        Peril { fault, rate: faults.rate(fault), stream }
    };
    kinds.into_iter().map(peril).filter(|peril| peril.rate.per_million() > 0).collect()
}
