//! Power districts that go dark or sag, and what that does to the trains in them.

use std::time::Duration;

use signaller::Time;
use track::{DistrictId, Id, TrainId};

use super::{Begun, Trouble};
use crate::detectors::DarkSays;
use crate::electrics::Feed;
use crate::faults::Fault;
use crate::rolling::Rolling;
use crate::table::Table;

/// How long it takes somebody to report that a power district went dark or is live, in milliseconds.
const REPORT_MS: (i64, i64) = (200, 800);

impl Table {
    /// A power district goes dark for so long. Trains whose motors it feeds come to stand, and go on when it is live again;
    /// its detectors all say the same, each after its own delay. Whether somebody reports it is drawn for each district.
    pub fn go_dark(&mut self, district: DistrictId, says: DarkSays, lasts: Duration) {
        let is_troubled = self.troubles.feeds[district] != Feed::Live;
        if !is_troubled && self.begin(Trouble::Dark(district, says), Some(lasts)) == Begun::Now {
            self.feed(district, Feed::Dark, says);
            self.report_power(district, Fault::DarkSaysFree);
        }
    }

    pub(super) fn power_back(&mut self, district: DistrictId, says: DarkSays) {
        self.feed(district, Feed::Live, says);
        self.report_power(district, Fault::DarkSaysFree);
    }

    /// The voltage of a power district sags to 60 % for so long: motors slow down as much, and currents fall.
    pub fn brown_out(&mut self, district: DistrictId, lasts: Duration) {
        let is_troubled = self.troubles.feeds[district] != Feed::Live;
        if !is_troubled && self.begin(Trouble::Brown(district), Some(lasts)) == Begun::Now {
            self.feed(district, Feed::Brown, DarkSays::Free);
        }
    }

    /// Whether somebody reports that a power district went dark or is live.
    pub fn reports_power(&self, district: DistrictId) -> bool {
        self.troubles.reports_power[district]
    }

    /// Has somebody report from now on that a power district went dark or is live, or nobody.
    pub fn set_power_reports(&mut self, district: DistrictId, reports: PowerReports) {
        self.troubles.reports_power[district] = reports == PowerReports::Given;
    }

    /// The signaller has a power district cut, or switched on again.
    pub(crate) fn switch_power(&mut self, district: DistrictId, live: bool) {
        if self.troubles.cut.get(district).is_some() {
            self.troubles.cut[district] = !live;
            self.feed(district, self.troubles.feeds[district], DarkSays::Free);
        }
    }

    /// Whether the signaller has had a power district cut.
    pub fn is_cut(&self, district: DistrictId) -> bool {
        self.troubles.cut[district]
    }

    /// Whether every power district is live.
    pub(crate) fn is_all_live(&self) -> bool {
        self.troubles.feeds.ids().all(|district| self.fed(district) == Feed::Live)
    }

    /// How a power district is fed at last.
    fn fed(&self, district: DistrictId) -> Feed {
        if self.troubles.cut[district] { Feed::Dark } else { self.troubles.feeds[district] }
    }

    pub(super) fn feed(&mut self, district: DistrictId, feed: Feed, dark_says: DarkSays) {
        self.troubles.feeds[district] = feed;
        let (now, feed) = (self.now(), self.fed(district));
        self.detectors.feed(district, feed, dark_says, now);
        for section in self.presences.ids() {
            if self.layout().sections[section].district == Some(district) {
                self.look_into(section);
            }
        }
        self.power_trains();
    }

    /// Finds anew what voltage each train's motor runs on: the best that any of the axles that feed it stands on.
    pub(crate) fn power_trains(&mut self) {
        for train in (0..self.trains.len()).map(TrainId::from_index) {
            let permille = self.power_of(&self.trains[train]);
            self.trains[train].power_permille = permille;
        }
        self.count_active();
    }

    /// What does not collect current through its axles as far as anybody said is fed from wherever it lies.
    fn power_of(&self, rolling: &Rolling) -> i64 {
        let voltage = |piece: &crate::rolling::Piece| {
            let district = piece.on.track().and_then(|on| self.layout().sections[on.section].district);
            district.map_or(Feed::Live, |district| self.fed(district)).permille()
        };
        let fed = rolling.pieces.iter().filter(|piece| piece.load.feeds()).map(voltage).max();
        fed.or_else(|| rolling.pieces.iter().map(voltage).max()).unwrap_or(Feed::Live.permille())
    }

    fn report_power(&mut self, district: DistrictId, fault: Fault) {
        let (least, most) = REPORT_MS;
        let late = Duration::from_millis(self.troubles.stream(fault).between(least, most) as u64);
        if self.troubles.reports_power[district] {
            let (live, at): (_, Time) = (self.fed(district) != Feed::Dark, self.now() + late);
            self.detectors.report_power(district, live, at);
        }
    }
}

/// Whether anybody reports that a power district went dark or is live.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PowerReports {
    /// Somebody does.
    Given,
    /// Nobody does.
    Missing,
}
