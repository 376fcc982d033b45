//! Pins that are watched and set.

use std::io;
use std::pin::Pin;
use std::sync::Arc;
use std::time::{Duration, Instant};

use track::wiring::{At, BitsAt, Gpio, GpioLine, Thing, WiredLink};

use crate::backoff::Backoff;
use crate::bits::{Bits, Set};
use crate::lineside::{Orders, Role, Start};
use crate::news::Told;
use crate::reporter::{NobodyListens, Reporter};
use crate::words::{about, in_words};

/// How often pins are looked at, whatever changes they tell: an edge may be lost where many come at once.
const LOOKED_AT: Duration = Duration::from_secs(1);

/// A pin that changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Change {
    /// Which.
    pub line: u32,
    /// Whether what it stands for is on.
    pub on: bool,
}

/// What is needed of a chip: its pins are set up already.
pub trait Pins: Send {
    /// How every pin that is heard is now.
    ///
    /// # Errors
    /// The chip is gone.
    fn look(&mut self) -> io::Result<Vec<Change>>;
    /// The next change.
    fn next(&mut self) -> Pin<Box<dyn Future<Output = io::Result<Change>> + Send + '_>>;
    /// Sets a pin.
    ///
    /// # Errors
    /// It cannot be set.
    fn set(&mut self, change: Change) -> io::Result<()>;
}

/// What a link carries, with the pins of each.
fn things(wired: &WiredLink) -> impl Iterator<Item = (Thing, String, BitsAt<GpioLine>)> + '_ {
    wired.carries.iter().filter_map(|carried| match &carried.at {
        At::Gpio(at) => Some((carried.thing, carried.name.clone(), at.clone())),
        _ => None,
    })
}

/// Keeps the link up until it is closed or nobody listens any more.
pub(crate) async fn serve(setup: Gpio, start: Start) {
    let open = move |heard: &[GpioLine], told: &[GpioLine]| chip(&setup, heard, told);
    serve_with(open, start).await;
}

#[cfg(target_os = "linux")]
fn chip(setup: &Gpio, heard: &[GpioLine], told: &[GpioLine]) -> io::Result<Box<dyn Pins>> {
    let chip = super::chip::Chip::open(&setup.chip, heard, told).map_err(|error| about(&setup.chip, &error))?;
    Ok(Box::new(chip))
}

#[cfg(not(target_os = "linux"))]
fn chip(_setup: &Gpio, _heard: &[GpioLine], _told: &[GpioLine]) -> io::Result<Box<dyn Pins>> {
    Err(io::Error::other("this system has no such chips"))
}

/// The same, with pins that somebody else opens: those that are heard, and those that are set.
pub(crate) async fn serve_with<O>(open: O, start: Start)
where
    O: Fn(&[GpioLine], &[GpioLine]) -> io::Result<Box<dyn Pins>>,
{
    let Start { layout, wired, role, mut reporter, mut orders, .. } = start;
    let mut bits = Bits::new(layout, things(&wired));
    if role == Role::Listens {
        bits = bits.listening();
    }
    let heard: Vec<GpioLine> = bits.heard().collect();
    // Who only listens leaves alone what is set.
    let told = if role == Role::Listens { Vec::new() } else { bits.told() };
    let mut backoff = Backoff::new();
    loop {
        let tried = Instant::now();
        let why = match open(&heard, &told) {
            Err(error) => in_words(&error),
            Ok(pins) => match attend(pins, &heard, &mut bits, &mut reporter, &mut orders).await {
                Err(NobodyListens) | Ok(None) => return,
                Ok(Some(why)) => why,
            },
        };
        bits.forget();
        if reporter.lost(&why).await.is_err() || orders.pass_over(backoff.after(tried.elapsed())).await.is_err() {
            return;
        }
    }
}

async fn attend(
    mut pins: Box<dyn Pins>,
    heard: &[GpioLine],
    bits: &mut Bits<GpioLine>,
    reporter: &mut Reporter,
    orders: &mut Orders,
) -> Result<Option<String>, NobodyListens> {
    let mut waiting: Vec<(Instant, GpioLine, bool)> = Vec::new();
    let mut looks = tokio::time::interval(LOOKED_AT);
    let lost = |error: &io::Error| Ok(Some(in_words(error)));
    reporter.connected();
    let changed = |bits: &mut Bits<GpioLine>, change: Change| -> Vec<Told> {
        let bit = heard.iter().find(|bit| bit.line == change.line);
        bit.map_or_else(Vec::new, |&bit| bits.hear(bit, change.on, &format!("line {}", change.line)))
    };
    loop {
        let next_set = waiting.iter().map(|(at, ..)| *at).min();
        let due = tokio::time::sleep_until(next_set.unwrap_or_else(|| Instant::now() + LOOKED_AT).into());
        let mut told = Vec::new();
        tokio::select! {
            change = pins.next() => match change {
                Err(error) => return lost(&error),
                Ok(change) => told = changed(bits, change),
            },
            _ = looks.tick() => match pins.look() {
                Err(error) => return lost(&error),
                Ok(all) => {
                    told = all.into_iter().flat_map(|change| changed(bits, change)).collect();
                    told.push(Told::Complete);
                }
            },
            ordered = orders.next() => {
                let Some(outputs) = ordered else {
                    // No pulse lasts on once the link is closed. A pin that cannot be set is gone with its chip.
                    waiting.iter().for_each(|&(_, bit, on)| drop(pins.set(Change { line: bit.line, on })));
                    return Ok(None);
                };
                if let Some(rewire) = orders.take_rewire() {
                    bits.rewire(Arc::clone(&rewire.layout), things(&rewire.wired));
                    reporter.rewired(&rewire).await?;
                }
                for Set { bit, on, after } in outputs.iter().flat_map(|output| bits.order(output)).collect::<Vec<_>>() {
                    if after > Duration::ZERO {
                        waiting.push((Instant::now() + after, bit, on));
                    } else if let Err(error) = pins.set(Change { line: bit.line, on }) {
                        return lost(&error);
                    }
                }
            }
            () = due, if next_set.is_some() => {}
        }
        while let Some(place) = waiting.iter().position(|(at, ..)| *at <= Instant::now()) {
            let (_, bit, on) = waiting.remove(place);
            if let Err(error) = pins.set(Change { line: bit.line, on }) {
                return lost(&error);
            }
        }
        reporter.alive();
        reporter.take(told).await?;
        reporter.flush().await?;
    }
}

#[cfg(test)]
mod tests {
    use std::sync::{Arc, Mutex};

    use signaller::{Input, Output};
    use tokio::sync::mpsc;
    use track::Lie;
    use track::wiring::Bias;

    use super::*;
    use crate::described::described;
    use crate::lineside::doubles::start;
    use crate::news::What;

    /// A chip that is none: changes come from the test, and what is set is noted.
    struct Double {
        levels: Arc<Mutex<Vec<Change>>>,
        changes: mpsc::UnboundedReceiver<Change>,
        sets: mpsc::UnboundedSender<Change>,
    }

    impl Pins for Double {
        fn look(&mut self) -> io::Result<Vec<Change>> {
            Ok(self.levels.lock().unwrap().clone())
        }

        fn next(&mut self) -> Pin<Box<dyn Future<Output = io::Result<Change>> + Send + '_>> {
            Box::pin(async { self.changes.recv().await.ok_or_else(|| io::Error::other("The chip is gone")) })
        }

        fn set(&mut self, change: Change) -> io::Result<()> {
            self.sets.send(change).map_err(io::Error::other)
        }
    }

    fn siding() -> (Arc<track::Layout>, track::wiring::WiredLink) {
        let track = "[layout]\nname = \"t\"\nscale = \"H0\"\n[[section]]\nname = \"quay\"\n[[section]]\nname = \"throat\"\nways = [\n\
            { from = \"toe\", to = \"one\", length = 200, needs = { W1 = \"straight\" } },\n\
            { from = \"toe\", to = \"two\", length = 200, needs = { W1 = \"diverging\" } } ]\n[[turnout]]\nname = \"W1\"\n\
            [[district]]\nname = \"harbour\"\nswitched = true\n[[input]]\nname = \"lever\"\n\
            [[joint]]\nends = [\"quay.b\", \"throat.toe\"]\n[[off-layout]]\nat = [\"quay.a\", \"throat.one\", \"throat.two\"]\n";
        let links = "[[link]]\nname = \"pins\"\nby = \"gpio\"\nchip = \"none\"\nsections = { quay = 3, throat = { line = 4 } }\n\
            turnouts = { W1 = { set-straight = 10, set-diverging = 11, pulse = 0.01 } }\n\
            inputs = { lever = { line = 5, bias = \"pull-up\", active-low = true, debounce = 0.02 } }\n\
            districts = { harbour = { set = { line = 12, active-low = true } } }\n";
        described(track, links)
    }

    #[tokio::test]
    async fn pins_report_sections_throw_turnouts_and_are_lost_with_their_chip() {
        let (layout, wired) = siding();
        let (start, mut news, orderer) = start(&layout, &wired);
        let (sets, mut set) = mpsc::unbounded_channel();
        let (levels, chips) = (Arc::new(Mutex::new(Vec::new())), Arc::new(Mutex::new(Vec::new())));
        let at = |line, on| Change { line, on };
        *levels.lock().unwrap() = vec![at(3, true), at(4, false), at(5, false)];
        let made = (Arc::clone(&levels), Arc::clone(&chips));
        let open = move |heard: &[GpioLine], told: &[GpioLine]| -> io::Result<Box<dyn Pins>> {
            assert_eq!((heard.len(), told.len()), (3, 3));
            let lever = GpioLine { line: 5, is_active_low: true, bias: Bias::PullUp, debounce_us: 20_000 };
            assert_eq!(heard[2], lever);
            let (sender, changes) = mpsc::unbounded_channel();
            made.1.lock().unwrap().push(sender);
            Ok(Box::new(Double { levels: Arc::clone(&made.0), changes, sets: sets.clone() }))
        };
        let link = tokio::spawn(serve_with(open, start));
        let section =
            |name: &str, occupied| Input::SectionReported { section: layout.section_named(name).unwrap(), occupied };
        let first = news.recv().await.unwrap().what;
        let lever = |on| Input::InputReported { input: layout.input_named("lever").unwrap(), on };
        assert_eq!(first, What::Up(vec![section("quay", true), section("throat", false), lever(false)]));
        let chip = chips.lock().unwrap()[0].clone();
        chip.send(at(4, true)).unwrap();
        assert_eq!(news.recv().await.unwrap().what, What::Reported(vec![section("throat", true)]));
        chip.send(at(5, true)).unwrap();
        assert_eq!(news.recv().await.unwrap().what, What::Reported(vec![lever(true)]));
        levels.lock().unwrap()[1] = at(4, true);
        let turnout = layout.turnout_named("W1").unwrap();
        orderer.order(Output::Throw { turnout, lie: Lie::Diverging }).await;
        let mut pulses = Vec::new();
        for _ in 0..3 {
            pulses.push(set.recv().await.unwrap());
        }
        assert_eq!(pulses, [at(10, false), at(11, true), at(11, false)], "never both at once, and never for long");
        let district = layout.district_named("harbour").unwrap();
        for live in [true, false] {
            orderer.order(Output::Power { district, live }).await;
            assert_eq!(set.recv().await, Some(at(12, live)), "the power of the harbour is on with its pin");
        }
        drop(chip);
        chips.lock().unwrap().clear();
        assert_eq!(news.recv().await.unwrap().what, What::Down("the chip is gone".to_owned()));
        levels.lock().unwrap()[0] = at(3, false);
        let again = news.recv().await.unwrap().what;
        assert_eq!(again, What::Up(vec![section("quay", false), section("throat", true), lever(false)]));
        drop(orderer);
        link.await.unwrap();
    }
}
