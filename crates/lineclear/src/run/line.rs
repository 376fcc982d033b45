//! The line to a table that runs by itself.
//!
//! Two threads keep it: one connects, again and again, and hears reports; one sends orders, and says that somebody is there for as
//! long as the loop goes round. Reports wait at the line until they are taken: none is ever dropped. Orders that the other side does
//! not take end the connection: a new one begins with everything as it is then.

use std::io::{self, BufReader};
use std::net::{Shutdown, SocketAddr, TcpStream};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use signaller::Input;
use tokio::sync::mpsc;
use track::LinkId;

use crate::table::wire::{self, Order, Told};

/// So many reports may wait to be heard; then the other side waits.
const REPORTS: usize = 1024;
/// So many orders may wait to be sent; then the connection is given up.
const ORDERS: usize = 4096;
/// How often the other side is told that somebody is there.
const BEAT: Duration = Duration::from_millis(250);
/// A loop that has not gone round for so long cannot answer for the trains.
const HANGS: Duration = Duration::from_secs(1);
/// How long to wait for an answer, and before the next try.
const PATIENCE: Duration = Duration::from_secs(1);
const APART: Duration = Duration::from_millis(200);

/// What comes over the line.
#[derive(Debug)]
pub(super) enum News {
    /// It is up. The reports that come first are all there are.
    Up,
    /// Something was reported.
    Reported(Vec<Input>),
    /// The track was built anew, and everything reports this; or it was not, and why.
    Rebuilt(Result<Vec<Input>, String>),
    /// It is down, and why.
    Down(String),
    /// A link to hardware is up, and this is how everything on it is.
    LinkUp(LinkId, Vec<Input>),
    /// A link to hardware is down, and why.
    LinkDown(LinkId, String),
    /// Somebody at a link wants every train to stand at once, and why.
    Stop(LinkId, String),
    /// Hardware has something to say to people.
    Said(String),
}

/// Tells the line that the loop goes round.
#[derive(Clone, Debug)]
pub(super) struct Pulse {
    began: Instant,
    last: Arc<AtomicU64>,
}

impl Pulse {
    fn new() -> Self {
        Self { began: Instant::now(), last: Arc::new(AtomicU64::new(0)) }
    }

    /// The loop went round.
    pub(super) fn beat(&self) {
        self.last.store(self.began.elapsed().as_millis() as u64, Ordering::Relaxed);
    }

    fn silent_for(&self) -> Duration {
        self.began.elapsed().saturating_sub(Duration::from_millis(self.last.load(Ordering::Relaxed)))
    }
}

/// The line.
#[derive(Debug)]
pub(super) struct Line {
    news: mpsc::Receiver<News>,
    orders: Outlet,
    pulse: Pulse,
    /// The digest of the layout that the table must have.
    layout: Arc<AtomicU64>,
}

/// Where orders go, while the line is up.
type Outlet = Arc<Mutex<Option<SyncSender<Order>>>>;

impl Line {
    /// Begins to connect to a table with this layout.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub(super) fn open(address: SocketAddr, layout: u64) -> io::Result<Self> {
        let (sender, news) = mpsc::channel(REPORTS);
        let orders = Outlet::default();
        let layout = Arc::new(AtomicU64::new(layout));
        let line = Self { news, orders: Arc::clone(&orders), pulse: Pulse::new(), layout: Arc::clone(&layout) };
        let pulse = line.pulse.clone();
        let keep = move || {
            let mut told = String::new();
            loop {
                let ended = attend(address, layout.load(Ordering::Relaxed), &sender, &orders, &pulse);
                let was_up = orders.lock().unwrap_or_else(PoisonError::into_inner).take().is_some();
                let why = ended.map_or_else(|error| error.to_string().to_lowercase(), |()| "it ended".to_owned());
                // What is so again and again is told once.
                if (was_up || why != told) && sender.blocking_send(News::Down(why.clone())).is_err() {
                    return;
                }
                told = why;
                if sender.is_closed() {
                    return;
                }
                std::thread::sleep(APART);
            }
        };
        std::thread::Builder::new().name("line".to_owned()).spawn(keep)?;
        Ok(line)
    }

    /// What comes next.
    pub(super) async fn next(&mut self) -> Option<News> {
        self.news.recv().await
    }

    /// From now on the table has another layout, of this digest.
    pub(super) fn relay(&self, layout: u64) {
        self.layout.store(layout, Ordering::Relaxed);
    }

    /// What tells the line that the loop goes round.
    pub(super) fn pulse(&self) -> &Pulse {
        &self.pulse
    }

    /// Sends an order, if the line is up.
    pub(super) fn send(&self, order: Order) {
        let mut orders = self.orders.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(sender) = orders.as_ref()
            && let Err(TrySendError::Full(_)) = sender.try_send(order)
        {
            tracing::error!("the table takes no orders: the connection is given up");
            *orders = None;
        }
    }
}

fn attend(
    address: SocketAddr,
    layout: u64,
    news: &mpsc::Sender<News>,
    orders: &Outlet,
    pulse: &Pulse,
) -> io::Result<()> {
    let stream = TcpStream::connect_timeout(&address, PATIENCE)?;
    stream.set_nodelay(true)?;
    stream.set_write_timeout(Some(PATIENCE))?;
    stream.set_read_timeout(Some(PATIENCE))?;
    wire::greet(&mut &stream, layout)?;
    wire::be_greeted(&mut &stream, layout)?;
    stream.set_read_timeout(None)?;
    let (sender, waiting) = sync_channel(ORDERS);
    let (output, pulse) = (stream.try_clone()?, pulse.clone());
    std::thread::Builder::new().name("orders".to_owned()).spawn(move || {
        if let Err(error) = send_on(&output, &waiting, &pulse) {
            tracing::debug!(%error, "no more orders go to the table");
        }
        // That ends the hearing, too.
        let _ = output.shutdown(Shutdown::Both);
    })?;
    let gone = |_| io::Error::other("the run is over");
    // Orders that come of what is reported must find the way open.
    *orders.lock().unwrap_or_else(PoisonError::into_inner) = Some(sender);
    news.blocking_send(News::Up).map_err(gone)?;
    let mut input = BufReader::new(stream);
    loop {
        let news_of = match wire::read_told(&mut input)? {
            Told::Reported(reports) => News::Reported(reports),
            Told::Rebuilt(rebuilt) => News::Rebuilt(rebuilt),
        };
        news.blocking_send(news_of).map_err(gone)?;
    }
}

/// Sends what waits, until nobody sends any more.
fn send_on(output: &TcpStream, waiting: &Receiver<Order>, pulse: &Pulse) -> io::Result<()> {
    let mut has_given_up = false;
    let mut said_at = Instant::now();
    loop {
        match waiting.recv_timeout(BEAT) {
            Ok(order) => wire::send_order(&mut &*output, &order)?,
            Err(RecvTimeoutError::Disconnected) => return Ok(()),
            Err(RecvTimeoutError::Timeout) => {}
        }
        let hangs = pulse.silent_for() >= HANGS;
        if hangs && !has_given_up {
            tracing::error!("the loop does not go round: the table is told to let the trains stand");
            wire::send_order(&mut &*output, &Order::Abandon)?;
        } else if !hangs && said_at.elapsed() >= BEAT {
            said_at = Instant::now();
            wire::send_order(&mut &*output, &Order::Here)?;
        }
        has_given_up = hangs;
    }
}
