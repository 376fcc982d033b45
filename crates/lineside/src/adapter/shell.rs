//! The process of an adapter, or the socket at which it listens.

use std::io;
use std::path::PathBuf;
use std::pin::Pin;
use std::process::Stdio;
use std::sync::Arc;
use std::time::Duration;

use signaller::Output;
use tokio::io::{AsyncRead, AsyncReadExt as _};
use tokio::process::{Child, Command};
use tokio::task::JoinHandle;
use track::wiring::{Adapter, AdapterWay};

use super::codec::{Codec, SILENT, Spoken};
use crate::lineside::{Role, Start};
use crate::rewire::Rewire;
use crate::stream::{self, Connect, Connection, Kept, Talk, Turn};
use crate::words::{about, in_words};

/// How long a process may take to end by itself before it is ended.
const ENDING: Duration = Duration::from_secs(2);
/// A longer line on standard error is told in pieces.
const LONGEST_COMPLAINT: usize = 2000;
/// How long the last words of one that has ended may take, and how long they may be.
const LAST_WORDS: Duration = Duration::from_millis(200);
const LONGEST_LAST_WORDS: usize = 200;
/// How long it may take to connect.
const PATIENCE: Duration = Duration::from_secs(3);

impl From<Spoken> for Turn {
    fn from(spoken: Spoken) -> Self {
        Self { send: spoken.send, told: spoken.told }
    }
}

/// The codec, and whether it may give orders.
struct AdapterTalk {
    codec: Codec,
    role: Role,
}

impl Talk for AdapterTalk {
    fn begin(&mut self, _now: Duration) -> Turn {
        self.codec.begin().into()
    }

    fn hear(&mut self, _now: Duration, bytes: &[u8]) -> Turn {
        self.codec.hear(bytes).into()
    }

    fn order(&mut self, _now: Duration, output: &Output) -> Turn {
        if self.role == Role::Listens {
            return Turn::default();
        }
        self.codec.order(output).into()
    }

    fn rewire(&mut self, rewire: &Rewire) {
        self.codec.rewire(Arc::clone(&rewire.layout), &rewire.wired);
    }

    fn tick(&mut self, now: Duration) -> Turn {
        self.codec.tick(now).into()
    }

    fn end(&mut self) -> Turn {
        self.codec.end().into()
    }
}

/// Keeps the link up until it is closed or nobody listens any more.
pub(crate) async fn serve(setup: Adapter, start: Start) {
    let Start { layout, wired, role, folder, reporter, orders, .. } = start;
    let mut codec = Codec::new(layout, &wired, &setup);
    if role == Role::Listens {
        codec = codec.listening();
    }
    let silent_after = wired.silent_after.unwrap_or(SILENT);
    let way = Way { way: setup.way, folder, name: wired.name };
    stream::serve(way, AdapterTalk { codec, role }, reporter, orders, Some(silent_after)).await;
}

struct Way {
    way: AdapterWay,
    folder: PathBuf,
    name: String,
}

impl Connect for Way {
    fn connect(&mut self) -> Pin<Box<dyn Future<Output = io::Result<Connection>> + Send + '_>> {
        Box::pin(async {
            let slow = |_| io::Error::new(io::ErrorKind::TimedOut, "nobody answers");
            match &self.way {
                AdapterWay::Process(command) => self.start(command),
                AdapterWay::Tcp(address) => {
                    let connecting = tokio::net::TcpStream::connect(address);
                    let connected =
                        tokio::time::timeout(PATIENCE, connecting).await.unwrap_or_else(|late| Err(slow(late)));
                    let socket = connected.map_err(|error| about(address, &error))?;
                    socket.set_nodelay(true)?;
                    let (input, output) = socket.into_split();
                    Ok(Connection { input: Box::new(input), output: Box::new(output), kept: Box::new(()) })
                }
                #[cfg(unix)]
                AdapterWay::Unix(path) => {
                    let connecting = tokio::net::UnixStream::connect(self.folder.join(path));
                    let connected =
                        tokio::time::timeout(PATIENCE, connecting).await.unwrap_or_else(|late| Err(slow(late)));
                    let socket = connected.map_err(|error| about(path, &error))?;
                    let (input, output) = socket.into_split();
                    Ok(Connection { input: Box::new(input), output: Box::new(output), kept: Box::new(()) })
                }
                #[cfg(not(unix))]
                AdapterWay::Unix(_) => Err(io::Error::other("there are no such sockets on this system")),
            }
        })
    }
}

impl Way {
    fn start(&self, command: &[String]) -> io::Result<Connection> {
        let Some((program, rest)) = command.split_first() else { return Err(io::Error::other("there is no program")) };
        let told = |error: io::Error| io::Error::other(format!("`{program}` cannot be started: {}", in_words(&error)));
        let mut command = Command::new(program);
        // Ctrl-C at a terminal is for us: by whom trains are to be told to stand must not be gone before us.
        #[cfg(unix)]
        command.process_group(0);
        let mut child = command
            .args(rest)
            .current_dir(&self.folder)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .kill_on_drop(true)
            .spawn()
            .map_err(told)?;
        let missing = || io::Error::other("it has no standard input and output");
        let (input, output) = (child.stdout.take().ok_or_else(missing)?, child.stdin.take().ok_or_else(missing)?);
        let errors = child.stderr.take().ok_or_else(missing)?;
        let complaints = tokio::spawn(log(errors, self.name.clone()));
        let process = Process { child, complaints };
        Ok(Connection { input: Box::new(input), output: Box::new(output), kept: Box::new(process) })
    }
}

/// What the process writes to standard error goes into our log, whatever it is; gives the last line of it.
async fn log(mut errors: impl AsyncRead + Unpin, name: String) -> Option<String> {
    let (mut bytes, mut line, mut last) = ([0; 4096], Vec::new(), None);
    while let Ok(count @ 1..) = errors.read(&mut bytes).await {
        for &byte in &bytes[..count] {
            if byte != b'\n' && line.len() < LONGEST_COMPLAINT {
                line.push(byte);
                continue;
            }
            let text = String::from_utf8_lossy(&line).into_owned();
            let plain = text.trim().chars().map(|letter| if letter.is_control() { ' ' } else { letter });
            let complaint: String = plain.collect();
            tracing::warn!(link = name, "{complaint}");
            last = Some(complaint).filter(|complaint| !complaint.is_empty()).or(last);
            line.clear();
        }
    }
    last.map(|last| last.chars().take(LONGEST_LAST_WORDS).collect())
}

/// A process that is ours, and what becomes of its complaints.
struct Process {
    child: Child,
    complaints: JoinHandle<Option<String>>,
}

impl Kept for Process {
    fn end(mut self: Box<Self>) -> Pin<Box<dyn Future<Output = Option<String>> + Send>> {
        Box::pin(async move {
            if tokio::time::timeout(ENDING, self.child.wait()).await.is_err() {
                tracing::warn!("an adapter does not end by itself: it is ended");
                // One that is gone cannot be ended.
                let _ = self.child.kill().await;
            }
            // Whoever it started itself may go on complaining: they are not waited for.
            let last = tokio::time::timeout(LAST_WORDS, &mut self.complaints).await;
            self.complaints.abort();
            last.ok()?.ok()?
        })
    }
}
