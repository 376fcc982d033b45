//! Networks for the swarm: drawn by a seed, and a few small ones that are always the same.
//!
//! A network is put together from pieces as a modeller would: lines, passing loops, junctions, terminals, yards, reversing
//! loops, triangles, dark tunnels, crossings. Afterwards it is fitted with signals, stopping points, spots, districts and links, and
//! trains are put on tracks that are long enough for them. Either all of a network is measured or none of it.
//!
//! What comes out is an ordinary checked [`Layout`]; [`faults_of`] says what would be wrong with one. Read [`Sketch`] first
//! (what it is built with), then `shapes.rs` (what is built).

mod fittings;
mod names;
mod shapes;
mod sketch;
mod stock;
mod verify;

use track::Layout;

use crate::random::Stream;
use sketch::Sketch;

pub use verify::faults_of;

/// A small network of one kind, always the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fixture {
    /// A passing loop in the middle of a single line.
    PassingLoop,
    /// A terminal with two platforms at the end of a line.
    Terminal,
    /// A through yard between two ladders, in the middle of a line.
    YardLadder,
    /// A line with a reversing loop at its end.
    ReversingLoop,
    /// A triangle with a branch at every corner.
    Triangle,
    /// A line with a dark tunnel in the middle.
    DarkTunnel,
}

impl Fixture {
    /// All of them.
    pub const ALL: [Self; 6] =
        [Self::PassingLoop, Self::Terminal, Self::YardLadder, Self::ReversingLoop, Self::Triangle, Self::DarkTunnel];

    /// Its name, as it is typed.
    pub const fn name(self) -> &'static str {
        match self {
            Self::PassingLoop => "passing-loop",
            Self::Terminal => "terminal",
            Self::YardLadder => "yard-ladder",
            Self::ReversingLoop => "reversing-loop",
            Self::Triangle => "triangle",
            Self::DarkTunnel => "dark-tunnel",
        }
    }

    /// The fixture of that name.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|fixture| fixture.name() == name)
    }

    /// Builds it. Everything in it is measured and every turnout reports.
    pub fn layout(self) -> Layout {
        let mut sketch = Sketch::new(self.name(), Stream::labelled(0, self.name()), sketch::Habits::TIDY);
        shapes::fixture(self, &mut sketch);
        finish(sketch)
    }
}

/// The network of a seed.
pub fn drawn(seed: u64) -> Layout {
    let mut stream = Stream::labelled(seed, "network");
    let habits = sketch::Habits::drawn(&mut stream);
    let mut sketch = Sketch::new(&format!("network {seed}"), stream, habits);
    shapes::drawn(&mut sketch);
    finish(sketch)
}

/// The network of a seed in which tracks cross, each with its own detector.
pub fn drawn_crossed(seed: u64) -> Layout {
    let mut stream = Stream::labelled(seed, "crossed network");
    let habits = sketch::Habits::drawn(&mut stream);
    let mut sketch = Sketch::new(&format!("crossed network {seed}"), stream, habits);
    shapes::crossed(&mut sketch);
    finish(sketch)
}

fn finish(mut sketch: Sketch) -> Layout {
    fittings::fit(&mut sketch);
    stock::put_trains(&mut sketch);
    let measured = sketch.habits.measured;
    let mut layout = sketch.builder.build();
    if !measured {
        layout.ways.values_mut().for_each(|way| way.length = None);
    }
    layout
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::{Settings, Table};

    #[test]
    fn every_network_can_be_built_and_its_trains_fit() {
        for seed in 0..400 {
            let layout = drawn(seed);
            assert_eq!(faults_of(&layout), Vec::<String>::new(), "seed {seed}");
            Table::new(Arc::new(layout), &Settings::seeded(seed))
                .unwrap_or_else(|wrong| panic!("seed {seed}: {wrong}"));
        }
    }

    #[test]
    fn every_network_in_which_tracks_cross_can_be_built_and_its_trains_fit() {
        for seed in 0..200 {
            let layout = drawn_crossed(seed);
            assert_eq!(faults_of(&layout), Vec::<String>::new(), "seed {seed}");
            assert_eq!(layout.sections.values().filter(|section| !section.crosses.is_empty()).count(), 2);
            Table::new(Arc::new(layout), &Settings::seeded(seed))
                .unwrap_or_else(|wrong| panic!("seed {seed}: {wrong}"));
        }
    }

    #[test]
    fn every_fixture_can_be_built_and_its_trains_fit() {
        for fixture in Fixture::ALL {
            let layout = fixture.layout();
            assert_eq!(faults_of(&layout), Vec::<String>::new(), "{}", fixture.name());
            Table::new(Arc::new(layout), &Settings::seeded(1)).unwrap();
        }
    }

    #[test]
    fn networks_differ_and_a_seed_makes_the_same_one_again() {
        let text = |seed| format!("{:?}", drawn(seed));
        assert_eq!(text(5), text(5));
        assert_ne!(text(5), text(6));
    }

    #[test]
    fn among_the_networks_is_everything_that_a_network_may_have() {
        let layouts: Vec<Layout> = (0..200).map(drawn).collect();
        let some = |what: &str, is_so: &dyn Fn(&Layout) -> bool| {
            let count = layouts.iter().filter(|layout| is_so(layout)).count();
            assert!((10..=190).contains(&count), "{count} of 200 networks: {what}");
        };
        some("a dark section", &|it| it.sections.values().any(|section| section.detector.is_none()));
        some("no length", &|it| it.ways.values().all(|way| way.length.is_none()));
        some("a turnout that does not report", &|it| it.turnouts.values().any(|turnout| !turnout.reported));
        some("a spot", &|it| it.detectors.values().any(|it| matches!(it.kind, track::DetectorKind::Spot { .. })));
        some("a reader", &|it| it.detectors.values().any(|it| matches!(it.kind, track::DetectorKind::Reader(_))));
        some("a link", &|it| !it.links.is_empty());
        some("more than one district", &|it| it.districts.len() > 1);
        some("six trains or more", &|it| it.trains.len() >= 6);
        some("a blind nose", &|it| it.trains.values().any(|train| train.blind_front().mm() > 100.0));
        some("a blind tail", &|it| it.trains.values().any(|train| train.blind_rear().mm() > 100.0));
    }
}
