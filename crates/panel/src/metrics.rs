//! Figures of the run, for whoever watches many machines.

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use prometheus_client::encoding::text::encode;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::{Histogram, exponential_buckets};
use prometheus_client::registry::Registry;

/// Figures of the run.
#[derive(Debug)]
pub struct Metrics {
    registry: Registry,
    inputs: Counter,
    steps: Histogram,
    requests: Family<Vec<(String, String)>, Counter>,
    doubts: Gauge,
    held: Gauge,
    dark: Gauge,
    links: Family<Vec<(String, String)>, Gauge>,
    reports: Family<Vec<(String, String)>, Gauge>,
    heard: Family<Vec<(String, String)>, Gauge<f64, AtomicU64>>,
    broken_rules: Gauge,
    layout_seconds: Gauge<f64, AtomicU64>,
    clients: Gauge,
    waiting: Gauge,
    /// When the loop last went round, in milliseconds since the door was opened.
    beat: AtomicU64,
    opened: std::time::Instant,
}

impl Metrics {
    pub(crate) fn new() -> Self {
        let mut registry = Registry::with_prefix("lineclear");
        let inputs = Counter::default();
        let steps = Histogram::new(exponential_buckets(1e-6, 2.0, 18));
        let requests = Family::<Vec<(String, String)>, Counter>::default();
        let (doubts, held, dark, broken_rules, clients) =
            (Gauge::default(), Gauge::default(), Gauge::default(), Gauge::default(), Gauge::default());
        let links = Family::<Vec<(String, String)>, Gauge>::default();
        let reports = Family::<Vec<(String, String)>, Gauge>::default();
        let heard = Family::<Vec<(String, String)>, Gauge<f64, AtomicU64>>::default();
        let layout_seconds = Gauge::<f64, AtomicU64>::default();
        registry.register("inputs", "Things that the signaller heard", inputs.clone());
        registry.register("step_seconds", "How long a step of the signaller took", steps.clone());
        registry.register("requests", "Requests, by what became of them", requests.clone());
        registry.register("doubts", "What is not known now", doubts.clone());
        registry.register("held_trains", "Trains that are held now", held.clone());
        registry.register("dark_districts", "Power districts without power", dark.clone());
        registry.register("link_up", "Whether a link is up", links.clone());
        registry.register("link_reports", "Reports that a link brought since it was opened", reports.clone());
        registry.register(
            "last_heard_seconds",
            "How long ago something was heard of last over its link",
            heard.clone(),
        );
        registry.register("broken_rules", "Rules seen broken on the pretend table", broken_rules.clone());
        registry.register("layout_seconds", "Layout time since the start", layout_seconds.clone());
        let waiting = Gauge::default();
        registry.register("register_waiting_steps", "Steps that are not durable yet", waiting.clone());
        registry.register("clients", "Who follows the stream now", clients.clone());
        Self {
            registry,
            inputs,
            steps,
            requests,
            doubts,
            held,
            dark,
            links,
            reports,
            heard,
            broken_rules,
            layout_seconds,
            clients,
            waiting,
            beat: AtomicU64::new(0),
            opened: std::time::Instant::now(),
        }
    }

    /// The signaller worked through so many inputs, for so long.
    pub fn stepped(&self, inputs: usize, took: Duration) {
        self.inputs.inc_by(inputs as u64);
        self.steps.observe(took.as_secs_f64());
    }

    /// A request met this fate.
    pub fn answered(&self, fate: &crate::Fate) {
        let fate = match fate {
            crate::Fate::Accepted { .. } => "accepted",
            crate::Fate::Refused { .. } => "refused",
            crate::Fate::Failed { .. } => "failed",
        };
        self.requests.get_or_create(&vec![("fate".to_owned(), fate.to_owned())]).inc();
    }

    /// What links brought: for each its name, in how many reports, and of which things how long ago.
    pub fn heard<'a>(&self, links: impl Iterator<Item = (&'a str, u64, Vec<(&'a str, Duration)>)>) {
        // What is carried no more is not told of any more.
        self.reports.clear();
        self.heard.clear();
        let label = |key: &str, value: &str| (key.to_owned(), value.to_owned());
        for (link, reports, things) in links {
            let count = i64::try_from(reports).unwrap_or(i64::MAX);
            self.reports.get_or_create(&vec![label("link", link)]).set(count);
            for (name, ago) in things {
                self.heard.get_or_create(&vec![label("link", link), label("name", name)]).set(ago.as_secs_f64());
            }
        }
    }

    /// So many steps would be lost now.
    pub fn register_waits(&self, steps: usize) {
        self.waiting.set(i64::try_from(steps).unwrap_or(i64::MAX));
    }

    /// The loop went round.
    pub fn beat(&self) {
        self.beat.store(self.opened.elapsed().as_millis() as u64, Ordering::Relaxed);
    }

    /// For how long the loop has not gone round.
    pub fn silent_for(&self) -> Duration {
        let last = Duration::from_millis(self.beat.load(Ordering::Relaxed));
        self.opened.elapsed().saturating_sub(last)
    }

    pub(crate) fn client_came(&self) {
        self.clients.inc();
    }

    pub(crate) fn client_left(&self) {
        self.clients.dec();
    }

    /// All figures in the text format that scrapers read.
    pub(crate) fn text(&self, glance: &crate::Glance) -> String {
        let board = &glance.board;
        self.doubts.set(board.doubts.len() as i64);
        self.held.set(board.errands.values().filter(|errand| errand.held.is_some()).count() as i64);
        self.dark.set(board.dark.len() as i64);
        self.broken_rules.set(i64::try_from(glance.broken_rules).unwrap_or(i64::MAX));
        self.layout_seconds.set(board.now.secs_f64());
        for (id, link) in board.layout().links.iter() {
            let up = i64::from(!board.down.contains(&id));
            self.links.get_or_create(&vec![("link".to_owned(), link.name.clone())]).set(up);
        }
        let mut text = String::new();
        // Writing to a text cannot fail.
        let _ = encode(&mut text, &self.registry);
        text
    }
}
