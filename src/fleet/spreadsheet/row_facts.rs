//! What a file says of rows of lines as a whole: chord positions, risers.

use super::entry::Sheet;
use super::facts::Facts;
use super::grid::Cell;
use super::heading::Kind;
use super::quantity::{Marks, Written};
use crate::wing::RowData;

/// What the file says of the rows: chord positions, risers.
pub(super) fn rows(sheets: &[Sheet], facts: &Facts, notes: &mut Vec<String>) -> Vec<RowData> {
    let mut rows: Vec<RowData> = Vec::new();
    for fact in sheets.iter().flat_map(|sheet| &sheet.rows) {
        let amount = match &fact.cell {
            Cell::Number(value) => Some(*value),
            Cell::Text(text) => match Marks::default().read(text, fact.unit) {
                Written::Amount(amount) => Some(amount.value),
                _ => None,
            },
            _ => None,
        };
        let Some(value) = amount else {
            notes.push(format!("row {}: `{}` was not understood", fact.row, fact.cell.shown()));
            continue;
        };
        let at = rows.iter().position(|row| row.row == fact.row).unwrap_or_else(|| {
            rows.push(RowData { row: fact.row, chord: None, riser_mm: None });
            rows.len() - 1
        });
        if fact.kind == Kind::Riser {
            rows[at].riser_mm = Some(value * fact.unit.unwrap_or_default().mm()).filter(|mm| *mm >= 0.0);
            continue;
        }
        let chord = match (fact.unit, facts.root_chord_m) {
            (None, _) => Some(value),
            (Some(unit), Some(root)) => Some(value * unit.mm() / 1e3 / root),
            (Some(_), None) => None,
        };
        rows[at].chord = chord.filter(|chord| (0.0..=1.0).contains(chord));
        if rows[at].chord.is_none() {
            notes.push(format!(
                "row {}: the chord position {value} was not used; give it as a share from 0 to 1, or with the root chord beside it",
                fact.row
            ));
        }
    }
    rows
}
