//! A signaller that goes down and comes back.

use std::sync::Arc;
use std::time::Duration;

use signaller::{Conduct, Input, Output, Signaller};

use crate::session::{Desk, Moment, Session};
use crate::table::Table;

impl Session {
    /// The signaller goes down. Whoever carries its orders misses it and lets every train stand; what is reported meanwhile
    /// nobody hears. After `off_for` another one takes over: it hears where the first remembered the trains, and what every
    /// detector and turnout says then. What the first had said and granted is void.
    pub fn restart(&mut self, off_for: Duration, listener: &mut dyn FnMut(&Moment<'_>, &mut Desk)) {
        self.restart_while(off_for, listener, |_| {});
    }

    /// The same, and meanwhile somebody does something on the table.
    pub fn restart_while(
        &mut self,
        off_for: Duration,
        listener: &mut dyn FnMut(&Moment<'_>, &mut Desk),
        meanwhile: impl FnOnce(&mut Table),
    ) {
        let memories = self.signaller().memories();
        let layout = Arc::clone(self.table().layout());
        for train in layout.trains.ids() {
            let direction = self.table().leading(train);
            self.table_mut().act(&Output::Drive { train, direction, step: 0 });
        }
        self.begin_anew(Signaller::new(layout, Conduct::Control));
        let until = self.now() + off_for;
        self.pass_unheard(until);
        meanwhile(self.table_mut());
        let mut inputs: Vec<Input> =
            memories.into_iter().map(|(train, memory)| Input::TrainRemembered { train, memory }).collect();
        inputs.extend(self.table_mut().what_is_reported());
        self.hear(inputs, listener);
    }
}
