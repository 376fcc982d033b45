//! Reading a register: its shifts, their layouts and their steps. A register that is being written can be read, too.

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags, OptionalExtension, Row, params};
use signaller::{Conduct, Input, Output, Refusal, Time};

use crate::codec;
use crate::entry::Cause;
use crate::schema::{self, Kind};
use crate::trouble::{OpenError, Trouble, TroubleKind};

/// A register that is only read.
#[derive(Debug)]
pub struct Reader {
    pub(crate) db: Connection,
    path: PathBuf,
}

/// One run of a signaller.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shift {
    /// Its number.
    pub id: i64,
    /// When it began, in milliseconds since 1970.
    pub began_wall: i64,
    /// When it ended, likewise; nothing while it goes on.
    pub ended_wall: Option<i64>,
    /// How it ended.
    pub ending: Ending,
    /// How fast layout time passed, in words.
    pub pace: String,
    /// The version of the program.
    pub version: String,
    /// Whether the signaller only watched or also drove.
    pub conduct: Conduct,
    /// The name of its layout.
    pub layout_name: String,
    /// The number of its first step.
    pub first_step: u64,
    /// The first and the last of its steps that are kept.
    pub steps: Option<(u64, u64)>,
    /// The signaller's time at the last of them.
    pub last_at: Time,
    layout: i64,
}

/// How a shift ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// It goes on, or nobody has opened the register since it was lost.
    Open,
    /// Somebody closed it.
    Closed,
    /// The process was gone before it could be closed.
    Lost,
}

impl Ending {
    /// As it is written.
    pub fn name(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Closed => "closed",
            Self::Lost => "lost",
        }
    }
}

/// A step as it was recorded.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// Its number.
    pub number: u64,
    /// The signaller's time.
    pub at: Time,
    /// The time on the wall, in milliseconds since 1970.
    pub wall: i64,
    /// What was heard, and why.
    pub heard: Vec<(Input, Cause)>,
    /// What came of it.
    pub outputs: Vec<Output>,
    /// The digest of that.
    pub digest: u64,
}

/// A snapshot of a signaller.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Snapshot {
    /// The number of the step after which it was taken.
    pub step: u64,
    /// The signaller's time then.
    pub at: Time,
    /// What the signaller made of itself.
    pub bytes: Vec<u8>,
}

/// A wish that somebody gave a key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeyedWish {
    /// The shift.
    pub shift: i64,
    /// What was wished, in words.
    pub what: String,
    /// The answer, once there is one.
    pub answer: Option<Result<(), Refusal>>,
}

impl Reader {
    /// Opens a file to read it.
    ///
    /// # Errors
    /// No such file, no register, a newer version, or a file that cannot be read.
    pub fn open(path: &Path) -> Result<Self, OpenError> {
        if !path.is_file() {
            return Err(OpenError::Missing(path.to_owned()));
        }
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        // A file that may not be written can be read all the same, as long as nothing lies beside it that belongs into it.
        let db = Connection::open_with_flags(path, flags)
            .or_else(|_| Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_ONLY))?;
        db.busy_timeout(Duration::from_secs(2))?;
        let kind = match schema::kind(&db) {
            Err(OpenError::Trouble(trouble)) if trouble.kind == TroubleKind::Damaged => {
                return Err(OpenError::Foreign(path.to_owned()));
            }
            kind => kind?,
        };
        db.pragma_update(None, "query_only", true)?;
        match kind {
            Kind::Register => Ok(Self { db, path: path.to_owned() }),
            Kind::Empty | Kind::Foreign => Err(OpenError::Foreign(path.to_owned())),
        }
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    pub(crate) fn db(&self) -> &Connection {
        &self.db
    }

    /// All shifts, the first one first.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn shifts(&self) -> Result<Vec<Shift>, Trouble> {
        let mut statement = self.db.prepare(
            "SELECT shift.*, layout.name AS layout_name,
                 (SELECT min(id) FROM step WHERE id >= shift.first_step) AS first_kept,
                 (SELECT max(id) FROM step WHERE id < ifnull((SELECT min(later.first_step) FROM shift AS later
                     WHERE later.id > shift.id), 9223372036854775807)) AS last_kept
             FROM shift JOIN layout ON layout.id = shift.layout ORDER BY shift.id",
        )?;
        let shifts: Vec<Shift> = statement.query_map([], shift)?.collect::<Result<_, _>>()?;
        shifts.into_iter().map(|shift| self.with_last_time(shift)).collect()
    }

    /// A shift; without a number the last one.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn shift(&self, id: Option<i64>) -> Result<Option<Shift>, Trouble> {
        let shifts = self.shifts()?;
        Ok(match id {
            Some(id) => shifts.into_iter().find(|shift| shift.id == id),
            None => shifts.into_iter().next_back(),
        })
    }

    fn with_last_time(&self, mut shift: Shift) -> Result<Shift, Trouble> {
        if let Some((_, last)) = shift.steps {
            let at = self.db.query_row("SELECT at FROM step WHERE id = ?1", [last.cast_signed()], |row| row.get(0))?;
            shift.last_at = Time::from_nanos(at);
        }
        Ok(shift)
    }

    /// The texts of a shift's layout, by their names.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn layout_files(&self, shift: &Shift) -> Result<Vec<(String, String)>, Trouble> {
        let mut statement = self.db.prepare("SELECT name, text FROM layout_file WHERE layout = ?1 ORDER BY name")?;
        let rows = statement.query_map([shift.layout], |row| Ok((row.get(0)?, row.get(1)?)))?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Some steps of a shift, from a number on.
    ///
    /// # Errors
    /// When the file cannot be read, or a step cannot be understood.
    pub fn steps(&self, shift: &Shift, from: u64, most: usize) -> Result<Vec<Step>, Trouble> {
        let mut statement = self.db.prepare_cached(
            "SELECT id, at, wall, inputs, causes, outputs, digest FROM step
             WHERE id >= ?1 AND id <= ?2 ORDER BY id LIMIT ?3",
        )?;
        // A shift that goes on is the last one: what came since it was looked at is its own.
        let last = match (shift.ending, shift.steps) {
            (Ending::Open, _) => i64::MAX,
            (_, steps) => steps.map_or(0, |(_, last)| last.cast_signed()),
        };
        let mut rows = statement.query(params![from.cast_signed(), last, i64::try_from(most).unwrap_or(i64::MAX)])?;
        let mut steps = Vec::new();
        while let Some(row) = rows.next()? {
            steps.push(step(row)?);
        }
        Ok(steps)
    }

    /// The signaller's time at the last step of a shift that is kept and was taken no later than a time on the wall; nothing where
    /// there is none.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn time_at(&self, shift: &Shift, wall: i64) -> Result<Option<Time>, Trouble> {
        let Some((first, last)) = shift.steps else { return Ok(None) };
        let at = self
            .db
            .query_row(
                "SELECT at FROM step WHERE id BETWEEN ?1 AND ?2 AND wall <= ?3 ORDER BY id DESC LIMIT 1",
                params![first.cast_signed(), last.cast_signed(), wall],
                |row| row.get(0),
            )
            .optional()?;
        Ok(at.map(Time::from_nanos))
    }

    /// The last snapshot of a shift that was taken no later than a time, and from which all steps are kept.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn snapshot(&self, shift: &Shift, no_later: Time) -> Result<Option<Snapshot>, Trouble> {
        let sql = "SELECT step, at, bytes FROM snapshot WHERE shift = ?1 AND at <= ?2
                   AND step + 1 >= (SELECT min(id) FROM step) ORDER BY step DESC LIMIT 1";
        Ok(self.db.query_row(sql, params![shift.id, no_later.nanos()], snapshot).optional()?)
    }

    /// The snapshot of a shift that was taken after a step.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn snapshot_after(&self, shift: &Shift, step: u64) -> Result<Option<Snapshot>, Trouble> {
        let sql = "SELECT step, at, bytes FROM snapshot WHERE shift = ?1 AND step = ?2";
        Ok(self.db.query_row(sql, params![shift.id, step.cast_signed()], snapshot).optional()?)
    }

    /// The last wish that had this key.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn wish_with_key(&self, key: &str) -> Result<Option<KeyedWish>, Trouble> {
        let found = self
            .db
            .query_row(
                "SELECT shift, what, accepted, reason FROM wish WHERE key = ?1 ORDER BY id DESC LIMIT 1",
                [key],
                |row| {
                    let accepted: Option<bool> = row.get(2)?;
                    let reason: Option<String> = row.get(3)?;
                    let refusal = Refusal { reason: reason.unwrap_or_default() };
                    let answer = accepted.map(|accepted| if accepted { Ok(()) } else { Err(refusal) });
                    Ok(KeyedWish { shift: row.get(0)?, what: row.get(1)?, answer })
                },
            )
            .optional()?;
        Ok(found)
    }
}

fn shift(row: &Row<'_>) -> rusqlite::Result<Shift> {
    let first_step = row.get::<_, i64>("first_step")?.cast_unsigned();
    let kept = row.get::<_, Option<i64>>("first_kept")?.zip(row.get::<_, Option<i64>>("last_kept")?);
    let steps = kept.map(|(first, last)| (first.cast_unsigned(), last.cast_unsigned()));
    Ok(Shift {
        id: row.get("id")?,
        began_wall: row.get("began_wall")?,
        ended_wall: row.get("ended_wall")?,
        ending: match row.get::<_, String>("ending")?.as_str() {
            "closed" => Ending::Closed,
            "lost" => Ending::Lost,
            _ => Ending::Open,
        },
        pace: row.get("pace")?,
        version: row.get("version")?,
        conduct: if row.get::<_, String>("conduct")? == "observe" { Conduct::Observe } else { Conduct::Control },
        layout_name: row.get("layout_name")?,
        first_step,
        steps: steps.filter(|(first, last)| last >= first),
        last_at: Time::ZERO,
        layout: row.get("layout")?,
    })
}

fn snapshot(row: &Row<'_>) -> rusqlite::Result<Snapshot> {
    Ok(Snapshot { step: row.get::<_, i64>(0)?.cast_unsigned(), at: Time::from_nanos(row.get(1)?), bytes: row.get(2)? })
}

fn step(row: &Row<'_>) -> Result<Step, Trouble> {
    let number = row.get::<_, i64>(0)?.cast_unsigned();
    let garbled =
        |garbled: codec::Garbled| Trouble { kind: TroubleKind::Damaged, words: format!("step {number}: {garbled}") };
    let inputs =
        codec::inputs_from_bytes(row.get_ref(3)?.as_blob().map_err(rusqlite::Error::from)?).map_err(garbled)?;
    let causes = row.get_ref(4)?.as_blob().map_err(rusqlite::Error::from)?;
    let causes = codec::causes_from_bytes(causes, inputs.len()).map_err(garbled)?;
    let outputs = row.get_ref(5)?.as_blob().map_err(rusqlite::Error::from)?;
    Ok(Step {
        number,
        at: Time::from_nanos(row.get(1)?),
        wall: row.get(2)?,
        heard: inputs.into_iter().zip(causes).collect(),
        outputs: codec::outputs_from_bytes(outputs).map_err(garbled)?,
        digest: row.get::<_, i64>(6)?.cast_unsigned(),
    })
}
