//! Proposed actions from a file.

use std::fs;
use std::path::Path;

use super::cell::Limit;
use super::csv::read_csv;
use super::fault::{FaultList, FleetReadError};
use super::schema::GIVEN;
use crate::plan::GivenAction;

/// Reads proposed actions from a CSV file: `segment`, `side`, `action`, and `amount` (turns, or mm for a small link or
/// splice).
///
/// # Errors
/// [`FleetReadError`] with every fault of the file, by row and column.
pub fn read_given(file: &Path) -> Result<Vec<GivenAction>, FleetReadError> {
    let mut faults = FaultList::default();
    let mut given = Vec::new();
    match fs::read(file) {
        Err(error) => {
            faults.add(GIVEN.name, 0, "", format!("{}: {error}", file.display()), format_args!("a CSV file"));
        }
        Ok(bytes) => {
            for record in read_csv(&bytes, GIVEN, &[], &mut faults).iter().flat_map(super::grid::Grid::records) {
                let segment = record.needed_text("segment", &mut faults).map(std::borrow::Cow::into_owned);
                let side = record.needed_name("side", &mut faults);
                let kind = record.needed_name("action", &mut faults);
                let amount = record.number("amount", Limit::Any, &mut faults);
                if let (Some(segment), Some(side), Some(kind)) = (segment, side, kind) {
                    given.push(GivenAction { segment, side, kind, amount });
                }
            }
        }
    }
    if faults.is_empty() { Ok(given) } else { Err(FleetReadError::Faulty(faults)) }
}
