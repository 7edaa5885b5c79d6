//! Values of cells as lengths in millimetres: marks, units, and units by size.

use std::collections::BTreeMap;

use super::entry::{Entry, Sheet, Value};
use super::error::{CellFault, SpreadsheetError};
use super::grid::{Cell, column_letter};
use super::heading::Kind;
use super::quantity::{Amount, Marks, Written, without_sign};
use crate::check::sheet::LengthUnit;

/// Longest line that is believed, mm.
const LONGEST_MM: f64 = 30_000.0;

/// A value that is a number, and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Placed {
    pub(super) sheet: usize,
    pub(super) table: usize,
    pub(super) row: usize,
    pub(super) column: usize,
    pub(super) title: String,
    pub(super) text: String,
    pub(super) amount: Amount,
    pub(super) unit: Option<LengthUnit>,
}

/// Numbers of a file, with the marks that its texts use.
pub(super) struct Lengths<'a> {
    file: &'a str,
    sheets: &'a [Sheet],
    marks: Marks,
    /// What the user or a sentence of the sheet says of all lengths.
    told: Option<LengthUnit>,
    of_kind: BTreeMap<Kind, LengthUnit>,
    pub(super) faults: Vec<CellFault>,
    /// Cells with zero where a length should be.
    pub(super) zeros: Vec<String>,
    /// Kinds whose unit is seen by size only.
    pub(super) by_size: Vec<Kind>,
}

impl<'a> Lengths<'a> {
    pub(super) fn new(
        file: &'a str,
        sheets: &'a [Sheet],
        told: Option<LengthUnit>,
    ) -> Result<Self, SpreadsheetError> {
        let mut marks = Marks::default();
        for entry in sheets.iter().flat_map(|sheet| &sheet.entries) {
            for value in &entry.values {
                if let (Cell::Text(text), Some(kind)) = (&value.cell, value.kind)
                    && kind != Kind::Tolerance
                {
                    marks.see(text);
                }
            }
        }
        if marks.disagree() {
            return Err(SpreadsheetError::question(
                file,
                "the file has decimal points and decimal commas: which is the decimal mark?",
                ["write all lengths with a decimal point", "write all lengths with a decimal comma"],
            ));
        }
        Ok(Self {
            file,
            sheets,
            marks,
            told,
            of_kind: BTreeMap::new(),
            faults: Vec::new(),
            zeros: Vec::new(),
            by_size: Vec::new(),
        })
    }

    pub(super) fn fault(&mut self, entry: &Entry, column: usize, value: &str, expected: impl Into<String>) {
        let sheet = self.sheets.get(entry.sheet).map(|sheet| sheet.name.clone()).unwrap_or_default();
        self.faults.push(CellFault {
            sheet,
            row: entry.grid_row + 1,
            column: column_letter(column),
            value: value.to_owned(),
            expected: expected.into(),
        });
    }

    /// The number of a value; `None` where nothing was measured, and for a fault, which is noted.
    pub(super) fn number(&mut self, entry: &Entry, value: &Value) -> Option<Placed> {
        let shown = value.cell.shown();
        let unit = value.unit.or(self.told);
        let amount = match &value.cell {
            Cell::Number(number) => Amount { value: *number, unit: None },
            Cell::Text(text) if value.kind == Some(Kind::Tolerance) => {
                match Marks::default().read(without_sign(text), unit) {
                    Written::Missing => return None,
                    Written::Amount(amount) => amount,
                    _ => {
                        self.fault(entry, value.column, &shown, "one tolerance for both ways, such as 10 or ±10");
                        return None;
                    }
                }
            }
            Cell::Text(text) => match self.marks.read(text, unit) {
                Written::Missing => return None,
                Written::Amount(amount) => amount,
                Written::Either(either) => {
                    self.fault(
                        entry,
                        value.column,
                        &shown,
                        format!("a length that can be read in one way only (this is {either})"),
                    );
                    return None;
                }
                Written::Not => {
                    self.fault(entry, value.column, &shown, "a length, or an empty cell where none was read");
                    return None;
                }
            },
            Cell::Empty => return None,
            Cell::Error(_) => {
                self.fault(entry, value.column, &shown, "a length: mend the formula, or empty the cell");
                return None;
            }
            Cell::Unworked => {
                self.fault(
                    entry,
                    value.column,
                    &shown,
                    "a value: open the file in a spreadsheet program and save it, so that its formulas are worked out",
                );
                return None;
            }
            Cell::Day(_) | Cell::Hours(_) => {
                self.fault(entry, value.column, &shown, "a length (the cell is formatted as a date or a time)");
                return None;
            }
        };
        let may_be_none = matches!(value.kind, Some(Kind::Deviation | Kind::Chord | Kind::Span));
        if amount.value == 0.0 && !may_be_none {
            self.zeros.push(super::grid::place(entry.grid_row, value.column));
            return None;
        }
        if amount.value < 0.0 && value.kind != Some(Kind::Deviation) {
            self.fault(entry, value.column, &shown, "a length above 0");
            return None;
        }
        Some(Placed {
            sheet: entry.sheet,
            table: entry.table,
            row: entry.grid_row,
            column: value.column,
            title: value.title.clone(),
            text: shown,
            amount,
            unit: amount.unit.or(unit),
        })
    }

    /// The unit of the lengths of one kind that say none themselves: by their size.
    pub(super) fn settle(&mut self, kind: Kind, all: &[&Placed]) -> Result<(), SpreadsheetError> {
        let mut bare: Vec<f64> =
            all.iter().filter(|one| one.unit.is_none()).map(|one| one.amount.value.abs()).collect();
        if bare.is_empty() {
            return Ok(());
        }
        bare.sort_by(f64::total_cmp);
        let middle = bare[bare.len() / 2];
        let unit = match middle {
            1500.0..LONGEST_MM => LengthUnit::Millimetre,
            // 400 cm is a very small wing, 400 in a very large one
            400.0..1300.0 => LengthUnit::Centimetre,
            1.0..20.0 => LengthUnit::Metre,
            _ => {
                let what = name_of(kind);
                let mut options = vec!["--unit mm", "--unit cm", "--unit m", "--unit in"];
                if (120.0..400.0).contains(&middle) {
                    options = vec!["--unit cm", "--unit in"];
                }
                options.push("write the unit into the heading, such as `Nominal [mm]`");
                return Err(SpreadsheetError::question(
                    self.file,
                    format!("in what unit are the {what} (the middle one is {middle})?"),
                    options,
                ));
            }
        };
        self.of_kind.insert(kind, unit);
        self.by_size.push(kind);
        Ok(())
    }

    /// Lengths of pieces are in the unit of the others where they say none.
    pub(super) fn follow(&mut self, kind: Kind) {
        let of = [Kind::Nominal, Kind::Reading].iter().find_map(|other| self.of_kind.get(other));
        if let Some(unit) = of.copied() {
            self.of_kind.entry(kind).or_insert(unit);
        }
    }

    /// The unit of a number.
    pub(super) fn unit(&self, kind: Kind, placed: &Placed) -> LengthUnit {
        placed.unit.or_else(|| self.of_kind.get(&kind).copied()).unwrap_or_default()
    }

    /// A length in mm, to a micrometre, so that no dust of the conversion remains.
    pub(super) fn mm(&self, kind: Kind, placed: &Placed) -> f64 {
        (placed.amount.value * self.unit(kind, placed).mm() * 1e3).round() / 1e3
    }
}

/// What lengths of a kind are called.
pub(super) fn name_of(kind: Kind) -> &'static str {
    match kind {
        Kind::Nominal => "maker's lengths",
        Kind::Deviation => "deviations",
        Kind::Expected | Kind::Last => "expected values",
        Kind::Tolerance => "tolerances",
        _ => "readings",
    }
}
