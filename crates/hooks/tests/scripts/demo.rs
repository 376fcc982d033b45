//! The demo's own scripts, on the pretend table.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use hooks::{Notice, NoticeKind, Scripts};
use signaller::{Answer, Destination, Fact, Output, Tag, Time};
use testtrack::{Desk, Digest, Moment, Recording, Session, Settings};
use track::{Layout, SectionId};

use crate::host::patient;

/// Low Staithe and its scripts.
pub(crate) fn low_staithe() -> (Arc<Layout>, Vec<(String, String)>) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-layout");
    let loaded = layout::load(|name| Ok(std::fs::read(folder.join(name)).ok())).unwrap();
    let paths = std::fs::read_dir(folder.join("scripts")).unwrap().map(|entry| entry.unwrap().path());
    let scripts = paths.filter(|path| path.is_file()).map(|path| {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        (name, std::fs::read_to_string(path).unwrap())
    });
    (Arc::new(loaded.layout), scripts.collect())
}

/// What came of an afternoon at Low Staithe.
pub(crate) struct Afternoon {
    /// Where trains arrived, in order, as `Heron at quay-1.a`.
    pub(crate) arrivals: Vec<String>,
    /// How often the railcar came to stand beside another train at the loop.
    meetings: u32,
    pub(crate) notices: Vec<Notice>,
    /// Why requests of the scripts were refused.
    pub(crate) refusals: Vec<String>,
    digest: Digest,
    recording: Recording,
}

impl Afternoon {
    /// Where a train arrived, in order.
    pub(crate) fn of(&self, train: &str) -> Vec<String> {
        let prefix = format!("{train} at ");
        self.arrivals.iter().filter_map(|arrival| arrival.strip_prefix(&prefix)).map(str::to_owned).collect()
    }
}

fn afternoon(seed: u64, minutes: i64) -> Afternoon {
    on_the_table(low_staithe().1, seed, minutes)
}

/// Scripts at Low Staithe. No rule is broken.
pub(crate) fn on_the_table(files: Vec<(String, String)>, seed: u64, minutes: i64) -> Afternoon {
    let (layout, _) = low_staithe();
    let (mut scripts, errors) = Scripts::load(Arc::clone(&layout), files, &patient(), seed);
    assert_eq!(errors, []);
    let mut session = Session::new(Arc::clone(&layout), &Settings::seeded(seed)).unwrap();
    let (mut arrivals, mut meetings, mut notices, mut refusals) = (Vec::new(), 0, Vec::new(), Vec::new());
    let mut recording = Recording::default();
    let mut tags: BTreeMap<SectionId, Tag> = BTreeMap::new();
    let [loop_1, loop_2] = ["loop-1", "loop-2"].map(|name| layout.section_named(name).unwrap());
    let mut listener = |moment: &Moment<'_>, desk: &mut Desk| {
        recording.hear(moment.now, moment.inputs);
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
                Output::Fact(Fact::Answered { answer: Answer::Refused(refusal), .. }) => {
                    refusals.push(refusal.reason.clone());
                }
                _ => {}
            }
        }
        assert!(moment.violations.is_empty(), "seed {seed}: {:?}", moment.violations);
        scripts.hear(moment.now, moment.inputs, moment.outputs);
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
    Afternoon { arrivals, meetings, notices, refusals, digest, recording }
}

#[test]
fn low_staithe_is_run_by_its_scripts() {
    for seed in [1, 2, 3] {
        let afternoon = afternoon(seed, 20);
        let heron = afternoon.of("Heron");
        assert!(heron.len() >= 8, "seed {seed}: {heron:?}");
        let calls = ["loop-1.b", "quay-1.a"].map(str::to_owned);
        assert!(heron.chunks(2).all(|trip| calls.starts_with(trip)), "seed {seed}: {heron:?}");
        for (train, track) in [("Plover", "yard-4"), ("Dunlin", "yard-5"), ("Curlew", "yard-1")] {
            assert_eq!(afternoon.of(train)[..3], ["loop-2.a", "quay-2.a", track], "seed {seed}: {train}");
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

#[test]
fn a_day_with_scripts_replays_without_them_bit_for_bit() {
    let hours = if std::env::var_os("LINECLEAR_DEEP").is_some() { 24 } else { 1 };
    let day = afternoon(9, hours * 60);
    assert!(day.arrivals.len() as i64 >= hours * 40, "{} arrivals in {hours} hours", day.arrivals.len());
    let (layout, _) = low_staithe();
    assert_eq!(day.recording.replay(&layout), day.digest, "{} steps", day.recording.len());
}
