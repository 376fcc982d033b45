//! Scripts that mean harm, on the pretend table: the signaller refuses, and nobody else is concerned.

use crate::demo::{low_staithe, on_the_table};

/// The demo's shuttle beside a script that means harm. Tells why its requests were refused.
fn beside_the_shuttle(bad: &str, minutes: i64) -> Vec<String> {
    let shuttle = low_staithe().1.into_iter().find(|(name, _)| name == "shuttle.lua").unwrap();
    let alone = on_the_table(vec![shuttle.clone()], 1, minutes);
    let both = on_the_table(vec![("bad.lua".to_owned(), bad.to_owned()), shuttle], 1, minutes);
    let (alone, beside) = (alone.of("Heron").len(), both.of("Heron").len());
    assert!(beside * 2 >= alone && alone > 2, "the railcar made {beside} trips, {alone} when it was alone");
    let of_shuttle: Vec<String> =
        both.notices.iter().map(ToString::to_string).filter(|line| line.starts_with("shuttle")).collect();
    assert_eq!(of_shuttle, Vec::<String>::new());
    both.refusals
}

#[test]
fn a_script_that_throws_turnouts_under_trains_is_refused() {
    let bad = r#"
        on("section_filled", { section = "*-throat" }, function() try(throw, "W1", "diverging") end)
        task("mean", function()
            while true do
                for _, turnout in { "W1", "W3", "W4" } do
                    if tag("quay-throat") or tag("loop-west") then
                        try(throw, turnout, "diverging")
                        try(throw, turnout, "straight")
                    end
                end
                wait(0.5)
            end
        end)
    "#;
    let refusals = beside_the_shuttle(bad, 15);
    assert!(refusals.iter().any(|reason| reason.contains("`W")), "{refusals:?}");
}

#[test]
fn a_script_that_sends_two_trains_into_one_section_makes_one_wait() {
    let bad = r#"
        for _, train in { "Plover", "Dunlin" } do
            task(train, function()
                while true do
                    try_send(train, "loop-2", 200)
                    try_send(train, "quay-2", 200)
                end
            end)
        end
    "#;
    // No rule is broken: that is looked at in every moment.
    let afternoon = on_the_table(vec![("bad.lua".to_owned(), bad.to_owned())], 1, 20);
    assert!(!afternoon.arrivals.is_empty());
}

#[test]
fn a_script_that_takes_the_railway_apart_is_not_obeyed_where_trains_are() {
    let bad = r#"
        local n = 0
        task("mean", function()
            while true do
                n += 1
                for _, act in { hold, stop, release, limit } do
                    try(act, "Heron", "mine")
                end
                try(care, "Heron")
                try(send, "Heron", "quay-2.a")
                wait(1)
            end
        end)
        on("arrived", function() error("and an error in every hook") end)
        task("global", function() while true do say = nil task = nil _G.send = nil wait(1) end end)
    "#;
    let shuttle = low_staithe().1.into_iter().find(|(name, _)| name == "shuttle.lua").unwrap();
    let afternoon = on_the_table(vec![("zz-bad.lua".to_owned(), bad.to_owned()), shuttle], 1, 15);
    assert!(afternoon.of("Heron").len() >= 6, "{:?}", afternoon.arrivals);
    let of_shuttle =
        afternoon.notices.iter().map(ToString::to_string).filter(|line| line.starts_with("shuttle")).count();
    assert_eq!(of_shuttle, 0, "{:?}", afternoon.notices);
}
