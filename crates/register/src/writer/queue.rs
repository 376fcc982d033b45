//! What waits to be written, between the shell and the writer's thread.

use std::collections::VecDeque;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use signaller::{Lessons, Memory, Time};
use track::TrainId;

use crate::before::KeptClock;
use crate::entry::{Beginning, Entry};
use crate::trouble::{Health, Progress};

/// Something to be written.
#[derive(Debug)]
pub(crate) enum Message {
    /// A shift began, with its number and the number of its first step.
    Began { shift: i64, first_step: u64, beginning: Box<Beginning> },
    /// A step.
    Step { number: u64, entry: Box<Entry> },
    /// Steps that were refused.
    Gap { first: u64, last: u64 },
    /// Where all trains stand now.
    Places(Vec<(TrainId, Memory)>),
    /// What was learned of a train.
    Learned(TrainId, Box<Lessons>),
    /// What the layout clock shows.
    Clock(KeptClock),
    /// How far short of its stopping point a train stands.
    Measured { train: TrainId, short_um: i64 },
    /// The signaller as it was after a step.
    Snapshot { step: u64, at: Time, bytes: Vec<u8> },
    /// The shift ended.
    Ended { wall_ms: i64 },
}

/// What the shell and the writer share.
#[derive(Debug)]
pub(crate) struct Shared {
    queue: Mutex<Queue>,
    /// Something was added, or the end is wished for.
    pub(super) added: Condvar,
    /// Something was written, or cannot be.
    progressed: Condvar,
    durable: AtomicU64,
}

#[derive(Debug)]
pub(crate) struct Queue {
    pub(super) messages: VecDeque<Message>,
    /// Steps among the messages, and among those that the writer took and has not written.
    pub(super) waiting: usize,
    /// When the oldest of the messages came.
    pub(super) since: Option<Instant>,
    /// What waits shall be written at once.
    pub(super) is_urgent: bool,
    /// Nothing more will come.
    pub(super) is_closing: bool,
    pub(super) lost: u64,
    pub(super) health: Health,
}

impl Shared {
    pub(crate) fn new(durable: u64) -> Self {
        Self {
            queue: Mutex::new(Queue {
                messages: VecDeque::new(),
                waiting: 0,
                since: None,
                is_urgent: false,
                is_closing: false,
                lost: 0,
                health: Health::Good,
            }),
            added: Condvar::new(),
            progressed: Condvar::new(),
            durable: AtomicU64::new(durable),
        }
    }

    /// The queue. It is held for as long as it takes to add to it or to empty it, never while anything is written.
    pub(super) fn lock(&self) -> MutexGuard<'_, Queue> {
        // Whoever panicked with it left it whole: nothing is changed in two parts.
        self.queue.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Adds a message that must not be refused.
    pub(crate) fn add(&self, message: Message) {
        self.lock().add(message);
        self.added.notify_one();
    }

    /// Adds a step, unless too many wait. Tells whether it was taken.
    pub(crate) fn add_step(&self, number: u64, entry: Entry, most: usize) -> Result<(), ()> {
        let mut queue = self.lock();
        if queue.waiting >= most || matches!(queue.health, Health::Ended(_)) {
            queue.lost += 1;
            match queue.messages.back_mut() {
                Some(Message::Gap { last, .. }) => *last = number,
                _ => queue.add(Message::Gap { first: number, last: number }),
            }
            return Err(());
        }
        queue.waiting += 1;
        queue.add(Message::Step { number, entry: Box::new(entry) });
        drop(queue);
        self.added.notify_one();
        Ok(())
    }

    /// Nothing more will come: the writer writes what is there and ends.
    pub(crate) fn close(&self) {
        self.lock().is_closing = true;
        self.added.notify_one();
    }

    /// Every step up to this one that was taken is durable.
    pub(crate) fn durable_up_to(&self) -> u64 {
        self.durable.load(Ordering::Acquire)
    }

    pub(crate) fn progress(&self) -> Progress {
        self.progress_of(&self.lock())
    }

    fn progress_of(&self, queue: &Queue) -> Progress {
        Progress {
            durable_up_to: self.durable_up_to(),
            waiting: queue.waiting,
            lost: queue.lost,
            health: queue.health.clone(),
        }
    }

    /// Waits until a condition holds, or the writing fails. What waits is written at once meanwhile.
    pub(crate) fn wait(&self, holds: impl Fn(&Progress) -> bool) -> Progress {
        let mut queue = self.lock();
        loop {
            let progress = self.progress_of(&queue);
            if holds(&progress) || progress.health != Health::Good {
                return progress;
            }
            queue.is_urgent = true;
            self.added.notify_one();
            queue = self.progressed.wait(queue).unwrap_or_else(PoisonError::into_inner);
        }
    }

    /// Takes note of what became of the writer.
    pub(crate) fn fail(&self, health: Health) {
        self.lock().health = health;
        self.progressed.notify_all();
    }

    /// Takes note of what the writer did.
    pub(super) fn note(&self, durable: u64, written: usize, health: Health) -> Progress {
        let mut queue = self.lock();
        queue.waiting -= written;
        queue.health = health;
        self.durable.fetch_max(durable, Ordering::Release);
        let progress = self.progress_of(&queue);
        drop(queue);
        self.progressed.notify_all();
        progress
    }

    /// Waits for messages, for their time to be written, and takes them. Tells whether nothing more will come.
    pub(super) fn gather(&self, batch: &mut Vec<Message>, patience: Duration, retry: Option<Duration>) -> Closing {
        let mut queue = self.lock();
        let retry_at = retry.map(|retry| Instant::now() + retry);
        loop {
            let due = match (retry_at, queue.since) {
                (Some(at), _) => Some(at),
                (None, since) => since.map(|since| since + patience),
            };
            let left = due.map(|due| due.saturating_duration_since(Instant::now()));
            let is_urgent = queue.is_urgent && retry_at.is_none() && !queue.messages.is_empty();
            if queue.is_closing || is_urgent || left.is_some_and(|left| left.is_zero()) {
                break;
            }
            queue = match left {
                Some(left) => self.added.wait_timeout(queue, left).unwrap_or_else(PoisonError::into_inner).0,
                None => self.added.wait(queue).unwrap_or_else(PoisonError::into_inner),
            };
        }
        queue.is_urgent = false;
        queue.since = None;
        batch.extend(queue.messages.drain(..));
        if queue.is_closing { Closing::Yes } else { Closing::No }
    }
}

/// Whether nothing more will come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Closing {
    Yes,
    No,
}

impl Queue {
    fn add(&mut self, message: Message) {
        self.messages.push_back(message);
        self.since.get_or_insert_with(Instant::now);
    }
}
