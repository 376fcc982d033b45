//! Tables with named fields that functions take or give.

use super::Kind;
use super::{Type, Value, needed, optional};

/// A field of a record.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Field {
    pub(crate) value: Value,
    pub(crate) is_what: &'static str,
}

/// A table with named fields.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Record {
    pub(crate) name: &'static str,
    pub(crate) is_what: &'static str,
    pub(crate) fields: &'static [Field],
}

pub(super) const fn has(name: &'static str, is: Type, is_what: &'static str) -> Field {
    Field { value: needed(name, is), is_what }
}

pub(super) const fn may(name: &'static str, is: Type, is_what: &'static str) -> Field {
    Field { value: optional(name, is), is_what }
}

/// All of them: those of patterns are at the end.
pub(crate) static RECORDS: std::sync::LazyLock<Vec<Record>> =
    std::sync::LazyLock::new(|| PLAIN.iter().chain(&super::patterns::PLANS).copied().collect());

const PLAIN: &[Record] = &[
    Record {
        name: "Event",
        is_what: "something that happened",
        fields: &[
            has("what", Type::Name(Kind::Event), "its name"),
            has("time", Type::Number, "when, in seconds of layout time"),
            may("train", Type::Name(Kind::Train), "the train it is about"),
            may("trains", Type::List(Kind::Train), "where it is not known which: those it may be"),
            may("section", Type::Name(Kind::Section), "the section it is about"),
            may("sections", Type::List(Kind::Section), "the sections, in order"),
            may("place", Type::Name(Kind::Place), "the train's place"),
            may("how", Type::Text, "`free`, `sure`, `doubt` or `unexplained`"),
            may("reason", Type::Text, "why, in plain words"),
            may("signal", Type::Name(Kind::Signal), "the signal"),
            may("aspect", Type::Text, "what it shows, as its aspect book calls it"),
            may("danger", Type::Flag, "whether that is its most restrictive aspect"),
            may("exit", Type::Text, "where the route ends"),
            may("stage", Type::Text, "`called`, `cleared`, `approach-locked`, `used`, `cancelled` or `released`"),
            may("turnout", Type::Name(Kind::Turnout), "the turnout"),
            may("lies", Type::Text, "`straight` or `diverging`"),
            may("detector", Type::Name(Kind::Detector), "the detector"),
            may("district", Type::Name(Kind::District), "the power district"),
            may("link", Type::Name(Kind::Link), "the link"),
            may("input", Type::Name(Kind::Input), "the input"),
            may("on", Type::Flag, "whether it is on"),
            may("doubt", Type::Number, "the number of the doubt"),
            may("may_be", Type::Texts, "what may be so, the likeliest first"),
            may("settled_by", Type::Text, "what would settle it"),
            may("clock", Type::Text, "what the layout clock shows, such as `18:30`"),
            may("button", Type::Text, "the name of the button"),
            may("count", Type::Number, "how many"),
        ],
    },
    Record {
        name: "Which",
        is_what: "picks events: each field a name, a pattern such as `\"yard-?\"`, or a list of these",
        fields: &[
            may("train", Type::Names(Kind::Train), "only of these trains"),
            may("section", Type::Names(Kind::Section), "only in these sections"),
            may("place", Type::Names(Kind::Place), "only at these places"),
            may("signal", Type::Names(Kind::Signal), "only of these signals"),
            may("turnout", Type::Names(Kind::Turnout), "only of these turnouts"),
            may("detector", Type::Names(Kind::Detector), "only of these detectors"),
            may("district", Type::Names(Kind::District), "only of these power districts"),
            may("link", Type::Names(Kind::Link), "only of these links"),
            may("input", Type::Names(Kind::Input), "only of these inputs"),
            may("clock", Type::OneOrMoreTexts, "only when the clock shows this: `\"18:30\"`, `\"*:00\"`"),
            may("button", Type::OneOrMoreTexts, "only of these buttons"),
        ],
    },
    Record {
        name: "Trip",
        is_what: "how a train is to get there",
        fields: &[
            may("within", Type::Number, "the trip fails if it takes more seconds"),
            may("via", Type::List(Kind::Place), "sections or stopping points to pass on the way, in order"),
        ],
    },
    Record {
        name: "Clock",
        is_what: "the layout clock",
        fields: &[
            has("shows", Type::Text, "hours and minutes, such as `18:30`"),
            has("day", Type::Number, "how often it passed midnight"),
            has("hour", Type::Number, "0 to 23"),
            has("minute", Type::Number, "0 to 59"),
            has("second", Type::Number, "0 to 59"),
            has("pace", Type::Number, "how many times faster than layout time it runs"),
            has("running", Type::Flag, "whether it runs"),
            has("goes_on", Type::Flag, "whether it goes on from where it stood before this run"),
        ],
    },
    Record {
        name: "Picture",
        is_what: "everything that is known at one moment; a copy",
        fields: &[
            has("time", Type::Number, "seconds of layout time"),
            has("clock", Type::Record("Clock"), "the layout clock"),
            has("trains", Type::RecordsByName("TrainState"), "all trains"),
            has("sections", Type::RecordsByName("SectionState"), "all sections"),
            has("signals", Type::RecordsByName("SignalState"), "all signals"),
            has(
                "turnouts",
                Type::TextsByName,
                "how turnouts lie: `straight` or `diverging`; none that moves or is not known",
            ),
            has("routes", Type::RecordsByName("RouteState"), "routes that are set for whoever comes, by their signals"),
            has("doubts", Type::Records("DoubtState"), "all doubts"),
            has("dark", Type::TextsByName, "power districts without power, and how that is known; `\"\"`: everything"),
            has("inputs", Type::FlagsByName, "whether each input is on; none of which that is not known"),
            has("links_down", Type::List(Kind::Link), "links that are down"),
        ],
    },
    Record {
        name: "TrainState",
        is_what: "what is known of a train",
        fields: &[
            has("sections", Type::List(Kind::Section), "sections that are surely its"),
            may("at", Type::Name(Kind::Place), "where it last arrived, until it departs"),
            may("bound", Type::Name(Kind::Place), "the place it is on the way to"),
            may("waiting", Type::Text, "why it waits"),
            may("held", Type::Text, "why it is held"),
            has("step", Type::Number, "the speed step it is driven at; 0 stands"),
            has("trips", Type::Number, "how often it arrived"),
        ],
    },
    Record {
        name: "SectionState",
        is_what: "what is known of a section",
        fields: &[
            has("how", Type::Text, "`free`, `sure`, `doubt`, `unexplained` or `unknown`"),
            has(
                "trains",
                Type::List(Kind::Train),
                "the train that is there, or those that may be, the likeliest first",
            ),
            may("granted", Type::Name(Kind::Train), "the train it is granted to"),
            may("out_of_service", Type::Text, "why no trains are worked over it"),
        ],
    },
    Record {
        name: "SignalState",
        is_what: "what a signal shows",
        fields: &[
            has("aspect", Type::Text, "as its aspect book calls it"),
            has("danger", Type::Flag, "whether that is its most restrictive aspect"),
        ],
    },
    Record {
        name: "RouteState",
        is_what: "a route that is set for whoever comes",
        fields: &[
            has("exit", Type::Text, "where it ends"),
            has("stage", Type::Text, "how far it has come, as in events"),
            may("waiting", Type::Text, "what it waits for"),
        ],
    },
    Record {
        name: "DoubtState",
        is_what: "what is not known",
        fields: &[
            has("doubt", Type::Number, "its number"),
            has("trains", Type::List(Kind::Train), "trains of which it is not known where they are"),
            has("sections", Type::List(Kind::Section), "sections of which it is not known who is there"),
            has("may_be", Type::Texts, "what may be so, the likeliest first"),
            has("settled_by", Type::Text, "what would settle it"),
        ],
    },
];
