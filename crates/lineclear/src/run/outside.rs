//! What lies at the other end of what a signaller says, where its table is not our own: a pretend table elsewhere, or hardware.

use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::Path;
use std::sync::Arc;

use lineside::health::Health;
use lineside::{Lineside, Rewired, Role, What};
use signaller::{Direction, Input, Output};
use track::wiring::{Thing, Wiring};
use track::{InputId, Layout, LinkId, Renumbering, TrainId};

use super::line::Line;
pub(super) use super::line::News;
use crate::table::wire::Order;

/// The other end.
#[derive(Debug)]
pub(super) enum Outside {
    /// A pretend table that runs by itself.
    Table(Line),
    /// Hardware, over its links.
    Links(Box<Hardware>),
}

/// Hardware, and what of the layout is where on it.
#[derive(Debug)]
pub(super) struct Hardware {
    lineside: Lineside,
    names: BTreeMap<LinkId, String>,
    trains: BTreeMap<LinkId, Vec<TrainId>>,
    /// Which link reports each input.
    inputs: BTreeMap<InputId, LinkId>,
    /// What everything is called that is carried.
    things: BTreeMap<Thing, String>,
}

impl Outside {
    /// The loop goes round.
    pub(super) fn beat(&self) {
        match self {
            Self::Table(line) => line.pulse().beat(),
            Self::Links(hardware) => hardware.lineside.pulse().beat(),
        }
    }

    /// What comes next.
    pub(super) async fn next(&mut self) -> Option<News> {
        match self {
            Self::Table(line) => line.next().await,
            Self::Links(hardware) => loop {
                let news = hardware.lineside.next().await?;
                let (link, name) = (news.link, hardware.name(news.link));
                return Some(match news.what {
                    What::Up(inputs) => News::LinkUp(link, inputs),
                    What::Reported(inputs) => News::Reported(inputs),
                    What::Down(why) => News::LinkDown(link, why),
                    What::Said(text) => News::Said(format!("link {name}: {text}")),
                    What::Stop(why) => News::Stop(link, why),
                    What::Heard(_) | What::Rewired => continue,
                });
            },
        }
    }

    /// Sends on what a step heard, and what came of it.
    pub(super) fn send(&mut self, reports: u64, inputs: &[Input], outputs: &[Output]) {
        match self {
            Self::Table(line) => {
                line.send(Order::Stepped { reports, inputs: inputs.to_vec(), outputs: outputs.to_vec() });
            }
            Self::Links(hardware) => hardware.lineside.order(outputs),
        }
    }

    /// The links that must come up; nothing where everything comes over one line.
    pub(super) fn links(&self) -> Option<BTreeSet<LinkId>> {
        match self {
            Self::Table(_) => None,
            Self::Links(hardware) => Some(hardware.names.keys().copied().collect()),
        }
    }

    /// The trains that are driven over a link.
    pub(super) fn trains(&self, link: LinkId) -> &[TrainId] {
        match self {
            Self::Table(_) => &[],
            Self::Links(hardware) => hardware.trains.get(&link).map_or(&[], Vec::as_slice),
        }
    }

    /// The link that reports an input, as it is called; nothing where no hardware does.
    pub(super) fn reports_input(&self, input: InputId) -> Option<String> {
        match self {
            Self::Table(_) => None,
            Self::Links(hardware) => hardware.inputs.get(&input).map(|&link| hardware.name(link)),
        }
    }

    /// How each link to hardware is.
    pub(super) fn health(&self) -> Vec<Health> {
        match self {
            Self::Table(_) => Vec::new(),
            Self::Links(hardware) => hardware.lineside.health(),
        }
    }

    /// What something that a link carries is called.
    pub(super) fn thing(&self, thing: Thing) -> &str {
        match self {
            Self::Table(_) => "",
            Self::Links(hardware) => hardware.things.get(&thing).map_or("", String::as_str),
        }
    }

    /// What a link is called.
    pub(super) fn name(&self, link: LinkId) -> String {
        match self {
            Self::Table(_) => "the table".to_owned(),
            Self::Links(hardware) => hardware.name(link),
        }
    }

    /// The run is over: hardware is told to let every train stand, and that nobody is in charge. Not to be called within a
    /// runtime.
    pub(super) fn close(self) {
        let Self::Links(hardware) = self else { return };
        let Hardware { mut lineside, trains, .. } = *hardware;
        let stop = trains.into_values().flatten();
        let stop: Vec<Output> =
            stop.map(|train| Output::Drive { train, direction: Direction::Forward, step: 0 }).collect();
        lineside.stand(&stop);
        lineside.close();
    }
}

impl Hardware {
    /// Goes on with another layout, and with other links.
    pub(super) async fn rewire(
        &mut self,
        layout: &Arc<Layout>,
        wiring: &Wiring,
        numbers: &Arc<Renumbering>,
    ) -> Rewired {
        (self.names, self.trains, self.inputs) = known(wiring);
        self.things = things(wiring);
        self.lineside.rewire(layout, wiring, numbers).await
    }

    /// Opens the links.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub(super) fn open(layout: &Arc<Layout>, wiring: &Wiring, folder: &Path) -> io::Result<Self> {
        let (names, trains, inputs) = known(wiring);
        let lineside = Lineside::open(layout, wiring, folder, Role::Runs, None)?;
        Ok(Self { lineside, names, trains, inputs, things: things(wiring) })
    }

    fn name(&self, link: LinkId) -> String {
        self.names.get(&link).cloned().unwrap_or_default()
    }
}

/// What is called how, which trains are driven over which link, and which link reports each input.
type Known = (BTreeMap<LinkId, String>, BTreeMap<LinkId, Vec<TrainId>>, BTreeMap<InputId, LinkId>);

fn known(wiring: &Wiring) -> Known {
    let names = wiring.links.iter().map(|wired| (wired.link, wired.name.clone())).collect();
    let trains = wiring.links.iter().map(|wired| (wired.link, wired.trains().collect())).collect();
    let inputs = wiring.links.iter().flat_map(|wired| {
        wired.carries.iter().filter_map(|carried| match carried.thing {
            Thing::Input(input) => Some((input, wired.link)),
            _ => None,
        })
    });
    (names, trains, inputs.collect())
}

fn things(wiring: &Wiring) -> BTreeMap<Thing, String> {
    let carried = wiring.links.iter().flat_map(|wired| &wired.carries);
    carried.map(|carried| (carried.thing, carried.name.clone())).collect()
}
