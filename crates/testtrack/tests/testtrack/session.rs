//! The closed loop: what goes in, what comes out, and that a seed decides all of it.

use std::sync::Arc;
use std::time::Duration;

use signaller::{Destination, Direction, Fact, Input, Output, Request, Step, Tag, Time};
use testtrack::{Digest, Session, Settings, Works};
use track::{Start, StopId, TrainId};

use crate::fixture::{corner_with, plover};

/// A signaller that drives one train to the end of the line and says so, by the clock alone.
#[derive(Debug)]
struct Script {
    due: Vec<(Time, Vec<Output>)>,
    heard: Vec<(Time, Input)>,
    outputs: Vec<Output>,
}

impl Works for Script {
    fn work(&mut self, now: Time, inputs: &[Input]) -> Step<'_> {
        self.heard.extend(inputs.iter().map(|input| (now, input.clone())));
        self.outputs.clear();
        while self.due.first().is_some_and(|(at, _)| *at <= now) {
            self.outputs.extend(self.due.remove(0).1);
        }
        Step { outputs: &self.outputs, wake_at: self.due.first().map(|(at, _)| *at) }
    }
}

struct Line {
    dunlin: TrainId,
    stop: StopId,
    session: Session<Script>,
}

/// Dunlin stands on line-1 and is driven for `seconds`, then told to stand and said to have arrived at `line-2 end`.
fn line(seed: u64, seconds: f64) -> Line {
    let layout = Arc::new(corner_with(|builder| {
        let (on, nose) = (builder.layout().section_named("line-1"), builder.layout().end_named("line-1.b"));
        let start = Some(Start { on: on.into_iter().collect(), nose });
        builder.train(track::Train { name: "Dunlin".into(), start, ..plover() });
    }));
    let (dunlin, stop) = (layout.train_named("Dunlin").unwrap(), layout.stop_named("line-2 end").unwrap());
    let sections = ["line-1", "line-2"].map(|name| layout.section_named(name).unwrap());
    let (drive, to) =
        (|step| Output::Drive { train: dunlin, direction: Direction::Forward, step }, Destination::Stop(stop));
    let tagged = |section, tag| Output::Fact(Fact::Tagged { section, tag });
    let departed = vec![
        Output::Fact(Fact::RouteSet { train: dunlin, sections: sections.to_vec() }),
        Output::Fact(Fact::Departed { train: dunlin, to }),
        tagged(sections[0], Tag::Sure(dunlin)),
        drive(60),
    ];
    let doubted = vec![tagged(sections[0], Tag::Doubt([dunlin].into_iter().collect()))];
    let arrived = vec![drive(0), tagged(sections[0], Tag::Free), Output::Fact(Fact::Arrived { train: dunlin, at: to })];
    let due = vec![
        (Time::from_millis(1000), departed),
        (Time::from_millis(3000), doubted),
        (Time::from_secs_f64(1.0 + seconds), arrived),
    ];
    let script = Script { due, heard: Vec::new(), outputs: Vec::new() };
    Line { dunlin, stop, session: Session::with(layout, &Settings::seeded(seed), script).unwrap() }
}

fn run(line: &mut Line, seconds: i64) {
    line.session.run_until(Time::from_millis(seconds * 1000), &mut |_, _| {});
}

#[test]
fn the_first_thing_a_signaller_hears_is_where_everything_stands() {
    let mut line = line(1, 5.0);
    run(&mut line, 1);
    let heard = &line.session.signaller().heard;
    assert!(heard.iter().take(7).all(|(at, _)| *at == Time::ZERO));
    let placed = |input: &Input| matches!(input, Input::Requested { request: Request::Place { train, .. }, .. } if *train == line.dunlin);
    assert_eq!(heard.iter().filter(|(_, input)| placed(input)).count(), 1);
    let occupied = heard.iter().filter_map(|(_, input)| match input {
        Input::SectionReported { section, occupied: true } => {
            Some(line.session.table().layout().sections[*section].name.clone())
        }
        _ => None,
    });
    assert_eq!(occupied.collect::<Vec<_>>(), ["line-1"]);
    assert_eq!(heard.iter().filter(|(_, input)| matches!(input, Input::SectionReported { .. })).count(), 5);
    assert_eq!(
        heard.iter().filter(|(_, input)| matches!(input, Input::TurnoutReported { lie: Some(_), .. })).count(),
        1
    );
}

#[test]
fn a_run_in_one_go_is_the_run_in_many_small_ones() {
    let digest = |pieces: i64| -> Digest {
        let mut line = line(4, 5.0);
        for piece in 1..=pieces {
            line.session.run_until(Time::from_millis(12_000 * piece / pieces), &mut |_, _| {});
        }
        line.session.digest()
    };
    assert_eq!(digest(1), digest(240));
}

#[test]
fn the_same_seed_gives_the_same_run_and_another_seed_another() {
    let digest = |seed| {
        let mut line = line(seed, 5.0);
        run(&mut line, 20);
        line.session.digest()
    };
    assert_eq!(digest(7), digest(7));
    assert_ne!(digest(7), digest(8));
}

#[test]
fn figures_tell_of_trips_stops_and_doubt() {
    let mut line = line(1, 9.0);
    run(&mut line, 20);
    let (figures, table) = (line.session.statistics().clone(), line.session.table());
    assert_eq!((figures.departures, figures.trips, figures.doubts), (1, 1, 1));
    assert_eq!(figures.layout_time, Duration::from_secs(20));
    assert_eq!(figures.time_sure, Duration::from_secs(2), "from 1 s to 3 s");
    assert_eq!(figures.time_in_doubt, Duration::from_secs(7), "from 3 s to 10 s");
    assert!((figures.share_sure() - 2.0 / 20.0).abs() < 1e-9);
    let nose = table.nose(line.dunlin).unwrap();
    let short = nose.short_of_end - table.layout().stops[line.stop].short_of_end;
    assert_eq!(figures.stops.count, 1);
    assert_eq!(figures.stops.error_um_total, short.um().unsigned_abs());
    assert!(short.mm().abs() > 1.0, "driven by the clock, nobody stops to the millimetre");
}

#[test]
fn a_rule_broken_in_the_loop_is_told_to_the_listener_in_the_moment_it_breaks() {
    let mut line = line(1, 40.0);
    let mut told = Vec::new();
    line.session.run_until(Time::from_millis(60_000), &mut |moment, _| {
        told.extend(moment.violations.iter().map(|violation| (moment.now, violation.sentence.clone())));
    });
    let last = told.last().map(|(_, sentence)| sentence.as_str());
    assert_eq!(last, Some("Dunlin ran against the end of the track at line-2.b"));
    assert_eq!(told.len(), line.session.violations().len());
}

#[test]
fn a_listener_hears_every_step_and_its_wishes_come_in_on_time() {
    let mut line = line(1, 5.0);
    let (dunlin, mut calls, mut ticket) = (line.dunlin, Vec::new(), None);
    line.session.run_until(Time::from_millis(4000), &mut |moment, desk| {
        if moment.now == Time::ZERO {
            desk.call_at(Time::from_millis(1500));
            ticket = Some(desk.request_at(Time::from_millis(2500), Request::Stop { train: dunlin }));
        }
        if moment.inputs.is_empty() {
            calls.push(moment.now);
        }
    });
    assert_eq!(calls, [Time::from_millis(1500)]);
    let wish = Input::Requested { ticket: ticket.unwrap(), request: Request::Stop { train: dunlin } };
    assert!(line.session.signaller().heard.contains(&(Time::from_millis(2500), wish)));
}
