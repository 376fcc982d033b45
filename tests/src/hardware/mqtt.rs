//! MQTT against `mosquitto`, with nodes by `paho-mqtt`.

use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use lineside::What;
use signaller::{Direction, Input, Output};

use super::broker::Broker;
use super::{lever, open, said, until, until_down, until_reported, until_up};
use crate::program;

fn links(port: u16, more: &str) -> String {
    format!(
        "[[link]]\nname = \"box\"\nby = \"mqtt\"\nbroker = \"127.0.0.1:{port}\"\nsections = \"all\"\nspots = \"all\"\n\
         turnouts = \"all\"\nsignals = \"all\"\ntrains = \"all\"\n{more}"
    )
}

/// A node by paho-mqtt; nothing where that library is not there.
fn node(port: u16, args: &[&str]) -> Option<Child> {
    let python = program::python("paho-mqtt", "paho.mqtt.client")?;
    let script = program::root().join("tests/peers/mqtt_node.py");
    let child = Command::new(python).arg(script).arg(port.to_string()).args(args).stdout(Stdio::piped()).spawn();
    Some(child.unwrap())
}

fn ends_well(node: Child) -> String {
    let output = node.wait_with_output().unwrap();
    assert!(output.status.success());
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn a_storm_of_reports_is_heard_to_its_last_word() {
    let folder = program::scratch("mqtt-storm");
    let Some(broker) = Broker::start(&folder) else { return };
    let seconds: u64 = std::env::var("LINECLEAR_STORM").map_or(2, |seconds| seconds.parse().unwrap());
    let count = 10_000 * seconds;
    let (layout, mut lineside) = open(&folder, &links(broker.port, ""));
    until_up(&mut lineside);
    let Some(node) = node(broker.port, &["storm", &count.to_string(), "10000"]) else { return };
    let (mut heard, mut last) = (0, [None; 2]);
    let began = Instant::now();
    let names = ["quay", "throat"].map(|name| layout.section_named(name).unwrap());
    while heard < count + 2 {
        assert!(began.elapsed() < Duration::from_secs(60 + 4 * seconds), "{heard} of {count} reports were heard");
        lineside.pulse().beat();
        let Some(news) = lineside.next_within(Duration::from_millis(100)) else { continue };
        let What::Reported(inputs) = news.what else { panic!("{news:?}") };
        for input in inputs {
            let Input::SectionReported { section, occupied } = input else { continue };
            heard += 1;
            let place = names.iter().position(|&name| name == section).unwrap();
            last[place] = Some(occupied);
        }
    }
    let rate = ends_well(node);
    println!("{count} reports, sent at {} a second, heard in {:?}", rate.trim(), began.elapsed());
    assert_eq!((heard, last), (count + 2, [Some(false); 2]), "none was lost, and the last word counts");
}

#[test]
fn what_a_broker_kept_is_known_at_once_and_known_anew_after_it_was_gone() {
    let folder = program::scratch("mqtt-kept");
    let Some(mut broker) = Broker::start(&folder) else { return };
    let Some(first) = node(broker.port, &["once"]) else { return };
    ends_well(first);
    let (layout, mut lineside) = open(&folder, &links(broker.port, ""));
    assert_eq!(until_up(&mut lineside), [said(&layout, "quay", true)], "the broker kept it");
    broker.kill();
    let why = until_down(&mut lineside);
    assert!(why.contains("broker"), "{why}");
    broker.begin();
    let back = Instant::now();
    assert_eq!(until_up(&mut lineside), [], "this broker forgot all: nothing may be assumed");
    println!("up {:?} after the broker was there again", back.elapsed());
    ends_well(node(broker.port, &["once"]).unwrap());
    until_reported(&mut lineside, &said(&layout, "quay", true));
}

#[test]
fn reports_that_come_twice_do_no_harm() {
    let folder = program::scratch("mqtt-twice");
    let Some(broker) = Broker::start(&folder) else { return };
    let (layout, mut lineside) = open(&folder, &links(broker.port, ""));
    until_up(&mut lineside);
    let Some(node) = node(broker.port, &["twice"]) else { return };
    let magnet = layout.detector_named("magnet").unwrap();
    let mut all = Vec::new();
    until(&mut lineside, "the magnet", |news| {
        let What::Reported(inputs) = news.what else { return None };
        all.extend(inputs);
        all.contains(&Input::SpotPassed { detector: magnet }).then_some(())
    });
    ends_well(node);
    let quay = |occupied| said(&layout, "quay", occupied);
    let mut once = all.clone();
    once.dedup();
    assert_eq!(once, [quay(true), quay(false), quay(true), Input::SpotPassed { detector: magnet }]);
    assert_eq!(all.len(), 7);
}

#[test]
fn a_node_that_is_gone_takes_its_sections_with_it() {
    let folder = program::scratch("mqtt-node");
    let Some(broker) = Broker::start(&folder) else { return };
    let (_, mut lineside) = open(&folder, &links(broker.port, "node-topic = true\n"));
    let settings = |topic: &str, word: &str| {
        let python = program::python("paho-mqtt", "paho.mqtt.client")?;
        let say = format!(
            "import paho.mqtt.publish as p; p.single('{topic}', '{word}', qos=1, retain=True, hostname='127.0.0.1', port={})",
            broker.port
        );
        assert!(Command::new(python).args(["-c", &say]).status().unwrap().success());
        Some(())
    };
    let Some(()) = settings("lineclear/node/box", "here") else { return };
    until_up(&mut lineside);
    settings("lineclear/node/box", "gone").unwrap();
    assert_eq!(until_down(&mut lineside), "its node says that it is gone");
    settings("lineclear/node/box", "here").unwrap();
    until_up(&mut lineside);
}

#[test]
fn a_lever_is_known_by_what_the_broker_kept_and_a_button_is_heard_when_it_is_pressed() {
    let folder = program::scratch("mqtt-inputs");
    let Some(mut broker) = Broker::start(&folder) else { return };
    let Some(python) = program::python("paho-mqtt", "paho.mqtt.client") else { return };
    let port = broker.port;
    let say = |word: &str, retain: &str| {
        let say = format!(
            "import paho.mqtt.publish as p; p.single('lineclear/input/coal-stage-lever', '{word}', qos=1, retain={retain}, \
             hostname='127.0.0.1', port={port})"
        );
        assert!(Command::new(&python).args(["-c", &say]).status().unwrap().success());
    };
    say("on", "True");
    let (layout, mut lineside) = open(&folder, &links(port, "inputs = \"all\"\n"));
    assert_eq!(until_up(&mut lineside), [lever(&layout, true)], "the broker kept it");
    say("off", "False");
    until_reported(&mut lineside, &lever(&layout, false));
    say("on", "False");
    until_reported(&mut lineside, &lever(&layout, true));
    broker.kill();
    until_down(&mut lineside);
    broker.begin();
    assert_eq!(until_up(&mut lineside), [], "this broker forgot all: nothing may be assumed");
}

#[test]
fn orders_reach_a_node_and_last_words_are_said_for_a_daemon_that_is_killed() {
    let folder = program::scratch("mqtt-orders");
    let Some(broker) = Broker::start(&folder) else { return };
    let (layout, mut lineside) = open(&folder, &links(broker.port, ""));
    until_up(&mut lineside);
    let Some(python) = program::python("paho-mqtt", "paho.mqtt.client") else { return };
    let listen = format!(
        "import paho.mqtt.subscribe as s\nfor _ in s.simple(['lineclear/train/Heron/set', 'lineclear/turnout/W1/set', \
         'lineclear/signal/S1/set'], qos=1, msg_count=3, retained=False, hostname='127.0.0.1', port={}): print(_.topic, _.payload.decode())",
        broker.port
    );
    let mut ear = Command::new(python).args(["-c", &listen]).stdout(Stdio::piped()).spawn().unwrap();
    // Orders are repeatable: they are said until the ear is there and has heard them.
    let (train, turnout) = (layout.train_named("Heron").unwrap(), layout.turnout_named("W1").unwrap());
    let signal = layout.signal_named("S1").unwrap();
    let yellow = layout.book_of(signal).named("yellow").unwrap();
    let began = Instant::now();
    while ear.try_wait().unwrap().is_none() {
        assert!(began.elapsed() < Duration::from_secs(30), "no order arrived");
        lineside.pulse().beat();
        lineside.order(&[
            Output::Drive { train, direction: Direction::Backward, step: 5 },
            Output::Throw { turnout, lie: track::Lie::Diverging },
            Output::Show { signal, aspect: yellow },
        ]);
        lineside.next_within(Duration::from_millis(50));
    }
    let heard = ends_well(ear);
    let mut lines: Vec<&str> = heard.lines().collect();
    lines.sort_unstable();
    assert_eq!(
        lines,
        [
            "lineclear/signal/S1/set yellow",
            "lineclear/train/Heron/set {\"train\": \"Heron\", \"address\": 12, \"long\": false, \"steps\": 28, \
             \"direction\": \"backward\", \"step\": 5}",
            "lineclear/turnout/W1/set diverging",
        ]
    );
}

#[test]
fn a_line_is_encrypted_and_only_for_whom_the_broker_knows() {
    let folder = program::scratch("mqtt-tls");
    let made = Command::new("openssl")
        .args(["req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=localhost"])
        .args(["-addext", "subjectAltName=DNS:localhost", "-addext", "basicConstraints=critical,CA:FALSE"])
        .args(["-keyout", "key.pem", "-out", "ca.pem"])
        .current_dir(&folder)
        .stderr(Stdio::null())
        .status();
    if !made.is_ok_and(|made| made.success()) {
        return program::skip("`openssl` makes no certificate");
    }
    let here = folder.to_str().unwrap();
    let passwords = folder.join("passwords");
    std::fs::write(&passwords, "").unwrap();
    let settings = format!(
        "allow_anonymous false\npassword_file {here}/passwords\ncertfile {here}/ca.pem\nkeyfile {here}/key.pem\n"
    );
    let hashed = ["node:secret", "lineclear:quiet"].map(|line| {
        let (user, password) = line.split_once(':').unwrap();
        Command::new("mosquitto_passwd").args(["-b", passwords.to_str().unwrap(), user, password]).status()
    });
    if hashed.iter().any(|done| !done.as_ref().is_ok_and(std::process::ExitStatus::success)) {
        return program::skip("`mosquitto_passwd` is not there");
    }
    let Some(broker) = Broker::start_with(&folder, &settings) else { return };
    std::fs::write(folder.join("word"), "quiet\n").unwrap();
    let secure = |more: &str| {
        format!(
            "[[link]]\nname = \"box\"\nby = \"mqtt\"\nbroker = \"mqtts://localhost:{}\"\nsections = \"all\"\n\
             authority-file = \"ca.pem\"\n{more}",
            broker.port
        )
    };
    let (_, mut stranger) = open(&folder, &secure(""));
    let why = until_down(&mut stranger);
    assert!(why.contains("it does not let us in"), "{why}");
    drop(stranger);
    std::fs::write(folder.join("wrong"), "loud\n").unwrap();
    for version in ["3.1.1", "5"] {
        let wrong = format!("user = \"lineclear\"\npassword-file = \"wrong\"\nversion = \"{version}\"\n");
        let (_, mut stranger) = open(&folder, &secure(&wrong));
        let why = until_down(&mut stranger);
        assert!(why.contains("it does not let us in"), "{why}");
    }
    let other = Command::new("openssl")
        .args(["req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=elsewhere"])
        .args(["-keyout", "other-key.pem", "-out", "other.pem"])
        .current_dir(&folder)
        .stderr(Stdio::null())
        .status();
    assert!(other.unwrap().success());
    let (_, mut stranger) = open(&folder, &secure("").replace("ca.pem", "other.pem"));
    let why = until_down(&mut stranger);
    assert!(why.contains("nobody who is trusted vouches for its certificate"), "{why}");
    drop(stranger);
    let (layout, mut lineside) =
        open(&folder, &secure("user = \"lineclear\"\npassword-file = \"word\"\nversion = \"5\"\n"));
    until_up(&mut lineside);
    let Some(node) = node(broker.port, &["tls", folder.join("ca.pem").to_str().unwrap()]) else { return };
    until_reported(&mut lineside, &said(&layout, "quay", true));
    ends_well(node);
}
