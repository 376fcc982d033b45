//! `lineclear table`: a pretend table that runs by itself, for a daemon that comes and goes.
//!
//! The trains are there whether anybody is in charge of them or not. A daemon that is not heard of for a second is not in charge any
//! more, and every train is made to stand.

mod links;
pub(crate) mod wire;

use std::collections::BTreeMap;
use std::io::{self, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::{Duration, Instant};

use signaller::Time;
use testtrack::swarm::FaultSet;
use testtrack::{Served, Settings};
use track::{Renumbering, SectionId, TrainId};

use crate::run::pace;
use crate::{Exit, folder};

use wire::Order;

/// Where the table is if nothing else was said.
pub(crate) const USUAL_TABLE: SocketAddr = SocketAddr::new(std::net::IpAddr::V4(std::net::Ipv4Addr::LOCALHOST), 4461);

/// A daemon that is not heard of for so long is not in charge any more.
const LOST: Duration = Duration::from_secs(1);
/// How often time passes on the table.
const TICK: Duration = Duration::from_millis(5);
/// A table that falls further behind does not try to catch up.
const TOO_FAR_BEHIND: Duration = Duration::from_millis(250);

/// What was asked for on the command line.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The folder of the layout
    #[arg(value_name = "DIR")]
    layout: PathBuf,
    /// Where daemons find it: an address of this machine
    #[arg(long, value_name = "ADDRESS", default_value_t = USUAL_TABLE)]
    listen: SocketAddr,
    /// Stand behind the layout's links, as its hardware: behind brokers, and at the addresses of adapters
    #[arg(long, conflicts_with = "listen")]
    links: bool,
    /// How long to run; without it until Ctrl-C
    #[arg(long = "for", value_name = "TIME", value_parser = pace::span)]
    span: Option<Duration>,
    /// What decides everything that is left to chance
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Tell where each train is, whenever that changes: what a person at the table sees
    #[arg(long)]
    places: bool,
    /// What goes wrong: `none`, `mild`, `harsh`, or names of faults with commas between them
    #[arg(long, value_name = "WHICH", default_value = "none", value_parser = FaultSet::read)]
    faults: FaultSet,
}

/// Runs the table until its time is over.
pub(crate) fn run(args: &Args) -> Exit {
    let complain = |words: &dyn std::fmt::Display| {
        // Where nobody listens there is nobody left to tell.
        let _ = writeln!(io::stderr(), "{words}");
        Exit::BadInput
    };
    let (layout, wiring, files) = match folder::load_with_files(&args.layout) {
        Ok((loaded, files)) => (Arc::new(loaded.layout), loaded.wiring, files),
        Err(refused) => return complain(&refused),
    };
    if !args.listen.ip().is_loopback() {
        return complain(&format_args!("error: `{}` is no address of this machine alone", args.listen));
    }
    let settings = Settings { faults: args.faults.faults(), ..Settings::seeded(args.seed) };
    let served = match Served::new(Arc::clone(&layout), &settings) {
        Ok(served) => served,
        Err(error) => return complain(&format_args!("error: {error}")),
    };
    if args.links {
        let Some(wiring) = wiring else {
            return complain(
                &"error: there is no `links.toml`\nhint: it says how hardware is reached; see the reference",
            );
        };
        let ran = links::run(args, &layout, &wiring, served);
        return ran.unwrap_or_else(|why| complain(&format_args!("error: {why}")));
    }
    let listener = match TcpListener::bind(args.listen) {
        Ok(listener) => listener,
        Err(error) => return complain(&format_args!("error: `{}`: {}", args.listen, error.to_string().to_lowercase())),
    };
    if let Ok(address) = listener.local_addr() {
        let _ = writeln!(io::stdout(), "the table is at {address}");
        let _ = io::stdout().flush();
    }
    let (sender, daemons) = channel();
    let digest = Arc::new(AtomicU64::new(wire::digest(&files)));
    let asked = Arc::clone(&digest);
    // It ends with the program: nothing can end its waiting for a daemon.
    std::thread::spawn(move || listen(&listener, &asked, &sender));
    let mut running = Running {
        served,
        settings,
        digest,
        daemons,
        daemon: None,
        last_heard: Instant::now(),
        told: Told::new(args),
        runs_out: false,
    };
    running.run(args.span.map(|span| Instant::now() + span));
    running.told.verdict(&running.served)
}

/// What was told of the table.
struct Told {
    /// How many broken rules.
    broken: usize,
    /// Where trains were last said to be, where that is told.
    places: Option<BTreeMap<TrainId, Vec<SectionId>>>,
}

impl Told {
    fn new(args: &Args) -> Self {
        Self { broken: 0, places: args.places.then(BTreeMap::new) }
    }

    /// Tells what is new.
    fn tell(&mut self, served: &Served) {
        self.tell_places(served);
        for violation in served.violations().iter().skip(self.broken) {
            say(&format!(
                "broken rule {:?} at {:.3} s: {}",
                violation.rule,
                violation.at.secs_f64(),
                violation.sentence
            ));
        }
        self.broken = served.violations().len();
    }

    fn tell_places(&mut self, served: &Served) {
        let Some(places) = &mut self.places else { return };
        let table = served.table();
        let layout = table.layout();
        for train in layout.trains.ids() {
            let now = table.footprint(train).to_vec();
            if places.get(&train) != Some(&now) {
                let names: Vec<&str> = now.iter().map(|&section| layout.sections[section].name.as_str()).collect();
                let names = if names.is_empty() { "no track".to_owned() } else { names.join(", ") };
                say(&format!("{} is on {names}", layout.trains[train].name));
                places.insert(train, now);
            }
        }
    }

    /// What the table has to say at the end.
    fn verdict(&self, served: &Served) -> Exit {
        let broken = served.violations().len();
        say(&format!("{broken} rules broken"));
        if broken == 0 { Exit::Fine } else { Exit::Wrong }
    }
}

/// What comes from outside.
enum News {
    /// A daemon came; it takes the place of the one before.
    Came(u64, TcpStream),
    /// The daemon of that number ordered something.
    Ordered(u64, Order),
    /// It is gone.
    Left(u64),
}

fn listen(listener: &TcpListener, digest: &AtomicU64, news: &Sender<News>) {
    for (number, stream) in (1_u64..).zip(listener.incoming()) {
        let Ok(stream) = stream else { continue };
        let (news, digest) = (news.clone(), digest.load(Ordering::Relaxed));
        std::thread::spawn(move || {
            if let Err(error) = attend(number, &stream, digest, &news) {
                let _ = writeln!(io::stderr(), "daemon {number}: {}", error.to_string().to_lowercase());
            }
            let _ = news.send(News::Left(number));
        });
    }
}

fn attend(number: u64, stream: &TcpStream, digest: u64, news: &Sender<News>) -> io::Result<()> {
    stream.set_nodelay(true)?;
    stream.set_write_timeout(Some(LOST))?;
    wire::greet(&mut &*stream, digest)?;
    stream.set_read_timeout(Some(LOST))?;
    wire::be_greeted(&mut &*stream, digest)?;
    stream.set_read_timeout(None)?;
    let mut input = io::BufReader::new(stream.try_clone()?);
    let told = |one: News| news.send(one).map_err(|_| io::Error::other("the table is ending"));
    told(News::Came(number, stream.try_clone()?))?;
    loop {
        match wire::read_order(&mut input) {
            Ok(order) => told(News::Ordered(number, order))?,
            Err(error) if error.kind() == io::ErrorKind::UnexpectedEof => return Ok(()),
            Err(error) => return Err(error),
        }
    }
}

struct Running {
    served: Served,
    settings: Settings,
    /// The digest of the layout's files.
    digest: Arc<AtomicU64>,
    daemons: Receiver<News>,
    /// Who is in charge.
    daemon: Option<(u64, TcpStream)>,
    last_heard: Instant,
    told: Told,
    /// Nobody is in charge, and the trains do not stand yet.
    runs_out: bool,
}

impl Running {
    fn run(&mut self, until: Option<Instant>) {
        let mut anchor = (Instant::now(), Time::ZERO);
        let mut ticks_at = Instant::now();
        while until.is_none_or(|until| Instant::now() < until) {
            match self.daemons.recv_timeout(ticks_at.saturating_duration_since(Instant::now())) {
                Ok(news) => self.hear(news),
                Err(RecvTimeoutError::Disconnected) => return,
                Err(RecvTimeoutError::Timeout) => {
                    ticks_at = Instant::now() + TICK;
                    let now = self.served.table().now();
                    let due = anchor.1 + anchor.0.elapsed();
                    if due > now + TOO_FAR_BEHIND {
                        anchor = (Instant::now(), now + TOO_FAR_BEHIND);
                    }
                    self.pass(due.min(now + TOO_FAR_BEHIND));
                }
            }
            self.told.tell(&self.served);
        }
    }

    fn hear(&mut self, news: News) {
        match news {
            News::Came(number, stream) => {
                say(&format!("daemon {number} is in charge"));
                self.runs_out = false;
                self.daemon = Some((number, stream));
                self.last_heard = Instant::now();
                let reports = self.served.take_over();
                self.send(&reports);
            }
            News::Ordered(number, order) if self.daemon.as_ref().is_some_and(|(daemon, _)| *daemon == number) => {
                match order {
                    Order::Stepped { reports, inputs, outputs } => self.served.stepped(reports, &inputs, &outputs),
                    Order::Here => {}
                    Order::Abandon => {
                        say(&format!("daemon {number} gives the trains up"));
                        self.served.abandon();
                    }
                    Order::Rebuild(files) => self.rebuild(&files),
                }
                self.last_heard = Instant::now();
            }
            News::Left(number) if self.daemon.as_ref().is_some_and(|(daemon, _)| *daemon == number) => {
                self.lose(number, "left");
            }
            News::Ordered(..) | News::Left(_) => {}
        }
    }

    fn rebuild(&mut self, files: &BTreeMap<String, String>) {
        let loaded = layout::load(|name| Ok(files.get(name).map(|text| text.clone().into_bytes())));
        let rebuilt = loaded.map_err(|refused| refused.to_string()).and_then(|loaded| {
            let layout = Arc::new(loaded.layout);
            let numbers = Renumbering::between(self.served.table().layout(), &layout, &[]);
            self.served.rebuild(&layout, &self.settings, &numbers)
        });
        match &rebuilt {
            Ok(_) => {
                self.digest.store(wire::digest(files), Ordering::Relaxed);
                self.told.places = self.told.places.as_ref().map(|_| BTreeMap::new());
                say("the track was built anew");
            }
            Err(why) => say(&format!("the track was not built anew: {why}")),
        }
        let Some((number, stream)) = &mut self.daemon else { return };
        let number = *number;
        if wire::send_rebuilt(stream, &rebuilt).is_err() {
            self.lose(number, "takes nothing any more");
        }
    }

    fn pass(&mut self, until: Time) {
        let reports = self.served.pass(until);
        if !reports.is_empty() {
            self.send(&reports);
        }
        if self.runs_out && self.served.all_stand() {
            self.runs_out = false;
            say("every train stands");
        }
        if let Some((number, _)) = self.daemon
            && self.last_heard.elapsed() >= LOST
        {
            self.lose(number, "is silent");
        }
    }

    fn send(&mut self, reports: &[signaller::Input]) {
        let Some((number, stream)) = &mut self.daemon else { return };
        let number = *number;
        if wire::send_reports(stream, reports).is_err() {
            self.lose(number, "takes nothing any more");
        }
    }

    fn lose(&mut self, number: u64, how: &str) {
        say(&format!("daemon {number} {how}; every train is made to stand"));
        if let Some((_, stream)) = self.daemon.take() {
            // One that is gone need not be told.
            let _ = stream.shutdown(std::net::Shutdown::Both);
        }
        self.served.abandon();
        self.runs_out = true;
    }
}

fn say(line: &str) {
    // Where nobody listens there is nobody left to tell.
    let _ = writeln!(io::stdout(), "{line}");
    let _ = io::stdout().flush();
}
