//! Another layout, and other links, while trains run.
//!
//! A link that is up, and is described as it was, goes on over the connection that it has: its codec is made anew, for things may
//! go by other numbers, and it says so in its place among all that it tells. Whatever it told before is by the old numbers,
//! whatever it tells later by the new ones. Every other link begins anew, once the one that had its name has ended; what is
//! described no more ends.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use track::wiring::{At, Thing, WiredLink};
use track::{Layout, LinkId, Renumbering};

use crate::news::{News, What};
use crate::reading::kind_word;

/// What a link that goes on is told.
#[derive(Debug)]
pub(crate) struct Rewire {
    pub(crate) layout: Arc<Layout>,
    pub(crate) wired: WiredLink,
    /// What it tells of by itself.
    pub(crate) states: BTreeSet<Thing>,
    pub(crate) numbers: Arc<Renumbering>,
}

/// What came of other links.
#[derive(Debug, Default)]
pub struct Rewired {
    /// What links that go on told until they did, by the old numbers.
    pub late: Vec<News>,
    /// Links that begin anew, by their new numbers: nothing is known of what they carry until they are up.
    pub anew: BTreeSet<LinkId>,
}

/// Whether a link is described as it was, whatever numbers its things go by.
pub(crate) fn is_as_it_was(old: &WiredLink, new: &WiredLink) -> bool {
    let WiredLink { link: _, name, by, carries: _, silent_after } = old;
    (name, by, silent_after) == (&new.name, &new.by, &new.silent_after) && places(old) == places(new)
}

/// What a thing is in the other layout; nothing where it is no part of it.
pub(crate) fn renumbered(thing: Thing, numbers: &Renumbering) -> Option<Thing> {
    Some(match thing {
        Thing::Section(id) => Thing::Section(numbers.sections[id]?),
        Thing::Spot(id) => Thing::Spot(numbers.detectors[id]?),
        Thing::Reader(id) => Thing::Reader(numbers.detectors[id]?),
        Thing::Turnout(id) => Thing::Turnout(numbers.turnouts[id]?),
        Thing::Signal(id) => Thing::Signal(numbers.signals[id]?),
        Thing::Train(id) => Thing::Train(numbers.trains.get(id).copied().flatten()?),
        Thing::District(id) => Thing::District(numbers.districts[id]?),
        Thing::Accessory(id) => Thing::Accessory(numbers.accessories[id]?),
        Thing::Input(id) => Thing::Input(numbers.inputs[id]?),
    })
}

/// Everything that a link carries, by name, with where it is.
fn places(wired: &WiredLink) -> BTreeMap<(&'static str, &str), &At> {
    wired.carries.iter().map(|carried| ((kind_word(carried.thing), carried.name.as_str()), &carried.at)).collect()
}

/// What is told while links change: by which of them, and whether they have changed.
#[derive(Debug, Default)]
pub(crate) struct Changing {
    has_changed: BTreeMap<u64, bool>,
    /// What was told by links that have, by the new numbers.
    pub(crate) news: Vec<News>,
    /// What was told by links that have not.
    pub(crate) late: Vec<News>,
}

impl Changing {
    /// A link was told to change.
    pub(crate) fn expect(&mut self, instance: u64) {
        self.has_changed.insert(instance, false);
    }

    /// Whether a link is still to change.
    pub(crate) fn is_waiting(&self) -> bool {
        self.has_changed.values().any(|has| !has)
    }

    /// Whether a link has changed, and goes on.
    pub(crate) fn goes_on(&self, instance: u64) -> bool {
        self.has_changed.get(&instance).copied().unwrap_or_default()
    }

    /// Something was told. One that is lost before it has changed begins anew; of one that begins anew nothing counts.
    pub(crate) fn hear(&mut self, news: News) {
        let Some(has_changed) = self.has_changed.get_mut(&news.instance) else { return };
        match news.what {
            What::Rewired => *has_changed = true,
            _ if *has_changed => self.news.push(news),
            What::Down(_) => drop(self.has_changed.remove(&news.instance)),
            _ => self.late.push(news),
        }
    }
}

#[cfg(test)]
mod tests {
    use track::Id as _;

    use super::*;

    fn news(instance: u64, what: What) -> News {
        News { link: LinkId::from_index(0), what, instance }
    }

    #[test]
    fn what_is_told_before_a_link_changes_is_late_and_one_that_is_lost_meanwhile_begins_anew() {
        let said = |text: &str| What::Said(text.to_owned());
        let mut changing = Changing::default();
        [1, 2].into_iter().for_each(|instance| changing.expect(instance));
        for (instance, what) in [
            (1, said("old")),
            (3, said("nobody's")),
            (1, What::Rewired),
            (2, What::Down("cut".to_owned())),
            (1, said("new")),
            (2, What::Rewired),
        ] {
            changing.hear(news(instance, what));
        }
        assert!(!changing.is_waiting());
        assert_eq!([1, 2, 3].map(|instance| changing.goes_on(instance)), [true, false, false]);
        assert_eq!((changing.late, changing.news), (vec![news(1, said("old"))], vec![news(1, said("new"))]));
    }
}
