//! The usual lines, read without building anything.
//!
//! Almost all lines of a recording are reports of sections, turnouts and signals: flat objects of short texts, numbers
//! and truth values. This reader takes those in any order of keys and any spacing. Whatever else it meets, it gives up
//! without a word, and [`careful`](super::careful) reads the line again from the start; so nothing that is wrong is
//! decided here.

use signaller::{Input, Request, Ticket, Time};

use super::names::{self, Names};

/// Reads one line, if it is one of the usual ones.
pub(super) fn read(line: &[u8], number: u64, names: &Names) -> Option<(Time, Input)> {
    let fields = fields(line)?;
    let at = fields.at?;
    let input = match fields {
        Fields { section: Some(section), occupied: Some(occupied), texts: 1, truths: 1, .. } => {
            Input::SectionReported { section: names.sections.find(section)?, occupied }
        }
        Fields { turnout: Some(turnout), lies: Some(lies), texts: 2, truths: 0, .. } => {
            Input::TurnoutReported { turnout: names.turnouts.find(turnout)?, lie: names::lie(lies)? }
        }
        Fields { signal: Some(signal), shows: Some(shows), texts: 2, truths: 0, .. } => {
            let signal = names.signals.find(signal)?;
            Input::SignalReported { signal, shows: names.aspects(signal).find(shows)? }
        }
        Fields { signal: Some(signal), held: Some(held), texts: 1, truths: 1, .. } => Input::Requested {
            ticket: Ticket(number),
            request: Request::KeepAtDanger { signal: names.signals.find(signal)?, held },
        },
        _ => return None,
    };
    Some((at, input))
}

/// What a usual line can hold.
#[derive(Default)]
struct Fields<'a> {
    at: Option<Time>,
    section: Option<&'a [u8]>,
    occupied: Option<bool>,
    turnout: Option<&'a [u8]>,
    lies: Option<&'a [u8]>,
    signal: Option<&'a [u8]>,
    shows: Option<&'a [u8]>,
    held: Option<bool>,
    /// How many of the fields above are texts.
    texts: u8,
    /// How many of them are truth values.
    truths: u8,
}

fn fields(line: &[u8]) -> Option<Fields<'_>> {
    let mut fields = Fields::default();
    let mut cursor = Cursor { rest: line };
    cursor.expect(b'{')?;
    loop {
        let key = cursor.text()?;
        cursor.expect(b':')?;
        let twice = match key {
            b"at" => fields.at.replace(cursor.time()?).is_some(),
            b"section" => cursor.text_into(&mut fields.section, &mut fields.texts)?,
            b"turnout" => cursor.text_into(&mut fields.turnout, &mut fields.texts)?,
            b"lies" => cursor.text_into(&mut fields.lies, &mut fields.texts)?,
            b"signal" => cursor.text_into(&mut fields.signal, &mut fields.texts)?,
            b"shows" => cursor.text_into(&mut fields.shows, &mut fields.texts)?,
            b"occupied" => cursor.truth_into(&mut fields.occupied, &mut fields.truths)?,
            b"held" => cursor.truth_into(&mut fields.held, &mut fields.truths)?,
            _ => return None,
        };
        if twice {
            return None;
        }
        match cursor.next_after_space()? {
            b',' => {}
            b'}' => return cursor.at_end().then_some(fields),
            _ => return None,
        }
    }
}

struct Cursor<'a> {
    rest: &'a [u8],
}

impl<'a> Cursor<'a> {
    fn next_after_space(&mut self) -> Option<u8> {
        while let [first, rest @ ..] = self.rest {
            self.rest = rest;
            if !is_space(*first) {
                return Some(*first);
            }
        }
        None
    }

    fn expect(&mut self, wanted: u8) -> Option<()> {
        (self.next_after_space()? == wanted).then_some(())
    }

    fn at_end(&self) -> bool {
        self.rest.iter().all(|&byte| is_space(byte))
    }

    /// A text without escapes.
    fn text(&mut self) -> Option<&'a [u8]> {
        self.expect(b'"')?;
        for (length, &byte) in self.rest.iter().enumerate() {
            match byte {
                b'"' => {
                    let text = &self.rest[..length];
                    self.rest = &self.rest[length + 1..];
                    return Some(text);
                }
                b'\\' | 0..0x20 => return None,
                _ => {}
            }
        }
        None
    }

    fn text_into(&mut self, field: &mut Option<&'a [u8]>, count: &mut u8) -> Option<bool> {
        *count += 1;
        Some(field.replace(self.text()?).is_some())
    }

    fn truth_into(&mut self, field: &mut Option<bool>, count: &mut u8) -> Option<bool> {
        *count += 1;
        let truth = match self.next_after_space()? {
            b't' => self.skip(b"rue").map(|()| true)?,
            b'f' => self.skip(b"alse").map(|()| false)?,
            _ => return None,
        };
        Some(field.replace(truth).is_some())
    }

    fn skip(&mut self, wanted: &[u8]) -> Option<()> {
        self.rest = self.rest.strip_prefix(wanted)?;
        Some(())
    }

    /// A time of at most nine digits on either side of the point: no rounding, no overflow.
    fn time(&mut self) -> Option<Time> {
        let first = self.next_after_space()?;
        let (mut seconds, mut digits) = (digit(first)?, 1);
        while let Some(next) = self.digit() {
            seconds = seconds * 10 + next;
            digits += 1;
        }
        if digits > 9 || (first == b'0' && digits > 1) {
            return None;
        }
        let (mut nanos, mut place) = (0, 1_000_000_000);
        if let [b'.', rest @ ..] = self.rest {
            self.rest = rest;
            while let Some(next) = self.digit() {
                place /= 10;
                nanos += next * place;
                if place == 0 {
                    return None;
                }
            }
            if place == 1_000_000_000 {
                return None;
            }
        }
        let ended = self.rest.first().is_some_and(|&byte| is_space(byte) || byte == b',' || byte == b'}');
        ended.then(|| Time::from_nanos(seconds * 1_000_000_000 + nanos))
    }

    fn digit(&mut self) -> Option<i64> {
        let value = digit(*self.rest.first()?)?;
        self.rest = &self.rest[1..];
        Some(value)
    }
}

fn digit(byte: u8) -> Option<i64> {
    byte.is_ascii_digit().then(|| i64::from(byte - b'0'))
}

fn is_space(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t' | b'\r' | b'\n')
}
