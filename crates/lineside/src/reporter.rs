//! From what codecs tell to what a link tells: up, with everything reported in one go; then what is reported; down.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::{Duration, Instant};

use signaller::Input;
use tokio::sync::mpsc;
use track::LinkId;
use track::wiring::{Thing, WiredLink};

use crate::health::Chart;
use crate::news::{News, Told, What};
use crate::reading::mark_of;
use crate::rewire::{Rewire, renumbered};

/// How long a link that is up may take to report how everything is, before it counts as up without the rest.
pub(crate) const SETTLES: Duration = Duration::from_millis(700);

/// Where a link stands.
#[derive(Debug)]
enum State {
    Down,
    /// It is connected, and what it reports is gathered until it is all there.
    Gathering {
        since: Instant,
        inputs: Vec<Input>,
    },
    Up,
}

/// Whoever a link tells its news is gone.
#[derive(Debug)]
pub(crate) struct NobodyListens;

/// Tells what one link has to tell.
#[derive(Debug)]
pub(crate) struct Reporter {
    link: LinkId,
    instance: u64,
    news: mpsc::Sender<News>,
    chart: Chart,
    state: State,
    /// What is to be reported before the link counts as up.
    expected: Arc<BTreeSet<Thing>>,
    missing: BTreeSet<Thing>,
    /// What was told last of why it is down, so that it is told once.
    told: String,
    last_heard: Instant,
    pending: Vec<Input>,
}

impl Reporter {
    pub(crate) fn new(
        (wired, instance): (&WiredLink, u64),
        states: BTreeSet<Thing>,
        news: mpsc::Sender<News>,
        chart: Chart,
    ) -> Self {
        Self {
            link: wired.link,
            instance,
            news,
            chart,
            state: State::Down,
            expected: Arc::new(states),
            missing: BTreeSet::new(),
            told: String::new(),
            last_heard: Instant::now(),
            pending: Vec::new(),
        }
    }

    async fn tell(&self, what: What) -> Result<(), NobodyListens> {
        self.news.send(News { link: self.link, what, instance: self.instance }).await.map_err(|_| NobodyListens)
    }

    /// There is a connection: from now on everything is reported anew.
    pub(crate) fn connected(&mut self) {
        if !matches!(self.state, State::Down) {
            return;
        }
        self.state = State::Gathering { since: Instant::now(), inputs: Vec::new() };
        self.missing = self.expected.as_ref().clone();
        self.last_heard = Instant::now();
    }

    /// Whether there is a connection.
    pub(crate) fn is_connected(&self) -> bool {
        !matches!(self.state, State::Down)
    }

    /// Whether it counts as up.
    pub(crate) fn is_up(&self) -> bool {
        matches!(self.state, State::Up)
    }

    /// How long nothing was heard.
    pub(crate) fn silent_for(&self) -> Duration {
        self.last_heard.elapsed()
    }

    /// Something came, whatever it means.
    pub(crate) fn alive(&mut self) {
        self.last_heard = Instant::now();
    }

    /// Takes in what a codec told; what is reported is told on by [`Reporter::flush`].
    pub(crate) async fn take(&mut self, told: Vec<Told>) -> Result<(), NobodyListens> {
        for one in told {
            match one {
                Told::Input(input) => self.hear(input),
                Told::Complete => self.missing.clear(),
                Told::Here => self.connected(),
                Told::Gone(why) => {
                    self.flush().await?;
                    self.lost(&why).await?;
                }
                Told::Say(text) => self.tell(What::Said(text)).await?,
                Told::Stop(why) => self.tell(What::Stop(why)).await?,
                Told::Heard(heard) => self.tell(What::Heard(heard)).await?,
            }
        }
        Ok(())
    }

    fn hear(&mut self, input: Input) {
        let thing = match input {
            Input::TrainRead { detector, .. } => Some(Thing::Reader(detector)),
            ref other => mark_of(other).map(|(thing, _)| thing),
        };
        if let Some(thing) = thing {
            self.missing.remove(&thing);
            self.chart.note(|health| {
                health.reports += 1;
                health.heard.insert(thing, Instant::now());
            });
        }
        match &mut self.state {
            State::Down => {}
            State::Gathering { inputs, .. } => inputs.push(input),
            State::Up => self.pending.push(input),
        }
    }

    /// Tells on what there is to tell.
    pub(crate) async fn flush(&mut self) -> Result<(), NobodyListens> {
        if let State::Gathering { since, inputs } = &mut self.state {
            if !self.missing.is_empty() && since.elapsed() < SETTLES {
                return Ok(());
            }
            let inputs = std::mem::take(inputs);
            self.state = State::Up;
            self.told.clear();
            self.chart.note(|health| {
                (health.is_up, health.since, health.times_up) = (true, Instant::now(), health.times_up + 1);
            });
            return self.tell(What::Up(inputs)).await;
        }
        if self.pending.is_empty() {
            return Ok(());
        }
        let inputs = std::mem::take(&mut self.pending);
        self.tell(What::Reported(inputs)).await
    }

    /// Things go by other numbers from now on. One that is not up does not say so: it is to begin anew.
    pub(crate) async fn rewired(&mut self, rewire: &Rewire) -> Result<(), NobodyListens> {
        self.flush().await?;
        if !self.is_up() {
            return Ok(());
        }
        (self.link, self.expected) = (rewire.wired.link, Arc::new(rewire.states.clone()));
        self.chart.note(|health| {
            let heard = std::mem::take(&mut health.heard).into_iter();
            health.heard = heard.filter_map(|(thing, at)| Some((renumbered(thing, &rewire.numbers)?, at))).collect();
        });
        self.tell(What::Rewired).await
    }

    /// The connection is lost, or there was none to be had.
    pub(crate) async fn lost(&mut self, why: &str) -> Result<(), NobodyListens> {
        let was_up = matches!(std::mem::replace(&mut self.state, State::Down), State::Up);
        self.pending.clear();
        if was_up || self.told != why {
            why.clone_into(&mut self.told);
            self.chart.note(|health| {
                (health.is_up, health.since) = (false, Instant::now());
                why.clone_into(&mut health.why);
            });
            self.tell(What::Down(why.to_owned())).await?;
        }
        Ok(())
    }
}

impl Drop for Reporter {
    /// A link that ends without a word, whatever became of it, is down: nothing is known of what it carries. Where it was to end
    /// nobody listens, or it is another's turn.
    fn drop(&mut self) {
        if matches!(self.state, State::Down) && !self.told.is_empty() {
            return;
        }
        let why = "it has failed, and does not come back: start the daemon anew";
        self.chart.note(|health| {
            (health.is_up, health.since) = (false, Instant::now());
            why.clone_into(&mut health.why);
        });
        let what = What::Down(why.to_owned());
        let _ = self.news.try_send(News { link: self.link, what, instance: self.instance });
    }
}

#[cfg(test)]
mod tests {
    use track::Id as _;
    use track::wiring::{Adapter, AdapterWay, By};

    use super::*;

    #[tokio::test]
    async fn a_link_that_fails_without_a_word_is_down() {
        let by = By::Adapter(Adapter { way: AdapterWay::Process(Vec::new()), sends_packets: false });
        let (link, name) = (LinkId::from_index(0), "box".to_owned());
        let wired = WiredLink { link, name, by, carries: Vec::new(), silent_after: None };
        let (sender, mut news) = mpsc::channel(9);
        let mut reporter = Reporter::new((&wired, 1), BTreeSet::new(), sender, Chart::new("box"));
        let failed = tokio::spawn(async move {
            reporter.connected();
            reporter.flush().await.unwrap();
            assert!(!reporter.is_up(), "a link task that fails");
        });
        assert!(failed.await.is_err());
        assert_eq!(news.recv().await.unwrap().what, What::Up(Vec::new()));
        assert!(matches!(news.recv().await.unwrap().what, What::Down(why) if why.contains("has failed")));
    }
}
