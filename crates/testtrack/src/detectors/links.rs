//! What is wrong with detectors and with the links that carry their reports, while it lasts.

use std::time::Duration;

use signaller::{Input, Time};
use track::{DistrictId, LinkId, SectionId, TurnoutId};

use super::{Detectors, Harm};
use crate::electrics::{Feed, Load};
use crate::random::Stream;

/// How long after a link is up again it says what it said before it went down, and what is so now, in milliseconds.
const STALE_AFTER_MS: (i64, i64) = (1, 20);
const TRUE_AFTER_MS: (i64, i64) = (100, 280);

/// How long after a node started anew its detectors say free, in milliseconds.
const FREE_AFTER_MS: (i64, i64) = (1, 50);

impl Detectors {
    /// Whether a turnout's link is down: nothing reaches it.
    pub(crate) fn is_cut_off(&self, turnout: TurnoutId) -> bool {
        self.turnouts[turnout].link.is_some_and(|link| self.post.down[link])
    }

    /// A link goes down. The signaller hears of it later.
    pub(crate) fn link_down(&mut self, link: LinkId, heard_at: Time) {
        self.stale[link] = self.states(|of| of == Some(link));
        self.post.down[link] = true;
        self.post.put(heard_at, Input::LinkReported { link, up: false });
    }

    /// A link is up again: it says what it said last, and soon after what is so.
    pub(crate) fn link_up(&mut self, link: LinkId, now: Time, stream: &mut Stream) {
        self.post.down[link] = false;
        self.post.put(now, Input::LinkReported { link, up: true });
        let stale = std::mem::take(&mut self.stale[link]);
        self.say(stale, now, STALE_AFTER_MS, stream);
        let states = self.states(|of| of == Some(link));
        self.say(states, now, TRUE_AFTER_MS, stream);
    }

    /// The detectors of a node start anew: they say free, and find nothing until they have started.
    pub(crate) fn restart(&mut self, sections: &[SectionId], now: Time, stream: &mut Stream) {
        let mut states = Vec::new();
        for &section in sections {
            if let Some(area) = &mut self.areas[section] {
                if let Some(at) = area.decides_at.take() {
                    self.deciding.remove(&(at, section));
                }
                (area.says, area.is_starting) = (false, true);
                states.push(Input::SectionReported { section, occupied: false });
            }
        }
        self.say(states, now, FREE_AFTER_MS, stream);
    }

    /// The detectors of a node have started.
    pub(crate) fn started(&mut self, sections: &[SectionId], now: Time) {
        for &section in sections {
            if let Some(area) = &mut self.areas[section] {
                area.is_starting = false;
            }
            self.reconsider(section, now);
        }
    }

    /// A detector goes on saying what it said last, or does so no longer.
    pub(crate) fn stick(&mut self, section: SectionId, how: Stuck, now: Time) {
        if let Some(area) = &mut self.areas[section] {
            area.is_stuck = how == Stuck::Fast;
        }
        self.reconsider(section, now);
    }

    /// Harm is done to the next report of a section.
    pub(crate) fn doom(&mut self, section: SectionId, harm: Harm) {
        self.post.doom(section, harm);
    }

    /// A detector takes so much longer from now on.
    pub(crate) fn slow_down(&mut self, section: SectionId, by: Duration) {
        if let Some(area) = &mut self.areas[section] {
            area.slower_by = by;
        }
    }

    /// Something else than axles draws current from a section.
    pub(crate) fn leak(&mut self, section: SectionId, leak: Load, now: Time) {
        if let Some(area) = &mut self.areas[section] {
            area.leak = leak;
            area.sense.stir();
        }
        self.reconsider(section, now);
    }

    /// Whether a section's detector is of a kind that moisture can fill.
    pub(crate) fn sees_moisture(&self, section: SectionId) -> bool {
        self.areas[section].as_ref().is_some_and(|area| area.sense.sees_moisture())
    }

    /// A power district is fed so from now on. While it is dark its detectors say what `dark_says`.
    pub(crate) fn feed(&mut self, district: DistrictId, feed: Feed, dark_says: DarkSays, now: Time) {
        for section in self.areas.ids() {
            match &mut self.areas[section] {
                Some(area) if area.district == Some(district) => {
                    area.supply.feed = feed;
                    area.dark_says = dark_says == DarkSays::Occupied;
                    area.sense.stir();
                }
                _ => continue,
            }
            self.reconsider(section, now);
        }
    }

    /// A power district is reported live or dark, by somebody who takes his time.
    pub(crate) fn report_power(&mut self, district: DistrictId, live: bool, at: Time) {
        self.post.put(at, Input::PowerReported { district, live });
    }

    /// No report comes to harm any more, and everything says within 0.3 s what is so.
    pub(crate) fn heal(&mut self, now: Time, stream: &mut Stream) {
        self.post.heal();
        let states = self.states(|_| true);
        self.say(states, now, TRUE_AFTER_MS, stream);
    }

    /// What everything that some links carry says at the moment.
    fn states(&self, carried: impl Fn(Option<LinkId>) -> bool) -> Vec<Input> {
        let areas = self.areas.iter().filter_map(|(section, area)| Some((section, area.as_ref()?)));
        let areas = areas.filter(|(_, area)| carried(self.detectors[area.detector].link));
        let occupied = areas.map(|(section, area)| Input::SectionReported { section, occupied: area.says });
        let turnouts = self.turnouts.iter().filter(|(_, sender)| carried(sender.link));
        let lies = turnouts.filter_map(|(turnout, _)| {
            self.lies[turnout].map(|lie| Input::TurnoutReported { turnout, lie: Some(lie) })
        });
        let inputs = self.inputs.iter().filter(|(_, (sender, _))| carried(sender.link));
        let worked = inputs.map(|(input, &(_, on))| Input::InputReported { input, on });
        occupied.chain(lies).chain(worked).collect()
    }

    /// Has states arrive, each a little later than now, behind what the same thing sent before.
    fn say(&mut self, states: Vec<Input>, now: Time, (least, most): (i64, i64), stream: &mut Stream) {
        for state in states {
            // Inputs draw no lots: what is drawn for trains does not depend on how many levers there are.
            let after = if matches!(state, Input::InputReported { .. }) { least } else { stream.between(least, most) };
            let arrival = now + Duration::from_millis(after as u64);
            let sender = match state {
                Input::SectionReported { section, .. } => match &self.areas[section] {
                    Some(area) => &mut self.detectors[area.detector],
                    None => continue,
                },
                Input::TurnoutReported { turnout, .. } => &mut self.turnouts[turnout],
                Input::InputReported { input, .. } => &mut self.inputs[input].0,
                _ => continue,
            };
            if sender.link.is_none_or(|link| !self.post.down[link]) {
                self.post.deliver(sender, arrival, state);
            }
        }
    }
}

/// Whether a detector is stuck.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Stuck {
    Fast,
    Free,
}

/// What the detectors of a dark power district say.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum DarkSays {
    /// That nothing is there.
    Free,
    /// That something is there.
    Occupied,
}
