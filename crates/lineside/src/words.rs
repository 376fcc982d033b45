//! What went wrong, in words for people.

use std::fmt::Display;
use std::io;

/// What an error says, without a capital and without the numbers of the system. Names in it are left as they are.
pub(crate) fn in_words(error: &dyn Display) -> String {
    let text = error.to_string();
    let text = match text.split_once(" (os error ") {
        Some((before, rest)) => format!("{before}{}", rest.split_once(')').map_or("", |(_, behind)| behind)),
        None => text,
    };
    let mut letters = text.chars();
    match (letters.next(), letters.clone().next()) {
        // Not what is a name of capitals.
        (Some(first), Some(second)) if !second.is_uppercase() => first.to_lowercase().chain(letters).collect(),
        _ => text,
    }
}

/// An error with the place that it is about before it.
pub(crate) fn about(place: &str, error: &io::Error) -> io::Error {
    io::Error::new(error.kind(), format!("`{place}`: {}", in_words(error)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_system_says_is_told_without_its_numbers_and_with_the_place_as_it_is_written() {
        let error = io::Error::from_raw_os_error(2);
        assert_eq!(in_words(&error), "no such file or directory");
        assert_eq!(about("/dev/ttyUSB0", &error).to_string(), "`/dev/ttyUSB0`: no such file or directory");
        assert_eq!(in_words(&"TLS: it (os error 104) ended"), "TLS: it ended");
        assert_eq!(in_words(&""), "");
    }
}
