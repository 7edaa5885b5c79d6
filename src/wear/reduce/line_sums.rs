//! Exact sums of a wing's readings, held small.

use serde::{Deserialize, Serialize};

/// Deviations are held as integers of this many per millimetre, so that sums are exact and order does not matter.
pub(crate) const PER_MM: f64 = 1000.0;

/// Readings of one line on one side at one check, summed exactly.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct LineSum {
    pub(crate) level: u32,
    pub(crate) check: u32,
    pub(crate) count: u32,
    /// Sum of deviations, µm.
    pub(crate) sum_um: i64,
    /// Sum of squared deviations, µm².
    pub(crate) squares_um2: i128,
}

impl LineSum {
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

/// A line sum of a single reading; its square need not be kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct SingleSum {
    level: u16,
    check: u16,
    um: i32,
}

/// A line sum of a few readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct FewSum {
    squares_um2: u64,
    sum_um: i32,
    level: u16,
    check: u16,
    count: u16,
}

/// Deviations by level and check, where each was read once; [`NOT_READ`] where it was not.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct SumGrid {
    checks: u32,
    /// µm; by level, then check.
    um: Vec<i32>,
}

/// What a grid holds where nothing was read.
const NOT_READ: i32 = i32::MIN;

/// The line sums of one wing, by level, then check, in the smallest form that holds all of them: 4 bytes for each level and check, or
/// 8, 24 or 48 bytes a line sum.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(from = "Vec<LineSum>", into = "Vec<LineSum>")]
pub(crate) enum LineSums {
    Grid(SumGrid),
    Single(Vec<SingleSum>),
    Few(Vec<FewSum>),
    Any(Vec<LineSum>),
}

impl SumGrid {
    /// The same line sums, where that is shorter.
    fn of(line_sums: &[SingleSum]) -> Option<Self> {
        let checks = line_sums.iter().map(|line_sum| usize::from(line_sum.check) + 1).max()?;
        let levels = line_sums.iter().map(|line_sum| usize::from(line_sum.level) + 1).max()?;
        if levels * checks * size_of::<i32>() > size_of_val(line_sums) {
            return None;
        }
        let mut um = vec![NOT_READ; levels * checks];
        for line_sum in line_sums {
            let place = &mut um[usize::from(line_sum.level) * checks + usize::from(line_sum.check)];
            // two line sums of one place, or a value that means nothing was read, need another form
            if *place != NOT_READ || line_sum.um == NOT_READ {
                return None;
            }
            *place = line_sum.um;
        }
        Some(Self { checks: u32::try_from(checks).ok()?, um })
    }

    fn line_sum(&self, place: usize) -> Option<LineSum> {
        let um = *self.um.get(place)?;
        let place = u32::try_from(place).ok()?;
        (um != NOT_READ).then(|| LineSum::single(place / self.checks, place % self.checks, um.into()))
    }
}

/// The line sums of a wing, one after the other.
pub(crate) struct LineSumIter<'a> {
    line_sums: &'a LineSums,
    next: usize,
}

impl Iterator for LineSumIter<'_> {
    type Item = LineSum;

    fn next(&mut self) -> Option<LineSum> {
        loop {
            let at = self.next;
            self.next += 1;
            match self.line_sums {
                LineSums::Grid(grid) if at < grid.um.len() => {
                    if let Some(line_sum) = grid.line_sum(at) {
                        return Some(line_sum);
                    }
                }
                LineSums::Grid(_) => return None,
                LineSums::Single(line_sums) => return line_sums.get(at).map(|line_sum| line_sum.line_sum()),
                LineSums::Few(line_sums) => return line_sums.get(at).map(|line_sum| line_sum.line_sum()),
                LineSums::Any(line_sums) => return line_sums.get(at).copied(),
            }
        }
    }
}

impl SingleSum {
    fn of(line_sum: &LineSum) -> Option<Self> {
        let small = Self {
            level: line_sum.level.try_into().ok()?,
            check: line_sum.check.try_into().ok()?,
            um: line_sum.sum_um.try_into().ok()?,
        };
        (small.line_sum() == *line_sum).then_some(small)
    }

    fn line_sum(self) -> LineSum {
        LineSum::single(u32::from(self.level), u32::from(self.check), i64::from(self.um))
    }
}

impl FewSum {
    fn of(line_sum: &LineSum) -> Option<Self> {
        Some(Self {
            squares_um2: line_sum.squares_um2.try_into().ok()?,
            sum_um: line_sum.sum_um.try_into().ok()?,
            level: line_sum.level.try_into().ok()?,
            check: line_sum.check.try_into().ok()?,
            count: line_sum.count.try_into().ok()?,
        })
    }

    fn line_sum(self) -> LineSum {
        LineSum {
            level: u32::from(self.level),
            check: u32::from(self.check),
            count: u32::from(self.count),
            sum_um: i64::from(self.sum_um),
            squares_um2: i128::from(self.squares_um2),
        }
    }
}

impl From<Vec<LineSum>> for LineSums {
    fn from(line_sums: Vec<LineSum>) -> Self {
        if let Some(single) = line_sums.iter().map(SingleSum::of).collect::<Option<Vec<SingleSum>>>() {
            let in_order = single.is_sorted_by_key(|line_sum| (line_sum.level, line_sum.check));
            return match SumGrid::of(&single).filter(|_| in_order) {
                Some(grid) => Self::Grid(grid),
                None => Self::Single(single),
            };
        }
        if let Some(few) = line_sums.iter().map(FewSum::of).collect() {
            return Self::Few(few);
        }
        Self::Any(line_sums)
    }
}

impl From<LineSums> for Vec<LineSum> {
    fn from(line_sums: LineSums) -> Self {
        line_sums.iter().collect()
    }
}

impl LineSums {
    pub(crate) fn len(&self) -> usize {
        match self {
            Self::Grid(grid) => grid.um.iter().filter(|um| **um != NOT_READ).count(),
            Self::Single(line_sums) => line_sums.len(),
            Self::Few(line_sums) => line_sums.len(),
            Self::Any(line_sums) => line_sums.len(),
        }
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.iter().next().is_none()
    }

    pub(crate) fn iter(&self) -> LineSumIter<'_> {
        LineSumIter { line_sums: self, next: 0 }
    }

    /// Readings in all.
    pub(crate) fn readings(&self) -> usize {
        match self {
            Self::Grid(_) | Self::Single(_) => self.len(),
            Self::Few(_) | Self::Any(_) => self.iter().map(|line_sum| line_sum.count as usize).sum(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_smallest_form_that_holds_all_cells_is_taken_and_gives_them_back() {
        let single = LineSum::single(3, 2, -1_234_567);
        let few = LineSum { count: 3, sum_um: -6, squares_um2: 14, ..single };
        let wide = LineSum { sum_um: i64::MAX / 2, squares_um2: i128::MAX / 2, count: 70_000, ..few };
        let far = LineSum::single(70_000, 1, 5);
        let row = |level| [0, 1, 2].map(|check| LineSum::single(level, check, i64::from(level) - 7));
        let mut full: Vec<LineSum> = (0..5).flat_map(row).collect();
        full.remove(4);
        for (line_sums, form) in [
            (full.clone(), 0),
            (vec![single, LineSum::single(4, 0, 0)], 1),
            (full.iter().rev().copied().collect(), 1),
            (
                full.iter()
                    .map(|line_sum| LineSum::single(line_sum.level, line_sum.check, NOT_READ.into()))
                    .collect(),
                1,
            ),
            (vec![single, few], 2),
            (vec![single, few, wide], 3),
            (vec![far], 3),
            (vec![LineSum { squares_um2: single.squares_um2 - 1, ..single }], 2),
            (Vec::new(), 1),
        ] {
            let held = LineSums::from(line_sums.clone());
            let place = match &held {
                LineSums::Grid(_) => 0,
                LineSums::Single(_) => 1,
                LineSums::Few(_) => 2,
                LineSums::Any(_) => 3,
            };
            assert_eq!(place, form, "{line_sums:?}");
            assert_eq!(held.iter().collect::<Vec<_>>(), line_sums);
            assert_eq!((held.len(), held.is_empty()), (line_sums.len(), line_sums.is_empty()));
            assert_eq!(held.readings(), line_sums.iter().map(|line_sum| line_sum.count as usize).sum::<usize>());
            assert_eq!(Vec::from(held), line_sums);
        }
        assert_eq!((size_of::<SingleSum>(), size_of::<FewSum>(), size_of::<LineSum>()), (8, 24, 48));
    }
}
