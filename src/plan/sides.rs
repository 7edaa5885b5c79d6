//! Whether left and right differ by more than can be told.

use statrs::distribution::{ContinuousCDF, Normal};

use super::case::{Case, half_width};
use crate::check::{Uncertainty, Weighted};
use crate::stats::robust::median;
use crate::wing::{Row, Side};

/// Chance that sides which are alike are called different somewhere, for all places of a wing together.
const FALSE_ALARM: f64 = 0.05;
/// From a median absolute deviation to the standard deviation of a normal spread.
const NORMAL_MAD: f64 = 1.4826;
/// Pairs of a row that say how mirrored lines scatter.
const FEWEST_PAIRS: usize = 4;
/// Asymmetry of the whole wing past which it is a difference, degrees.
const WING_DEG: f64 = 0.1;

/// A place where left and right differ.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct SideDifference {
    pub(super) place: usize,
    /// Left less right, mm.
    pub(super) difference_mm: f64,
    /// Largest difference that could be chance, mm.
    pub(super) limit_mm: f64,
}

/// How the sides compare.
#[derive(Debug, Clone, Default)]
pub(super) struct SideTest {
    /// Trees that are worked side by side.
    differ: Vec<bool>,
    /// Where they differ, one place a tree.
    pub(super) found: Vec<SideDifference>,
}

/// A line read on both sides.
struct Pair {
    row: Row,
    line: usize,
    repeats: [u32; 2],
    /// Left less right, mm.
    difference_mm: f64,
    tolerance_mm: f64,
}

impl SideTest {
    pub(super) fn of(case: &Case<'_>) -> Self {
        let pairs = pairs(case);
        let scatter_mm = scatter(&pairs);
        let mut groups: Vec<Vec<&Pair>> = (0..case.map.len()).map(|_| Vec::new()).collect();
        for pair in &pairs {
            for &place in case.map.path(pair.line) {
                groups[place].push(pair);
            }
        }
        let tested = groups.iter().filter(|group| !group.is_empty()).count().max(1) as f64;
        let level = 1.0 - FALSE_ALARM / (2.0 * tested);
        let factor = Normal::standard().inverse_cdf(level);
        let mut test = Self { differ: vec![false; case.map.len()], found: Vec::new() };
        let mut worst: Vec<Option<SideDifference>> = vec![None; case.map.len()];
        for (place, group) in groups.iter().enumerate().filter(|(_, group)| !group.is_empty()) {
            let found = difference(case, place, group, scatter_mm, factor);
            let half = group.iter().map(|pair| pair.tolerance_mm).fold(f64::INFINITY, f64::min) / 2.0;
            if found.difference_mm.abs() <= found.limit_mm.max(half) {
                continue;
            }
            let root = case.map.get(place).root;
            test.differ[root] = true;
            let excess = |one: &SideDifference| one.difference_mm.abs() / one.limit_mm.max(1e-9);
            if worst[root].as_ref().is_none_or(|known| excess(&found) > excess(known)) {
                worst[root] = Some(found);
            }
        }
        test.found = worst.into_iter().flatten().collect();
        test.rows_that_turn(case, &pairs, scatter_mm);
        test
    }

    pub(super) fn differs(&self, root: usize) -> bool {
        self.differ.get(root).copied().unwrap_or(false)
    }

    /// Where the wing as a whole is certainly asymmetric, the trees of the rows whose means differ are worked side by side.
    fn rows_that_turn(&mut self, case: &Case<'_>, pairs: &[Pair], scatter_mm: f64) {
        let asymmetry = case.trim.asymmetry_deg;
        let certain = asymmetry.value.is_some_and(|deg| deg.abs() > WING_DEG.max(half_width(asymmetry)));
        if !certain {
            return;
        }
        for row in Row::ALL.into_iter().filter(|row| row.is_trim()) {
            let of_row: Vec<&Pair> = pairs.iter().filter(|pair| pair.row == row).collect();
            let Some(first) = of_row.first() else { continue };
            let place = case.map.path(first.line).last().copied().unwrap_or_default();
            let found = difference(case, place, &of_row, scatter_mm, 2.0);
            if found.difference_mm.abs() <= found.limit_mm {
                continue;
            }
            for root in of_row.iter().filter_map(|pair| case.map.path(pair.line).last().copied()) {
                if !self.differ[root] {
                    self.differ[root] = true;
                }
            }
            if self.found.iter().all(|known| case.map.get(known.place).root != place) {
                self.found.push(found);
            }
        }
    }
}

fn pairs(case: &Case<'_>) -> Vec<Pair> {
    let mut right: Vec<Option<usize>> = vec![None; case.set.lines().len()];
    for (at, line) in case.lines.iter().enumerate().filter(|(_, line)| line.side == Side::Right) {
        right[line.line] = Some(at);
    }
    let left = case.lines.iter().filter(|line| line.side == Side::Left);
    left.filter_map(|left| {
        let right = case.lines.get(right.get(left.line).copied().flatten()?)?;
        Some(Pair {
            row: left.row,
            line: left.line,
            repeats: [left.repeats, right.repeats],
            difference_mm: left.deviation_mm - right.deviation_mm,
            tolerance_mm: left.tolerance_mm,
        })
    })
    .collect()
}

/// Standard deviation of the differences of mirrored lines about their row's median, by the median absolute deviation, mm.
fn scatter(pairs: &[Pair]) -> f64 {
    let mut distances = Vec::new();
    for row in Row::ALL {
        let of_row: Vec<f64> = pairs.iter().filter(|pair| pair.row == row).map(|pair| pair.difference_mm).collect();
        if of_row.len() >= FEWEST_PAIRS {
            let middle = median(&of_row).unwrap_or(0.0);
            distances.extend(of_row.iter().map(|value| (value - middle).abs()));
        }
    }
    NORMAL_MAD * median(&distances).unwrap_or(0.0)
}

fn difference(case: &Case<'_>, place: usize, pairs: &[&Pair], scatter_mm: f64, factor: f64) -> SideDifference {
    let n = pairs.len() as f64;
    let terms = |pairs: &[&Pair]| -> Vec<Weighted> {
        let share = 1.0 / pairs.len() as f64;
        let term = |pair: &&Pair, side: Side| Weighted {
            coefficient: if side == Side::Left { share } else { -share },
            side,
            row: pair.row,
            repeats: pair.repeats[side.index()],
        };
        pairs.iter().flat_map(|pair| Side::BOTH.map(|side| term(pair, side))).collect()
    };
    let measured = |pairs: &[&Pair]| -> Uncertainty { case.budget.combination(terms(pairs)) };
    let of_mean = measured(pairs).standard;
    let of_one = pairs.first().map_or(0.0, |first| measured(&[first]).standard);
    // what mirrored lines scatter more than the measurement does, each line anew
    let more = (scatter_mm.powi(2) - of_one.powi(2)).max(0.0) / n;
    SideDifference {
        place,
        difference_mm: pairs.iter().map(|pair| pair.difference_mm).sum::<f64>() / n,
        limit_mm: factor * (of_mean.powi(2) + more).sqrt(),
    }
}
