//! A grid of characters, and how a terminal is told to show it.

/// How a character looks. Colour never says anything that the character does not say too.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Style {
    /// As the terminal has it.
    Plain,
    /// Less than plain.
    Faint,
    /// More than plain.
    Strong,
    /// A train that is surely there.
    Train,
    /// Whatever nobody is sure of.
    Doubt,
    /// Danger, and what went wrong.
    Red,
    /// Caution.
    Yellow,
    /// All clear.
    Green,
}

impl Style {
    /// Selects the style (ECMA-48, 8.3.117, select graphic rendition).
    fn code(self, colours: Colours) -> &'static str {
        match (self, colours) {
            (Self::Plain, _) | (Self::Red | Self::Yellow | Self::Green, Colours::None) => "\x1b[0m",
            (Self::Faint, _) => "\x1b[0;2m",
            (Self::Strong, _) => "\x1b[0;1m",
            (Self::Train, _) => "\x1b[0;1;7m",
            (Self::Doubt, Colours::None) => "\x1b[0;7m",
            (Self::Doubt, Colours::Some) => "\x1b[0;7;35m",
            (Self::Red, Colours::Some) => "\x1b[0;1;31m",
            (Self::Yellow, Colours::Some) => "\x1b[0;1;33m",
            (Self::Green, Colours::Some) => "\x1b[0;1;32m",
        }
    }
}

/// Whether colours are wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Colours {
    /// Yes.
    Some,
    /// No.
    None,
}

/// A grid of characters.
#[derive(Debug)]
pub(super) struct Canvas {
    width: usize,
    height: usize,
    cells: Vec<(char, Style)>,
}

impl Canvas {
    /// An empty grid.
    pub(super) fn new(width: usize, height: usize) -> Self {
        Self { width, height, cells: vec![(' ', Style::Plain); width * height] }
    }

    /// How many columns there are.
    pub(super) fn width(&self) -> usize {
        self.width
    }

    /// How many lines there are.
    pub(super) fn height(&self) -> usize {
        self.height
    }

    /// Puts a character. Outside the grid nothing happens.
    pub(super) fn put(&mut self, line: usize, column: usize, character: char, style: Style) {
        if line < self.height && column < self.width {
            self.cells[line * self.width + column] = (character, style);
        }
    }

    /// The character at a place.
    pub(super) fn at(&self, line: usize, column: usize) -> char {
        if line < self.height && column < self.width { self.cells[line * self.width + column].0 } else { ' ' }
    }

    /// Writes a text into at most `room` columns, and tells the column behind it. What does not fit ends in a mark.
    pub(super) fn write(&mut self, line: usize, column: usize, text: &str, room: usize, style: Style) -> usize {
        let room = room.min(self.width.saturating_sub(column));
        let length = text.chars().count();
        for (offset, character) in text.chars().take(room).enumerate() {
            let is_cut = offset + 1 == room && length > room;
            let clean = if character.is_control() { '\u{fffd}' } else { character };
            self.put(line, column + offset, if is_cut { '…' } else { clean }, style);
        }
        column + length.min(room)
    }

    /// The grid as a terminal reads it, from its first line on.
    pub(super) fn escape_codes(&self, colours: Colours) -> String {
        let mut text = String::with_capacity(self.cells.len() * 2);
        text.push_str("\x1b[H");
        for (number, line) in self.cells.chunks(self.width.max(1)).enumerate() {
            if number > 0 {
                text.push_str("\r\n");
            }
            let mut style = None;
            for &(character, wanted) in line {
                if style != Some(wanted) {
                    text.push_str(wanted.code(colours));
                    style = Some(wanted);
                }
                text.push(character);
            }
        }
        text.push_str("\x1b[0m");
        text
    }

    /// The grid without any looks.
    #[cfg(test)]
    pub(super) fn text(&self) -> String {
        let line = |cells: &[(char, Style)]| cells.iter().map(|&(character, _)| character).collect::<String>();
        self.cells.chunks(self.width.max(1)).map(|cells| line(cells).trim_end().to_owned() + "\n").collect()
    }
}
