//! The task that lets time pass, and what may end it.

use std::io::{self, IsTerminal, Write};
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};

use hooks::ScriptWish;
use panel::{Access, Beside, Certificates, Fate};
use signaller::{Board, Request, Time};
use tokio::sync::Notify;
use tokio::sync::mpsc::{Receiver, UnboundedReceiver, unbounded_channel};
use tokio::time::{MissedTickBehavior, interval};
use track::Layout;

use super::booked::{Asker, Book, Keeping};
use super::front::Front;
use super::house::{Audience, Company, Fresh, Halt, Heard, House};
use super::interrupts::{Hangup, Interrupts};
use super::outside::{News, Outside};
use super::pace::{Clock, Pace};
use super::pairing::{self, Invitation};
use super::reading::Reading;
use super::service::Service;
use super::summary::summary;
use super::view::{Key, Keys, View};
use super::watched::{Chosen, Texts, watch};
use super::words::Teller;

/// How often the loop is given time where nothing asks for it earlier.
const BEAT: Duration = Duration::from_millis(10);

/// How often the picture is drawn.
const DRAWN: Duration = Duration::from_millis(50);

/// Within that every order has reached its train.
const ORDERS_ARRIVE: Duration = Duration::from_millis(500);

/// How long trains may take to stand after all of them were told to stop.
const STOPPING: Duration = Duration::from_secs(60);

/// How long those who wait at the control door may take to leave.
const LEAVING: Duration = Duration::from_millis(200);

/// In so much layout time what was asked is decided.
const DECIDED: Duration = Duration::from_millis(1);

/// How a run is to go.
pub(super) struct Plan {
    /// How fast.
    pub(super) pace: Pace,
    /// For how long, in layout time.
    pub(super) span: Option<Duration>,
    /// Where the control door is to be.
    pub(super) door: Doorway,
    /// What becomes of those who come from other machines.
    pub(super) others: Others,
    /// What is done when what happens cannot be kept.
    pub(super) unkept: Unkept,
    /// What those who come in by it are shown of the layout beside itself.
    pub(super) beside: Beside,
    /// The folder of the scripts, and those that were chosen instead.
    pub(super) scripts: Chosen,
    /// Reads the layout anew; tells its mistakes where it has any.
    pub(super) read_anew: ReadAnew,
}

/// Reads a layout anew.
pub(super) type ReadAnew = Arc<dyn Fn() -> Result<Fresh, String> + Send + Sync>;

/// What is done when what happens cannot be kept in the register.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Unkept {
    /// Every train stops.
    Stop,
    /// The trains run on, and that is said.
    RunOn,
}

/// What becomes of those who come from other machines.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Others {
    /// They are turned away.
    TurnedAway,
    /// They are let in once they give a code; through an encrypted line where there are certificates; with a picture of one.
    Paired(Option<Certificates>, Option<Invitation>),
}

/// Where the control door is to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Doorway {
    /// There is to be none.
    None,
    /// Here, if that can be.
    IfFree(SocketAddr),
    /// Here, or there is no run.
    Needed(SocketAddr),
}

/// Why a run could not go on.
#[derive(Debug)]
pub(super) enum Failed {
    /// What is to be shown cannot be.
    Output(io::Error),
    /// The control door cannot be opened, in words.
    Door(String),
}

impl From<io::Error> for Failed {
    fn from(error: io::Error) -> Self {
        Self::Output(error)
    }
}

/// Runs and tells it in plain lines. Gives the house back as it is then.
///
/// # Errors
/// When the output cannot be written, or the control door cannot be opened where it is needed.
pub(super) fn plain(house: House, plan: Plan) -> Result<House, Failed> {
    let teller = Teller::new(house.board().layout());
    let mut plain = Plain { teller, output: io::BufWriter::new(io::stdout()), failed: Ok(()) };
    let (_sender, keys) = unbounded_channel();
    work(house, plan, &mut plain, (keys, Hangup::ReadsAnew))
}

/// Runs and draws the live view. Gives the house back as it is then.
///
/// # Errors
/// As [`plain`].
pub(super) fn live(house: House, plan: Plan) -> Result<House, Failed> {
    let (sender, keys) = unbounded_channel();
    let mut view = View::open(house.board().layout(), sender, Keys::OfItsDriver).map_err(Failed::Output)?;
    work(house, plan, &mut view, (keys, Hangup::Ends))
}

/// What there is to show.
pub(crate) struct Now<'a> {
    /// What is known.
    pub(crate) board: &'a Board,
    /// What the run is about.
    pub(crate) phase: Phase,
    /// How fast layout time passes.
    pub(crate) pace: Pace,
    /// How many rules were seen broken.
    pub(crate) broken_rules: u64,
    /// What the layout clock shows, once it was set or started.
    pub(crate) clock: Option<String>,
}

/// Where the run is shown.
pub(crate) trait Stage: Audience {
    /// Says something about the run as a whole.
    fn announce(&mut self, text: &str) -> io::Result<()>;
    /// Shows a picture of an address to a camera, now or when it is asked for, with a few words.
    fn invite(&mut self, words: &str, address: &str) -> io::Result<()>;
    /// Somebody wants to see that picture, or to put it away.
    fn turn_picture(&mut self) {}
    /// Called often, with the board up to date.
    fn beat(&mut self, now: &Now<'_>) -> io::Result<()>;
    /// Another layout took over.
    fn relay(&mut self, layout: &Layout);
    /// Called once at the end.
    fn end(&mut self, summary: &str) -> io::Result<()>;
}

/// What the run is about at the moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Phase {
    /// Trains run.
    Running,
    /// Every train was told to stop, and may be told to go on.
    Halted,
    /// Every train was told to stop; when all of them stand the run ends.
    Ending,
}

struct Plain {
    teller: Teller,
    output: io::BufWriter<io::Stdout>,
    /// What became of writing inside the loop, where nothing can be returned.
    failed: io::Result<()>,
}

impl Audience for Plain {
    fn hear(&mut self, heard: &Heard<'_>) {
        for line in self.teller.lines(heard) {
            if self.failed.is_ok() {
                self.failed = writeln!(self.output, "{line}");
            }
        }
    }
}

impl Stage for Plain {
    fn announce(&mut self, text: &str) -> io::Result<()> {
        writeln!(self.output, "{text}")?;
        self.output.flush()
    }

    fn invite(&mut self, words: &str, address: &str) -> io::Result<()> {
        let ink = if io::stdout().is_terminal() { pairing::Ink::of_terminal() } else { pairing::Ink::Plain };
        let Some(lines) = pairing::picture(address, ink) else { return Ok(()) };
        writeln!(self.output, "{words}; it says {address}")?;
        lines.iter().try_for_each(|line| writeln!(self.output, "{line}"))?;
        self.output.flush()
    }

    fn beat(&mut self, _now: &Now<'_>) -> io::Result<()> {
        std::mem::replace(&mut self.failed, Ok(()))?;
        self.output.flush()
    }

    fn relay(&mut self, layout: &Layout) {
        self.teller = Teller::new(layout);
    }

    fn end(&mut self, summary: &str) -> io::Result<()> {
        self.output.write_all(summary.as_bytes())?;
        self.output.flush()
    }
}

/// Lets time pass until the span is over or somebody ends the run, and gives the house back.
fn work(
    house: House,
    plan: Plan,
    stage: &mut impl Stage,
    (keys, hangup): (UnboundedReceiver<Key>, Hangup),
) -> Result<House, Failed> {
    // Those who come in by the door are seen to on a thread of their own: the loop waits for nobody.
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build()?;
    let started = Instant::now();
    let Plan { pace, span, door, others, unkept, beside, scripts, read_anew } = plan;
    let end = span.map(|span| Time::ZERO + span);
    let ended = runtime.block_on(async {
        let front = open(&house, pace, (door, others), (beside, scripts.clone()), stage).await?;
        let clock = Clock::new(pace, house.now());
        let watched = (pace != Pace::Fast).then(|| watch(scripts));
        let reading = Reading::new(read_anew);
        let mut shell = Shell { clock, house, front, unkept, reading, ending: None, end, drawn: None, watched };
        shell.run(stage, keys, hangup).await?;
        Ok::<House, Failed>(shell.house)
    });
    // Whoever still waits at the door need not be waited for.
    runtime.shutdown_timeout(LEAVING);
    let house = ended?;
    stage.end(&summary(&house, started.elapsed()))?;
    Ok(house)
}

async fn open(
    house: &House,
    pace: Pace,
    (door, others): (Doorway, Others),
    (beside, scripts): (Beside, Chosen),
    stage: &mut impl Stage,
) -> Result<Option<Front>, Failed> {
    let address = match door {
        Doorway::None => return Ok(None),
        Doorway::IfFree(address) | Doorway::Needed(address) => address,
    };
    let (access, certificates, invitation) = match others {
        Others::TurnedAway => (None, None, None),
        Others::Paired(certificates, invitation) => (Some(Access::new()?), certificates, invitation),
    };
    let is_encrypted = certificates.is_some();
    match Front::open(address, house, pace, beside, scripts, (access.clone(), certificates)).await {
        Ok((front, address)) => {
            stage.announce(&format!("the control door is at http://{address}"))?;
            if is_encrypted {
                stage.announce(&format!("for other machines it is at https://{address}, and says nothing plainly"))?;
            }
            for (role, code) in access.iter().flat_map(Access::codes) {
                stage.announce(&format!("other machines are let in to {} with the code {code}", role.name()))?;
            }
            if let (Some(access), Some(invitation)) = (&access, &invitation) {
                let scheme = if is_encrypted { "https" } else { "http" };
                invite(access, invitation, scheme, address, stage)?;
            }
            Ok(Some(front))
        }
        Err(error) if door == Doorway::Needed(address) => {
            // What names a file is left as it is.
            let is_ours = error.kind() == io::ErrorKind::InvalidData;
            let why = if is_ours { error.to_string() } else { error.to_string().to_lowercase() };
            Err(Failed::Door(format!("the control door cannot be opened at `{address}`: {why}")))
        }
        Err(error) => {
            tracing::warn!("the control door stays closed: `{address}`: {}", error.to_string().to_lowercase());
            Ok(None)
        }
    }
}

/// Shows a picture of a code, or says why there is none.
fn invite(
    access: &Access,
    invitation: &Invitation,
    scheme: &str,
    door: SocketAddr,
    stage: &mut impl Stage,
) -> io::Result<()> {
    let Some((role, code)) = access.codes().find(|(role, _)| *role == invitation.role) else { return Ok(()) };
    match invitation.address(scheme, door, code) {
        Ok(address) => stage.invite(&format!("a device that sees this picture is let in to {}", role.name()), &address),
        Err(why) => stage.announce(&format!("there is no picture of a code: {why}")),
    }
}

struct Shell {
    house: House,
    front: Option<Front>,
    clock: Clock,
    unkept: Unkept,
    reading: Reading,
    /// Set once the run is about to end.
    ending: Option<Ending>,
    end: Option<Time>,
    drawn: Option<Instant>,
    /// The scripts' files, where a change of them is to count.
    watched: Option<Receiver<Texts>>,
}

/// Every train was told to stop; when all of them stand the run ends.
#[derive(Clone, Copy, Debug)]
struct Ending {
    /// Orders are still on their way until then.
    no_sooner: Time,
    /// Whatever still moves then will not stop.
    no_later: Time,
}

/// Whether the run goes on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Course {
    GoesOn,
    IsOver,
}

/// What the loop was woken for.
pub(super) enum Call {
    Time,
    Key(Key),
    Asked(Box<panel::Call>),
    /// The layout is to be read anew.
    ReadAnew,
    /// The layout was read anew, for these.
    Read(Box<Result<Fresh, String>>),
    /// Something came from a table elsewhere, or from hardware.
    Reported(News),
    /// More of what happened is durable.
    Kept,
    /// Something came from the scripts.
    Scripts,
    /// The scripts' files changed, and these are their texts; or they cannot be read.
    Changed(Texts),
}

impl Shell {
    async fn run(
        &mut self,
        stage: &mut impl Stage,
        mut keys: UnboundedReceiver<Key>,
        hangup: Hangup,
    ) -> io::Result<()> {
        let mut interrupts = Interrupts::new(hangup)?;
        let mut beats = interval(BEAT);
        beats.set_missed_tick_behavior(MissedTickBehavior::Skip);
        let bell = self.house.book().map(Book::bell);
        let scripts = self.house.scripts_bell();
        let mut service = Service::begin();
        loop {
            service.beat();
            if let Some(outside) = self.house.outside() {
                outside.beat();
            }
            let is_fast = self.clock.pace() == Pace::Fast;
            self.house.keep_company(if is_fast { Company::Kept } else { Company::Left });
            let call = tokio::select! {
                biased;
                call = interrupts.next() => call,
                Some(key) = keys.recv() => Call::Key(key),
                Some(asked) = next(&mut self.front) => Call::Asked(Box::new(asked)),
                Some(read) = self.reading.next() => Call::Read(Box::new(read)),
                Some(news) = reported(self.house.outside()) => Call::Reported(news),
                () = rings(bell.as_deref()), if self.front.as_ref().is_some_and(Front::owes) => Call::Kept,
                () = scripts.notified() => Call::Scripts,
                Some(changed) = changed(&mut self.watched) => Call::Changed(changed),
                _ = beats.tick(), if !is_fast => Call::Time,
                () = tokio::task::yield_now(), if is_fast => Call::Time,
            };
            let course = self.answer(call, stage).await?;
            let (phase, pace) = (self.phase(), self.clock.pace());
            if let Some(front) = &mut self.front {
                front.settle(&mut self.house, phase, pace);
            }
            self.draw(stage, course)?;
            if course == Course::IsOver {
                return Ok(());
            }
        }
    }

    /// Does what the loop was woken for.
    async fn answer(&mut self, call: Call, stage: &mut impl Stage) -> io::Result<Course> {
        Ok(match call {
            Call::Key(Key::Picture) => {
                stage.turn_picture();
                Course::GoesOn
            }
            Call::Key(key) => self.press(key),
            Call::Asked(asked) => self.take(*asked, stage),
            Call::ReadAnew => {
                self.reading.begin(None);
                Course::GoesOn
            }
            Call::Read(read) => self.change_over(*read, stage).await?,
            Call::Time => self.pass(stage, self.house.now()),
            Call::Kept => Course::GoesOn,
            Call::Changed(Ok(scripts)) => {
                self.house.ask_scripts(ScriptWish::Reload(scripts));
                Course::GoesOn
            }
            Call::Changed(Err(why)) => {
                stage.announce(&format!(
                    "the scripts changed, and cannot be read: {why}; those before stay in service"
                ))?;
                Course::GoesOn
            }
            Call::Scripts => {
                self.house.hear_scripts();
                self.pass(stage, self.house.now() + DECIDED)
            }
            Call::Reported(news) => {
                if let Some(said) = self.house.take(news) {
                    tracing::info!("{said}");
                    Service::say(&said);
                    stage.announce(&said)?;
                }
                self.pass(stage, self.house.now())
            }
        })
    }

    fn draw(&mut self, stage: &mut impl Stage, course: Course) -> io::Result<()> {
        match self.house.take_trouble() {
            None => {}
            Some(Keeping::Fails(trouble)) => {
                tracing::error!("{trouble}");
                let then = match self.unkept {
                    Unkept::Stop => "every train is stopped",
                    Unkept::RunOn => "the trains run on",
                };
                stage.announce(&format!("what happens is not kept any more: {trouble}; {then}"))?;
                if self.unkept == Unkept::Stop {
                    let by = "the daemon, for want of a register".to_owned();
                    self.house.ask(Request::StopAll, Asker { by, key: None });
                }
            }
            Some(Keeping::GoesOn { missing }) => {
                tracing::info!(missing, "the register is written again");
                stage.announce(&format!("what happens is kept again; {missing} steps are missing"))?;
            }
        }
        let (phase, pace) = (self.phase(), self.clock.pace());
        match &mut self.front {
            Some(front) => front.show(&mut self.house, phase, pace),
            None => drop(self.house.take_steps()),
        }
        if course == Course::IsOver || self.drawn.is_none_or(|at| at.elapsed() >= DRAWN) {
            self.drawn = Some(Instant::now());
            self.house.look();
            let broken_rules = self.house.violations().len() as u64;
            let clock = self.house.shown_of_scripts().clock;
            let clock = clock.is_used().then(|| clock.shows(self.house.now()).to_string());
            stage.beat(&Now { board: self.house.board(), phase, pace, broken_rules, clock })?;
        }
        Ok(())
    }

    fn phase(&self) -> Phase {
        match (self.ending, self.house.halt()) {
            (Some(_), _) => Phase::Ending,
            (None, Halt::On) => Phase::Halted,
            (None, Halt::Off) => Phase::Running,
        }
    }

    /// Hands in what was asked, and lets it be decided at once.
    fn take(&mut self, call: panel::Call, stage: &mut impl Stage) -> Course {
        let Some(front) = &mut self.front else { return Course::GoesOn };
        match call {
            panel::Call::Asked(asked) => front.take(asked, &mut self.house),
            panel::Call::Reload(answer) => {
                self.reading.begin(Some(answer));
                return Course::GoesOn;
            }
            panel::Call::Why(section, answer) => {
                front.explain(&section, answer, &self.house);
                return Course::GoesOn;
            }
            panel::Call::Profile(train, answer) => {
                front.tell_profile(&train, answer, &self.house);
                return Course::GoesOn;
            }
        }
        self.pass(stage, self.house.now() + DECIDED)
    }

    /// Goes on with the layout that was read, or says why not, to whoever wanted it and to everybody.
    async fn change_over(&mut self, read: Result<Fresh, String>, stage: &mut impl Stage) -> io::Result<Course> {
        let at = self.house.now().secs_f64();
        let outcome = match read {
            _ if self.ending.is_some() => Err("the run is ending".to_owned()),
            Ok(fresh) => {
                let beside = Beside { files: fresh.files.clone(), hints: fresh.hints.clone() };
                self.house.change_over(fresh).await.map(|()| beside)
            }
            Err(mistakes) => Err(mistakes),
        };
        let (course, fate) = match outcome {
            Ok(beside) => {
                let course = self.relay(beside, stage);
                tracing::info!("the layout was read anew");
                stage.announce("the layout was read anew")?;
                (course, Fate::Accepted { at })
            }
            Err(reason) => {
                tracing::error!("the layout stays as it was: {reason}");
                stage.announce(&format!("the layout stays as it was:\n{reason}"))?;
                (Course::GoesOn, Fate::Refused { at, reason })
            }
        };
        self.reading.answer(&fate);
        Ok(course)
    }

    /// Shows the layout that took over, once all that holds on it was said.
    fn relay(&mut self, beside: Beside, stage: &mut impl Stage) -> Course {
        let layout = Arc::clone(self.house.board().layout());
        stage.relay(&layout);
        if let Some(front) = &mut self.front {
            front.relay(&layout);
        }
        let course = self.pass(stage, self.house.now() + DECIDED);
        self.house.look();
        let (phase, pace) = (self.phase(), self.clock.pace());
        if let Some(front) = &mut self.front {
            front.describe(&self.house, phase, pace, beside);
        }
        course
    }

    fn pass(&mut self, stage: &mut impl Stage, at_least: Time) -> Course {
        let due = self.clock.layout_time(self.house.now()).max(at_least);
        let until = self.end.map_or(due, |end| due.min(end));
        match &mut self.front {
            Some(front) => self.house.pass(until, &mut Both(stage, front)),
            None => self.house.pass(until, stage),
        }
        match self.ending {
            Some(ending) if self.house.now() >= ending.no_sooner && self.house.all_stand() => {
                tracing::info!(at = self.house.now().secs_f64(), "every train stands");
                Course::IsOver
            }
            Some(ending) if self.house.now() >= ending.no_later => {
                let layout = self.house.board().layout();
                let moving: Vec<&str> =
                    self.house.moving().into_iter().map(|train| layout.trains[train].name.as_str()).collect();
                tracing::error!(trains = moving.join(", "), "told to stop, but still moving");
                Course::IsOver
            }
            _ if self.end.is_some_and(|end| self.house.now() >= end) => Course::IsOver,
            _ => Course::GoesOn,
        }
    }

    fn press(&mut self, key: Key) -> Course {
        let now = self.house.now();
        match (key, self.phase()) {
            // Whoever asks twice does not want to wait.
            (Key::Leave, Phase::Ending) => return Course::IsOver,
            (Key::Leave, _) => {
                Service::end();
                self.house.end_scripts();
                self.house.ask(Request::StopAll, keyboard());
                self.ending = Some(Ending { no_sooner: now + ORDERS_ARRIVE, no_later: now + STOPPING });
                self.end = None;
            }
            (Key::Halt, Phase::Running) => {
                self.house.ask(Request::StopAll, keyboard());
            }
            (Key::Halt, Phase::Halted) => {
                self.house.ask(Request::ResumeAll, keyboard());
            }
            (Key::Halt, Phase::Ending) | (Key::Redraw | Key::Picture, _) => {}
            (Key::Faster, _) => self.clock.set_pace(self.clock.pace().faster(), now),
            (Key::Slower, _) => self.clock.set_pace(self.clock.pace().slower(), now),
        }
        Course::GoesOn
    }
}

/// Whoever sits at the terminal.
fn keyboard() -> Asker {
    Asker { by: "a person at the terminal".to_owned(), key: None }
}

/// What is asked next by the door; never anything where there is none.
async fn next(front: &mut Option<Front>) -> Option<panel::Call> {
    match front {
        Some(front) => front.next().await,
        None => std::future::pending().await,
    }
}

/// What comes next from a table elsewhere, or from hardware; never anything where there is none.
async fn reported(outside: Option<&mut Outside>) -> Option<News> {
    match outside {
        Some(outside) => outside.next().await,
        None => std::future::pending().await,
    }
}

/// The scripts' texts once their files changed; never anything where that is not to count.
async fn changed(watched: &mut Option<Receiver<Texts>>) -> Option<Texts> {
    match watched {
        Some(watched) => watched.recv().await,
        None => std::future::pending().await,
    }
}

async fn rings(bell: Option<&Notify>) {
    match bell {
        Some(bell) => bell.notified().await,
        None => std::future::pending().await,
    }
}

/// Two who listen.
struct Both<'a, A, B>(&'a mut A, &'a mut B);

impl<A: Audience, B: Audience> Audience for Both<'_, A, B> {
    fn hear(&mut self, heard: &Heard<'_>) {
        self.0.hear(heard);
        self.1.hear(heard);
    }
}
