//! What is newly known of a wing that a folder has.

use std::path::Path;

use super::atomic::{FleetWriteError, StagedFile};
use super::grid::Grid;
use super::schema::WINGS;
use super::table_edit::TableEdit;
use super::value::Value;
use crate::wing::Wing;

/// The table `wings` with the cells of one wing that changed; `None` where nothing did.
pub(super) fn changed(folder: &Path, before: &Wing, now: &Wing) -> Result<Option<StagedFile>, FleetWriteError> {
    let number =
        |name, before: Option<f64>, now: Option<f64>| (name, before.map(Value::Number), now.map(Value::Number));
    let text = |name, before: &Option<String>, now: &Option<String>| {
        (name, before.clone().map(Value::Text), now.clone().map(Value::Text))
    };
    let cells = [
        number("mass_kg", before.mass_kg, now.mass_kg),
        ("first_flight", before.first_flight.map(Value::Day), now.first_flight.map(Value::Day)),
        number("hours_per_year", before.hours_per_year, now.hours_per_year),
        text("use", &before.service.class_of_use, &now.service.class_of_use),
        text("serial_number", &before.serial_number, &now.serial_number),
        text("owner", &before.owner, &now.owner),
    ];
    let mut new = cells.into_iter().filter(|(_, before, now)| before != now).peekable();
    if new.peek().is_none() {
        return Ok(None);
    }
    let mut table = TableEdit::open(folder, WINGS)?;
    let row =
        table.grid.iter().flat_map(Grid::records).position(|row| row.text("wing").is_some_and(|id| id == now.id));
    let Some(row) = row else {
        let why = format!("has no row of wing `{}`", now.id);
        return Err(FleetWriteError::Table { table: WINGS.name.to_owned(), why });
    };
    for (name, _, value) in new {
        if let Some(value) = value {
            table.set(row, name, value);
        }
    }
    Ok(Some(table.finish()?.stage()?))
}
