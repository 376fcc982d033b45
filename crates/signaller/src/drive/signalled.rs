//! The speeds that signals set: a train keeps to what the last one it passed allowed, up to the next one.
//!
//! Behind a train a signal goes to danger at once, so what it showed is remembered for as long as the train stands on track
//! that it spoke of. A signal at danger sets no speed: a train goes past one only on track that it was granted all the same.
//!
//! Limits: a restart forgets what a signal said that a train had passed by then, and so does a train that turns back: up to the
//! next signal only the limits of ways hold for it.

use smallvec::SmallVec;
use track::{EndId, Layout, Speed};

use crate::aspect::Signals;
use crate::interlock::Authority;

/// What one train was told of the track that it was granted.
#[derive(Clone, Debug, Default, serde::Serialize, serde::Deserialize)]
pub(super) struct Signalled {
    /// Passages, by the ends they are entered by, each with the speed set there; those without one are left out.
    limits: SmallVec<[(EndId, Speed); 4]>,
}

impl Signalled {
    /// The speed set for the passage that begins at an end.
    pub(super) fn limit(&self, enter: EndId) -> Option<Speed> {
        self.limits.iter().find(|(known, _)| *known == enter).map(|(_, speed)| *speed)
    }

    /// Looks at the signals that the nose has not passed yet; of the others what was seen before still holds.
    pub(super) fn look(&mut self, layout: &Layout, authority: &Authority<'_>, signals: &Signals) {
        let mut seen: SmallVec<[(EndId, Speed); 4]> = SmallVec::new();
        let mut set = None;
        let mut from = None;
        for (place, passage) in authority.granted.iter().enumerate() {
            let signal = from.and_then(|leave| layout.main_signal(leave));
            if place <= authority.nose {
                set = self.limit(passage.enter);
            } else if let Some(signal) = signal {
                let book = signals.book_of(signal);
                set = layout.speed_of(book, book.pass(signals.shows(signal)));
            }
            seen.extend(set.map(|speed| (passage.enter, speed)));
            from = Some(passage.leave);
        }
        self.limits = seen;
    }
}

#[cfg(test)]
mod tests {
    use track::{Aspect, AspectBook, AspectRow, Beyond, BookParts, ClassSpeeds, Expect, Pass, Rule, Speed, SpeedClass};

    use crate::model::{World, builder, end, railcar, row};

    /// Signals that show nothing better than slow.
    fn slow_book() -> AspectBook {
        let plain = AspectBook::three_aspect().parts().clone();
        let slow = AspectRow::new("slow", Pass::At(SpeedClass::Slow), Some(Expect::Stop));
        let (aspects, rules) = (vec![plain.aspects[0].clone(), slow], vec![Rule::always(Aspect(1))]);
        AspectBook::new(BookParts { title: "slow".into(), aspects, rules, ..plain }).unwrap()
    }

    #[test]
    fn a_train_keeps_to_the_speed_of_a_signal_until_it_has_passed_the_next() {
        let mut builder = builder();
        let line = row(&mut builder, &["a", "b", "c", "d", "e"], 1500);
        let book = builder.book(slow_book());
        for (name, section) in [("S1", line[1]), ("S3", line[3])] {
            let at = end(&builder, section, "b");
            let signal = builder.signal(name, at);
            if name == "S1" {
                builder.signal_mut(signal).book = book;
            }
        }
        let far = end(&builder, line[4], "b");
        builder.close(far, Beyond::BufferStop);
        builder.speeds(ClassSpeeds { slow: Some(Speed::from_mm(60)), ..ClassSpeeds::default() });
        builder.train(railcar("Heron"));
        let mut world = World::new(builder.build());
        world.put("Heron", "a", "a.b");
        world.go_to_section("Heron", "e");
        let mut fastest = [("b", 0.0_f64), ("c", 0.0), ("d", 0.0), ("e", 0.0)];
        while !world.has_arrived("Heron") {
            assert!(world.now < crate::Time::from_secs_f64(300.0), "{fastest:?}");
            let section = world.nose("Heron").0.to_owned();
            if let Some((_, most)) = fastest.iter_mut().find(|(name, _)| *name == section) {
                *most = most.max(world.speed("Heron"));
            }
            world.run(0.1, |_| false);
        }
        let [before, behind, still, after] = fastest.map(|(_, most)| most);
        assert!(before > 100.0, "it runs fast up to the signal: {fastest:?}");
        assert!(behind <= 60.0 && still <= 60.0 && still > 40.0, "it keeps to what the signal said: {fastest:?}");
        assert!(after > 80.0, "the next signal says nothing of speed: {fastest:?}");
    }
}
