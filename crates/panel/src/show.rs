//! From the board to rows.

use signaller::{Advice, Board, Protection, RouteStage, Suspect, Tag, Why};
use track::{AccessoryId, Aspect, Id, InputId, Layout, Length, SectionId, SignalId, Speed, TrainId, TurnoutId};

use crate::rows::{
    AccessoryRow, AccountRow, AdviceRow, Bounds, ClockRow, Cover, DarkRow, DoubtRow, EvidenceRow, InputRow, Is, Kind,
    LineRow, MoveRow, News, Passage, Phase, Picture, QuestionRow, RouteRow, SectionRow, SignalRow, Stage, SuspectRow,
    TrainRow, TurnoutRow, WhyRow,
};

/// All that is shown of one moment.
#[derive(Clone, Debug)]
pub struct Glance {
    /// What is known.
    pub board: Board,
    /// What the railway is about.
    pub phase: Phase,
    /// How many times faster than life it runs; nothing where it runs as fast as the machine can.
    pub pace: Option<f64>,
    /// How many of its own rules were seen broken.
    pub broken_rules: u64,
    /// The layout clock, once it was set or started.
    pub clock: Option<ClockRow>,
    /// Questions of scripts that stand open.
    pub questions: Vec<QuestionRow>,
}

impl Glance {
    /// Everything, in rows.
    pub fn picture(&self, number: u64) -> Picture {
        let board = &self.board;
        let layout = board.layout();
        Picture {
            number,
            layout: layout.name.clone(),
            at: board.now.secs_f64(),
            phase: self.phase,
            pace: self.pace,
            broken_rules: self.broken_rules,
            sections: layout.sections.ids().map(|id| section(board, id)).collect(),
            trains: board.errands.keys().map(|&id| train(board, id)).collect(),
            signals: layout.signals.ids().map(|id| signal(board, id)).collect(),
            turnouts: layout.turnouts.ids().map(|id| turnout(board, id)).collect(),
            accessories: layout.accessories.ids().map(|id| accessory(board, id)).collect(),
            inputs: layout.inputs.ids().map(|id| input(board, id)).collect(),
            doubts: doubts(board),
            routes: routes(board),
            dark: dark(board),
            links_down: links_down(board),
            suspects: suspects(board),
            clock: self.clock.clone(),
            questions: self.questions.clone(),
            lines: Vec::new(),
        }
    }

    /// What is new since `before`.
    pub fn news_since(&self, before: &Self, number: u64, lines: Vec<LineRow>) -> News {
        let (old, new) = (&before.board, &self.board);
        let layout = new.layout();
        let section_changed = |&id: &SectionId| {
            old.tags[id] != new.tags[id]
                || old.granted[id] != new.granted[id]
                || old.withdrawn.get(&id) != new.withdrawn.get(&id)
        };
        let other_trains = new.errands.iter().filter(|(id, errand)| old.errands.get(id) != Some(errand));
        let (moves, trains): (Vec<_>, Vec<_>) = other_trains.partition(|&(id, errand)| {
            old.errands.get(id).is_some_and(|old| {
                let mut moved = old.clone();
                (moved.step, moved.nose, moved.speed) = (errand.step, errand.nose, errand.speed);
                moved == *errand
            })
        });
        News {
            number,
            at: new.now.secs_f64(),
            phase: self.phase,
            pace: self.pace,
            broken_rules: self.broken_rules,
            sections: layout.sections.ids().filter(section_changed).map(|id| section(new, id)).collect(),
            trains: trains.into_iter().map(|(&id, _)| train(new, id)).collect(),
            moves: moves
                .into_iter()
                .map(|(&id, errand)| MoveRow {
                    name: train_name(layout, id),
                    step: errand.step,
                    nose: errand.nose.map(lengths),
                    speed: errand.speed.map(speeds),
                })
                .collect(),
            signals: layout
                .signals
                .ids()
                .filter(|&id| old.aspects[id] != new.aspects[id] || old.lit[id] != new.lit[id])
                .map(|id| signal(new, id))
                .collect(),
            turnouts: layout
                .turnouts
                .ids()
                .filter(|&id| old.lies[id] != new.lies[id] || old.locked[id] != new.locked[id])
                .map(|id| turnout(new, id))
                .collect(),
            accessories: layout
                .accessories
                .ids()
                .filter(|&id| old.accessories[id] != new.accessories[id])
                .map(|id| accessory(new, id))
                .collect(),
            inputs: layout
                .inputs
                .ids()
                .filter(|&id| old.inputs[id] != new.inputs[id])
                .map(|id| input(new, id))
                .collect(),
            doubts: (old.doubts != new.doubts).then(|| doubts(new)),
            routes: (old.routes != new.routes).then(|| routes(new)),
            dark: (old.dark != new.dark).then(|| dark(new)),
            links_down: (old.down != new.down).then(|| links_down(new)),
            suspects: (old.suspects != new.suspects).then(|| suspects(new)),
            clock: self.clock.clone().filter(|clock| before.clock.as_ref() != Some(clock)),
            questions: (before.questions != self.questions).then(|| self.questions.clone()),
            lines,
        }
    }
}

/// Why a section has its tag, in rows.
pub fn why_row(board: &Board, id: SectionId, why: Why, evidence: Option<EvidenceRow>) -> WhyRow {
    let accounts = why.accounts.into_iter().map(|one| AccountRow { share: one.share, words: one.words });
    WhyRow {
        section: section(board, id),
        detector: why.detector,
        accounts: accounts.collect(),
        open_ended: why.is_open_ended,
        evidence,
    }
}

fn train_name(layout: &Layout, train: TrainId) -> String {
    layout.trains.get(train).map_or_else(|| format!("train {}", train.index() + 1), |train| train.name.clone())
}

fn section_name(layout: &Layout, section: SectionId) -> String {
    layout.sections[section].name.clone()
}

fn section(board: &Board, id: SectionId) -> SectionRow {
    let layout = board.layout();
    let (is, trains) = match &board.tags[id] {
        None => (Is::Unknown, &[][..]),
        Some(Tag::Free) => (Is::Free, &[][..]),
        Some(Tag::Sure(train)) => (Is::Sure, std::slice::from_ref(train)),
        Some(Tag::Doubt(trains)) => (Is::Doubt, trains.as_slice()),
        Some(Tag::Unexplained) => (Is::Unexplained, &[][..]),
    };
    SectionRow {
        name: section_name(layout, id),
        is,
        trains: trains.iter().map(|&train| train_name(layout, train)).collect(),
        granted: board.granted[id].map(|train| train_name(layout, train)),
        withdrawn: board.withdrawn.get(&id).cloned(),
    }
}

fn train(board: &Board, id: TrainId) -> TrainRow {
    let layout = board.layout();
    let errand = board.errands.get(&id).cloned().unwrap_or_default();
    let place = |place| match place {
        signaller::Destination::Stop(stop) => layout.stops[stop].name.clone(),
        signaller::Destination::Section(section) => section_name(layout, section),
    };
    TrainRow {
        name: train_name(layout, id),
        step: errand.step,
        highest: layout.trains.get(id).map_or(126, |train| train.speed_steps.highest()),
        direction: errand.direction.map(Into::into),
        to: errand.to.map(place),
        at: errand.at.map(place),
        waits: errand.waits,
        held: errand.held,
        trips: errand.trips,
        covers: errand
            .covers
            .iter()
            .map(|&(section, entered)| Cover {
                section: section_name(layout, section),
                entered: entered.map(|end| layout.end_name(end)),
            })
            .collect(),
        sure: errand.is_sure,
        nose: errand.nose.map(lengths),
        speed: errand.speed.map(speeds),
        ahead: passages(layout, errand.ahead.as_ref()),
        stop: errand.ahead.and_then(|ahead| ahead.stop).map(|stop| layout.stops[stop].name.clone()),
        by_hand: errand.is_by_hand,
        functions: errand.functions,
        advice: errand.advice.map(|advice| advice_row(layout, &advice)),
    }
}

fn lengths((least, most): (Length, Length)) -> Bounds {
    Bounds { least: least.um() / 1000, most: most.um() / 1000 }
}

fn speeds((least, most): (Speed, Speed)) -> Bounds {
    Bounds { least: least.um() / 1000, most: most.um() / 1000 }
}

fn advice_row(layout: &Layout, advice: &Advice) -> AdviceRow {
    let shown = |(signal, aspect)| layout.book_of(signal).name(aspect).map(str::to_owned);
    AdviceRow {
        protected: advice.protection == Protection::On,
        set_way: advice.set.0.into(),
        set_step: advice.set.1,
        may_go: advice.leading.map(Into::into),
        signal: advice.signal.map(|(signal, _)| layout.signals[signal].name.clone()),
        aspect: advice.signal.and_then(shown),
        to_stand_mm: advice.to_stand.map(|to_stand| to_stand.um() / 1000),
        speed_mm_s: advice.speed.um() / 1000,
        step: advice.step,
    }
}

fn passages(layout: &Layout, ahead: Option<&signaller::interlock::Ahead>) -> Vec<Passage> {
    let passages = ahead.iter().flat_map(|ahead| &ahead.passages);
    passages
        .map(|passage| Passage { enter: layout.end_name(passage.enter), leave: layout.end_name(passage.leave) })
        .collect()
}

fn signal(board: &Board, id: SignalId) -> SignalRow {
    let layout = board.layout();
    let aspect = board.aspects[id];
    SignalRow {
        name: layout.signals[id].name.clone(),
        aspect: layout.book_of(id).name(aspect).unwrap_or_default().to_owned(),
        danger: aspect == Aspect::STOP,
        lit: board.lit[id],
    }
}

fn turnout(board: &Board, id: TurnoutId) -> TurnoutRow {
    TurnoutRow {
        name: board.layout().turnouts[id].name.clone(),
        lies: board.lies[id].map(Into::into),
        locked: board.locked[id],
    }
}

fn accessory(board: &Board, id: AccessoryId) -> AccessoryRow {
    AccessoryRow { name: board.layout().accessories[id].name.clone(), on: board.accessories[id] }
}

fn input(board: &Board, id: InputId) -> InputRow {
    InputRow { name: board.layout().inputs[id].name.clone(), on: board.inputs[id] }
}

fn doubts(board: &Board) -> Vec<DoubtRow> {
    let layout = board.layout();
    let rows = board.doubts.iter().map(|(number, doubt)| DoubtRow {
        number: number.0,
        trains: doubt.trains.iter().map(|&train| train_name(layout, train)).collect(),
        sections: doubt.sections.iter().map(|&section| section_name(layout, section)).collect(),
        alternatives: doubt.alternatives.clone(),
        settled_by: doubt.settled_by.clone(),
        roll_call: doubt.roll_call.map(|train| train_name(layout, train)),
    });
    rows.collect()
}

fn routes(board: &Board) -> Vec<RouteRow> {
    let layout = board.layout();
    let rows = board.routes.iter().filter_map(|(&entry, route)| {
        let stage = match route.stage {
            RouteStage::Called => Stage::Called,
            RouteStage::Cleared => Stage::Cleared,
            RouteStage::ApproachLocked => Stage::ApproachLocked,
            RouteStage::Used => Stage::Used,
            RouteStage::Cancelled => Stage::Cancelled,
            RouteStage::Released => return None,
        };
        let (signal, exit) = (layout.signals[entry].name.clone(), route.exit.name(layout));
        Some(RouteRow { signal, exit, stage, waits: route.waits.clone() })
    });
    rows.collect()
}

fn dark(board: &Board) -> Vec<DarkRow> {
    let district = |(district, because): (&Option<_>, &String)| DarkRow {
        district: district.map(|district| board.layout().districts[district].name.clone()),
        because: because.clone(),
    };
    board.dark.iter().map(district).collect()
}

fn links_down(board: &Board) -> Vec<String> {
    board.down.iter().map(|&link| board.layout().links[link].name.clone()).collect()
}

fn suspects(board: &Board) -> Vec<SuspectRow> {
    let layout = board.layout();
    let rows = board.suspects.iter().map(|(suspect, because)| {
        let (kind, name) = match *suspect {
            Suspect::Section(section) => (Kind::Section, section_name(layout, section)),
            Suspect::Train(train) => (Kind::Train, train_name(layout, train)),
            Suspect::Turnout(turnout) => (Kind::Turnout, layout.turnouts[turnout].name.clone()),
        };
        SuspectRow { kind, name, because: because.clone() }
    });
    rows.collect()
}
