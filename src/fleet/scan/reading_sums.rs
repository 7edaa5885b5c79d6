//! Readings summed as they stream by: no row is kept.

use std::borrow::Cow;
use std::sync::{Mutex, MutexGuard, PoisonError};

use polars::prelude::{NewChunkedArray, StringChunked};

use super::check_sums::{Added, CheckSums};
use crate::check::DeviationTable;
use crate::fleet::folder::checks::{CheckEntry, Checks};
use crate::fleet::folder::wings::Wings;
use crate::fleet::read::alike::flaw;
use crate::fleet::read::cell::{Cell, Limit};
use crate::fleet::read::csv::CsvText;
use crate::fleet::read::fault::FaultList;
use crate::fleet::read::grid::{Cells, Grid};
use crate::wear::micrometres;
use crate::wing::{LineSet, Side};

/// Something about a piece is not as it should be. Which row and why is found in a second, slower pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Doubtful;

/// The sums of every check, open to several threads.
pub(crate) struct ReadingSums<'a, 's> {
    wings: &'a Wings,
    checks: &'a Checks,
    sets: Vec<SetTable>,
    /// By check.
    sums: Vec<Mutex<CheckSums<'s>>>,
}

/// Memory for the sums of checks whose lines are read once each, in one piece, so that it goes back whole to the system.
pub(crate) struct SumMemory {
    numbers: Vec<i32>,
    /// How many each check has.
    places: Vec<usize>,
}

impl SumMemory {
    pub(crate) fn new(wings: &Wings, checks: &Checks) -> Self {
        let places = |entry: &CheckEntry| {
            let draft = entry.wing.and_then(|wing| wings.draft_of(wing));
            draft.map_or(0, |draft| 2 * draft.line_count())
        };
        let places: Vec<usize> = checks.entries.iter().map(places).collect();
        Self { numbers: vec![0; places.iter().sum()], places }
    }

    /// Sums without a reading, by check.
    pub(crate) fn sums(&mut self) -> Vec<CheckSums<'_>> {
        let mut rest = self.numbers.as_mut_slice();
        let mut sums = Vec::with_capacity(self.places.len());
        for places in &self.places {
            let (own, others) = rest.split_at_mut(*places);
            sums.push(CheckSums::new(own));
            rest = others;
        }
        sums
    }
}

/// One line set, for many readings.
struct SetTable {
    deviations: DeviationTable,
    lines: usize,
}

/// The cells of one row.
struct RowCells<'c> {
    check: &'c str,
    side: &'c str,
    line: &'c str,
    reading_mm: f64,
    repeat: u32,
    operator: Option<&'c str>,
}

/// A piece while its rows are added.
struct Adding<'b, 'a, 's> {
    sums: &'b ReadingSums<'a, 's>,
    open: Option<Open<'b, 's>>,
    check: String,
    operator: String,
}

/// The check that the last row belonged to.
struct Open<'a, 's> {
    entry: &'a CheckEntry,
    set: usize,
    table: &'a SetTable,
    sums: MutexGuard<'a, CheckSums<'s>>,
    /// The line that stands behind the last one read.
    next: usize,
}

impl Open<'_, '_> {
    fn add(&mut self, side: Side, line: usize, reading_mm: f64, repeat: u32) -> Result<(), Doubtful> {
        let lines = self.table.lines;
        self.next = if line + 1 == lines { 0 } else { line + 1 };
        let deviation_mm = self.table.deviations.deviation_mm(&self.entry.check, side, line, reading_mm);
        let um = micrometres(deviation_mm.ok_or(Doubtful)?);
        match self.sums.add(side.index() * lines + line, um, repeat) {
            Added::Once => Ok(()),
            Added::Twice => Err(Doubtful),
        }
    }
}

impl Adding<'_, '_, '_> {
    fn row(&mut self, row: &RowCells<'_>) -> Result<(), Doubtful> {
        if row.check != self.check || self.open.is_none() {
            // the one before is let go first, so that no thread waits for another while it holds one
            drop(self.open.take());
            self.open = Some(self.sums.open(row.check)?);
            row.check.clone_into(&mut self.check);
        }
        let Some(open) = self.open.as_mut() else { return Err(Doubtful) };
        let side = match row.side {
            "left" => Side::Left,
            "right" => Side::Right,
            _ => return Err(Doubtful),
        };
        // most rows follow the order of the line set
        let draft = self.sums.wings.drafts.get(open.set).ok_or(Doubtful)?;
        let follows = draft.is_line(open.next, row.line, side);
        let line = if follows { open.next } else { draft.find(row.line, side).ok_or(Doubtful)? };
        // who measured is no part of the sums, and is judged as when a table is read whole; one person reads many lines
        if let Some(operator) = row.operator.filter(|operator| *operator != self.operator) {
            if flaw(operator).is_some() {
                return Err(Doubtful);
            }
            operator.clone_into(&mut self.operator);
        }
        open.add(side, line, row.reading_mm, row.repeat)
    }
}

impl<'a, 's> ReadingSums<'a, 's> {
    /// Empty sums; `sets` are the finished line sets of the wings' drafts.
    pub(crate) fn new(wings: &'a Wings, checks: &'a Checks, sets: &[LineSet], memory: &'s mut SumMemory) -> Self {
        let table = |set: &LineSet| SetTable { deviations: DeviationTable::new(set), lines: set.lines().len() };
        Self {
            wings,
            checks,
            sets: sets.iter().map(table).collect(),
            sums: memory.sums().into_iter().map(Mutex::new).collect(),
        }
    }

    fn adding(&self) -> Adding<'_, 'a, 's> {
        Adding { sums: self, open: None, check: String::new(), operator: String::new() }
    }

    /// Adds every row of a piece.
    pub(crate) fn add(&self, grid: &Grid) -> Result<(), Doubtful> {
        if !grid.whole {
            return Err(Doubtful);
        }
        if grid.height == 0 {
            return Ok(());
        }
        let column = |name| grid.column(name).ok_or(Doubtful);
        let (checks, sides, lines) = (text(column("check")?)?, text(column("side")?)?, text(column("line")?)?);
        let values = Values::new(column("reading_mm")?);
        let repeats = Repeats::new(grid.column("repeat"));
        let operators = match grid.column("operator") {
            Some(Cells::Text(operators)) => Some(operators),
            _ => None,
        };
        let arrays = (checks.downcast_iter().next(), sides.downcast_iter().next(), lines.downcast_iter().next());
        let (Some(checks), Some(sides), Some(lines)) = arrays else { return Err(Doubtful) };
        let mut adding = self.adding();
        let rows = checks.values_iter().zip(sides.values_iter()).zip(lines.values_iter());
        for (at, ((check, side), line)) in rows.enumerate() {
            let operator = operators.and_then(|operators| operators.get(at));
            let (reading_mm, repeat) = (values.get(at)?, repeats.get(at)?);
            adding.row(&RowCells { check, side, line, reading_mm, repeat, operator })?;
        }
        Ok(())
    }

    /// Adds every record of some CSV text.
    pub(crate) fn add_text(&self, text: &CsvText<'_>) -> Result<(), Doubtful> {
        let needed = |name| text.place(name).ok_or(Doubtful);
        let (check, side, line, value) = (needed("check")?, needed("side")?, needed("line")?, needed("reading_mm")?);
        let (repeat, operator) = (text.place("repeat"), text.place("operator"));
        let mut adding = self.adding();
        let whole = text.try_for_each(&mut FaultList::default(), |_, cells| {
            let filled = |place: usize| Some(cells.get(place)).filter(|cell| !cell.is_empty());
            let needed = |place| filled(place).ok_or(Doubtful);
            let repeat = repeat.and_then(filled).map_or(Ok(1), |cell| Cell::Text(cell).count());
            adding.row(&RowCells {
                check: needed(check)?,
                side: needed(side)?,
                line: needed(line)?,
                reading_mm: Cell::Text(needed(value)?).number(Limit::NotNegative).map_err(|_| Doubtful)?,
                repeat: repeat.map_err(|_| Doubtful)?,
                operator: operator.and_then(filled),
            })
        })?;
        if whole { Ok(()) } else { Err(Doubtful) }
    }

    fn open(&self, check: &str) -> Result<Open<'_, 's>, Doubtful> {
        let index = self.checks.index.get(check).copied().ok_or(Doubtful)?;
        let (entry, sums) = self.checks.entries.get(index).zip(self.sums.get(index)).ok_or(Doubtful)?;
        let set = entry.wing.and_then(|wing| self.wings.entries.get(wing)?.set).ok_or(Doubtful)?;
        let table = self.sets.get(set).ok_or(Doubtful)?;
        let sums = sums.lock().unwrap_or_else(PoisonError::into_inner);
        Ok(Open { entry, set, table, sums, next: 0 })
    }

    /// The sums, by check.
    pub(crate) fn finish(self) -> Vec<CheckSums<'s>> {
        self.sums.into_iter().map(|sums| sums.into_inner().unwrap_or_else(PoisonError::into_inner)).collect()
    }
}

/// A column of names as text in one chunk, without an empty cell.
fn text(cells: &Cells) -> Result<Cow<'_, StringChunked>, Doubtful> {
    let column = match cells {
        Cells::Text(column) if column.chunks().len() == 1 => Cow::Borrowed(column),
        Cells::Text(column) => Cow::Owned(column.rechunk().into_owned()),
        Cells::Empty => return Err(Doubtful),
        Cells::Count(_) | Cells::Number(_) | Cells::Day(_) | Cells::Truth(_) => {
            let rows = match cells {
                Cells::Count(column) | Cells::Day(column) => column.len(),
                Cells::Number(column) => column.len(),
                Cells::Truth(column) => column.len(),
                Cells::Text(_) | Cells::Empty => 0,
            };
            let made: Option<Vec<String>> =
                (0..rows).map(|at| cells.get(at).map(|cell| cell.text().into_owned())).collect();
            Cow::Owned(StringChunked::from_slice("".into(), &made.ok_or(Doubtful)?))
        }
    };
    if column.null_count() == 0 { Ok(column) } else { Err(Doubtful) }
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
                let number = Cell::Number(*numbers.get(at).ok_or(Doubtful)?);
                number.number(Limit::NotNegative).map_err(|_| Doubtful)
            }
            Self::Cells(cells) => cells.get(at).and_then(|cell| cell.number(Limit::NotNegative).ok()).ok_or(Doubtful),
        }
    }
}

/// The repeats of a piece.
enum Repeats<'a> {
    /// All are first readings.
    First,
    Numbers(&'a [i64]),
    Cells(&'a Cells),
}

impl<'a> Repeats<'a> {
    fn new(cells: Option<&'a Cells>) -> Self {
        match cells {
            None | Some(Cells::Empty) => Self::First,
            Some(cells @ Cells::Count(numbers)) => numbers.cont_slice().map_or(Self::Cells(cells), Self::Numbers),
            Some(cells) => Self::Cells(cells),
        }
    }

    fn get(&self, at: usize) -> Result<u32, Doubtful> {
        let count = |cell: Cell<'_>| cell.count().map_err(|_| Doubtful);
        match self {
            Self::First => Ok(1),
            Self::Numbers(numbers) => numbers.get(at).map_or(Ok(1), |number| count(Cell::Count(*number))),
            Self::Cells(cells) => cells.get(at).map_or(Ok(1), count),
        }
    }
}
