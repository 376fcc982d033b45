//! How long a request takes through the control door, from the first byte sent to the last of the answer, beside an echo through
//! the same stack: `cargo bench --package tests`. A request is answered once the signaller has worked through it and its outputs are out;
//! with a register once it is durable, too.
//!
//! And what those who look on cost the signaller: how long its steps take while nobody follows the stream, and while several do.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{Shutdown, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitCode, Stdio};
use std::time::{Duration, Instant};

const ROUNDS: usize = 2000;

/// So many follow the stream.
const CLIENTS: usize = 10;
/// So often steps are timed without them and with them, in turn, each time for so long.
const TURNS: usize = 8;
const TURN: Duration = Duration::from_secs(8);
/// How many times faster than life the demo runs meanwhile, so that there is much to tell.
const PACE: &str = "100";

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
        let (door, _daemon) = start(root, &program, keeps, "1")?;
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
    let (door, daemon) = start(root, &program, None, PACE)?;
    listen(&door, daemon.0.id(), &mut output)
}

/// What was counted of a daemon over some time.
struct Counted {
    /// How long a step of the signaller took on average, in microseconds.
    step_us: f64,
    /// How long a request took, the middle one of some.
    request: Duration,
    /// How much processor time the whole daemon took a second, in milliseconds; nothing where the system does not say.
    busy_ms: Option<f64>,
    heard: usize,
}

/// Times steps with nobody at the stream and with several, in turn.
fn listen(door: &str, process: u32, output: &mut impl Write) -> Result<(), Failed> {
    writeln!(
        output,
        "\nthe demo at {PACE} times life; {TURNS} turns of {TURN:?} with nobody, and with {CLIENTS} clients at the stream"
    )?;
    let mut ratios = Vec::new();
    for turn in 1..=TURNS {
        let alone = count(door, process, 0)?;
        let heard = count(door, process, CLIENTS)?;
        let ratio = heard.step_us / alone.step_us;
        ratios.push(ratio);
        let busy = |it: &Counted| it.busy_ms.map_or(String::new(), |busy| format!(", daemon {busy:.0} ms/s"));
        writeln!(
            output,
            "  {turn}  a step {:.2} us{}, a request {:.1?} | {:.2} us{}, {:.1?}; each heard {:.0} kB/s | ratio of steps {ratio:.3}",
            alone.step_us,
            busy(&alone),
            alone.request,
            heard.step_us,
            busy(&heard),
            heard.request,
            heard.heard as f64 / CLIENTS as f64 / TURN.as_secs_f64() / 1000.0
        )?;
    }
    ratios.sort_by(f64::total_cmp);
    let (least, most) = (ratios[0], ratios[TURNS - 1]);
    let middle = (ratios[(TURNS - 1) / 2] + ratios[TURNS / 2]) / 2.0;
    writeln!(
        output,
        "  steps with {CLIENTS} clients take {middle:.3} times as long as with none (median; {least:.3} to {most:.3})"
    )?;
    Ok(())
}

/// Lets some follow the stream for a turn, and counts.
fn count(door: &str, process: u32, clients: usize) -> Result<Counted, Failed> {
    let agent = ureq::agent();
    let figures = || -> Result<[f64; 2], Failed> {
        let text = agent.get(format!("{door}/metrics")).call()?.body_mut().read_to_string()?;
        let figure = |name: &str| {
            let line = text.lines().find_map(|line| line.strip_prefix(name));
            line.and_then(|value| value.trim().parse().ok()).ok_or_else(|| format!("no `{name}` is told"))
        };
        Ok([figure("lineclear_step_seconds_sum ")?, figure("lineclear_step_seconds_count ")?])
    };
    let followers: Vec<_> = (0..clients).map(|_| follow(door)).collect::<Result<_, _>>()?;
    let (busy_before, [sum_before, count_before]) = (busy(process), figures()?);
    let began = Instant::now();
    let mut requests = Vec::new();
    while began.elapsed() < TURN {
        let asked = Instant::now();
        let wish = "{\"ask\": \"limit-step\", \"train\": \"Curlew\", \"step\": 20}";
        let request = agent.post(format!("{door}/v1/requests")).header("content-type", "application/json");
        request.send(wish)?.body_mut().read_to_string()?;
        requests.push(asked.elapsed());
        std::thread::sleep(Duration::from_millis(50));
    }
    let took = began.elapsed().as_secs_f64();
    let (busy_after, [sum, count]) = (busy(process), figures()?);
    let mut heard = 0;
    for (stream, reader) in followers {
        stream.shutdown(Shutdown::Both)?;
        heard += reader.join().map_err(|_| "a client failed")?;
    }
    requests.sort_unstable();
    let busy_ms = busy_before.zip(busy_after).map(|(before, after)| (after - before) * 1000.0 / took);
    let step_us = (sum - sum_before) / (count - count_before) * 1e6;
    Ok(Counted { step_us, request: requests[requests.len() / 2], busy_ms, heard })
}

/// Processor time that a process took so far, in seconds, where `/proc` tells it in hundredths.
fn busy(process: u32) -> Option<f64> {
    let text = std::fs::read_to_string(format!("/proc/{process}/stat")).ok()?;
    let mut fields = text.rsplit_once(')')?.1.split_whitespace().skip(11);
    let ticks: f64 = fields.next()?.parse::<f64>().ok()? + fields.next()?.parse::<f64>().ok()?;
    Some(ticks / 100.0)
}

type Follower = (TcpStream, std::thread::JoinHandle<usize>);

/// Follows the stream from a thread that only reads; it gives how many bytes came.
fn follow(door: &str) -> Result<Follower, Failed> {
    let address = door.strip_prefix("http://").ok_or("the door speaks plainly here")?;
    let mut stream = TcpStream::connect(address)?;
    write!(
        stream,
        "GET /v1/stream HTTP/1.1\r\nhost: {address}\r\nconnection: upgrade\r\nupgrade: websocket\r\n\
         sec-websocket-version: 13\r\nsec-websocket-key: AAAAAAAAAAAAAAAAAAAAAA==\r\n\r\n"
    )?;
    let mut reader = stream.try_clone()?;
    let mut head = [0; 12];
    reader.read_exact(&mut head)?;
    if head != *b"HTTP/1.1 101" {
        return Err("nobody is let in to the stream".into());
    }
    let thread = std::thread::spawn(move || {
        let (mut total, mut room) = (0, vec![0; 1 << 16]);
        while let Ok(count @ 1..) = reader.read(&mut room) {
            total += count;
        }
        total
    });
    Ok((stream, thread))
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

fn start(root: &Path, program: &Path, state: Option<&Path>, pace: &str) -> Result<(String, Daemon), Failed> {
    let mut command = Command::new(program);
    command.arg("run").arg(root.join("demo-layout")).args(["--plain", "--for", "24h", "--door", "127.0.0.1:0"]);
    command.args(["--pace", pace]);
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
