//! What people want to know of trains, as tables.

use std::time::{Duration, UNIX_EPOCH};

use register::{Cause, Entry, FILE, Origin, Register, Settings};
use rusqlite::Connection;
use signaller::{
    Answer, Destination, Doubt, DoubtId, Fact, Input, Output, Refusal, Request, Signaller, Suspect, Tag, Ticket, Time,
};
use track::{Id, SectionId, StopId, TrainId};

use super::scene::{beginning, layout};
use super::{folder, open};

/// Steps in which somebody wishes these, one a step.
pub fn wish(register: &mut Register, signaller: &mut Signaller, wishes: &[Request]) {
    for (at, request) in wishes.iter().enumerate() {
        let now = Time::from_millis(1_000 * (at as i64 + 1));
        let input = Input::Requested { ticket: Ticket(at as u64), request: request.clone() };
        let outputs = signaller.step(now, std::slice::from_ref(&input)).outputs.to_vec();
        let cause = Cause::Asked { by: "the signalman".to_owned(), key: None };
        register.record(Entry { at: now, wall: UNIX_EPOCH, heard: vec![(input, cause)], outputs }).unwrap();
    }
}

/// Records steps with these inputs and facts, one a second, and gives all rows of a query back as text.
fn told(name: &str, steps: Vec<(Vec<Input>, Vec<Fact>)>, query: &str) -> Vec<String> {
    let folder = folder(name);
    // The wall of these steps is years back.
    let keep_facts = Duration::from_secs(100 * 365 * 86_400);
    let mut register = open(&folder, Settings { keep_facts, ..Settings::default() });
    let layout = std::sync::Arc::new(layout());
    register.begin_shift(beginning(&layout, Origin::Afresh));
    for (second, (inputs, facts)) in steps.into_iter().enumerate() {
        let cause = Cause::Asked { by: "the signalman".to_owned(), key: Some("a key".to_owned()) };
        register
            .record(Entry {
                at: Time::from_millis(second as i64 * 1_000),
                wall: UNIX_EPOCH + Duration::from_secs(second as u64),
                heard: inputs.into_iter().map(|input| (input, cause.clone())).collect(),
                outputs: facts.into_iter().map(Output::Fact).collect(),
            })
            .unwrap();
        if second == 4 {
            register.measured(TrainId::from_index(0), 2_500);
        }
    }
    register.close();
    let db = Connection::open(folder.join(FILE)).unwrap();
    let mut statement = db.prepare(query).unwrap();
    let columns = statement.column_count();
    let rows = statement.query_map([], |row| {
        let cells = (0..columns).map(|at| {
            Ok(match row.get_ref(at)? {
                rusqlite::types::ValueRef::Integer(number) => number.to_string(),
                rusqlite::types::ValueRef::Text(text) => String::from_utf8_lossy(text).into_owned(),
                _ => "-".to_owned(),
            })
        });
        cells.collect::<rusqlite::Result<Vec<String>>>().map(|cells| cells.join("|"))
    });
    let rows = rows.unwrap().collect::<Result<_, _>>().unwrap();
    drop(statement);
    drop(db);
    std::fs::remove_dir_all(folder).unwrap();
    rows
}

fn heron() -> TrainId {
    TrainId::from_index(0)
}

fn plover() -> TrainId {
    TrainId::from_index(1)
}

fn section(at: usize) -> SectionId {
    SectionId::from_index(at)
}

fn stop(at: usize) -> Destination {
    Destination::Stop(StopId::from_index(at))
}

#[test]
fn a_train_was_in_a_section_from_when_it_was_tagged_until_the_tag_left() {
    let tagged = |at: usize, tag: Tag| Fact::Tagged { section: section(at), tag };
    let steps = vec![
        (vec![Input::Woke], vec![tagged(0, Tag::Sure(heron()))]),
        (vec![Input::Woke], vec![tagged(1, Tag::Doubt([heron(), plover()].into_iter().collect()))]),
        (vec![Input::Woke], vec![tagged(0, Tag::Free), tagged(1, Tag::Sure(heron()))]),
        (vec![Input::Woke], vec![tagged(0, Tag::Unexplained)]),
        (vec![Input::Woke], vec![]),
    ];
    let query = "SELECT section, train, said, since / 1000000000, until / 1000000000,
        iif(until_wall = (SELECT ended_wall FROM shift), 'the end', until_wall) FROM stand";
    let expected = [
        "west|Heron|sure|0|2|2000",
        "east|Heron|doubt|1|2|2000",
        "east|Plover|doubt|1|2|2000",
        // What still was so when the shift was closed was so until then, though its last step is older.
        "east|Heron|sure|2|4|the end",
        "west|-|unexplained|3|4|the end",
    ];
    assert_eq!(told("stands", steps, query), expected);
}

#[test]
fn a_trip_is_from_where_the_train_stood_to_where_it_came_to_stand() {
    let steps = || {
        let departed = |to| Fact::Departed { train: heron(), to };
        vec![
            (vec![Input::Woke], vec![Fact::Tagged { section: section(0), tag: Tag::Sure(heron()) }]),
            (vec![Input::Woke], vec![departed(stop(1))]),
            (vec![Input::Woke], vec![Fact::Arrived { train: heron(), at: stop(1) }]),
            (vec![Input::Woke], vec![departed(Destination::Section(section(2)))]),
            (vec![Input::Woke], vec![departed(stop(0))]),
        ]
    };
    let query = "SELECT train, origin, destination, departed_wall, arrived_wall, is_over FROM trip";
    let expected = ["Heron|west|east end|1000|2000|1", "Heron|east end|one|3000|-|1", "Heron|-|west end|4000|-|1"];
    let trips = told("trips", steps(), query);
    // The trip that was broken off tells nothing of where the next one begins; the tag does.
    assert_eq!(trips[..2], expected[..2]);
    assert_eq!(trips[2], "Heron|west|west end|4000|-|1");
    let query = "SELECT train, place, wall, short_um FROM stop";
    assert_eq!(told("stops", steps(), query), ["Heron|east end|2000|2500"]);
}

#[test]
fn a_doubt_is_kept_with_what_raised_it_and_what_settled_it() {
    let about = |alternative: &str| Doubt {
        trains: vec![heron()],
        sections: vec![section(1)],
        alternatives: vec![alternative.to_owned()],
        settled_by: "the next report".to_owned(),
        roll_call: None,
    };
    let raised = |alternative| Fact::DoubtRaised { doubt: DoubtId(3), about: about(alternative) };
    let emptied = |at| Input::SectionReported { section: section(at), occupied: false };
    let steps = vec![
        (vec![Input::Woke, emptied(0), emptied(1)], vec![raised("it parted")]),
        (vec![Input::Woke], vec![raised("it turned back")]),
        (vec![Input::Woke], vec![Fact::DoubtCleared { doubt: DoubtId(3), by: "it was seen".to_owned() }]),
        (vec![Input::Woke], vec![raised("again")]),
    ];
    let query =
        "SELECT number, trains, sections, alternatives, would_settle, cause, cause_at, raised_wall, cleared_wall,
                 cleared_by FROM doubt";
    let expected = [
        "3|Heron|east|it turned back|the next report|a section emptied|east|0|2000|it was seen",
        "3|Heron|east|again|the next report|time passed||3000|-|-",
    ];
    assert_eq!(told("doubts", steps, query), expected);
}

#[test]
fn holds_faults_and_answers_of_trains_are_kept() {
    let ask =
        |ticket: u64| Input::Requested { ticket: Ticket(ticket), request: Request::Go { train: heron(), to: stop(1) } };
    let answered = |ticket: u64, answer: Answer| Fact::Answered { ticket: Ticket(ticket), answer };
    let steps = || {
        let because = "it loses contact".to_owned();
        vec![
            (vec![ask(1), ask(2)], vec![answered(1, Answer::Accepted)]),
            (
                vec![Input::Woke],
                vec![
                    answered(2, Answer::Refused(Refusal { reason: "is held".to_owned() })),
                    Fact::HoldSet { train: heron(), reason: "why not".to_owned() },
                    Fact::HoldSet { train: heron(), reason: "another".to_owned() },
                ],
            ),
            (vec![Input::Woke], vec![Fact::HoldLifted { train: heron() }]),
            (
                vec![Input::Woke],
                vec![Fact::Suspected { suspect: Suspect::Section(section(2)), because: because.clone() }],
            ),
            (vec![Input::Woke], vec![Fact::Suspected { suspect: Suspect::Train(plover()), because }]),
        ]
    };
    let query = "SELECT ticket, asked_by, key, what, asked_wall, answered_wall, accepted, reason FROM wish";
    let expected =
        ["1|the signalman|a key|Heron to east end|0|0|1|-", "2|the signalman|a key|Heron to east end|0|1000|0|is held"];
    assert_eq!(told("wishes", steps(), query), expected);
    let query = "SELECT train, reason, since_wall, until_wall FROM hold";
    assert_eq!(told("holds", steps(), query), ["Heron|why not|1000|2000", "Heron|another|1000|2000"]);
    let query = "SELECT kind, name, because FROM fault";
    assert_eq!(told("faults", steps(), query), ["detector|one|it loses contact", "train|Plover|it loses contact"]);
}
