//! Signals of the system: to end, and to read the layout anew.

use std::io;

use super::shell::Call;
use super::view::Key;

/// What is done when the terminal hangs up, or somebody sends that signal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Hangup {
    /// The run ends: whoever looked on is gone.
    Ends,
    /// The layout is read anew.
    ReadsAnew,
}

/// Ctrl-C, and where there are such things the signals to end and to hang up.
pub(super) struct Interrupts {
    hangup: Hangup,
    #[cfg(unix)]
    terminate: tokio::signal::unix::Signal,
    #[cfg(unix)]
    interrupt: tokio::signal::unix::Signal,
    #[cfg(unix)]
    hung_up: tokio::signal::unix::Signal,
}

impl Interrupts {
    #[cfg(unix)]
    pub(super) fn new(hangup: Hangup) -> io::Result<Self> {
        use tokio::signal::unix::{SignalKind, signal};
        Ok(Self {
            hangup,
            terminate: signal(SignalKind::terminate())?,
            interrupt: signal(SignalKind::interrupt())?,
            hung_up: signal(SignalKind::hangup())?,
        })
    }

    /// What the loop is called for by the next one.
    #[cfg(unix)]
    pub(super) async fn next(&mut self) -> Call {
        tokio::select! {
            _ = self.terminate.recv() => Call::Key(Key::Leave),
            _ = self.interrupt.recv() => Call::Key(Key::Leave),
            _ = self.hung_up.recv() => match self.hangup {
                Hangup::Ends => Call::Key(Key::Leave),
                Hangup::ReadsAnew => Call::ReadAnew,
            },
        }
    }

    #[cfg(not(unix))]
    pub(super) fn new(hangup: Hangup) -> io::Result<Self> {
        Ok(Self { hangup })
    }

    #[cfg(not(unix))]
    pub(super) async fn next(&mut self) -> Call {
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
        Call::Key(Key::Leave)
    }
}
