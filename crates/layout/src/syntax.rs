//! What is no TOML, in words for people who write layouts.

use crate::diagnostic::Findings;
use crate::source::Span;

/// So far before a key that is said twice its `needs` is looked for.
const LOOK_BACK: usize = 1000;

/// Says what is no TOML. What the parser's words leave open is said in ours; the rest is passed on.
pub(crate) fn report(text: &str, span: Span, message: &str, out: &mut Findings) {
    let written = text.get(span.start..span.end).unwrap_or_default();
    let (what, hint) = match message {
        "duplicate key" => {
            report_double(text, written, span, out);
            return;
        }
        "string values must be quoted, expected literal string" if written.is_empty() => {
            ("there is no value".to_owned(), "write `key = value`".to_owned())
        }
        "string values must be quoted, expected literal string" => (
            format!("`{written}` is neither a number, nor a text in quotes"),
            format!("a text is written `\"{written}\"`"),
        ),
        "key with no value, expected `=`" => ("there is no `=`".to_owned(), "write `key = value`".to_owned()),
        "unclosed table, expected `]`"
        | "unclosed array table, expected `]`"
        | "unclosed array table, expected `]]`" => {
            ("a bracket is missing".to_owned(), "the head of a table is written `[layout]` or `[[section]]`".to_owned())
        }
        "invalid basic string, expected `\"`" => {
            ("the text has no closing quote".to_owned(), "close it on the same line".to_owned())
        }
        other => {
            out.mistake(span, other);
            return;
        }
    };
    out.mistake(span, what).hint(hint);
}

/// Two positions of one turnout for one way are a mistake about track, and are told as such.
fn report_double(text: &str, key: &str, span: Span, out: &mut Findings) {
    let start = (span.start.saturating_sub(LOOK_BACK)..=span.start).find(|&at| text.is_char_boundary(at));
    let before = start.and_then(|start| text.get(start..span.start)).unwrap_or_default();
    let brace = before.rfind('{').unwrap_or_default();
    let within = before[..brace].trim_end().trim_end_matches('=').trim_end();
    if within.ends_with("needs") && !before[brace..].contains('}') {
        out.mistake(span, format!("the way needs turnout `{key}` twice"))
            .hint("a turnout lies one way at a time: a way needs it `straight` or `diverging`");
    } else {
        out.mistake(span, format!("`{key}` is said twice")).hint("keep one of them");
    }
}
