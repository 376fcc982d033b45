//! The demo's own scripts, on the pretend table.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use hooks::{Notice, NoticeKind, Scripts};
use signaller::{Destination, Fact, Output, Tag, Time};
use testtrack::{Desk, Digest, Moment, Session, Settings};
use track::{Layout, SectionId};

use crate::host::patient;

/// Low Staithe and its scripts.
fn low_staithe() -> (Arc<Layout>, Vec<(String, String)>) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-layout");
    let loaded = layout::load(|name| Ok(std::fs::read(folder.join(name)).ok())).unwrap();
    let scripts = std::fs::read_dir(folder.join("scripts")).unwrap().map(|entry| {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        (name, std::fs::read_to_string(path).unwrap())
    });
    (Arc::new(loaded.layout), scripts.collect())
}

/// What came of an afternoon at Low Staithe.
struct Afternoon {
    /// Where trains arrived, in order, as `Heron at quay-1.a`.
    arrivals: Vec<String>,
    /// How often the railcar came to stand beside another train at the loop.
    meetings: u32,
    notices: Vec<Notice>,
    digest: Digest,
}

fn afternoon(seed: u64, minutes: i64) -> Afternoon {
    let (layout, files) = low_staithe();
    let (mut scripts, errors) = Scripts::load(Arc::clone(&layout), files, &patient(), seed);
    assert_eq!(errors, []);
    let mut session = Session::new(Arc::clone(&layout), &Settings::seeded(seed)).unwrap();
    let (mut arrivals, mut meetings, mut notices) = (Vec::new(), 0, Vec::new());
    let mut tags: BTreeMap<SectionId, Tag> = BTreeMap::new();
    let [loop_1, loop_2] = ["loop-1", "loop-2"].map(|name| layout.section_named(name).unwrap());
    let mut listener = |moment: &Moment<'_>, desk: &mut Desk| {
        for output in moment.outputs {
            match output {
                Output::Fact(Fact::Tagged { section, tag }) => {
                    let both = |tags: &BTreeMap<_, _>| {
                        [loop_1, loop_2].iter().all(|track| matches!(tags.get(track), Some(Tag::Sure(_))))
                    };
                    let before = both(&tags);
                    tags.insert(*section, tag.clone());
                    meetings += u32::from(!before && both(&tags));
                }
                Output::Fact(Fact::Arrived { train, at }) => {
                    let place = match at {
                        Destination::Stop(stop) => &layout.stops[*stop].name,
                        Destination::Section(section) => &layout.sections[*section].name,
                    };
                    arrivals.push(format!("{} at {place}", layout.trains[*train].name));
                }
                _ => {}
            }
        }
        assert!(moment.violations.is_empty(), "seed {seed}: {:?}", moment.violations);
        scripts.hear(moment.now, moment.outputs);
        notices.extend(scripts.take_notices());
        for (ticket, request) in scripts.take_requests() {
            desk.hand_in(moment.now, ticket, request);
        }
        if let Some(wake) = scripts.next_wake() {
            desk.call_at(wake);
        }
    };
    session.run_until(Time::from_millis(minutes * 60_000), &mut listener);
    let digest = session.digest();
    Afternoon { arrivals, meetings, notices, digest }
}

#[test]
fn low_staithe_is_run_by_its_scripts() {
    for seed in [1, 2, 3] {
        let afternoon = afternoon(seed, 20);
        let of = |train: &str| -> Vec<&str> {
            let prefix = format!("{train} at ");
            afternoon.arrivals.iter().filter_map(|arrival| arrival.strip_prefix(&prefix)).collect()
        };
        let heron = of("Heron");
        assert!(heron.len() >= 8, "seed {seed}: {heron:?}");
        assert!(heron.chunks(2).all(|trip| ["loop-1.b", "quay-1.a"].starts_with(trip)), "seed {seed}: {heron:?}");
        for (train, track) in [("Plover", "yard-4"), ("Dunlin", "yard-5"), ("Curlew", "yard-1")] {
            assert_eq!(of(train)[..3], ["loop-2.a", "quay-2.a", track], "seed {seed}: {train}");
        }
        assert!(afternoon.meetings >= 3, "seed {seed}: they met {} times at the loop", afternoon.meetings);
        let failures: Vec<_> =
            afternoon.notices.iter().filter(|notice| !matches!(notice.kind, NoticeKind::Said(_))).collect();
        assert!(failures.is_empty(), "seed {seed}: {failures:?}");
    }
}

#[test]
fn an_afternoon_with_scripts_is_the_same_in_every_run() {
    let (first, second) = (afternoon(5, 3), afternoon(5, 3));
    assert_eq!(first.arrivals, second.arrivals);
    assert_eq!(first.digest, second.digest);
    assert!(first.digest != afternoon(6, 3).digest, "another seed is another afternoon");
}
