//! From rows back to a board: for whoever follows the stream and has the same layout.

use signaller::interlock::Ahead;
use signaller::{Advice, Board, DoubtId, Protection, SetRoute, Suspect, Tag};
use signaller::{Doubt, RouteStage};
use track::routes::Exit;
use track::{Length, Lie, Speed, TrainId, Traverse};

use crate::names::Names;
use crate::rows::{
    AccessoryRow, AdviceRow, Bounds, DarkRow, DoubtRow, InputRow, Is, Kind, MoveRow, News, Picture, RouteRow,
    SectionRow, SignalRow, Stage, SuspectRow, TrainRow, TurnoutRow,
};
use crate::wish::Lying;

/// A row names what is not on the layout: it is not the same one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OtherLayout(pub String);

impl From<String> for OtherLayout {
    fn from(why: String) -> Self {
        Self(why)
    }
}

/// The board that a picture shows.
///
/// # Errors
/// Where it is of another layout.
pub fn board(names: &Names, picture: &Picture) -> Result<Board, OtherLayout> {
    let mut board = Board::new(names.layout().clone());
    let news = News {
        number: picture.number,
        at: picture.at,
        phase: picture.phase,
        pace: picture.pace,
        broken_rules: picture.broken_rules,
        sections: picture.sections.clone(),
        trains: picture.trains.clone(),
        moves: Vec::new(),
        signals: picture.signals.clone(),
        turnouts: picture.turnouts.clone(),
        accessories: picture.accessories.clone(),
        inputs: picture.inputs.clone(),
        doubts: Some(picture.doubts.clone()),
        routes: Some(picture.routes.clone()),
        dark: Some(picture.dark.clone()),
        links_down: Some(picture.links_down.clone()),
        suspects: Some(picture.suspects.clone()),
        clock: None,
        questions: None,
        lines: Vec::new(),
    };
    apply(&mut board, names, &news)?;
    Ok(board)
}

/// Puts news onto a board.
///
/// # Errors
/// Where they are of another layout.
pub fn apply(board: &mut Board, names: &Names, news: &News) -> Result<(), OtherLayout> {
    board.now = signaller::Time::from_secs_f64(news.at);
    news.sections.iter().try_for_each(|row| section(board, names, row))?;
    news.trains.iter().try_for_each(|row| train(board, names, row))?;
    for MoveRow { name, step, nose, speed } in &news.moves {
        let errand = board.errands.entry(names.train(name)?).or_default();
        errand.step = *step;
        errand.nose = nose.map(lengths);
        errand.speed = speed.map(speeds);
    }
    news.signals.iter().try_for_each(|row| signal(board, names, row))?;
    for TurnoutRow { name, lies, locked } in &news.turnouts {
        let turnout = names.turnout(name)?;
        board.locked[turnout] = *locked;
        board.lies[turnout] = lies.map(|lies| match lies {
            Lying::Straight => Lie::Straight,
            Lying::Diverging => Lie::Diverging,
        });
    }
    for AccessoryRow { name, on } in &news.accessories {
        board.accessories[names.accessory(name)?] = *on;
    }
    for InputRow { name, on } in &news.inputs {
        board.inputs[names.input(name)?] = *on;
    }
    if let Some(doubts) = &news.doubts {
        board.doubts = doubts.iter().map(|row| doubt(names, row)).collect::<Result<_, _>>()?;
    }
    if let Some(routes) = &news.routes {
        board.routes.clear();
        routes.iter().try_for_each(|row| route(board, names, row))?;
    }
    if let Some(dark) = &news.dark {
        board.dark.clear();
        for DarkRow { district, because } in dark {
            let district = district.as_deref().map(|name| names.district(name)).transpose()?;
            board.dark.insert(district, because.clone());
        }
    }
    if let Some(down) = &news.links_down {
        board.down = down.iter().map(|name| names.link(name)).collect::<Result<_, _>>()?;
    }
    if let Some(suspects) = &news.suspects {
        board.suspects.clear();
        for SuspectRow { kind, name, because } in suspects {
            let suspect = match kind {
                Kind::Section => Suspect::Section(names.section(name)?),
                Kind::Train => Suspect::Train(names.train(name)?),
                Kind::Turnout => Suspect::Turnout(names.turnout(name)?),
            };
            board.suspects.insert(suspect, because.clone());
        }
    }
    Ok(())
}

fn trains<C: FromIterator<TrainId>>(names: &Names, called: &[String]) -> Result<C, String> {
    called.iter().map(|name| names.train(name)).collect()
}

fn section(board: &mut Board, names: &Names, row: &SectionRow) -> Result<(), OtherLayout> {
    let id = names.section(&row.name)?;
    board.tags[id] = match (row.is, row.trains.first()) {
        (Is::Free, _) => Some(Tag::Free),
        (Is::Unexplained, _) => Some(Tag::Unexplained),
        (Is::Sure, Some(name)) => Some(Tag::Sure(names.train(name)?)),
        (Is::Doubt, Some(_)) => Some(Tag::Doubt(trains(names, &row.trains)?)),
        (Is::Unknown, _) | (Is::Sure | Is::Doubt, None) => None,
    };
    board.granted[id] = row.granted.as_deref().map(|name| names.train(name)).transpose()?;
    match &row.withdrawn {
        Some(because) => board.withdrawn.insert(id, because.clone()),
        None => board.withdrawn.remove(&id),
    };
    Ok(())
}

fn train(board: &mut Board, names: &Names, row: &TrainRow) -> Result<(), OtherLayout> {
    let errand = board.errands.entry(names.train(&row.name)?).or_default();
    errand.step = row.step;
    errand.direction = row.direction.map(Into::into);
    errand.advice = row.advice.as_ref().map(|row| advice(names, row)).transpose()?;
    errand.to = row.to.as_deref().map(|name| names.place(name)).transpose()?;
    errand.at = row.at.as_deref().map(|name| names.place(name)).transpose()?;
    errand.waits.clone_from(&row.waits);
    errand.held.clone_from(&row.held);
    errand.trips = row.trips;
    errand.covers.clear();
    for cover in &row.covers {
        let entered = cover.entered.as_deref().map(|name| names.end(name)).transpose()?;
        errand.covers.push((names.section(&cover.section)?, entered));
    }
    errand.is_sure = row.sure;
    errand.nose = row.nose.map(lengths);
    errand.speed = row.speed.map(speeds);
    errand.is_by_hand = row.by_hand;
    errand.functions.clone_from(&row.functions);
    errand.ahead = ahead(names, row)?;
    Ok(())
}

fn lengths(bounds: Bounds) -> (Length, Length) {
    (Length::from_mm(bounds.least), Length::from_mm(bounds.most))
}

fn speeds(bounds: Bounds) -> (Speed, Speed) {
    (Speed::from_mm(bounds.least), Speed::from_mm(bounds.most))
}

fn ahead(names: &Names, row: &TrainRow) -> Result<Option<Ahead>, OtherLayout> {
    let layout = names.layout();
    let mut ahead = Ahead::default();
    for passage in &row.ahead {
        let (enter, leave) = (names.end(&passage.enter)?, names.end(&passage.leave)?);
        let way = layout.way_between(enter, leave);
        let way = way.ok_or_else(|| format!("no way from `{}` to `{}`", passage.enter, passage.leave))?;
        ahead.passages.push(Traverse { section: layout.ends[enter].section, enter, way, leave });
    }
    if let Some(signaller::Destination::Stop(stop)) = row.stop.as_deref().map(|stop| names.place(stop)).transpose()? {
        ahead.stop = Some(stop);
    }
    Ok((!ahead.passages.is_empty()).then_some(ahead))
}

fn advice(names: &Names, row: &AdviceRow) -> Result<Advice, OtherLayout> {
    let signal = match (&row.signal, &row.aspect) {
        (Some(signal), Some(aspect)) => {
            let id = names.signal(signal)?;
            names.layout().book_of(id).named(aspect).map(|aspect| (id, aspect))
        }
        _ => None,
    };
    Ok(Advice {
        protection: if row.protected { Protection::On } else { Protection::Off },
        set: (row.set_way.into(), row.set_step),
        leading: row.may_go.map(Into::into),
        signal,
        to_stand: row.to_stand_mm.map(track::Length::from_mm),
        speed: track::Speed::from_mm(row.speed_mm_s),
        step: row.step,
    })
}

fn signal(board: &mut Board, names: &Names, row: &SignalRow) -> Result<(), OtherLayout> {
    let id = names.signal(&row.name)?;
    let aspect = names.layout().book_of(id).named(&row.aspect);
    board.aspects[id] = aspect.ok_or_else(|| format!("signal `{}` cannot show `{}`", row.name, row.aspect))?;
    board.lit[id] = row.lit;
    Ok(())
}

fn doubt(names: &Names, row: &DoubtRow) -> Result<(DoubtId, Doubt), OtherLayout> {
    let about = Doubt {
        trains: trains(names, &row.trains)?,
        sections: names.all_sections(&row.sections)?,
        alternatives: row.alternatives.clone(),
        settled_by: row.settled_by.clone(),
        roll_call: row.roll_call.as_deref().map(|name| names.train(name)).transpose()?,
    };
    Ok((DoubtId(row.number), about))
}

fn route(board: &mut Board, names: &Names, row: &RouteRow) -> Result<(), OtherLayout> {
    let exit = match (names.signal(&row.exit), names.place(&row.exit)) {
        (Ok(signal), _) => Exit::Signal(signal),
        (Err(_), Ok(signaller::Destination::Stop(stop))) => Exit::Stop(stop),
        (Err(_), _) => Exit::Edge(names.end(&row.exit)?),
    };
    let stage = match row.stage {
        Stage::Called => RouteStage::Called,
        Stage::Cleared => RouteStage::Cleared,
        Stage::ApproachLocked => RouteStage::ApproachLocked,
        Stage::Used => RouteStage::Used,
        Stage::Cancelled => RouteStage::Cancelled,
    };
    board.routes.insert(names.signal(&row.signal)?, SetRoute { exit, stage, waits: row.waits.clone() });
    Ok(())
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use signaller::{Destination, Fact, Output, Time};
    use track::{Builder, Id, Scale, SectionId};

    use super::*;
    use crate::rows::Phase;
    use crate::show::Glance;

    #[test]
    fn a_board_that_went_through_the_door_says_the_same() {
        let mut line = Builder::new("Siding", Scale::UNKNOWN);
        line.plain_section("quay-1", None);
        line.plain_section("quay-2", None);
        line.train(track::Train::stranger("Heron"));
        line.train(track::Train::stranger("Plover"));
        let lamps = line.accessory("lamps", None);
        let lever = line.input("lever", None);
        let names = Names::new(Arc::new(line.build()));
        let (heron, plover) = (TrainId::from_index(0), TrainId::from_index(1));
        let (one, two) = (SectionId::from_index(0), SectionId::from_index(1));
        let about = Doubt {
            trains: vec![heron, plover],
            sections: vec![two],
            alternatives: vec!["Heron is in quay-2".to_owned()],
            settled_by: "look".to_owned(),
            roll_call: Some(plover),
        };
        let facts = [
            Fact::Tagged { section: one, tag: Tag::Sure(heron) },
            Fact::Tagged { section: two, tag: Tag::Doubt([heron, plover].into_iter().collect()) },
            Fact::RouteSet { train: heron, sections: vec![one, two] },
            Fact::Departed { train: heron, to: Destination::Section(two) },
            Fact::HoldSet { train: plover, reason: "tea".to_owned() },
            Fact::Withdrawn { section: two, because: "paint".to_owned() },
            Fact::PowerLost { district: None, because: "everything fell silent".to_owned() },
            Fact::Suspected { suspect: Suspect::Section(two), because: "it flickers".to_owned() },
            Fact::DoubtRaised { doubt: DoubtId(4), about },
            Fact::InputIs { input: lever, on: Some(true) },
        ];
        let mut outputs: Vec<Output> = facts.into_iter().map(Output::Fact).collect();
        outputs.push(Output::Function { train: heron, number: 0, on: true });
        outputs.push(Output::Accessory { accessory: lamps, on: false });
        let glance = |board: &Board| Glance {
            board: board.clone(),
            phase: Phase::Running,
            pace: None,
            broken_rules: 0,
            clock: None,
            questions: Vec::new(),
        };
        let before = Board::new(Arc::clone(names.layout()));
        let mut after = before.clone();
        after.hear(Time::from_millis(7_250), &outputs);

        let through = board(&names, &glance(&after).picture(1)).unwrap();
        assert_eq!(format!("{through:?}"), format!("{after:?}"));
        let mut followed = before.clone();
        apply(&mut followed, &names, &glance(&after).news_since(&glance(&before), 2, Vec::new())).unwrap();
        assert_eq!(format!("{followed:?}"), format!("{after:?}"));

        let mut on = after.clone();
        let errand = on.errands.get_mut(&heron).unwrap();
        errand.step = 9;
        errand.nose = Some((Length::from_mm(120), Length::from_mm(150)));
        errand.speed = Some((Speed::from_mm(80), Speed::from_mm(90)));
        let news = glance(&on).news_since(&glance(&after), 3, Vec::new());
        assert_eq!((news.trains.len(), news.moves.len()), (0, 1), "a train that only came on is told in short");
        apply(&mut followed, &names, &news).unwrap();
        assert_eq!(format!("{followed:?}"), format!("{on:?}"));
    }
}
