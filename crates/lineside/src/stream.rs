//! The shell of links whose bytes come in a row: a program's output, a socket.
//!
//! What is said on such a link is a [`Talk`]: pure, and told the time. The shell connects, again and again, moves bytes, and
//! gives a connection up that takes nothing, or that is silent for too long.

use std::io;
use std::pin::Pin;
use std::time::{Duration, Instant};

use signaller::Output;
use tokio::io::{AsyncRead, AsyncReadExt as _, AsyncWrite, AsyncWriteExt as _};

use crate::backoff::Backoff;
use crate::lineside::Orders;
use crate::news::Told;
use crate::reporter::{NobodyListens, Reporter};
use crate::rewire::Rewire;
use crate::words::in_words;

/// How often time passes in a talk.
const BEAT: Duration = Duration::from_millis(50);
/// Whoever takes nothing for so long is not there.
const PATIENCE: Duration = Duration::from_secs(2);
/// So many bytes are read at once.
const CHUNK: usize = 16 * 1024;

/// What comes of something that a talk was told: bytes to send, and what it means.
#[derive(Debug, Default)]
pub(crate) struct Turn {
    pub(crate) send: Vec<u8>,
    pub(crate) told: Vec<Told>,
}

/// What is said on a connection. Times are since some beginning, and never go back.
pub(crate) trait Talk: Send {
    /// A connection is there: nothing that was said on another one counts.
    fn begin(&mut self, now: Duration) -> Turn;
    /// Bytes came.
    fn hear(&mut self, now: Duration, bytes: &[u8]) -> Turn;
    /// Something is ordered.
    fn order(&mut self, now: Duration, output: &Output) -> Turn;
    /// Things go by other numbers from now on.
    fn rewire(&mut self, rewire: &Rewire);
    /// Time passes.
    fn tick(&mut self, now: Duration) -> Turn;
    /// The connection is about to be ended by us.
    fn end(&mut self) -> Turn;
}

/// Both directions of a connection, and what must be kept for as long as it is used.
pub(crate) struct Connection {
    pub(crate) input: Box<dyn AsyncRead + Send + Unpin>,
    pub(crate) output: Box<dyn AsyncWrite + Send + Unpin>,
    pub(crate) kept: Box<dyn Kept>,
}

/// What stands behind a connection: a process that is to be ended with it.
pub(crate) trait Kept: Send {
    /// Ends it; gives it a moment to end by itself. Gives its last words, where there are any.
    fn end(self: Box<Self>) -> Pin<Box<dyn Future<Output = Option<String>> + Send>>;
}

impl Kept for () {
    fn end(self: Box<Self>) -> Pin<Box<dyn Future<Output = Option<String>> + Send>> {
        Box::pin(std::future::ready(None))
    }
}

/// Makes connections.
pub(crate) trait Connect: Send {
    /// Makes one.
    fn connect(&mut self) -> Pin<Box<dyn Future<Output = io::Result<Connection>> + Send + '_>>;
}

/// How a connection ended.
enum Ended {
    /// It is lost, for this reason.
    Lost(String),
    /// The link is to be closed.
    Closed,
}

/// Keeps a link up until it is closed or nobody listens any more.
pub(crate) async fn serve(
    mut connect: impl Connect,
    mut talk: impl Talk,
    mut reporter: Reporter,
    mut orders: Orders,
    silent_after: Option<Duration>,
) {
    let began = Instant::now();
    let mut backoff = Backoff::new();
    loop {
        let tried = Instant::now();
        let ended = match connect.connect().await {
            Ok(connection) => attend(connection, &mut talk, &mut reporter, &mut orders, silent_after, began).await,
            Err(error) => Ok(Ended::Lost(in_words(&error))),
        };
        match ended {
            Err(NobodyListens) | Ok(Ended::Closed) => return,
            Ok(Ended::Lost(why)) => {
                if reporter.lost(&why).await.is_err() || orders.pass_over(backoff.after(tried.elapsed())).await.is_err()
                {
                    return;
                }
            }
        }
    }
}

async fn attend(
    connection: Connection,
    talk: &mut impl Talk,
    reporter: &mut Reporter,
    orders: &mut Orders,
    silent_after: Option<Duration>,
    began: Instant,
) -> Result<Ended, NobodyListens> {
    let Connection { mut input, mut output, kept } = connection;
    let ended = speak(&mut input, &mut output, talk, reporter, orders, silent_after, began).await;
    if !matches!(ended, Ok(Ended::Lost(_))) {
        let last = talk.end();
        // One that is gone need not be told.
        let _ = tokio::time::timeout(PATIENCE, output.write_all(&last.send)).await;
    }
    drop((input, output));
    Ok(match (ended?, kept.end().await) {
        (Ended::Lost(why), Some(last)) => Ended::Lost(format!("{why}: {last}")),
        (ended, _) => ended,
    })
}

async fn speak(
    input: &mut (dyn AsyncRead + Send + Unpin),
    output: &mut (dyn AsyncWrite + Send + Unpin),
    talk: &mut impl Talk,
    reporter: &mut Reporter,
    orders: &mut Orders,
    silent_after: Option<Duration>,
    began: Instant,
) -> Result<Ended, NobodyListens> {
    let mut bytes = vec![0; CHUNK];
    let mut beats = tokio::time::interval(BEAT);
    let mut turn = talk.begin(began.elapsed());
    reporter.alive();
    loop {
        if !turn.send.is_empty() {
            match tokio::time::timeout(PATIENCE, output.write_all(&turn.send)).await {
                Ok(Ok(())) => {}
                Ok(Err(error)) => return Ok(Ended::Lost(in_words(&error))),
                Err(_) => return Ok(Ended::Lost("it takes nothing any more".to_owned())),
            }
        }
        let gone = turn.told.iter().find_map(|told| match told {
            Told::Gone(why) => Some(why.clone()),
            _ => None,
        });
        reporter.take(turn.told).await?;
        reporter.flush().await?;
        if let Some(why) = gone {
            return Ok(Ended::Lost(why));
        }
        if silent_after.is_some_and(|longest| reporter.silent_for() > longest) {
            return Ok(Ended::Lost(format!("it is silent for {} s", reporter.silent_for().as_secs())));
        }
        turn = tokio::select! {
            read = input.read(&mut bytes) => match read {
                Ok(0) => return Ok(Ended::Lost("it ended".to_owned())),
                Ok(count) => {
                    reporter.alive();
                    talk.hear(began.elapsed(), &bytes[..count])
                }
                Err(error) => return Ok(Ended::Lost(in_words(&error))),
            },
            ordered = orders.next() => match ordered {
                None => return Ok(Ended::Closed),
                Some(outputs) => {
                    if let Some(rewire) = orders.take_rewire() {
                        talk.rewire(&rewire);
                        reporter.rewired(&rewire).await?;
                    }
                    let mut turn = Turn::default();
                    for output in &outputs {
                        let Turn { send, told } = talk.order(began.elapsed(), output);
                        turn.send.extend(send);
                        turn.told.extend(told);
                    }
                    turn
                }
            },
            _ = beats.tick() => talk.tick(began.elapsed()),
        };
    }
}
