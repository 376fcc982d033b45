//! Doubts, power, links and suspicions as lines of JSON.

use std::io::Write;

use signaller::{Doubt, DoubtId, Fact, RouteStage, Suspect};
use track::{Layout, TrainId};

use super::writer::{Writer, quoted};

/// One line in the making, behind the time.
struct Line(String);

impl Line {
    /// Adds a key with a value that is JSON already.
    fn raw(mut self, key: &str, value: &str) -> Self {
        self.0.push_str(if self.0.is_empty() { "" } else { ", " });
        self.0.push_str(&format!("\"{key}\": {value}"));
        self
    }

    fn text(self, key: &str, value: &str) -> Self {
        self.raw(key, &quoted(value))
    }

    fn list<'a>(self, key: &str, values: impl Iterator<Item = &'a str>) -> Self {
        let values: Vec<String> = values.map(quoted).collect();
        self.raw(key, &format!("[{}]", values.join(", ")))
    }
}

impl<W: Write> Writer<W> {
    /// Writes what happened, if it is of those things.
    pub(super) fn fact(&mut self, layout: &Layout, fact: &Fact) {
        let line = Line(String::new());
        let line = match fact {
            Fact::DoubtRaised { doubt, about } => self.doubt_raised(layout, *doubt, about),
            Fact::DoubtCleared { doubt, by } => line.raw("doubt", &doubt.0.to_string()).text("settled", by),
            Fact::PowerLost { district, because } => {
                let name = district.map(|district| layout.districts[district].name.as_str());
                line.raw("district", &name.map_or("null".to_owned(), quoted))
                    .raw("live", "false")
                    .text("because", because)
            }
            Fact::PowerBack { district } => {
                let name = district.map(|district| layout.districts[district].name.as_str());
                line.raw("district", &name.map_or("null".to_owned(), quoted)).raw("live", "true")
            }
            Fact::LinkLost { link } => line.text("link", &layout.links[*link].name).raw("up", "false"),
            Fact::LinkBack { link } => line.text("link", &layout.links[*link].name).raw("up", "true"),
            Fact::Suspected { suspect, because } => {
                let (kind, name) = match suspect {
                    Suspect::Section(section) => ("section", Some(layout.sections[*section].name.as_str())),
                    Suspect::Turnout(turnout) => ("turnout", Some(layout.turnouts[*turnout].name.as_str())),
                    Suspect::Train(train) => ("train", self.train_name(*train)),
                };
                let Some(name) = name else { return };
                line.text("suspect", kind).text("name", name).text("because", because)
            }
            Fact::RouteStage { entry, exit, stage } => {
                let stage = match stage {
                    RouteStage::Called => "called",
                    RouteStage::Cleared => "cleared",
                    RouteStage::ApproachLocked => "approach-locked",
                    RouteStage::Used => "used",
                    RouteStage::Cancelled => "cancelled",
                    RouteStage::Released => "released",
                };
                line.text("route", &layout.signals[*entry].name).text("exit", &exit.name(layout)).text("stage", stage)
            }
            Fact::RouteWaiting { entry, reason } => {
                line.text("route", &layout.signals[*entry].name).text("waits", reason)
            }
            Fact::Withdrawn { section, because } => {
                line.text("withdrawn", &layout.sections[*section].name).text("because", because)
            }
            Fact::InService { section } => line.text("in-service", &layout.sections[*section].name),
            _ => return,
        };
        self.line(&line.0);
    }

    fn doubt_raised(&self, layout: &Layout, doubt: DoubtId, about: &Doubt) -> Line {
        let train = |&train: &TrainId| self.train_name(train);
        let line = Line(String::new())
            .raw("doubt", &doubt.0.to_string())
            .list("trains", about.trains.iter().filter_map(train))
            .list("sections", about.sections.iter().map(|&section| layout.sections[section].name.as_str()))
            .list("may_be", about.alternatives.iter().map(String::as_str))
            .text("settled_by", &about.settled_by);
        match about.roll_call.as_ref().and_then(train) {
            Some(name) => line.text("roll_call", name),
            None => line,
        }
    }
}
