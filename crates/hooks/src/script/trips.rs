//! Trains on their way for tasks.

use signaller::{Answer, Fact, Request};
use track::TrainId;

use super::Script;
use crate::desk::{TaskId, Trip, Wait};
use crate::task::{Reply, Task};

impl Script {
    /// A train that is to pass places on its way is sent on to the next as soon as it is granted this one: so it need not stop
    /// there.
    pub(super) fn send_on(&mut self, fact: &Fact) {
        let mut ready = Vec::new();
        for (&id, task) in &self.tasks {
            let Wait::Trip(trip) = &task.wait else { continue };
            if !trip.then.is_empty() && self.has_way_to(trip, fact) {
                ready.push(id);
            }
        }
        for id in ready {
            if let Err(why) = self.send_to_next(id) {
                self.make_ready(id, Reply::Refused(why));
            }
        }
    }

    /// Whether this fact says that a train has the track up to the next place it is to pass.
    fn has_way_to(&self, trip: &Trip, fact: &Fact) -> bool {
        let desk = self.desk.lock();
        let section = desk.names.section_of(trip.to);
        match fact {
            Fact::RouteSet { train, sections } => {
                trip.is_accepted && *train == trip.train && sections.contains(&section)
            }
            Fact::Arrived { train, at } => trip.is_accepted && *train == trip.train && *at == trip.to,
            Fact::Answered { ticket, answer: Answer::Accepted } => {
                *ticket == trip.ticket && desk.picture.board.granted[section] == Some(trip.train)
            }
            _ => false,
        }
    }

    fn send_to_next(&mut self, id: TaskId) -> Result<(), String> {
        let Some(Task { wait: Wait::Trip(trip), .. }) = self.tasks.get_mut(&id) else { return Ok(()) };
        let Some(to) = trip.then.pop_front() else { return Ok(()) };
        let mut desk = self.desk.lock();
        trip.ticket = desk.post(trip.carer, Request::Go { train: trip.train, to })?;
        (trip.to, trip.is_accepted) = (to, false);
        Ok(())
    }

    /// Trips of a train that other tasks wait for are over.
    pub(super) fn end_other_trips(&mut self, train: TrainId, except: TaskId, why: &str) {
        let is_other =
            |id: TaskId, task: &Task| id != except && matches!(&task.wait, Wait::Trip(trip) if trip.train == train);
        let others: Vec<TaskId> =
            self.tasks.iter().filter(|&(&id, task)| is_other(id, task)).map(|(&id, _)| id).collect();
        let name = self.desk.lock().names.of_train(train);
        for id in others {
            self.make_ready(id, Reply::Refused(format!("`{name}` {why}")));
        }
    }
}
