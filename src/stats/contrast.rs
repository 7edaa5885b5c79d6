//! Contrasts: linear combinations of estimates, one by one or several at once.
//!
//! One by one: `t = estimate / se` against Student's t. Several at once (single step): the adjusted p of a contrast is
//! `P(max_j |T_j| ≥ |t|)`, with `T` multivariate t of the contrasts' correlation; the interval is `estimate ± c·se` with the `c`
//! that the largest `|T_j|` exceeds in a share `1 − level`. Then all statements hold together at the level.
//! Source: Hothorn, Bretz, Westfall, Biometrical J. 50(3), 2008 (memory).
//!
//! The probability of the union is found by drawing: event `j` is picked, `T` drawn given that it happened, and `1/S` averaged,
//! `S` the number of events that happened: `P(∪ A_j) = Σ P(A_j) · E[1/S]`. Its relative error is the same for large and small
//! probabilities, and a correlation matrix without full rank (all pairs) is nothing special. Seeds are fixed: results reproduce.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution, StandardNormal};
use serde::{Deserialize, Serialize};

use super::dense::dot;
use super::{NORMAL_95, student_quantile, student_tail};

/// Degrees of freedom from which on Student's t is taken as normal.
const NORMAL_FROM: f64 = 1e6;
/// Strata of the tail.
const STRATA: usize = 128;
/// Draws per stratum.
const DRAWS: usize = 64;
const SEED: u64 = 20_080_503;
/// Below this p-value the bound is as good as the drawing, and on the safe side.
const BOUND_BELOW: f64 = 1e-12;

/// One contrast with its test against zero.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct ContrastRow {
    /// What is compared, as it was asked.
    pub contrast: String,
    /// Estimate.
    pub estimate: f64,
    /// Standard error.
    pub se: f64,
    /// Degrees of freedom of the standard error (a million stands for normal).
    pub df: f64,
    /// Lower end of the interval, for this contrast alone.
    pub lower: f64,
    /// Upper end of the interval, for this contrast alone.
    pub upper: f64,
    /// Two-sided p-value of zero, for this contrast alone; `None` where nothing is uncertain.
    pub p: Option<f64>,
    /// The same for all contrasts together, where they were asked together.
    pub simultaneous: Option<Simultaneous>,
}

/// Interval and p-value of one contrast among several that are to hold together.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Simultaneous {
    /// How many contrasts hold together.
    pub family: usize,
    /// Lower end.
    pub lower: f64,
    /// Upper end.
    pub upper: f64,
    /// p-value, adjusted.
    pub p: Option<f64>,
}

/// Two-sided p-value of a t statistic.
pub(crate) fn p_value(t: f64, df: f64) -> f64 {
    2.0 * tail(t.abs(), df)
}

/// Two-sided quantile of Student's t at a level.
pub(crate) fn t_quantile(level: f64, df: f64) -> f64 {
    quantile(f64::midpoint(1.0, level), df)
}

fn quantile(share: f64, df: f64) -> f64 {
    let df = if df >= NORMAL_FROM { f64::INFINITY } else { df };
    student_quantile(share, df).unwrap_or(NORMAL_95)
}

/// `P(T > t)`, `t ≥ 0`.
fn tail(t: f64, df: f64) -> f64 {
    student_tail(t, if df >= NORMAL_FROM { f64::INFINITY } else { df }).unwrap_or(1.0)
}

impl ContrastRow {
    /// A contrast by itself at a level such as 0.95.
    pub(crate) fn new(contrast: String, estimate: f64, se: f64, df: f64, level: f64) -> Self {
        let half = t_quantile(level, df) * se;
        Self {
            contrast,
            estimate,
            se,
            df,
            lower: estimate - half,
            upper: estimate + half,
            p: (se > 0.0).then(|| p_value(estimate / se, df)),
            simultaneous: None,
        }
    }
}

/// Adds to contrasts with the given covariance (row-major) what holds for all of them together.
pub(crate) fn adjust(rows: &mut [ContrastRow], covariance: &[f64], level: f64) {
    let Some(family) = Family::new(rows, covariance) else { return };
    let count = rows.len();
    let critical = Critical::new(&family, rows, level);
    for row in rows {
        let half = critical.at(row.df) * row.se;
        row.simultaneous = Some(Simultaneous {
            family: count,
            lower: row.estimate - half,
            upper: row.estimate + half,
            p: row.p.map(|alone| family.p(row.estimate / row.se, row.df, alone)),
        });
    }
}

/// The critical value by degrees of freedom: nearly a parabola in their inverse, through three of them.
struct Critical {
    known: [(f64, f64); 3],
}

impl Critical {
    fn new(family: &Family, rows: &[ContrastRow], level: f64) -> Self {
        let inverse = rows.iter().filter(|row| row.se > 0.0).map(|row| 1.0 / row.df);
        let (low, high) = inverse.fold((1.0_f64, 0.0_f64), |(low, high), x| (low.min(x), high.max(x)));
        let low = low.min(high);
        Self { known: [low, f64::midpoint(low, high), high].map(|x| (x, family.critical(level, 1.0 / x))) }
    }

    fn at(&self, df: f64) -> f64 {
        let [(a, fa), (b, fb), (c, fc)] = self.known;
        if c - a < 1e-9 {
            return fb;
        }
        let x = (1.0 / df).clamp(a, c);
        fa * (x - b) * (x - c) / ((a - b) * (a - c))
            + fb * (x - a) * (x - c) / ((b - a) * (b - c))
            + fc * (x - a) * (x - b) / ((c - a) * (c - b))
    }
}

/// Contrasts judged together.
struct Family {
    /// How many have a standard error.
    live: usize,
    correlation: Vec<f64>,
    /// By draw and contrast: what is left of a normal draw after the contrast that is picked in it.
    rest: Vec<f64>,
}

impl Family {
    fn new(rows: &[ContrastRow], covariance: &[f64]) -> Option<Self> {
        let n = rows.len();
        let live: Vec<usize> = (0..n).filter(|i| rows[*i].se > 0.0).collect();
        if live.is_empty() || covariance.len() != n * n {
            return None;
        }
        let k = live.len();
        let mut correlation = vec![0.0; k * k];
        for (a, &i) in live.iter().enumerate() {
            for (b, &j) in live.iter().enumerate() {
                correlation[a * k + b] =
                    if a == b { 1.0 } else { (covariance[i * n + j] / (rows[i].se * rows[j].se)).clamp(-1.0, 1.0) };
            }
        }
        let (root, rank) = pivoted_root(&correlation, k);
        let mut generator = ChaCha8Rng::seed_from_u64(SEED);
        let mut rest = Vec::with_capacity(STRATA * DRAWS * k);
        for draw in 0..STRATA * DRAWS {
            let normals: Vec<f64> = (0..rank).map(|_| StandardNormal.sample(&mut generator)).collect();
            let value = |j: usize| dot(&root[j * rank..(j + 1) * rank], &normals);
            let picked = draw % k;
            let own = value(picked);
            rest.extend((0..k).map(|j| value(j) - correlation[j * k + picked] * own));
        }
        Some(Self { live: k, correlation, rest })
    }

    /// Adjusted p: never below the p of the contrast alone, never above Šidák's bound.
    fn p(&self, t: f64, df: f64, alone: f64) -> f64 {
        let bound = -f64::exp_m1(self.live as f64 * f64::ln_1p(-alone.min(1.0 - 1e-16)));
        if alone < BOUND_BELOW {
            return bound.max(alone);
        }
        self.exceeding(t.abs(), df).clamp(alone.min(bound), bound.max(alone))
    }

    /// The value that the largest |T| exceeds in a share `1 − level`.
    fn critical(&self, level: f64, df: f64) -> f64 {
        let (mut low, mut high) = (t_quantile(level, df), t_quantile(1.0 - (1.0 - level) / self.live as f64, df));
        if self.live == 1 {
            return low;
        }
        for _ in 0..40 {
            if (high - low) < 1e-5 * high {
                break;
            }
            let middle = f64::midpoint(low, high);
            if self.exceeding(middle, df) > 1.0 - level { low = middle } else { high = middle }
        }
        f64::midpoint(low, high)
    }

    /// `P(max_j |T_j| ≥ t)`.
    fn exceeding(&self, t: f64, df: f64) -> f64 {
        let alone = tail(t, df);
        let sum = 2.0 * self.live as f64 * alone;
        if self.live == 1 || sum <= 0.0 {
            return sum.min(1.0);
        }
        let mut generator = ChaCha8Rng::seed_from_u64(SEED + 1);
        let k = self.live;
        // of V given T_i: chi² with one degree more, over 1 + T_i²/df
        let spread = if df < NORMAL_FROM { ChiSquared::new(df + 1.0).ok() } else { None };
        let mut inverse = 0.0;
        for stratum in 0..STRATA {
            let share = alone * (stratum as f64 + 0.5) / STRATA as f64;
            // the smallest tails come last in precision: from the other side
            let value = -quantile(share, df);
            for within in 0..DRAWS {
                let draw = stratum * DRAWS + within;
                // events are picked in turn: each as often as another, since all are as probable
                let picked = draw % k;
                let scale = spread
                    .map_or(1.0, |spread| (spread.sample(&mut generator) / (1.0 + value * value / df) / df).sqrt());
                let z = value * scale;
                let rest = &self.rest[draw * k..(draw + 1) * k];
                let rho = &self.correlation[picked * k..(picked + 1) * k];
                let others = rest.iter().zip(rho).filter(|(rest, rho)| (*rest + *rho * z).abs() >= t * scale).count();
                // the picked one happened, and rounding may have it just miss
                let missed = usize::from((rest[picked] + z).abs() < t * scale);
                inverse += 1.0 / (others + missed) as f64;
            }
        }
        (sum * inverse / (STRATA * DRAWS) as f64).min(1.0)
    }
}

/// Pivoted Cholesky root of a correlation matrix, row-major `k × rank`.
fn pivoted_root(correlation: &[f64], k: usize) -> (Vec<f64>, usize) {
    let mut left: Vec<f64> = (0..k).map(|i| correlation[i * k + i]).collect();
    let mut columns: Vec<Vec<f64>> = Vec::new();
    while columns.len() < k {
        let Some((pivot, &most)) = left.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)) else { break };
        if most < 1e-10 {
            break;
        }
        let scale = most.sqrt();
        let column: Vec<f64> = (0..k)
            .map(|i| {
                let known: f64 = columns.iter().map(|c| c[i] * c[pivot]).sum();
                (correlation[i * k + pivot] - known) / scale
            })
            .collect();
        left.iter_mut().zip(&column).for_each(|(l, c)| *l -= c * c);
        left[pivot] = 0.0;
        columns.push(column);
    }
    let rank = columns.len();
    let root = (0..k).flat_map(|i| columns.iter().map(move |c| c[i])).collect();
    (root, rank)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(t: &[f64], df: f64) -> Vec<ContrastRow> {
        t.iter().map(|t| ContrastRow::new(String::new(), *t, 1.0, df, 0.95)).collect()
    }

    #[test]
    fn independent_contrasts_meet_the_closed_form() {
        // 1 − (1 − p)^3 for three independent normals
        let mut found = rows(&[2.0, 3.5, 6.0], 1e6);
        adjust(&mut found, &[1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0], 0.95);
        for row in &found {
            let alone = row.p.unwrap();
            let expected = 1.0 - (1.0 - alone).powi(3);
            let adjusted = row.simultaneous.unwrap();
            assert!((adjusted.p.unwrap() / expected - 1.0).abs() < 3e-3, "{row:?}");
            // c of three independent: Φ⁻¹ of (1 + 0.95^(1/3))/2 = 2.38774
            assert!((adjusted.upper - row.estimate - 2.38774).abs() < 3e-3, "{row:?}");
        }
    }

    #[test]
    fn the_same_contrast_twice_is_one() {
        let mut found = rows(&[2.1, -2.1], 12.0);
        adjust(&mut found, &[1.0, -1.0, -1.0, 1.0], 0.95);
        for row in &found {
            assert!((row.simultaneous.unwrap().p.unwrap() / row.p.unwrap() - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn all_pairs_of_means_have_the_studentized_range() {
        // four means, residual df 20: upper 5 % point of the studentized range 3.958 (tables, memory), over √2
        let (k, mut covariance, pairs) = (4, Vec::new(), [(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)]);
        let weights: Vec<Vec<f64>> = pairs
            .iter()
            .map(|(a, b)| (0..k).map(|i| f64::from(u8::from(i == *a)) - f64::from(u8::from(i == *b))).collect())
            .collect();
        for a in &weights {
            covariance.extend(weights.iter().map(|b| dot(a, b) / 2.0));
        }
        let mut found = rows(&[3.958 / 2f64.sqrt(); 6], 20.0);
        adjust(&mut found, &covariance, 0.95);
        assert!((found[0].simultaneous.unwrap().p.unwrap() - 0.05).abs() < 5e-4, "{found:?}");
        assert!((found[0].simultaneous.unwrap().lower).abs() < 0.015, "{found:?}");
    }
}
