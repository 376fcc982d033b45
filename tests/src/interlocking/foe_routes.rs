//! Conflicts as eclipse-sumo, a traffic simulator with rail signals (EPL-2.0, PyPI), reckons them on the same network.

use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

use super::network::{Network, Pair, folder, pair};
use crate::program;

/// What the simulator says; nothing where it is not there and need not be.
fn foe_routes() -> Option<serde_json::Value> {
    let python = program::python("eclipse-sumo", "sumo")?;
    let script = program::root().join("tests/peers/foe_routes.py");
    let ran = program::finish(program::start(Command::new(python).arg(script).arg(folder())), drop);
    assert_eq!(ran.status, Some(0), "{}", ran.complaints);
    Some(serde_json::from_str(&ran.output).unwrap())
}

#[test]
fn trains_that_keep_each_other_out_in_an_independent_simulator_do_so_here() {
    let Some(said) = foe_routes() else { return };
    let network = Network::load();
    let generated = network.generated();
    // An edge is named after its element, with a minus for westbound and a letter for the part.
    let element = |edge: &serde_json::Value| {
        let digits = edge.as_str().unwrap().trim_start_matches('-').trim_end_matches(char::is_alphabetic);
        format!("ne{digits}")
    };
    let name_of = |driveway: &serde_json::Value| {
        let mut path: Vec<String> = driveway["edges"].as_array().unwrap().iter().map(element).collect();
        path.dedup();
        let entry = driveway["signal"].as_str().unwrap();
        generated
            .iter()
            .find(|(_, (route, _))| route.entry == entry && route.path == path)
            .map(|(name, _)| name.clone())
    };
    let driveways = said["driveways"].as_object().unwrap().iter();
    let names: BTreeMap<&String, String> =
        driveways.filter_map(|(id, driveway)| Some((id, name_of(driveway)?))).collect();
    assert_eq!(names.values().collect::<BTreeSet<_>>().len(), 10, "all ten routes were run over");

    let foes: BTreeSet<Pair> = said["foes"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|foes| {
            let name = |place: usize| names.get(&foes[place].as_str().unwrap().to_owned());
            Some(pair(name(0)?, name(1)?))
        })
        .collect();
    let ours = network.our_conflicts();
    println!("{} pairs are foes in eclipse-sumo, {} exclude each other here", foes.len(), ours.len());
    assert!(foes.len() > 20, "{foes:?} proves little");
    let missed: Vec<&Pair> = foes.difference(&ours).collect();
    assert!(missed.is_empty(), "foes there that are no conflicts here: {missed:?}");
    let without_overlaps = network.without_overlaps().our_conflicts();
    assert!(!foes.is_subset(&without_overlaps), "trains towards each other are kept apart by overlaps");
    for (one, other) in ours.difference(&foes) {
        let reasons = network.routes.between(generated[one].1, generated[other].1);
        let reasons: Vec<String> = reasons.iter().map(|reason| reason.in_words(network.routes.layout())).collect();
        println!("stricter here: {one} and {other}: {}", reasons.join(", "));
    }
}
