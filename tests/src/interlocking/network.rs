//! The published network, its routes, and what excludes what.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::Arc;

use serde_json::Value;
use track::routes::{Exit, Route};
use track::{Builder, Lie, Overlap, RouteId, Routes, SectionId};

use crate::program;

pub(super) fn folder() -> PathBuf {
    program::root().join("tests/data/published-network")
}

/// Two published routes, the one with the smaller name first.
pub(super) type Pair = (String, String);

pub(super) fn pair(one: &str, other: &str) -> Pair {
    (one.min(other).to_owned(), one.max(other).to_owned())
}

/// A published route.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Published {
    pub(super) entry: String,
    exit: String,
    points: BTreeMap<String, String>,
    pub(super) path: Vec<String>,
}

impl Published {
    fn excludes(&self, other: &Self) -> bool {
        let shares = self.path.iter().any(|element| other.path.contains(element));
        shares || self.points.iter().any(|(point, lie)| other.points.get(point).is_some_and(|theirs| theirs != lie))
    }
}

pub(super) struct Network {
    pub(super) routes: Routes,
    tables: Value,
}

impl Network {
    pub(super) fn load() -> Self {
        let loaded = layout::load(|name| Ok(std::fs::read(folder().join(name)).ok()));
        let loaded = loaded.unwrap_or_else(|refused| panic!("{refused}"));
        assert!(loaded.warnings.is_empty(), "{}", loaded.warnings);
        let tables = serde_json::from_slice(&std::fs::read(folder().join("tables.json")).unwrap()).unwrap();
        Self { routes: Routes::new(Arc::new(loaded.layout)), tables }
    }

    /// The same where nothing is kept clear behind signals.
    pub(super) fn without_overlaps(&self) -> Self {
        let mut builder = Builder::from(self.routes.layout().clone());
        for signal in self.routes.layout().signals.ids() {
            builder.signal_mut(signal).overlap = Overlap::None;
        }
        Self { routes: Routes::new(Arc::new(builder.build())), tables: self.tables.clone() }
    }

    pub(super) fn published(&self, table: &str) -> BTreeMap<String, Published> {
        let text = |value: &Value| value.as_str().unwrap().to_owned();
        let published = |route: &Value| Published {
            entry: text(&route["entry"]),
            exit: text(&route["exit"]),
            points: route["points"].as_object().unwrap().iter().map(|(name, lie)| (name.clone(), text(lie))).collect(),
            path: route["path"].as_array().unwrap().iter().map(text).collect(),
        };
        self.tables[table].as_object().unwrap().iter().map(|(name, route)| (name.clone(), published(route))).collect()
    }

    /// The elements that a route leads over, in order. A section is named after the element that it is a part of; points lie
    /// between elements.
    fn path(&self, route: &Route) -> Vec<String> {
        let layout = self.routes.layout();
        let element = |section: SectionId| layout.sections[section].name.split('-').next().unwrap().to_owned();
        let mut path: Vec<String> =
            route.sections().map(element).filter(|element| !element.starts_with("sw")).collect();
        path.dedup();
        path
    }

    /// One of our routes as it would have been published.
    fn as_published(&self, route: &Route) -> Published {
        let layout = self.routes.layout();
        let lie = |lie| if lie == Lie::Straight { "N" } else { "R" };
        let point = |need: &track::Need| (layout.turnouts[need.turnout].name.clone(), lie(need.lie).to_owned());
        Published {
            entry: layout.signals[route.entry].name.clone(),
            exit: route.exit.name(layout),
            points: route.turnouts.iter().map(point).collect(),
            path: self.path(route),
        }
    }

    /// Our route that is the published one.
    pub(super) fn ours(&self, published: &Published) -> RouteId {
        let mut same = self.routes.all().filter(|&id| self.as_published(self.routes.route(id)) == *published);
        let found = same.next().unwrap_or_else(|| panic!("we have no route like {published:?}"));
        assert_eq!(same.next(), None, "two of ours are {published:?}");
        found
    }

    /// The ten generated routes, each with ours.
    pub(super) fn generated(&self) -> BTreeMap<String, (Published, RouteId)> {
        let published = self.published("routes_generated");
        published
            .into_iter()
            .map(|(name, route)| {
                let ours = self.ours(&route);
                (name, (route, ours))
            })
            .collect()
    }

    /// The pairs of the generated routes for which `excludes` holds.
    pub(super) fn pairs(
        &self,
        excludes: impl Fn(&(Published, RouteId), &(Published, RouteId)) -> bool,
    ) -> BTreeSet<Pair> {
        let generated = self.generated();
        let pairs =
            generated.iter().flat_map(|one| generated.range(one.0.clone()..).skip(1).map(move |other| (one, other)));
        pairs.filter(|(one, other)| excludes(one.1, other.1)).map(|(one, other)| pair(one.0, other.0)).collect()
    }

    /// The pairs of which ours exclude each other.
    pub(super) fn our_conflicts(&self) -> BTreeSet<Pair> {
        self.pairs(|one, other| !self.routes.between(one.1, other.1).is_empty())
    }
}

#[test]
fn all_routes_that_the_authors_generated_are_ours() {
    let network = Network::load();
    let generated = network.generated();
    assert_eq!(generated.len(), 10);
    // Ours besides: each signal that faces off the network, or the buffers, clears for what is left of the track there.
    let known: BTreeSet<RouteId> = generated.values().map(|(_, ours)| *ours).collect();
    let more: Vec<&Route> =
        network.routes.all().filter(|id| !known.contains(id)).map(|id| network.routes.route(id)).collect();
    assert_eq!(more.len(), 5);
    assert!(more.iter().all(|route| matches!(route.exit, Exit::Edge(_) | Exit::BufferStop(_))));
}

#[test]
fn all_routes_that_experts_wrote_are_ours() {
    let network = Network::load();
    // The experts' table numbers the signals otherwise.
    let named = [
        ("S07", "P10"),
        ("S08", "B14"),
        ("S09", "P11"),
        ("S10", "S21"),
        ("S11", "S18"),
        ("S12", "S15"),
        ("S13", "T01"),
    ];
    let named: BTreeMap<&str, &str> = named.into();
    let experts = network.published("routes_expert");
    assert_eq!(experts.len(), 5);
    let ours: BTreeSet<RouteId> = experts
        .into_values()
        .map(|mut route| {
            route.entry = named[route.entry.as_str()].to_owned();
            route.exit = named[route.exit.as_str()].to_owned();
            network.ours(&route)
        })
        .collect();
    assert_eq!(ours.len(), 5);
}

/// The source has no column of conflicts: they follow from its routes, where two exclude each other that share an element or
/// need a point differently.
#[test]
fn under_locking_of_whole_elements_33_of_45_pairs_exclude_each_other() {
    let network = Network::load();
    let published = network.pairs(|one, other| one.0.excludes(&other.0));
    assert_eq!(published.len(), 33);
    let of = |id| network.as_published(network.routes.route(id));
    let whole = network
        .pairs(|one, other| !network.routes.between(one.1, other.1).is_empty() || of(one.1).excludes(&of(other.1)));
    assert_eq!(whole, published, "by our routes");

    // Ours lock sections, and elements are in several: a train may be let into the element that another is leaving.
    let ours = network.our_conflicts();
    println!("{} of 45 pairs exclude each other by elements, {} by sections", published.len(), ours.len());
    assert!(ours.is_subset(&published));
    let following: BTreeSet<Pair> = [
        ("R02", "R07"),
        ("R02", "R08"),
        ("R04", "R07"),
        ("R04", "R08"),
        ("R03", "R05"),
        ("R03", "R06"),
        ("R10", "R05"),
        ("R10", "R06"),
    ]
    .into_iter()
    .map(|(one, other)| pair(one, other))
    .collect();
    let freed: BTreeSet<Pair> = published.difference(&ours).cloned().collect();
    assert_eq!(freed, following, "one goes on from where the other ends");
}
