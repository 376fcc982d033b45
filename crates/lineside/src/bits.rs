//! Things whose reports and orders are single bits: what a bit that changes means, and which bits an order sets.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::Duration;

use signaller::{Aspect, Output};
use track::wiring::{BitTells, BitsAt, Mark, Thing};
use track::{Layout, Lie, SignalId};

use crate::news::{Meaning, Overheard, Told};
use crate::reading::{input_of, title};

/// A bit to be set, at once or in a while.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Set<B> {
    /// Which.
    pub bit: B,
    /// Whether what it stands for shall be on.
    pub on: bool,
    /// In how long.
    pub after: Duration,
}

/// The bits of one link.
#[derive(Debug)]
pub(crate) struct Bits<B> {
    layout: Arc<Layout>,
    things: BTreeMap<Thing, (String, BitsAt<B>)>,
    owners: BTreeMap<B, BTreeSet<Thing>>,
    values: BTreeMap<B, bool>,
    signals: BTreeMap<SignalId, (Aspect, bool)>,
    listens: bool,
}

impl<B: Copy + Ord> Bits<B> {
    /// Those of these things, each with its name.
    pub fn new(layout: Arc<Layout>, things: impl Iterator<Item = (Thing, String, BitsAt<B>)>) -> Self {
        let things: BTreeMap<Thing, (String, BitsAt<B>)> =
            things.map(|(thing, name, at)| (thing, (name, at))).collect();
        let mut owners: BTreeMap<B, BTreeSet<Thing>> = BTreeMap::new();
        for (thing, (_, at)) in &things {
            for (_, bit) in &at.hears {
                owners.entry(*bit).or_default().insert(*thing);
            }
        }
        Self { layout, things, owners, values: BTreeMap::new(), signals: BTreeMap::new(), listens: false }
    }

    /// The same, for somebody who wants to know of every change.
    #[must_use]
    pub fn listening(mut self) -> Self {
        self.listens = true;
        self
    }

    /// The same bits, of things that go by other numbers.
    pub(crate) fn rewire(&mut self, layout: Arc<Layout>, things: impl Iterator<Item = (Thing, String, BitsAt<B>)>) {
        let values = std::mem::take(&mut self.values);
        let listens = self.listens;
        *self = Self { values, listens, ..Self::new(layout, things) };
    }

    /// The bits that are to be heard.
    pub fn heard(&self) -> impl Iterator<Item = B> + '_ {
        self.owners.keys().copied()
    }

    /// The bits that are set.
    pub fn told(&self) -> Vec<B> {
        let mut told = Vec::new();
        for (_, at) in self.things.values() {
            match &at.tells {
                BitTells::Nothing => {}
                BitTells::Level(bit) | BitTells::Switch(bit) => told.push(*bit),
                BitTells::Pulse { straight, diverging, .. } => told.extend([*straight, *diverging]),
                BitTells::Lamps(lamps) => told.extend(lamps.iter().map(|(_, bit)| *bit)),
            }
        }
        told
    }

    /// Nothing of what was heard before counts any more.
    pub fn forget(&mut self) {
        self.values.clear();
    }

    /// A bit is so: whether what it stands for is on. What is as it was tells nothing.
    pub(crate) fn hear(&mut self, bit: B, on: bool, words: &str) -> Vec<Told> {
        let before = self.values.insert(bit, on);
        if before == Some(on) {
            return Vec::new();
        }
        let mut told = Vec::new();
        for &thing in self.owners.get(&bit).into_iter().flatten() {
            let Some((name, at)) = self.things.get(&thing) else { continue };
            let mark = self.mark(thing, at, before.is_none(), on);
            told.extend(mark.and_then(|mark| input_of(thing, mark)).map(Told::Input));
            if self.listens {
                let says = mark.map_or("nothing new", Mark::word).to_owned();
                let meaning = Meaning::Known { name: title(thing, name), says };
                told.push(Told::Heard(Overheard { raw: format!("{words} {}", u8::from(on)), meaning }));
            }
        }
        told
    }

    /// What a thing says by its bits.
    fn mark(&self, thing: Thing, at: &BitsAt<B>, is_first: bool, on: bool) -> Option<Mark> {
        match thing {
            // That something passes is a bit that comes on; how it was when we came says nothing.
            Thing::Spot(_) => (on && !is_first).then_some(Mark::Passed),
            Thing::Turnout(_) => {
                let is = |wanted: Mark| {
                    let bit = at.hears.iter().find(|(mark, _)| *mark == wanted).map(|(_, bit)| bit)?;
                    self.values.get(bit).copied()
                };
                let has_both = at.hears.len() == 2;
                match (is(Mark::Straight), is(Mark::Diverging)) {
                    (Some(true), Some(false)) => Some(Mark::Straight),
                    (Some(false), Some(true)) => Some(Mark::Diverging),
                    (Some(_), Some(_)) => Some(Mark::Moving),
                    (Some(straight), None) if !has_both => {
                        Some(if straight { Mark::Straight } else { Mark::Diverging })
                    }
                    (None, Some(diverging)) if !has_both => {
                        Some(if diverging { Mark::Diverging } else { Mark::Straight })
                    }
                    // The other of two was not heard yet.
                    _ => None,
                }
            }
            _ => at.hears.first().and_then(|(mark, _)| if on { Some(*mark) } else { mark.opposite() }),
        }
    }

    /// The bits that make something do what it shall.
    pub fn order(&mut self, output: &Output) -> Vec<Set<B>> {
        let now = |bit: B, on: bool| Set { bit, on, after: Duration::ZERO };
        match *output {
            Output::Throw { turnout, lie } => {
                match self.things.get(&Thing::Turnout(turnout)).map(|(_, at)| &at.tells) {
                    Some(BitTells::Level(bit)) => vec![now(*bit, lie == Lie::Diverging)],
                    Some(BitTells::Pulse { straight, diverging, lasts }) => {
                        let (wanted, other) =
                            if lie == Lie::Straight { (*straight, *diverging) } else { (*diverging, *straight) };
                        // Never both at once.
                        vec![now(other, false), now(wanted, true), Set { bit: wanted, on: false, after: *lasts }]
                    }
                    _ => Vec::new(),
                }
            }
            Output::Power { district, live } => self.switch(Thing::District(district), live),
            Output::Accessory { accessory, on } => self.switch(Thing::Accessory(accessory), on),
            Output::Show { signal, aspect } => {
                self.signals.entry(signal).or_insert((aspect, true)).0 = aspect;
                self.show(signal)
            }
            Output::Light { signal, lit } => {
                self.signals.entry(signal).or_insert((Aspect::STOP, lit)).1 = lit;
                self.show(signal)
            }
            _ => Vec::new(),
        }
    }

    fn switch(&self, thing: Thing, on: bool) -> Vec<Set<B>> {
        match self.things.get(&thing).map(|(_, at)| &at.tells) {
            Some(BitTells::Switch(bit)) => vec![Set { bit: *bit, on, after: Duration::ZERO }],
            _ => Vec::new(),
        }
    }

    fn show(&self, signal: SignalId) -> Vec<Set<B>> {
        let Some((_, BitsAt { tells: BitTells::Lamps(lamps), .. })) = self.things.get(&Thing::Signal(signal)) else {
            return Vec::new();
        };
        let Some(&(aspect, is_lit)) = self.signals.get(&signal) else { return Vec::new() };
        let Some(row) = self.layout.book_of(signal).row(aspect) else { return Vec::new() };
        let mut sets: Vec<Set<B>> = lamps
            .iter()
            .map(|(lamp, bit)| {
                let on = is_lit && (row.lamps.contains(lamp) || row.flashing.contains(lamp));
                Set { bit: *bit, on, after: Duration::ZERO }
            })
            .collect();
        // What goes out goes out first: two aspects must not be seen together.
        sets.sort_by_key(|set| set.on);
        sets
    }
}

#[cfg(test)]
mod tests {
    use std::time::{Instant, SystemTime, UNIX_EPOCH};

    use signaller::Input;
    use track::wiring::{At, GpioLine};

    use super::*;
    use crate::described::described;

    /// A section, a turnout with two coils and two contacts, and a signal with three lamps, on pins.
    fn siding() -> (Arc<Layout>, Bits<GpioLine>) {
        let track = "[layout]\nname = \"t\"\nscale = \"H0\"\n[[section]]\nname = \"quay\"\n[[section]]\nname = \"throat\"\nways = [\n\
            { from = \"toe\", to = \"one\", length = 200, needs = { W1 = \"straight\" } },\n\
            { from = \"toe\", to = \"two\", length = 200, needs = { W1 = \"diverging\" } } ]\n[[turnout]]\nname = \"W1\"\n\
            reported = true\n[[signal]]\nname = \"S1\"\nat = \"quay.b\"\n[[joint]]\nends = [\"quay.b\", \"throat.toe\"]\n\
            [[off-layout]]\nat = [\"quay.a\", \"throat.one\", \"throat.two\"]\n";
        let links = "[[link]]\nname = \"pins\"\nby = \"gpio\"\nchip = \"none\"\nsections = { quay = 0, throat = 1 }\n\
            turnouts = { W1 = { straight = 2, diverging = 3, set-straight = 4, set-diverging = 5 } }\n\
            signals = { S1 = { red = 6, yellow = 7, green = 8 } }\n";
        let (layout, wired) = described(track, links);
        let things = wired.carries.into_iter().filter_map(|carried| match carried.at {
            At::Gpio(at) => Some((carried.thing, carried.name, at)),
            _ => None,
        });
        let bits = Bits::new(Arc::clone(&layout), things);
        (layout, bits)
    }

    /// Numbers by chance (xorshift64*, Marsaglia and Vigna).
    fn next(chance: &mut u64) -> usize {
        *chance ^= *chance >> 12;
        *chance ^= *chance << 25;
        *chance ^= *chance >> 27;
        (chance.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33) as usize
    }

    /// `LINECLEAR_SEED` says which bits and orders, `LINECLEAR_FUZZ` for how many seconds.
    #[test]
    fn whatever_comes_and_is_ordered_a_turnout_has_one_coil_under_power_and_a_signal_shows_one_aspect() {
        let (layout, mut bits) = siding();
        let (turnout, signal) = (layout.turnout_named("W1").unwrap(), layout.signal_named("S1").unwrap());
        let aspects: Vec<Aspect> = layout.book_of(signal).aspects().map(|(aspect, _)| aspect).collect();
        let heard: Vec<GpioLine> = bits.heard().collect();
        let seed = std::env::var("LINECLEAR_SEED").map_or_else(
            |_| SystemTime::now().duration_since(UNIX_EPOCH).unwrap().as_secs(),
            |seed| seed.parse().unwrap(),
        );
        let seconds: f64 = std::env::var("LINECLEAR_FUZZ").map_or(0.3, |seconds| seconds.parse().unwrap());
        println!("bits: LINECLEAR_SEED={seed} LINECLEAR_FUZZ={seconds}");
        let mut chance = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
        let (began, mut count) = (Instant::now(), 0u64);
        let (mut known, mut levels) = (BTreeMap::<u32, bool>::new(), BTreeMap::<u32, bool>::new());
        while count < 2000 || began.elapsed().as_secs_f64() < seconds {
            count += 1;
            let pick = next(&mut chance);
            let order = match pick % 6 {
                0 => Output::Throw { turnout, lie: if pick & 64 == 0 { Lie::Straight } else { Lie::Diverging } },
                1 => Output::Show { signal, aspect: aspects[pick / 6 % aspects.len()] },
                2 => Output::Light { signal, lit: pick & 64 == 0 },
                3 if pick & 0xFF00 == 0 => {
                    bits.forget();
                    known.clear();
                    continue;
                }
                _ => {
                    let (bit, on) = (heard[pick / 6 % heard.len()], pick & 64 == 0);
                    let told = bits.hear(bit, on, "");
                    let is_news = known.insert(bit.line, on) != Some(on);
                    assert!(is_news || told.is_empty(), "what is as it was tells nothing");
                    let lies = |lie| vec![Told::Input(Input::TurnoutReported { turnout, lie })];
                    let wanted = match (known.get(&2), known.get(&3)) {
                        (Some(true), Some(false)) => lies(Some(Lie::Straight)),
                        (Some(false), Some(true)) => lies(Some(Lie::Diverging)),
                        (Some(_), Some(_)) => lies(None),
                        _ => Vec::new(),
                    };
                    assert!(!is_news || bit.line < 2 || told == wanted, "{known:?} {told:?}");
                    continue;
                }
            };
            for set in bits.order(&order) {
                levels.insert(set.bit.line, set.on);
                let lit =
                    |lines: std::ops::RangeInclusive<u32>| lines.filter(|line| levels.get(line) == Some(&true)).count();
                assert!(lit(4..=5) <= 1 && lit(6..=8) <= 1, "at no moment: {order:?} {levels:?}");
            }
        }
        println!("bits: {count} tried");
    }
}
