//! Proposed actions from a file.

use std::borrow::Cow;
use std::path::Path;

use super::cell::Limit;
use super::fault::FleetReadError;
use super::schema::GIVEN;
use super::user_file::read_list;
use crate::plan::GivenAction;

/// Reads proposed actions from a CSV file: `segment`, `side`, `action`, and `amount` (turns, or mm for a small link or
/// splice).
///
/// # Errors
/// [`FleetReadError`] with every fault of the file, by row and column.
pub fn read_given(file: &Path) -> Result<Vec<GivenAction>, FleetReadError> {
    read_list(file, GIVEN, |grid, faults| {
        let mut given = Vec::new();
        for record in grid.records() {
            let segment = record.needed_text("segment", faults).map(Cow::into_owned);
            let side = record.needed_name("side", faults);
            let kind = record.needed_name("action", faults);
            let amount = record.number("amount", Limit::Any, faults);
            if let (Some(segment), Some(side), Some(kind)) = (segment, side, kind) {
                given.push(GivenAction { segment, side, kind, amount });
            }
        }
        given
    })
}
