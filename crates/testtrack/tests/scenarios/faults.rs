//! The table of contents: which story is about which fault.

use testtrack::Fault;

use crate::{power, rails, reports, trains, turnouts};

/// A fault, and the names of its stories.
type Stories = (Fault, &'static [(&'static str, fn())]);

/// The stories are named as functions, so that one that is renamed or lost does not compile.
macro_rules! stories {
    ($($fault:ident: $($module:ident::$story:ident),+;)+) => {
        [$((Fault::$fault, &[$((stringify!($story), $module::$story as fn())),+])),+]
    };
}

const STORIES: [Stories; Fault::ALL.len()] = stories! {
    ContactLoss: rails::a_train_loses_contact_for_a_moment_on_the_open_line_and_no_tag_moves,
        rails::a_train_comes_to_stand_on_a_dead_spot_and_its_track_is_given_to_nobody_else,
        rails::wheels_that_lose_contact_again_and_again_for_an_hour_cost_at_most_one_doubt;
    DirtySection: rails::dirty_rails_on_the_hill_make_the_detector_flicker_and_it_is_said_that_they_want_cleaning;
    FalseFill: rails::a_tool_across_the_rails_keeps_trains_out_until_somebody_takes_it_away,
        rails::moisture_fills_the_track_beside_a_standing_train_and_no_second_train_is_made_of_it;
    StuckDetector: rails::a_detector_that_is_stuck_on_free_stops_the_train_that_should_have_shown_itself_there,
        rails::a_detector_that_is_stuck_on_occupied_keeps_everybody_out_behind_the_train;
    SlowDetector: rails::a_detector_that_takes_a_second_too_long_costs_time_and_nothing_else;
    MessageLate: reports::the_report_that_a_train_came_is_late_by_a_second_and_the_train_arrives;
    MessageLost: reports::the_report_that_a_train_came_is_lost_and_the_train_is_found_at_the_next_section_or_stopped,
        reports::the_report_that_a_train_left_is_lost_and_nobody_is_sent_there_until_the_section_speaks_again;
    MessageDoubled: reports::reports_that_come_twice_for_an_hour_cost_at_most_one_doubt,
        reports::a_report_comes_again_after_the_train_has_left_and_nobody_sees_a_second_train;
    MessageReordered:
        reports::a_report_that_is_overtaken_by_the_next_one_leaves_an_obstacle_and_no_train_of_another_name;
    LinkDown: reports::a_link_goes_down_while_nothing_moves_and_all_is_as_it_was_when_it_is_up_again,
        reports::the_cable_of_the_hill_is_pulled_under_a_running_train_and_plugged_in_again_and_the_train_arrives;
    NodeRestart: reports::a_node_starts_anew_under_a_standing_train_and_its_tag_stays,
        reports::the_node_of_the_hill_starts_anew_while_trains_run_there_and_they_are_known_and_run_on;
    DarkSaysFree:
        power::power_fails_with_three_trains_out_all_sections_read_free_power_returns_no_tag_has_moved_and_all_run_on,
        power::power_fails_with_three_trains_out_all_sections_read_free_and_nobody_says_why_and_no_tag_moves,
        power::power_fails_in_the_yard_under_three_standing_trains_and_nobody_says_so;
    DarkSaysOccupied:
        power::power_fails_with_three_trains_out_all_sections_read_occupied_and_no_train_is_lost_among_them,
        power::power_fails_with_three_trains_out_all_sections_read_occupied_and_nobody_says_why_and_no_tag_moves,
        power::power_fails_in_the_yard_under_three_standing_trains_and_every_track_there_reads_occupied;
    BrownOut: power::the_voltage_sags_for_two_seconds_and_nobody_notices;
    TurnoutFails: turnouts::a_turnout_that_does_not_move_keeps_the_train_before_it_until_somebody_has_mended_it;
    TurnoutSlow: turnouts::a_turnout_that_takes_five_times_as_long_only_costs_time;
    TurnoutReportsWrongly: turnouts::a_turnout_that_moved_and_says_that_it_did_not_keeps_the_train_before_it,
        turnouts::a_train_that_a_lying_turnout_leads_into_the_wrong_track_is_found_there_and_nobody_runs_into_it;
    TurnoutMute: turnouts::a_turnout_that_says_nothing_is_not_run_over_until_it_speaks_again;
    Pushed: trains::a_train_that_is_pushed_out_of_the_station_has_no_turnout_thrown_under_it,
        trains::a_train_that_is_pushed_along_while_it_runs_stops_where_it_should_or_sooner;
    Lifted: trains::a_train_that_is_lifted_for_repair_and_put_back_with_a_word_runs_on,
        trains::a_train_that_is_put_elsewhere_without_a_word_is_run_into_by_nobody;
    PutDown: trains::a_wagon_that_nobody_knows_of_is_not_run_into_and_the_line_is_free_when_it_is_gone;
    Parted: trains::a_tail_that_parts_stays_an_obstacle_and_nobody_runs_into_it;
    Stall: trains::a_locomotive_that_stalls_for_a_while_is_tried_again_and_arrives_later;
    Runaway: trains::a_train_that_starts_by_itself_while_another_is_on_its_way_is_met_by_nobody;
    OrderIgnored: trains::a_train_that_does_not_hear_that_it_should_brake_does_no_harm;
    HandDriven: trains::a_train_that_a_guest_drives_without_a_word_is_kept_clear_of;
};

/// That a story lets its fault happen it checks itself: see `Railway::in_order`.
#[test]
fn every_fault_that_the_table_knows_has_a_story_with_a_whole_sentence_for_a_name() {
    for fault in Fault::ALL {
        let told = STORIES.iter().filter(|(about, _)| *about == fault).flat_map(|(_, stories)| *stories);
        let names: Vec<&str> = told.map(|(name, _)| *name).collect();
        assert!(!names.is_empty(), "{} has no story", fault.name());
        assert!(names.iter().all(|name| name.split('_').count() >= 8), "{}: {names:?}", fault.name());
    }
}
