//! Scripts as their authors meet them: types for editors, rehearsals, and a daemon that is asked things of its scripts.

#![cfg(test)]

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

/// A copy of the demo with scripts of our own.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str, scripts: &[(&str, &str)]) -> Self {
        let path = std::env::temp_dir().join(format!("lineclear-scripts-{}-{name}", std::process::id()));
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(path.join("scripts")).unwrap();
        for file in ["layout.toml", "trains.toml"] {
            std::fs::copy(demo().join(file), path.join(file)).unwrap();
        }
        let folder = Self(path);
        for (name, text) in scripts {
            folder.write(name, text);
        }
        folder
    }

    fn write(&self, name: &str, text: &str) {
        std::fs::write(self.0.join("scripts").join(name), text).unwrap();
    }

    fn path(&self) -> &str {
        self.0.to_str().unwrap()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn demo() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-layout")
}

fn lineclear(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_lineclear")).args(args).output().unwrap()
}

fn out(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[test]
fn types_are_written_for_editors_but_not_over_what_somebody_changed() {
    let folder = Folder::new("types", &[]);
    let first = lineclear(&["types", folder.path()]);
    assert_eq!(first.status.code(), Some(0), "{}", said(&first));
    assert_eq!(out(&first).matches("wrote ").count(), 3, "{}", out(&first));
    let cats = folder.0.join("scripts/types/lineclear.lua");
    let text = std::fs::read_to_string(&cats).unwrap();
    assert!(text.contains("\"Heron\"") && text.contains("\nfunction send("), "{text}");
    assert_eq!(out(&lineclear(&["types", folder.path()])).matches("is up to date").count(), 3);
    std::fs::write(&cats, format!("-- my own\n{text}")).unwrap();
    let second = lineclear(&["types", folder.path()]);
    assert_eq!(second.status.code(), Some(1));
    assert!(said(&second).contains("was changed by somebody, and is left as it is\nhint: "), "{}", said(&second));
    assert!(std::fs::read_to_string(&cats).unwrap().starts_with("-- my own"));
    assert_eq!(lineclear(&["types", folder.path(), "--overwrite"]).status.code(), Some(0));
    assert_eq!(std::fs::read_to_string(&cats).unwrap(), text);
}

#[test]
fn the_types_of_the_demo_are_those_of_this_version() {
    let demo = demo();
    let checked = lineclear(&["types", demo.to_str().unwrap()]);
    assert_eq!(checked.status.code(), Some(0), "{}", said(&checked));
    assert_eq!(out(&checked).matches("is up to date").count(), 3, "{}", out(&checked));
}

#[test]
fn a_rehearsal_of_the_demo_finds_nothing_stuck() {
    let demo = demo();
    let rehearsal = lineclear(&["rehearse", demo.to_str().unwrap(), "--hours", "1"]);
    let text = out(&rehearsal);
    assert_eq!(rehearsal.status.code(), Some(0), "{text}{}", said(&rehearsal));
    assert!(text.contains("stuck: none") && text.contains("errors: none"), "{text}");
    let heron: u64 = text
        .lines()
        .find(|line| line.trim().starts_with("Heron"))
        .unwrap()
        .split_whitespace()
        .nth(1)
        .unwrap()
        .parse()
        .unwrap();
    assert!(heron > 20, "{text}");
    let evening = demo.join("scripts/evening/evening.lua");
    let evening = lineclear(&["rehearse", demo.to_str().unwrap(), evening.to_str().unwrap(), "--hours", "0.2"]);
    assert_eq!(evening.status.code(), Some(0), "{}{}", out(&evening), said(&evening));
}

#[test]
fn a_rehearsal_finds_the_train_that_never_gets_there() {
    let text = "task('stuck', function() keep_at_danger('S1') send('Heron', 'loop-1.b') end)";
    let folder = Folder::new("stuck", &[("stuck.lua", text)]);
    let rehearsal = lineclear(&["rehearse", folder.path(), "--hours", "2"]);
    let text = out(&rehearsal);
    assert_eq!(rehearsal.status.code(), Some(1), "{text}");
    assert!(text.contains("stuck:\n    Heron since 0:00:"), "{text}");
    let wrong = Folder::new("wrong", &[("wrong.lua", "send('Hron', 'loop-1')")]);
    let rehearsal = lineclear(&["rehearse", wrong.path()]);
    assert_eq!(rehearsal.status.code(), Some(2));
    assert!(said(&rehearsal).contains("did you mean `Heron`?"), "{}", said(&rehearsal));
    let failing = "task('f', function() wait(60) error('out of coal') end)";
    let folder = Folder::new("failing", &[("f.lua", failing)]);
    let rehearsal = lineclear(&["rehearse", folder.path(), "--hours", "0.1"]);
    assert_eq!(rehearsal.status.code(), Some(1));
    assert!(out(&rehearsal).contains("f.lua:1: task `f` ended: out of coal"), "{}", out(&rehearsal));
}

/// A daemon, and the lines that it writes.
struct Daemon {
    process: Child,
    door: String,
    lines: Receiver<String>,
}

impl Daemon {
    fn start(folder: &Folder) -> Self {
        let mut process = Command::new(env!("CARGO_BIN_EXE_lineclear"))
            .args(["run", folder.path(), "--plain", "--door", "127.0.0.1:0", "--for", "300s"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let output = BufReader::new(process.stdout.take().unwrap());
        let (sender, lines) = channel();
        std::thread::spawn(move || output.lines().map_while(Result::ok).try_for_each(|line| sender.send(line)));
        let mut daemon = Self { process, door: String::new(), lines };
        let first = daemon.until("the control door is at http://");
        daemon.door = first.split_once("http://").unwrap().1.trim().to_owned();
        daemon
    }

    /// Waits for a line with that in it.
    fn until(&self, what: &str) -> String {
        loop {
            let line = self.lines.recv_timeout(Duration::from_secs(60)).unwrap_or_else(|_| panic!("never: {what}"));
            if line.contains(what) {
                return line;
            }
        }
    }

    fn tell(&self, words: &[&str]) -> Output {
        let mut args = vec!["tell", "--door", self.door.as_str()];
        args.extend(words);
        lineclear(&args)
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

#[test]
fn people_answer_press_and_turn_the_clock_while_the_daemon_runs() {
    let text = r#"
        task("ask", function() say("they say", ask("Is the coal loaded?", { "yes", "no" })) end)
        on("button", { button = "tea" }, function() say("tea time") end)
        on("clock", { clock = "18:00" }, function(e) say("it strikes", e.clock) end)
    "#;
    let folder = Folder::new("people", &[("a.lua", text)]);
    let daemon = Daemon::start(&folder);
    daemon.until("asks: Is the coal loaded?");
    let wrong = daemon.tell(&["answer", "1", "perhaps"]);
    assert_eq!(wrong.status.code(), Some(1));
    assert!(said(&wrong).contains("refused: no answer `perhaps`"), "{}", said(&wrong));
    assert!(daemon.tell(&["answer", "1", "yes"]).status.success());
    daemon.until("they say yes");
    assert!(daemon.tell(&["press", "tea"]).status.success());
    daemon.until("tea time");
    assert!(daemon.tell(&["set-clock", "18:00"]).status.success());
    assert!(daemon.tell(&["start-clock", "12"]).status.success());
    daemon.until("it strikes 18:00");
    assert_eq!(daemon.tell(&["start-clock", "1000"]).status.code(), Some(2));
    assert!(daemon.tell(&["pause-clock"]).status.success());
}

#[test]
fn scripts_are_loaded_anew_when_asked_and_when_their_files_change() {
    let folder = Folder::new("reload", &[("a.lua", "on('start', function() say('the first') end)")]);
    let daemon = Daemon::start(&folder);
    daemon.until("the first");
    folder.write("a.lua", "send('Hron', 'quay-1')");
    let refused = daemon.tell(&["reload-scripts"]);
    assert_eq!(refused.status.code(), Some(1));
    assert!(
        said(&refused).contains("the scripts before stay in service; a.lua:1: no train `Hron`"),
        "{}",
        said(&refused)
    );
    folder.write("a.lua", "on('start', function() say('the second') end)");
    daemon.until("the second");
}

#[test]
fn an_input_is_worked_by_hand_while_trains_are_pretend_ones() {
    let text = r#"
        on("input_changed", { input = "horn *" }, function(e) say(e.input, e.on, reads(e.input)) end)
        task("t", function()
            wait_until(function() return reads("horn button") end)
            switch("fog horn", true)
        end)
    "#;
    let folder = Folder::new("inputs", &[("a.lua", text)]);
    let daemon = Daemon::start(&folder);
    let wrong = daemon.tell(&["input", "horn buton", "on"]);
    assert_eq!(wrong.status.code(), Some(2));
    assert!(said(&wrong).contains("no input `horn buton`; the nearest name is `horn button`"), "{}", said(&wrong));
    let pressed = daemon.tell(&["press", "horn button"]);
    assert!(said(&pressed).contains("`horn button` is an input"), "{}", said(&pressed));
    assert!(daemon.tell(&["input", "horn button", "on"]).status.success());
    daemon.until("horn button true true");
    assert!(daemon.tell(&["input", "horn button", "off"]).status.success());
    daemon.until("horn button false false");
    let loud = folder.0.join("loud.lua");
    std::fs::write(&loud, "on('input_changed', function(e) if e.on then error('it sounds') end end)").unwrap();
    let rehearsed = |inputs: &[&str]| {
        let mut args = vec!["rehearse", folder.path(), loud.to_str().unwrap(), "--hours", "0.1"];
        args.extend(inputs.iter().flat_map(|input| ["--input", input]));
        lineclear(&args)
    };
    assert!(rehearsed(&["horn button=off@2m"]).status.success(), "that it is off is no news");
    let told = rehearsed(&["horn button=on@2m", "horn button=off@150s"]);
    assert_eq!(told.status.code(), Some(1), "{}", out(&told));
    assert!(out(&told).contains("it sounds"), "{}", out(&told));
    let wrong = rehearsed(&["horn=on@2m"]);
    assert_eq!(wrong.status.code(), Some(2), "{}", said(&wrong));
    assert!(said(&wrong).contains("no input is named `horn`"), "{}", said(&wrong));
}
