//! The wide file: a row per line, left and right side by side.

use std::collections::HashMap;

use serde::{Deserialize, Serialize};

use super::delimited::Delimited;
use super::number::{LengthUnit, Lengths};
use super::{Found, LineOnSide, SheetFaults};
use crate::check::Reading;
use crate::wing::{Line, LineSet, LineSetError, Row, Segment, Side};

/// A nominal length in the file may differ so much from the line set's, mm.
const SAME_MM: f64 = 0.5;

/// One row of a wide file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WideLine {
    /// Row of the text, the header being row 1.
    pub text_row: usize,
    /// Line name.
    pub line: String,
    /// Row of lines.
    pub row: Row,
    /// The maker's length, mm.
    pub nominal_mm: f64,
    /// What was read on the left, mm.
    pub left_mm: Option<f64>,
    /// What was read on the right, mm.
    pub right_mm: Option<f64>,
    /// Name of the main, where the file gives it.
    pub main: Option<String>,
}

/// A wide file, read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WideFile {
    /// The lines, in the order of the file.
    pub lines: Vec<WideLine>,
    /// Columns that nobody asked for.
    pub unused_columns: Vec<String>,
}

impl WideFile {
    /// Whether the header of a text is that of a wide file: left and right beside each other.
    #[must_use]
    pub fn is_wide(text: &str) -> bool {
        let table = Delimited::read(text, &mut Found::default());
        table.optional(&["left_mm", "left"]).is_some() && table.optional(&["right_mm", "right"]).is_some()
    }

    /// Reads a wide file: columns `line`, `row`, `nominal_mm`, `left_mm`, `right_mm` (or `nominal`, `left`, `right`), all
    /// lengths in one unit; `main` where it is there. An empty reading is one not taken. Comma, semicolon or tab; decimal
    /// point or comma, but one of them throughout.
    ///
    /// ```
    /// use linedrift::check::sheet::{LengthUnit, WideFile};
    ///
    /// let text = "line;row;nominal;left;right\nA1;A;647,3;647,1;\nA2;A;640,0;640,2;640,5\n";
    /// let file = WideFile::read(text, LengthUnit::Centimetre)?;
    /// assert_eq!(file.lines[1].right_mm, Some(6405.0));
    /// assert_eq!(file.lines[0].right_mm, None);
    /// # Ok::<(), linedrift::check::sheet::SheetFaults>(())
    /// ```
    ///
    /// # Errors
    /// [`SheetFaults`]: every missing column, unknown row, line without a name or that appears twice, missing nominal length,
    /// number that is none, is not positive or may be meant with a mark between the thousands.
    pub fn read(text: &str, unit: LengthUnit) -> Result<Self, SheetFaults> {
        let mut found = Found::default();
        let table = Delimited::read(text, &mut found);
        let line_column = table.required(&["line"], &mut found);
        let row_column = table.required(&["row"], &mut found);
        let nominal_column = table.required(&["nominal_mm", "nominal"], &mut found);
        let left_column = table.required(&["left_mm", "left"], &mut found);
        let right_column = table.required(&["right_mm", "right"], &mut found);
        let main_column = table.optional(&["main"]);
        let known = ["line", "row", "nominal_mm", "nominal", "left_mm", "left", "right_mm", "right", "main"];
        let unused_columns = table.header.iter().filter(|name| !known.contains(&name.as_str())).cloned().collect();
        let (Some(line_column), Some(row_column), Some(nominal_column), Some(left_column), Some(right_column)) =
            (line_column, row_column, nominal_column, left_column, right_column)
        else {
            return found.or(Self { lines: Vec::new(), unused_columns });
        };
        let mut lengths = Lengths::new(unit);
        let mut lines = Vec::new();
        let mut seen: HashMap<&str, usize> = HashMap::new();
        for record in &table.records {
            let name = record.cell(&line_column);
            if name.is_empty() {
                found.add(record.row, "line", "", "a line name");
            } else if let Some(before) = seen.insert(name, record.row) {
                found.add(record.row, "line", name, format!("each line once: it is in row {before} too"));
            }
            let row_text = record.cell(&row_column);
            let row: Option<Row> = row_text.parse().ok();
            if row.is_none() {
                found.add(record.row, "row", row_text, "A, B, C, D, stabilo or brake");
            }
            if record.cell(&nominal_column).is_empty() {
                found.add(record.row, &nominal_column.name, "", format!("a length in {unit}"));
            }
            let nominal = lengths.read(record, &nominal_column, &mut found);
            let left_mm = lengths.read(record, &left_column, &mut found);
            let right_mm = lengths.read(record, &right_column, &mut found);
            if let (Some(row), Some(nominal_mm)) = (row, nominal) {
                lines.push(WideLine {
                    text_row: record.row,
                    line: name.to_owned(),
                    row,
                    nominal_mm,
                    left_mm,
                    right_mm,
                    main: main_column
                        .as_ref()
                        .map(|column| record.cell(column).to_owned())
                        .filter(|main| !main.is_empty()),
                });
            }
        }
        if lines.is_empty() && found.faults.is_empty() {
            found.add(2, "line", "", "at least one line");
        }
        found.or(Self { lines, unused_columns })
    }

    /// The readings, for a wing of a known line set, row by row, left before right.
    ///
    /// # Errors
    /// [`SheetFaults`]: every line that the set does not have on the side that was read, a row or a nominal length that is
    /// not the set's.
    pub fn readings(&self, set: &LineSet) -> Result<Vec<Reading>, SheetFaults> {
        let mut found = Found::default();
        let mut readings = Vec::new();
        for wide in &self.lines {
            for (side, value) in [(Side::Left, wide.left_mm), (Side::Right, wide.right_mm)] {
                let Some(reading_mm) = value else { continue };
                match set.find(&wide.line, side) {
                    None => found.add(
                        wide.text_row,
                        "line",
                        &wide.line,
                        format!("a line of model `{}` on the {side}", set.model()),
                    ),
                    Some(line) => readings.push(Reading { side, line, reading_mm, repeat: 1, operator: None }),
                }
            }
            let known = Side::BOTH.into_iter().find_map(|side| set.find(&wide.line, side));
            if let Some(line) = known.and_then(|at| set.lines().get(at)) {
                if line.row != wide.row {
                    found.add(wide.text_row, "row", wide.row.name(), format!("{} as in the line set", line.row));
                }
                if (line.nominal_mm - wide.nominal_mm).abs() > SAME_MM {
                    found.add(
                        wide.text_row,
                        "nominal_mm",
                        &wide.nominal_mm.to_string(),
                        format!("{} mm as in the line set", line.nominal_mm),
                    );
                }
            }
        }
        found.or(readings)
    }

    /// The lines of a set that the file has no reading of, left before right.
    #[must_use]
    pub fn unread(&self, set: &LineSet) -> Vec<LineOnSide> {
        let read = |side: Side, name: &str| {
            self.lines.iter().any(|wide| {
                let value = if side == Side::Left { wide.left_mm } else { wide.right_mm };
                wide.line == name && value.is_some()
            })
        };
        let all = Side::BOTH.into_iter().flat_map(|side| set.lines().iter().enumerate().map(move |one| (side, one)));
        all.filter(|(side, (at, line))| set.has(*at, *side) && !read(*side, &line.name))
            .map(|(side, (_, line))| LineOnSide { side, line: line.name.clone() })
            .collect()
    }

    /// A line set for a new model: ranks in the order of the file within each row (centre outwards), places along the span
    /// assumed from them, each line one piece of unknown material.
    ///
    /// # Errors
    /// [`LineSetError`] when a line appears twice.
    pub fn line_set(&self, model: &str) -> Result<LineSet, LineSetError> {
        let in_row = |row: Row| self.lines.iter().filter(|line| line.row == row).count();
        let mut ranks = [0u32; 6];
        let mut lines = Vec::with_capacity(self.lines.len());
        let mut segments = Vec::with_capacity(self.lines.len());
        for (at, wide) in self.lines.iter().enumerate() {
            let rank = &mut ranks[wide.row.index()];
            *rank += 1;
            segments.push(Segment {
                name: wide.line.clone(),
                parent: None,
                material: "unknown".to_owned(),
                length_mm: wide.nominal_mm,
                diameter_mm: None,
                can_loop: None,
            });
            lines.push(Line {
                name: wide.line.clone(),
                row: wide.row,
                rank: *rank,
                nominal_mm: wide.nominal_mm,
                span: (f64::from(*rank) - 0.5) / in_row(wide.row) as f64,
                span_assumed: true,
                chord: None,
                main: wide.main.clone(),
                tolerance_mm: None,
                side: None,
                segment: at,
            });
        }
        Ok(LineSet::new(model, None, lines, segments)?.without_cascade())
    }
}
