//! What networks are put together with: sections, throats and ladders, joined end to end.

use std::time::Duration;

use track::{
    Beyond, Builder, Current, Detector, DetectorKind, EndId, Length, Lie, Scale, SectionId, Sensing, SensingKind,
};

use super::names::Names;
use crate::random::Stream;

/// How a modeller builds: what of a network is the same all over it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Habits {
    /// Whether anybody measured how long the track is.
    pub(super) measured: bool,
    /// How many of ten turnouts report.
    pub(super) reported: u64,
    /// How many of ten long lines have a dark section.
    pub(super) dark: u64,
    /// Whether there are spots before stopping points.
    pub(super) spots: bool,
    /// How many readers there are.
    pub(super) readers: u64,
    /// How many links carry the reports; 0 where none is known of.
    pub(super) links: u64,
    /// How detectors sense; nothing where that was not said.
    pub(super) sensing: Option<Sensing>,
    /// The delays of detectors, in milliseconds.
    pub(super) on_delay_ms: i64,
    pub(super) off_delay_ms: i64,
    /// How many of ten lines have a signal between their sections.
    pub(super) block_signals: u64,
    /// How many sections there may be before nothing more is added.
    pub(super) sections_most: usize,
    /// How many trains there may be.
    pub(super) trains_most: u64,
}

impl Habits {
    /// Everything measured, reported and watched.
    pub(super) const TIDY: Self = Self {
        measured: true,
        reported: 10,
        dark: 0,
        spots: true,
        readers: 0,
        links: 1,
        sensing: None,
        on_delay_ms: 50,
        off_delay_ms: 400,
        block_signals: 5,
        sections_most: 40,
        trains_most: 3,
    };

    /// Habits by lot.
    pub(super) fn drawn(stream: &mut Stream) -> Self {
        let measured = stream.below(5) > 0;
        let kinds = [SensingKind::DiodeDrop, SensingKind::CurrentTransformer, SensingKind::Hall];
        let sensing = stream.one_of(&kinds).map(|&kind| {
            // Diodes see very little; the others are set no finer than they are good for. Common practice, no source.
            let (least, most) = match kind {
                SensingKind::DiodeDrop => (200, 1_000),
                SensingKind::CurrentTransformer => (1_000, 3_000),
                SensingKind::Hall => (4_000, 8_000),
            };
            Sensing { kind, threshold: Current::from_ua(stream.between(least, most)) }
        });
        Self {
            measured,
            reported: [10, 10, 0, 5][stream.below(4) as usize],
            dark: [0, 0, 5, 10][stream.below(4) as usize],
            spots: measured && stream.below(2) == 0,
            readers: [0, 0, 1, 3][stream.below(4) as usize],
            links: stream.below(4),
            sensing: sensing.filter(|_| stream.below(4) > 0),
            on_delay_ms: stream.between(0, 120),
            off_delay_ms: stream.between(200, 900),
            block_signals: stream.below(11),
            sections_most: stream.between(12, 44) as usize,
            trains_most: stream.between(2, 8) as u64,
        }
    }
}

/// Track that a train may stand on for long: where stopping points go, and trains at first.
#[derive(Clone, Copy, Debug)]
pub(super) struct Standing {
    pub(super) section: SectionId,
    /// Which piece of the network it belongs to.
    pub(super) piece: usize,
    pub(super) length: Length,
}

/// A section with turnouts: one end on one side, several on the other.
#[derive(Debug)]
pub(super) struct Throat {
    pub(super) line: EndId,
    pub(super) tracks: Vec<EndId>,
}

/// A network that is being built.
#[derive(Debug)]
pub(super) struct Sketch {
    pub(super) builder: Builder,
    pub(super) stream: Stream,
    pub(super) habits: Habits,
    pub(super) names: Names,
    /// Loops, platforms and sidings: one train each at first.
    pub(super) standing: Vec<Standing>,
    /// How many trains each piece has room for, so that there is always a track left to move to.
    pub(super) rooms: Vec<usize>,
    turnouts: u32,
}

impl Sketch {
    /// Nothing yet.
    pub(super) fn new(name: &str, mut stream: Stream, habits: Habits) -> Self {
        let scale = Scale::named("H0").unwrap_or(Scale::UNKNOWN);
        let names = Names::new(&mut stream);
        Self {
            builder: Builder::new(name, scale),
            stream,
            habits,
            names,
            standing: Vec::new(),
            rooms: Vec::new(),
            turnouts: 0,
        }
    }

    /// Whether so many chances in ten come true.
    pub(super) fn chance(&mut self, of_ten: u64) -> bool {
        self.stream.below(10) < of_ten
    }

    /// Whether there is room for more sections.
    pub(super) fn has_room(&self) -> bool {
        self.builder.layout().sections.len() < self.habits.sections_most
    }

    /// Two ends of a plain section of its own: where a network starts.
    pub(super) fn first(&mut self) -> [EndId; 2] {
        let name = format!("{}-1", self.names.place());
        let length = self.stream.between(900, 1700);
        self.plain(&name, length)
    }

    /// A plain section with its detector.
    pub(super) fn plain(&mut self, name: &str, mm: i64) -> [EndId; 2] {
        let section = self.builder.section(name);
        let ends = ["a", "b"].map(|end| self.builder.end(section, end));
        self.builder.way(ends[0], ends[1], Some(Length::from_mm(mm)));
        self.watch(section);
        ends
    }

    /// Plain sections in a row behind `from`, or one of them dark; the end where they lead to.
    pub(super) fn line(&mut self, from: EndId, sections: i64) -> EndId {
        let place = self.names.place();
        let dark = (sections >= 3 && self.chance(self.habits.dark)).then_some(sections / 2);
        let mut open = from;
        for index in 0..sections {
            // Now and then a section is shorter than a train.
            let length = if self.chance(2) { self.stream.between(350, 700) } else { self.stream.between(900, 1800) };
            let name = format!("{place}-{}", index + 1);
            let [a, b] = if dark == Some(index) { self.dark(&name, length) } else { self.plain(&name, length) };
            self.builder.join(open, a);
            open = b;
        }
        open
    }

    /// A plain section that no detector watches.
    pub(super) fn dark(&mut self, name: &str, mm: i64) -> [EndId; 2] {
        let section = self.builder.section(name);
        let ends = ["a", "b"].map(|end| self.builder.end(section, end));
        self.builder.way(ends[0], ends[1], Some(Length::from_mm(mm)));
        ends
    }

    /// Begins a piece with tracks to stand on, and room for so many trains.
    pub(super) fn piece(&mut self, rooms: usize) {
        self.rooms.push(rooms);
    }

    /// A track to stand on, of the piece begun last.
    pub(super) fn standing(&mut self, name: &str) -> [EndId; 2] {
        let mm = self.stream.between(1250, 1900);
        let ends = self.plain(name, mm);
        let section = self.builder.layout().ends[ends[0]].section;
        let piece = self.rooms.len().saturating_sub(1);
        self.standing.push(Standing { section, piece, length: Length::from_mm(mm) });
        ends
    }

    /// A throat for so many tracks, turnout behind turnout.
    pub(super) fn throat(&mut self, name: &str, tracks: usize) -> Throat {
        const ENDS: [&str; 5] = ["one", "two", "three", "four", "five"];
        let section = self.builder.section(name);
        let line = self.builder.end(section, "line");
        let turnouts: Vec<_> = (1..tracks)
            .map(|_| {
                self.turnouts += 1;
                let turnout = self.builder.turnout(format!("W{}", self.turnouts));
                let (reported, throw_ms) = (self.chance(self.habits.reported), self.stream.between(400, 1800));
                let row = self.builder.turnout_mut(turnout);
                row.reported = reported;
                row.throw_time = Duration::from_millis(throw_ms as u64);
                turnout
            })
            .collect();
        let mut open = Vec::new();
        for (index, end) in ENDS.into_iter().take(tracks).enumerate() {
            let end = self.builder.end(section, end);
            let passed = index.min(turnouts.len().saturating_sub(1)) as i64;
            let length = self.stream.between(235, 250) + 160 * passed;
            let way = self.builder.way(line, end, Some(Length::from_mm(length)));
            for &turnout in turnouts.iter().take(index) {
                self.builder.need(way, turnout, Lie::Straight);
            }
            if let Some(&own) = turnouts.get(index) {
                self.builder.need(way, own, Lie::Diverging);
            }
            open.push(end);
        }
        self.watch(section);
        Throat { line, tracks: open }
    }

    /// Ends the track.
    pub(super) fn buffer(&mut self, at: EndId) {
        self.builder.close(at, Beyond::BufferStop);
    }

    fn watch(&mut self, section: SectionId) {
        let name = self.builder.layout().sections[section].name.clone();
        let about = |stream: &mut Stream, ms: i64| Duration::from_millis(stream.between(ms * 4 / 5, ms * 6 / 5) as u64);
        let on_delay = about(&mut self.stream, self.habits.on_delay_ms);
        let off_delay = about(&mut self.stream, self.habits.off_delay_ms);
        let sensing = self.habits.sensing;
        let detector = Detector { on_delay, off_delay, sensing, ..Detector::new(name, DetectorKind::Area(section)) };
        self.builder.detector(detector);
    }
}
