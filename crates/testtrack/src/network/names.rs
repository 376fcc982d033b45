//! Names of places around Low Staithe, and of trains.

use crate::random::Stream;

const PLACES: [&str; 40] = [
    "ropewalk",
    "saltings",
    "mere",
    "fen",
    "warren",
    "kiln",
    "ferry",
    "osier",
    "tannery",
    "brickfield",
    "slip",
    "weir",
    "causeway",
    "sluice",
    "creek",
    "chandlery",
    "netloft",
    "smokehouse",
    "marsh",
    "heath",
    "beacon",
    "gasworks",
    "maltings",
    "coalyard",
    "pier",
    "lighthouse",
    "cutting",
    "dyke",
    "withy",
    "reedbed",
    "foundry",
    "icehouse",
    "shingle",
    "groyne",
    "oyster-bed",
    "boatyard",
    "sandpit",
    "lime-wharf",
    "toll-house",
    "common",
];

const TRAINS: [&str; 12] = [
    "Heron",
    "Plover",
    "Dunlin",
    "Curlew",
    "Knot",
    "Ruff",
    "Teal",
    "Gannet",
    "Avocet",
    "Sanderling",
    "Whimbrel",
    "Turnstone",
];

/// Hands out names, each once.
#[derive(Debug)]
pub(super) struct Names {
    places: Vec<String>,
    trains: Vec<&'static str>,
}

impl Names {
    /// All names, shuffled.
    pub(super) fn new(stream: &mut Stream) -> Self {
        let mut places: Vec<String> = PLACES.iter().map(|&name| name.to_owned()).collect();
        shuffle(&mut places, stream);
        let mut trains = TRAINS.to_vec();
        shuffle(&mut trains, stream);
        Self { places, trains }
    }

    /// A place that has no other part of the network yet. When all are taken, they come again as `upper`.
    pub(super) fn place(&mut self) -> String {
        if self.places.is_empty() {
            self.places = PLACES.iter().map(|name| format!("upper-{name}")).collect();
        }
        self.places.pop().unwrap_or_default()
    }

    /// A train's name; nothing where all are taken.
    pub(super) fn train(&mut self) -> Option<&'static str> {
        self.trains.pop()
    }
}

fn shuffle<T>(list: &mut [T], stream: &mut Stream) {
    for last in (1..list.len()).rev() {
        list.swap(last, stream.below(last as u64 + 1) as usize);
    }
}
