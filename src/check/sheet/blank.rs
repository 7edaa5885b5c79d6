//! A blank measuring sheet.

use std::fmt::Write as _;

use serde::{Deserialize, Serialize};

use crate::check::{Check, deviations};
use crate::wing::{LineSet, Row, Side, harmless_csv_cell};

/// What sheet to make: for one wing, in the order of measuring.
///
/// | setting | default | reason |
/// |---|---|---|
/// | `datum_mm` | 0 | what the instrument shows beyond the maker's length |
/// | `first_side` | left | one side after the other |
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SheetSpec {
    datum_mm: f64,
    first_side: Side,
}

impl Default for SheetSpec {
    fn default() -> Self {
        Self { datum_mm: 0.0, first_side: Side::Left }
    }
}

/// One line to measure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SheetRow {
    /// Place in the order of measuring, from 1.
    pub order: usize,
    /// Side of the wing.
    pub side: Side,
    /// Row of the line.
    pub row: Row,
    /// The main it hangs on, where known.
    pub main: Option<String>,
    /// Line name.
    pub line: String,
    /// Index of the line in its line set.
    pub line_index: usize,
    /// The maker's length, mm.
    pub nominal_mm: f64,
    /// What the instrument shows of a line of that length, mm: nominal and datum.
    pub expected_mm: f64,
    /// What it would show of the line as the last check found it, mm.
    pub last_mm: Option<f64>,
}

/// A blank measuring sheet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sheet {
    rows: Vec<SheetRow>,
}

impl SheetSpec {
    setters! {
        /// What the instrument shows beyond the maker's length, mm (may be negative).
        datum_mm: f64;
        /// The side to measure first.
        first_side: Side;
    }

    /// Lays the sheet out: one side after the other, row by row from the front, the lines of one main together, from the
    /// centre outwards. `last` is the wing's last check.
    #[must_use]
    pub fn run(&self, set: &LineSet, last: Option<&Check>) -> Sheet {
        let before = last.map(|check| deviations(set, check)).unwrap_or_default();
        let lines = set.lines();
        let mut rows = Vec::new();
        for side in [self.first_side, self.first_side.mirror()] {
            for row in Row::ALL {
                let mut here: Vec<usize> =
                    (0..lines.len()).filter(|at| lines[*at].row == row && set.has(*at, side)).collect();
                // a main stands where its innermost line does
                let innermost = |at: usize| {
                    here.iter()
                        .filter(|other| lines[at].main.is_some() && lines[**other].main == lines[at].main)
                        .map(|other| lines[*other].rank)
                        .min()
                        .unwrap_or(lines[at].rank)
                };
                let places: Vec<u32> = (0..lines.len()).map(innermost).collect();
                here.sort_by_key(|at| (places[*at], &lines[*at].main, lines[*at].rank));
                for at in here {
                    let line = &lines[at];
                    let expected_mm = line.nominal_mm + self.datum_mm;
                    let known = before.iter().find(|one| one.side == side && one.line == at);
                    rows.push(SheetRow {
                        order: rows.len() + 1,
                        side,
                        row,
                        main: line.main.clone(),
                        line: line.name.clone(),
                        line_index: at,
                        nominal_mm: line.nominal_mm,
                        expected_mm,
                        last_mm: known.map(|one| expected_mm + one.deviation_mm),
                    });
                }
            }
        }
        Sheet { rows }
    }
}

impl Sheet {
    /// The lines in the order of measuring.
    #[must_use]
    pub fn rows(&self) -> &[SheetRow] {
        &self.rows
    }

    /// The sheet with some of its lines left, numbered anew.
    #[must_use]
    pub fn keeping(self, keep: impl Fn(&SheetRow) -> bool) -> Self {
        let mut rows: Vec<SheetRow> = self.rows.into_iter().filter(|row| keep(row)).collect();
        rows.iter_mut().enumerate().for_each(|(place, row)| row.order = place + 1);
        Self { rows }
    }

    /// The sheet as CSV: `order,side,row,main,line,expected_mm,last_mm,reading_mm`, the last column empty, to be filled in.
    /// A name that a spreadsheet would run as a formula gets an apostrophe in front, which reading the sheet takes away.
    ///
    /// ```
    /// use linedrift::check::sheet::{FilledSheet, SheetSpec};
    /// use linedrift::simulate::FleetSpec;
    ///
    /// let made = FleetSpec::default().wings(1).run()?;
    /// let set = &made.fleet.line_sets()[0];
    /// let text = SheetSpec::default().datum_mm(-500.0).run(set, None).to_csv();
    /// let read = FilledSheet::read(set, &text)?;
    /// assert!(read.readings.is_empty());
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[must_use]
    pub fn to_csv(&self) -> String {
        let mut text = String::from("order,side,row,main,line,expected_mm,last_mm,reading_mm\n");
        for row in &self.rows {
            let last = row.last_mm.map_or_else(String::new, tenths);
            let main = row.main.as_deref().map_or_else(String::new, harmless_csv_cell);
            // writing to a string does not fail
            let _ = writeln!(
                text,
                "{},{},{},{main},{},{},{last},",
                row.order,
                row.side,
                row.row,
                harmless_csv_cell(&row.line),
                tenths(row.expected_mm)
            );
        }
        text
    }
}

/// To a tenth of a millimetre, without a trailing zero.
fn tenths(value_mm: f64) -> String {
    let text = format!("{value_mm:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}
