//! What is kept from one run to the next: what was learned of trains, in one file of a folder of its own.
//!
//! It is written aside and then put in place of the old one, so that a crash leaves one or the other. A file that cannot be
//! understood, or that a newer version wrote, is never written over: it is moved aside, and that is told.

use std::fs::File;
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use signaller::drive::{Described, Lessons, SideLessons, TaughtNear, TimedBand};
use track::Speed;

/// The file in the folder.
const FILE: &str = "profiles.toml";
/// How the file is laid out. What is written otherwise gets another number.
const VERSION: i64 = 1;
/// A longer file was written by nobody here.
const LARGEST: u64 = 16 << 20;

const HEAD: &str = "# What was learned of how trains run, as `lineclear profile` shows it. Written by Lineclear; to forget a \
                    train, use\n# `lineclear profile DIR --reset TRAIN`.\n\n";

/// What is kept of all trains.
#[derive(Debug)]
pub(crate) struct Kept {
    path: PathBuf,
    file: Written,
}

/// Why a file is not used.
#[derive(Debug)]
pub(crate) struct Unusable(pub(crate) String);

#[derive(Debug, Default, Serialize, Deserialize)]
struct Written {
    version: i64,
    #[serde(default, rename = "train")]
    trains: Vec<Entry>,
}

#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct Entry {
    name: String,
    top_um: i64,
    steps: u8,
    tolerance_permille: i64,
    gathers_um: i64,
    loses_um: i64,
    variances_um: [i64; 3],
    usual_share_billionths: i64,
    forward: Side,
    backward: Side,
}

/// What runs taught: ratio in billionths, weight in millionths, runs. What passages left open: how many, then pairs of least and
/// most in millionths.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Side {
    taught: Vec<(i64, i64, u32)>,
    timed: Vec<Vec<i64>>,
}

impl Kept {
    /// Reads what is kept in a folder; nothing is kept where there is no such folder or file.
    ///
    /// # Errors
    /// A file that cannot be used.
    pub(crate) fn read(folder: &Path) -> Result<Self, Unusable> {
        let path = folder.join(FILE);
        let unusable = |why: &str| Unusable(format!("`{}` cannot be used: {why}", path.display()));
        let metadata = match std::fs::metadata(&path) {
            Ok(metadata) => metadata,
            Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Self::empty(path)),
            Err(error) => return Err(unusable(&error.to_string().to_lowercase())),
        };
        if metadata.len() > LARGEST {
            return Err(unusable(&format!("it is longer than {LARGEST} bytes")));
        }
        let text = std::fs::read_to_string(&path).map_err(|error| unusable(&error.to_string().to_lowercase()))?;
        match toml::from_str::<toml::Table>(&text).map(|tree| tree.get("version").and_then(toml::Value::as_integer)) {
            Ok(Some(VERSION)) => {}
            Ok(Some(other)) => {
                return Err(unusable(&format!("it is of version {other}, and this program reads {VERSION}")));
            }
            Ok(None) => return Err(unusable("it does not say of which version it is")),
            Err(error) => return Err(unusable(error.message())),
        }
        let file = toml::from_str(&text).map_err(|error| unusable(error.message()))?;
        Ok(Self { path, file })
    }

    /// Reads what is kept in a folder, to write there later. A file that cannot be used is moved aside, and told.
    ///
    /// # Errors
    /// When it cannot be moved aside.
    pub(crate) fn open(folder: &Path) -> io::Result<(Self, Option<String>)> {
        match Self::read(folder) {
            Ok(kept) => Ok((kept, None)),
            Err(Unusable(why)) => {
                let (kept, aside) = Self::begin_anew(folder)?;
                let aside = aside.map_or_else(String::new, |aside| format!("; it is kept as `{}`", aside.display()));
                Ok((kept, Some(format!("{why}{aside}; trains begin as they are described"))))
            }
        }
    }

    /// Nothing is kept from now on; a file that is there is moved aside, and it is told where to.
    ///
    /// # Errors
    /// When it cannot be moved aside.
    pub(crate) fn begin_anew(folder: &Path) -> io::Result<(Self, Option<PathBuf>)> {
        let path = folder.join(FILE);
        if !path.try_exists()? {
            return Ok((Self::empty(path), None));
        }
        let mut number = 1_u32;
        let aside = loop {
            let aside = folder.join(format!("{FILE}.aside-{number}"));
            if !aside.try_exists()? {
                break aside;
            }
            number += 1;
        };
        std::fs::rename(&path, &aside)?;
        Ok((Self::empty(path), Some(aside)))
    }

    fn empty(path: PathBuf) -> Self {
        Self { path, file: Written { version: VERSION, trains: Vec::new() } }
    }

    /// What is kept of a train.
    pub(crate) fn lessons(&self, train: &str) -> Option<Lessons> {
        self.file.trains.iter().find(|entry| entry.name == train).map(Entry::lessons)
    }

    /// Whose profiles are kept.
    pub(crate) fn names(&self) -> impl Iterator<Item = &str> {
        self.file.trains.iter().map(|entry| entry.name.as_str())
    }

    /// Keeps this of a train from now on.
    pub(crate) fn set(&mut self, train: &str, lessons: &Lessons) {
        let entry = Entry::of(train, lessons);
        match self.file.trains.iter_mut().find(|entry| entry.name == train) {
            Some(kept) => *kept = entry,
            None => self.file.trains.push(entry),
        }
    }

    /// Keeps nothing of a train any more; tells whether anything was kept.
    pub(crate) fn forget(&mut self, train: &str) -> Option<()> {
        let place = self.file.trains.iter().position(|entry| entry.name == train)?;
        self.file.trains.remove(place);
        Some(())
    }

    /// Writes it down.
    ///
    /// # Errors
    /// When the folder or the file cannot be written.
    pub(crate) fn save(&self) -> io::Result<()> {
        let text = toml::to_string(&self.file).map_err(io::Error::other)?;
        if let Some(folder) = self.path.parent() {
            std::fs::create_dir_all(folder)?;
        }
        let new = self.path.with_extension("toml.new");
        let mut file = File::create(&new)?;
        file.write_all(HEAD.as_bytes())?;
        file.write_all(text.as_bytes())?;
        file.sync_all()?;
        std::fs::rename(&new, &self.path)
    }
}

impl Entry {
    fn of(name: &str, lessons: &Lessons) -> Self {
        let Lessons { described, gathers_um, loses_um, variances_um, usual_share_billionths, .. } = *lessons;
        Self {
            name: name.to_owned(),
            top_um: described.top.um(),
            steps: described.steps,
            tolerance_permille: described.tolerance_permille,
            gathers_um,
            loses_um,
            variances_um,
            usual_share_billionths,
            forward: Side::of(&lessons.forward),
            backward: Side::of(&lessons.backward),
        }
    }

    fn lessons(&self) -> Lessons {
        Lessons {
            described: Described {
                top: Speed::from_um(self.top_um),
                steps: self.steps,
                tolerance_permille: self.tolerance_permille,
            },
            forward: self.forward.lessons(),
            backward: self.backward.lessons(),
            gathers_um: self.gathers_um,
            loses_um: self.loses_um,
            variances_um: self.variances_um,
            usual_share_billionths: self.usual_share_billionths,
        }
    }
}

impl Side {
    fn of(lessons: &SideLessons) -> Self {
        let taught = lessons.taught.iter().map(|it| (it.ratio_billionths, it.weight_millionths, it.runs)).collect();
        let band = |band: &TimedBand| {
            let pairs = band.recent.iter().flat_map(|&(least, most)| [least, most]);
            std::iter::once(i64::try_from(band.passages).unwrap_or(i64::MAX)).chain(pairs).collect()
        };
        Self { taught, timed: lessons.timed.iter().map(band).collect() }
    }

    /// What makes no sense here makes none to the signaller either, which does not take it.
    fn lessons(&self) -> SideLessons {
        let near = |&(ratio_billionths, weight_millionths, runs): &(i64, i64, u32)| TaughtNear {
            ratio_billionths,
            weight_millionths,
            runs,
        };
        let band = |written: &Vec<i64>| {
            let (passages, pairs) = written.split_first().map_or((0, &[][..]), |(first, rest)| (*first, rest));
            let recent = pairs.chunks(2).map(|pair| (pair[0], pair.get(1).copied().unwrap_or(-1))).collect();
            TimedBand { passages: u64::try_from(passages).unwrap_or(u64::MAX), recent }
        };
        SideLessons { taught: self.taught.iter().map(near).collect(), timed: self.timed.iter().map(band).collect() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folder(name: &str) -> PathBuf {
        let folder = std::env::temp_dir().join(format!("lineclear-state-{}-{name}", std::process::id()));
        let _ = std::fs::remove_dir_all(&folder);
        folder
    }

    fn lessons() -> Lessons {
        let near =
            |at: i64| TaughtNear { ratio_billionths: 1_000_000_007 + at, weight_millionths: at, runs: at as u32 };
        let band = |at: u64| TimedBand { passages: at, recent: vec![(970_001, 1_030_003); at.min(5) as usize] };
        let side = || SideLessons { taught: (0..16).map(near).collect(), timed: (0..24).map(band).collect() };
        Lessons {
            described: Described { top: Speed::from_um(207_431), steps: 28, tolerance_permille: 100 },
            forward: side(),
            backward: side(),
            gathers_um: 70_001,
            loses_um: 110_003,
            variances_um: [5, 7, -3],
            usual_share_billionths: 512_345_678,
        }
    }

    #[test]
    fn what_was_kept_of_a_train_comes_back_as_it_went() {
        let folder = folder("round");
        let mut kept = Kept::read(&folder).unwrap();
        assert_eq!(kept.lessons("Heron"), None);
        kept.set("Heron \"the\" 2nd", &lessons());
        kept.set("Plover", &lessons());
        kept.save().unwrap();
        let mut again = Kept::read(&folder).unwrap();
        assert_eq!(again.lessons("Heron \"the\" 2nd"), Some(lessons()));
        assert_eq!(again.names().count(), 2);
        assert_eq!(again.forget("Plover"), Some(()));
        assert_eq!(again.forget("Plover"), None);
        again.save().unwrap();
        assert_eq!(Kept::read(&folder).unwrap().names().collect::<Vec<_>>(), ["Heron \"the\" 2nd"]);
        assert_eq!(std::fs::read_dir(&folder).unwrap().count(), 1, "nothing is left lying about");
        std::fs::remove_dir_all(&folder).unwrap();
    }

    #[test]
    fn a_file_that_cannot_be_used_is_kept_aside_and_told() {
        let folder = folder("aside");
        std::fs::create_dir_all(&folder).unwrap();
        for (number, text) in ["version = 2\n[future]\n", "version = 1\n[[train]]\nname = 7\n", "not toml", "a = 1\n"]
            .into_iter()
            .enumerate()
        {
            std::fs::write(folder.join(FILE), text).unwrap();
            assert!(Kept::read(&folder).is_err(), "{text}");
            let (mut kept, told) = Kept::open(&folder).unwrap();
            let aside = folder.join(format!("{FILE}.aside-{}", number + 1));
            assert!(told.unwrap().contains(&aside.display().to_string()), "{text}");
            kept.set("Heron", &lessons());
            kept.save().unwrap();
            assert_eq!(std::fs::read_to_string(aside).unwrap(), text);
        }
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
