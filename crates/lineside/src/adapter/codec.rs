//! The lines of JSON, both ways.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use serde_json::{Map, Value, json};
use signaller::{Aspect, Direction, Input, Output};
use track::wiring::{Adapter, At, Mark, Thing, WiredLink};
use track::{Address, Facing, Layout, SignalId, TrainId};

use crate::dcc::Packets;
use crate::motion::{Motion, Motions, as_seen, word_of};
use crate::news::{Meaning, Overheard, Told};
use crate::reading::{Trains, input_of, kind_word, mark_of_lie, read_by, title};

/// The version of what is said.
const VERSION: u64 = 1;
/// A longer line is none.
const LONGEST_LINE: usize = 64 * 1024;
/// A program that is not heard of for so long is ended.
pub(super) const SILENT: Duration = Duration::from_secs(5);
/// How often it is told that we are there.
const ALIVE: Duration = Duration::from_secs(1);
/// So many lines in a row that make no sense, and it is no adapter.
const NONSENSE: u32 = 100;
/// So many packets are on their way at most.
const MOST_ROOM: u64 = 64;

/// What is said on a connection to an adapter.
#[derive(Debug)]
pub struct Codec {
    layout: Arc<Layout>,
    link: String,
    carries: Vec<(Thing, String, String)>,
    by_name: BTreeMap<(&'static str, String), Thing>,
    trains: Trains,
    readers: BTreeMap<Thing, crate::railcom::Reassembly>,
    motions: Motions,
    lit: BTreeMap<SignalId, (Aspect, bool)>,
    packets: Option<Packets>,
    line: Vec<u8>,
    is_overlong: bool,
    nonsense: u32,
    has_greeted: bool,
    /// When time passed first on this connection.
    begun_at: Option<Duration>,
    beats: u64,
    alive_at: Duration,
    listens: bool,
}

/// What comes of something that was heard or ordered: text to send, and what it means.
#[derive(Debug, Default)]
pub struct Spoken {
    /// Lines to send.
    pub send: Vec<u8>,
    /// What it means.
    pub told: Vec<Told>,
}

impl Spoken {
    fn line(&mut self, line: &Value) {
        self.send.extend(line.to_string().into_bytes());
        self.send.push(b'\n');
    }
}

impl Codec {
    /// The codec of a link.
    pub fn new(layout: Arc<Layout>, wired: &WiredLink, setup: &Adapter) -> Self {
        Self::of(layout, wired, setup.sends_packets)
    }

    fn of(layout: Arc<Layout>, wired: &WiredLink, sends_packets: bool) -> Self {
        let carries: Vec<(Thing, String, String)> = wired
            .carries
            .iter()
            .filter_map(|carried| match &carried.at {
                At::Adapter(at) => Some((carried.thing, carried.name.clone(), at.clone())),
                _ => None,
            })
            .collect();
        let by_name = carries.iter().map(|(thing, name, _)| ((kind_word(*thing), name.clone()), *thing)).collect();
        Self {
            trains: Trains::new(&layout),
            link: wired.name.clone(),
            packets: sends_packets.then(|| Packets::new(&layout, &carries)),
            layout,
            carries,
            by_name,
            readers: BTreeMap::new(),
            motions: Motions::default(),
            lit: BTreeMap::new(),
            line: Vec::new(),
            is_overlong: false,
            nonsense: 0,
            has_greeted: false,
            begun_at: None,
            beats: 0,
            alive_at: Duration::ZERO,
            listens: false,
        }
    }

    /// The same, for somebody who wants to know of everything that comes.
    #[must_use]
    pub fn listening(mut self) -> Self {
        self.listens = true;
        self
    }

    /// The same things go by the numbers of another layout. What they shall be like is to be ordered anew.
    pub(crate) fn rewire(&mut self, layout: Arc<Layout>, wired: &WiredLink) {
        let sends_packets = self.packets.is_some();
        let mut anew = Self::of(layout, wired, sends_packets);
        std::mem::swap(&mut anew.line, &mut self.line);
        anew.is_overlong = self.is_overlong;
        (anew.nonsense, anew.has_greeted, anew.begun_at) = (self.nonsense, self.has_greeted, self.begun_at);
        (anew.beats, anew.alive_at, anew.listens) = (self.beats, self.alive_at, self.listens);
        *self = anew;
    }

    /// A connection is there.
    pub fn begin(&mut self) -> Spoken {
        self.line.clear();
        (self.is_overlong, self.nonsense, self.has_greeted) = (false, 0, false);
        self.readers.clear();
        self.begun_at = None;
        // How everything shall be is ordered anew once it has reported.
        self.motions.forget();
        self.packets.iter_mut().for_each(Packets::begin);
        let mut spoken = Spoken::default();
        let things: Vec<Value> =
            self.carries.iter().map(|(thing, name, at)| json!({ kind_word(*thing): name, "at": at })).collect();
        spoken.line(&json!({ "lineclear": VERSION, "link": self.link, "things": things }));
        spoken
    }

    /// Bytes came.
    pub fn hear(&mut self, bytes: &[u8]) -> Spoken {
        let mut spoken = Spoken::default();
        for &byte in bytes {
            if byte != b'\n' {
                if self.line.len() < LONGEST_LINE {
                    self.line.push(byte);
                } else {
                    // What never ends is told of while it comes, as often as it is as long again.
                    let line = std::mem::take(&mut self.line);
                    self.is_overlong = true;
                    self.complain("a line is longer than 64 KiB", &line, &mut spoken);
                }
                continue;
            }
            let line = std::mem::take(&mut self.line);
            if !std::mem::take(&mut self.is_overlong) {
                self.hear_line(&line, &mut spoken);
            }
        }
        spoken
    }

    fn hear_line(&mut self, line: &[u8], spoken: &mut Spoken) {
        let line = line.trim_ascii();
        if line.is_empty() {
            return;
        }
        match serde_json::from_slice::<Map<String, Value>>(line) {
            Ok(said) => match self.understand(&said, spoken) {
                Ok(meaning) => {
                    self.nonsense = 0;
                    self.overheard(line, meaning, spoken);
                }
                Err(why) => self.complain(&why, line, spoken),
            },
            Err(_) => self.complain("it is no object of JSON", line, spoken),
        }
    }

    fn complain(&mut self, why: &str, line: &[u8], spoken: &mut Spoken) {
        self.nonsense += 1;
        if self.nonsense >= NONSENSE {
            spoken.told.push(Told::Gone(format!("it says nothing that makes sense: {why}")));
        } else if self.nonsense == 1 {
            spoken.told.push(Told::Say(format!("a line makes no sense: {why}: {}", shown(line))));
        }
        self.overheard(line, Meaning::Unclear { name: "a line".to_owned(), why: why.to_owned() }, spoken);
    }

    fn overheard(&self, line: &[u8], meaning: Meaning, spoken: &mut Spoken) {
        if self.listens {
            spoken.told.push(Told::Heard(Overheard { raw: shown(line), meaning }));
        }
    }

    fn understand(&mut self, said: &Map<String, Value>, spoken: &mut Spoken) -> Result<Meaning, String> {
        if let Some(version) = said.get("adapter") {
            if version.as_u64() != Some(VERSION) {
                spoken.told.push(Told::Gone(format!("it speaks version {version}, and we speak {VERSION}")));
                return Ok(Meaning::Housekeeping);
            }
            self.has_greeted = true;
            spoken.told.push(Told::Here);
            spoken.line(&json!({ "ask": "all" }));
            return Ok(Meaning::Housekeeping);
        }
        if let Some(text) = said.get("say").and_then(Value::as_str) {
            spoken.told.push(Told::Say(text.chars().filter(|letter| !letter.is_control()).collect()));
            return Ok(Meaning::Housekeeping);
        }
        if let Some(why) = said.get("gone") {
            spoken.told.push(Told::Gone(why.as_str().unwrap_or("it has lost its hardware").to_owned()));
            return Ok(Meaning::Housekeeping);
        }
        if said.contains_key("alive") {
            return Ok(Meaning::Housekeeping);
        }
        if !self.has_greeted {
            return Err("it has not said who it is".to_owned());
        }
        if said.contains_key("complete") {
            spoken.told.push(Told::Complete);
            return Ok(Meaning::Housekeeping);
        }
        if let Some(room) = said.get("room").and_then(Value::as_u64) {
            let packets = self.packets.as_mut().ok_or("this link sends no packets")?;
            let next: Vec<Vec<u8>> = (0..room.min(MOST_ROOM)).map(|_| packets.next_packet()).collect();
            next.iter().for_each(|packet| spoken.line(&json!({ "packet": hex(packet) })));
            return Ok(Meaning::Housekeeping);
        }
        self.report(said, spoken)
    }

    fn report(&mut self, said: &Map<String, Value>, spoken: &mut Spoken) -> Result<Meaning, String> {
        let kinds = ["section", "spot", "reader", "turnout", "district", "input"];
        let kind = kinds.into_iter().find(|kind| said.contains_key(*kind)).ok_or("it says nothing that is known")?;
        let name = said[kind].as_str().ok_or_else(|| format!("`{kind}` is no name"))?;
        let Some(&thing) = self.by_name.get(&(kind, name.to_owned())) else {
            return Ok(Meaning::New { hint: format!("[link.{kind}s]\n\"{name}\" = \"{name}\"") });
        };
        let flag =
            |key: &str| said.get(key).and_then(Value::as_bool).ok_or_else(|| format!("`{key}` is true or false"));
        let either = |is: bool, one: Mark, other: Mark| if is { one } else { other };
        let mark = match kind {
            "section" => either(flag("occupied")?, Mark::Occupied, Mark::Free),
            "district" => either(flag("live")?, Mark::Live, Mark::Dark),
            "input" => either(flag("on")?, Mark::On, Mark::Off),
            "spot" => Mark::Passed,
            "turnout" => match said.get("lies").and_then(Value::as_str) {
                Some("straight") => Mark::Straight,
                Some("diverging") => Mark::Diverging,
                Some("unknown") => Mark::Moving,
                _ => return Err("`lies` is `straight`, `diverging` or `unknown`".to_owned()),
            },
            _ => {
                let read = self.read_train(thing, said)?;
                let says = read.map_or_else(
                    || "part of an address".to_owned(),
                    |(train, input)| {
                        spoken.told.push(Told::Input(input));
                        self.layout.trains[train].name.clone()
                    },
                );
                return Ok(Meaning::Known { name: title(thing, name), says });
            }
        };
        let input = input_of(thing, mark).ok_or("it makes no sense here")?;
        spoken.told.push(Told::Input(input));
        Ok(Meaning::Known { name: title(thing, name), says: mark.word().to_owned() })
    }

    fn read_train(&mut self, thing: Thing, said: &Map<String, Value>) -> Result<Option<(TrainId, Input)>, String> {
        let Thing::Reader(detector) = thing else { return Err("it makes no sense here".to_owned()) };
        let is_long = said.get("long").and_then(Value::as_bool).unwrap_or(false);
        let found = if let Some(name) = said.get("train").and_then(Value::as_str) {
            self.trains.named(name).ok_or_else(|| format!("no train is named `{name}`"))?
        } else if let Some(number) = said.get("address").and_then(Value::as_u64) {
            let address = if is_long { Address::long(number) } else { Address::short(number) };
            let train = address.and_then(|address| self.trains.at(address));
            train.ok_or_else(|| format!("no train has the address {number}"))?
        } else if let Some(text) = said.get("railcom").and_then(Value::as_str) {
            let bytes = crate::railcom::bytes_of(text).ok_or("`railcom` is no bytes in hexadecimal digits")?;
            match self.readers.entry(thing).or_default().hear(&bytes) {
                None => return Ok(None),
                Some(address) => self.trains.at(address).ok_or_else(|| format!("no train has {address:?}"))?,
            }
        } else {
            return Err("a reader says `train`, `address` or `railcom`".to_owned());
        };
        Ok(Some((found, read_by(detector, found))))
    }

    /// Time passes.
    pub fn tick(&mut self, now: Duration) -> Spoken {
        let mut spoken = Spoken::default();
        let silent_since = *self.begun_at.get_or_insert(now);
        if !self.has_greeted && now >= silent_since + SILENT {
            spoken.told.push(Told::Gone("it does not say that it is an adapter".to_owned()));
        }
        if now >= self.alive_at {
            self.alive_at = now + ALIVE;
            self.beats += 1;
            spoken.line(&json!({ "alive": self.beats }));
        }
        spoken
    }

    /// The connection is about to be ended by us.
    pub fn end(&mut self) -> Spoken {
        let mut spoken = Spoken::default();
        spoken.line(&json!({ "end": true }));
        spoken
    }

    fn place(&self, thing: Thing) -> Option<(&str, &str)> {
        self.carries.iter().find(|(own, ..)| *own == thing).map(|(_, name, at)| (name.as_str(), at.as_str()))
    }

    /// Something is ordered.
    pub fn order(&mut self, output: &Output) -> Spoken {
        let mut spoken = Spoken::default();
        if let Some(packets) = &mut self.packets
            && packets.order(output)
        {
            return spoken;
        }
        let lines: Vec<Value> = match *output {
            Output::Throw { turnout, lie } => self
                .place(Thing::Turnout(turnout))
                .map(|(name, at)| json!({ "turnout": name, "at": at, "throw": mark_of_lie(lie).word() }))
                .into_iter()
                .collect(),
            Output::Drive { .. } | Output::EmergencyStop { .. } => {
                let ordered = self.motions.order(output);
                ordered.map_or_else(Vec::new, |(train, direction, motion)| self.drive(train, direction, motion))
            }
            Output::Function { train, number, on } => {
                let told = |mut line: Map<String, Value>, _| {
                    line.extend([("function".to_owned(), number.into()), ("on".to_owned(), on.into())]);
                    line
                };
                self.each_decoder(train, told)
            }
            Output::Power { district, live } => self
                .place(Thing::District(district))
                .map(|(name, at)| json!({ "district": name, "at": at, "power": live }))
                .into_iter()
                .collect(),
            Output::Accessory { accessory, on } => self
                .place(Thing::Accessory(accessory))
                .map(|(name, at)| json!({ "accessory": name, "at": at, "on": on }))
                .into_iter()
                .collect(),
            Output::Show { signal, aspect } => {
                self.lit.entry(signal).or_insert((aspect, true)).0 = aspect;
                self.show(signal).into_iter().collect()
            }
            Output::Light { signal, lit } => {
                self.lit.entry(signal).or_insert((Aspect::STOP, lit)).1 = lit;
                self.show(signal).into_iter().collect()
            }
            Output::Fact(_) => Vec::new(),
        };
        lines.iter().for_each(|line| spoken.line(line));
        spoken
    }

    /// A line for each decoder of a train, or one where none is known.
    fn each_decoder(
        &self,
        train: TrainId,
        more: impl Fn(Map<String, Value>, Facing) -> Map<String, Value>,
    ) -> Vec<Value> {
        let (Some((name, at)), Some(described)) = (self.place(Thing::Train(train)), self.layout.trains.get(train))
        else {
            return Vec::new();
        };
        let mut decoders: Vec<(Option<Address>, Facing)> =
            described.decoders().map(|(address, facing)| (Some(address), facing)).collect();
        if decoders.is_empty() {
            decoders.push((None, Facing::Ahead));
        }
        let line = |(address, facing): (Option<Address>, Facing)| {
            let (number, is_long) = match address {
                Some(Address::Short(number)) => (Some(u16::from(number)), false),
                Some(Address::Long(number)) => (Some(number), true),
                None => (None, false),
            };
            let mut line = Map::new();
            line.extend([("train".to_owned(), name.into()), ("at".to_owned(), at.into())]);
            line.extend([("address".to_owned(), number.into()), ("long".to_owned(), is_long.into())]);
            Value::Object(more(line, facing))
        };
        decoders.into_iter().map(line).collect()
    }

    fn drive(&self, train: TrainId, direction: Direction, motion: Motion) -> Vec<Value> {
        let Some(steps) = self.layout.trains.get(train).map(|described| described.speed_steps.highest()) else {
            return Vec::new();
        };
        self.each_decoder(train, |mut line, facing| {
            let step = if let Motion::Step(step) = motion { step } else { 0 };
            line.insert("steps".to_owned(), steps.into());
            line.insert("drive".to_owned(), word_of(as_seen(direction, facing)).into());
            line.insert("step".to_owned(), step.into());
            if motion == Motion::EmergencyStop {
                line.insert("emergency".to_owned(), true.into());
            }
            line
        })
    }

    fn show(&self, signal: SignalId) -> Option<Value> {
        let (name, at) = self.place(Thing::Signal(signal))?;
        let &(aspect, is_lit) = self.lit.get(&signal)?;
        let row = self.layout.book_of(signal).row(aspect)?;
        let (lamps, flashing) = if is_lit { (&row.lamps[..], &row.flashing[..]) } else { (&[][..], &[][..]) };
        Some(json!({
            "signal": name, "at": at, "show": row.name, "lamps": lamps, "flashing": flashing, "lit": is_lit,
        }))
    }
}

/// A line for people: short, and without what would spoil a terminal.
fn shown(line: &[u8]) -> String {
    let text: String = String::from_utf8_lossy(line).chars().take(160).collect();
    text.chars().map(|letter| if letter.is_control() { ' ' } else { letter }).collect()
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
