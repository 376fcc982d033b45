//! Shifts, layouts, steps and snapshots, as rows.

use std::time::{SystemTime, UNIX_EPOCH};

use rusqlite::{OptionalExtension, Transaction, params};
use signaller::{Conduct, Digest};

use super::queue::Message;
use super::{facts, now};
use crate::codec;
use crate::entry::{Beginning, Entry, Origin};
use crate::names::Names;
use crate::trouble::Trouble;

/// The shift that is written, as far as its rows depend on it.
#[derive(Clone, Debug)]
pub(super) struct Shift {
    pub id: i64,
    pub names: Names,
}

/// What the writer knows beside what is in the file.
#[derive(Clone, Debug, Default)]
pub(super) struct Store {
    shift: Option<Shift>,
}

/// Milliseconds since 1970.
pub(crate) fn wall_ms(wall: SystemTime) -> i64 {
    wall.duration_since(UNIX_EPOCH).map_or(0, |since| i64::try_from(since.as_millis()).unwrap_or(i64::MAX))
}

impl Store {
    pub(super) fn write(&mut self, db: &Transaction<'_>, message: &Message) -> Result<(), Trouble> {
        match message {
            Message::Began { shift, first_step, beginning } => self.begin(db, *shift, *first_step, beginning),
            Message::Ended { wall_ms } => self.end(db, *wall_ms),
            _ => {
                // Nothing is recorded outside a shift: the handle that the shell has sees to it.
                let Some(shift) = &mut self.shift else { return Ok(()) };
                Self::write_in_shift(db, shift, message)
            }
        }
    }

    fn write_in_shift(db: &Transaction<'_>, shift: &mut Shift, message: &Message) -> Result<(), Trouble> {
        match message {
            Message::Step { number, entry } => step(db, shift, *number, entry),
            Message::Gap { first, last } => {
                db.prepare_cached("INSERT INTO gap (shift, first, last) VALUES (?1, ?2, ?3)")?.execute(params![
                    shift.id,
                    first.cast_signed(),
                    last.cast_signed()
                ])?;
                Ok(())
            }
            Message::Places(places) => now::places(db, &shift.names, places),
            Message::Learned(train, lessons) => now::lessons(db, &shift.names.train(*train), lessons),
            Message::Clock(clock) => now::clock(db, clock),
            Message::Measured { train, short_um } => facts::measured(db, shift, *train, *short_um),
            Message::Snapshot { step, at, bytes } => {
                db.prepare_cached("INSERT INTO snapshot (shift, step, at, bytes) VALUES (?1, ?2, ?3, ?4)")?
                    .execute(params![shift.id, step.cast_signed(), at.nanos(), bytes])?;
                Ok(())
            }
            Message::Began { .. } | Message::Ended { .. } => Ok(()),
        }
    }

    fn begin(&mut self, db: &Transaction<'_>, id: i64, first_step: u64, it: &Beginning) -> Result<(), Trouble> {
        let layout = layout(db, &it.layout.name, &it.files)?;
        let conduct = match it.conduct {
            Conduct::Observe => "observe",
            Conduct::Control => "control",
        };
        let origin = match it.from {
            Origin::Afresh => "afresh",
            Origin::Before => "before",
        };
        db.execute(
            "INSERT INTO shift (id, began_wall, ending, pace, version, conduct, origin, layout, first_step)
             VALUES (?1, ?2, 'open', ?3, ?4, ?5, ?6, ?7, ?8)",
            params![id, wall_ms(it.wall), it.pace, it.version, conduct, origin, layout, first_step.cast_signed()],
        )?;
        if it.from == Origin::Afresh {
            now::forget(db)?;
        }
        self.shift = Some(Shift { id, names: Names::new(it.layout.clone()) });
        Ok(())
    }

    fn end(&mut self, db: &Transaction<'_>, wall_ms: i64) -> Result<(), Trouble> {
        if let Some(shift) = self.shift.take() {
            end_shift(db, shift.id, wall_ms, "closed")?;
        }
        Ok(())
    }
}

/// What still went on in a shift ends with it.
fn end_shift(db: &rusqlite::Connection, shift: i64, wall_ms: i64, ending: &str) -> Result<(), Trouble> {
    let last = db
        .query_row("SELECT at, wall FROM step WHERE shift = ?1 ORDER BY id DESC LIMIT 1", [shift], |row| {
            Ok((row.get::<_, i64>(0)?, row.get::<_, i64>(1)?))
        })
        .optional()?;
    let (at, wall) = last.unwrap_or((0, wall_ms));
    // Whoever closes a shift knows that all was so until then; of one that was lost nobody knows more than its last step.
    let wall = if ending == "closed" { wall_ms } else { wall };
    for table in ["stand", "hold"] {
        let sql = format!("UPDATE {table} SET until = ?2, until_wall = ?3 WHERE shift = ?1 AND until IS NULL");
        db.execute(&sql, params![shift, at, wall])?;
    }
    db.execute("UPDATE trip SET is_over = 1 WHERE shift = ?1 AND is_over = 0", [shift])?;
    db.execute("UPDATE shift SET ended_wall = ?2, ending = ?3 WHERE id = ?1", params![shift, wall, ending])?;
    Ok(())
}

/// Ends what nobody ended: the process was gone before it could.
pub(crate) fn end_lost_shifts(db: &rusqlite::Connection) -> Result<(), Trouble> {
    let open: Vec<(i64, i64)> = db
        .prepare("SELECT id, began_wall FROM shift WHERE ending = 'open'")?
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?
        .collect::<Result<_, _>>()?;
    open.into_iter().try_for_each(|(shift, began)| end_shift(db, shift, began, "lost"))
}

/// The layout with these texts; it is added where it is not there yet.
fn layout(db: &Transaction<'_>, name: &str, files: &[(String, String)]) -> Result<i64, Trouble> {
    let mut digest = Digest::new();
    for (name, text) in files {
        for part in [name, text] {
            digest.add_bytes(part.as_bytes());
            digest.add_bytes(&[0]);
        }
    }
    let digest = digest.value().cast_signed();
    let alike: Vec<i64> = db
        .prepare_cached("SELECT id FROM layout WHERE digest = ?1 AND name = ?2")?
        .query_map(params![digest, name], |row| row.get(0))?
        .collect::<Result<_, _>>()?;
    let mut sorted = files.to_vec();
    sorted.sort();
    for id in alike {
        let kept: Vec<(String, String)> = db
            .prepare_cached("SELECT name, text FROM layout_file WHERE layout = ?1 ORDER BY name")?
            .query_map([id], |row| Ok((row.get(0)?, row.get(1)?)))?
            .collect::<Result<_, _>>()?;
        if kept == sorted {
            return Ok(id);
        }
    }
    db.execute("INSERT INTO layout (digest, name) VALUES (?1, ?2)", params![digest, name])?;
    let id = db.last_insert_rowid();
    for (name, text) in files {
        db.execute("INSERT INTO layout_file (layout, name, text) VALUES (?1, ?2, ?3)", params![id, name, text])?;
    }
    Ok(id)
}

/// The digest of what came out.
pub(crate) fn digest(outputs: &[u8]) -> i64 {
    let mut digest = Digest::new();
    digest.add_bytes(outputs);
    digest.value().cast_signed()
}

fn step(db: &Transaction<'_>, shift: &mut Shift, number: u64, entry: &Entry) -> Result<(), Trouble> {
    let inputs = codec::inputs_to_bytes(entry.heard.iter().map(|(input, _)| input));
    let causes = codec::causes_to_bytes(entry.heard.iter().map(|(_, cause)| cause));
    let outputs = codec::outputs_to_bytes(&entry.outputs);
    db.prepare_cached(
        "INSERT INTO step (id, shift, at, wall, inputs, causes, outputs, digest) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
    )?
    .execute(params![
        number.cast_signed(),
        shift.id,
        entry.at.nanos(),
        wall_ms(entry.wall),
        inputs,
        causes,
        outputs,
        digest(&outputs)
    ])?;
    entry.heard.iter().for_each(|(input, _)| shift.names.hear(input));
    facts::note(db, shift, number, entry)
}
