//! Direction of traffic on plain line that is signalled both ways.
//!
//! Between two stations trains of both directions share one line. As long as a train is on its way there, or stands there, no
//! signal lets another run towards it, however many free sections lie between them: the one that comes against it is held at
//! the end of the line, where it can be passed. A train of which nobody knows which way it goes is taken to come.
//!
//! A line is as many plain sections in a row as there are: two ends, one way, no turnout, one joint at each end. Only one with
//! signals for both directions has a direction of traffic. A circle of plain sections has none: nothing could wait outside it.

use std::collections::BTreeSet;

use track::{EndId, Layout, SectionId, SignalId, Table};

use crate::picture::Picture;
use crate::time::Time;

/// Which way along a line: from its first section on, or back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Heading {
    Up,
    Down,
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
}

/// All lines.
#[derive(Clone, Debug)]
pub(super) struct Traffic {
    lines: Vec<Line>,
    /// The line that a section belongs to, and its place there.
    places: Table<SectionId, Option<(u32, u32)>>,
    changed: Vec<SectionId>,
}

impl Traffic {
    pub(super) fn new(layout: &Layout) -> Self {
        let mut traffic = Self {
            lines: Vec::new(),
            places: Table::filled(None, layout.sections.len()),
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
            let both_ways = |&(line, _): &(u32, u32)| {
                let line: &Line = &lines[line as usize];
                !line.up.is_empty() && !line.down.is_empty()
            };
            traffic.places[section] = traffic.places[section].filter(both_ways);
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
        });
    }

    /// Notes where a signal leads into lines: on every path up to the next main signal, where it comes into a line first.
    fn add_signal(&mut self, layout: &Layout, signal: SignalId) {
        let mut open: Vec<(EndId, Option<u32>)> = Vec::new();
        open.extend(layout.ends[layout.signals[signal].at].meets.iter().map(|&enter| (enter, None)));
        let mut seen = BTreeSet::new();
        while let Some((enter, from)) = open.pop() {
            if !seen.insert(enter) {
                continue;
            }
            let place = self.places[layout.ends[enter].section];
            if let Some((line, place)) = place.filter(|(line, _)| from != Some(*line)) {
                let line = &mut self.lines[line as usize];
                let place = place as usize;
                let list = if line.enters[place] == enter { &mut line.up } else { &mut line.down };
                list.push((place, signal));
            }
            for (_, leave) in layout.ways_from(enter) {
                if layout.main_signal(leave).is_none() {
                    open.extend(layout.ends[leave].meets.iter().map(|&next| (next, place.map(|(line, _)| line))));
                }
            }
        }
    }

    pub(super) fn section_changed(&mut self, section: SectionId) {
        if self.places[section].is_some() {
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
    fn heading(&self, place: usize, enter: EndId) -> Heading {
        if self.enters[place] == enter { Heading::Up } else { Heading::Down }
    }

    fn reckon(&mut self, layout: &Layout, picture: &impl Picture, now: Time, signals: &mut Vec<SignalId>) {
        let before = (self.against_up, self.against_down);
        let goes = |place: usize, heading| self.heading_at(layout, place, picture, now) == Some(heading);
        let up = self.occupied.iter().rev().copied().find(|&place| !goes(place, Heading::Up));
        let down = self.occupied.iter().copied().find(|&place| !goes(place, Heading::Down));
        (self.against_up, self.against_down) = (up, down);
        let end = self.enters.len();
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
