//! How each section's reports are to be treated: worked out once from the layout.

use std::time::Duration;

use smallvec::SmallVec;
use track::{Beyond, Id, Layout, Length, LinkId, SectionId, Table};

use super::power::Supply;

/// How far apart reports of one and the same moment may come, beside the delays that their detectors declare. Common practice,
/// no source: a few polls of a bus.
pub(super) const SPREAD: Duration = Duration::from_millis(200);

/// For so long an emptying is not believed that no movement explains: nothing next to the section is occupied, so that a train
/// that was there would have gone nowhere. Contact that is lost is mostly found again by then, and a report that the power is
/// off has come. Common practice, no source.
const PATIENCE: Duration = Duration::from_secs(1);

/// A detector that takes longer than this makes the others of its district wait no longer than this.
const LONGEST_WAIT: Duration = Duration::from_millis(800);

/// The longest that an emptying is kept back, but for a detector that bridges longer by the layout's word.
pub const KEPT_BACK_AT_MOST: Duration = Duration::from_secs(1);

const _: () = assert!(
    PATIENCE.as_millis() <= KEPT_BACK_AT_MOST.as_millis()
        && LONGEST_WAIT.as_millis() + SPREAD.as_millis() <= KEPT_BACK_AT_MOST.as_millis()
);

/// A section that is longer than this takes a train longer than [`SPREAD`] to leave. Common practice, no source.
const SHORT: Length = Length::from_mm(300);

/// How the reports of one section are treated.
#[derive(Clone, Debug)]
pub(super) struct Rules {
    /// Reports pass as they come.
    pub is_plain: bool,
    /// What carries its reports.
    pub link: Option<LinkId>,
    /// The place of its power district.
    pub supply: Option<usize>,
    /// What the detector takes to say that something is there, and that nothing is.
    pub on_delay: Duration,
    pub off_delay: Duration,
    /// For so long an emptying is a flicker, by the layout's word.
    pub bridge: Duration,
    /// For so long an emptying that a movement explains is kept back, to see whether everything empties.
    pub wait: Duration,
    /// For so long one is kept back that none explains.
    pub patience: Duration,
    /// For so long a filling is kept back that no movement explains, to see whether everything fills.
    pub fill_wait: Duration,
    /// The sections next to it.
    pub neighbours: SmallVec<[SectionId; 4]>,
    /// Trains come and go unseen: the layout ends here, or a section next to it has no detector.
    pub is_open: bool,
    /// A train may be out of it in next to no time, for it is short, or nobody measured it.
    pub is_short: bool,
}

impl Rules {
    pub fn all(layout: &Layout, supplies: &[Supply]) -> Table<SectionId, Self> {
        let mut supply_of = vec![None; layout.sections.len()];
        for (place, supply) in supplies.iter().enumerate() {
            for &section in &supply.sections {
                supply_of[section.index()] = Some(place);
            }
        }
        layout.sections.ids().map(|section| Self::new(layout, section, &supply_of, supplies)).collect()
    }

    fn new(layout: &Layout, section: SectionId, supply_of: &[Option<usize>], supplies: &[Supply]) -> Self {
        let supply = supply_of[section.index()];
        let detector = layout.sections[section].detector.map(|detector| &layout.detectors[detector]);
        let delays = |on: bool| {
            detector.map_or(Duration::ZERO, |detector| if on { detector.on_delay } else { detector.off_delay })
        };
        let (on_delay, off_delay) = (delays(true), delays(false));
        let (link, bridge) = detector.map_or((None, Duration::ZERO), |detector| (detector.link, detector.bridge));
        let mut neighbours = SmallVec::new();
        let mut is_open = false;
        for &end in &layout.sections[section].ends {
            is_open |= layout.ends[end].beyond == Beyond::OffLayout;
            for &met in &layout.ends[end].meets {
                let other = layout.ends[met].section;
                is_open |= layout.is_dark(other);
                if !neighbours.contains(&other) && other != section {
                    neighbours.push(other);
                }
            }
        }
        let mut ways = layout.sections[section].ways.iter();
        let is_short = ways.any(|&way| layout.ways[way].length.is_none_or(|length| length <= SHORT));
        let shared = supply.map(|supply| &supplies[supply]).filter(|supply| supply.detected > 1);
        let until_others = |slowest: Duration, own: Duration| slowest.saturating_sub(own).min(LONGEST_WAIT) + SPREAD;
        // What is gone here may stand in a district next to this one that goes dark with it, and shows it later.
        let beside = neighbours.iter().filter_map(|other: &SectionId| supply_of[other.index()]);
        let slowest_off = beside.chain(supply).map(|place| supplies[place].slowest_off).max().unwrap_or_default();
        let wait = shared.map_or(Duration::ZERO, |_| until_others(slowest_off, off_delay));
        Self {
            is_plain: link.is_none() && supply.is_none() && bridge == Duration::ZERO,
            link,
            supply,
            on_delay,
            off_delay,
            bridge,
            wait,
            patience: supply.map_or(Duration::ZERO, |_| PATIENCE.max(wait)),
            fill_wait: shared.map_or(Duration::ZERO, |shared| until_others(shared.slowest_on, on_delay)),
            neighbours,
            is_open,
            is_short,
        }
    }
}
