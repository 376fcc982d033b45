//! What a register holds: `lineclear replay` runs it again, `lineclear history` answers questions about it.

mod explain;
pub(crate) mod history;
pub(crate) mod replay;
mod when;

use std::io::{self, Write};
use std::path::Path;

use register::{OpenError, Reader, Shift, Trouble};

use crate::Exit;

/// Why there is no answer.
enum Failed {
    Output(io::Error),
    Told(String),
}

impl From<io::Error> for Failed {
    fn from(error: io::Error) -> Self {
        Self::Output(error)
    }
}

impl From<OpenError> for Failed {
    fn from(error: OpenError) -> Self {
        let hint = match error {
            OpenError::Missing(_) => {
                "\nhint: a register is made by `lineclear run DIR --state FOLDER`; name that folder"
            }
            _ => "",
        };
        Self::Told(format!("{error}{hint}"))
    }
}

impl From<Trouble> for Failed {
    fn from(trouble: Trouble) -> Self {
        Self::Told(trouble.to_string())
    }
}

/// Opens the register that a folder or file name means.
fn open(named: &Path) -> Result<Reader, Failed> {
    Ok(Reader::open(&register::find(named)?)?)
}

/// A shift; without a number the last one.
fn shift(reader: &Reader, number: Option<i64>) -> Result<Shift, Failed> {
    if let Some(shift) = reader.shift(number)? {
        return Ok(shift);
    }
    let known: Vec<String> = reader.shifts()?.iter().map(|shift| shift.id.to_string()).collect();
    Err(Failed::Told(match (number, known.as_slice()) {
        (_, []) => "nothing was recorded yet".to_owned(),
        (Some(number), [one]) => format!("there is no shift {number}; the only one is {one}"),
        (Some(number), [first, .., last]) => format!("there is no shift {number}; there are {first} to {last}"),
        (None, _) => "there is no shift".to_owned(),
    }))
}

/// Writes the answer, and tells how it went.
fn answered(answer: impl FnOnce(&mut dyn Write) -> Result<Exit, Failed>) -> Exit {
    let mut output = io::BufWriter::new(io::stdout());
    let result = answer(&mut output).and_then(|exit| output.flush().map(|()| exit).map_err(Failed::Output));
    let words = match result {
        Ok(exit) => return exit,
        Err(Failed::Output(error)) if error.kind() == io::ErrorKind::BrokenPipe => return Exit::Fine,
        Err(Failed::Output(error)) => format!("the output cannot be written: {error}"),
        Err(Failed::Told(words)) => words,
    };
    // Where nobody listens on standard error there is nobody left to tell.
    let _ = writeln!(io::stderr(), "error: {words}");
    Exit::BadInput
}
