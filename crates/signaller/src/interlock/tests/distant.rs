//! Distant signals: they foretell what the next main signal shows, and no train stops for them.

use track::{
    Aspect, AspectBook, AspectRow, BookParts, Builder, ClassSpeeds, Expect, Next, Pass, Role, Rule, SpeedClass,
};

use super::*;

fn foretelling() -> AspectBook {
    let normal = Pass::At(SpeedClass::Normal);
    let [caution, clear] = [Aspect(0), Aspect(1)];
    let worse = vec![Next::Shows(Aspect(0)), Next::BufferStop, Next::Edge];
    let better = vec![Next::Shows(Aspect(1)), Next::Shows(Aspect(2))];
    let main = track::AspectBook::three_aspect();
    let parts = BookParts {
        title: "foretelling".to_owned(),
        source: String::new(),
        role: Role::Distant,
        reads: Some((main.title().to_owned(), main.parts().aspects.clone())),
        diverging: SpeedClass::Normal,
        speeds: ClassSpeeds::default(),
        aspects: vec![
            AspectRow::new("caution", normal, Some(Expect::Stop)),
            AspectRow::new("clear", normal, Some(Expect::At(SpeedClass::Normal))),
        ],
        rules: vec![
            Rule { next: Some(worse), ..Rule::always(caution) },
            Rule { next: Some(better), ..Rule::always(clear) },
        ],
    };
    AspectBook::new(parts).unwrap()
}

/// Five sections in a row, main signals `S1` and `S3` at the far ends of the first and the third, and between them, at the
/// far end of the second, the distant signal `D3`.
fn line() -> World {
    let mut builder: Builder = builder();
    let line = row(&mut builder, &["a", "b", "c", "d", "e"], 1200);
    let book = builder.book(foretelling());
    for (name, section) in [("S1", 0), ("D3", 1), ("S3", 2)] {
        let at = end(&builder, line[section], "b");
        let signal = builder.signal(name, at);
        if name == "D3" {
            builder.signal_mut(signal).book = book;
        }
    }
    builder.train(railcar("Heron"));
    builder.train(railcar("Plover"));
    let mut world = World::new(builder.build());
    world.put("Heron", "a", "a.b");
    world
}

fn keep(world: &mut World, signal: &str) {
    let signal = world.layout.signal_named(signal).unwrap();
    assert_eq!(world.ask(Request::KeepAtDanger { signal, held: true }), Answer::Accepted);
}

#[test]
fn a_train_is_granted_no_track_that_ends_before_a_distant_signal() {
    let mut world = line();
    world.put("Plover", "c", "c.b");
    keep(&mut world, "S3");
    assert_eq!(world.go_to_section("Plover", "e"), Answer::Accepted);
    assert_eq!(world.go_to_section("Heron", "c"), Answer::Accepted);
    world.run(20.0, |_| false);
    assert_eq!((world.granted("Heron"), world.waits("Heron")), (vec!["a"], vec!["`c` is taken by `Plover`"]));
}

#[test]
fn a_train_runs_past_a_distant_signal_that_is_kept_at_caution_up_to_the_main_signal() {
    let mut world = line();
    keep(&mut world, "D3");
    keep(&mut world, "S3");
    assert_eq!(world.go_to_section("Heron", "e"), Answer::Accepted);
    world.run(40.0, |_| false);
    assert_eq!((world.nose("Heron").0, world.speed("Heron")), ("c", 0.0));
    assert_eq!(world.waits("Heron"), ["signal `S3` is kept at danger"]);
    assert_eq!(world.shows("D3"), "caution");
}
