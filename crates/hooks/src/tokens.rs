//! A script cut into words, as far as the check before running needs it.
//!
//! This is no parser: Luau does the parsing. Where this reading meets something it cannot make out, it stops and says so,
//! and nothing is checked: a good script must never be turned away.

/// A piece of a script.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Token {
    /// A name or a keyword.
    Name(String),
    /// Text whose value is known: quoted, without escapes, or in long brackets.
    Text(String),
    /// One character of punctuation.
    Mark(char),
    /// A number, or text whose value is not worked out here.
    Opaque,
}

/// A token and the line it starts in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Placed {
    pub(crate) token: Token,
    pub(crate) line: u32,
}

/// The tokens of a script; nothing where it cannot be made out.
pub(crate) fn tokens(text: &str) -> Option<Vec<Placed>> {
    let mut reader = Reader { rest: text, line: 1 };
    let mut found = Vec::new();
    loop {
        reader.skip_blank_and_comments()?;
        let line = reader.line;
        match reader.next_token()? {
            Some(token) => found.push(Placed { token, line }),
            None => return Some(found),
        }
    }
}

struct Reader<'a> {
    rest: &'a str,
    line: u32,
}

impl<'a> Reader<'a> {
    /// Takes so many bytes, which must end at a character.
    fn take(&mut self, bytes: usize) -> &'a str {
        let (taken, rest) = self.rest.split_at(bytes);
        self.line += taken.matches('\n').count() as u32;
        self.rest = rest;
        taken
    }

    fn take_while(&mut self, is_part: impl Fn(char) -> bool) -> &'a str {
        let bytes = self.rest.find(|letter| !is_part(letter)).unwrap_or(self.rest.len());
        self.take(bytes)
    }

    fn skip_blank_and_comments(&mut self) -> Option<()> {
        loop {
            self.take_while(char::is_whitespace);
            if !self.rest.starts_with("--") {
                return Some(());
            }
            self.take(2);
            if self.opening_bracket().is_some() {
                self.long_text()?;
            } else {
                self.take_while(|letter| letter != '\n');
            }
        }
    }

    fn next_token(&mut self) -> Option<Option<Token>> {
        let Some(first) = self.rest.chars().next() else { return Some(None) };
        let token = match first {
            'a'..='z' | 'A'..='Z' | '_' => {
                Token::Name(self.take_while(|letter| letter.is_ascii_alphanumeric() || letter == '_').to_owned())
            }
            '0'..='9' => {
                self.take_while(|letter| letter.is_ascii_alphanumeric() || letter == '_' || letter == '.');
                Token::Opaque
            }
            '"' | '\'' => self.quoted(first)?,
            '`' => self.interpolated()?,
            '[' if self.opening_bracket().is_some() => Token::Text(self.long_text()?),
            _ => {
                self.take(first.len_utf8());
                Token::Mark(first)
            }
        };
        Some(Some(token))
    }

    fn quoted(&mut self, quote: char) -> Option<Token> {
        self.take(1);
        let (mut escaped, mut plain) = (false, true);
        for (at, letter) in self.rest.char_indices() {
            if escaped {
                escaped = false;
            } else if letter == '\\' {
                (escaped, plain) = (true, false);
            } else if letter == quote {
                let text = self.take(at).to_owned();
                self.take(1);
                return Some(if plain { Token::Text(text) } else { Token::Opaque });
            } else if letter == '\n' {
                return None;
            }
        }
        None
    }

    /// Text in backticks, with expressions in braces.
    fn interpolated(&mut self) -> Option<Token> {
        self.take(1);
        loop {
            self.take_while(|letter| !matches!(letter, '`' | '{' | '\\'));
            match self.rest.chars().next()? {
                '`' => {
                    self.take(1);
                    return Some(Token::Opaque);
                }
                '{' => self.skip_braces()?,
                _ => {
                    self.take(1);
                    let escaped = self.rest.chars().next()?;
                    self.take(escaped.len_utf8());
                }
            }
        }
    }

    fn skip_braces(&mut self) -> Option<()> {
        let mut depth = 0_u32;
        loop {
            self.skip_blank_and_comments()?;
            match self.next_token()?? {
                Token::Mark('{') => depth += 1,
                Token::Mark('}') => depth -= 1,
                _ => {}
            }
            if depth == 0 {
                return Some(());
            }
        }
    }

    /// How many equal signs stand in the long bracket that starts here.
    fn opening_bracket(&self) -> Option<usize> {
        let inner = self.rest.strip_prefix('[')?;
        let after = inner.trim_start_matches('=');
        after.starts_with('[').then_some(inner.len() - after.len())
    }

    fn long_text(&mut self) -> Option<String> {
        let level = self.opening_bracket()?;
        self.take(level + 2);
        let close = format!("]{}]", "=".repeat(level));
        let bytes = self.rest.find(&close)?;
        let text = self.take(bytes).to_owned();
        self.take(close.len());
        Some(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(text: &str) -> String {
        let Some(tokens) = tokens(text) else { return "cannot be made out".to_owned() };
        let show = |placed: &Placed| match &placed.token {
            Token::Name(name) => name.clone(),
            Token::Text(text) => format!("<{text}>"),
            Token::Mark(mark) => mark.to_string(),
            Token::Opaque => "?".to_owned(),
        };
        tokens.iter().map(show).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn a_trip_is_read() {
        assert_eq!(shown("send('Heron', \"quay-1\") -- off we go"), "send ( <Heron> , <quay-1> )");
        assert_eq!(shown("wait(1.5e3)"), "wait ( ? )");
    }

    #[test]
    fn comments_and_long_texts_keep_count_of_the_lines() {
        let tokens = tokens("--[[ send(\"Nobody\")\n]] say [==[\n]]]==]\nnow()").unwrap();
        let lines: Vec<u32> = tokens.iter().map(|placed| placed.line).collect();
        assert_eq!(tokens[1].token, Token::Text("\n]]".to_owned()));
        assert_eq!(lines, [2, 2, 4, 4, 4]);
    }

    #[test]
    fn what_is_not_sure_is_not_read() {
        assert_eq!(shown("say('it\\'s here')"), "say ( ? )");
        assert_eq!(shown("say(`plain`)"), "say ( ? )");
        assert_eq!(shown("say(`{train} leaves {place[\"a}\"]} \\{ at {`{now()}`}`) wait(1)"), "say ( ? ) wait ( ? )");
        assert_eq!(shown("say(`{train`)"), "cannot be made out");
        assert_eq!(shown("say('open"), "cannot be made out");
    }
}
