//! Where something goes wrong that happens by the hour, how badly and for how long: by lot. Each fault draws from a stream of
//! its own, as much each time wherever it strikes.

use std::time::Duration;

use track::{DistrictId, Id, LinkId, SectionId};

use crate::detectors::DarkSays;
use crate::faults::Fault;
use crate::table::Table;

/// How long things last, in milliseconds.
const DIRTY_MS: (i64, i64) = (60_000, 600_000);
const MOIST_MS: (i64, i64) = (30_000, 600_000);
const TOOL_MS: (i64, i64) = (300, 10_000);
const STUCK_MS: (i64, i64) = (30_000, 1_200_000);
const SLOW_MS: (i64, i64) = (30_000, 600_000);
const LINK_MS: (i64, i64) = (2_000, 60_000);
const START_MS: (i64, i64) = (300, 2_000);
const DARK_MS: (i64, i64) = (2_000, 60_000);
const BROWN_MS: (i64, i64) = (200, 2_000);

/// How much longer a slow detector takes, in milliseconds.
const SLOWER_MS: (i64, i64) = (500, 4_000);

/// What moisture between the rails, and what a tool across them, resists with, in ohms.
const MOIST_OHM: (i64, i64) = (2_000, 8_000);
const TOOL_OHM: (i64, i64) = (50, 500);

/// Of so many stuck detectors one stays stuck until everything is healed.
const STUCK_FOR_GOOD: u64 = 4;

impl Table {
    /// A fault strikes: draws where, and lets it.
    pub(super) fn draw_trouble(&mut self, fault: Fault) {
        match fault {
            Fault::DirtySection => {
                let (section, lasts) = (self.draw_section(fault), self.draw_span(fault, DIRTY_MS));
                section.into_iter().for_each(|section| self.soil(section, lasts));
            }
            Fault::FalseFill => self.draw_false_fill(),
            Fault::StuckDetector => {
                let (section, lasts) = (self.draw_watched(fault), self.draw_span(fault, STUCK_MS));
                let for_good = self.troubles.stream(fault).below(STUCK_FOR_GOOD) == 0;
                let lasts = (!for_good).then_some(lasts);
                section.into_iter().for_each(|section| self.stick_detector(section, lasts));
            }
            Fault::SlowDetector => {
                let (section, lasts) = (self.draw_watched(fault), self.draw_span(fault, SLOW_MS));
                let by = self.draw_span(fault, SLOWER_MS);
                section.into_iter().for_each(|section| self.slow_detector(section, by, lasts));
            }
            Fault::LinkDown => {
                let (links, lasts) = (self.layout().links.len(), self.draw_span(fault, LINK_MS));
                let link = self.draw_index(fault, links).map(LinkId::from_index);
                link.into_iter().for_each(|link| self.drop_link(link, lasts));
            }
            Fault::NodeRestart => {
                let (nodes, lasts) = (self.troubles.nodes.len(), self.draw_span(fault, START_MS));
                let node = self.draw_index(fault, nodes);
                node.into_iter().for_each(|node| self.restart(node, lasts));
            }
            Fault::DarkSaysFree => self.draw_darkness(fault, DarkSays::Free),
            Fault::DarkSaysOccupied => self.draw_darkness(fault, DarkSays::Occupied),
            Fault::BrownOut => {
                let (district, lasts) = (self.draw_district(fault), self.draw_span(fault, BROWN_MS));
                district.into_iter().for_each(|district| self.brown_out(district, lasts));
            }
            _ => {}
        }
    }

    /// Moisture fills only what sees very small currents; elsewhere somebody lays a tool across the rails.
    fn draw_false_fill(&mut self) {
        let fault = Fault::FalseFill;
        let (section, moist_ms, tool_ms) =
            (self.draw_watched(fault), self.draw_span(fault, MOIST_MS), self.draw_span(fault, TOOL_MS));
        let stream = self.troubles.stream(fault);
        let is_moist = stream.below(2) == 0;
        let (moist_ohm, tool_ohm) = (stream.between(MOIST_OHM.0, MOIST_OHM.1), stream.between(TOOL_OHM.0, TOOL_OHM.1));
        let Some(section) = section else { return };
        let (ohm, lasts) =
            if is_moist && self.detectors.sees_moisture(section) { (moist_ohm, moist_ms) } else { (tool_ohm, tool_ms) };
        self.bridge_rails(section, track::Resistance::from_ohm(ohm), lasts);
    }

    fn draw_darkness(&mut self, fault: Fault, says: DarkSays) {
        let (district, lasts) = (self.draw_district(fault), self.draw_span(fault, DARK_MS));
        district.into_iter().for_each(|district| self.go_dark(district, says, lasts));
    }

    fn draw_span(&mut self, fault: Fault, (least, most): (i64, i64)) -> Duration {
        Duration::from_millis(self.troubles.stream(fault).between(least, most) as u64)
    }

    fn draw_index(&mut self, fault: Fault, count: usize) -> Option<usize> {
        let index = self.troubles.stream(fault).below(count as u64) as usize;
        (index < count).then_some(index)
    }

    fn draw_section(&mut self, fault: Fault) -> Option<SectionId> {
        self.draw_index(fault, self.layout().sections.len()).map(SectionId::from_index)
    }

    /// A section with a detector.
    fn draw_watched(&mut self, fault: Fault) -> Option<SectionId> {
        let layout = self.layout();
        let watched: Vec<_> = layout.sections.ids().filter(|&section| !layout.is_dark(section)).collect();
        self.draw_index(fault, watched.len()).map(|index| watched[index])
    }

    fn draw_district(&mut self, fault: Fault) -> Option<DistrictId> {
        self.draw_index(fault, self.layout().districts.len()).map(DistrictId::from_index)
    }
}
