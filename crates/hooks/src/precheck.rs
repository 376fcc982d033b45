//! What can be known to be wrong with a script before it runs: names that nobody bears.
//!
//! Only what is certain is reported: a name written out as text in a call of one of our functions, and a call of a function
//! that is nowhere given a meaning. Names that a script puts together while it runs are looked up when they are used.

use std::collections::BTreeSet;

use crate::names::{Names, is_pattern, unknown};
use crate::notice::ScriptError;
use crate::tokens::{Placed, Token, tokens};
use crate::vocabulary::{EVENTS, Kind, LANGUAGE, RECORDS, Type, WORDS, event_named, word_named};

/// Keywords that may stand before an opening bracket.
const KEYWORDS: &[&str] = &[
    "and", "break", "continue", "do", "else", "elseif", "end", "false", "for", "function", "if", "in", "local", "nil",
    "not", "or", "repeat", "return", "then", "true", "type", "until", "while", "export", "const",
];

/// Everything that is certainly wrong with the names in a script.
pub(crate) fn precheck(file: &str, text: &str, names: &Names) -> Vec<ScriptError> {
    let Some(tokens) = tokens(text) else { return Vec::new() };
    let defines_in_other_ways = tokens.iter().any(|placed| placed.token == Token::Name("_G".to_owned()));
    let checker = Checker { tokens: &tokens, names, bound: bound_names(&tokens), defines_in_other_ways };
    let mut errors = Vec::new();
    for (line, what) in checker.findings() {
        errors.push(ScriptError { file: file.to_owned(), line: Some(line), what });
    }
    errors
}

struct Checker<'a> {
    tokens: &'a [Placed],
    names: &'a Names,
    /// Names to which the script itself may give a meaning.
    bound: BTreeSet<&'a str>,
    /// It may also do so through the table of its globals.
    defines_in_other_ways: bool,
}

impl Checker<'_> {
    fn findings(&self) -> Vec<(u32, String)> {
        let mut findings = Vec::new();
        for (at, placed) in self.tokens.iter().enumerate() {
            let Token::Name(name) = &placed.token else { continue };
            if !is_call(self.tokens, at) || self.bound.contains(name.as_str()) || KEYWORDS.contains(&name.as_str()) {
                continue;
            }
            match word_named(name) {
                Some(word) => {
                    let mut values = word.takes.iter();
                    let mut is = Type::Anything;
                    for argument in arguments(self.tokens, at + 1) {
                        is = match values.next() {
                            Some(next) => next.is,
                            None if word.repeats => is,
                            None => break,
                        };
                        self.check_argument(is, argument, &mut findings);
                    }
                }
                None if self.defines_in_other_ways || LANGUAGE.contains(&name.as_str()) => {}
                None => {
                    let known = WORDS.iter().map(|word| word.name).chain(LANGUAGE.iter().copied());
                    findings.push((placed.line, unknown("function", name, known)));
                }
            }
        }
        findings
    }

    fn check_argument(&self, is: Type, argument: &[Placed], findings: &mut Vec<(u32, String)>) {
        match argument {
            [Placed { token: Token::Text(text), line }] => {
                findings.extend(self.wrong_name(is, text).map(|what| (*line, what)));
            }
            [Placed { token: Token::Mark('{'), .. }, inner @ .., Placed { token: Token::Mark('}'), .. }] => {
                for part in split(inner) {
                    match (is, part) {
                        (Type::Names(_) | Type::List(_) | Type::Calls, part) => {
                            self.check_argument(is, part, findings);
                        }
                        (Type::Records(record), part) => {
                            self.check_argument(Type::Record(record), part, findings);
                        }
                        (
                            Type::Record(record) | Type::SecondsOr(record),
                            [Placed { token: Token::Name(key), line }, equals, value @ ..],
                        ) if equals.token == Token::Mark('=') => {
                            self.check_field(record, key, *line, value, findings);
                        }
                        _ => {}
                    }
                }
            }
            _ => {}
        }
    }

    fn check_field(&self, record: &str, key: &str, line: u32, value: &[Placed], findings: &mut Vec<(u32, String)>) {
        let Some(record) = RECORDS.iter().find(|known| known.name == record) else { return };
        match record.fields.iter().find(|field| field.value.name == key) {
            Some(field) => self.check_argument(field.value.is, value, findings),
            None => {
                let what = if record.name == "Which" { "filter" } else { "field" };
                findings.push((line, unknown(what, key, record.fields.iter().map(|field| field.value.name))));
            }
        }
    }

    fn wrong_name(&self, is: Type, name: &str) -> Option<String> {
        match is {
            Type::Name(Kind::Event) if event_named(name).is_none() => {
                Some(unknown("event", name, EVENTS.iter().map(|event| event.name)))
            }
            Type::Calls => self.names.places(name).err(),
            Type::Name(Kind::Train) => self.names.train(name).err(),
            Type::Name(Kind::Place) => self.names.place(name).err(),
            Type::Name(kind) if is_pattern(name) => Some(unknown(kind.word(), name, [""; 0].into_iter())),
            Type::Name(kind) | Type::Names(kind) | Type::List(kind) if kind != Kind::Event => {
                self.names.all(kind, name).err()
            }
            _ => None,
        }
    }
}

/// Whether the name at `at` is called, as a plain name.
fn is_call(tokens: &[Placed], at: usize) -> bool {
    let opens = match tokens.get(at + 1).map(|next| &next.token) {
        Some(Token::Mark(mark)) => matches!(mark, '(' | '{'),
        Some(Token::Text(_)) => true,
        _ => false,
    };
    let before = at.checked_sub(1).map(|before| &tokens[before].token);
    let is_part = match before {
        Some(Token::Mark(mark)) => matches!(mark, '.' | ':'),
        Some(Token::Name(name)) => matches!(name.as_str(), "function" | "type"),
        _ => false,
    };
    opens && !is_part
}

/// Names that the script may give a meaning to: those that stand anywhere in another way than being called.
fn bound_names(tokens: &[Placed]) -> BTreeSet<&str> {
    let mut bound = BTreeSet::new();
    for (at, placed) in tokens.iter().enumerate() {
        let Token::Name(name) = &placed.token else { continue };
        let is_field = at > 0 && matches!(tokens[at - 1].token, Token::Mark('.' | ':'));
        let defines = at > 0 && tokens[at - 1].token == Token::Name("function".to_owned());
        if defines || (!is_field && !is_call(tokens, at)) {
            bound.insert(name.as_str());
        }
    }
    bound
}

/// The arguments of the call whose bracket, table or text is at `at`.
fn arguments(tokens: &[Placed], at: usize) -> Vec<&[Placed]> {
    match &tokens[at].token {
        Token::Mark('(') => closing(tokens, at).map(|close| split(&tokens[at + 1..close])).unwrap_or_default(),
        Token::Mark('{') => closing(tokens, at).map(|close| vec![&tokens[at..=close]]).unwrap_or_default(),
        _ => vec![&tokens[at..=at]],
    }
}

/// Where the bracket that opens at `open` is closed.
fn closing(tokens: &[Placed], open: usize) -> Option<usize> {
    let mut depth = 0_u32;
    for (at, placed) in tokens.iter().enumerate().skip(open) {
        match placed.token {
            Token::Mark('(' | '{' | '[') => depth += 1,
            Token::Mark(')' | '}' | ']') => {
                depth = depth.checked_sub(1)?;
                if depth == 0 {
                    return Some(at);
                }
            }
            _ => {}
        }
    }
    None
}

/// Splits at commas and semicolons outside brackets and function bodies.
///
/// A function body may hold commas of its own; as it only comes last in our functions, cutting it up does no harm.
fn split(tokens: &[Placed]) -> Vec<&[Placed]> {
    let (mut parts, mut start, mut depth) = (Vec::new(), 0, 0_u32);
    for (at, placed) in tokens.iter().enumerate() {
        match placed.token {
            Token::Mark('(' | '{' | '[') => depth += 1,
            Token::Mark(')' | '}' | ']') => depth = depth.saturating_sub(1),
            Token::Mark(',' | ';') if depth == 0 => {
                parts.push(&tokens[start..at]);
                start = at + 1;
            }
            _ => {}
        }
    }
    if start < tokens.len() {
        parts.push(&tokens[start..]);
    }
    parts
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use track::{Builder, Length, Scale, Train};

    use super::*;

    fn names() -> Names {
        let mut builder = Builder::new("Low Staithe", Scale::named("H0").unwrap());
        for section in ["quay-1", "quay-2"] {
            builder.plain_section(section, Some(Length::from_mm(1000)));
        }
        builder.train(Train::stranger("Heron"));
        Names::new(Arc::new(builder.build()))
    }

    fn check(text: &str, expected: &[&str]) {
        let found: Vec<String> = precheck("x.lua", text, &names()).iter().map(ToString::to_string).collect();
        assert_eq!(found, expected, "{text}");
    }

    #[test]
    fn a_trip_to_a_quay_that_is_not_there_is_found_before_it_begins() {
        check(
            "task('shuttle', function()\n  send('Heron', 'quay-3')\nend)",
            &["x.lua:2: no section or stopping point `quay-3`; hint: did you mean `quay-2`?"],
        );
        check("send(\n'Hron', 'quay-1')", &["x.lua:2: no train `Hron`; hint: did you mean `Heron`?"]);
        check("care('Heron', 'Plover')", &["x.lua:1: no train `Plover`"]);
    }

    #[test]
    fn lists_and_filters_are_looked_into() {
        check(
            "next_free{'quay-1', 'quey-2'}",
            &["x.lua:1: no section or stopping point `quey-2`; hint: did you mean `quay-2`?"],
        );
        check(
            "on('arived', { trian = 'Heron', section = { 'quay-1', 'qay-1' } }, function() end)",
            &[
                "x.lua:1: no event `arived`; hint: did you mean `arrived`?",
                "x.lua:1: no filter `trian`; hint: did you mean `train`?",
                "x.lua:1: no section `qay-1`; hint: did you mean `quay-1`?",
            ],
        );
    }

    #[test]
    fn a_function_that_is_nowhere_defined_is_found() {
        check("sned('Heron', 'quay-1')", &["x.lua:1: no function `sned`; hint: did you mean `send`?"]);
        check("local function there(f) f() end there(function() end)", &[]);
        check("_G.greet = print greet()", &[]);
        check("for _, each in {wait} do each(1) end", &[]);
        check("local t = {} function t.go() end t.go() t:go() if (true) then end", &[]);
    }

    #[test]
    fn what_the_script_means_by_a_name_is_respected() {
        check("local function send(a) end send('Nobody')", &[]);
        check("local send = print send('Nobody')", &[]);
        check("local where = 'quay-9' send('Heron', where)", &[]);
        check("local function through(send) send('Nobody') end through(print)", &[]);
        check("print(`{nobody('x')}`) -- send('Nobody')", &[]);
    }
}
