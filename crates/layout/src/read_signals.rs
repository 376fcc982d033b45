//! Reading what signals are into what was typed.

use toml::de::DeValue;

use crate::diagnostic::Findings;
use crate::keys::{Keys, texts_of};
use crate::source::Said;
use crate::written::{WrittenOverlap, WrittenSignal};

/// One `[[signal]]`.
pub(crate) fn read_signal<'t>(mut keys: Keys<'t>, out: &mut Findings) -> Option<WrittenSignal<'t>> {
    let name = keys.needed_name("\"W2\"", out);
    let at = keys.needed_text("at", "\"quay-1.b\"", out);
    let aspects = keys.text("aspects", out);
    let permissive = keys.flag("permissive", out).is_some_and(|said| said.value);
    let approach_lit = keys.flag("approach-lit", out).is_some_and(|said| said.value);
    let controlled = keys.flag("controlled", out).is_some_and(|said| said.value);
    let overlap = read_overlap(&mut keys, out);
    keys.finish(out);
    Some(WrittenSignal { name: name?, at: at?, aspects, permissive, approach_lit, controlled, overlap })
}

/// `overlap = ["throat"]` or `overlap = 600`.
fn read_overlap<'t>(keys: &mut Keys<'t>, out: &mut Findings) -> Option<Said<WrittenOverlap<'t>>> {
    let value = keys.value("overlap")?;
    let overlap = match value.value {
        DeValue::Array(_) => WrittenOverlap::Sections(texts_of("overlap", value, out)),
        DeValue::String(section) => {
            out.mistake(value.span, "`overlap` is a list of sections, or a number of millimetres, not a text")
                .hint(format!("put it in brackets: `overlap = [\"{section}\"]`"));
            return None;
        }
        _ => WrittenOverlap::Length(keys.length("overlap", out)?.value),
    };
    Some(Said { value: overlap, span: value.span })
}
