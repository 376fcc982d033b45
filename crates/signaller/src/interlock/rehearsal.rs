//! The rehearsal: trains run home one after the other, on paper.

use std::time::Duration;

use smallvec::SmallVec;
use track::{EndId, Length, SectionId, TrainId, Traverse, distance_cost};

use super::Interlock;
use crate::door::Destination;
use crate::identity::NEXT_AXLE;
use crate::picture::Picture;

/// A train that waited so long lets no newcomer go before it.
pub(super) const PATIENCE: Duration = Duration::from_secs(60);

/// A train may come to stand so far short of where it should. Common practice, no source.
pub(super) const STOPPING_ERROR: Length = Length::from_mm(50);

/// One step of a rehearsal: a train runs home, or draws up to the far end of a passage.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub(super) struct Leg {
    train: TrainId,
    up_to: Option<EndId>,
    pub(super) way: Way,
}

impl Leg {
    pub(super) fn is_of(self, train: TrainId) -> bool {
        self.train == train
    }
}

/// Whether a train runs as it plans to, or some other way home that is free.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub(super) enum Way {
    AsPlanned,
    Round,
}

/// A grant to be tried.
#[derive(Clone, Copy, Debug)]
pub(super) struct Trial {
    pub(super) train: TrainId,
    /// So many passages of its plan.
    pub(super) count: usize,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Occupant {
    Nobody,
    Train(TrainId),
    Unknown,
}

/// A train in the rehearsal.
#[derive(Clone, Copy, Debug)]
pub(super) struct Player {
    pub(super) train: TrainId,
    /// So many passages of its plan are behind it.
    from: usize,
    is_home: bool,
    /// It has left what it stands on in truth, or is about to. One that has not may have an unseen tail wherever accounts put it.
    has_left: bool,
}

pub(super) type Passages = SmallVec<[Traverse; 16]>;

/// The state of the rehearsal.
#[derive(Clone, Debug, Default)]
pub(super) struct Scene {
    pub(super) players: SmallVec<[Player; 16]>,
    /// Where the players stand, beside what they have not left yet.
    stands: SmallVec<[(SectionId, TrainId); 32]>,
    pub(super) legs: SmallVec<[Leg; 16]>,
    /// Players that have to stand for the time being.
    standing: SmallVec<[TrainId; 4]>,
}

impl Scene {
    pub(super) fn is_home(&self, train: TrainId) -> bool {
        self.players.iter().any(|player| player.train == train && player.is_home)
    }

    fn may_run(&self, place: usize) -> bool {
        let player = &self.players[place];
        !player.is_home && !self.standing.contains(&player.train)
    }

    pub(super) fn all_home(&self) -> bool {
        self.players.iter().all(|player| player.is_home)
    }

    pub(super) fn is_as_good_as(&self, other: &Self) -> bool {
        other.players.iter().all(|player| !player.is_home || self.is_home(player.train))
    }
}

impl Interlock {
    /// Rehearses all of a company who are admitted, and `newcomers`. Everybody else stands where it is.
    pub(super) fn rehearse(
        &self,
        company: &[TrainId],
        newcomers: &[TrainId],
        trial: Option<Trial>,
        picture: &impl Picture,
    ) -> Scene {
        let mut scene = Scene::default();
        for &train in company {
            let run = &self.runs[train];
            let takes_part = run.is_planned && (run.is_admitted || newcomers.contains(&train));
            if takes_part && scene.players.iter().all(|player| player.train != train) {
                scene.players.push(Player { train, from: 0, is_home: false, has_left: false });
            }
        }
        scene.players.sort_by_key(|player| self.runs[player.train].age);
        // Nobody can keep a train from running to the end of what it has.
        for place in 0..scene.players.len() {
            let train = scene.players[place].train;
            let from = trial.filter(|trial| trial.train == train).map_or(0, |trial| trial.count);
            let path: Passages = self.runs[train].plan.iter().take(from).copied().collect();
            self.move_player(&mut scene, place, &path, Some(from));
            let run = &self.runs[train];
            scene.players[place].has_left = from > 0 || run.granted.len() > run.nose + 1 || !run.stands;
        }
        for at in 0..self.order_of_running.len() {
            self.run_leg(&mut scene, self.order_of_running[at], picture);
        }
        let is_newcomer = |player: &Player| newcomers.contains(&player.train);
        if scene.players.iter().any(|player| !is_newcomer(player) && self.is_out_of_patience(player.train)) {
            // Whoever waited long goes before whoever comes now, even if that one has to wait for long then.
            scene.standing.extend_from_slice(newcomers);
            self.run_all(&mut scene, picture);
            scene.standing.clear();
        }
        self.run_all(&mut scene, picture);
        scene
    }

    fn run_all(&self, scene: &mut Scene, picture: &impl Picture) {
        while self.run_one_home(scene, picture) || self.draw_one_up(scene, picture) {}
    }

    fn is_out_of_patience(&self, train: TrainId) -> bool {
        let run = &self.runs[train];
        run.is_admitted && run.waits_for.is_some() && self.now.since(run.waits_since) > PATIENCE
    }

    /// Does what worked in an earlier rehearsal, if it can still be done.
    fn run_leg(&self, scene: &mut Scene, leg: Leg, picture: &impl Picture) {
        let Some(place) = scene.players.iter().position(|player| player.train == leg.train && !player.is_home) else {
            return;
        };
        match leg.up_to {
            None => {
                if let Some((path, way)) = self.free_path_home(scene, place, picture) {
                    self.run_home(scene, place, &path, way);
                }
            }
            Some(end) => {
                let player = scene.players[place];
                let rest = self.runs[player.train].plan.iter().enumerate().skip(player.from);
                for (to, passage) in rest {
                    if !self.is_open(scene, player.train, passage.section, picture) {
                        return;
                    }
                    if passage.leave == end {
                        return self.draw_up(scene, place, to + 1);
                    }
                }
            }
        }
    }

    /// Runs one train home, first one whose destination nobody else needs to pass.
    fn run_one_home(&self, scene: &mut Scene, picture: &impl Picture) -> bool {
        let mut in_the_way = None;
        for place in 0..scene.players.len() {
            if !scene.may_run(place) {
                continue;
            }
            let Some((path, way)) = self.free_path_home(scene, place, picture) else { continue };
            let train = scene.players[place].train;
            let last = path.last().or(self.runs[train].granted.back()).map(|passage| passage.section);
            let passes = |player: &Player| {
                let mut rest = self.runs[player.train].plan.iter().skip(player.from);
                let needs = |section: SectionId| {
                    last.is_some_and(|last| section == last || self.layout.sections[section].crosses.contains(&last))
                };
                !player.is_home && player.train != train && rest.any(|passage| needs(passage.section))
            };
            if !scene.players.iter().any(passes) {
                self.run_home(scene, place, &path, way);
                return true;
            }
            in_the_way.get_or_insert((place, path, way));
        }
        if let Some((place, path, way)) = in_the_way {
            self.run_home(scene, place, &path, way);
            return true;
        }
        false
    }

    /// Draws one train up to a signal on its path such that another can run home.
    fn draw_one_up(&self, scene: &mut Scene, picture: &impl Picture) -> bool {
        for place in 0..scene.players.len() {
            let player = scene.players[place];
            if !scene.may_run(place) {
                continue;
            }
            let plan = &self.runs[player.train].plan;
            for (to, passage) in plan.iter().enumerate().skip(player.from) {
                if !self.is_open(scene, player.train, passage.section, picture) {
                    break;
                }
                let is_signalled = self.layout.main_signal(passage.leave).is_some();
                if !is_signalled || !self.overlap_is_open(scene, player.train, passage.leave, picture) {
                    continue;
                }
                let mut trial = scene.clone();
                self.draw_up(&mut trial, place, to + 1);
                let helps = (0..trial.players.len())
                    .filter(|&other| other != place && trial.may_run(other))
                    .any(|other| self.free_path_home(&trial, other, picture).is_some());
                if helps {
                    *scene = trial;
                    return true;
                }
            }
        }
        false
    }

    fn run_home(&self, scene: &mut Scene, place: usize, path: &[Traverse], way: Way) {
        self.move_player(scene, place, path, None);
        scene.legs.push(Leg { train: scene.players[place].train, up_to: None, way });
    }

    fn draw_up(&self, scene: &mut Scene, place: usize, from: usize) {
        let player = scene.players[place];
        let plan = &self.runs[player.train].plan;
        let path: Passages = plan.iter().take(from).skip(player.from).copied().collect();
        self.move_player(scene, place, &path, Some(from));
        let up_to = path.last().map(|passage| passage.leave);
        scene.legs.push(Leg { train: player.train, up_to, way: Way::AsPlanned });
    }

    /// The rest of the train's plan if it is free, else another path home that is.
    fn free_path_home(&self, scene: &Scene, place: usize, picture: &impl Picture) -> Option<(Passages, Way)> {
        let player = scene.players[place];
        let run = &self.runs[player.train];
        let rest = run.plan.iter().skip(player.from);
        let goal = run.plan.back().or(run.granted.back());
        if goal.is_some_and(|goal| !self.overlap_is_open(scene, player.train, goal.leave, picture)) {
            return None;
        }
        if rest.clone().all(|passage| self.is_open(scene, player.train, passage.section, picture)) {
            return Some((rest.copied().collect(), Way::AsPlanned));
        }
        let (enter, goal) = (run.plan.get(player.from)?.enter, run.plan.back()?);
        if !self.is_open(scene, player.train, goal.section, picture) {
            return None;
        }
        let cost = |passage: &Traverse| {
            let is_known = self.layout.ends[passage.leave].meets.len() == 1;
            let is_open = is_known && self.is_open(scene, player.train, passage.section, picture);
            is_open.then(|| distance_cost(&self.layout, passage))
        };
        let (path, _) = self.graph.path(enter, |end| end == goal.enter, cost)?;
        Some((path.into_iter().chain([*goal]).collect(), Way::Round))
    }

    /// Whether a train may come to stand before an end: the overlap of the signal there is open.
    fn overlap_is_open(&self, scene: &Scene, train: TrainId, end: EndId, picture: &impl Picture) -> bool {
        let overlap = self.layout.overlap_sections(end);
        overlap.into_iter().all(|section| self.is_open(scene, train, section, picture))
    }

    fn is_open(&self, scene: &Scene, train: TrainId, section: SectionId, picture: &impl Picture) -> bool {
        let is_its_own = |section| match self.occupant(scene, section, picture) {
            Occupant::Nobody => true,
            Occupant::Train(other) => other == train,
            Occupant::Unknown => false,
        };
        is_its_own(section) && self.layout.sections[section].crosses.iter().all(|&crossed| is_its_own(crossed))
    }

    fn occupant(&self, scene: &Scene, section: SectionId, picture: &impl Picture) -> Occupant {
        if self.in_service(section).is_err() || self.not_routed(section).is_err() {
            return Occupant::Unknown;
        }
        if let Some(&(_, train)) = scene.stands.iter().find(|(at, _)| *at == section) {
            return Occupant::Train(train);
        }
        let has_left = |train: TrainId| scene.players.iter().any(|player| player.train == train && player.has_left);
        let (holders, granted_to) = (picture.holders(section), self.granted_to[section]);
        let everybody = granted_to.into_iter().chain(holders.iter().copied());
        let mut there = everybody.filter(|&train| !has_left(train));
        match (there.next(), there.next()) {
            (Some(train), None) => Occupant::Train(train),
            (Some(train), Some(other)) if train == other => Occupant::Train(train),
            (Some(_), Some(_)) => Occupant::Unknown,
            (None, _) if holders.is_empty() && granted_to.is_none() && picture.is_occupied(section) => {
                Occupant::Unknown
            }
            (None, _) => Occupant::Nobody,
        }
    }

    /// How far short of the far end of its last passage a train comes to stand at most: at home before its stopping point, else
    /// before the end of what it has.
    fn stands_short(&self, train: TrainId, to: Option<Destination>, from: Option<usize>) -> Length {
        let short = match (to, from) {
            (Some(Destination::Stop(stop)), None) => self.layout.stands_short(stop, self.train_length(train)),
            _ => Length::ZERO,
        };
        short.max(NEXT_AXLE) + STOPPING_ERROR
    }

    /// Moves a train along `path`: home, or so that `from` passages of its plan are behind it.
    fn move_player(&self, scene: &mut Scene, place: usize, path: &[Traverse], from: Option<usize>) {
        let player = scene.players[place];
        let run = &self.runs[player.train];
        scene.stands.retain(|(_, holder)| *holder != player.train);
        let length = self.train_length(player.train);
        let mut to_cover =
            length.map_or(Length::from_um(1), |length| length + self.stands_short(player.train, run.leg(), from));
        let passed = run.plan.iter().take(player.from).rev();
        for passage in path.iter().rev().chain(passed).chain(run.granted.iter().rev()) {
            scene.stands.push((passage.section, player.train));
            to_cover -= self.layout.ways[passage.way].length.unwrap_or(to_cover);
            if to_cover <= Length::ZERO {
                break;
            }
        }
        scene.players[place].has_left |= !path.is_empty();
        match from {
            Some(from) => scene.players[place].from = from,
            None => scene.players[place].is_home = true,
        }
    }
}
