//! How far a train's nose may still go, and how fast for that: arithmetic only.

use std::time::Duration;

use track::braking::{Braking, Gradient};
use track::{Layout, Length, Speed, Traverse};

use super::estimate::Likely;
use super::motion::REACTION;
use super::profile::Profile;
use super::signalled::Signalled;
use crate::identity::{NEXT_AXLE, NoseInterval, Whereabouts};
use crate::interlock::{Authority, Call};

/// A nose stops at least so far short of the end of what it was granted, beside [`NEXT_AXLE`]. Common practice, no source.
pub(super) const SHORT_OF_END: Length = Length::from_mm(20);
/// How fast a train creeps up to where it stops.
pub(super) const CREEP: Speed = Speed::from_mm(25);
/// How fast a train runs towards the section it has to stop in, where lengths are not known.
pub(super) const SECTION_APPROACH: Speed = Speed::from_mm(60);
/// A nose is no more deviations farther than where it most likely is.
const LIKELY_DEVIATIONS: f64 = 5.0;
/// How often a moving train is looked at.
pub(super) const LOOK: Duration = Duration::from_millis(100);

/// What lies before a train.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reach {
    /// Its nose may go so far, reckoned from the farthest place where it can be.
    Measured(Length),
    /// Lengths are not known: the nose is so many sections short of the last it may enter in which it would be seen.
    Sections(usize),
}

/// How far the train may go.
pub(super) fn reach(layout: &Layout, authority: &Authority<'_>, stand: &Whereabouts, profile: &Profile) -> Reach {
    let seen = (authority.nose..authority.end).rev().find(|&place| !layout.is_dark(authority.granted[place].section));
    let sections = Reach::Sections(seen.map_or(0, |seen| seen - authority.nose));
    let length_of = |passage: &Traverse| layout.ways[passage.way].length;
    let Some(far) = nose_at_most(layout, authority, stand, profile) else { return sections };
    let mut ahead = Length::ZERO;
    for passage in authority.granted.iter().take(authority.end).skip(authority.nose) {
        let Some(length) = length_of(passage) else { return sections };
        ahead += length;
    }
    let least_short = SHORT_OF_END + NEXT_AXLE;
    let Some((_, short)) = authority.stop else { return Reach::Measured(ahead - far - least_short) };
    Reach::Measured(ahead - far - short.max(least_short))
}

/// How far the train may go before its authority ends, where it comes up to a stopping point before that and its nose is most
/// likely there.
///
/// There it must stand close, or its tail is in the way of others: reports are taken to be in time unless the last one does not fit
/// how the train ran, and its nose to be where it is most likely, or near that. Not so once it has turned, until it is heard of: where
/// it stalled unnoticed before that, its tail never came as far.
pub(super) fn to_end(
    layout: &Layout,
    authority: &Authority<'_>,
    stand: &Whereabouts,
    likely: &Likely,
    profile: &Profile,
) -> Reach {
    let end = Authority { stop: None, ..*authority };
    let near = Length::from_mm_f64(likely.place + LIKELY_DEVIATIONS * likely.deviation);
    let near = if likely.has_turned { Length::MAX } else { near };
    let told = |nose: NoseInterval| if likely.is_contradicted { nose.far } else { nose.most };
    let nose = stand.nose.map(|nose| NoseInterval { far: told(nose).min(near), ..nose });
    reach(layout, &end, &Whereabouts { nose, ..stand.clone() }, profile)
}

/// How far it is from the entry of the nose's section to the train's stopping point; nothing where it has none or lengths are not
/// known.
pub(super) fn to_stopping_point(layout: &Layout, authority: &Authority<'_>) -> Option<Length> {
    let (_, short) = authority.stop?;
    let mut ahead = Length::ZERO;
    for passage in authority.granted.iter().take(authority.end).skip(authority.nose) {
        ahead += layout.ways[passage.way].length?;
    }
    Some(ahead - short)
}

/// How far beyond the entry of its section the nose can be; nothing where lengths are not known.
fn nose_at_most(layout: &Layout, authority: &Authority<'_>, stand: &Whereabouts, profile: &Profile) -> Option<Length> {
    if let Some(nose) = stand.nose {
        // One that did not answer may have gone on unheard.
        return Some(if authority.call == Call::Creep { nose.unheard } else { nose.far });
    }
    let passage = authority.granted.get(authority.nose)?;
    layout.ways[passage.way].length.map(|length| length + profile.blind)
}

/// How a train brakes if it answers as late as it may, is looked at as seldom, and somebody takes so long besides.
fn braking(profile: &Profile, late: Duration) -> Braking {
    Braking { rate: profile.braking, delay: REACTION + LOOK + late }
}

/// The highest speed from which the train comes down to `then` within `distance`.
#[cfg(test)]
fn speed_before(distance: Length, then: Speed, profile: &Profile) -> Speed {
    speed_before_late(distance, then, profile, Duration::ZERO)
}

/// The highest speed from which the train comes down to `then` within `distance` if it is told so much later than it is looked at.
pub(super) fn speed_before_late(distance: Length, then: Speed, profile: &Profile, late: Duration) -> Speed {
    braking(profile, late).speed_before(distance, then)
}

/// How much room a train needs to stop from a speed.
pub(super) fn room_to_stop(speed: Speed, profile: &Profile) -> Length {
    braking(profile, Duration::ZERO).distance_to_stop(speed)
}

/// The steepest fall of the track that a train stands on and was granted; level track where none of it falls.
pub(super) fn steepest_fall(layout: &Layout, authority: &Authority<'_>) -> Gradient {
    let rises = authority.granted.iter().map(|passage| layout.gradient_from(passage.way, passage.enter));
    rises.min().unwrap_or(Gradient::LEVEL).min(Gradient::LEVEL)
}

/// The highest speed that the limits allow on the ways it is on, and on those ahead in time to slow down for them, where it is
/// told so late.
pub(super) fn limit(
    layout: &Layout,
    authority: &Authority<'_>,
    stand: &Whereabouts,
    profile: &Profile,
    (signalled, late): (&Signalled, Duration),
) -> Speed {
    let mut limit = Speed::MAX;
    let mut ahead = nose_at_most(layout, authority, stand, profile).map(|most| -most);
    for (place, passage) in authority.granted.iter().enumerate().take(authority.end) {
        let way = &layout.ways[passage.way];
        let way_limit = [way.limit, signalled.limit(passage.enter)].into_iter().flatten().min();
        if place <= authority.nose {
            limit = limit.min(way_limit.unwrap_or(Speed::MAX));
        } else if let Some(way_limit) = way_limit {
            limit = limit.min(ahead.map_or(way_limit, |ahead| speed_before_late(ahead, way_limit, profile, late)));
        }
        if place >= authority.nose {
            ahead = ahead.and_then(|ahead| Some(ahead + way.length?));
        }
    }
    limit
}

#[cfg(test)]
mod tests {
    use track::Beyond;

    use super::*;
    use crate::model::{World, builder, end, railcar, row};

    #[test]
    fn a_train_that_answers_late_still_stops_within_its_distance() {
        let profile = Profile::new(None);
        for mm in [0, 5, 50, 400, 3000] {
            let distance = Length::from_mm(mm);
            let speed = speed_before(distance, Speed::ZERO, &profile);
            assert!(room_to_stop(speed, &profile) <= distance + Length::from_um(10), "{mm}: {speed:?}");
        }
    }

    #[test]
    fn a_train_slows_to_a_limit_and_not_below_it() {
        let profile = Profile::new(None);
        let limit = Speed::from_mm(80);
        let at_the_sign = speed_before(Length::ZERO, limit, &profile);
        assert!(at_the_sign <= limit && at_the_sign > Speed::from_mm(50), "{at_the_sign:?}");
        assert!(speed_before(Length::from_mm(500), limit, &profile) > limit);
    }

    /// How a railcar stops before the end of the section it was sent to, on track that rises so: how fast it was at most 500 mm
    /// before the end, and how many millimetres short of it it stands.
    fn stops_on(permille: f64) -> (f64, f64) {
        let mut builder = builder();
        let line = row(&mut builder, &["a", "b", "c"], 1500);
        for section in &line {
            let way = builder.layout().sections[*section].ways[0];
            builder.rise(way, Gradient::from_permille_f64(permille));
        }
        let far = end(&builder, line[2], "b");
        builder.close(far, Beyond::BufferStop);
        builder.train(railcar("Heron"));
        let mut world = World::new(builder.build());
        world.put("Heron", "a", "a.b");
        world.go_to_section("Heron", "c");
        assert!(world.run(120.0, |world| world.nose("Heron").0 == "c" && world.nose("Heron").1 < 500.0));
        let speed = world.speed("Heron");
        assert!(world.run(120.0, |world| world.has_arrived("Heron")));
        world.run(3.0, |_| false);
        assert_eq!((world.nose("Heron").0, world.speed("Heron")), ("c", 0.0));
        (speed, world.nose("Heron").1)
    }

    #[test]
    fn a_train_that_runs_downhill_brakes_earlier_and_stops_short_all_the_same() {
        let (level, downhill, uphill) = (stops_on(0.0), stops_on(-90.0), stops_on(90.0));
        assert!(downhill.0 < level.0 - 10.0, "{downhill:?} mm/s, mm; on the level {level:?}");
        assert!(downhill.1 > 0.0 && downhill.1 < level.1 + 60.0, "{downhill:?} mm/s, mm; on the level {level:?}");
        assert_eq!(uphill.0, level.0, "a rise is not counted on");
    }
}
