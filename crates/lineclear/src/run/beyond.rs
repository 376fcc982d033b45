//! A signaller whose table is elsewhere: what is heard comes in, what is ordered goes out, and time is that of the wall.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::Duration;

use lineside::{Desired, Rewired, What};
use signaller::{Conduct, Input, Output, Signaller, Time};
use testtrack::{Desk, Works, renumber_report};
use track::wiring::Wiring;
use track::{Layout, LinkId, Renumbering, TrainId};

use super::house::Timed;
use super::outside::{News, Outside};
use crate::table::wire::{self, Order};

/// The signaller, and what it is told and tells.
pub(super) struct Beyond {
    layout: Arc<Layout>,
    timed: Timed,
    desk: Desk,
    now: Time,
    wake_at: Option<Time>,
    outside: Outside,
    /// Links to hardware that did not come up yet, at first.
    awaited: BTreeSet<LinkId>,
    /// Links to hardware that are down.
    down: BTreeSet<LinkId>,
    /// What was heard and not worked through yet.
    inbox: Vec<Input>,
    /// In how many reports.
    reports: u64,
    /// What is to be heard before anything else, once the line is up for the first time.
    first: Option<Vec<Input>>,
    has_begun: bool,
    /// It has begun, and nobody has asked yet.
    has_just_begun: bool,
    desired: Desired,
    state: LineState,
}

/// How the line is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum LineState {
    Down,
    /// It is up, and what is reported first is still to come.
    Coming,
    Up,
}

/// One step, for whoever listens.
pub(super) struct Worked<'a> {
    pub(super) now: Time,
    pub(super) inputs: &'a [Input],
    pub(super) outputs: &'a [Output],
    pub(super) signaller: &'a Signaller,
}

impl Beyond {
    /// A signaller at the end of a line that is not up yet.
    pub(super) fn new(layout: Arc<Layout>, outside: Outside, first: Vec<Input>) -> Self {
        let awaited = outside.links().unwrap_or_default();
        Self {
            timed: Timed::new(Signaller::new(Arc::clone(&layout), Conduct::Control)),
            layout,
            desk: Desk::default(),
            now: Time::ZERO,
            wake_at: None,
            down: awaited.clone(),
            awaited,
            outside,
            inbox: Vec::new(),
            reports: 0,
            first: Some(first),
            has_begun: false,
            has_just_begun: false,
            desired: Desired::default(),
            state: LineState::Down,
        }
    }

    /// The layout time.
    pub(super) fn now(&self) -> Time {
        self.now
    }

    pub(super) fn timed(&self) -> &Timed {
        &self.timed
    }

    pub(super) fn timed_mut(&mut self) -> &mut Timed {
        &mut self.timed
    }

    pub(super) fn desk(&mut self) -> &mut Desk {
        &mut self.desk
    }

    pub(super) fn outside(&mut self) -> &mut Outside {
        &mut self.outside
    }

    /// Whether hardware is at the other end, over its links.
    pub(super) fn is_over_links(&self) -> bool {
        matches!(self.outside, Outside::Links(_))
    }

    /// Whether it has begun since this was asked last.
    pub(super) fn take_just_begun(&mut self) -> bool {
        std::mem::take(&mut self.has_just_begun)
    }

    pub(super) fn into_outside(self) -> Outside {
        self.outside
    }

    /// Whether a link that a train is driven over is down, and what that is called.
    pub(super) fn cut_off(&self, train: TrainId) -> Option<String> {
        // At first links may take their time.
        self.has_begun.then_some(())?;
        let link = self.down.iter().find(|&&link| self.outside.trains(link).contains(&train))?;
        Some(self.outside.name(*link))
    }

    /// When something is due next.
    pub(super) fn next_due(&self) -> Option<Time> {
        let now = (!self.inbox.is_empty()).then_some(self.now);
        [self.wake_at, self.desk.next_due(), now].into_iter().flatten().min()
    }

    /// Takes in what came over the line; tells what there is to say about it.
    pub(super) fn take(&mut self, news: News) -> Option<String> {
        match news {
            News::Up => {
                self.state = LineState::Coming;
                None
            }
            News::Down(why) => {
                let was = std::mem::replace(&mut self.state, LineState::Down);
                if was == LineState::Up {
                    self.inbox.extend(self.links(LineIs::Down));
                }
                Some(format!("the table cannot be reached: {why}; every train is held until it can"))
            }
            News::LinkUp(link, reports) => {
                self.awaited.remove(&link);
                self.down.remove(&link);
                self.inbox.push(Input::LinkReported { link, up: true });
                self.inbox.extend(reports);
                Some(format!("link {} is up", self.outside.name(link)))
            }
            News::LinkDown(link, why) => {
                if self.down.insert(link) {
                    self.inbox.push(Input::LinkReported { link, up: false });
                }
                Some(format!("link {} is down: {why}", self.outside.name(link)))
            }
            News::Said(text) => Some(text),
            News::Stop(link, why) => {
                Some(format!("link {}: {why}; every train is made to stand", self.outside.name(link)))
            }
            News::Reported(reports) if self.is_over_links() => {
                self.inbox.extend(reports);
                None
            }
            News::Reported(reports) => {
                self.reports += 1;
                if self.state != LineState::Coming {
                    self.inbox.extend(reports);
                    return None;
                }
                self.state = LineState::Up;
                match self.first.take() {
                    Some(first) => {
                        self.inbox.extend(first);
                        self.inbox.extend(reports);
                    }
                    None => {
                        self.inbox.extend(self.links(LineIs::Up));
                        self.inbox.extend(reports);
                        let outputs = self.desired.outputs();
                        self.outside.send(0, &[], &outputs);
                    }
                }
                Some("the table is there".to_owned())
            }
            // Nobody asked for it any more.
            News::Rebuilt(_) => None,
        }
    }

    /// Goes on with a signaller that knows everything by its new numbers, and with the links as they are described now. Those that
    /// are as they were stay up; nothing is known of what all others carry until they are up again.
    ///
    /// # Errors
    /// Says why not, and all stays as it is.
    pub(super) async fn rewire(
        &mut self,
        layout: &Arc<Layout>,
        wiring: &Wiring,
        numbers: &Arc<Renumbering>,
        signaller: Signaller,
    ) -> Result<(), String> {
        if !self.has_begun {
            return Err("the links are still coming up; hint: try again in a moment".to_owned());
        }
        let Outside::Links(hardware) = &mut self.outside else { return Err("there are no links".to_owned()) };
        let Rewired { late, anew } = hardware.rewire(layout, wiring, numbers).await;
        let late = late.into_iter().flat_map(|news| match news.what {
            What::Reported(inputs) => inputs,
            _ => Vec::new(),
        });
        let before: Vec<Input> = std::mem::take(&mut self.inbox).into_iter().chain(late).collect();
        self.inbox = before.iter().filter_map(|report| renumber_report(report, numbers)).collect();
        self.inbox.extend(anew.iter().map(|&link| Input::LinkReported { link, up: false }));
        self.awaited.clear();
        self.down = anew;
        self.go_on(layout, signaller);
        Ok(())
    }

    fn go_on(&mut self, layout: &Arc<Layout>, signaller: Signaller) {
        self.layout = Arc::clone(layout);
        self.timed = Timed::new(signaller);
        self.wake_at = None;
        self.desired = Desired::default();
    }

    /// Has the track built anew as another layout says, and goes on with a signaller that knows everything by its new numbers.
    ///
    /// # Errors
    /// Says why not, and all stays as it is.
    pub(super) async fn rebuild(
        &mut self,
        layout: &Arc<Layout>,
        files: &BTreeMap<String, String>,
        numbers: &Renumbering,
        signaller: Signaller,
    ) -> Result<(), String> {
        if self.state != LineState::Up || !self.has_begun {
            return Err("the table cannot be reached; hint: try again when it is there".to_owned());
        }
        let Outside::Table(line) = &mut self.outside else { return Err("there is no table".to_owned()) };
        line.send(Order::Rebuild(files.clone()));
        let mut late = Vec::new();
        let reports = loop {
            match tokio::time::timeout(REBUILT_WITHIN, line.next()).await {
                Ok(Some(News::Reported(reports))) => late.push(reports),
                Ok(Some(News::Rebuilt(rebuilt))) => break rebuilt,
                Ok(Some(news)) => {
                    let _ = self.take(news);
                    return Err("the table cannot be reached any more".to_owned());
                }
                Ok(None) | Err(_) => break Err("the table does not answer".to_owned()),
            }
        };
        let reports = reports.inspect_err(|_| {
            self.reports += late.len() as u64;
            self.inbox.extend(late.iter().flatten().cloned());
        })?;
        if let Outside::Table(line) = &self.outside {
            line.relay(wire::digest(files));
        }
        let before = std::mem::take(&mut self.inbox);
        let late = before.iter().chain(late.iter().flatten());
        self.inbox = late.filter_map(|report| renumber_report(report, numbers)).collect();
        self.inbox.extend(reports);
        self.reports = 1;
        self.go_on(layout, signaller);
        Ok(())
    }

    /// Everything comes over the one line, whatever the layout says of links.
    fn links(&self, is: LineIs) -> Vec<Input> {
        let up = is == LineIs::Up;
        self.layout.links.ids().map(|link| Input::LinkReported { link, up }).collect()
    }

    /// Lets time pass.
    pub(super) fn pass(&mut self, until: Time, listener: &mut dyn FnMut(&Worked<'_>, &mut Desk)) {
        // Before anything was heard there is nothing to work through: the signaller begins with what it remembers, with what
        // people say, and with what is reported, all at once.
        if !self.has_begun {
            self.begin_over_links(until);
            let is_all_there = self.first.is_none() && self.desk.next_due().is_none_or(|due| due <= until);
            if !is_all_there {
                self.now = self.now.max(until);
                return;
            }
            (self.has_begun, self.has_just_begun) = (true, true);
        }
        loop {
            let due = self.next_due().filter(|due| *due <= until);
            let has_heard = !self.inbox.is_empty();
            self.now = self.now.max(if has_heard { until } else { due.unwrap_or(until) });
            if !has_heard && due.is_none() {
                return;
            }
            let mut inputs = std::mem::take(&mut self.inbox);
            let called = self.desk.take_due(self.now, &mut inputs);
            if self.wake_at.is_some_and(|at| at <= self.now) {
                inputs.push(Input::Woke);
                self.wake_at = None;
            }
            self.step(&inputs, called, listener);
        }
    }

    /// Over links the signaller begins once all of them are up, or were given the time for it: what is remembered comes before
    /// what is reported, and what a link that is down carries is not known.
    fn begin_over_links(&mut self, now: Time) {
        let is_time = self.awaited.is_empty() || now >= Time::ZERO + COMING_UP;
        if !self.is_over_links() || !is_time {
            return;
        }
        if let Some(mut first) = self.first.take() {
            first.extend(self.down.iter().map(|&link| Input::LinkReported { link, up: false }));
            first.append(&mut self.inbox);
            self.inbox = first;
        }
    }

    fn step(&mut self, inputs: &[Input], called: testtrack::Called, listener: &mut dyn FnMut(&Worked<'_>, &mut Desk)) {
        let mut outputs = Vec::new();
        if !inputs.is_empty() {
            let step = self.timed.work(self.now, inputs);
            outputs.extend_from_slice(step.outputs);
            self.wake_at = step.wake_at.map(|at| at.max(self.now + TURNAROUND));
            self.desired.hear(&outputs);
            let reports = std::mem::take(&mut self.reports);
            self.outside.send(reports, inputs, &outputs);
        }
        if !inputs.is_empty() || called == testtrack::Called::Yes {
            let signaller = self.timed.signaller();
            listener(&Worked { now: self.now, inputs, outputs: &outputs, signaller }, &mut self.desk);
        }
    }
}

/// How long links may take to come up before a run begins without them.
const COMING_UP: Duration = Duration::from_secs(5);

/// So long the table may take to have its track built anew. The loop stands still meanwhile.
const REBUILT_WITHIN: std::time::Duration = std::time::Duration::from_millis(500);

/// Time moves on even where a listener asks for something in every step.
const TURNAROUND: std::time::Duration = std::time::Duration::from_millis(1);

#[derive(Clone, Copy, PartialEq, Eq)]
enum LineIs {
    Up,
    Down,
}
