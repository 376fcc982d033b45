//! The closed loop with its scripts: everything that the one task owns.

use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::sync::Arc;
use std::time::{Duration, Instant};

use hooks::{Apart, Budget, LayoutClock, Notice, NoticeKind, ScriptError, ScriptWish, Scripts, Shown, Taken};
use signaller::interlock::HoldKind;
use signaller::{
    Answer, Board, Changeover, Conduct, Extent, Fact, Input, Output, Refusal, Request, Signaller, SpeedProfile, Step,
    Ticket, Time, Why,
};
use testtrack::swarm::FaultSet;
use testtrack::{Desk, Happening, Moment, PlaceError, Session, Settings, Statistics, Table, Violation, Works};
use tokio::sync::Notify;
use track::wiring::Wiring;
use track::{Hint, Layout, SectionId, TrainId};

use super::beyond::{Beyond, Worked};
use super::booked::{self, Asker, Book, Keeping};
use super::handed_on::board_for;
use super::outside::{News, Outside};
use crate::Exit;
use crate::state::Kept;

/// One moment of the loop, for whoever listens.
pub(crate) struct Heard<'a> {
    /// The layout time.
    pub(crate) now: Time,
    /// What the signaller heard.
    pub(super) inputs: &'a [Input],
    /// What came of it.
    pub(crate) outputs: &'a [Output],
    /// What the scripts said in it.
    pub(crate) notices: &'a [Notice],
    /// The picture after it.
    pub(super) board: &'a Board,
    /// What happened on the pretend table, where there is one.
    pub(super) on_table: Option<OnTable<'a>>,
}

/// What happened on the pretend table since the moment before.
pub(crate) struct OnTable<'a> {
    pub(super) table: &'a Table,
    pub(super) happenings: &'a [(Time, Happening)],
    pub(super) violations: &'a [Violation],
}

/// Somebody who is told what happens.
pub(crate) trait Audience {
    /// One moment of the loop.
    fn hear(&mut self, heard: &Heard<'_>);
}

/// The signaller, and how long its steps took since that was asked last.
pub(super) struct Timed {
    signaller: Signaller,
    steps: Vec<StepTaken>,
}

/// How much a step of the signaller worked through, and how long it took.
#[derive(Clone, Copy, Debug)]
pub(super) struct StepTaken {
    pub(super) inputs: usize,
    pub(super) took: Duration,
}

impl Timed {
    pub(super) fn new(signaller: Signaller) -> Self {
        Self { signaller, steps: Vec::new() }
    }

    pub(super) fn signaller(&self) -> &Signaller {
        &self.signaller
    }
}

impl Works for Timed {
    fn work(&mut self, now: Time, inputs: &[Input]) -> Step<'_> {
        let began = Instant::now();
        let step = self.signaller.work(now, inputs);
        if self.steps.len() < MOST_STEPS {
            self.steps.push(StepTaken { inputs: inputs.len(), took: began.elapsed() });
        }
        step
    }
}

/// So long after a daemon took over from another every train stands that still rolled.
const SETTLING: Duration = Duration::from_millis(1500);

fn links() -> Asker {
    Asker { by: "the daemon, for want of a link".to_owned(), key: None }
}

fn starting() -> Asker {
    Asker { by: "the daemon, at its start".to_owned(), key: None }
}

/// A layout that is to take the place of another.
pub(super) struct Fresh {
    /// It.
    pub(super) layout: Arc<Layout>,
    /// The text of its files.
    pub(super) files: BTreeMap<String, String>,
    /// How its hardware is reached, where it says so.
    pub(super) wiring: Option<Wiring>,
    /// How it is to be drawn.
    pub(super) hints: Vec<Hint>,
    /// Its scripts, as pairs of file name and text.
    pub(super) scripts: Vec<(String, String)>,
}

/// Where nobody asks how long steps took, so many are remembered.
const MOST_STEPS: usize = 100_000;

/// Where the trains are.
enum Ground {
    /// On a pretend table of our own, in the same loop.
    Within(Box<Session<Timed>>),
    /// On a table elsewhere.
    Beyond(Box<Beyond>),
}

/// The loop with its scripts.
pub(crate) struct House {
    ground: Ground,
    office: Office,
    /// What the run began with.
    settings: Settings,
    /// Trains are to stand for a while once they are heard of.
    settles: bool,
    /// Trains that are held because a link is down.
    held_for_links: BTreeSet<TrainId>,
    /// How many scripts could not be put into service.
    scripts_left_out: usize,
}

/// The answer to what a person asked for.
pub(super) struct Answered {
    pub(super) ticket: Ticket,
    pub(super) answer: Answer,
    /// When it was decided.
    pub(super) at: Time,
    /// The step in which that was.
    pub(super) step: Recorded,
}

/// Where a step is in the book.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Recorded {
    /// There is no book.
    Nowhere,
    /// Under this number, once it is written.
    Under(u64),
    /// The book did not take it.
    Refused,
}

/// Holds together, in what is said about it, what was heard in a step and what came of it.
fn span(now: Time, inputs: &[Input]) -> tracing::span::EnteredSpan {
    let step = tracing::debug_span!("step", at = now.secs_f64()).entered();
    for input in inputs {
        tracing::debug!(?input);
    }
    step
}

/// Whether all trains were told to stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Halt {
    /// They may run.
    Off,
    /// They were, and nobody let them go on.
    On,
}

/// Whether the loop waits for the scripts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Company {
    /// It can, because its time is not that of the wall: then every run comes out the same.
    Kept,
    /// It goes on, and takes what comes from them when it comes.
    Left,
}

/// Tickets of what people ask of the scripts begin here: between those of the desk and those of the scripts.
const FIRST_WISH: u64 = 1 << 62;

/// Everything that works on what came of a step.
struct Office {
    scripts: Apart,
    /// They have heard of nothing yet, and what holds is news to them.
    scripts_are_new: bool,
    /// Rings when something came from the scripts.
    bell: Arc<Notify>,
    company: Company,
    /// What the scripts said and nobody was told yet.
    notices: Vec<Notice>,
    /// Numbers what people ask of the scripts.
    wishes: u64,
    board: Board,
    script_failures: usize,
    /// Requests of people whose answers are waited for, and what becomes of the railway as a whole if one is accepted.
    awaited: BTreeMap<Ticket, Option<Halt>>,
    /// Who made them.
    askers: BTreeMap<Ticket, Asker>,
    halt: Halt,
    answers: Vec<Answered>,
    /// Keeps every step, where that is wished.
    book: Option<Book>,
}

impl Office {
    /// Keeps a step, where that is wished.
    fn keep(&mut self, step: &booked::Kept<'_>) -> Recorded {
        let Some(book) = &mut self.book else { return Recorded::Nowhere };
        match book.hear(step, &self.askers) {
            Some(number) => Recorded::Under(number),
            None => Recorded::Refused,
        }
    }

    /// Lets the scripts hear of a step, and hands in what they ask for; tells what they said. The first `again` outputs are no
    /// news but to scripts that begin anew.
    fn attend(
        &mut self,
        now: Time,
        (inputs, outputs, again): (&[Input], &[Output], usize),
        step: Recorded,
        desk: &mut Desk,
    ) -> Vec<Notice> {
        let all = outputs;
        let (known, outputs) = outputs.split_at(again.min(outputs.len()));
        self.board.hear(now, known);
        let to_scripts = if std::mem::take(&mut self.scripts_are_new) { all } else { outputs };
        for output in outputs {
            tracing::debug!(?output);
            if let Output::Fact(Fact::Answered { ticket, answer }) = output
                && let Some(becomes) = self.awaited.remove(ticket)
            {
                if let (Some(halt), Answer::Accepted) = (becomes, answer) {
                    self.halt = halt;
                }
                self.askers.remove(ticket);
                self.answers.push(Answered { ticket: *ticket, answer: answer.clone(), at: now, step });
            }
        }
        self.board.hear(now, outputs);
        self.scripts.tell(now, inputs, to_scripts, &self.board);
        if self.company == Company::Kept {
            self.scripts.keep_up();
        }
        self.collect(now, desk);
        if let Some(book) = &mut self.book {
            book.keep_clock(now, &self.scripts.clock());
        }
        std::mem::take(&mut self.notices)
    }

    /// Takes what came from the scripts, and hands in what they ask for.
    fn collect(&mut self, now: Time, desk: &mut Desk) {
        let Taken { requests, notices, answers, next_wake } = self.scripts.take();
        for (ticket, request) in requests {
            tracing::debug!(?request, "a script asks");
            desk.hand_in(now, ticket, request);
        }
        if let Some(wake) = next_wake {
            desk.call_at(wake);
        }
        for (ticket, done) in answers {
            let answer = match done {
                Ok(()) => Answer::Accepted,
                Err(reason) => Answer::Refused(Refusal { reason }),
            };
            self.answers.push(Answered { ticket, answer, at: now, step: Recorded::Nowhere });
        }
        self.script_failures += notices.iter().filter(|notice| matches!(notice.kind, NoticeKind::Failed(_))).count();
        for notice in notices {
            match &notice.kind {
                NoticeKind::Logged(text) => tracing::info!(script = notice.file, at = notice.at.secs_f64(), "{text}"),
                _ => self.notices.push(notice),
            }
        }
    }
}

impl House {
    /// Puts the trains on the table and the scripts into service. Scripts with errors stay out of it.
    ///
    /// # Errors
    /// In words: a train that does not fit where it is said to stand, or no thread for the scripts.
    pub(crate) fn new(
        layout: Arc<Layout>,
        scripts: Vec<(String, String)>,
        seed: u64,
        faults: &FaultSet,
    ) -> Result<(Self, Vec<ScriptError>), String> {
        let settings = Settings { faults: faults.faults(), ..Settings::seeded(seed) };
        let signaller = Signaller::new(Arc::clone(&layout), Conduct::Control);
        let session = Session::with(Arc::clone(&layout), &settings, Timed::new(signaller));
        let session = session.map_err(|error: PlaceError| error.to_string())?;
        tracing::info!(layout = layout.name, seed, "trains are on the pretend table");
        Self::with(layout, Ground::Within(Box::new(session)), scripts, settings, LayoutClock::default())
    }

    /// The trains are on a table elsewhere.
    ///
    /// # Errors
    /// In words, where there is no thread for the scripts.
    pub(super) fn beyond(
        layout: Arc<Layout>,
        scripts: Vec<(String, String)>,
        seed: u64,
        outside: Outside,
        first: Vec<Input>,
        clock: LayoutClock,
    ) -> Result<(Self, Vec<ScriptError>), String> {
        let beyond = Beyond::new(Arc::clone(&layout), outside, first);
        Self::with(layout, Ground::Beyond(Box::new(beyond)), scripts, Settings::seeded(seed), clock)
    }

    fn with(
        layout: Arc<Layout>,
        ground: Ground,
        scripts: Vec<(String, String)>,
        settings: Settings,
        clock: LayoutClock,
    ) -> Result<(Self, Vec<ScriptError>), String> {
        let (scripts, errors) =
            Scripts::load_going_on(Arc::clone(&layout), scripts, &Budget::default(), settings.seed, clock);
        let bell = Arc::new(Notify::new());
        let scripts = apart(scripts, &bell)?;
        let office = Office {
            scripts,
            bell,
            scripts_are_new: false,
            company: Company::Kept,
            notices: Vec::new(),
            wishes: 0,
            board: Board::new(layout),
            script_failures: 0,
            awaited: BTreeMap::new(),
            askers: BTreeMap::new(),
            book: None,
            halt: Halt::Off,
            answers: Vec::new(),
        };
        let scripts_left_out = errors.len();
        let held_for_links = BTreeSet::new();
        Ok((Self { ground, office, settings, settles: false, held_for_links, scripts_left_out }, errors))
    }

    /// Whether the loop is to wait for the scripts from now on.
    pub(super) fn keep_company(&mut self, company: Company) {
        self.office.company = company;
    }

    /// Rings when something came from the scripts.
    pub(super) fn scripts_bell(&self) -> Arc<Notify> {
        Arc::clone(&self.office.bell)
    }

    /// Takes what came from the scripts meanwhile, to be heard as soon as time passes.
    pub(super) fn hear_scripts(&mut self) {
        let now = self.now();
        let desk = match &mut self.ground {
            Ground::Within(session) => session.desk(),
            Ground::Beyond(beyond) => beyond.desk(),
        };
        self.office.collect(now, desk);
        // So that what they said is told.
        desk.call_at(now);
    }

    /// Asks something of the scripts. The answer comes under this ticket.
    pub(super) fn ask_scripts(&mut self, wish: ScriptWish) -> Ticket {
        self.office.wishes += 1;
        let ticket = Ticket(FIRST_WISH + self.office.wishes);
        self.office.scripts.ask(self.now(), Some(ticket), wish);
        self.attend_to_wishes();
        ticket
    }

    /// Why a request of a person is not even asked; nothing where it is. Of an input that hardware reports nobody else says how it
    /// is.
    pub(super) fn why_not(&mut self, request: &Request) -> Option<String> {
        let Request::WorkInput { input, .. } = *request else { return None };
        let link = self.outside()?.reports_input(input)?;
        let name = &self.board().layout().inputs[input].name;
        Some(format!("`{name}` is reported over link `{link}`, and nobody else says how it is"))
    }

    /// Refuses something before it is asked. The answer comes under this ticket.
    pub(super) fn refuse(&mut self, reason: String) -> Ticket {
        self.office.wishes += 1;
        let ticket = Ticket(FIRST_WISH + self.office.wishes);
        let answer = Answer::Refused(Refusal { reason });
        let at = self.now();
        self.office.answers.push(Answered { ticket, answer, at, step: Recorded::Nowhere });
        ticket
    }

    /// Tells the scripts that the run is about to end.
    pub(super) fn end_scripts(&mut self) {
        self.office.scripts.ask(self.now(), None, ScriptWish::End);
        self.attend_to_wishes();
    }

    fn attend_to_wishes(&mut self) {
        if self.office.company == Company::Kept {
            self.office.scripts.keep_up();
            self.hear_scripts();
        }
    }

    /// What is to be shown of the scripts.
    pub(super) fn shown_of_scripts(&self) -> Shown {
        self.office.scripts.shown()
    }

    /// Goes on with another layout. Track that is as it was goes on without a stop; scripts begin anew if they, or the numbers that
    /// things go by, are different.
    ///
    /// # Errors
    /// Every reason why not, in words; then all stays as it is.
    pub(super) async fn change_over(&mut self, fresh: Fresh) -> Result<(), String> {
        let Fresh { layout, files, wiring, scripts: texts, hints: _ } = fresh;
        let is_over_links = matches!(&self.ground, Ground::Beyond(beyond) if beyond.is_over_links());
        if is_over_links && wiring.is_none() {
            return Err(
                "`links.toml` says nothing any more; hint: a run over links needs some, so start it anew".to_owned()
            );
        }
        let is_clear = match &mut self.ground {
            Ground::Within(session) => session.desk().is_clear(),
            Ground::Beyond(beyond) => beyond.desk().is_clear(),
        };
        if !is_clear {
            return Err("something was asked for that is not decided yet; hint: try again in a moment".to_owned());
        }
        let changeover = self.signaller().change_over(&layout).map_err(|reasons| reasons.join("\n"))?;
        let Changeover { signaller, numbers } = changeover;
        let (budget, seed) = (Budget::default(), self.settings.seed);
        let clock = self.office.scripts.clock().handed_on();
        let (scripts, errors) = Scripts::load_going_on(Arc::clone(&layout), texts, &budget, seed, clock);
        if !errors.is_empty() {
            let errors: Vec<String> = errors.iter().map(|error| format!("scripts/{error}")).collect();
            return Err(errors.join("\n"));
        }
        // Those at work know things by their numbers.
        let scripts = if numbers.keeps_numbers { None } else { Some(apart(scripts, &self.office.bell)?) };
        match &mut self.ground {
            Ground::Within(session) => {
                session.rebuild(&layout, &self.settings, &numbers, Timed::new(signaller))?;
            }
            Ground::Beyond(beyond) if is_over_links => {
                let wiring = wiring.unwrap_or_default();
                beyond.rewire(&layout, &wiring, &Arc::new(numbers.clone()), signaller).await?;
            }
            Ground::Beyond(beyond) => beyond.rebuild(&layout, &files, &numbers, signaller).await?,
        }
        let held = std::mem::take(&mut self.held_for_links).into_iter();
        self.held_for_links = held.filter_map(|train| numbers.trains.get(train).copied().flatten()).collect();
        self.office.board = board_for(&self.office.board, Arc::clone(&layout), &numbers);
        if let Some(scripts) = scripts {
            self.office.scripts = scripts;
            self.office.scripts_are_new = true;
            self.scripts_left_out = 0;
        }
        let (now, snapshot) = (self.now(), self.signaller().snapshot());
        if let Some(book) = &mut self.office.book {
            book.change_over(&layout, files, now, snapshot);
        }
        self.mind_links();
        Ok(())
    }

    /// Why a section has its tag.
    pub(super) fn why(&self, section: SectionId) -> Why {
        self.signaller().why(section)
    }

    /// How fast a train is, as far as that is known.
    pub(super) fn profile(&self, train: TrainId) -> Option<SpeedProfile> {
        self.signaller().drive().profile(train)
    }

    /// Every step is kept from now on.
    pub(super) fn keep_book(&mut self, book: Book) {
        self.office.book = Some(book);
    }

    /// The book, where one is kept.
    pub(super) fn book(&self) -> Option<&Book> {
        self.office.book.as_ref()
    }

    /// What is wrong with the book, once something is, and that it is over; each told once.
    pub(super) fn take_trouble(&mut self) -> Option<Keeping> {
        self.office.book.as_mut()?.take_trouble()
    }

    /// Closes the book, if one is kept; tells what went wrong with it.
    pub(super) fn close_book(&mut self) -> Option<String> {
        let mut book = self.office.book.take()?;
        book.keep_clock_as_it_is(self.now(), &self.office.scripts.clock());
        book.close(self.signaller())
    }

    /// Begins with what is kept of its trains, before anything else is heard; tells why something of it is not used.
    pub(super) fn remember(&mut self, kept: &Kept) -> Vec<String> {
        let mut inputs = Vec::new();
        let mut unused = Vec::new();
        for (train, described) in self.office.board.layout().trains.iter() {
            let Some(lessons) = kept.lessons(&described.name) else { continue };
            match lessons.fits(described) {
                Ok(()) => inputs.push(Input::ProfileRemembered { train, lessons: Box::new(lessons) }),
                Err(why) => unused.push(format!("`{}` {why}; it begins as it is described", described.name)),
            }
        }
        if let Ground::Within(session) = &mut self.ground {
            session.begin_with(inputs);
        }
        unused
    }

    /// Keeps what was learned.
    ///
    /// # Errors
    /// When it cannot be written.
    pub(super) fn keep(&self, kept: &mut Kept) -> io::Result<()> {
        for (train, described) in self.office.board.layout().trains.iter() {
            if let Some(lessons) = self.signaller().drive().lessons(train) {
                kept.set(&described.name, &lessons);
            }
        }
        kept.save()
    }

    /// The layout time.
    pub(crate) fn now(&self) -> Time {
        match &self.ground {
            Ground::Within(session) => session.now(),
            Ground::Beyond(beyond) => beyond.now(),
        }
    }

    /// What the run was like on the pretend table, where it is our own.
    pub(super) fn statistics(&self) -> Option<&Statistics> {
        match &self.ground {
            Ground::Within(session) => Some(session.statistics()),
            Ground::Beyond(_) => None,
        }
    }

    fn signaller(&self) -> &Signaller {
        match &self.ground {
            Ground::Within(session) => session.signaller().signaller(),
            Ground::Beyond(beyond) => beyond.timed().signaller(),
        }
    }

    /// How long steps took since this was asked last.
    pub(super) fn take_steps(&mut self) -> Vec<StepTaken> {
        let timed = match &mut self.ground {
            Ground::Within(session) => session.signaller_mut(),
            Ground::Beyond(beyond) => beyond.timed_mut(),
        };
        std::mem::take(&mut timed.steps)
    }

    /// The table elsewhere, or the hardware.
    pub(super) fn outside(&mut self) -> Option<&mut Outside> {
        match &mut self.ground {
            Ground::Within(_) => None,
            Ground::Beyond(beyond) => Some(beyond.outside()),
        }
    }

    /// Lets go of hardware: it is told that nobody is in charge any more. Not to be called within a runtime.
    pub(super) fn close(self) {
        if let Ground::Beyond(beyond) = self.ground {
            beyond.into_outside().close();
        }
    }

    /// Takes in what came from outside; tells what there is to say about it.
    pub(super) fn take(&mut self, news: News) -> Option<String> {
        if let News::Stop(link, _) = news {
            let by = self.outside().map_or_else(String::new, |outside| format!("link {}", outside.name(link)));
            self.ask(Request::EmergencyStop { of: Extent::Everything }, Asker { by, key: None });
        }
        let Ground::Beyond(beyond) = &mut self.ground else { return None };
        let is_heard = matches!(news, News::Reported(_) | News::LinkUp(..));
        let said = beyond.take(news);
        if is_heard && std::mem::take(&mut self.settles) {
            let at = beyond.now() + SETTLING;
            let ticket = beyond.desk().request_at(at, Request::ResumeAll);
            self.office.awaited.insert(ticket, Some(Halt::Off));
            self.office.askers.insert(ticket, starting());
        }
        self.mind_links();
        said
    }

    /// Trains whose link is down are held until it is back; what somebody else holds is left alone.
    fn mind_links(&mut self) {
        let Ground::Beyond(beyond) = &self.ground else { return };
        let cut_off: BTreeMap<TrainId, String> =
            self.office.board.layout().trains.ids().filter_map(|train| Some((train, beyond.cut_off(train)?))).collect();
        let (back, lost): (Vec<TrainId>, Vec<(TrainId, String)>) = (
            self.held_for_links.iter().copied().filter(|train| !cut_off.contains_key(train)).collect(),
            cut_off.into_iter().filter(|(train, _)| !self.held_for_links.contains(train)).collect(),
        );
        for train in back {
            self.held_for_links.remove(&train);
            self.ask(Request::Release { train }, links());
        }
        for (train, link) in lost {
            let is_held = self.signaller().interlock().hold_kinds(train).any(|kind| kind == HoldKind::Wished);
            if !is_held {
                self.ask(
                    Request::Hold { train, reason: format!("link {link}, over which it is driven, is down") },
                    links(),
                );
                self.held_for_links.insert(train);
            }
        }
    }

    /// What people ask of a train whose link is down: one that they hold they have to release, and one that they release is
    /// held all the same.
    fn mind_wish(&mut self, request: &Request) {
        match *request {
            Request::Hold { train, .. } => drop(self.held_for_links.remove(&train)),
            Request::Release { train } if self.held_for_links.remove(&train) => self.mind_links(),
            _ => {}
        }
    }

    /// What is known.
    pub(crate) fn board(&self) -> &Board {
        &self.office.board
    }

    /// Brings the board up to date with what is nobody's news.
    pub(super) fn look(&mut self) {
        let now = self.now();
        let signaller = match &self.ground {
            Ground::Within(session) => session.signaller().signaller(),
            Ground::Beyond(beyond) => beyond.timed().signaller(),
        };
        self.office.board.look(now, signaller);
    }

    /// Rules that were broken, where the pretend table is our own.
    pub(crate) fn violations(&self) -> &[Violation] {
        match &self.ground {
            Ground::Within(session) => session.violations(),
            Ground::Beyond(_) => &[],
        }
    }

    /// How many scripts had errors and stayed out of service.
    pub(super) fn scripts_left_out(&self) -> usize {
        self.scripts_left_out
    }

    /// What the run so far deserves: rules were broken or scripts failed, scripts could not be used, or all is well.
    pub(super) fn verdict(&self) -> Exit {
        if !self.violations().is_empty() || self.office.script_failures > 0 {
            Exit::Wrong
        } else if self.scripts_left_out > 0 {
            Exit::BadInput
        } else {
            Exit::Fine
        }
    }

    /// How often a script, or a part of one, was ended because it failed.
    pub(super) fn script_failures(&self) -> usize {
        self.office.script_failures
    }

    /// Lets layout time pass.
    pub(crate) fn pass(&mut self, until: Time, audience: &mut dyn Audience) {
        let Self { ground, office, .. } = self;
        match ground {
            Ground::Within(session) => {
                session.run_until(until, &mut |moment: &Moment<'_, Timed>, desk: &mut Desk| {
                    let Moment { now, inputs, outputs, table, happenings, violations, .. } = *moment;
                    let _step = span(now, inputs);
                    let signaller = moment.signaller.signaller();
                    let step = office.keep(&booked::Kept { now, inputs, outputs, signaller, table: Some(table) });
                    let again = if inputs.is_empty() { 0 } else { signaller.said_again() };
                    let notices = &office.attend(now, (inputs, outputs, again), step, desk);
                    let outputs = &outputs[again..];
                    let on_table = Some(OnTable { table, happenings, violations });
                    audience.hear(&Heard { now, inputs, outputs, notices, board: &office.board, on_table });
                });
            }
            Ground::Beyond(beyond) => beyond.pass(until, &mut |worked: &Worked<'_>, desk: &mut Desk| {
                let Worked { now, inputs, outputs, signaller } = *worked;
                let _step = span(now, inputs);
                let step = office.keep(&booked::Kept { now, inputs, outputs, signaller, table: None });
                let again = if inputs.is_empty() { 0 } else { signaller.said_again() };
                let notices = &office.attend(now, (inputs, outputs, again), step, desk);
                let outputs = &outputs[again..];
                audience.hear(&Heard { now, inputs, outputs, notices, board: &office.board, on_table: None });
            }),
        }
        if let Ground::Beyond(beyond) = &mut self.ground
            && beyond.take_just_begun()
        {
            self.mind_links();
        }
    }

    /// Hands in a request of a person, to be heard as soon as time passes. Its answer comes under this ticket.
    pub(super) fn ask(&mut self, request: Request, asker: Asker) -> Ticket {
        tracing::info!(?request, "somebody asks");
        let becomes = match request {
            Request::StopAll => Some(Halt::On),
            Request::ResumeAll => Some(Halt::Off),
            _ => None,
        };
        let wish = (asker != links()).then(|| request.clone());
        let desk = match &mut self.ground {
            Ground::Within(session) => session.desk(),
            Ground::Beyond(beyond) => beyond.desk(),
        };
        let ticket = desk.request(request);
        self.office.awaited.insert(ticket, becomes);
        self.office.askers.insert(ticket, asker);
        // Only now: what the links want of a train comes after what a person says of it.
        if let Some(wish) = wish {
            self.mind_wish(&wish);
        }
        ticket
    }

    /// The same, by whoever wrote down beforehand what is to be done when.
    pub(crate) fn ask_in_rehearsal(&mut self, request: Request) {
        self.ask(request, Asker { by: "the rehearsal".to_owned(), key: None });
    }

    /// Trains may still roll as the daemon before had ordered it: all of them stand before any is sent on.
    pub(super) fn let_trains_settle(&mut self) {
        self.ask(Request::StopAll, starting());
        self.settles = true;
    }

    /// Answers to what people asked for.
    pub(super) fn take_answers(&mut self) -> Vec<Answered> {
        std::mem::take(&mut self.office.answers)
    }

    /// Whether all trains were told to stop, by whomever.
    pub(super) fn halt(&self) -> Halt {
        self.office.halt
    }

    /// Whether every train stands.
    pub(super) fn all_stand(&self) -> bool {
        self.moving().is_empty()
    }

    /// The trains that move; on a table elsewhere those that were last ordered to.
    pub(super) fn moving(&self) -> Vec<TrainId> {
        let trains = self.office.board.layout().trains.ids();
        match &self.ground {
            Ground::Within(session) => trains.filter(|&train| session.table().speed(train).um() != 0).collect(),
            Ground::Beyond(_) => {
                let errands = &self.office.board.errands;
                trains.filter(|train| errands.get(train).is_some_and(|errand| errand.step != 0)).collect()
            }
        }
    }
}

/// Scripts on a thread of their own, and a bell that rings when something comes from them.
fn apart(scripts: Scripts, bell: &Arc<Notify>) -> Result<Apart, String> {
    let rings = Arc::clone(bell);
    Apart::new(scripts, move || rings.notify_one())
        .map_err(|error| format!("the scripts cannot have a thread of their own: {error}"))
}
