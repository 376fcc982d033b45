//! What a register is to be like.

use std::fmt;
use std::sync::Arc;
use std::time::Duration;

use crate::trouble::Progress;

/// Somebody who is told how far the writer has come, on the writer's thread: after every commit, and when something goes wrong.
pub type Listener = Arc<dyn Fn(&Progress) + Send + Sync>;

/// What a register is to be like.
#[derive(Clone)]
pub struct Settings {
    /// So long after the first of them steps are made durable together.
    pub commit_every: Duration,
    /// So many steps may wait to become durable. One more is refused, and counted as lost.
    pub most_waiting: usize,
    /// So many bytes the file may have. What is oldest goes. Beside it lies SQLite's log, of some megabytes.
    pub most_bytes: u64,
    /// Steps are kept for so long at least as there is room.
    pub keep_steps: Duration,
    /// Facts for people are kept for so long.
    pub keep_facts: Duration,
    /// The most pages that the file may have, as SQLite's `max_page_count`: then it is as if the disk were full.
    pub most_pages: Option<u32>,
    /// Who is told how far the writer has come.
    pub listener: Option<Listener>,
}

impl Default for Settings {
    fn default() -> Self {
        const DAY: Duration = Duration::from_secs(86_400);
        Self {
            commit_every: Duration::from_millis(25),
            most_waiting: 50_000,
            most_bytes: 512 << 20,
            keep_steps: DAY * 14,
            keep_facts: DAY * 90,
            most_pages: None,
            listener: None,
        }
    }
}

impl fmt::Debug for Settings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Settings")
            .field("commit_every", &self.commit_every)
            .field("most_waiting", &self.most_waiting)
            .field("most_bytes", &self.most_bytes)
            .finish_non_exhaustive()
    }
}
