//! A table in the service of a signaller that runs elsewhere: what goes to and fro is carried by somebody else.
//!
//! Unlike in a [`Session`](crate::Session) the signaller may come late, go away and be followed by another one; the trains are
//! there all the while. While nobody is in charge they are made to stand.

use std::sync::Arc;

use signaller::{Input, Output, Time};
use track::Layout;

use crate::checkers::{Checkers, Violation};
use crate::place::PlaceError;
use crate::settings::Settings;
use crate::table::Table;
use crate::truth::Happening;

/// A table, and the checkers that hold whoever works it against the truth.
#[derive(Debug)]
pub struct Served {
    pub(crate) table: Table,
    pub(crate) checkers: Checkers,
    /// How often reports went out, and how often a signaller said that it had worked through some.
    pub(crate) sent: u64,
    pub(crate) worked_through: u64,
    /// What is granted, and what is said of sections, is not heard here.
    hears_orders_only: bool,
}

impl Served {
    /// A fresh table.
    ///
    /// # Errors
    /// A train that does not fit where it is said to stand.
    pub fn new(layout: Arc<Layout>, settings: &Settings) -> Result<Self, PlaceError> {
        let table = Table::new(Arc::clone(&layout), settings)?;
        Ok(Self {
            table,
            checkers: Checkers::new(layout, settings),
            sent: 0,
            worked_through: 0,
            hears_orders_only: false,
        })
    }

    /// The same, where only orders for hardware are heard: what is judged is what can be seen on the table. Trains that touch,
    /// derail or run into buffers, and turnouts that are thrown under them.
    #[must_use]
    pub fn judged_by_accidents(mut self) -> Self {
        self.hears_orders_only = true;
        self
    }

    /// The table.
    pub fn table(&self) -> &Table {
        &self.table
    }

    /// Every rule that was broken so far.
    pub fn violations(&self) -> &[Violation] {
        self.checkers.violations()
    }

    /// A signaller takes over that knows nothing yet: what was granted before is void, and it hears what everything says now.
    pub fn take_over(&mut self) -> Vec<Input> {
        self.checkers.begin_anew(&self.table);
        self.table.forget_what_was_granted();
        (self.sent, self.worked_through) = (1, 0);
        self.table.what_is_reported()
    }

    /// Nobody is in charge: what was said and granted is void, and every train is made to stand.
    pub fn abandon(&mut self) {
        self.checkers.begin_anew(&self.table);
        let layout = Arc::clone(self.table.layout());
        for train in layout.trains.ids() {
            let direction = self.table.leading(train);
            self.table.act(&Output::Drive { train, direction, step: 0 });
        }
    }

    /// Whether every train stands.
    pub fn all_stand(&self) -> bool {
        self.table.layout().trains.ids().all(|train| self.table.speed(train).um() == 0)
    }

    /// The signaller has worked through so many of the reports it was sent, and through what else it heard, and this came of it.
    pub fn stepped(&mut self, reports: u64, inputs: &[Input], outputs: &[Output]) {
        self.worked_through += reports;
        self.checkers.overhear(inputs, &self.table);
        let now = self.table.now();
        for output in outputs {
            self.checkers.hear(now, output, &self.table);
            self.table.act(output);
        }
        self.see();
        self.judge();
    }

    /// Lets time pass, and gives what was reported meanwhile.
    pub fn pass(&mut self, until: Time) -> Vec<Input> {
        let mut heard = Vec::new();
        while self.table.now() < until {
            self.table.advance(until);
            self.see();
            self.table.take_heard(&mut heard);
        }
        self.sent += u64::from(!heard.is_empty());
        self.judge();
        heard
    }

    /// What the signaller knows lags behind the table by what is on its way: it is judged when nothing is.
    fn judge(&mut self) {
        if self.worked_through >= self.sent && !self.hears_orders_only {
            self.checkers.judge(self.table.now(), &self.table);
        }
    }

    fn see(&mut self) {
        for (at, happening) in self.table.take_happenings() {
            // Who was granted what is not known here.
            if self.hears_orders_only && matches!(happening, Happening::Entered { .. }) {
                continue;
            }
            self.checkers.see(at, happening, &self.table);
        }
    }
}
