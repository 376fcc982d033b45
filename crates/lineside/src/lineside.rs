//! All links of a layout together.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use signaller::Output;
use tokio::runtime::Runtime;
use tokio::sync::mpsc;
use tokio::sync::mpsc::error::TrySendError;
use tokio::task::JoinHandle;
use track::wiring::{At, By, Thing, WiredLink, Wiring};
use track::{Layout, LinkId, Renumbering};

use crate::desired::Desired;
use crate::health::{Chart, Health};
use crate::motion::Motions;
use crate::news::{News, What};
use crate::pulse::Pulse;
use crate::reporter::Reporter;
use crate::rewire::{Changing, Rewire, Rewired, is_as_it_was};
use crate::{adapter, gpio, lcc, modbus, mqtt};

/// So much news may wait to be heard; then the links wait.
const NEWS: usize = 4096;
/// So many orders may wait for one link; then those for whom there is no room are lost, and that is said.
const ORDERS: usize = 4096;
/// A loop that has not gone round for so long cannot answer for the trains.
const HANGS: Duration = Duration::from_secs(1);
/// How often that is looked at.
const LOOKED: Duration = Duration::from_millis(250);
/// How long links may take to go on with other numbers. One that does not begins anew.
const REWIRED: Duration = Duration::from_millis(300);
/// How long links may take to close.
const CLOSING: Duration = Duration::from_secs(3);

/// What links are opened for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// To run the layout.
    Runs,
    /// To hear what comes, all of it, and to order nothing.
    Listens,
    /// To try single orders by hand.
    Tries,
}

/// What one link is told.
#[derive(Debug)]
enum Order {
    Outputs(Vec<Output>),
    /// The loop hangs: trains are to stand.
    Abandon,
    /// It goes round again.
    Resume,
    /// Things go by other numbers from now on.
    Rewire(Box<Rewire>),
    /// The link is about to be closed, and another takes its place: whoever is there need not hear that nobody is in charge.
    Replace,
}

/// What one link is told, as its shell takes it.
#[derive(Debug)]
pub(crate) struct Orders {
    waiting: mpsc::Receiver<Order>,
    motions: Motions,
    rewire: Option<Box<Rewire>>,
    is_replaced: bool,
}

impl Orders {
    fn new(waiting: mpsc::Receiver<Order>) -> Self {
        Self { waiting, motions: Motions::default(), rewire: None, is_replaced: false }
    }

    /// The other numbers that things go by from now on, once there are any.
    pub(crate) fn take_rewire(&mut self) -> Option<Box<Rewire>> {
        self.rewire.take()
    }

    /// Whether another link takes the place of this one.
    pub(crate) fn is_replaced(&self) -> bool {
        self.is_replaced
    }

    /// What is ordered next; nothing once the link is to be closed.
    pub(crate) async fn next(&mut self) -> Option<Vec<Output>> {
        let order = self.waiting.recv().await?;
        Some(self.outputs(order))
    }

    fn outputs(&mut self, order: Order) -> Vec<Output> {
        match order {
            Order::Outputs(outputs) => {
                for output in &outputs {
                    self.motions.order(output);
                }
                outputs
            }
            Order::Abandon => self.motions.standing(),
            Order::Resume => self.motions.outputs(),
            Order::Rewire(rewire) => {
                self.motions = self.motions.renumbered(&rewire.numbers);
                self.rewire = Some(rewire);
                Vec::new()
            }
            Order::Replace => {
                self.is_replaced = true;
                Vec::new()
            }
        }
    }

    /// Waits, and adds what is ordered meanwhile to what is to be done later.
    pub(crate) async fn put_off(&mut self, wait: Duration, later: &mut Vec<Output>) -> Result<(), Closed> {
        let until = tokio::time::Instant::now() + wait;
        loop {
            match tokio::time::timeout_at(until, self.next()).await {
                Ok(None) => return Err(Closed),
                Ok(Some(outputs)) => later.extend(outputs),
                Err(_) => {
                    // One that is being opened again says nothing of other numbers: it begins anew.
                    self.rewire = None;
                    return Ok(());
                }
            }
        }
    }

    /// Waits, and lets what is ordered meanwhile pass: nobody is there who could do it, and how everything shall be is told when
    /// the link is back.
    pub(crate) async fn pass_over(&mut self, wait: Duration) -> Result<(), Closed> {
        let until = tokio::time::Instant::now() + wait;
        loop {
            match tokio::time::timeout_at(until, self.next()).await {
                Ok(None) => return Err(Closed),
                Ok(Some(_)) => self.rewire = None,
                Err(_) => return Ok(()),
            }
        }
    }
}

/// The link is to be closed.
#[derive(Debug)]
pub(crate) struct Closed;

/// One link, as it is held.
#[derive(Debug)]
struct Held {
    wired: WiredLink,
    instance: u64,
    orders: mpsc::Sender<Order>,
    chart: Chart,
    task: JoinHandle<()>,
}

/// What an output is for; nothing for facts.
fn thing_of(output: &Output) -> Option<Thing> {
    Some(match *output {
        Output::Drive { train, .. } | Output::EmergencyStop { train } | Output::Function { train, .. } => {
            Thing::Train(train)
        }
        Output::Power { district, .. } => Thing::District(district),
        Output::Accessory { accessory, .. } => Thing::Accessory(accessory),
        Output::Throw { turnout, .. } => Thing::Turnout(turnout),
        Output::Show { signal, .. } | Output::Light { signal, .. } => Thing::Signal(signal),
        Output::Fact(_) => return None,
    })
}

/// Everything that a link needs to begin.
pub(crate) struct Start {
    pub(crate) layout: Arc<Layout>,
    pub(crate) wired: WiredLink,
    pub(crate) role: Role,
    /// The folder that files of the links are named from.
    pub(crate) folder: PathBuf,
    /// Topics that other links know.
    pub(crate) elsewhere: BTreeSet<String>,
    pub(crate) reporter: Reporter,
    pub(crate) orders: Orders,
}

/// All links of a layout. They live on a thread of their own, and come and go by themselves.
#[derive(Debug)]
pub struct Lineside {
    runtime: Option<Runtime>,
    news: mpsc::Receiver<News>,
    /// What was told while links changed.
    backlog: VecDeque<News>,
    /// Where links tell what they tell; nothing once they are to be closed.
    sender: Option<mpsc::Sender<News>>,
    role: Role,
    folder: PathBuf,
    links: Vec<Held>,
    /// So many links there ever were.
    instances: u64,
    carriers: BTreeMap<Thing, usize>,
    desired: Desired,
    pulse: Pulse,
    /// These must not keep the links open when they are to be closed.
    watched: Arc<Mutex<Vec<mpsc::WeakSender<Order>>>>,
}

impl Lineside {
    /// Opens all links, or only those named so.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub fn open(
        layout: &Arc<Layout>,
        wiring: &Wiring,
        folder: &Path,
        role: Role,
        only: Option<LinkId>,
    ) -> io::Result<Self> {
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build()?;
        let (sender, news) = mpsc::channel(NEWS);
        let (pulse, watched) = (Pulse::new(), Arc::default());
        if role == Role::Runs {
            runtime.spawn(watch(pulse.clone(), Arc::clone(&watched)));
        }
        let mut lineside = Self {
            runtime: Some(runtime),
            news,
            backlog: VecDeque::new(),
            sender: Some(sender),
            role,
            folder: folder.to_owned(),
            links: Vec::new(),
            instances: 0,
            carriers: BTreeMap::new(),
            desired: Desired::default(),
            pulse,
            watched,
        };
        for wired in wiring.links.iter().filter(|wired| only.is_none_or(|only| only == wired.link)) {
            let held = lineside.begin(layout, wiring, wired, None);
            lineside.links.extend(held);
        }
        lineside.know_carriers();
        Ok(lineside)
    }

    /// Begins a link, once the one before that had its name has ended; nothing once all are to be closed.
    fn begin(
        &mut self,
        layout: &Arc<Layout>,
        wiring: &Wiring,
        wired: &WiredLink,
        before: Option<JoinHandle<()>>,
    ) -> Option<Held> {
        let (runtime, sender) = (self.runtime.as_ref()?, self.sender.clone()?);
        self.instances += 1;
        let (instance, chart) = (self.instances, Chart::new(&wired.name));
        let (orders, waiting) = mpsc::channel(ORDERS);
        let reporter = Reporter::new((wired, instance), states(layout, wired), sender, chart.clone());
        let start = Start {
            layout: Arc::clone(layout),
            wired: wired.clone(),
            role: self.role,
            folder: self.folder.clone(),
            elsewhere: others(wiring, wired),
            reporter,
            orders: Orders::new(waiting),
        };
        let task = runtime.spawn(serve(start, before));
        Some(Held { wired: wired.clone(), instance, orders, chart, task })
    }

    /// Notes what is carried by which link, and which links are told when the loop hangs.
    fn know_carriers(&mut self) {
        let things = self
            .links
            .iter()
            .enumerate()
            .flat_map(|(place, held)| held.wired.carries.iter().map(move |it| (it, place)));
        self.carriers = things.map(|(carried, place)| (carried.thing, place)).collect();
        let all = self.links.iter().map(|held| held.orders.downgrade()).collect();
        *self.watched.lock().unwrap_or_else(PoisonError::into_inner) = all;
    }

    /// Goes on with another layout, and with other links. What was asked for before is by the old numbers, what is asked for
    /// later by the new ones.
    pub async fn rewire(&mut self, layout: &Arc<Layout>, wiring: &Wiring, numbers: &Arc<Renumbering>) -> Rewired {
        let mut changing = Changing::default();
        self.backlog.drain(..).for_each(|news| changing.late.push(news));
        for held in &self.links {
            let now = wiring.links.iter().find(|wired| is_as_it_was(&held.wired, wired));
            let Some(wired) = now.filter(|_| held.chart.look().is_up) else { continue };
            let (layout, numbers, states) = (Arc::clone(layout), Arc::clone(numbers), states(layout, wired));
            let rewire = Rewire { layout, wired: wired.clone(), states, numbers };
            if held.orders.try_send(Order::Rewire(Box::new(rewire))).is_ok() {
                changing.expect(held.instance);
            }
        }
        let until = tokio::time::Instant::now() + REWIRED;
        while changing.is_waiting() {
            let Ok(Some(news)) = tokio::time::timeout_at(until, self.news.recv()).await else { break };
            changing.hear(news);
        }
        let anew = self.replace(layout, wiring, numbers, &changing);
        let Changing { news, mut late, .. } = changing;
        late.retain(|news| self.links.iter().any(|held| held.instance == news.instance));
        self.backlog.extend(news);
        Rewired { late, anew }
    }

    /// Lets links go on that have changed, and all others begin anew.
    fn replace(
        &mut self,
        layout: &Arc<Layout>,
        wiring: &Wiring,
        numbers: &Arc<Renumbering>,
        changing: &Changing,
    ) -> BTreeSet<LinkId> {
        let mut before: BTreeMap<String, Held> =
            self.links.drain(..).map(|held| (held.wired.name.clone(), held)).collect();
        let mut anew = BTreeSet::new();
        for wired in &wiring.links {
            let held = match before.remove(&wired.name) {
                Some(held) if changing.goes_on(held.instance) => Some(Held { wired: wired.clone(), ..held }),
                held => {
                    anew.insert(wired.link);
                    let task = held.map(|held| held.end(wiring));
                    self.begin(layout, wiring, wired, task)
                }
            };
            self.links.extend(held);
        }
        // What is described no more ends by itself.
        before.into_values().for_each(|held| drop(held.end(wiring)));
        self.know_carriers();
        self.desired = self.desired.renumbered(numbers);
        for place in 0..self.links.len() {
            self.tell_desired(place);
        }
        anew
    }

    /// The links, in order.
    pub fn links(&self) -> impl Iterator<Item = LinkId> + '_ {
        self.links.iter().map(|held| held.wired.link)
    }

    /// What comes next. Whoever does not ask keeps the links waiting.
    pub async fn next(&mut self) -> Option<News> {
        loop {
            let news = match self.backlog.pop_front() {
                Some(news) => news,
                None => self.news.recv().await?,
            };
            if self.answer(&news) {
                return Some(news);
            }
        }
    }

    /// As [`Lineside::next`], outside of any runtime; nothing if nothing comes within a time.
    pub fn next_within(&mut self, wait: Duration) -> Option<News> {
        let runtime = self.runtime.take()?;
        let next = runtime.block_on(async { tokio::time::timeout(wait, self.next()).await });
        self.runtime = Some(runtime);
        next.ok()?
    }

    /// A link that is back is told how everything shall be. Tells whether the link is one of those that there are.
    fn answer(&self, news: &News) -> bool {
        let Some(place) = self.links.iter().position(|held| held.instance == news.instance) else { return false };
        if matches!(news.what, What::Up(_)) {
            self.tell_desired(place);
        }
        true
    }

    fn tell_desired(&self, place: usize) {
        let own = |output: &Output| thing_of(output).and_then(|thing| self.carriers.get(&thing)) == Some(&place);
        let outputs: Vec<Output> = self.desired.outputs().into_iter().filter(own).collect();
        self.send(place, outputs);
    }

    /// Orders things of the links that carry them. What no link carries is nobody's.
    pub fn order(&mut self, outputs: &[Output]) {
        self.desired.hear(outputs);
        let mut shares: BTreeMap<usize, Vec<Output>> = BTreeMap::new();
        for output in outputs {
            if let Some(&place) = thing_of(output).and_then(|thing| self.carriers.get(&thing)) {
                shares.entry(place).or_default().push(output.clone());
            }
        }
        for (place, outputs) in shares {
            self.send(place, outputs);
        }
    }

    /// Lets trains stand, each facing as it was last driven.
    pub fn stand(&mut self, outputs: &[Output]) {
        let outputs: Vec<Output> = outputs
            .iter()
            .map(|output| match *output {
                Output::Drive { train, direction, .. } => {
                    let direction = self.desired.direction(train).unwrap_or(direction);
                    Output::Drive { train, direction, step: 0 }
                }
                ref other => other.clone(),
            })
            .collect();
        self.order(&outputs);
    }

    fn send(&self, place: usize, outputs: Vec<Output>) {
        if outputs.is_empty() {
            return;
        }
        let Some(held) = self.links.get(place) else { return };
        if let Err(TrySendError::Full(_)) = held.orders.try_send(Order::Outputs(outputs)) {
            tracing::error!(link = held.chart.look().name, "it takes no orders: some are lost");
        }
    }

    /// What tells the links that the loop goes round.
    pub fn pulse(&self) -> &Pulse {
        &self.pulse
    }

    /// How each link is.
    pub fn health(&self) -> Vec<Health> {
        self.links.iter().map(|held| held.chart.look()).collect()
    }

    /// Closes all links: each says that we are gone, where it can. Not to be called within a runtime.
    pub fn close(mut self) {
        self.links.clear();
        self.sender = None;
        if let Some(runtime) = self.runtime.take() {
            let news = &mut self.news;
            // A link that is closing may still have something to tell; when all have ended nobody is left who could.
            let drained = async { while news.recv().await.is_some() {} };
            // One that does not end is not waited for.
            let _ = runtime.block_on(async { tokio::time::timeout(CLOSING, drained).await });
            runtime.shutdown_background();
        }
    }
}

impl Drop for Lineside {
    fn drop(&mut self) {
        if let Some(runtime) = self.runtime.take() {
            runtime.shutdown_background();
        }
    }
}

/// What a link tells of by itself, so that it is complete only with all of it.
fn states(layout: &Layout, wired: &WiredLink) -> BTreeSet<Thing> {
    let is_state = |thing: Thing| match thing {
        Thing::Section(_) | Thing::Input(_) => true,
        Thing::Turnout(turnout) => layout.turnouts[turnout].reported,
        _ => false,
    };
    let hears = |at: &At| match at {
        At::Mqtt(at) => at.hears.is_some(),
        _ => true,
    };
    let all = wired.carries.iter().filter(|carried| is_state(carried.thing) && hears(&carried.at));
    all.map(|carried| carried.thing).collect()
}

/// The topics of all links but one.
fn others(wiring: &Wiring, wired: &WiredLink) -> BTreeSet<String> {
    wiring.links.iter().filter(|other| other.link != wired.link).flat_map(mqtt::Codec::topics).collect()
}

impl Held {
    /// Ends a link: trains that are driven over it are to stand, for nobody drives them until it is back. That nobody is in charge
    /// is said only where nobody says anything at that place any more.
    fn end(self, wiring: &Wiring) -> JoinHandle<()> {
        let place = says_at(&self.wired.by);
        let is_replaced = place.is_some() && wiring.links.iter().any(|wired| says_at(&wired.by) == place);
        let orders = [Some(Order::Abandon), is_replaced.then_some(Order::Replace)];
        for order in orders.into_iter().flatten() {
            if self.orders.try_send(order).is_err() {
                tracing::error!(link = self.wired.name, "it takes no orders, and ends");
            }
        }
        self.task
    }
}

/// Where a link says whether anybody is in charge.
fn says_at(by: &By) -> Option<(&str, u16, &str)> {
    match by {
        By::Mqtt(setup) => Some((&setup.host, setup.port, &setup.status_topic)),
        _ => None,
    }
}

/// Keeps a link up, once the one before has ended; one that does not end by itself is ended.
async fn serve(start: Start, before: Option<JoinHandle<()>>) {
    if let Some(mut before) = before
        && tokio::time::timeout(CLOSING, &mut before).await.is_err()
    {
        before.abort();
    }
    match start.wired.by.clone() {
        By::Mqtt(setup) => mqtt::serve(*setup, start).await,
        By::Adapter(setup) => adapter::serve(setup, start).await,
        By::Lcc(setup) => lcc::serve(setup, start).await,
        By::Modbus(setup) => modbus::serve(setup, start).await,
        By::Gpio(setup) => gpio::serve(setup, start).await,
    }
}

/// Tells the links when the loop hangs, and when it goes round again.
async fn watch(pulse: Pulse, links: Arc<Mutex<Vec<mpsc::WeakSender<Order>>>>) {
    let mut has_given_up = false;
    let mut looks = tokio::time::interval(LOOKED);
    loop {
        looks.tick().await;
        let hangs = pulse.silent_for() >= HANGS;
        if hangs == has_given_up {
            continue;
        }
        has_given_up = hangs;
        if hangs {
            tracing::error!("the loop does not go round: the links tell the trains to stand");
        }
        let links = links.lock().unwrap_or_else(PoisonError::into_inner).clone();
        for link in links.iter().filter_map(mpsc::WeakSender::upgrade) {
            let order = if hangs { Order::Abandon } else { Order::Resume };
            if link.try_send(order).is_err() {
                tracing::error!("a link takes no orders");
            }
        }
    }
}

#[cfg(test)]
pub(crate) mod doubles {
    //! What a link is given, for tests of a shell by itself.

    use super::*;

    /// Whoever orders things of a link.
    pub(crate) struct Orderer(mpsc::Sender<Order>);

    impl Orderer {
        pub(crate) async fn order(&self, output: Output) {
            self.0.send(Order::Outputs(vec![output])).await.unwrap();
        }
    }

    /// A link, what it tells, and who orders things of it.
    pub(crate) fn start(layout: &Arc<Layout>, wired: &WiredLink) -> (Start, mpsc::Receiver<News>, Orderer) {
        let (sender, news) = mpsc::channel(NEWS);
        let (orders, waiting) = mpsc::channel(ORDERS);
        let reporter = Reporter::new((wired, 1), states(layout, wired), sender, Chart::new(&wired.name));
        let start = Start {
            layout: Arc::clone(layout),
            wired: wired.clone(),
            role: Role::Runs,
            folder: PathBuf::new(),
            elsewhere: BTreeSet::new(),
            reporter,
            orders: Orders::new(waiting),
        };
        (start, news, Orderer(orders))
    }
}

#[cfg(test)]
mod tests {
    use signaller::Direction;
    use track::{Id as _, TrainId};

    use super::*;

    fn drive(train: usize, step: u8) -> Output {
        Output::Drive { train: TrainId::from_index(train), direction: Direction::Backward, step }
    }

    fn stop(train: usize) -> Output {
        Output::EmergencyStop { train: TrainId::from_index(train) }
    }

    #[test]
    fn a_train_that_was_stopped_in_an_emergency_does_not_run_on_when_the_loop_goes_round_again() {
        let (_, waiting) = mpsc::channel(1);
        let mut orders = Orders::new(waiting);
        orders.outputs(Order::Outputs(vec![drive(1, 9), drive(2, 7), stop(2)]));
        assert_eq!(orders.outputs(Order::Abandon), [drive(1, 0), drive(2, 0)]);
        assert_eq!(orders.outputs(Order::Resume), [drive(1, 9), stop(2), drive(2, 0)]);
    }
}
