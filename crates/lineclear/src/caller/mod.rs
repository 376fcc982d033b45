//! Those who come to a running daemon by its control door: `lineclear tell` asks for something, `lineclear watch` looks on.

pub(crate) mod tell;
pub(crate) mod watch;

use std::net::SocketAddr;
use std::time::Duration;

use panel::{Fate, Wish};

/// For so long an answer is waited for.
const PATIENCE: Duration = Duration::from_secs(10);

/// Asks for something, and tells what became of it. One that was cut off is asked once more under the same key, so that it is
/// done once at most.
///
/// # Errors
/// In words, where nobody answers.
pub(crate) fn ask(door: SocketAddr, wish: &Wish) -> Result<Fate, String> {
    let agent: ureq::Agent =
        ureq::Agent::config_builder().timeout_global(Some(PATIENCE)).http_status_as_error(false).build().into();
    let body = serde_json::to_string(wish).map_err(|error| error.to_string())?;
    let now = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap_or_default();
    let key = format!("tell-{}-{}", std::process::id(), now.as_nanos());
    let once = || {
        let request = agent.post(format!("http://{door}/v1/requests"));
        let request = request.header("content-type", "application/json").header("idempotency-key", &key);
        request.send(&body).and_then(|mut response| response.body_mut().read_to_string())
    };
    let answer = once().or_else(|error| match error {
        ureq::Error::ConnectionFailed | ureq::Error::HostNotFound => Err(error),
        ureq::Error::Io(error) if error.kind() == std::io::ErrorKind::ConnectionRefused => Err(error.into()),
        _ => once(),
    });
    understand(door, answer)
}

/// Has the layout read anew, and tells what became of it.
///
/// # Errors
/// In words, where nobody answers.
fn reload(door: SocketAddr) -> Result<Fate, String> {
    let agent: ureq::Agent =
        ureq::Agent::config_builder().timeout_global(Some(PATIENCE)).http_status_as_error(false).build().into();
    let answer = agent.post(format!("http://{door}/v1/reload")).send_empty();
    understand(door, answer.and_then(|mut response| response.body_mut().read_to_string()))
}

fn understand(door: SocketAddr, answer: Result<String, ureq::Error>) -> Result<Fate, String> {
    let answer = answer.map_err(|error| match error {
        ureq::Error::Io(error) if error.kind() == std::io::ErrorKind::ConnectionRefused => {
            format!(
                "nobody is at `{door}`\nhint: start `lineclear run DIR`, or say where its control door is with `--door`"
            )
        }
        other => format!("the daemon at `{door}` does not answer: {}", other.to_string().to_lowercase()),
    })?;
    serde_json::from_str(&answer).map_err(|_| format!("what is at `{door}` is no control door of this program"))
}
