//! MOTA and IDF1 of a run on the pretend table, by an independent library.

use std::process::Command;
use std::sync::Arc;

use serde_json::json;
use signaller::Time;
use testtrack::{Faults, Look, Session, Settings, Stream, Tracking, Traffic};
use track::{Id, Layout, TrainId};

use crate::program;

fn low_staithe() -> Arc<Layout> {
    let folder = program::root().join("demo-layout");
    let loaded = layout::load(|name| Ok(std::fs::read(folder.join(name)).ok()));
    Arc::new(loaded.unwrap_or_else(|refused| panic!("{refused}")).layout)
}

/// Looks as JSON lines, and what we make of them.
struct Run {
    looks: String,
    ours: Tracking,
}

impl Run {
    fn new(layout: &Layout) -> Self {
        Self { looks: String::new(), ours: Tracking::new(layout) }
    }

    fn keep(&mut self) {
        let look = self.ours.last_look();
        let near: Vec<_> = look.near.iter().map(|(train, name)| [train.index(), name.index()]).collect();
        let numbers = |trains: &[TrainId]| trains.iter().map(|train| train.index()).collect::<Vec<_>>();
        let (objects, hypotheses) = (numbers(&look.objects), numbers(&look.hypotheses));
        self.looks += &format!("{}\n", json!({ "objects": objects, "hypotheses": hypotheses, "near": near }));
    }

    /// Compares with the library; gives both figures.
    fn compare(&self, python: &str, name: &str) -> (f64, f64) {
        let script = program::root().join("tests/peers/tracking.py");
        let child = program::start(Command::new(python).arg(script));
        let ran =
            program::finish(child, |mut pipe| std::io::Write::write_all(&mut pipe, self.looks.as_bytes()).unwrap());
        assert_eq!(ran.status, Some(0), "{}", ran.complaints);
        let theirs: serde_json::Value = serde_json::from_str(&ran.output).unwrap();
        let (mota, idf1) = (theirs["mota"].as_f64().unwrap(), theirs["idf1"].as_f64().unwrap());
        let (our_mota, our_idf1) = (self.ours.mota(), self.ours.idf1());
        println!("{name}: MOTA {our_mota:.5} (motmetrics {mota:.5}), IDF1 {our_idf1:.5} (motmetrics {idf1:.5})");
        assert!((our_mota - mota).abs() < 1e-9 && (our_idf1 - idf1).abs() < 1e-9, "{name}: {theirs}");
        (mota, idf1)
    }
}

/// An hour of Low Staithe.
fn run(layout: &Arc<Layout>, faults: Faults, seed: u64) -> Run {
    let mut session = Session::new(Arc::clone(layout), &Settings { faults, ..Settings::seeded(seed) }).unwrap();
    let (mut traffic, mut run) = (Traffic::new(layout, seed), Run::new(layout));
    session.run_until(Time::from_millis(3_600_000), &mut |moment, desk| {
        traffic.hear(moment, desk);
        if run.ours.hear(moment, desk) {
            run.keep();
        }
    });
    run
}

/// Looks by lot: six trains, some missed, some named that are not there, names exchanged now and then.
fn by_lot(layout: &Layout, seed: u64) -> Run {
    let (mut run, mut stream) = (Run::new(layout), Stream::labelled(seed, "looks"));
    let trains: Vec<TrainId> = (0..6).map(TrainId::from_index).collect();
    let mut names = trains.clone();
    for _ in 0..2_000 {
        if stream.below(20) == 0 {
            let (one, other) = (stream.below(6) as usize, stream.below(6) as usize);
            names.swap(one, other);
        }
        let mut look = Look::default();
        for (&train, &name) in trains.iter().zip(&names) {
            let (there, named) = (stream.below(10) > 0, stream.below(10) > 0);
            look.objects.extend(there.then_some(train));
            look.hypotheses.extend(named.then_some(name));
            look.near.extend((there && named && stream.below(10) > 0).then_some((train, name)));
        }
        look.hypotheses.sort_unstable();
        run.ours.take(look);
        run.keep();
    }
    run
}

/// `motmetrics` (PyPI) implements the CLEAR MOT measures (Bernardin and Stiefelhagen 2008) and the identity measures (Ristani et
/// al. 2016).
#[test]
fn trains_are_kept_apart_as_well_as_an_independent_library_says() {
    let Some(python) = program::python("motmetrics", "motmetrics") else { return };
    let layout = low_staithe();
    for (name, faults) in
        [("no faults", Faults::NONE), ("mild faults", Faults::mild()), ("harsh faults", Faults::harsh())]
    {
        let (mota, idf1) = run(&layout, faults, 5).compare(&python, &format!("an hour of Low Staithe, {name}"));
        assert!(name != "no faults" || mota > 0.999 && idf1 > 0.999, "trains are missed though nothing is wrong");
    }
    let (mota, idf1) = by_lot(&layout, 5).compare(&python, "looks by lot");
    assert!(mota < 0.9 && idf1 < 0.9, "the looks are so good that they prove nothing");
}
