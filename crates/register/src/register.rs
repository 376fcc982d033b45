//! The handle that the shell has.

use std::collections::BTreeSet;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::{Duration, SystemTime};

use rusqlite::{Connection, OpenFlags};
use signaller::{Fact, Lessons, Memory, Output, Signaller, Time};
use track::TrainId;

use crate::before::{Before, KeptClock};
use crate::entry::{Beginning, Entry};
use crate::place::{self, FILE};
use crate::schema::{self, Kind};
use crate::settings::Settings;
use crate::trouble::{OpenError, Progress, Trouble, TroubleKind};
use crate::writer::queue::{Message, Shared};
use crate::writer::{Writer, end_lost_shifts, wall_ms};

/// How often at most it is kept where trains stand, in layout time.
const PLACES_EVERY: Duration = Duration::from_secs(1);
/// A file that is larger is looked through only as far as it is used: all of it would keep the trains waiting.
const LOOK_THROUGH: u64 = 64 << 20;

/// A register that was opened.
#[derive(Debug)]
pub struct Opened {
    /// It.
    pub register: Register,
    /// What is kept of the shift before.
    pub before: Before,
    /// What people should be told, in words.
    pub told: Vec<String>,
}

/// A register that is open for writing. Nothing that it is told makes the caller wait; dropping it does, until all is written.
#[derive(Debug)]
pub struct Register {
    path: PathBuf,
    shared: Arc<Shared>,
    most_waiting: usize,
    writer: Option<JoinHandle<()>>,
    next_step: u64,
    next_shift: i64,
    in_shift: InShift,
    /// Since when it has been different from what is kept where trains stand.
    news: News,
    _lock: File,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum InShift {
    Yes,
    No,
}

/// What changed since it was last kept.
#[derive(Debug, Default)]
struct News {
    places: bool,
    /// A train that is kept as one that stands sets out, or one has come to stand.
    at_once: bool,
    /// Of these it is kept where along their section they stand.
    standing: BTreeSet<TrainId>,
    kept: Option<Time>,
    runs: Vec<TrainId>,
}

/// A step that was not taken, because too many are waiting, or because nothing is written any more. It is missing from the
/// register, which says so itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Refused {
    /// Its number.
    pub number: u64,
}

impl Register {
    /// Opens the register in a folder, which is made where there is none. A file that is damaged, or that is no register, is moved
    /// aside, and that is told.
    ///
    /// # Errors
    /// A register of a newer version, one that another process writes, a folder or file that cannot be written.
    pub fn open(folder: &Path, settings: Settings) -> Result<Opened, OpenError> {
        let lock = place::claim(folder)?;
        let path = folder.join(FILE);
        let mut told = Vec::new();
        let (db, before, next_step, next_shift) = match prepare(&path, &settings) {
            Ok(prepared) => prepared,
            Err(OpenError::Foreign(_)) => {
                let aside = place::move_aside(&path)?;
                told.push(format!("the file was no register; it is kept as `{}`", aside.display()));
                prepare(&path, &settings)?
            }
            Err(OpenError::Trouble(trouble)) if trouble.kind == TroubleKind::Damaged => {
                let aside = place::move_aside(&path)?;
                told.push(format!("{trouble}; it is kept as `{}`, and a new one is begun", aside.display()));
                prepare(&path, &settings)?
            }
            Err(other) => return Err(other),
        };
        let shared = Arc::new(Shared::new(next_step - 1));
        let most_waiting = settings.most_waiting;
        let writer = Writer::new(db, Arc::clone(&shared), settings);
        let writer = std::thread::Builder::new().name("register".to_owned()).spawn(move || writer.run())?;
        let register = Self {
            path,
            shared,
            most_waiting,
            writer: Some(writer),
            next_step,
            next_shift,
            in_shift: InShift::No,
            news: News::default(),
            _lock: lock,
        };
        Ok(Opened { register, before, told })
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// A shift begins, and the one before ends, if it has not. Tells its number.
    pub fn begin_shift(&mut self, beginning: Beginning) -> i64 {
        self.end_shift();
        let shift = self.next_shift;
        self.next_shift += 1;
        self.in_shift = InShift::Yes;
        self.news = News::default();
        let first_step = self.next_step;
        self.shared.add(Message::Began { shift, first_step, beginning: Box::new(beginning) });
        shift
    }

    /// The shift ends.
    pub fn end_shift(&mut self) {
        if self.in_shift == InShift::Yes {
            self.shared.add(Message::Ended { wall_ms: wall_ms(SystemTime::now()) });
            self.in_shift = InShift::No;
        }
    }

    /// Records a step of the shift, and tells its number. Steps are numbered on from shift to shift.
    ///
    /// # Errors
    /// If it is not taken.
    pub fn record(&mut self, entry: Entry) -> Result<u64, Refused> {
        let number = self.next_step;
        self.next_step += 1;
        for output in &entry.outputs {
            let fact = match output {
                Output::Fact(fact) => fact,
                // What is kept says where it stands: that must not outlast its setting out.
                Output::Drive { train, step, .. } if *step > 0 && self.news.standing.contains(train) => {
                    self.news.at_once = true;
                    continue;
                }
                _ => continue,
            };
            match fact {
                Fact::Arrived { train, .. } => {
                    self.news.runs.push(*train);
                    self.news.at_once = true;
                }
                Fact::Tagged { .. }
                | Fact::Departed { .. }
                | Fact::Coupled { .. }
                | Fact::Uncoupled { .. }
                | Fact::DoubtCleared { .. } => self.news.places = true,
                _ => {}
            }
        }
        self.shared.add_step(number, entry, self.most_waiting).map(|()| number).map_err(|()| Refused { number })
    }

    /// Keeps what a restart needs of the signaller as it is after the step that was recorded last, if that is due: where trains stand
    /// whenever it may have changed, but no more often than once a second of layout time unless one sets out or arrives; what was
    /// learned of a train whenever one of its trips is over.
    pub fn keep_up(&mut self, now: Time, signaller: &Signaller) {
        let is_due = self.news.kept.is_none_or(|kept| now.since(kept) >= PLACES_EVERY);
        if self.news.at_once || self.news.places && is_due {
            let places = signaller.memories();
            let standing = places.iter().filter(|(_, memory)| memory.stood.is_some());
            self.news.standing = standing.map(|(train, _)| *train).collect();
            // Where one that moves stands in the end is news to come.
            self.news.places = signaller.roster().ids().any(|train| !signaller.drive().is_at_rest(train));
            (self.news.at_once, self.news.kept) = (false, Some(now));
            self.keep_places(places);
        }
        while let Some(train) = self.news.runs.pop() {
            if let Some(lessons) = signaller.drive().lessons(train) {
                self.keep_lessons(train, lessons);
            }
        }
    }

    /// Keeps all that a restart needs of the signaller, as [`Register::keep_up`] does when it is due.
    pub fn keep_all(&mut self, signaller: &Signaller) {
        self.keep_places(signaller.memories());
        for train in signaller.roster().ids() {
            if let Some(lessons) = signaller.drive().lessons(train) {
                self.keep_lessons(train, lessons);
            }
        }
    }

    /// Trains stand here, and others nowhere.
    pub fn keep_places(&mut self, places: Vec<(TrainId, Memory)>) {
        self.shared.add(Message::Places(places));
    }

    /// This was learned of a train.
    pub fn keep_lessons(&mut self, train: TrainId, lessons: Lessons) {
        self.shared.add(Message::Learned(train, Box::new(lessons)));
    }

    /// The layout clock shows this.
    pub fn keep_clock(&mut self, clock: KeptClock) {
        self.shared.add(Message::Clock(clock));
    }

    /// A train that arrived at a stopping point stands so many micrometres short of it; less than nothing beyond it. Whoever can
    /// measure it says so.
    pub fn measured(&mut self, train: TrainId, short_um: i64) {
        self.shared.add(Message::Measured { train, short_um });
    }

    /// Keeps the whole signaller as it is after the step that was recorded last. A replay can begin there.
    pub fn snapshot(&mut self, at: Time, bytes: Vec<u8>) {
        self.shared.add(Message::Snapshot { step: self.next_step - 1, at, bytes });
    }

    /// Every step up to this number that was taken is durable.
    pub fn durable_up_to(&self) -> u64 {
        self.shared.durable_up_to()
    }

    /// How far the writer has come, and how it is.
    pub fn progress(&self) -> Progress {
        self.shared.progress()
    }

    /// Waits until a step is durable, or cannot be for now.
    pub fn wait_until_durable(&self, number: u64) -> Progress {
        self.shared.wait(|progress| progress.durable_up_to >= number || progress.waiting == 0)
    }

    /// Waits until no more than half as many steps wait as may, or writing fails. For whoever can wait, and records faster than
    /// the disk writes.
    pub fn wait_for_room(&self) -> Progress {
        let progress = self.shared.progress();
        if progress.waiting * 4 < self.most_waiting * 3 {
            return progress;
        }
        self.shared.wait(|progress| progress.waiting * 2 <= self.most_waiting)
    }

    /// Ends the shift, writes everything, and tells what became of it.
    pub fn close(mut self) -> Progress {
        self.finish();
        self.shared.progress()
    }

    fn finish(&mut self) {
        self.end_shift();
        self.shared.close();
        if let Some(writer) = self.writer.take() {
            // A writer that panicked has said so itself.
            let _ = writer.join();
        }
    }
}

impl Drop for Register {
    fn drop(&mut self) {
        self.finish();
    }
}

/// Opens the file, brings it up to date, and reads what is needed of it.
fn prepare(path: &Path, settings: &Settings) -> Result<(Connection, Before, u64, i64), OpenError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut db = Connection::open_with_flags(path, flags)?;
    db.busy_timeout(Duration::from_secs(2))?;
    db.set_prepared_statement_cache_capacity(64);
    let kind = schema::kind(&db)?;
    if kind == Kind::Foreign {
        return Err(OpenError::Foreign(path.to_owned()));
    }
    if kind == Kind::Empty {
        db.pragma_update(None, "auto_vacuum", "INCREMENTAL")?;
    } else if std::fs::metadata(path)?.len() <= LOOK_THROUGH {
        look_through(&db)?;
    }
    db.pragma_update(None, "journal_mode", "WAL")?;
    // Durable means that it outlives a loss of power, not only the process.
    db.pragma_update(None, "synchronous", "FULL")?;
    db.pragma_update(None, "journal_size_limit", 8 << 20)?;
    if let Some(pages) = settings.most_pages {
        db.pragma_update(None, "max_page_count", pages)?;
    }
    schema::migrate(&mut db)?;
    end_lost_shifts(&db).map_err(OpenError::Trouble)?;
    let before = Before::read(&db).map_err(OpenError::Trouble)?;
    let last = |sql: &str| db.query_row(sql, [], |row| row.get::<_, i64>(0));
    let last_step = last(
        "SELECT max((SELECT ifnull(max(id), 0) FROM step), (SELECT ifnull(max(last), 0) FROM gap),
                                     (SELECT ifnull(max(first_step) - 1, 0) FROM shift))",
    )?;
    let last_shift = last("SELECT ifnull(max(id), 0) FROM shift")?;
    Ok((db, before, last_step.unsigned_abs() + 1, last_shift + 1))
}

fn look_through(db: &Connection) -> Result<(), OpenError> {
    let found: String = db.query_row("PRAGMA quick_check(1)", [], |row| row.get(0))?;
    if found == "ok" {
        return Ok(());
    }
    Err(OpenError::Trouble(Trouble { kind: TroubleKind::Damaged, words: found.to_lowercase().replace('\n', " ") }))
}
