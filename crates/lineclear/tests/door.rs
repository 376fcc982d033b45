//! A running daemon is looked at and asked by its control door.

#![cfg(test)]

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

/// A daemon with the demo on its pretend table.
struct Daemon {
    process: Child,
    door: String,
}

impl Daemon {
    fn start() -> Self {
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-layout");
        let mut process = Command::new(env!("CARGO_BIN_EXE_lineclear"))
            .arg("run")
            .arg(demo)
            .args(["--plain", "--door", "127.0.0.1:0", "--for", "120s"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut first = String::new();
        let mut output = BufReader::new(process.stdout.take().unwrap());
        output.read_line(&mut first).unwrap();
        // Somebody must read on, or the daemon could not write.
        std::thread::spawn(move || std::io::copy(&mut output, &mut std::io::sink()));
        let door = first.trim().strip_prefix("the control door is at http://").unwrap().to_owned();
        Self { process, door }
    }

    fn lineclear(&self, args: &[&str]) -> Output {
        let (command, rest) = args.split_first().unwrap();
        let door = ["--door", &self.door];
        Command::new(env!("CARGO_BIN_EXE_lineclear")).arg(command).args(door).args(rest).output().unwrap()
    }

    /// One request by hand; gives the status and the body.
    fn http(&self, method: &str, path: &str, headers: &[&str], body: &str) -> (u16, String) {
        let mut stream = TcpStream::connect(&self.door).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        let headers = headers.iter().map(|header| format!("{header}\r\n")).collect::<String>();
        let host = if headers.contains("host:") { String::new() } else { format!("host: {}\r\n", self.door) };
        let length = body.len();
        write!(
            stream,
            "{method} {path} HTTP/1.1\r\n{host}{headers}content-length: {length}\r\nconnection: close\r\n\r\n{body}"
        )
        .unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        let (head, body) = answer.split_once("\r\n\r\n").unwrap();
        (head.split(' ').nth(1).unwrap().parse().unwrap(), body.to_owned())
    }

    fn ask(&self, wish: &Value, key: Option<&str>) -> (u16, Value) {
        let key = key.map(|key| format!("idempotency-key: {key}"));
        let mut headers = vec!["content-type: application/json"];
        headers.extend(key.as_deref());
        let (status, body) = self.http("POST", "/v1/requests", &headers, &wish.to_string());
        (status, serde_json::from_str(&body).unwrap())
    }

    fn picture(&self) -> Value {
        let (status, body) = self.http("GET", "/v1/picture", &[], "");
        assert_eq!(status, 200, "{body}");
        serde_json::from_str(&body).unwrap()
    }

    /// Waits until the picture shows something.
    fn until(&self, what: &str, shows: impl Fn(&Value) -> bool) -> Value {
        let began = Instant::now();
        loop {
            let picture = self.picture();
            if shows(&picture) {
                return picture;
            }
            assert!(began.elapsed() < Duration::from_secs(30), "the picture never showed {what}: {picture}");
            std::thread::yield_now();
        }
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

fn of<'p>(picture: &'p Value, list: &str, name: &str) -> &'p Value {
    picture[list].as_array().unwrap().iter().find(|row| row["name"] == name).unwrap()
}

#[test]
fn a_train_that_somebody_holds_stands_until_it_is_released() {
    let daemon = Daemon::start();
    let held = daemon.lineclear(&["tell", "hold", "Heron", "time", "for", "tea"]);
    assert!(held.status.success(), "{}", String::from_utf8_lossy(&held.stderr));
    daemon.until("the hold", |picture| of(picture, "trains", "Heron")["held"] == "time for tea");
    assert!(daemon.lineclear(&["tell", "release", "Heron"]).status.success());
    let picture = daemon.until("that it is over", |picture| of(picture, "trains", "Heron")["held"].is_null());
    assert_eq!(of(&picture, "sections", "quay-1")["is"], "sure");
}

#[test]
fn what_is_not_done_is_told_with_its_reason() {
    let daemon = Daemon::start();
    daemon.until("Heron under way", |picture| of(picture, "trains", "Heron")["step"] != 0);
    for (words, code, why) in [
        (&["throw", "W1", "diverging"][..], 1, "refused: turnout `W1` is locked"),
        (&["go", "Heorn", "quay-1"], 2, "no train `Heorn`; the nearest name is `Heron`"),
        (&["place", "Heron", "quay-1", "--nose", "quay-1.z"], 2, "no end `quay-1.z`"),
        (&["fly", "Heron"], 2, "unrecognized subcommand"),
    ] {
        let told = daemon.lineclear(&[&["tell"], words].concat());
        let said = String::from_utf8_lossy(&told.stderr).into_owned();
        assert_eq!((told.status.code(), said.contains(why)), (Some(code), true), "{words:?}: {said}");
    }
    let nobody = Command::new(env!("CARGO_BIN_EXE_lineclear"))
        .args(["tell", "--door", "127.0.0.1:1", "stop-all"])
        .output()
        .unwrap();
    assert_eq!(nobody.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&nobody.stderr).contains("nobody is at `127.0.0.1:1`"));
}

#[test]
fn a_request_sent_twice_under_one_key_is_asked_once() {
    let daemon = Daemon::start();
    let hold = json!({"ask": "hold", "train": "Heron", "reason": "once"});
    let first = daemon.ask(&hold, Some("a"));
    assert_eq!((first.0, &first.1["fate"]), (200, &json!("accepted")));
    assert!(daemon.lineclear(&["tell", "release", "Heron"]).status.success());
    assert_eq!(daemon.ask(&hold, Some("a")), first, "the answer of before, with its time");
    assert!(of(&daemon.picture(), "trains", "Heron")["held"].is_null(), "and it is not held again");
    let (status, other) = daemon.ask(&json!({"ask": "stop-all"}), Some("a"));
    assert_eq!((status, &other["fate"]), (409, &json!("failed")), "{other}");
}

#[test]
fn every_train_is_stopped_by_a_bare_form_and_runs_on_when_it_is_told_to() {
    let daemon = Daemon::start();
    let (status, body) = daemon.http("POST", "/v1/stop-all", &["content-type: application/x-www-form-urlencoded"], "");
    assert_eq!(status, 200, "{body}");
    let picture = daemon.until("the stop", |picture| picture["phase"] == "halted");
    for train in picture["trains"].as_array().unwrap() {
        assert_eq!((&train["step"], train["held"].is_null()), (&json!(0), false), "{train}");
    }
    assert_eq!(daemon.ask(&json!({"ask": "resume-all"}), None).0, 200);
    daemon.until("trains on their way", |picture| {
        picture["phase"] == "running" && picture["trains"].as_array().unwrap().iter().any(|train| train["step"] != 0)
    });
}

#[test]
fn how_fast_a_train_is_at_each_step_is_told_with_bounds_both_ways() {
    let daemon = Daemon::start();
    let (status, body) = daemon.http("GET", "/v1/trains/Heron/profile", &[], "");
    assert_eq!(status, 200, "{body}");
    let told: Value = serde_json::from_str(&body).unwrap();
    assert_eq!(told["train"], "Heron");
    let highest = of(&daemon.picture(), "trains", "Heron")["highest"].as_u64().unwrap();
    for side in ["forward", "backward"] {
        let steps = told[side].as_array().unwrap();
        assert_eq!(steps.len() as u64, highest, "{side}: every step is told");
        let number = |row: &Value, of: &str| row[of].as_f64().unwrap();
        for (place, row) in steps.iter().enumerate() {
            assert_eq!(row["step"], place + 1);
            assert!(
                number(row, "least") <= number(row, "likely") && number(row, "likely") <= number(row, "most"),
                "{row}"
            );
        }
        assert!(number(&steps[0], "likely") < number(steps.last().unwrap(), "likely"), "a higher step is faster");
    }
    for (name, status, why) in [
        ("Heorn", 404, "no train `Heorn`; the nearest name is `Heron`"),
        ("quay-1", 404, "no train `quay-1`"),
        ("%FF", 400, ""),
    ] {
        let (got, said) = daemon.http("GET", &format!("/v1/trains/{name}/profile"), &[], "");
        assert!(got == status && said.contains(why), "{name}: {got} {said}");
    }
}

#[test]
fn pages_of_somebody_else_and_things_that_make_no_sense_are_turned_away() {
    let daemon = Daemon::start();
    let json = "content-type: application/json";
    for (method, path, headers, body, status) in [
        ("GET", "/v1/picture", &["host: railway.example"][..], "", 403),
        ("POST", "/v1/stop-all", &["origin: http://elsewhere.example"], "", 403),
        ("POST", "/v1/requests", &[json], "{\"ask\": \"hold\"", 400),
        ("POST", "/v1/requests", &[json], "{\"ask\": \"hold\", \"train\": \"Heron\", \"colour\": 1}", 400),
        ("POST", "/v1/requests", &["content-type: text/plain"], "{\"ask\": \"stop-all\"}", 415),
        ("POST", "/v1/requests", &[json, "idempotency-key:"], "{\"ask\": \"stop-all\"}", 400),
        ("GET", "/v1/stream", &[], "", 400),
        ("GET", "/nothing", &[], "", 404),
        ("DELETE", "/v1/picture", &[], "", 405),
    ] {
        let (got, said) = daemon.http(method, path, headers, body);
        assert_eq!(got, status, "{method} {path} {headers:?}: {said}");
        let said: Value = serde_json::from_str(&said).unwrap();
        assert!(said["fate"] == "failed" && said["reason"].is_string(), "{said}");
    }
    assert_eq!(daemon.picture()["phase"], "running", "nothing of it was done");
}

#[test]
fn an_onlooker_hears_what_happens_and_the_trains_do_not_care() {
    let daemon = Daemon::start();
    let mut onlooker = Command::new(env!("CARGO_BIN_EXE_lineclear"))
        .args(["watch", "--plain", "--door", &daemon.door])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(onlooker.stdout.take().unwrap()).lines();
    // It follows once it is counted among those who do.
    let began = Instant::now();
    while !daemon.http("GET", "/metrics", &[], "").1.contains("lineclear_clients 1") {
        assert!(began.elapsed() < Duration::from_secs(20), "the onlooker never came in");
    }
    assert!(daemon.lineclear(&["tell", "hold", "Dunlin", "paint"]).status.success());
    let heard = lines.by_ref().map(Result::unwrap).find(|line| line.contains("Dunlin"));
    assert_eq!(heard.unwrap().split_once("  ").unwrap().1, "Dunlin is held: paint");
    onlooker.kill().unwrap();
    onlooker.wait().unwrap();
    let later = daemon.until("that time goes on", |picture| picture["at"].as_f64().unwrap() > 1.0);
    assert_eq!(later["phase"], "running");
}

#[test]
fn a_door_that_others_could_reach_or_that_is_taken_is_not_opened() {
    let daemon = Daemon::start();
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-layout");
    for (door, why) in [("0.0.0.0:0", "can be reached from other machines"), (&daemon.door, "in use")] {
        let run = Command::new(env!("CARGO_BIN_EXE_lineclear"))
            .arg("run")
            .arg(&demo)
            .args(["--plain", "--for", "1s", "--door", door])
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&run.stderr).into_owned();
        assert_eq!((run.status.code(), said.contains(why)), (Some(2), true), "{said}");
    }
}
