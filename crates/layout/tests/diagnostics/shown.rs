//! How diagnostics look, to people and to editors.

use layout::Refused;

use crate::load;

const FIXTURE: &str = r#"
[[section]]
name = "quay-1"
[[section]]
name = "quay-1"
	lenght = 3   # a tab stands before this
[[off-layout]]
at = ["quay-1.a", "quay-3.b"]
--- trains.toml
[[train]]
name = "Hérøn"
adress = 3
"#;

#[test]
fn people_see_the_place_the_text_and_what_would_be_right() {
    let Err(Refused::Mistakes(diagnostics)) = load(FIXTURE) else { panic!("accepted") };
    let expect = r#"mistake: a second section is named `quay-1`
   layout.toml:5:8
   5 | name = "quay-1"
     |        ~~~~~~~~
   the first: layout.toml:3:8
   hint: give each its own name

mistake: a section has no key `lenght`
   layout.toml:6:2
   6 |  lenght = 3   # a tab stands before this
     |  ~~~~~~
   hint: the nearest key is `length`

mistake: no section is named `quay-3`
   layout.toml:8:19
   8 | at = ["quay-1.a", "quay-3.b"]
     |                   ~~~~~~~~~~
   hint: the nearest name is `quay-1`

mistake: a train has no key `adress`
   trains.toml:3:1
   3 | adress = 3
     | ~~~~~~
   hint: the nearest key is `address`
"#;
    assert_eq!(diagnostics.to_string(), expect, "found:\n{diagnostics}");
}

#[test]
fn editors_get_the_same_as_json() {
    let Err(Refused::Mistakes(diagnostics)) = load(FIXTURE) else { panic!("accepted") };
    let lines: Vec<_> = diagnostics.json().collect();
    assert_eq!(lines.len(), diagnostics.iter().count());
    let second = lines.iter().find(|line| line["message"] == "a second section is named `quay-1`").unwrap();
    assert_eq!(second["file"], "layout.toml");
    assert_eq!((&second["from"]["line"], &second["from"]["column"]), (&5.into(), &8.into()));
    assert_eq!((&second["to"]["line"], &second["to"]["column"]), (&5.into(), &16.into()));
    assert_eq!(second["severity"], "mistake");
    assert_eq!(second["see"][0]["from"]["line"], 3);
    assert!(second["hint"].is_string());
}

#[test]
fn a_long_line_is_cut_around_the_place() {
    let ways: Vec<String> = (0..60).map(|number| format!("{{ from = \"x\", to = \"e{number}\" }}")).collect();
    let text = format!("\n[[section]]\nname = \"s\"\nways = [{}, 7]\n", ways.join(", "));
    let Err(Refused::Mistakes(diagnostics)) = load(&text) else { panic!("accepted") };
    let shown = diagnostics.to_string();
    assert!(shown.lines().all(|line| line.chars().count() < 140), "{shown}");
    let underlined: Vec<&str> =
        shown.lines().skip_while(|line| !line.contains("not a whole number")).skip(2).take(2).collect();
    let column = underlined[1].find('~').unwrap();
    assert_eq!(underlined[0].chars().nth(column), Some('7'), "{shown}");
}

#[test]
fn of_thousands_of_mistakes_a_thousand_are_listed_and_all_are_counted() {
    let text: String = (0..3000).map(|number| format!("key-{number} = 1\n")).collect();
    let Err(Refused::Mistakes(diagnostics)) = load(&format!("\n{text}")) else { panic!("accepted") };
    assert_eq!(diagnostics.iter().count(), 1000);
    assert!(diagnostics.count(layout::Severity::Mistake) >= 3000);
    assert!(diagnostics.to_string().ends_with("more are not listed\n"));
}
