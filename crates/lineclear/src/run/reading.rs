//! A layout that is read anew while trains run: on a thread of its own, so that nobody waits for it.

use std::sync::Arc;

use panel::Fate;
use tokio::sync::{mpsc, oneshot};

use super::house::Fresh;
use super::shell::ReadAnew;

/// What is being read, and who wants to hear of it.
pub(super) struct Reading {
    read: ReadAnew,
    sender: mpsc::Sender<Result<Fresh, String>>,
    receiver: mpsc::Receiver<Result<Fresh, String>>,
    is_going_on: bool,
    waiting: Vec<oneshot::Sender<Fate>>,
}

impl Reading {
    pub(super) fn new(read: ReadAnew) -> Self {
        let (sender, receiver) = mpsc::channel(1);
        Self { read, sender, receiver, is_going_on: false, waiting: Vec::new() }
    }

    /// Begins to read, unless that is going on, and lets somebody wait for what becomes of it.
    pub(super) fn begin(&mut self, answer: Option<oneshot::Sender<Fate>>) {
        self.waiting.extend(answer);
        if std::mem::replace(&mut self.is_going_on, true) {
            return;
        }
        let (read, sender) = (Arc::clone(&self.read), self.sender.clone());
        tokio::task::spawn_blocking(move || {
            // Where the run is over nobody waits for it.
            let _ = sender.blocking_send(read());
        });
    }

    /// What was read, once it is.
    pub(super) async fn next(&mut self) -> Option<Result<Fresh, String>> {
        let read = self.receiver.recv().await;
        self.is_going_on = false;
        read
    }

    /// Tells those who wait what became of it.
    pub(super) fn answer(&mut self, fate: &Fate) {
        for waiting in self.waiting.drain(..) {
            // Who left meanwhile is told nothing.
            let _ = waiting.send(fate.clone());
        }
    }
}
