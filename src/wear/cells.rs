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

/// The cells of one wing, by level, then check, in the smallest form that holds all of them: 8, 24 or 48 bytes a cell.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(from = "Vec<Cell>", into = "Vec<Cell>")]
pub(crate) enum Cells {
    Single(Vec<SingleCell>),
    Few(Vec<FewCell>),
    Any(Vec<Cell>),
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
        if let Some(single) = cells.iter().map(SingleCell::of).collect() {
            return Self::Single(single);
        }
        if let Some(few) = cells.iter().map(FewCell::of).collect() {
            return Self::Few(few);
        }
        Self::Any(cells)
    }
}

impl From<Cells> for Vec<Cell> {
    fn from(cells: Cells) -> Self {
        match cells {
            Cells::Single(cells) => cells.into_iter().map(SingleCell::cell).collect(),
            Cells::Few(cells) => cells.into_iter().map(FewCell::cell).collect(),
            Cells::Any(cells) => cells,
        }
    }
}

impl Cells {
    pub(crate) fn len(&self) -> usize {
        match self {
            Self::Single(cells) => cells.len(),
            Self::Few(cells) => cells.len(),
            Self::Any(cells) => cells.len(),
        }
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The cell at a place below [`Cells::len`].
    pub(crate) fn at(&self, index: usize) -> Cell {
        match self {
            Self::Single(cells) => cells[index].cell(),
            Self::Few(cells) => cells[index].cell(),
            Self::Any(cells) => cells[index],
        }
    }

    pub(crate) fn iter(&self) -> impl Iterator<Item = Cell> + '_ {
        (0..self.len()).map(|index| self.at(index))
    }

    /// Readings in all.
    pub(crate) fn readings(&self) -> usize {
        match self {
            Self::Single(cells) => cells.len(),
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
        for (cells, form) in [
            (vec![single, Cell::single(0, 0, 0)], 0),
            (vec![single, few], 1),
            (vec![single, few, wide], 2),
            (vec![far], 2),
            (vec![Cell { squares_um2: single.squares_um2 - 1, ..single }], 1),
        ] {
            let held = Cells::from(cells.clone());
            let place = match &held {
                Cells::Single(_) => 0,
                Cells::Few(_) => 1,
                Cells::Any(_) => 2,
            };
            assert_eq!(place, form, "{cells:?}");
            assert_eq!(held.iter().collect::<Vec<_>>(), cells);
            assert_eq!(held.readings(), cells.iter().map(|cell| cell.count as usize).sum::<usize>());
            assert_eq!(Vec::from(held), cells);
        }
        assert_eq!((size_of::<SingleCell>(), size_of::<FewCell>(), size_of::<Cell>()), (8, 24, 48));
    }
}
