//! Seeds that once found something, kept in a file: one a line.

use testtrack::swarm::FaultSet;

use crate::arguments::hours;

/// One line of the file.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Line {
    pub(crate) seed: u64,
    pub(crate) hours: f64,
    pub(crate) faults: Option<FaultSet>,
    pub(crate) layout: Option<String>,
}

/// Reads the file.
///
/// # Errors
/// That it cannot be read, or which line of it was not understood.
#[expect(clippy::disallowed_methods, reason = "only what runs inside a trial must not depend on files")]
pub(crate) fn read(path: &str) -> Result<Vec<Line>, String> {
    let text =
        std::fs::read_to_string(path).map_err(|error| format!("cannot read `{path}`: {error}").to_lowercase())?;
    lines(&text).map_err(|wrong| format!("`{path}`, {wrong}"))
}

fn lines(text: &str) -> Result<Vec<Line>, String> {
    let mut lines = Vec::new();
    for (index, line) in text.lines().enumerate() {
        let words: Vec<_> = line.split('#').next().unwrap_or("").split_whitespace().collect();
        if words.is_empty() {
            continue;
        }
        let place = |wrong: String| format!("line {}: {wrong}", index + 1);
        let [seed, span, faults, layout] = words[..] else {
            return Err(place("a line is seed, hours, faults and layout, with spaces between".to_owned()));
        };
        let seed = seed.parse().map_err(|_| place(format!("`{seed}` is no seed")))?;
        let faults = (faults != "-").then(|| FaultSet::read(faults)).transpose().map_err(place)?;
        let layout = (layout != "-").then(|| layout.to_owned());
        lines.push(Line { seed, hours: hours(span).map_err(place)?, faults, layout });
    }
    Ok(lines)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_says_which_seed_for_how_long_with_what_and_where() {
        let text = "# seeds\n\n17 0.5 stall demo   # once ran into a siding\n3 2 - -\n";
        let read = lines(text).unwrap();
        assert_eq!(read.len(), 2);
        assert_eq!((read[0].seed, read[0].hours), (17, 0.5));
        assert_eq!(read[0].faults, Some(FaultSet::read("stall").unwrap()));
        assert_eq!(read[0].layout.as_deref(), Some("demo"));
        assert_eq!((read[1].faults.clone(), read[1].layout.clone()), (None, None));
    }

    #[test]
    fn a_line_that_says_less_is_refused_with_its_number() {
        assert!(lines("1 2 none demo\n17 0.5 stall").unwrap_err().starts_with("line 2: a line is seed"));
        assert!(lines("x 2 none demo").unwrap_err().contains("`x` is no seed"));
    }

    #[test]
    fn the_seeds_that_found_something_can_be_read() {
        let kept = include_str!("../../../tests/swarm-seeds.txt");
        assert!(lines(kept).is_ok_and(|lines| !lines.is_empty()));
    }
}
