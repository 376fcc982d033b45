//! What is recorded comes back, can be run again, and is there after a restart.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use register::{After, Ending, Health, KeptClock, Opened, Origin, Progress, Register, Settings, Span};
use signaller::{Conduct, Direction, Input, Memory, Request, Signaller, Time};
use track::{Builder, Scale, Train};

use super::scene::{Traffic, beginning, layout};
use super::{ALL, folder, open, reader, record, replay};

#[test]
fn every_step_of_every_train_comes_back_in_order() {
    let folder = folder("in-order");
    record(&folder, 1, 300);
    record(&folder, 2, 200);
    let reader = reader(&folder);
    let shifts = reader.shifts().unwrap();
    let spans: Vec<_> = shifts.iter().map(|shift| (shift.id, shift.ending, shift.steps)).collect();
    assert_eq!(spans, [(1, Ending::Closed, Some((1, 300))), (2, Ending::Closed, Some((301, 500)))]);
    for (shift, seed) in shifts.iter().zip([1, 2]) {
        let mut again = Traffic::new(seed);
        let mut number = shift.first_step;
        loop {
            let steps = reader.steps(shift, number, 64).unwrap();
            if steps.is_empty() {
                break;
            }
            for step in steps {
                let entry = again.step();
                assert_eq!((step.number, step.at), (number, entry.at), "seed {seed}");
                assert_eq!((step.heard, step.outputs), (entry.heard, entry.outputs), "seed {seed}, step {number}");
                number += 1;
            }
        }
        assert_eq!(Some(number - 1), shift.steps.map(|(_, last)| last));
        assert_eq!((shift.conduct, shift.layout_name.as_str()), (Conduct::Control, "a line with a loop"));
    }
    let files = shifts.iter().map(|shift| reader.layout_files(shift).unwrap());
    assert!(files.into_iter().all(|files| files == [("layout.toml".to_owned(), "a line with a loop".to_owned())]));
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn trains_that_are_run_again_do_what_they_did() {
    let folder = folder("again");
    record(&folder, 3, 1_500);
    let (_, replayed) = replay(&reader(&folder));
    assert_eq!((replayed.run, replayed.compared, replayed.differing), (1_500, 1_500, 0), "{:?}", replayed.first);
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn the_first_step_that_differs_is_named_on_a_layout_that_was_changed() {
    let folder = folder("differs");
    record(&folder, 4, 800);
    let reader = reader(&folder);
    let shift = reader.shift(Some(1)).unwrap().unwrap();
    let mut changed = layout();
    let one = changed.section_named("one").unwrap();
    changed.sections[one].detector = None;
    let changed = Arc::new(changed);
    let replayed = reader.replay(&shift, &changed, Span { after_difference: After::End, ..ALL }, None).unwrap();
    let first = replayed.first.expect("a section without a detector makes no difference");
    assert_eq!(replayed.differing, 1);
    assert_ne!(first.step.outputs, first.got);
    assert_eq!(first.step.number, replayed.run, "the last step that was run");
    let on = reader.replay(&shift, &changed, ALL, None).unwrap();
    assert_eq!((on.run, on.first.map(|first| first.step.number)), (800, Some(first.step.number)));
    assert!(on.differing >= 1);
    // What comes before the time from which on it is compared does not count.
    let later = Span { from: Time::from_nanos(first.step.at.nanos() + 1), ..ALL };
    let later = reader.replay(&shift, &changed, later, None).unwrap();
    assert_eq!(later.differing, on.differing - 1);
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn a_shift_is_run_again_from_a_snapshot_taken_on_the_way() {
    let folder = folder("snapshot");
    let mut register = open(&folder, Settings::default());
    let mut traffic = Traffic::new(5);
    register.begin_shift(beginning(&traffic.layout, Origin::Afresh));
    for number in 1..=400_u64 {
        register.record(traffic.step()).unwrap();
        if number == 150 {
            // What a snapshot is made of is the signaller's affair: here it is how many steps there were.
            register.snapshot(traffic.now(), number.to_le_bytes().to_vec());
        }
    }
    register.close();
    let reader = reader(&folder);
    let shift = reader.shift(None).unwrap().unwrap();
    let restore = |bytes: &[u8], _: &Arc<track::Layout>| -> Result<Signaller, String> {
        let steps = u64::from_le_bytes(bytes.try_into().map_err(|_| "no number of steps".to_owned())?);
        let mut traffic = Traffic::new(5);
        (0..steps).for_each(|_| drop(traffic.step()));
        Ok(traffic.signaller)
    };
    let layout = Arc::new(layout());
    let at_the_end = Span { from: shift.last_at, ..ALL };
    let replayed = reader.replay(&shift, &layout, at_the_end, Some(&restore)).unwrap();
    assert_eq!((replayed.began_after, replayed.run, replayed.differing), (Some(150), 250, 0));
    let from_the_start = reader.replay(&shift, &layout, ALL, Some(&restore)).unwrap();
    assert_eq!((from_the_start.began_after, from_the_start.run), (None, 400));
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn whoever_waits_for_a_step_to_be_durable_is_told() {
    let folder = folder("told");
    let heard = Arc::new(AtomicU64::new(0));
    let hears = Arc::clone(&heard);
    let listener = move |progress: &Progress| {
        assert_eq!(progress.health, Health::Good);
        hears.store(progress.durable_up_to, Ordering::SeqCst);
    };
    let settings = Settings { listener: Some(Arc::new(listener)), ..Settings::default() };
    let mut register = open(&folder, settings);
    assert_eq!(register.durable_up_to(), 0);
    let mut traffic = Traffic::new(6);
    register.begin_shift(beginning(&traffic.layout, Origin::Afresh));
    for number in 1..=20 {
        assert_eq!(register.record(traffic.step()), Ok(number));
        let progress = register.wait_until_durable(number);
        assert_eq!((progress.durable_up_to, progress.waiting, progress.lost), (number, 0, 0));
        // Somebody else sees it, too, while it is being written.
        assert_eq!(reader(&folder).shift(None).unwrap().unwrap().steps, Some((1, number)));
    }
    register.close();
    assert_eq!(heard.load(Ordering::SeqCst), 20);
    std::fs::remove_dir_all(folder).unwrap();
}

/// A line of which sections can be left out, with trains.
fn edited(sections: &[&str], trains: &[&str]) -> Arc<track::Layout> {
    let mut builder = Builder::new("edited", Scale::UNKNOWN);
    let sections: Vec<_> = sections.iter().map(|name| builder.plain_section(*name, None)).collect();
    for pair in sections.windows(2) {
        let (b, a) = (builder.layout().sections[pair[0]].ends[1], builder.layout().sections[pair[1]].ends[0]);
        builder.join(b, a);
    }
    for name in trains {
        builder.train(Train::stranger(*name));
    }
    builder.accessory("lamps", None);
    Arc::new(builder.build())
}

#[test]
fn where_trains_stood_and_what_was_wished_is_there_after_a_restart_on_an_edited_layout() {
    let folder = folder("restart");
    let layout = edited(&["a", "b", "c", "d"], &["Heron", "Plover", "Dunlin"]);
    let [heron, plover, dunlin] = ["Heron", "Plover", "Dunlin"].map(|name| layout.train_named(name).unwrap());
    let lamps = layout.accessory_named("lamps").unwrap();
    let section = |name: &str| layout.section_named(name).unwrap();
    let memory = |on: &str, nose: &str| Memory {
        on: vec![section(on)],
        hidden: Vec::new(),
        nose: layout.end_named(nose),
        leading: Direction::Backward,
        sure: true,
        stood: None,
    };
    let mut register = open(&folder, Settings::default());
    let mut signaller = Signaller::new(Arc::clone(&layout), Conduct::Control);
    register.begin_shift(beginning(&layout, Origin::Afresh));
    let wishes = [
        Request::Hold { train: heron, reason: "tea time".to_owned() },
        Request::Hold { train: plover, reason: "no crew".to_owned() },
        Request::Release { train: plover },
        Request::TakeOutOfService { section: section("c"), reason: "works".to_owned() },
        Request::PutInService { section: section("a") },
        Request::StopAll,
        Request::SwitchAccessory { accessory: lamps, on: true },
        Request::SwitchAccessory { accessory: lamps, on: false },
        Request::SwitchFunction { train: heron, number: 12, on: true },
        Request::SwitchFunction { train: plover, number: 0, on: true },
    ];
    super::facts::wish(&mut register, &mut signaller, &wishes);
    register.keep_places(vec![(heron, memory("b", "b.b")), (plover, memory("a", "a.a")), (dunlin, memory("d", "d.b"))]);
    let lessons = signaller.drive().lessons(heron).unwrap();
    register.keep_lessons(heron, lessons.clone());
    let clock = KeptClock { shows_ns: 66_600_000_000_000, pace: 12.0, is_running: true };
    register.keep_clock(KeptClock { is_running: false, ..clock });
    register.keep_clock(clock);
    assert_eq!(register.close().health, Health::Good);

    let Opened { register, before, told } = Register::open(&folder, Settings::default()).unwrap();
    assert!(told.is_empty(), "{told:?}");
    drop(register);
    // Without `d`, without the Plover, and with everything in another order.
    let edited = edited(&["new", "c", "b", "a"], &["Dunlin", "Heron"]);
    let recovered = before.recover(&edited);
    let heron = edited.train_named("Heron").unwrap();
    let at = |name: &str| edited.section_named(name).unwrap();
    let expected = Memory { on: vec![at("b")], nose: edited.end_named("b.b"), ..memory("b", "b.b") };
    assert_eq!(recovered.trains, [(heron, expected.clone())]);
    assert_eq!(recovered.lessons, [(heron, lessons.clone())]);
    let wishes: Vec<Request> = recovered.wishes.iter().map(|(wish, _)| wish.clone()).collect();
    let expected_wishes = [
        Request::SwitchFunction { train: heron, number: 12, on: true },
        Request::Hold { train: heron, reason: "tea time".to_owned() },
        Request::TakeOutOfService { section: at("c"), reason: "works".to_owned() },
        Request::StopAll,
        Request::SwitchAccessory { accessory: edited.accessory_named("lamps").unwrap(), on: false },
    ];
    assert_eq!(recovered.clock, Some(clock));
    assert_eq!(wishes, expected_wishes);
    assert!(recovered.wishes.iter().all(|(_, by)| by == "the signalman"), "{:?}", recovered.wishes);
    assert_eq!(recovered.told.len(), 3, "of the Plover, twice, and the Dunlin: {:?}", recovered.told);
    let remembered = Input::TrainRemembered { train: heron, memory: expected };
    assert_eq!(recovered.inputs(), [remembered, Input::ProfileRemembered { train: heron, lessons: Box::new(lessons) }]);
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn a_shift_that_begins_afresh_forgets_where_trains_stood_but_not_what_they_learned() {
    let folder = folder("afresh");
    let traffic = record(&folder, 7, 200);
    let mut register = open(&folder, Settings::default());
    register.begin_shift(beginning(&traffic.layout, Origin::Before));
    register.keep_all(&traffic.signaller);
    register.keep_clock(KeptClock { shows_ns: 1, pace: 1.0, is_running: false });
    register.close();
    let Opened { mut register, before, .. } = Register::open(&folder, Settings::default()).unwrap();
    let recovered = before.recover(&traffic.layout);
    assert_eq!(recovered.trains, traffic.signaller.memories());
    assert_eq!(recovered.lessons.len(), 2);
    assert!(!recovered.trains.is_empty() && !recovered.wishes.is_empty());
    register.begin_shift(beginning(&traffic.layout, Origin::Afresh));
    register.close();
    let before = Register::open(&folder, Settings::default()).unwrap().before;
    let recovered = before.recover(&traffic.layout);
    assert_eq!((recovered.trains.len(), recovered.lessons.len(), recovered.wishes.len()), (0, 2, 0));
    assert_eq!(recovered.clock, None);
    std::fs::remove_dir_all(folder).unwrap();
}
