//! Ready patterns: how they are called, and what they take. Their sources are in the folder `patterns`.

use super::Kind;
use super::records::{Field, Record, has, may};
use super::{Run, Type, Value, Word, needed};

const fn pattern(
    name: &'static str,
    takes: &'static [Value],
    gives: &'static [Value],
    does: &'static str,
    source: &'static str,
) -> Word {
    let wrong = "a name that nothing bears; what becomes of its trips, as in `send`";
    Word { name, takes, repeats: false, gives, does, wrong, since: "0.1", run: Run::Pattern(source) }
}

pub(super) const PATTERNS: [Word; 6] = [
    pattern(
        "shuttle",
        &[needed("plan", Type::Record("Shuttle"))],
        &[],
        "lets trains run to and fro over a line, calling at stations on the way",
        include_str!("../patterns/shuttle.luau"),
    ),
    pattern(
        "staging",
        &[needed("plan", Type::Record("Staging"))],
        &[needed("yard", Type::Record("Yard"))],
        "a yard where trains stand until it is their turn: first in, first out, on the shortest free track they fit on",
        include_str!("../patterns/staging.luau"),
    ),
    pattern(
        "round_trip",
        &[needed("plan", Type::Record("RoundTrip"))],
        &[],
        "lets trains run round and round by way of stations and loops, where they pass each other",
        include_str!("../patterns/round_trip.luau"),
    ),
    pattern(
        "timetable",
        &[needed("plan", Type::Record("Timetable"))],
        &[],
        "lets trains run by the layout clock, and says who is late",
        include_str!("../patterns/timetable.luau"),
    ),
    pattern(
        "random_runs",
        &[needed("plan", Type::Record("RandomRuns"))],
        &[],
        "lets trains run here and there, as chance has it",
        include_str!("../patterns/random_runs.luau"),
    ),
    pattern(
        "follow",
        &[needed("plan", Type::Record("Follow"))],
        &[],
        "lets trains follow a leader from place to place",
        include_str!("../patterns/follow.luau"),
    ),
];

const TRAINS: Field = has("trains", Type::Names(Kind::Train), "the trains");
const CALLS: Field = has("calls", Type::Calls, "places in order; a list within the list: whichever is free");
const DWELL: Field = may("dwell", Type::Number, "seconds at each place");
const APART: Field = may("apart", Type::Number, "seconds between the first trips of two trains");

pub(super) const PLANS: [Record; 8] = [
    Record {
        name: "Shuttle",
        is_what: "what `shuttle` takes",
        fields: &[
            TRAINS,
            CALLS,
            may("back", Type::Calls, "where the way back calls, if that is not the same in reverse"),
            DWELL,
            APART,
        ],
    },
    Record {
        name: "Staging",
        is_what: "what `staging` takes",
        fields: &[
            has("tracks", Type::Names(Kind::Section), "its tracks"),
            may("keep_free", Type::Number, "so many of them stay free; one, if nothing is said"),
            may("class", Type::TextsByName, "the class of trains, by their names"),
            may("only", Type::PlacesByName, "tracks for trains of a class alone, by the name of the class"),
        ],
    },
    Record {
        name: "Yard",
        is_what: "a staging yard",
        fields: &[
            has(
                "next",
                Type::OfTrain("Train"),
                "waits for the train, or one of that class, that has stood there longest",
            ),
            has(
                "enter",
                Type::OfTrain("Section"),
                "sends a train to the shortest free track that it fits on; waits for one",
            ),
            has("choose", Type::OfTrain("Section?"), "that track, or `nil`, without sending anything"),
        ],
    },
    Record { name: "RoundTrip", is_what: "what `round_trip` takes", fields: &[TRAINS, CALLS, DWELL, APART] },
    Record {
        name: "Timetable",
        is_what: "what `timetable` takes",
        fields: &[
            has("trips", Type::Records("TimetableTrip"), "the trips, in any order"),
            may("begins", Type::Text, "what the clock shows at first, such as `18:00`"),
            may("pace", Type::Number, "how many times faster than layout time the clock runs; 12, if nothing is said"),
            may("pauses", Type::NumbersByName, "for how many seconds the clock stands, by the time at which it does"),
        ],
    },
    Record {
        name: "TimetableTrip",
        is_what: "a line of a timetable",
        fields: &[
            has("at", Type::Text, "when it leaves, such as `18:05`"),
            has("train", Type::Name(Kind::Train), "the train"),
            has("to", Type::Name(Kind::Place), "where to"),
        ],
    },
    Record {
        name: "RandomRuns",
        is_what: "what `random_runs` takes",
        fields: &[
            TRAINS,
            has("places", Type::Names(Kind::Place), "where they may go"),
            may("dwell", Type::Numbers, "how many seconds they stand: at least, and at most"),
        ],
    },
    Record { name: "Follow", is_what: "what `follow` takes; the first train leads", fields: &[TRAINS, CALLS, DWELL] },
];
