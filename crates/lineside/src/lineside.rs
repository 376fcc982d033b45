//! All links of a layout together.

use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use signaller::Output;
use tokio::runtime::Runtime;
use tokio::sync::mpsc;
use tokio::sync::mpsc::error::TrySendError;
use track::wiring::{At, By, Thing, WiredLink, Wiring};
use track::{Layout, LinkId};

use crate::desired::Desired;
use crate::health::{Chart, Health};
use crate::motion::Motions;
use crate::news::{News, What};
use crate::pulse::Pulse;
use crate::reporter::Reporter;
use crate::{adapter, gpio, lcc, modbus, mqtt};

/// So much news may wait to be heard; then the links wait.
const NEWS: usize = 4096;
/// So many orders may wait for one link; then those for whom there is no room are lost, and that is said.
const ORDERS: usize = 4096;
/// A loop that has not gone round for so long cannot answer for the trains.
const HANGS: Duration = Duration::from_secs(1);
/// How often that is looked at.
const LOOKED: Duration = Duration::from_millis(250);
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
}

/// What one link is told, as its shell takes it.
#[derive(Debug)]
pub(crate) struct Orders {
    waiting: mpsc::Receiver<Order>,
    motions: Motions,
}

impl Orders {
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
        }
    }

    /// Waits, and adds what is ordered meanwhile to what is to be done later.
    pub(crate) async fn put_off(&mut self, wait: Duration, later: &mut Vec<Output>) -> Result<(), Closed> {
        let until = tokio::time::Instant::now() + wait;
        loop {
            match tokio::time::timeout_at(until, self.next()).await {
                Ok(None) => return Err(Closed),
                Ok(Some(outputs)) => later.extend(outputs),
                Err(_) => return Ok(()),
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
                Ok(Some(_)) => {}
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
    link: LinkId,
    orders: mpsc::Sender<Order>,
    chart: Chart,
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
    links: Vec<Held>,
    carriers: BTreeMap<Thing, usize>,
    desired: Desired,
    pulse: Pulse,
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
        let (mut links, mut carriers) = (Vec::new(), BTreeMap::new());
        let wanted = wiring.links.iter().filter(|wired| only.is_none_or(|only| only == wired.link));
        for wired in wanted {
            carriers.extend(wired.carries.iter().map(|carried| (carried.thing, links.len())));
            let (orders, waiting) = mpsc::channel(ORDERS);
            let chart = Chart::new(&wired.name);
            let reporter = Reporter::new(wired, states(layout, wired), sender.clone(), chart.clone());
            let start = Start {
                layout: Arc::clone(layout),
                wired: wired.clone(),
                role,
                folder: folder.to_owned(),
                elsewhere: others(wiring, wired),
                reporter,
                orders: Orders { waiting, motions: Motions::default() },
            };
            begin(&runtime, start);
            links.push(Held { link: wired.link, orders, chart });
        }
        let pulse = Pulse::new();
        if role == Role::Runs {
            // These must not keep the links open when they are to be closed.
            let all = links.iter().map(|held: &Held| held.orders.downgrade()).collect();
            runtime.spawn(watch(pulse.clone(), all));
        }
        Ok(Self { runtime: Some(runtime), news, links, carriers, desired: Desired::default(), pulse })
    }

    /// The links, in order.
    pub fn links(&self) -> impl Iterator<Item = LinkId> + '_ {
        self.links.iter().map(|held| held.link)
    }

    /// What comes next; nothing once every link has ended. Whoever does not ask keeps the links waiting.
    pub async fn next(&mut self) -> Option<News> {
        let news = self.news.recv().await?;
        self.answer(&news);
        Some(news)
    }

    /// As [`Lineside::next`], outside of any runtime; nothing if nothing comes within a time.
    pub fn next_within(&mut self, wait: Duration) -> Option<News> {
        let news =
            self.runtime.as_ref()?.block_on(async { tokio::time::timeout(wait, self.news.recv()).await }).ok()??;
        self.answer(&news);
        Some(news)
    }

    /// A link that is back is told how everything shall be.
    fn answer(&mut self, news: &News) {
        if !matches!(news.what, What::Up(_)) {
            return;
        }
        let Some(place) = self.links.iter().position(|held| held.link == news.link) else { return };
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

fn begin(runtime: &Runtime, start: Start) {
    match start.wired.by.clone() {
        By::Mqtt(setup) => drop(runtime.spawn(mqtt::serve(*setup, start))),
        By::Adapter(setup) => drop(runtime.spawn(adapter::serve(setup, start))),
        By::Lcc(setup) => drop(runtime.spawn(lcc::serve(setup, start))),
        By::Modbus(setup) => drop(runtime.spawn(modbus::serve(setup, start))),
        By::Gpio(setup) => drop(runtime.spawn(gpio::serve(setup, start))),
    }
}

/// Tells the links when the loop hangs, and when it goes round again.
async fn watch(pulse: Pulse, links: Vec<mpsc::WeakSender<Order>>) {
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
        let reporter = Reporter::new(wired, states(layout, wired), sender, Chart::new(&wired.name));
        let start = Start {
            layout: Arc::clone(layout),
            wired: wired.clone(),
            role: Role::Runs,
            folder: PathBuf::new(),
            elsewhere: BTreeSet::new(),
            reporter,
            orders: Orders { waiting, motions: Motions::default() },
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
        let mut orders = Orders { waiting, motions: Motions::default() };
        orders.outputs(Order::Outputs(vec![drive(1, 9), drive(2, 7), stop(2)]));
        assert_eq!(orders.outputs(Order::Abandon), [drive(1, 0), drive(2, 0)]);
        assert_eq!(orders.outputs(Order::Resume), [drive(1, 9), stop(2), drive(2, 0)]);
    }
}
