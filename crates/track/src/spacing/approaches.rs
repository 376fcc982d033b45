//! The stretches from cautions to what they foretell, by the rules of the aspect books.
//!
//! Signals are asked what they show when the next one is at danger, or lets trains pass slowly only, and the track between is
//! clear. The first on the way that says to be ready for it gives the caution. What the signal before *that* shows then tells
//! how fast a train comes: where it foretells the same already, the caution is seen there.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use crate::aspects::{Ahead, Aspect, AspectRow, Expect, MOST_CLEAR, Next, Pass, Role, SpeedClass, State};
use crate::braking::Gradient;
use crate::graph::Traverse;
use crate::ids::{EndId, SignalId, WayId};
use crate::layout::{Layout, Lie};
use crate::routes::{Exit, Route, Routes};
use crate::units::{Length, Speed};

/// What a caution foretells.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Target {
    /// A signal.
    Signal(SignalId),
    /// The buffer stop at this end.
    Buffers(EndId),
}

/// A stretch of track from a caution to what it foretells.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Approach {
    /// The signal that shows the caution.
    pub caution: SignalId,
    /// What it foretells.
    pub target: Target,
    /// The class of speed it has to be passed at; nothing where trains have to stop.
    pub class: Option<SpeedClass>,
    /// What that comes to.
    pub then: Speed,
    /// How much track there is; nothing where some of it was not measured.
    pub distance: Option<Length>,
    /// How fast trains may come to the caution; nothing where only they themselves limit that.
    pub permitted: Option<Speed>,
    /// The steepest fall on the way; level where none of it falls.
    pub fall: Gradient,
    /// How long the detector behind the caution takes to say that a train has come.
    pub late: Duration,
    /// A signal before the caution that could give one more, and how much track there is from there.
    pub before: Option<(SignalId, Length)>,
}

/// All approaches of a layout, ordered by caution and target, one for each path. Each has the highest speed at which any path
/// leads up to its caution.
pub fn approaches(layout: &Arc<Layout>) -> Vec<Approach> {
    let routes = Routes::new(Arc::clone(layout));
    let mut survey = Survey { layout, leading_to: BTreeMap::new(), found: BTreeMap::new() };
    let all: Vec<&Route> = routes.all().map(|id| routes.route(id)).filter(|route| route.unproved.is_empty()).collect();
    for route in &all {
        if let Exit::Signal(exit) = route.exit {
            survey.leading_to.entry(exit).or_default().push(route);
        }
    }
    for route in &all {
        survey.look_along(route);
    }
    survey.found.into_values().collect()
}

/// What lies at the end of a route, as it is before the signals that foretell it.
#[derive(Clone, Copy)]
struct End {
    target: Target,
    /// What a signal there shows.
    shows: Option<(SignalId, Aspect)>,
}

/// What tells approaches apart: from where, to what, how slowly, and by which ways.
type Key = (SignalId, Target, Option<SpeedClass>, Vec<WayId>);

struct Survey<'a> {
    layout: &'a Layout,
    /// The routes that end at a signal.
    leading_to: BTreeMap<SignalId, Vec<&'a Route>>,
    found: BTreeMap<Key, Approach>,
}

impl<'a> Survey<'a> {
    fn look_along(&mut self, route: &'a Route) {
        match route.exit {
            Exit::Signal(exit) => {
                let restrictive =
                    |(aspect, row): &(Aspect, &AspectRow)| *aspect == Aspect::STOP || slow_class(row.pass).is_some();
                let is_shown = |(aspect, _): &(Aspect, _)| *aspect == Aspect::STOP || !self.layout.is_fixed(exit);
                for (aspect, _) in self.layout.book_of(exit).aspects().filter(restrictive).filter(is_shown) {
                    self.look_for_caution(route, End { target: Target::Signal(exit), shows: Some((exit, aspect)) });
                }
            }
            Exit::BufferStop(end) => self.look_for_caution(route, End { target: Target::Buffers(end), shows: None }),
            Exit::Stop(_) | Exit::Edge(_) => {}
        }
    }

    /// The first signal on a route that foretells what lies at its end: the one it begins at, or a distant signal on the way.
    fn look_for_caution(&mut self, route: &'a Route, end: End) {
        let (aspect, entry) = self.shown(route.entry, route, end.shows);
        let Some(entry) = entry.filter(|row| row.pass.is_proceed()) else { return };
        if let Some(class) = entry.expect.and_then(foretold) {
            return self.look_before(route, end.target, class, (aspect, entry));
        }
        for (place, passage) in route.passages.iter().enumerate() {
            let signal = self.layout.ends[passage.leave].signal;
            let distant = signal.filter(|&it| self.layout.book_of(it).role() == Role::Distant);
            let Some(distant) = distant else { continue };
            let Some(class) = self.shown(distant, route, end.shows).1.and_then(|row| row.expect).and_then(foretold)
            else {
                continue;
            };
            let permitted = [self.limit_before(passage.leave), self.speed_past(route.entry, entry)];
            let before = length_of(self.layout, &route.passages).map(|length| (route.entry, length));
            return self.add((distant, end.target, class), &route.passages[place + 1..], permitted, before);
        }
    }

    /// The caution is given where a route begins; what do the signals before it show then?
    fn look_before(
        &mut self,
        route: &'a Route,
        target: Target,
        class: Option<SpeedClass>,
        (aspect, row): (Aspect, &AspectRow),
    ) {
        let entry = route.entry;
        let here = lower(self.limit_before(self.layout.signals[entry].at), self.speed_past(entry, row));
        let leading = self.leading_to.get(&entry).cloned().unwrap_or_default();
        if leading.is_empty() {
            self.add((entry, target, class), &route.passages, [here, None], None);
        }
        for earlier in leading {
            let first = earlier.entry;
            let Some(row) = self.shown(first, earlier, Some((entry, aspect))).1.filter(|row| row.pass.is_proceed())
            else {
                continue;
            };
            let both: Vec<Traverse> = earlier.passages.iter().chain(&route.passages).copied().collect();
            if class.is_none() && row.expect == Some(Expect::StopAtSecond) {
                let permitted = [self.limit_before(self.layout.signals[first].at), self.speed_past(first, row)];
                self.add((first, target, class), &both, permitted, None);
                continue;
            }
            let told = match row.expect {
                Some(Expect::At(class)) => self.layout.speed_of(self.layout.book_of(first), Pass::At(class)),
                _ => None,
            };
            let permitted = [here, lower(told, self.speed_past(first, row))];
            let before = length_of(self.layout, &both).map(|length| (first, length));
            self.add((entry, target, class), &route.passages, permitted, before);
        }
    }

    /// What a signal shows along a route that is clear, and nobody comes yet.
    fn shown(
        &self,
        signal: SignalId,
        route: &Route,
        next: Option<(SignalId, Aspect)>,
    ) -> (Aspect, Option<&'a AspectRow>) {
        let book = self.layout.book_of(signal);
        let (next, stretches) = match next {
            None => (Next::BufferStop, 1),
            Some((other, aspect)) => {
                let others = self.layout.book_of(other);
                let stretches = match others.row(aspect) {
                    Some(AspectRow { pass, .. }) if !pass.is_proceed() => 1,
                    Some(AspectRow { expect: Some(Expect::Stop), .. }) => 2,
                    _ => MOST_CLEAR,
                };
                (Next::Shows(book.understands(others, aspect)), stretches)
            }
        };
        let diverges = route.turnouts.iter().any(|need| need.lie == Lie::Diverging);
        let path = if diverges { Lie::Diverging } else { Lie::Straight };
        let classes = route.passages.iter().filter_map(|passage| self.layout.ways[passage.way].class);
        let speed = book.speed_of(path, classes.min());
        let aspect = book.shows(&State { ahead: Ahead::Clear { stretches, next }, path, speed, approached: false });
        (aspect, book.row(aspect))
    }

    /// The speed that a signal sets for trains that pass it at this aspect.
    fn speed_past(&self, signal: SignalId, row: &AspectRow) -> Option<Speed> {
        self.layout.speed_of(self.layout.book_of(signal), row.pass)
    }

    /// The highest limit of the ways that lead up to an end; nothing where one has none.
    fn limit_before(&self, at: EndId) -> Option<Speed> {
        let limits: Option<Vec<Speed>> =
            self.layout.ends[at].ways.iter().map(|&way| self.layout.ways[way].limit).collect();
        limits?.into_iter().max()
    }

    fn add(
        &mut self,
        (caution, target, class): (SignalId, Target, Option<SpeedClass>),
        path: &[Traverse],
        permitted: [Option<Speed>; 2],
        before: Option<(SignalId, Length)>,
    ) {
        let layout = self.layout;
        let then = match (class, target) {
            (Some(class), Target::Signal(signal)) => {
                let Some(then) = layout.speed_of(layout.book_of(signal), Pass::At(class)) else { return };
                then
            }
            _ => Speed::ZERO,
        };
        let detector = path.first().and_then(|passage| layout.sections[passage.section].detector);
        let approach = Approach {
            caution,
            target,
            class,
            then,
            distance: length_of(layout, path),
            permitted: lower(permitted[0], permitted[1]),
            fall: path.iter().map(|it| layout.gradient_from(it.way, it.enter)).fold(Gradient::LEVEL, Gradient::min),
            late: detector.map_or(Duration::ZERO, |detector| layout.detectors[detector].on_delay),
            before,
        };
        let key = (caution, target, class, path.iter().map(|passage| passage.way).collect());
        let known = self.found.entry(key).or_insert_with(|| approach.clone());
        known.permitted = known.permitted.zip(approach.permitted).map(|(one, other)| one.max(other));
        known.before = [known.before, approach.before].into_iter().flatten().max_by_key(|(_, length)| *length);
    }
}

/// What is foretold: a class of speed, or nothing for a stop at the next signal. The outer nothing: no less than normal speed.
fn foretold(expect: Expect) -> Option<Option<SpeedClass>> {
    match expect {
        Expect::Stop => Some(None),
        Expect::At(class) if class < SpeedClass::Normal => Some(Some(class)),
        Expect::StopAtSecond | Expect::At(_) => None,
    }
}

/// The class of speed of a signal that lets trains pass at less than normal speed.
fn slow_class(pass: Pass) -> Option<SpeedClass> {
    match pass {
        Pass::At(class) if class < SpeedClass::Normal => Some(class),
        _ => None,
    }
}

fn lower(one: Option<Speed>, other: Option<Speed>) -> Option<Speed> {
    [one, other].into_iter().flatten().min()
}

fn length_of(layout: &Layout, path: &[Traverse]) -> Option<Length> {
    path.iter().map(|passage| layout.ways[passage.way].length).sum()
}
