//! What the classes of speed come to: `[speeds]` of a layout, and `speeds` of an aspect book.

use track::{ClassSpeeds, Speed};

use crate::diagnostic::Findings;
use crate::keys::Keys;
use crate::numbers::WrittenSpeed;
use crate::written::{SpeedWord, WrittenSpeeds};

const WORDS: [(&str, SpeedWord); 4] = [
    ("restricted", SpeedWord::Restricted),
    ("slow", SpeedWord::Slow),
    ("medium", SpeedWord::Medium),
    ("limited", SpeedWord::Limited),
];

/// Reads the table.
pub(crate) fn read_speeds(mut keys: Keys<'_>, out: &mut Findings) -> WrittenSpeeds {
    let speeds = WORDS.iter().filter_map(|&(word, class)| Some((class, keys.speed(word, out)?))).collect();
    keys.finish(out);
    speeds
}

/// The speeds of a book, which is for layouts of any scale: only the real railway's.
pub(crate) fn real_speeds(keys: Keys<'_>, out: &mut Findings) -> ClassSpeeds {
    let written = read_speeds(keys, out);
    for (_, speed) in &written {
        if let WrittenSpeed::OnTable(_) = speed.value {
            out.mistake(speed.span, "an aspect book is for tables of any scale")
                .hint("write a speed of the real railway, such as `\"40 km/h\"` or `\"25 mph\"`");
        }
    }
    speeds_of(&written, |speed| speed.on_table(1.0), out)
}

/// What was written, as speeds. A class that is slower than one below it is doubted.
pub(crate) fn speeds_of(
    written: &WrittenSpeeds,
    speed_of: impl Fn(WrittenSpeed) -> Speed,
    out: &mut Findings,
) -> ClassSpeeds {
    let mut speeds = ClassSpeeds::default();
    let mut below: Option<(SpeedWord, Speed)> = None;
    for (class, said) in written {
        let speed = speed_of(said.value);
        *match class {
            SpeedWord::Restricted => &mut speeds.restricted,
            SpeedWord::Slow => &mut speeds.slow,
            SpeedWord::Medium => &mut speeds.medium,
            SpeedWord::Limited => &mut speeds.limited,
        } = Some(speed);
        if let Some((slower, _)) = below.filter(|(_, below)| *below > speed) {
            out.warning(said.span, format!("`{}` is slower than `{}`", word(*class), word(slower)))
                .hint("the classes are `restricted`, `slow`, `medium`, `limited`, the slowest first");
        }
        below = Some((*class, speed));
    }
    speeds
}

fn word(class: SpeedWord) -> &'static str {
    WORDS.iter().find(|(_, other)| *other == class).map_or("", |(word, _)| word)
}
