//! Files that are no text, not there, or not wanted.

use layout::{LARGEST_FILE, Refused, Unreadable};

use crate::{check, load};

#[track_caller]
fn refused(bytes: &[u8]) -> Unreadable {
    let loaded = layout::load(|name| Ok((name == "layout.toml").then(|| bytes.to_vec())));
    match loaded {
        Err(Refused::Unreadable(unreadable)) => unreadable,
        other => panic!("not refused as unreadable: {other:?}"),
    }
}

#[test]
fn a_folder_without_track_is_no_layout() {
    let loaded = layout::load(|_| Ok(None));
    let Err(Refused::Unreadable(unreadable)) = loaded else { panic!("accepted: {loaded:?}") };
    assert_eq!((unreadable.file.as_str(), unreadable.reason.as_str()), ("layout.toml", "there is no such file"));
}

#[test]
fn an_empty_file_is_a_mistake_in_the_layout() {
    check(
        "[layout]",
        r#"
        layout 1:1-1 mistake: the layout has no section
        hint: add `[[section]]` with a `name`
        layout 1:1-9 mistake: the layout needs `name`
        hint: add `name = "Low Staithe"`
        layout 1:1-9 mistake: the layout needs `scale`
        hint: add `scale = "H0"`
    "#,
    );
    let loaded = layout::load(|name| Ok((name == "layout.toml").then(Vec::new)));
    let Err(Refused::Mistakes(diagnostics)) = loaded else { panic!("accepted: {loaded:?}") };
    assert!(diagnostics.iter().any(|diagnostic| diagnostic.message == "the file is empty"), "{diagnostics}");
}

#[test]
fn a_mark_that_a_text_is_utf_8_is_not_counted() {
    let text = "layout = { name = \"Low Staithe\" }\nsection = [{ name = \"quay-1\" }]\noff-layout = [{ at = [\"quay-1.a\", \"quay-1.b\"] }]\n";
    let loaded = layout::load(|name| Ok((name == "layout.toml").then(|| format!("\u{feff}{text}").into_bytes())));
    let Err(Refused::Mistakes(diagnostics)) = loaded else { panic!("accepted: {loaded:?}") };
    let mistake = diagnostics.iter().next().unwrap();
    let (from, _) = diagnostics.places(mistake);
    assert_eq!((mistake.message.as_str(), from.line, from.column), ("the layout needs `scale`", 1, 10));
}

#[test]
fn bytes_that_are_no_text_are_refused_with_their_line() {
    assert_eq!(refused(b"[layout]\nname = \"\xff\"\n").reason, "line 2 is not UTF-8");
    assert_eq!(refused(b"\x7fELF\x02\x00\x00").reason, "line 1 holds a zero byte: it is no text");
}

#[test]
fn a_line_nobody_wrote_is_refused() {
    let mut text = b"[layout]\nname = \"".to_vec();
    text.resize(1_000_000, b'x');
    assert_eq!(refused(&text).reason, "line 2 is longer than 256 kB");
}

#[test]
fn a_file_that_is_too_large_is_refused() {
    assert_eq!(refused(&vec![b'\n'; LARGEST_FILE + 1]).reason, "it is larger than 16 MB");
}

#[test]
fn a_file_that_cannot_be_opened_is_told_as_it_was_heard() {
    let told = Unreadable { file: "layout.toml".to_owned(), reason: "the disk is on fire".to_owned(), hint: None };
    let loaded = layout::load(|_| Err(told.clone()));
    let Err(Refused::Unreadable(unreadable)) = loaded else { panic!("accepted: {loaded:?}") };
    assert_eq!(unreadable, told);
    assert_eq!(unreadable.to_string(), "cannot read `layout.toml`: the disk is on fire");
}

#[test]
fn links_are_read_where_there_are_any() {
    let plain = "\n[[section]]\nname = \"quay\"\n[[off-layout]]\nat = [\"quay.a\", \"quay.b\"]\n";
    assert!(load(plain).unwrap().wiring.is_none());
    assert!(load(&format!("{plain}--- links.toml\n")).unwrap().wiring.is_some());
    check(
        &format!("{plain}--- links.toml\nwhatever = \n"),
        r#"
        links 1:12-12 mistake: there is no value
        hint: write `key = value`
    "#,
    );
}

#[test]
fn rubbish_of_every_kind_is_answered_without_panic() {
    let plain = |name: &str| -> &[u8] {
        match name {
            "layout.toml" => include_bytes!("../../../../demo-layout/layout.toml"),
            _ => include_bytes!("../../../../demo-layout/trains.toml"),
        }
    };
    let mut random: u64 = 20_261_125;
    let mut next = || {
        // Knuth's multiplicative step is random enough to spoil a text with.
        random = random.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (random >> 33) as usize
    };
    let mut refused = 0;
    for _ in 0..300 {
        let name = ["layout.toml", "trains.toml"][next() % 2];
        let mut bytes = plain(name).to_vec();
        for _ in 0..=next() % 8 {
            if bytes.is_empty() {
                break;
            }
            let at = next() % bytes.len();
            match next() % 4 {
                0 => bytes[at] = b"\"[]{}=.,#'\n\\ x1"[next() % 15],
                1 => drop(bytes.drain(at..(at + next() % 40).min(bytes.len()))),
                2 => bytes.truncate(at + 1),
                _ => bytes.insert(at, b"[{\"=\n"[next() % 5]),
            }
        }
        let spoiled = |file: &str| if file == name { bytes.clone() } else { plain(file).to_vec() };
        match layout::load(|file| Ok((file != "links.toml").then(|| spoiled(file)))) {
            Ok(loaded) => assert_eq!(loaded.warnings.count(layout::Severity::Mistake), 0),
            Err(problem) => {
                refused += 1;
                assert!(!problem.to_string().is_empty());
            }
        }
    }
    assert!(refused > 100, "spoiled text was accepted: only {refused} of 300 refused");
}
