//! Lines that were measured again and are as read, kept with their check: the column `confirmed` of `checks`.

use std::path::Path;

use crate::check::sheet::LineOnSide;
use crate::check::{Check, ConfirmedLine};
use crate::fleet::edit::table::TableEdit;
use crate::fleet::read::grid::Grid;
use crate::fleet::schema::{CHECKS, Value};
use crate::fleet::write::atomic::FleetWriteError;
use crate::fleet::write::lock::FolderLock;
use crate::fleet::write::pending::Pending;
use crate::wing::{LineSet, Side};

/// The cell of a check: `left:B3; right:B4`. `None` where there is nothing to say.
pub(crate) fn cell(set: &LineSet, lines: &[ConfirmedLine]) -> Option<String> {
    let name = |one: &ConfirmedLine| {
        let line = set.lines().get(one.line)?;
        Some(LineOnSide { side: one.side, line: line.name.clone() }.to_string())
    };
    let names: Vec<String> = lines.iter().filter_map(name).collect();
    (!names.is_empty()).then(|| names.join("; "))
}

/// Reads the cell; `None` where it is not a list of lines that are there.
pub(crate) fn read_cell(text: &str, find: impl Fn(&str, Side) -> Option<usize>) -> Option<Vec<ConfirmedLine>> {
    let mut lines = Vec::new();
    for one in text.split(';') {
        let LineOnSide { side, line } = one.trim().parse().ok()?;
        let confirmed = ConfirmedLine { side, line: find(&line, side)? };
        if !lines.contains(&confirmed) {
            lines.push(confirmed);
        }
    }
    Some(lines)
}

/// Writes into a fleet folder that lines of a check were measured again and are as read. Whatever else the table holds stays
/// as it is. The lock of the folder says that nobody else is writing.
///
/// # Errors
/// [`FleetWriteError`] when the table cannot be read or kept as it is, has no such check, or the file system refuses.
pub fn record_confirmed(
    folder: &Path,
    set: &LineSet,
    check: &Check,
    lines: &[ConfirmedLine],
    _lock: &FolderLock,
) -> Result<(), FleetWriteError> {
    let mut all = check.confirmed.clone();
    all.extend(lines.iter().copied().filter(|line| !check.confirmed.contains(line)));
    let Some(cell) = cell(set, &all) else { return Ok(()) };
    let mut table = TableEdit::open(folder, CHECKS)?;
    let place = table
        .grid
        .iter()
        .flat_map(Grid::records)
        .position(|record| record.text("check").is_some_and(|id| id == check.id.as_str()));
    let place = place.ok_or_else(|| FleetWriteError::Table {
        table: CHECKS.name.to_owned(),
        why: format!("it has no check `{}`", check.id),
    })?;
    table.set(place, "confirmed", Value::Text(cell));
    let staged = table.finish()?.stage()?;
    Pending::commit(folder, vec![staged], Vec::new())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_lists_of_lines_that_are_there() {
        let find = |name: &str, _: Side| (name == "B3").then_some(2).or((name == "B:4").then_some(3));
        let read = |text: &str| read_cell(text, find);
        let [left, right] = [(Side::Left, 2), (Side::Right, 3)].map(|(side, line)| ConfirmedLine { side, line });
        assert_eq!(read("left:B3; right:B:4;left:B3"), Some(vec![left, right]));
        for wrong in ["", "B3", "port:B3", "left:B9", "left:B3,right:B3", "left:"] {
            assert_eq!(read(wrong), None, "{wrong}");
        }
    }
}
