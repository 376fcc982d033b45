//! A layout, and how its hardware is reached, are edited while trains run over links.

use std::path::Path;
use std::process::{Command, Output};

use serde_json::json;

use super::broker::Broker;
use super::free_port;
use super::trains::{Running, buses, demo, links_down, nodes, running, servers, until};
use crate::end_to_end::killed::{http, picture, some_train_moves};
use crate::program;

const BOXES: [&str; 3] = ["harbour box", "hill box", "yard box"];

/// An adapter for each box; the first drives the trains.
fn links(ports: [u16; 3], of_first: &str) -> String {
    let link = |(name, port): (&str, u16)| {
        format!("[[link]]\nname = \"{name}\"\nby = \"adapter\"\ntcp = \"127.0.0.1:{port}\"\n")
    };
    let all: Vec<String> = BOXES.into_iter().zip(ports).map(link).collect();
    format!("{}{of_first}spots = \"all\"\nsignals = \"all\"\ntrains = \"all\"\n{}{}", all[0], all[1], all[2])
}

fn reload(door: &str) -> Output {
    Command::new(program::program()).args(["tell", "--door", door, "reload"]).output().unwrap()
}

fn edit(folder: &Path, file: &str, edit: impl FnOnce(String) -> String) {
    let file = folder.join(file);
    std::fs::write(&file, edit(std::fs::read_to_string(&file).unwrap())).unwrap();
}

/// What the daemon says of its links until it says this; then trains run.
fn said_of_links(run: &mut Running, words: &str) -> Vec<String> {
    let mut said = run.daemon.lines_until(words);
    for _ in 0..20 {
        until(&run.door, &mut run.table, "all links are up", |picture| links_down(picture) == 0);
        until(&run.door, &mut run.table, "a train runs", |_| some_train_moves(&run.door));
    }
    said.extend(run.daemon.lines_so_far());
    said.into_iter().filter(|line| line.starts_with("link ")).collect()
}

/// Everything has another number, and no link has anything to do with it.
fn goes_on_by_other_numbers(run: &mut Running, folder: &Path, links: usize) {
    (0..links).for_each(|_| drop(run.daemon.lines_until(" is up")));
    let workshop = "[[section]]\nname = \"workshop\"\nlength = 900\ndistrict = \"harbour\"\n[[buffer-stop]]\nat = [\"workshop.a\", \"workshop.b\"]\n\n";
    edit(folder, "layout.toml", |text| {
        let text = text.replacen("[[section]]", &format!("{workshop}[[section]]"), 1);
        let button = "[[input]]\nname = \"tea bell\"\n\n[[input]]";
        text.replacen("[layout]\n", "[layout]\nparts = 2\n", 1).replacen("[[input]]", button, 1)
    });
    let told = reload(&run.door);
    assert!(told.status.success(), "{told:?}");
    let said = said_of_links(run, "the layout was read anew");
    assert_eq!(said, Vec::<String>::new(), "no link went down, and none came up");
    let after = picture(&run.door).unwrap();
    assert!(after["sections"].as_array().unwrap().iter().any(|section| section["name"] == "workshop"), "{after}");
    let waits = after["trains"].as_array().unwrap().iter().filter(|train| train["held"] != json!(null));
    assert_eq!(waits.count(), 0, "{after}");
}

#[test]
fn nodes_on_a_bus_know_nothing_of_other_numbers() {
    let links = buses([free_port(), free_port(), free_port()]);
    let behind = demo("reload-lcc-table", &links);
    let folder = demo("reload-lcc", &links);
    goes_on_by_other_numbers(&mut running(&behind, &folder), &folder, 3);
}

#[test]
fn servers_know_nothing_of_other_numbers() {
    let links = servers([free_port(), free_port(), free_port()], free_port());
    let behind = demo("reload-modbus-table", &links);
    let folder = demo("reload-modbus", &links);
    goes_on_by_other_numbers(&mut running(&behind, &folder), &folder, 4);
}

#[test]
fn nodes_at_a_broker_know_nothing_of_other_numbers() {
    let Some(broker) = Broker::start(&program::scratch("reload-mqtt-broker")) else { return };
    let behind = demo("reload-mqtt-table", &nodes(broker.port));
    let folder = demo("reload-mqtt", &nodes(broker.port));
    goes_on_by_other_numbers(&mut running(&behind, &folder), &folder, 3);
}

#[test]
fn a_layout_is_read_anew_over_its_links_and_none_is_dropped_that_is_as_it_was() {
    let ports = [free_port(), free_port(), free_port()];
    let behind = demo("reload-links-table", &links(ports, ""));
    let folder = demo("reload-links", &links(ports, ""));
    let mut run = running(&behind, &folder);
    goes_on_by_other_numbers(&mut run, &folder, 3);
    // When each thing was heard of last is told to whoever asks for figures, the new numbers or not.
    let figures = http(&run.door, "GET", "/metrics", "", "").unwrap().1;
    let heard = figures.lines().filter(|line| line.starts_with("lineclear_last_heard_seconds{link=\"hill box\""));
    let names: Vec<&str> = heard.filter_map(|line| line.split("name=\"").nth(1)?.split('"').next()).collect();
    assert!(names.contains(&"hill-1") && !names.contains(&"quay-1"), "{figures}");
    // One is described otherwise, and only that one begins anew.
    edit(&folder, "links.toml", |_| links(ports, "silent-after = 7\n"));
    let told = reload(&run.door);
    assert!(told.status.success(), "{told:?}");
    assert_eq!(said_of_links(&mut run, "link harbour box is up"), ["link harbour box is up"]);
    // What makes no sense is told, and everything stays as it is.
    edit(&folder, "links.toml", |text| text.replacen("silent-after = 7", "silent-after = \"7\"", 1));
    let told = reload(&run.door);
    let why = String::from_utf8_lossy(&told.stderr).into_owned();
    assert!(!told.status.success() && why.contains("links.toml:5"), "{why}");
    std::fs::remove_file(folder.join("links.toml")).unwrap();
    let why = String::from_utf8_lossy(&reload(&run.door).stderr).into_owned();
    assert!(why.contains("`links.toml` says nothing any more"), "{why}");
    assert_eq!(said_of_links(&mut run, "the layout stays as it was"), Vec::<String>::new());
    run.daemon.interrupt();
    run.table.says("every train stands");
    run.daemon.ends();
    for shift in ["1", "2", "3"] {
        let state = folder.join("state");
        let replay = Command::new(program::program()).arg("replay").arg(state).args(["--shift", shift]).output();
        let told = String::from_utf8_lossy(&replay.unwrap().stdout).into_owned();
        assert!(told.contains("all of them give what was recorded"), "shift {shift}: {told}");
    }
}
