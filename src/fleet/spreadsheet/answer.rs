//! What a spreadsheet gives: what was understood, the readings of a line set, the check.

use std::fmt;

use serde::Serialize;

use super::error::{CellFault, SpreadsheetError};
use super::facts::Facts;
use super::line::{SheetLine, plain};
use super::line_name::number_of;
use super::model_made::{from_the_tip, unit_name};
use super::spec::Spreadsheet;
use crate::check::sheet::LengthUnit;
use crate::check::{Reading, Stage};
use crate::wing::{LineSet, Row, Side};

/// How many lines a row has, both sides counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct RowCount {
    /// The row.
    pub row: Row,
    /// Its lines.
    pub lines: usize,
}

/// What was understood of a spreadsheet: what a person looks at to see a wrong guess.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Understood {
    /// Lines of the wing, both sides counted.
    pub lines: usize,
    /// The same by row.
    pub rows: Vec<RowCount>,
    /// Readings, repeats counted.
    pub readings: usize,
    /// Unit of the readings in the file.
    pub unit: &'static str,
    /// What the readings include beyond the maker's lengths, mm.
    pub datum_mm: f64,
    /// Sides that were read.
    pub sides: Vec<Side>,
    /// Whatever was assumed, left out or asked for in another way.
    pub notes: Vec<String>,
    /// What is not there, and what it would give.
    pub missing: Vec<String>,
}

impl fmt::Display for Understood {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let rows: Vec<String> = self.rows.iter().map(|count| format!("{} {}", count.lines, count.row)).collect();
        write!(f, "{} lines: {}; lengths in {}", self.lines, rows.join(", "), self.unit)?;
        if self.readings > 0 {
            let sides: Vec<&str> = self.sides.iter().map(|side| side.name()).collect();
            let datum = if self.datum_mm == 0.0 { "none".to_owned() } else { format!("{} mm", self.datum_mm) };
            write!(f, "; {} readings, {}; datum {datum}", self.readings, sides.join(" and "))?;
        }
        writeln!(f)?;
        for note in &self.notes {
            writeln!(f, "note: {note}")?;
        }
        if !self.missing.is_empty() {
            writeln!(f, "not in the file, and what it would give:")?;
        }
        for missing in &self.missing {
            writeln!(f, "  {missing}")?;
        }
        Ok(())
    }
}

/// Expected values on a sheet are to a tenth, mm: two may differ so much in their datum.
const ROUNDED_MM: f64 = 0.11;

impl Spreadsheet {
    /// The lines.
    #[must_use]
    pub fn lines(&self) -> &[SheetLine] {
        &self.lines
    }

    /// What stands beside the tables.
    #[must_use]
    pub fn facts(&self) -> &Facts {
        &self.facts
    }

    /// Unit of the readings in the file.
    #[must_use]
    pub fn unit(&self) -> LengthUnit {
        self.unit
    }

    /// What was assumed or left out, as sentences.
    #[must_use]
    pub fn notes(&self) -> &[String] {
        &self.notes
    }

    /// The stage that was chosen among readings before and after adjusting.
    #[must_use]
    pub fn stage(&self) -> Option<Stage> {
        self.stage
    }

    /// How many readings the file holds.
    #[must_use]
    pub fn reading_count(&self) -> usize {
        self.lines.iter().map(|line| line.readings.len()).sum()
    }

    /// What to say of a file without readings.
    #[must_use]
    pub fn no_readings(&self) -> SpreadsheetError {
        if self.lines.is_empty() {
            return SpreadsheetError::question(
                &self.file,
                "no line was found: where is the table?",
                self.wanted_header(),
            );
        }
        let titles: Vec<String> = self.unused.iter().map(|title| title.replace('`', "\"")).collect();
        if titles.is_empty() {
            return SpreadsheetError::file(
                &self.file,
                "holds no readings: fill in the columns of left and right (`linedrift model` takes a file with the maker's \
                 lengths alone)",
            );
        }
        SpreadsheetError::question(
            &self.file,
            format!(
                "no column with readings was found: which are they? Columns that were not understood: {}",
                titles.join(", ")
            ),
            [format!("--columns left={},right=…", titles[0])],
        )
    }

    /// The readings by the lines of a set, left before right within each line. A line is found by its name, whatever its
    /// blanks, dashes and capitals, else by its row and number.
    ///
    /// # Errors
    /// [`SpreadsheetError`] with every reading of a line that the set does not have, and every length of the maker that is not the set's.
    pub fn readings(&self, set: &LineSet) -> Result<Vec<Reading>, SpreadsheetError> {
        let mut faults = Vec::new();
        let mut readings = Vec::new();
        let fault = |place: &str, value: &str, expected: String| {
            let digits = place.find(|letter: char| letter.is_ascii_digit()).unwrap_or(0);
            CellFault {
                sheet: String::new(),
                row: place.get(digits..).and_then(|row| row.parse().ok()).unwrap_or(0),
                column: place.get(..digits).unwrap_or_default().to_owned(),
                value: value.to_owned(),
                expected,
            }
        };
        for line in &self.lines {
            for reading in &line.readings {
                match find(set, line, reading.side) {
                    Some(at) => readings.push(Reading {
                        side: reading.side,
                        line: at,
                        reading_mm: reading.reading_mm,
                        repeat: reading.repeat,
                        operator: reading.operator.clone().or_else(|| self.facts.operator.clone()),
                    }),
                    None => faults.push(fault(
                        &reading.place,
                        &line.name,
                        format!("a line of model `{}` on the {}", set.model(), reading.side),
                    )),
                }
            }
            for side in Side::BOTH {
                if let (Some(at), Some(mm)) = (find(set, line, side), line.nominal_mm[side.index()]) {
                    let there = set.lines()[at].nominal_mm;
                    if (there - mm).abs() > 0.5 {
                        faults.push(fault(
                            &line.place,
                            &format!("{}: {mm} mm", line.name),
                            format!("{there} mm, as model `{}` has it", set.model()),
                        ));
                        break;
                    }
                }
            }
        }
        if faults.is_empty() {
            Ok(readings)
        } else {
            Err(SpreadsheetError::Cells { file: self.file.clone(), cells: faults })
        }
    }

    /// The datum that a sheet was made for, mm: what its expected values are beyond the lines of a set. `None` without such
    /// values.
    ///
    /// # Errors
    /// [`SpreadsheetError`] when the expected values are not the set's lengths and one datum, as on a sheet of another model.
    pub fn datum_of(&self, set: &LineSet) -> Result<Option<f64>, SpreadsheetError> {
        let mut datum: Option<f64> = None;
        for line in &self.lines {
            for side in Side::BOTH {
                let (Some(expected), Some(at)) = (line.expected_mm[side.index()], find(set, line, side)) else {
                    continue;
                };
                let own = expected - set.lines()[at].nominal_mm;
                let known = *datum.get_or_insert(own);
                if (own - known).abs() > ROUNDED_MM {
                    return Err(SpreadsheetError::question(
                        &self.file,
                        format!(
                            "the expected value of {} is {expected} mm, and model `{}` would give {:.1} mm: is the sheet of another model?",
                            line.name,
                            set.model(),
                            set.lines()[at].nominal_mm + known
                        ),
                        ["name the wing it is of by --wing", "make a new sheet by `linedrift sheet`"],
                    ));
                }
            }
        }
        Ok(datum.map(|datum| (datum * 10.0).round() / 10.0))
    }

    /// What was understood, with the line set that is used.
    #[must_use]
    pub fn understood(&self, set: &LineSet, readings: &[Reading], datum_mm: f64) -> Understood {
        let of_row = |row: Row| {
            let sides = Side::BOTH.into_iter();
            sides
                .map(|side| {
                    (0..set.lines().len()).filter(|at| set.lines()[*at].row == row && set.has(*at, side)).count()
                })
                .sum()
        };
        let rows: Vec<RowCount> = Row::ALL
            .into_iter()
            .map(|row| RowCount { row, lines: of_row(row) })
            .filter(|count| count.lines > 0)
            .collect();
        let mut notes = self.notes.clone();
        let grown = from_the_tip(set);
        if !grown.is_empty() {
            let names: Vec<&str> = grown.iter().map(|row| row.name()).collect();
            notes.push(format!(
                "the lines of row {} grow longer with their number: number 1 is taken as the centre; if it is at the tip, number them from the centre",
                names.join(", ")
            ));
        }
        Understood {
            lines: rows.iter().map(|count| count.lines).sum(),
            rows,
            readings: readings.len(),
            unit: unit_name(self.unit),
            datum_mm,
            sides: Side::BOTH.into_iter().filter(|side| readings.iter().any(|one| one.side == *side)).collect(),
            notes,
            missing: missing(set),
        }
    }
}

/// The line of a set that a spreadsheet's line is.
fn find(set: &LineSet, line: &SheetLine, side: Side) -> Option<usize> {
    let own = plain(&line.name);
    let mut all = set.lines().iter().enumerate().filter(|(at, _)| set.has(*at, side));
    set.find(&line.name, side)
        .or_else(|| all.clone().find(|(_, known)| plain(&known.name) == own).map(|(at, _)| at))
        .or_else(|| {
            let number = number_of(&line.name)?;
            let mut same =
                all.by_ref().filter(|(_, known)| known.row == line.row && number_of(&known.name) == Some(number));
            let only = same.next()?;
            same.next().is_none().then_some(only.0)
        })
}

/// What a model does not say, and what it would give.
#[must_use]
pub fn missing(set: &LineSet) -> Vec<String> {
    let mut out = Vec::new();
    let lines = set.lines();
    let trim_rows = Row::ALL.iter().filter(|row| row.is_trim() && lines.iter().any(|line| line.row == **row)).count();
    let with_chord = Row::ALL
        .iter()
        .filter(|row| row.is_trim() && (0..lines.len()).any(|at| lines[at].row == **row && set.chord(at).is_some()))
        .count();
    if with_chord < 2 && trim_rows >= 2 {
        out.push("chord positions of the rows (a table with `Row` and `Chord`, 0 to 1): incidence".to_owned());
    }
    if set.data().root_chord_m.is_none() {
        out.push("the chord at the centre (`Root chord` in m): incidence in degrees".to_owned());
    }
    if lines.iter().any(|line| line.span_assumed) {
        out.push("places along the span (a column `Span`, 0 to 1): sharper incidence and twist".to_owned());
    }
    if !set.has_cascade() {
        out.push("the cascade (columns `Main` and `Middle`, or indented names): adjusting at the mains".to_owned());
    }
    if set.segments().iter().all(|segment| segment.material == "unknown") {
        out.push("materials (a column `Material`): corrections for load and warmth, and wear by material".to_owned());
    }
    if lines.iter().all(|line| line.tolerance_mm.is_none()) {
        out.push(
            "the maker's tolerances (a column or a line `Tolerance`): they go before the usual 10 mm".to_owned(),
        );
    }
    if set.data().interval_h.is_none() && set.data().interval_months.is_none() {
        out.push(
            "the maker's interval (`Interval hours`, `Interval months`): the next date by the maker's rule"
                .to_owned(),
        );
    }
    out
}
