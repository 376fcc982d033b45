//! Payloads: plain words, numbers, parts of JSON.

use serde_json::Value;

/// The part of a payload that counts, as text: all of it, or what a pointer (RFC 6901) points at in JSON.
///
/// # Errors
/// Why there is no such part.
pub(super) fn part(payload: &[u8], pointer: Option<&str>) -> Result<String, String> {
    let text = std::str::from_utf8(payload).map_err(|_| "it is no text".to_owned())?;
    let Some(pointer) = pointer else { return Ok(text.trim().to_owned()) };
    let value: Value = serde_json::from_str(text).map_err(|_| "it is no JSON".to_owned())?;
    match value.pointer(pointer) {
        None => Err(format!("it has nothing at `{pointer}`")),
        Some(Value::String(text)) => Ok(text.trim().to_owned()),
        Some(value) => Ok(value.to_string()),
    }
}

/// Whether a payload is a word, or the same number written otherwise.
pub(super) fn is_word(part: &str, word: &str) -> bool {
    part == word || matches!((part.parse::<f64>(), word.parse::<f64>()), (Ok(part), Ok(word)) if part == word)
}

/// A payload for people: short, and without what would spoil a terminal.
pub(super) fn shown(payload: &[u8]) -> String {
    const LONGEST: usize = 120;
    match std::str::from_utf8(payload) {
        Ok(text) => {
            let text: String =
                text.chars().take(LONGEST).map(|letter| if letter.is_control() { ' ' } else { letter }).collect();
            if payload.len() > LONGEST { format!("{text}…") } else { text }
        }
        Err(_) => {
            let bytes: Vec<String> = payload.iter().take(16).map(|byte| format!("{byte:02x}")).collect();
            format!("{} bytes {}", payload.len(), bytes.join(" "))
        }
    }
}

/// A text in quotes of JSON, without the quotes.
pub(super) fn escaped(text: &str) -> String {
    let quoted = Value::from(text).to_string();
    quoted[1..quoted.len() - 1].to_owned()
}
