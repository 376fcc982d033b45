//! Reading an aspect book, and telling what is wrong with it where it is written.

use toml::de::DeValue;
use track::{
    Aspect, AspectBook, AspectRow, BookParts, ClassSpeeds, Expect, Flaw, Lie, MOST_CLEAR, Next, Pass, Role, Rule,
    SpeedClass,
};

use crate::diagnostic::Findings;
use crate::keys::{Keys, check_name, list_of, table_of, texts_of, word_of};
use crate::source::{Said, Span};
use crate::speeds::real_speeds;
use track::nearest;

const ROLES: [(&str, Role); 2] = [("main", Role::Main), ("distant", Role::Distant)];
const LIES: [(&str, Lie); 2] = [("straight", Lie::Straight), ("diverging", Lie::Diverging)];
/// More rules nobody writes; the bound keeps a faulty file from being checked for hours.
const MOST_RULES: usize = 500;

/// A book of which the head and the aspects have been read.
pub(crate) struct ReadBook<'t> {
    pub(crate) title: &'t str,
    pub(crate) reads: Option<Said<&'t str>>,
    head: Span,
    source: String,
    role: Role,
    diverging: SpeedClass,
    speeds: ClassSpeeds,
    /// Each with its place; nothing where it was reported.
    aspects: Vec<(Option<AspectRow>, Span)>,
    rules: Vec<Keys<'t>>,
}

impl ReadBook<'_> {
    /// Its aspects, if all of them are right.
    pub(crate) fn rows(&self) -> Option<Vec<AspectRow>> {
        self.aspects.iter().map(|(row, _)| row.clone()).collect()
    }
}

/// Reads all of a book but its rules, which may be in another book's words.
pub(crate) fn read_aspects<'t>(title: &'t str, mut root: Keys<'t>, out: &mut Findings) -> ReadBook<'t> {
    let mut book = ReadBook {
        title,
        reads: None,
        head: root.header(),
        source: String::new(),
        role: Role::Main,
        diverging: SpeedClass::Slow,
        speeds: ClassSpeeds::default(),
        aspects: Vec::new(),
        rules: Vec::new(),
    };
    if let Some(value) = root.value("book")
        && let Some(mut head) = table_of("the book", value, out)
    {
        book.source = head.text("source", out).map_or_else(String::new, |source| source.value.to_owned());
        let role = head.text("kind", out).and_then(|kind| word_of(kind, "a kind of signal", &ROLES, out));
        book.role = role.unwrap_or(book.role);
        book.reads = head.text("reads", out);
        let class = head.text("diverging", out);
        let class = class.and_then(|class| word_of(class, "a class of speed", &SpeedClass::ALL, out));
        book.diverging = class.unwrap_or(book.diverging);
        if let Some(speeds) = head.value("speeds").and_then(|value| table_of("`speeds`", value, out)) {
            book.speeds = real_speeds(speeds, out);
        }
        head.finish(out);
    }
    for keys in root.tables("aspect", "an aspect", out) {
        let place = keys.header();
        let row = read_aspect(keys, out);
        book.aspects.push((row, place));
    }
    book.rules = root.tables("rule", "a rule", out);
    root.finish(out);
    report_twins(&mut book.aspects, out);
    book
}

fn read_aspect(mut keys: Keys<'_>, out: &mut Findings) -> Option<AspectRow> {
    let name = keys.needed_name("\"yellow\"", out);
    let mut texts = |key: &'static str, out: &mut Findings| -> Vec<String> {
        let value = keys.value(key);
        let said = value.map_or_else(Vec::new, |value| texts_of(key, value, out));
        said.into_iter().filter(|text| check_name(*text, out)).map(|text| text.value.to_owned()).collect()
    };
    let (also_called, lamps, flashing) = (texts("also-called", out), texts("lamps", out), texts("flashing", out));
    let pass = keys.text("pass", out).map(|said| word_of(said, "how a train may pass", &Pass::ALL, out));
    let expect = keys.text("expect", out).map(|said| word_of(said, "what a train may expect", &Expect::ALL, out));
    let says = keys.text("says", out).map_or_else(String::new, |says| says.value.to_owned());
    keys.finish(out);
    let pass = pass.unwrap_or(Some(Pass::At(SpeedClass::Normal)))?;
    let expect = match expect {
        Some(expect) => Some(expect?),
        None => None,
    };
    Some(AspectRow { name: name?.value.to_owned(), also_called, pass, expect, says, lamps, flashing })
}

/// No two aspects share a name.
fn report_twins(aspects: &mut [(Option<AspectRow>, Span)], out: &mut Findings) {
    let mut names: Vec<(String, Span)> = Vec::new();
    for (row, place) in aspects {
        let Some(it) = row else { continue };
        let own: Vec<String> = std::iter::once(&it.name).chain(&it.also_called).cloned().collect();
        if let Some((twin, first)) = names.iter().find(|(name, _)| own.contains(name)) {
            out.mistake(*place, format!("a second aspect is called `{twin}`"))
                .see(*first, "the first")
                .hint("give each its own name");
            *row = None;
        }
        names.extend(own.into_iter().map(|name| (name, *place)));
    }
}

/// Reads the rules of a book, and checks it as a whole.
pub(crate) fn read_rules(
    book: &ReadBook<'_>,
    reads: Option<(String, Vec<AspectRow>)>,
    out: &mut Findings,
) -> Option<AspectBook> {
    let aspects = book.rows()?;
    let read = reads.as_ref().map_or_else(|| aspects.clone(), |(_, rows)| rows.clone());
    if book.rules.len() > MOST_RULES {
        out.mistake(book.head, format!("the book has more than {MOST_RULES} rules"));
        return None;
    }
    let (mut rules, mut places, mut is_whole) = (Vec::new(), Vec::new(), true);
    for keys in &book.rules {
        places.push(keys.header());
        match read_rule(keys.clone(), &aspects, &read, out) {
            Some(rule) => rules.push(rule),
            None => is_whole = false,
        }
    }
    if !is_whole || out.is_broken(book.head.file) {
        return None;
    }
    let parts = BookParts {
        title: book.title.to_owned(),
        source: book.source.clone(),
        role: book.role,
        reads,
        diverging: book.diverging,
        speeds: book.speeds,
        aspects,
        rules,
    };
    let names: Vec<String> = parts.aspects.iter().map(|row| row.name.clone()).collect();
    match AspectBook::new(parts) {
        Ok(checked) => Some(checked),
        Err(flaws) => {
            for flaw in flaws {
                report_flaw(&flaw, book, &names, &places, out);
            }
            None
        }
    }
}

fn read_rule(mut keys: Keys<'_>, aspects: &[AspectRow], read: &[AspectRow], out: &mut Findings) -> Option<Rule> {
    let show = keys.needed_text("show", "\"yellow\"", out).map(|show| aspect_of(show, aspects, &[], out));
    let mut is_whole = true;
    let mut rule = Rule::always(Aspect::STOP);
    if let Some(value) = keys.value("next") {
        let said = texts_of("next", value, out);
        let next: Vec<Next> = said.iter().filter_map(|name| next_of(*name, read, out)).collect();
        is_whole &= !next.is_empty() && next.len() == said.len();
        rule.next = Some(next);
    }
    if let Some(value) = keys.value("clear") {
        rule.clear = counts_of(value, out);
        is_whole &= rule.clear.is_some();
    }
    if let Some(path) = keys.text("path", out) {
        rule.path = word_of(path, "how a path lies", &LIES, out);
        is_whole &= rule.path.is_some();
    }
    if let Some(value) = keys.value("speed") {
        let said = texts_of("speed", value, out);
        let classes: Vec<_> =
            said.iter().filter_map(|word| word_of(*word, "a class of speed", &SpeedClass::ALL, out)).collect();
        is_whole &= !classes.is_empty() && classes.len() == said.len();
        rule.speed = Some(classes);
    }
    rule.occupied = keys.flag("occupied", out).is_some_and(|said| said.value);
    rule.approached = keys.flag("approached", out).map(|said| said.value);
    rule.permissive = keys.flag("permissive", out).map(|said| said.value);
    rule.called_on = keys.flag("called-on", out).map(|said| said.value);
    let place = keys.header();
    keys.finish(out);
    let about_clear = rule.next.is_some() || rule.clear.is_some();
    if rule.occupied && about_clear {
        out.mistake(place, "a rule about occupied track cannot go by `next` or `clear`")
            .hint("what is beyond a train is not looked at");
        is_whole = false;
    } else if !rule.occupied && (rule.permissive.is_some() || rule.called_on.is_some()) {
        out.mistake(place, "only a rule about occupied track can go by `permissive` or `called-on`")
            .hint("add `occupied = true`");
        is_whole = false;
    }
    rule.show = show??;
    is_whole.then_some(rule)
}

fn aspect_of(name: Said<&str>, rows: &[AspectRow], others: &[&str], out: &mut Findings) -> Option<Aspect> {
    if let Some(row) = rows.iter().position(|row| row.name == name.value) {
        return Some(Aspect(row as u8));
    }
    let names: Vec<&str> = rows.iter().map(|row| row.name.as_str()).chain(others.iter().copied()).collect();
    let hint = match nearest(name.value, names.iter().copied()) {
        Some(near) => format!("the nearest is `{near}`"),
        None => format!("there are {}", list_of(&names)),
    };
    out.mistake(name.span, format!("no aspect is named `{}`", name.value)).hint(hint);
    None
}

fn next_of(name: Said<&str>, read: &[AspectRow], out: &mut Findings) -> Option<Next> {
    match name.value {
        "buffer-stop" => Some(Next::BufferStop),
        "edge" => Some(Next::Edge),
        _ => aspect_of(name, read, &["buffer-stop", "edge"], out).map(Next::Shows),
    }
}

/// `clear = 1` or `clear = [2, 3]`.
fn counts_of(value: Said<&DeValue<'_>>, out: &mut Findings) -> Option<Vec<u8>> {
    let count = |value: &DeValue<'_>| match value {
        DeValue::Integer(number) => u8::from_str_radix(number.as_str(), number.radix()).ok(),
        _ => None,
    };
    let counts: Option<Vec<u8>> = match value.value {
        DeValue::Array(list) => list.iter().map(|item| count(item.get_ref())).collect(),
        one => count(one).map(|count| vec![count]),
    };
    let counts = counts.filter(|counts| !counts.is_empty() && counts.iter().all(|it| (1..=MOST_CLEAR).contains(it)));
    if counts.is_none() {
        out.mistake_unless_broken(value.span, format!("`clear` is a number from 1 to {MOST_CLEAR}, or a list of such"))
            .hint(format!("{MOST_CLEAR} means {MOST_CLEAR} or more"));
    }
    counts
}

fn report_flaw(flaw: &Flaw, book: &ReadBook<'_>, names: &[String], rules: &[Span], out: &mut Findings) {
    let row = |aspect: &Aspect| usize::from(aspect.0);
    let place = |aspect: &Aspect| book.aspects.get(row(aspect)).map_or(book.head, |(_, place)| *place);
    let name = |aspect: &Aspect| names.get(row(aspect)).map_or("", String::as_str);
    match flaw {
        Flaw::Count => {
            out.mistake(book.head, "a book has 1 to 64 aspects").hint("add `[[aspect]]`, the most restrictive first");
        }
        Flaw::FirstNotStop => {
            let hint = match book.role {
                Role::Main => "the first aspect is the most restrictive: `pass = \"stop\"`",
                Role::Distant => "the first aspect is the most restrictive: `expect = \"stop\"`",
            };
            out.mistake(place(&Aspect::STOP), format!("`{}` does not stop a train", name(&Aspect::STOP))).hint(hint);
        }
        Flaw::OutOfOrder(aspect) => {
            out.mistake(place(aspect), format!("`{}` is more restrictive than the aspect before it", name(aspect)))
                .hint("aspects stand in order, the most restrictive first");
        }
        Flaw::Ambiguous { one, other, state } => {
            out.mistake(rules[*other], format!("two rules show different aspects at once: {state}"))
                .see(rules[*one], "the other rule")
                .hint("every state has exactly one aspect: say more of when each rule holds");
        }
        Flaw::Missing { state, more } => {
            let more = if *more == 0 { String::new() } else { format!("; and in {more} more states") };
            out.mistake(book.head, format!("no rule says what is shown: {state}{more}"))
                .hint("every state of clear track has exactly one aspect: add a `[[rule]]`");
        }
        Flaw::NeverShown(aspect) => {
            out.mistake(place(aspect), format!("no rule ever shows `{}`", name(aspect)))
                .hint("add a `[[rule]]`, or take the aspect away");
        }
        Flaw::NeverHolds(rule) => {
            out.mistake(rules[*rule], "this rule never holds")
                .hint("a next signal at danger, a buffer stop and the layout's edge leave 1 stretch clear, all else 2 or more");
        }
        Flaw::Promises { rule, state, what } => {
            out.mistake(rules[*rule], format!("this shows more than is so: {what}, but: {state}"))
                .hint("show a more restrictive aspect, or mend its `pass` and `expect`");
        }
        Flaw::LetsIntoOccupied(rule) => {
            out.mistake(rules[*rule], "this lets every train into occupied track: stop is not shown there any more").hint(
                "let it hold where the signal is permissive, or a train is called on: `permissive = true` or `called-on = true`",
            );
        }
        Flaw::LooksAlike(one, other) => {
            out.mistake(place(other), format!("`{}` looks like `{}`", name(other), name(one)))
                .see(place(one), "the other aspect")
                .hint("every aspect has lamps by which it is told from all others");
        }
        Flaw::NoLamps(aspect) => {
            out.mistake(place(aspect), format!("`{}` has no lamps", name(aspect)))
                .hint("add `lamps` or `flashing`, or leave lamps out of the whole book");
        }
        Flaw::BetterFromAfar { rule, state } => {
            out.mistake(rules[*rule], format!("this shows less to a train that has come than to none: {state}"))
                .hint("where no train is seen one may be there all the same: let it show no more");
        }
    }
}
