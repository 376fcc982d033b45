//! Links, against brokers, buses and servers that nobody here made; and trains on a pretend table behind them.

mod adapter;
mod broker;
mod cable;
mod gpio;
mod lcc;
mod modbus;
mod mqtt;
mod reload;
mod trains;

use std::net::TcpListener;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use lineside::{Lineside, News, Role, What};
use signaller::Input;
use track::Layout;

/// A port of this machine that nobody uses now.
fn free_port() -> u16 {
    TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port()
}

/// A layout of two sections, a spot, a turnout, a signal and a train in a folder, with these links.
fn layout_with(folder: &Path, links: &str) -> (Arc<Layout>, track::wiring::Wiring) {
    let track = r#"
        [layout]
        name = "A siding"
        scale = "H0"
        [[section]]
        name = "quay"
        [[section]]
        name = "throat"
        ways = [
          { from = "toe", to = "one", length = 200, needs = { W1 = "straight" } },
          { from = "toe", to = "two", length = 200, needs = { W1 = "diverging" } },
        ]
        [[turnout]]
        name = "W1"
        reported = true
        [[input]]
        name = "coal stage lever"
        [[detector]]
        name = "magnet"
        spot = "throat.toe"
        to = "one"
        [[joint]]
        ends = ["quay.b", "throat.toe"]
        [[off-layout]]
        at = ["quay.a", "throat.one", "throat.two"]
        [[signal]]
        name = "S1"
        at = "quay.b"
    "#;
    let trains = "[[train]]\nname = \"Heron\"\naddress = 12\nspeed-steps = 28\nvehicles = [{ length = 128, detectable = true }]\n";
    for (file, text) in [("layout.toml", track), ("trains.toml", trains), ("links.toml", links)] {
        std::fs::write(folder.join(file), text).unwrap();
    }
    let loaded = layout::load(|name| Ok(std::fs::read(folder.join(name)).ok()));
    let loaded = loaded.unwrap_or_else(|refused| panic!("{refused}"));
    (Arc::new(loaded.layout), loaded.wiring.unwrap())
}

/// All links of a folder, to run its layout.
fn open(folder: &Path, links: &str) -> (Arc<Layout>, Lineside) {
    let (layout, wiring) = layout_with(folder, links);
    let lineside = Lineside::open(&layout, &wiring, folder, Role::Runs, None).unwrap();
    (layout, lineside)
}

/// Waits for news of a kind, and passes over the rest.
#[track_caller]
fn until<T>(lineside: &mut Lineside, what: &str, mut wanted: impl FnMut(News) -> Option<T>) -> T {
    let began = Instant::now();
    while began.elapsed() < Duration::from_secs(60) {
        lineside.pulse().beat();
        if let Some(found) = lineside.next_within(Duration::from_millis(100)).and_then(&mut wanted) {
            return found;
        }
    }
    panic!("never heard: {what}; {:?}", lineside.health());
}

/// Waits until a link is up, and gives what it reported first.
#[track_caller]
fn until_up(lineside: &mut Lineside) -> Vec<Input> {
    until(lineside, "the link is up", |news| match news.what {
        What::Up(inputs) => Some(inputs),
        _ => None,
    })
}

/// Waits until a link is down, and gives why.
#[track_caller]
fn until_down(lineside: &mut Lineside) -> String {
    until(lineside, "the link is down", |news| match news.what {
        What::Down(why) => Some(why),
        _ => None,
    })
}

/// Waits until something is reported.
#[track_caller]
fn until_reported(lineside: &mut Lineside, wanted: &Input) {
    until(lineside, &format!("{wanted:?}"), |news| match news.what {
        What::Up(inputs) | What::Reported(inputs) => inputs.contains(wanted).then_some(()),
        _ => None,
    });
}

/// The lever of the coal stage is said to be on, or off.
fn lever(layout: &Layout, on: bool) -> Input {
    Input::InputReported { input: layout.input_named("coal stage lever").unwrap(), on }
}

/// A section is said to be occupied, or free.
fn said(layout: &Layout, section: &str, occupied: bool) -> Input {
    Input::SectionReported { section: layout.section_named(section).unwrap(), occupied }
}
