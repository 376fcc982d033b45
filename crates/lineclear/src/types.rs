//! `lineclear types`: writes down for editors what scripts can use, with the names of the layout.
//!
//! A file that was written here and not touched since is written anew; one that somebody changed is left alone, and told.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use crate::{Exit, folder};

/// What was asked for on the command line.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The folder of the layout; the files go into the folder `scripts/types` within
    #[arg(value_name = "DIR")]
    layout: PathBuf,
    /// Write over files that somebody changed, too
    #[arg(long)]
    overwrite: bool,
}

/// What became of a file.
enum Fate {
    Written,
    /// It was like that already.
    Same,
    /// Somebody changed it.
    Changed,
}

/// Writes the files.
pub(crate) fn run(args: &Args) -> Exit {
    // Where nobody listens there is nobody left to tell.
    let tell = |words: &str| drop(writeln!(io::stderr(), "{words}"));
    let layout = match folder::load(&args.layout) {
        Ok(loaded) => loaded.layout,
        Err(refused) => {
            tell(&refused.to_string());
            return Exit::BadInput;
        }
    };
    let files = [
        ("lineclear.d.luau", "--", hooks::luau_types(&layout)),
        ("lineclear.lua", "--", hooks::luacats_types(&layout)),
        ("reference.md", "<!--", hooks::reference_page()),
    ];
    let folder = args.layout.join("scripts").join("types");
    let mut exit = Exit::Fine;
    for (name, comment, text) in files {
        let path = folder.join(name);
        match write(&path, &sealed(comment, &text), args.overwrite.into()) {
            Ok(Fate::Written) => drop(writeln!(io::stdout(), "wrote {}", path.display())),
            Ok(Fate::Same) => drop(writeln!(io::stdout(), "{} is up to date", path.display())),
            Ok(Fate::Changed) => {
                tell(&format!(
                    "`{}` was changed by somebody, and is left as it is\nhint: move it away, or say `--overwrite`",
                    path.display()
                ));
                exit = Exit::Wrong;
            }
            Err(error) => {
                tell(&format!("error: `{}`: {}", path.display(), error.to_string().to_lowercase()));
                return Exit::BadInput;
            }
        }
    }
    exit
}

/// What is done with a file that somebody changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Changed {
    Leave,
    Overwrite,
}

impl From<bool> for Changed {
    fn from(overwrite: bool) -> Self {
        if overwrite { Self::Overwrite } else { Self::Leave }
    }
}

fn write(path: &Path, text: &str, changed: Changed) -> io::Result<Fate> {
    match std::fs::read_to_string(path) {
        Ok(old) if old == text => return Ok(Fate::Same),
        Ok(old) if !is_untouched(&old) && changed == Changed::Leave => return Ok(Fate::Changed),
        Ok(_) => {}
        Err(error) if error.kind() == io::ErrorKind::NotFound => {}
        // What is no text was not written here.
        Err(error) if error.kind() == io::ErrorKind::InvalidData && changed == Changed::Leave => {
            return Ok(Fate::Changed);
        }
        Err(error) if error.kind() == io::ErrorKind::InvalidData => {}
        Err(error) => return Err(error),
    }
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder)?;
    }
    std::fs::write(path, text)?;
    Ok(Fate::Written)
}

/// By this line at its end a file is known as written here.
const SEAL: &str = "written by `lineclear types`, seal ";

/// The text with a line at its end that tells whether anybody changed it since.
fn sealed(comment: &str, text: &str) -> String {
    let end = if comment == "<!--" { " -->" } else { "" };
    format!("{text}\n{comment} {SEAL}{:016x}{end}\n", digest(text))
}

fn is_untouched(old: &str) -> bool {
    let Some((text, seal)) = old.trim_end_matches('\n').rsplit_once('\n') else { return false };
    seal.contains(&format!("{SEAL}{:016x}", digest(text)))
}

/// FNV-1a, 64 bits.
fn digest(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |sum, byte| (sum ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_that_somebody_changed_is_known() {
        let text = sealed("--", "declare function send()\n");
        assert!(is_untouched(&text));
        assert!(!is_untouched(&text.replace("send", "sent")));
        assert!(!is_untouched("declare function send()\n"));
        assert!(!is_untouched(""));
        // Of the draft "The FNV Non-Cryptographic Hash Algorithm", its test vectors.
        assert_eq!((digest(""), digest("a")), (0xcbf2_9ce4_8422_2325, 0xaf63_dc4c_8601_ec8c));
    }
}
