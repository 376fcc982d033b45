//! Whether everybody can still get where they are going after a grant.
//!
//! A rehearsal: with the grant given, trains run to their destinations one after the other, each over track that is free then,
//! until no more can. A grant is safe if nobody who could get home without it is kept from it. Trains without an order stand
//! where they are. Where nobody can run all the way, one may first draw up to a signal on its path if that lets another run.
//!
//! Finding the best order is hard in general; this takes the first that serves, so it may refuse a grant that a cleverer
//! order would allow, and never the other way round.

use smallvec::SmallVec;
use track::{Length, SectionId, TrainId, Traverse, distance_cost};

use super::Interlock;
use crate::picture::Picture;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Occupant {
    Nobody,
    Train(TrainId),
    Unknown,
}

/// A train in the rehearsal.
#[derive(Clone, Copy, Debug)]
struct Player {
    train: TrainId,
    /// So many passages of its plan are behind it.
    from: usize,
    /// It left what it stands on in truth.
    has_moved: bool,
    is_home: bool,
}

/// The state of the rehearsal.
#[derive(Clone, Debug, Default)]
struct Scene {
    players: SmallVec<[Player; 16]>,
    /// Where trains that moved stand.
    stands: SmallVec<[(SectionId, TrainId); 32]>,
}

impl Interlock {
    /// Whether granting the train the first `count` passages of its plan keeps nobody from getting home.
    pub(super) fn is_safe(&self, train: TrainId, count: usize, picture: &impl Picture) -> bool {
        let run = &self.runs[train];
        let nobody_else_wants = |passage: &Traverse| {
            let own = run.plan.iter().filter(|other| other.section == passage.section).count();
            usize::from(self.wanted[passage.section]) <= own
        };
        if run.plan.iter().take(count).all(nobody_else_wants) {
            return true;
        }
        let after = self.rehearse(train, count, picture);
        if after.players.iter().all(|player| player.is_home) {
            return true;
        }
        let before = self.rehearse(train, 0, picture);
        let mut pairs = before.players.iter().zip(&after.players);
        pairs.all(|(before, after)| !before.is_home || after.is_home)
    }

    fn rehearse(&self, train: TrainId, granted: usize, picture: &impl Picture) -> Scene {
        let mut scene = Scene::default();
        for (other, run) in self.runs.iter() {
            if run.to.is_some() && run.is_planned {
                scene.players.push(Player { train: other, from: 0, has_moved: false, is_home: false });
            }
        }
        // Nobody can keep a train from running to the end of what it has.
        for place in 0..scene.players.len() {
            let from = if scene.players[place].train == train { granted } else { 0 };
            let plan = &self.runs[scene.players[place].train].plan;
            let path: SmallVec<[Traverse; 16]> = plan.iter().take(from).copied().collect();
            self.move_player(&mut scene, place, &path, Some(from));
        }
        while self.run_one_home(&mut scene, picture) || self.draw_one_up(&mut scene, picture) {}
        scene
    }

    /// Runs one train home, first one whose destination nobody else needs to pass.
    fn run_one_home(&self, scene: &mut Scene, picture: &impl Picture) -> bool {
        let mut in_the_way = None;
        for place in 0..scene.players.len() {
            if scene.players[place].is_home {
                continue;
            }
            let Some(path) = self.free_path_home(scene, place, picture) else { continue };
            let last = path.last().map(|passage| passage.section);
            let passes = |player: &Player| {
                let mut rest = self.runs[player.train].plan.iter().skip(player.from);
                !player.is_home && player.train != scene.players[place].train && rest.any(|p| Some(p.section) == last)
            };
            if !scene.players.iter().any(passes) {
                self.move_player(scene, place, &path, None);
                return true;
            }
            in_the_way.get_or_insert((place, path));
        }
        if let Some((place, path)) = in_the_way {
            self.move_player(scene, place, &path, None);
            return true;
        }
        false
    }

    /// Draws one train up to a signal on its path such that another can run home.
    fn draw_one_up(&self, scene: &mut Scene, picture: &impl Picture) -> bool {
        for place in 0..scene.players.len() {
            let player = scene.players[place];
            if player.is_home {
                continue;
            }
            let plan = &self.runs[player.train].plan;
            for to in player.from..plan.len() {
                if !self.is_open(scene, player.train, plan[to].section, picture) {
                    break;
                }
                if self.layout.ends[plan[to].leave].signal.is_none() {
                    continue;
                }
                let mut trial = scene.clone();
                let path: SmallVec<[Traverse; 16]> =
                    plan.iter().skip(player.from).take(to + 1 - player.from).copied().collect();
                self.move_player(&mut trial, place, &path, Some(to + 1));
                let others = |other: usize| other != place && !trial.players[other].is_home;
                let helps = (0..trial.players.len())
                    .filter(|&other| others(other))
                    .any(|other| self.free_path_home(&trial, other, picture).is_some());
                if helps {
                    *scene = trial;
                    return true;
                }
            }
        }
        false
    }

    /// The rest of the train's plan if it is free, else another path home that is.
    fn free_path_home(&self, scene: &Scene, place: usize, picture: &impl Picture) -> Option<SmallVec<[Traverse; 16]>> {
        let player = scene.players[place];
        let run = &self.runs[player.train];
        let rest = run.plan.iter().skip(player.from);
        if rest.clone().all(|passage| self.is_open(scene, player.train, passage.section, picture)) {
            return Some(rest.copied().collect());
        }
        let enter = run.plan.get(player.from)?.enter;
        let goal = run.plan.back()?;
        let cost = |passage: &Traverse| {
            let is_known = self.layout.ends[passage.leave].meets.len() == 1;
            let is_open = is_known && self.is_open(scene, player.train, passage.section, picture);
            is_open.then(|| distance_cost(&self.layout, passage))
        };
        let (path, _) = self.graph.path(enter, |end| end == goal.enter, cost)?;
        if !self.is_open(scene, player.train, goal.section, picture) {
            return None;
        }
        Some(path.into_iter().chain([*goal]).collect())
    }

    fn is_open(&self, scene: &Scene, train: TrainId, section: SectionId, picture: &impl Picture) -> bool {
        match self.occupant(scene, section, picture) {
            Occupant::Nobody => true,
            Occupant::Train(other) => other == train,
            Occupant::Unknown => false,
        }
    }

    fn occupant(&self, scene: &Scene, section: SectionId, picture: &impl Picture) -> Occupant {
        if let Some(&(_, train)) = scene.stands.iter().find(|(at, _)| *at == section) {
            return Occupant::Train(train);
        }
        let has_left = |train: TrainId| scene.players.iter().any(|player| player.train == train && player.has_moved);
        let holders = picture.holders(section);
        let mut there =
            self.granted_to[section].into_iter().chain(holders.iter().copied()).filter(|&train| !has_left(train));
        match (there.next(), there.next()) {
            (Some(train), None) => Occupant::Train(train),
            (Some(train), Some(other)) if train == other => Occupant::Train(train),
            (Some(_), Some(_)) => Occupant::Unknown,
            (None, _) if holders.is_empty() && self.granted_to[section].is_none() && picture.is_occupied(section) => {
                Occupant::Unknown
            }
            (None, _) => Occupant::Nobody,
        }
    }

    /// Moves a train along `path`: home, or so that `from` passages of its plan are behind it.
    fn move_player(&self, scene: &mut Scene, place: usize, path: &[Traverse], from: Option<usize>) {
        let train = scene.players[place].train;
        let run = &self.runs[train];
        scene.stands.retain(|(_, holder)| *holder != train);
        let mut to_cover = self.train_length(train).unwrap_or(Length::from_um(1));
        let passed = run.plan.iter().take(scene.players[place].from).rev();
        let behind = passed.chain(run.granted.iter().rev());
        for passage in path.iter().rev().chain(behind) {
            scene.stands.push((passage.section, train));
            to_cover = to_cover - self.layout.ways[passage.way].length.unwrap_or(to_cover);
            if to_cover <= Length::ZERO {
                break;
            }
        }
        let player = &mut scene.players[place];
        player.has_moved = true;
        match from {
            Some(from) => player.from = from,
            None => player.is_home = true,
        }
    }
}
