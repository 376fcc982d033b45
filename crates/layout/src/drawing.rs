//! How the track is to be drawn where that should be otherwise than it is by itself: `[diagram]`.
//!
//! Here names are looked up, and what cannot be meant is reported. Whether a drawing can be as it is wished is for whoever draws.

use toml::de::DeValue;
use track::{Hint, SectionId};

use crate::diagnostic::Findings;
use crate::keys::{Keys, text_of, texts_of, wrong_type};
use crate::resolve::Resolver;
use crate::source::{Said, Span};
use crate::written::{WrittenDrawing, WrittenTrack};

/// A drawing that needs more is no longer placed by itself; bounded so that a faulty file is not looked at for hours.
const MOST_HINTS: usize = 1000;

/// Reads the table.
pub(crate) fn read_drawing<'t>(mut keys: Keys<'t>, out: &mut Findings) -> WrittenDrawing<'t> {
    let left = keys.value("left").map(|said| texts_of("left", said, out)).unwrap_or_default();
    let from_top = keys.value("from-top").map(|said| read_rows(said, out)).unwrap_or_default();
    let backwards = keys.value("backwards").map(|said| texts_of("backwards", said, out)).unwrap_or_default();
    let header = keys.header();
    keys.finish(out);
    let count = left.len() + backwards.len() + from_top.iter().map(Vec::len).sum::<usize>();
    if count > MOST_HINTS {
        out.mistake(header, format!("`[diagram]` holds at most {MOST_HINTS} names, not {count}"))
            .hint("leave out what is drawn so by itself");
        return WrittenDrawing::default();
    }
    WrittenDrawing { left, from_top, backwards }
}

/// One list of sections from top to bottom, or several.
fn read_rows<'t>(value: Said<&'t DeValue<'t>>, out: &mut Findings) -> Vec<Vec<Said<&'t str>>> {
    let DeValue::Array(list) = value.value else {
        wrong_type("from-top", "a list", value, out)
            .hint("name two sections or more, from top to bottom: `from-top = [\"quay-2\", \"quay-1\"]`");
        return Vec::new();
    };
    let items =
        || list.iter().map(|item| Said { value: item.get_ref(), span: Span::new(value.span.file, item.span()) });
    let rows: Vec<(Span, Vec<Said<&str>>)> = if items().any(|item| item.value.is_array()) {
        items().map(|item| (item.span, texts_of("from-top", item, out))).collect()
    } else {
        vec![(value.span, items().filter_map(|item| text_of("from-top", item, out)).collect())]
    };
    let mut long = Vec::new();
    for (span, row) in rows {
        if row.len() < 2 {
            out.mistake(span, "`from-top` names two sections or more, from top to bottom")
                .hint("`from-top = [\"quay-2\", \"quay-1\"]`, or several such lists in brackets");
        } else {
            long.push(row);
        }
    }
    long
}

impl<'t> Resolver<'t, '_> {
    /// Looks up what is said of how the track is drawn; the place of each hint is kept beside it.
    pub(crate) fn hints(&mut self, track: &WrittenTrack<'t>) -> Vec<Hint> {
        let mut hints = Vec::new();
        let WrittenDrawing { left, from_top, backwards } = &track.drawing;
        for &said in left {
            if let Some(end) = self.find_end(said).sure() {
                hints.push((Hint::Left(end), said.span));
            }
        }
        for row in from_top {
            let sections: Vec<_> = row.iter().map(|&said| self.plain_section(said)).collect();
            for (two, said) in sections.windows(2).zip(&row[1..]) {
                let &[Some(upper), Some(lower)] = two else { continue };
                if upper == lower {
                    self.out
                        .mistake(said.span, format!("`{}` cannot be drawn above itself", said.value))
                        .hint("name each section once in a list");
                    continue;
                }
                hints.push((Hint::Above { upper, lower }, said.span));
            }
        }
        for &said in backwards {
            if let Some(section) = self.plain_section(said) {
                hints.push((Hint::Backwards(section), said.span));
            }
        }
        let (hints, places) = hints.into_iter().unzip();
        self.places.hints = places;
        hints
    }

    /// The section of that name, if it has two ends and one way: only such a one lies in a single row.
    fn plain_section(&mut self, said: Said<&'t str>) -> Option<SectionId> {
        let section = self.sections.find(said, self.out)?;
        let row = &self.builder.layout().sections[section];
        if row.ways.len() == 1 && row.ends.len() == 2 {
            return Some(section);
        }
        self.out
            .mistake(said.span, format!("`{}` has several ways, which are drawn in several rows", said.value))
            .hint("name a section with two ends and one way between them");
        None
    }
}
