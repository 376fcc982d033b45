//! A daemon that is killed at drawn moments while trains run, again and again: nothing that somebody was told was done is missing,
//! what was recorded replays, the next daemon takes over, and the trains on the table come to no harm.
//!
//! `LINECLEAR_KILLS` says how often; without it a few times.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use testtrack::Stream;

use crate::program;

/// A program whose lines are read as they come.
pub(crate) struct Spoken {
    process: Child,
    lines: Receiver<String>,
    /// Where a table said last that each train is.
    places: BTreeMap<String, Vec<String>>,
}

impl Spoken {
    fn start(args: &[&str]) -> Self {
        Self::start_in(&program::root().join("demo-layout"), args)
    }

    /// Starts a command with the folder of a layout, and what comes behind.
    pub(crate) fn start_in(layout: &Path, args: &[&str]) -> Self {
        let (command, rest) = args.split_first().unwrap();
        let mut process = Command::new(program::program())
            .arg(command)
            .arg(layout)
            .args(rest)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let output = BufReader::new(process.stdout.take().unwrap());
        let (sender, lines) = channel();
        std::thread::spawn(move || output.lines().map_while(Result::ok).try_for_each(|line| sender.send(line)));
        Self { process, lines, places: BTreeMap::new() }
    }

    /// Takes in a line that was not waited for.
    fn hear(&mut self, line: &str) {
        assert!(!line.starts_with("broken rule"), "{line}");
        if let Some((train, sections)) = line.split_once(" is on ") {
            self.places.insert(train.to_owned(), sections.split(", ").map(str::to_owned).collect());
        }
    }

    /// Where the table says that a train is now.
    pub(crate) fn place(&mut self, train: &str) -> Vec<String> {
        while let Ok(line) = self.lines.try_recv() {
            self.hear(&line);
        }
        self.places.get(train).cloned().unwrap_or_default()
    }

    /// Ends it as Ctrl-C would.
    pub(crate) fn interrupt(&self) {
        signal(&self.process, "INT");
    }

    /// Ends it at once.
    pub(crate) fn kill(&mut self) {
        self.process.kill().unwrap();
        self.process.wait().unwrap();
    }

    /// Waits for a line with these words somewhere in it.
    pub(crate) fn says_within(&mut self, words: &str) {
        let until = Instant::now() + Duration::from_secs(90);
        loop {
            let line = self.lines.recv_timeout(until.saturating_duration_since(Instant::now()));
            let line = line.unwrap_or_else(|_| panic!("nobody said `{words}`"));
            self.hear(&line);
            if line.contains(words) {
                return;
            }
        }
    }

    /// Waits for a line with these words somewhere in it, and gives every line up to it.
    pub(crate) fn lines_until(&mut self, words: &str) -> Vec<String> {
        let until = Instant::now() + Duration::from_secs(90);
        let mut lines = Vec::new();
        loop {
            let line = self.lines.recv_timeout(until.saturating_duration_since(Instant::now()));
            let line = line.unwrap_or_else(|_| panic!("nobody said `{words}`"));
            self.hear(&line);
            let is_last = line.contains(words);
            lines.push(line);
            if is_last {
                return lines;
            }
        }
    }

    /// Every line that came since one was waited for.
    pub(crate) fn lines_so_far(&mut self) -> Vec<String> {
        let lines: Vec<String> = self.lines.try_iter().collect();
        lines.iter().for_each(|line| self.hear(line));
        lines
    }

    /// Waits until it has ended by itself.
    pub(crate) fn ends(&mut self) {
        let status = self.process.wait().unwrap();
        assert!(status.success(), "{status}");
    }

    /// Waits for a line that begins so, and gives the rest of it.
    pub(crate) fn says(&mut self, beginning: &str) -> String {
        let until = Instant::now() + Duration::from_secs(30);
        loop {
            let line = self.lines.recv_timeout(until.saturating_duration_since(Instant::now()));
            let line = line.unwrap_or_else(|_| panic!("nobody said `{beginning}`"));
            self.hear(&line);
            if let Some(rest) = line.strip_prefix(beginning) {
                return rest.to_owned();
            }
        }
    }
}

impl Drop for Spoken {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// Asks, and gives the answer; nothing where the daemon is gone before it answered.
pub(crate) fn http(door: &str, method: &str, path: &str, headers: &str, body: &str) -> Option<(u16, String)> {
    let mut stream = TcpStream::connect(door).ok()?;
    stream.set_read_timeout(Some(Duration::from_secs(20))).ok()?;
    let length = body.len();
    write!(
        stream,
        "{method} {path} HTTP/1.1\r\nhost: {door}\r\n{headers}content-length: {length}\r\nconnection: close\r\n\r\n{body}"
    )
    .ok()?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer).ok()?;
    let (head, body) = answer.split_once("\r\n\r\n")?;
    Some((head.split(' ').nth(1)?.parse().ok()?, body.to_owned()))
}

pub(crate) fn picture(door: &str) -> Option<Value> {
    serde_json::from_str(&http(door, "GET", "/v1/picture", "", "")?.1).ok()
}

/// Holds and releases trains, with keys, until the time is over; gives the keys of what was acknowledged.
fn meddle(door: &str, until: Instant, shift: u64, chance: &mut Stream) -> Vec<String> {
    let mut done = Vec::new();
    for number in 0.. {
        if Instant::now() >= until {
            return done;
        }
        let train = ["Heron", "Plover", "Dunlin", "Curlew"][chance.below(4) as usize];
        let wish = if number % 2 == 0 {
            json!({"ask": "hold", "train": train, "reason": "a try"})
        } else {
            json!({"ask": "release", "train": train})
        };
        let key = format!("{shift}-{number}");
        let headers = format!("content-type: application/json\r\nidempotency-key: {key}\r\n");
        match http(door, "POST", "/v1/requests", &headers, &wish.to_string()) {
            Some((200 | 409, _)) => done.push(key),
            other => panic!("{other:?}"),
        }
    }
    done
}

/// A request that is the same each time, but for its key.
fn a_hold(key: &str) -> (String, String) {
    let wish = json!({"ask": "hold", "train": "Curlew", "reason": "the last word"}).to_string();
    (wish, format!("content-type: application/json\r\nidempotency-key: {key}\r\n"))
}

/// Where a train ran on into another section while nobody looked, a person says where it is; tells how often.
fn confirm(door: &str, table: &mut Spoken) -> u64 {
    let mut words = 0;
    let began = Instant::now();
    loop {
        let picture = picture(door).unwrap();
        let trains = picture["trains"].as_array().unwrap();
        let unsure = trains.iter().find(|train| train["sure"] == false);
        let Some(name) = unsure.map(|train| train["name"].as_str().unwrap().to_owned()) else {
            return words;
        };
        assert!(began.elapsed() < Duration::from_secs(60), "it never became sure: {picture}");
        // What reports say settles most of it; and a train that still rolls is nowhere yet.
        if began.elapsed() > Duration::from_secs(3 * (words + 1)) {
            let wish = json!({"ask": "place", "train": name, "on": table.place(&name)});
            let headers = "content-type: application/json\r\n";
            http(door, "POST", "/v1/requests", headers, &wish.to_string()).unwrap();
            words += 1;
        }
    }
}

fn acknowledged_are_kept(register: &Path, done: &[String]) {
    let db = rusqlite::Connection::open(register).unwrap();
    let found = "SELECT count(*) FROM wish WHERE key = ?1 AND accepted IS NOT NULL";
    for key in done {
        let count: i64 = db.query_row(found, [key], |row| row.get(0)).unwrap();
        assert_eq!(count, 1, "the request with the key `{key}` was answered, and is not in the register");
    }
}

#[test]
fn a_daemon_that_is_killed_loses_nothing_and_the_next_one_takes_over() {
    let kills: u64 = std::env::var("LINECLEAR_KILLS").map_or(6, |kills| kills.parse().unwrap());
    let seed: u64 = std::env::var("LINECLEAR_SEED").map_or(1, |seed| seed.parse().unwrap());
    println!("LINECLEAR_SEED={seed} LINECLEAR_KILLS={kills}");
    let mut chance = Stream::labelled(seed, "kills");
    let state = program::scratch("killed");
    let folder = state.to_str().unwrap();
    let mut table = Spoken::start(&["table", "--places", "--listen", "127.0.0.1:0"]);
    let address = table.says("the table is at ");
    let (mut slowest, mut words) = (Duration::ZERO, 0);
    let mut last: Option<(String, u16)> = None;
    for shift in 1..=kills {
        let began = Instant::now();
        let mut daemon =
            Spoken::start(&["run", "--plain", "--table", &address, "--state", folder, "--door", "127.0.0.1:0"]);
        let door = daemon.says("the control door is at http://");
        table.says(&format!("daemon {shift} is in charge"));
        until(&door, "the daemon did not hear of everything", hears_of_everything);
        slowest = slowest.max(began.elapsed());
        if let Some((key, answer)) = &last {
            // Whoever was cut off asks again, of the next daemon: it is not done twice.
            let (wish, headers) = a_hold(key);
            assert_eq!(http(&door, "POST", "/v1/requests", &headers, &wish).unwrap().0, *answer, "{key}");
        }
        words += confirm(&door, &mut table);
        let until = Instant::now() + Duration::from_millis(100 + chance.below(4000));
        let done = meddle(&door, until, shift, &mut chance);
        let (wish, headers) = a_hold(&format!("last-{shift}"));
        let (answer, _) = http(&door, "POST", "/v1/requests", &headers, &wish).unwrap();
        last = Some((format!("last-{shift}"), answer));
        daemon.process.kill().unwrap();
        daemon.process.wait().unwrap();
        assert!(!done.is_empty(), "nothing was asked in shift {shift}");
        acknowledged_are_kept(&state.join("register.sqlite"), &done);
    }
    table.says("every train stands");
    for shift in 1..=kills {
        let replayed = program::lineclear(&["replay", folder, "--shift", &shift.to_string()], b"");
        assert_eq!(replayed.status, Some(0), "shift {shift}: {}{}", replayed.output, replayed.complaints);
    }
    println!(
        "{kills} kills; {slowest:?} at most from the start of a daemon until it was in charge; a person had to say {words} times where a \
         train was that had run on while nobody looked"
    );
}

/// Sends a signal to a process of ours.
fn signal(process: &Child, name: &str) {
    let sent = Command::new("kill").args([&format!("-{name}"), &process.id().to_string()]).status().unwrap();
    assert!(sent.success());
}

pub(crate) fn some_train_moves(door: &str) -> bool {
    let picture = picture(door).unwrap();
    picture["trains"].as_array().unwrap().iter().any(|train| train["step"] != 0)
}

fn hears_of_everything(door: &str) -> bool {
    let picture = picture(door).unwrap();
    picture["sections"].as_array().unwrap().iter().all(|section| section["is"] != "unknown")
}

/// Waits until the picture that a daemon gives is so.
fn until(door: &str, what: &str, is_so: impl Fn(&str) -> bool) {
    let began = Instant::now();
    while !is_so(door) {
        assert!(began.elapsed() < Duration::from_secs(120), "{what}: {}", picture(door).unwrap_or_default());
        std::thread::sleep(Duration::from_millis(10));
    }
}

#[test]
fn trains_stand_while_the_daemon_hangs_and_run_on_when_it_is_back() {
    let state = program::scratch("hangs");
    let mut table = Spoken::start(&["table", "--listen", "127.0.0.1:0"]);
    let address = table.says("the table is at ");
    let folder = state.to_str().unwrap();
    let mut daemon =
        Spoken::start(&["run", "--plain", "--table", &address, "--state", folder, "--door", "127.0.0.1:0"]);
    let door = daemon.says("the control door is at http://");
    table.says("daemon 1 is in charge");
    until(&door, "no train set out", some_train_moves);
    signal(&daemon.process, "STOP");
    table.says("daemon 1 is silent; every train is made to stand");
    table.says("every train stands");
    signal(&daemon.process, "CONT");
    table.says("daemon 2 is in charge");
    until(&door, "the links are still down", |door| picture(door).unwrap()["links-down"] == json!([]));
    until(&door, "no train ran on", some_train_moves);
}

/// The demo in a folder of its own.
fn own_demo(name: &str) -> std::path::PathBuf {
    let folder = program::scratch(name).join("layout");
    std::fs::create_dir_all(folder.join("scripts")).unwrap();
    for part in ["", "scripts"] {
        for file in std::fs::read_dir(program::root().join("demo-layout").join(part)).unwrap() {
            let file = file.unwrap();
            if file.path().is_file() {
                std::fs::copy(file.path(), folder.join(part).join(file.file_name())).unwrap();
            }
        }
    }
    folder
}

#[test]
fn a_layout_is_read_anew_over_a_table_elsewhere_and_the_next_daemon_goes_on_with_it() {
    let layout = own_demo("relaid");
    let state = layout.with_file_name("state");
    let mut table = Spoken::start_in(&layout, &["table", "--places", "--listen", "127.0.0.1:0"]);
    let address = table.says("the table is at ");
    let start = || {
        let args = ["run", "--plain", "--table", &address, "--state", state.to_str().unwrap(), "--door", "127.0.0.1:0"];
        let mut daemon = Spoken::start_in(&layout, &args);
        let door = daemon.says("the control door is at http://");
        (daemon, door)
    };
    let (mut daemon, door) = start();
    table.says("daemon 1 is in charge");
    until(&door, "no train set out", some_train_moves);
    let file = layout.join("layout.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    // Before all others, so that everything has another number.
    let workshop = "[[section]]\nname = \"workshop\"\nlength = 900\ndistrict = \"harbour\"\nlink = \"harbour box\"\n\n\
                    [[buffer-stop]]\nat = \"workshop.a\"\n\n[[buffer-stop]]\nat = \"workshop.b\"\n\n[[section]]";
    let longer = text.replacen("[[section]]", workshop, 1).replacen("[layout]\n", "[layout]\nparts = 2\n", 1);
    std::fs::write(&file, longer).unwrap();
    let (status, fate) = http(&door, "POST", "/v1/reload", "", "").unwrap();
    assert_eq!(status, 200, "{fate}");
    table.says("the track was built anew");
    assert!(some_train_moves(&door), "the trains stopped");
    let sections = picture(&door).unwrap()["sections"].as_array().unwrap().clone();
    assert!(sections.iter().any(|section| section["name"] == "workshop" && section["is"] == "free"), "{sections:?}");
    assert!(sections.iter().all(|section| section["is"] != "unknown"), "{sections:?}");
    daemon.says_within("arrives at");
    daemon.process.kill().unwrap();
    daemon.process.wait().unwrap();
    table.says("every train stands");
    let (_next, door) = start();
    table.says("daemon 2 is in charge");
    until(&door, "the daemon did not hear of everything", hears_of_everything);
    confirm(&door, &mut table);
    until(&door, "no train ran on", some_train_moves);
    for shift in ["1", "2"] {
        let replayed = program::lineclear(&["replay", state.to_str().unwrap(), "--shift", shift], b"");
        assert_eq!(replayed.status, Some(0), "shift {shift}: {}{}", replayed.output, replayed.complaints);
    }
}

/// Asks a daemon for something, and has it done.
fn ask(door: &str, wish: &Value) {
    let answer = http(door, "POST", "/v1/requests", "content-type: application/json\r\n", &wish.to_string());
    assert!(matches!(answer, Some((200, _))), "{wish}: {answer:?}");
}

/// Waits until the register holds the layout clock so.
fn until_clock_is_kept(state: &Path, is_so: impl Fn(i64, bool) -> bool) {
    let db = rusqlite::Connection::open(state.join("register.sqlite")).unwrap();
    let began = Instant::now();
    loop {
        let row = db.query_row("SELECT shows, is_running FROM now_clock", [], |row| Ok((row.get(0)?, row.get(1)?)));
        if row.is_ok_and(|(shows, is_running)| is_so(shows, is_running)) {
            return;
        }
        assert!(began.elapsed() < Duration::from_secs(60), "the clock is not kept");
        std::thread::sleep(Duration::from_millis(10));
    }
}

#[test]
fn the_time_of_day_and_the_lamps_are_as_they_were_when_the_daemon_was_killed() {
    let layout = own_demo("evening");
    for script in ["rotation.lua", "shuttle.lua"] {
        std::fs::remove_file(layout.join("scripts").join(script)).unwrap();
    }
    let text = "say(clock().goes_on, clock().shows)\non(\"clock\", { clock = \"*:*0\" }, function(e) say(\"it strikes\", e.clock) end)\n\
                on(\"input_changed\", function(e) say(e.input, e.on) end)\n";
    std::fs::write(layout.join("scripts/clock.lua"), text).unwrap();
    let state = layout.with_file_name("state");
    let mut table = Spoken::start_in(&layout, &["table", "--listen", "127.0.0.1:0"]);
    let address = table.says("the table is at ");
    let start = || {
        let args = ["run", "--plain", "--table", &address, "--state", state.to_str().unwrap(), "--door", "127.0.0.1:0"];
        let mut daemon = Spoken::start_in(&layout, &args);
        let door = daemon.says("the control door is at http://");
        until(&door, "the daemon did not hear of everything", hears_of_everything);
        (daemon, door)
    };
    let (mut daemon, door) = start();
    daemon.says_within("clock.lua: false 0:00");
    ask(&door, &json!({"ask": "switch", "accessory": "quay lamps", "on": true}));
    ask(&door, &json!({"ask": "switch", "accessory": "fog horn", "on": true}));
    ask(&door, &json!({"ask": "switch", "accessory": "fog horn", "on": false}));
    ask(&door, &json!({"ask": "function", "train": "Heron", "number": 0, "on": true}));
    ask(&door, &json!({"ask": "input", "input": "horn button", "on": true}));
    daemon.says_within("horn button true");
    ask(&door, &json!({"ask": "set-clock", "to": "18:30"}));
    ask(&door, &json!({"ask": "start-clock", "pace": 60.0}));
    let half_past_six = 66_600_000_000_000;
    // It is kept while it runs, too.
    until_clock_is_kept(&state, |shows, is_running| is_running && shows > half_past_six + 60_000_000_000);
    daemon.kill();
    let (mut daemon, door) = start();
    let says = |door: &str| picture(door).unwrap();
    let accessories = json!([{"name": "quay lamps", "on": true}, {"name": "fog horn", "on": false}]);
    until(&door, "the lamps are not as they were", |door| says(door)["accessories"] == accessories);
    let heron =
        |door: &str| says(door)["trains"].as_array().unwrap().iter().find(|it| it["name"] == "Heron").unwrap().clone();
    until(&door, "the headlight is not on", |door| heron(door)["functions"] == json!([0]));
    let clock = says(&door)["clock"].clone();
    assert_eq!((&clock["pace"], &clock["runs"]), (&json!(60.0), &json!(true)), "{clock}");
    let shows = clock["shows"].as_str().unwrap();
    assert!(shows.starts_with("18:3") || shows.starts_with("18:4"), "{clock}");
    daemon.says_within("it strikes 18:");
    ask(&door, &json!({"ask": "pause-clock"}));
    until_clock_is_kept(&state, |_, is_running| !is_running);
    let clock = says(&door)["clock"].clone();
    daemon.kill();
    let (mut daemon, door) = start();
    assert_eq!(says(&door)["clock"], clock, "it stands where it stood");
    daemon.says_within(&format!("clock.lua: true {}", clock["shows"].as_str().unwrap()));
    for shift in 1..=2 {
        let shift = shift.to_string();
        let replayed = program::lineclear(&["replay", state.to_str().unwrap(), "--shift", &shift], b"");
        assert_eq!(replayed.status, Some(0), "shift {shift}: {}{}", replayed.output, replayed.complaints);
    }
}
