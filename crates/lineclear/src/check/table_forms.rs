//! A control table as text for people, as CSV (RFC 4180), and as Markdown.

use std::io::{self, Write};

use super::control_table::{ControlTable, HEADS, Row};

/// A cell is broken between its items where it would become wider than this.
const WIDEST: usize = 26;
const GAP: &str = "  ";

/// Writes aligned columns, a blank line between signals.
pub(super) fn write_text(output: &mut impl Write, table: &ControlTable<'_>) -> io::Result<()> {
    let all: Vec<Row> = table.rows().collect();
    if !all.is_empty() {
        let heads = HEADS.map(|head| broken(head.split(' ').map(str::to_owned).collect(), " "));
        let rows: Vec<[Vec<String>; HEADS.len()]> =
            all.iter().map(|row| row.cells.clone().map(|cell| broken(cell, ", "))).collect();
        let mut widths = [0; HEADS.len()];
        for cells in rows.iter().chain([&heads]) {
            for (width, cell) in widths.iter_mut().zip(cells) {
                *width = cell.iter().map(|line| line.chars().count()).max().unwrap_or(0).max(*width);
            }
        }
        write_row(output, &heads, &widths)?;
        writeln!(output, "{}", widths.map(|width| "-".repeat(width)).join(GAP))?;
        let mut before: Option<&Row> = None;
        for (row, cells) in all.iter().zip(&rows) {
            if before.is_some_and(|before| before.cells[1] != row.cells[1]) {
                writeln!(output)?;
            }
            write_row(output, cells, &widths)?;
            before = Some(row);
        }
        writeln!(output)?;
    }
    let routes = if all.len() == 1 { "route" } else { "routes" };
    writeln!(output, "{} {routes}. Sections: each as a whole for one route at a time.", all.len())?;
    table.notes.iter().try_for_each(|note| writeln!(output, "note: {note}"))
}

fn write_row(
    output: &mut impl Write,
    cells: &[Vec<String>; HEADS.len()],
    widths: &[usize; HEADS.len()],
) -> io::Result<()> {
    let height = cells.iter().map(Vec::len).max().unwrap_or(0);
    for line in 0..height {
        let mut text = String::new();
        for (cell, &width) in cells.iter().zip(widths) {
            let part = cell.get(line).map_or("", String::as_str);
            text += &format!("{part:<width$}{GAP}");
        }
        writeln!(output, "{}", text.trim_end())?;
    }
    Ok(())
}

/// The items of a cell, in lines that are no wider than need be.
fn broken(items: Vec<String>, between: &str) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let last = items.len().saturating_sub(1);
    for (place, item) in items.into_iter().enumerate() {
        let item = if place < last { format!("{item}{}", between.trim_end()) } else { item };
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + item.chars().count() <= WIDEST => {
                line.push(' ');
                line.push_str(&item);
            }
            _ => lines.push(item),
        }
    }
    lines
}

/// Writes one record a route; items of a cell are parted by `; `. A last column repeats the conflicts with their reasons.
pub(super) fn write_csv(output: &mut impl Write, table: &ControlTable<'_>) -> io::Result<()> {
    write!(output, "{},reasons\r\n", HEADS.join(","))?;
    for row in table.rows() {
        let reasons = table.reasons(&row);
        let cells = row.cells.iter().chain([&reasons]).map(|cell| quoted(&cell.join("; ")));
        write!(output, "{}\r\n", cells.collect::<Vec<_>>().join(","))?;
    }
    Ok(())
}

pub(super) fn quoted(text: &str) -> String {
    if text.contains(['"', ',', '\r', '\n']) { format!("\"{}\"", text.replace('"', "\"\"")) } else { text.to_owned() }
}

/// Writes a Markdown table, and the notes as a list.
pub(super) fn write_markdown(output: &mut impl Write, table: &ControlTable<'_>) -> io::Result<()> {
    writeln!(output, "| {} |", HEADS.join(" | "))?;
    writeln!(output, "|{}", " --- |".repeat(HEADS.len()))?;
    for row in table.rows() {
        let cells = row.cells.iter().map(|cell| escaped(&cell.join(", ")));
        writeln!(output, "| {} |", cells.collect::<Vec<_>>().join(" | "))?;
    }
    if !table.notes.is_empty() {
        writeln!(output)?;
    }
    table.notes.iter().try_for_each(|note| writeln!(output, "- {note}"))
}

/// Keeps what means something to Markdown as it is written.
fn escaped(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '\n' | '\r' => escaped.push(' '),
            '|' | '\\' | '*' | '_' | '`' | '<' | '[' => escaped.extend(['\\', letter]),
            _ => escaped.push(letter),
        }
    }
    escaped
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_with_a_comma_or_a_quote_stays_one_field() {
        assert_eq!(quoted("quay"), "quay");
        assert_eq!(quoted("the \"new\" quay, west"), "\"the \"\"new\"\" quay, west\"");
    }

    #[test]
    fn a_name_with_a_bar_does_not_open_a_column() {
        assert_eq!(escaped("a|b_c"), "a\\|b\\_c");
    }

    #[test]
    fn a_long_cell_is_broken_between_its_items() {
        let items = ["yard-1", "yard-2", "yard-3", "yard-4"].map(str::to_owned).to_vec();
        assert_eq!(broken(items, ", "), ["yard-1, yard-2, yard-3,", "yard-4"]);
        assert_eq!(broken(vec!["x".repeat(40)], ", "), ["x".repeat(40)]);
        assert!(broken(Vec::new(), ", ").is_empty());
    }
}
