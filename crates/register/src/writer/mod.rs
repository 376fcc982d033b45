//! The writer: one thread that makes durable what the shell hands over.
//!
//! What came within a few milliseconds is written in one transaction, so that one wait for the disk does for all of it. Between
//! two of them it takes away what is too old, a little at a time. If a transaction fails nothing of it was written: the messages
//! are kept and tried again. So all that facts are made of, beside the entry itself, is in the file and not in memory.

mod facts;
mod now;
mod prune;
pub(crate) mod queue;
mod store;

use std::sync::Arc;
use std::time::Duration;

use rusqlite::{Connection, TransactionBehavior};

use crate::settings::Settings;
use crate::trouble::{Health, Trouble, TroubleKind};
use prune::Pruner;
use queue::{Closing, Message, Shared};
use store::Store;
pub(crate) use store::{digest, end_lost_shifts, wall_ms};

/// So long after a failure it is tried again.
const RETRY: Duration = Duration::from_millis(500);
/// So many steps are a batch of their own, however little time passed: a transaction that is too long keeps readers waiting.
const MOST_AT_ONCE: usize = 4_000;

/// The writer's thread.
pub(crate) struct Writer {
    db: Connection,
    shared: Arc<Shared>,
    settings: Settings,
    store: Store,
    pruner: Pruner,
    batch: Vec<Message>,
}

impl Writer {
    pub(crate) fn new(db: Connection, shared: Arc<Shared>, settings: Settings) -> Self {
        let pruner = Pruner::new(&settings);
        Self { db, shared, settings, store: Store::default(), pruner, batch: Vec::new() }
    }

    /// Writes until nothing more comes.
    pub(crate) fn run(mut self) {
        let _guard = Guard(Arc::clone(&self.shared));
        let mut retry = None;
        loop {
            let closing = self.shared.gather(&mut self.batch, self.settings.commit_every, retry);
            retry = match self.write() {
                Ok(()) => None,
                Err(trouble) => {
                    let is_over = closing == Closing::Yes || !trouble.kind.may_pass();
                    let health = if is_over { Health::Ended(trouble) } else { Health::Failing(trouble) };
                    self.tell(0, 0, health);
                    if is_over {
                        return;
                    }
                    Some(RETRY)
                }
            };
            if closing == Closing::Yes && self.batch.is_empty() {
                break;
            }
        }
        // What is in the log goes into the file, so that the file alone can be taken elsewhere.
        let _ = self.db.execute_batch("PRAGMA wal_checkpoint(TRUNCATE)");
    }

    /// Writes what was gathered, in as many transactions as it needs.
    fn write(&mut self) -> Result<(), Trouble> {
        while !self.batch.is_empty() {
            let count = self.batch.len().min(MOST_AT_ONCE);
            let (durable, steps) = self.commit(count)?;
            self.batch.drain(..count);
            self.tell(durable, steps, Health::Good);
            self.pruner.prune(&mut self.db, steps)?;
        }
        Ok(())
    }

    /// Writes the first of what was gathered. Tells the number of the last step in it, and how many there were.
    fn commit(&mut self, count: usize) -> Result<(u64, usize), Trouble> {
        let before = self.store.clone();
        let written = Self::transact(&mut self.db, &mut self.store, &self.batch[..count]);
        if written.is_err() {
            self.store = before;
        }
        written
    }

    fn transact(db: &mut Connection, store: &mut Store, batch: &[Message]) -> Result<(u64, usize), Trouble> {
        let transaction = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let (mut durable, mut steps) = (0, 0);
        for message in batch {
            store.write(&transaction, message)?;
            if let Message::Step { number, .. } = message {
                (durable, steps) = (*number, steps + 1);
            }
        }
        transaction.commit()?;
        Ok((durable, steps))
    }

    fn tell(&self, durable: u64, steps: usize, health: Health) {
        let progress = self.shared.note(durable, steps, health);
        if let Some(listener) = &self.settings.listener {
            listener(&progress);
        }
    }
}

/// Lets nobody wait for a writer that is gone by a fault of its own.
struct Guard(Arc<Shared>);

impl Drop for Guard {
    fn drop(&mut self) {
        if std::thread::panicking() {
            let words = "the writer ended by a fault of its own".to_owned();
            self.0.fail(Health::Ended(Trouble { kind: TroubleKind::Io, words }));
        }
    }
}
