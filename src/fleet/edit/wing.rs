//! What is newly known of a wing that a folder has.

use std::path::Path;

use super::table::TableEdit;
use crate::fleet::read::grid::Grid;
use crate::fleet::schema::WINGS;
use crate::fleet::write::atomic::{FleetWriteError, StagedFile};
use crate::fleet::write::rows::wing_row;
use crate::wing::Wing;

/// The table `wings` with the cells of one wing that changed; `None` where nothing did.
pub(crate) fn changed(folder: &Path, before: &Wing, now: &Wing) -> Result<Option<StagedFile>, FleetWriteError> {
    let there = wing_row(before).cells();
    let new: Vec<_> = wing_row(now).cells().into_iter().filter(|cell| !there.contains(cell)).collect();
    if new.is_empty() {
        return Ok(None);
    }
    let mut table = TableEdit::open(folder, WINGS)?;
    let row =
        table.grid.iter().flat_map(Grid::records).position(|row| row.text("wing").is_some_and(|id| id == now.id));
    let Some(row) = row else {
        let why = format!("has no row of wing `{}`", now.id);
        return Err(FleetWriteError::Table { table: WINGS.name.to_owned(), why });
    };
    for (name, value) in new {
        table.set(row, name, value);
    }
    Ok(Some(table.finish()?.stage()?))
}
