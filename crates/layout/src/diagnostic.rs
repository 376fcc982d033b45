//! Mistakes and warnings, each with its place.

use crate::source::{FileId, Place, Source, Span};

/// How bad it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The layout cannot be used like this.
    Mistake,
    /// It can, but it is probably not what was meant.
    Warning,
}

impl Severity {
    /// The word shown to people and to editors.
    pub fn word(self) -> &'static str {
        match self {
            Self::Mistake => "mistake",
            Self::Warning => "warning",
        }
    }
}

/// One thing that is wrong, where, and what would be right.
#[derive(Clone, Debug)]
pub struct Diagnostic {
    /// How bad it is.
    pub severity: Severity,
    /// What is wrong: lower case, without full stop, literals in backticks.
    pub message: String,
    /// What would be right.
    pub hint: Option<String>,
    pub(crate) span: Span,
    pub(crate) see: Vec<(Span, String)>,
}

impl Diagnostic {
    /// Says what would be right.
    pub(crate) fn hint(&mut self, hint: impl Into<String>) -> &mut Self {
        self.hint = Some(hint.into());
        self
    }

    /// Says what would be right, where that is known.
    pub(crate) fn hint_if(&mut self, hint: Option<String>) -> &mut Self {
        if hint.is_some() {
            self.hint = hint;
        }
        self
    }

    /// Points at another place that has to do with it.
    pub(crate) fn see(&mut self, span: Span, why: impl Into<String>) -> &mut Self {
        self.see.push((span, why.into()));
        self
    }
}

/// What is found while reading, in the order of finding.
#[derive(Debug, Default)]
pub(crate) struct Findings {
    list: Vec<Diagnostic>,
    /// Where one goes that is no longer listed, so that whoever reports it need not know.
    unlisted: Option<Diagnostic>,
    untold: [usize; 2],
    broken: Vec<FileId>,
}

/// So many diagnostics are listed; of a file with more, nobody reads the rest.
const LISTED: usize = 1000;

impl Findings {
    pub(crate) fn mistake(&mut self, span: Span, message: impl Into<String>) -> &mut Diagnostic {
        self.add(Severity::Mistake, span, message.into())
    }

    pub(crate) fn warning(&mut self, span: Span, message: impl Into<String>) -> &mut Diagnostic {
        self.add(Severity::Warning, span, message.into())
    }

    fn add(&mut self, severity: Severity, span: Span, message: String) -> &mut Diagnostic {
        let diagnostic = Diagnostic { severity, message, hint: None, span, see: Vec::new() };
        if self.list.len() >= LISTED {
            self.untold[severity as usize] += 1;
            return self.unlisted.insert(diagnostic);
        }
        self.list.push(diagnostic);
        let last = self.list.len() - 1;
        &mut self.list[last]
    }

    /// As [`Self::mistake`], but dropped where the same text has been reported as no TOML.
    pub(crate) fn mistake_unless_broken(&mut self, span: Span, message: impl Into<String>) -> &mut Diagnostic {
        let is_known = self.is_broken(span.file) && self.list.iter().any(|known| known.span == span);
        if is_known {
            let diagnostic =
                Diagnostic { severity: Severity::Mistake, message: message.into(), hint: None, span, see: Vec::new() };
            return self.unlisted.insert(diagnostic);
        }
        self.mistake(span, message)
    }

    /// Notes that a text is no TOML throughout: what seems to be missing in it may merely not have been understood.
    pub(crate) fn mark_broken(&mut self, file: FileId) {
        self.broken.push(file);
    }

    /// Whether any mistake was found so far.
    pub(crate) fn has_mistakes(&self) -> bool {
        self.list.iter().any(|diagnostic| diagnostic.severity == Severity::Mistake)
    }

    pub(crate) fn is_broken(&self, file: FileId) -> bool {
        self.broken.contains(&file)
    }

    /// The diagnostics in order of place.
    pub(crate) fn finish(mut self, sources: Vec<Source>) -> Diagnostics {
        self.list.sort_by_key(|diagnostic| (diagnostic.span, diagnostic.severity));
        Diagnostics { sources, list: self.list, untold: self.untold }
    }
}

/// Everything found in the files of one layout, in order of place, with the texts it points into. Of more than a thousand
/// diagnostics the first thousand found are listed, the rest only counted.
#[derive(Debug)]
pub struct Diagnostics {
    sources: Vec<Source>,
    list: Vec<Diagnostic>,
    untold: [usize; 2],
}

impl Diagnostics {
    /// Adds a warning in its place.
    pub(crate) fn warn(&mut self, span: Span, message: String, hint: String) {
        if self.list.len() >= LISTED {
            self.untold[Severity::Warning as usize] += 1;
            return;
        }
        let diagnostic = Diagnostic { severity: Severity::Warning, message, hint: Some(hint), span, see: Vec::new() };
        let place = self.list.partition_point(|other| other.span <= span);
        self.list.insert(place, diagnostic);
    }

    /// The diagnostics, in order of file and place.
    pub fn iter(&self) -> std::slice::Iter<'_, Diagnostic> {
        self.list.iter()
    }

    /// How many there are of a kind, listed or not.
    pub fn count(&self, severity: Severity) -> usize {
        self.untold[severity as usize] + self.list.iter().filter(|diagnostic| diagnostic.severity == severity).count()
    }

    /// How many were found but are not listed.
    pub fn unlisted(&self) -> usize {
        self.untold.iter().sum()
    }

    /// Whether there is none at all.
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// The file that a diagnostic points into.
    pub fn file(&self, diagnostic: &Diagnostic) -> &str {
        &self.source(diagnostic.span).name
    }

    /// Where a diagnostic's stretch of text begins, and where it ends (the first place behind it).
    pub fn places(&self, diagnostic: &Diagnostic) -> (Place, Place) {
        let source = self.source(diagnostic.span);
        (source.place(diagnostic.span.start), source.place(diagnostic.span.end))
    }

    pub(crate) fn source(&self, span: Span) -> &Source {
        &self.sources[span.file.0]
    }
}
