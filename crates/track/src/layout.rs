//! The layout: tables of everything on the table.

use std::time::Duration;

use crate::aspects::{AspectBook, ClassSpeeds, Pass, Role, SpeedClass};
use crate::braking::Gradient;
use crate::electrics::{Sensing, Voltage};
use crate::ids::{
    AccessoryId, BookId, DetectorId, DistrictId, EndId, InputId, LinkId, SectionId, SignalId, StopId, TrainId,
    TurnoutId, WayId,
};
use crate::scale::Scale;
use crate::signals::Signal;
use crate::table::{Id, Table};
use crate::train::Train;
use crate::units::{Length, Speed};

/// A checked layout.
#[derive(Clone, Debug)]
pub struct Layout {
    /// Its name.
    pub name: String,
    /// Its scale.
    pub scale: Scale,
    /// What the classes of speed come to on the table, where it was said for all books.
    pub speeds: ClassSpeeds,
    /// Sections.
    pub sections: Table<SectionId, Section>,
    /// Ends of sections.
    pub ends: Table<EndId, End>,
    /// Ways through sections.
    pub ways: Table<WayId, Way>,
    /// Turnouts.
    pub turnouts: Table<TurnoutId, Turnout>,
    /// Signals.
    pub signals: Table<SignalId, Signal>,
    /// Aspect books. There is always one.
    pub books: Table<BookId, AspectBook>,
    /// Stopping points.
    pub stops: Table<StopId, StoppingPoint>,
    /// Detectors.
    pub detectors: Table<DetectorId, Detector>,
    /// Power districts.
    pub districts: Table<DistrictId, District>,
    /// Accessories.
    pub accessories: Table<AccessoryId, Accessory>,
    /// Inputs.
    pub inputs: Table<InputId, NamedInput>,
    /// Links.
    pub links: Table<LinkId, Link>,
    /// Trains.
    pub trains: Table<TrainId, Train>,
}

/// A section: a stretch of track whose occupancy is detected as one.
#[derive(Clone, Debug)]
pub struct Section {
    /// Its name.
    pub name: String,
    /// Its ends.
    pub ends: Vec<EndId>,
    /// The ways through it.
    pub ways: Vec<WayId>,
    /// Its area detector; nothing where the section is dark.
    pub detector: Option<DetectorId>,
    /// The power district it belongs to.
    pub district: Option<DistrictId>,
    /// Its stopping points.
    pub stops: Vec<StopId>,
    /// The sections whose rails cross its own: a train in one of them may be in the way of one here. Each knows of the other.
    pub crosses: Vec<SectionId>,
}

/// An end of a section.
#[derive(Clone, Debug)]
pub struct End {
    /// The section it belongs to.
    pub section: SectionId,
    /// Its name within the section.
    pub name: String,
    /// The ends it meets. Several: a junction whose turnout nobody reports.
    pub meets: Vec<EndId>,
    /// What lies beyond it.
    pub beyond: Beyond,
    /// The ways that start or finish here.
    pub ways: Vec<WayId>,
    /// The signal that governs leaving the section here.
    pub signal: Option<SignalId>,
}

/// What lies beyond an end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Beyond {
    /// Another end.
    Joint,
    /// A buffer stop: nothing goes on.
    BufferStop,
    /// Track that is not part of this layout: trains come and go.
    OffLayout,
}

/// A path through a section.
#[derive(Clone, Debug)]
pub struct Way {
    /// The section.
    pub section: SectionId,
    /// The ends it joins.
    pub ends: [EndId; 2],
    /// How long it is, where it was measured.
    pub length: Option<Length>,
    /// The turnout positions it needs.
    pub needs: Vec<Need>,
    /// The highest speed allowed on it, that of turnouts which it needs to diverge included.
    pub limit: Option<Speed>,
    /// How it rises from its first to its second end.
    pub gradient: Gradient,
    /// The class of speed by which signals speak of it, where that was said.
    pub class: Option<SpeedClass>,
}

/// A turnout position that a way needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
pub struct Need {
    /// The turnout.
    pub turnout: TurnoutId,
    /// How it must lie.
    pub lie: Lie,
}

/// How a turnout lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
pub enum Lie {
    /// For the straight track.
    Straight,
    /// For the diverging track.
    Diverging,
}

impl Lie {
    /// The other one.
    pub fn other(self) -> Self {
        match self {
            Self::Straight => Self::Diverging,
            Self::Diverging => Self::Straight,
        }
    }
}

/// A turnout.
#[derive(Clone, Debug)]
pub struct Turnout {
    /// Its name.
    pub name: String,
    /// Whether its position is reported.
    pub reported: bool,
    /// Whether the signaller can throw it. Where it cannot, a person does.
    pub worked: bool,
    /// How long it takes to move.
    pub throw_time: Duration,
    /// How it lies where a control table calls it normal. Says nothing about how it lies while nobody needs it.
    pub normal: Lie,
    /// The highest speed over its diverging leg, where that was said.
    pub limit: Option<Speed>,
    /// The sections whose ways need it.
    pub sections: Vec<SectionId>,
    /// The link that carries its reports, where that was said.
    pub link: Option<LinkId>,
}

/// Where a nose should come to stand.
#[derive(Clone, Debug)]
pub struct StoppingPoint {
    /// Its name.
    pub name: String,
    /// The section it lies in.
    pub section: SectionId,
    /// The end that a train stopping here points at.
    pub towards: EndId,
    /// How far short of that end the nose should stand: see [`Layout::stands_short`].
    pub short_of_end: Length,
    /// Where there is a platform along whose middle trains are to stand, from where to where, measured back from that end.
    pub platform: Option<(Length, Length)>,
    /// How much track there is from that end back to the nearest turnouts or the end of the track; nothing where that is far
    /// away or nobody measured it.
    pub room: Option<Length>,
}

/// A detector.
#[derive(Clone, Debug)]
pub struct Detector {
    /// Its name.
    pub name: String,
    /// What it sees.
    pub kind: DetectorKind,
    /// How long something must be there before it says so.
    pub on_delay: Duration,
    /// How long nothing must be there before it says so.
    pub off_delay: Duration,
    /// For so long a report that nothing is there any more is not believed: what comes back within it was never gone.
    pub bridge: Duration,
    /// How it senses current, where that was said. Only of use for an area detector.
    pub sensing: Option<Sensing>,
    /// The link that carries its reports, where that was said.
    pub link: Option<LinkId>,
}

/// What a detector sees.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DetectorKind {
    /// Something stands in the section.
    Area(SectionId),
    /// Something passes here: on this way, so far from its first end.
    Spot {
        /// The way.
        way: WayId,
        /// Measured from the way's first end.
        from_first_end: Option<Length>,
    },
    /// This train passes, or stands, in the section.
    Reader(SectionId),
}

impl Detector {
    /// A detector that takes no time, and of which nothing else was said.
    pub fn new(name: impl Into<String>, kind: DetectorKind) -> Self {
        Self {
            name: name.into(),
            kind,
            on_delay: Duration::ZERO,
            off_delay: Duration::ZERO,
            bridge: Duration::ZERO,
            sensing: None,
            link: None,
        }
    }
}

/// A power district: what goes dark together.
#[derive(Clone, Debug)]
pub struct District {
    /// Its name.
    pub name: String,
    /// The voltage on its track, where that was said.
    pub voltage: Option<Voltage>,
    /// Whether its power can be cut from here.
    pub is_switched: bool,
}

/// A lamp, a relay, a sound: something that is on or off, and that no train depends on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Accessory {
    /// Its name.
    pub name: String,
    /// The link over which it is switched.
    pub link: Option<LinkId>,
}

/// A push button, a key switch, a lever, a float switch, a photocell: something that is on or off by itself or by hand, that scripts
/// hear of, and that says nothing of trains.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NamedInput {
    /// Its name.
    pub name: String,
    /// The link over which it is reported.
    pub link: Option<LinkId>,
}

/// A link: what carries reports and orders to and from one part of the hardware. While it is down, nothing is known of
/// what it carries.
#[derive(Clone, Debug)]
pub struct Link {
    /// Its name.
    pub name: String,
    /// How many orders for trains it carries a second, where that was said.
    pub orders_a_second: Option<u16>,
}

/// A tail stands so far clear of turnouts where that can be had, and a nose no nearer to the end of its track for that than
/// [`NEAREST`]. Common practice, no source.
const TAIL_CLEAR: Length = Length::from_mm(30);
const NEAREST: Length = Length::from_mm(40);

impl Layout {
    /// How far short of the end that a stopping point is measured from the nose of a train of that length should stand: so that the
    /// middle of the train is at the middle of the platform, if there is one, and no nearer to the end than the stopping point;
    /// but nearer to the end than that where its tail would not be clear of the turnouts behind it.
    pub fn stands_short(&self, stop: StopId, length: Option<Length>) -> Length {
        let point = &self.stops[stop];
        let Some(length) = length else { return point.short_of_end };
        let centred = point.platform.map(|(from, to)| (from + to - length).scaled(1, 2));
        let short = centred.unwrap_or(point.short_of_end).max(point.short_of_end);
        let clear = point.room.map_or(short, |room| room - length - TAIL_CLEAR);
        short.min(clear).max(NEAREST.min(point.short_of_end))
    }

    /// The other end of a way.
    ///
    /// `from` must be one of its ends.
    pub fn far_end(&self, way: WayId, from: EndId) -> EndId {
        let [a, b] = self.ways[way].ends;
        debug_assert!(from == a || from == b, "{from:?} is no end of {way:?}");
        if from == a { b } else { a }
    }

    /// How a way rises for somebody who entered it by `entered`, which must be one of its ends.
    pub fn gradient_from(&self, way: WayId, entered: EndId) -> Gradient {
        let Way { ends: [first, _], gradient, .. } = self.ways[way];
        if entered == first { gradient } else { gradient.reversed() }
    }

    /// How fast, on the table, a train may be between signals of a book if it passed the last one so. Nothing where the
    /// signal sets no speed: at normal speed, and where it lets no train pass at all.
    pub fn speed_of(&self, book: &AspectBook, pass: Pass) -> Option<Speed> {
        let on_table = |real: Speed| Speed::from_mm_f64(real.mm() / self.scale.ratio);
        let own = || book.parts().speeds.of(pass).or_else(|| ClassSpeeds::usual().of(pass)).map(on_table);
        self.speeds.of(pass).or_else(own)
    }

    /// The ways through a section for somebody who entered it by `entered`, each with the end it leaves by.
    pub fn ways_from(&self, entered: EndId) -> impl Iterator<Item = (WayId, EndId)> + '_ {
        self.ends[entered].ways.iter().map(move |&way| (way, self.far_end(way, entered)))
    }

    /// The way between two ends of one section, if there is one. Where several join the same ends, the first.
    pub fn way_between(&self, a: EndId, b: EndId) -> Option<WayId> {
        self.ends[a].ways.iter().copied().find(|&way| self.far_end(way, a) == b)
    }

    /// `section.end`, as people write an end.
    pub fn end_name(&self, end: EndId) -> String {
        let end = &self.ends[end];
        format!("{}.{}", self.sections[end.section].name, end.name)
    }

    /// The section of that name.
    pub fn section_named(&self, name: &str) -> Option<SectionId> {
        self.sections.iter().find(|(_, section)| section.name == name).map(|(id, _)| id)
    }

    /// The end written `section.end`.
    pub fn end_named(&self, name: &str) -> Option<EndId> {
        let (section, end) = name.rsplit_once('.')?;
        let section = self.section_named(section)?;
        self.sections[section].ends.iter().copied().find(|&id| self.ends[id].name == end)
    }

    /// The turnout of that name.
    pub fn turnout_named(&self, name: &str) -> Option<TurnoutId> {
        named(&self.turnouts, name, |turnout| &turnout.name)
    }

    /// The signal of that name.
    pub fn signal_named(&self, name: &str) -> Option<SignalId> {
        named(&self.signals, name, |signal| &signal.name)
    }

    /// The book a signal is shown by.
    pub fn book_of(&self, signal: SignalId) -> &AspectBook {
        &self.books[self.signals[signal].book]
    }

    /// The signal that says whether a section may be left by an end. One that only foretells what another shows says
    /// nothing of that.
    pub fn main_signal(&self, at: EndId) -> Option<SignalId> {
        self.ends[at].signal.filter(|&signal| self.book_of(signal).role() == Role::Main)
    }

    /// The stopping point of that name.
    pub fn stop_named(&self, name: &str) -> Option<StopId> {
        named(&self.stops, name, |stop| &stop.name)
    }

    /// The train of that name.
    pub fn train_named(&self, name: &str) -> Option<TrainId> {
        named(&self.trains, name, |train| &train.name)
    }

    /// The link of that name.
    pub fn link_named(&self, name: &str) -> Option<LinkId> {
        named(&self.links, name, |link| &link.name)
    }

    /// The power district of that name.
    pub fn district_named(&self, name: &str) -> Option<DistrictId> {
        named(&self.districts, name, |district| &district.name)
    }

    /// The accessory of that name.
    pub fn accessory_named(&self, name: &str) -> Option<AccessoryId> {
        named(&self.accessories, name, |accessory| &accessory.name)
    }

    /// The input of that name.
    pub fn input_named(&self, name: &str) -> Option<InputId> {
        named(&self.inputs, name, |input| &input.name)
    }

    /// The detector of that name.
    pub fn detector_named(&self, name: &str) -> Option<DetectorId> {
        named(&self.detectors, name, |detector| &detector.name)
    }

    /// Whether no detector watches the section.
    pub fn is_dark(&self, section: SectionId) -> bool {
        self.sections[section].detector.is_none()
    }

    /// The length of all track that was measured. Ways that share a section count each: a turnout is two tracks.
    pub fn track_length(&self) -> Length {
        self.ways.values().filter_map(|way| way.length).sum()
    }
}

fn named<I: Id, T>(table: &Table<I, T>, name: &str, name_of: impl Fn(&T) -> &String) -> Option<I> {
    table.iter().find(|(_, row)| name_of(row) == name).map(|(id, _)| id)
}
