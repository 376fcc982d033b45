//! Coils and registers, with servers by `pymodbus`.

use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use lineside::Lineside;
use signaller::{Input, Output};
use track::Lie;

use super::{free_port, lever, open, said, until_down, until_reported, until_up};
use crate::program;

fn links(way: &str) -> String {
    format!(
        r#"[[link]]
name = "row"
by = "modbus"
{way}
every = 0.02
[link.sections]
"quay" = {{ input = 3 }}
"throat" = {{ input = 4, inverted = true }}
[link.inputs]
"coal stage lever" = {{ input = 9, inverted = true }}
[link.turnouts]
"W1" = {{ straight = {{ input = 5 }}, diverging = {{ input = 6 }}, set-straight = {{ coil = 7 }}, set-diverging = {{ coil = 8 }}, pulse = 0.05 }}
"#
    )
}

/// A server by pymodbus, and what it prints.
struct Server {
    process: Child,
    lines: Receiver<String>,
}

impl Server {
    fn start(args: &[&str]) -> Option<Self> {
        let python = program::python("pymodbus", "pymodbus")?;
        let mut process = Command::new(python)
            .arg(program::root().join("tests/peers/modbus_server.py"))
            .args(args)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let output = BufReader::new(process.stdout.take().unwrap());
        let (sender, lines) = channel();
        std::thread::spawn(move || output.lines().map_while(Result::ok).try_for_each(|line| sender.send(line)));
        assert_eq!(lines.recv_timeout(Duration::from_secs(30)).as_deref(), Ok("ready"));
        Some(Self { process, lines })
    }

    fn tell(&mut self, line: &str) {
        writeln!(self.process.stdin.as_mut().unwrap(), "{line}").unwrap();
    }

    #[track_caller]
    fn says(&self, lineside: &mut Lineside, wanted: &str) {
        let began = Instant::now();
        while began.elapsed() < Duration::from_secs(30) {
            lineside.pulse().beat();
            lineside.next_within(Duration::from_millis(10));
            if self.lines.try_iter().any(|line| line == wanted) {
                return;
            }
        }
        panic!("the server never said `{wanted}`");
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// What must hold over whatever line.
fn holds(folder: &Path, way: &str, args: &[&str]) {
    let Some(mut server) = Server::start(args) else { return };
    let (layout, mut lineside) = open(folder, &links(way));
    let turnout = layout.turnout_named("W1").unwrap();
    let mut first = until_up(&mut lineside);
    first.sort_by_key(|input| format!("{input:?}"));
    let lies = |lie| Input::TurnoutReported { turnout, lie };
    assert_eq!(first, [lever(&layout, true), said(&layout, "quay", false), said(&layout, "throat", true), lies(None)]);
    server.tell("input 9 1");
    until_reported(&mut lineside, &lever(&layout, false));
    server.tell("input 3 1");
    until_reported(&mut lineside, &said(&layout, "quay", true));
    server.tell("input 6 1");
    until_reported(&mut lineside, &lies(Some(Lie::Diverging)));
    lineside.order(&[Output::Throw { turnout, lie: Lie::Straight }]);
    server.says(&mut lineside, "coil 7 1");
    server.says(&mut lineside, "coil 7 0");
    for mode in ["hang", "garbage"] {
        server.tell(&format!("mode {mode}"));
        let why = until_down(&mut lineside);
        println!("{mode}: {why}");
        server.tell("mode well");
        let back = Instant::now();
        let all = until_up(&mut lineside);
        println!("{mode}: up after {:?}", back.elapsed());
        assert!(all.contains(&said(&layout, "quay", true)) && all.len() == 4, "{all:?}");
        assert!(all.contains(&lever(&layout, false)), "it is asked anew: {all:?}");
    }
    server.tell("mode slow");
    server.tell("input 3 0");
    until_reported(&mut lineside, &said(&layout, "quay", false));
    server.process.kill().unwrap();
    server.process.wait().unwrap();
    until_down(&mut lineside);
    let Some(mut again) = Server::start(args) else { return };
    assert!(until_up(&mut lineside).contains(&said(&layout, "quay", false)));
    again.tell("input 4 1");
    until_reported(&mut lineside, &said(&layout, "throat", false));
}

#[test]
fn servers_over_tcp_are_asked_told_lost_and_found_again() {
    let port = free_port().to_string();
    holds(&program::scratch("modbus-tcp"), &format!("tcp = \"127.0.0.1:{port}\""), &["tcp", &port]);
}

#[test]
fn servers_on_a_serial_line_are_asked_told_lost_and_found_again() {
    let folder = program::scratch("modbus-rtu");
    let ends = ["ours", "theirs"].map(|end| folder.join(end));
    let pair = ends.each_ref().map(|end| format!("pty,raw,echo=0,link={}", end.display()));
    let Ok(mut line) = Command::new("socat").args(&pair).stderr(Stdio::null()).spawn() else {
        return program::skip("`socat` is not there: run `scripts/test`");
    };
    let began = Instant::now();
    while !ends.iter().all(|end| end.exists()) {
        assert!(began.elapsed() < Duration::from_secs(30), "`socat` makes no line");
        std::thread::yield_now();
    }
    let way = format!("serial = \"{}\"\nparity = \"none\"", ends[0].display());
    let outcome = std::panic::catch_unwind(|| holds(&folder, &way, &["serial", ends[1].to_str().unwrap()]));
    line.kill().unwrap();
    line.wait().unwrap();
    assert!(outcome.is_ok());
}
