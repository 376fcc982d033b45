//! The control door keeps to its own description, as somebody else reads it: `schemathesis` (PyPI) makes requests of what the
//! OpenAPI document says, good ones and bad ones, and looks whether the answers are as described, and none an error of ours.

use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};

use crate::program;

/// Requests made up for each operation.
const EXAMPLES: &str = "100";

/// Chooses the requests, unless `LINECLEAR_SEED` says otherwise: what was right yesterday shall not fail today by chance.
const SEED: &str = "1";

#[test]
fn every_answer_of_the_control_door_is_as_it_is_described() {
    let Some(python) = program::python("schemathesis", "schemathesis") else { return };
    let demo = program::root().join("demo-layout");
    let mut daemon = program::start(Command::new(program::program()).arg("run").arg(demo).args([
        "--plain",
        "--for",
        "600s",
        "--door",
        "127.0.0.1:0",
    ]));
    let mut first = String::new();
    let mut output = BufReader::new(daemon.stdout.take().unwrap());
    output.read_line(&mut first).unwrap();
    std::thread::spawn(move || std::io::copy(&mut output, &mut std::io::sink()));
    let door = first.trim().strip_prefix("the control door is at ").unwrap_or_else(|| panic!("{first}"));
    let ran = Command::new(python)
        .args(["-c", "import sys; from schemathesis.cli import schemathesis; sys.exit(schemathesis())", "run"])
        .arg(format!("{door}/v1/openapi.json"))
        .args(["--seed", &std::env::var("LINECLEAR_SEED").unwrap_or_else(|_| SEED.to_owned())])
        .args(["--max-examples", EXAMPLES, "--request-timeout", "20", "--no-color"])
        // It leaves its notes where it is started.
        .current_dir(program::scratch("contract"))
        .stdin(Stdio::null())
        .output();
    daemon.kill().unwrap();
    daemon.wait().unwrap();
    let ran = ran.unwrap();
    let said = String::from_utf8_lossy(&ran.stdout).into_owned();
    println!("{said}");
    assert!(ran.status.success(), "{said}\n{}", String::from_utf8_lossy(&ran.stderr));
    assert!(requests_that_passed(&said).is_some_and(|passed| passed > 1000), "{said}");
}

/// How many requests were made, if all of them passed.
fn requests_that_passed(said: &str) -> Option<u32> {
    let (made, rest) = said.lines().find_map(|line| line.trim().split_once(" generated, "))?;
    let passed = rest.split_whitespace().next()?;
    (made == passed).then(|| made.parse().ok())?
}
