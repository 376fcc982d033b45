//! What can only be seen once everything is joined up: ends that lead nowhere, ways that cannot be told apart, joints that no
//! train can pass, parts that nothing connects, turnouts that nothing needs.

use std::collections::{BTreeMap, BTreeSet};

use track::{Id as _, Lie, SectionId, TurnoutId, Way, WayId};

use crate::diagnostic::Findings;
use crate::keys::list_of;
use crate::resolved::Resolved;

/// Checks a layout whose names have been looked up.
pub(crate) fn check(resolved: &Resolved<'_>, out: &mut Findings) {
    check_ends(resolved, out);
    check_ways(resolved, out);
    check_joints(resolved, out);
    check_turnouts(resolved, out);
    check_districts(resolved, out);
    check_parts(resolved, out);
}

/// Every end meets another, has a buffer stop, or leads off the layout.
fn check_ends(resolved: &Resolved<'_>, out: &mut Findings) {
    let Resolved { layout, places, excused, .. } = resolved;
    for (id, end) in layout.ends.iter() {
        let said = places.joined.contains_key(&id) || places.closed.contains_key(&id) || excused.ends.contains(&id);
        if said {
            continue;
        }
        let name = layout.end_name(id);
        out.mistake(
            places.ends[id.index()],
            format!("end `{}` of `{}` leads nowhere", end.name, layout.sections[end.section].name),
        )
        .hint(format!("join it, or say what is there: `[[buffer-stop]]` or `[[off-layout]]` with `at = \"{name}\"`"));
    }
}

/// Ways that share an end must need different positions of a turnout, or nobody knows which one a train takes. Where no way
/// needs anything the turnout is simply not reported, which is allowed.
fn check_ways(resolved: &Resolved<'_>, out: &mut Findings) {
    let Resolved { layout, places, excused, .. } = resolved;
    let mut reported: BTreeSet<(WayId, WayId)> = BTreeSet::new();
    for (id, end) in layout.ends.iter() {
        for (index, &one) in end.ways.iter().enumerate() {
            for &other in &end.ways[index + 1..] {
                let (first, second) = (&layout.ways[one], &layout.ways[other]);
                let same_ends = layout.far_end(one, id) == layout.far_end(other, id);
                let is_excused = excused.ways.contains(&one) || excused.ways.contains(&other);
                let unreported = first.needs.is_empty() && second.needs.is_empty() && !same_ends;
                if contradict(first, second).is_some() || unreported || is_excused || !reported.insert((one, other)) {
                    continue;
                }
                let joins = if same_ends { "join the same ends" } else { "begin at the same end" };
                out.mistake(
                    places.ways[other.index()],
                    format!(
                        "two ways through `{}` {joins}, and no turnout tells them apart",
                        layout.sections[end.section].name
                    ),
                )
                .see(places.ways[one.index()], "the other way")
                .hint("let one of them need a turnout `straight` and the other need it `diverging`");
            }
        }
    }
}

/// The turnout that two ways need to lie differently.
fn contradict(one: &Way, other: &Way) -> Option<TurnoutId> {
    one.needs.iter().find_map(|need| {
        other
            .needs
            .iter()
            .find(|theirs| theirs.turnout == need.turnout && theirs.lie != need.lie)
            .map(|theirs| theirs.turnout)
    })
}

/// A joint that every pair of ways needs a turnout both ways for is a joint that no train can pass.
fn check_joints(resolved: &Resolved<'_>, out: &mut Findings) {
    let Resolved { layout, places, .. } = resolved;
    for (&(a, b), &span) in &places.joints {
        let (from, to) = (&layout.ends[a].ways, &layout.ends[b].ways);
        let mut obstacle = None;
        let passable = from.is_empty()
            || to.is_empty()
            || from.iter().any(|&one| {
                to.iter().any(|&other| {
                    let found = contradict(&layout.ways[one], &layout.ways[other]);
                    obstacle = obstacle.or(found.map(|turnout| (turnout, one, other)));
                    found.is_none()
                })
            });
        if let (false, Some((turnout, one, other))) = (passable, obstacle) {
            out.mistake(
                span,
                format!(
                    "no train can pass from `{}` to `{}`: the ways there need `{}` both straight and diverging",
                    layout.end_name(a),
                    layout.end_name(b),
                    layout.turnouts[turnout].name
                ),
            )
            .see(places.ways[one.index()], "one way")
            .see(places.ways[other.index()], "the other way")
            .hint("a turnout lies one way at a time: correct `needs`, or the joint");
        }
    }
}

fn check_turnouts(resolved: &Resolved<'_>, out: &mut Findings) {
    let Resolved { layout, places, excused, .. } = resolved;
    let mut lies: BTreeMap<TurnoutId, BTreeSet<Lie>> = BTreeMap::new();
    for need in layout.ways.values().flat_map(|way| &way.needs) {
        lies.entry(need.turnout).or_default().insert(need.lie);
    }
    for (id, turnout) in layout.turnouts.iter().filter(|(id, _)| !excused.turnouts.contains(id)) {
        let span = places.turnouts[id.index()];
        match lies.get(&id).map(|lies| (lies.contains(&Lie::Straight), lies.contains(&Lie::Diverging))) {
            Some((true, true)) => {}
            Some((straight, _)) => {
                let word = if straight { "diverging" } else { "straight" };
                out.warning(span, format!("no way needs `{}` {word}", turnout.name))
                    .hint("a track that leads nowhere yet can be a way to an end with a `[[buffer-stop]]`");
            }
            None => {
                out.warning(span, format!("no way needs turnout `{}`", turnout.name))
                    .hint(format!("say so where it lies: `needs = {{ {} = \"straight\" }}`", turnout.name));
            }
        }
    }
}

fn check_districts(resolved: &Resolved<'_>, out: &mut Findings) {
    let Resolved { layout, places, excused, .. } = resolved;
    let mut fed = excused.districts.clone();
    fed.extend(layout.sections.values().filter_map(|section| section.district));
    for (id, district) in layout.districts.iter() {
        if !fed.contains(&id) {
            out.warning(
                places.districts[id.index()],
                format!("no section belongs to power district `{}`", district.name),
            )
            .hint(format!("add `district = \"{}\"` to its sections", district.name));
        }
    }
}

/// A layout hangs together, or says of how many parts it is made.
fn check_parts(resolved: &Resolved<'_>, out: &mut Findings) {
    let Resolved { layout, places, excused, parts, .. } = resolved;
    let mut groups = Groups::new(layout.sections.len());
    let joined =
        layout.ends.values().flat_map(|end| end.meets.iter().map(|&met| (end.section, layout.ends[met].section)));
    let crossing =
        layout.sections.iter().flat_map(|(one, section)| section.crosses.iter().map(move |&other| (one, other)));
    for (one, other) in joined.chain(crossing).chain(excused.touching.iter().copied()) {
        groups.join(one.index(), other.index());
    }
    let mut members: BTreeMap<usize, Vec<SectionId>> = BTreeMap::new();
    for section in layout.sections.ids() {
        members.entry(groups.root(section.index())).or_default().push(section);
    }
    let mut found: Vec<Vec<SectionId>> = members.into_values().collect();
    found.sort_by(|one, other| other.len().cmp(&one.len()).then(one.cmp(other)));
    let declared = parts.map_or(1, |parts| parts.value);
    if let Some(parts) = parts.filter(|parts| parts.value > found.len()) {
        out.mistake(parts.span, format!("the layout is in {}, not in {}", in_parts(found.len()), parts.value))
            .hint(format!("write `parts = {}`, or take a joint away", found.len()));
        return;
    }
    // A joint that was mistyped may be what holds a part to the rest: that has been reported already.
    for apart in found.iter().skip(declared) {
        let Some(&first) = apart.first() else { continue };
        if apart.iter().any(|&section| layout.sections[section].ends.iter().any(|end| excused.ends.contains(end))) {
            continue;
        }
        let names: Vec<&str> = apart.iter().map(|&section| layout.sections[section].name.as_str()).collect();
        out.mistake(
            places.sections[first.index()],
            format!("no track leads from the rest of the layout to {}", list_of(&names)),
        )
        .hint(format!(
            "add the missing `[[joint]]`; if the layout is in {}, say `parts = {}` under `[layout]`",
            in_parts(found.len()),
            found.len()
        ));
    }
}

fn in_parts(count: usize) -> String {
    if count == 1 { "one part".to_owned() } else { format!("{count} parts that do not touch") }
}

/// Sets of things that hang together.
struct Groups(Vec<usize>);

impl Groups {
    fn new(count: usize) -> Self {
        Self((0..count).collect())
    }

    fn root(&mut self, mut thing: usize) -> usize {
        while self.0[thing] != thing {
            self.0[thing] = self.0[self.0[thing]];
            thing = self.0[thing];
        }
        thing
    }

    fn join(&mut self, one: usize, other: usize) {
        let (one, other) = (self.root(one), self.root(other));
        self.0[one.max(other)] = one.min(other);
    }
}
