//! Vehicles described by what their axles draw.

use track::{Axle, Current, Draw, Length, Resistance};

use crate::{check, load};

/// A quay whose detector senses so, fed with so many volts, and a train of one vehicle.
fn on_the_quay(sensing: &str, voltage: &str, vehicle: &str) -> String {
    format!(
        "[layout]\nname = \"t\"\nscale = \"H0\"\n{sensing}\n[[district]]\nname = \"harbour\"\n{voltage}\n\
         [[section]]\nname = \"quay\"\nlength = 900\ndistrict = \"harbour\"\n\
         [[off-layout]]\nat = [\"quay.a\", \"quay.b\"]\n\
         --- trains.toml\n[[train]]\nname = \"Heron\"\nvehicles = [{{ length = 128, {vehicle} }}]\n"
    )
}

const SENSITIVE: &str = "sensing = \"diode-drop\"\nthreshold = 1.0";

/// From where to where the vehicle is seen, in millimetres.
#[track_caller]
fn seen(sensing: &str, voltage: &str, vehicle: &str) -> Option<(f64, f64)> {
    let loaded = load(&on_the_quay(sensing, voltage, vehicle)).unwrap_or_else(|refused| panic!("refused:\n{refused}"));
    let train = loaded.layout.trains.values().next().unwrap();
    train.vehicles[0].detectable.map(|(first, last)| (first.mm(), last.mm()))
}

#[track_caller]
fn check_vehicle(sensing: &str, vehicle: &str, expect: &str) {
    check(&on_the_quay(sensing, "voltage = 15", vehicle), expect);
}

#[test]
fn an_engine_is_seen_from_its_first_to_its_last_pickup() {
    let vehicle = "pickups = [106, 22, 64], draws = 30";
    assert_eq!(seen(SENSITIVE, "voltage = 15", vehicle), Some((22.0, 106.0)));
    let layout = load(&on_the_quay(SENSITIVE, "voltage = 15", vehicle)).unwrap().layout;
    let axles = &layout.trains.values().next().unwrap().vehicles[0].axles;
    let share = Draw::Share(Current::from_ua(10_000));
    assert_eq!(axles[..], [22, 64, 106].map(|mm| Axle { at: Length::from_mm(mm), draw: share }));
}

#[test]
fn a_van_with_one_resistor_axle_is_seen_at_that_axle() {
    let layout = load(&on_the_quay(SENSITIVE, "voltage = 15", "resistor-axles = [20]")).unwrap().layout;
    let vehicle = &layout.trains.values().next().unwrap().vehicles[0];
    let at = Length::from_mm(20);
    assert_eq!(vehicle.detectable, Some((at, at)));
    assert_eq!(vehicle.axles, [Axle { at, draw: Draw::Resistor(Resistance::from_ohm(10_000)) }]);
}

/// 10 kilohms at 15 V, less 0.7 V: 1.43 mA (Ohm's law; 15 V is the nominal voltage of H0 in NMRA S-9.1, table 3).
#[test]
fn a_resistor_axle_is_seen_up_to_the_current_that_it_draws() {
    let van = "resistor-axles = [20, 108]";
    let at = |kind: &str, threshold: &str| {
        seen(&format!("sensing = \"{kind}\"\nthreshold = {threshold}"), "voltage = 15", van)
    };
    assert_eq!(at("diode-drop", "1.43"), Some((20.0, 108.0)));
    assert_eq!(at("diode-drop", "1.431"), None);
    assert_eq!(at("current-transformer", "0.1"), None, "whatever its threshold, 3 mA are needed");
    assert_eq!(at("hall", "0.1"), None, "it may be 3 mA off");
    let at = |kind: &str, threshold: &str| {
        let van = "resistor-axles = [20, 108], resistance = 3000";
        seen(&format!("sensing = \"{kind}\"\nthreshold = {threshold}"), "voltage = 15", van)
    };
    assert_eq!(at("current-transformer", "5"), Some((20.0, 108.0)), "15 V over 3 kilohms are 5 mA");
    assert_eq!(at("current-transformer", "5.001"), None);
    assert_eq!(at("hall", "2"), Some((20.0, 108.0)));
    assert_eq!(at("hall", "2.001"), None);
}

/// 10 kilohms at 8.5 V, less 0.7 V: 0.78 mA (Ohm's law; 8.5 V is the least of a command station in NMRA S-9.1, table 3).
#[test]
fn where_no_voltage_was_given_the_least_of_a_station_is_reckoned_with() {
    let van = "resistor-axles = [20, 108]";
    assert_eq!(seen("sensing = \"diode-drop\"\nthreshold = 0.78", "", van), Some((20.0, 108.0)));
    assert_eq!(seen("sensing = \"diode-drop\"\nthreshold = 0.781", "", van), None);
}

#[test]
fn axles_that_the_least_sensitive_detector_misses_do_not_count() {
    let text = on_the_quay(SENSITIVE, "voltage = 15", "pickups = [60, 80], draws = 24, resistor-axles = [20, 108]");
    let (track, trains) = text.split_once("--- ").unwrap();
    let bay = "[[section]]\nname = \"bay\"\ndistrict = \"harbour\"\n[[buffer-stop]]\nat = \"bay.b\"\n\
               [[joint]]\nends = [\"bay.a\", \"quay.b\"]\n[[detector]]\narea = \"bay\"\nthreshold = 6\n";
    let track = track.replace("at = [\"quay.a\", \"quay.b\"]", "at = \"quay.a\"");
    let layout = load(&format!("{track}{bay}--- {trains}")).unwrap().layout;
    let vehicle = &layout.trains.values().next().unwrap().vehicles[0];
    assert_eq!(vehicle.detectable, Some((Length::from_mm(60), Length::from_mm(80))));
    assert_eq!(vehicle.axles.len(), 4);
}

#[test]
fn axles_too_weak_to_be_seen_are_told_with_their_current() {
    check_vehicle(
        "sensing = \"current-transformer\"\nthreshold = 8",
        "pickups = [20, 60, 108], draws = 20, resistor-axles = [40] }, { length = 128, resistor-axles = [20]",
        r#"
            trains 3:39-52 warning: axles like these are too weak to be seen everywhere: each draws 6.666 mA at 15 V, and the detector `quay` is only sure of 8 mA
            hint: `draws` is what all `pickups` draw together while the vehicle stands
            trains 3:83-87 warning: axles like these are too weak to be seen everywhere: each draws 1.5 mA at 15 V, and the detector `quay` is only sure of 8 mA
            hint: an axle with a smaller `resistance` draws more
        "#,
    );
}

#[test]
fn what_is_seen_of_axles_cannot_be_told_without_a_threshold() {
    let vehicle = "pickups = [20, 108], draws = 20 }, { length = 128, resistor-axles = [20]";
    check_vehicle(
        "",
        vehicle,
        r#"
            trains 3:39-48 mistake: nobody can tell which axles are seen: the detector of `quay` says no `threshold`
            hint: say `sensing` and `threshold` under `[layout]`, or `detectable` of each vehicle
        "#,
    );
    check_vehicle("", "pickups = [20, 108], draws = 20, detectable = [20, 108]", "");
}

#[test]
fn a_sensing_that_was_mistyped_is_not_reported_again_at_the_axles() {
    check_vehicle(
        "sensing = \"halls\"\nthreshold = 8",
        "resistor-axles = [40]",
        r#"
            layout 4:11-18 mistake: no detector senses by `halls`
            hint: the nearest word is `hall`
        "#,
    );
    check(
        &on_the_quay(SENSITIVE, "voltage = -15", "resistor-axles = [40]"),
        r#"
            layout 8:11-14 mistake: `voltage` is negative
            hint: `voltage` is a number of volts
        "#,
    );
}

#[test]
fn detectable_may_say_less_than_the_axles_but_not_more() {
    let vehicle = |detectable: &str| format!("pickups = [20, 108], draws = 20, detectable = {detectable}");
    check_vehicle(SENSITIVE, &vehicle("[20, 108]"), "");
    check_vehicle(SENSITIVE, &vehicle("[40, 90]"), "");
    assert_eq!(seen(SENSITIVE, "voltage = 15", &vehicle("[40, 90]")), Some((40.0, 90.0)));
    check_vehicle(
        SENSITIVE,
        &vehicle("[10, 108]"),
        r#"
            trains 3:75-84 mistake: `detectable` reaches beyond the axles that draw current: [20, 108]
            hint: list the missing axles, or leave `detectable` out, and it is reckoned from them
        "#,
    );
    check_vehicle(
        SENSITIVE,
        &vehicle("false"),
        r#"
            trains 3:75-80 warning: `detectable` is false, yet detectors see axles: [20, 108]
            hint: leave `detectable` out, and it is reckoned from the axles
        "#,
    );
    check_vehicle(
        "sensing = \"hall\"\nthreshold = 5",
        "pickups = [40, 90], draws = 20, resistor-axles = [20, 108], detectable = [20, 90]",
        r#"
            trains 3:102-110 warning: `detectable` says more than is seen everywhere by reckoning: [40, 90]
            hint: what is wrongly believed detectable may be run into: measure what the axles draw, or say less
        "#,
    );
    check_vehicle(
        "sensing = \"hall\"\nthreshold = 50",
        &vehicle("true"),
        r#"
            trains 3:75-79 warning: `detectable` says more than is seen everywhere by reckoning: nothing
            hint: what is wrongly believed detectable may be run into: measure what the axles draw, or say less
        "#,
    );
}

#[test]
fn axles_that_cannot_be() {
    let vehicles = [
        "pickups = [20, 129], draws = 20",
        "pickups = [20, 20], draws = 20",
        "pickups = [], draws = 20",
        "pickups = [20], draws = 0",
        "pickups = [20]",
        "draws = 20",
        "resistance = 4700",
        "resistor-axles = [-1, \"2\"]",
        "resistor-axles = 20",
        "resistor-axles = [20], resistance = 10",
        "resistor-axles = [20], resistance = 2e7",
        "pickups = [20, 40], draws = 20, resistor-axles = [40]",
        "resistor-axle = [40]",
    ];
    check_vehicle(
        SENSITIVE,
        &vehicles.join(" },\n{ length = 128, "),
        r#"
            trains 3:44-47 mistake: the axle lies behind the vehicle, which is 128 mm long
            hint: axles are measured from the vehicle's front
            trains 4:32-34 mistake: the axle at 20 mm is listed twice
            trains 5:27-29 mistake: `pickups` is empty
            hint: list where these axles are, in millimetres from the vehicle's front, or leave `pickups` out
            trains 6:41-42 mistake: `draws` is zero
            hint: `draws` is a number of milliamperes
            trains 7:27-31 mistake: `pickups` goes with `draws`
            hint: add `draws`: what motor, decoder and lights draw together while it stands, in milliamperes
            trains 8:25-27 mistake: `draws` goes with `pickups`
            hint: add `pickups`: the axles that collect current, in millimetres from the vehicle's front
            trains 9:30-34 mistake: `resistance` goes with `resistor-axles`
            hint: add `resistor-axles`: where they are, in millimetres from the vehicle's front
            trains 10:35-37 mistake: `resistor-axles` is negative
            hint: `resistor-axles` is a number of millimetres
            trains 10:39-42 mistake: `resistor-axles` is a number of millimetres, not a text
            hint: write `resistor-axles = 2`, without quotes
            trains 11:34-36 mistake: `resistor-axles` is a list, not a whole number
            hint: put it in brackets: `resistor-axles = [...]`
            trains 12:53-55 mistake: `resistance` is less than 500 ohms, and would burn
            hint: `resistance` is a number of ohms
            trains 13:53-56 mistake: `resistance` is more than ten megohms
            hint: `resistance` is a number of ohms
            trains 14:66-70 mistake: the axle at 40 mm is listed as a pickup too
            hint: an axle either collects current for the vehicle or has a resistor: list it once
            trains 15:17-30 mistake: a vehicle has no key `resistor-axle`
            hint: the nearest key is `resistor-axles`
        "#,
    );
}
