//! `mosquitto`, started anew for each test, on a port and with files of its own.

use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use super::free_port;
use crate::program;

/// A broker that is ended with the test.
pub(super) struct Broker {
    process: Option<Child>,
    pub(super) port: u16,
    settings: PathBuf,
}

impl Broker {
    /// Starts one; nothing where there is none on this machine.
    pub(super) fn start(folder: &Path) -> Option<Self> {
        Self::start_with(folder, "allow_anonymous true\n")
    }

    /// Starts one with more settings than where it listens.
    pub(super) fn start_with(folder: &Path, more: &str) -> Option<Self> {
        if !is_there() {
            program::skip("`mosquitto` is not there: run `scripts/test`");
            return None;
        }
        let port = free_port();
        let settings = folder.join("mosquitto.conf");
        let own = if std::env::var("USER").as_deref() == Ok("root") || is_root() { "user root\n" } else { "" };
        std::fs::write(
            &settings,
            format!("{own}listener {port} 127.0.0.1\npersistence false\nmax_queued_messages 0\n{more}"),
        )
        .unwrap();
        let mut broker = Self { process: None, port, settings };
        broker.begin();
        Some(broker)
    }

    /// Starts it again, where it was before.
    pub(super) fn begin(&mut self) {
        let process =
            command().arg("-c").arg(&self.settings).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        self.process = Some(process);
        let began = Instant::now();
        while TcpStream::connect(("127.0.0.1", self.port)).is_err() {
            assert!(began.elapsed() < Duration::from_secs(30), "the broker does not listen");
            std::thread::yield_now();
        }
    }

    /// Kills it.
    pub(super) fn kill(&mut self) {
        if let Some(mut process) = self.process.take() {
            process.kill().unwrap();
            process.wait().unwrap();
        }
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        self.kill();
    }
}

/// Debian puts it where only the superuser looks.
fn command() -> Command {
    let usual = Path::new("/usr/sbin/mosquitto");
    if usual.exists() { Command::new(usual) } else { Command::new("mosquitto") }
}

fn is_there() -> bool {
    command().arg("-h").stdout(Stdio::null()).stderr(Stdio::null()).status().is_ok()
}

/// A broker that is started by the superuser changes to a user that may not read the settings, unless told otherwise.
fn is_root() -> bool {
    Command::new("id").arg("-u").output().is_ok_and(|output| output.stdout.trim_ascii() == b"0")
}
