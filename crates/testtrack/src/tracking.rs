//! How well trains are kept apart, by the measures that others use for it: MOTA and IDF1.
//!
//! MOTA (Bernardin and Stiefelhagen, "Evaluating multiple object tracking performance: the CLEAR MOT metrics", EURASIP Journal on
//! Image and Video Processing, 2008): one less the share of trains missed, named where they are not, or taken for another from
//! one look to the next. IDF1 (Ristani, Solera, Zou, Cucchiara and Tomasi, "Performance measures and a data set for multi-target,
//! multi-camera tracking", ECCV Workshops 2016): how much of the time each train bears the one name that fits it best over the
//! whole run.
//!
//! Looked at once a second: the objects are the trains on the table, the hypotheses the trains that some sure tag names, and the
//! two are near each other where the train covers a section of which its name, or another's, is said. A doubt is a miss.

use std::collections::BTreeMap;
use std::time::Duration;

use pathfinding::kuhn_munkres::kuhn_munkres;
use pathfinding::matrix::Matrix;
use signaller::{Fact, Output, Tag, Time};
use track::{Layout, SectionId, Table as Rows, TrainId};

use crate::session::{Desk, Moment};
use crate::table::Table;

/// How often it is looked at where the trains are.
const LOOK_EVERY: Duration = Duration::from_secs(1);

/// What one look found.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Look {
    /// The trains on the table.
    pub objects: Vec<TrainId>,
    /// The trains named for sure.
    pub hypotheses: Vec<TrainId>,
    /// A train, and a name that is said of a section which it covers.
    pub near: Vec<(TrainId, TrainId)>,
}

/// Counts of a run.
#[derive(Debug)]
pub struct Tracking {
    tags: Rows<SectionId, Option<Tag>>,
    next_look: Time,
    /// The name that each train bore last.
    borne: BTreeMap<TrainId, TrainId>,
    objects: u64,
    hypotheses: u64,
    misses: u64,
    false_names: u64,
    switches: u64,
    /// How often a train bore a name, or could have.
    together: BTreeMap<(TrainId, TrainId), i64>,
    last: Look,
}

impl Tracking {
    /// Nothing was looked at yet.
    pub fn new(layout: &Layout) -> Self {
        Self {
            tags: Rows::filled(None, layout.sections.len()),
            next_look: Time::ZERO + LOOK_EVERY,
            borne: BTreeMap::new(),
            objects: 0,
            hypotheses: 0,
            misses: 0,
            false_names: 0,
            switches: 0,
            together: BTreeMap::new(),
            last: Look::default(),
        }
    }

    /// Hears what the signaller says, and looks when it is time. Tells whether it did: then [`Tracking::last_look`] is new.
    pub fn hear<S>(&mut self, moment: &Moment<'_, S>, desk: &mut Desk) -> bool {
        for output in moment.outputs {
            if let Output::Fact(Fact::Tagged { section, tag }) = output {
                self.tags[*section] = Some(tag.clone());
            }
        }
        let due = self.next_look <= moment.now;
        if due {
            self.next_look = self.next_look + LOOK_EVERY;
            self.take(self.look(moment.table));
        }
        desk.call_at(self.next_look);
        due
    }

    /// Counts what a look found.
    pub fn take(&mut self, look: Look) {
        self.last = look;
        self.count();
    }

    /// What was found when it was looked at last.
    pub fn last_look(&self) -> &Look {
        &self.last
    }

    /// Multiple object tracking accuracy: at most 1, and below 0 where more is wrong than there are trains.
    pub fn mota(&self) -> f64 {
        let wrong = self.misses + self.false_names + self.switches;
        1.0 - wrong as f64 / self.objects.max(1) as f64
    }

    /// Identification F1 score, from 0 to 1.
    pub fn idf1(&self) -> f64 {
        if self.objects + self.hypotheses == 0 {
            return 1.0;
        }
        let (trains, names): (Vec<TrainId>, Vec<TrainId>) = self.together.keys().copied().unzip();
        let pairs = best_pairs(trains, names, |pair| self.together.get(&pair).copied().unwrap_or(0));
        let best: i64 = pairs.iter().map(|&(_, count)| count).sum();
        2.0 * best as f64 / (self.objects + self.hypotheses) as f64
    }

    fn look(&self, table: &Table) -> Look {
        let mut look = Look { objects: table.trains_on_table().collect(), ..Look::default() };
        for (section, tag) in self.tags.iter() {
            let Some(Tag::Sure(name)) = *tag else { continue };
            if !look.hypotheses.contains(&name) {
                look.hypotheses.push(name);
            }
            for presence in table.trains_in(section) {
                let pair = (presence.train, name);
                if !look.near.contains(&pair) {
                    look.near.push(pair);
                }
            }
        }
        look.hypotheses.sort_unstable();
        look.near.sort_unstable();
        look
    }

    /// Matches trains and names: first as they were matched before, then as many of the others as can be.
    fn count(&mut self) {
        let look = &self.last;
        let mut matched: BTreeMap<TrainId, TrainId> = BTreeMap::new();
        for train in &look.objects {
            if let Some(&name) = self.borne.get(train)
                && look.near.contains(&(*train, name))
            {
                matched.insert(*train, name);
            }
        }
        let trains = look.objects.iter().copied().filter(|train| !matched.contains_key(train)).collect();
        let names = look.hypotheses.iter().copied().filter(|name| !matched.values().any(|taken| taken == name));
        let near = |pair: (TrainId, TrainId)| i64::from(look.near.contains(&pair));
        matched.extend(best_pairs(trains, names.collect(), near).into_iter().map(|(pair, _)| pair));
        for (&train, &name) in &matched {
            let before = self.borne.insert(train, name);
            self.switches += u64::from(before.is_some_and(|before| before != name));
        }
        self.objects += look.objects.len() as u64;
        self.hypotheses += look.hypotheses.len() as u64;
        self.misses += (look.objects.len() - matched.len()) as u64;
        self.false_names += (look.hypotheses.len() - matched.len()) as u64;
        for &pair in &look.near {
            *self.together.entry(pair).or_default() += 1;
        }
    }
}

/// Pairs one with another so that the sum over all pairs is greatest; pairs that add nothing are left out.
fn best_pairs(
    mut trains: Vec<TrainId>,
    mut names: Vec<TrainId>,
    worth: impl Fn((TrainId, TrainId)) -> i64,
) -> Vec<((TrainId, TrainId), i64)> {
    for list in [&mut trains, &mut names] {
        list.sort_unstable();
        list.dedup();
    }
    let side = trains.len().max(names.len());
    if side == 0 {
        return Vec::new();
    }
    let pair = |row: usize, column: usize| Some((*trains.get(row)?, *names.get(column)?));
    let weights = Matrix::from_fn(side, side, |(row, column)| pair(row, column).map_or(0, &worth));
    let (_, columns) = kuhn_munkres(&weights);
    let chosen = columns.into_iter().enumerate().filter(|&place| weights[place] > 0);
    chosen.filter_map(|(row, column)| Some((pair(row, column)?, weights[(row, column)]))).collect()
}
