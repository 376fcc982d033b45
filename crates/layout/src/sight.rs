//! Reckoning which axles every area detector can see.

use std::collections::{BTreeMap, BTreeSet};

use track::{Axle, Current, Draw, Layout, Length, Sensing, SensingKind, Voltage};

use crate::diagnostic::Findings;
use crate::source::Said;
use crate::written::{WrittenAxles, WrittenVehicle};

/// What the area detectors of a layout can see.
pub(crate) enum Sight {
    /// What the weakest of them see, all others see too.
    Known {
        weakest: Vec<Watch>,
        /// Draws that were reported as too weak: once, not for each wagon of a long train.
        told: BTreeSet<Draw>,
    },
    /// Of one of them, that of this section, nobody said how it senses.
    Unknown(String),
    /// Something of it was said wrongly, and has been reported.
    Excused,
}

/// The least sensitive area detector of one kind at one voltage.
pub(crate) struct Watch {
    sensing: Sensing,
    voltage: Voltage,
    /// Its name.
    detector: String,
}

impl Sight {
    /// What the detectors see at the voltage of their districts; where that was not said, at the least a station gives.
    pub(crate) fn of(layout: &Layout) -> Self {
        let mut weakest: BTreeMap<(SensingKind, Voltage), Watch> = BTreeMap::new();
        for section in layout.sections.values() {
            let Some(detector) = section.detector else { continue };
            let detector = &layout.detectors[detector];
            let Some(sensing) = detector.sensing else { return Self::Unknown(section.name.clone()) };
            let district = section.district.and_then(|district| layout.districts[district].voltage);
            let voltage = district.unwrap_or(Voltage::STATION_LEAST);
            let known = weakest.get(&(sensing.kind, voltage));
            if known.is_none_or(|known| known.sensing.threshold < sensing.threshold) {
                let watch = Watch { sensing, voltage, detector: detector.name.clone() };
                weakest.insert((sensing.kind, voltage), watch);
            }
        }
        Self::Known { weakest: weakest.into_values().collect(), told: BTreeSet::new() }
    }
}

impl Watch {
    /// What the detector senses of an axle that is alone in its section.
    fn current_of(&self, draw: Draw) -> Current {
        Axle { at: Length::ZERO, draw }.current(self.voltage, self.sensing.kind.drop())
    }

    fn misses(&self, draw: Draw) -> bool {
        self.current_of(draw) < self.sensing.sure_from()
    }
}

/// The axles of a vehicle, front first.
pub(crate) fn axles_of(vehicle: &WrittenVehicle<'_>) -> Vec<Axle> {
    let mut axles: Vec<Axle> = Vec::new();
    for group in &vehicle.axles {
        axles.extend(group.at.value.iter().map(|&at| Axle { at, draw: group.draw }));
    }
    axles.sort_by_key(|axle| axle.at);
    axles
}

/// From the first to the last axle that detectors see: as was said, else as is reckoned from the axles. What was said is held
/// against what was reckoned.
///
/// An axle counts only where every area detector sees it alone: wrongly believed undetectable a vehicle costs time, wrongly
/// believed detectable it may be run into.
pub(crate) fn detectable_of(
    vehicle: &WrittenVehicle<'_>,
    sight: &mut Sight,
    out: &mut Findings,
) -> Option<(Length, Length)> {
    let said = vehicle.detectable;
    if vehicle.axles.is_empty() {
        return said.and_then(|said| said.value);
    }
    let reckoned = match (&mut *sight, said) {
        (Sight::Known { weakest, told }, None) => {
            for group in &vehicle.axles {
                if told.insert(group.draw) {
                    warn_of_weakness(group, weakest, out);
                }
            }
            return span_seen(vehicle, weakest);
        }
        (Sight::Known { weakest, .. }, Some(_)) => Some(span_seen(vehicle, weakest)),
        (Sight::Unknown(section), None) => {
            let place = vehicle.axles[0].at.span;
            out.mistake(
                place,
                format!("nobody can tell which axles are seen: the detector of `{section}` says no `threshold`"),
            )
            .hint("say `sensing` and `threshold` under `[layout]`, or `detectable` of each vehicle");
            // Told once, not for every vehicle.
            *sight = Sight::Excused;
            None
        }
        (Sight::Unknown(_) | Sight::Excused, _) => None,
    };
    let said = said?;
    hold_against(vehicle, said, reckoned, out);
    said.value
}

/// Warns where some detector misses axles of which nobody said that they are seen.
fn warn_of_weakness(group: &WrittenAxles, watches: &[Watch], out: &mut Findings) {
    let Some(watch) = watches.iter().find(|watch| watch.misses(group.draw)) else { return };
    let hint = match group.draw {
        Draw::Resistor(_) => "an axle with a smaller `resistance` draws more",
        Draw::Share(_) => "`draws` is what all `pickups` draw together while the vehicle stands",
    };
    out.warning(
        group.at.span,
        format!(
            "axles like these are too weak to be seen everywhere: each draws {} mA at {} V, and the detector `{}` is only sure of {} mA",
            watch.current_of(group.draw).ma(),
            watch.voltage.volts(),
            watch.detector,
            watch.sensing.sure_from().ma()
        ),
    )
    .hint(hint);
}

/// From the first to the last axle that every area detector sees.
fn span_seen(vehicle: &WrittenVehicle<'_>, watches: &[Watch]) -> Option<(Length, Length)> {
    let is_seen = |group: &&WrittenAxles| !watches.is_empty() && !watches.iter().any(|watch| watch.misses(group.draw));
    reach_of(vehicle.axles.iter().filter(is_seen))
}

fn reach_of<'a>(groups: impl Iterator<Item = &'a WrittenAxles>) -> Option<(Length, Length)> {
    let mut places: Vec<Length> = groups.flat_map(|group| &group.at.value).copied().collect();
    places.sort_unstable();
    places.first().copied().zip(places.last().copied())
}

/// Reports where `detectable` says what cannot be of such axles. It may say less than is reckoned, for wheels get dirty.
fn hold_against(
    vehicle: &WrittenVehicle<'_>,
    said: Said<Option<(Length, Length)>>,
    reckoned: Option<Option<(Length, Length)>>,
    out: &mut Findings,
) {
    let axles = vehicle.axles[0].at.span;
    let text = |(first, last): (Length, Length)| format!("[{}, {}]", first.mm(), last.mm());
    let reaches_beyond = |wide: (Length, Length), narrow: (Length, Length)| wide.0 < narrow.0 || wide.1 > narrow.1;
    let Some(wide) = said.value else {
        if let Some(Some(seen)) = reckoned {
            out.warning(said.span, format!("`detectable` is false, yet detectors see axles: {}", text(seen)))
                .see(axles, "the axles")
                .hint("leave `detectable` out, and it is reckoned from the axles");
        }
        return;
    };
    let Some(all) = reach_of(vehicle.axles.iter()) else { return };
    if reaches_beyond(wide, all) {
        out.mistake(said.span, format!("`detectable` reaches beyond the axles that draw current: {}", text(all)))
            .see(axles, "the axles")
            .hint("list the missing axles, or leave `detectable` out, and it is reckoned from them");
    } else if let Some(seen) = reckoned
        && seen.is_none_or(|seen| reaches_beyond(wide, seen))
    {
        let seen = seen.map_or_else(|| "nothing".to_owned(), text);
        out.warning(said.span, format!("`detectable` says more than is seen everywhere by reckoning: {seen}"))
            .see(axles, "the axles")
            .hint("what is wrongly believed detectable may be run into: measure what the axles draw, or say less");
    }
}
