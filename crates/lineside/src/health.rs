//! How links are, and when each thing was last heard of.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

use track::wiring::Thing;

/// How one link is.
#[derive(Clone, Debug)]
pub struct Health {
    /// Its name.
    pub name: String,
    /// Whether it is up.
    pub is_up: bool,
    /// Since when it is as it is.
    pub since: Instant,
    /// Why it is down, where it is.
    pub why: String,
    /// How often it came up.
    pub times_up: u64,
    /// How many reports were heard.
    pub reports: u64,
    /// When each thing was last heard of.
    pub heard: BTreeMap<Thing, Instant>,
}

/// The health of one link, where all can see it.
#[derive(Clone, Debug)]
pub(crate) struct Chart(Arc<Mutex<Health>>);

impl Chart {
    pub(crate) fn new(name: &str) -> Self {
        Self(Arc::new(Mutex::new(Health {
            name: name.to_owned(),
            is_up: false,
            since: Instant::now(),
            why: "it was never up".to_owned(),
            times_up: 0,
            reports: 0,
            heard: BTreeMap::new(),
        })))
    }

    pub(crate) fn look(&self) -> Health {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    pub(crate) fn note(&self, change: impl FnOnce(&mut Health)) {
        change(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner));
    }
}
