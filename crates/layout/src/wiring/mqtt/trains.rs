//! What trains are told on a broker, and who of a train is told it.

use track::wiring::{MqttAt, Says, Thing, TrainSays, Whom};
use track::{Address, Facing, nearest};

use super::{Reader, check_topic, topic_safe};
use crate::diagnostic::Findings;
use crate::keys::list_of;
use crate::source::Said;

/// What a train is told where nothing else is written: how it is to run, that it is to stand at once, what of it is on.
const DRIVE: &str = r#"{"train": "{name}", "address": {address}, "long": {long}, "steps": {steps}, "direction": "{direction}", "step": {step}}"#;
const STOP: &str = r#"{"train": "{name}", "address": {address}, "long": {long}, "steps": {steps}, "direction": "{direction}", "step": 0, "emergency": true}"#;
const FUNCTION: &str =
    r#"{"train": "{name}", "address": {address}, "long": {long}, "function": {function}, "on": {on}}"#;
/// What may stand for something in these.
const DRIVE_WORDS: [&str; 6] = ["name", "address", "long", "steps", "direction", "step"];
const FUNCTION_WORDS: [&str; 5] = ["name", "address", "long", "function", "on"];

impl<'t> Reader<'_, 't> {
    pub(super) fn train(&mut self, out: &mut Findings) -> Option<MqttAt> {
        let says = self.template("says", &DRIVE_WORDS, out)?;
        let stop = self.template("stop-says", &DRIVE_WORDS, out)?;
        let function = self.template("function-says", &FUNCTION_WORDS, out)?;
        // Whoever has words of their own understands no others.
        let usual = |text: &str| says.is_none().then(|| text.to_owned());
        let own = |said: Option<Said<&'t str>>| said.map(|said| said.value.to_owned());
        let mut words = TrainSays {
            each: Vec::new(),
            stop: own(stop).or_else(|| usual(STOP)),
            function: own(function).or_else(|| usual(FUNCTION)),
            drive: own(says).unwrap_or_else(|| DRIVE.to_owned()),
        };
        let topic = if self.topic_is_written() { self.topic.clone() } else { format!("{}/set", self.topic) };
        let function_topic = match self.text("function-topic", out) {
            Some(said) => {
                check_topic(said, out).then_some(())?;
                said.value.replace("{name}", &topic_safe(self.asked.name))
            }
            None => format!("{}/function", self.topic),
        };
        words.each = self.each(&words, &topic, &function_topic);
        let first = words.each.first()?.topic.clone();
        let is_shared = words.each.iter().skip(1).any(|whom| whom.topic == first);
        let tells = self.tells(first, Says::Train(words), out);
        if tells.is_retained && is_shared {
            out.warning(
                self.span(),
                format!("of the decoders of `{}` the broker keeps only the last order", self.asked.name),
            )
            .hint("give each its own topic by `{address}` in `topic`, or leave `retain` out");
        }
        Some(MqttAt { hears: None, tells: Some(tells) })
    }

    /// A text in which words in braces stand for something; nothing where one of them stands for nothing.
    fn template(&mut self, key: &'static str, words: &[&str], out: &mut Findings) -> Option<Option<Said<&'t str>>> {
        let said = self.text(key, out);
        said.map_or(Some(()), |said| check_words(said, words, out))?;
        Some(said)
    }

    /// Who is told: each decoder where its address is said, and otherwise one for all of them.
    fn each(&self, words: &TrainSays, topic: &str, function_topic: &str) -> Vec<Whom> {
        let Thing::Train(train) = self.asked.thing else { return Vec::new() };
        let mut decoders: Vec<(Option<Address>, Facing)> =
            self.asked.layout.trains[train].decoders().map(|(address, facing)| (Some(address), facing)).collect();
        let texts = [Some(words.drive.as_str()), words.stop.as_deref(), words.function.as_deref(), Some(topic)];
        let says_which = texts.into_iter().flatten().any(|text| text.contains("{address}"));
        if decoders.is_empty() || (decoders.len() > 1 && !says_which) {
            decoders = vec![(None, Facing::Ahead)];
        }
        let whom = |(address, facing): (Option<Address>, Facing)| {
            let number = match address {
                Some(Address::Short(number)) => u16::from(number),
                Some(Address::Long(number)) => number,
                None => 0,
            };
            let put = |topic: &str| topic.replace("{address}", &number.to_string());
            Whom { topic: put(topic), function_topic: put(function_topic), address, facing }
        };
        decoders.into_iter().map(whom).collect()
    }
}

/// Everything in braces stands for something that is known.
fn check_words(said: Said<&str>, words: &[&str], out: &mut Findings) -> Option<()> {
    for piece in said.value.split('{').skip(1) {
        let Some((word, _)) = piece.split_once('}') else { continue };
        let is_name = !word.is_empty() && word.chars().all(|letter| letter.is_ascii_lowercase());
        if is_name && !words.contains(&word) {
            let hint = match nearest(word, words.iter().copied()) {
                Some(near) => format!("the nearest is `{{{near}}}`"),
                None => format!("there are {}", list_of(words)),
            };
            out.mistake(said.span, format!("`{{{word}}}` stands for nothing")).hint(hint);
            return None;
        }
    }
    Some(())
}

/// The topics that a train cannot share with another: trains may where each order says whose it is.
pub(super) fn topics_of_its_own(says: &TrainSays) -> Vec<&String> {
    let is_own = |text: &str| !text.contains("{address}") && !text.contains("{name}");
    let drives = says.each.iter().map(|whom| &whom.topic).filter(|_| is_own(&says.drive));
    let functions = says.each.iter().map(|whom| &whom.function_topic);
    drives.chain(functions.filter(|_| says.function.as_deref().is_some_and(is_own))).collect()
}
