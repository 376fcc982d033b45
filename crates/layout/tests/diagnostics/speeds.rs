//! How fast and how steeply: limits of turnouts, classes of speed, gradients.

use track::{Pass, Speed, SpeedClass};

use crate::{check, load};

/// A quay and a throat behind it; what the quay, the throat's first way, the turnout and the file have beside that.
fn throat(quay: &str, way: &str, turnout: &str, rest: &str) -> String {
    format!(
        r#"{rest}
[[section]]
name = "quay"
length = 1000
{quay}
[[section]]
name = "throat"
ways = [
  {{ from = "toe", to = "one", length = 240, needs = {{ W1 = "straight" }}{way} }},
  {{ from = "toe", to = "two", length = 245, needs = {{ W1 = "diverging" }}, limit = 90 }},
  {{ from = "toe", to = "three", length = 245, needs = {{ W1 = "straight", W2 = "diverging" }} }},
]
[[turnout]]
name = "W1"
{turnout}
[[turnout]]
name = "W2"
limit = 70
[[joint]]
ends = ["quay.b", "throat.toe"]
[[off-layout]]
at = ["quay.a", "throat.one", "throat.two", "throat.three"]
"#
    )
    .replace("{ W1 = \"straight\" }", "{ W1 = \"straight\", W2 = \"straight\" }")
}

#[test]
fn a_turnout_limits_the_ways_that_need_it_to_diverge_and_no_others() {
    let limits = |turnout: &str| {
        let layout = load(&throat("", "", turnout, "")).unwrap().layout;
        let limits: Vec<_> = layout.ways.values().map(|way| way.limit.map(Speed::mm)).collect();
        limits
    };
    assert_eq!(limits(""), [None, None, Some(90.0), Some(70.0)]);
    assert_eq!(limits("limit = 80"), [None, None, Some(80.0), Some(70.0)]);
    assert_eq!(limits("limit = 95"), [None, None, Some(90.0), Some(70.0)], "the lower one holds");
}

#[test]
fn track_rises_from_its_first_end_to_its_second() {
    let layout = load(&throat("gradient = 12.5", ", gradient = -20", "", "")).unwrap().layout;
    let rises: Vec<f64> = layout.ways.values().map(|way| way.gradient.permille()).collect();
    assert_eq!(rises, [12.5, -20.0, 0.0, 0.0]);
    let (quay, b) = (layout.section_named("quay").unwrap(), layout.end_named("quay.b").unwrap());
    assert_eq!(layout.gradient_from(layout.sections[quay].ways[0], b).permille(), -12.5);
}

#[test]
fn gradients_are_doubted_and_refused_where_nothing_climbs_them() {
    check(
        &throat("gradient = 120", ", gradient = -501", "", ""),
        "layout 5:12-15 warning: `gradient` is more than one in ten
            hint: a gradient is millimetres of rise a metre, from the first end to the second
         layout 9:102-106 mistake: `gradient` is more than half a metre a metre
            hint: `gradient` is a number of millimetres a metre, less than zero where the track falls",
    );
    check(
        &throat("gradient = nan", ", gradient = \"2 %\"", "", ""),
        "layout 5:12-15 mistake: `gradient` is `NaN`
            hint: `gradient` is a number of millimetres a metre, less than zero where the track falls
         layout 9:102-107 mistake: `gradient` is a number of millimetres a metre, less than zero where the track falls, not a text",
    );
}

#[test]
fn a_section_with_ways_has_no_gradient_for_all_of_them() {
    let text = throat("", "", "", "").replace("name = \"throat\"", "name = \"throat\"\ngradient = 5");
    check(
        &text,
        "layout 8:12-13 mistake: a section with `ways` has no `gradient` of its own
            hint: give each way its `gradient`: how it rises from the end it comes `from`",
    );
}

#[test]
fn classes_of_speed_are_what_the_layout_says_else_the_book_else_the_usual() {
    let book = "--- aspects/three-aspect.toml\n[book]\nspeeds = { slow = \"40 km/h\", medium = \"60 km/h\" }\n";
    let aspects = "[[aspect]]\nname = \"red\"\npass = \"stop\"\n[[aspect]]\nname = \"green\"\npass = \"slow\"\n\
                   [[rule]]\nshow = \"green\"\n";
    let layout = load(&throat("", "", "", "\n[speeds]\nmedium = 100")).unwrap().layout;
    let usual = |pass| layout.speed_of(&layout.books[track::Id::from_index(0)], pass).map(Speed::um);
    assert_eq!(usual(Pass::At(SpeedClass::Slow)), Some(102_768), "20 mph, 8940.8 mm/s, at 1:87");
    assert_eq!(usual(Pass::At(SpeedClass::Medium)), Some(100_000));
    let layout = load(&(throat("", "", "", "\n[speeds]\nmedium = 100") + book + aspects)).unwrap().layout;
    let own = |pass| layout.speed_of(&layout.books[track::Id::from_index(0)], pass).map(Speed::um);
    assert_eq!(own(Pass::At(SpeedClass::Slow)), Some(127_714), "40 km/h / 3.6 / 87");
    assert_eq!(own(Pass::At(SpeedClass::Medium)), Some(100_000), "the layout's word comes first");
    assert_eq!(own(Pass::At(SpeedClass::Normal)), None);
}

#[test]
fn classes_of_speed_that_do_not_rise_are_doubted_and_a_book_has_none_on_the_table() {
    check(
        &throat("", "", "", "\n[speeds]\nslow = \"40 km/h\"\nmedium = \"20 mph\"\nfast = 3"),
        "layout 4:10-18 warning: `medium` is slower than `slow`
            hint: the classes are `restricted`, `slow`, `medium`, `limited`, the slowest first
         layout 5:1-5 mistake: `[speeds]` has no key `fast`
            hint: its keys are `restricted`, `slow`, `medium` and `limited`",
    );
    let book = "--- aspects/three-aspect.toml\n[book]\nspeeds = { slow = 90 }\n[[aspect]]\nname = \"red\"\n\
                pass = \"stop\"\n[[aspect]]\nname = \"green\"\n[[rule]]\nshow = \"green\"\n";
    check(
        &(throat("", "", "", "") + book),
        "aspects/three-aspect 2:19-21 mistake: an aspect book is for tables of any scale
            hint: write a speed of the real railway, such as `\"40 km/h\"` or `\"25 mph\"`",
    );
}

#[test]
fn german_signals_for_slow_running_mean_40_kilometres_an_hour() {
    let text = throat("", "", "", "\n[layout]\nname = \"t\"\nscale = \"H0\"\naspects = \"de-hp\"");
    let layout = load(&text).unwrap().layout;
    let book = &layout.books[track::Id::from_index(0)];
    assert_eq!(layout.speed_of(book, Pass::At(SpeedClass::Slow)).map(Speed::um), Some(127_714), "from memory");
}

#[test]
fn a_train_lets_as_much_of_gravity_through_its_gears_as_was_said() {
    let share = |key: &str| {
        let text = throat("", "", "", "") + "--- trains.toml\n[[train]]\nname = \"Heron\"\n" + key;
        load(&text).map(|loaded| loaded.layout.trains.values().next().unwrap().gradient_share_permille)
    };
    assert_eq!(share("").unwrap(), 100);
    assert_eq!(share("gradient-share = 1").unwrap(), 1000);
    assert!(share("gradient-share = 1.5").is_err());
}
