//! What trains are told on a broker.

use signaller::Direction;
use track::wiring::{Says, Thing, TrainSays, Whom};
use track::{Address, Train, TrainId};

use super::codec::{Codec, Mouth, Publish};
use super::payload::escaped;
use crate::motion::{Motion, as_seen, word_of};

impl Codec {
    /// The words for a train, and what it is.
    fn train(&self, train: TrainId) -> Option<(&Mouth, &TrainSays, &Train)> {
        let mouth = self.mouths.get(&Thing::Train(train))?;
        let Says::Train(says) = &mouth.tells.says else { return None };
        Some((mouth, says, self.layout.trains.get(train)?))
    }

    pub(super) fn drive(&self, train: TrainId, direction: Direction, motion: Motion) -> Vec<Publish> {
        let Some((mouth, says, described)) = self.train(train) else { return Vec::new() };
        let (step, template) = match motion {
            Motion::Step(step) => (step, &says.drive),
            Motion::EmergencyStop => (0, says.stop.as_ref().unwrap_or(&says.drive)),
        };
        let say = |whom: &Whom| {
            let words = [
                ("steps", described.speed_steps.highest().to_string()),
                ("step", step.to_string()),
                ("direction", word_of(as_seen(direction, whom.facing)).to_owned()),
            ];
            mouth.says(whom.topic.clone(), filled_in(template, &words, described, whom))
        };
        says.each.iter().map(say).collect()
    }

    pub(super) fn switch_function(&self, train: TrainId, number: u8, on: bool) -> Vec<Publish> {
        let Some((mouth, says, described)) = self.train(train) else { return Vec::new() };
        let Some(template) = &says.function else { return Vec::new() };
        let say = |whom: &Whom| {
            let words = [("function", number.to_string()), ("on", on.to_string())];
            let topic = whom.function_topic.replace("{function}", &number.to_string());
            let mut publish = mouth.says(topic, filled_in(template, &words, described, whom));
            // Of several functions on one topic the broker would keep only the last.
            publish.is_retained &= whom.function_topic.contains("{function}");
            publish
        };
        says.each.iter().map(say).collect()
    }
}

/// A text with everything in it that stands for something.
fn filled_in(template: &str, words: &[(&str, String)], described: &Train, whom: &Whom) -> String {
    let (number, is_long) = match whom.address {
        Some(Address::Short(number)) => (u16::from(number), false),
        Some(Address::Long(number)) => (number, true),
        None => (0, false),
    };
    let filled =
        words.iter().fold(template.to_owned(), |text, (word, value)| text.replace(&format!("{{{word}}}"), value));
    // What a train is called may look like one of the words.
    let name = if template.starts_with('{') { escaped(&described.name) } else { described.name.clone() };
    filled.replace("{address}", &number.to_string()).replace("{long}", &is_long.to_string()).replace("{name}", &name)
}
