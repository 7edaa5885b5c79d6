//! Readings summed as they stream by: no row is kept.

use std::sync::{Mutex, MutexGuard, PoisonError};

use super::cell::{Cell, Limit};
use super::check_sums::{Added, CheckSums};
use super::check_table::{CheckEntry, Checks};
use super::grid::{Cells, Grid};
use super::wing_table::Wings;
use crate::check::DeviationTable;
use crate::wear::micrometres;
use crate::wing::{LineSet, Side};

/// Something about a piece is not as it should be. Which row and why is found in a second, slower pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Doubtful;

/// The sums of every check, open to several threads.
pub(super) struct ReadingSums<'a> {
    wings: &'a Wings,
    checks: &'a Checks,
    tables: Vec<DeviationTable<'a>>,
    /// By check.
    sums: Vec<Mutex<CheckSums>>,
}

/// The check that the last row belonged to.
struct Open<'a> {
    entry: &'a CheckEntry,
    table: &'a DeviationTable<'a>,
    set: usize,
    sums: MutexGuard<'a, CheckSums>,
    /// Index of the line read last.
    line: usize,
}

impl<'a> ReadingSums<'a> {
    /// Empty sums; `sets` are the finished line sets of the wings' drafts.
    pub(super) fn new(wings: &'a Wings, checks: &'a Checks, sets: &'a [LineSet]) -> Self {
        Self {
            wings,
            checks,
            tables: sets.iter().map(DeviationTable::new).collect(),
            sums: checks.entries.iter().map(|_| Mutex::default()).collect(),
        }
    }

    /// Adds every row of a piece.
    pub(super) fn add(&self, grid: &Grid) -> Result<(), Doubtful> {
        if !grid.whole {
            return Err(Doubtful);
        }
        if grid.height == 0 {
            return Ok(());
        }
        let column = |name| grid.column(name).ok_or(Doubtful);
        let (check_cells, side_cells, line_cells) = (column("check")?, column("side")?, column("line")?);
        let values = Values::new(column("reading_mm")?);
        let repeats = grid.column("repeat").filter(|cells| !matches!(cells, Cells::Empty));
        let mut last = "";
        let mut open: Option<Open<'_>> = None;
        let (mut check_text, mut line_text) = (String::new(), String::new());
        for at in 0..grid.height {
            let check = text(check_cells, at, &mut check_text)?;
            let same = open.is_some() && check == last;
            if !same {
                // the one before is let go first, so that no thread waits for another while it holds one
                drop(open.take());
                open = Some(self.open(check)?);
                // text that was made for this row does not outlive it
                last = match check_cells {
                    Cells::Text(cells) => cells.get(at).unwrap_or_default(),
                    _ => "",
                };
            }
            let Some(open) = open.as_mut() else { return Err(Doubtful) };
            let side = match side_cells.get(at) {
                Some(Cell::Text("left")) => Side::Left,
                Some(Cell::Text("right")) => Side::Right,
                _ => return Err(Doubtful),
            };
            let line = self.line(open, text(line_cells, at, &mut line_text)?, side)?;
            let repeat = match repeats.and_then(|cells| cells.get(at)) {
                Some(cell) => cell.count().map_err(|_| Doubtful)?,
                None => 1,
            };
            open.line = line;
            let deviation_mm = open.table.deviation_mm(&open.entry.check, side, line, values.get(at)?);
            let um = micrometres(deviation_mm.ok_or(Doubtful)?);
            let lines = open.table.lines();
            if open.sums.add(side.index() * lines + line, um, repeat, 2 * lines) == Added::Twice {
                return Err(Doubtful);
            }
        }
        Ok(())
    }

    fn open(&self, check: &str) -> Result<Open<'_>, Doubtful> {
        let index = self.checks.index.get(check).copied().ok_or(Doubtful)?;
        let (entry, sums) = self.checks.entries.get(index).zip(self.sums.get(index)).ok_or(Doubtful)?;
        let set = entry.wing.and_then(|wing| self.wings.entries.get(wing)?.set).ok_or(Doubtful)?;
        let table = self.tables.get(set).ok_or(Doubtful)?;
        let sums = sums.lock().unwrap_or_else(PoisonError::into_inner);
        Ok(Open { entry, table, set, sums, line: usize::MAX })
    }

    /// The line of a row, tried first where it stands when rows follow the line set's order.
    fn line(&self, open: &Open<'_>, name: &str, side: Side) -> Result<usize, Doubtful> {
        let next = open.line.wrapping_add(1);
        if open.table.is_line(next, name, side) {
            return Ok(next);
        }
        self.wings.drafts.get(open.set).and_then(|draft| draft.find(name, side)).ok_or(Doubtful)
    }

    /// The sums, by check.
    pub(super) fn finish(self) -> Vec<CheckSums> {
        self.sums.into_iter().map(|sums| sums.into_inner().unwrap_or_else(PoisonError::into_inner)).collect()
    }
}

/// The text of a cell; of a cell that is no text, as it would be written.
fn text<'a>(cells: &'a Cells, at: usize, made: &'a mut String) -> Result<&'a str, Doubtful> {
    match cells {
        Cells::Text(cells) => cells.get(at).filter(|text| !text.is_empty()).ok_or(Doubtful),
        other => {
            *made = other.get(at).ok_or(Doubtful)?.text().into_owned();
            Ok(made)
        }
    }
}

/// The readings of a piece.
enum Values<'a> {
    /// Numbers without a gap.
    Numbers(&'a [f64]),
    Cells(&'a Cells),
}

impl<'a> Values<'a> {
    fn new(cells: &'a Cells) -> Self {
        match cells {
            Cells::Number(numbers) => numbers.cont_slice().map_or(Self::Cells(cells), Self::Numbers),
            _ => Self::Cells(cells),
        }
    }

    fn get(&self, at: usize) -> Result<f64, Doubtful> {
        match self {
            Self::Numbers(numbers) => {
                let number = numbers.get(at).copied();
                number.filter(|number| number.is_finite() && *number >= 0.0).ok_or(Doubtful)
            }
            Self::Cells(cells) => cells.get(at).and_then(|cell| cell.number(Limit::NotNegative).ok()).ok_or(Doubtful),
        }
    }
}
