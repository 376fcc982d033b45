//! How long a request takes through the control door, from the first byte sent to the last of the answer, beside an echo through
//! the same stack: `cargo bench --package tests`. A request is answered once the signaller has worked through it and its outputs are out;
//! with a register once it is durable, too.

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitCode, Stdio};
use std::time::{Duration, Instant};

const ROUNDS: usize = 2000;

fn main() -> ExitCode {
    match measure() {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            let _ = writeln!(std::io::stderr(), "error: {why}");
            ExitCode::FAILURE
        }
    }
}

type Failed = Box<dyn std::error::Error>;

struct Daemon(Child);

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn measure() -> Result<(), Failed> {
    let mut output = std::io::stdout();
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().ok_or("no workspace")?;
    let program = program(root)?;
    let state = std::env::temp_dir().join(format!("lineclear-bench-{}", std::process::id()));
    writeln!(output, "{ROUNDS} requests, one after another, over one connection on loopback")?;
    for (name, keeps) in [("without a register", None), ("with a register", Some(state.as_path()))] {
        let (door, _daemon) = start(root, &program, keeps)?;
        let agent = ureq::agent();
        let echo =
            rounds(|_| agent.get(format!("{door}/health")).call()?.body_mut().read_to_string().map_err(Into::into))?;
        let asked = rounds(|round| {
            let step = 1 + round % 28;
            let wish = format!("{{\"ask\": \"limit-step\", \"train\": \"Curlew\", \"step\": {step}}}");
            let request = agent.post(format!("{door}/v1/requests")).header("content-type", "application/json");
            Ok(request.send(wish)?.body_mut().read_to_string()?)
        })?;
        writeln!(output, "\n{name}")?;
        for (what, [median, late]) in [("echo", echo), ("request", asked)] {
            writeln!(output, "  {what:<8} median {median:>9.1?}   99th percentile {late:>9.1?}")?;
        }
        let ratio = asked[0].as_secs_f64() / echo[0].as_secs_f64();
        writeln!(output, "  a request takes {ratio:.2} times as long as an echo (medians)")?;
    }
    std::fs::remove_dir_all(state)?;
    Ok(())
}

/// The program in a release build, or another one that `LINECLEAR_PROGRAM` names.
fn program(root: &Path) -> Result<PathBuf, Failed> {
    if let Some(program) = std::env::var_os("LINECLEAR_PROGRAM") {
        return Ok(program.into());
    }
    let built = Command::new(env!("CARGO"))
        .args(["build", "--release", "--quiet", "-p", "lineclear"])
        .current_dir(root)
        .status()?;
    if !built.success() {
        return Err("the program does not build".into());
    }
    let target = std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| root.join("target"), PathBuf::from);
    Ok(target.join("release").join(format!("lineclear{}", std::env::consts::EXE_SUFFIX)))
}

fn start(root: &Path, program: &Path, state: Option<&Path>) -> Result<(String, Daemon), Failed> {
    let mut command = Command::new(program);
    command.arg("run").arg(root.join("demo-layout")).args(["--plain", "--for", "900s", "--door", "127.0.0.1:0"]);
    if let Some(state) = state {
        command.arg("--state").arg(state);
    }
    let mut process = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn()?;
    let mut output = BufReader::new(process.stdout.take().ok_or("no output")?);
    let daemon = Daemon(process);
    let mut first = String::new();
    output.read_line(&mut first)?;
    std::thread::spawn(move || std::io::copy(&mut output, &mut std::io::sink()));
    let door = first.trim().strip_prefix("the control door is at ").ok_or(first.clone())?.to_owned();
    Ok((door, daemon))
}

/// The median and the 99th percentile.
fn rounds(mut once: impl FnMut(usize) -> Result<String, Failed>) -> Result<[Duration; 2], Failed> {
    let mut took = Vec::with_capacity(ROUNDS);
    for round in 0..ROUNDS {
        let began = Instant::now();
        once(round)?;
        took.push(began.elapsed());
    }
    took.sort_unstable();
    Ok([took[ROUNDS / 2], took[ROUNDS * 99 / 100]])
}
