//! From the files of a folder to a layout, or to everything that is wrong with them.

use std::fmt;

use toml::de::DeTable;
use track::wiring::Wiring;
use track::{Hint, Id as _, Layout, SectionId, SignalId, StopId};

use crate::books::{self, Books};
use crate::check::check;
use crate::diagnostic::{Diagnostics, Findings, Severity};
use crate::keys::Keys;
use crate::links::check_links;
use crate::read_track::read_track;
use crate::read_trains::read_trains;
use crate::resolve::resolve;
use crate::resolve_trains::resolve_trains;
use crate::resolved::{Places, Resolved};
use crate::source::{FileId, Source, Span};
use crate::syntax::report;
use crate::wiring::wire;

/// The track.
pub const TRACK_FILE: &str = "layout.toml";
/// The trains.
pub const TRAINS_FILE: &str = "trains.toml";
/// Hardware addresses.
pub const LINKS_FILE: &str = "links.toml";

/// Files of more bytes are refused: a hundred thousand measured sections with signals take some ten of these sixteen
/// million.
pub const LARGEST_FILE: usize = 16 * 1024 * 1024;
/// Lines of more bytes are refused: nobody writes one.
const LONGEST_LINE: usize = 256 * 1024;

/// A file that could not be read as text: no mistake in the layout, but no layout either.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unreadable {
    /// The file.
    pub file: String,
    /// Why, in lower case without full stop.
    pub reason: String,
    /// What to do.
    pub hint: Option<String>,
}

impl fmt::Display for Unreadable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "cannot read `{}`: {}", self.file, self.reason)?;
        match &self.hint {
            Some(hint) => write!(f, "\nhint: {hint}"),
            None => Ok(()),
        }
    }
}

impl std::error::Error for Unreadable {}

/// A layout that can be used, and what is odd about it.
#[derive(Debug)]
pub struct Loaded {
    /// The layout.
    pub layout: Layout,
    /// Warnings only.
    pub warnings: Diagnostics,
    /// What is reached over which link, where there is a `links.toml`.
    pub wiring: Option<Wiring>,
    /// How it is to be drawn, where that should be otherwise than it is by itself.
    pub hints: Vec<Hint>,
    pub(crate) places: Places,
}

/// Something of a layout that can be pointed at where it was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Written {
    /// A section.
    Section(SectionId),
    /// A signal.
    Signal(SignalId),
    /// A stopping point.
    Stop(StopId),
    /// A hint for the drawing, by its number.
    Hint(usize),
}

impl Loaded {
    /// Adds a warning of somebody who looked at the layout as a whole: what is doubtful, what it is about, and what would be
    /// right. A message is lower case, without full stop, literals in backticks.
    pub fn warn(&mut self, about: Written, message: impl Into<String>, hint: impl Into<String>) {
        let span = match about {
            Written::Section(section) => self.places.sections.get(section.index()),
            Written::Signal(signal) => self.places.signals.get(&self.layout.signals[signal].at),
            Written::Stop(stop) => self.places.stops.get(stop.index()),
            Written::Hint(number) => self.places.hints.get(number),
        };
        if let Some(&span) = span {
            self.warnings.warn(span, message.into(), hint.into());
        }
    }
}

/// Why there is no layout.
#[derive(Debug)]
pub enum Refused {
    /// A file could not be read.
    Unreadable(Unreadable),
    /// What is written in the files cannot be used. Holds the warnings too.
    Mistakes(Diagnostics),
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable(unreadable) => unreadable.fmt(f),
            Self::Mistakes(diagnostics) => diagnostics.fmt(f),
        }
    }
}

impl std::error::Error for Refused {}

/// Loads a layout. `open` tells the content of a file of the folder, or nothing where there is no such file.
///
/// # Errors
///
/// A file that cannot be read or is no text, or every mistake of all files.
pub fn load(mut open: impl FnMut(&str) -> Result<Option<Vec<u8>>, Unreadable>) -> Result<Loaded, Refused> {
    let mut text = |name: &str| -> Result<Option<String>, Refused> {
        let bytes = open(name).map_err(Refused::Unreadable)?;
        bytes.map(|bytes| text_of(name, bytes)).transpose().map_err(Refused::Unreadable)
    };
    let Some(track) = text(TRACK_FILE)? else {
        return Err(Refused::Unreadable(Unreadable {
            file: TRACK_FILE.to_owned(),
            reason: "there is no such file".to_owned(),
            hint: Some(format!("a layout is a folder with `{TRACK_FILE}`, and as a rule `{TRAINS_FILE}`")),
        }));
    };
    let (trains, links) = (text(TRAINS_FILE)?, text(LINKS_FILE)?);
    let book_names = books::named_in(&track);
    let mut sources = vec![Source::new(TRACK_FILE, track)];
    let trains_id = trains.map(|trains| add_source(&mut sources, TRAINS_FILE, trains));
    let links_id = links.map(|links| add_source(&mut sources, LINKS_FILE, links));

    let files = Files { trains: trains_id, links: links_id, books: books::open(book_names, &mut sources, &mut text)? };
    let mut out = Findings::default();
    let Understood { layout, wiring, hints, places } = understand(&sources, &files, &mut out);
    let diagnostics = out.finish(sources);
    if diagnostics.count(Severity::Mistake) > 0 {
        return Err(Refused::Mistakes(diagnostics));
    }
    Ok(Loaded { layout, warnings: diagnostics, wiring, hints, places })
}

/// Which source is what, beside the track.
struct Files {
    trains: Option<FileId>,
    links: Option<FileId>,
    /// Aspect books, by their names.
    books: Vec<(String, FileId)>,
}

fn add_source(sources: &mut Vec<Source>, name: &str, text: String) -> FileId {
    sources.push(Source::new(name, text));
    FileId(sources.len() - 1)
}

/// What the files say.
struct Understood {
    layout: Layout,
    wiring: Option<Wiring>,
    hints: Vec<Hint>,
    places: Places,
}

/// Reads and checks everything; what comes back is worth something only where no mistake was found.
fn understand(sources: &[Source], files: &Files, out: &mut Findings) -> Understood {
    let track_id = FileId(0);
    let track_tree = parse(sources, track_id, out);
    let trains_tree = files.trains.map(|id| (id, parse(sources, id, out)));
    let links_tree = files.links.map(|id| (id, parse(sources, id, out)));
    let book_trees: Vec<_> = files.books.iter().map(|(title, id)| (title, *id, parse(sources, *id, out))).collect();
    let written = read_track(root("`layout.toml`", &track_tree, track_id), out);
    let written_trains = match &trains_tree {
        Some((id, tree)) => read_trains(root("`trains.toml`", tree, *id), out),
        None => Vec::new(),
    };
    if out.is_broken(track_id) {
        // Half a file would make every reference into the other half look wrong.
        let layout = track::Builder::new("", track::Scale::UNKNOWN).build();
        return Understood { layout, wiring: None, hints: Vec::new(), places: Places::default() };
    }
    let is_empty = sources[track_id.0].text.trim().is_empty();
    if is_empty {
        out.mistake(Span::new(track_id, 0..0), "the file is empty")
            .hint("start with `[layout]`, its `name` and its `scale`");
    } else if !written.has_sections {
        out.mistake(Span::new(track_id, 0..0), "the layout has no section").hint("add `[[section]]` with a `name`");
    }
    let roots = book_trees.iter().map(|(title, id, tree)| (title.as_str(), root("an aspect book", tree, *id)));
    let books = Books::read(roots.collect(), out);
    let mut resolved = resolve(&written, &books, out);
    check(&resolved, out);
    resolve_trains(&mut resolved, &written_trains, out);
    // Of half a file nothing is judged that the other half may hold.
    let links_tree = links_tree.as_ref().filter(|(id, _)| !out.is_broken(*id));
    let wiring = links_tree.map(|(id, tree)| wire(root("`links.toml`", tree, *id), &mut resolved, out));
    check_links(&resolved, wiring.as_ref(), out);
    let Resolved { layout, hints, places, .. } = resolved;
    Understood { layout, wiring, hints, places }
}

fn root<'t>(what: &'static str, tree: &'t DeTable<'t>, file: FileId) -> Keys<'t> {
    Keys::new(what, tree, Span::new(file, 0..0))
}

/// Parses a text as far as it can be understood, and reports the rest.
fn parse<'s>(sources: &'s [Source], file: FileId, out: &mut Findings) -> DeTable<'s> {
    let (tree, errors) = DeTable::parse_recoverable(&sources[file.0].text);
    if !errors.is_empty() {
        out.mark_broken(file);
    }
    for error in &errors {
        let range = error.span().unwrap_or(0..0);
        report(&sources[file.0].text, Span::new(file, range), error.message(), out);
    }
    tree.into_inner()
}

/// The bytes of a file as text.
fn text_of(file: &str, bytes: Vec<u8>) -> Result<String, Unreadable> {
    let unreadable =
        |reason: String, hint: &str| Unreadable { file: file.to_owned(), reason, hint: Some(hint.to_owned()) };
    if bytes.len() > LARGEST_FILE {
        let most = LARGEST_FILE / (1024 * 1024);
        return Err(unreadable(format!("it is larger than {most} MB"), "no layout needs so much: is it another file?"));
    }
    let mut line = 1;
    let mut start = 0;
    for (at, byte) in bytes.iter().enumerate() {
        match byte {
            b'\n' => (line, start) = (line + 1, at + 1),
            0 => {
                return Err(unreadable(
                    format!("line {line} holds a zero byte: it is no text"),
                    "a layout file is TOML text in UTF-8",
                ));
            }
            _ if at - start >= LONGEST_LINE => {
                return Err(unreadable(
                    format!("line {line} is longer than {} kB", LONGEST_LINE / 1024),
                    "break it into lines",
                ));
            }
            _ => {}
        }
    }
    // Some editors mark a text as UTF-8 by three bytes that they neither show nor count.
    let mark = if bytes.starts_with(b"\xef\xbb\xbf") { 3 } else { 0 };
    String::from_utf8(bytes).map(|text| text[mark..].to_owned()).map_err(|error| {
        let good = &error.as_bytes()[..error.utf8_error().valid_up_to()];
        let line = good.iter().filter(|byte| **byte == b'\n').count() + 1;
        unreadable(format!("line {line} is not UTF-8"), "save it as UTF-8 text")
    })
}
