//! Claims as lines of JSON.

use std::io::{self, Write};

use serde_json::json;
use signaller::{Aspect, Tag, Time};
use track::{AspectRow, BookId, Layout, SectionId, SignalId, Table, TrainId};

use super::{Signals, seconds};

/// How much is collected before it is written.
const FULL: usize = 64 * 1024;

/// Writes claims. Only whole lines leave it.
pub(super) struct Writer<W> {
    output: W,
    lines: Vec<u8>,
    /// `{"at": ` and the time of what is being written.
    beginning: Vec<u8>,
    /// The middle of every line about a section, from the comma behind the time to the one behind the name.
    sections: Table<SectionId, Box<[u8]>>,
    signals: Table<SignalId, Box<[u8]>>,
    books: Table<SignalId, BookId>,
    /// What is written of aspects, row by row of each book.
    aspects: Table<BookId, Vec<String>>,
    /// The names of trains, in quotes. Trains that nobody named have none.
    trains: Table<TrainId, Box<[u8]>>,
    /// The same, as they are.
    names: Table<TrainId, String>,
}

impl<W: Write> Writer<W> {
    pub(super) fn new(layout: &Layout, signals: Signals, output: W) -> Self {
        let middle = |key: &str, name: &str| format!(", \"{key}\": {}, ", quoted(name)).into_bytes().into_boxed_slice();
        Self {
            output,
            lines: Vec::with_capacity(2 * FULL),
            beginning: Vec::new(),
            sections: layout.sections.values().map(|section| middle("section", &section.name)).collect(),
            signals: layout.signals.values().map(|signal| middle("signal", &signal.name)).collect(),
            books: layout.signals.values().map(|signal| signal.book).collect(),
            aspects: layout
                .books
                .values()
                .map(|book| book.aspects().map(|(_, row)| aspect_in_json(row, signals)).collect())
                .collect(),
            names: layout.trains.values().map(|train| train.name.clone()).collect(),
            trains: layout.trains.values().map(|train| quoted(&train.name).into_bytes().into_boxed_slice()).collect(),
        }
    }

    /// Names the train with the next free id.
    pub(super) fn name(&mut self, train: TrainId, name: &str) {
        self.names.push(name.to_owned());
        let next = self.trains.push(quoted(name).into_bytes().into_boxed_slice());
        debug_assert_eq!(next, train, "trains are named in order of their ids");
    }

    /// What a train is called; nothing where nobody named it.
    pub(super) fn train_name(&self, train: TrainId) -> Option<&str> {
        self.names.get(train).map(String::as_str)
    }

    /// Writes a line that is JSON already, but for the time.
    pub(super) fn line(&mut self, rest: &str) {
        self.lines.extend_from_slice(&self.beginning);
        self.lines.extend_from_slice(b", ");
        self.lines.extend_from_slice(rest.as_bytes());
        self.lines.extend_from_slice(b"}\n");
    }

    /// What follows is said at this time.
    pub(super) fn begin(&mut self, now: Time) {
        self.beginning.clear();
        self.beginning.extend_from_slice(b"{\"at\": ");
        seconds::write(now, &mut self.beginning);
    }

    /// Writes what is said of a section. Trains that nobody named are something unexplained to the reader.
    pub(super) fn tag(&mut self, section: SectionId, tag: &Tag) {
        self.lines.extend_from_slice(&self.beginning);
        self.lines.extend_from_slice(&self.sections[section]);
        match tag {
            Tag::Free => self.lines.extend_from_slice(b"\"free\": true}\n"),
            Tag::Sure(train) => match self.trains.get(*train) {
                Some(name) => {
                    self.lines.extend_from_slice(b"\"train\": ");
                    self.lines.extend_from_slice(name);
                    self.lines.extend_from_slice(b", \"sure\": true}\n");
                }
                None => self.unexplained(),
            },
            Tag::Doubt(trains) => self.doubt(trains),
            Tag::Unexplained => self.unexplained(),
        }
    }

    fn doubt(&mut self, trains: &[TrainId]) {
        let mut separator: &[u8] = b"\"trains\": [";
        for name in trains.iter().filter_map(|&train| self.trains.get(train)) {
            self.lines.extend_from_slice(separator);
            self.lines.extend_from_slice(name);
            separator = b", ";
        }
        if separator == b", " {
            self.lines.extend_from_slice(b"], \"sure\": false}\n");
        } else {
            self.unexplained();
        }
    }

    fn unexplained(&mut self) {
        self.lines.extend_from_slice(b"\"trains\": [], \"unexplained\": true}\n");
    }

    /// Writes what a signal shows.
    pub(super) fn aspect(&mut self, signal: SignalId, aspect: Aspect) {
        self.lines.extend_from_slice(&self.beginning);
        self.lines.extend_from_slice(&self.signals[signal]);
        self.lines.extend_from_slice(b"\"aspect\": ");
        let name = self.aspects[self.books[signal]].get(usize::from(aspect.0));
        debug_assert!(name.is_some(), "signals show what is in the book");
        self.lines.extend_from_slice(name.map_or(b"null", String::as_bytes));
        self.lines.extend_from_slice(b"}\n");
    }

    /// Writes whether a signal that is lit on approach only is lit.
    pub(super) fn light(&mut self, signal: SignalId, lit: bool) {
        self.lines.extend_from_slice(&self.beginning);
        self.lines.extend_from_slice(&self.signals[signal]);
        self.lines.extend_from_slice(if lit { b"\"lit\": true}\n" } else { b"\"lit\": false}\n" });
    }

    /// Hands over what was collected, once it is worth it.
    pub(super) fn flush_if_full(&mut self) -> io::Result<()> {
        if self.lines.len() < FULL { Ok(()) } else { self.hand_over() }
    }

    /// Hands over everything.
    pub(super) fn flush(&mut self) -> io::Result<()> {
        self.hand_over()?;
        self.output.flush()
    }

    fn hand_over(&mut self) -> io::Result<()> {
        self.output.write_all(&self.lines)?;
        self.lines.clear();
        Ok(())
    }
}

/// An aspect's name, and where that is wanted its lamps.
fn aspect_in_json(row: &AspectRow, signals: Signals) -> String {
    let name = quoted(&row.name);
    if signals != Signals::WithLamps {
        return name;
    }
    let (lamps, flashing) = (json!(row.lamps), json!(row.flashing));
    format!("{name}, \"lamps\": {lamps}, \"flashing\": {flashing}")
}

/// A name as JSON writes it.
pub(super) fn quoted(name: &str) -> String {
    serde_json::Value::from(name).to_string()
}
