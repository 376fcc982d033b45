//! The words of a script: one table of functions, one of events, one of what they give. The functions that scripts can call,
//! the check before running, the reference page and the types for editors are all made from it.

mod events;
mod patterns;
mod records;
mod words;

pub(crate) use events::{EVENTS, event_named};
pub(crate) use records::RECORDS;
pub(crate) use words::{WORDS, word_named};

use crate::functions::Body;

/// What bears names that scripts use.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Kind {
    Train,
    Section,
    /// A stopping point or a section.
    Place,
    Signal,
    Turnout,
    /// As the control table calls it.
    Route,
    Detector,
    District,
    Accessory,
    Input,
    Link,
    /// What can happen.
    Event,
}

impl Kind {
    /// What it is called where it is missing.
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Train => "train",
            Self::Section => "section",
            Self::Place => "section or stopping point",
            Self::Signal => "signal",
            Self::Turnout => "turnout",
            Self::Route => "route",
            Self::Detector => "detector",
            Self::District => "power district",
            Self::Accessory => "accessory",
            Self::Input => "input",
            Self::Link => "link",
            Self::Event => "event",
        }
    }

    /// Its type for editors.
    pub(crate) const fn type_name(self) -> &'static str {
        match self {
            Self::Train => "Train",
            Self::Section => "Section",
            Self::Place => "Place",
            Self::Signal => "Signal",
            Self::Turnout => "Turnout",
            Self::Route => "Route",
            Self::Detector => "Detector",
            Self::District => "District",
            Self::Accessory => "Accessory",
            Self::Input => "Input",
            Self::Link => "Link",
            Self::Event => "EventName",
        }
    }
}

/// What a value is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Type {
    Text,
    Number,
    Flag,
    Anything,
    /// A function without arguments, whatever it gives.
    Condition,
    /// A function without arguments or results.
    Job,
    /// A function that takes an event.
    Reaction,
    /// A name.
    Name(Kind),
    /// A name, a pattern such as `"yard-?"`, or a list of these.
    Names(Kind),
    /// A list of names.
    List(Kind),
    Texts,
    /// A text, or a list of texts.
    OneOrMoreTexts,
    /// A table of [`RECORDS`].
    Record(&'static str),
    /// A list of such tables.
    Records(&'static str),
    /// Such tables by name.
    RecordsByName(&'static str),
    TextsByName,
    /// Yes or no, by name.
    FlagsByName,
    /// Seconds, or a table of [`RECORDS`].
    SecondsOr(&'static str),
    /// A list of places, each of them one, or several of which one is chosen.
    Calls,
    /// Places by any name.
    PlacesByName,
    NumbersByName,
    Numbers,
    /// A function that takes a train, and gives that.
    OfTrain(&'static str),
}

/// An argument, or a result.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Value {
    pub(crate) name: &'static str,
    pub(crate) is: Type,
    /// It may be left out, or missing.
    pub(crate) is_optional: bool,
}

pub(crate) const fn needed(name: &'static str, is: Type) -> Value {
    Value { name, is, is_optional: false }
}

pub(crate) const fn optional(name: &'static str, is: Type) -> Value {
    Value { name, is, is_optional: true }
}

/// How a function comes about.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Run {
    /// By the host, at once.
    Now(Body),
    /// By the host, which notes what the caller waits for; then the caller gives way.
    Waits(Body),
    /// In Luau, in `prelude.luau`.
    InPrelude,
    /// In Luau, out of the other words: this is its source.
    Pattern(&'static str),
}

/// A function that scripts can call.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Word {
    pub(crate) name: &'static str,
    /// Its arguments in order.
    pub(crate) takes: &'static [Value],
    /// Whether the last argument may be repeated.
    pub(crate) repeats: bool,
    pub(crate) gives: &'static [Value],
    /// What it does and returns.
    pub(crate) does: &'static str,
    /// What can go wrong besides wrong names.
    pub(crate) wrong: &'static str,
    /// The version of the program that had it first.
    pub(crate) since: &'static str,
    pub(crate) run: Run,
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

/// What events can be told apart by, and of which kind its names are; nothing where it is any text.
pub(crate) const WHICH: &[(&str, Option<Kind>)] = &[
    ("train", Some(Kind::Train)),
    ("section", Some(Kind::Section)),
    ("place", Some(Kind::Place)),
    ("signal", Some(Kind::Signal)),
    ("turnout", Some(Kind::Turnout)),
    ("detector", Some(Kind::Detector)),
    ("district", Some(Kind::District)),
    ("link", Some(Kind::Link)),
    ("input", Some(Kind::Input)),
    ("clock", None),
    ("button", None),
];
