//! Scripts apart from the loop that tells them what happens: on a thread of their own, with a mailbox each way.
//!
//! The loop never waits for a script. What happened goes into the scripts' mailbox. When more waits there than it holds, what
//! waits is replaced by the picture as it is now, with the answers and arrivals of meanwhile: the scripts then know what is so,
//! and hear by the event `missed` how many things they were not told. What scripts ask for and say goes into the loop's mailbox.
//! When that is full of requests the scripts wait until it is emptied; of what they say more than it holds is left out, and
//! counted.
//!
//! A loop that can wait, because its time is not that of the wall, works the scripts' mailbox off itself, by
//! [`Apart::keep_up`]: then everything comes out the same in every run.

use std::collections::{BTreeMap, VecDeque};
use std::io;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;

use signaller::{Board, Fact, Input, Output, Request, Ticket, Time};
use track::TrainId;

use crate::clock::{ClockTime, LayoutClock};
use crate::desk::Question;
use crate::notice::{Notice, NoticeKind};
use crate::scripts::Scripts;

/// So many things that happened may wait for the scripts.
const MOST_TOLD: usize = 10_000;

/// What people ask of the scripts is refused while so many letters wait.
const MOST_LETTERS: usize = 100_000;

/// So many requests of scripts may wait for the loop.
const MOST_ASKED: usize = 1000;

/// So many lines of scripts may wait for the loop.
const MOST_SAID: usize = 1000;

/// What people ask of the scripts, not of the signaller.
#[derive(Clone, Debug, PartialEq)]
pub enum ScriptWish {
    /// Answers a question.
    Answer {
        /// Its number.
        question: u64,
        /// One of its answers.
        answer: String,
    },
    /// Presses a button.
    Press {
        /// Its name.
        button: String,
    },
    /// Sets the layout clock to a time of its day.
    SetClock(ClockTime),
    /// Lets the layout clock run, so many times faster than layout time if that is said.
    StartClock(Option<f64>),
    /// Lets the layout clock stand.
    PauseClock,
    /// Takes these scripts, as pairs of file name and text, into service instead.
    Reload(Vec<(String, String)>),
    /// The run is about to end.
    End,
}

/// What is shown of the scripts.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Shown {
    /// The layout clock.
    pub clock: LayoutClock,
    /// Questions that stand open.
    pub questions: Vec<Question>,
}

/// What came from the scripts since it was taken last.
#[derive(Debug, Default)]
pub struct Taken {
    /// What they ask for.
    pub requests: Vec<(Ticket, Request)>,
    /// What they said, and what is said about them.
    pub notices: Vec<Notice>,
    /// What became of what was asked of them, in words where it was not done.
    pub answers: Vec<(Ticket, Result<(), String>)>,
    /// When they want to be told how late it is.
    pub next_wake: Option<Time>,
}

/// A letter to the scripts.
#[derive(Debug)]
enum Letter {
    Heard { now: Time, inputs: Vec<Input>, outputs: Vec<Output> },
    CatchUp { now: Time, board: Box<Board>, outputs: Vec<Output>, missed: u64 },
    Wish { now: Time, ticket: Option<Ticket>, wish: ScriptWish },
    Wake(Time),
}

#[derive(Debug, Default)]
struct Inbox {
    letters: VecDeque<Letter>,
    /// How many inputs and outputs are in them.
    told: usize,
    is_closed: bool,
}

#[derive(Debug, Default)]
struct Outbox {
    taken: Taken,
    shown: Shown,
    lines: usize,
    lines_left_out: u64,
    is_closed: bool,
}

struct Shared {
    scripts: Mutex<Scripts>,
    inbox: Mutex<Inbox>,
    has_letters: Condvar,
    outbox: Mutex<Outbox>,
    has_room: Condvar,
    bell: Box<dyn Fn() + Send + Sync>,
}

/// Scripts on a thread of their own.
pub struct Apart {
    shared: Arc<Shared>,
}

impl Apart {
    /// Gives scripts a thread of their own. The bell rings there whenever there is something to take.
    ///
    /// # Errors
    /// When there can be no more threads.
    pub fn new(scripts: Scripts, bell: impl Fn() + Send + Sync + 'static) -> io::Result<Self> {
        let shared = Arc::new(Shared {
            outbox: Mutex::new(Outbox {
                taken: Taken { next_wake: scripts.next_wake(), ..Taken::default() },
                shown: Shown { clock: scripts.clock(), questions: Vec::new() },
                ..Outbox::default()
            }),
            scripts: Mutex::new(scripts),
            inbox: Mutex::default(),
            has_letters: Condvar::new(),
            has_room: Condvar::new(),
            bell: Box::new(bell),
        });
        let theirs = Arc::clone(&shared);
        thread::Builder::new().name("scripts".to_owned()).spawn(move || theirs.serve())?;
        Ok(Self { shared })
    }

    /// Tells what went into a step of the signaller and what came out of it; `board`: what is known after it. Never waits.
    pub fn tell(&self, now: Time, inputs: &[Input], outputs: &[Output], board: &Board) {
        let inputs: Vec<Input> = inputs.iter().filter(|input| matters_in(input)).cloned().collect();
        let outputs: Vec<Output> = outputs.iter().filter(|output| matters_out(output)).cloned().collect();
        let is_silent = inputs.is_empty() && outputs.is_empty();
        // Nobody is told how late it is who does not want to know.
        if is_silent && lock(&self.shared.outbox).taken.next_wake.is_none_or(|wake| wake > now) {
            return;
        }
        let mut inbox = lock(&self.shared.inbox);
        inbox.told += inputs.len() + outputs.len();
        if is_silent {
            inbox.wake(now);
        } else {
            inbox.letters.push_back(Letter::Heard { now, inputs, outputs });
        }
        if inbox.told > MOST_TOLD {
            inbox.shorten(now, board);
        }
        drop(inbox);
        self.shared.has_letters.notify_one();
    }

    /// Asks something of the scripts; what becomes of it comes under the ticket, if there is one. Never waits.
    pub fn ask(&self, now: Time, ticket: Option<Ticket>, wish: ScriptWish) {
        let mut inbox = lock(&self.shared.inbox);
        if inbox.letters.len() < MOST_LETTERS {
            inbox.letters.push_back(Letter::Wish { now, ticket, wish });
            drop(inbox);
            self.shared.has_letters.notify_one();
        } else if let Some(ticket) = ticket {
            drop(inbox);
            let busy = Err("the scripts are busy; try again in a moment".to_owned());
            lock(&self.shared.outbox).taken.answers.push((ticket, busy));
            (self.shared.bell)();
        }
    }

    /// Waits until the scripts have worked off everything they were told, by doing it here.
    pub fn keep_up(&self) {
        while self.shared.work() != Worked::Nothing {}
    }

    /// Takes what came from the scripts. Never waits.
    pub fn take(&self) -> Taken {
        let mut outbox = lock(&self.shared.outbox);
        let next_wake = outbox.taken.next_wake;
        let mut taken = std::mem::replace(&mut outbox.taken, Taken { next_wake, ..Taken::default() });
        let (left_out, _) = (std::mem::take(&mut outbox.lines_left_out), std::mem::take(&mut outbox.lines));
        if let (true, Some(last)) = (left_out > 0, taken.notices.last()) {
            let (at, file) = (last.at, last.file.clone());
            taken.notices.push(Notice { at, file, kind: NoticeKind::LinesLeftOut(left_out) });
        }
        drop(outbox);
        self.shared.has_room.notify_one();
        taken
    }

    /// The layout clock.
    pub fn clock(&self) -> LayoutClock {
        lock(&self.shared.outbox).shown.clock.clone()
    }

    /// What is to be shown of the scripts.
    pub fn shown(&self) -> Shown {
        lock(&self.shared.outbox).shown.clone()
    }
}

impl Drop for Apart {
    fn drop(&mut self) {
        lock(&self.shared.inbox).is_closed = true;
        lock(&self.shared.outbox).is_closed = true;
        self.shared.has_letters.notify_one();
        self.shared.has_room.notify_one();
    }
}

impl std::fmt::Debug for Apart {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Apart").finish_non_exhaustive()
    }
}

fn matters_in(input: &Input) -> bool {
    matches!(input, Input::SpotPassed { .. } | Input::TrainRead { .. } | Input::TurnoutReported { .. })
}

fn matters_out(output: &Output) -> bool {
    !matches!(output, Output::Light { .. })
}

fn lock<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Inbox {
    /// Tells how late it is; of several such letters in a row one is enough.
    fn wake(&mut self, now: Time) {
        match self.letters.back_mut() {
            Some(Letter::Wake(at)) => *at = now,
            _ => self.letters.push_back(Letter::Wake(now)),
        }
    }

    fn next(&mut self) -> Option<Letter> {
        let letter = self.letters.pop_front()?;
        if let Letter::Heard { inputs, outputs, .. } = &letter {
            self.told -= inputs.len() + outputs.len();
        }
        if let Letter::CatchUp { outputs, .. } = &letter {
            self.told -= outputs.len();
        }
        Some(letter)
    }

    /// Puts the picture as it is now in place of everything that happened and waits to be told.
    fn shorten(&mut self, now: Time, board: &Board) {
        let (mut answers, mut missed) = (Vec::new(), 0);
        // Of each train where it arrived last, and where it was sent then.
        let mut trips: BTreeMap<TrainId, [Option<Output>; 2]> = BTreeMap::new();
        self.letters.retain_mut(|letter| {
            let outputs = match letter {
                Letter::Heard { inputs, outputs, .. } => {
                    missed += (inputs.len() + outputs.len()) as u64;
                    std::mem::take(outputs)
                }
                Letter::CatchUp { outputs, missed: before, .. } => {
                    missed += *before;
                    std::mem::take(outputs)
                }
                Letter::Wake(_) => return false,
                Letter::Wish { .. } => return true,
            };
            for output in outputs {
                match output {
                    Output::Fact(Fact::Answered { .. }) => answers.push(output),
                    Output::Fact(Fact::Arrived { train, .. }) => drop(trips.insert(train, [Some(output), None])),
                    Output::Fact(Fact::Departed { train, .. }) => trips.entry(train).or_default()[1] = Some(output),
                    _ => {}
                }
            }
            false
        });
        let outputs: Vec<Output> = answers.into_iter().chain(trips.into_values().flatten().flatten()).collect();
        missed -= (outputs.len() as u64).min(missed);
        self.told = outputs.len();
        self.letters.push_back(Letter::CatchUp { now, board: Box::new(board.clone()), outputs, missed });
    }
}

impl Shared {
    /// What the thread of the scripts does until nobody tells them anything any more.
    fn serve(&self) {
        loop {
            {
                let mut inbox = lock(&self.inbox);
                while inbox.letters.is_empty() && !inbox.is_closed {
                    inbox = self.has_letters.wait(inbox).unwrap_or_else(PoisonError::into_inner);
                }
                if inbox.is_closed {
                    return;
                }
            }
            {
                let mut outbox = lock(&self.outbox);
                while outbox.taken.requests.len() >= MOST_ASKED && !outbox.is_closed {
                    outbox = self.has_room.wait(outbox).unwrap_or_else(PoisonError::into_inner);
                }
            }
            if self.work() == Worked::WithNews {
                (self.bell)();
            }
        }
    }

    /// Works off one letter, if there is one.
    fn work(&self) -> Worked {
        // Whoever has the scripts takes the next letter: so they come in order.
        let mut scripts = lock(&self.scripts);
        let Some(letter) = lock(&self.inbox).next() else { return Worked::Nothing };
        let mut answer = None;
        match letter {
            Letter::Heard { now, inputs, outputs } => scripts.hear(now, &inputs, &outputs),
            Letter::CatchUp { now, board, outputs, missed } => scripts.catch_up(now, *board, &outputs, missed),
            Letter::Wake(now) => scripts.wake(now),
            Letter::Wish { now, ticket, wish } => {
                let done = grant(&mut scripts, now, wish);
                answer = ticket.map(|ticket| (ticket, done));
            }
        }
        let shown = Shown { clock: scripts.clock(), questions: scripts.questions() };
        let (requests, notices, next_wake) = (scripts.take_requests(), scripts.take_notices(), scripts.next_wake());
        let mut outbox = lock(&self.outbox);
        let is_quiet = requests.is_empty() && notices.is_empty() && answer.is_none();
        let is_news = !is_quiet || outbox.taken.next_wake != next_wake;
        outbox.taken.requests.extend(requests);
        for notice in notices {
            let is_line = matches!(notice.kind, NoticeKind::Said(_) | NoticeKind::Logged(_));
            if is_line && outbox.lines >= MOST_SAID {
                outbox.lines_left_out += 1;
            } else {
                outbox.lines += usize::from(is_line);
                outbox.taken.notices.push(notice);
            }
        }
        outbox.taken.answers.extend(answer);
        outbox.taken.next_wake = next_wake;
        outbox.shown = shown;
        if is_news { Worked::WithNews } else { Worked::Quietly }
    }
}

/// What came of working off the next letter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Worked {
    /// There was none.
    Nothing,
    /// There is nothing to take.
    Quietly,
    /// There is something to take.
    WithNews,
}

/// Does what people ask of the scripts.
fn grant(scripts: &mut Scripts, now: Time, wish: ScriptWish) -> Result<(), String> {
    match wish {
        ScriptWish::Answer { question, answer } => scripts.answer(now, question, &answer),
        ScriptWish::Press { button } => {
            scripts.press(now, &button);
            Ok(())
        }
        ScriptWish::SetClock(time) => {
            scripts.turn_clock(now, |clock| clock.set(now, time));
            Ok(())
        }
        ScriptWish::StartClock(pace) => {
            let pace = LayoutClock::check_pace(pace.unwrap_or_else(|| scripts.clock().pace()))?;
            scripts.turn_clock(now, |clock| clock.start(now, pace));
            Ok(())
        }
        ScriptWish::PauseClock => {
            scripts.turn_clock(now, |clock| clock.pause(now));
            Ok(())
        }
        ScriptWish::Reload(files) => scripts.reload(now, files),
        ScriptWish::End => {
            scripts.end(now);
            Ok(())
        }
    }
}
