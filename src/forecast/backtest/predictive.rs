//! What will be measured, as draws.

use ndarray::Array2;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use crate::check::{Check, LineDeviation, deviations};
use crate::wear::PathDraws;
use crate::wing::LineSet;

/// Noise of readings, shared by all forecasts: draws × lines.
pub(super) struct ReadingNoise {
    normals: Array2<f64>,
}

impl ReadingNoise {
    pub(super) fn new(seed: u64, draws: usize, lines: usize) -> Self {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        Self { normals: Array2::from_shape_simple_fn((draws, lines), || StandardNormal.sample(&mut generator)) }
    }
}

/// Draws of each row's mean less the common offset as `check` will measure them, sorted (empty for a row that is not read).
///
/// In each draw the true deviations of the lines that are read at the check's hours, with an error `N(0, σ²/repeats)` each;
/// the common offset is the median of those of A–D. What the check shares (its offset) moves rows and median alike and
/// drops out.
pub(super) fn row_draws(
    set: &LineSet,
    check: &Check,
    paths: &PathDraws,
    sigma_mm: f64,
    noise: &ReadingNoise,
) -> [Vec<f64>; 6] {
    let read: Vec<(LineDeviation, usize)> = deviations(set, check)
        .into_iter()
        .filter_map(|one| {
            let at = paths.lines.iter().position(|key| key.side == one.side && key.line == one.line)?;
            Some((one, at))
        })
        .collect();
    let mut out: [Vec<f64>; 6] = std::array::from_fn(|_| Vec::new());
    let mut counts = [0.0; 6];
    for (one, _) in &read {
        counts[set.lines()[one.line].row.index()] += 1.0;
    }
    let mut trim = Vec::with_capacity(read.len());
    for (draw, shape) in paths.shapes.iter().enumerate().take(noise.normals.nrows()) {
        let g = shape.at(check.hours_h);
        let mut sums = [0.0; 6];
        trim.clear();
        for (place, (one, at)) in read.iter().enumerate() {
            let error_mm = noise.normals.get((draw, place)).copied().unwrap_or(0.0) * sigma_mm;
            let value = paths.start_mm[(draw, *at)]
                + paths.slope_mm[(draw, *at)] * g
                + error_mm / f64::from(one.repeats.max(1)).sqrt();
            let row = set.lines()[one.line].row;
            sums[row.index()] += value;
            if row.is_trim() {
                trim.push(value);
            }
        }
        let Some(common_mm) = median(&mut trim) else { return out };
        for row in (0..6).filter(|row| counts[*row] > 0.0) {
            out[row].push(sums[row] / counts[row] - common_mm);
        }
    }
    out.iter_mut().for_each(|draws| draws.sort_by(f64::total_cmp));
    out
}

fn median(values: &mut [f64]) -> Option<f64> {
    let n = values.len();
    if n == 0 {
        return None;
    }
    let (below, middle, _) = values.select_nth_unstable_by(n / 2, f64::total_cmp);
    let middle = *middle;
    if n % 2 == 1 {
        return Some(middle);
    }
    Some(f64::midpoint(below.iter().copied().fold(f64::NEG_INFINITY, f64::max), middle))
}

/// Continuous ranked probability score of a forecast given as draws (which it sorts), in the unit of the draws:
/// `mean|x − y| − Σ_{i<j}|x_i − x_j| / (n(n−1))`, which is unbiased for any number of draws (the fair score: Ferro 2014,
/// memory). With one draw it is the distance; with none, 0.
#[must_use]
pub fn crps_of_draws(draws: &mut [f64], measured: f64) -> f64 {
    draws.sort_by(f64::total_cmp);
    let n = draws.len() as f64;
    if draws.is_empty() {
        return 0.0;
    }
    let distance = draws.iter().map(|draw| (draw - measured).abs()).sum::<f64>() / n;
    if draws.len() == 1 {
        return distance;
    }
    let spread: f64 = draws.iter().enumerate().map(|(rank, draw)| (2.0 * rank as f64 + 1.0 - n) * draw).sum::<f64>()
        / (n * (n - 1.0));
    distance - spread
}

/// Quantile of sorted draws, linear between the ranks `(k + ½)/n`; 0 without draws.
pub(super) fn quantile(sorted: &[f64], p: f64) -> f64 {
    let Some(last) = sorted.len().checked_sub(1) else { return 0.0 };
    let at = (p * sorted.len() as f64 - 0.5).clamp(0.0, last as f64);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let low = at.floor() as usize;
    let high = (low + 1).min(last);
    sorted[low] + (at - low as f64) * (sorted[high] - sorted[low])
}

/// Share of sorted draws below a value; those equal to it count half.
pub(super) fn share_below(sorted: &[f64], value: f64) -> f64 {
    let below = sorted.partition_point(|draw| *draw < value);
    let until = sorted.partition_point(|draw| *draw <= value);
    0.5 * (below + until) as f64 / sorted.len().max(1) as f64
}
