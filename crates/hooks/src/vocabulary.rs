//! The words of a script: one table of functions and one of events. Registration, the check before running and the
//! documentation are held against it.

/// What an argument is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    Train,
    /// A stopping point or a section.
    Place,
    Section,
    /// One place or a list of them.
    Places,
    Event,
    /// `{train = ..., section = ..., place = ...}`.
    Which,
    /// Text, a number or a function, which need no looking up.
    Plain,
}

/// A function that scripts can call.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Word {
    pub(crate) name: &'static str,
    /// Its arguments in order.
    pub(crate) takes: &'static [Kind],
    /// Whether the last argument may be repeated.
    pub(crate) repeats: bool,
}

const fn word(name: &'static str, takes: &'static [Kind]) -> Word {
    Word { name, takes, repeats: false }
}

pub(crate) const WORDS: &[Word] = &[
    word("task", &[Kind::Plain, Kind::Plain]),
    word("on", &[Kind::Event, Kind::Which, Kind::Plain]),
    word("wait", &[Kind::Plain]),
    word("wait_until", &[Kind::Plain, Kind::Plain]),
    word("wait_for", &[Kind::Event, Kind::Which, Kind::Plain]),
    word("send", &[Kind::Train, Kind::Place, Kind::Plain]),
    word("try_send", &[Kind::Train, Kind::Place, Kind::Plain]),
    word("next_free", &[Kind::Places, Kind::Plain]),
    word("free", &[Kind::Places]),
    word("stop", &[Kind::Train]),
    word("hold", &[Kind::Train, Kind::Plain]),
    word("release", &[Kind::Train]),
    Word { name: "care", takes: &[Kind::Train], repeats: true },
    Word { name: "let_go", takes: &[Kind::Train], repeats: true },
    word("where", &[Kind::Train]),
    word("is_at", &[Kind::Train, Kind::Place]),
    word("tag", &[Kind::Section]),
    word("bound", &[Kind::Train]),
    word("waiting", &[Kind::Train]),
    word("held", &[Kind::Train]),
    word("now", &[]),
    word("say", &[Kind::Plain]),
];

/// The word of that name.
pub(crate) fn word_named(name: &str) -> Option<&'static Word> {
    WORDS.iter().find(|word| word.name == name)
}

/// What is left of the language's own functions. Everything else (files, processes, clocks, loading of code, the inside of
/// functions) is taken away.
pub(crate) const LANGUAGE: &[&str] = &[
    "assert",
    "error",
    "getmetatable",
    "ipairs",
    "next",
    "pairs",
    "pcall",
    "print",
    "rawequal",
    "rawget",
    "rawlen",
    "rawset",
    "select",
    "setmetatable",
    "tonumber",
    "tostring",
    "type",
    "typeof",
    "unpack",
    "xpcall",
    "_G",
    "_VERSION",
    "bit32",
    "coroutine",
    "math",
    "string",
    "table",
    "utf8",
];

/// Functions taken out of what is left of the libraries: they can run for long without a check, and nobody needs them here.
pub(crate) const TAKEN_OUT: &[(&str, &[&str])] = &[("table", &["move", "foreach", "foreachi", "getn", "maxn"])];

/// What can happen, for `on` and `wait_for`.
pub(crate) const EVENTS: &[&str] =
    &["tagged", "route_set", "section_released", "departed", "arrived", "waiting", "held", "hold_lifted"];

/// What events can be told apart by.
pub(crate) const WHICH: &[(&str, Kind)] = &[("train", Kind::Train), ("section", Kind::Section), ("place", Kind::Place)];
