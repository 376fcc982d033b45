//! The junctions of the documentation, each with a piece of plain track and a signal before every end that leads out of it.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::sync::Arc;

use track::routes::{Exit, Protection, Route};
use track::{Lie, Routes};

/// The texts of `junctions.md`, by heading.
pub(crate) fn shown() -> BTreeMap<String, String> {
    let (mut shown, mut heading, mut inside) = (BTreeMap::<String, String>::new(), String::new(), false);
    for line in include_str!("../../src/junctions.md").lines() {
        match line {
            "```toml" => inside = true,
            "```" => inside = false,
            _ if inside => shown.entry(heading.clone()).or_default().extend([line, "\n"]),
            _ => heading = line.strip_prefix("# ").map_or(heading, str::to_owned),
        }
    }
    shown
}

/// Adds a plain section before every end of the junction that meets nothing, named like the end, with a signal towards it.
fn with_surroundings(text: &str) -> String {
    let table: toml::Table = text.parse().unwrap();
    let list = |key: &str| table.get(key).and_then(toml::Value::as_array).cloned().unwrap_or_default();
    let sections = list("section");
    let joints = list("joint");
    let joined: BTreeSet<&str> =
        joints.iter().flat_map(|joint| joint["ends"].as_array().unwrap()).map(|end| end.as_str().unwrap()).collect();
    let mut whole = format!("layout = {{ name = \"junction\", scale = \"H0\" }}\n{text}");
    let alone = sections.len() == 1;
    for section in &sections {
        let name = section["name"].as_str().unwrap();
        let ways = section.get("ways").and_then(toml::Value::as_array).cloned().unwrap_or_default();
        let mut ends: BTreeSet<&str> =
            ways.iter().flat_map(|way| [&way["from"], &way["to"]]).filter_map(|end| end.as_str()).collect();
        if ways.is_empty() {
            ends.extend(["a", "b"]);
        }
        for end in ends.iter().filter(|end| !joined.contains(format!("{name}.{end}").as_str())) {
            let outside = if alone { (*end).to_owned() } else { format!("{name}.{end}") };
            write!(
                whole,
                "[[section]]\nname = \"{outside}\"\n[[joint]]\nends = [\"{outside}.b\", \"{name}.{end}\"]\n\
                 [[off-layout]]\nat = \"{outside}.a\"\n[[signal]]\nname = \"{outside}\"\nat = \"{outside}.b\"\n"
            )
            .unwrap();
        }
    }
    whole
}

/// The routes of a junction of the documentation.
pub(crate) struct Junction(Routes);

impl Junction {
    pub(crate) fn load(heading: &str) -> Self {
        let text = shown().remove(heading).unwrap_or_else(|| panic!("no junction is headed `{heading}`"));
        let whole = with_surroundings(&text);
        let loaded = layout::load(|name| Ok((name == "layout.toml").then(|| whole.clone().into_bytes())));
        let loaded = loaded.unwrap_or_else(|refused| panic!("{heading}: {refused}"));
        assert!(loaded.warnings.is_empty(), "{heading}: {}", loaded.warnings);
        Self(Routes::new(Arc::new(loaded.layout)))
    }

    /// `from > to`.
    fn name(&self, route: &Route) -> String {
        let layout = self.0.layout();
        let to = match route.exit {
            Exit::Signal(signal) => &layout.signals[signal].name,
            Exit::Edge(end) | Exit::BufferStop(end) => &layout.sections[layout.ends[end].section].name,
            Exit::Stop(stop) => &layout.stops[stop].name,
        };
        format!("{} > {to}", layout.signals[route.entry].name)
    }

    /// All routes, a line each: `from > to: W1 straight, W2 diverging`.
    fn lines(&self) -> Vec<String> {
        let layout = self.0.layout();
        let lie = |lie| if lie == Lie::Straight { "straight" } else { "diverging" };
        let routes = self.0.all().map(|id| {
            let route = self.0.route(id);
            let needs =
                route.turnouts.iter().map(|need| format!("{} {}", layout.turnouts[need.turnout].name, lie(need.lie)));
            let needs: Vec<String> = needs.collect();
            format!("{}: {}", self.name(route), needs.join(", ")).trim_end_matches([' ', ':']).to_owned()
        });
        routes.collect()
    }

    /// Pairs of routes that can be set at once, `one + other`.
    fn compatible(&self) -> BTreeSet<String> {
        let all: Vec<_> = self.0.all().collect();
        let pairs =
            all.iter().enumerate().flat_map(|(place, &one)| all[place + 1..].iter().map(move |&other| (one, other)));
        let fitting = pairs.filter(|&(one, other)| self.0.between(one, other).is_empty());
        fitting
            .map(|(one, other)| format!("{} + {}", self.name(self.0.route(one)), self.name(self.0.route(other))))
            .collect()
    }

    /// Holds all routes, one a line in any order, and all pairs that can be set at once against what is expected.
    #[track_caller]
    pub(crate) fn has(&self, routes: &str, compatible: &[&str]) {
        let lines = |text: &str| -> BTreeSet<String> {
            text.lines().map(|line| line.trim().to_owned()).filter(|line| !line.is_empty()).collect()
        };
        let found = self.lines();
        assert_eq!(found.len(), found.iter().collect::<BTreeSet<_>>().len(), "a route comes twice");
        assert_eq!(lines(&found.join("\n")), lines(routes), "found:\n{}", found.join("\n"));
        assert_eq!(self.compatible(), compatible.iter().map(|pair| (*pair).to_owned()).collect());
    }

    /// What protects the flanks of a route, `leg: protection`.
    pub(crate) fn flank(&self, name: &str) -> Vec<String> {
        let layout = self.0.layout();
        let id = self.0.all().find(|&id| self.name(self.0.route(id)) == name).unwrap();
        let lie = |lie| if lie == Lie::Straight { "straight" } else { "diverging" };
        let by = |by| match by {
            Protection::Turnout(need) => format!("{} {}", layout.turnouts[need.turnout].name, lie(need.lie)),
            Protection::Signal(signal) => format!("signal {}", layout.signals[signal].name),
            Protection::None(exposure) => format!("nothing, {exposure:?}"),
        };
        let flank = self.0.route(id).flank.iter();
        flank.map(|flank| format!("{}: {}", layout.end_name(flank.leg), by(flank.by))).collect()
    }
}
