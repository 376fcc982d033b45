//! What is dark: by report, and by inference where there is none, or before it comes.
//!
//! Without power nothing draws current, so the detectors of a district all say free; some kinds are built to say occupied
//! then. Either way trains do not move, and what was known of them stays. Both ways are common practice, no source.
//!
//! The detectors of a district that all empty, or all fill, in one moment did not see trains move, unless trains that are near
//! could have done just that. A dark district is live again when it is reported so, or when its detectors say what they said
//! before, or change one by one as they do under trains; and when all that has settled, what differs from the frozen picture
//! goes to identity in one piece.

use std::time::Duration;

use smallvec::SmallVec;
use track::{DistrictId, Layout, SectionId, TrainId};

use super::{Detect, Timer};
use crate::door::Fact;
use crate::identity::Identity;
use crate::signaller::Conduct;
use crate::snapshot::kept;
use crate::time::Time;

/// What changes for so long before or after a report that the power is off, beside the delays of detectors, is the darkness falling.
const FALLING: Duration = Duration::from_millis(700);
/// Detectors that said nothing new for so long, beside their own delays, have settled.
const SETTLED: Duration = Duration::from_millis(400);
/// At most so long do they get for it.
const SETTLING: Duration = Duration::from_secs(5);
/// A district that goes dark so long after another shows that it was the power there, too. Common practice, no source: slow
/// detectors take that long to say so.
const CONFIRMS: Duration = Duration::from_secs(3);
/// A district that is reported live and shows none of its trains gets so long before that is believed.
const DISBELIEF: Duration = Duration::from_secs(10);

/// A power district, or the whole layout where it declares none.
#[derive(Debug)]
pub(super) struct Supply {
    pub district: Option<DistrictId>,
    pub sections: Vec<SectionId>,
    /// How many of them have a detector.
    pub detected: usize,
    pub slowest_on: Duration,
    pub slowest_off: Duration,
    /// How many detectors say that something is there, and that nothing is. Of the others nothing is known.
    pub occupied: usize,
    pub free: usize,
    power: Power,
    /// All its detectors have said occupied since it went dark, or most did in one moment: that is how they say it.
    pub dark_says_occupied: bool,
    /// That it is dark was inferred from what this train alone may have done.
    pub perhaps_only: Option<TrainId>,
    /// When it last went dark.
    pub dark_from: Option<Time>,
    reported: Option<bool>,
    /// When it was last reported to have come back.
    reported_live_at: Option<Time>,
    /// The signaller has had it cut: it is dark until that is taken back, whatever is reported.
    is_cut: bool,
    due: Option<Time>,
}

kept!(Supply {
    kept: [occupied, free, power, dark_says_occupied, perhaps_only, dark_from, reported, reported_live_at, is_cut, due],
    parts: [],
    made_anew: [district, sections, detected, slowest_on, slowest_off],
});

#[derive(Debug, serde::Serialize, serde::Deserialize)]
enum Power {
    Live,
    Dark {
        /// What changes before this was the darkness falling.
        fallen: Time,
        /// Sections that changed since.
        changed: SmallVec<[SectionId; 4]>,
    },
    /// There are signs that it is live; what detectors say is not yet settled.
    Returning {
        since: Time,
        last_change: Time,
        changed: SmallVec<[SectionId; 4]>,
        /// It was reported live then.
        reported_at: Option<Time>,
    },
}

impl Supply {
    pub fn all(layout: &Layout, conduct: Conduct) -> Vec<Self> {
        if layout.districts.is_empty() {
            // What was recorded elsewhere is told as it was recorded.
            return match conduct {
                Conduct::Observe => Vec::new(),
                Conduct::Control => vec![Self::new(layout, None)],
            };
        }
        layout.districts.ids().map(|district| Self::new(layout, Some(district))).collect()
    }

    fn new(layout: &Layout, district: Option<DistrictId>) -> Self {
        let belongs = |section: &SectionId| district.is_none() || layout.sections[*section].district == district;
        let sections: Vec<SectionId> = layout.sections.ids().filter(belongs).collect();
        let detectors = || sections.iter().filter_map(|&section| layout.sections[section].detector);
        let slowest = |delay: fn(&track::Detector) -> Duration| {
            detectors().map(|detector| delay(&layout.detectors[detector])).max().unwrap_or_default()
        };
        Self {
            district,
            detected: detectors().count(),
            slowest_on: slowest(|detector| detector.on_delay),
            slowest_off: slowest(|detector| detector.off_delay),
            sections,
            occupied: 0,
            free: 0,
            power: Power::Live,
            dark_says_occupied: false,
            perhaps_only: None,
            dark_from: None,
            reported: None,
            reported_live_at: None,
            is_cut: false,
            due: None,
        }
    }

    /// Whether it is dark, or not yet known to be live again.
    pub fn is_dark(&self) -> bool {
        !matches!(self.power, Power::Live)
    }

    /// Whether it was reported a moment ago that the power is back: what empties then with nobody in it is how it comes back where
    /// detectors say occupied without power.
    pub fn has_come_back(&self, now: Time) -> bool {
        self.reported_live_at.is_some_and(|at| now.since(at) <= SETTLING)
    }

    /// A detector says something else now.
    pub fn count(&mut self, before: Option<bool>, now: Option<bool>) {
        match before {
            Some(true) => self.occupied -= 1,
            Some(false) => self.free -= 1,
            None => {}
        }
        match now {
            Some(true) => self.occupied += 1,
            Some(false) => self.free += 1,
            None => {}
        }
    }

    /// That it is dark was only inferred.
    fn may_be_live(&self) -> bool {
        !self.is_cut && self.reported != Some(false)
    }

    fn says_nothing_but_occupied(&self) -> bool {
        self.free == 0 && self.occupied > 0
    }

    fn slowest(&self) -> Duration {
        self.slowest_on.max(self.slowest_off)
    }
}

impl Detect {
    /// The place among the supplies of a district that can be switched from here.
    ///
    /// # Errors
    ///
    /// If there is none, or it cannot.
    pub(crate) fn switched(&self, district: DistrictId) -> Result<usize, String> {
        let described = self.layout.districts.get(district).ok_or("there is no such power district")?;
        if !described.is_switched {
            let name = &described.name;
            return Err(format!(
                "the power of `{name}` is not switched from here; hint: if it can be, say `switched = true`"
            ));
        }
        let place = self.supplies.iter().position(|supply| supply.district == Some(district));
        place.ok_or_else(|| "there is no such power district".to_owned())
    }

    /// A district is cut at the signaller's own word: it is dark from now on.
    pub(crate) fn cut(&mut self, now: Time, district: DistrictId) {
        let Ok(place) = self.switched(district) else { return };
        if std::mem::replace(&mut self.supplies[place].is_cut, true) {
            return;
        }
        self.lose_power(now, place, "it was cut");
    }

    /// There is no power, as is known and not only inferred.
    fn lose_power(&mut self, now: Time, place: usize, because: &str) {
        match &mut self.supplies[place].power {
            Power::Live => {
                self.doubt_fillings(now, place);
                let fallen = now + FALLING + self.supplies[place].slowest();
                self.go_dark(now, place, fallen, because.to_owned(), None);
            }
            Power::Returning { changed, .. } => {
                let changed = std::mem::take(changed);
                self.stay_dark(now, place, changed);
            }
            Power::Dark { .. } => {
                self.supplies[place].perhaps_only = None;
                self.say_power_changed(place);
            }
        }
    }

    /// A district that was cut is switched on again.
    ///
    /// # Errors
    ///
    /// If it was not cut.
    pub(crate) fn restore(&mut self, now: Time, district: DistrictId) -> Result<(), String> {
        let place = self.switched(district)?;
        if !std::mem::take(&mut self.supplies[place].is_cut) {
            return Err("nobody has cut that power".to_owned());
        }
        if let Power::Dark { changed, .. } = &mut self.supplies[place].power {
            let changed = std::mem::take(changed);
            self.begin_return(now, place, changed, Some(now));
        }
        Ok(())
    }

    /// A district was reported live or dark.
    pub(crate) fn power(&mut self, now: Time, district: DistrictId, live: bool) {
        let Some(place) = self.supplies.iter().position(|supply| supply.district == Some(district)) else { return };
        let before = self.supplies[place].reported.replace(live);
        if live && before == Some(false) {
            self.supplies[place].reported_live_at = Some(now);
        }
        if self.supplies[place].is_cut {
            return;
        }
        if !live {
            return self.lose_power(now, place, "it was reported");
        }
        match &mut self.supplies[place].power {
            Power::Live => {}
            Power::Dark { changed, .. } => {
                let changed = std::mem::take(changed);
                self.begin_return(now, place, changed, Some(now));
            }
            Power::Returning { reported_at, .. } => *reported_at = Some(now),
        }
    }

    /// The power went a moment ago. What filled since may be the darkness falling, or a train that came just before: nobody knows
    /// until there is power again.
    fn doubt_fillings(&mut self, now: Time, place: usize) {
        for at in 0..self.supplies[place].sections.len() {
            let section = self.supplies[place].sections[at];
            let falling = FALLING + self.rules[section].on_delay;
            let channel = &mut self.channels[section];
            channel.filled_as_power_went = channel.has_just_filled() && now.since(channel.raw_at) <= falling;
        }
    }

    pub(super) fn go_dark(
        &mut self,
        now: Time,
        place: usize,
        fallen: Time,
        because: String,
        perhaps_only: Option<TrainId>,
    ) {
        debug_assert!(fallen >= now, "darkness does not fall in the past");
        self.supplies[place].power = Power::Dark { fallen, changed: SmallVec::new() };
        self.supplies[place].dark_from = Some(now);
        self.supplies[place].perhaps_only = perhaps_only;
        self.supplies[place].dark_says_occupied = self.supplies[place].says_nothing_but_occupied();
        for at in 0..self.supplies[place].sections.len() {
            let section = self.supplies[place].sections[at];
            // What is kept back is no movement; it stays as a difference between what is told and what is reported.
            self.set_due(section, None);
        }
        let district = self.supplies[place].district;
        self.heard.facts.push(Fact::PowerLost { district, because });
        self.confirm_guesses(now, place);
        self.say_power_changed(place);
    }

    /// Districts go dark in the same moment: no train that was taken off explains that, unless the same one stood in all of them.
    fn confirm_guesses(&mut self, now: Time, place: usize) {
        let is_part =
            |supply: &Supply| supply.is_dark() && supply.dark_from.is_some_and(|since| now.since(since) <= CONFIRMS);
        let together: SmallVec<[usize; 4]> =
            (0..self.supplies.len()).filter(|&other| is_part(&self.supplies[other])).collect();
        let train = self.supplies[place].perhaps_only;
        if together.iter().all(|&other| self.supplies[other].perhaps_only == train) {
            return;
        }
        for other in together {
            if self.supplies[other].perhaps_only.take().is_some() {
                self.say_power_changed(other);
            }
        }
    }

    fn say_power_changed(&mut self, place: usize) {
        self.heard.power.extend_from_slice(&self.supplies[place].sections);
        self.heard.standings.extend_from_slice(&self.supplies[place].sections);
    }

    /// A detector of a district that is dark says something else.
    pub(super) fn changed_in_the_dark(&mut self, now: Time, place: usize, section: SectionId) {
        self.supplies[place].dark_says_occupied |= self.supplies[place].says_nothing_but_occupied();
        let is_cut = self.supplies[place].is_cut;
        match &mut self.supplies[place].power {
            Power::Live => {}
            Power::Dark { fallen, .. } if now < *fallen => {}
            Power::Dark { changed, .. } if is_cut => note(changed, section),
            Power::Dark { changed, .. } => {
                note(changed, section);
                let changed = std::mem::take(changed);
                self.begin_return(now, place, changed, None);
            }
            Power::Returning { last_change, changed, .. } => {
                *last_change = now;
                note(changed, section);
                self.await_settling(now, place);
            }
        }
    }

    fn begin_return(&mut self, now: Time, place: usize, changed: SmallVec<[SectionId; 4]>, reported_at: Option<Time>) {
        self.supplies[place].power = Power::Returning { since: now, last_change: now, changed, reported_at };
        self.await_settling(now, place);
    }

    fn await_settling(&mut self, now: Time, place: usize) {
        let supply = &self.supplies[place];
        if let Power::Returning { since, last_change, .. } = supply.power {
            let settled = (last_change + SETTLED + supply.slowest()).min(since + SETTLING + supply.slowest());
            self.set_supply_due(place, Some(settled.max(now)));
        }
    }

    fn set_supply_due(&mut self, place: usize, due: Option<Time>) {
        let before = std::mem::replace(&mut self.supplies[place].due, due);
        self.set_timer(Timer::Supply(place), before, due);
    }

    fn stay_dark(&mut self, now: Time, place: usize, changed: SmallVec<[SectionId; 4]>) {
        self.supplies[place].power = Power::Dark { fallen: now, changed };
        self.set_supply_due(place, None);
    }

    /// Its detectors have settled: it is live, or was not after all.
    pub(super) fn look_at_supply(&mut self, now: Time, place: usize, identity: &Identity) {
        self.supplies[place].due = None;
        let Power::Returning { changed, reported_at, .. } = &mut self.supplies[place].power else { return };
        let (changed, reported_at) = (std::mem::take(changed), *reported_at);
        // What only now says what the others do that are dark tells of no power.
        let says_dark = |section: &&SectionId| {
            self.supplies[place].dark_says_occupied && self.channels[**section].raw == Some(true)
        };
        let telling = changed.iter().filter(|section| !says_dark(section)).count();
        if self.shows_its_trains(place, telling, reported_at.is_some()) {
            self.go_live(now, place, identity);
        } else if let Some(reported_at) = reported_at {
            let until = reported_at + DISBELIEF;
            if now >= until {
                self.go_live(now, place, identity);
            } else if let Power::Returning { changed: kept, .. } = &mut self.supplies[place].power {
                *kept = changed;
                self.set_supply_due(place, Some(until));
            }
        } else {
            self.stay_dark(now, place, changed);
        }
    }

    /// Whether what the detectors of a district say speaks for its being live, after so many of them changed.
    fn shows_its_trains(&self, place: usize, changed: usize, is_reported: bool) -> bool {
        let supply = &self.supplies[place];
        let (mut trains, mut shown, mut gaps, mut quiet) = (0, 0, 0, 0);
        for &section in &supply.sections {
            let channel = &self.channels[section];
            match (channel.told, channel.raw) {
                (Some(true), Some(raw)) => {
                    trains += 1;
                    shown += usize::from(raw);
                }
                (Some(false), Some(raw)) => {
                    gaps += 1;
                    quiet += usize::from(!raw);
                }
                _ => {}
            }
        }
        let all_free = supply.occupied == 0 && trains > 0 && !supply.dark_says_occupied;
        let all_occupied = supply.free == 0 && gaps > 0;
        let as_before = (shown > 0 || trains == 0 || supply.dark_says_occupied) && quiet * 2 >= gaps;
        !all_free && !all_occupied && (is_reported || as_before || changed >= 2)
    }

    /// It is live again: what differs from what identity was told is told in one piece.
    fn go_live(&mut self, now: Time, place: usize, identity: &Identity) {
        self.supplies[place].power = Power::Live;
        self.set_supply_due(place, None);
        let district = self.supplies[place].district;
        self.heard.facts.push(Fact::PowerBack { district });
        self.say_power_changed(place);
        for at in 0..self.supplies[place].sections.len() {
            let section = self.supplies[place].sections[at];
            self.channels[section].filled_as_power_went = false;
            let channel = self.channels[section];
            if let Some(raw) = channel.raw.filter(|&raw| !channel.is_old && channel.told != Some(raw)) {
                // When a train left in the dark nobody knows.
                self.tell(now, section, raw, now.since(channel.raw_at), identity);
            }
        }
    }

    /// A person says that nothing is left in these sections. Where their district is dark, that is heard at once: their detectors
    /// have said so since, or say nothing that means anything.
    pub(crate) fn emptied(&mut self, now: Time, sections: &[SectionId], identity: &Identity) {
        for &section in sections {
            self.channels[section].said_empty_at = Some(now);
            self.release(now, section, identity);
            let Some(place) = self.rules[section].supply.filter(|&place| self.supplies[place].is_dark()) else {
                continue;
            };
            let channel = &self.channels[section];
            let supply = &self.supplies[place];
            if channel.told == Some(true) && (channel.raw == Some(false) || supply.dark_says_occupied) {
                self.tell(now, section, false, Duration::ZERO, identity);
            }
            let supply = &self.supplies[place];
            let nobody_left = supply.sections.iter().all(|&section| self.channels[section].told != Some(true));
            if nobody_left && supply.may_be_live() && supply.occupied == 0 {
                self.go_live(now, place, identity);
            }
        }
    }

    /// A person says that they put a train down there. Where its detector has come to see something, there is power.
    pub(crate) fn put_down(&mut self, now: Time, section: SectionId, identity: &Identity) {
        self.release(now, section, identity);
        let Some(place) = self.rules[section].supply.filter(|&place| self.supplies[place].is_dark()) else { return };
        let (channel, supply) = (&self.channels[section], &self.supplies[place]);
        let is_seen = channel.raw == Some(true) && channel.told != Some(true) && !supply.dark_says_occupied;
        if is_seen && supply.may_be_live() {
            self.go_live(now, place, identity);
        }
    }
}

fn note(changed: &mut SmallVec<[SectionId; 4]>, section: SectionId) {
    if changed.len() < 4 && !changed.contains(&section) {
        changed.push(section);
    }
}
