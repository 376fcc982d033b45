//! Where requests are handed in, and where what is shown is laid out: the two ends of the control door.
//!
//! The [`Counter`] is the side of whoever owns the signaller: it takes what was asked and lays out what there is to see.
//! The [`Window`] is the side of those outside. Neither ever waits for the other: what is asked goes through a bounded queue,
//! and one that is full is told to whoever asks; what is shown replaces what was shown before.

use std::collections::{BTreeMap, VecDeque};
use std::sync::{Arc, Mutex, PoisonError};

use axum::body::Bytes;
use serde::{Deserialize, Serialize};
use tokio::sync::{mpsc, oneshot, watch};
use track::{Hint, Layout, SectionId, TrainId};
use utoipa::ToSchema;

use crate::diagram::Diagram;
use crate::metrics::Metrics;
use crate::names::Names;
use crate::plan::Plan;
use crate::profile::ProfileRow;
use crate::rows::{LineRow, WhyRow};
use crate::show::Glance;
use crate::wish::{Matter, Wish};

/// So many requests may wait at once. One more is told that the signaller is busy.
const WAITING: usize = 256;

/// What is said where the daemon went away while it was asked.
const NOBODY_KNOWS: &str = "the daemon is ending, and nobody knows what became of it";

/// So many lines are kept until they are sent; of more the oldest are left out.
const LINES: usize = 1000;

/// What became of a request.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "fate", rename_all = "kebab-case")]
pub enum Fate {
    /// It is done, or will be.
    Accepted {
        /// When that was decided, in seconds of layout time.
        at: f64,
    },
    /// It will not be done.
    Refused {
        /// When that was decided, in seconds of layout time.
        at: f64,
        /// Why, in plain words.
        reason: String,
    },
    /// It could not be asked, or nobody knows what became of it.
    Failed {
        /// Why, in plain words.
        reason: String,
    },
}

/// The key of a request belongs to another one that was asked before.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct KeyTaken;

/// A request on its way to the signaller.
#[derive(Debug)]
pub struct Asked {
    /// What was asked for.
    pub wish: Wish,
    /// Who is asked, and the same as they hear it.
    pub matter: Matter,
    /// By this whoever asks tells the same request, asked again, from another one.
    pub key: Option<String>,
    /// Who is told what became of it.
    pub answer: oneshot::Sender<Result<Fate, KeyTaken>>,
}

/// Something that whoever owns the signaller is called for.
#[derive(Debug)]
pub enum Call {
    /// A request is handed in.
    Asked(Asked),
    /// The layout is to be read anew.
    Reload(oneshot::Sender<Fate>),
    /// Somebody wants to know why a section has its tag.
    Why(String, oneshot::Sender<WhyRow>),
    /// Somebody wants to know how fast a train is at each of its speed steps.
    Profile(String, oneshot::Sender<ProfileRow>),
}

/// What is shown of a layout beside itself.
#[derive(Clone, Debug, Default)]
pub struct Beside {
    /// The files that it was read from, by name.
    pub files: BTreeMap<String, String>,
    /// How somebody would rather have it drawn.
    pub hints: Vec<Hint>,
}

/// The layout as it is described.
#[derive(Debug)]
pub(crate) struct Described {
    pub(crate) names: Names,
    /// As JSON.
    pub(crate) plan: Bytes,
    /// Where everything on it is drawn, as JSON.
    pub(crate) diagram: Bytes,
}

impl Described {
    fn new(layout: &Arc<Layout>, beside: Beside) -> serde_json::Result<Arc<Self>> {
        let Beside { files, hints } = beside;
        let plan = serde_json::to_vec(&Plan::new(layout, files))?.into();
        let (diagram, unheeded) = Diagram::wished(layout, &hints);
        for hint in unheeded {
            tracing::warn!("a hint for the diagram is not kept to: {}", hint.why);
        }
        let diagram = serde_json::to_vec(&diagram)?.into();
        Ok(Arc::new(Self { names: Names::new(Arc::clone(layout)), plan, diagram }))
    }
}

/// The side of whoever owns the signaller.
#[derive(Debug)]
pub struct Counter {
    calls: mpsc::Receiver<Call>,
    described: watch::Sender<Arc<Described>>,
    glance: watch::Sender<Arc<Glance>>,
    lines: Arc<Mutex<VecDeque<LineRow>>>,
    metrics: Arc<Metrics>,
}

/// The side of those outside.
#[derive(Clone, Debug)]
pub(crate) struct Window {
    pub(crate) described: watch::Receiver<Arc<Described>>,
    calls: mpsc::Sender<Call>,
    pub(crate) glance: watch::Receiver<Arc<Glance>>,
    pub(crate) lines: Arc<Mutex<VecDeque<LineRow>>>,
    pub(crate) metrics: Arc<Metrics>,
}

/// Both sides of a new control door.
pub(crate) fn open(glance: Glance, beside: Beside) -> serde_json::Result<(Counter, Window)> {
    let (describe, described) = watch::channel(Described::new(glance.board.layout(), beside)?);
    let (send, calls) = mpsc::channel(WAITING);
    let (show, glance) = watch::channel(Arc::new(glance));
    let lines = Arc::new(Mutex::new(VecDeque::new()));
    let metrics = Arc::new(Metrics::new());
    let counter =
        Counter { calls, described: describe, glance: show, lines: Arc::clone(&lines), metrics: Arc::clone(&metrics) };
    Ok((counter, Window { described, calls: send, glance, lines, metrics }))
}

impl Counter {
    /// What whoever owns the signaller is called for next. Nothing once nobody can call any more.
    pub async fn next(&mut self) -> Option<Call> {
        loop {
            let call = self.calls.recv().await?;
            let Call::Asked(asked) = call else { return Some(call) };
            // The layout may be another one by now than when it was read.
            let matter = asked.wish.matter(&self.described.borrow().names);
            match matter {
                Ok(matter) => return Some(Call::Asked(Asked { matter, ..asked })),
                Err(reason) => drop(asked.answer.send(Ok(Fate::Failed { reason }))),
            }
        }
    }

    /// The section of that name.
    pub fn section_named(&self, name: &str) -> Option<SectionId> {
        self.described.borrow().names.section(name).ok()
    }

    /// The train of that name.
    pub fn train_named(&self, name: &str) -> Option<TrainId> {
        self.described.borrow().names.train(name).ok()
    }

    /// From now on there is another layout, and this is what there is to see.
    pub fn describe(&self, glance: Glance, beside: Beside) {
        match Described::new(glance.board.layout(), beside) {
            Ok(described) => drop(self.described.send_replace(described)),
            Err(error) => tracing::error!(%error, "the layout cannot be described"),
        }
        self.show(glance);
    }

    /// Whether anybody is looking.
    pub fn is_watched(&self) -> bool {
        self.glance.receiver_count() > 0
    }

    /// Lays out what there is to see now.
    pub fn show(&self, glance: Glance) {
        self.glance.send_replace(Arc::new(glance));
    }

    /// Says a line to everybody who is looking.
    pub fn say(&self, line: LineRow) {
        let mut lines = self.lines.lock().unwrap_or_else(PoisonError::into_inner);
        if lines.len() >= LINES {
            lines.pop_front();
        }
        lines.push_back(line);
    }

    /// Where figures of the run are counted.
    pub fn metrics(&self) -> &Metrics {
        &self.metrics
    }
}

impl Window {
    /// Hands a request in, and waits until it is known what became of it.
    pub(crate) async fn ask(&self, wish: Wish, matter: Matter, key: Option<String>) -> Result<Fate, KeyTaken> {
        let failed = |reason: &str| Ok(Fate::Failed { reason: reason.to_owned() });
        let (answer, fate) = oneshot::channel();
        match self.call(Call::Asked(Asked { wish, matter, key, answer })) {
            Ok(()) => fate.await.unwrap_or_else(|_| failed(NOBODY_KNOWS)),
            Err(why) => failed(why),
        }
    }

    /// Has the layout read anew, and waits until it is known what became of that.
    pub(crate) async fn reload(&self) -> Fate {
        let failed = |reason: &str| Fate::Failed { reason: reason.to_owned() };
        let (answer, fate) = oneshot::channel();
        match self.call(Call::Reload(answer)) {
            Ok(()) => fate.await.unwrap_or_else(|_| failed(NOBODY_KNOWS)),
            Err(why) => failed(why),
        }
    }

    /// Why a section has its tag.
    pub(crate) async fn why(&self, section: String) -> Result<WhyRow, &'static str> {
        let (answer, row) = oneshot::channel();
        self.call(Call::Why(section, answer))?;
        row.await.map_err(|_| NOBODY_KNOWS)
    }

    /// How fast a train is at each of its speed steps.
    pub(crate) async fn profile(&self, train: String) -> Result<ProfileRow, &'static str> {
        let (answer, row) = oneshot::channel();
        self.call(Call::Profile(train, answer))?;
        row.await.map_err(|_| NOBODY_KNOWS)
    }

    fn call(&self, call: Call) -> Result<(), &'static str> {
        self.calls.try_send(call).map_err(|error| match error {
            mpsc::error::TrySendError::Full(_) => "too many requests are waiting; try again in a moment",
            mpsc::error::TrySendError::Closed(_) => "the daemon is ending",
        })
    }

    /// The layout as it is described now.
    pub(crate) fn described(&self) -> Arc<Described> {
        Arc::clone(&self.described.borrow())
    }

    /// What is laid out now.
    pub(crate) fn now(&self) -> Arc<Glance> {
        Arc::clone(&self.glance.borrow())
    }

    pub(crate) fn take_lines(&self) -> Vec<LineRow> {
        self.lines.lock().unwrap_or_else(PoisonError::into_inner).drain(..).collect()
    }
}
