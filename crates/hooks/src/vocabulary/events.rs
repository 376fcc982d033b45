//! What can happen, for `on` and `wait_for`.

/// Something that can happen.
#[derive(Clone, Copy, Debug)]
pub(crate) struct EventWord {
    pub(crate) name: &'static str,
    /// When it does.
    pub(crate) when: &'static str,
    /// The fields of the event besides `what` and `time`, of those of the record `Event`.
    pub(crate) has: &'static [&'static str],
    /// The version of the program that had it first.
    pub(crate) since: &'static str,
}

const fn event(name: &'static str, when: &'static str, has: &'static [&'static str]) -> EventWord {
    EventWord { name, when, has, since: "0.1" }
}

/// The event of that name.
pub(crate) fn event_named(name: &str) -> Option<&'static EventWord> {
    EVENTS.iter().find(|event| event.name == name)
}

pub(crate) const EVENTS: &[EventWord] = &[
    event("start", "the first that is heard: the railway is at work", &[]),
    event("stop", "the run is about to end: every train was told to stop", &[]),
    event("section_filled", "something is in a section that was free", &["section", "how", "train", "trains"]),
    event("section_emptied", "nothing is said to be in a section any more", &["section"]),
    event("tagged", "what is said of a section changed", &["section", "how", "train", "trains"]),
    event("route_set", "a train was granted track", &["train", "sections"]),
    event("section_released", "a section was given back", &["train", "section"]),
    event("departed", "a train began to move towards a place", &["train", "place", "section"]),
    event("arrived", "a train came to stand at its place", &["train", "place", "section"]),
    event("stopped", "a train that was driven was told to stand, wherever that is", &["train"]),
    event("waiting", "a train waits for track", &["train", "reason"]),
    event("held", "a train is held", &["train", "reason"]),
    event(
        "kept_back",
        "a train that a person drives was braked before it would have gone too far",
        &["train", "reason"],
    ),
    event("hold_lifted", "a train is held no more", &["train"]),
    event(
        "doubt_raised",
        "it is not known who is where, or what may be so changed",
        &["doubt", "trains", "sections", "may_be", "settled_by"],
    ),
    event("doubt_cleared", "a doubt is settled", &["doubt", "reason"]),
    event("signal_changed", "a signal shows something else", &["signal", "aspect", "danger"]),
    event("route_stage", "a route that was set for whoever comes has come further", &["signal", "exit", "stage"]),
    event("route_waiting", "a route that was set cannot be cleared yet", &["signal", "reason"]),
    event("turnout_lies", "a turnout lies otherwise; `lies` is missing while it moves", &["turnout", "lies"]),
    event("spot_passed", "something passed a spot detector", &["detector", "section"]),
    event("reading", "a reader read a train", &["detector", "section", "train"]),
    event(
        "power_lost",
        "a power district went dark; `district` is missing where there are none",
        &["district", "reason"],
    ),
    event("power_back", "a power district is live again", &["district"]),
    event("link_lost", "a link went down", &["link"]),
    event("link_back", "a link is up again", &["link"]),
    event("out_of_service", "no trains are worked over a section", &["section", "reason"]),
    event("in_service", "trains are worked again over a section", &["section"]),
    event(
        "suspected",
        "a detector, a train or a turnout gives cause to look at it",
        &["section", "train", "turnout", "reason"],
    ),
    event(
        "input_changed",
        "an input came on or went off; before anything was known of it it counts as off",
        &["input", "on"],
    ),
    event("clock", "the layout clock shows a new minute", &["clock"]),
    event("button", "somebody pressed a button: `lineclear tell press NAME`", &["button"]),
    event(
        "missed",
        "the scripts fell behind, and so many things that happened are not told; what they can read is right",
        &["count"],
    ),
];
