//! Exact sums of a wing's readings, held small.

use serde::{Deserialize, Serialize};

/// Deviations are held as integers of this many per millimetre, so that sums are exact and order does not matter.
pub(crate) const PER_MM: f64 = 1000.0;

/// Readings of one line on one side at one check, summed exactly.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Cell {
    pub(crate) level: u32,
    pub(crate) check: u32,
    pub(crate) count: u32,
    /// Sum of deviations, µm.
    pub(crate) sum_um: i64,
    /// Sum of squared deviations, µm².
    pub(crate) squares_um2: i128,
}

impl Cell {
    /// One reading alone.
    pub(crate) fn single(level: u32, check: u32, um: i64) -> Self {
        Self { level, check, count: 1, sum_um: um, squares_um2: i128::from(um) * i128::from(um) }
    }

    pub(crate) fn sum_mm(&self) -> f64 {
        self.sum_um as f64 / PER_MM
    }

    pub(crate) fn squares_mm2(&self) -> f64 {
        self.squares_um2 as f64 / (PER_MM * PER_MM)
    }
}

/// A deviation as an integer of micrometres.
#[allow(clippy::cast_possible_truncation)]
pub(crate) fn micrometres(deviation_mm: f64) -> i64 {
    (deviation_mm * PER_MM).round() as i64
}

/// A cell of a single reading; its square need not be kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct SingleCell {
    level: u16,
    check: u16,
    um: i32,
}

/// A cell of a few readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct FewCell {
    squares_um2: u64,
    sum_um: i32,
    level: u16,
    check: u16,
    count: u16,
}

/// Deviations by level and check, where each was read once; [`NOT_READ`] where it was not.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct CellGrid {
    checks: u32,
    /// µm; by level, then check.
    um: Vec<i32>,
}

/// What a grid holds where nothing was read.
const NOT_READ: i32 = i32::MIN;

/// The cells of one wing, by level, then check, in the smallest form that holds all of them: 4 bytes for each level and check, or
/// 8, 24 or 48 bytes a cell.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(from = "Vec<Cell>", into = "Vec<Cell>")]
pub(crate) enum Cells {
    Grid(CellGrid),
    Single(Vec<SingleCell>),
    Few(Vec<FewCell>),
    Any(Vec<Cell>),
}

impl CellGrid {
    /// The same cells, where that is shorter.
    fn of(cells: &[SingleCell]) -> Option<Self> {
        let checks = cells.iter().map(|cell| usize::from(cell.check) + 1).max()?;
        let levels = cells.iter().map(|cell| usize::from(cell.level) + 1).max()?;
        if levels * checks * size_of::<i32>() > size_of_val(cells) {
            return None;
        }
        let mut um = vec![NOT_READ; levels * checks];
        for cell in cells {
            let place = &mut um[usize::from(cell.level) * checks + usize::from(cell.check)];
            // two cells of one place, or a value that means nothing was read, need another form
            if *place != NOT_READ || cell.um == NOT_READ {
                return None;
            }
            *place = cell.um;
        }
        Some(Self { checks: u32::try_from(checks).ok()?, um })
    }

    fn cell(&self, place: usize) -> Option<Cell> {
        let um = *self.um.get(place)?;
        let place = u32::try_from(place).ok()?;
        (um != NOT_READ).then(|| Cell::single(place / self.checks, place % self.checks, um.into()))
    }
}

/// The cells of a wing, one after the other.
pub(crate) struct CellIter<'a> {
    cells: &'a Cells,
    next: usize,
}

impl Iterator for CellIter<'_> {
    type Item = Cell;

    fn next(&mut self) -> Option<Cell> {
        loop {
            let at = self.next;
            self.next += 1;
            match self.cells {
                Cells::Grid(grid) if at < grid.um.len() => {
                    if let Some(cell) = grid.cell(at) {
                        return Some(cell);
                    }
                }
                Cells::Grid(_) => return None,
                Cells::Single(cells) => return cells.get(at).map(|cell| cell.cell()),
                Cells::Few(cells) => return cells.get(at).map(|cell| cell.cell()),
                Cells::Any(cells) => return cells.get(at).copied(),
            }
        }
    }
}

impl SingleCell {
    fn of(cell: &Cell) -> Option<Self> {
        let small = Self {
            level: cell.level.try_into().ok()?,
            check: cell.check.try_into().ok()?,
            um: cell.sum_um.try_into().ok()?,
        };
        (small.cell() == *cell).then_some(small)
    }

    fn cell(self) -> Cell {
        Cell::single(u32::from(self.level), u32::from(self.check), i64::from(self.um))
    }
}

impl FewCell {
    fn of(cell: &Cell) -> Option<Self> {
        Some(Self {
            squares_um2: cell.squares_um2.try_into().ok()?,
            sum_um: cell.sum_um.try_into().ok()?,
            level: cell.level.try_into().ok()?,
            check: cell.check.try_into().ok()?,
            count: cell.count.try_into().ok()?,
        })
    }

    fn cell(self) -> Cell {
        Cell {
            level: u32::from(self.level),
            check: u32::from(self.check),
            count: u32::from(self.count),
            sum_um: i64::from(self.sum_um),
            squares_um2: i128::from(self.squares_um2),
        }
    }
}

impl From<Vec<Cell>> for Cells {
    fn from(cells: Vec<Cell>) -> Self {
        if let Some(single) = cells.iter().map(SingleCell::of).collect::<Option<Vec<SingleCell>>>() {
            let in_order = single.is_sorted_by_key(|cell| (cell.level, cell.check));
            return match CellGrid::of(&single).filter(|_| in_order) {
                Some(grid) => Self::Grid(grid),
                None => Self::Single(single),
            };
        }
        if let Some(few) = cells.iter().map(FewCell::of).collect() {
            return Self::Few(few);
        }
        Self::Any(cells)
    }
}

impl From<Cells> for Vec<Cell> {
    fn from(cells: Cells) -> Self {
        cells.iter().collect()
    }
}

impl Cells {
    pub(crate) fn len(&self) -> usize {
        match self {
            Self::Grid(grid) => grid.um.iter().filter(|um| **um != NOT_READ).count(),
            Self::Single(cells) => cells.len(),
            Self::Few(cells) => cells.len(),
            Self::Any(cells) => cells.len(),
        }
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.iter().next().is_none()
    }

    pub(crate) fn iter(&self) -> CellIter<'_> {
        CellIter { cells: self, next: 0 }
    }

    /// Readings in all.
    pub(crate) fn readings(&self) -> usize {
        match self {
            Self::Grid(_) | Self::Single(_) => self.len(),
            Self::Few(_) | Self::Any(_) => self.iter().map(|cell| cell.count as usize).sum(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_smallest_form_that_holds_all_cells_is_taken_and_gives_them_back() {
        let single = Cell::single(3, 2, -1_234_567);
        let few = Cell { count: 3, sum_um: -6, squares_um2: 14, ..single };
        let wide = Cell { sum_um: i64::MAX / 2, squares_um2: i128::MAX / 2, count: 70_000, ..few };
        let far = Cell::single(70_000, 1, 5);
        let row = |level| [0, 1, 2].map(|check| Cell::single(level, check, i64::from(level) - 7));
        let mut full: Vec<Cell> = (0..5).flat_map(row).collect();
        full.remove(4);
        for (cells, form) in [
            (full.clone(), 0),
            (vec![single, Cell::single(4, 0, 0)], 1),
            (full.iter().rev().copied().collect(), 1),
            (full.iter().map(|cell| Cell::single(cell.level, cell.check, NOT_READ.into())).collect(), 1),
            (vec![single, few], 2),
            (vec![single, few, wide], 3),
            (vec![far], 3),
            (vec![Cell { squares_um2: single.squares_um2 - 1, ..single }], 2),
            (Vec::new(), 1),
        ] {
            let held = Cells::from(cells.clone());
            let place = match &held {
                Cells::Grid(_) => 0,
                Cells::Single(_) => 1,
                Cells::Few(_) => 2,
                Cells::Any(_) => 3,
            };
            assert_eq!(place, form, "{cells:?}");
            assert_eq!(held.iter().collect::<Vec<_>>(), cells);
            assert_eq!((held.len(), held.is_empty()), (cells.len(), cells.is_empty()));
            assert_eq!(held.readings(), cells.iter().map(|cell| cell.count as usize).sum::<usize>());
            assert_eq!(Vec::from(held), cells);
        }
        assert_eq!((size_of::<SingleCell>(), size_of::<FewCell>(), size_of::<Cell>()), (8, 24, 48));
    }
}
