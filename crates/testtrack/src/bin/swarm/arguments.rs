//! What was typed.

use testtrack::swarm::FaultSet;

/// How it is called.
pub(crate) const USAGE: &str = "\
usage: swarm --seeds FIRST..LAST [--hours HOURS] [--layout WHICH] [--faults WHICH]
       swarm --regression FILE [--seeds FIRST..LAST ...]

  --seeds FIRST..LAST  the seeds to run, both included; or a single one
  --hours HOURS        how long things go wrong, in layout time; 2 where left out. Afterwards everything
                       heals, and trains have a quarter of an hour until each of them has moved on
  --layout WHICH       a folder with a layout, `demo`, `network` (drawn by the seed), `crossed` (the same, with tracks
                       that cross), or a small one: passing-loop, terminal, yard-ladder, reversing-loop,
                       triangle, dark-tunnel. Where left out each seed chooses
  --faults WHICH       none, mild, harsh, or names of faults with commas between; `+dispatcher` behind it adds somebody
                       who sets routes and takes track out of service, `+drivers` people who drive trains through the
                       signaller. Under mild faults somebody answers what the signaller asks after a minute, and says
                       of a train that is held which a person drives that it is, as on a layout that is kept well;
                       with `+alone` behind it nobody does, as under all others, until everything heals. Where left
                       out each seed chooses
  --allow SEEDS        so many seeds may fail before the exit status says so; each is told of all the same
  --tell LINES         tells the last lines of what happened with every seed, whether or not it failed
  --regression FILE    runs every line of a file: seed, hours, faults, layout; `-` where the seed chooses; # for notes

Prints what did not hold, then one line of JSON. The exit status is 1 if more than was allowed did not hold, 2 if this was not understood.";

/// What is to be done.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Arguments {
    /// First and last seed.
    pub(crate) seeds: Option<(u64, u64)>,
    /// How long things go wrong.
    pub(crate) hours: f64,
    /// The layout; where nothing was said each seed chooses.
    pub(crate) layout: Option<String>,
    /// What goes wrong; where nothing was said each seed chooses.
    pub(crate) faults: Option<FaultSet>,
    /// So many seeds may fail.
    pub(crate) allow: usize,
    /// So many lines are told of every seed.
    pub(crate) tell: Option<usize>,
    /// A file of seeds.
    pub(crate) regression: Option<String>,
}

impl Arguments {
    /// Reads what was typed; nothing where help was asked for.
    ///
    /// # Errors
    /// In plain words, what was not understood.
    pub(crate) fn read(mut typed: impl Iterator<Item = String>) -> Result<Option<Self>, String> {
        let mut read =
            Self { seeds: None, hours: 2.0, layout: None, faults: None, allow: 0, tell: None, regression: None };
        while let Some(flag) = typed.next() {
            let mut value = || typed.next().ok_or_else(|| format!("`{flag}` needs a value"));
            match flag.as_str() {
                "--help" | "-h" => return Ok(None),
                "--seeds" => read.seeds = Some(seeds(&value()?)?),
                "--hours" => read.hours = hours(&value()?)?,
                "--layout" => read.layout = Some(value()?),
                "--faults" => read.faults = Some(FaultSet::read(&value()?)?),
                "--allow" => read.allow = count(&value()?, "seeds")?,
                "--tell" => read.tell = Some(count(&value()?, "lines")?),
                "--regression" => read.regression = Some(value()?),
                other => return Err(format!("`{other}` means nothing here")),
            }
        }
        if read.seeds.is_none() && read.regression.is_none() {
            return Err("no seeds were named".to_owned());
        }
        Ok(Some(read))
    }
}

fn seeds(text: &str) -> Result<(u64, u64), String> {
    let wrong =
        || format!("`{text}` is no range of seeds\nhint: a number, or two as in `1..200`, the first not the larger");
    let number = |text: &str| text.parse::<u64>().map_err(|_| wrong());
    let (first, last) = match text.split_once("..") {
        Some((first, last)) => (number(first)?, number(last)?),
        None => (number(text)?, number(text)?),
    };
    if first <= last { Ok((first, last)) } else { Err(wrong()) }
}

fn count(text: &str, of: &str) -> Result<usize, String> {
    text.parse().map_err(|_| format!("`{text}` is no number of {of}"))
}

/// Reads a number of hours.
pub(crate) fn hours(text: &str) -> Result<f64, String> {
    let hours = text.parse::<f64>().ok().filter(|hours| *hours > 0.0 && *hours <= 1000.0);
    hours.ok_or_else(|| format!("`{text}` is no number of hours\nhint: a number above 0 and up to 1000, such as `0.5`"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(typed: &str) -> Result<Option<Arguments>, String> {
        Arguments::read(typed.split_whitespace().map(str::to_owned))
    }

    #[test]
    fn everything_that_can_be_typed_is_understood() {
        let arguments = read("--seeds 3..9 --hours 0.5 --layout demo --faults stall,runaway").unwrap().unwrap();
        assert_eq!(arguments.seeds, Some((3, 9)));
        assert_eq!(arguments.hours, 0.5);
        assert_eq!(arguments.layout.as_deref(), Some("demo"));
        assert_eq!(arguments.faults, Some(FaultSet::read("stall,runaway").unwrap()));
        assert_eq!(read("--seeds 4").unwrap().unwrap().seeds, Some((4, 4)));
        assert_eq!(read("--help"), Ok(None));
    }

    #[test]
    fn what_is_not_understood_is_told_and_what_would_be_right() {
        let wrong = |typed| read(typed).unwrap_err();
        assert_eq!(wrong(""), "no seeds were named");
        assert_eq!(wrong("--seeds"), "`--seeds` needs a value");
        assert!(wrong("--seeds 9..3").contains("hint: a number, or two"));
        assert!(wrong("--seeds 1 --hours never").contains("`never` is no number of hours"));
        assert!(wrong("--seeds 1 --faults rain").contains("there is no fault `rain`"));
        assert_eq!(wrong("--seeds 1 --quick"), "`--quick` means nothing here");
    }
}
