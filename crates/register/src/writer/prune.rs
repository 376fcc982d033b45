//! Taking away what is too old, or too much, a little at a time.
//!
//! Steps are worth something only from a point on where a replay can begin: the first step of a shift, or a snapshot. So what lies
//! before the second oldest such point goes as a whole, in pieces, once all of it is too old or the file is too large. Where
//! only one such point is left and the file is too large all the same, steps go from the oldest on, and the shift can be
//! replayed no more. Facts go by their own age, and where they take more than half of the file.

use std::time::{Duration, Instant, SystemTime};

use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};

use super::store::wall_ms;
use crate::settings::Settings;
use crate::trouble::Trouble;

/// So many rows go in one piece.
const PIECE: i64 = 200;
/// No more pieces are begun in one go after this, unless more comes in than goes.
const PATIENCE: Duration = Duration::from_millis(3);
/// How often it is looked for what is too old.
const LOOK: Duration = Duration::from_secs(2);
/// Pages that are free and stay in the file, to be used again.
const SPARE_PAGES: i64 = 256;
/// So many pages are given back at once.
const PAGES_BACK: i64 = 64;

/// Tables of facts: when a row ended, as far as it did, and about how many bytes a row takes with its index, as measured on the
/// demonstration layout.
const FACTS: [(&str, &str, i64); 7] = [
    ("stand", "since_wall", 90),
    ("trip", "departed_wall", 110),
    ("stop", "wall", 60),
    ("doubt", "raised_wall", 700),
    ("hold", "since_wall", 120),
    ("fault", "wall", 200),
    ("wish", "asked_wall", 120),
];

/// What to take away, and when.
#[derive(Debug)]
pub(super) struct Pruner {
    most_bytes: i64,
    keep_steps: Duration,
    keep_facts: Duration,
    looked: Option<Instant>,
    /// There was more to take away than there was time.
    is_behind: bool,
}

/// What a piece was about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Piece {
    Nothing,
    Rows(usize),
}

impl Pruner {
    pub(super) fn new(settings: &Settings) -> Self {
        Self {
            most_bytes: i64::try_from(settings.most_bytes).unwrap_or(i64::MAX),
            keep_steps: settings.keep_steps,
            keep_facts: settings.keep_facts,
            looked: None,
            is_behind: false,
        }
    }

    /// Takes away a little. So many steps were written since the last time: twice as many may go, so that it is never outrun.
    pub(super) fn prune(&mut self, db: &mut Connection, written: usize) -> Result<(), Trouble> {
        let is_over = size(db)? > self.most_bytes;
        if !is_over && !self.is_behind && self.looked.is_some_and(|at| at.elapsed() < LOOK) {
            return Ok(());
        }
        let began = Instant::now();
        self.looked = Some(began);
        let wall = SystemTime::now();
        let before = |age: Duration| wall.checked_sub(age).map_or(0, wall_ms);
        let (steps_before, facts_before) = (before(self.keep_steps), before(self.keep_facts));
        let mut gone = 0;
        self.is_behind = loop {
            let is_over = size(db)? > self.most_bytes;
            let mut piece = Piece::Nothing;
            let facts_are_most = is_over && facts_bytes(db)? > self.most_bytes / 2;
            if !facts_are_most {
                piece = steps(db, is_over, steps_before)?;
            }
            if piece == Piece::Nothing {
                piece = facts(db, is_over, facts_before)?;
            }
            match piece {
                Piece::Nothing => break false,
                Piece::Rows(rows) => gone += rows,
            }
            if began.elapsed() >= PATIENCE && gone >= 2 * written {
                break true;
            }
        };
        give_back(db)
    }
}

/// Bytes in use. Free pages count too, as far as they are more than are kept to spare.
fn size(db: &Connection) -> Result<i64, Trouble> {
    let number = |name: &str| db.pragma_query_value(None, name, |row| row.get::<_, i64>(0));
    Ok((number("page_count")? - number("freelist_count")?) * number("page_size")?)
}

/// About how many bytes facts take.
fn facts_bytes(db: &Connection) -> Result<i64, Trouble> {
    let mut bytes = 0;
    for (table, _, row_bytes) in FACTS {
        let sql = format!("SELECT ifnull(max(id) - min(id) + 1, 0) FROM {table}");
        bytes += row_bytes * db.prepare_cached(&sql)?.query_row([], |row| row.get::<_, i64>(0))?;
    }
    Ok(bytes)
}

/// Gives pages back to the disk where many are free.
fn give_back(db: &Connection) -> Result<(), Trouble> {
    let free: i64 = db.pragma_query_value(None, "freelist_count", |row| row.get(0))?;
    if free > SPARE_PAGES {
        db.execute_batch(&format!("PRAGMA incremental_vacuum({PAGES_BACK})"))?;
    }
    Ok(())
}

/// Takes steps away that no replay needs any more, with their snapshots.
fn steps(db: &mut Connection, is_over: bool, before_wall: i64) -> Result<Piece, Trouble> {
    let oldest: Option<i64> = db.prepare_cached("SELECT min(id) FROM step")?.query_row([], |row| row.get(0))?;
    let Some(oldest) = oldest else { return Ok(Piece::Nothing) };
    let next_start: Option<i64> = db
        .prepare_cached(
            "SELECT min(start) FROM (SELECT first_step AS start FROM shift UNION ALL SELECT step + 1 FROM snapshot)
             WHERE start > ?1 AND start <= (SELECT max(id) FROM step)",
        )?
        .query_row([oldest], |row| row.get(0))?;
    let is_too_old = match next_start {
        Some(start) => {
            let last: Option<i64> = db
                .prepare_cached("SELECT wall FROM step WHERE id < ?1 ORDER BY id DESC LIMIT 1")?
                .query_row([start], |row| row.get(0))
                .optional()?;
            last.is_some_and(|wall| wall < before_wall)
        }
        None => false,
    };
    if !is_over && !is_too_old {
        return Ok(Piece::Nothing);
    }
    let end = next_start.map_or(oldest + PIECE, |start| start.min(oldest + PIECE));
    let transaction = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let rows = transaction.prepare_cached("DELETE FROM step WHERE id < ?1")?.execute([end])?;
    transaction.prepare_cached("DELETE FROM snapshot WHERE step + 1 < ?1")?.execute([end])?;
    transaction.prepare_cached("DELETE FROM gap WHERE last < ?1")?.execute([end])?;
    transaction.commit()?;
    Ok(if rows == 0 { Piece::Nothing } else { Piece::Rows(rows) })
}

/// Takes facts away that are too old, or where the file is too large the oldest; and shifts and layouts of which nothing is left.
fn facts(db: &mut Connection, is_over: bool, before_wall: i64) -> Result<Piece, Trouble> {
    let before_wall = if is_over { i64::MAX } else { before_wall };
    let transaction = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let mut gone = 0;
    for (table, wall, _) in FACTS {
        let sql =
            format!("DELETE FROM {table} WHERE id IN (SELECT id FROM {table} ORDER BY id LIMIT ?1) AND {wall} < ?2");
        gone += transaction.prepare_cached(&sql)?.execute(params![PIECE / 2, before_wall])?;
    }
    gone += transaction
        .prepare_cached(
            "DELETE FROM shift WHERE ending != 'open' AND ended_wall < ?1
             AND id < (SELECT ifnull(min(shift), 9223372036854775807) FROM step)
             AND id < (SELECT ifnull(min(shift), 9223372036854775807) FROM stand)",
        )?
        .execute([before_wall])?;
    transaction.execute("DELETE FROM layout WHERE id NOT IN (SELECT layout FROM shift)", [])?;
    transaction.execute("DELETE FROM layout_file WHERE layout NOT IN (SELECT id FROM layout)", [])?;
    transaction.commit()?;
    Ok(if gone == 0 { Piece::Nothing } else { Piece::Rows(gone) })
}
