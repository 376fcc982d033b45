//! Codecs, held against published tables, and against whatever bytes there are.

#![cfg(test)]

mod accessories;
mod adapter;
mod dcc;
mod inputs;
mod lcc;
mod mqtt;
mod orders;
mod railcom;
mod random;
mod siding;

/// The rows of a table, without its head; fields in quotes may hold commas.
fn rows(text: &str) -> Vec<Vec<String>> {
    let fields = |line: &str| {
        let (mut fields, mut field, mut is_quoted) = (Vec::new(), String::new(), false);
        for letter in line.chars() {
            match letter {
                '"' => is_quoted = !is_quoted,
                ',' if !is_quoted => fields.push(std::mem::take(&mut field)),
                other => field.push(other),
            }
        }
        fields.push(field);
        fields
    };
    text.lines().skip(1).filter(|line| !line.trim().is_empty()).map(fields).collect()
}

/// Bytes in hexadecimal digits.
fn bytes(text: &str) -> Vec<u8> {
    lineside::railcom::bytes_of(text).unwrap_or_default()
}

/// A number in hexadecimal digits.
fn hex(text: &str) -> u64 {
    u64::from_str_radix(text.trim_start_matches("0x"), 16).unwrap()
}
