//! What people want to know, made of what went in and came out.

use rusqlite::{OptionalExtension, Transaction, params};
use signaller::{Answer, Destination, Doubt, DoubtId, Fact, Input, Output, Request, Tag, Ticket};
use track::{SectionId, TrainId};

use super::now;
use super::store::{Shift, wall_ms};
use crate::codec;
use crate::entry::{Cause, Entry};
use crate::trouble::Trouble;

/// One moment, as rows have it.
#[derive(Clone, Copy)]
struct Moment {
    at: i64,
    wall: i64,
}

/// Takes note of one step.
pub(super) fn note(db: &Transaction<'_>, shift: &Shift, number: u64, entry: &Entry) -> Result<(), Trouble> {
    let moment = Moment { at: entry.at.nanos(), wall: wall_ms(entry.wall) };
    for (input, cause) in &entry.heard {
        if let Input::Requested { ticket, request } = input {
            asked(db, shift, moment, number, *ticket, request, cause)?;
        }
    }
    for output in &entry.outputs {
        let Output::Fact(fact) = output else { continue };
        match fact {
            Fact::Tagged { section, tag } => tagged(db, shift, moment, *section, tag)?,
            Fact::Departed { train, to } => departed(db, shift, moment, *train, *to)?,
            Fact::Arrived { train, at } => arrived(db, shift, moment, *train, *at)?,
            Fact::HoldSet { train, reason } => held(db, shift, moment, *train, reason)?,
            Fact::HoldLifted { train } => lifted(db, shift, moment, *train)?,
            Fact::DoubtRaised { doubt, about } => doubted(db, shift, moment, *doubt, about, entry)?,
            Fact::DoubtCleared { doubt, by } => settled(db, shift, moment, *doubt, by)?,
            Fact::Suspected { suspect, because } => {
                let (kind, name) = shift.names.suspect(*suspect);
                db.prepare_cached(
                    "INSERT INTO fault (shift, kind, name, because, at, wall) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                )?
                .execute(params![shift.id, kind, name, because, moment.at, moment.wall])?;
            }
            Fact::Answered { ticket, answer } => answered(db, shift, moment, *ticket, answer)?,
            _ => {}
        }
    }
    Ok(())
}

fn tagged(db: &Transaction<'_>, shift: &Shift, moment: Moment, section: SectionId, tag: &Tag) -> Result<(), Trouble> {
    let section = shift.names.section(section);
    db.prepare_cached(
        "UPDATE stand SET until = ?3, until_wall = ?4 WHERE shift = ?1 AND section = ?2 AND until IS NULL",
    )?
    .execute(params![shift.id, section, moment.at, moment.wall])?;
    let mut insert = db.prepare_cached(
        "INSERT INTO stand (shift, section, train, said, since, since_wall) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?;
    let mut say = |train: Option<TrainId>, said: &str| {
        let train = train.map(|train| shift.names.train(train));
        insert.execute(params![shift.id, section, train, said, moment.at, moment.wall])
    };
    match tag {
        Tag::Free => {}
        Tag::Sure(train) => {
            say(Some(*train), "sure")?;
        }
        Tag::Doubt(trains) => {
            for train in trains {
                say(Some(*train), "doubt")?;
            }
        }
        Tag::Unexplained => {
            say(None, "unexplained")?;
        }
    }
    Ok(())
}

fn departed(
    db: &Transaction<'_>,
    shift: &Shift,
    moment: Moment,
    train: TrainId,
    to: Destination,
) -> Result<(), Trouble> {
    let train = shift.names.train(train);
    // It set off for elsewhere before it came where it was sent.
    db.prepare_cached("UPDATE trip SET is_over = 1 WHERE shift = ?1 AND train = ?2 AND is_over = 0")?
        .execute(params![shift.id, train])?;
    let origin = match last_arrival(db, shift, &train)? {
        Some(place) => Some(place),
        None => db
            .prepare_cached(
                "SELECT section FROM stand WHERE shift = ?1 AND train = ?2 AND until IS NULL ORDER BY id DESC LIMIT 1",
            )?
            .query_row(params![shift.id, train], |row| row.get(0))
            .optional()?,
    };
    db.prepare_cached(
        "INSERT INTO trip (shift, train, origin, destination, departed, departed_wall) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?
    .execute(params![shift.id, train, origin, shift.names.place(to), moment.at, moment.wall])?;
    Ok(())
}

/// Where the train's last trip ended, if it arrived there.
fn last_arrival(db: &Transaction<'_>, shift: &Shift, train: &str) -> Result<Option<String>, Trouble> {
    let last: Option<(i64, String, Option<i64>)> = db
        .prepare_cached("SELECT shift, destination, arrived FROM trip WHERE train = ?1 ORDER BY id DESC LIMIT 1")?
        .query_row([train], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
        .optional()?;
    Ok(last.filter(|(of, _, arrived)| *of == shift.id && arrived.is_some()).map(|(_, place, _)| place))
}

fn arrived(
    db: &Transaction<'_>,
    shift: &Shift,
    moment: Moment,
    train: TrainId,
    at: Destination,
) -> Result<(), Trouble> {
    let (train, place) = (shift.names.train(train), shift.names.place(at));
    db.prepare_cached(
        "UPDATE trip SET arrived = ?3, arrived_wall = ?4, is_over = 1 WHERE shift = ?1 AND train = ?2 AND is_over = 0",
    )?
    .execute(params![shift.id, train, moment.at, moment.wall])?;
    if let Destination::Stop(_) = at {
        db.prepare_cached("INSERT INTO stop (shift, train, place, at, wall) VALUES (?1, ?2, ?3, ?4, ?5)")?
            .execute(params![shift.id, train, place, moment.at, moment.wall])?;
    }
    Ok(())
}

/// How far short of its stopping point a train stands, which arrived there last.
pub(super) fn measured(db: &Transaction<'_>, shift: &Shift, train: TrainId, short_um: i64) -> Result<(), Trouble> {
    db.prepare_cached(
        "UPDATE stop SET short_um = ?3 WHERE id =
         (SELECT max(id) FROM stop WHERE shift = ?1 AND train = ?2 AND short_um IS NULL)",
    )?
    .execute(params![shift.id, shift.names.train(train), short_um])?;
    Ok(())
}

fn held(db: &Transaction<'_>, shift: &Shift, moment: Moment, train: TrainId, reason: &str) -> Result<(), Trouble> {
    db.prepare_cached("INSERT INTO hold (shift, train, reason, since, since_wall) VALUES (?1, ?2, ?3, ?4, ?5)")?
        .execute(params![shift.id, shift.names.train(train), reason, moment.at, moment.wall])?;
    Ok(())
}

fn lifted(db: &Transaction<'_>, shift: &Shift, moment: Moment, train: TrainId) -> Result<(), Trouble> {
    db.prepare_cached("UPDATE hold SET until = ?3, until_wall = ?4 WHERE shift = ?1 AND train = ?2 AND until IS NULL")?
        .execute(params![shift.id, shift.names.train(train), moment.at, moment.wall])?;
    Ok(())
}

/// A doubt that is said anew, under the same number, is the same one; it is kept as it was said last.
fn doubted(
    db: &Transaction<'_>,
    shift: &Shift,
    moment: Moment,
    doubt: DoubtId,
    about: &Doubt,
    entry: &Entry,
) -> Result<(), Trouble> {
    let trains = shift.names.trains(&about.trains);
    let sections = shift.names.sections(&about.sections);
    let alternatives = about.alternatives.join("; or ");
    let number = doubt.0.cast_signed();
    let again = db
        .prepare_cached(
            "UPDATE doubt SET trains = ?3, sections = ?4, alternatives = ?5, would_settle = ?6
             WHERE shift = ?1 AND number = ?2 AND cleared IS NULL",
        )?
        .execute(params![shift.id, number, trains, sections, alternatives, about.settled_by])?;
    if again > 0 {
        return Ok(());
    }
    let (cause, cause_at) = cause_of(shift, about, entry);
    db.prepare_cached(
        "INSERT INTO doubt (shift, number, trains, sections, alternatives, would_settle, cause, cause_at, raised, raised_wall)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
    )?
    .execute(params![
        shift.id,
        number,
        trains,
        sections,
        alternatives,
        about.settled_by,
        cause,
        cause_at,
        moment.at,
        moment.wall
    ])?;
    Ok(())
}

/// What was heard when a doubt was raised: of its own sections if there was anything, or else whatever came first.
fn cause_of(shift: &Shift, about: &Doubt, entry: &Entry) -> (&'static str, String) {
    let names = &shift.names;
    let told = entry.heard.iter().map(|(input, _)| match input {
        Input::SectionReported { section, occupied } => {
            let kind = if *occupied { "a section filled" } else { "a section emptied" };
            (about.sections.contains(section), kind, names.section(*section))
        }
        Input::SpotPassed { .. } => (false, "a spot was passed", names.input(input)),
        Input::TrainRead { train, .. } => (about.trains.contains(train), "a train was read", names.train(*train)),
        Input::TurnoutReported { turnout, .. } => (false, "a turnout was reported", names.turnout(*turnout)),
        Input::PowerReported { .. } => (false, "power was reported", names.input(input)),
        Input::InputReported { .. } => (false, "an input was reported", names.input(input)),
        Input::LinkReported { link, .. } => (false, "a link was reported", names.link(*link)),
        Input::TrainRemembered { train, .. } => {
            (about.trains.contains(train), "a train was remembered", names.train(*train))
        }
        Input::Requested { request, .. } => (false, "a request", names.request(request)),
        Input::ProfileRemembered { .. } | Input::SignalReported { .. } | Input::TrainNamed { .. } => {
            (false, "something else", names.input(input))
        }
        Input::Woke => (false, "time passed", String::new()),
    });
    // Of its own sections first; that time passed last of all, for it passes in every step.
    let likeliest = told.min_by_key(|(is_own, kind, _)| (!is_own, *kind == "time passed"));
    likeliest.map_or(("something else", String::new()), |(_, kind, of)| (kind, of))
}

fn settled(db: &Transaction<'_>, shift: &Shift, moment: Moment, doubt: DoubtId, by: &str) -> Result<(), Trouble> {
    db.prepare_cached(
        "UPDATE doubt SET cleared = ?3, cleared_wall = ?4, cleared_by = ?5
         WHERE shift = ?1 AND number = ?2 AND cleared IS NULL",
    )?
    .execute(params![shift.id, doubt.0.cast_signed(), moment.at, moment.wall, by])?;
    Ok(())
}

fn asked(
    db: &Transaction<'_>,
    shift: &Shift,
    moment: Moment,
    number: u64,
    ticket: Ticket,
    request: &Request,
    cause: &Cause,
) -> Result<(), Trouble> {
    let (by, key) = match cause {
        Cause::Asked { by, key } => (by.as_str(), key.as_deref()),
        Cause::Start => ("the start", None),
        Cause::Link(_) | Cause::Wake => ("nobody", None),
    };
    db.prepare_cached(
        "INSERT INTO wish (shift, ticket, step, asked_by, key, what, request, asked, asked_wall)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
    )?
    .execute(params![
        shift.id,
        ticket.0.cast_signed(),
        number.cast_signed(),
        by,
        key,
        shift.names.request(request),
        codec::to_bytes(request),
        moment.at,
        moment.wall
    ])?;
    Ok(())
}

/// An answer; and a wish that holds on is kept for the next shift.
fn answered(
    db: &Transaction<'_>,
    shift: &Shift,
    moment: Moment,
    ticket: Ticket,
    answer: &Answer,
) -> Result<(), Trouble> {
    let (accepted, reason) = match answer {
        Answer::Accepted => (true, None),
        Answer::Refused(refusal) => (false, Some(refusal.reason.as_str())),
    };
    let wish: Option<(i64, Vec<u8>, String)> = db
        .prepare_cached("SELECT id, request, asked_by FROM wish WHERE shift = ?1 AND ticket = ?2 AND answered IS NULL")?
        .query_row(params![shift.id, ticket.0.cast_signed()], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
        .optional()?;
    let Some((id, request, by)) = wish else { return Ok(()) };
    db.prepare_cached("UPDATE wish SET answered = ?2, answered_wall = ?3, accepted = ?4, reason = ?5 WHERE id = ?1")?
        .execute(params![id, moment.at, moment.wall, accepted, reason])?;
    match codec::whole::<Request>(&request) {
        Ok(request) if accepted => now::wish(db, &shift.names, &request, &by),
        _ => Ok(()),
    }
}
