//! The task that lets time pass, and what may end it.

use std::io::{self, Write};
use std::time::{Duration, Instant};

use hooks::Notice;
use signaller::Time;
use testtrack::Moment;
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};
use tokio::time::{MissedTickBehavior, interval};

use super::house::{Audience, House};
use super::pace::{Clock, Pace};
use super::summary::summary;
use super::view::{Key, View};
use super::watch::Watch;
use super::words::{Line, Teller};

/// How often the loop is given time, and the picture is drawn.
const BEAT: Duration = Duration::from_millis(50);

/// Within that every order has reached its train.
const ORDERS_ARRIVE: Duration = Duration::from_millis(500);

/// How long trains may take to stand after all of them were told to stop.
const STOPPING: Duration = Duration::from_secs(60);

/// Runs and tells it in plain lines. Gives the house back as it is then.
///
/// # Errors
/// When the output cannot be written.
pub(super) fn plain(house: House, pace: Pace, span: Option<Duration>) -> io::Result<House> {
    let teller = Teller::new(house.watch().layout());
    let mut plain = Plain { teller, output: io::BufWriter::new(io::stdout()), failed: Ok(()) };
    let (_sender, keys) = unbounded_channel();
    work(house, pace, span, &mut plain, keys)
}

/// Runs and draws the live view. Gives the house back as it is then.
///
/// # Errors
/// When the output cannot be written.
pub(super) fn live(house: House, pace: Pace, span: Option<Duration>) -> io::Result<House> {
    let (sender, keys) = unbounded_channel();
    let mut view = View::open(house.watch().layout(), sender)?;
    work(house, pace, span, &mut view, keys)
}

/// Where the run is shown.
pub(super) trait Stage: Audience {
    /// Called at every beat, with the layout time up to date.
    fn beat(&mut self, house: &House, phase: Phase, pace: Pace) -> io::Result<()>;
    /// Called once at the end.
    fn end(&mut self, summary: &str) -> io::Result<()>;
}

/// What the run is about at the moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Phase {
    /// Trains run.
    Running,
    /// Every train was told to stop, and may be told to go on.
    Halted,
    /// Every train was told to stop; when all of them stand the run ends.
    Ending {
        /// Orders are still on their way until then.
        no_sooner: Time,
        /// Whatever still moves then will not stop.
        no_later: Time,
    },
}

struct Plain {
    teller: Teller,
    output: io::BufWriter<io::Stdout>,
    /// What became of writing inside the loop, where nothing can be returned.
    failed: io::Result<()>,
}

impl Audience for Plain {
    fn hear(&mut self, moment: &Moment<'_>, notices: &[Notice], _watch: &Watch) {
        for line in self.teller.lines(moment, notices) {
            if self.failed.is_ok() {
                self.failed = tell(&mut self.output, &line);
            }
        }
    }
}

fn tell(output: &mut impl Write, line: &Line) -> io::Result<()> {
    writeln!(output, "{line}")
}

impl Stage for Plain {
    fn beat(&mut self, _house: &House, _phase: Phase, _pace: Pace) -> io::Result<()> {
        std::mem::replace(&mut self.failed, Ok(()))?;
        self.output.flush()
    }

    fn end(&mut self, summary: &str) -> io::Result<()> {
        self.output.write_all(summary.as_bytes())?;
        self.output.flush()
    }
}

/// Lets time pass until the span is over or somebody ends the run, and gives the house back.
fn work(
    house: House,
    pace: Pace,
    span: Option<Duration>,
    stage: &mut impl Stage,
    keys: UnboundedReceiver<Key>,
) -> io::Result<House> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let end = span.map(|span| Time::ZERO + span);
    let started = Instant::now();
    let mut shell = Shell { clock: Clock::new(pace, house.now()), house, phase: Phase::Running, end };
    runtime.block_on(shell.run(stage, keys))?;
    stage.end(&summary(&shell.house, started.elapsed()))?;
    Ok(shell.house)
}

struct Shell {
    house: House,
    clock: Clock,
    phase: Phase,
    end: Option<Time>,
}

/// Whether the run goes on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Course {
    GoesOn,
    IsOver,
}

impl Shell {
    async fn run(&mut self, stage: &mut impl Stage, mut keys: UnboundedReceiver<Key>) -> io::Result<()> {
        let mut interrupts = Interrupts::new()?;
        let mut beats = interval(BEAT);
        beats.set_missed_tick_behavior(MissedTickBehavior::Skip);
        let mut drawn = Instant::now();
        loop {
            let is_fast = self.clock.pace() == Pace::Fast;
            let pressed = tokio::select! {
                biased;
                () = interrupts.next() => Some(Key::Leave),
                Some(key) = keys.recv() => Some(key),
                _ = beats.tick(), if !is_fast => None,
                () = tokio::task::yield_now(), if is_fast => None,
            };
            let course = match pressed {
                Some(key) => self.press(key),
                None => self.pass(stage),
            };
            if !is_fast || drawn.elapsed() >= BEAT || course == Course::IsOver {
                drawn = Instant::now();
                stage.beat(&self.house, self.phase, self.clock.pace())?;
            }
            if course == Course::IsOver {
                return Ok(());
            }
        }
    }

    fn pass(&mut self, stage: &mut impl Stage) -> Course {
        let due = self.clock.layout_time(self.house.now());
        let until = self.end.map_or(due, |end| due.min(end));
        self.house.pass(until, stage);
        match self.phase {
            Phase::Ending { no_sooner, .. } if self.house.now() >= no_sooner && self.house.all_stand() => {
                tracing::info!(at = self.house.now().secs_f64(), "every train stands");
                Course::IsOver
            }
            Phase::Ending { no_later, .. } if self.house.now() >= no_later => {
                let layout = self.house.watch().layout();
                let moving: Vec<&str> = self.house.moving().map(|train| layout.trains[train].name.as_str()).collect();
                tracing::error!(trains = moving.join(", "), "told to stop, but still moving");
                Course::IsOver
            }
            _ if self.end.is_some_and(|end| self.house.now() >= end) => Course::IsOver,
            _ => Course::GoesOn,
        }
    }

    fn press(&mut self, key: Key) -> Course {
        let now = self.house.now();
        match (key, self.phase) {
            // Whoever asks twice does not want to wait.
            (Key::Leave, Phase::Ending { .. }) => return Course::IsOver,
            (Key::Leave, _) => {
                self.house.stop_all();
                self.phase = Phase::Ending { no_sooner: now + ORDERS_ARRIVE, no_later: now + STOPPING };
                self.end = None;
            }
            (Key::Halt, Phase::Running) => {
                self.house.stop_all();
                self.phase = Phase::Halted;
            }
            (Key::Halt, Phase::Halted) => {
                self.house.resume_all();
                self.phase = Phase::Running;
            }
            (Key::Halt, Phase::Ending { .. }) | (Key::Redraw, _) => {}
            (Key::Faster, _) => self.clock.set_pace(self.clock.pace().faster(), now),
            (Key::Slower, _) => self.clock.set_pace(self.clock.pace().slower(), now),
        }
        Course::GoesOn
    }
}

/// Ctrl-C, and where there are such things the signal to end.
struct Interrupts {
    #[cfg(unix)]
    terminate: tokio::signal::unix::Signal,
    #[cfg(unix)]
    interrupt: tokio::signal::unix::Signal,
}

impl Interrupts {
    #[cfg(unix)]
    fn new() -> io::Result<Self> {
        use tokio::signal::unix::{SignalKind, signal};
        Ok(Self { terminate: signal(SignalKind::terminate())?, interrupt: signal(SignalKind::interrupt())? })
    }

    #[cfg(unix)]
    async fn next(&mut self) {
        tokio::select! {
            _ = self.terminate.recv() => {}
            _ = self.interrupt.recv() => {}
        }
    }

    #[cfg(not(unix))]
    fn new() -> io::Result<Self> {
        Ok(Self {})
    }

    #[cfg(not(unix))]
    async fn next(&mut self) {
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    }
}
