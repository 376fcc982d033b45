//! A run on the pretend table, kept in the register: every step with its causes, how trains stopped, and what a restart needs.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, SystemTime};

use hooks::LayoutClock;
use register::{
    Beginning, Cause, Entry, Health, KeptClock, Listener, Names, OpenError, Opened, Origin, Progress, Reader,
    Recovered, Register, Settings,
};
use signaller::{Answer, Conduct, Destination, Fact, Input, Output, Request, Signaller, Ticket, Time};
use testtrack::Table;
use tokio::sync::Notify;
use track::{DetectorId, Layout, LinkId, SectionId, StopId, TrainId};

use super::pace::Pace;

/// One step as it is to be kept.
pub(super) struct Kept<'a> {
    /// The layout time.
    pub(super) now: Time,
    /// What was heard.
    pub(super) inputs: &'a [Input],
    /// What came of it.
    pub(super) outputs: &'a [Output],
    /// The signaller after it.
    pub(super) signaller: &'a Signaller,
    /// The pretend table, where it is our own.
    pub(super) table: Option<&'a Table>,
}

/// Who asked for something.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Asker {
    /// Who, in words.
    pub(super) by: String,
    /// By this they know the request again.
    pub(super) key: Option<String>,
}

/// Whether a step would still be there after a crash.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Durable {
    Yes,
    NotYet,
    /// It may be lost, and why.
    Never(String),
}

/// A replay begins no further before what it is to show than this, of layout time.
const SNAPSHOTS_APART: Duration = Duration::from_secs(300);

/// How often it is kept what a layout clock shows that runs, in layout time.
const CLOCK_EVERY: Duration = Duration::from_secs(1);

/// What is known of a key that somebody gave a request in a shift before.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum KnownKey {
    /// The same was asked under it, and this was the answer; nothing where it was lost before it was answered.
    Same(Option<Answer>),
    /// Something else was asked under it.
    Other,
}

/// The register of a run.
pub(super) struct Book {
    register: Register,
    pace: Pace,
    /// Looks up what was asked in the shifts before, where this one goes on from them.
    before: Option<(Reader, Names)>,
    /// Rings when the writer has come further, or something went wrong with it.
    bell: Arc<Notify>,
    /// The layout clock as it was kept last, and when that was.
    clock: Option<(LayoutClock, Time)>,
    /// When the whole signaller was taken down last.
    snapshot_at: Time,
    has_begun: bool,
    /// Trains said to have arrived at a stopping point, until they really stand.
    stopping: Vec<(TrainId, StopId)>,
    /// What went wrong was said, and is not over.
    is_told: bool,
    /// So many steps that are missing were told of.
    lost: u64,
}

/// How it is with keeping what happens.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Keeping {
    /// It fails, and why.
    Fails(String),
    /// It goes on again; so many steps are missing.
    GoesOn { missing: u64 },
}

/// A writer that is no further behind has caught up.
const WELL_BEHIND: usize = 100;

impl Book {
    /// Opens the register in a folder and begins a shift; gives what is known of the shift before, and tells what people should know.
    ///
    /// # Errors
    /// If there can be no register.
    pub(super) fn open(
        folder: &Path,
        pace: Pace,
        layout: &Arc<Layout>,
        files: BTreeMap<String, String>,
        from: Origin,
    ) -> Result<(Self, Recovered), OpenError> {
        let bell = Arc::new(Notify::new());
        let rings = Arc::clone(&bell);
        let listener: Listener = Arc::new(move |_: &Progress| rings.notify_one());
        let settings = Settings { listener: Some(listener), ..Settings::default() };
        let Opened { mut register, before, mut told } = Register::open(folder, settings)?;
        register.begin_shift(Beginning {
            wall: SystemTime::now(),
            pace: pace.to_string(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            conduct: Conduct::Control,
            layout: Arc::clone(layout),
            files: files.into_iter().collect(),
            from,
        });
        let mut recovered = match from {
            Origin::Before => before.recover(layout),
            // On a pretend table of our own trains stand where the layout says, every time.
            Origin::Afresh => Recovered::default(),
        };
        told.append(&mut recovered.told);
        let before = match from {
            Origin::Before => Some((Reader::open(register.path())?, Names::new(Arc::clone(layout)))),
            Origin::Afresh => None,
        };
        recovered.told = told;
        let snapshot_at = Time::ZERO;
        Ok((
            Self {
                register,
                pace,
                before,
                bell,
                clock: None,
                snapshot_at,
                has_begun: false,
                stopping: Vec::new(),
                is_told: false,
                lost: 0,
            },
            recovered,
        ))
    }

    /// Another layout takes over: a new shift begins with the signaller as it is then.
    pub(super) fn change_over(
        &mut self,
        layout: &Arc<Layout>,
        files: BTreeMap<String, String>,
        now: Time,
        snapshot: Vec<u8>,
    ) {
        self.register.begin_shift(Beginning {
            wall: SystemTime::now(),
            pace: self.pace.to_string(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            conduct: Conduct::Control,
            layout: Arc::clone(layout),
            files: files.into_iter().collect(),
            // What people wished holds on, and trains stand where they stood.
            from: Origin::Before,
        });
        self.register.snapshot(now, snapshot);
        self.snapshot_at = now;
        self.stopping.clear();
        self.before = self.before.take().map(|(reader, _)| (reader, Names::new(Arc::clone(layout))));
    }

    /// Keeps what the layout clock shows, if that is due.
    pub(super) fn keep_clock(&mut self, now: Time, clock: &LayoutClock) {
        let is_due = match &self.clock {
            Some((before, _)) if before != clock => true,
            Some((_, at)) => clock.is_running() && now.since(*at) >= CLOCK_EVERY,
            None => clock.is_used(),
        };
        if is_due {
            self.keep_clock_as_it_is(now, clock);
        }
    }

    /// The same, whether or not it is due.
    pub(super) fn keep_clock_as_it_is(&mut self, now: Time, clock: &LayoutClock) {
        if clock.is_used() {
            self.clock = Some((clock.clone(), now));
            let (shows_ns, pace, is_running) = (clock.shows(now).nanos(), clock.pace(), clock.is_running());
            self.register.keep_clock(KeptClock { shows_ns, pace, is_running });
        }
    }

    /// The file that it is kept in.
    pub(super) fn path(&self) -> &Path {
        self.register.path()
    }

    /// Keeps one step. Tells its number; nothing where it heard nothing, or is not kept.
    pub(super) fn hear(&mut self, step: &Kept<'_>, askers: &BTreeMap<Ticket, Asker>) -> Option<u64> {
        self.measure(step);
        if step.inputs.is_empty() {
            return None;
        }
        let layout = step.signaller.layout();
        let heard = step.inputs.iter().map(|input| (input.clone(), self.cause(layout, input, askers))).collect();
        self.has_begun = true;
        if step.table.is_some() {
            // Time on a pretend table of our own can wait for the disk.
            self.register.wait_for_room();
        }
        let entry = Entry { at: step.now, wall: SystemTime::now(), heard, outputs: step.outputs.to_vec() };
        let number = self.register.record(entry).ok();
        self.register.keep_up(step.now, step.signaller);
        if step.now.since(self.snapshot_at) >= SNAPSHOTS_APART {
            self.snapshot_at = step.now;
            self.register.snapshot(step.now, step.signaller.snapshot());
        }
        self.stopping.extend(step.outputs.iter().filter_map(|output| match output {
            Output::Fact(Fact::Arrived { train, at: Destination::Stop(stop) }) => Some((*train, *stop)),
            _ => None,
        }));
        number
    }

    /// Whether everything up to this step is durable, or cannot be.
    pub(super) fn durable(&self, number: u64) -> Durable {
        let progress = self.register.progress();
        match (in_words(&progress), progress.health) {
            _ if progress.durable_up_to >= number => Durable::Yes,
            (Some(why), Health::Failing(_) | Health::Ended(_)) => Durable::Never(why),
            _ => Durable::NotYet,
        }
    }

    /// What is wrong with the register, once something is, and that it is over, once it is; each told once.
    pub(super) fn take_trouble(&mut self) -> Option<Keeping> {
        let progress = self.register.progress();
        let is_well = progress.health == Health::Good;
        if self.is_told {
            let is_over = is_well && progress.waiting < WELL_BEHIND;
            return is_over.then(|| {
                self.is_told = false;
                Keeping::GoesOn { missing: progress.lost - std::mem::replace(&mut self.lost, progress.lost) }
            });
        }
        if is_well && progress.lost == self.lost {
            return None;
        }
        self.is_told = true;
        in_words(&progress).map(Keeping::Fails)
    }

    /// What is known of a key from the shifts before.
    pub(super) fn known_key(&self, key: &str, request: &Request) -> Option<KnownKey> {
        let (reader, names) = self.before.as_ref()?;
        match reader.wish_with_key(key) {
            Ok(Some(wish)) if wish.what == names.request(request) => {
                Some(KnownKey::Same(wish.answer.map(|answer| match answer {
                    Ok(()) => Answer::Accepted,
                    Err(refusal) => Answer::Refused(refusal),
                })))
            }
            Ok(Some(_)) => Some(KnownKey::Other),
            Ok(None) => None,
            Err(trouble) => {
                tracing::warn!(%trouble, "whether a request was asked before cannot be looked up");
                None
            }
        }
    }

    /// How many steps would be lost now.
    pub(super) fn waiting(&self) -> usize {
        self.register.progress().waiting
    }

    /// Rings when the writer has come further, or something went wrong with it.
    pub(super) fn bell(&self) -> Arc<Notify> {
        Arc::clone(&self.bell)
    }

    /// Writes everything, and tells what went wrong.
    pub(super) fn close(mut self, signaller: &Signaller) -> Option<String> {
        self.register.keep_all(signaller);
        in_words(&self.register.close())
    }

    /// How far trains that arrived stand from their stopping points, once they stand.
    fn measure(&mut self, step: &Kept<'_>) {
        let (Some(table), layout) = (step.table, step.signaller.layout()) else {
            self.stopping.clear();
            return;
        };
        self.stopping.retain(|&(train, stop)| {
            if table.speed(train).um() != 0 {
                return true;
            }
            let point = &layout.stops[stop];
            let length = step.signaller.roster().train(train).and_then(track::Train::length);
            let wanted = layout.stands_short(stop, length);
            if let Some(short_of_end) = table.short_of(train, point.towards) {
                self.register.measured(train, (short_of_end - wanted).um());
            }
            false
        });
    }

    fn cause(&self, layout: &Layout, input: &Input, askers: &BTreeMap<Ticket, Asker>) -> Cause {
        let of_detector = |detector: DetectorId| layout.detectors[detector].link;
        match input {
            Input::Woke => Cause::Wake,
            _ if !self.has_begun => Cause::Start,
            Input::SectionReported { section, .. } => Cause::Link(link_of(layout, *section)),
            Input::SpotPassed { detector } | Input::TrainRead { detector, .. } => Cause::Link(of_detector(*detector)),
            Input::TurnoutReported { turnout, .. } => Cause::Link(layout.turnouts[*turnout].link),
            Input::InputReported { input, .. } => Cause::Link(layout.inputs[*input].link),
            Input::LinkReported { link, .. } => Cause::Link(Some(*link)),
            Input::PowerReported { .. } | Input::SignalReported { .. } => Cause::Link(None),
            Input::TrainRemembered { .. } | Input::ProfileRemembered { .. } | Input::TrainNamed { .. } => Cause::Start,
            Input::Requested { ticket, .. } => match askers.get(ticket) {
                Some(Asker { by, key }) => Cause::Asked { by: by.clone(), key: key.clone() },
                None => Cause::Asked { by: "a script".to_owned(), key: None },
            },
        }
    }
}

fn link_of(layout: &Layout, section: SectionId) -> Option<LinkId> {
    layout.detectors[layout.sections[section].detector?].link
}

/// What went wrong; nothing where nothing did.
fn in_words(progress: &Progress) -> Option<String> {
    let trouble = match &progress.health {
        Health::Good if progress.lost == 0 => return None,
        Health::Good => String::new(),
        Health::Failing(trouble) | Health::Ended(trouble) => format!("{trouble}; "),
    };
    let missing = progress.lost + progress.waiting as u64;
    Some(format!("{trouble}{missing} steps are not in the register"))
}
