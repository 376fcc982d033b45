//! What a restart needs, as it is now: where trains stand, what was learned of them, and wishes that hold on.
//!
//! It is kept by names, not by ids, so that it can be understood after the layout was edited.

use std::collections::BTreeMap;

use rusqlite::{Connection, params};
use signaller::{Lessons, Memory, Protection, Request};
use track::TrainId;

use crate::before::{KeptClock, NamedMemory, OFF, ON, PROTECTED, WishKind};
use crate::codec;
use crate::names::Names;
use crate::trouble::Trouble;

/// Trains stand here from now on, and others nowhere.
pub(super) fn places(db: &Connection, names: &Names, places: &[(TrainId, Memory)]) -> Result<(), Trouble> {
    let mut left: BTreeMap<String, Vec<u8>> = db
        .prepare_cached("SELECT train, memory FROM now_place")?
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?
        .collect::<Result<_, _>>()?;
    for (train, memory) in places {
        let train = names.train(*train);
        let bytes = codec::to_bytes(&NamedMemory::of(names, memory));
        if left.remove(&train).is_none_or(|before| before != bytes) {
            db.prepare_cached("INSERT OR REPLACE INTO now_place (train, memory) VALUES (?1, ?2)")?
                .execute(params![train, bytes])?;
        }
    }
    for train in left.keys() {
        db.prepare_cached("DELETE FROM now_place WHERE train = ?1")?.execute([train])?;
    }
    Ok(())
}

/// This is what was learned of a train.
pub(super) fn lessons(db: &Connection, train: &str, lessons: &Lessons) -> Result<(), Trouble> {
    db.prepare_cached("INSERT OR REPLACE INTO now_lessons (train, lessons) VALUES (?1, ?2)")?
        .execute(params![train, codec::to_bytes(lessons)])?;
    Ok(())
}

/// The layout clock shows this.
pub(super) fn clock(db: &Connection, clock: &KeptClock) -> Result<(), Trouble> {
    db.prepare_cached("INSERT OR REPLACE INTO now_clock (one, shows, pace, is_running) VALUES (1, ?1, ?2, ?3)")?
        .execute(params![clock.shows_ns, clock.pace, clock.is_running])?;
    Ok(())
}

/// Trains stand where somebody says, and nobody wished anything.
pub(super) fn forget(db: &Connection) -> Result<(), Trouble> {
    db.execute_batch("DELETE FROM now_place; DELETE FROM now_wish; DELETE FROM now_clock")?;
    Ok(())
}

/// A wish was accepted: if it holds on until it is taken back it is kept, and if it takes one back that is kept no longer.
pub(super) fn wish(db: &Connection, names: &Names, request: &Request, by: &str) -> Result<(), Trouble> {
    let keep = |kind: WishKind, subject: &str, words: &str| -> Result<(), Trouble> {
        db.prepare_cached("INSERT OR REPLACE INTO now_wish (kind, subject, words, asked_by) VALUES (?1, ?2, ?3, ?4)")?
            .execute(params![kind.name(), subject, words, by])?;
        Ok(())
    };
    let drop = |kind: WishKind, subject: &str| -> Result<(), Trouble> {
        db.prepare_cached("DELETE FROM now_wish WHERE kind = ?1 AND subject = ?2")?
            .execute(params![kind.name(), subject])?;
        Ok(())
    };
    let nobodys = |train: &TrainId| {
        [WishKind::TakenOver, WishKind::AtThrottle].into_iter().try_for_each(|kind| drop(kind, &names.train(*train)))
    };
    match request {
        Request::Hold { train, reason } => keep(WishKind::Hold, &names.train(*train), reason),
        Request::Release { train } => drop(WishKind::Hold, &names.train(*train)),
        Request::StopAll => keep(WishKind::StopAll, "", ""),
        Request::ResumeAll => drop(WishKind::StopAll, ""),
        Request::TakeOver { train } => keep(WishKind::TakenOver, &names.train(*train), ""),
        Request::TakeThrottle { train, protection } => {
            let words = if *protection == Protection::On { PROTECTED } else { "" };
            keep(WishKind::AtThrottle, &names.train(*train), words)
        }
        Request::HandBack { train } => nobodys(train),
        Request::LimitStep { train, step: Some(step) } => {
            keep(WishKind::Limit, &names.train(*train), &step.to_string())
        }
        Request::LimitStep { train, step: None } => drop(WishKind::Limit, &names.train(*train)),
        Request::TakeOutOfService { section, reason } => keep(WishKind::OutOfService, &names.section(*section), reason),
        Request::PutInService { section } => drop(WishKind::OutOfService, &names.section(*section)),
        Request::HandRegionOver { sections, to } => {
            sections.iter().try_for_each(|&section| keep(WishKind::HandedOver, &names.section(section), to))
        }
        Request::TakeRegionBack { sections } => {
            sections.iter().try_for_each(|&section| drop(WishKind::HandedOver, &names.section(section)))
        }
        Request::KeepAtDanger { signal, held: true } => keep(WishKind::KeptAtDanger, &names.signal(*signal), ""),
        Request::KeepAtDanger { signal, held: false } => drop(WishKind::KeptAtDanger, &names.signal(*signal)),
        Request::SwitchAccessory { accessory, on } => {
            keep(WishKind::Switched, &names.accessory(*accessory), if *on { ON } else { OFF })
        }
        Request::SwitchFunction { train, number, on } => {
            let subject = format!("{number} {}", names.train(*train));
            keep(WishKind::Function, &subject, if *on { ON } else { OFF })
        }
        // A train that is taken off the track is nobody's any more.
        Request::Lift { train } => nobodys(train),
        _ => Ok(()),
    }
}
