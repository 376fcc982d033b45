//! Scenarios about what trains do besides running, and about how many orders they get.

use std::time::Duration;

use track::{Beyond, Function, Layout, Length, On};

use crate::model::{World, builder, end, passing_loop, railcar, row};
use crate::{Output, Time};

/// The passing loop with a Heron that behaves so.
fn with_heron(change: impl FnOnce(&mut track::Train)) -> World {
    let mut layout = passing_loop();
    let heron = layout.train_named("Heron").unwrap();
    change(&mut layout.trains[heron]);
    let mut world = World::new(layout);
    world.put("Heron", "w0", "w0.b");
    world
}

fn first_drive(world: &World) -> Time {
    let starts = |output: &Output| matches!(output, Output::Drive { step: 1.., .. });
    world.said.iter().find(|(_, output)| starts(output)).map(|&(at, _)| at).unwrap()
}

#[test]
fn a_train_takes_its_time_to_set_out() {
    let mut prompt = with_heron(|_| {});
    prompt.go("Heron", "halt");
    prompt.run(5.0, |_| false);
    let mut slow = with_heron(|heron| heron.start_delay = Duration::from_millis(1500));
    slow.go("Heron", "halt");
    slow.run(5.0, |_| false);
    let later = first_drive(&slow).since(first_drive(&prompt));
    assert!(later >= Duration::from_millis(1500) && later < Duration::from_millis(1600), "{later:?}");
    assert!(slow.run(60.0, |world| world.has_arrived("Heron")));
}

#[test]
fn a_train_stands_at_its_stopping_point_for_a_while_before_it_sets_out_again() {
    let mut world = with_heron(|heron| heron.dwell = Duration::from_secs(8));
    world.go("Heron", "halt");
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    let arrived = world.now;
    world.go("Heron", "far east");
    assert_eq!(world.waits("Heron"), ["it stands at its stopping point a little longer"]);
    assert!(world.run(20.0, |world| world.speed("Heron") > 0.0));
    assert!(world.now.since(arrived) >= Duration::from_secs(8), "{:?}", world.now.since(arrived));
}

#[test]
fn a_train_lights_its_lamps_by_direction_and_sounds_its_horn_when_it_sets_out() {
    let functions = [
        Function { number: 0, on: On::Forward },
        Function { number: 1, on: On::Backward },
        Function { number: 2, on: On::AtStart(Duration::from_millis(1200)) },
        Function { number: 3, on: On::Moving },
        Function { number: 4, on: On::AtStop(Duration::from_secs(2)) },
    ];
    let mut world = with_heron(|heron| heron.functions = functions.to_vec());
    world.go("Heron", "halt");
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    world.run(3.0, |_| false);
    world.go("Heron", "far west");
    world.run(3.0, |_| false);
    let switched = world.said.iter().filter_map(|&(at, ref output)| match *output {
        Output::Function { number, on, .. } => Some((at, number, on)),
        _ => None,
    });
    let switched: Vec<_> = switched.collect();
    let order: Vec<_> = switched.iter().map(|&(_, number, on)| (number, on)).collect();
    let there = [(0, true), (2, true), (3, true), (2, false), (3, false), (4, true), (4, false)];
    assert_eq!(order[..7], there, "{order:?}");
    assert!(order[7..].contains(&(0, false)) && order[7..].contains(&(1, true)), "it turned: {order:?}");
    let horn = switched[3].0.since(switched[1].0);
    assert!(horn >= Duration::from_millis(1200) && horn < Duration::from_millis(1300), "{horn:?}");
}

/// Six lines side by side, with a train on each; all orders go over one link that carries so many a second.
fn six_lines(orders_a_second: Option<u16>) -> Layout {
    let mut builder = builder();
    let link = builder.link("bus");
    builder.link_mut(link).orders_a_second = orders_a_second;
    for line in 0..6 {
        let names: Vec<String> = (0..4).map(|section| format!("{line}-{section}")).collect();
        let sections = row(&mut builder, &names.iter().map(String::as_str).collect::<Vec<_>>(), 1500);
        let far = end(&builder, sections[3], "b");
        builder.close(far, Beyond::BufferStop);
        builder.stop(format!("stop {line}"), far, Length::from_mm(100));
        builder.train(track::Train { link: Some(link), ..railcar(&format!("train {line}")) });
    }
    builder.build()
}

/// The most orders in any second while six trains run and stop; how many there were in all, and when the last train arrived.
fn orders(orders_a_second: Option<u16>) -> (usize, usize, Duration) {
    let mut world = World::new(six_lines(orders_a_second));
    for line in 0..6 {
        world.put(&format!("train {line}"), &format!("{line}-0"), &format!("{line}-0.b"));
        world.go(&format!("train {line}"), &format!("stop {line}"));
        world.run(0.7, |_| false);
    }
    let begun = world.now;
    let all = |world: &World| (0..6).all(|line| world.has_arrived(&format!("train {line}")));
    assert!(world.run(180.0, all), "{orders_a_second:?}");
    let drives = world.said.iter().filter(|(_, output)| matches!(output, Output::Drive { .. }));
    let at: Vec<Time> = drives.map(|&(at, _)| at).collect();
    let within = |&from: &Time| at.iter().filter(|&&at| at >= from && at < from + Duration::from_secs(1)).count();
    (at.iter().map(within).max().unwrap(), at.len(), world.now.since(begun))
}

#[test]
fn trains_get_no_more_orders_a_second_than_their_link_carries_and_stop_in_time_all_the_same() {
    let (free, ..) = orders(None);
    assert!(
        free > 25,
        "six trains that gather speed together are told {free} things a second where nothing forbids it"
    );
    for bound in [20, 10] {
        // Every train stops in its authority: the table looks to that.
        let (most, ..) = orders(Some(bound));
        // Orders to stand go out at once, and again: there may be so many more.
        assert!(most <= usize::from(bound) + 6, "{most} orders in a second over a link that carries {bound}");
    }
}
