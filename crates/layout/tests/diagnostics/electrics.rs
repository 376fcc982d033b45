//! Voltages, and how detectors sense.

use std::time::Duration;

use track::{Current, Sensing, SensingKind, Voltage};

use crate::{check, load};

/// A quay and a line, and behind them what else the layout says.
fn quay_and_line(rest: &str) -> String {
    let mut text = String::from("\n");
    for name in ["quay", "line"] {
        text += &format!("[[section]]\nname = \"{name}\"\nlength = 1000\ndistrict = \"harbour\"\n");
    }
    text + "[[joint]]\nends = [\"quay.b\", \"line.a\"]\n[[off-layout]]\nat = [\"quay.a\", \"line.b\"]\n" + rest
}

const HEAD: &str = "[layout]\nname = \"t\"\nscale = \"H0\"\n";
const HARBOUR: &str = "[[district]]\nname = \"harbour\"\n";

#[test]
fn a_detector_senses_as_all_do_unless_it_says_otherwise() {
    let head = format!("{HEAD}sensing = \"diode-drop\"\nthreshold = 1.2\nbridge = 0.3\n");
    let rest = "voltage = 15.5\n[[detector]]\narea = \"quay\"\nthreshold = 2\n\
                [[detector]]\nname = \"gate\"\nreader = \"quay\"\n";
    let layout = load(&format!("{head}{}", quay_and_line(&format!("{HARBOUR}{rest}")))).unwrap().layout;
    let found: Vec<_> = layout
        .detectors
        .values()
        .map(|detector| {
            (detector.name.as_str(), detector.sensing.map(|sensing| sensing.threshold.ua()), detector.bridge)
        })
        .collect();
    let bridge = Duration::from_millis(300);
    assert_eq!(found, [("quay", Some(2000), bridge), ("line", Some(1200), bridge), ("gate", None, Duration::ZERO)]);
    assert_eq!(layout.districts.values().next().unwrap().voltage, Some(Voltage::from_mv(15_500)));
}

#[test]
fn what_was_not_said_of_sensing_is_not_known() {
    let rest = "[[detector]]\narea = \"line\"\nsensing = \"current-transformer\"\nthreshold = 0.5\nbridge = 0.2\n";
    let layout = load(&quay_and_line(&format!("{HARBOUR}{rest}"))).unwrap().layout;
    let detector = |name: &str| &layout.detectors[layout.detector_named(name).unwrap()];
    assert_eq!((detector("quay").sensing, detector("quay").bridge), (None, Duration::ZERO));
    let sensing = Sensing { kind: SensingKind::CurrentTransformer, threshold: Current::from_ua(500) };
    assert_eq!((detector("line").sensing, detector("line").bridge), (Some(sensing), Duration::from_millis(200)));
    assert_eq!(layout.districts.values().next().unwrap().voltage, None);
}

#[test]
fn a_sensing_without_a_threshold_and_the_reverse() {
    check(
        &format!("{HEAD}threshold = 1\n{}", quay_and_line(HARBOUR)),
        r#"
            layout 4:13-14 mistake: `threshold` goes with a `sensing`
            hint: say `sensing = "diode-drop"` beside it
        "#,
    );
    check(
        &quay_and_line(&format!(
            "{HARBOUR}[[detector]]\narea = \"quay\"\nthreshold = 1\n[[detector]]\narea = \"line\"\nsensing = \"hall\"\n"
        )),
        r#"
            layout 18:13-14 mistake: `threshold` goes with a `sensing`
            hint: add `sensing`: one of `diode-drop`, `current-transformer` and `hall`
            layout 21:11-17 mistake: `sensing` goes with a `threshold`
            hint: add `threshold = 1.0`: from so many milliamperes on the detector says that something is there
        "#,
    );
}

#[test]
fn kinds_of_sensing_and_figures_that_no_detector_has() {
    check(
        &quay_and_line(
            r#"[[district]]
name = "harbour"
voltage = 15000
[[detector]]
area = "quay"
sensing = "diode-drops"
threshold = -1
bridge = -0.3
[[detector]]
area = "line"
sensing = "light"
threshold = 0.001
bridge = 30
[[detector]]
name = "gate"
reader = "line"
bridge = 0.3
sensing = "hall"
threshold = 20000
"#,
        ),
        r#"
            layout 16:11-16 mistake: `voltage` is more than 60 volts, which no model railway's track carries
            hint: `voltage` is a number of volts
            layout 19:11-24 mistake: no detector senses by `diode-drops`
            hint: the nearest word is `diode-drop`
            layout 20:13-15 mistake: `threshold` is negative
            hint: `threshold` is a number of milliamperes
            layout 21:10-14 mistake: `bridge` is negative
            hint: `bridge` is a number of seconds
            layout 24:11-18 mistake: no detector senses by `light`
            hint: it is one of `diode-drop`, `current-transformer` and `hall`
            layout 25:13-18 mistake: `threshold` is less than ten microamperes
            hint: `threshold` is a number of milliamperes
            layout 26:10-12 warning: `bridge` is more than ten seconds
            hint: for so long nobody believes that a train has gone: some tenths of a second bridge dirt
            layout 30:10-13 mistake: only an area detector has `sensing`, `threshold` and `bridge`
            hint: a spot or a reader does not sense what current flows in its section
            layout 31:11-17 mistake: only an area detector has `sensing`, `threshold` and `bridge`
            hint: a spot or a reader does not sense what current flows in its section
            layout 32:13-18 mistake: `threshold` is more than ten amperes
            hint: `threshold` is a number of milliamperes
        "#,
    );
}

#[test]
fn a_voltage_that_no_decoder_is_made_for_is_doubted() {
    for (voltage, doubted) in [("6.9", true), ("7", false), ("27", false), ("27.1", true)] {
        let loaded = load(&quay_and_line(&format!("{HARBOUR}voltage = {voltage}\n"))).unwrap();
        let found: Vec<_> = loaded.warnings.iter().map(|warning| warning.message.as_str()).collect();
        let expect = "`voltage` is not between 7 and 27 volts, which decoders work at";
        assert_eq!(found, if doubted { vec![expect] } else { vec![] }, "{voltage} V");
    }
}
