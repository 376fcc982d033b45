//! Finding aspect books: those of the layout's own folder first, then those that come with the program.

use std::collections::{BTreeMap, BTreeSet};

use toml::de::{DeTable, DeValue};
use track::{AspectBook, AspectRow};

use crate::diagnostic::Findings;
use crate::keys::{Keys, list_of};
use crate::load::Refused;
use crate::read_book::{ReadBook, read_aspects, read_rules};
use crate::shipped::{SHIPPED, shipped_books};
use crate::source::{FileId, Said, Source};
use track::nearest;

/// The book of signals where nobody names one.
pub(crate) const DEFAULT_BOOK: &str = "three-aspect";
/// More books no layout needs; bounded, for each of them is a file to open.
const MOST_BOOKS: usize = 50;

/// The books that a layout's signals may be shown by.
pub(crate) struct Books {
    /// Nothing where a book has mistakes: they have been reported.
    by_title: BTreeMap<String, Option<AspectBook>>,
}

/// The names of the books that a track's text speaks of.
pub(crate) fn named_in(track: &str) -> Vec<String> {
    // A large layout is not parsed twice for nothing.
    if !track.contains("aspects") {
        return vec![DEFAULT_BOOK.to_owned()];
    }
    let (tree, _) = DeTable::parse_recoverable(track);
    let tree = tree.get_ref();
    let title = |table: &DeTable<'_>| match table.get("aspects").map(toml::Spanned::get_ref) {
        Some(DeValue::String(title)) => Some(title.to_string()),
        _ => None,
    };
    let of_all = match tree.get("layout").map(toml::Spanned::get_ref) {
        Some(DeValue::Table(head)) => title(head),
        _ => None,
    };
    let mut titles = BTreeSet::from([of_all.unwrap_or_else(|| DEFAULT_BOOK.to_owned())]);
    if let Some(DeValue::Array(signals)) = tree.get("signal").map(toml::Spanned::get_ref) {
        titles.extend(signals.iter().filter_map(|signal| signal.get_ref().as_table().and_then(title)));
    }
    titles.into_iter().collect()
}

/// Opens every book named, and those whose words these use.
///
/// # Errors
///
/// A file that cannot be read.
pub(crate) fn open(
    mut titles: Vec<String>,
    sources: &mut Vec<Source>,
    open: &mut impl FnMut(&str) -> Result<Option<String>, Refused>,
) -> Result<Vec<(String, FileId)>, Refused> {
    let mut books: Vec<(String, FileId)> = Vec::new();
    while let Some(title) = titles.pop().filter(|_| books.len() < MOST_BOOKS) {
        if !is_title(&title) || books.iter().any(|(other, _)| *other == title) {
            continue;
        }
        let file = format!("aspects/{title}.toml");
        let (name, text) = match open(&file)? {
            Some(text) => (file, text),
            None => match SHIPPED.iter().find(|(shipped, _)| *shipped == title) {
                Some((_, text)) => (format!("{file} (shipped)"), (*text).to_owned()),
                None => continue,
            },
        };
        titles.extend(book_read_by(&text));
        books.push((title, FileId(sources.len())));
        sources.push(Source::new(name, text));
    }
    Ok(books)
}

/// The book in whose words a book speaks of the next signal.
fn book_read_by(text: &str) -> Option<String> {
    let (tree, _) = DeTable::parse_recoverable(text);
    let head = tree.get_ref().get("book")?.get_ref().as_table()?;
    match head.get("reads")?.get_ref() {
        DeValue::String(title) => Some(title.to_string()),
        _ => None,
    }
}

/// A book's name is the name of its file: no path leads out of the folder by it.
fn is_title(title: &str) -> bool {
    !title.is_empty() && title.bytes().all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-')
}

impl Books {
    /// Reads and checks all of them.
    pub(crate) fn read(roots: Vec<(&str, Keys<'_>)>, out: &mut Findings) -> Self {
        let read: Vec<ReadBook<'_>> = roots.into_iter().map(|(title, root)| read_aspects(title, root, out)).collect();
        let rows: BTreeMap<&str, Option<Vec<AspectRow>>> = read.iter().map(|book| (book.title, book.rows())).collect();
        let mut by_title = BTreeMap::new();
        for book in &read {
            let reads = book.reads.map(|reads| (reads, rows.get(reads.value).cloned()));
            let checked = match reads {
                None => read_rules(book, None, out),
                // Its aspects are wrong, which was reported there.
                Some((_, Some(None))) => None,
                Some((reads, Some(Some(rows)))) => read_rules(book, Some((reads.value.to_owned(), rows)), out),
                Some((reads, None)) => {
                    Self { by_title: BTreeMap::new() }.report_unknown(reads, out);
                    None
                }
            };
            by_title.insert(book.title.to_owned(), checked);
        }
        Self { by_title }
    }

    /// The book of that name, where there is one without mistakes.
    pub(crate) fn get(&self, title: &str) -> Option<&AspectBook> {
        self.by_title.get(title)?.as_ref()
    }

    /// Reports a name that no book has.
    pub(crate) fn report_unknown(&self, title: Said<&str>, out: &mut Findings) {
        if self.by_title.contains_key(title.value) {
            return;
        }
        if !is_title(title.value) {
            out.mistake(title.span, format!("`{}` cannot be the name of an aspect book", title.value))
                .hint("a book is named like its file: lower-case letters, digits and hyphens");
            return;
        }
        let names: Vec<&str> = shipped_books().collect();
        let hint = match nearest(title.value, names.iter().copied()) {
            Some(near) => format!("the nearest name is `{near}`"),
            None => format!("write `aspects/{}.toml`, or take one of {}", title.value, list_of(&names)),
        };
        out.mistake(title.span, format!("there is no aspect book `{}`", title.value)).hint(hint);
    }
}
