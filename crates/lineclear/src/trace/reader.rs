//! From bytes to inputs: lines of bounded length, in order of time.

use std::io::{self, Read};
use std::sync::Arc;

use signaller::{Input, Request, Time};
use track::{Layout, SectionId, TrainId};

use super::names::Names;
use super::problem::Problem;
use super::{careful, quick};

/// How much is asked for at once.
const BLOCK: usize = 256 * 1024;
/// The longest line that is taken, in bytes.
pub(super) const LONGEST_LINE: usize = 1024 * 1024;
/// How many lines one instant may have: they are kept until it is complete.
pub(super) const LINES_OF_AN_INSTANT: usize = 1_000_000;

/// What the reading thread hands on.
pub(super) enum Item {
    /// A line was understood, or named a train that nobody had described.
    Heard(Time, Input),
    /// A line was not understood.
    Bad(Problem),
}

/// Reads lines from a stream.
pub(super) struct Reader<R> {
    input: R,
    /// What was read and not yet used is `buffer[used..filled]`.
    buffer: Vec<u8>,
    used: usize,
    filled: usize,
    state: State,
    lines: Lines,
}

#[derive(PartialEq, Eq)]
enum State {
    Reading,
    /// The rest of a line that is too long is thrown away.
    Discarding,
    Ended,
}

impl<R: Read> Reader<R> {
    pub(super) fn new(layout: Arc<Layout>, input: R) -> Self {
        Self { input, buffer: vec![0; BLOCK], used: 0, filled: 0, state: State::Reading, lines: Lines::new(layout) }
    }

    /// What the next block of input says; nothing when the input has ended.
    pub(super) fn next_batch(&mut self) -> Option<Vec<Item>> {
        if self.state == State::Ended {
            return None;
        }
        self.make_room();
        let mut batch = Vec::new();
        match self.read_some() {
            Ok(0) => self.end(&mut batch),
            Ok(count) => self.split(count, &mut batch),
            Err(error) => {
                self.state = State::Ended;
                batch.push(Item::Bad(Problem::new(self.lines.number + 1, format!("cannot be read: {error}"))));
            }
        }
        Some(batch)
    }

    /// Moves the unfinished line to the front, and makes the buffer larger where that line fills it.
    fn make_room(&mut self) {
        self.buffer.copy_within(self.used..self.filled, 0);
        self.filled -= self.used;
        self.used = 0;
        if self.filled + BLOCK / 2 > self.buffer.len() {
            self.buffer.resize(self.filled + BLOCK, 0);
        }
    }

    fn read_some(&mut self) -> io::Result<usize> {
        loop {
            match self.input.read(&mut self.buffer[self.filled..]) {
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                result => return result,
            }
        }
    }

    /// Takes every line that ends in the `count` bytes that came.
    fn split(&mut self, count: usize, batch: &mut Vec<Item>) {
        let searched = self.filled;
        self.filled += count;
        batch.reserve(count / 48);
        for end in memchr::memchr_iter(b'\n', &self.buffer[searched..self.filled]) {
            let line = self.used..searched + end;
            self.used = line.end + 1;
            if self.state == State::Discarding {
                self.state = State::Reading;
            } else {
                self.lines.take(&self.buffer[line], batch);
            }
        }
        if self.state == State::Discarding {
            self.used = self.filled;
        } else if self.filled - self.used > LONGEST_LINE {
            self.lines.take(&self.buffer[self.used..self.filled], batch);
            self.used = self.filled;
            self.state = State::Discarding;
        }
    }

    /// Takes a last line that nothing ended.
    fn end(&mut self, batch: &mut Vec<Item>) {
        if self.state == State::Reading {
            self.lines.take(&self.buffer[self.used..self.filled], batch);
        }
        self.state = State::Ended;
    }
}

/// What is remembered from line to line.
struct Lines {
    layout: Arc<Layout>,
    names: Names,
    /// How many lines there were.
    number: u64,
    /// The instant of the last good line.
    latest: Time,
    /// How many lines that instant had.
    in_instant: usize,
    /// Where trains were put down in that instant.
    placed: Vec<(TrainId, Vec<SectionId>)>,
}

impl Lines {
    fn new(layout: Arc<Layout>) -> Self {
        let names = Names::new(&layout);
        Self { layout, names, number: 0, latest: Time::ZERO, in_instant: 0, placed: Vec::new() }
    }

    fn take(&mut self, line: &[u8], batch: &mut Vec<Item>) {
        self.number += 1;
        // Some programs mark a text as UTF-8 by its first three bytes.
        let line = if self.number == 1 { line.strip_prefix(b"\xef\xbb\xbf").unwrap_or(line) } else { line };
        if let Err(problem) = self.read(line, batch) {
            batch.push(Item::Bad(problem));
        }
    }

    fn read(&mut self, line: &[u8], batch: &mut Vec<Item>) -> Result<(), Problem> {
        if let Some((at, input)) = quick::read(line, self.number, &self.names) {
            self.in_order(at)?;
            batch.push(Item::Heard(at, input));
            return Ok(());
        }
        if line.len() > LONGEST_LINE {
            return Err(Problem::new(self.number, format!("longer than {LONGEST_LINE} bytes"))
                .hint("the input must be lines of JSON, one object a line"));
        }
        if line.trim_ascii().is_empty() {
            return Ok(());
        }
        let heard = careful::read(line, self.number, &self.layout, &self.names)?;
        self.in_order(heard.at)?;
        self.without_contradiction(&heard.input)?;
        if let Some((train, name)) = heard.stranger {
            self.names.add_train(train, &name);
            batch.push(Item::Heard(heard.at, Input::TrainNamed { train, name }));
        }
        batch.push(Item::Heard(heard.at, heard.input));
        Ok(())
    }

    /// Time never goes back.
    fn in_order(&mut self, at: Time) -> Result<(), Problem> {
        if at < self.latest {
            let (at, latest) = (at.secs_f64(), self.latest.secs_f64());
            return Err(Problem::new(self.number, format!("time goes back from {latest} to {at}"))
                .hint("lines must stand in order of `at`"));
        }
        if at > self.latest {
            (self.latest, self.in_instant) = (at, 0);
            self.placed.clear();
        }
        self.in_instant += 1;
        if self.in_instant > LINES_OF_AN_INSTANT {
            return Err(Problem::new(self.number, format!("more than {LINES_OF_AN_INSTANT} lines of one instant")));
        }
        Ok(())
    }

    /// Nobody puts one train down in two places at once.
    fn without_contradiction(&mut self, input: &Input) -> Result<(), Problem> {
        let Input::Requested { request: Request::Place { train, on, .. }, .. } = input else { return Ok(()) };
        if self.placed.iter().any(|(earlier, there)| earlier == train && there != on) {
            return Err(Problem::new(self.number, "this train was put down elsewhere in the same instant")
                .hint("a train stands in one place: give one `place` line, or `lift` the train in between"));
        }
        self.placed.push((*train, on.clone()));
        Ok(())
    }
}
