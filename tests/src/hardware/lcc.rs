//! A bus of nodes, with a node by `pyolcb` on frames of `python-can`, over a small hub that is ours.

use std::io::{BufRead as _, BufReader, Write as _};
use std::net::{Shutdown, TcpListener};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use lineside::Lineside;
use signaller::{Input, Output};

use super::{free_port, lever, open, said, until_down, until_reported, until_up};
use crate::program;

fn links(way: &str) -> String {
    format!(
        r#"[[link]]
name = "bus"
by = "lcc"
{way}
node-id = "05.01.01.01.03.01"
[link.sections]
"quay" = {{ occupied = "05.01.01.01.8C.00.00.01", free = "05.01.01.01.8C.00.00.02" }}
"throat" = {{ occupied = "05.01.01.01.8C.00.00.03", free = "05.01.01.01.8C.00.00.04" }}
[link.inputs]
"coal stage lever" = {{ on = "05.01.01.01.8C.00.00.08", off = "05.01.01.01.8C.00.00.09" }}
[link.turnouts]
"W1" = {{ straight = "05.01.01.01.8C.00.00.06", diverging = "05.01.01.01.8C.00.00.07", accessory = 12 }}
[link.signals]
"S1" = {{ red = "05.01.01.01.03.01.00.01", green = "05.01.01.01.03.01.00.03" }}
"#
    )
}

/// A node by pyolcb, and what it prints.
struct Peer {
    process: Child,
    lines: Receiver<String>,
}

impl Peer {
    fn start(port: u16) -> Option<Self> {
        let python = program::python("pyolcb", "pyolcb")?;
        let mut process = Command::new(python)
            .arg(program::root().join("tests/peers/lcc_peer.py"))
            .arg(port.to_string())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let output = BufReader::new(process.stdout.take().unwrap());
        let (sender, lines) = channel();
        std::thread::spawn(move || output.lines().map_while(Result::ok).try_for_each(|line| sender.send(line)));
        let peer = Self { process, lines };
        peer.says(&mut None, "ready");
        Some(peer)
    }

    fn tell(&mut self, line: &str) {
        writeln!(self.process.stdin.as_mut().unwrap(), "{line}").unwrap();
    }

    /// Waits for a line that begins so, while the link lives.
    #[track_caller]
    fn says(&self, lineside: &mut Option<&mut Lineside>, beginning: &str) -> String {
        for _ in 0..600 {
            if let Some(lineside) = lineside {
                lineside.pulse().beat();
                lineside.next_within(Duration::from_millis(10));
            }
            match self.lines.recv_timeout(Duration::from_millis(100)) {
                Ok(line) if line.starts_with(beginning) => return line,
                Ok(_) | Err(std::sync::mpsc::RecvTimeoutError::Timeout) => {}
                Err(error) => panic!("the peer ended before it said `{beginning}`: {error}"),
            }
        }
        panic!("the peer never said `{beginning}`");
    }
}

impl Drop for Peer {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

#[test]
fn events_go_both_ways_with_a_node_that_somebody_else_wrote() {
    let folder = program::scratch("lcc-peer");
    let port = free_port();
    let (layout, mut lineside) = open(&folder, &links(&format!("hub = \"127.0.0.1:{port}\"")));
    until_up(&mut lineside);
    let Some(mut peer) = Peer::start(port) else { return };
    peer.tell("event 050101018C000001");
    until_reported(&mut lineside, &said(&layout, "quay", true));
    peer.tell("event 050101018C000002");
    until_reported(&mut lineside, &said(&layout, "quay", false));
    let turnout = layout.turnout_named("W1").unwrap();
    peer.tell("event 050101018C000007");
    until_reported(&mut lineside, &Input::TurnoutReported { turnout, lie: Some(track::Lie::Diverging) });
    for (event, on) in [("050101018C000008", true), ("050101018C000009", false)] {
        peer.tell(&format!("event {event}"));
        until_reported(&mut lineside, &lever(&layout, on));
    }
    let signal = layout.signal_named("S1").unwrap();
    lineside.order(&[Output::Show { signal, aspect: layout.book_of(signal).named("red").unwrap() }]);
    peer.says(&mut Some(&mut lineside), "consumed");
    lineside.order(&[Output::Throw { turnout, lie: track::Lie::Straight }]);
    // The published event of accessory 12, second output.
    peer.says(&mut Some(&mut lineside), "frame 195B4240 0101020000FF001F");
}

#[test]
fn a_hub_that_is_gone_takes_its_sections_with_it_and_everything_is_asked_anew() {
    let folder = program::scratch("lcc-hub");
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let way = format!("tcp = \"{}\"", listener.local_addr().unwrap());
    let (layout, mut lineside) = open(&folder, &links(&way));
    for time in 1..=2 {
        let (socket, _) = listener.accept().unwrap();
        let (found, asked) = channel();
        let (mut answers, input) = (socket.try_clone().unwrap(), socket.try_clone().unwrap());
        std::thread::spawn(move || {
            // It answers what is asked of one event, as a node would: it is so.
            for text in BufReader::new(input).split(b';').map_while(Result::ok) {
                let text = String::from_utf8_lossy(&text).into_owned();
                if text.contains(":X19914") && text.contains("050101018C000003") {
                    let _ = answers.write_all(b"noise:X19544111N050101018C000003;");
                }
                let _ = found.send(text);
            }
        });
        assert_eq!(until_up(&mut lineside), [said(&layout, "throat", true)], "time {time}");
        assert!(asked.try_iter().any(|text| text.contains(":X17050240N")), "it asked for its alias");
        assert_eq!(lineside.health()[0].times_up, time);
        socket.shutdown(Shutdown::Both).unwrap();
        until_down(&mut lineside);
    }
}

#[test]
fn frames_go_over_a_can_interface_where_the_machine_has_a_virtual_one() {
    let made = Command::new("ip").args(["link", "add", "dev", "vcan7", "type", "vcan"]).stderr(Stdio::null()).status();
    let is_up = made.is_ok_and(|made| made.success())
        && Command::new("ip").args(["link", "set", "up", "vcan7"]).status().is_ok_and(|set| set.success());
    if !is_up {
        // Not a peer that is missing: a kernel without such interfaces, or a user who may not make one.
        println!("skipped: this machine makes no virtual CAN interface");
        return;
    }
    let folder = program::scratch("lcc-can");
    let (layout, mut lineside) = open(&folder, &links("can = \"vcan7\""));
    until_up(&mut lineside);
    let Some(python) = program::python("python-can", "can") else { return };
    let say = "import can\nb = can.Bus(interface='socketcan', channel='vcan7')\n\
               b.send(can.Message(arbitration_id=0x195B4111, is_extended_id=True, data=bytes.fromhex('050101018C000001')))\nb.shutdown()";
    assert!(Command::new(python).args(["-c", say]).status().unwrap().success());
    until_reported(&mut lineside, &said(&layout, "quay", true));
    let _ = Command::new("ip").args(["link", "del", "vcan7"]).status();
    until_down(&mut lineside);
}
