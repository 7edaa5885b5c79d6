//! Whether left and right differ by more than can be told.

use super::case::{Case, half_width};
use crate::check::{Uncertainty, Weighted};
use crate::stats::robust::qn;
use crate::stats::student_coverage;
use crate::wing::{Row, Side};

/// Chance that sides which are alike are called different somewhere, for all places of a wing together.
const FALSE_ALARM: f64 = 0.05;
/// Efficiency of the scale Qn where the spread is normal: that part of the pairs' degrees of freedom is left (Rousseeuw and
/// Croux, J. Am. Stat. Assoc. 88, 1993).
const QN_EFFICIENCY: f64 = 0.82;
/// Pairs of a row that say how mirrored lines scatter.
const FEWEST_PAIRS: usize = 4;
/// Coverage factor of an expanded uncertainty.
const COVERAGE: f64 = 2.0;
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
    /// How many times as much mirrored lines scatter as the measurement does, at least 1.
    pub(super) inflation: f64,
}

/// How the differences of mirrored lines scatter about their row's level.
#[derive(Debug, Clone, Copy)]
struct Scatter {
    standard_mm: f64,
    freedom: f64,
}

impl Scatter {
    /// By the scale Qn of each row, pooled.
    fn of(pairs: &[Pair]) -> Self {
        let (mut squares, mut freedom) = (0.0, 0.0);
        for row in Row::ALL {
            let of_row: Vec<f64> =
                pairs.iter().filter(|pair| pair.row == row).map(|pair| pair.difference_mm).collect();
            if let Some(scale) = qn(&of_row).filter(|_| of_row.len() >= FEWEST_PAIRS) {
                let own = of_row.len() as f64 - 1.0;
                squares += own * scale.powi(2);
                freedom += own;
            }
        }
        if freedom == 0.0 {
            return Self { standard_mm: 0.0, freedom: f64::INFINITY };
        }
        Self { standard_mm: (squares / freedom).sqrt(), freedom: QN_EFFICIENCY * freedom }
    }
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
        let scatter = Scatter::of(&pairs);
        let mut groups: Vec<Vec<&Pair>> = (0..case.map.len()).map(|_| Vec::new()).collect();
        for pair in &pairs {
            for &place in case.map.path(pair.line) {
                groups[place].push(pair);
            }
        }
        // all places, and the wing as a whole
        let tested = 1.0 + groups.iter().filter(|group| !group.is_empty()).count() as f64;
        let factor = student_coverage(1.0 - FALSE_ALARM / tested, scatter.freedom).unwrap_or(f64::INFINITY);
        let mut test = Self { differ: vec![false; case.map.len()], found: Vec::new(), inflation: 1.0 };
        if let Some(of_one) = pairs.first().map(|pair| measured(case, &[pair]).standard).filter(|mm| *mm > 0.0) {
            test.inflation = (scatter.standard_mm / of_one).max(1.0);
        }
        let mut worst: Vec<Option<SideDifference>> = vec![None; case.map.len()];
        for (place, group) in groups.iter().enumerate().filter(|(_, group)| !group.is_empty()) {
            let found = difference(case, place, group, scatter, factor);
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
        test.rows_that_turn(case, &pairs, scatter, factor);
        test
    }

    pub(super) fn differs(&self, root: usize) -> bool {
        self.differ.get(root).copied().unwrap_or(false)
    }

    /// Where the wing as a whole is certainly asymmetric, the trees of the rows whose means differ are worked side by side.
    fn rows_that_turn(&mut self, case: &Case<'_>, pairs: &[Pair], scatter: Scatter, factor: f64) {
        let asymmetry = case.trim.asymmetry_deg;
        let limit_deg = factor * self.inflation * half_width(asymmetry) / COVERAGE;
        let certain = asymmetry.value.is_some_and(|deg| deg.abs() > WING_DEG.max(limit_deg));
        if !certain {
            return;
        }
        for row in Row::ALL.into_iter().filter(|row| row.is_trim()) {
            let of_row: Vec<&Pair> = pairs.iter().filter(|pair| pair.row == row).collect();
            let Some(first) = of_row.first() else { continue };
            let place = case.map.path(first.line).last().copied().unwrap_or_default();
            let found = difference(case, place, &of_row, scatter, COVERAGE);
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

/// What the measurement leaves open of the mean difference of some pairs.
fn measured(case: &Case<'_>, pairs: &[&Pair]) -> Uncertainty {
    let share = 1.0 / pairs.len() as f64;
    let term = |pair: &&Pair, side: Side| Weighted {
        coefficient: if side == Side::Left { share } else { -share },
        side,
        row: pair.row,
        repeats: pair.repeats[side.index()],
    };
    case.budget.combination(pairs.iter().flat_map(|pair| Side::BOTH.map(|side| term(pair, side))))
}

fn difference(case: &Case<'_>, place: usize, pairs: &[&Pair], scatter: Scatter, factor: f64) -> SideDifference {
    let n = pairs.len() as f64;
    let of_mean = measured(case, pairs).standard;
    let of_one = pairs.first().map_or(0.0, |first| measured(case, &[first]).standard);
    // what mirrored lines scatter more than the measurement does, each line anew
    let more = (scatter.standard_mm.powi(2) - of_one.powi(2)).max(0.0) / n;
    SideDifference {
        place,
        difference_mm: pairs.iter().map(|pair| pair.difference_mm).sum::<f64>() / n,
        limit_mm: factor * (of_mean.powi(2) + more).sqrt(),
    }
}
