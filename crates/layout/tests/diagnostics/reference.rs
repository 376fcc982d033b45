//! The reference of the file format, in the crate's documentation, is itself loaded.

use crate::load;

/// The TOML blocks of the crate's documentation.
fn blocks() -> Vec<String> {
    let mut blocks = Vec::new();
    let mut block: Option<String> = None;
    for line in include_str!("../../src/lib.rs").lines().filter_map(|line| line.strip_prefix("//!")) {
        match (line.trim(), block.as_mut()) {
            ("```toml", _) => block = Some(String::new()),
            ("```", Some(_)) => blocks.extend(block.take()),
            (_, Some(block)) => {
                block.push_str(line);
                block.push('\n');
            }
            _ => {}
        }
    }
    blocks
}

#[test]
fn what_the_reference_shows_is_a_layout() {
    let [track, book, trains, links] = &blocks()[..] else { panic!("one block a file") };
    // Only what the excerpt refers to and does not show is added.
    let rest = "[[section]]\nname = \"quay-2\"\n[[joint]]\nends = [\"quay-2.b\", \"west-throat.two\"]\n";
    let loaded = load(&format!(
        "{track}{rest}--- aspects/us-block.toml\n{book}--- aspects/harbour.toml\n{book}--- trains.toml\n{trains}\
         --- links.toml\n{links}"
    ))
    .unwrap_or_else(|refused| panic!("{refused}"));
    assert!(loaded.warnings.is_empty(), "{}", loaded.warnings);
    let layout = &loaded.layout;
    assert_eq!((layout.sections.len(), layout.ends.len(), layout.ways.len()), (3, 7, 4));
    assert!(!layout.is_dark(layout.section_named("quay-1").unwrap()));
    let magnet = &layout.detectors[layout.detector_named("magnet").unwrap()];
    let track::DetectorKind::Spot { way, from_first_end } = magnet.kind else { panic!("a spot") };
    assert_eq!(from_first_end, Some(track::Length::from_mm(60)));
    assert_eq!(layout.ways[way].needs[0].lie, track::Lie::Straight);
    assert_eq!((layout.ways[way].limit, layout.ways[way].class), (None, None));
    let titles: Vec<&str> = layout.books.values().map(track::AspectBook::title).collect();
    assert_eq!(titles, ["uk-four-aspect", "us-block"]);
    let s2 = layout.signal_named("S2").unwrap();
    assert_eq!(layout.book_of(s2).name(track::Aspect(3)), Some("green, diverging"), "the folder's own book");
    assert_eq!(layout.stops.values().next().unwrap().name, "the crane");
    let quay = &layout.detectors[layout.detector_named("quay one").unwrap()];
    let sensing = track::Sensing { kind: track::SensingKind::DiodeDrop, threshold: track::Current::from_ua(800) };
    assert_eq!((quay.sensing, quay.bridge), (Some(sensing), std::time::Duration::from_millis(500)));
    assert_eq!(quay.link, layout.link_named("west"));
    let seen: Vec<_> =
        layout.trains.values().next().unwrap().vehicles.iter().map(|vehicle| vehicle.detectable).collect();
    let mm = |first, last| Some((track::Length::from_mm(first), track::Length::from_mm(last)));
    assert_eq!(seen, [mm(22, 106), mm(25, 215), mm(30, 120), mm(22, 84), None]);
}
