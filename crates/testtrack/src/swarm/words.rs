//! One moment of a trial in words, for whoever reads why it failed.

use signaller::{Answer, Destination, Direction, Fact, Input, Output, Tag, Time};
use track::{Layout, Lie, SectionId, TrainId};

use super::log::Log;
use crate::session::Moment;
use crate::table::Table;
use crate::truth::Happening;

/// Writes down what happened on the table, what was heard and what was made of it.
pub(super) fn write(log: &mut Log, moment: &Moment<'_>) {
    let layout = &**moment.table.layout();
    for (at, happening) in moment.happenings {
        log.write(line(*at, "table ", &in_words(moment.table, happening)));
    }
    for input in moment.inputs {
        if let Some(text) = heard(layout, input) {
            log.write(line(moment.now, "heard ", &text));
        }
    }
    for output in moment.outputs {
        if let Output::Drive { train, step, .. } = output {
            let changes = if *step > 0 { log.running.insert(*train) } else { log.running.remove(train) };
            if !changes {
                continue;
            }
        }
        if let Some(text) = said(layout, output) {
            log.write(line(moment.now, "says  ", &text));
        }
    }
    for violation in moment.violations {
        log.write(line(violation.at, "BROKEN", &format!("{:?}: {}", violation.rule, violation.sentence)));
    }
}

/// One line: the layout time, who it is from, what it says.
pub(super) fn line(at: Time, from: &str, text: &str) -> String {
    let thousandths = at.nanos() / 1_000_000;
    let (hours, minutes) = (thousandths / 3_600_000, thousandths / 60_000 % 60);
    let (seconds, rest) = (thousandths / 1000 % 60, thousandths % 1000);
    format!("{hours}:{minutes:02}:{seconds:02}.{rest:03}  {from}  {text}")
}

pub(super) fn train_name(layout: &Layout, train: TrainId) -> &str {
    layout.trains.get(train).map_or("something that nobody knows of", |train| &train.name)
}

fn section_name(layout: &Layout, section: SectionId) -> &str {
    &layout.sections[section].name
}

fn section_names(layout: &Layout, sections: &[SectionId]) -> String {
    sections.iter().map(|&section| section_name(layout, section)).collect::<Vec<_>>().join(", ")
}

fn lie_name(lie: Lie) -> &'static str {
    match lie {
        Lie::Straight => "straight",
        Lie::Diverging => "diverging",
    }
}

fn place_name(layout: &Layout, place: Destination) -> &str {
    match place {
        Destination::Stop(stop) => &layout.stops[stop].name,
        Destination::Section(section) => section_name(layout, section),
    }
}

fn in_words(table: &Table, happening: &Happening) -> String {
    let layout = &**table.layout();
    match *happening {
        Happening::Entered { train, section } => {
            format!("{} rolls into {}", train_name(layout, train), section_name(layout, section))
        }
        Happening::Derailed { train, turnout, .. } => {
            format!("{} derails on {}", train_name(layout, train), layout.turnouts[turnout].name)
        }
        Happening::Collided { train, with, section } => {
            let (one, other) = (train_name(layout, train), train_name(layout, with));
            format!("{one} touches {other} in {}", section_name(layout, section))
        }
        Happening::HitBuffer { train, at } => {
            format!("{} runs against the end of the track at {}", train_name(layout, train), layout.end_name(at))
        }
        Happening::Faulted { mishap } => format!("{} ({})", table.mishap_in_words(&mishap), mishap.fault.name()),
    }
}

fn heard(layout: &Layout, input: &Input) -> Option<String> {
    Some(match input {
        Input::SectionReported { section, occupied } => {
            let what = if *occupied { "occupied" } else { "free" };
            format!("{} is {what}", section_name(layout, *section))
        }
        Input::SpotPassed { detector } => format!("something passes {}", layout.detectors[*detector].name),
        Input::TrainRead { detector, train } => {
            format!("{} reads {}", layout.detectors[*detector].name, train_name(layout, *train))
        }
        Input::TurnoutReported { turnout, lie } => match lie {
            Some(lie) => format!("{} lies {}", layout.turnouts[*turnout].name, lie_name(*lie)),
            None => format!("{} moves", layout.turnouts[*turnout].name),
        },
        Input::PowerReported { district, live } => {
            let what = if *live { "live" } else { "dark" };
            format!("{} is {what}", layout.districts[*district].name)
        }
        Input::InputReported { input, on } => {
            format!("{} is {}", layout.inputs[*input].name, if *on { "on" } else { "off" })
        }
        Input::LinkReported { link, up } => {
            format!("{} is {}", layout.links[*link].name, if *up { "up" } else { "down" })
        }
        Input::Requested { ticket, request } => format!("a wish, {}: {request:?}", ticket.0),
        Input::Woke => return None,
        other => format!("{other:?}"),
    })
}

fn said(layout: &Layout, output: &Output) -> Option<String> {
    let train = |id: &TrainId| train_name(layout, *id);
    Some(match output {
        Output::Drive { train: id, step: 0, .. } => format!("{} shall stand", train(id)),
        Output::Drive { train: id, direction, .. } => {
            let way = if *direction == Direction::Forward { "forward" } else { "backward" };
            format!("{} shall run {way}", train(id))
        }
        Output::EmergencyStop { train: id } => format!("{} shall stand at once", train(id)),
        Output::Function { train: id, number, on } => {
            format!("function {number} of {} shall be {}", train(id), if *on { "on" } else { "off" })
        }
        Output::Accessory { accessory, on } => {
            let name = &layout.accessories[*accessory].name;
            format!("{name} shall be {}", if *on { "on" } else { "off" })
        }
        Output::Power { district, live } => {
            let place = &layout.districts[*district].name;
            format!("{place} shall be {}", if *live { "live" } else { "dark" })
        }
        Output::Throw { turnout, lie } => format!("{} shall lie {}", layout.turnouts[*turnout].name, lie_name(*lie)),
        Output::Show { signal, aspect } => {
            let shows = layout.book_of(*signal).name(*aspect).unwrap_or("nothing that it can show");
            format!("{} shows {shows}", layout.signals[*signal].name)
        }
        Output::Light { signal, lit } => {
            format!("{} is {}", layout.signals[*signal].name, if *lit { "lit" } else { "dark" })
        }
        Output::Fact(fact) => match fact {
            Fact::Tagged { section, tag } => {
                let what = match tag {
                    Tag::Free => "is free".to_owned(),
                    Tag::Sure(id) => format!("surely holds {}", train(id)),
                    Tag::Doubt(trains) => {
                        let names: Vec<_> = trains.iter().map(train).collect();
                        format!("holds {}, and nobody is sure which", names.join(" or "))
                    }
                    Tag::Unexplained => "is occupied, and no known train explains it".to_owned(),
                };
                format!("{} {what}", section_name(layout, *section))
            }
            Fact::RouteSet { train: id, sections } => {
                format!("{} is granted {}", train(id), section_names(layout, sections))
            }
            Fact::SectionReleased { train: id, section } => {
                format!("{} gives back {}", train(id), section_name(layout, *section))
            }
            Fact::Departed { train: id, to } => format!("{} departs for {}", train(id), place_name(layout, *to)),
            Fact::Arrived { train: id, at } => format!("{} arrives at {}", train(id), place_name(layout, *at)),
            Fact::Waiting { train: id, reason } => format!("{} waits: {reason}", train(id)),
            Fact::InputIs { input, on } => {
                let is = on.map_or("not known", |on| if on { "on" } else { "off" });
                format!("{} is {is}", layout.inputs[*input].name)
            }
            Fact::KeptBack { train: id, reason } => format!("{} is kept back: {reason}", train(id)),
            Fact::HoldSet { train: id, reason } => format!("{} is held: {reason}", train(id)),
            Fact::HoldLifted { train: id } => format!("{} is held no more", train(id)),
            Fact::Answered { ticket, answer: Answer::Accepted } => format!("wish {} is accepted", ticket.0),
            Fact::Answered { ticket, answer: Answer::Refused(why) } => {
                format!("wish {} is refused: {}", ticket.0, why.reason)
            }
            Fact::DoubtRaised { doubt, about } => {
                format!("doubt {}: {}. {}", doubt.0, about.alternatives.join("; or "), about.settled_by)
            }
            Fact::DoubtCleared { doubt, by } => format!("doubt {} is settled: {by}", doubt.0),
            other => format!("{other:?}"),
        },
    })
}
