//! Programs that speak lines of JSON: the example that is documented, and programs that do not behave.

use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use lineside::What;
use signaller::{Direction, Output};

use super::{lever, open, said, until, until_down, until_reported, until_up};
use crate::program;

fn links(command: &str, more: &str) -> String {
    format!(
        "[[link]]\nname = \"box\"\nby = \"adapter\"\ncommand = [{command}]\n{more}trains = \"all\"\nsignals = \"all\"\nspots = \"all\"\n\
         [link.sections]\n\"quay\" = 3\n\"throat\" = 4\n[link.turnouts]\n\"W1\" = 1\n"
    )
}

/// Whether there is a Python at all: the examples need nothing else.
fn has_python() -> bool {
    let has = Command::new("python3").arg("-c").arg("pass").status().is_ok_and(|status| status.success());
    if !has {
        program::skip("`python3` is not there");
    }
    has
}

#[test]
fn the_documented_example_carries_reports_and_orders() {
    if !has_python() {
        return;
    }
    let folder = program::scratch("adapter-example");
    // The box at the other end of its serial line.
    let Some((box_end, device)) = serial_line(&folder) else { return };
    let example = program::root().join("crates/lineside/tests/data/adapter_example.py");
    let lines = std::fs::read_to_string(&example).unwrap().lines().count();
    assert!(lines < 60, "a maker can read it at once: {lines} lines");
    let command = format!("\"python3\", \"{}\", \"{device}\"", example.display());
    let (layout, mut lineside) = open(&folder, &links(&command, ""));
    let mut heard = BufReader::new(box_end.try_clone().unwrap());
    let mut tell = box_end;
    // Passes over what comes twice, because this test took long enough to count as hanging.
    let mut until_line = move |wanted: &str| {
        loop {
            let mut line = String::new();
            assert!(heard.read_line(&mut line).unwrap() > 0, "the line ended before `{wanted}` came");
            if line.trim() == wanted {
                return;
            }
        }
    };
    until_line("?");
    tell.write_all(b"3=1\n4=0\n.\n").unwrap();
    let mut first = until_up(&mut lineside);
    first.sort_by_key(|input| format!("{input:?}"));
    assert_eq!(first, [said(&layout, "quay", true), said(&layout, "throat", false)]);
    tell.write_all(b"3=0\n").unwrap();
    until_reported(&mut lineside, &said(&layout, "quay", false));
    let (turnout, train) = (layout.turnout_named("W1").unwrap(), layout.train_named("Heron").unwrap());
    lineside.order(&[Output::Throw { turnout, lie: track::Lie::Diverging }]);
    until_line("T1+");
    lineside.order(&[Output::Drive { train, direction: Direction::Backward, step: 9 }]);
    until_line("D12 b 9");
    let stand = Output::Drive { train, direction: Direction::Backward, step: 0 };
    lineside.order(&[Output::EmergencyStop { train }, stand, Output::Function { train, number: 0, on: true }]);
    until_line("D12 b !");
    until_line("F12 0+");
    lineside.order(&[Output::Drive { train, direction: Direction::Backward, step: 9 }]);
    until_line("D12 b 9");
    lineside.pulse().beat();
    // A loop that hangs: its trains are told to stand.
    until_line("D12 b 0");
    lineside.close();
    until_line("X");
}

/// Both ends of a serial line that is a pair of pseudo-terminals: one open, the other by its name.
fn serial_line(folder: &Path) -> Option<(std::fs::File, String)> {
    let ends = ["box", "ours"].map(|end| folder.join(end));
    let pair = ends.each_ref().map(|end| format!("pty,raw,echo=0,link={}", end.display()));
    let Ok(line) = Command::new("timeout").arg("120").arg("socat").args(&pair).spawn() else {
        program::skip("`socat` is not there: run `scripts/test`");
        return None;
    };
    drop(line);
    let began = Instant::now();
    while !ends.iter().all(|end| end.exists()) {
        if began.elapsed() > Duration::from_secs(20) {
            program::skip("`socat` makes no line: run `scripts/test`");
            return None;
        }
        std::thread::yield_now();
    }
    let file = std::fs::OpenOptions::new().read(true).write(true).open(&ends[0]).unwrap();
    Some((file, ends[1].to_str().unwrap().to_owned()))
}

fn script(folder: &Path, text: &str) -> String {
    std::fs::write(folder.join("box.py"), text).unwrap();
    "\"python3\", \"-u\", \"box.py\"".to_owned()
}

const HELLO: &str = "import sys, time\nsys.stdin.readline()\nprint('{\"adapter\": 1}')\nsys.stdin.readline()\n\
    print('{\"section\": \"quay\", \"occupied\": true}\\n{\"complete\": true}')\n";

#[test]
fn a_program_that_ends_is_started_again_and_its_last_words_are_in_the_log() {
    if !has_python() {
        return;
    }
    let folder = program::scratch("adapter-ends");
    let command = script(&folder, &format!("{HELLO}time.sleep(0.1)\nraise SystemExit('out of luck')\n"));
    let (layout, mut lineside) = open(&folder, &links(&command, ""));
    for _ in 0..3 {
        assert_eq!(until_up(&mut lineside), [said(&layout, "quay", true)]);
        let why = until_down(&mut lineside);
        assert!(why.ends_with(": out of luck"), "its last words are told: {why}");
    }
}

#[test]
fn a_program_tells_of_levers_and_is_asked_for_them_anew() {
    if !has_python() {
        return;
    }
    let folder = program::scratch("adapter-inputs");
    let text = HELLO.replace("{\"complete\"", "{\"input\": \"coal stage lever\", \"on\": true}\\n{\"complete\"");
    let more =
        "time.sleep(0.1)\nprint('{\"input\": \"coal stage lever\", \"on\": false}', flush=True)\ntime.sleep(0.1)\n";
    let command = script(&folder, &format!("{text}{more}"));
    let (layout, mut lineside) = open(&folder, &links(&command, "inputs = \"all\"\n"));
    for _ in 0..2 {
        assert_eq!(until_up(&mut lineside), [said(&layout, "quay", true), lever(&layout, true)]);
        until_reported(&mut lineside, &lever(&layout, false));
        until_down(&mut lineside);
    }
}

#[test]
fn a_program_that_is_silent_is_ended_and_one_that_cannot_be_started_is_told() {
    if !has_python() {
        return;
    }
    let folder = program::scratch("adapter-silent");
    let command = script(&folder, &format!("{HELLO}time.sleep(3600)\n"));
    let (_, mut lineside) = open(&folder, &links(&command, "silent-after = 1\n"));
    until_up(&mut lineside);
    let why = until_down(&mut lineside);
    assert!(why.starts_with("it is silent"), "{why}");
    until_up(&mut lineside);
    drop(lineside);
    let (_, mut lineside) = open(&folder, &links("\"./no-such-program\"", ""));
    let why = until_down(&mut lineside);
    assert!(why.contains("`./no-such-program` cannot be started"), "{why}");
}

#[test]
fn a_program_is_not_ended_by_what_ends_us_at_a_terminal() {
    if !has_python() {
        return;
    }
    let folder = program::scratch("adapter-group");
    // What is typed at a terminal goes to all of a group.
    let text = "import os\nsays = '{\"say\": \"leads its own group: %s\"}' % (os.getpgrp() == os.getpid())\n\
                print(says, flush=True)\ntime.sleep(60)\n";
    let command = script(&folder, &format!("{HELLO}{text}"));
    let (_, mut lineside) = open(&folder, &links(&command, ""));
    let said = until(&mut lineside, "what it says", |news| match news.what {
        What::Said(text) => Some(text),
        _ => None,
    });
    assert_eq!(said, "leads its own group: True");
}

#[test]
fn a_program_that_prints_rubbish_or_never_ends_a_line_is_told_and_ended() {
    if !has_python() {
        return;
    }
    let folder = program::scratch("adapter-rubbish");
    let rubbish = "import os\nwhile True: os.write(1, os.urandom(200) + b'\\n')\n";
    let endless = "import os\nwhile True: os.write(1, b'x' * 65536)\n";
    for text in [rubbish, endless] {
        let command = script(&folder, text);
        let (_, mut lineside) = open(&folder, &links(&command, ""));
        let why = until_down(&mut lineside);
        assert!(why.starts_with("it says nothing that makes sense"), "{why}");
    }
}

#[test]
fn a_program_that_floods_is_heard_to_its_last_word_and_not_ahead_of_us() {
    if !has_python() {
        return;
    }
    let folder = program::scratch("adapter-floods");
    let flood = "for n in range(200000):\n    print('{\"section\": \"quay\", \"occupied\": ' + ('true}' if n % 2 else 'false}'))\n\
                 print('{\"section\": \"throat\", \"occupied\": true}', flush=True)\ntime.sleep(60)\n";
    let command = script(&folder, &format!("{HELLO}{flood}"));
    let (layout, mut lineside) = open(&folder, &links(&command, ""));
    let (throat, mut heard) = (said(&layout, "throat", true), 0);
    until(&mut lineside, "the last word", |news| match news.what {
        What::Up(inputs) | What::Reported(inputs) => {
            heard += inputs.len();
            inputs.contains(&throat).then_some(())
        }
        _ => None,
    });
    assert_eq!(heard, 200_002, "none is dropped, and the first one was said in the greeting");
}

#[test]
fn a_program_that_speaks_otherwise_is_told_and_what_it_says_to_people_is_said() {
    if !has_python() {
        return;
    }
    let folder = program::scratch("adapter-other");
    let command = script(&folder, "import time\nprint('{\"adapter\": 9}')\ntime.sleep(60)\n");
    let (_, mut lineside) = open(&folder, &links(&command, ""));
    let why = until_down(&mut lineside);
    assert_eq!(why, "it speaks version 9, and we speak 1");
    drop(lineside);
    let command = script(&folder, "import time\nprint('{\"say\": \"the fuse is blown\"}')\ntime.sleep(60)\n");
    let (_, mut lineside) = open(&folder, &links(&command, ""));
    until(&mut lineside, "what it says", |news| {
        (news.what == What::Said("the fuse is blown".to_owned())).then_some(())
    });
}
