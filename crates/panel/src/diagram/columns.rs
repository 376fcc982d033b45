//! Where along the drawing each end lies: as far left as the track before it lets it, tracks side by side equally long.
//!
//! Ends that meet share one place, a [`Knot`]; ways lead from a knot to one further right. Where ways lead round in a ring, one
//! plain stretch of it is drawn backwards, in a row of its own, and bent back at both of its ends: a [`Return`].

use std::collections::{BTreeMap, BTreeSet};

use track::{EndId, Id, Layout, WayId};

use super::sides::Side;

/// A column, in the units in which places are reckoned.
pub(super) const COLUMN: i64 = 20;
/// Ways that begin together run along together no further than this.
pub(super) const TOGETHER: i64 = 2 * COLUMN;
/// Ends that meet several are drawn so far from those.
const FAN: i64 = 12;

/// Ends that are drawn at one place along the drawing.
type Knot = usize;

/// Track that is drawn in a row of its own, bent back at both of its ends: from right to left, or, where it turns trains round,
/// from one side to the same.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Return {
    /// The end that it sets out from.
    pub(super) from: EndId,
    /// The end that it leads to.
    pub(super) to: EndId,
    /// Its ways, in this order, each with the end by which it is entered and the one by which it is left.
    pub(super) ways: Vec<(WayId, EndId, EndId)>,
}

/// Where ends lie along the drawing.
#[derive(Clone, Debug)]
pub(super) struct Columns {
    /// By end.
    pub(super) at: Vec<i64>,
    /// Track that is drawn backwards.
    pub(super) returns: Vec<Return>,
    /// How wide it all is.
    pub(super) width: i64,
}

#[derive(Clone, Copy, Debug)]
struct Step {
    to: Knot,
    /// No shorter than this.
    least: i64,
    /// How much it wants to be short.
    pull: i64,
    /// The way that it stands for, with its left and its right end.
    way: Option<(WayId, EndId, EndId)>,
}

struct Knots {
    of: Vec<Knot>,
    steps: Vec<Vec<Step>>,
}

/// Whether a section has a single way, between its two ends.
pub(super) fn is_plain(layout: &Layout, end: EndId) -> bool {
    let section = &layout.sections[layout.ends[end].section];
    section.ways.len() == 1 && section.ends.len() == 2
}

/// How long a way is drawn at least: plain track has room for a name, a throat for the tracks that it leads to.
fn least(layout: &Layout, end: EndId) -> i64 {
    if is_plain(layout, end) {
        return COLUMN;
    }
    let ends = layout.sections[layout.ends[end].section].ends.len() as i64;
    (COLUMN / 2 + 8 * (ends - 2).max(1)).min(3 * COLUMN)
}

/// Finds where every end lies. Rings are opened at the wanted ways, where that can be.
pub(super) fn columns(layout: &Layout, sides: &[Side], wanted: &[WayId]) -> Columns {
    let mut knots = knots(layout, sides);
    let returns = open_rings(layout, sides, &mut knots, wanted);
    let order = order(&knots.steps);
    let mut at = vec![0; knots.steps.len()];
    for &knot in &order {
        for step in &knots.steps[knot] {
            at[step.to] = at[step.to].max(at[knot] + step.least);
        }
    }
    tighten(&knots, &order, &mut at);
    spread_plain(layout, &knots, &mut at);
    let mut columns = Columns { at: knots.of.iter().map(|&knot| at[knot]).collect(), returns, width: 0 };
    place_returns(&mut columns);
    columns.returns.extend(wide_bows(layout, sides, &columns.at));
    columns.width = columns.at.iter().copied().max().unwrap_or(0);
    columns
}

/// Ends that meet, gathered; of those that meet several, the left and the right ones apart.
fn knots(layout: &Layout, sides: &[Side]) -> Knots {
    let mut of = vec![usize::MAX; layout.ends.len()];
    let mut count = 0;
    let mut fans = Vec::new();
    for end in layout.ends.ids() {
        if of[end.index()] != usize::MAX {
            continue;
        }
        let (here, beyond) = (count, count + 1);
        let mut found = BTreeSet::from([end]);
        let mut next = vec![end];
        while let Some(one) = next.pop() {
            for &other in &layout.ends[one].meets {
                if sides[other.index()] != sides[one.index()] && found.insert(other) {
                    next.push(other);
                }
            }
        }
        let is_fan = found.len() > 2;
        for one in found {
            let right_of_it = is_fan && sides[one.index()] == Side::Left;
            of[one.index()] = if right_of_it { beyond } else { here };
        }
        count += if is_fan { 2 } else { 1 };
        if is_fan {
            fans.push((here, beyond));
        }
    }
    let mut steps = vec![Vec::new(); count];
    for (left, right) in fans {
        steps[left].push(Step { to: right, least: FAN, pull: 20, way: None });
    }
    for (way, row) in layout.ways.iter() {
        let [one, other] = row.ends;
        let (left, right) = if sides[one.index()] == Side::Left { (one, other) } else { (other, one) };
        // A way between two ends on the same side is a bow, and asks for no room.
        if sides[right.index()] == Side::Right
            && sides[left.index()] == Side::Left
            && of[left.index()] != of[right.index()]
        {
            let pull = if is_plain(layout, left) { 1 } else { 6 };
            let step = Step { to: of[right.index()], least: least(layout, left), pull, way: Some((way, left, right)) };
            steps[of[left.index()]].push(step);
        }
    }
    Knots { of, steps }
}

/// Takes one stretch out of every ring, until there is none: first those that are wanted.
fn open_rings(layout: &Layout, sides: &[Side], knots: &mut Knots, wanted: &[WayId]) -> Vec<Return> {
    let mut opened = Opened::default();
    for &way in wanted {
        let step = knots.steps.iter().flatten().find(|step| step.way.is_some_and(|(other, ..)| other == way)).copied();
        let found = step.and_then(|step| step.way).filter(|&(_, left, right)| {
            // Only what leads round can be drawn so.
            leads_to(&knots.steps, knots.of[right.index()], knots.of[left.index()])
        });
        let found = found.and_then(|way| stretch(layout, sides, way));
        if let Some(found) = found.filter(|found| is_alone(found, knots)) {
            opened.take_out(found, knots);
        }
    }
    for (from, step) in closing_steps(&knots.steps) {
        match step.way.and_then(|way| stretch(layout, sides, way)) {
            Some(found) => opened.take_out(found, knots),
            None => knots.steps[from].retain(|other| other.to != step.to),
        }
    }
    let returns = opened.returns;
    // Whatever still leads round is drawn as it comes.
    for (from, step) in closing_steps(&knots.steps) {
        knots.steps[from].retain(|other| other.to != step.to);
    }
    for found in &returns {
        let (left, right) = (knots.of[found.to.index()], knots.of[found.from.index()]);
        if !leads_to(&knots.steps, right, left) {
            let least = COLUMN * found.ways.len().max(1) as i64;
            knots.steps[left].push(Step { to: right, least, pull: 0, way: None });
        }
    }
    returns
}

/// Whether no other track leads from before a stretch to behind it: only then a ring is open without it.
fn is_alone(found: &Return, knots: &Knots) -> bool {
    let is_of_it = |step: &Step| step.way.is_some_and(|(way, ..)| found.ways.iter().any(|&(other, ..)| other == way));
    let rest: Vec<Vec<Step>> =
        knots.steps.iter().map(|steps| steps.iter().filter(|step| !is_of_it(step)).copied().collect()).collect();
    let (first, last) = (knots.of[found.from.index()], knots.of[found.to.index()]);
    let before = (0..rest.len()).filter(|&knot| rest[knot].iter().any(|step| step.to == first));
    let behind: Vec<Knot> = rest[last].iter().map(|step| step.to).collect();
    before.into_iter().all(|before| behind.iter().all(|&behind| !leads_to(&rest, before, behind)))
        && !leads_to(&rest, first, last)
}

/// Stretches that were taken out of rings.
#[derive(Default)]
struct Opened {
    returns: Vec<Return>,
    ways: BTreeSet<WayId>,
}

impl Opened {
    /// Takes a stretch out, unless some of it was taken before.
    fn take_out(&mut self, found: Return, knots: &mut Knots) {
        if found.ways.iter().any(|(way, ..)| self.ways.contains(way)) {
            return;
        }
        self.ways.extend(found.ways.iter().map(|&(way, ..)| way));
        for steps in &mut knots.steps {
            steps.retain(|step| step.way.is_none_or(|(way, ..)| !self.ways.contains(&way)));
        }
        if found.ways.is_empty() {
            // The joint itself is drawn as track that leads back: what is left of it becomes a place of its own.
            let (here, apart) = (knots.of[found.to.index()], knots.steps.len());
            let onward = std::mem::take(&mut knots.steps[here]);
            knots.steps.push(onward);
            knots.of[found.to.index()] = apart;
        }
        self.returns.push(found);
    }
}

fn leads_to(steps: &[Vec<Step>], from: Knot, to: Knot) -> bool {
    let mut seen = BTreeSet::from([from]);
    let mut next = vec![from];
    while let Some(knot) = next.pop() {
        if knot == to {
            return true;
        }
        next.extend(steps[knot].iter().map(|step| step.to).filter(|&to| seen.insert(to)));
    }
    false
}

/// Steps that lead back to where a walk from the left came from.
fn closing_steps(steps: &[Vec<Step>]) -> Vec<(Knot, Step)> {
    #[derive(Clone, Copy, PartialEq)]
    enum Seen {
        No,
        Open,
        Done,
    }
    let mut entered = vec![0; steps.len()];
    steps.iter().flatten().for_each(|step| entered[step.to] += 1);
    let sources = (0..steps.len()).filter(|&knot| entered[knot] == 0);
    let mut seen = vec![Seen::No; steps.len()];
    let mut closing = Vec::new();
    for start in sources.chain(0..steps.len()) {
        if seen[start] != Seen::No {
            continue;
        }
        seen[start] = Seen::Open;
        let mut walk = vec![(start, 0)];
        while let Some((knot, next)) = walk.last_mut() {
            let Some(&step) = steps[*knot].get(*next) else {
                seen[*knot] = Seen::Done;
                walk.pop();
                continue;
            };
            *next += 1;
            match seen[step.to] {
                Seen::Open => closing.push((*knot, step)),
                Seen::Done => {}
                Seen::No => {
                    seen[step.to] = Seen::Open;
                    walk.push((step.to, 0));
                }
            }
        }
    }
    closing
}

/// The plain track on both sides of a way that closes a ring, without the throats at its ends. Half of the ring at most.
fn stretch(layout: &Layout, sides: &[Side], (way, left, right): (WayId, EndId, EndId)) -> Option<Return> {
    let onward = |end: EndId| match layout.ends[end].meets[..] {
        [other] if sides[other.index()] != sides[end.index()] => Some(other),
        _ => None,
    };
    let plain = |end: EndId| is_plain(layout, end).then(|| layout.ways_from(end).next()).flatten();
    let mut ways = std::collections::VecDeque::new();
    if is_plain(layout, left) {
        ways.push_back((way, left, right));
    }
    let mut first = left;
    let mut is_round = false;
    while let Some(before) = onward(first) {
        let Some((way, far)) = plain(before) else { break };
        if ways.iter().any(|&(other, ..)| other == way) {
            is_round = true;
            break;
        }
        ways.push_front((way, far, before));
        first = far;
    }
    // Where nothing plain leads to it, what is plain behind it is as good.
    let is_behind = ways.is_empty();
    let mut last = if is_behind { right } else { ways.back().map_or(left, |&(.., last)| last) };
    while let Some(after) = onward(last).filter(|_| !is_round) {
        let Some((way, far)) = plain(after) else { break };
        ways.push_back((way, after, far));
        last = far;
    }
    if is_round {
        let half = ways.len() / 2;
        ways.drain(..half);
        first = ways.front().map_or(first, |&(_, first, _)| first);
    }
    let (from, to) = match (ways.is_empty(), is_behind) {
        (true, _) => (onward(left)?, left),
        (false, true) => (right, onward(last)?),
        (false, false) => (onward(first)?, onward(last)?),
    };
    Some(Return { from, to, ways: ways.into() })
}

/// The knots, each behind those that lead to it.
fn order(steps: &[Vec<Step>]) -> Vec<Knot> {
    let mut entered = vec![0; steps.len()];
    steps.iter().flatten().for_each(|step| entered[step.to] += 1);
    let mut next: BTreeSet<Knot> = (0..steps.len()).filter(|&knot| entered[knot] == 0).collect();
    let mut order = Vec::with_capacity(steps.len());
    while let Some(knot) = next.pop_first() {
        order.push(knot);
        for step in &steps[knot] {
            entered[step.to] -= 1;
            if entered[step.to] == 0 {
                next.insert(step.to);
            }
        }
    }
    order
}

/// Moves knots to the right where that shortens what wants to be short.
fn tighten(knots: &Knots, order: &[Knot], at: &mut [i64]) {
    let mut pulled_left = vec![0; at.len()];
    knots.steps.iter().flatten().for_each(|step| pulled_left[step.to] = step.pull.max(pulled_left[step.to]));
    for &knot in order.iter().rev() {
        let steps = &knots.steps[knot];
        let pulled_right = steps.iter().map(|step| step.pull).max().unwrap_or(0);
        if pulled_right > pulled_left[knot]
            && let Some(furthest) = steps.iter().map(|step| at[step.to] - step.least).min()
        {
            at[knot] = at[knot].max(furthest);
        }
    }
}

/// Plain sections in a row share the room between the throats at its ends equally.
fn spread_plain(layout: &Layout, knots: &Knots, at: &mut [i64]) {
    let mut entered: BTreeMap<Knot, usize> = BTreeMap::new();
    knots.steps.iter().flatten().for_each(|step| *entered.entry(step.to).or_default() += 1);
    let is_plain_step = |step: &Step| step.way.is_some_and(|(_, left, _)| is_plain(layout, left));
    let only = |knot: Knot| match &knots.steps[knot][..] {
        [step] if is_plain_step(step) => Some(*step),
        _ => None,
    };
    let within: BTreeSet<Knot> = knots
        .steps
        .iter()
        .flatten()
        .filter(|step| is_plain_step(step) && entered[&step.to] == 1 && only(step.to).is_some())
        .map(|step| step.to)
        .collect();
    for from in 0..knots.steps.len() {
        if within.contains(&from) {
            continue;
        }
        for step in knots.steps[from].iter().filter(|step| is_plain_step(step)) {
            let mut row = vec![step.to];
            let mut last = step.to;
            while within.contains(&last) {
                let Some(step) = only(last) else { break };
                last = step.to;
                row.push(last);
            }
            let (begin, room, count) = (at[from], at[last] - at[from], row.len() as i64);
            for (place, &knot) in row.iter().enumerate().take(row.len() - 1) {
                at[knot] = begin + room * (place as i64 + 1) / count;
            }
        }
    }
}

/// Joints of ends on the same side that lie far apart.
fn wide_bows(layout: &Layout, sides: &[Side], at: &[i64]) -> Vec<Return> {
    let mut bows = Vec::new();
    for (from, row) in layout.ends.iter() {
        for &to in row.meets.iter().filter(|&&to| to > from && sides[to.index()] == sides[from.index()]) {
            if (at[from.index()] - at[to.index()]).abs() > COLUMN {
                bows.push(Return { from, to, ways: Vec::new() });
            }
        }
    }
    bows
}

fn place_returns(columns: &mut Columns) {
    for found in &columns.returns {
        let (right, left) = (columns.at[found.from.index()], columns.at[found.to.index()]);
        let count = found.ways.len() as i64;
        for (place, &(_, enter, leave)) in found.ways.iter().enumerate() {
            let place = place as i64;
            columns.at[enter.index()] = right - (right - left) * place / count;
            columns.at[leave.index()] = right - (right - left) * (place + 1) / count;
        }
    }
}
