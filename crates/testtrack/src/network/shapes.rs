//! The pieces that networks are made of, and which of them follow which.

use track::EndId;

use super::Fixture;
use super::sketch::Sketch;

/// Builds a fixture.
pub(super) fn fixture(fixture: Fixture, sketch: &mut Sketch) {
    let [west, east] = sketch.first();
    match fixture {
        Fixture::PassingLoop => {
            sketch.terminal(west, 2);
            let east = sketch.passing_loop(east, 2);
            sketch.terminal(east, 2);
        }
        Fixture::Terminal => {
            let west = sketch.line(west, 1);
            sketch.siding(west);
            sketch.terminal(east, 2);
        }
        Fixture::YardLadder => {
            sketch.terminal(west, 2);
            let east = sketch.passing_loop(east, 5);
            sketch.siding(east);
        }
        Fixture::ReversingLoop => {
            sketch.terminal(west, 3);
            sketch.reversing_loop(east);
        }
        Fixture::Triangle => {
            sketch.terminal(west, 2);
            for open in sketch.triangle(east) {
                sketch.terminal(open, 2);
            }
        }
        Fixture::DarkTunnel => {
            sketch.terminal(west, 2);
            sketch.habits.dark = 10;
            let east = sketch.line(east, 3);
            sketch.terminal(east, 3);
        }
    }
}

/// Builds a network by lot: a branch, a ring, a line between two reversing loops, or three arms of a triangle.
pub(super) fn drawn(sketch: &mut Sketch) {
    let [west, east] = sketch.first();
    match sketch.stream.below(4) {
        0 => {
            sketch.terminus(west);
            let east = sketch.chain(east);
            sketch.terminus(east);
        }
        1 => {
            let east = sketch.passing_loop(east, 2);
            let east = sketch.chain(east);
            let east = sketch.passing_loop(east, 2);
            sketch.builder.join(east, west);
        }
        2 => {
            sketch.reversing_loop(west);
            let east = sketch.passing_loop(east, 2);
            let east = sketch.chain(east);
            sketch.reversing_loop(east);
        }
        _ => {
            sketch.terminus(west);
            for open in sketch.triangle(east) {
                let open = if sketch.has_room() { sketch.chain(open) } else { open };
                sketch.terminus(open);
            }
        }
    }
}

/// Builds a network by lot in which a branch crosses the line that it leaves.
pub(super) fn crossed(sketch: &mut Sketch) {
    let [west, east] = sketch.first();
    sketch.terminus(west);
    let east = sketch.crossing(east);
    let east = sketch.chain(east);
    sketch.terminus(east);
}

impl Sketch {
    /// Pieces in a row, until there is no more room or chance ends it.
    fn chain(&mut self, from: EndId) -> EndId {
        let mut open = from;
        let pieces = self.stream.between(1, 4);
        for _ in 0..pieces {
            if !self.has_room() {
                break;
            }
            open = match self.stream.below(6) {
                0 => {
                    let sections = self.stream.between(2, 4);
                    self.line(open, sections)
                }
                1 | 2 => self.passing_loop(open, 2),
                3 => {
                    let tracks = self.stream.between(3, 5) as usize;
                    self.passing_loop(open, tracks)
                }
                _ => {
                    let [on, branch] = self.junction(open);
                    self.terminus(branch);
                    on
                }
            };
        }
        open
    }

    /// Something that a line may end with.
    fn terminus(&mut self, from: EndId) {
        match self.stream.below(6) {
            0 => self.siding(from),
            1 | 2 => self.terminal(from, 2),
            3 => {
                let tracks = self.stream.between(3, 5) as usize;
                self.terminal(from, tracks);
            }
            4 => self.reversing_loop(from),
            _ => self.terminal(from, 3),
        }
    }

    /// One track, and a buffer stop.
    pub(super) fn siding(&mut self, from: EndId) {
        let name = format!("{}-siding", self.names.place());
        self.piece(0);
        let [a, b] = self.standing(&name);
        self.builder.join(from, a);
        self.buffer(b);
    }

    /// Tracks side by side that end at buffer stops.
    pub(super) fn terminal(&mut self, from: EndId, tracks: usize) {
        let place = self.names.place();
        let throat = self.throat(&format!("{place}-throat"), tracks);
        self.builder.join(from, throat.line);
        self.piece(tracks - 1);
        for (index, end) in throat.tracks.into_iter().enumerate() {
            let [a, b] = self.standing(&format!("{place}-{}", index + 1));
            self.builder.join(end, a);
            self.buffer(b);
        }
    }

    /// Tracks side by side between two throats, and a section of line behind: a passing loop, or a through yard.
    pub(super) fn passing_loop(&mut self, from: EndId, tracks: usize) -> EndId {
        let place = self.names.place();
        let west = self.throat(&format!("{place}-west"), tracks);
        let east = self.throat(&format!("{place}-east"), tracks);
        self.builder.join(from, west.line);
        self.piece(tracks - 1);
        for (index, (one, other)) in west.tracks.into_iter().zip(east.tracks).enumerate() {
            let [a, b] = self.standing(&format!("{place}-{}", index + 1));
            self.builder.join(one, a);
            self.builder.join(b, other);
        }
        self.line(east.line, 1)
    }

    /// A turnout with a section of line behind each of the other ends; it is come to from its line end or from one of its
    /// tracks, by lot.
    fn junction(&mut self, from: EndId) -> [EndId; 2] {
        let name = format!("{}-junction", self.names.place());
        let throat = self.throat(&name, 2);
        let mut ends = [throat.line, throat.tracks[0], throat.tracks[1]];
        let own = self.stream.below(3) as usize;
        ends.swap(0, own);
        self.builder.join(from, ends[0]);
        [self.line(ends[1], 1), self.line(ends[2], 1)]
    }

    /// A junction, come to from its line end, whose branch crosses the other track: each has a detector of its own there.
    fn crossing(&mut self, from: EndId) -> EndId {
        let place = self.names.place();
        let throat = self.throat(&format!("{place}-junction"), 2);
        self.builder.join(from, throat.line);
        let mut beyond = Vec::new();
        let mut crossing = Vec::new();
        for (track, name) in throat.tracks.into_iter().zip(["over", "across"]) {
            let before = self.line(track, 1);
            let length = self.stream.between(300, 900);
            let [a, b] = self.plain(&format!("{place}-{name}"), length);
            self.builder.join(before, a);
            crossing.push(self.builder.layout().ends[a].section);
            beyond.push(self.line(b, 1));
        }
        self.builder.cross(crossing[0], crossing[1]);
        self.terminus(beyond[1]);
        beyond[0]
    }

    /// Track that leads back to where it came from, the other way round.
    pub(super) fn reversing_loop(&mut self, from: EndId) {
        let place = self.names.place();
        let throat = self.throat(&format!("{place}-throat"), 2);
        self.builder.join(from, throat.line);
        let mut open = throat.tracks[0];
        self.piece(1);
        for index in 0..self.stream.between(2, 3) {
            let [a, b] = self.standing(&format!("{place}-{}", index + 1));
            self.builder.join(open, a);
            open = b;
        }
        self.builder.join(open, throat.tracks[1]);
    }

    /// Three turnouts, each joined to both others by a track, and a section of line behind two of them.
    pub(super) fn triangle(&mut self, from: EndId) -> [EndId; 2] {
        let place = self.names.place();
        let corners = ["west", "east", "south"].map(|corner| self.throat(&format!("{place}-{corner}"), 2));
        self.piece(1);
        for (index, [one, other]) in [[0, 1], [1, 2], [2, 0]].into_iter().enumerate() {
            let [a, b] = self.standing(&format!("{place}-{}", index + 1));
            self.builder.join(corners[one].tracks[0], a);
            self.builder.join(b, corners[other].tracks[1]);
        }
        self.builder.join(from, corners[0].line);
        [self.line(corners[1].line, 1), self.line(corners[2].line, 1)]
    }
}
