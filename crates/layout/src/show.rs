//! How diagnostics are shown: to people as text, to editors as JSON.

use std::fmt::{self, Write as _};

use serde_json::{Value, json};

use crate::diagnostic::{Diagnostic, Diagnostics};
use crate::source::{Source, Span};

/// Longer lines are cut around the place, so that a line of a megabyte does not flood the terminal.
const WIDEST: usize = 120;
/// What is left standing before the place when a line is cut.
const KEPT_BEFORE: usize = 40;

impl fmt::Display for Diagnostics {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, diagnostic) in self.iter().enumerate() {
            if index > 0 {
                f.write_char('\n')?;
            }
            self.show(f, diagnostic)?;
        }
        match self.unlisted() {
            0 => Ok(()),
            more => writeln!(f, "\n{more} more are not listed"),
        }
    }
}

impl Diagnostics {
    /// One JSON object a diagnostic, for editors:
    ///
    /// ```json
    /// { "severity": "mistake", "file": "layout.toml",
    ///   "from": { "line": 31, "column": 9 }, "to": { "line": 31, "column": 19 },
    ///   "message": "no section is named `quay-3`", "hint": "the nearest name is `quay-1`",
    ///   "see": [{ "file": "...", "from": {}, "to": {}, "message": "..." }] }
    /// ```
    ///
    /// Lines and columns count from 1, columns in characters; `to` is the first place behind the text meant. `hint` is
    /// `null` where there is none.
    pub fn json(&self) -> impl Iterator<Item = Value> + '_ {
        self.iter().map(|diagnostic| {
            let see: Vec<Value> = diagnostic.see.iter().map(|(span, message)| self.json_at(*span, message)).collect();
            let mut value = self.json_at(diagnostic.span, &diagnostic.message);
            value["severity"] = json!(diagnostic.severity.word());
            value["hint"] = json!(diagnostic.hint);
            value["see"] = json!(see);
            value
        })
    }

    fn json_at(&self, span: Span, message: &str) -> Value {
        let source = self.source(span);
        let (from, to) = (source.place(span.start), source.place(span.end));
        json!({
            "file": source.name,
            "from": { "line": from.line, "column": from.column },
            "to": { "line": to.line, "column": to.column },
            "message": message,
        })
    }

    fn show(&self, f: &mut fmt::Formatter<'_>, diagnostic: &Diagnostic) -> fmt::Result {
        writeln!(f, "{}: {}", diagnostic.severity.word(), diagnostic.message)?;
        let source = self.source(diagnostic.span);
        let place = source.place(diagnostic.span.start);
        writeln!(f, "   {}:{}:{}", source.name, place.line, place.column)?;
        if !source.text.trim().is_empty() {
            write_underlined(f, source, diagnostic.span)?;
        }
        for (span, why) in &diagnostic.see {
            let source = self.source(*span);
            let place = source.place(span.start);
            writeln!(f, "   {why}: {}:{}:{}", source.name, place.line, place.column)?;
        }
        if let Some(hint) = &diagnostic.hint {
            writeln!(f, "   hint: {hint}")?;
        }
        Ok(())
    }
}

fn write_underlined(f: &mut fmt::Formatter<'_>, source: &Source, span: Span) -> fmt::Result {
    let start = source.boundary(span.start);
    let number = source.line_of(start);
    let (line_start, line) = source.line(number);
    let before = line.get(..start - line_start).unwrap_or(line).chars().count();
    let end = source.boundary(span.end).clamp(start, line_start + line.len().max(start - line_start));
    let marked = source.text[start..end].chars().count().max(1);

    let total = line.chars().count();
    let skipped = if total > WIDEST { before.saturating_sub(KEPT_BEFORE) } else { 0 };
    let shown: String = line.chars().skip(skipped).take(WIDEST).map(printable).collect();
    let (left, right) = (if skipped > 0 { "…" } else { "" }, if total > skipped + WIDEST { "…" } else { "" });
    let indent = before - skipped + left.chars().count();
    let marks = marked.min(WIDEST.saturating_sub(before - skipped)).max(1);

    let gutter = (number + 1).to_string();
    writeln!(f, "   {gutter} | {left}{shown}{right}")?;
    writeln!(f, "   {} | {}{}", " ".repeat(gutter.len()), " ".repeat(indent), "~".repeat(marks))
}

/// Control characters would move the cursor or ring the bell; a tab would shift the underline.
fn printable(letter: char) -> char {
    if letter == '\t' {
        ' '
    } else if letter.is_control() {
        '\u{fffd}'
    } else {
        letter
    }
}
