//! What editors and people are told of the words of a script, made from the one table of them.

use std::fmt::Write;

use track::Layout;

use crate::vocabulary::{EVENTS, Kind, RECORDS, Type, Value, WORDS, Word};

/// The page of reference: functions, events, and the tables they take and give.
pub fn reference_page() -> String {
    let mut page = String::new();
    let mut line = |text: &str| {
        page.push_str(text);
        page.push('\n');
    };
    line("| function | what it does and returns | what can go wrong | since |");
    line("| --- | --- | --- | --- |");
    for word in WORDS.iter() {
        line(&format!("| `{}` | {} | {} | {} |", shown(word), word.does, word.wrong, word.since));
    }
    line(
        "\nAnything that goes wrong ends the task or the call of the hook it happens in, unless the script catches it with `pcall` or",
    );
    line("`try`.\n");
    line("| event | when | it has, besides `what` and `time` | since |");
    line("| --- | --- | --- | --- |");
    for event in EVENTS {
        let has = event.has.iter().map(|field| format!("`{field}`")).collect::<Vec<_>>().join(", ");
        line(&format!("| `{}` | {} | {has} | {} |", event.name, event.when, event.since));
    }
    for record in RECORDS.iter() {
        line(&format!("\n**{}**: {}.\n", record.name, record.is_what));
        line("| field | type | what |");
        line("| --- | --- | --- |");
        for field in record.fields {
            let value = &field.value;
            let optional = if value.is_optional { ", may be missing" } else { "" };
            line(&format!("| `{}` | {}{optional} | {} |", value.name, in_words(value.is), field.is_what));
        }
    }
    page
}

/// A function with its arguments; what may be left out in square brackets.
fn shown(word: &Word) -> String {
    let mut arguments: Vec<String> = word
        .takes
        .iter()
        .map(|value| if value.is_optional { format!("[{}]", value.name) } else { value.name.to_owned() })
        .collect();
    if word.repeats {
        arguments.push("...".to_owned());
    }
    format!("{}({})", word.name, arguments.join(", "))
}

fn in_words(is: Type) -> String {
    match is {
        Type::Text => "text".to_owned(),
        Type::Number => "number".to_owned(),
        Type::Flag => "true or false".to_owned(),
        Type::Anything => "anything".to_owned(),
        Type::Condition | Type::Job | Type::Reaction => "function".to_owned(),
        Type::Name(kind) => format!("name of a {}", kind.word()).replace("a event", "an event"),
        Type::Names(kind) => format!("name of a {}, pattern, or list of these", kind.word()),
        Type::List(kind) => format!("list of names of a {}", kind.word()),
        Type::Texts => "list of texts".to_owned(),
        Type::OneOrMoreTexts => "text or list of texts".to_owned(),
        Type::Record(name) => format!("`{name}`"),
        Type::Records(name) => format!("list of `{name}`"),
        Type::RecordsByName(name) => format!("`{name}` by name"),
        Type::TextsByName => "text by name".to_owned(),
        Type::FlagsByName => "boolean by name".to_owned(),
        Type::SecondsOr(name) => format!("number or `{name}`"),
        Type::Calls => "list of places, or of lists of places".to_owned(),
        Type::PlacesByName => "places by name".to_owned(),
        Type::NumbersByName => "number by name".to_owned(),
        Type::Numbers => "list of numbers".to_owned(),
        Type::OfTrain(_) => "function".to_owned(),
    }
}

/// A language that types are written for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Dialect {
    Luau,
    Cats,
}

impl Dialect {
    fn of(self, is: Type) -> String {
        let list = |of: &str| match self {
            Self::Luau => format!("{{{of}}}"),
            Self::Cats => format!("{of}[]"),
        };
        let by_name = |of: &str| match self {
            Self::Luau => format!("{{[string]: {of}}}"),
            Self::Cats => format!("table<string, {of}>"),
        };
        let either = |luau: &str, cats: &str| if self == Self::Luau { luau.to_owned() } else { cats.to_owned() };
        match is {
            Type::Text => "string".to_owned(),
            Type::Number => "number".to_owned(),
            Type::Flag => "boolean".to_owned(),
            Type::Anything => "any".to_owned(),
            Type::Condition => either("() -> any", "fun(): any"),
            Type::Job => either("() -> ()", "fun()"),
            Type::Reaction => either("(event: Event) -> ()", "fun(event: Event)"),
            Type::Name(kind) => kind.type_name().to_owned(),
            Type::Names(kind) => format!("{} | {}", kind.type_name(), list(kind.type_name())),
            Type::List(kind) => list(kind.type_name()),
            Type::Texts => list("string"),
            Type::OneOrMoreTexts => format!("string | {}", list("string")),
            Type::Record(name) => name.to_owned(),
            Type::Records(name) => list(name),
            Type::RecordsByName(name) => by_name(name),
            Type::TextsByName => by_name("string"),
            Type::FlagsByName => by_name("boolean"),
            Type::SecondsOr(name) => format!("number | {name}"),
            Type::Calls => either("{Place | {Place}}", "(Place | Place[])[]"),
            Type::PlacesByName => by_name(&either("(Place | {Place})", "Place | Place[]")),
            Type::NumbersByName => by_name("number"),
            Type::Numbers => list("number"),
            Type::OfTrain(gives) => match self {
                Self::Luau => format!("(train: string?) -> {gives}"),
                Self::Cats => format!("fun(train?: string): {gives}"),
            },
        }
    }

    fn of_value(self, value: &Value) -> String {
        let is = self.of(value.is);
        match (value.is_optional, is.contains([' ', '>'])) {
            (false, _) => is,
            (true, _) if is == "any" => is,
            (true, true) => format!("({is})?"),
            (true, false) => format!("{is}?"),
        }
    }
}

/// Kinds of names, each with the names of a layout.
fn kinds(layout: &Layout) -> Vec<(Kind, Vec<String>)> {
    let names = |names: &mut dyn Iterator<Item = &String>| names.cloned().collect::<Vec<String>>();
    let sections = names(&mut layout.sections.values().map(|section| &section.name));
    let stops = names(&mut layout.stops.values().map(|stop| &stop.name));
    let places = stops.into_iter().chain(sections.iter().cloned()).collect();
    vec![
        (Kind::Train, names(&mut layout.trains.values().map(|train| &train.name))),
        (Kind::Section, sections),
        (Kind::Place, places),
        (Kind::Signal, names(&mut layout.signals.values().map(|signal| &signal.name))),
        (Kind::Turnout, names(&mut layout.turnouts.values().map(|turnout| &turnout.name))),
        (Kind::Route, Vec::new()),
        (Kind::Detector, names(&mut layout.detectors.values().map(|detector| &detector.name))),
        (Kind::District, names(&mut layout.districts.values().map(|district| &district.name))),
        (Kind::Accessory, names(&mut layout.accessories.values().map(|accessory| &accessory.name))),
        (Kind::Input, names(&mut layout.inputs.values().map(|input| &input.name))),
        (Kind::Link, names(&mut layout.links.values().map(|link| &link.name))),
        (Kind::Event, EVENTS.iter().map(|event| event.name.to_owned()).collect()),
    ]
}

/// More names are not offered: editors grow slow.
const MOST_OFFERED: usize = 500;

/// A name's type: any text, but these are offered.
fn offered(names: &[String]) -> String {
    let mut text = String::from("string");
    for name in names.iter().take(MOST_OFFERED) {
        // Writing to a text cannot fail.
        let _ = write!(text, " | {name:?}");
    }
    text
}

/// Definitions for editors that know Luau, with the names of a layout.
pub fn luau_types(layout: &Layout) -> String {
    let mut text = String::from("-- What scripts can use, for editors that know Luau.\n\n");
    for (kind, names) in kinds(layout) {
        let _ = writeln!(text, "export type {} = {}", kind.type_name(), offered(&names));
    }
    for record in RECORDS.iter() {
        let _ = writeln!(text, "\n-- {}\nexport type {} = {{", record.is_what, record.name);
        for field in record.fields {
            let _ = writeln!(
                text,
                "    {}: {}, -- {}",
                field.value.name,
                Dialect::Luau.of_value(&field.value),
                field.is_what
            );
        }
        text.push_str("}\n");
    }
    for word in WORDS.iter() {
        let _ = writeln!(text, "\n-- {}", word.does);
        match forms(word).as_slice() {
            [takes] => {
                let _ =
                    writeln!(text, "declare function {}({}): {}", word.name, luau_takes(word, takes), luau_gives(word));
            }
            forms => {
                let forms =
                    forms.iter().map(|takes| format!("(({}) -> {})", luau_takes(word, takes), luau_gives(word)));
                let _ = writeln!(text, "declare {}: {}", word.name, forms.collect::<Vec<_>>().join(" & "));
            }
        }
    }
    text
}

/// The ways of writing down the arguments: what may be left out in front of something that may not, is there or is not.
fn forms(word: &Word) -> Vec<Vec<Value>> {
    let all = word.takes.to_vec();
    let left_out = word.takes.windows(2).position(|pair| pair[0].is_optional && !pair[1].is_optional);
    let needed = |value: &Value| Value { is_optional: false, ..*value };
    match left_out {
        None => vec![all],
        Some(at) => {
            let (mut with, mut without) = (all.clone(), all);
            with[at] = needed(&with[at]);
            without.remove(at);
            vec![with, without]
        }
    }
}

fn luau_takes(word: &Word, takes: &[Value]) -> String {
    let mut list: Vec<String> =
        takes.iter().map(|value| format!("{}: {}", value.name, Dialect::Luau.of_value(value))).collect();
    if let (true, Some(last)) = (word.repeats, takes.last()) {
        list.push(format!("...: {}", Dialect::Luau.of(last.is)));
    }
    list.join(", ")
}

fn luau_gives(word: &Word) -> String {
    let gives: Vec<String> = word.gives.iter().map(|value| Dialect::Luau.of_value(value)).collect();
    if let [one] = gives.as_slice() { one.clone() } else { format!("({})", gives.join(", ")) }
}

/// Definitions for editors that know LuaCATS annotations, with the names of a layout.
pub fn luacats_types(layout: &Layout) -> String {
    let mut text = String::from("---@meta\n-- What scripts can use, for editors that know LuaCATS annotations.\n\n");
    for (kind, names) in kinds(layout) {
        let _ = writeln!(text, "---@alias {} {}", kind.type_name(), offered(&names));
    }
    for record in RECORDS.iter() {
        let _ = writeln!(text, "\n---{}\n---@class {}", record.is_what, record.name);
        for field in record.fields {
            let (value, optional) = (&field.value, if field.value.is_optional { "?" } else { "" });
            let _ =
                writeln!(text, "---@field {}{optional} {} {}", value.name, Dialect::Cats.of(value.is), field.is_what);
        }
    }
    for word in WORDS.iter() {
        let _ = writeln!(text, "\n---{}", word.does);
        if !word.wrong.is_empty() {
            let _ = writeln!(text, "---\n---What can go wrong: {}", word.wrong);
        }
        let forms = forms(word);
        for takes in forms.iter().skip(1) {
            let takes = takes.iter().map(|value| format!("{}: {}", value.name, Dialect::Cats.of_value(value)));
            let _ = writeln!(text, "---@overload fun({})", takes.collect::<Vec<_>>().join(", "));
        }
        for value in forms.first().into_iter().flatten() {
            let optional = if value.is_optional { "?" } else { "" };
            let _ = writeln!(text, "---@param {}{optional} {}", value.name, Dialect::Cats.of(value.is));
        }
        let mut names: Vec<&str> = word.takes.iter().map(|value| value.name).collect();
        if let (true, Some(last)) = (word.repeats, word.takes.last()) {
            let _ = writeln!(text, "---@param ... {}", Dialect::Cats.of(last.is));
            names.push("...");
        }
        for value in word.gives {
            let _ = writeln!(text, "---@return {} {}", Dialect::Cats.of_value(value), value.name);
        }
        let _ = writeln!(text, "function {}({}) end", word.name, names.join(", "));
    }
    text
}

#[cfg(test)]
mod tests {
    use track::{Builder, Scale, Train};

    use super::*;
    use crate::vocabulary::WHICH;

    fn layout() -> Layout {
        let mut builder = Builder::new("Low Staithe", Scale::UNKNOWN);
        builder.plain_section("quay \"1\"", None);
        builder.train(Train::stranger("Heron"));
        builder.build()
    }

    #[test]
    fn editors_of_both_kinds_are_told_of_the_same_functions_and_arguments() {
        let (luau, cats) = (luau_types(&layout()), luacats_types(&layout()));
        assert_eq!(luau.lines().filter(|line| line.starts_with("declare ")).count(), WORDS.len());
        for word in WORDS.iter() {
            let mut names: Vec<&str> = word.takes.iter().map(|value| value.name).collect();
            if word.repeats {
                names.push("...");
            }
            let line = format!("function {}({}) end", word.name, names.join(", "));
            assert_eq!(cats.lines().filter(|known| **known == line).count(), 1, "{line}");
            let starts = [format!("declare function {}(", word.name), format!("declare {}: ", word.name)];
            let declared: Vec<&str> =
                luau.lines().filter(|line| starts.iter().any(|start| line.starts_with(start))).collect();
            let [declared] = declared.as_slice() else { panic!("`{}`: {declared:?}", word.name) };
            for name in names {
                assert!(declared.contains(&format!("{name}: ")), "{name} in {declared}");
            }
        }
        for record in RECORDS.iter() {
            for field in record.fields {
                assert!(luau.contains(&format!("\n    {}: ", field.value.name)), "{}", field.value.name);
                assert!(cats.contains(&format!("\n---@field {}", field.value.name)), "{}", field.value.name);
            }
        }
    }

    #[test]
    fn the_functions_that_editors_are_told_of_are_those_a_script_finds() {
        // The definitions for plain Lua are Lua themselves: run, they define every function, and nothing else.
        let lua = mlua::Lua::new();
        let before: Vec<String> = lua.globals().pairs::<String, mlua::Value>().map(|pair| pair.unwrap().0).collect();
        lua.load(luacats_types(&layout())).exec().unwrap();
        let mut defined: Vec<String> =
            lua.globals().pairs::<String, mlua::Value>().map(|pair| pair.unwrap().0).collect();
        defined.retain(|name| !before.contains(name));
        defined.sort();
        let mut words: Vec<&str> = WORDS.iter().map(|word| word.name).collect();
        words.sort_unstable();
        assert_eq!(defined, words);
    }

    #[test]
    fn names_of_the_layout_are_offered_whatever_is_in_them() {
        let types = luau_types(&layout());
        assert!(types.contains("export type Section = string | \"quay \\\"1\\\"\"\n"), "{types}");
        assert!(types.contains("export type Train = string | \"Heron\"\n"), "{types}");
    }

    #[test]
    fn the_page_of_reference_is_what_the_table_says() {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/reference.md");
        let made = reference_page();
        if std::env::var_os("LINECLEAR_WRITE").is_some() {
            std::fs::write(&path, &made).unwrap();
        }
        let kept = std::fs::read_to_string(&path).unwrap();
        assert!(made == kept, "run this test with LINECLEAR_WRITE=1 to write `{}` anew", path.display());
    }

    #[test]
    fn what_events_are_told_apart_by_and_have_is_described() {
        let fields = |name: &str| RECORDS.iter().find(|record| record.name == name).unwrap().fields;
        let named = |name: &str| fields(name).iter().map(|field| field.value.name).collect::<Vec<_>>();
        assert_eq!(named("Which"), WHICH.iter().map(|(key, _)| *key).collect::<Vec<_>>());
        for event in EVENTS {
            for field in event.has {
                assert!(named("Event").contains(field), "{} has {field}", event.name);
            }
        }
    }
}
