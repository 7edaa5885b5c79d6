//! A filled measuring sheet, read back.

use std::collections::{HashMap, HashSet};
use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::delimited::{Delimited, unguarded};
use super::number::{LengthUnit, Lengths};
use super::{Found, SheetFaults};
use crate::check::Reading;
use crate::wing::{LineSet, Side, UnknownName};

/// One line of one side.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LineOnSide {
    /// Side of the wing.
    pub side: Side,
    /// Line name.
    pub line: String,
}

impl fmt::Display for LineOnSide {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.side, self.line)
    }
}

impl FromStr for LineOnSide {
    type Err = UnknownName;

    /// Reads `SIDE:LINE`, such as `left:B3`.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let wrong = || UnknownName { got: text.to_owned(), expected: "SIDE:LINE, such as left:B3" };
        let (side, line) = text.split_once(':').ok_or_else(wrong)?;
        let side = side.parse::<Side>().map_err(|_| wrong())?;
        if line.is_empty() { Err(wrong()) } else { Ok(Self { side, line: line.to_owned() }) }
    }
}

/// What a filled sheet holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FilledSheet {
    /// The readings, in the order of the sheet.
    pub readings: Vec<Reading>,
    /// Lines of the set without a reading, left before right: the check is whole when there is none.
    pub unread: Vec<LineOnSide>,
    /// The datum that the blank sheet was made for, mm: what its `expected_mm` is beyond the lines' lengths (`None`: the
    /// sheet has no such column).
    pub datum_mm: Option<f64>,
    /// Columns that nobody asked for.
    pub unused_columns: Vec<String>,
}

/// The blank sheet gives values to a tenth, mm: two of its rows may differ so much in their datum.
const ROUNDED_MM: f64 = 0.11;

impl FilledSheet {
    /// Whether the header of a text is that of a measuring sheet.
    #[must_use]
    pub fn is_one(text: &str) -> bool {
        let table = Delimited::read(text, &mut Found::default());
        ["side", "line", "reading_mm"].iter().all(|name| table.optional(&[*name]).is_some())
    }

    /// Reads a filled sheet: columns `side`, `line`, `reading_mm` (empty: not read), and where they are there `repeat` and
    /// `operator`; other columns of the blank sheet are passed over. Comma, semicolon or tab; decimal point or comma, but one
    /// of them throughout; quotes; a byte-order mark is no harm.
    ///
    /// # Errors
    /// [`SheetFaults`]: every missing column, unknown side or line, line that appears twice (without `repeat`), number that is
    /// none, is not positive or may be meant with a mark between the thousands; and every `expected_mm` that is not the
    /// line's length and one datum for all, as on a sheet of another model.
    pub fn read(set: &LineSet, text: &str) -> Result<Self, SheetFaults> {
        let mut found = Found::default();
        let table = Delimited::read(text, &mut found);
        let side_column = table.required(&["side"], &mut found);
        let line_column = table.required(&["line"], &mut found);
        let reading_column = table.required(&["reading_mm"], &mut found);
        let (repeat_column, operator_column) = (table.optional(&["repeat"]), table.optional(&["operator"]));
        let known = [
            "order",
            "side",
            "row",
            "main",
            "line",
            "nominal_mm",
            "expected_mm",
            "last_mm",
            "reading_mm",
            "repeat",
            "operator",
        ];
        let unused_columns = table.header.iter().filter(|name| !known.contains(&name.as_str())).cloned().collect();
        let (Some(side_column), Some(line_column), Some(reading_column)) = (side_column, line_column, reading_column)
        else {
            return found.or(Self { readings: Vec::new(), unread: Vec::new(), datum_mm: None, unused_columns });
        };
        let expected_column = table.optional(&["expected_mm"]);
        let mut datum_mm: Option<f64> = None;
        let mut lengths = Lengths::new(LengthUnit::Millimetre);
        let mut readings: Vec<Reading> = Vec::new();
        let mut seen: HashMap<(Side, usize, u32, Option<String>), usize> = HashMap::new();
        for record in &table.records {
            let side_text = record.cell(&side_column);
            let side: Option<Side> = side_text.parse().ok();
            if side.is_none() {
                found.add(record.row, "side", side_text, "left or right");
            }
            let name = record.cell(&line_column);
            let line = side.and_then(|side| set.find(name, side).or_else(|| set.find(unguarded(name), side)));
            if let (Some(side), None) = (side, line) {
                found.add(record.row, "line", name, format!("a line of model `{}` on the {side}", set.model()));
            }
            if let (Some(column), Some(at)) = (&expected_column, line)
                && let Some(expected_mm) = lengths.read(record, column, &mut found)
            {
                let nominal_mm = set.lines()[at].nominal_mm;
                let datum = *datum_mm.get_or_insert(expected_mm - nominal_mm);
                if (expected_mm - nominal_mm - datum).abs() > ROUNDED_MM {
                    let expected = format!("{:.1}, as model `{}` has it", nominal_mm + datum, set.model());
                    found.add(record.row, "expected_mm", record.cell(column), expected);
                }
            }
            let repeat_text = repeat_column.as_ref().map_or("", |column| record.cell(column));
            let repeat = match repeat_text {
                "" => Some(1),
                text => text.parse::<u32>().ok().filter(|repeat| *repeat > 0),
            };
            if repeat.is_none() {
                found.add(record.row, "repeat", repeat_text, "a whole number from 1");
            }
            let reading_mm = lengths.read(record, &reading_column, &mut found);
            let operator = operator_column
                .as_ref()
                .map(|column| record.cell(column))
                .filter(|name| !name.is_empty())
                .map(str::to_owned);
            let (Some(side), Some(line), Some(repeat), Some(reading_mm)) = (side, line, repeat, reading_mm) else {
                continue;
            };
            if let Some(before) = seen.insert((side, line, repeat, operator.clone()), record.row) {
                found.add(
                    record.row,
                    "line",
                    name,
                    format!(
                        "one reading of this line on the {side}, or a `repeat` number: it is in row {before} too"
                    ),
                );
            }
            readings.push(Reading { side, line, reading_mm, repeat, operator });
        }
        let read: HashSet<(Side, usize)> = readings.iter().map(|one| (one.side, one.line)).collect();
        let unread = Side::BOTH
            .into_iter()
            .flat_map(|side| (0..set.lines().len()).map(move |line| (side, line)))
            .filter(|(side, line)| set.has(*line, *side) && !read.contains(&(*side, *line)))
            .map(|(side, line)| LineOnSide { side, line: set.lines()[line].name.clone() })
            .collect();
        // to a tenth, as the sheet gives it
        let datum_mm = datum_mm.map(|datum| (datum * 10.0).round() / 10.0);
        found.or(Self { readings, unread, datum_mm, unused_columns })
    }

    /// Whether every line of the set was read.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.unread.is_empty()
    }
}
