//! What topics and payloads mean, and which of them make things do what they shall.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::Duration;

use signaller::{Aspect, Input, Output};
use track::wiring::{At, By, Mark, Mqtt, MqttHears, MqttTells, NodeStatus, Reads, Says, Thing, WiredLink};
use track::{Address, Layout, SignalId};

use super::payload::{is_word, part, shown};
use crate::motion::Motions;
use crate::news::{Meaning, Overheard, Told};
use crate::reading::{Trains, input_of, mark_ordered, read_by, title};

/// A message that is sent twice because its answer was lost is sent again within this time.
const AGAIN: Duration = Duration::from_secs(5);

/// A message that came.
#[derive(Clone, Copy, Debug)]
pub struct Message<'a> {
    /// Its topic.
    pub topic: &'a str,
    /// What it holds.
    pub payload: &'a [u8],
    /// The broker kept it: it tells how something is, not that something happens.
    pub is_retained: bool,
    /// It was sent before, and may have come before.
    pub is_duplicate: bool,
}

/// A message to send.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Publish {
    /// Its topic.
    pub topic: String,
    /// What it holds.
    pub payload: String,
    /// Its quality of service, 0 to 2.
    pub quality: u8,
    /// Whether the broker shall keep it.
    pub is_retained: bool,
}

/// What is heard on one topic.
#[derive(Debug)]
struct Ear {
    thing: Thing,
    name: String,
    hears: MqttHears,
    /// When something was last heard that happened, and did not merely last.
    happened: Option<Duration>,
}

/// What one thing is told.
#[derive(Debug)]
pub(super) struct Mouth {
    pub(super) tells: MqttTells,
}

/// How a signal was last told to be.
#[derive(Clone, Copy, Debug)]
struct Shown {
    aspect: Aspect,
    is_lit: bool,
}

/// Topics and payloads of one link.
#[derive(Debug)]
pub struct Codec {
    pub(super) layout: Arc<Layout>,
    ears: BTreeMap<String, Vec<Ear>>,
    pub(super) mouths: BTreeMap<Thing, Mouth>,
    trains: Trains,
    readers: BTreeMap<Thing, crate::railcom::Reassembly>,
    pub(super) motions: Motions,
    signals: BTreeMap<SignalId, Shown>,
    node: Option<NodeStatus>,
    quality: u8,
    status_topic: String,
    ask_topic: String,
    listens: bool,
    /// Topics of other links.
    elsewhere: BTreeSet<String>,
}

impl Codec {
    /// The codec of a link.
    pub fn new(layout: Arc<Layout>, wired: &WiredLink, setup: &Mqtt) -> Self {
        let (mut ears, mut mouths) = (BTreeMap::<String, Vec<Ear>>::new(), BTreeMap::new());
        for carried in &wired.carries {
            let At::Mqtt(at) = &carried.at else { continue };
            let thing = carried.thing;
            if let Some(hears) = at.hears.clone() {
                let ear = Ear { thing, name: carried.name.clone(), hears, happened: None };
                ears.entry(ear.hears.topic.clone()).or_default().push(ear);
            }
            if let Some(tells) = at.tells.clone() {
                mouths.insert(thing, Mouth { tells });
            }
        }
        Self {
            trains: Trains::new(&layout),
            layout,
            ears,
            mouths,
            readers: BTreeMap::new(),
            motions: Motions::default(),
            signals: BTreeMap::new(),
            node: setup.node.clone(),
            quality: setup.quality,
            status_topic: setup.status_topic.clone(),
            ask_topic: setup.ask_topic.clone(),
            listens: false,
            elsewhere: BTreeSet::new(),
        }
    }

    /// The same, for somebody who wants to know of everything that comes, but for what other links carry.
    #[must_use]
    pub fn listening(mut self, elsewhere: BTreeSet<String>) -> Self {
        (self.listens, self.elsewhere) = (true, elsewhere);
        self
    }

    /// The same topics stand for things that go by the numbers of another layout. What they shall be like is to be ordered anew.
    pub(crate) fn rewire(&mut self, layout: Arc<Layout>, wired: &WiredLink) {
        let By::Mqtt(setup) = &wired.by else { return };
        let mut anew = Self::new(layout, wired, setup);
        for (topic, ears) in &mut anew.ears {
            let before = self.ears.get(topic).map_or(&[][..], Vec::as_slice);
            for ear in ears {
                // What is sent a second time may still come.
                ear.happened = before.iter().find(|old| old.name == ear.name).and_then(|old| old.happened);
            }
        }
        (anew.listens, anew.elsewhere) = (self.listens, std::mem::take(&mut self.elsewhere));
        *self = anew;
    }

    /// All topics that a link hears or tells something by.
    pub fn topics(wired: &WiredLink) -> BTreeSet<String> {
        let mut topics = BTreeSet::new();
        if let By::Mqtt(setup) = &wired.by {
            topics.extend(setup.node.iter().map(|node| node.topic.clone()));
        }
        for carried in &wired.carries {
            let At::Mqtt(at) = &carried.at else { continue };
            topics.extend(at.hears.iter().map(|hears| hears.topic.clone()));
            match &at.tells {
                Some(MqttTells { says: Says::Lamps { topics: lamps, .. }, .. }) => {
                    topics.extend(lamps.iter().map(|(_, topic)| topic.clone()));
                }
                Some(MqttTells { says: Says::Train(says), .. }) => topics.extend(says.topics()),
                Some(tells) => drop(topics.insert(tells.topic.clone())),
                None => {}
            }
        }
        topics
    }

    /// What is to be subscribed to, with its quality of service.
    pub fn subscriptions(&self) -> Vec<(String, u8)> {
        if self.listens {
            return vec![("#".to_owned(), self.quality)];
        }
        let node = self.node.iter().map(|node| node.topic.clone());
        self.ears.keys().cloned().chain(node).map(|topic| (topic, self.quality)).collect()
    }

    /// Whether a link counts as up as soon as the broker is reached.
    pub fn is_up_with_broker(&self) -> bool {
        self.node.is_none()
    }

    /// What is said when the broker has been reached: that we are here, and that everything is to be reported.
    pub fn greeting(&self) -> Vec<Publish> {
        let status =
            Publish { topic: self.status_topic.clone(), payload: "here".to_owned(), quality: 1, is_retained: true };
        let ask = Publish { topic: self.ask_topic.clone(), payload: "all".to_owned(), quality: 1, is_retained: false };
        vec![status, ask]
    }

    /// What the broker, or we ourselves, say when we are gone.
    pub fn farewell(&self) -> Publish {
        Publish { topic: self.status_topic.clone(), payload: "gone".to_owned(), quality: 1, is_retained: true }
    }

    /// What a message means. `now` is since some beginning, and never goes back.
    pub fn hear(&mut self, now: Duration, message: &Message<'_>) -> Vec<Told> {
        let mut told = Vec::new();
        if let Some(node) = self.node.as_ref().filter(|node| node.topic == message.topic) {
            let word = part(message.payload, None).unwrap_or_default();
            if is_word(&word, &node.here) {
                told.push(Told::Here);
            } else if is_word(&word, &node.gone) {
                told.push(Told::Gone("its node says that it is gone".to_owned()));
            }
            self.overheard(message, Meaning::Housekeeping, &mut told);
            return told;
        }
        let Some(mut ears) = self.ears.remove(message.topic) else {
            if self.listens && !self.elsewhere.contains(message.topic) {
                let meaning = self.stranger(message);
                self.overheard(message, meaning, &mut told);
            }
            return told;
        };
        for ear in &mut ears {
            self.hear_one(now, ear, message, &mut told);
        }
        self.ears.insert(message.topic.to_owned(), ears);
        told
    }

    fn hear_one(&mut self, now: Duration, ear: &mut Ear, message: &Message<'_>, told: &mut Vec<Told>) {
        let name = title(ear.thing, &ear.name);
        let read = match &ear.hears.reads {
            Reads::Train => self.read_train(ear.thing, message, ear.hears.pointer.as_deref()),
            reads => part(message.payload, ear.hears.pointer.as_deref()).and_then(|part| {
                let mark = mark_in(&part, reads)?;
                let input = input_of(ear.thing, mark).ok_or_else(|| "it makes no sense here".to_owned())?;
                Ok((vec![input], mark.word().to_owned()))
            }),
        };
        let meaning = match read {
            Err(why) => {
                tracing::debug!(topic = message.topic, why, "a message makes no sense");
                Meaning::Unclear { name, why }
            }
            Ok((inputs, says)) => {
                if !is_old_news(now, ear, message) {
                    told.extend(inputs.into_iter().map(Told::Input));
                }
                Meaning::Known { name, says }
            }
        };
        self.overheard(message, meaning, told);
    }

    fn read_train(
        &mut self,
        thing: Thing,
        message: &Message<'_>,
        pointer: Option<&str>,
    ) -> Result<(Vec<Input>, String), String> {
        let Thing::Reader(detector) = thing else { return Err("it makes no sense here".to_owned()) };
        let text = part(message.payload, pointer);
        if let Ok(text) = &text
            && let Some(train) = self.trains.named(text)
        {
            return Ok((vec![read_by(detector, train)], self.layout.trains[train].name.clone()));
        }
        let bytes = match &text {
            Ok(text) => crate::railcom::bytes_of(text).ok_or_else(|| format!("`{text}` is no train"))?,
            Err(_) => message.payload.to_vec(),
        };
        match self.readers.entry(thing).or_default().hear(&bytes) {
            None => Ok((Vec::new(), "part of an address".to_owned())),
            Some(address) => match self.trains.at(address) {
                Some(train) => Ok((vec![read_by(detector, train)], self.layout.trains[train].name.clone())),
                None => Err(format!("no train has {}", address_words(address))),
            },
        }
    }

    /// What would make a topic known that is not.
    fn stranger(&self, message: &Message<'_>) -> Meaning {
        let is_ours = self.mouths.values().any(|mouth| mouth.is_at(message.topic))
            || [&self.status_topic, &self.ask_topic].contains(&&message.topic.to_owned());
        if is_ours {
            return Meaning::Housekeeping;
        }
        let word = part(message.payload, None).unwrap_or_default();
        let list = match message.topic.split('/').rev().nth(1) {
            Some("spot") => "spots",
            Some("reader") => "readers",
            Some("turnout") => "turnouts",
            Some("district") => "districts",
            Some("input") => "inputs",
            _ => "sections",
        };
        let words = match list {
            "sections" if !["occupied", "free"].contains(&word.as_str()) => {
                format!(", occupied = \"{}\", free = \"?\"", shown(message.payload))
            }
            _ => String::new(),
        };
        Meaning::New { hint: format!("[link.{list}]\n\"NAME\" = {{ topic = \"{}\"{words} }}", message.topic) }
    }

    fn overheard(&self, message: &Message<'_>, meaning: Meaning, told: &mut Vec<Told>) {
        if self.listens {
            let kept = if message.is_retained { " (kept)" } else { "" };
            let raw = format!("{}{kept} {}", message.topic, shown(message.payload));
            told.push(Told::Heard(Overheard { raw, meaning }));
        }
    }

    /// The messages that make a thing do what it shall; none where nothing of this link is meant.
    pub fn order(&mut self, output: &Output) -> Vec<Publish> {
        match *output {
            Output::Drive { .. } | Output::EmergencyStop { .. } => {
                let ordered = self.motions.order(output);
                ordered.map_or_else(Vec::new, |(train, direction, motion)| self.drive(train, direction, motion))
            }
            Output::Function { train, number, on } => self.switch_function(train, number, on),
            Output::Throw { .. } | Output::Power { .. } | Output::Accessory { .. } => {
                mark_ordered(output).map_or_else(Vec::new, |(thing, mark)| self.say_mark(thing, mark))
            }
            Output::Show { signal, aspect } => {
                self.signals.entry(signal).or_insert(Shown { aspect, is_lit: true }).aspect = aspect;
                self.show(signal)
            }
            Output::Light { signal, lit } => {
                let shown = self.signals.entry(signal).or_insert(Shown { aspect: Aspect::STOP, is_lit: lit });
                shown.is_lit = lit;
                self.show(signal)
            }
            Output::Fact(_) => Vec::new(),
        }
    }

    fn say_mark(&self, thing: Thing, mark: Mark) -> Vec<Publish> {
        let Some(mouth) = self.mouths.get(&thing) else { return Vec::new() };
        let Says::Marks(marks) = &mouth.tells.says else { return Vec::new() };
        let word = marks.iter().find(|(own, _)| *own == mark);
        word.map(|(_, word)| mouth.says(mouth.tells.topic.clone(), word.clone())).into_iter().collect()
    }

    fn show(&self, signal: SignalId) -> Vec<Publish> {
        let (Some(mouth), Some(shown)) = (self.mouths.get(&Thing::Signal(signal)), self.signals.get(&signal)) else {
            return Vec::new();
        };
        let Some(row) = self.layout.book_of(signal).row(shown.aspect) else { return Vec::new() };
        match &mouth.tells.says {
            Says::Aspects { unlit, .. } if !shown.is_lit => {
                vec![mouth.says(mouth.tells.topic.clone(), unlit.clone())]
            }
            Says::Aspects { words, template, .. } => {
                let own = words.iter().find(|(aspect, _)| *aspect == row.name).map(|(_, word)| word.clone());
                let word = own.unwrap_or_else(|| template.replace("{aspect}", &row.name));
                vec![mouth.says(mouth.tells.topic.clone(), word)]
            }
            Says::Lamps { topics, on, off, flash } => {
                // What goes out goes out first: two aspects must not be seen together.
                let mut told: Vec<(u8, Publish)> = Vec::new();
                for (lamp, topic) in topics {
                    let (rank, word) = match shown.is_lit {
                        true if row.flashing.contains(lamp) => (1, flash),
                        true if row.lamps.contains(lamp) => (1, on),
                        _ => (0, off),
                    };
                    told.push((rank, mouth.says(topic.clone(), word.clone())));
                }
                told.sort_by_key(|(rank, _)| *rank);
                told.into_iter().map(|(_, publish)| publish).collect()
            }
            Says::Marks(_) | Says::Train(_) => Vec::new(),
        }
    }
}

impl Mouth {
    pub(super) fn says(&self, topic: String, payload: String) -> Publish {
        Publish { topic, payload, quality: self.tells.quality, is_retained: self.tells.is_retained }
    }

    fn is_at(&self, topic: &str) -> bool {
        match &self.tells.says {
            Says::Lamps { topics, .. } => topics.iter().any(|(_, own)| own == topic),
            Says::Train(says) => says.topics().any(|own| own == topic),
            _ => self.tells.topic == topic,
        }
    }
}

/// That something happened is told once: what a broker kept is no news, and what is sent a second time is the same.
fn is_old_news(now: Duration, ear: &mut Ear, message: &Message<'_>) -> bool {
    if !matches!(ear.thing, Thing::Spot(_) | Thing::Reader(_)) {
        return false;
    }
    let came_before = ear.happened.is_some_and(|at| now.saturating_sub(at) < AGAIN);
    if message.is_retained || (message.is_duplicate && came_before) {
        return true;
    }
    ear.happened = Some(now);
    false
}

fn mark_in(part: &str, reads: &Reads) -> Result<Mark, String> {
    match reads {
        Reads::Marks(marks) => {
            let found = marks.iter().find(|(_, word)| is_word(part, word));
            found.map(|(mark, _)| *mark).ok_or_else(|| {
                let words: Vec<String> = marks.iter().map(|(_, word)| format!("`{word}`")).collect();
                format!("`{}` is none of {}", shown(part.as_bytes()), words.join(", "))
            })
        }
        Reads::Above(threshold) => match part.parse::<f64>() {
            Ok(number) if number.is_finite() => Ok(if number > *threshold { Mark::Occupied } else { Mark::Free }),
            _ => Err(format!("`{}` is no number", shown(part.as_bytes()))),
        },
        Reads::Train => Err("it is no train".to_owned()),
    }
}

fn address_words(address: Address) -> String {
    match address {
        Address::Short(number) => format!("the short address {number}"),
        Address::Long(number) => format!("the long address {number}"),
    }
}
