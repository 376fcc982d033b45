//! Direction of traffic on plain line that is signalled both ways.
//!
//! Between two stations trains of both directions share one line. As long as a train is on its way there, or stands there, no
//! signal lets another run towards it, however many free sections lie between them: the one that comes against it is held at
//! the end of the line, where it can be passed. A train of which nobody knows which way it goes is taken to come.
//!
//! A line is as many plain sections in a row as there are: two ends, one way, no turnout, one joint at each end. Only one with
//! signals for both directions has a direction of traffic. A circle of plain sections has none: nothing could wait outside it.
//!
//! Turnouts between a line and the signals that lead into it are its **throats**: whoever has passed such a signal is on the way
//! into the line, though still among the turnouts. (49 CFR 236.204: a train that passes the signal at the head of a single line
//! puts the opposing one at stop.) Only one that is known to have come out of the line does not count there.

use std::collections::{BTreeMap, BTreeSet};

use smallvec::SmallVec;
use track::{EndId, Layout, SectionId, SignalId, Table};

use crate::picture::Picture;
use crate::snapshot::kept;
use crate::time::Time;

/// Which way along a line: from its first section on, or back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Heading {
    Up,
    Down,
}

/// A section with turnouts by which trains come into a line.
#[derive(Clone, Debug)]
struct Throat {
    section: SectionId,
    /// Which way they go on the line.
    heading: Heading,
    /// The ends by which they enter it.
    enters: SmallVec<[EndId; 2]>,
}

/// Plain sections in a row.
#[derive(Clone, Debug)]
struct Line {
    /// For each section, in order, the end by which it is entered on the way up.
    enters: Vec<EndId>,
    occupied: BTreeSet<usize>,
    /// The farthest section up the line with something that is not known to go up.
    against_up: Option<usize>,
    /// The farthest section down the line with something that is not known to go down.
    against_down: Option<usize>,
    /// Signals that lead into the line, or on in it, with the first section they lead into.
    up: Vec<(usize, SignalId)>,
    down: Vec<(usize, SignalId)>,
    throats: Vec<Throat>,
}

kept!(Line { kept: [occupied, against_up, against_down], parts: [], made_anew: [enters, up, down, throats] });

/// All lines.
#[derive(Clone, Debug)]
pub(super) struct Traffic {
    lines: Vec<Line>,
    /// The line that a section belongs to, and its place there.
    places: Table<SectionId, Option<(u32, u32)>>,
    /// The lines whose throat a section is.
    throat_of: Table<SectionId, SmallVec<[u32; 2]>>,
    changed: Vec<SectionId>,
}

kept!(Traffic { kept: [changed], parts: [lines], made_anew: [places, throat_of] });

impl Traffic {
    pub(super) fn new(layout: &Layout) -> Self {
        let mut traffic = Self {
            lines: Vec::new(),
            places: Table::filled(None, layout.sections.len()),
            throat_of: Table::filled(SmallVec::new(), layout.sections.len()),
            changed: layout.sections.ids().collect(),
        };
        for section in layout.sections.ids() {
            if traffic.places[section].is_none() && is_plain(layout, section) {
                traffic.add_line(layout, section);
            }
        }
        for signal in layout.signals.ids() {
            traffic.add_signal(layout, signal);
        }
        let lines = &traffic.lines;
        for section in layout.sections.ids() {
            let both_ways = |&(line, _): &(u32, u32)| lines[line as usize].is_both_ways();
            traffic.places[section] = traffic.places[section].filter(both_ways);
        }
        for (place, line) in lines.iter().enumerate().filter(|(_, line)| line.is_both_ways()) {
            for throat in &line.throats {
                let of = &mut traffic.throat_of[throat.section];
                if !of.contains(&(place as u32)) {
                    of.push(place as u32);
                }
            }
        }
        for line in &mut traffic.lines {
            line.up.sort_unstable();
            line.down.sort_unstable();
        }
        traffic
    }

    /// Adds the line that a plain section belongs to, if there is more than that section of it.
    fn add_line(&mut self, layout: &Layout, section: SectionId) {
        let [first, last] = layout.sections[section].ends[..] else { return };
        let Some(mut back) = walk(layout, first) else { return };
        let Some(on) = walk(layout, last) else { return };
        // What was walked back was entered from above.
        back.reverse();
        let mut enters: Vec<EndId> = back.into_iter().map(|enter| other_end(layout, enter)).collect();
        enters.push(first);
        enters.extend(on);
        if enters.len() < 2 {
            return;
        }
        for (place, &enter) in enters.iter().enumerate() {
            self.places[layout.ends[enter].section] = Some((self.lines.len() as u32, place as u32));
        }
        self.lines.push(Line {
            enters,
            occupied: BTreeSet::new(),
            against_up: None,
            against_down: None,
            up: Vec::new(),
            down: Vec::new(),
            throats: Vec::new(),
        });
    }

    /// Notes where a signal leads into lines: on every path up to the next main signal, where it comes into a line first. What
    /// lies between the two is a throat.
    fn add_signal(&mut self, layout: &Layout, signal: SignalId) {
        let mut open: Vec<(EndId, Option<u32>)> = Vec::new();
        open.extend(layout.ends[layout.signals[signal].at].meets.iter().map(|&enter| (enter, None)));
        let mut seen = BTreeSet::new();
        let mut comes_from: BTreeMap<EndId, Vec<EndId>> = BTreeMap::new();
        let mut entered: Vec<(EndId, u32, Heading)> = Vec::new();
        while let Some((enter, from)) = open.pop() {
            if !seen.insert(enter) {
                continue;
            }
            let place = self.places[layout.ends[enter].section];
            if let Some((number, place)) = place.filter(|(line, _)| from != Some(*line)) {
                let line = &mut self.lines[number as usize];
                let (place, heading) = (place as usize, line.heading(place as usize, enter));
                let list = if heading == Heading::Up { &mut line.up } else { &mut line.down };
                list.push((place, signal));
                entered.push((enter, number, heading));
            }
            for (_, leave) in layout.ways_from(enter) {
                if layout.main_signal(leave).is_none() {
                    for &next in &layout.ends[leave].meets {
                        comes_from.entry(next).or_default().push(enter);
                        open.push((next, place.map(|(line, _)| line)));
                    }
                }
            }
        }
        for (enter, line, heading) in entered {
            self.add_throats(layout, enter, &comes_from, (line, heading));
        }
    }

    /// Notes everything that is passed on the way from a signal to where a line is entered, back to any other line.
    fn add_throats(
        &mut self,
        layout: &Layout,
        entered: EndId,
        comes_from: &BTreeMap<EndId, Vec<EndId>>,
        (line, heading): (u32, Heading),
    ) {
        let before = |enter: EndId| comes_from.get(&enter).into_iter().flatten().copied();
        let mut open: Vec<EndId> = before(entered).collect();
        let mut seen = BTreeSet::new();
        while let Some(enter) = open.pop() {
            let section = layout.ends[enter].section;
            if self.places[section].is_some() || !seen.insert(enter) {
                continue;
            }
            let throats = &mut self.lines[line as usize].throats;
            match throats.iter_mut().find(|throat| (throat.section, throat.heading) == (section, heading)) {
                Some(throat) if throat.enters.contains(&enter) => {}
                Some(throat) => throat.enters.push(enter),
                None => throats.push(Throat { section, heading, enters: SmallVec::from_slice(&[enter]) }),
            }
            open.extend(before(enter));
        }
    }

    pub(super) fn section_changed(&mut self, section: SectionId) {
        if self.places[section].is_some() || !self.throat_of[section].is_empty() {
            self.changed.push(section);
        }
    }

    /// Whether whoever enters a section by this end runs towards something on the line that is not known to go the same way.
    pub(super) fn leads_against(&self, layout: &Layout, enter: EndId) -> bool {
        let Some((line, place)) = self.places[layout.ends[enter].section] else { return false };
        let (line, place) = (&self.lines[line as usize], place as usize);
        match line.heading(place, enter) {
            Heading::Up => line.against_up.is_some_and(|there| there >= place),
            Heading::Down => line.against_down.is_some_and(|there| there <= place),
        }
    }

    /// Works out the direction of traffic wherever something changed. Gives the signals for which that may matter.
    pub(super) fn work(&mut self, layout: &Layout, picture: &impl Picture, now: Time) -> Vec<SignalId> {
        let mut touched: BTreeSet<u32> = BTreeSet::new();
        for section in self.changed.drain(..) {
            touched.extend(&self.throat_of[section]);
            let Some((line, place)) = self.places[section] else { continue };
            let occupied = &mut self.lines[line as usize].occupied;
            if picture.is_occupied(section) || !picture.holders(section).is_empty() {
                occupied.insert(place as usize);
            } else {
                occupied.remove(&(place as usize));
            }
            touched.insert(line);
        }
        let mut signals = Vec::new();
        for line in touched {
            self.lines[line as usize].reckon(layout, picture, now, &mut signals);
        }
        signals
    }
}

impl Line {
    fn is_both_ways(&self) -> bool {
        !self.up.is_empty() && !self.down.is_empty()
    }

    fn heading(&self, place: usize, enter: EndId) -> Heading {
        if self.enters[place] == enter { Heading::Up } else { Heading::Down }
    }

    fn reckon(&mut self, layout: &Layout, picture: &impl Picture, now: Time, signals: &mut Vec<SignalId>) {
        let before = (self.against_up, self.against_down);
        let goes = |place: usize, heading| self.heading_at(layout, place, picture, now) == Some(heading);
        let up = self.occupied.iter().rev().copied().find(|&place| !goes(place, Heading::Up));
        let down = self.occupied.iter().copied().find(|&place| !goes(place, Heading::Down));
        let end = self.enters.len();
        let comes = |heading| {
            let mut throats = self.throats.iter().filter(move |throat| throat.heading == heading);
            throats.any(|throat| throat.lets_in(picture, now))
        };
        // Whoever comes in at one end is met everywhere by whoever comes from the other.
        let up = if comes(Heading::Down) { Some(end - 1) } else { up };
        let down = if comes(Heading::Up) { Some(0) } else { down };
        (self.against_up, self.against_down) = (up, down);
        // Up to which section from below, and from which on from above, a signal leads against something.
        let reach = |against: Option<usize>| against.map_or(0, |place| place + 1);
        let (low, high) = sorted(reach(before.0), reach(self.against_up));
        signals.extend(self.up.iter().filter(|(place, _)| (low..high).contains(place)).map(|(_, signal)| *signal));
        let (low, high) = sorted(before.1.unwrap_or(end), self.against_down.unwrap_or(end));
        signals.extend(self.down.iter().filter(|(place, _)| (low..high).contains(place)).map(|(_, signal)| *signal));
    }

    /// Which way everything goes that is in a section; nothing where that is not known.
    fn heading_at(&self, layout: &Layout, place: usize, picture: &impl Picture, now: Time) -> Option<Heading> {
        let section = layout.ends[self.enters[place]].section;
        let mut found = None;
        for train in picture.holders(section) {
            let stand = picture.whereabouts(train, now).filter(|stand| stand.sure)?;
            let enter = stand.footprint.iter().find(|hold| hold.section == section)?.enter?;
            let heading = self.heading(place, enter);
            if found.is_some_and(|other| other != heading) {
                return None;
            }
            found = Some(heading);
        }
        found
    }
}

impl Throat {
    /// Whether something is there that is not known to have come in otherwise than trains do that go into the line.
    fn lets_in(&self, picture: &impl Picture, now: Time) -> bool {
        let holders = picture.holders(self.section);
        if holders.is_empty() {
            return picture.is_occupied(self.section);
        }
        !holders.iter().all(|&train| {
            let stand = picture.whereabouts(train, now).filter(|stand| stand.sure);
            let enter = stand.and_then(|stand| stand.footprint.iter().find(|hold| hold.section == self.section)?.enter);
            enter.is_some_and(|enter| !self.enters.contains(&enter))
        })
    }
}

fn sorted(one: usize, other: usize) -> (usize, usize) {
    (one.min(other), one.max(other))
}

fn is_plain(layout: &Layout, section: SectionId) -> bool {
    let row = &layout.sections[section];
    match (&row.ends[..], &row.ways[..]) {
        ([_, _], [way]) => layout.ways[*way].needs.is_empty(),
        _ => false,
    }
}

fn other_end(layout: &Layout, end: EndId) -> EndId {
    let ends = &layout.sections[layout.ends[end].section].ends;
    if ends[0] == end { ends[1] } else { ends[0] }
}

/// The ends by which further plain sections are entered when a plain section is left by this one; nothing where that leads
/// round to where it began.
fn walk(layout: &Layout, leave: EndId) -> Option<Vec<EndId>> {
    let (start, mut leave, mut enters) = (layout.ends[leave].section, leave, Vec::new());
    while let [enter] = layout.ends[leave].meets[..] {
        let section = layout.ends[enter].section;
        if layout.ends[enter].meets[..] != [leave] || !is_plain(layout, section) {
            break;
        }
        if section == start {
            return None;
        }
        enters.push(enter);
        leave = other_end(layout, enter);
    }
    Some(enters)
}
