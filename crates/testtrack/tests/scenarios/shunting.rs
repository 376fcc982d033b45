//! Trains that are uncoupled and coupled up again, by people, with the signaller's knowledge.

use signaller::{Direction, Fact, Request, Tag};
use testtrack::{Fault, Faults};
use track::{Length, Speed};

use crate::railway::{Railway, low_staithe_with};

/// What Dunlin leaves behind when its engine is uncoupled goes by this name.
const COACHES: &str = "\n[[train]]\nname = \"Coaches\"\n";

#[test]
fn the_engine_leaves_its_coaches_in_the_yard_runs_away_alone_comes_back_and_takes_them_along() {
    let mut railway = Railway::with(low_staithe_with(COACHES), 1, Faults::NONE, |_, _| {});
    let [dunlin, coaches] = ["Dunlin", "Coaches"].map(|name| railway.train(name));
    // They stand in one section, and the engine may leave it.
    railway.forgive("Dunlin was granted yard-2, but Coaches lies there");
    assert!(railway.table().uncouple(dunlin, 1, coaches));
    let uncouple = railway.ask(Request::Uncouple { train: dunlin, keep: 1, rest: coaches });
    railway.run(1.0);
    assert_eq!(railway.refusal(uncouple), None);
    railway.goes("Dunlin", "hill-3", 120);
    railway.run(3.0);
    assert_eq!(railway.tag("yard-2"), &Tag::Sure(coaches));
    assert_eq!(railway.tag("hill-3"), &Tag::Sure(dunlin));
    // A person shoves the engine back to them by hand, says where it stands, draws the coaches up, and couples them.
    for _ in 0..60 {
        if !railway.lies_in("Dunlin", "yard-east") {
            let (step, speed) = (Length::from_mm(50), Speed::from_mm(100));
            assert!(railway.table().push(dunlin, Direction::Backward, step, speed));
            railway.run(1.0);
        }
    }
    railway.run(3.0);
    railway.a_person_sees_to(dunlin);
    railway.table().couple(dunlin, coaches);
    let couple = railway.ask(Request::Couple { train: dunlin, with: coaches });
    railway.run(2.0);
    assert_eq!(railway.refusal(couple), None);
    assert_eq!(railway.told(signaller::Time::ZERO, |fact| matches!(fact, Fact::Coupled { .. })), 1);
    railway.goes_with_help("Dunlin", "loop-2", 600);
    assert_eq!(railway.tag("yard-2"), &Tag::Free);
    railway.in_order(&[Fault::Pushed]);
}
