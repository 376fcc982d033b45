//! What is explored, and which bugs are to be found.

use super::cases::{Case, Liberties};
use super::{Bug, cases, check, check_that_found, explore};

const QUIET: Liberties = Liberties {
    reports_come_late: false,
    reaches_farther: false,
    failures: 0,
    stops: 0,
    throws: 0,
    keeps: 0,
    routes: 0,
    withdrawals: 0,
};
const LATE: Liberties = Liberties { reports_come_late: true, ..QUIET };

/// All but the single line, which has many more states.
fn small_cases() -> [Case; 3] {
    [cases::crossover(), cases::ladder(), cases::reversing_loop()]
}

#[test]
fn two_trains_pass_in_a_loop_whoever_gets_on_first() {
    check(&cases::single_line().with(LATE), 100_000);
    check(&cases::single_line_in_blocks().with(QUIET), 100_000);
}

#[test]
fn trains_change_places_over_junctions_whoever_gets_on_first() {
    for case in small_cases() {
        check(&case.with(LATE), 50_000);
    }
    check(&cases::once_round().with(LATE), 50_000);
}

#[test]
fn one_train_at_a_time_is_where_tracks_cross() {
    check(&cases::crossing().with(LATE), 50_000);
    check(&cases::crossing().with(Liberties { stops: 1, reaches_farther: true, ..QUIET }), 50_000);
    let wishes = cases::crossing().setting(&["S1-x2.b", "S4-y0.a"]).withdrawing(&["x1"]);
    check(&wishes.clone().with(Liberties { routes: 2, ..QUIET }), 50_000);
    check(&wishes.with(Liberties { withdrawals: 1, ..QUIET }), 50_000);
    check_that_found(&cases::crossing().with(QUIET), Bug::GrantsWhatIsTaken, "no section is shared");
}

#[test]
fn trains_get_home_whenever_one_is_stopped_on_its_way() {
    for case in small_cases() {
        check(&case.with(Liberties { stops: 1, reaches_farther: true, ..QUIET }), 50_000);
    }
}

#[test]
fn trains_get_home_whichever_turnout_fails_and_whichever_is_thrown_by_hand() {
    for case in small_cases() {
        check(&case.with(Liberties { failures: 1, throws: 1, ..QUIET }), 50_000);
    }
    check(&cases::single_line().with(Liberties { failures: 1, ..QUIET }), 100_000);
    // A turnout beside the path of a train whose coming is heard of late is not tried again under it.
    check(&cases::ladder().with(Liberties { throws: 1, ..LATE }), 50_000);
}

#[test]
fn trains_get_home_whichever_signal_is_kept_at_danger_for_a_while() {
    for case in small_cases() {
        check(&case.with(Liberties { keeps: 1, ..QUIET }), 50_000);
    }
}

/// The cases in which people set and cancel these routes, and take these sections out of service.
fn cases_with_wishes() -> [Case; 3] {
    [
        cases::crossover().setting(&["S1-n1.b", "S2-n0.a", "S3-s1.b"]).withdrawing(&["nt", "s1"]),
        cases::ladder().setting(&["S1-t2.b", "S2-l0.a", "S4-l0.a"]).withdrawing(&["ladder", "t3"]),
        cases::reversing_loop().setting(&["S1-S4", "S3-s0.a"]).withdrawing(&["throat", "l2"]),
    ]
}

#[test]
fn trains_get_home_whichever_route_is_set_and_cancelled_on_their_way() {
    for case in cases_with_wishes() {
        check(&case.with(Liberties { routes: 2, ..QUIET }), 100_000);
    }
}

#[test]
fn trains_get_home_whichever_section_is_out_of_service_for_a_while() {
    for case in cases_with_wishes() {
        check(&case.with(Liberties { withdrawals: 1, stops: 1, ..QUIET }), 100_000);
    }
}

#[test]
fn trains_get_home_though_turnouts_in_overlaps_are_kept() {
    check(&cases::single_line().with_overlap("S3", "east").with_overlap("S6", "west").with(QUIET), 100_000);
    check(&cases::crossover().with_overlap("S1", "nt").with(Liberties { throws: 1, stops: 1, ..QUIET }), 100_000);
}

#[test]
fn a_bug_made_on_purpose_is_found_by_the_check_that_is_for_it() {
    use Bug::*;
    let case = cases::single_line().with(Liberties { stops: 1, throws: 1, ..QUIET });
    for (bug, property) in [
        (LosesTheTail, "nothing is given back under a train"),
        (GrantsWhatIsTaken, "our own assertions hold"),
        (OverlooksATrain, "no section is shared"),
        (ThrowsWhatIsLocked, "no turnout is thrown under a train or a lock"),
        (ThrowsWhatIsLocked, "authority leads over proved turnouts only"),
        (RunsBeforeTurnoutsAreProved, "no train enters without leave"),
        (BelievesThatTrainsStopAtOnce, "no train enters without leave"),
        (BelievesThatTrainsStopAtOnce, "no train is held for nothing"),
        (SignalsLookAway, "no signal is falsely clear"),
    ] {
        check_that_found(&case, bug, property);
    }
    let case = cases::ladder().setting(&["S1-t2.b"]).with(Liberties { routes: 1, ..QUIET });
    check_that_found(&case, OverlooksWishes, "no section is shared");
    let case = cases::ladder().withdrawing(&["ladder"]).with(Liberties { withdrawals: 1, ..QUIET });
    check_that_found(&case, OverlooksWishes, "authority leads over no track that is out of service");
    check_that_found(
        &cases::single_line_in_blocks().with(QUIET),
        LetsTrainsMeet,
        "everybody can still get where they are going",
    );
    let case = cases::single_line_in_blocks().with(Liberties { keeps: 1, ..QUIET }).keeping("S7");
    let found = explore(&case, Some(LetsNobodyDrawAside), 100_000);
    println!("{}, nobody draws aside: {} states", case.name, found.states);
    assert_eq!(found.failures, []);
}

/// Whether the larger spaces are to be explored, too.
fn explores_deeply() -> bool {
    let is_wanted = std::env::var_os("LINECLEAR_DEEP").is_some();
    if !is_wanted {
        println!("skipped: set LINECLEAR_DEEP to explore the larger spaces");
    }
    is_wanted
}

#[test]
fn two_trains_pass_in_a_loop_whatever_else_happens() {
    if !explores_deeply() {
        return;
    }
    for liberties in [
        Liberties { stops: 1, ..QUIET },
        Liberties { keeps: 1, ..QUIET },
        Liberties { failures: 1, throws: 1, ..QUIET },
    ] {
        check(&cases::single_line().with(liberties), 1_000_000);
    }
    check(&cases::single_line_in_blocks().with(LATE), 1_000_000);
    check(&cases::single_line_there_and_back().with(QUIET), 1_000_000);
}

#[test]
fn trains_change_places_over_a_crossover_whatever_else_happens() {
    if explores_deeply() {
        check(&cases::crossover().with(Liberties { failures: 1, stops: 1, throws: 1, keeps: 1, ..LATE }), 1_000_000);
    }
}

/// What may happen besides, two kinds at a time: all four at once is more than there is memory for.
const TWO_AT_A_TIME: [Liberties; 4] = [
    Liberties { failures: 1, throws: 1, ..LATE },
    Liberties { failures: 1, stops: 1, ..LATE },
    Liberties { throws: 1, keeps: 1, ..LATE },
    Liberties { stops: 1, keeps: 1, ..LATE },
];

#[test]
fn trains_change_places_over_a_ladder_whatever_two_things_happen_besides() {
    if explores_deeply() {
        for liberties in TWO_AT_A_TIME {
            check(&cases::ladder().with(liberties), 2_000_000);
        }
    }
}

#[test]
fn trains_change_places_in_a_reversing_loop_whatever_two_things_happen_besides() {
    if explores_deeply() {
        for liberties in TWO_AT_A_TIME {
            check(&cases::reversing_loop().with(liberties), 2_000_000);
        }
    }
}
