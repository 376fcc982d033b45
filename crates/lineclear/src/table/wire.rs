//! What goes to and fro between a daemon and a pretend table that runs by itself.
//!
//! Each side first says who it is: `lineclear table 1` and the digest of its layout. Then frames follow, each a number for its
//! kind, the length of what comes, four bytes with the lowest first, and that.

use std::collections::BTreeMap;
use std::io::{self, Read, Write};

use signaller::{Digest, Input, Output};

/// What each side says first, before the digest of its layout.
const GREETING: &[u8] = b"lineclear table 1\n";
/// A longer frame was written by nobody here.
const LARGEST: u32 = 64 << 20;

/// What the daemon says.
#[derive(Debug)]
pub(crate) enum Order {
    /// It has worked through so many reports, and through what else it heard, and this came of it.
    Stepped { reports: u64, inputs: Vec<Input>, outputs: Vec<Output> },
    /// It is still there.
    Here,
    /// It cannot answer for the trains: they are to stand.
    Abandon,
    /// The track is to be built anew as these files say.
    Rebuild(BTreeMap<String, String>),
}

/// What the table says.
#[derive(Debug, PartialEq)]
pub(crate) enum Told {
    /// Something was reported.
    Reported(Vec<Input>),
    /// The track was built anew, and everything reports this. Or it was not, and why.
    Rebuilt(Result<Vec<Input>, String>),
}

/// What tells one layout from another: what is written in its files.
pub(crate) fn digest(files: &BTreeMap<String, String>) -> u64 {
    let mut digest = Digest::new();
    for (name, text) in files {
        for part in [name, text] {
            digest.add_bytes(part.as_bytes());
            digest.add_bytes(&[0]);
        }
    }
    digest.value()
}

/// Says who is here.
pub(crate) fn greet(output: &mut impl Write, layout: u64) -> io::Result<()> {
    output.write_all(GREETING)?;
    output.write_all(&layout.to_le_bytes())?;
    output.flush()
}

/// Hears who is there.
///
/// # Errors
/// Somebody else, or one with another layout.
pub(crate) fn be_greeted(input: &mut impl Read, layout: u64) -> io::Result<()> {
    let mut greeting = [0; GREETING.len()];
    input.read_exact(&mut greeting)?;
    if greeting != GREETING {
        return Err(io::Error::new(io::ErrorKind::InvalidData, "this is no table or daemon of this version"));
    }
    let mut digest = [0; 8];
    input.read_exact(&mut digest)?;
    if u64::from_le_bytes(digest) != layout {
        return Err(io::Error::new(io::ErrorKind::InvalidData, "it has another layout"));
    }
    Ok(())
}

fn frame(output: &mut impl Write, kind: u8, parts: &[&[u8]]) -> io::Result<()> {
    let length: usize = parts.iter().map(|part| part.len()).sum();
    let length = u32::try_from(length).map_err(io::Error::other)?;
    let mut bytes = Vec::with_capacity(5 + length as usize);
    bytes.push(kind);
    bytes.extend(length.to_le_bytes());
    parts.iter().for_each(|part| bytes.extend(*part));
    output.write_all(&bytes)?;
    output.flush()
}

fn read_frame(input: &mut impl Read) -> io::Result<(u8, Vec<u8>)> {
    let mut head = [0; 5];
    input.read_exact(&mut head)?;
    let length = u32::from_le_bytes([head[1], head[2], head[3], head[4]]);
    if length > LARGEST {
        return Err(garbled());
    }
    let mut bytes = vec![0; length as usize];
    input.read_exact(&mut bytes)?;
    Ok((head[0], bytes))
}

fn garbled() -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, "what came makes no sense")
}

/// Sends what was reported.
pub(crate) fn send_reports(output: &mut impl Write, reports: &[Input]) -> io::Result<()> {
    frame(output, 1, &[&register::inputs_to_bytes(reports.iter())])
}

/// Says what became of building the track anew.
pub(crate) fn send_rebuilt(output: &mut impl Write, rebuilt: &Result<Vec<Input>, String>) -> io::Result<()> {
    match rebuilt {
        Ok(reports) => frame(output, 6, &[&register::inputs_to_bytes(reports.iter())]),
        Err(why) => frame(output, 7, &[why.as_bytes()]),
    }
}

/// Hears what the table says.
pub(crate) fn read_told(input: &mut impl Read) -> io::Result<Told> {
    let inputs = |bytes: &[u8]| register::inputs_from_bytes(bytes).map_err(|_| garbled());
    match read_frame(input)? {
        (1, bytes) => Ok(Told::Reported(inputs(&bytes)?)),
        (6, bytes) => Ok(Told::Rebuilt(Ok(inputs(&bytes)?))),
        (7, bytes) => Ok(Told::Rebuilt(Err(String::from_utf8(bytes).map_err(|_| garbled())?))),
        _ => Err(garbled()),
    }
}

/// Sends an order.
pub(crate) fn send_order(output: &mut impl Write, order: &Order) -> io::Result<()> {
    match order {
        Order::Stepped { reports, inputs, outputs } => {
            let inputs = register::inputs_to_bytes(inputs.iter());
            let length = u32::try_from(inputs.len()).map_err(io::Error::other)?;
            let outputs = register::outputs_to_bytes(outputs);
            frame(output, 2, &[&reports.to_le_bytes(), &length.to_le_bytes(), &inputs, &outputs])
        }
        Order::Here => frame(output, 3, &[]),
        Order::Abandon => frame(output, 4, &[]),
        Order::Rebuild(files) => frame(output, 5, &[&serde_json::to_vec(files)?]),
    }
}

/// Hears an order.
pub(crate) fn read_order(input: &mut impl Read) -> io::Result<Order> {
    match read_frame(input)? {
        (2, bytes) => {
            let (reports, rest) = bytes.split_first_chunk::<8>().ok_or_else(garbled)?;
            let (length, rest) = rest.split_first_chunk::<4>().ok_or_else(garbled)?;
            let (inputs, outputs) = rest.split_at_checked(u32::from_le_bytes(*length) as usize).ok_or_else(garbled)?;
            Ok(Order::Stepped {
                reports: u64::from_le_bytes(*reports),
                inputs: register::inputs_from_bytes(inputs).map_err(|_| garbled())?,
                outputs: register::outputs_from_bytes(outputs).map_err(|_| garbled())?,
            })
        }
        (3, _) => Ok(Order::Here),
        (4, _) => Ok(Order::Abandon),
        (5, bytes) => Ok(Order::Rebuild(serde_json::from_slice(&bytes).map_err(|_| garbled())?)),
        _ => Err(garbled()),
    }
}

#[cfg(test)]
mod tests {
    use signaller::{Direction, Fact, Request, Tag, Ticket};
    use track::{Id, SectionId, TrainId};

    use super::*;

    #[test]
    fn orders_and_reports_come_as_they_went() {
        let (train, section) = (TrainId::from_index(3), SectionId::from_index(7));
        let reports = vec![Input::SectionReported { section, occupied: true }, Input::Woke];
        let inputs = vec![Input::Requested { ticket: Ticket(4), request: Request::Lift { train } }];
        let outputs = vec![
            Output::Drive { train, direction: Direction::Backward, step: 11 },
            Output::Fact(Fact::Tagged { section, tag: Tag::Sure(train) }),
        ];
        let order = Order::Stepped { reports: 2, inputs, outputs };
        let mut wire = Vec::new();
        greet(&mut wire, 99).unwrap();
        send_reports(&mut wire, &reports).unwrap();
        let rebuild = Order::Rebuild(BTreeMap::from([("layout.toml".to_owned(), "[layout]".to_owned())]));
        for order in [&order, &Order::Here, &Order::Abandon, &rebuild] {
            send_order(&mut wire, order).unwrap();
        }
        let mut from = wire.as_slice();
        be_greeted(&mut from, 99).unwrap();
        assert_eq!(read_told(&mut from).unwrap(), Told::Reported(reports));
        let all = [order, Order::Here, Order::Abandon, rebuild];
        for order in &all {
            assert_eq!(format!("{:?}", read_order(&mut from).unwrap()), format!("{order:?}"));
        }
        assert!(from.is_empty());
        assert!(be_greeted(&mut wire.as_slice(), 98).is_err(), "another layout");
        for cut in 26..wire.len() - 1 {
            let mut from = &wire[25..cut];
            let mut complete = read_told(&mut from).is_ok();
            while complete && !from.is_empty() {
                complete = read_order(&mut from).is_ok();
            }
            assert!(!complete || from.is_empty(), "{cut}");
        }
    }
}
