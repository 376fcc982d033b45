//! The layout of a running daemon is edited and read anew while trains run.

#![cfg(test)]

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use serde_json::Value;

/// The demo in a folder of its own, which is edited; and a daemon at work on it.
struct Daemon {
    folder: PathBuf,
    process: Child,
    lines: Receiver<String>,
    door: String,
}

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).unwrap();
        }
    }
}

impl Daemon {
    fn start(name: &str) -> Self {
        let folder = std::env::temp_dir().join(format!("lineclear-reload-{}-{name}", std::process::id()));
        let _ = std::fs::remove_dir_all(&folder);
        copy(&Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-layout"), &folder);
        let mut process = Command::new(env!("CARGO_BIN_EXE_lineclear"))
            .arg("run")
            .arg(&folder)
            .args(["--plain", "--door", "127.0.0.1:0", "--pace", "10", "--state"])
            .arg(folder.join("state"))
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let output = BufReader::new(process.stdout.take().unwrap());
        let (sender, lines) = channel();
        std::thread::spawn(move || output.lines().map_while(Result::ok).try_for_each(|line| sender.send(line)));
        let mut daemon = Self { folder, process, lines, door: String::new() };
        daemon.door = daemon.says("the control door is at http://");
        daemon
    }

    /// Waits for a line with these words, and gives what follows them.
    fn says(&self, words: &str) -> String {
        let until = Instant::now() + Duration::from_secs(60);
        loop {
            let line = self.lines.recv_timeout(until.saturating_duration_since(Instant::now()));
            let line = line.unwrap_or_else(|_| panic!("nobody said `{words}`"));
            assert!(!line.contains("broken rule") && !line.contains("breaks"), "{line}");
            if let Some((_, rest)) = line.split_once(words) {
                return rest.to_owned();
            }
        }
    }

    fn edit(&self, edit: impl FnOnce(String) -> String) {
        let file = self.folder.join("layout.toml");
        let text = std::fs::read_to_string(&file).unwrap();
        std::fs::write(&file, edit(text)).unwrap();
    }

    fn tell(&self, what: &[&str]) -> Output {
        let door = ["--door", &self.door];
        Command::new(env!("CARGO_BIN_EXE_lineclear")).arg("tell").args(door).args(what).output().unwrap()
    }

    fn reload(&self) -> Result<(), String> {
        let told = self.tell(&["reload"]);
        if told.status.success() { Ok(()) } else { Err(String::from_utf8(told.stderr).unwrap()) }
    }

    fn get(&self, path: &str) -> Value {
        let mut stream = TcpStream::connect(&self.door).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        write!(stream, "GET {path} HTTP/1.1\r\nhost: {}\r\nconnection: close\r\n\r\n", self.door).unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        serde_json::from_str(answer.split_once("\r\n\r\n").unwrap().1).unwrap()
    }

    /// Waits until the picture shows something.
    fn until(&self, what: &str, shows: impl Fn(&Value) -> bool) -> Value {
        let began = Instant::now();
        loop {
            let picture = self.get("/v1/picture");
            if shows(&picture) {
                return picture;
            }
            assert!(began.elapsed() < Duration::from_secs(60), "the picture never showed {what}: {picture}");
            std::thread::yield_now();
        }
    }

    /// Ends the run as a person would, and replays every shift of it.
    fn end(mut self, shifts: usize) {
        let process = self.process.id().to_string();
        assert!(Command::new("kill").args(["-TERM", &process]).status().unwrap().success());
        let status = self.process.wait().unwrap();
        assert!(status.success(), "rules were broken, or a script failed: {status}");
        for shift in 1..=shifts {
            let state = self.folder.join("state");
            let shift = shift.to_string();
            let replay = Command::new(env!("CARGO_BIN_EXE_lineclear"))
                .arg("replay")
                .arg(state)
                .args(["--shift", &shift])
                .output()
                .unwrap();
            let told = String::from_utf8_lossy(&replay.stdout);
            assert!(told.contains("all of them give what was recorded"), "{told}{replay:?}");
        }
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}

fn of<'p>(picture: &'p Value, list: &str, name: &str) -> &'p Value {
    picture[list].as_array().unwrap().iter().find(|row| row["name"] == name).unwrap()
}

fn runs(picture: &Value, train: &str) -> bool {
    of(picture, "trains", train)["step"].as_u64().unwrap() > 0
}

/// The same text with a section that stands by itself before all others, so that everything has another number.
fn with_a_workshop(text: &str) -> String {
    let workshop = "[[section]]\nname     = \"workshop\"\nlength   = 900\ndistrict = \"harbour\"\nlink     = \"harbour box\"\n\n\
                    [[buffer-stop]]\nat = \"workshop.a\"\n\n[[buffer-stop]]\nat = \"workshop.b\"\n\n[[section]]";
    text.replacen("[[section]]", workshop, 1).replacen("[layout]\n", "[layout]\nparts     = 2\n", 1)
}

#[test]
fn a_signal_gets_another_book_while_trains_run_on() {
    let daemon = Daemon::start("book");
    daemon.until("Heron running", |picture| runs(picture, "Heron"));
    daemon.edit(|text| text.replacen("name = \"S13\"", "name = \"S13\"\naspects = \"uk-three-aspect\"", 1));
    daemon.reload().unwrap();
    let layout = daemon.get("/v1/layout").to_string();
    assert!(layout.contains("uk-three-aspect"), "{layout}");
    let picture = daemon.get("/v1/picture");
    assert!(picture["trains"].as_array().unwrap().iter().all(|train| train["held"].is_null()), "{picture}");
    daemon.says("Heron arrives at");
    daemon.end(2);
}

#[test]
fn a_section_is_added_elsewhere_and_taken_away_again_and_no_train_is_held_for_it() {
    let daemon = Daemon::start("added");
    let before = daemon.until("Heron running", |picture| runs(picture, "Heron"));
    assert!(daemon.tell(&["hold", "Dunlin", "time", "for", "tea"]).status.success());
    assert!(daemon.tell(&["out-of-service", "yard-5", "a", "loose", "rail"]).status.success());
    assert!(daemon.tell(&["input", "horn button", "on"]).status.success());
    assert!(daemon.tell(&["set-clock", "18:30"]).status.success());
    let good = std::fs::read_to_string(daemon.folder.join("layout.toml")).unwrap();
    let bell = "[[input]]\nname = \"tea bell\"\n\n[[input]]\nname = \"horn button\"";
    daemon.edit(|text| with_a_workshop(&text).replacen("[[input]]\nname = \"horn button\"", bell, 1));
    daemon.reload().unwrap();
    let after = daemon.get("/v1/picture");
    let inputs = ["tea bell", "horn button"].map(|name| of(&after, "inputs", name)["on"].clone());
    assert_eq!(inputs, [Value::Bool(false), Value::Bool(true)]);
    assert_eq!(after["clock"]["shows"], "18:30", "the clock goes on though the scripts began anew");
    assert!(of(&after, "trains", "Heron")["held"].is_null(), "{after}");
    assert_eq!(of(&after, "trains", "Dunlin")["held"], "time for tea");
    assert_eq!(of(&after, "sections", "yard-5")["withdrawn"], "a loose rail");
    assert_eq!(of(&after, "sections", "yard-3")["trains"], of(&before, "sections", "yard-3")["trains"]);
    assert_eq!(of(&after, "sections", "workshop")["name"], "workshop");
    daemon.says("Heron arrives at");
    daemon.edit(|_| good);
    assert!(Command::new("kill").args(["-HUP", &daemon.process.id().to_string()]).status().unwrap().success());
    daemon.says("the layout was read anew");
    let last = daemon.get("/v1/picture");
    assert!(last["sections"].as_array().unwrap().iter().all(|section| section["name"] != "workshop"));
    daemon.says("Heron arrives at");
    daemon.end(3);
}

#[test]
fn a_layout_with_mistakes_is_told_of_with_their_lines_and_the_last_good_one_stays() {
    let daemon = Daemon::start("broken");
    daemon.until("Heron running", |picture| runs(picture, "Heron"));
    let good = std::fs::read_to_string(daemon.folder.join("layout.toml")).unwrap();
    daemon.edit(|text| text.replacen("length   = 1620", "lenght   = 1620", 1));
    let why = daemon.reload().unwrap_err();
    assert!(why.contains("layout.toml:") && why.contains("lenght"), "{why}");
    assert!(daemon.says("the layout stays as it was:").is_empty());
    daemon.edit(|_| "[[section]".to_owned());
    assert!(daemon.reload().unwrap_err().contains("layout.toml:1"));
    daemon.edit(|_| good);
    std::fs::write(daemon.folder.join("scripts/wrong.lua"), "go('Heron', 'nowhere')").unwrap();
    assert!(daemon.reload().unwrap_err().contains("scripts/wrong.lua"));
    std::fs::remove_file(daemon.folder.join("scripts/wrong.lua")).unwrap();
    assert!(daemon.get("/v1/picture")["trains"].as_array().unwrap().iter().all(|train| train["held"].is_null()));
    daemon.says("Heron arrives at");
    daemon.end(1);
}

#[test]
fn track_under_a_train_is_not_changed_and_the_train_runs_on() {
    let daemon = Daemon::start("under");
    let good = std::fs::read_to_string(daemon.folder.join("layout.toml")).unwrap();
    daemon.until("Heron running", |picture| runs(picture, "Heron"));
    // Nor is track taken away with a train on it, or on its way to it: what is called otherwise is something else.
    let trains = daemon.folder.join("trains.toml");
    let good_trains = std::fs::read_to_string(&trains).unwrap();
    daemon.edit(|text| text.replace("quay-1", "quay-one"));
    std::fs::write(&trains, good_trains.replace("quay-1", "quay-one")).unwrap();
    let why = daemon.reload().unwrap_err();
    assert!(why.contains("`quay-1` is gone, and `Heron`") || why.contains("and `Heron` is to go there"), "{why}");
    std::fs::write(&trains, &good_trains).unwrap();
    daemon.edit(|_| good.clone());
    let stands = |picture: &Value| {
        let sections = picture["sections"].as_array().unwrap().iter();
        let mut of_curlew = sections.filter(|section| section["trains"] == serde_json::json!(["Curlew"]));
        of_curlew.next().map(|section| section["name"].as_str().unwrap().to_owned())
    };
    assert!(daemon.tell(&["hold", "Curlew"]).status.success());
    let yard = stands(&daemon.get("/v1/picture")).unwrap();
    let section = format!("name     = \"{yard}\"\nlength   = ");
    let shorter = good.replacen(&section, &format!("{section}1"), 1);
    assert_ne!(shorter, good, "{yard}");
    daemon.edit(|_| shorter);
    let why = daemon.reload().unwrap_err();
    assert!(why.contains(&format!("`{yard}` is described otherwise, and `Curlew` is there")), "{why}");
    let picture = daemon.get("/v1/picture");
    assert!(
        picture["trains"]
            .as_array()
            .unwrap()
            .iter()
            .filter(|train| train["name"] != "Curlew")
            .all(|train| train["held"].is_null())
    );
    // A train that stands there must be what it was, too.
    daemon.edit(|_| good.clone());
    let renamed = good_trains.replacen("= \"Curlew\"", "= \"Curlews\"", 1);
    assert_ne!(renamed, good_trains);
    std::fs::write(&trains, renamed).unwrap();
    assert!(daemon.reload().unwrap_err().contains("`Curlew` is described no more, and it stands on the layout"));
    daemon.says("Heron arrives at");
    daemon.end(1);
}
