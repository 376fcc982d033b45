//! The texts that were read, and places in them.

/// Which of the texts read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct FileId(pub(crate) usize);

/// A stretch of one text, in bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Span {
    pub(crate) file: FileId,
    pub(crate) start: usize,
    pub(crate) end: usize,
}

impl Span {
    /// A span of the file from a range of bytes.
    pub(crate) fn new(file: FileId, range: std::ops::Range<usize>) -> Self {
        Self { file, start: range.start, end: range.end.max(range.start) }
    }
}

/// Something read from a text, and where it stands.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Said<T> {
    pub(crate) value: T,
    pub(crate) span: Span,
}

/// One text that was read.
#[derive(Clone, Debug)]
pub(crate) struct Source {
    pub(crate) name: String,
    pub(crate) text: String,
    line_starts: Vec<usize>,
}

/// A place as people count it: both from 1, columns in characters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// The line.
    pub line: usize,
    /// The column, in characters.
    pub column: usize,
}

impl Source {
    pub(crate) fn new(name: impl Into<String>, text: String) -> Self {
        let line_starts = std::iter::once(0)
            .chain(text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n').map(|(at, _)| at + 1))
            .collect();
        Self { name: name.into(), text, line_starts }
    }

    /// Where a byte stands. A place behind the text's end is its end; one inside a character is the character's start.
    pub(crate) fn place(&self, byte: usize) -> Place {
        let byte = self.boundary(byte);
        let line = self.line_of(byte);
        let column = self.text[self.line_starts[line]..byte].chars().count() + 1;
        Place { line: line + 1, column }
    }

    /// The number of the line, from 0, that a byte stands in.
    pub(crate) fn line_of(&self, byte: usize) -> usize {
        self.line_starts.partition_point(|&start| start <= byte).saturating_sub(1)
    }

    /// A line, by its number from 0, without its line break, and the byte it starts at.
    pub(crate) fn line(&self, line: usize) -> (usize, &str) {
        let start = self.line_starts[line];
        let end = self.line_starts.get(line + 1).copied().unwrap_or(self.text.len());
        (start, self.text[start..end].trim_end_matches(['\n', '\r']))
    }

    /// The nearest character boundary at or before a byte.
    pub(crate) fn boundary(&self, byte: usize) -> usize {
        let mut byte = byte.min(self.text.len());
        while !self.text.is_char_boundary(byte) {
            byte -= 1;
        }
        byte
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_counted_from_one_in_characters() {
        let source = Source::new("layout.toml", "ä = 1\nquay = 2\n".to_owned());
        assert_eq!(source.place(0), Place { line: 1, column: 1 });
        assert_eq!(source.place(3), Place { line: 1, column: 3 });
        assert_eq!(source.place(7), Place { line: 2, column: 1 });
        assert_eq!(source.place(9999), Place { line: 3, column: 1 });
        assert_eq!(source.line(1), (7, "quay = 2"));
    }
}
