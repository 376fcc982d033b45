//! The register from the outside: recorded, killed, damaged, full, old.

#![allow(clippy::unwrap_used, clippy::panic, clippy::expect_used, clippy::print_stdout)]

mod bounds;
mod facts;
mod killed;
mod recorded;
#[path = "../../src/bin/scribe/scene.rs"]
#[allow(dead_code, reason = "the program that is killed needs all of it")]
mod scene;
mod spoiled;
mod versions;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use register::{After, FILE, Opened, Origin, Reader, Register, Replayed, Settings, Shift, Span};
use signaller::Time;

/// All of a shift, compared.
const ALL: Span = Span { from: Time::ZERO, to: Time::from_nanos(i64::MAX), after_difference: After::GoOn };

/// An empty folder of that name.
fn folder(name: &str) -> PathBuf {
    let folder = std::env::temp_dir().join(format!("lineclear-register-{}-{name}", std::process::id()));
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

/// Opens a register of which nothing need be told.
fn open(folder: &Path, settings: Settings) -> Register {
    let Opened { register, told, .. } = Register::open(folder, settings).unwrap();
    assert!(told.is_empty(), "{told:?}");
    register
}

/// Records so many steps of traffic as a shift of its own, closes it, and gives the traffic back.
fn record(folder: &Path, seed: u64, steps: usize) -> scene::Traffic {
    let mut register = open(folder, Settings::default());
    let mut traffic = scene::Traffic::new(seed);
    register.begin_shift(scene::beginning(&traffic.layout, Origin::Afresh));
    for _ in 0..steps {
        register.record(traffic.step()).unwrap();
        register.keep_up(traffic.now(), &traffic.signaller);
    }
    assert_eq!(register.close().health, register::Health::Good);
    traffic
}

fn reader(folder: &Path) -> Reader {
    Reader::open(&folder.join(FILE)).unwrap()
}

/// Runs the last shift again.
fn replay(reader: &Reader) -> (Shift, Replayed) {
    let shift = reader.shift(None).unwrap().unwrap();
    let replayed = reader.replay(&shift, &Arc::new(scene::layout()), ALL, None).unwrap();
    (shift, replayed)
}
