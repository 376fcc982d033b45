//! Building a layout piece by piece, every piece joined to what it belongs to.

use std::time::Duration;

use crate::aspects::{AspectBook, ClassSpeeds, SpeedClass};
use crate::braking::Gradient;
use crate::ids::{
    AccessoryId, BookId, DetectorId, DistrictId, EndId, InputId, LinkId, SectionId, SignalId, StopId, TrainId,
    TurnoutId, WayId,
};
use crate::layout::{
    Accessory, Beyond, Detector, DetectorKind, District, End, Layout, Lie, Link, NamedInput, Need, Section,
    StoppingPoint, Turnout, Way,
};
use crate::scale::Scale;
use crate::signals::{Overlap, Signal};
use crate::table::{Id, Table};
use crate::train::Train;
use crate::units::{Length, Speed};

/// Makes a [`Layout`]. Names are not checked here: whoever reads a user's text does that, and can say where it stands.
#[derive(Debug)]
pub struct Builder {
    layout: Layout,
}

impl Builder {
    /// Starts an empty layout.
    pub fn new(name: impl Into<String>, scale: Scale) -> Self {
        Self {
            layout: Layout {
                name: name.into(),
                scale,
                speeds: ClassSpeeds::default(),
                sections: Table::new(),
                ends: Table::new(),
                ways: Table::new(),
                turnouts: Table::new(),
                signals: Table::new(),
                books: [AspectBook::three_aspect()].into_iter().collect(),
                stops: Table::new(),
                detectors: Table::new(),
                districts: Table::new(),
                accessories: Table::new(),
                inputs: Table::new(),
                links: Table::new(),
                trains: Table::new(),
            },
        }
    }

    /// What has been built so far.
    pub fn layout(&self) -> &Layout {
        &self.layout
    }

    /// Adds a dark section without ends or ways.
    pub fn section(&mut self, name: impl Into<String>) -> SectionId {
        self.layout.sections.push(Section {
            name: name.into(),
            ends: Vec::new(),
            ways: Vec::new(),
            detector: None,
            district: None,
            stops: Vec::new(),
            crosses: Vec::new(),
        })
    }

    /// Adds a detected section with ends `a` and `b` and one way between them.
    pub fn plain_section(&mut self, name: impl Into<String>, length: Option<Length>) -> SectionId {
        let section = self.section(name);
        let (a, b) = (self.end(section, "a"), self.end(section, "b"));
        self.way(a, b, length);
        self.area_detector(section);
        section
    }

    /// Adds an end. It leads off the layout until it is joined or closed.
    pub fn end(&mut self, section: SectionId, name: impl Into<String>) -> EndId {
        let end = self.layout.ends.push(End {
            section,
            name: name.into(),
            meets: Vec::new(),
            beyond: Beyond::OffLayout,
            ways: Vec::new(),
            signal: None,
        });
        self.layout.sections[section].ends.push(end);
        end
    }

    /// Adds a way between two ends of one section.
    pub fn way(&mut self, a: EndId, b: EndId, length: Option<Length>) -> WayId {
        let section = self.layout.ends[a].section;
        debug_assert_eq!(section, self.layout.ends[b].section, "a way joins ends of one section");
        let way = self.layout.ways.push(Way {
            section,
            ends: [a, b],
            length,
            needs: Vec::new(),
            limit: None,
            gradient: Gradient::LEVEL,
            class: None,
        });
        self.layout.sections[section].ways.push(way);
        self.layout.ends[a].ways.push(way);
        if a != b {
            self.layout.ends[b].ways.push(way);
        }
        way
    }

    /// Says that a way needs a turnout to lie so. Where that is diverging, the turnout's limit holds for the way from now on.
    pub fn need(&mut self, way: WayId, turnout: TurnoutId, lie: Lie) {
        let limit = self.layout.turnouts[turnout].limit.filter(|_| lie == Lie::Diverging);
        let way = &mut self.layout.ways[way];
        way.needs.push(Need { turnout, lie });
        way.limit = [way.limit, limit].into_iter().flatten().min();
        let section = way.section;
        let sections = &mut self.layout.turnouts[turnout].sections;
        if !sections.contains(&section) {
            sections.push(section);
        }
    }

    /// Limits the speed on a way.
    pub fn limit(&mut self, way: WayId, limit: Speed) {
        self.layout.ways[way].limit = Some(limit);
    }

    /// Says how a way rises from its first to its second end.
    pub fn rise(&mut self, way: WayId, gradient: Gradient) {
        self.layout.ways[way].gradient = gradient;
    }

    /// Says what the classes of speed come to on the table, whatever the aspect books say.
    pub fn speeds(&mut self, speeds: ClassSpeeds) {
        self.layout.speeds = speeds;
    }

    /// Says by which class of speed signals speak of a way.
    pub fn class(&mut self, way: WayId, class: SpeedClass) {
        self.layout.ways[way].class = Some(class);
    }

    /// Says that the rails of two sections cross.
    pub fn cross(&mut self, one: SectionId, other: SectionId) {
        debug_assert_ne!(one, other, "ways of one section exclude each other anyway");
        for (section, crossed) in [(one, other), (other, one)] {
            let crosses = &mut self.layout.sections[section].crosses;
            if !crosses.contains(&crossed) {
                crosses.push(crossed);
            }
        }
    }

    /// Joins two ends.
    pub fn join(&mut self, a: EndId, b: EndId) {
        for (one, other) in [(a, b), (b, a)] {
            let end = &mut self.layout.ends[one];
            if !end.meets.contains(&other) {
                end.meets.push(other);
            }
            end.beyond = Beyond::Joint;
        }
    }

    /// Says what lies beyond an end that meets no other.
    pub fn close(&mut self, end: EndId, beyond: Beyond) {
        self.layout.ends[end].beyond = beyond;
    }

    /// Adds a turnout that is worked by the signaller and does not report.
    pub fn turnout(&mut self, name: impl Into<String>) -> TurnoutId {
        self.layout.turnouts.push(Turnout {
            name: name.into(),
            reported: false,
            worked: true,
            throw_time: Duration::from_secs(1),
            normal: Lie::Straight,
            limit: None,
            sections: Vec::new(),
            link: None,
        })
    }

    /// The turnout, to be changed.
    pub fn turnout_mut(&mut self, turnout: TurnoutId) -> &mut Turnout {
        &mut self.layout.turnouts[turnout]
    }

    /// Adds a signal that governs leaving a section by `at`.
    pub fn signal(&mut self, name: impl Into<String>, at: EndId) -> SignalId {
        let signal = self.layout.signals.push(Signal {
            name: name.into(),
            at,
            book: self.default_book(),
            overlap: Overlap::None,
            is_permissive: false,
            is_approach_lit: false,
            is_controlled: false,
        });
        self.layout.ends[at].signal = Some(signal);
        signal
    }

    /// The book of signals of which nothing else is said: the three-aspect book, until another takes its place.
    pub fn default_book(&self) -> BookId {
        BookId::from_index(0)
    }

    /// From now on this is the default book.
    pub fn replace_default_book(&mut self, book: AspectBook) {
        let default = self.default_book();
        self.layout.books[default] = book;
    }

    /// Adds an aspect book.
    pub fn book(&mut self, book: AspectBook) -> BookId {
        self.layout.books.push(book)
    }

    /// The signal, to be changed.
    pub fn signal_mut(&mut self, signal: SignalId) -> &mut Signal {
        &mut self.layout.signals[signal]
    }

    /// Adds a stopping point.
    pub fn stop(&mut self, name: impl Into<String>, towards: EndId, short_of_end: Length) -> StopId {
        let section = self.layout.ends[towards].section;
        let stop = self.layout.stops.push(StoppingPoint {
            name: name.into(),
            section,
            towards,
            short_of_end,
            platform: None,
            room: None,
        });
        self.layout.sections[section].stops.push(stop);
        stop
    }

    /// The stopping point, to be changed.
    pub fn stop_mut(&mut self, stop: StopId) -> &mut StoppingPoint {
        &mut self.layout.stops[stop]
    }

    /// Adds an area detector named after its section.
    pub fn area_detector(&mut self, section: SectionId) -> DetectorId {
        let name = self.layout.sections[section].name.clone();
        self.detector(Detector::new(name, DetectorKind::Area(section)))
    }

    /// Adds a detector of any kind.
    pub fn detector(&mut self, detector: Detector) -> DetectorId {
        let kind = detector.kind;
        let id = self.layout.detectors.push(detector);
        if let DetectorKind::Area(section) = kind {
            self.layout.sections[section].detector = Some(id);
        }
        id
    }

    /// Adds a power district.
    pub fn district(&mut self, name: impl Into<String>) -> DistrictId {
        self.layout.districts.push(District { name: name.into(), voltage: None, is_switched: false })
    }

    /// The power district, to be changed.
    pub fn district_mut(&mut self, district: DistrictId) -> &mut District {
        &mut self.layout.districts[district]
    }

    /// Adds an accessory.
    pub fn accessory(&mut self, name: impl Into<String>, link: Option<LinkId>) -> AccessoryId {
        self.layout.accessories.push(Accessory { name: name.into(), link })
    }

    /// Adds an input.
    pub fn input(&mut self, name: impl Into<String>, link: Option<LinkId>) -> InputId {
        self.layout.inputs.push(NamedInput { name: name.into(), link })
    }

    /// The detector, to be changed.
    pub fn detector_mut(&mut self, detector: DetectorId) -> &mut Detector {
        &mut self.layout.detectors[detector]
    }

    /// The link, to be changed.
    pub fn link_mut(&mut self, link: LinkId) -> &mut Link {
        &mut self.layout.links[link]
    }

    /// Adds a link.
    pub fn link(&mut self, name: impl Into<String>) -> LinkId {
        self.layout.links.push(Link { name: name.into(), orders_a_second: None })
    }

    /// Puts a section into a power district.
    pub fn feed(&mut self, section: SectionId, district: DistrictId) {
        self.layout.sections[section].district = Some(district);
    }

    /// Adds a train.
    pub fn train(&mut self, train: Train) -> TrainId {
        self.layout.trains.push(train)
    }

    /// The finished layout.
    pub fn build(mut self) -> Layout {
        for stop in self.layout.stops.ids() {
            self.layout.stops[stop].room = crate::spacing::room_to_turnouts(&self.layout, stop);
        }
        self.layout
    }
}

impl From<Layout> for Builder {
    /// Goes on building at a layout.
    fn from(layout: Layout) -> Self {
        Self { layout }
    }
}
