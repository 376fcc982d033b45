//! The other side of a link: what hardware says and does, for a pretend table that stands in for it.

use std::collections::BTreeMap;
use std::sync::Arc;

use signaller::{Input, Output};
use track::Layout;
use track::wiring::{At, Mqtt, MqttHears, MqttTells, Reads, Says, Thing, WiredLink};

use super::codec::Publish;
use super::payload::is_word;
use crate::motion::order_in;
use crate::reading::{mark_of, order_of};

/// What the hardware at one link says and does. It speaks in the words that are usual; payloads that are parts of JSON, and
/// orders for trains that are not, it does not know.
#[derive(Debug)]
pub struct Mirror {
    layout: Arc<Layout>,
    says: BTreeMap<Thing, MqttHears>,
    obeys: BTreeMap<String, (Thing, MqttTells)>,
    setup: Mqtt,
}

impl Mirror {
    /// The hardware of a link.
    pub fn new(layout: Arc<Layout>, wired: &WiredLink, setup: &Mqtt) -> Self {
        let (mut says, mut obeys) = (BTreeMap::new(), BTreeMap::new());
        for carried in &wired.carries {
            let At::Mqtt(at) = &carried.at else { continue };
            if let Some(hears) = &at.hears {
                says.insert(carried.thing, hears.clone());
            }
            if let Some(tells) = &at.tells {
                let topics = match &tells.says {
                    Says::Train(says) => says.topics().collect(),
                    _ => vec![tells.topic.clone()],
                };
                obeys.extend(topics.into_iter().map(|topic| (topic, (carried.thing, tells.clone()))));
            }
        }
        Self { layout, says, obeys, setup: setup.clone() }
    }

    /// How the broker is reached.
    pub fn setup(&self) -> &Mqtt {
        &self.setup
    }

    /// What is to be subscribed to.
    pub fn subscriptions(&self) -> Vec<(String, u8)> {
        let own = [self.setup.ask_topic.clone(), self.setup.status_topic.clone()];
        self.obeys.keys().cloned().chain(own).map(|topic| (topic, 1)).collect()
    }

    /// The message by which something is reported; nothing where it is not of this link.
    pub fn report(&self, input: &Input) -> Option<Publish> {
        let (thing, word, lasts) = match input {
            Input::TrainRead { detector, train } => {
                (Thing::Reader(*detector), self.layout.trains.get(*train)?.name.clone(), false)
            }
            input => {
                let (thing, mark) = mark_of(input)?;
                let Reads::Marks(marks) = &self.says.get(&thing)?.reads else { return None };
                let word = marks.iter().find(|(known, _)| *known == mark)?.1.clone();
                (thing, word, !matches!(thing, Thing::Spot(_)))
            }
        };
        let hears = self.says.get(&thing).filter(|hears| hears.pointer.is_none())?;
        Some(Publish { topic: hears.topic.clone(), payload: word, quality: 1, is_retained: lasts })
    }

    /// Whether everything is asked for.
    pub fn is_asked(&self, topic: &str) -> bool {
        topic == self.setup.ask_topic
    }

    /// Whether whoever gives orders says that they are gone; nothing where it says something else.
    pub fn is_abandoned(&self, topic: &str, payload: &[u8]) -> Option<bool> {
        (topic == self.setup.status_topic).then(|| payload == b"gone")
    }

    /// What is ordered by a message.
    pub fn obey(&self, topic: &str, payload: &[u8]) -> Option<Output> {
        let (thing, tells) = self.obeys.get(topic)?;
        let text = std::str::from_utf8(payload).ok()?;
        match (*thing, &tells.says) {
            (thing, Says::Marks(marks)) => {
                marks.iter().find(|(_, word)| is_word(text, word)).and_then(|(mark, _)| order_of(thing, *mark))
            }
            (Thing::Signal(signal), Says::Aspects { words, template, unlit }) => {
                if text == unlit {
                    return Some(Output::Light { signal, lit: false });
                }
                let book = self.layout.book_of(signal);
                let by_word = words.iter().find(|(_, word)| word == text).map(|(aspect, _)| aspect.as_str());
                let found = book.aspects().find(|(_, row)| {
                    by_word.map_or_else(|| template.replace("{aspect}", &row.name) == text, |name| row.name == name)
                });
                found.map(|(aspect, _)| Output::Show { signal, aspect })
            }
            (Thing::Train(train), Says::Train(_)) => {
                order_in(&self.layout, train, &serde_json::from_str(text).ok()?, "direction")
            }
            _ => None,
        }
    }
}
