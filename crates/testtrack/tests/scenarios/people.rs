//! What people say to the signaller, and what it finds out by itself: doubts settled by a word, a roll call, a train that is
//! not who it was said to be.

use signaller::{Fact, Request, Tag};
use track::TrainId;

use crate::railway::{Railway, low_staithe_with};

/// Plover and Dunlin stand in the yard where nobody said who is who.
fn two_trains_of_which_nobody_knows_who_is_who(seed: u64) -> (Railway, TrainId, TrainId) {
    let mut railway = Railway::new(seed);
    let (plover, dunlin) = (railway.train("Plover"), railway.train("Dunlin"));
    let yard = ["yard-1", "yard-2"].map(|name| railway.section(name));
    // While the signaller is off somebody changes them over.
    railway.restart(20, |table| {
        table.lift(plover);
        table.lift(dunlin);
        table.put_down(plover, &[yard[1]], None).unwrap();
        table.put_down(dunlin, &[yard[0]], None).unwrap();
    });
    railway.run(5.0);
    (railway, plover, dunlin)
}

#[test]
pub(crate) fn x() {
    let (railway, ..) = two_trains_of_which_nobody_knows_who_is_who(1);
    println!("{:?} {:?}", railway.tags(), railway.doubts());
    let _ = (low_staithe_with(""), Tag::Free, Request::StopAll, |fact: &Fact| matches!(fact, Fact::RollCallBegan { .. }));
}
