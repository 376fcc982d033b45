//! The track is built anew under trains that run, as another layout says.
//!
//! What is as it was stays as it is: trains roll on, turnouts lie and move, orders are on their way. Everything that reports is looked
//! at anew, and what was on its way from it is lost: whoever works the table is told all of it again.

use std::sync::Arc;

use signaller::Input;
use smallvec::SmallVec;
use track::{Id, Layout, Renumbering, TrainId, Traverse};

use crate::checkers::Checkers;
use crate::detectors::Detectors;
use crate::electrics::Load;
use crate::ground::Ground;
use crate::hands::Hands;
use crate::orders::{Order, Orders};
use crate::rolling::{Change, Lying, Rolling};
use crate::served::Served;
use crate::session::{Session, Works};
use crate::settings::Settings;
use crate::statistics::Keeper;
use crate::table::{Reached, Rows, Table};
use crate::told::Told;
use crate::troubles::Troubles;

impl Table {
    /// Builds the track anew.
    ///
    /// # Errors
    /// Says why it cannot be, and changes nothing: something lies where the track is not as it was, or things may go wrong on this
    /// table.
    pub(crate) fn rebuild(
        &mut self,
        layout: &Arc<Layout>,
        settings: &Settings,
        numbers: &Renumbering,
    ) -> Result<(), String> {
        if numbers.keeps_numbers && numbers.touched.is_empty() && numbers.trains_touched.is_empty() {
            // Nothing that can be touched is different.
            self.ground.layout = Arc::clone(layout);
            return Ok(());
        }
        if settings.faults.any() || !self.loose.is_empty() {
            return Err("the pretend table cannot be built anew while things may go wrong on it".to_owned());
        }
        let moved = self.trains_moved(numbers)?;
        let mut trains: Rows<_, Rolling> = layout.trains.values().map(|train| Rolling::new(train, settings)).collect();
        let mut ground = Ground::new(Arc::clone(layout), settings);
        ground.take_from(&mut self.ground, settings, numbers);
        let old_trains = std::mem::take(&mut self.trains);
        for (at, (mut rolling, on)) in old_trains.into_values().zip(moved).enumerate() {
            let (Some(new), Some(on)) = (numbers.trains[TrainId::from_index(at)], on) else { continue };
            for (piece, on) in rolling.pieces.iter_mut().zip(on) {
                (piece.on, piece.load) = (on, Load::NONE);
            }
            rolling.axles.regain_contact();
            trains[new] = rolling;
        }
        self.ground = ground;
        self.trains = trains;
        self.presences = Rows::filled(SmallVec::new(), layout.sections.len());
        self.departures = Rows::filled(SmallVec::new(), layout.sections.len());
        let before = std::mem::replace(&mut self.detectors, Detectors::new(layout, settings));
        for input in before.inputs() {
            if let Some(Input::InputReported { input, on }) = renumber_report(&input, numbers) {
                self.detectors.work_input(input, on);
            }
        }
        self.orders.renumber(layout, settings, numbers);
        self.hands = Hands::new(settings);
        self.told = Told::new(layout);
        self.astray = Rows::filled(None, layout.trains.len());
        self.troubles = Troubles::new(layout, settings);
        for train in layout.trains.ids() {
            let mut changes: Vec<Change> = Vec::new();
            let pieces = self.trains[train].pieces.iter().filter_map(|piece| piece.on.track());
            changes.extend(pieces.map(|on| Change::Entered { section: on.section }));
            self.trains[train].look(&mut changes);
            self.apply(train, &mut changes, Reached::ByHand);
        }
        self.count_active();
        Ok(())
    }

    /// What every train lies on by the new numbers; nothing for one that is off the track.
    fn trains_moved(&self, numbers: &Renumbering) -> Result<Vec<Option<Vec<Lying>>>, String> {
        let layout = self.layout();
        let mut moved = Vec::new();
        for (train, rolling) in self.trains.iter() {
            let lying = rolling.pieces.iter().map(|piece| renumbered(piece.on, numbers));
            let lying: Option<Vec<Lying>> = lying.collect();
            let is_gone = numbers.trains[train].is_none() || numbers.trains_touched.contains(&train);
            match lying {
                Some(lying) if lying.is_empty() => moved.push(None),
                Some(lying) if !is_gone => moved.push(Some(lying)),
                _ => {
                    let name = &layout.trains[train].name;
                    return Err(format!(
                        "`{name}` stands on the pretend table where it is not as it was, or is not itself"
                    ));
                }
            }
        }
        Ok(moved)
    }
}

fn renumbered(on: Lying, numbers: &Renumbering) -> Option<Lying> {
    Some(match on {
        Lying::Track(Traverse { section, enter, way, leave }) => Lying::Track(Traverse {
            section: numbers.sections[section]?,
            enter: numbers.ends[enter]?,
            way: numbers.ways[way]?,
            leave: numbers.ends[leave]?,
        }),
        Lying::OffLayout(end) => Lying::OffLayout(numbers.ends[end]?),
    })
}

impl Orders {
    /// Orders go on to the same trains.
    fn renumber(&mut self, layout: &Layout, settings: &Settings, numbers: &Renumbering) {
        let old = std::mem::replace(self, Self::new(layout, settings));
        self.go_on(old, &|order: Order| Some(Order { train: numbers.trains[order.train]?, ..order }), numbers);
    }
}

impl<S: Works> Session<S> {
    /// The track is built anew as another layout says, and somebody goes on with it who knows everything by its new numbers. They
    /// are told next what everything reports.
    ///
    /// # Errors
    /// Says why it cannot be, and changes nothing.
    pub fn rebuild(
        &mut self,
        layout: &Arc<Layout>,
        settings: &Settings,
        numbers: &Renumbering,
        signaller: S,
    ) -> Result<(), String> {
        self.table.rebuild(layout, settings, numbers)?;
        self.signaller = signaller;
        self.checkers.rebuild(layout, settings, &self.table);
        self.keeper = Keeper::going_on(Arc::clone(layout), &self.keeper);
        self.happenings.clear();
        self.wake_at = None;
        self.unheard = self.table.what_is_reported();
        Ok(())
    }
}

impl Served {
    /// The same, for a signaller elsewhere; gives what everything reports.
    ///
    /// # Errors
    /// Says why it cannot be, and changes nothing.
    pub fn rebuild(
        &mut self,
        layout: &Arc<Layout>,
        settings: &Settings,
        numbers: &Renumbering,
    ) -> Result<Vec<Input>, String> {
        self.table.rebuild(layout, settings, numbers)?;
        self.checkers.rebuild(layout, settings, &self.table);
        (self.sent, self.worked_through) = (1, 0);
        Ok(self.table.what_is_reported())
    }
}

impl Checkers {
    /// What was said before counts no more; it is said again by the new numbers.
    fn rebuild(&mut self, layout: &Arc<Layout>, settings: &Settings, table: &Table) {
        let fresh = Self::new(Arc::clone(layout), settings);
        self.go_on_as(fresh);
        self.begin_anew(table);
    }
}

/// Reports by their new numbers; nothing where what was reported is gone.
pub fn renumber_report(report: &Input, numbers: &Renumbering) -> Option<Input> {
    Some(match report.clone() {
        Input::SectionReported { section, occupied } => {
            Input::SectionReported { section: numbers.sections[section]?, occupied }
        }
        Input::SpotPassed { detector } => Input::SpotPassed { detector: numbers.detectors[detector]? },
        Input::TrainRead { detector, train } => {
            Input::TrainRead { detector: numbers.detectors[detector]?, train: numbers.trains[train]? }
        }
        Input::TurnoutReported { turnout, lie } => Input::TurnoutReported { turnout: numbers.turnouts[turnout]?, lie },
        Input::PowerReported { district, live } => {
            Input::PowerReported { district: numbers.districts[district]?, live }
        }
        Input::InputReported { input, on } => Input::InputReported { input: numbers.inputs[input]?, on },
        Input::LinkReported { link, up } => Input::LinkReported { link: numbers.links[link]?, up },
        _ => return None,
    })
}
