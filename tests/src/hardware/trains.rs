//! Trains of the demo layout on a pretend table that stands behind its links, which are lost and come back.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use super::broker::Broker;
use super::cable::Cable;
use super::free_port;
use crate::end_to_end::killed::{Spoken, picture, some_train_moves};
use crate::program;

/// The demo layout in a folder of its own, with these links.
pub(super) fn demo(name: &str, links: &str) -> PathBuf {
    let (demo, folder) = (program::root().join("demo-layout"), program::scratch(name));
    for file in ["layout.toml", "trains.toml"] {
        std::fs::copy(demo.join(file), folder.join(file)).unwrap();
    }
    std::fs::create_dir(folder.join("scripts")).unwrap();
    // What editors need lies in folders of its own there.
    let scripts = std::fs::read_dir(demo.join("scripts")).unwrap().map(Result::unwrap);
    for script in scripts.filter(|entry| entry.path().is_file()) {
        std::fs::copy(script.path(), folder.join("scripts").join(script.file_name())).unwrap();
    }
    std::fs::write(folder.join("links.toml"), links).unwrap();
    folder
}

/// Waits until the daemon says something of its railway that pleases.
#[track_caller]
pub(super) fn until(door: &str, table: &mut Spoken, what: &str, mut pleases: impl FnMut(&Value) -> bool) -> Duration {
    let began = Instant::now();
    loop {
        let picture = picture(door).unwrap_or_default();
        if pleases(&picture) {
            return began.elapsed();
        }
        table.place("Heron");
        assert!(began.elapsed() < Duration::from_secs(90), "never: {what}: {picture:#}");
        std::thread::yield_now();
    }
}

pub(super) fn links_down(picture: &Value) -> usize {
    picture["links-down"].as_array().map_or(99, Vec::len)
}

pub(super) struct Running {
    pub(super) table: Spoken,
    pub(super) daemon: Spoken,
    pub(super) door: String,
}

/// A table behind the links of a folder, and a daemon before those of another, once trains run.
pub(super) fn running(behind: &Path, folder: &Path) -> Running {
    let mut table = Spoken::start_in(behind, &["table", "--links", "--places"]);
    table.says("the table stands behind the links");
    let state = folder.join("state");
    let mut daemon =
        Spoken::start_in(folder, &["run", "--plain", "--state", state.to_str().unwrap(), "--door", "127.0.0.1:0"]);
    let door = daemon.says("the control door is at http://");
    until(&door, &mut table, "all links are up", |picture| links_down(picture) == 0);
    until(&door, &mut table, "a train runs", |_| some_train_moves(&door));
    Running { table, daemon, door }
}

/// What is lost of all links.
#[derive(Clone, Copy)]
struct Loss {
    links: usize,
    /// Of how many of these the table hears by itself, so that it lets its trains stand.
    told: usize,
}

fn loses_and_comes_back(run: &mut Running, loss: Loss, lose: &mut dyn FnMut(), bring_back: &mut dyn FnMut()) {
    let Running { table, door, .. } = run;
    for time in 1..=2 {
        lose();
        if loss.told > 0 {
            table.says("every train stands");
        }
        let told = until(door, table, "the links are down", |picture| links_down(picture) == loss.links);
        let stood = until(door, table, "no train is driven", |_| !some_train_moves(door));
        for _ in 0..20 {
            assert!(!some_train_moves(door), "a train is driven, and nothing is known of the track");
        }
        bring_back();
        // Before all of them heard that somebody is there again, the trains stand whatever the daemon wants.
        for _ in 0..loss.told {
            table.says_within("somebody is in charge");
        }
        let up = until(door, table, "the links are up again", |picture| links_down(picture) == 0);
        let runs = until(door, table, "a train runs again", |_| some_train_moves(door));
        println!(
            "loss {time}: told after {told:?}, no train driven {stood:?} later; up {up:?} after it was there again, a train ran {runs:?} later"
        );
    }
    let held = until(door, table, "no train is held", |picture| {
        picture["trains"].as_array().is_some_and(|trains| trains.iter().all(|train| train["held"] == json!(null)))
    });
    println!("no train held after {held:?}");
}

/// What each link of the demo layout carries, with the address that is made of a running number; `kinds` are of sections, spots and
/// turnouts.
fn addresses(link: &str, number: &mut u16, kinds: [&dyn Fn(u16) -> String; 3]) -> String {
    let root = program::root().join("demo-layout");
    let loaded = layout::load(|name| Ok(std::fs::read(root.join(name)).ok().filter(|_| name != "links.toml")));
    let layout = loaded.unwrap_or_else(|refused| panic!("{refused}")).layout;
    let id = layout.link_named(link).unwrap();
    let mut lines = [String::new(), String::new(), String::new()];
    let mut add = |kind: usize, name: &str| {
        *number += 4;
        lines[kind].push_str(&format!("{name:?} = {}\n", kinds[kind](*number)));
    };
    for detector in layout.detectors.values().filter(|detector| detector.link == Some(id)) {
        match detector.kind {
            track::DetectorKind::Area(section) => add(0, &layout.sections[section].name),
            track::DetectorKind::Spot { .. } => add(1, &detector.name),
            track::DetectorKind::Reader(_) => {}
        }
    }
    layout.turnouts.values().filter(|turnout| turnout.link == Some(id)).for_each(|turnout| add(2, &turnout.name));
    let [sections, spots, turnouts] = lines;
    format!("[link.sections]\n{sections}[link.spots]\n{spots}[link.turnouts]\n{turnouts}")
}

const BOXES: [&str; 3] = ["harbour box", "hill box", "yard box"];

/// A bus for each box, with a node for each train on the first.
pub(super) fn buses(ports: [u16; 3]) -> String {
    let mut number = 0;
    let event = |number: u16| {
        let [high, low] = number.to_be_bytes();
        format!("\"05.01.01.01.8C.10.{high:02X}.{low:02X}\"")
    };
    let pair = |one: &str, other: &str, number| format!("{one} = {}, {other} = {}", event(number), event(number + 1));
    let mut all = String::new();
    for (name, port) in BOXES.iter().zip(ports) {
        all.push_str(&format!(
            "[[link]]\nname = \"{name}\"\nby = \"lcc\"\ntcp = \"127.0.0.1:{port}\"\nnode-id = \"05.01.01.01.8C.00\"\n"
        ));
        if *name == BOXES[0] {
            let trains = ["Heron", "Plover", "Dunlin", "Curlew"].iter().zip(1..);
            let nodes: Vec<String> =
                trains.map(|(train, last)| format!("{train} = \"05.01.01.01.8C.2{last}\"")).collect();
            all.push_str(&format!("trains = {{ {} }}\n", nodes.join(", ")));
        }
        let section = |number| format!("{{ {} }}", pair("occupied", "free", number));
        let turnout = |number| {
            let (lies, set) =
                (pair("straight", "diverging", number), pair("set-straight", "set-diverging", number + 2));
            format!("{{ {lies}, {set} }}")
        };
        all.push_str(&addresses(name, &mut number, [&section, &event, &turnout]));
    }
    all
}

/// Servers of coils and registers for each box, and an adapter for the trains.
pub(super) fn servers(ports: [u16; 3], trains: u16) -> String {
    let mut number = 0;
    let input = |number: u16| format!("{{ input = {number} }}");
    let turnout = |number: u16| {
        let (straight, diverging) = (input(number), input(number + 1));
        format!("{{ straight = {straight}, diverging = {diverging}, set = {{ coil = {number} }} }}")
    };
    let mut all =
        format!("[[link]]\nname = \"trains\"\nby = \"adapter\"\ntcp = \"127.0.0.1:{trains}\"\ntrains = \"all\"\n");
    for (name, port) in BOXES.iter().zip(ports) {
        all.push_str(&format!("[[link]]\nname = \"{name}\"\nby = \"modbus\"\ntcp = \"127.0.0.1:{port}\"\n"));
        all.push_str(&addresses(name, &mut number, [&input, &input, &turnout]));
    }
    all
}

/// A node for each box on one broker.
pub(super) fn nodes(port: u16) -> String {
    let link = |(name, more): (&str, &str)| {
        format!(
            "[[link]]\nname = \"{name}\"\nby = \"mqtt\"\nbroker = \"127.0.0.1:{port}\"\nnode-topic = true\n{more}\n"
        )
    };
    let all = ["spots = \"all\"\nsignals = \"all\"\ntrains = \"all\"", "", ""];
    BOXES.into_iter().zip(all).map(link).collect()
}

#[test]
fn trains_run_over_a_bus_of_nodes_stand_when_it_is_cut_and_run_on_when_it_is_mended() {
    let ports = [free_port(), free_port(), free_port()];
    let cables = ports.map(Cable::to);
    let behind = demo("trains-lcc-table", &buses(ports));
    let folder = demo("trains-lcc", &buses(cables.each_ref().map(|cable| cable.port)));
    let mut run = running(&behind, &folder);
    let all = Loss { links: 3, told: 3 };
    loses_and_comes_back(&mut run, all, &mut || cables.iter().for_each(Cable::cut), &mut || {
        cables.iter().for_each(Cable::mend);
    });
    // The trains are driven over the first one only.
    let first = Loss { links: 1, told: 1 };
    loses_and_comes_back(&mut run, first, &mut || cables[0].cut(), &mut || cables[0].mend());
    run.daemon.kill();
    run.table.says("every train stands");
}

#[test]
fn trains_stand_when_the_servers_that_report_their_track_are_cut_off_and_run_on_when_they_are_back() {
    let (ports, trains) = ([free_port(), free_port(), free_port()], free_port());
    let cables = ports.map(Cable::to);
    let behind = demo("trains-modbus-table", &servers(ports, trains));
    let folder = demo("trains-modbus", &servers(cables.each_ref().map(|cable| cable.port), trains));
    let mut run = running(&behind, &folder);
    let all = Loss { links: 3, told: 0 };
    loses_and_comes_back(&mut run, all, &mut || cables.iter().for_each(Cable::cut), &mut || {
        cables.iter().for_each(Cable::mend);
    });
    // Cuts that are over before they need be told of, while trains pass joints and while they do not: either nothing was otherwise,
    // or everything is asked anew. The table tells of every rule that is broken meanwhile.
    let Running { table, door, .. } = &mut run;
    for _ in 0..12 {
        cables.iter().for_each(Cable::cut);
        cables.iter().for_each(Cable::mend);
        until(door, table, "all links are up", |picture| links_down(picture) == 0);
        until(door, table, "a train runs", |_| some_train_moves(door));
    }
}

#[test]
fn trains_run_over_a_broker_stand_when_it_is_killed_and_run_on_when_it_is_back() {
    let scratch = program::scratch("trains-mqtt-broker");
    let Some(mut broker) = Broker::start(&scratch) else { return };
    let folder = demo("trains-mqtt", &nodes(broker.port));
    let mut run = running(&folder, &folder);
    let broker = std::cell::RefCell::new(&mut broker);
    loses_and_comes_back(&mut run, Loss { links: 3, told: 3 }, &mut || broker.borrow_mut().kill(), &mut || {
        broker.borrow_mut().begin();
    });
    run.daemon.interrupt();
    run.table.says("link harbour box: whoever gave orders is gone; every train is made to stand");
}

#[test]
fn trains_run_over_lines_of_json_and_stand_when_the_daemon_is_killed() {
    let ports = [free_port(), free_port(), free_port()];
    let spots = "spots = \"all\"\nsignals = \"all\"\ntrains = \"all\"";
    let names = ["harbour box", "hill box", "yard box"];
    let links: Vec<String> = names
        .iter()
        .zip(ports)
        .map(|(name, port)| format!("[[link]]\nname = \"{name}\"\nby = \"adapter\"\ntcp = \"127.0.0.1:{port}\"\n"))
        .collect();
    let folder = demo("trains-json", &format!("{}{spots}\n{}{}", links[0], links[1], links[2]));
    let mut run = running(&folder, &folder);
    run.daemon.kill();
    run.table.says("every train stands");
}
