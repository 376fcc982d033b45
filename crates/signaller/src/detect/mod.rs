//! Raw reports to conditioned occupancy.
//!
//! A report of a section in a dark power district says nothing of trains: without power they do not move, so what was known
//! stays until the district is live again. Then the last report of each of its sections counts.

mod record;

use track::{DistrictId, Layout, SectionId, Table, TrainId};

pub use record::Record;

/// Conditions what detectors say.
#[derive(Debug)]
pub struct Detect {
    raw: Table<SectionId, Option<bool>>,
    dark: Table<DistrictId, bool>,
}

impl Detect {
    /// Nothing has been heard, and every district is taken to be live.
    pub fn new(layout: &Layout) -> Self {
        Self { raw: Table::filled(None, layout.sections.len()), dark: Table::filled(false, layout.districts.len()) }
    }

    /// Whether a power district is dark: trains in it do not move, and what its detectors say means nothing. Also while it
    /// comes back, until its detectors have settled.
    pub fn is_dark(&self, district: DistrictId) -> bool {
        self.dark[district]
    }

    /// What is on record of a section.
    pub fn record(&self, _section: SectionId) -> Record {
        Record::default()
    }

    /// What is on record of a train.
    pub fn record_of_train(&self, _train: TrainId) -> Record {
        Record::default()
    }

    /// A section reported. Calls `edge` if the report counts now.
    pub(crate) fn section(
        &mut self,
        layout: &Layout,
        section: SectionId,
        occupied: bool,
        edge: &mut impl FnMut(SectionId, bool),
    ) {
        self.raw[section] = Some(occupied);
        let frozen = layout.sections[section].district.is_some_and(|district| self.dark[district]);
        if !frozen {
            edge(section, occupied);
        }
    }

    /// A district went dark or live. Calls `edge` for every section whose report counts now.
    pub(crate) fn power(
        &mut self,
        layout: &Layout,
        district: DistrictId,
        live: bool,
        edge: &mut impl FnMut(SectionId, bool),
    ) {
        if self.dark[district] == live {
            self.dark[district] = !live;
            if live {
                for (section, row) in layout.sections.iter().filter(|(_, row)| row.district == Some(district)) {
                    if let (Some(occupied), Some(_)) = (self.raw[section], row.detector) {
                        edge(section, occupied);
                    }
                }
            }
        }
    }
}
