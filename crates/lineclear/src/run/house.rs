//! The closed loop with its scripts: everything that the one task owns.

use std::io;
use std::sync::Arc;

use hooks::{Budget, Notice, NoticeKind, ScriptError, Scripts};
use signaller::{Input, Request, Signaller, Time};
use testtrack::swarm::FaultSet;
use testtrack::{Desk, Moment, PlaceError, Session, Settings, Violation};
use track::{Layout, TrainId};

use super::watch::Watch;
use crate::Exit;
use crate::state::Kept;

/// Somebody who is told what happens.
pub(super) trait Audience {
    /// One moment of the loop, what the scripts said in it, and the picture after it.
    fn hear(&mut self, moment: &Moment<'_>, notices: &[Notice], watch: &Watch);
}

/// The closed loop with its scripts.
pub(super) struct House {
    session: Session,
    scripts: Scripts,
    watch: Watch,
    /// How many scripts could not be put into service.
    scripts_left_out: usize,
    script_failures: usize,
}

impl House {
    /// Puts the trains on the table and the scripts into service. Scripts with errors stay out of it.
    ///
    /// # Errors
    /// A train that does not fit where it is said to stand.
    pub(super) fn new(
        layout: Arc<Layout>,
        scripts: Vec<(String, String)>,
        seed: u64,
        faults: &FaultSet,
    ) -> Result<(Self, Vec<ScriptError>), PlaceError> {
        let session =
            Session::new(Arc::clone(&layout), &Settings { faults: faults.faults(), ..Settings::seeded(seed) })?;
        let (scripts, errors) = Scripts::load(Arc::clone(&layout), scripts, &Budget::default(), seed);
        tracing::info!(layout = layout.name, seed, "trains are on the pretend table");
        let watch = Watch::new(layout);
        Ok((Self { session, scripts, watch, scripts_left_out: errors.len(), script_failures: 0 }, errors))
    }

    /// Begins with what is kept of its trains, before anything else is heard; tells why something of it is not used.
    pub(super) fn remember(&mut self, kept: &Kept) -> Vec<String> {
        let layout = self.session.table().layout();
        let mut inputs = Vec::new();
        let mut unused = Vec::new();
        for (train, described) in layout.trains.iter() {
            let Some(lessons) = kept.lessons(&described.name) else { continue };
            match lessons.fits(described) {
                Ok(()) => inputs.push(Input::ProfileRemembered { train, lessons: Box::new(lessons) }),
                Err(why) => unused.push(format!("`{}` {why}; it begins as it is described", described.name)),
            }
        }
        self.session.begin_with(inputs);
        unused
    }

    /// Keeps what was learned.
    ///
    /// # Errors
    /// When it cannot be written.
    pub(super) fn keep(&self, kept: &mut Kept) -> io::Result<()> {
        for (train, described) in self.session.table().layout().trains.iter() {
            if let Some(lessons) = self.session.signaller().drive().lessons(train) {
                kept.set(&described.name, &lessons);
            }
        }
        kept.save()
    }

    /// The layout time.
    pub(super) fn now(&self) -> Time {
        self.session.now()
    }

    /// The loop.
    pub(super) fn session(&self) -> &Session {
        &self.session
    }

    /// What is known.
    pub(super) fn watch(&self) -> &Watch {
        &self.watch
    }

    /// Rules that were broken.
    pub(super) fn violations(&self) -> &[Violation] {
        self.session.violations()
    }

    /// How many scripts had errors and stayed out of service.
    pub(super) fn scripts_left_out(&self) -> usize {
        self.scripts_left_out
    }

    /// What the run so far deserves: rules were broken or scripts failed, scripts could not be used, or all is well.
    pub(super) fn verdict(&self) -> Exit {
        if !self.violations().is_empty() || self.script_failures > 0 {
            Exit::Wrong
        } else if self.scripts_left_out > 0 {
            Exit::BadInput
        } else {
            Exit::Fine
        }
    }

    /// How often a script, or a part of one, was ended because it failed.
    pub(super) fn script_failures(&self) -> usize {
        self.script_failures
    }

    /// Lets layout time pass.
    pub(super) fn pass(&mut self, until: Time, audience: &mut dyn Audience) {
        let Self { session, scripts, watch, script_failures, .. } = self;
        session.run_until(until, &mut |moment: &Moment<'_, Signaller>, desk: &mut Desk| {
            for output in moment.outputs {
                tracing::debug!(at = moment.now.secs_f64(), ?output);
            }
            scripts.hear(moment.now, moment.outputs);
            for (ticket, request) in scripts.take_requests() {
                tracing::debug!(at = moment.now.secs_f64(), ?request, "a script asks");
                desk.hand_in(moment.now, ticket, request);
            }
            if let Some(wake) = scripts.next_wake() {
                desk.call_at(wake);
            }
            watch.hear(moment);
            let notices = scripts.take_notices();
            *script_failures += notices.iter().filter(|notice| matches!(notice.kind, NoticeKind::Failed(_))).count();
            audience.hear(moment, &notices, watch);
        });
    }

    /// Asks the signaller to stop every train.
    pub(super) fn stop_all(&mut self) {
        tracing::info!("every train is told to stop");
        self.session.desk().request(Request::StopAll);
    }

    /// Lets trains run again after [`House::stop_all`].
    pub(super) fn resume_all(&mut self) {
        self.session.desk().request(Request::ResumeAll);
    }

    /// Whether every train stands.
    pub(super) fn all_stand(&self) -> bool {
        self.moving().next().is_none()
    }

    /// The trains that move.
    pub(super) fn moving(&self) -> impl Iterator<Item = TrainId> + '_ {
        let table = self.session.table();
        table.layout().trains.ids().filter(|&train| table.speed(train).um() != 0)
    }
}
