//! What lies behind the links, for a pretend table that stands in for the hardware of a layout.
//!
//! It speaks as a maker's own nodes would: it reports how everything is when it comes, whenever that changes and whenever it is
//! asked; it does what it is ordered; and when whoever gives orders is gone, or cannot be reached, that is told, so that the
//! trains stand.

mod bus;
mod servers;

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use serde_json::Value;
use signaller::{Input, Output};
use tokio::io::{AsyncBufReadExt as _, AsyncWriteExt as _, BufReader};
use tokio::net::{TcpListener, TcpStream};
use tokio::runtime::Runtime;
use tokio::sync::mpsc;
use track::Layout;
use track::wiring::{
    Adapter, AdapterWay, At, By, Lcc, LccWay, Modbus, ModbusWay, Mqtt, MqttHears, Reads, Thing, WiredLink, Wiring,
};

use crate::mqtt::{Client, Event, Failure, Publish};
use crate::reading::mark_of;
use crate::{adapter, lcc, modbus, mqtt};

/// How long to wait before the next try to reach a broker.
const APART: Duration = Duration::from_millis(200);
/// How often an adapter says that it is there.
const ALIVE: Duration = Duration::from_secs(1);
/// One that hears nothing for so long lets its trains stand.
const SILENT: Duration = Duration::from_secs(3);
/// A longer line is none.
const LONGEST_LINE: u64 = 1 << 20;

/// What comes over the links.
#[derive(Clone, Debug, PartialEq)]
pub enum Ordered {
    /// Something shall be so.
    Output(Output),
    /// Whoever gave orders is gone, or cannot be reached: why.
    Abandoned(String),
    /// Somebody is there.
    Taken(String),
}

/// The hardware of a layout, as it is seen from its links.
#[derive(Debug)]
pub struct Behind {
    runtime: Option<Runtime>,
    orders: mpsc::UnboundedReceiver<Ordered>,
    reports: Vec<mpsc::UnboundedSender<Vec<Input>>>,
}

/// How everything on one link is: what was reported last.
#[derive(Debug, Default)]
struct States(BTreeMap<Thing, Input>);

impl States {
    fn note(&mut self, inputs: &[Input]) {
        for input in inputs {
            match mark_of(input) {
                // That something passed is not how something is.
                None | Some((Thing::Spot(_), _)) => {}
                Some((thing, _)) => drop(self.0.insert(thing, input.clone())),
            }
        }
    }
}

/// One end of a link that is looked after.
struct End {
    name: String,
    orders: mpsc::UnboundedSender<Ordered>,
    reports: mpsc::UnboundedReceiver<Vec<Input>>,
    states: States,
    /// Somebody is in charge, as far as was told.
    is_taken: bool,
}

impl End {
    fn tell(&mut self, is_taken: bool, why: &str) {
        if std::mem::replace(&mut self.is_taken, is_taken) == is_taken {
            return;
        }
        let told = format!("link {}: {why}", self.name);
        // Where nobody asks any more the table is ending.
        let _ = self.orders.send(if is_taken { Ordered::Taken(told) } else { Ordered::Abandoned(told) });
    }
}

impl End {
    /// The next who comes; nothing once the table is ending. What is reported meanwhile is noted.
    async fn awaits(&mut self, listener: &TcpListener) -> Option<TcpStream> {
        loop {
            tokio::select! {
                came = listener.accept() => return came.ok().map(|(socket, _)| socket),
                inputs = self.reports.recv() => self.states.note(&inputs?),
            }
        }
    }
}

impl Behind {
    /// Stands behind every link that is an MQTT broker, or at an address: an adapter, a bus, or a line of servers.
    ///
    /// # Errors
    /// When the system gives no thread, or there is a link behind which no table can stand.
    pub fn open(layout: &Arc<Layout>, wiring: &Wiring, folder: &Path) -> io::Result<Self> {
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build()?;
        let (sender, orders) = mpsc::unbounded_channel();
        let mut reports = Vec::new();
        for wired in &wiring.links {
            let (outlet, inlet) = mpsc::unbounded_channel();
            reports.push(outlet);
            let (name, states) = (wired.name.clone(), States::default());
            let end = End { name, orders: sender.clone(), reports: inlet, states, is_taken: false };
            begin(&runtime, Arc::clone(layout), wired, folder, end)?;
        }
        Ok(Self { runtime: Some(runtime), orders, reports })
    }

    /// Something is so, or happens: it is reported over the link that carries it.
    pub fn report(&self, inputs: &[Input]) {
        for link in &self.reports {
            // One that has ended carries nothing any more.
            let _ = link.send(inputs.to_vec());
        }
    }

    /// What comes next; nothing if nothing comes within a time. Not to be called within a runtime.
    pub fn next_within(&mut self, wait: Duration) -> Option<Ordered> {
        let runtime = self.runtime.as_ref()?;
        runtime.block_on(async { tokio::time::timeout(wait, self.orders.recv()).await }).ok()?
    }
}

impl Drop for Behind {
    fn drop(&mut self) {
        if let Some(runtime) = self.runtime.take() {
            runtime.shutdown_background();
        }
    }
}

fn begin(runtime: &Runtime, layout: Arc<Layout>, wired: &WiredLink, folder: &Path, end: End) -> io::Result<()> {
    match &wired.by {
        By::Mqtt(setup) => {
            if let Some(name) = unsaid(wired) {
                let why = "it is told by a part of a message, or by a number";
                return Err(io::Error::other(format!("no pretend table can say how `{name}` is: {why}")));
            }
            let mirror = mqtt::Mirror::new(layout, wired, setup);
            runtime.spawn(node((**setup).clone(), mirror, folder.to_owned(), end));
            Ok(())
        }
        By::Adapter(Adapter { way: AdapterWay::Tcp(address), .. }) => {
            let mirror = adapter::Mirror::new(layout, wired);
            let listener = runtime.block_on(TcpListener::bind(address))?;
            runtime.spawn(lines(listener, mirror, end));
            Ok(())
        }
        By::Lcc(setup @ Lcc { way: LccWay::Tcp(address), .. }) => {
            let mirror = lcc::Mirror::new(layout, wired, setup);
            let listener = runtime.block_on(TcpListener::bind(address))?;
            runtime.spawn(bus::bus(listener, mirror, end));
            Ok(())
        }
        By::Modbus(Modbus { way: ModbusWay::Tcp(address), .. }) => {
            let listener = runtime.block_on(TcpListener::bind(address))?;
            runtime.spawn(servers::servers(listener, modbus::Mirror::new(wired), end));
            Ok(())
        }
        _ => Err(io::Error::other(format!("no pretend table can stand behind link `{}`", wired.name))),
    }
}

/// Something on a broker that is told otherwise than by a word of its own.
fn unsaid(wired: &WiredLink) -> Option<&str> {
    let is_word = |hears: &MqttHears| hears.pointer.is_none() && !matches!(hears.reads, Reads::Above(_));
    let found = wired.carries.iter().find(|carried| match &carried.at {
        At::Mqtt(at) => at.hears.as_ref().is_some_and(|hears| !is_word(hears)),
        _ => false,
    });
    found.map(|carried| carried.name.as_str())
}

/// Stands behind a broker, for as long as the table does.
async fn node(setup: Mqtt, mirror: mqtt::Mirror, folder: PathBuf, mut end: End) {
    while !end.orders.is_closed() {
        let ended = attend_broker(&setup, &mirror, &folder, &mut end).await;
        end.tell(false, &ended.err().map_or_else(|| "the broker is gone".to_owned(), |failure| failure.to_string()));
        while let Ok(inputs) = end.reports.try_recv() {
            end.states.note(&inputs);
        }
        tokio::time::sleep(APART).await;
    }
}

async fn attend_broker(setup: &Mqtt, mirror: &mqtt::Mirror, folder: &Path, end: &mut End) -> Result<(), Failure> {
    let status = |word: &str| {
        setup.node.as_ref().map(|node| {
            let payload = if word == "here" { node.here.clone() } else { node.gone.clone() };
            Publish { topic: node.topic.clone(), payload, quality: 1, is_retained: true }
        })
    };
    let mut client = Client::open(setup, folder, "-node", status("gone"))?;
    let mut is_there = false;
    loop {
        tokio::select! {
            event = client.next() => match event {
                None | Some(Event::Lost(_)) => return Ok(()),
                Some(Event::Connected) => {
                    is_there = true;
                    client.subscribe(mirror.subscriptions()).await?;
                    say_all(&client, mirror, &end.states)?;
                    status("here").map_or(Ok(()), |here| client.publish(here))?;
                }
                Some(Event::Message { topic, payload, .. }) => {
                    if mirror.is_asked(&topic) {
                        say_all(&client, mirror, &end.states)?;
                    } else if let Some(is_gone) = mirror.is_abandoned(&topic, &payload) {
                        let why = if is_gone { "whoever gave orders is gone" } else { "somebody is in charge" };
                        end.tell(!is_gone, why);
                    } else if let Some(output) = mirror.obey(&topic, &payload) {
                        // Where nobody asks any more the table is ending.
                        let _ = end.orders.send(Ordered::Output(output));
                    }
                }
            },
            inputs = end.reports.recv() => {
                let Some(inputs) = inputs else { return Ok(()) };
                end.states.note(&inputs);
                if is_there {
                    inputs.iter().filter_map(|input| mirror.report(input)).try_for_each(|say| client.publish(say))?;
                }
            }
        }
    }
}

fn say_all(client: &Client, mirror: &mqtt::Mirror, states: &States) -> Result<(), Failure> {
    states.0.values().filter_map(|input| mirror.report(input)).try_for_each(|say| client.publish(say))
}

/// Stands behind a socket, one connection after the other.
async fn lines(listener: TcpListener, mirror: adapter::Mirror, mut end: End) {
    while let Some(socket) = end.awaits(&listener).await {
        let ended = attend_lines(socket, &mirror, &mut end).await;
        let why = ended.err().map_or_else(|| "the connection ended".to_owned(), |error| error.to_string());
        end.tell(false, &why);
    }
}

async fn attend_lines(socket: TcpStream, mirror: &adapter::Mirror, end: &mut End) -> io::Result<()> {
    socket.set_nodelay(true)?;
    let (input, mut output) = socket.into_split();
    let mut input = BufReader::new(input);
    let mut beats = tokio::time::interval(ALIVE);
    let mut line = Vec::new();
    let mut heard_at = tokio::time::Instant::now();
    loop {
        let mut said: Vec<Value> = Vec::new();
        tokio::select! {
            read = input.read_until(b'\n', &mut line) => {
                if read? == 0 || line.len() as u64 > LONGEST_LINE {
                    return Ok(());
                }
                heard_at = tokio::time::Instant::now();
                let told: Value = serde_json::from_slice(&line).unwrap_or_default();
                line.clear();
                if told.get("lineclear").is_some() {
                    end.tell(true, "somebody is in charge");
                    said.push(mirror.greeting());
                } else if told.get("ask").is_some() {
                    said.extend(end.states.0.values().filter_map(|input| mirror.report(input)));
                    said.push(serde_json::json!({ "complete": true }));
                } else if told.get("end").is_some() {
                    return Ok(());
                } else if let Some(output) = mirror.obey(&told) {
                    // Where nobody asks any more the table is ending.
                    let _ = end.orders.send(Ordered::Output(output));
                }
            }
            inputs = end.reports.recv() => {
                let Some(inputs) = inputs else { return Ok(()) };
                end.states.note(&inputs);
                said.extend(inputs.iter().filter_map(|input| mirror.report(input)));
            }
            _ = beats.tick() => said.push(serde_json::json!({ "alive": true })),
        }
        for value in said {
            output.write_all(format!("{value}\n").as_bytes()).await?;
        }
        if heard_at.elapsed() > SILENT {
            return Err(io::Error::other("whoever gave orders is silent"));
        }
    }
}
