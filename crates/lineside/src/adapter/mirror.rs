//! The other side of the lines: what an adapter says and does, for a pretend table that stands in for one.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde_json::{Value, json};
use signaller::{Input, Output};
use track::wiring::{At, Mark, Thing, WiredLink};
use track::{Layout, Lie};

use crate::motion::order_in;
use crate::reading::{kind_word, mark_of};

/// What the adapter at one link says and does.
#[derive(Debug)]
pub struct Mirror {
    layout: Arc<Layout>,
    names: BTreeMap<Thing, String>,
}

impl Mirror {
    /// The adapter of a link.
    pub fn new(layout: Arc<Layout>, wired: &WiredLink) -> Self {
        let own = wired.carries.iter().filter(|carried| matches!(carried.at, At::Adapter(_)));
        Self { layout, names: own.map(|carried| (carried.thing, carried.name.clone())).collect() }
    }

    /// What it says first.
    pub fn greeting(&self) -> Value {
        json!({ "adapter": 1, "name": "a pretend table" })
    }

    /// The line by which something is reported; nothing where it is not of this link.
    pub fn report(&self, input: &Input) -> Option<Value> {
        if let Input::TrainRead { detector, train } = input {
            let name = self.names.get(&Thing::Reader(*detector))?;
            return Some(json!({ "reader": name, "train": self.layout.trains.get(*train)?.name }));
        }
        let (thing, mark) = mark_of(input)?;
        let name = self.names.get(&thing)?;
        let kind = kind_word(thing);
        Some(match mark {
            Mark::Occupied | Mark::Free => json!({ kind: name, "occupied": mark == Mark::Occupied }),
            Mark::Live | Mark::Dark => json!({ kind: name, "live": mark == Mark::Live }),
            Mark::Passed => json!({ kind: name }),
            Mark::Moving => json!({ kind: name, "lies": "unknown" }),
            Mark::Straight | Mark::Diverging => json!({ kind: name, "lies": mark.word() }),
            // Nobody reports how an accessory is.
            Mark::On | Mark::Off => return None,
        })
    }

    /// What a line orders; nothing where it orders nothing that is known here.
    pub fn obey(&self, line: &Value) -> Option<Output> {
        let named = |kind: &str| line[kind].as_str();
        if let Some(name) = named("turnout") {
            let lie = match line["throw"].as_str()? {
                "straight" => Lie::Straight,
                "diverging" => Lie::Diverging,
                _ => return None,
            };
            return Some(Output::Throw { turnout: self.layout.turnout_named(name)?, lie });
        }
        if let Some(name) = named("signal") {
            let signal = self.layout.signal_named(name)?;
            let aspect = self.layout.book_of(signal).named(line["show"].as_str()?)?;
            return Some(Output::Show { signal, aspect });
        }
        if let Some(name) = named("district") {
            return Some(Output::Power { district: self.layout.district_named(name)?, live: line["power"].as_bool()? });
        }
        if let Some(name) = named("accessory") {
            return Some(Output::Accessory {
                accessory: self.layout.accessory_named(name)?,
                on: line["on"].as_bool()?,
            });
        }
        let train = self.layout.train_named(named("train")?)?;
        order_in(&self.layout, train, line, "drive")
    }
}
