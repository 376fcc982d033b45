//! The table of all approaches, for people and as CSV (RFC 4180).

use std::io::{self, Write};

use track::spacing::Approach;
use track::{Layout, Length};

use super::{Needed, Spacing, km_h, name_of};
use crate::check::table_forms::quoted;

const HEADS: [&str; 9] = ["caution", "for", "to", "distance", "train", "mm/s", "km/h", "needs", "margin"];
const GAP: &str = "  ";
/// The columns that hold numbers, which stand under each other's last digits.
const NUMBERS: [bool; 9] = [false, false, false, true, false, true, true, true, true];

impl Spacing {
    /// Writes aligned columns: lengths in millimetres, speeds on the table and at scale.
    pub(in crate::check) fn write_text(&self, output: &mut impl Write, layout: &Layout) -> io::Result<()> {
        let rows: Vec<[String; 9]> = self.rows(layout).collect();
        if !rows.is_empty() {
            let mut widths = HEADS.map(|head| head.chars().count());
            for row in &rows {
                for (width, cell) in widths.iter_mut().zip(row) {
                    *width = cell.chars().count().max(*width);
                }
            }
            write_row(output, &HEADS.map(str::to_owned), &widths)?;
            writeln!(output, "{}", widths.map(|width| "-".repeat(width)).join(GAP))?;
            let mut before: Option<[String; 4]> = None;
            for row in rows {
                let approach = [row[0].clone(), row[1].clone(), row[2].clone(), row[3].clone()];
                let mut row = row;
                if before.as_ref() == Some(&approach) {
                    row[..4].fill(String::new());
                }
                before = Some(approach);
                write_row(output, &row, &widths)?;
            }
            writeln!(output)?;
        }
        let too_short = self.approaches.iter().filter(|(_, needed)| needed.iter().any(Needed::is_too_much)).count();
        let many = self.approaches.len();
        let approaches = if many == 1 { "approach" } else { "approaches" };
        writeln!(output, "{many} {approaches}, {too_short} of them too short for some train. Lengths in mm.")?;
        self.notes(layout).iter().try_for_each(|note| writeln!(output, "note: {note}"))
    }

    /// Writes one record for each approach and train.
    pub(in crate::check) fn write_csv(&self, output: &mut impl Write, layout: &Layout) -> io::Result<()> {
        write!(output, "caution,for,to,distance_mm,train,speed_mm_s,speed_km_h,needs_mm,margin_mm\r\n")?;
        for row in self.rows(layout) {
            write!(output, "{}\r\n", row.map(|cell| quoted(&cell)).join(","))?;
        }
        Ok(())
    }

    fn rows<'a>(&'a self, layout: &'a Layout) -> impl Iterator<Item = [String; 9]> + 'a {
        self.approaches
            .iter()
            .flat_map(move |(approach, needed)| needed.iter().map(move |needed| row(layout, approach, needed)))
    }
}

fn row(layout: &Layout, approach: &Approach, needed: &Needed) -> [String; 9] {
    let mm = |length: Length| format!("{:.0}", length.mm());
    [
        layout.signals[approach.caution].name.clone(),
        name_of(approach.target, layout),
        approach.class.map_or_else(|| "stop".to_owned(), |class| class.to_string()),
        approach.distance.map_or_else(String::new, mm),
        layout.trains[needed.train].name.clone(),
        format!("{:.0}", needed.speed.mm()),
        format!("{:.0}", km_h(needed.speed, layout)),
        if needed.never_stops() { "endless".to_owned() } else { mm(needed.needs) },
        needed.margin.filter(|_| !needed.never_stops()).map_or_else(String::new, mm),
    ]
}

fn write_row(output: &mut impl Write, cells: &[String; 9], widths: &[usize; 9]) -> io::Result<()> {
    let mut text = String::new();
    for ((cell, &width), is_number) in cells.iter().zip(widths).zip(NUMBERS) {
        text += &if is_number { format!("{cell:>width$}{GAP}") } else { format!("{cell:<width$}{GAP}") };
    }
    writeln!(output, "{}", text.trim_end())
}
