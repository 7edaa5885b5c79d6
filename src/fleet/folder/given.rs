//! Proposed actions from a file.

use std::path::Path;

use crate::fleet::read::fault::FleetReadError;
use crate::fleet::read::user_file::read_list;
use crate::fleet::schema::{GIVEN, GivenRow};
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
            let row = GivenRow::read(record, faults);
            if let (Some(segment), Some(side), Some(kind)) = (row.segment, row.side, row.action) {
                given.push(GivenAction { segment: segment.into_owned(), side, kind, amount: row.amount });
            }
        }
        given
    })
}
