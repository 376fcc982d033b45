//! How far a train's nose may still go, and how fast for that: arithmetic only.

use std::time::Duration;

use track::{Layout, Length, Speed, Traverse};

use super::motion::REACTION;
use super::profile::Profile;
use crate::identity::{NEXT_AXLE, Whereabouts};
use crate::interlock::{Authority, Call};

/// A nose stops at least so far short of the end of what it was granted, beside [`NEXT_AXLE`]. Common practice, no source.
pub(super) const SHORT_OF_END: Length = Length::from_mm(20);
/// How fast a train creeps up to where it stops.
pub(super) const CREEP: Speed = Speed::from_mm(25);
/// How fast a train runs towards the section it has to stop in, where lengths are not known.
pub(super) const SECTION_APPROACH: Speed = Speed::from_mm(60);
/// How often a moving train is looked at.
pub(super) const LOOK: Duration = Duration::from_millis(100);

/// What lies before a train.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reach {
    /// Its nose may go so far, reckoned from the farthest place where it can be.
    Measured(Length),
    /// Lengths are not known: the nose is so many sections short of the last it may enter.
    Sections(usize),
}

/// How far the train may go.
pub(super) fn reach(layout: &Layout, authority: &Authority<'_>, stand: &Whereabouts, profile: &Profile) -> Reach {
    let sections = Reach::Sections(authority.end - 1 - authority.nose);
    let length_of = |passage: &Traverse| layout.ways[passage.way].length;
    let Some(far) = nose_at_most(layout, authority, stand, profile) else { return sections };
    let mut ahead = Length::ZERO;
    for passage in authority.granted.iter().take(authority.end).skip(authority.nose) {
        let Some(length) = length_of(passage) else { return sections };
        ahead += length;
    }
    let least_short = SHORT_OF_END + NEXT_AXLE;
    let Some(stop) = authority.stop else { return Reach::Measured(ahead - far - least_short) };
    // At a stopping point a train must stand close, or its tail is in the way of others: there reports are taken to be in time.
    let likely = stand.nose.filter(|_| authority.call != Call::Creep).map_or(far, |nose| nose.most);
    Reach::Measured(ahead - likely - layout.stops[stop].short_of_end.max(least_short))
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

/// The highest speed from which the train comes down to `then` within `distance`, if it answers as late as it may and is
/// looked at as seldom: v²/2a + v (reaction + look) = distance + then²/2a, solved for v.
pub(super) fn speed_before(distance: Length, then: Speed, profile: &Profile) -> Speed {
    let late = i128::from((REACTION + LOOK).as_millis() as i64);
    let braking = i128::from(profile.braking.um());
    let lost = braking * late / 1000;
    let then = i128::from(then.um());
    let under_root = lost * lost + 2 * braking * i128::from(distance.um().max(0)) + then * then;
    let speed = (under_root.max(0) as u128).isqrt() as i128 - lost;
    Speed::from_um(speed.clamp(0, i128::from(i64::MAX / 4)) as i64)
}

/// How much room a train needs to stop from a speed.
pub(super) fn room_to_stop(speed: Speed, profile: &Profile) -> Length {
    speed.stopping_distance(profile.braking) + speed.distance_in(REACTION + LOOK)
}

/// The highest speed that the limits allow on the ways it is on, and on those ahead in time to slow down for them.
pub(super) fn limit(layout: &Layout, authority: &Authority<'_>, stand: &Whereabouts, profile: &Profile) -> Speed {
    let mut limit = Speed::MAX;
    let mut ahead = nose_at_most(layout, authority, stand, profile).map(|most| -most);
    for (place, passage) in authority.granted.iter().enumerate().take(authority.end) {
        let way = &layout.ways[passage.way];
        if place <= authority.nose {
            limit = limit.min(way.limit.unwrap_or(Speed::MAX));
        } else if let Some(way_limit) = way.limit {
            limit = limit.min(ahead.map_or(way_limit, |ahead| speed_before(ahead, way_limit, profile)));
        }
        if place >= authority.nose {
            ahead = ahead.and_then(|ahead| Some(ahead + way.length?));
        }
    }
    limit
}

#[cfg(test)]
mod tests {
    use super::*;

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
}
