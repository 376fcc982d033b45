//! Looking ahead of a signal: what is known of the track up to the next one, and of the overlap behind that.

use track::{
    Ahead, Aspect, Beyond, EndId, Lie, Next, Overlap, Role, SectionId, SignalId, SpeedClass, State, TrainId, WayId,
};

use super::Signals;
use crate::interlock::Interlock;
use crate::picture::Picture;
use crate::signaller::Conduct;

/// What a signal sees.
pub(super) enum View {
    /// Something is not known to be good, and no book is asked.
    Unproved,
    /// What the book is asked about; with it how many signals in a row a train could pass if this one let it.
    Seen(State, u8),
}

/// What is known of a section, the worst last.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Track {
    Free,
    /// A detector says that something is there.
    Occupied,
    /// It counts as occupied, but nobody says so.
    Unknown,
}

/// What was seen on the way to the far end of a stretch.
struct Path {
    lies: Lie,
    class: Option<SpeedClass>,
    occupied: bool,
}

/// The far end of a stretch.
enum FarEnd {
    Signal(SignalId),
    BufferStop,
    Edge,
    /// A route that was set is over before the next signal.
    RouteEnds,
}

impl Signals {
    /// What the signal sees. A distant signal only looks which main signal it stands before.
    pub(super) fn view(&self, signal: SignalId, picture: &impl Picture, interlock: &Interlock) -> View {
        let row = &self.layout.signals[signal];
        let mut train = None;
        let mut path = Path { lies: Lie::Straight, class: None, occupied: false };
        let Some(far) = self.look_along(row.at, &mut path, &mut train, picture, interlock) else {
            return View::Unproved;
        };
        let book = self.layout.book_of(signal);
        let (next, beyond) = match far {
            FarEnd::Signal(next) => {
                let state = &self.states[next];
                let shows = self.understanding.read(row.book, self.layout.signals[next].book, state.shows);
                (Next::Shows(shows), state.clear)
            }
            FarEnd::BufferStop => (Next::BufferStop, 0),
            FarEnd::Edge => (Next::Edge, 0),
            FarEnd::RouteEnds => (Next::Shows(Aspect::STOP), 0),
        };
        if let (Role::Main, FarEnd::Signal(next)) = (book.role(), far) {
            match self.overlap(next, train, picture, interlock) {
                Track::Free => {}
                Track::Occupied => path.occupied = true,
                Track::Unknown => return View::Unproved,
            }
        }
        let ahead = if path.occupied {
            Ahead::Occupied { permissive: row.is_permissive, called_on: self.states[signal].called_on }
        } else {
            // What is shown by a signal of another book may be understood as less than it is: then less is clear, too.
            let passable = match next {
                Next::Shows(shows) => book.read_rows()[usize::from(shows.0)].pass.is_proceed(),
                Next::BufferStop | Next::Edge => false,
            };
            let stretches = if passable { (1 + beyond).clamp(2, track::MOST_CLEAR) } else { 1 };
            Ahead::Clear { stretches, next }
        };
        let stretches = match ahead {
            Ahead::Occupied { .. } => 0,
            Ahead::Clear { stretches, .. } => stretches,
        };
        let speed = book.speed_of(path.lies, path.class);
        View::Seen(State { ahead, path: path.lies, speed, approached: self.is_approached(signal, picture) }, stretches)
    }

    /// Follows the stretch beyond `at` to its far end; nothing where it cannot be followed or is not known to be good.
    fn look_along(
        &self,
        at: EndId,
        path: &mut Path,
        train: &mut Option<Option<TrainId>>,
        picture: &impl Picture,
        interlock: &Interlock,
    ) -> Option<FarEnd> {
        let vouches = self.layout.ends[at].signal.is_none_or(|signal| self.layout.book_of(signal).role() == Role::Main);
        // Where a route is over before the next signal, that is where the stretch ends.
        let up_to = self.layout.ends[at].signal.filter(|_| vouches).and_then(|signal| interlock.cleared_up_to(signal));
        let mut leave = at;
        // A train can enter a section by each of its ends once before it has been everywhere.
        for passed in 0..=self.layout.ends.len() {
            let enter = match self.layout.ends[leave].meets[..] {
                [enter] => enter,
                // Nothing is known of what a signal right at the edge vouches for, unless its aspect is reported.
                [] if passed == 0 => return None,
                [] if self.layout.ends[leave].beyond == Beyond::BufferStop => return Some(FarEnd::BufferStop),
                [] => return Some(FarEnd::Edge),
                _ => return None,
            };
            let section = self.layout.ends[enter].section;
            if vouches {
                if interlock.withdrawal(section).is_some() {
                    return None;
                }
                // Trains that the signaller drives are granted track so that they never meet like this.
                let works_by_itself = self.conduct == Conduct::Observe || up_to.is_some();
                if works_by_itself && self.leads_against_traffic(enter) {
                    return None;
                }
                // Two signals that work by themselves would let two trains onto a crossing: it takes a route.
                let is_by_itself = self.conduct == Conduct::Observe && up_to.is_none();
                if is_by_itself && !self.layout.sections[section].crosses.is_empty() {
                    return None;
                }
                if !self.crossing_is_clear(section, picture, interlock) {
                    return None;
                }
                match self.track(section, picture) {
                    Track::Free => {}
                    Track::Occupied => path.occupied = true,
                    Track::Unknown => return None,
                }
            }
            // All of the stretch is granted to the train that the signal clears for, or another may run into it
            // unannounced.
            if self.conduct == Conduct::Control && !is_granted_alike(section, train, interlock) {
                return None;
            }
            let way = interlock.way_that_lies(enter)?;
            self.note(way, path);
            leave = self.layout.far_end(way, enter);
            if let Some(next) = self.layout.main_signal(leave) {
                return Some(FarEnd::Signal(next));
            }
            if up_to == Some(leave) && !self.layout.ends[leave].meets.is_empty() {
                return Some(FarEnd::RouteEnds);
            }
        }
        None
    }

    fn note(&self, way: WayId, path: &mut Path) {
        let way = &self.layout.ways[way];
        if way.needs.iter().any(|need| need.lie == Lie::Diverging) {
            path.lies = Lie::Diverging;
        }
        path.class = match (path.class, way.class) {
            (Some(one), Some(other)) => Some(one.min(other)),
            (one, other) => one.or(other),
        };
    }

    /// Whether the overlap of a signal is clear for a train that comes to it.
    fn overlap(
        &self,
        signal: SignalId,
        mut train: Option<Option<TrainId>>,
        picture: &impl Picture,
        interlock: &Interlock,
    ) -> Track {
        let row = &self.layout.signals[signal];
        let (listed, mut left) = match &row.overlap {
            Overlap::None => return Track::Free,
            Overlap::Sections(sections) => (Some(sections), track::Length::ZERO),
            Overlap::Length(length) => (None, *length),
        };
        let mut worst = Track::Free;
        for &section in listed.into_iter().flatten() {
            worst = worst.max(self.track(section, picture));
            if !self.may_overlap(section, &mut train, picture, interlock) {
                return Track::Unknown;
            }
        }
        let mut leave = row.at;
        for _ in 0..=self.layout.ends.len() {
            let enter = match self.layout.ends[leave].meets[..] {
                [enter] => enter,
                [] => return worst,
                _ => return Track::Unknown,
            };
            let section = self.layout.ends[enter].section;
            let reaches = listed.map_or(left > track::Length::ZERO, |sections| sections.contains(&section));
            if !reaches {
                return worst;
            }
            if listed.is_none() {
                if !self.may_overlap(section, &mut train, picture, interlock) {
                    return Track::Unknown;
                }
                worst = worst.max(self.track(section, picture));
            }
            // A turnout that moves there, or of which nobody knows how it lies, may lead a train that overruns
            // anywhere.
            let Some(way) = interlock.way_that_lies(enter) else { return Track::Unknown };
            left -= self.layout.ways[way].length.unwrap_or(track::Length::ZERO);
            leave = self.layout.far_end(way, enter);
        }
        worst
    }

    /// Whether whatever crosses a section is in service, free, and granted to nobody.
    fn crossing_is_clear(&self, section: SectionId, picture: &impl Picture, interlock: &Interlock) -> bool {
        self.layout.sections[section].crosses.iter().all(|&crossed| {
            self.track(crossed, picture) == Track::Free
                && interlock.granted_to(crossed).is_none()
                && interlock.withdrawal(crossed).is_none()
        })
    }

    /// Track out of service is no overlap, nor, where the signaller drives, is another train's track. What crosses it is clear.
    fn may_overlap(
        &self,
        section: SectionId,
        train: &mut Option<Option<TrainId>>,
        picture: &impl Picture,
        interlock: &Interlock,
    ) -> bool {
        let holder = interlock.granted_to(section);
        let is_others = self.conduct == Conduct::Control && holder.is_some() && *train != Some(holder);
        !is_others && interlock.withdrawal(section).is_none() && self.crossing_is_clear(section, picture, interlock)
    }

    /// What is known of a section, as far as its conduct asks: where people drive, detectors decide, and accounts only
    /// where there is no detector; where the signaller drives, no account may put a train there either.
    fn track(&self, section: SectionId, picture: &impl Picture) -> Track {
        let is_dark = self.layout.is_dark(section);
        let believed = self.conduct == Conduct::Control || is_dark;
        if !picture.is_occupied(section) {
            return if believed && !picture.holders(section).is_empty() { Track::Unknown } else { Track::Free };
        }
        if picture.is_known(section) && !is_dark { Track::Occupied } else { Track::Unknown }
    }

    /// Whether a detector says that a train is right before the signal.
    fn is_approached(&self, signal: SignalId, picture: &impl Picture) -> bool {
        self.track(self.section_before(signal), picture) == Track::Occupied
    }

    /// Whether the signal may be dark because nobody is there to see it.
    pub(super) fn may_be_dark(&self, signal: SignalId, picture: &impl Picture) -> bool {
        let before = self.section_before(signal);
        self.layout.signals[signal].is_approach_lit
            && !self.layout.is_dark(before)
            && self.track(before, picture) == Track::Free
    }

    pub(super) fn section_before(&self, signal: SignalId) -> SectionId {
        self.layout.ends[self.layout.signals[signal].at].section
    }

    /// How many signals in a row a train could pass, this one first, by what a border signal is reported to show.
    pub(super) fn clear_by(&self, signal: SignalId, shows: Aspect) -> u8 {
        let Some(row) = self.layout.book_of(signal).row(shows) else { return 0 };
        match row.expect {
            _ if !row.pass.is_proceed() => 0,
            None | Some(track::Expect::Stop) => 1,
            Some(_) => 2,
        }
    }
}

fn is_granted_alike(section: SectionId, train: &mut Option<Option<TrainId>>, interlock: &Interlock) -> bool {
    let holder = interlock.granted_to(section);
    holder == *train.get_or_insert(holder)
}
